"""What has to hold after every fault, and how it is counted."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from pathlib import Path

from dashboard.words.check_words import sentence
from ingest.verify import verify

FIRST = Path(__file__).with_name("first_schema.sql")


@dataclass
class Counts:
    """Faults tried, and what was found after them."""

    tried: int = 0
    struck: int = 0  # while the program was still at work
    acknowledged: int = 0  # rows, files, lists ... that the program had said were stored
    lost: int = 0  # of those
    whole: int = 0  # not acknowledged, and there whole
    absent: int = 0  # not acknowledged, and not there
    copies: int = 0  # backups looked at
    wrong: list[str] = field(default_factory=list)

    def add(self, wrong: list[str]) -> None:
        """What is wrong after one fault."""
        self.wrong += wrong


def in_memory() -> str | None:
    """A folder in memory, where there is one: what is tried here is not how fast the disk is."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def first_version(path: Path) -> Path:
    """A database of the program's first version, with its rows."""
    connection = sqlite3.connect(path)
    connection.executescript(FIRST.read_text(encoding="utf-8"))
    connection.execute("PRAGMA journal_mode=WAL")
    connection.close()
    path.chmod(0o600)
    return path


def faults_of(path: Path) -> list[str]:
    """What SQLite's own checks and `cranktrend check` say of a database."""
    connection = sqlite3.connect(path)
    said = [row[0] for row in connection.execute("PRAGMA integrity_check").fetchall() if row[0] != "ok"]
    said += [f"foreign key {row}" for row in connection.execute("PRAGMA foreign_key_check").fetchall()]
    connection.close()
    return said + [sentence(one) for one in verify(path).wrong]
