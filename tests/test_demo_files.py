"""The demo's files, and the README's lines tried on them as they are printed.

Truth: the lines themselves, and the demo's own database.
"""

from __future__ import annotations

import shlex
from pathlib import Path

import pandas as pd
import pytest
from samples_fleet import fleet, quick

from dashboard.cli.commands import database, demo
from dashboard.cli.main import main
from dashboard.cli.options import DEMO_FILES
from demo_fleet.scenario import AS_OF
from ingest import store
from ingest.importer import import_paths

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own, a fixed today, and for time the small fleet in the operator's stead, without last week's list."""
    quick(monkeypatch)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRANKTREND_DB", raising=False)
    monkeypatch.setattr(demo, "demo_operator", fleet)
    monkeypatch.setattr(demo, "PUT_OFF", {})
    monkeypatch.setattr(demo, "issue_for", lambda *_, **__: None)
    monkeypatch.setattr(database, "today", lambda: AS_OF)
    return tmp_path


def own_lines() -> list[list[str]]:
    """The words of the README's lines for a user's own files."""
    block = README.split("## With your own files")[1].split("```")[1]
    return [shlex.split(line, comments=True) for line in block.splitlines()[1:] if line]


def test_the_readme_s_lines_do_what_they_say_on_the_demo_s_files(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As printed, in the folder of the demo's files: the same fleet as all of them make, and its list."""
    files = [place / file for file in demo.write_files(Path(DEMO_FILES))]
    monkeypatch.chdir(place / DEMO_FILES)
    lines = own_lines()
    assert {line[0] for line in lines} == {"cranktrend"}
    assert [line[1] for line in lines] == ["import"] * (len(lines) - 2) + ["risk", "plan"]
    for line in lines:
        assert main(line[1:]) in ((0, 1) if line[1] == "import" else (0,)), line
    said = capsys.readouterr().out
    assert f"Weekly list for {AS_OF}" in said
    assert f"Plan of {AS_OF} for 13 weeks, version 1" in said
    own, at_once = store.open_database("fleet.db"), store.open_database(place / "at_once.db")
    import_paths(at_once, files)
    for read in (store.read_units, store.read_climate):
        pd.testing.assert_frame_equal(read(own), read(at_once))
    for read, number in ((store.read_readings, "reading_id"), (store.read_repairs, "repair_id")):
        one, other = (read(db).drop(columns=number) for db in (own, at_once))
        assert len(one)
        pd.testing.assert_frame_equal(one, other)


@pytest.mark.nightly
def test_the_demo_names_its_files_and_twice_changes_nothing(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They lie where README looks for them, or where one says; the second time they are known already."""
    assert main(["demo", "--files", "elsewhere"]) == 0
    assert "the files lie in the folder elsewhere" in capsys.readouterr().err
    files = {file.name: file.read_bytes() for file in (place / "elsewhere").iterdir()}
    assert {"units.csv", "climate.csv", "repairs.csv", "readings.csv"} <= set(files)
    assert not (place / DEMO_FILES).exists()
    assert f"`{DEMO_FILES}`" in README
    assert main(["demo", "--files", "elsewhere"]) == 0
    assert " 0 stored" in capsys.readouterr().err
    assert {file.name: file.read_bytes() for file in (place / "elsewhere").iterdir()} == files


@pytest.mark.parametrize("taken", ["file", "folder", "no folder"])
def test_the_demo_overwrites_nobody_s_files(place: Path, taken: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A units.csv of the user's own, a folder of that name, a file where the folder should be: said, and left alone."""
    mine = place / "demo-files" / "units.csv"
    if taken == "no folder":
        mine = mine.parent
    mine.parent.mkdir(exist_ok=True)
    if taken == "folder":
        mine.mkdir()
    else:
        mine.write_text("unit,vehicle_class,system_v,depot\nMINE,van,12,hill\n")
    assert main(["demo"]) == (3 if taken == "no folder" else 2)
    err = capsys.readouterr().err
    assert str(mine.relative_to(place)) in err
    assert "Traceback" not in err
    assert mine.is_dir() or "MINE" in mine.read_text()
    assert [file.name for file in place.glob("demo-files/*")] in ([], ["units.csv"])
    assert store.is_empty(store.open_database(place / "demo.db"))


def test_a_folder_without_a_name_is_refused(place: Path) -> None:  # noqa: ARG001 - nothing is written elsewhere
    with pytest.raises(SystemExit, match="2"):
        main(["demo", "--files", ""])
