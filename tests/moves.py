"""What each choice of the list moves, as `tests/benchmarks/sensitivity.py` measured it and keeps it in a file."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

KEPT = Path(__file__).resolve().parent / "benchmarks" / "moves.csv"
NEXT_TESTS, ROWS = "next tests", "rows"  # stand behind how many vehicles are measured otherwise, rows taken otherwise
LEAST_SAID = 0.001  # a smaller change is said to be smaller than this


@dataclass(frozen=True)
class Moved:
    """What a choice (ROOM.STAGE.CHOICE) moves that goes from where it `stands` to one `end` of its doubt, `to`.

    Largest and mean change over vehicles of the probability of no-starts and of the coldest start [K]; vehicles flagged or no
    longer; and, where none of these changes, which columns of the list do, or how many vehicles are measured,
    or rows of files taken, otherwise.
    `past`: whether looks at the past were made anew for it, because with those that were made before nothing changes.
    """

    choice: str
    end: str
    stands: str
    to: str
    p_largest: float
    p_mean: float
    k_largest: float
    k_mean: float
    flags: int
    elsewhere: str
    past: str

    @property
    def nothing(self) -> bool:
        """Whether the list stays exactly as it was."""
        return not (self.p_largest or self.k_largest or self.flags or self.elsewhere)


def kept_moves() -> dict[tuple[str, str], Moved]:
    """Choice and end -> what it moves."""
    if not KEPT.exists():
        return {}
    with KEPT.open(encoding="utf-8", newline="") as file:
        rows = [
            Moved(*row[:4], *(float(one) for one in row[4:8]), int(row[8]), *row[9:])
            for row in list(csv.reader(file))[1:]
        ]
    return {(row.choice, row.end): row for row in rows}


def keep(row: Moved) -> None:
    """Write a row in its place."""
    rows = kept_moves() | {(row.choice, row.end): row}
    with KEPT.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(one.name for one in fields(Moved))
        out.writerows(astuple(rows[key]) for key in sorted(rows))


def in_words(ends: Sequence[Moved]) -> str:
    """A choice's rows as a cell of its table: the larger of what its ends move, largest over vehicles (mean over vehicles)."""
    if not ends:
        return "not measured"
    if all(one.nothing for one in ends):
        return "nothing here"
    for what in (NEXT_TESTS, ROWS):
        counts = [one.elsewhere.removesuffix(f" {what}") for one in ends]
        if most := max((int(count) for count in counts if count.isdigit()), default=0):
            return f"{most} {what.removesuffix('s')}{'s' * (most > 1)}"
    p, p_mean, k, k_mean = (
        max(getattr(one, name) for one in ends) for name in ("p_largest", "p_mean", "k_largest", "k_mean")
    )
    flags = max(one.flags for one in ends)
    if not (p or k or flags):
        frames = {one.partition(":")[0] for row in ends for one in row.elsewhere.split("; ") if one}
        return f"only {', '.join(sorted(frames))}"
    said = [f"P {_rounded(p)} ({_rounded(p_mean)})"] if p else []
    said += [f"{_rounded(k)} ({_rounded(k_mean)}) K"] if k else []
    said += [f"{flags} flag{'s' * (flags > 1)}"] if flags else []
    return ", ".join(said) + ("; by the past" if all(one.past for one in ends if not one.nothing) else "")


def _rounded(number: float) -> str:
    return f"<{LEAST_SAID:g}" if number < LEAST_SAID else f"{number:.1g}" if number < 1.0 else f"{number:.0f}"
