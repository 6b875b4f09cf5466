"""An assessment is worked out once: kept ones are taken, equal to fresh ones, and never taken for another.

Truth: `assess` itself on the tables as they are; what the list of a day knows, as `test_session.py` has it.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import samples_kept
from samples_chance import is_night, more_by_night, one_in
from samples_fleet import FEW, few, quick
from sqlite_utils import Database
from test_packed import Run, assert_same, pack, signed

from analysis.readings.panel import FleetTables
from analysis.readings.renewals import PARTS
from analysis.readings.taught import TaughtClass
from analysis.worklist.assess import Assessment
from dashboard.cli.main import main
from dashboard.desk import assessment as desk
from dashboard.desk import kept_assessment, taught_laws
from dashboard.desk.assessment import NothingToAssess, assess_database, load_tables, open_questions
from dashboard.desk.own_limits import save_limits
from dashboard.desk.packed import unpack
from dashboard.judging import process
from demo_fleet.export import export_fleet
from ingest import store
from ingest.backups import backup
from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading, record_repair
from ingest.fields import MEASUREMENTS
from ingest.importer import import_paths
from ingest.records import read_pins, save_decision, save_reset_answer, save_setting, set_pin

DAY = dt.date(2022, 12, 12)
NOW = dt.datetime(2022, 12, 12, 6)
EARLIER = NOW - dt.timedelta(days=2)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A few vehicles of the small fleet, through the front door."""
    folder = tmp_path_factory.mktemp("made")
    export_fleet(few(), folder / "files")
    db = store.open_database(folder / "fleet.db")
    import_paths(db, [folder / "files"], now=EARLIER)
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return folder / "fleet.db"


@pytest.fixture
def path(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(made, tmp_path / "own.db"))


@pytest.fixture
def db(path: Path) -> Database:
    return store.open_database(path)


@pytest.fixture(autouse=True)
def calls(monkeypatch: pytest.MonkeyPatch) -> list[pd.Timestamp]:
    """The days that `assess` was called for; few looks at the past, for time."""
    quick(monkeypatch)
    made_for: list[pd.Timestamp] = []
    monkeypatch.setattr(desk, "assess", counting(made_for))
    return made_for


def counting(made_for: list[pd.Timestamp], stands_in: Assessment | None = None) -> Callable[..., Assessment]:
    """`assess`, worked out once a run for equal tables, or one that gives `stands_in`, which notes the day called for."""

    def counted(*arguments: object, **options: Any) -> Assessment:
        made_for.append(options["as_of"])
        if stands_in is not None:
            return replace(stands_in, as_of=options["as_of"], horizon_days=options["horizon_days"])
        return samples_kept.assess(*arguments, **options)  # type: ignore[arg-type]

    return counted


def files(path: Path) -> list[Path]:
    return sorted(Path(f"{path}-assessments").glob(f"*{kept_assessment.SUFFIX}"))


def test_a_question_that_is_answered_is_open_no_more(
    path: Path, db: Database, capsys: pytest.CaptureFixture[str]
) -> None:
    """Contract: an answer of today closes its question, of every day, and no other one, not of the same vehicle either, for
    command and page alike."""
    found = assess_database(db, as_of=DAY)
    unit, part, day = found.resets.iloc[0][["unit", "part", "around_on"]]
    others = found.resets.iloc[1:].reset_index(drop=True)
    assert len(others)
    pd.testing.assert_frame_equal(open_questions(db, found), found.resets)
    for answer in ("denied", "confirmed"):
        save_reset_answer(db, unit=unit, part=part, around_on=day.date(), answer=answer, by="m", now=NOW)
        pd.testing.assert_frame_equal(open_questions(db, found).reset_index(drop=True), others)
    assert main(("--db", str(path), "resets", "list", "--as-of", DAY.isoformat())) == 0
    assert [line.split(":")[0] for line in capsys.readouterr().out.splitlines()] == others["unit"].tolist()
    asked = others.iloc[0]
    another = next(name for name in PARTS if name != asked["part"])
    for part, day in ((another, asked["around_on"]), (asked["part"], asked["around_on"] + pd.Timedelta(days=1))):
        save_reset_answer(db, unit=asked["unit"], part=part, around_on=day.date(), answer="denied", by="m", now=NOW)
        pd.testing.assert_frame_equal(open_questions(db, found).reset_index(drop=True), others)


