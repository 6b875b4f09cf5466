"""What the program depends on: licences on a stated list, bounds that agree with what is tested, versions told to users.

Truth: what the packages say of themselves; pyproject.toml, constraints.txt and README.md.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from licences import licences, not_allowed, used
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_every_licence_is_on_the_list() -> None:
    found = {str(one.name): licences(one) for one in used()}
    assert {"streamlit", "pandas", "Jinja2", "pytest"} <= set(found)
    assert not {name: not_allowed(names) for name, names in found.items() if not_allowed(names)}
    assert not_allowed(["GPL-3.0-or-later"]) == ["GPL-3.0-or-later"]


def test_what_the_program_runs_on_has_an_upper_bound_and_is_tested_within_it() -> None:
    pinned = dict(line.split("==") for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").split())
    lower = {name.lower(): told for name, told in pinned.items()}
    for line in PROJECT["dependencies"]:
        asked = Requirement(line)
        assert any(one.operator == "<" for one in asked.specifier), line
        assert asked.specifier.contains(lower[asked.name.lower()]), line


def test_changes_are_told_up_to_this_version() -> None:
    """The newest heading of README's list is the version of pyproject.toml."""
    part = (ROOT / "README.md").read_text(encoding="utf-8").split("## Changes a user sees, by version\n")[1]
    told = re.findall(r"^\*\*(\d+\.\d+\.\d+)\*\*", part.split("\n## ")[0], re.MULTILINE)
    assert told[0] == PROJECT["version"]
    assert told == sorted(told, key=lambda text: [int(n) for n in text.split(".")], reverse=True)
