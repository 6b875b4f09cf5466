"""Lists, decisions, plans, settings and devices are kept, and wrong calls name argument, value and range."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from samples_ingest import NOW
from sqlite_utils import Database

from ingest import records


def test_a_weekly_list_is_frozen(db: Database) -> None:
    assert records.issue_weekly_list(db, "2024-W22", as_of=date(2024, 5, 27), body={"units": [1]}, now=NOW)
    assert not records.issue_weekly_list(db, "2024-W22", as_of=date(2024, 5, 28), body={"units": []}, now=NOW)
    kept = records.read_weekly_list(db, "2024-W22")
    assert kept is not None
    assert kept.body == {"units": [1]}
    assert records.weekly_lists(db) == ["2024-W22"]
    assert records.read_weekly_list(db, "2024-W23") is None


def test_decisions(db: Database) -> None:
    records.save_decision(db, unit="K-101", iso_week="2024-W22", kind="nothing_found", by="m", now=NOW)
    records.save_decision(
        db,
        unit="K-101",
        iso_week="2024-W22",
        kind="postponed",
        reason="on tour",
        until=date(2024, 6, 9),
        by="m",
        now=NOW,
    )
    frame = records.read_decisions(db)
    assert frame["kind"].tolist() == ["nothing_found", "postponed"]
    assert frame["until"].iloc[1] == datetime(2024, 6, 9)
    assert len(records.read_decisions(db, before=date(2024, 6, 1))) == 0
    with pytest.raises(ValueError, match="kind is 'ignored'"):
        records.save_decision(db, unit="K-101", iso_week="2024-W22", kind="ignored", by="m")
    with pytest.raises(ValueError, match="postponed"):
        records.save_decision(db, unit="K-101", iso_week="2024-W22", kind="postponed", by="m")
    with pytest.raises(ValueError, match="unit is 'K-9'"):
        records.save_decision(db, unit="K-9", iso_week="2024-W22", kind="accepted", by="m")
    with pytest.raises(ValueError, match="iso_week is '2024-22'"):
        records.save_decision(db, unit="K-101", iso_week="2024-22", kind="accepted", by="m")


def test_reset_answers_replace_each_other_on_record(db: Database) -> None:
    call = {"unit": "K-101", "part": "battery", "around_on": date(2024, 3, 12), "by": "m"}
    records.save_reset_answer(db, answer="confirmed", now=NOW, **call)  # type: ignore[arg-type]
    records.save_reset_answer(db, answer="denied", now=NOW, **call)  # type: ignore[arg-type]
    assert records.read_reset_answers(db)["answer"].tolist() == ["denied"]
    assert db.execute("SELECT old_value FROM audit").fetchone()[0] == "confirmed"


def test_plans_and_pins(db: Database) -> None:
    assert records.read_plan(db) is None
    first = records.save_plan(db, as_of=date(2024, 5, 27), weeks=13, body={"jobs": []}, by="p", now=NOW)
    second = records.save_plan(db, as_of=date(2024, 6, 3), weeks=13, body={"jobs": [1]}, by="p", now=NOW)
    latest = records.read_plan(db)
    assert latest is not None
    assert (latest.version, latest.body) == (second, {"jobs": [1]})
    assert records.read_plan(db, first) is not None
    assert len(records.list_plans(db)) == 2
    pin = records.set_pin(db, unit="K-101", kind="pin", week="2024-W24", by="p", now=NOW)
    assert records.set_pin(db, unit="K-101", kind="pin", week="2024-W24", by="p", now=NOW) == pin
    assert len(records.read_pins(db)) == 1
    assert records.remove_pin(db, pin, by="p")
    assert not records.remove_pin(db, pin, by="p")


def test_settings_and_devices(db: Database) -> None:
    records.save_setting(db, "currency", "EUR", by="m", now=NOW)
    records.save_setting(db, "currency", "CHF", by="m", now=NOW)
    assert records.read_settings(db) == {"currency": "CHF"}
    assert records.read_device(db, "phone-1") == {}
    records.save_device(db, "phone-1", {"volts": "mV"}, now=NOW)
    assert records.read_device(db, "phone-1") == {"volts": "mV"}
    with pytest.raises(ValueError, match="device"):
        records.save_device(db, "", {})
