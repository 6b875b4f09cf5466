"""What the program depends on: licences on a stated list, bounds that agree with what is tested, versions told to users.

Truth: what the packages say of themselves; pyproject.toml, constraints.txt and README.md.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from audit import told
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


def test_an_audit_fails_for_a_weakness_and_not_for_want_of_a_network() -> None:
    """The form is pip-audit's own, written by hand."""
    known = {"id": "PYSEC-1", "fix_versions": ["2.0"], "description": ""}
    sound, weak = {"name": "a", "version": "1", "vulns": []}, {"name": "b", "version": "1", "vulns": [known]}
    unknown = {"name": "c", "skip_reason": "not found"}
    assert told(json.dumps({"dependencies": [sound, unknown]})) == (
        [
            "audit: 1 of 2 pinned packages audited, 0 with a known weakness; the service here does not know 1, as c: not found"
        ],
        0,
    )
    lines, code = told(json.dumps({"dependencies": [sound, weak]}))
    assert (lines[0], code) == ("audit: b 1 has PYSEC-1, mended in 2.0", 1)
    for nothing in ("", "{", "[]", "{}"):
        assert told(nothing)[1] == 0
        assert "could not be reached" in told(nothing)[0][0]
