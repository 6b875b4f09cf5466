"""The screens behind a sign-in: what nobody, an unknown account, each role and the holder of a code find."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from samples_chance import one_in
from samples_screens import assess_here, one_reading_database, shown
from streamlit.testing.v1 import AppTest

from dashboard.desk.rights import code_of
from dashboard.screens import visitor
from ingest import store
from ingest.accounts import code_secret, first_code_secret, give_roles, new_code_secret, read_accounts
from ingest.fields import ROLES

APP = Path(__file__).resolve().parents[1] / "dashboard" / "screens" / "app.py"
UNIT = "X-1"


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One vehicle behind a sign-in by header, with an account of each role, called as its role is."""
    path = shown(monkeypatch, one_reading_database(tmp_path / "one.db"), assess_here)
    db = store.open_database(path)
    for role in ROLES:
        give_roles(db, role, [role], by="test")
    first_code_secret(db, by="test")
    db.conn.close()
    monkeypatch.setenv(visitor.SIGN_IN_VARIABLE, visitor.BY_HEADER)
    comes(monkeypatch, "")
    return path


def comes(monkeypatch: pytest.MonkeyPatch, account: str) -> None:
    monkeypatch.setattr(visitor, "account", lambda: account)


def code(path: Path, unit: str = UNIT) -> str:
    db = store.open_database(path)
    made = code_of(code_secret(db), unit)
    db.conn.close()
    return made


