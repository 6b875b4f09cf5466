"""What an import did: counts per file, a summary line, and the exit code that follows from them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

ExitCode = Literal[0, 1, 2]
ALL_TAKEN: ExitCode = 0
SOME_SET_ASIDE: ExitCode = 1
FILE_REFUSED: ExitCode = 2


@dataclass(frozen=True)
class FileOutcome:
    """Every row of one file ended as stored (`replaced` of them over older values), known, or set aside."""

    file: str
    table: str = ""
    source: str = ""
    rows: int = 0
    stored: int = 0
    known: int = 0
    set_aside: int = 0
    replaced: int = 0
    doubtful: int = 0
    error: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.rows != self.stored + self.known + self.set_aside:
            parts = f"stored {self.stored} + known {self.known} + set aside {self.set_aside}"
            raise ValueError(f"rows is {self.rows}; allowed is the sum of {parts}")

    def line(self) -> str:
        """Return one line about this file."""
        if self.error:
            return f"{self.file}: refused: {self.error}"
        counts = f"{self.stored} stored, {self.known} already known, {self.set_aside} set aside"
        extra = f", {self.replaced} of the stored replaced older values" if self.replaced else ""
        doubt = f", {self.doubtful} doubtful" if self.doubtful else ""
        return f"{self.file}: {_count(self.rows, 'row')} of {self.table}: {counts}{extra}{doubt}"


@dataclass(frozen=True)
class Outcome:
    """What became of all files of one import."""

    files: tuple[FileOutcome, ...] = field(default=())
    dry_run: bool = False

    @property
    def rows(self) -> int:
        """Rows read in all."""
        return sum(file.rows for file in self.files)

    @property
    def stored(self) -> int:
        """Rows stored now."""
        return sum(file.stored for file in self.files)

    @property
    def known(self) -> int:
        """Rows that were there already."""
        return sum(file.known for file in self.files)

    @property
    def set_aside(self) -> int:
        """Rows set aside now."""
        return sum(file.set_aside for file in self.files)

    @property
    def replaced(self) -> int:
        """Stored rows that replaced older values (plans, prices, forecasts)."""
        return sum(file.replaced for file in self.files)

    @property
    def doubtful(self) -> int:
        """Stored rows with a value marked doubtful."""
        return sum(file.doubtful for file in self.files)

    @property
    def refused(self) -> int:
        """Files of which nothing was stored."""
        return sum(1 for file in self.files if file.error)

    @property
    def exit_code(self) -> ExitCode:
        """0 all stored or known, 1 some rows set aside, 2 a file refused."""
        if self.refused or not self.files:
            return FILE_REFUSED
        return SOME_SET_ASIDE if self.set_aside else ALL_TAKEN

    def lines(self) -> list[str]:
        """Return one line per file, notes under it."""
        out = []
        for file in self.files:
            out.append(file.line())
            out.extend(f"  {note}" for note in file.notes)
        return out

    def summary(self) -> str:
        """Return the whole import in one line."""
        if not self.files:
            return "nothing to import: no CSV or XLSX file there"
        refused = f", {_count(self.refused, 'file')} refused" if self.refused else ""
        tried = "would be " if self.dry_run else ""
        return (
            f"{_count(len(self.files), 'file')}, {_count(self.rows, 'row')}: {tried}{self.stored} stored, "
            f"{self.known} already known, {self.set_aside} set aside{refused}"
        )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
