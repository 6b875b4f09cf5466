"""When the fleet is judged anew: when something was written that the list of the day rests on, and only then.

Truth: the list of a day uses nothing dated that day or later, no price, no decision.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from samples_ingest import GOOD, NOW, fleet, readings_file
from sqlite_utils import Database
from streamlit.testing.v1 import AppTest

from dashboard.desk.planning import parts_in_force, save_parts
from dashboard.judging.process import JudgingFailed
from dashboard.screens import session
from dashboard.screens.session import judged_version
from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading, record_repair
from ingest.importer import import_paths
from ingest.records import issue_again, issue_weekly_list, save_decision, save_reset_answer, save_setting
from ingest.set_aside import correct_set_aside

TODAY = NOW.date()
TOMORROW = TODAY + dt.timedelta(days=1)
WHO = {"by": "anna", "reason": "misread", "now": NOW}


@pytest.fixture
def db(tmp_path: Path) -> Database:
    made = fleet(tmp_path)
    import_paths(made, [readings_file(tmp_path, GOOD)], now=NOW)
    return made


def judged_again(db: Database, write: Callable[[], object], *, day: dt.date = TODAY) -> bool:
    before = judged_version(db, day)
    write()
    return judged_version(db, day) != before


def test_what_is_dated_today_counts_from_tomorrow(db: Database) -> None:
    now = {"unit": "K-101", "rest_v": 12.6}
    repair = {"unit": "K-101", "part": "battery", "action": "charged"}
    tomorrow = judged_version(db, TOMORROW)
    assert not judged_again(db, lambda: record_reading(db, now, by="b", now=NOW))
    assert not judged_again(db, lambda: correct(db, "reading", 2, {"rest_v": 12.5}, **WHO))
    assert not judged_again(db, lambda: record_repair(db, repair, by="b", now=NOW))
    assert judged_version(db, TOMORROW) != tomorrow
    assert judged_again(db, lambda: record_reading(db, {**now, "taken_at": "2024-05-31T23:59"}, by="b", now=NOW))
    assert judged_again(db, lambda: record_repair(db, {**repair, "done_on": "2024-05-31"}, by="b", now=NOW))


def test_a_correction_counts_from_the_earlier_of_its_two_days(db: Database) -> None:
    assert judged_again(db, lambda: correct(db, "reading", 1, {"taken_at": "2024-06-01T08:00"}, **WHO))
    assert judged_again(db, lambda: correct(db, "reading", 1, {"taken_at": "2024-05-01T08:00"}, **WHO))
    assert not judged_again(db, lambda: correct(db, "reading", 1, {"rest_v": 9}, **WHO)), "it was refused"
    changed: list[int | None] = []
    assert judged_again(db, lambda: changed.append(withdraw(db, "reading", 1, **WHO).change))
    assert judged_again(db, lambda: undo(db, changed[0] or 0, by="a", now=NOW))


def test_prices_decisions_and_settings_do_not_judge_the_fleet(db: Database) -> None:
    prices = parts_in_force(db).assign(price=999.0)
    assert not judged_again(db, lambda: save_parts(db, prices, by="m", now=NOW))
    assert not judged_again(
        db, lambda: save_decision(db, unit="K-101", iso_week="2024-W22", kind="accepted", by="m", now=NOW)
    )
    assert not judged_again(db, lambda: withdraw(db, "decision", 1, **WHO))
    for key, value in (("tolerated_false_flags", 5.0), ("temperature_unit", "°F"), ("least_hours", 1.0)):
        assert not judged_again(db, lambda: save_setting(db, key, value, by="m", now=NOW)), key  # noqa: B023
    assert judged_again(db, lambda: save_setting(db, "tolerated_false_flags", 2.0, by="m", now=NOW))
    own = {"vehicle_class": {"van": {"least_cranking_rpm": 120}}}
    assert judged_again(db, lambda: save_setting(db, "limits", own, by="m", now=NOW)), "what a start needs"


def test_nothing_found_counts_from_the_next_day(db: Database) -> None:
    def looked(now: dt.datetime) -> int:
        return save_decision(db, unit="K-101", iso_week="2024-W22", kind="nothing_found", by="m", now=now)

    tomorrow = judged_version(db, TOMORROW)
    assert not judged_again(db, lambda: looked(NOW))
    assert judged_version(db, TOMORROW) != tomorrow
    assert judged_again(db, lambda: looked(NOW - dt.timedelta(days=3)))


def test_climate_vehicles_and_answers_judge_the_fleet(db: Database, tmp_path: Path) -> None:
    climate = tmp_path / "colder.csv"
    climate.write_text("depot,month,low_c,low_sd_c\nharbour,1,-9,4\n")
    assert judged_again(db, lambda: import_paths(db, [climate], now=NOW))
    assert not judged_again(db, lambda: import_paths(db, [climate], now=NOW)), "known already"
    units = tmp_path / "more.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nK-900,van,12,hill\n")
    assert judged_again(db, lambda: import_paths(db, [units], now=NOW))

    def answer(day: dt.date, word: str) -> None:
        when = dt.datetime.combine(day, dt.time(9))
        around = dt.date(2023, 5, 1)
        save_reset_answer(db, unit="K-101", part="battery", around_on=around, answer=word, by="m", now=when)

    assert not judged_again(db, lambda: answer(TODAY, "confirmed")), "given today, it counts from tomorrow"
    assert judged_again(db, lambda: answer(TODAY - dt.timedelta(days=2), "denied"))
    assert judged_again(db, lambda: answer(TODAY, "confirmed")), "the earlier answer is gone"


def test_a_row_that_was_set_aside_counts_when_it_is_corrected(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD.replace("2023-03-01", "2023-04-01").replace("12.66", "126.6"), name="slip.csv")
    assert not judged_again(db, lambda: import_paths(db, [file], now=NOW)), "nothing of it was stored"
    assert judged_again(db, lambda: correct_set_aside(db, 1, {"rest_v": "12.66"}, by="m", now=NOW))


def test_a_look_that_is_corrected_withdrawn_or_whose_list_is_issued_again_judges_the_fleet(db: Database) -> None:
    earlier, week, monday = NOW - dt.timedelta(days=3), "2024-W22", dt.date(2024, 5, 27)
    listed = {"units": [{"unit": "K-101", "part": "battery"}]}
    issue_weekly_list(db, week, as_of=monday, body=listed, now=earlier)
    looks: list[int] = []

    def look() -> None:
        looks.append(
            save_decision(db, unit="K-101", iso_week=week, kind="nothing_found", by="m", now=earlier)
        )  # fmt: skip

    assert judged_again(db, look)
    assert judged_again(db, lambda: correct(db, "decision", looks[0], {"unit": "K-102"}, **WHO))
    assert not judged_again(db, lambda: correct(db, "decision", looks[0], {"reason": "cables"}, **WHO))
    assert judged_again(
        db, lambda: issue_again(db, week, as_of=monday, body=listed, by="m", reason="x", now=NOW)
    )  # fmt: skip
    assert judged_again(db, lambda: withdraw(db, "decision", looks[0], **WHO))


# --- a judgement that fails ------------------------------------------------------------------------------------------


def test_a_failed_judgement_is_begun_again_by_itself_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    tries: list[session.Key] = []

    def fails(key: session.Key) -> None:
        tries.append(key)
        raise JudgingFailed("no memory")

    monkeypatch.setattr(session, "_assess", fails)
    judge, key = session.Judge(), session.Key("x", "1", TODAY, 30)
    with pytest.raises(JudgingFailed):
        judge.ask(key).result(10)
    failed = judge.failure(key)
    assert failed is not None
    assert failed[0] == "no memory"
    assert 0 < failed[1] <= session.RETRY_S
    assert judge.ask(key).done(), "not at once: it would fail for ever without a pause"
    monkeypatch.setattr(session, "RETRY_S", 0.0)
    with pytest.raises(JudgingFailed):
        judge.ask(key).result(10)
    assert len(tries) == 2
    monkeypatch.setattr(session, "RETRY_S", 60.0)
    monkeypatch.setattr(session, "_assess", lambda key: key)
    judge.try_again(key)
    assert judge.ask(key).result(10) == key
    assert judge.failure(key) is None
    monkeypatch.setattr(session, "RETRY_S", 0.0)
    again = judge.ask(key)
    assert again.done(), "what was found is not begun again"


def page_with_a_button(key: object) -> None:
    """A page that waits for figures, and has a button below."""
    import streamlit as st

    from dashboard.screens import session

    session.fresh_when_ready(key)
    if st.button("Issue", key="issue"):
        st.write("it was pressed")


def test_figures_that_arrive_while_a_page_is_drawn_lose_no_press(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page goes on to them a moment later; the run that carries the press is not cut short for it."""
    monkeypatch.setattr(session, "_assess", lambda key: key)
    key = session.Key("x", "arrives", TODAY, 30)
    session.judge().ask(key).result(10)
    app = AppTest.from_function(page_with_a_button, kwargs={"key": key}).run()
    app.button(key="issue").click().run()
    assert [said.value for said in app.markdown] == ["it was pressed"]
