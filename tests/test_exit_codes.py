"""How commands end: one sentence, the exit code that says how, nothing half-written.

Truth: the contract in README.md (0 done, 1 rows set aside, 2 refused, 3 could not, 130 stopped), and troubles that the
test itself makes: full disks, locks, damage, missing tables, Ctrl-C.
"""

from __future__ import annotations

import errno
import shutil
import socket
import sqlite3
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import samples_ingest
from samples_chance import one_in
from samples_ingest import CLIMATE, GOOD, HEADING, UNITS, reading, readings_file
from samples_kept import copy_of, in_one_file, kept_file

from dashboard.cli.main import main
from dashboard.desk import terminal
from ingest import set_aside, sources, store
from ingest.backups import backup
from ingest.store import open_database, read_readings

SENTENCE = "cranktrend: "
RECORD = (
    "record",
    "K-101",
    "--taken-at",
    "2023-05-01T08:00",
    "--rest-v",
    "12.6",
    "--crank-min-v",
    "11.4",
    "--crank-a",
    "150",
)
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("risk",), ("risk", "--all", "--format", "json"), ("unit", "K-101"), ("plan",), ("plan", "--format", "ics"),
    ("plan", "--pin", "K-101=2026-W50"), RECORD, ("backtest", "--from", "2023-01-01", "--to", "2023-03-01"), ("classes",),
    ("limits", "show"), ("limits", "set", "own.toml"), ("resets", "list"),
    ("resets", "confirm", "K-101", "battery", "--around", "2022-01-01"), ("set-aside", "list"), ("set-aside", "show", "1"),
    ("set-aside", "correct", "1", "crank_a=150"), ("set-aside", "dismiss", "1", "--reason", "x"), ("source", "list"),
    ("source", "show", "x"), ("source", "save", "mine", "own source.toml"), ("backup", "copy.db"), ("import", "more.csv"),
    ("correct", "reading", "1", "crank_a=150", "--reason", "x"), ("withdraw", "reading", "1", "--reason", "x"),
    ("undo", "1"), ("logbook",), ("issue",), ("check",), ("check", "--format", "json"),
)  # fmt: skip
WRITING = tuple(
    w for w in COMMANDS if w[0] in ("record", "import", "correct", "withdraw") or w[1:2] in (("set",), ("save",))
)
SOURCE = 'date_order = "iso"\n[columns]\n"Wagen" = "unit"\n"Zeit" = "taken_at"\n"Ruhe" = "rest_v"\n'


@dataclass(frozen=True)
class Ran:
    """Exit code and both streams of one command."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small database through the front door: three vehicles, two readings, one row set aside."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / "u.csv").write_text(UNITS)
    (folder / "c.csv").write_text(CLIMATE)
    readings_file(
        folder, GOOD, reading(taken_at="2023-03-02T08:15"), reading(taken_at="2023-03-03T08:15", crank_a=9999)
    )
    assert main(["--db", str(folder / "fleet.db"), "import", *map(str, folder.glob("*.csv"))]) == 1
    return folder / "fleet.db"


@pytest.fixture(autouse=True)
def _place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A working directory with the files that commands name; nobody waits long for a lock."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRANKTREND_DB", raising=False)
    monkeypatch.setattr(store, "BUSY_MS", 50)
    (tmp_path / "own.toml").write_text("")
    (tmp_path / "own source.toml").write_text(SOURCE)
    (tmp_path / "more.csv").write_text(f"{HEADING}\n{reading(taken_at='2023-04-01T08:15')}\n")


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Path:
    """A copy of the database that a test may write to or spoil."""
    return backup(open_database(filled, create=False), tmp_path / "own.db")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process; a refused option counts as its exit code."""

    def _run(*words: object, db: Path | None = None) -> Ran:
        capsys.readouterr()
        try:
            code = main([*(["--db", str(db)] if db else []), *map(str, words)])
        except SystemExit as left:
            code = int(left.code or 0)
        got = capsys.readouterr()
        return Ran(code, got.out, got.err)

    return _run


def one_sentence(err: str) -> bool:
    """Whether the last line says what is wrong, and nothing looks like a traceback."""
    return err.splitlines()[-1].startswith(SENTENCE) and "Traceback" not in err and err.count(SENTENCE) == 1