@more_by_night
def test_commands_on_unchanged_data_work_nothing_out(
    path: Path, calls: list[pd.Timestamp], capsys: pytest.CaptureFixture[str]
) -> None:
    """The first command works it out; the others, and the same again, take what it kept and say the same; by night some anew."""
    unit = str(few().units["unit"].iloc[0])
    told = ("--db", str(path), "--as-of", DAY.isoformat())
    commands = (("risk", "--all"), ("unit", unit), ("plan",), ("classes",), ("resets", "list"))
    said = []
    for words in (*commands, *commands):
        assert main((*words, *told)) == 0
        said.append(capsys.readouterr().out)
        assert len(calls) == 1, words
    assert said[:5] == said[5:]
    folder = Path(f"{path}-assessments")
    assert folder.stat().st_mode & 0o777 == 0o700, "its owner's only, as the database is"
    assert {one.stat().st_mode & 0o777 for one in folder.iterdir()} == {0o600}
    if not is_night():
        return
    shutil.rmtree(f"{path}-assessments")
    for words, before in zip(commands[::2], said[:5:2], strict=True):
        assert main((*words, *told)) == 0
        assert capsys.readouterr().out == before, "worked out anew it says the same"
    assert len(calls) == 2


SLOW_TO_LOAD = ("scipy.stats", "scipy.optimize", "scipy.sparse", "numba", "sklearn", "altair", "streamlit")
LOADED = """
import json, sys
from dashboard.cli.main import main
for words in json.loads(sys.argv[1]):
    main(words)
sys.stderr.write(json.dumps([name for name in json.loads(sys.argv[2]) if name in sys.modules]))
"""


def test_a_reading_a_sheet_and_a_kept_list_load_no_library_that_takes_as_long_as_they_do(
    path: Path, db: Database
) -> None:
    """A reading of its own vehicle and another's, which asks whose it is; each such library takes .2 to .5 s to load."""
    assess_database(db, as_of=DAY)
    own, other = few().units.sort_values(["system_v", "vehicle_class"])["unit"].iloc[[-1, -2]]
    values = store.read_readings(db, units=[other]).iloc[-1][list(MEASUREMENTS)].dropna()
    read = [word for name, value in values.items() for word in (f"--{str(name).replace('_', '-')}", str(value))]
    told = ("--db", str(path), "--as-of", DAY.isoformat())
    commands = [["record", unit, *told[:2], "--taken-at", f"{DAY}T08:00", "--dry-run", *read] for unit in (own, other)]
    commands += [["unit", own, *told], ["risk", *told]]
    done = subprocess.run(
        [sys.executable, "-c", LOADED, json.dumps(commands), json.dumps(SLOW_TO_LOAD)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert f"Is this {other}" in done.stdout + done.stderr
    assert json.loads(done.stderr.splitlines()[-1]) == []


def taught_here(db: Database) -> tuple[TaughtClass, ...]:
    """Laws of another fleet: this one's own, with batteries a little better."""
    found = assess_database(db, as_of=DAY).teaches
    return tuple(replace(one, usual=0.95 * one.usual) for one in found)


def changes(db: Database, tmp_path: Path) -> list[tuple[str, Callable[[], object], bool]]:
    """What may happen to a database, and whether the list of DAY knows of it."""
    unit, other = few().units["unit"].iloc[:2]
    values = {"unit": unit, "taken_at": "2022-12-05T07:30", "rest_v": 12.4, "crank_min_v": 10.9, "crank_a": 190}
    (tmp_path / "colder.csv").write_text(f"depot,month,low_c\n{few().units['depot'].iloc[0]},12,-19\n")
    (tmp_path / "more.csv").write_text("unit,vehicle_class,system_v,depot\nZ-1,van,12,hill\n")
    who = {"by": "anna", "now": EARLIER}
    last: list[int] = []

    def numbered(entry: object) -> None:
        assert not entry.problems  # type: ignore[attr-defined]
        last.append(entry.change or entry.row_id)  # type: ignore[attr-defined]

    return [
        ("climate", lambda: import_paths(db, [tmp_path / "colder.csv"], now=EARLIER), True),
        ("the same file", lambda: import_paths(db, [tmp_path / "colder.csv"], now=EARLIER), False),
        ("vehicle", lambda: import_paths(db, [tmp_path / "more.csv"], now=EARLIER), True),
        ("reading", lambda: numbered(record_reading(db, values, by="anna", now=EARLIER)), True),
        ("corrected", lambda: numbered(correct(db, "reading", last[0], {"crank_a": 210}, reason="misread", **who)), True),
        ("put back", lambda: numbered(undo(db, last[-1], **who)), True),
        ("withdrawn", lambda: numbered(withdraw(db, "reading", last[0], reason="wrong", **who)), True),
        ("reading of the day", lambda: record_reading(db, {**values, "taken_at": "2022-12-12T05:00"}, by="b", now=NOW), False),
        ("repair", lambda: record_repair(
            db, {"unit": other, "done_on": "2022-12-01", "part": "battery", "action": "replaced"}, by="b", now=EARLIER
        ), True),
        ("answer", lambda: save_reset_answer(
            db, unit=unit, part="battery", around_on=dt.date(2022, 3, 1), answer="confirmed", by="m", now=EARLIER
        ), True),
        ("looked at", lambda: save_decision(
            db, unit=unit, iso_week="2022-W47", kind="nothing_found", by="m", now=EARLIER
        ), True),
        ("tolerated", lambda: save_setting(db, "tolerated_false_flags", 2.0, by="m", now=NOW), True),
        ("own limits", lambda: save_limits(
            db, f'[vehicle_class."{few().units["vehicle_class"].iloc[0]}"]\nleast_cranking_rpm = 160\n', by="m"
        ), True),
        ("laws", lambda: save_setting(db, taught_laws.SETTING, [one.plain() for one in taught_here(db)], by="m", now=NOW), True),
        ("pin", lambda: set_pin(db, unit=unit, week="2022-W52", kind="pin", by="m", now=NOW), False),
        ("temperatures", lambda: save_setting(db, "temperature_unit", "°F", by="m", now=NOW), False),
    ]  # fmt: skip


COMPARED = ("vehicle", "withdrawn", "answer", "looked at", "own limits", "laws")
"""After these the kept one is held against `assess` itself; after the others, that it was made anew."""


@pytest.mark.nightly
def test_what_is_kept_equals_a_fresh_one_whatever_was_written(
    db: Database, tmp_path: Path, calls: list[pd.Timestamp], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After imports, corrections, withdrawals and answers: made again where the day knows of it, and equal to `assess`.

    Other tables than the day's would be another key of `samples_kept`, and another assessment.
    """
    assess_database(db, as_of=DAY)
    for name, write, known in changes(db, tmp_path):
        before = len(calls)
        stand_in = None if name in COMPARED else assess_database(db, as_of=DAY)
        monkeypatch.setattr(desk, "assess", counting(calls, stand_in))
        write()
        assess_database(db, as_of=DAY)
        assert len(calls) - before == int(known), name
        kept = assess_database(db, as_of=DAY)
        assert len(calls) - before == int(known), f"{name}: kept at once"
        if name in COMPARED:
            tolerated = kept_assessment.tolerated_false_flags(db)
            told = load_tables(db, before=DAY)
            fresh = samples_kept.assess(told, as_of=pd.Timestamp(DAY), tolerated_false_flags=tolerated)
            assert_same(kept, fresh, name)
    assert len(read_pins(db)) == 1


def test_every_table_that_an_assessment_is_made_of_makes_it_anew() -> None:
    """A table added to the assessment joins the version; answers and looks are in it by their own rows, laws
    of another fleet by their setting; names of classes are those of the vehicles."""
    fields = {field.name for field in dataclasses.fields(FleetTables)}
    assert fields - {"reset_answers", "findings", "taught", "classes"} == set(kept_assessment.JUDGED_TABLES)


def test_days_and_horizons_are_kept_apart_and_the_oldest_goes(
    db: Database, path: Path, calls: list[pd.Timestamp], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Four, of which three stay; each is the one that was asked for."""
    monkeypatch.setattr(desk, "assess", counting(calls, assess_database(db, as_of=DAY)))
    shutil.rmtree(f"{path}-assessments")
    calls.clear()
    asked = [(DAY, 30), (DAY, 60), (DAY - dt.timedelta(days=7), 30), (DAY - dt.timedelta(days=14), 30)]
    for day, horizon in (*asked, *asked[1:]):
        found = assess_database(db, as_of=day, horizon_days=horizon)
        assert (found.as_of.date(), found.horizon_days) == (day, horizon)
    assert len(calls) == 4
    assert len(files(path)) == kept_assessment.KEPT
    assess_database(db, as_of=DAY)
    assert len(calls) == 5


@pytest.mark.parametrize("damage", one_in(2, ["cut", "changed", "empty", "another", "pickle", "folder"]))
def test_a_kept_one_that_is_wrong_is_made_anew(
    db: Database, path: Path, tmp_path: Path, damage: str, calls: list[pd.Timestamp]
) -> None:
    """Damaged, cut off, empty, of another kind, or written by somebody else: the same figures, made again, kept again."""
    first = assess_database(db, as_of=DAY)
    (file,) = files(path)
    content = file.read_bytes()
    file.unlink()
    if damage == "folder":
        file.mkdir()
    else:
        wrong = {
            "cut": content[: len(content) // 2],
            "changed": content[:5000] + b"\x00\xff" + content[5002:],
            "empty": b"",
            "another": pack(("no", "assessment")),
            "pickle": signed(tree=pd.Series([Run(tmp_path / "trap")], dtype=object).to_numpy()),
        }
        file.write_bytes(wrong[damage])
    assert_same(assess_database(db, as_of=DAY), first)
    assert len(calls) == 2
    assert not (tmp_path / "trap").exists()
    if damage != "folder":
        assess_database(db, as_of=DAY)
        assert len(calls) == 2


def throw_away(path: Path) -> None:
    """Remove a database as a person does: its files, not the folder beside it."""
    for file in path.parent.glob(f"{path.name}*"):
        if file.is_file():
            file.unlink()


def test_another_database_of_the_same_name_gets_none_of_it(
    made: Path, path: Path, db: Database, tmp_path: Path, calls: list[pd.Timestamp], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database thrown away and imported again, and one gone back to a backup: as many writes, other rows."""
    monkeypatch.setattr(desk, "assess", counting(calls, assess_database(db, as_of=DAY)))
    db.conn.close()
    calls.clear()
    files_of = made.parent / "files"
    for low in ("-3", "-21"):
        throw_away(path)
        (tmp_path / "climate.csv").write_text(f"depot,month,low_c\n{few().units['depot'].iloc[0]},12,{low}\n")
        db = store.open_database(path)
        import_paths(db, [files_of, tmp_path / "climate.csv"], now=EARLIER)
        assess_database(db, as_of=DAY)
        saved = tmp_path / f"saved {low}.db"
        backup(db, saved)
        db.conn.close()
    assert len(calls) == 2
    unit = few().units["unit"].iloc[0]
    for amps in (150, 250):
        throw_away(path)
        shutil.copyfile(saved, path)
        db = store.open_database(path)
        assess_database(db, as_of=DAY)
        assert len(calls) == (2 if amps == 150 else 3), "the backup is the same database still"
        record_reading(db, {"unit": unit, "taken_at": "2022-12-05T07:30", "crank_a": amps}, by="b", now=EARLIER)
        assess_database(db, as_of=DAY)
        db.conn.close()
    assert len(calls) == 4


def test_another_program_makes_its_own(
    db: Database, calls: list[pd.Timestamp], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After an update nothing of the old program's is shown."""
    assess_database(db, as_of=DAY)
    monkeypatch.setattr(kept_assessment, "program", lambda: "another")
    assess_database(db, as_of=DAY)
    assert len(calls) == 2


def test_a_place_that_cannot_be_written_to_costs_time_only(db: Database, path: Path, calls: list[pd.Timestamp]) -> None:
    """A file stands where the folder should be (permissions do not bind whoever runs the tests as root)."""
    Path(f"{path}-assessments").write_text("in the way")
    assert len(assess_database(db, as_of=DAY).units) == len(FEW)
    assert len(assess_database(db, as_of=DAY).units) == len(FEW)
    assert len(calls) == 2
    memory = Database(memory=True)
    assert kept_assessment.folder_of(memory) is None


def test_the_screens_take_what_a_command_kept(path: Path, db: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """One way for both: no process of its own is begun."""
    first = assess_database(db, as_of=DAY)
    monkeypatch.setattr(process.subprocess, "Popen", lambda *_, **__: pytest.fail("judged again"))
    assert_same(process.assess_apart(str(path), DAY, 30), first)


@pytest.mark.parametrize("kept", [True, False])
def test_what_is_judged_beside_the_screens_is_written_once(
    path: Path, db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, kept: bool
) -> None:
    """The file handed over is the kept one; where nothing can be kept (a file stands in the folder's way), one of its own."""
    if not kept:
        Path(f"{path}-assessments").write_text("in the way")
    monkeypatch.setattr(process, "give_way", lambda _by: None)
    out = tmp_path / "handed over"
    assert process.main([str(path), DAY.isoformat(), "30", str(out)]) == 0
    assert out.is_symlink() == kept
    assert_same(unpack(out.read_bytes()), assess_database(db, as_of=DAY))


def test_reads_within_a_moment_see_nothing_later(db: Database, path: Path) -> None:
    """What is kept under a version is made of that version's rows: a row that comes between is not seen."""
    with store.at_one_moment(db):
        before = kept_assessment.judged_version(db, DAY)
        other = sqlite3.connect(path)
        other.execute("INSERT INTO writes (table_name, token) VALUES ('units', 'x')")
        other.execute("UPDATE units SET depot = 'elsewhere'")
        other.commit()
        other.close()
        assert "elsewhere" not in set(store.read_units(db)["depot"])
        assert kept_assessment.judged_version(db, DAY) == before
    assert kept_assessment.judged_version(db, DAY) != before
    assert not db.conn.in_transaction


def test_an_empty_database_keeps_nothing(tmp_path: Path) -> None:
    db = store.open_database(tmp_path / "empty.db")
    with pytest.raises(NothingToAssess):
        assess_database(db, as_of=DAY)
    assert not Path(f"{tmp_path / 'empty.db'}-assessments").exists()
