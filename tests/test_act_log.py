"""The log: an act a line, whatever anybody typed, with the account and the time that it took; nobody else reads it.

Truth: the file itself, and what the test typed.
"""

from __future__ import annotations

import getpass
import re
import stat
from pathlib import Path

import pytest
from samples_hostile import NAMES
from samples_ingest import GOOD, fleet, readings_file
from samples_screens import AS_OF, empty_database, one_reading_database
from test_views import run, said

from dashboard.cli.main import main
from dashboard.cli.parser import ACTS
from dashboard.desk import act_log
from dashboard.desk.rights import Act
from dashboard.desk.terminal import own_version
from dashboard.screens import session
from dashboard.words.log_words import act_line

LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d{4} (INFO|WARNING) \d+ (.*)")


@pytest.fixture(autouse=True)
def _account(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(getpass, "getuser", lambda: "anna")


def lines(database: Path) -> list[tuple[str, str]]:
    """Level and text of every line of a log."""
    found = [LINE.fullmatch(line) for line in act_log.log_of(database).read_text(encoding="utf-8").split("\n")[:-1]]
    assert all(found)
    return [(str(one[1]), re.sub(r"\d+\.\d s", "n s", one[2])) for one in found if one]


def test_an_import_is_a_line_with_its_files_and_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = Path(fleet(tmp_path).execute("PRAGMA database_list").fetchone()[2])
    file = readings_file(tmp_path, GOOD)
    assert main(["--db", str(path), "import", str(file)]) == 0
    assert lines(path) == [
        (
            "INFO",
            'import by "anna", n s: "1 file, 1 row: 1 stored, 0 already known, 0 set aside"; "readings.csv"; "exit code 0"',
        )
    ]
    assert not stat.S_IMODE(act_log.log_of(path).stat().st_mode) & 0o077
    assert main(["--db", str(path), "logbook"]) == 0
    assert len(lines(path)) == 1  # what only tells is no act
    capsys.readouterr()
    assert main(["--db", str(path), "--verbose", "import", str(file)]) == 0
    assert 'import by "anna"' in capsys.readouterr().err
    assert main(["--db", str(path), "import", "--quiet", str(file)]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert "already known" in told.out
    assert main(["--db", str(path), "--quiet", "import", str(tmp_path / "none.csv")]) == 2
    assert "none.csv: refused" in capsys.readouterr().err


@pytest.mark.parametrize(
    "name", [*NAMES, 'x\n2026-11-30T05:00:00+0000 INFO 1 import by "eve", 0.1 s', "\x1b[2K\r\u2028\x85"]
)
def test_nobody_forges_a_line(name: str, tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    path.touch()
    with act_log.noted(path, "record", account=name, about=name):
        act_log.became(name)
    written = act_log.log_of(path).read_text(encoding="utf-8")
    assert written.count("\n") == 1
    assert written[:-1].isprintable()
    assert LINE.fullmatch(written[:-1])


def test_what_fails_is_noted_without_what_was_typed(tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    path.touch()
    with pytest.raises(ValueError, match="secret"), act_log.noted(path, "record", account=""):
        raise ValueError("secret")
    assert lines(path) == [("WARNING", "record by no account, n s: not done, ValueError")]


def test_the_log_turns_over_and_no_log_keeps_nobody_from_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "fleet.db"
    act_log.note(path, "x")
    assert list(tmp_path.iterdir()) == []  # no log of a database that is not there
    path.touch()
    monkeypatch.setattr(act_log, "MOST_BYTES", 300)
    for number in range(60):
        act_log.note(path, act_line("record", "", 0.1, [str(number)]))
    found = sorted(one.name for one in tmp_path.iterdir())
    assert found == ["fleet.db", "fleet.db.log", *(f"fleet.db.log.{n}" for n in range(1, act_log.FILES_KEPT + 1))]
    assert '"59"' in act_log.log_of(path).read_text(encoding="utf-8")
    assert all(one.stat().st_size <= 400 for one in tmp_path.glob("*.log*"))
    other = tmp_path / "other.db"
    other.touch()
    act_log.log_of(other).mkdir()
    act_log.note(other, "x")  # a folder in its place: nothing is raised


def test_acts_on_the_screens_are_noted_but_not_what_a_device_remembers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = one_reading_database(tmp_path / "one.db")
    monkeypatch.setenv(session.DATABASE_VARIABLE, str(path))
    monkeypatch.setenv(session.TODAY_VARIABLE, AS_OF.isoformat())
    with session.database(Act.REMEMBER), session.database():
        pass
    assert not act_log.log_of(path).exists()
    with session.database(Act.DECIDE, unit="X-1"):
        pass
    assert lines(path) == [("INFO", 'decide "X-1" by no account, n s')]


def test_version_and_log_stand_on_the_settings_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(session.DATABASE_VARIABLE, str(empty_database(tmp_path / "empty.db")))
    text = said(run("settings")).replace("\\", "")
    assert f"Version {own_version()}." in text
    assert "empty.db.log" in text


def test_the_help_says_where_the_log_lies(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    text = " ".join(capsys.readouterr().out.split())
    assert "FILE.log beside the database" in text
    assert "--verbose" in text


def test_every_logged_command_is_one() -> None:
    from importlib import import_module

    for run_name in ACTS:
        module, function = run_name.split(".")
        assert callable(getattr(import_module(f"dashboard.cli.commands.{module}"), function))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here that is always full")
def test_a_log_that_cannot_be_written_takes_nothing_from_what_was_done(tmp_path: Path) -> None:
    """A full disk (Linux's /dev/full) where the log lies: the act ends as it would, and what went wrong in it is what is told."""
    path = tmp_path / "fleet.db"
    path.touch()
    act_log.log_of(path).symlink_to("/dev/full")
    with act_log.noted(path, "a reading", account="a"):
        pass
    with pytest.raises(KeyError), act_log.noted(path, "a reading", account="a"):
        raise KeyError("the act's own")
