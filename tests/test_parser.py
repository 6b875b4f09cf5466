"""The words of the command line: quick to refuse, each with its help.

Truth: the list of heavy libraries, pyproject.toml for the version, ingest/fields.py for what may be recorded.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
import shtab

from dashboard.cli.main import command_of, main
from dashboard.cli.parser import SHELLS, build_parser
from ingest.fields import MEASUREMENTS, QUANTITIES
from ingest.store import open_database

ROOT = Path(__file__).resolve().parents[1]
HEAVY = {"pandas", "numpy", "numba", "scipy", "altair", "sklearn", "streamlit", "sqlite_utils"}
REFUSED = (
    ("nonsense",), ("risk", "--horizon-days", "900"), ("risk", "--as-of", "12.12.2022"), ("plan", "--pin", "K-142"),
    ("correct", "reading", "1", "crank_a"), ("import", ""), ("unit",), ("unit", "\udcff"), ("--db", "none.db", "risk"),
    ("risk", "--db", "none.db"), ("backtest", "--from", "2023-01-02", "--to", "2023-01-01"),
    ("record", "K-101", "--rest-v", "12.6", "--measured-twice", "crank_a"),
)  # fmt: skip
ANSWERED = (("--help",), ("--version",), ("record", "--help"), ("set-aside", "correct", "--help"))
TRIED = """
import json, sys
from dashboard.cli.entry import main
codes = []
for words in json.loads(sys.argv[1]):
    sys.argv = ["cranktrend", *words]
    try:
        codes.append(main())
    except SystemExit as left:
        codes.append(left.code or 0)
sys.stderr.write(json.dumps([codes, sorted({name.split(".")[0] for name in sys.modules})]))
"""


def test_help_and_refusals_load_nothing_heavy(tmp_path: Path) -> None:
    """Half a second of processor time is what Python takes to start; any of these libraries takes as long again."""
    words = json.dumps([*ANSWERED, *REFUSED])
    done = subprocess.run(
        [sys.executable, "-c", TRIED, words], cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    codes, loaded = json.loads(done.stderr.splitlines()[-1])
    assert codes == [0] * len(ANSWERED) + [2] * len(REFUSED)
    assert not HEAVY & set(loaded)


def leaves(
    parser: argparse.ArgumentParser, words: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], argparse.ArgumentParser]]:
    """Every parser with the words that lead to it."""
    yield words, parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, sub in action.choices.items():
                yield from leaves(sub, (*words, word))


EVERY = dict(leaves(build_parser()))


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_every_word_has_its_help(words: tuple[str, ...]) -> None:
    """Each command says what it does, each option what it is; what it leads to is there."""
    parser = EVERY[words]
    assert parser.description
    assert parser.format_help()
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            assert all(one.help for one in action._choices_actions)
        else:
            assert action.help, action
    run = parser.get_default("run")
    assert not run or callable(command_of(run))


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_a_recorded_value_is_explained(name: str) -> None:
    """Meaning, unit and both ranges as fields.py has them."""
    option = next(a for a in EVERY["record",]._actions if a.dest == name)
    quantity = QUANTITIES[name]
    said = str(option.help)
    assert said.startswith(quantity.meaning)
    assert f"[{quantity.unit}]" in said
    assert option.metavar == quantity.unit
    for bound in (*quantity.range_12, *quantity.range_24):
        assert f"{bound:.12g}" in said


def test_the_version_is_the_package_s(capsys: pytest.CaptureFixture[str]) -> None:
    """As pyproject.toml has it."""
    with pytest.raises(SystemExit, match=r"^0$"):
        main(["--version"])
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert capsys.readouterr().out == f"cranktrend {project['version']}\n"


@pytest.mark.parametrize("words", [("logbook",), ("set-aside", "list"), ("limits", "show")], ids=" ".join)
def test_the_database_is_named_before_or_after_the_command(
    words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same answer wherever it stands; another database is not taken in its place."""
    open_database(tmp_path / "own.db").conn.close()
    told = ("--db", str(tmp_path / "own.db"))
    answers = []
    for order in ((*told, *words), (*words, *told), (words[0], *told, *words[1:])):
        assert main(order) == 0
        answers.append(capsys.readouterr().out)
    assert answers[0]
    assert answers == [answers[0]] * 3
    assert main((*words, "--db", str(tmp_path / "none.db"))) == 2


def test_bash_completes_our_words(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Bash itself, with the script that is printed, completes `cranktrend re` and `cranktrend set-aside dis`."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash here")
    assert main(["completion", "bash"]) == 0
    (tmp_path / "completion.sh").write_text(capsys.readouterr().out)
    for words, wanted in ((("re",), {"record", "resets", "restore"}), (("set-aside", "dis"), {"dismiss"})):
        typed = " ".join(("cranktrend", *words))
        program = f"source ./completion.sh; COMP_WORDS=({typed}); COMP_CWORD={len(words)}; _shtab_cranktrend; echo ${{COMPREPLY[@]}}"
        done = subprocess.run([bash, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True)
        assert set(done.stdout.split()) == wanted


def test_every_shell_named_has_its_script() -> None:
    """The library's own list."""
    assert set(SHELLS) <= set(shtab.SUPPORTED_SHELLS)


@pytest.mark.parametrize(
    "words", [("unit",), ("record",), ("logbook", "--unit"), ("work-orders", "o.pdf", "--unit")], ids=" ".join
)
def test_blanks_round_a_vehicle_s_number_are_no_part_of_it(words: tuple[str, ...]) -> None:
    """A number copied out of a sheet brings a blank along; what is stored under it must be found under it."""
    assert build_parser().parse_args([*words, " K-7 "]).unit == "K-7"
