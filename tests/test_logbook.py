"""Who did what: every kind of thing that is put on record, newest first, by vehicle, name and day; and its commands.

Truth: what the test itself did, in its order.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from samples_ingest import GOOD, NOW, fleet, readings_file
from sqlite_utils import Database

from dashboard.cli.main import main
from ingest import records
from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading, record_repair
from ingest.importer import import_paths
from ingest.logbook import read_logbook
from ingest.set_aside import correct_set_aside, dismiss_set_aside
from ingest.store import open_database, read_readings

HOSTILE = "\x1b[31mX‮"


def later(hours: int) -> datetime:
    return NOW + timedelta(hours=hours)


@pytest.fixture
def db(tmp_path: Path) -> Database:
    """Reading 1 from a file; by ben: reading 2, repair 1; by anna: the rest, one thing an hour."""
    made = fleet(tmp_path)
    slip = GOOD.replace("2023-03-01", "2023-04-01").replace("12.66", "126.6")
    import_paths(made, [readings_file(tmp_path, GOOD, slip)], now=later(1))
    values = {"unit": "K-101", "taken_at": "2024-05-01T09:00", "rest_v": 12.6}
    record_reading(made, values, by="ben", now=later(2))
    record_repair(made, {"unit": "K-102", "part": "battery", "action": "charged"}, by="ben", now=later(3))
    correct_set_aside(made, 1, {"rest_v": "12.66"}, by="anna", now=later(4))
    records.save_decision(made, unit="K-102", iso_week="2024-W22", kind="accepted", by="anna", now=later(5))
    change = correct(made, "reading", 2, {"unit": "K-102"}, by="anna", reason="wrong van", now=later(6)).change
    undo(made, change or 0, by="anna", now=later(7))
    withdraw(made, "decision", 1, by="anna", reason="slip", now=later(8))
    records.save_setting(made, "least_hours", 1.0, by="anna", now=later(9))
    return made


def test_everything_is_there_newest_first(db: Database) -> None:
    done = read_logbook(db)
    assert done["what"].tolist() == [
        "changed", "withdrawn", "changed", "changed", "decided", "corrected", "admitted", "recorded", "recorded",
        "imported", "imported", "imported",
    ]  # fmt: skip
    assert done["by"].tolist() == ["anna"] * 7 + ["ben"] * 2 + ["import"] * 3
    assert done["record"].tolist()[:5] == [
        "settings least_hours", "decision 1", "reading 2", "reading 2", "decision 1",
    ]  # fmt: skip
    moved = done.iloc[3]
    assert moved[["column", "old", "new", "why", "unit"]].tolist() == ["unit", "K-101", "K-102", "wrong van", "K-101"]
    assert moved["change"] > 0
    assert (done.loc[done["what"] == "recorded", "change"] == 0).all()


def test_by_vehicle_name_and_day(db: Database) -> None:
    both = read_logbook(db, unit="K-102")
    assert both["record"].tolist() == ["decision 1", "reading 2", "reading 2", "decision 1", "repair 1"], "moved there"
    assert read_logbook(db, unit="K-102", who="BEN")["record"].tolist() == ["repair 1"]
    assert len(read_logbook(db, since=date(2024, 6, 2))) == 0
    assert len(read_logbook(db, since=NOW.date(), most=3)) == 3
    assert read_logbook(db, unit="K-9").empty
    with pytest.raises(ValueError, match="most"):
        read_logbook(db, most=0)


def test_withdrawn_entries_and_dismissed_rows_stay_in_it(db: Database, tmp_path: Path) -> None:
    withdraw(db, "reading", 2, by="anna", reason="twice", now=later(10))
    withdraw(db, "repair", 1, by="anna", reason="twice", now=later(11))
    import_paths(db, [readings_file(tmp_path, GOOD.replace("K-101", "K-9"), name="b.csv")], now=later(12))
    dismiss_set_aside(db, 2, reason="not ours", by="anna", now=later(13))
    done = read_logbook(db)
    assert done["what"].tolist()[:4] == ["dismissed", "imported", "withdrawn", "withdrawn"]
    recorded = done[done["what"] == "recorded"]
    assert recorded["record"].tolist() == ["repair 1", "reading 2"]
    assert recorded["unit"].tolist() == ["K-102", "K-101"]


# --- commands --------------------------------------------------------------------------------------------------------


def test_the_commands_correct_withdraw_and_undo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "fleet.db")
    import_paths(fleet(tmp_path), [readings_file(tmp_path, GOOD)], now=NOW)

    def run(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main(["--db", path, *words])
        got = capsys.readouterr()
        return code, got.out, got.err

    code, out, _ = run("correct", "reading", "1", "crank_a=175", "unit=K-102", "--reason", "wrong van")
    assert code == 0
    assert out.startswith("reading 1: corrected; to undo it: cranktrend undo ")
    number = out.rsplit(" ", 1)[1].strip()
    row = read_readings(open_database(path)).iloc[0]
    assert (row["unit"], row["crank_a"]) == ("K-102", 175.0)
    code, out, err = run("correct", "reading", "1", "rest_v=9", "--reason", "misread")
    assert (code, out) == (1, "")
    assert "above rest volts" in err
    code, _, err = run("withdraw", "reading", "1")
    assert code == 1
    assert "needs a reason" in err
    assert run("withdraw", "reading", "1", "--reason", "twice")[0] == 0
    assert read_readings(open_database(path)).empty
    code, _, err = run("undo", number)
    assert code == 2
    assert "is withdrawn" in err
    out = run("logbook", "--unit", "K-102", "--who", "command")[1]
    assert [line.split(": ")[1][:19] for line in out.splitlines()] == [
        "withdrawn reading 1", "changed reading 1 (", "changed reading 1 (",
    ]  # fmt: skip
    last = out.splitlines()[0].rsplit(" ", 1)[1].rstrip("]")
    assert run("undo", last)[0] == 0
    assert run("undo", number)[0] == 0
    row = read_readings(open_database(path)).iloc[0]
    assert (row["unit"], row["crank_a"]) == ("K-101", 170.0)
    assert run("logbook", "--since", "2099-01-01")[1] == "nothing is on record\n"
    assert run("logbook", "--format", "csv")[1].startswith("at,by,what,record,unit,column,old,new,why,change\n")


def test_what_was_typed_cannot_command_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    db = fleet(tmp_path)
    records.save_decision(db, unit="K-101", iso_week="2024-W22", kind="accepted", by=HOSTILE, reason=HOSTILE, now=NOW)
    assert main(["--db", str(tmp_path / "fleet.db"), "logbook"]) == 0
    assert not {"\x1b", "‮"} & set(capsys.readouterr().out)
