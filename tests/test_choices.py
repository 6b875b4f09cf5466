"""Priors and choices are said once: fields of the stages, printed in NUMBERS.md, read by the program, moved one by one."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd
import print_choices
import pytest
from benchmarks.sensitivity import compared
from moves import Moved, in_words, kept_moves
from print_choices import (
    COEFFICIENTS,
    NUMBERS,
    ROOT,
    TABLE,
    choices_of,
    loaded_by,
    of_imports,
    of_next_tests,
    of_the_list,
    printed,
    readers,
    said,
    stage,
    stages,
    table_of,
    variants_of,
)

from analysis.stated import stated, stated_each, stated_shares

STAGES = stages()


def numbers(value: Any) -> list[float]:
    """A choice's value as one or more numbers."""
    if isinstance(value, Mapping):
        return list(value.values())
    return list(value) if isinstance(value, tuple) else [value]


def test_the_page_prints_every_stage_as_it_is() -> None:
    text = NUMBERS.read_text(encoding="utf-8")
    assert printed(text) == text, "run python -m tests.print_choices --write"
    assert sorted(key for _, key, _ in TABLE.findall(text)) == sorted([*STAGES, COEFFICIENTS])


@pytest.mark.parametrize("key", sorted(STAGES))
def test_every_choice_has_unit_range_and_source_and_lies_inside(key: str) -> None:
    found = choices_of(stage(key))
    assert len(found) == len(fields(stage(key))), "every field of a stage is stated"
    for choice in found:
        doubt = choice.doubt
        assert doubt.unit, choice.name
        assert doubt.low < doubt.high, choice.name
        assert len(doubt.source) > 20, choice.name
        assert "|" not in doubt.source + doubt.unit, choice.name
        middle = numbers(choice.value) if doubt.kind == "between" else [1.0]
        assert all(doubt.low <= value <= doubt.high for value in middle), choice.name


@pytest.mark.parametrize("key", sorted(STAGES))
def test_every_choice_says_where_it_comes_from(key: str) -> None:
    said = re.compile(r"our choice|from memory|common practice|likewise|computed|measured|BCI|SAE|TM |DOI|[12]\d{3}")
    for choice in choices_of(stage(key)):
        assert said.search(choice.doubt.source), f"{choice.name}: {choice.doubt.source}"


def test_every_choice_is_read_by_the_program() -> None:
    unread = [name for name, modules in readers().items() if not modules]
    assert not unread


def test_no_number_of_a_module_is_called_a_choice_outside_its_stage() -> None:
    """Module constants are grids, names, indices and what is for speed; limits and costs have dataclasses of their own."""
    found = []
    deciding = ("rules", "doubt", "values", "cells", "layout", "former", "file_kinds", "bus_logs", "trace_files")
    for path in [
        *sorted((ROOT / "analysis").rglob("*.py")),
        *(ROOT / "ingest" / f"{name}.py" for name in deciding),
        ROOT / "dashboard" / "words" / "reasons.py",
        ROOT / "dashboard" / "desk" / "weekly.py",
    ]:
        if path.name in ("choices.py", "limits.py", "costs.py"):
            continue
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.parse("\n".join(lines)).body:
            numbers_in = any(isinstance(n, ast.Constant) and type(n.value) in (int, float) for n in ast.walk(node))
            if isinstance(node, ast.Assign | ast.AnnAssign) and numbers_in:
                calls = any(isinstance(n, ast.Call) and getattr(n.func, "id", "") == "Row" for n in ast.walk(node))
                said = "\n".join(lines[node.lineno - 1 : node.end_lineno])
                found += [f"{path.name}:{node.lineno}"] if "our choice" in said and not calls else []
    assert not found


def test_a_choice_that_nothing_reads_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The reader of the program finds a field that no module asks for."""
    monkeypatch.setattr(print_choices, "stages", lambda: {"plan.none": (__name__, "NONE")})
    assert readers() == {f"plan.none.{one.name}": set() for one in fields(NONE)}


def test_the_list_is_made_of_what_it_imports() -> None:
    """Definition: the weekly list's modules reach down to the circuit, and not to one reading, the plan or past lists."""
    loaded = loaded_by("analysis.worklist.assess")
    assert {"analysis.worklist.risk", "analysis.forecast.lows", "analysis.circuit.temperature"} <= loaded
    assert not {one for one in loaded if one.split(".")[1] in ("bay", "plan", "backtest")}


@pytest.mark.nightly
def test_a_variant_moves_its_choice_before_anything_reads_it() -> None:
    """Values made of a choice at import would stand as they were: a process of the measurement begins with the choices alone."""
    code = (
        "import sys; sys.path.insert(0, 'tests/benchmarks'); import sensitivity as s;"
        "s.move('forecast.weather.persistence', 'low'); names = [m for m in sys.modules if m.startswith('analysis.')];"
        "rooms = [m for m in names if m.count('.') > 1 and not m.endswith('.choices')];"
        "from analysis.forecast.lows import daily_courses; print(rooms, daily_courses.__wrapped__.__defaults__)"
    )
    told = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert told.strip() == "[] (0.66,)"