def opened(page: str = "", **query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device_told"] = True  # a browser that keeps nothing
    for name, value in query.items():
        app.query_params[name] = value
    if page:
        app.switch_page(f"views/{page}.py")
    app.run()
    assert not app.exception
    return app


def text_of(app: AppTest) -> str:
    """Everything that stands on the page."""
    kinds = (app.title, app.markdown, app.caption, app.info, app.warning, app.error, app.success)
    return "\n".join(str(one.value) for kind in kinds for one in kind).replace("\\", "")


def test_nobody_sees_nothing(fleet: Path) -> None:  # noqa: ARG001
    app = opened()
    assert "Nobody told these screens who you are" in text_of(app)
    assert not app.text_input
    assert not app.button
    assert UNIT not in text_of(app)


def test_an_unknown_account_is_told_whom_to_ask(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    comes(monkeypatch, "<b>eve</b>")
    app = opened(unit=UNIT)
    assert "Your account <b>eve</b> is not known here. Ask administrator to give it a role." in text_of(app)
    assert not app.text_input
    db = store.open_database(fleet)
    db.execute("DELETE FROM accounts")
    db.conn.commit()
    assert "make the first one: cranktrend accounts give" in text_of(opened())


@pytest.mark.parametrize("role", one_in(4, ROLES))
def test_an_account_with_a_role_has_all_pages_and_no_box_for_a_name(
    fleet: Path,  # noqa: ARG001
    monkeypatch: pytest.MonkeyPatch,
    role: str,
) -> None:
    comes(monkeypatch, role)
    app = opened()
    assert f"Signed in as **{role}** ({role})" in text_of(app)
    assert "Your name, for the record" not in [box.label for box in app.text_input]
    offered = any(button.label.startswith("Issue the list") for button in app.button)
    assert offered == (role in ("manager", "administrator"))
    refused = "To issue the list you have to be manager or administrator; you are" in text_of(app)
    assert refused != offered


def test_a_page_offers_what_the_role_may_and_says_who_may_the_rest(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A planner at the pages of others, a technician at the planner's."""
    del fleet
    comes(monkeypatch, "planner")
    app = opened("work", unit=UNIT)
    assert "to record readings, starts" in text_of(app).casefold()
    assert not [b for b in app.button if b.label in ("Save repair", "Save start")]
    comes(monkeypatch, "technician")
    files = opened("files")
    assert (
        "to bring in files and descriptions you have to be planner, manager or administrator"
        in text_of(files).casefold()
    )
    assert not [b for b in files.button if b.label == "Bring in"]


def test_an_administrator_gives_and_takes_roles_on_the_settings_page(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    comes(monkeypatch, "planner")
    planner = opened("settings")
    assert planner.button(key="save_settings").disabled
    assert "Accounts and their roles" not in [one.value for one in planner.subheader]
    comes(monkeypatch, "administrator")
    app = opened("settings")
    app.text_input(key="account").set_value("kim")
    app.multiselect(key="account_roles").set_value(["technician", "planner"])
    app.button(key="give_roles").click().run()
    assert "kim: technician, planner" in text_of(app)
    app.text_input(key="account").set_value("administrator")
    app.multiselect(key="account_roles").set_value(["administrator"])
    app.button(key="take_roles").click().run()
    assert "administrator is the only administrator; make another one first" in text_of(app)
    before = code(fleet)
    app.button(key="new_codes_now").click().run()
    assert code(fleet) != before
    db = store.open_database(fleet)
    assert read_accounts(db)["kim"] == ("technician", "planner")
    assert {
        row[0] for row in db.execute("SELECT by FROM audit WHERE row_key IN ('kim', 'all') ORDER BY id DESC LIMIT 2")
    } == {"administrator"}


def test_what_is_recorded_names_the_account(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    comes(monkeypatch, "technician")
    app = opened("bay", unit=UNIT)
    app.session_state["who"] = "somebody else"
    app.text_input(key="m_rest_v_X-1_0").set_value("12.5")
    app.text_input(key="m_crank_min_v_X-1_0").set_value("10.4").run()
    app.button(key="save").click().run()
    assert not app.exception
    assert "measured by technician" in text_of(app)
    db = store.open_database(fleet)
    row = db.execute(
        "SELECT r.technician, o.by FROM readings r JOIN origins o ON o.id = r.origin_id ORDER BY 1 DESC"
    ).fetchone()
    assert tuple(row) == ("technician", "technician")


def test_a_code_opens_the_bay_of_its_vehicle_and_nothing_else(fleet: Path) -> None:
    db = store.open_database(fleet)
    db.execute(
        "INSERT INTO units (unit, vehicle_class, system_v, depot, origin_id) VALUES ('Z-9', 'van', 12, 'yard', 1)"
    )
    db.conn.commit()
    app = opened("bay", unit=UNIT, code=code(fleet))
    assert f"**{UNIT}**" in text_of(app).replace("-", "-")
    assert "Z-9" not in text_of(app)
    assert not [box for box in app.text_input if box.label in ("Find a vehicle", "Vehicle")]
    app.text_input(key="who_bay").set_value("Kim").run()
    app.text_input(key="m_rest_v_X-1_0").set_value("12.5")
    app.text_input(key="m_crank_min_v_X-1_0").set_value("10.4").run()
    app.button(key="save").click().run()
    assert not app.exception
    assert [b.label for b in app.button if b.key == "undo_saved"] == ["Undo"]
    kept = db.execute("SELECT count(*), max(technician) FROM readings").fetchone()
    assert tuple(kept) == (2, "Kim, windscreen code")
    app.button(key="undo_saved").click().run()
    assert not app.exception
    assert db.execute("SELECT count(*) FROM readings").fetchone()[0] == 1, "what was just saved can be taken back"
    start = opened(unit=UNIT, code=code(fleet))
    assert f"This code opens {UNIT} only." in text_of(start)
    assert not start.text_input


@pytest.mark.parametrize("wrong", ["other", "vehicle", "revoked"])
def test_a_wrong_code_opens_nothing(fleet: Path, wrong: str) -> None:
    shown_code = code(fleet, "Z-9" if wrong == "vehicle" else UNIT)
    if wrong == "other":
        shown_code = shown_code[::-1]
    if wrong == "revoked":
        new_code_secret(store.open_database(fleet), by="test", reason="stolen")
    app = opened(unit=UNIT, code=shown_code)
    assert "This code opens nothing any more" in text_of(app)
    assert f"**{UNIT}**" not in text_of(app)
    assert not app.text_input


def test_a_code_that_is_revoked_meanwhile_saves_nothing(fleet: Path) -> None:
    app = opened("bay", unit=UNIT, code=code(fleet))
    app.text_input(key="m_rest_v_X-1_0").set_value("12.5")
    app.text_input(key="m_crank_min_v_X-1_0").set_value("10.4").run()
    db = store.open_database(fleet)
    new_code_secret(db, by="test", reason="stolen")
    app.button(key="save").click().run()
    assert db.execute("SELECT count(*) FROM readings").fetchone()[0] == 1


def test_where_nobody_signs_in_nothing_is_different(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The box for a name, every page, and a printed code without a signature."""
    del fleet
    monkeypatch.setenv(visitor.SIGN_IN_VARIABLE, "")
    app = opened()
    assert "Your name, for the record" in [box.label for box in app.text_input]
    assert "Signed in as" not in text_of(app)
    bay = opened("bay", unit=UNIT)
    assert [b.label for b in bay.button if b.key == "another"]


@pytest.mark.parametrize(
    ("claims", "account"),
    [
        ({"is_logged_in": True, "email": "ada@fleet.example"}, "ada@fleet.example"),
        ({"is_logged_in": True, "email": "ada@fleet.example", "email_verified": True}, "ada@fleet.example"),
        ({"is_logged_in": True, "email": "ada@fleet.example", "email_verified": False}, ""),
        ({"is_logged_in": False, "email": "ada@fleet.example"}, ""),
        ({"is_logged_in": True, "name": "Ada"}, ""),
        ({"is_logged_in": True, "email": "a\nb"}, ""),
        ({"is_logged_in": True, "email": "a" * 65}, ""),
        ({}, ""),
    ],
)
def test_the_account_of_a_provider_is_its_claim(
    monkeypatch: pytest.MonkeyPatch, claims: dict[str, object], account: str
) -> None:
    monkeypatch.setenv(visitor.SIGN_IN_VARIABLE, f"{visitor.BY_PROVIDER}:email")
    monkeypatch.setattr(st, "user", claims)
    assert visitor.account() == account
