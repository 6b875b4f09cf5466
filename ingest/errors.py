"""The wrong things that are named: each carries one plain sentence for the person at the keyboard."""

import sqlite3


class IngestError(Exception):
    """Base of everything `ingest` refuses; `str()` of it is one plain sentence."""


class FileRefused(IngestError):
    """A whole file cannot be used; nothing of it was stored."""


class NotDescribed(FileRefused):
    """A file that a source description would make readable."""


class DatabaseRefused(IngestError):
    """The database file cannot be opened by this program."""


class SourceProblem(IngestError):
    """A source description is missing, incomplete or contradicts itself."""


class CouldNot(IngestError):
    """What was asked is in order, but the disk, a lock or damage stands in the way; nothing was half-written."""


class DatabaseTrouble(CouldNot):
    """The database could not be read or written; made of what SQLite said."""

    def __init__(self, error: sqlite3.Error) -> None:
        super().__init__(_trouble_words(error))


_PRIMARY = 0xFF  # SQLite's extended result codes hold the primary one in their low byte (sqlite.org/rescode.html)
_TROUBLE = {
    sqlite3.SQLITE_FULL: "the disk is full, so nothing of this was stored; make room, then try again",
    sqlite3.SQLITE_BUSY: "the database is busy with another import or entry; try again",
    sqlite3.SQLITE_LOCKED: "the database is busy with another import or entry; try again",
    sqlite3.SQLITE_READONLY: "the database, its folder or its disk cannot be written to; allowed is a place of your own",
    sqlite3.SQLITE_CANTOPEN: "the database cannot be opened; its folder has to be one that can be written to",
    sqlite3.SQLITE_PERM: "the database may not be opened by this user",
    sqlite3.SQLITE_IOERR: "the disk failed while the database was read or written",
    sqlite3.SQLITE_CORRUPT: "the database is damaged; go back to a backup of it",
    sqlite3.SQLITE_NOTADB: "the database is damaged; go back to a backup of it",
    sqlite3.SQLITE_NOMEM: "there is not enough memory for the database",
}


def _trouble_words(error: sqlite3.Error) -> str:
    """One sentence for what SQLite said, its own words in brackets."""
    said = " ".join(str(error).split())
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    if code == sqlite3.SQLITE_ERROR and said.startswith("no such "):  # "no such table: readings"
        return f"the database is damaged: {said}; go back to a backup of it"
    known = _TROUBLE.get(code & _PRIMARY)
    return f"{known} ({said})" if known else f"the database does not work: {said}"
