"""All words stand in one place: no sentence, label or head is written where it is shown, and each gets what it names.

Truth: the code itself, read as a syntax tree; the rule is that of DEVELOPERS.md, "Words".
"""

from __future__ import annotations

import ast
import importlib
import re
import string
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from analysis.bay.decision_table import FILLS, TABLE
from analysis.bay.findings import TELLING
from analysis.bay.next_measurement import CANDIDATES
from dashboard.words.finding_words import SENTENCES
from dashboard.words.next_words import ASKED, NEXT, TESTS
from dashboard.words.plan_notes import NOTES, WHY

DASHBOARD = Path(__file__).resolve().parents[1] / "dashboard"
ROOMS = ("screens", "charts", "files", "cli")
HELP = ("cli/parser.py", "cli/options.py", "cli/entry.py", "cli/commands/screens.py")
"""The help of the command line, each text beside the option that it explains, and what is said before anything is loaded."""
SHOWS = {
    "altair_chart", "button", "caption", "checkbox", "date_input", "dialog", "download_button", "error", "expander",
    "feedback", "file_uploader", "one_file", "some_files", "form_submit_button", "header", "info", "link_button", "markdown", "metric", "multiselect",
    "number_input", "pills", "popover", "progress", "radio", "segmented_control", "selectbox", "slider", "spinner", "status",
    "subheader", "success", "table_button", "pdf_button", "tabs", "text", "text_area", "text_input", "time_input", "title",
    "toast", "toggle", "warning", "write", "CheckboxColumn", "Column", "DateColumn", "DatetimeColumn", "NumberColumn",
    "TextColumn", "Title", "pressed", "day_of", "at",
}  # fmt: skip
"""Calls whose first argument is read by somebody."""
READ: set[str] = {"label", "help", "placeholder", "title", "alt", "text", "page_title", "words", "caption", "note"}
"""Arguments by name that are read by somebody, in whatever call."""
NO_WORDS = ("SELECT ", "export default", "<style>", "max(as_of")
"""How what is no text begins: SQL, a script, a style sheet."""
TECHNICAL = {
    "left out", "act by missed",
    "-//cranktrend//replacement plan//EN", "signing in",
}  # fmt: skip
"""Texts that are keys: sheets of the
plan's workbook, which other programs open by name; the calendar's maker (RFC 5545); what a file of
settings is for, as its refusals name it."""
_FIELD = re.compile(r"[\w()]+:[QNTO]")  # a column and its kind, as Altair takes them
_TAG = re.compile(r"<[^<>]*>")
_ICON = re.compile(r":material/\w+:|:small\[|\bct-[\w-]+")
_WORD = r"[^\W\d_]{2,}"
_SENTENCE = re.compile(rf"{_WORD}[.,;:!?]? +{_WORD}")


def plain(text: str) -> str:
    """The text without marks of HTML, icons and small print."""
    return _ICON.sub("", _TAG.sub("", text))


def whole(node: ast.expr) -> str:
    """A text as it stands in the code, `0` for what is put into it."""
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "0" for v in node.values)
    return str(node.value) if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def shown(node: ast.expr) -> Iterator[ast.expr]:
    """The texts that an argument may become."""
    if isinstance(node, ast.IfExp):
        yield from (*shown(node.body), *shown(node.orelse))
    elif isinstance(node, ast.BoolOp):
        for value in node.values:
            yield from shown(value)
    elif isinstance(node, ast.BinOp):
        yield from (*shown(node.left), *shown(node.right))
    elif isinstance(node, ast.Constant | ast.JoinedStr):
        yield node


