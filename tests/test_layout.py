"""Readings flow one way: the imports of the four packages are read and held against the house's rule."""

from __future__ import annotations

import ast
from collections.abc import Iterable
from pathlib import Path

import pytest
from print_choices import ROOT, nodes

PACKAGES = ("ingest", "analysis", "dashboard", "demo_fleet")
MAY_IMPORT: dict[str, set[str]] = {
    "ingest": set(),
    "analysis": set(),
    "demo_fleet": set(),
    "dashboard": {"ingest", "analysis", "demo_fleet"},
}
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "constraints.txt", "LICENSE", ".ci", ".gitignore",
    "ingest", "analysis", "dashboard", "demo_fleet", "tests", "deploy",
}  # fmt: skip
ROOMS: dict[str, dict[str, set[str]]] = {
    "analysis": {
        "arrays": set(),
        "constants": set(),
        "stated": set(),
        "costs": set(),
        "kernel": set(),
        "circuit": set(),
        "readings": {"circuit"},
        "trace": {"circuit"},
        "logs": set(),
        "starting": {"circuit", "readings", "kernel"},
        "wear": {"circuit", "readings", "starting", "kernel"},
        "forecast": {"circuit", "readings", "starting", "wear", "kernel"},
        "worklist": {"circuit", "readings", "starting", "wear", "forecast", "costs"},
        "bay": {"circuit", "readings", "starting", "wear", "costs"},
        "plan": {"readings", "wear", "costs"},
        "backtest": {"circuit", "readings", "bay", "forecast", "worklist", "costs"},
    },
    "dashboard": {
        "words": set(),
        "desk": {"words"},
        "judging": {"words", "desk"},
        "cluster": {"words", "desk"},
        "charts": {"words"},
        "files": {"words", "desk", "charts"},
        "screens": {"words", "desk", "judging", "charts", "files"},
        "cli": {"words", "desk", "judging", "charts", "files", "screens", "cluster"},
    },
}
"""What each room may import from its own package, itself and ROOTS aside: lower rooms only, no circles."""
ROOTS = {"arrays", "constants", "stated"}
"""Root modules of `analysis` that every room may import: they import nothing."""
FORBIDDEN_IN_ANALYSIS = {
    "os",
    "sqlite3",
    "sqlite_utils",
    "pathlib",
    "time",
    "logging",
    "io",
    "sys",
    "subprocess",
    "streamlit",
}


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """First names of everything a module imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("package", PACKAGES)
def test_packages_import_one_way(package: str) -> None:
    allowed = MAY_IMPORT[package] | {package}
    for path in modules(package):
        wrong = (imported(path) & set(PACKAGES)) - allowed
        assert not wrong, f"{path.relative_to(ROOT)} imports {wrong}"


def rooms_imported(path: Path, package: str) -> set[str]:
    """Rooms of its own package that a module imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            parts = node.module.split(".")
            if parts[0] == package:
                found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
    return found


@pytest.mark.parametrize("package", sorted(ROOMS))
def test_rooms_import_lower_rooms_only(package: str) -> None:
    """Every module stands in a room of the list, and imports only from the rooms that its own may."""
    for path in modules(package):
        inside = path.relative_to(ROOT / package)
        room = inside.parts[0] if len(inside.parts) > 1 else inside.stem
        if room == "__init__":
            continue
        assert room in ROOMS[package], f"{inside} stands in no room of the list"
        wrong = rooms_imported(path, package) - ROOMS[package][room] - ROOTS - {room}
        assert not wrong, f"{package}/{inside} imports {sorted(wrong)}; allowed are {sorted(ROOMS[package][room])}"


@pytest.mark.parametrize("package", sorted(ROOMS))
def test_rooms_have_no_circles(package: str) -> None:
    """The list itself: going down from any room never leads back to it."""
    below = ROOMS[package]
    for room in below:
        reached, ahead = set(), set(below[room])
        while ahead:
            one = ahead.pop()
            reached.add(one)
            ahead |= below[one] - reached
        assert room not in reached, room


def test_streamlit_stays_in_the_screens() -> None:
    """Lists, plans, paper and the command line work without a screen."""
    for path in modules("dashboard"):
        if "screens" not in path.parts:
            names = {n.name for n in nodes(path) if isinstance(n, ast.alias)}
            assert not {n for n in names if n.split(".")[0] == "streamlit"}, path


def test_analysis_sees_no_files_database_clock_or_environment() -> None:
    for path in modules("analysis"):
        assert not imported(path) & FORBIDDEN_IN_ANALYSIS, path.name
        names = {n.id for n in nodes(path) if isinstance(n, ast.Name)}
        assert not names & {"print", "open", "input"}, path.name


def test_analysis_asks_for_no_clock() -> None:
    for path in modules("analysis"):
        calls = {n.attr for n in nodes(path) if isinstance(n, ast.Attribute)}
        assert not calls & {"now", "today", "utcnow"}, path.name


def asked_for(paths: Iterable[Path]) -> set[str]:
    """Names that code asks for: read, called, taken of something, or given as text, as `getattr` wants it."""
    found: set[str] = set()
    for path in paths:
        for node in nodes(path):
            if isinstance(node, ast.Name):
                found.add(node.id)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


def made_in(paths: Iterable[Path]) -> dict[str, Path]:
    """Functions and classes that modules make, and where."""
    return {
        node.name: path
        for path in paths
        for node in nodes(path)
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("__")
    }


def test_what_analysis_makes_is_asked_for_by_the_program() -> None:
    """What tests alone ask for belongs to them."""
    asked = asked_for(path for package in PACKAGES for path in modules(package))
    unasked = {name: path.name for name, path in made_in(modules("analysis")).items() if name not in asked}
    assert unasked == {"leave": "ready.py"}, "the kernel's way back to whole arrays, which only tests go"


def test_no_module_is_named_like_a_package_or_a_drawer() -> None:
    for package in PACKAGES:
        for path in modules(package):
            assert path.stem not in {*PACKAGES, "utils", "helpers", "misc"}, path


def test_top_level_holds_the_house_and_nothing_else() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout: nothing says which files belong to it")
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
    assert {name.split("/")[0] for name in listed} <= TOP_LEVEL


def test_the_rule_is_seen_to_be_broken(tmp_path: Path) -> None:
    """The reader of imports finds a forbidden one even inside a function."""
    module = tmp_path / "bad.py"
    module.write_text("def f():\n    from dashboard import cli\n    import ingest.store\n", encoding="utf-8")
    assert {"dashboard", "ingest"} <= imported(module)


def test_what_nobody_asks_for_is_seen(tmp_path: Path) -> None:
    """A function that calls another, and that nobody calls."""
    module = tmp_path / "alone.py"
    module.write_text("def f():\n    return g()\n\n\ndef g():\n    return 1\n", encoding="utf-8")
    assert set(made_in([module])) - asked_for([module]) == {"f"}