# --- every command ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_an_empty_database_is_an_answer_or_one_sentence(run: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Contract: an empty database is nothing wrong with the machine, so 0, 1 or 2, and a sentence with 2."""
    copy_of(kept_file("empty.db", lambda path: in_one_file(open_database(path))), tmp_path / "empty.db")
    got = run(*words, db=tmp_path / "empty.db")
    assert got.code in (0, 1, 2)
    assert got.code != 2 or one_sentence(got.err), got.err


@pytest.mark.parametrize("words", one_in(2, COMMANDS), ids=" ".join)
def test_a_damaged_database_is_one_sentence(run: Run, own: Path, words: tuple[str, ...]) -> None:
    """Contract 3: every page but the first overwritten; no command ends in a traceback or in success with an answer
    from nowhere."""
    body = own.read_bytes()
    own.write_bytes(body[:4096] + b"\xa5" * (len(body) - 4096))
    got = run(*words, db=own)
    if words != ("limits", "show"):
        assert got.code == 3, got
        assert one_sentence(got.err), got.err
        assert "damaged" in got.err
    assert own.read_bytes()[4096:] == b"\xa5" * (len(body) - 4096)


def test_a_record_that_is_no_json_is_damage(run: Run, own: Path) -> None:
    """Contract 3: bytes of a kept plan were changed behind SQLite's back, so that its own check did not see them."""
    db = open_database(own)
    db.execute("INSERT INTO settings (key, value, by, at) VALUES ('limits', '{\"system_12\": {}}', 't', 't')")
    db.conn.commit()
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    body = own.read_bytes()
    assert body.count(b'"system_12": {}') == 1
    own.write_bytes(body.replace(b'"system_12": {}', b'"system_12"; {}'))
    got = run("limits", "show", db=own)
    assert got.code == 3
    assert one_sentence(got.err)
    assert "the database is damaged" in got.err


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_a_missing_table_is_one_sentence(run: Run, own: Path, words: tuple[str, ...]) -> None:
    """Contract 3: somebody dropped tables; the sentence names one."""
    connection = sqlite3.connect(own)
    for table in ("readings", "set_aside", "sources", "settings", "origins", "audit", "decisions", "units"):
        connection.execute(f"DROP TABLE {table}")
    connection.commit()
    connection.close()
    got = run(*words, db=own)
    if words[0] != "backup":
        assert got.code == 3, got
        assert one_sentence(got.err), got.err
        assert "no such table" in got.err


@pytest.mark.parametrize("words", one_in(2, COMMANDS), ids=" ".join)
def test_ctrl_c_is_one_sentence(run: Run, own: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    """Contract 130: stopped as the database is opened."""

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sqlite3, "connect", stop)
    got = run(*words, db=own)
    assert (got.code, got.out) == (130, "")
    assert one_sentence(got.err)


@pytest.mark.parametrize("words", WRITING, ids=" ".join)
def test_a_locked_database_is_waited_for_and_then_one_sentence(run: Run, own: Path, words: tuple[str, ...]) -> None:
    """Contract 3: another import holds the right to write longer than anybody waits."""
    holder = sqlite3.connect(own)
    holder.execute("BEGIN IMMEDIATE")
    got = run(*words, db=own)
    holder.rollback()
    holder.close()
    assert got.code == 3
    assert "busy with another import or entry" in got.err
    assert run(*words, db=own).code in (0, 1), "and it goes when the other is done"


def test_saving_a_source_waits_like_everybody(own: Path) -> None:
    """The right to write is taken at the start: what was read before cannot be out of date when it is written."""
    db = open_database(own)
    seen: list[str] = []
    db.conn.set_trace_callback(seen.append)
    sources.save_source(db, "mine", SOURCE)
    assert seen[0] == "BEGIN IMMEDIATE"


