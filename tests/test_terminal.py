"""Nothing that a terminal would act on is printed by any command, whatever stands in the database.

Truth: CWE-150 (escape sequences), Unicode's general categories, and a database into which the hostile names were put
behind the back of the checks.
"""

from __future__ import annotations

import argparse
import json
import socket
import sqlite3
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pandas as pd
import pytest
from samples_chance import one_in
from samples_fleet import few_folder, quick

from dashboard.cli.commands import changes, database, lists, vehicle
from dashboard.cli.main import main
from dashboard.cli.parser import build_parser
from dashboard.desk import planning
from dashboard.desk.assessment import assess_database
from dashboard.desk.terminal import show_json
from dashboard.words.plain_text import clean, printable
from ingest.backups import backup
from ingest.store import open_database

DAY = "2022-12-12"
HOSTILE = "\x1b[31m\x9b2J\u202e\u2028\x07\ue000"
UNIT = f"U00019{HOSTILE}"
RENAMED = {
    "units": ("unit", "vehicle_class", "depot"),
    "readings": ("unit", "technician", "instrument", "note", "extra", "remark"),
    "repairs": ("unit", "note", "reason"),
    "services": ("unit",),
    "climate": ("depot",),
    "forecast": ("depot",),
    "workshops": ("depot",),
    "set_aside": ("unit", "file", "sheet", "reason", "original", "source"),
    "origins": ("file", "by"),
}
WALK: tuple[tuple[str, ...], ...] = (
    ("risk", "--all"), ("risk", "--all", "--format", "csv"), ("risk", "--all", "--format", "json"),
    ("unit", UNIT), ("unit", UNIT, "--format", "json"), ("unit", f"none{HOSTILE}"), ("record", UNIT, "--rest-v", "12.6"),
    ("record", UNIT, "--rest-v", f"1{HOSTILE}"), ("record", f"none{HOSTILE}", "--rest-v", "12.6"),
    ("record", UNIT, "--note", HOSTILE, "--rest-v", "3", "--crank-min-v", "11"),
    *((("plan", "--weeks", "6", "--format", f)) for f in ("table", "csv", "json", "ics")),
    ("plan", "--weeks", "6", "--pin", f"{UNIT}=2023-W01"), ("plan", "--weeks", "6", "--let-go", f"none{HOSTILE}"),
    ("plan", "--pin", HOSTILE), ("work-orders", f"w{HOSTILE}.pdf"), ("work-orders", "w.pdf", "--unit", HOSTILE),
    ("backtest", "--from", DAY, "--to", DAY), ("classes",), ("classes", "--format", "csv"),
    ("limits", "show", "--vehicle-class", HOSTILE), ("limits", "set", f"none{HOSTILE}.toml"),
    ("limits", "set", "bad.toml"), ("resets", "list"), ("resets", "confirm", UNIT, "battery", "--around", DAY),
    ("resets", "deny", f"none{HOSTILE}", HOSTILE, "--around", DAY), ("set-aside", "list"),
    ("set-aside", "list", "--format", "csv"), ("set-aside", "show", "1"), ("set-aside", "correct", "1", f"{HOSTILE}=1"),
    ("set-aside", "correct", "1", f"crank_a={HOSTILE}"), ("set-aside", "dismiss", "1", "--reason", HOSTILE),
    ("source", "list"), ("source", "show", f"s{HOSTILE}"), ("source", "show", f"none{HOSTILE}"),
    ("source", "save", f"more{HOSTILE}", "own.toml"), ("source", "draft", f"f{HOSTILE}.csv"),
    ("backup", f"copy{HOSTILE}.db"), ("backup", f"none{HOSTILE}/x.db"), ("import", f"f{HOSTILE}.csv"),
    ("import", f"none{HOSTILE}.csv"), ("import", "--source", f"none{HOSTILE}", f"f{HOSTILE}.csv"),
    ("correct", "reading", "1", f"note=x{HOSTILE}", "--reason", HOSTILE), ("withdraw", "reading", "2", "--reason", HOSTILE),
    ("log", f"f{HOSTILE}.csv"), ("log", f"none{HOSTILE}.csv", "--unit", UNIT, "--record", "--began", HOSTILE),
    ("trace", f"f{HOSTILE}.csv"), ("trace", f"f{HOSTILE}.csv", "--unit", UNIT, "--record", "--volts", HOSTILE),
    ("check",), ("check", "--format", "json"), ("restore", f"none{HOSTILE}.db"), ("restore", f"f{HOSTILE}.csv"),
    ("export", "--parquet", f"e{HOSTILE}"), ("export", "--parquet", f"none{HOSTILE}/e"),
    ("assess", "--parquet", f"none{HOSTILE}"), ("assess", "--parquet", "e", "--engine", "dask", "--scheduler", HOSTILE),
    ("undo", "1"), ("completion", "bash"), ("issue",), ("issue", "--by", HOSTILE), ("logbook",), ("logbook", "--format", "csv"), ("demo",),
    ("accounts", "list"), ("accounts", "give", HOSTILE, "planner"), ("accounts", "take", f"none{HOSTILE}", "planner"),
    ("accounts", "new-codes", "--reason", HOSTILE),
    (f"none{HOSTILE}",), ("risk", f"none{HOSTILE}"), ("risk", "--as-of", HOSTILE), ("risk", f"--{HOSTILE}"),
)  # fmt: skip
NOT_WALKED = {("dashboard",)}  # it serves until it is stopped; what it says first is walked on its own


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five vehicles with names that command a terminal, put into the database past every check."""
    folder = tmp_path_factory.mktemp("terminal")
    path = few_folder(folder).rename(folder / "h.db")
    connection = sqlite3.connect(path)
    for table, columns in RENAMED.items():
        connection.execute(
            f"UPDATE {table} SET {', '.join(f'{c} = {c} || ?' for c in columns)}", [HOSTILE] * len(columns)
        )
    connection.execute(
        "INSERT INTO sources (name, toml, headings, saved_at, saved_by) VALUES (?, ?, ?, ?, ?)",
        (
            f"s{HOSTILE}",
            f'date_order = "iso"\n[columns]\n"{HOSTILE[3:]}" = "unit"\n',
            "[]",
            "2022-01-01T00:00:00",
            HOSTILE,
        ),
    )
    connection.execute("INSERT INTO accounts (account, role, by, at) VALUES (?, 'planner', '', '')", (HOSTILE[:64],))
    connection.commit()
    connection.close()
    return path


@pytest.fixture(scope="module")
def assessed(hostile: Path) -> Iterator[None]:
    """Vehicles are judged once; the walk is about words."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        kept = lru_cache(maxsize=None)(lambda day: assess_database(open_database(hostile), as_of=day))
        for module in (changes, lists, vehicle, planning):
            patch.setattr(module, "assess_database", lambda _db, *, as_of, **_: kept(as_of))
        patch.setattr(database, "today", lambda: pd.Timestamp(DAY).date())
        yield


@pytest.mark.usefixtures("assessed")
@pytest.mark.parametrize(
    "words", one_in(6, WALK), ids=lambda w: " ".join(w).encode("unicode_escape").decode().replace("\\", "_")
)
def test_no_command_prints_what_a_terminal_would_act_on(
    hostile: Path,
    words: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """CWE-150: every character of both streams shows itself, or ends a line, or is a tab."""
    own = backup(open_database(hostile, create=False), tmp_path / "own.db")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text(f'date_order = "iso"\n[columns]\n"{HOSTILE[5:6]}" = "unit"\n"b" = "taken_at"\n')
    (tmp_path / "bad.toml").write_text(f'["{HOSTILE[5:6]}"]\nx = 1\n')
    (tmp_path / f"f{HOSTILE}.csv").write_text(f"unit;a{HOSTILE[3:6]};b\n{UNIT[9:12]};2;3\n")
    capsys.readouterr()
    try:
        code = main(["--db", str(own), *words])
    except SystemExit as left:
        code = int(left.code or 0)
    got = capsys.readouterr()
    assert code in (0, 1, 2) or words[0] == "check", got.err  # which finds what was put there past the program
    for text in (got.out.replace("\r\n", "\n"), got.err):
        assert [ascii(c) for c in text if not (c.isprintable() or c in "\n\t")][:5] == []
    if (words[0] == "unit" and words[1] == UNIT) or words[:2] == ("risk", "--all"):
        assert code == 0
        assert "U00019" in got.out


def test_the_walk_passes_every_command() -> None:
    """A new command joins the walk."""
    walked = {words[:k] for words in WALK for k in (1, 2)}
    for name, sub in _commands(build_parser()).items():
        seconds = _commands(sub)
        for second in seconds or [None]:
            words = (name,) if second is None else (name, second)
            assert words in walked | NOT_WALKED, words


def _commands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    found = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(found[0].choices) if found else {}


def test_what_the_screens_server_says_first_is_clean(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same for `dashboard`, with a server that ends at once."""
    monkeypatch.setattr("dashboard.screens.serving.serve", lambda *_, **__: None)
    monkeypatch.setenv("CRANKTREND_DB", "")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert main(["--db", str(tmp_path / f"d{HOSTILE}.db"), "dashboard", "--port", str(port)]) == 0
    err = capsys.readouterr().err
    assert "made a new database" in err
    assert main(["--db", str(tmp_path / "d.db"), "dashboard", "--host", f"h{HOSTILE}"]) == 2
    open_to_all = "--open-to-everyone-on-this-network"
    assert main(["--db", str(tmp_path / "d.db"), "dashboard", open_to_all, "--host", f"h{HOSTILE}"]) == 3
    err += capsys.readouterr().err
    assert "name another with --host or --port" in err
    assert [c for c in err if not (c.isprintable() or c == "\n")] == []


def test_json_says_the_same_with_its_escapes(capsys: pytest.CaptureFixture[str]) -> None:
    """RFC 8259, section 7: escaped text is the same text."""
    body = {"é\u202e": "a\x9b\U000e0001\u2028\n°", "n": [1, None]}
    show_json(json.dumps(body, ensure_ascii=False, indent=1))
    out = capsys.readouterr().out
    assert json.loads(out) == body
    assert all(c.isprintable() or c == "\n" for c in out)
    assert "é" in out
    assert "°" in out


def test_cleaning_by_hand() -> None:
    """Worked by hand: spaces of any width become a space, what acts becomes a question mark, letters stay."""
    assert clean("a\u00a0b\tc\nd\x1b[0m\u202eé°−Ω") == "a b?c?d?[0m?é°−Ω"
    assert printable("a\tb\r\nc\rd\u2028e\n") == "a\tb\r\nc?d?e\n"