@dataclass(frozen=True)
class _Stage:
    share: float = stated(0.3, "1", 0.1, 0.5, "our choice, because a test needs one")
    count: int = stated(8, "1", 8, 16, "our choice, because a test needs one")
    each: tuple[float, ...] = stated_each((1.0, 2.0), "V", 0.5, 2.0, "our choice, because a test needs one")
    by: Mapping[str, float] = stated_each({"a": 4.0}, "K", 0.5, 1.0, "our choice, because a test needs one")
    tilted: tuple[float, ...] = stated_shares((0.5, 0.25, 0.25), 1.0, 2.0, "our choice, because a test needs one")
    sharp: tuple[float, ...] = stated_shares((0.8, 0.2), 1.0, 2.0, "our choice, because a test needs one", "power")


NONE = _Stage()


def test_variants_go_to_each_end_of_the_doubt_one_field_at_a_time() -> None:
    found = list(variants_of(_Stage()))
    assert found == [
        ("share", "low", 0.1),
        ("share", "high", 0.5),
        ("count", "high", 16),
        ("each", "low", (0.5, 1.0)),
        ("each", "high", (2.0, 4.0)),
        ("by", "low", {"a": 2.0}),
        ("tilted", "high", (0.25, 0.25, 0.5)),
        ("sharp", "high", (0.64 / 0.68, 0.04 / 0.68)),
    ]


def test_a_table_shows_value_unit_doubt_and_source() -> None:
    rows = table_of(_Stage()).splitlines()[2:]
    assert rows[0] == "| `share` | 0.3 | 1 | 0.1 to 0.5 | our choice, because a test needs one |"
    assert rows[2] == "| `each` | 1, 2 | V | times 0.5 to 2 | our choice, because a test needs one |"
    assert rows[3] == "| `by` | a 4 | K | times 0.5 to 1 | our choice, because a test needs one |"


def test_what_choices_move_was_measured_as_they_stand() -> None:
    """From the value that a choice of the list has now, to an end of the doubt that it has now."""
    stand = {f"{key}.{one.name}": said(one.value) for key in STAGES for one in choices_of(stage(key))}
    ends = {(f"{key}.{name}", end): said(value) for key in STAGES for name, end, value in variants_of(stage(key))}
    told = kept_moves()
    wrong = [at for at, row in told.items() if (row.stands, row.to) != (stand.get(row.choice), ends.get(at))]
    assert not wrong, "delete these rows of tests/benchmarks/moves.csv, and run sensitivity.py"
    assert told
    assert {name for name, _ in told} <= of_the_list() | of_next_tests() | of_imports()


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ([("", 0.0, 0.0, 0.0, 0.0, 0, "")], "nothing here"),
        (
            [("", 0.031, 0.002, 1.23, 0.1, 2, ""), ("", 0.04, 0.0, 0.5, 0.0, 0, "")],
            "P 0.04 (0.002), 1 (0.1) K, 2 flags",
        ),
        (
            [("anew", 2e-7, 1e-8, 0.0, 0.0, 0, ""), ("anew", 0.0, 0.0, 0.0, 0.0, 0, "")],
            "P <0.001 (<0.001); by the past",
        ),
        ([("", 0.0, 0.0, 0.0, 0.0, 1, "")], "1 flag"),
        ([("", 0.0, 0.0, 0.0, 0.0, 0, "units: part; drift: statistic")], "only drift, units"),
        ([("", 0.0, 0.0, 0.0, 0.0, 0, "12 next tests"), ("", 0.0, 0.0, 0.0, 0.0, 0, "")], "12 next tests"),
        ([("", 0.0, 0.0, 0.0, 0.0, 0, "3 rows"), ("", 0.0, 0.0, 0.0, 0.0, 0, "40 rows")], "40 rows"),
        ([], "not measured"),
    ],
)
def test_what_a_choice_moves_is_said_in_a_few_figures(
    ends: list[tuple[str, float, float, float, float, int, str]], words: str
) -> None:
    assert in_words([Moved("room.stage.choice", "low", "1", "2", *row[1:], row[0]) for row in ends]) == words


def test_two_lists_are_compared_vehicle_by_vehicle() -> None:
    """By hand: one probability up by 0.1, one vehicle judged no longer, one flag gone; and nothing but a part's name."""
    names = {"unit": ["a", "b", "c", "d"], "flagged": [True, True, False, False], "part": list("xxyy")}
    units = pd.DataFrame(
        names | {"no_start_probability": [0.5, 0.2, 0.1, np.nan], "coldest_start_c": [-9.0, -12.0, np.nan, -3.0]}
    )
    other = units.assign(
        no_start_probability=[0.6, 0.2, np.nan, np.nan],
        coldest_start_c=[-7.0, -12.0, -4.0, -3.0],
        flagged=[True, False, False, False],
    )
    named = units.assign(part=list("xyyy"))
    found = [compared({"units": units}, {"units": one}) for one in (other, named, units)]
    assert found == [(0.1, 0.05, 2.0, 0.5, 1, ""), (0.0, 0.0, 0.0, 0.0, 0, "units: part"), (0.0, 0.0, 0.0, 0.0, 0, "")]