def read_arguments(call: ast.Call) -> Iterator[ast.expr]:
    """Arguments of a call that somebody reads."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    if name in SHOWS and call.args:
        yield from shown(call.args[0])
    for keyword in call.keywords:
        if keyword.arg in READ:
            yield from shown(keyword.value)


def written_where_shown(source: str) -> list[str]:
    """Texts in a module's code that belong among the words: sentences anywhere, any word where a label is given."""
    tree = ast.parse(source)
    of_no_text: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            of_no_text |= {id(inner) for inner in ast.walk(node)}  # a docstring; an error that a bad call of ours gets
        elif isinstance(node, ast.JoinedStr):
            of_no_text |= {id(part) for part in node.values if isinstance(part, ast.Constant)}  # read as a whole
    found: dict[tuple[int, int], str] = {}
    for node in ast.walk(tree):
        if id(node) in of_no_text:
            continue
        if isinstance(node, ast.Constant | ast.JoinedStr) and _SENTENCE.search(plain(whole(node))):
            found[node.lineno, node.col_offset] = whole(node)
        elif isinstance(node, ast.Call):
            for text in read_arguments(node):
                if re.search(_WORD, plain(whole(text))):
                    found[text.lineno, text.col_offset] = whole(text)
    return [
        f"{line}: {text}" for (line, _), text in sorted(found.items())
        if text not in TECHNICAL and not _FIELD.fullmatch(text) and not text.lstrip().startswith(NO_WORDS)
    ]  # fmt: skip


def modules(room: str) -> list[Path]:
    return sorted((DASHBOARD / room).rglob("*.py"))


@pytest.mark.parametrize("room", ROOMS)
def test_what_is_read_is_not_written_where_it_is_shown(room: str) -> None:
    wrong = {
        str(path.relative_to(DASHBOARD)): found
        for path in modules(room)
        if str(path.relative_to(DASHBOARD)) not in HELP
        and (found := written_where_shown(path.read_text(encoding="utf-8")))
    }
    assert not wrong, "\n".join(f"{name}\n   " + "\n   ".join(found) for name, found in wrong.items())


ANALYSIS = DASHBOARD.parent / "analysis"
NO_SENTENCES = {
    "backtest/history.py", "backtest/report.py", "worklist/class_table.py",  # values of a column that says what a row is
    "circuit/limit_book.py", "circuit/limits.py", "wear/lives.py",  # where a number comes from
}  # fmt: skip
"""Modules below the words that hold texts none of which is a sentence: DEVELOPERS.md, "Words"."""
FEW_WORDS = 4  # so many in a row are a text; our choice


def test_no_sentence_stands_below_the_words() -> None:
    holding = set()
    for path in sorted(ANALYSIS.rglob("*.py")):
        if path.name not in ("choices.py", "sources.py"):  # what was chosen, with its source; where rules come from
            texts = (line.split(": ", 1)[1] for line in written_where_shown(path.read_text(encoding="utf-8")))
            if any(len(text.split()) >= FEW_WORDS for text in texts):
                holding.add(str(path.relative_to(ANALYSIS)))
    assert holding == NO_SENTENCES


@pytest.mark.parametrize(
    "code",
    [
        'st.button("Save")', 'st.caption(f"{count} rows")', 'st.metric("a" if b else "Most worn", 1)',
        'st.page_link(page("x"), label="Files")', 'alt.Title("volts")', 'x = f"by {day} it fails"', 'y = {"last read": 1}',
    ],
)  # fmt: skip
def test_a_text_where_it_is_shown_is_found(code: str) -> None:
    assert written_where_shown(code)


@pytest.mark.parametrize(
    "code",
    [
        '"""What it does, in a sentence."""', 'raise ValueError(f"name is {name}; allowed are these")', "st.button(say.SAVE)",
        'st.caption(f"{safe(text)} {say.KEY}")', 'x = f\'<p class="ct-note ct-thin">{text}</p>\'', 'x = row["last_read"]',
        'db.execute("SELECT unit FROM units")',
    ],
)  # fmt: skip
def test_what_is_no_text_is_let_be(code: str) -> None:
    assert not written_where_shown(code)


# --- each sentence gets what it names ----------------------------------------------------------------------------------


