"""Readings flow one way: the imports of the four packages are read and held against the house's rule."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("ingest", "analysis", "dashboard", "demo_fleet")
MAY_IMPORT: dict[str, set[str]] = {
    "ingest": set(),
    "analysis": set(),
    "demo_fleet": set(),
    "dashboard": {"ingest", "analysis", "demo_fleet"},
}
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "constraints.txt", "LICENSE", ".ci", ".gitignore",
    "ingest", "analysis", "dashboard", "demo_fleet", "tests",
}  # fmt: skip
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
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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


def test_analysis_sees_no_files_database_clock_or_environment() -> None:
    for path in modules("analysis"):
        assert not imported(path) & FORBIDDEN_IN_ANALYSIS, path.name
        names = {n.id for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Name)}
        assert not names & {"print", "open", "input"}, path.name


def test_analysis_asks_for_no_clock() -> None:
    for path in modules("analysis"):
        calls = {n.attr for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Attribute)}
        assert not calls & {"now", "today", "utcnow"}, path.name


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
