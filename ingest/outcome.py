"""What an import did: counts per file, a summary line, and the exit code that follows from them."""

from dataclasses import dataclass, field
from typing import Literal

from ingest.values import counted

ExitCode = Literal[0, 1, 2, 3]
ALL_TAKEN: ExitCode = 0
SOME_SET_ASIDE: ExitCode = 1
FILE_REFUSED: ExitCode = 2
COULD_NOT: ExitCode = 3


@dataclass(frozen=True)
class FileOutcome:
    """Every row of one file ended as stored (`replaced` of them over older values), known, or set aside.

    `still_aside`: those of the set-aside rows that an earlier import set aside and nobody has dealt with since.
    `could_not`: the error is trouble with the database, not with this file. `describe`: a source description mends it.
    """

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
    still_aside: int = 0
    could_not: bool = False
    describe: bool = False

    def __post_init__(self) -> None:
        if self.rows != self.stored + self.known + self.set_aside:
            parts = f"stored {self.stored} + known {self.known} + set aside {self.set_aside}"
            raise ValueError(f"rows is {self.rows}; allowed is the sum of {parts}")
        if not 0 <= self.still_aside <= self.set_aside:
            raise ValueError(f"still_aside is {self.still_aside}; allowed is 0 to the {self.set_aside} set aside")

    def line(self) -> str:
        if self.error:
            named = f'"{self.file}"' if " " in self.file else self.file
            way_out = f"; draft a description with 'cranktrend source draft {named}'" if self.describe else ""
            return f"{self.file}: {'not stored' if self.could_not else 'refused'}: {self.error}{way_out}"
        aside = _aside(self.set_aside, self.still_aside)
        counts = f"{self.stored} stored, {self.known} already known, {aside}"
        extra = f", {self.replaced} of the stored replaced older values" if self.replaced else ""
        doubt = f", {self.doubtful} doubtful" if self.doubtful else ""
        return f"{self.file}: {counted(self.rows, 'row')} of {self.table}: {counts}{extra}{doubt}"


@dataclass(frozen=True)
class Outcome:
    files: tuple[FileOutcome, ...] = field(default=())
    dry_run: bool = False

    @property
    def rows(self) -> int:
        return sum(file.rows for file in self.files)

    @property
    def stored(self) -> int:
        return sum(file.stored for file in self.files)

    @property
    def known(self) -> int:
        return sum(file.known for file in self.files)

    @property
    def set_aside(self) -> int:
        """Rows that stand aside, now or still."""
        return sum(file.set_aside for file in self.files)

    @property
    def still_aside(self) -> int:
        """Those of them that an earlier import set aside."""
        return sum(file.still_aside for file in self.files)

    @property
    def replaced(self) -> int:
        """Stored rows that replaced older values (plans, prices, forecasts)."""
        return sum(file.replaced for file in self.files)

    @property
    def doubtful(self) -> int:
        return sum(file.doubtful for file in self.files)

    @property
    def refused(self) -> int:
        """Files that cannot be used; nothing of them was stored."""
        return sum(1 for file in self.files if file.error and not file.could_not)

    @property
    def not_stored(self) -> int:
        """Files that could not be stored because of trouble with the database."""
        return sum(1 for file in self.files if file.could_not)

    @property
    def exit_code(self) -> ExitCode:
        """0 all stored or known, 1 some rows set aside, 2 a file refused, 3 a file that could not be stored."""
        if self.not_stored:
            return COULD_NOT
        if self.refused or not self.files:
            return FILE_REFUSED
        return SOME_SET_ASIDE if self.set_aside else ALL_TAKEN

    def lines(self) -> list[str]:
        out = []
        for file in self.files:
            out.append(file.line())
            out.extend(f"  {note}" for note in file.notes)
        return out

    def summary(self) -> str:
        if not self.files:
            return "nothing to import: no CSV or XLSX file there"
        refused = f", {counted(self.refused, 'file')} refused" if self.refused else ""
        refused += f", {counted(self.not_stored, 'file')} not stored" if self.not_stored else ""
        tried = "would be " if self.dry_run else ""
        return (
            f"{counted(len(self.files), 'file')}, {counted(self.rows, 'row')}: {tried}{self.stored} stored, "
            f"{self.known} already known, {_aside(self.set_aside, self.still_aside)}{refused}"
        )


def _aside(now: int, still: int) -> str:
    """Rows set aside, and how many of them wait since an earlier import."""
    if not still:
        return f"{now} set aside"
    return f"{now} still set aside" if still == now else f"{now} set aside ({still} of them since an earlier import)"
