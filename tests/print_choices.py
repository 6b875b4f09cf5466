"""Prints the tables of priors and choices in analysis/NUMBERS.md anew, from the fields that the program uses.

    python -m tests.print_choices            shows what would change
    python -m tests.print_choices --write    writes it

A table stands between <!-- stated: ROOM.STAGE --> and <!-- end -->; a stage is a frozen dataclass of a module `choices`.
"""

from __future__ import annotations

import ast
import difflib
import importlib
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(1, str(Path(__file__).resolve().parent))
from moves import in_words, kept_moves

from analysis.stated import Doubt

ROOT = Path(__file__).resolve().parents[1]
NUMBERS = ROOT / "analysis" / "NUMBERS.md"
COEFFICIENTS = "circuit.coefficients"
"""Where the table of the coefficients stands, which are limits of `analysis.circuit.limits` and no stage."""
TABLE = re.compile(r"(<!-- stated: ([a-z_.]+) -->\n).*?(<!-- end -->)", re.S)


@dataclass(frozen=True)
class Choice:
    """One field of a stage, as it stands."""

    name: str
    value: Any
    doubt: Doubt


def choices_of(stage: Any) -> tuple[Choice, ...]:
    """Every stated field of a stage (an instance), in order."""
    return tuple(
        Choice(one.name, getattr(stage, one.name), one.metadata["stated"])
        for one in fields(stage)
        if "stated" in one.metadata
    )


def variants_of(stage: Any) -> Iterator[tuple[str, str, Any]]:
    """Field, end of its doubt ("low" or "high") and the value there, of every field and end that differs from its value."""
    for choice in choices_of(stage):
        for end in ("low", "high"):
            value = _moved(choice.value, getattr(choice.doubt, end), choice.doubt.kind)
            if value != choice.value:
                yield choice.name, end, value


def _moved(value: Any, to: float, kind: str) -> Any:
    """The value at an end of its doubt, of the same type."""
    if kind in ("tilt", "power"):
        weights = [one * to**k if kind == "tilt" else one**to for k, one in enumerate(value)]
        return tuple(sum(value) * one / sum(weights) for one in weights)
    if isinstance(value, Mapping):
        return MappingProxyType({key: one * to for key, one in value.items()})
    if isinstance(value, tuple):
        return tuple(one * to for one in value)
    return type(value)(to)


SPANS = {
    "between": "{} to {}",
    "times": "times {} to {}",
    "tilt": "each over the one before times {} to {}",
    "power": "to the power {} to {}",
}


def table_of(stage: Any, moves: Mapping[str, str] = MappingProxyType({})) -> str:
    """The stage's choices as a table in Markdown; moves: of those that the list reads, what each moves."""
    heads = ["choice", "value", "unit", "doubt", *(["moves"] if moves else []), "what it is; where it comes from"]
    rows = [heads, ["---"] * len(heads)]
    for choice in choices_of(stage):
        low, high = f"{choice.doubt.low:g}", f"{choice.doubt.high:g}"
        span = SPANS[choice.doubt.kind].format(low, high)
        move = [moves.get(choice.name, "not the list")] if moves else []
        rows.append([f"`{choice.name}`", said(choice.value), choice.doubt.unit, span, *move, choice.doubt.source])
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def moves_of(key: str) -> dict[str, str]:
    """Choice -> what it moves, of the choices of a stage (ROOM.STAGE) that the list, its next measurements or imports read."""
    found, read = kept_moves(), of_the_list() | of_next_tests() | of_imports()
    names = [one.name for one in choices_of(stage(key)) if f"{key}.{one.name}" in read]
    rows = {name: [found[at] for end in ("low", "high") if (at := (f"{key}.{name}", end)) in found] for name in names}
    return {name: in_words(own) for name, own in rows.items()}


def said(value: Any) -> str:
    """A value as the table shows it."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {one:g}" for key, one in value.items())
    if isinstance(value, tuple):
        return ", ".join(f"{one:g}" for one in value)
    return f"{value:g}"


def modules(name: str) -> list[Path]:
    """Those of the packages that state choices, by their file's name."""
    return [path for package in ("analysis", "ingest", "dashboard") for path in sorted((ROOT / package).rglob(name))]


