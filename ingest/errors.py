"""The wrong things that are named: each carries one plain sentence for the person at the keyboard."""

from __future__ import annotations


class IngestError(Exception):
    """Base of everything `ingest` refuses; `str()` of it is one plain sentence."""


class FileRefused(IngestError):
    """A whole file cannot be used; nothing of it was stored."""


class DatabaseRefused(IngestError):
    """The database file cannot be opened by this program."""


class SourceProblem(IngestError):
    """A source description is missing, incomplete or contradicts itself."""


class EntryRefused(IngestError):
    """An entry typed in by a person failed the checks; `problems` holds one sentence each."""

    def __init__(self, problems: tuple[str, ...]) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems
