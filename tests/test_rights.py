"""Who may do what: roles against acts at the one door to the store, and that nothing is written past it."""

from __future__ import annotations

import ast
import re
import sqlite3
from pathlib import Path

import pytest
from samples_screens import one_reading_database

from dashboard.desk import rights
from dashboard.desk.rights import Act, NotAllowed, Visitor, code_of, visitor_of
from dashboard.screens import session, visitor
from dashboard.words.rights_words import ACT_WORDS
from ingest import corrections, store
from ingest.accounts import code_secret, first_code_secret, give_roles, new_code_secret
from ingest.fields import ROLES
from ingest.records import read_settings, save_decision, save_setting

ROOT = Path(__file__).resolve().parents[1]
MAY = {
    "remember": "technician planner manager administrator code",
    "record": "technician manager administrator code",
    "correct": "technician manager administrator",
    "answer": "technician manager administrator",
    "aside": "technician manager administrator",
    "decide": "manager administrator",
    "issue": "manager administrator",
    "plan": "planner manager administrator",
    "hours": "planner manager administrator",
    "import": "planner manager administrator",
    "codes": "manager administrator",
    "settings": "manager administrator",
    "accounts": "administrator",
}  # what was agreed on, written down once more by hand; DEVELOPERS.md prints it
WHO = (*ROLES, "code", "unknown", "signed out")


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A database with an account of each role, called as its role is, behind a sign-in."""
    path = one_reading_database(tmp_path / "one.db")
    db = store.open_database(path)
    for role in ROLES:
        give_roles(db, role, [role], by="test")
    first_code_secret(db, by="test")
    db.conn.close()
    monkeypatch.setenv(session.DATABASE_VARIABLE, str(path))
    monkeypatch.setenv(visitor.SIGN_IN_VARIABLE, visitor.BY_HEADER)
    return path


def comes(monkeypatch: pytest.MonkeyPatch, path: Path, who: str) -> None:
    """Let `who` be looking: an account of that name, the holder of the code of X-1, or nobody known."""
    db = store.open_database(path)
    shown = ("X-1", code_of(code_secret(db), "X-1")) if who == "code" else ()
    db.conn.close()
    account = who if who in ROLES else "stranger" if who == "unknown" else ""
    monkeypatch.setattr(visitor, "account", lambda: account)
    monkeypatch.setattr(visitor, "code_shown", lambda: shown)


@pytest.mark.parametrize("act", list(Act))
def test_the_door_lets_write_who_may(fleet: Path, monkeypatch: pytest.MonkeyPatch, act: Act) -> None:
    """Every role, the holder of a code, an unknown account and nobody against every act: written, or refused and nothing written."""
    for who in WHO:
        comes(monkeypatch, fleet, who)
        allowed = who in MAY[act].split()
        if allowed:
            with session.database(act, unit="X-1") as db:
                save_setting(db, f"tried {who}", who, by=who)
        else:
            with pytest.raises(NotAllowed, match="you have to be"), session.database(act, unit="X-1") as db:
                save_setting(db, f"tried {who}", who, by=who)
        with session.database() as db:
            assert read_settings(db).get(f"tried {who}") == (who if allowed else None), who
        assert session.may(act, "X-1") == allowed, who


def test_every_act_has_its_words_and_its_roles() -> None:
    assert set(MAY) == set(ACT_WORDS) == {str(act) for act in Act} == {str(act) for act in rights.ALLOWED}


def test_developers_find_the_same_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = text.split("| act | technician")[1].split("\n\n")[0].splitlines()[2:]
    told = {
        cells[1].strip(): [bool(cell.strip()) for cell in cells[2:-1]] for cells in (line.split("|") for line in lines)
    }
    assert told == {ACT_WORDS[act]: [who in MAY[act].split() for who in (*ROLES, "code")] for act in MAY}


@pytest.mark.usefixtures("fleet")
def test_where_nobody_signs_in_everybody_may_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(visitor.SIGN_IN_VARIABLE, "")
    assert all(session.may(act) for act in Act)
    assert session.looking() == Visitor(anybody=True)


def test_what_is_opened_for_reading_cannot_be_written(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite itself refuses; a connection that wrote before reads only when it is taken again."""
    comes(monkeypatch, fleet, "administrator")
    with session.database(Act.SETTINGS) as db:
        save_setting(db, "one", 1, by="x")
    for _ in range(3):
        with session.database() as db, pytest.raises(sqlite3.OperationalError, match="readonly"):
            db.conn.execute("DELETE FROM settings")


def test_pages_reach_the_store_by_the_door_only() -> None:
    """The screens open no database of their own to write: those that do read for caches, past lists and the door itself."""
    known = {"session.py": 2, "history.py": 1}
    for path in sorted((ROOT / "dashboard" / "screens").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert len(re.findall(r"open_database\(|sqlite3\.connect|Database\(", text)) == known.get(path.name, 0), path
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Attribute) and node.attr == "execute" and isinstance(node.value, ast.Attribute):
                raise AssertionError(f"{path.name} writes SQL past ingest")


def test_a_role_that_is_taken_ends_at_once(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from ingest.accounts import take_roles

    comes(monkeypatch, fleet, "planner")
    assert session.may(Act.PLAN)
    db = store.open_database(fleet)
    take_roles(db, "planner", ["planner"], by="test")
    assert not session.may(Act.PLAN)
    give_roles(db, "planner", ["technician", "manager"], by="test")
    assert session.may(Act.RECORD)
    assert session.may(Act.SETTINGS), "an account with several roles may do what any of them may"


def test_a_code_opens_its_vehicle_until_a_new_secret_is_made(fleet: Path) -> None:
    db = store.open_database(fleet)
    code = code_of(code_secret(db), "X-1")
    assert visitor_of(db, "", "X-1", code).code_unit == "X-1"
    assert visitor_of(db, "", "X-1", code).may(Act.RECORD, "X-1")
    assert not visitor_of(db, "", "X-1", code).may(Act.RECORD, "X-2")
    assert not visitor_of(db, "", "X-1", code).may(Act.RECORD)
    assert not visitor_of(db, "", "X-1", code).may_read
    for unit, shown in (("X-2", code), ("X-1", code[:-1]), ("X-1", ""), ("", code), ("X-1", "ü" * 22)):
        assert visitor_of(db, "", unit, shown).code_unit == "", (unit, shown)
    assert visitor_of(db, "planner", "X-1", code).may_read, "who is signed in stays who it is"
    assert not visitor_of(db, "planner", "X-1", code).may(Act.RECORD, "X-1")
    new_code_secret(db, by="test", reason="a phone was stolen")
    assert visitor_of(db, "", "X-1", code).code_unit == ""


def test_no_secret_opens_nothing(tmp_path: Path) -> None:
    """Before a secret was made, the code of the empty one is no code."""
    db = store.open_database(one_reading_database(tmp_path / "one.db"))
    assert visitor_of(db, "", "X-1", code_of("", "X-1")) == Visitor()


def test_undoing_wants_the_right_of_what_is_undone(fleet: Path) -> None:
    db = store.open_database(fleet)
    number = save_decision(db, unit="X-1", iso_week="2026-W49", kind="accepted", by="manager")
    change = corrections.withdraw(db, "decision", number, by="manager", reason="tried").change
    assert change is not None
    assert rights.act_of_change(db, change) == Act.DECIDE
    assert rights.act_of_row("decision") == Act.DECIDE
    reading = corrections.withdraw(db, "reading", 1, by="technician", reason="tried").change
    assert reading is not None
    assert rights.act_of_change(db, reading) == rights.act_of_row("reading") == Act.CORRECT
