"""Priors and choices are said once: fields of the stages, printed in NUMBERS.md, read by the program, moved one by one."""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import pytest
from print_choices import NUMBERS, ROOT, TABLE, printed, stage, stages

from analysis.stated import choices_of, stated, stated_each, stated_shares, table_of, variants_of

STAGES = stages()


def numbers(value: Any) -> list[float]:
    """A choice's value as one or more numbers."""
    if isinstance(value, Mapping):
        return list(value.values())
    return list(value) if isinstance(value, tuple) else [value]


def test_the_page_prints_every_stage_as_it_is() -> None:
    text = NUMBERS.read_text(encoding="utf-8")
    assert printed(text) == text, "run python -m tests.print_choices --write"
    assert sorted(key for _, key, _ in TABLE.findall(text)) == sorted(STAGES)


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
    """Somewhere in `analysis` its stage's instance, or a copy of it that is passed on, is asked for the field."""
    read, whole = set(), set()
    for path in (ROOT / "analysis").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                read.add((node.value.id, node.attr))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "getattr":
                whole |= {node.args[0].id} if isinstance(node.args[0], ast.Name) else set()
    by_name = {attribute for _, attribute in read}
    for key, (_, name) in STAGES.items():
        passed_on = key in PASSED_ON
        for choice in choices_of(stage(key)) if name not in whole else ():
            assert (name, choice.name) in read or (passed_on and choice.name in by_name), f"{key}.{choice.name}"


PASSED_ON = {"circuit.instrument", "readings.noise"}
"""Stages that a caller may replace: their fields are read from the argument."""


@dataclass(frozen=True)
class _Stage:
    share: float = stated(0.3, "1", 0.1, 0.5, "our choice, because a test needs one")
    count: int = stated(8, "1", 8, 16, "our choice, because a test needs one")
    each: tuple[float, ...] = stated_each((1.0, 2.0), "V", 0.5, 2.0, "our choice, because a test needs one")
    by: Mapping[str, float] = stated_each({"a": 4.0}, "K", 0.5, 1.0, "our choice, because a test needs one")
    tilted: tuple[float, ...] = stated_shares((0.5, 0.25, 0.25), 1.0, 2.0, "our choice, because a test needs one")
    sharp: tuple[float, ...] = stated_shares((0.8, 0.2), 1.0, 2.0, "our choice, because a test needs one", "power")


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
