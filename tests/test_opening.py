"""A list or a plan is issued by somebody, at a time; that opening a page writes nothing is in `test_columns.py`.

Truth: the database's own content, written out before and after.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from samples_screens import AS_OF, assessed, content
from test_views import run, said

from analysis.plan.workshop_calendar import iso_week
from dashboard.cli.commands import post
from dashboard.cli.main import main
from dashboard.desk import weekly
from dashboard.desk.planning import load_plan
from ingest import store
from ingest.records import read_plan, read_weekly_list

WEEK = iso_week(AS_OF)


def test_the_list_is_issued_by_somebody(fleet: Path) -> None:
    db = store.open_database(fleet)
    app = run()
    assert f"The list of {WEEK} is not issued: this is how it would be" in said(app).replace("\\", "")
    app.button(key="issue_now").click().run()
    assert "Give your name" in said(app)
    assert read_weekly_list(db, WEEK) is None
    app.text_input(key="who_issue").set_value("anna")  # sent with the press: nothing is drawn in between
    app.button(key="issue_now").click().run()
    issued = read_weekly_list(db, WEEK)
    assert issued is not None
    assert (issued.by, issued.issued_at[:10]) == ("anna", AS_OF.isoformat())
    text = said(app).replace("\\", "")
    assert f"The list of {WEEK} is issued." in text
    assert "not issued" not in text
    assert "Issued by anna on 30 Nov 2026" in text
    assert "issue_now" not in {button.key for button in app.button}


def test_the_monday_job_issues_list_and_plan_once(
    fleet: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(post, "assess_database", lambda *_, **__: assessed())
    job = ["--db", str(fleet), "issue", "--as-of", AS_OF.isoformat(), "--by", "the Monday job"]
    assert main(job) == 0
    db = store.open_database(fleet)
    issued, plan = read_weekly_list(db, WEEK), read_plan(db)
    assert issued is not None
    assert plan is not None
    assert (issued.by, issued.version, plan.by, plan.version) == ("the Monday job", 1, "the Monday job", 1)
    count = len(issued.body["units"])
    visits = plan.body["summary"]["visits"]
    assert capsys.readouterr().out.splitlines() == [
        f"The list of {WEEK} is issued; vehicles that need attention: {count}.",
        f"Version 1 of the plan is issued; visits: {visits}.",
    ]
    before = content(fleet)
    assert main(job) == 0
    assert content(fleet) == before
    assert "stands as it was issued on" in capsys.readouterr().out


def test_the_week_that_nobody_issued_can_still_be_followed_by_earlier_lists(fleet: Path) -> None:
    db = store.open_database(fleet)
    before = AS_OF - dt.timedelta(days=7)
    assert weekly.issue(db, dataclasses.replace(assessed(), as_of=pd.Timestamp(before)), by="bo")
    app = run()
    assert app.selectbox(key="week").options == [WEEK, iso_week(before)]
    app.selectbox(key="week").set_value(iso_week(before)).run()
    text = said(app).replace("\\", "")
    assert "Issued by bo" in text
    assert "not issued" not in text
    assert "issue_now" not in {button.key for button in app.button}


def test_the_first_plan_is_issued_by_somebody(fleet: Path) -> None:
    db = store.open_database(fleet)
    app = run("plan")
    assert "No plan is issued yet: this is how it would be." in said(app)
    assert load_plan(db) is None
    app.session_state["plan_tab"] = "Move a visit"
    assert "Issue the plan first" in said(app.run())
    app.text_input(key="who_plan").set_value("anna")  # sent with the press: nothing is drawn in between
    app.button(key="plan_now").click().run()
    kept = read_plan(db)
    assert kept is not None
    assert (kept.version, kept.by) == (1, "anna")
    assert "Version 1, 13 weeks" in said(app)
