"""The log for whoever helps: what was imported, issued, planned and recorded, by which account, and how long it took.

It lies beside the database, a line an act.  No text of anybody can begin a line of its own; of people it holds accounts only.
"""

import getpass
import logging
import os
import re
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from contextvars import ContextVar
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path
from time import monotonic
from typing import Final

from dashboard.desk.terminal import say
from dashboard.words.log_words import act_line
from ingest.place import OWNER_ONLY

SUFFIX: Final = ".log"
MOST_BYTES: Final = 1_000_000  # of one file; our choice: some ten thousand acts
FILES_KEPT: Final = 5  # older ones, .log.1 to .log.5; our choice
LONGEST_LINE: Final = 2_000  # [characters], our choice: the outcome of a folder of files
_HIDDEN = re.compile(r"[^ -~]")
_TOLD: ContextVar[list[str] | None] = ContextVar("told", default=None)
_ALOUD: ContextVar[bool] = ContextVar("aloud", default=False)


class _OneLine(logging.Formatter):
    """What a person could not see, or what would begin a line, is written as an escape."""

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)[:LONGEST_LINE]
        return _HIDDEN.sub(lambda found: _seen(found[0]), text)


class _OwnFile(RotatingFileHandler):
    """A file that its owner alone can read; that it cannot be written to keeps nobody from working."""

    def _open(self) -> TextIOWrapper:
        return open(
            self.baseFilename, "a", encoding="utf-8", opener=lambda path, flags: os.open(path, flags, OWNER_ONLY)
        )

    def handleError(self, record: logging.LogRecord) -> None:
        """Nothing: a full disk is told by what is stored, not by what is logged."""


FORMAT: Final = _OneLine("%(asctime)s %(levelname)s %(process)d %(message)s", "%Y-%m-%dT%H:%M:%S%z")


def log_of(database: Path) -> Path:
    return database.with_name(database.name + SUFFIX)


def aloud(loud: bool) -> None:
    """Whether lines are printed as they are logged."""
    _ALOUD.set(loud)


def became(what: str) -> None:
    """Add what became of the act at hand to its line; outside of an act it is nothing."""
    told = _TOLD.get()
    if told is not None:
        told.append(what)


@contextmanager
def noted(database: Path, act: str, *, account: str, about: str = "") -> Iterator[None]:
    """Log what the block does, once it has ended, done or not."""
    began, told, failed = monotonic(), list[str](), ""
    token = _TOLD.set(told)
    try:
        yield
    except Exception as error:
        failed = type(error).__name__  # its sentence may hold what somebody typed
        raise
    finally:
        _TOLD.reset(token)
        note(database, act_line(act, account, monotonic() - began, told, failed, about), failed=bool(failed))


def note(database: Path, line: str, *, failed: bool = False) -> None:
    level = logging.WARNING if failed else logging.INFO
    record = logging.LogRecord("cranktrend", level, "", 0, line, None, None)
    if _ALOUD.get():
        say(FORMAT.format(record))
    try:
        if not database.exists():
            return
        file = _OwnFile(log_of(database), maxBytes=MOST_BYTES, backupCount=FILES_KEPT, encoding="utf-8")
    except OSError:
        return
    with suppress(OSError), closing(file):  # closing writes what is still waiting
        file.setFormatter(FORMAT)
        file.handle(record)


def system_account() -> str:
    """The account of this machine under which the program runs; "" where it has no name."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # the account has no name; which of them depends on the version of Python
        return ""


def _seen(character: str) -> str:
    return character if character.isprintable() else character.encode("unicode_escape").decode()
