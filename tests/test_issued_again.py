"""A week's list can be issued again with a reason; what it assumed is said on it; earlier ones stay as they were.

Truth: what the test itself issued, and the stated default for a depot without a climate.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from samples_ingest import NOW
from samples_ingest import fleet as small_fleet
from samples_screens import AS_OF, assessed, fleet_database, worst_unit
from streamlit.testing.v1 import AppTest

from analysis.forecast.choices import WEATHER
from analysis.plan.workshop_calendar import iso_week
from dashboard.desk import weekly
from dashboard.files import paper
from dashboard.screens import history
from dashboard.words.plain_text import safe
from ingest import records, store
from ingest.logbook import read_logbook
from ingest.schema import migrations

APP = Path(__file__).parents[1] / "dashboard" / "screens" / "app.py"
WEEK = iso_week(AS_OF)


def body(*units: str) -> dict[str, object]:
    return {"units": [{"unit": unit, "part": "battery"} for unit in units]}


def run() -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.run()
    assert not app.exception, app.exception
    return app


def said(app: AppTest) -> str:
    kinds = (app.markdown, app.caption, app.warning, app.error)
    return "\n".join(str(element.value) for kind in kinds for element in kind)


# --- kept ------------------------------------------------------------------------------------------------------------


def test_every_version_stays_readable(tmp_path: Path) -> None:
    db = small_fleet(tmp_path)
    week, monday = "2024-W22", dt.date(2024, 5, 27)
    with pytest.raises(ValueError, match="no list was issued"):
        records.issue_again(db, week, as_of=monday, body=body(), by="m", reason="climate", now=NOW)
    assert records.issue_weekly_list(db, week, as_of=monday, body=body("K-101"), by="m", now=NOW)
    later = dt.date(2024, 5, 29)
    with pytest.raises(ValueError, match="with a reason"):
        records.issue_again(db, week, as_of=later, body=body(), by="m", reason=" ", now=NOW)
    assert records.issue_again(db, week, as_of=later, body=body("K-102"), by="m", reason="climate", now=NOW) == 2
    assert not records.issue_weekly_list(db, week, as_of=monday, body=body(), now=NOW), "the week has its list"
    first, last = records.read_weekly_list(db, week, 1), records.read_weekly_list(db, week)
    assert first is not None
    assert last is not None
    assert (first.body, first.as_of, first.reason) == (body("K-101"), "2024-05-27", "")
    assert (last.body, last.as_of, last.version, last.by, last.reason) == (
        body("K-102"), "2024-05-29", 2, "m", "climate",
    )  # fmt: skip
    assert records.weekly_lists(db) == [week]
    assert list(records.list_versions(db, week)) == [2, 1]
    assert records.read_weekly_list(db, week, 3) is None
    assert read_logbook(db)["what"].tolist()[:2] == ["issued again", "issued"]
    assert read_logbook(db)["why"].iloc[0] == "climate"


def test_a_list_of_an_older_database_is_its_first_version(tmp_path: Path) -> None:
    db = small_fleet(tmp_path)
    db.execute("DROP TABLE weekly_lists")
    db.execute(
        "CREATE TABLE weekly_lists (iso_week TEXT PRIMARY KEY, as_of TEXT NOT NULL, issued_at TEXT NOT NULL,"
        " body TEXT NOT NULL) STRICT"
    )
    db.execute("INSERT INTO weekly_lists VALUES ('2024-W22', '2024-05-27', '2024-05-27T06:00:00', '{\"units\": []}')")
    db.execute("DELETE FROM _sqlite_migrations WHERE name = '008_lists_issued_again'")
    assert [step.name for step in migrations.pending(db)] == ["008_lists_issued_again"]
    migrations.apply(db)
    kept = records.read_weekly_list(db, "2024-W22")
    assert kept is not None
    assert (kept.version, kept.issued_at, kept.body) == (1, "2024-05-27T06:00:00", {"units": []})


def test_a_look_belongs_to_the_version_it_was_decided_on(tmp_path: Path) -> None:
    db = small_fleet(tmp_path)
    week, monday = "2024-W22", dt.date(2024, 5, 27)
    records.issue_weekly_list(db, week, as_of=monday, body=body("K-101"), now=NOW)
    look = {"unit": "K-101", "iso_week": week, "kind": "nothing_found", "by": "m"}
    records.save_decision(db, now=NOW, **look)  # type: ignore[arg-type]
    again = {"units": [{"unit": "K-101", "part": "ground_path"}]}
    later = NOW + dt.timedelta(hours=2)
    records.issue_again(db, week, as_of=monday, body=again, by="m", reason="climate", now=later)
    records.save_decision(db, now=later, by="x", **{k: v for k, v in look.items() if k != "by"})  # type: ignore[arg-type]
    assert records.read_findings(db)["part"].tolist() == ["battery", "ground_path"]


def test_a_no_start_is_held_against_the_list_that_stood_that_day(tmp_path: Path) -> None:
    """The list issued again on Wednesday must not be credited with what happened on Tuesday."""
    db = small_fleet(tmp_path)
    week, monday = "2024-W22", dt.date(2024, 5, 27)
    wednesday = dt.datetime(2024, 5, 29, 9)
    records.issue_weekly_list(db, week, as_of=monday, body=body("K-101"), now=dt.datetime(2024, 5, 27, 6))
    for units in (("K-102",), ("K-102", "K-201")):
        records.issue_again(db, week, as_of=monday, body=body(*units), by="m", reason="x", now=wednesday)
    lists = history.issued_lists(db, first=dt.date(2024, 5, 1), before=dt.date(2024, 6, 1))
    assert {day: frame["unit"].tolist() for day, frame in lists.items()} == {
        monday: ["K-101"],
        wednesday.date(): ["K-102", "K-201"],
    }


# --- said ------------------------------------------------------------------------------------------------------------


def without_climate(path: Path) -> str:
    """The database without the climate of one depot; gives the depot."""
    db = store.open_database(path)
    depot = str(assessed().units["depot"].iloc[0])
    db.execute("DELETE FROM climate WHERE depot = ?", (depot,))
    db.conn.commit()
    db.conn.close()
    return depot


def test_a_depot_without_a_climate_is_said_to_be_assumed(fleet: Path) -> None:
    assert not any("No climate" in s for s in weekly.make_body(store.open_database(fleet), assessed())["assumed"])
    depot = without_climate(fleet)
    sentence, *_ = weekly.make_body(store.open_database(fleet), assessed())["assumed"]
    low, high = WEATHER.unknown_low_c - WEATHER.unknown_sd_k, WEATHER.unknown_low_c + WEATHER.unknown_sd_k
    assert sentence == (
        f"No climate is known of {depot}: mornings of about {WEATHER.unknown_low_c:g} °C all year round, two in three between "
        f"−{-low:g} °C and {high:g} °C, are assumed there"
    )


def test_a_fleet_read_once_a_year_is_told_that_little_is_foreseen() -> None:
    """By hand: A and B read once in the year before, on two occasions the year before that; C twice, D new, E never."""
    day = pd.Timestamp("2026-11-30")
    read = [("A", "2025-03-01"), ("A", "2026-03-01T08:00"), ("A", "2026-03-01T09:00"), ("B", "2024-11-02"), ("B", "2025-12-01"),
            ("C", "2025-11-01"), ("C", "2026-02-01"), ("C", "2026-10-01"), ("D", "2026-10-01")]  # fmt: skip
    readings = pd.DataFrame(read, columns=["unit", "taken_at"]).assign(
        taken_at=lambda of: pd.to_datetime(of["taken_at"], format="mixed")
    )
    days = weekly.days_read(readings, day)
    assert weekly.seldom_read(days, [*"ABC"])[0].startswith(
        "2 of 3 vehicles were read less than twice in the year before:"
    )
    assert not weekly.seldom_read(days, [*"ABCD"]), "half of them is not most"
    assert not weekly.seldom_read(days, [*"CDE"])


def test_the_first_list_says_what_it_assumes_and_is_issued_again_with_a_reason(fleet: Path) -> None:
    depot = without_climate(fleet)
    db = store.open_database(fleet)
    assert weekly.issue(db, assessed(), by="anna")
    app = run()
    assert f"No climate is known of {safe(depot)}" in said(app)
    first = records.read_weekly_list(db, WEEK)
    app.button(key="again_now").click().run()
    assert "Say why it is issued again" in said(app)
    assert len(records.list_versions(db, WEEK)) == 1
    months = [(depot, month, -3.0) for month in range(1, 13)]
    db.conn.executemany("INSERT INTO climate (depot, month, low_c, origin_id) VALUES (?, ?, ?, 1)", months)
    db.conn.commit()
    app.text_input(key="again_why_1").set_value("the climate was missing")
    app.button(key="again_now").click().run()
    assert not app.exception
    text = said(app)
    assert "No climate is known" not in text
    assert "Issued again on" in text
    assert "the climate was missing" in text
    assert records.read_weekly_list(db, WEEK, 1) == first, "the first stays as it was"
    app.selectbox(key=f"version_{WEEK}_2").set_value(1).run()
    text = said(app)
    assert f"No climate is known of {safe(depot)}" in text
    assert "issued again since" in text


def test_an_earlier_day_s_list_is_not_issued_again(fleet: Path) -> None:
    assert weekly.issue(store.open_database(fleet), assessed(), by="anna")
    app = run()
    assert "again_now" in {button.key for button in app.button}
    app.session_state["as_of"] = AS_OF - dt.timedelta(days=1)
    app.run()
    assert "again_now" not in {button.key for button in app.button}


def test_paper_says_it_too(fleet: Path) -> None:
    depot = without_climate(fleet)
    made = weekly.make_body(store.open_database(fleet), assessed())
    issued = records.WeeklyList(
        WEEK, AS_OF.isoformat(), f"{AS_OF}T06:00:00", made, 2, "anna", "the climate was missing"
    )
    said_of = weekly.said_of_list(issued)
    assert said_of[0].startswith(f"No climate is known of {depot}")
    assert said_of[1] == "Issued again on 30 Nov 2026 (anna): the climate was missing."
    plain = dataclasses.replace(issued, version=1, body={**made, "assumed": []})
    assert weekly.said_of_list(plain) == []
    noted = dataclasses.replace(
        plain, body={**plain.body, "notes": ["thermometer about 3 ± 1 degrees high; have it checked"]}
    )
    assert weekly.said_of_list(noted, fahrenheit=True) == ["Thermometer about 5 ± 2 degrees high; have it checked."]
    units = [row for row in made["units"] if row["unit"] == worst_unit()]
    assert len(paper.list_pdf(issued, units, {})) > len(paper.list_pdf(plain, units, {}))
    assert "°F" in weekly.said_of_list(issued, fahrenheit=True)[0]


def test_other_lists_are_compared_with_the_last_version(tmp_path: Path) -> None:
    path = fleet_database(tmp_path / "fleet.db")
    db = store.open_database(path)
    before = dataclasses.replace(assessed(), as_of=pd.Timestamp(AS_OF - dt.timedelta(days=7)))
    assert weekly.issue(db, before)
    gone = dataclasses.replace(before, units=before.units.assign(flagged=False))
    assert weekly.issue_once_more(db, gone, by="m", reason="x") == 2
    assert {row["change"] for row in weekly.make_body(db, assessed())["units"]} == {"new"}
