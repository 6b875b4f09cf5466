"""Documentation that cannot fall behind: README commands and the glossary are held against the code."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from dashboard.cli.parser import build_parser
from ingest.fields import MEASUREMENTS, PARTS, QUANTITIES, TABLES, allowed_words

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands() -> dict[str, argparse.ArgumentParser]:
    action = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(action.choices)


def test_readme_names_every_command_and_no_other() -> None:
    table = README.split("| command | what it does |")[1].split("\n\n")[0]
    cells = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    named = {name for cell in cells for name in re.findall(r"`([a-z-]+)", cell)}
    assert named == set(commands())


def test_options_named_in_the_readme_exist() -> None:
    known = {o for p in (build_parser(), *commands().values()) for a in p._actions for o in a.option_strings}
    for option in set(re.findall(r"`(--[a-z-]+)`", README)):
        assert option in known, option


def test_readme_has_its_two_commands() -> None:
    for mark in ("<!-- demo -->", "<!-- test -->"):
        block = README.split(mark)[1].split("```")[1]
        assert "-c constraints.txt" in block
        assert len([line for line in block.splitlines()[1:] if line]) == 1


def glossary_markdown() -> str:
    """The glossary of measured quantities and of the files' columns as Markdown tables."""
    lines = ["| reading | unit | 12 V: from ... to | 24 V: from ... to | meaning |", "| --- | --- | --- | --- | --- |"]
    for quantity in QUANTITIES.values():
        low12, high12 = quantity.range_12
        low24, high24 = quantity.range_24
        lines.append(
            f"| `{quantity.name}` | {quantity.unit} | {low12:g} ... {high12:g} | {low24:g} ... {high24:g} "
            f"| {quantity.meaning} |"
        )
    lines += ["", "| file | column | must be there | allowed | meaning |", "| --- | --- | --- | --- | --- |"]
    for table in TABLES.values():
        for column in table.columns:
            if column.name in QUANTITIES:
                continue
            required = "yes" if column.required else ""
            lines.append(
                f"| {table.name} | `{column.name}` | {required} | {allowed_words(column)} | {column.meaning} |"
            )
    return "\n".join(lines) + "\n"


def test_the_glossary_names_everything() -> None:
    text = glossary_markdown()
    for name in (*MEASUREMENTS, *PARTS, *TABLES):
        assert name in text
    assert all(line.startswith("|") or not line for line in text.splitlines())


def test_glossary_follows_the_fields() -> None:
    assert DEVELOPERS.endswith(glossary_markdown().strip() + "\n"), f"paste at the end:\n{glossary_markdown()}"


def test_modules_named_to_developers_exist() -> None:
    for folder in ("ingest", "analysis", "dashboard", "demo_fleet"):
        for name in re.findall(rf"`{folder}/([a-z_]+\.py)`", DEVELOPERS):
            assert (ROOT / folder / name).exists(), f"{folder}/{name}"


def test_linked_pages_exist() -> None:
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#]+)", text):
            if "://" not in target:
                assert (ROOT / target).exists(), target


def test_constraints_carry_no_addresses() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert all(re.fullmatch(r"[A-Za-z0-9_.\-]+==[A-Za-z0-9_.+!\-]+", line) for line in lines)