@cache
def words_module(name: str) -> object:
    return importlib.import_module(f"dashboard.words.{name}")


def aliases(tree: ast.Module) -> dict[str, str]:
    """Name in a module -> the module of words that it stands for."""
    return {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == "dashboard.words"
        for alias in node.names
    }


def test_each_sentence_gets_what_it_names() -> None:
    """`say.X.format(...)`: X is there, and its fields are the arguments, no more and no fewer."""
    looked = 0
    for path in sorted(DASHBOARD.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        if "from dashboard.words import" not in source:
            continue
        tree = ast.parse(source)
        known = aliases(tree)
        formatted = {
            id(node.func.value): node
            for node in ast.walk(tree)
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr == "format"
            and not node.args
        }
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in known):
                continue
            module = words_module(known[node.value.id])
            assert hasattr(module, node.attr), f"{path}: {node.value.id}.{node.attr}"
            if id(node) in formatted:
                fields = {name for _, name, _, _ in string.Formatter().parse(getattr(module, node.attr)) if name}
                given = {keyword.arg for keyword in formatted[id(node)].keywords}
                assert fields == given, f"{path.name}: {node.attr} names {fields}, gets {given}"
                looked += 1
    assert looked > 100


def test_every_row_and_every_next_measurement_has_its_words_and_no_words_are_left_over() -> None:
    """Analysis gives keys and figures; that each sentence gets its figures, `test_segments` holds, row by row."""
    assert set(SENTENCES) == {row.name for row in TABLE}
    assert set(NEXT) == {row.following for row in TABLE} - {""}
    assert list(TESTS) == [one.name for one in CANDIDATES]
    assert set(ASKED) == set(TELLING)
    assert set(FILLS) <= set(NEXT)
    assert {name for names in FILLS.values() for name in names} <= set(TELLING)


def test_every_note_of_a_plan_has_its_sentence_with_the_figures_that_it_gets() -> None:
    """`note(key, figure=...)` anywhere in `analysis.plan`: the key has a sentence, its fields are among the figures, and no sentence
    is left over."""
    given: dict[str, set[str]] = {}
    for path in sorted((ANALYSIS / "plan").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "note":
                for key in shown(node.args[0]):
                    given[whole(key)] = {str(keyword.arg) for keyword in node.keywords}
    assert set(given) == set(NOTES)
    for key, sentence in NOTES.items():
        fields = {name for _, name, _, _ in string.Formatter().parse(sentence) if name}
        assert fields <= given[key], key
    assert {key for key, _ in WHY} == {key for key, figures in given.items() if "why" in figures}


# --- one word for one thing ----------------------------------------------------------------------------------------------


_OF_MEASURE = re.compile(r"another unit(?! and)|units? (into|by)\b|other units|without a unit|units? (file|table)\b")
"""A unit of measure, or the file and table of that name."""
_VEHICLE = re.compile(r"\bunit's\b|\b(this|that|same|each|every|another|which|all) units?\b")


def called_unit(source: str) -> list[str]:
    """Texts of a module, docstrings too, that call a vehicle a unit."""
    return [
        node.value
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and _VEHICLE.search(_OF_MEASURE.sub("", node.value))
    ]


@pytest.mark.parametrize("module", ["doubt", "admit", "admit_readings", "rules", "corrections", "entries", "visits"])
def test_what_is_said_of_rows_calls_a_vehicle_a_vehicle(module: str) -> None:
    """DEVELOPERS.md, "One word each": `unit` is its column and nothing else."""
    source = (DASHBOARD.parent / "ingest" / f"{module}.py").read_text(encoding="utf-8")
    assert not called_unit(source)


def test_a_vehicle_that_is_called_a_unit_is_found() -> None:
    assert called_unit('x = f"ten times this unit\'s last {n} readings"')
    assert called_unit('x = "same unit and time as line 3"')
    assert not called_unit('x = f"unit {name} is not known; write another unit into its heading"')