@cache
def stages() -> dict[str, tuple[str, str]]:
    """ROOM.STAGE -> its module and the name of its instance there, for every stage of `analysis`, `ingest` and `dashboard`."""
    found = {}
    for path in modules("choices.py"):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for name, held in vars(importlib.import_module(module)).items():
            if is_dataclass(held) and not isinstance(held, type) and type(held).__module__ == module:
                found[f"{path.parent.name}.{name.lower()}"] = (module, name)
    return found


def stage(key: str) -> Any:
    """The instance of one stage."""
    module, name = stages()[key]
    return getattr(importlib.import_module(module), name)


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """All that a module is written of."""
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def asked_in(path: Path) -> tuple[list[tuple[str | None, str]], set[tuple[str, str]], set[str]]:
    """What a module imports from where, (name, attribute) of all that it asks names for, and the names that it gives to `getattr`."""
    froms, attributes, given = [], set(), set()
    for node in nodes(path):
        if isinstance(node, ast.ImportFrom):
            froms += [(node.module, alias.name) for alias in node.names]
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            attributes.add((node.value.id, node.attr))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "getattr":
            given.add(str(getattr(node.args[0], "id", "")))
    return froms, attributes, given


def readers() -> dict[str, set[str]]:
    """ROOM.STAGE.CHOICE -> modules that ask the stage's instance for it."""
    found: dict[str, set[str]] = {f"{key}.{one.name}": set() for key in stages() for one in choices_of(stage(key))}
    key_of = {where: key for key, where in stages().items()}
    for path in modules("*.py"):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        froms, attributes, given = asked_in(path)
        by_name = {name: key_of[str(from_), name] for from_, name in froms if (str(from_), name) in key_of}
        names = {f"{by_name.get(name, '')}.{attribute}" for name, attribute in attributes}
        whole = tuple(f"{by_name[name]}." for name in given if name in by_name)
        for name, own in found.items():
            if name in names or name.startswith(whole):
                own.add(module)
    return found


def loaded_by(module: str) -> set[str]:
    """The module with all of its own package that it imports, and what that imports."""
    package, seen, ahead = module.partition(".")[0], set[str](), [module]
    while ahead:
        one = ahead.pop()
        path = ROOT / Path(*one.split(".")).with_suffix(".py")
        if one in seen or not path.exists():
            continue
        seen.add(one)
        froms = [
            node
            for node in nodes(path)
            if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == package
        ]
        ahead += [str(node.module) for node in froms]
        ahead += [f"{node.module}.{alias.name}" for node in froms for alias in node.names]
    return seen


@cache
def of_the_list() -> frozenset[str]:
    """ROOM.STAGE.CHOICE of all that the weekly list reads."""
    of_list = loaded_by("analysis.worklist.assess")
    return frozenset(name for name, modules in readers().items() if modules & of_list)


@cache
def of_next_tests() -> frozenset[str]:
    """ROOM.STAGE.CHOICE of what only the choice of a next measurement reads, and no module of the list."""
    found = {name for name, modules in readers().items() if "analysis.bay.next_measurement" in modules}
    return frozenset(found - of_the_list())


@cache
def of_imports() -> frozenset[str]:
    """ROOM.STAGE.CHOICE of what decides which rows of files are taken."""
    read = loaded_by("ingest.importer")
    return frozenset(name for name, modules in readers().items() if name.startswith("ingest.") and modules & read)


def coefficients_table() -> str:
    """The coefficients of `analysis.circuit.limits` as a table in Markdown."""
    limits = importlib.import_module("analysis.circuit.limits")
    rows = ["| coefficient | value | unit | may be set | source |", "| --- | --- | --- | --- | --- |"]
    for name, one in vars(limits).items():
        if isinstance(one, limits.Limit):
            rows.append(f"| `{name}` | {one.value:g} | {one.unit} | {one.lowest:g} to {one.highest:g} | {one.source} |")
    return "\n".join(rows)


def printed(text: str) -> str:
    """The page with every table as the fields say it."""

    def table(key: str) -> str:
        return coefficients_table() if key == COEFFICIENTS else table_of(stage(key), moves_of(key))

    return TABLE.sub(lambda found: f"{found[1]}{table(found[2])}\n{found[3]}", text)


def main() -> int:
    """Show or write what differs."""
    before = NUMBERS.read_text(encoding="utf-8")
    after = printed(before)
    if "--write" in sys.argv[1:]:
        NUMBERS.write_text(after, encoding="utf-8")
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0)
    print("\n".join(lines) or f"{sum(len(choices_of(stage(key))) for key in stages())} choices, all as printed")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