# --- a full disk -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", WRITING, ids=" ".join)
def test_a_full_disk_is_one_sentence_and_changes_nothing(
    run: Run, own: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Contract 3: SQLite may not use one more page, which it reports as it reports a full disk (SQLITE_FULL)."""
    (own.parent / "more.csv").write_text(
        "\n".join(
            [HEADING, *(reading(taken_at=f"2023-04-{d:02d}T{h:02d}:15") for d in range(1, 29) for h in range(24))]
        )
    )
    (own.parent / "own.toml").write_text(
        "".join(f'[vehicle_class."van {k}"]\nrest_watch_v = 12.5\n' for k in range(300))
    )
    (own.parent / "own source.toml").write_text(SOURCE + "# \n" * 9000)
    opened = store.open_database

    def full(*arguments: Any, **options: Any) -> Any:
        db = opened(*arguments, **options)
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        db.conn.execute(f"PRAGMA max_page_count = {pages}")
        return db

    monkeypatch.setattr(store, "open_database", full)
    before = "\n".join(open_database(own).conn.iterdump())
    got = run(*words, db=own)
    if got.code != 0:  # a small change may fit into a page that is there
        assert got.code == 3, got
        assert "disk is full" in got.err
        assert "Traceback" not in got.err
        monkeypatch.undo()
        assert "\n".join(open_database(own).conn.iterdump()) == before
    else:
        assert words[0] not in ("import", "source")


def test_an_import_says_which_files_were_stored_before_the_disk_was_full(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Contract: files before stay, the file that failed and those after it are named; each whole or not at all."""
    (tmp_path / "u.csv").write_text(UNITS)
    (tmp_path / "c.csv").write_text(CLIMATE)
    readings_file(tmp_path, GOOD)

    def full(*_: object) -> None:
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise error

    monkeypatch.setattr("ingest.admit_readings._write", full)
    got = run("import", "u.csv", "c.csv", "readings.csv", "more.csv", db=tmp_path / "x.db")
    assert got.code == 3
    assert "2 files not stored" in got.out
    assert (
        "readings.csv: not stored: the disk is full" in got.err or "more.csv: not stored: the disk is full" in got.err
    )
    assert "not tried after that" in got.err
    monkeypatch.undo()
    db = open_database(tmp_path / "x.db")
    assert db.execute("SELECT count(*) FROM units").fetchone()[0] == 3
    assert read_readings(db).empty
    assert db.execute("SELECT count(*) FROM origins").fetchone()[0] == 2, "no trace of what was not stored"


class _Full:
    """Standard output on a full disk."""

    encoding, errors = "utf-8", "strict"

    def write(self, text: str) -> int:
        return len(text)

    def flush(self) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")


def test_an_answer_that_cannot_be_written_is_no_success(run: Run, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Contract 3, as `cranktrend ... > /dev/full` has it."""
    monkeypatch.setattr(sys, "stdout", _Full())
    got = run("set-aside", "list", db=own)
    assert got.code == 3
    assert "the answer could not be written: No space left on device" in got.err
    monkeypatch.setattr(sys, "stdout", None)
    assert run("set-aside", "list", db=own).code == 3, "a closed standard output"


def test_a_reader_that_goes_away_is_no_mistake(run: Run, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Common practice: `cranktrend ... | head` ends quietly."""

    class Gone(_Full):
        def flush(self) -> None:
            raise BrokenPipeError

    monkeypatch.setattr(sys, "stdout", Gone())
    got = run("set-aside", "list", db=own)
    assert (got.code, got.err) == (0, "")


# --- places ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def read_only() -> Iterator[None]:
    """SQLite as it is in a folder that cannot be written to; permissions do not bind whoever runs the tests as root."""
    kept = sqlite3.connect

    def connect(file: str, *arguments: Any, **options: Any) -> sqlite3.Connection:
        return kept(f"file:{file}?mode=ro", *arguments, uri=True, **options)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store.sqlite3, "connect", connect)
        yield


@pytest.mark.parametrize("words", WRITING, ids=" ".join)
@pytest.mark.usefixtures("read_only")
def test_a_read_only_database_is_one_sentence(run: Run, filled: Path, words: tuple[str, ...]) -> None:
    """Contract 3."""
    got = run(*words, db=filled)
    assert got.code == 3
    assert "cannot be written to" in got.err
    assert "Traceback" not in got.err


@pytest.mark.parametrize(
    "name", [":memory:", "\udcff.db", "/dev/null", "/dev/zero", "folder", "nowhere/x.db"], ids=ascii
)
def test_what_can_be_no_database_is_refused(run: Run, tmp_path: Path, name: str) -> None:
    """Contract 2: nothing that would lose what is imported, or wait for ever."""
    (tmp_path / "folder").mkdir()
    got = run("import", "more.csv", db=Path(name))
    assert got.code == 2
    assert one_sentence(got.err)


def test_a_new_database_is_said_and_only_made_by_commands_that_fill_it(run: Run, tmp_path: Path) -> None:
    """Contract: `import` and `source save` make it and say so; all others want one that is there."""
    for words in COMMANDS:
        if words[0] != "import" and words[:2] != ("source", "save"):
            assert run(*words, db=tmp_path / "typo.db").code == 2
            assert not (tmp_path / "typo.db").exists(), words
    for words in (("import", "more.csv"), ("source", "save", "mine", "own source.toml")):
        assert "made a new database" in run(*words, db=tmp_path / f"{words[0]}.db").err
        assert "made a new database" not in run(*words, db=tmp_path / f"{words[0]}.db").err


def test_a_port_in_use_is_one_sentence(run: Run, tmp_path: Path) -> None:
    """Contract 3, and no database is made for screens that cannot be served."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        got = run("dashboard", "--port", taken.getsockname()[1], db=tmp_path / "x.db")
    assert got.code == 3
    assert one_sentence(got.err)
    assert "name another with --host or --port" in got.err
    assert not (tmp_path / "x.db").exists()


# --- days ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "day", one_in(2, ["9999-12-31", "9999-06-01", "3000-01-01", "0001-01-01", "1979-12-31", "-0001-01-01"])
)
@pytest.mark.parametrize(
    "words", [("risk",), ("plan",), ("unit", "K-101"), ("classes",), ("resets", "list")], ids=" ".join
)
def test_a_day_at_the_ends_of_the_calendar_is_refused(run: Run, own: Path, words: tuple[str, ...], day: str) -> None:
    """Contract 2: weeks and horizons after it have to exist, too."""
    got = run(*words, f"--as-of={day}", db=own)
    assert got.code == 2
    assert day in got.err
    assert got.out == ""


def test_a_list_says_how_old_its_newest_reading_is(run: Run, own: Path) -> None:
    """Worked by hand: newest reading 2 March 2023; 61 days later it is said, 60 days later not; 2099 is far off."""
    assert "newest reading" not in run("risk", "--as-of", "2023-05-01", db=own).err
    assert (
        "the newest reading is of 2023-03-02, 61 days before 2023-05-02"
        in run("risk", "--as-of", "2023-05-02", db=own).err
    )
    days = (date(2099, 1, 1) - date(2023, 3, 2)).days
    for words in (("risk", "--format", "json"), ("plan",)):
        got = run(*words, "--as-of", "2099-01-01", db=own)
        assert got.code == 0
        assert f"{days} days before 2099-01-01" in got.err


@pytest.mark.nightly
def test_files_with_days_of_the_year_9999_do_not_stop_a_list(run: Run, own: Path, tmp_path: Path) -> None:
    """Contract: such rows are stored or set aside, and with all of them lists and plans are made."""
    rows = {
        "due_on": "unit,due_on\nK-101,9999-12-31\nK-102,0001-01-01\n",
        "in_service": "unit,vehicle_class,system_v,depot,in_service\nK-301,van,12,harbour,9999-12-31\nK-302,van,12,hill,0001-01-01\n",
        "date": "depot,date,low_c\nharbour,9999-12-31,-5\nhill,0001-01-01,2\n",
        "week_from": "depot,week_from,hours_per_week\nharbour,9999-12-27,3\nhill,0001-01-01,3\n",
        "done_on": "unit,done_on,part,action\nK-101,9999-12-31,battery,replaced\nK-102,0001-01-01,battery,replaced\n",
    }
    for column, text in rows.items():
        (tmp_path / f"{column}.csv").write_text(text)
        assert run("import", f"{column}.csv", db=own).code in (0, 1), column
    for words in (("risk", "--all"), ("plan",), ("unit", "K-101")):
        got = run(*words, "--as-of", "2023-04-01", db=own)
        assert got.code == 0, got.err


# --- one reading -----------------------------------------------------------------------------------------------------


def test_a_stored_reading_is_acknowledged_whatever_is_said_about_it(run: Run, own: Path) -> None:
    """Contract 0: limits on record that cannot be used keep the advice from being worked out, not the reading."""
    db = open_database(own)
    db.execute(
        "INSERT INTO settings (key, value, by, at) VALUES ('limits', '{\"all\": {\"rest_watch_v\": 99}}', 't', 't')"
    )
    db.conn.commit()
    got = run(*RECORD, db=own)
    assert got.code == 0, got
    assert "K-101: reading stored" in got.out
    assert "could not be worked out" in got.err
    assert "2023-05-01" in read_readings(db)["taken_at"].astype(str).tolist()[-1]


@pytest.mark.parametrize(
    "words", [("record", "K-101", "--rest-v", "12.6", "--taken-at"), ("set-aside", "correct", "1")]
)
def test_a_day_that_can_be_read_in_two_ways_is_refused_in_words_about_it(
    run: Run, own: Path, words: tuple[str, ...]
) -> None:
    """Contract: what was typed, both meanings, and what is allowed; nothing about files, lines or descriptions."""
    typed = "05/06/2022 07:45"
    got = run(*words, typed if words[0] == "record" else f"taken_at={typed}", db=own)
    assert got.code == 1
    assert typed in got.err
    assert "2026-01-31T07:45" in got.err
    for word in ("line", "date_order", "source", "its dates"):
        assert word not in got.err


@pytest.mark.parametrize("typed", ["nonsense", "31", "2026-02-30T08:00", "9999-12-31T23:59"])
def test_a_time_that_is_none_is_refused_in_one_sentence(run: Run, own: Path, typed: str) -> None:
    """Contract 1: the reading is not stored; what was typed and what is allowed, and no fault of the program."""
    got = run(*RECORD[:3], typed, *RECORD[4:], db=own)
    assert got.code == 1
    assert "taken_at" in got.err
    assert "fault" not in got.err


@pytest.mark.parametrize(
    "words", [("record", "K-101", "--note", "\udcff", "--rest-v", "12.6"), ("unit", "\udcff")], ids=ascii
)
def test_bytes_that_are_no_text_are_refused(run: Run, own: Path, words: tuple[str, ...]) -> None:
    """Contract 2, in words for a person."""
    got = run(*words, db=own)
    assert got.code == 2
    assert "allowed is text in UTF-8" in got.err


def test_a_pin_is_not_kept_for_a_plan_that_cannot_be_made(run: Run, tmp_path: Path) -> None:
    """Nothing half-written: vehicles without readings cannot be planned, so the pin is not kept either."""
    (tmp_path / "u.csv").write_text(UNITS)
    run("import", "u.csv", db=tmp_path / "x.db")
    assert run("plan", "--pin", "K-101=2026-W50", db=tmp_path / "x.db").code == 2
    assert open_database(tmp_path / "x.db").execute("SELECT count(*) FROM plan_pins").fetchone()[0] == 0


# --- files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "error", [OverflowError("int too large"), sqlite3.IntegrityError("CHECK constraint failed: x")]
)
def test_a_value_that_no_table_can_keep_costs_its_file_only(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """Contract: one bad file does not stop a folder."""
    from ingest import importer

    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "a.csv").write_text(CLIMATE)
    (tmp_path / "files" / "u.csv").write_text(UNITS)
    admit = importer.admit

    def failing(db: Any, batch: Any, place: Any) -> Any:
        if place.file == "u.csv":
            raise error
        return admit(db, batch, place)

    monkeypatch.setattr(importer, "admit", failing)
    got = run("import", "files", db=tmp_path / "x.db")
    assert got.code == 2
    assert "u.csv: refused: it holds a value that no table can keep" in got.err
    assert "a.csv: 24 rows of climate: 24 stored" in got.err


@pytest.mark.parametrize(
    "digits", one_in(2, ["12345678901234567890", "99999999999999999999", "-18446744073709551617", "9" * 400])
)
@pytest.mark.parametrize("column", ["cylinders", "system_v", "rated_cca_a"])
def test_a_number_of_twenty_digits_does_not_stop_a_folder(run: Run, tmp_path: Path, column: str, digits: str) -> None:
    """Contract: its row is set aside, or its file refused; the other files are stored."""
    (tmp_path / "files").mkdir()
    cells = {
        "unit": "K-9",
        "vehicle_class": "van",
        "system_v": "12",
        "depot": "hill",
        "cylinders": "4",
        "rated_cca_a": "700",
    }
    lines = [",".join(cells), ",".join(cells.values()), ",".join({**cells, "unit": "K-10", column: digits}.values())]
    (tmp_path / "files" / "u.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "files" / "z.csv").write_text(CLIMATE)
    got = run("import", "files", db=tmp_path / "x.db")
    assert got.code in (1, 2)
    assert "z.csv: 24 rows of climate: 24 stored" in got.err


def test_a_file_name_that_is_no_text_is_imported_under_a_readable_one(run: Run, tmp_path: Path) -> None:
    """A file system may hold names that are no UTF-8; the rows matter."""
    odd = tmp_path / "u\udcff.csv"
    try:
        odd.write_text(UNITS)
    except OSError:
        pytest.skip("this file system has no such names")
    got = run("import", tmp_path, db=tmp_path / "x.db")
    assert "3 rows of units: 3 stored" in got.err
    odd.unlink()


def test_names_that_lead_nowhere_cost_themselves_only(run: Run, tmp_path: Path) -> None:
    """Contract 2: a link in a circle, a link to nothing and a name too long are refused, the other file is stored."""
    (tmp_path / "u.csv").write_text(UNITS)
    (tmp_path / "circle.csv").symlink_to("circle.csv")
    (tmp_path / "gone.csv").symlink_to("nothing.csv")
    got = run("import", "circle.csv", "gone.csv", "x" * 5000, "u.csv", db=tmp_path / "x.db")
    assert got.code == 2
    assert "3 files refused" in got.out
    assert "u.csv: 3 rows of units: 3 stored" in got.err
    assert run("import", "", db=tmp_path / "x.db").code == 2, "no name is not the folder one stands in"
    for words in (("import", "u.csv"), ("risk",)):
        assert run(*words, db=tmp_path / "circle.csv").code in (2, 3)
    assert "fault" not in run("backup", "circle.csv", db=tmp_path / "x.db").err


@pytest.mark.parametrize("number", ["²", "9" * 5000, "1e1", ""])
def test_what_is_no_whole_number_is_refused_in_words(run: Run, own: Path, number: str) -> None:
    """Contract 2: what is allowed is said, not the name of a function."""
    got = run("risk", f"--horizon-days={number}", db=own)
    assert got.code == 2
    assert "a whole number from 1 to 180 is" in got.err


# --- the edge --------------------------------------------------------------------------------------------------------


def test_a_fault_of_the_program_is_said_as_one(run: Run, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Contract 3, never 1: what nobody foresaw names the place, so that it can be reported."""

    def broken(*_: object, **__: object) -> None:
        raise KeyError("x")

    monkeypatch.setattr(set_aside, "list_set_aside", broken)
    got = run("set-aside", "list", db=own)
    assert got.code == 3
    assert one_sentence(got.err)
    assert f"a fault of the program in {Path('dashboard/cli/commands/aside.py')}, line" in got.err


def test_a_value_error_of_a_library_is_no_refusal(run: Run, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only our own sentences say what is allowed; a library's are a fault of ours."""
    monkeypatch.setattr(set_aside, "list_set_aside", lambda *_, **__: shutil.unpack_archive("x", format="nonsense"))
    got = run("set-aside", "list", db=own)
    assert got.code == 3
    assert "ValueError" in got.err


def test_the_codes_in_the_readme_are_the_program_s() -> None:
    """Documentation cannot fall behind."""
    readme = (Path(__file__).parents[1] / "README.md").read_text()
    for code in (terminal.DONE, terminal.SET_ASIDE, terminal.REFUSED, terminal.COULD_NOT, terminal.STOPPED):
        assert f"| {code} |" in readme


@pytest.mark.parametrize(
    ("time", "why"),
    [
        ("2024-04-05T07:45Z", "is in UTC, not by the local clock"),
        ("24-04-05 07:45", "can be read day first or year first"),
    ],
)
def test_a_reading_of_a_time_that_is_not_read_is_said_to_be_so(
    time: str, why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever measured it, the question whose reading it is waits for its time."""
    samples_ingest.fleet(tmp_path / "fleet")
    told = ["--db", str(tmp_path / "fleet" / "fleet.db"), "record", "K-101", "--taken-at", time]
    assert main([*told, "--rest-v", "12.6", "--crank-min-v", "11"]) == 1
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert f"taken_at: '{time}' {why}; allowed is a time as 2026-01-31T07:45" in said.err
