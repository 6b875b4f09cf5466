"""Counts, summary and exit code of an import."""

from __future__ import annotations

import pytest

from ingest.outcome import FileOutcome, Outcome

GOOD = FileOutcome("a.csv", "readings", rows=5, stored=3, known=2)
SOME = FileOutcome("b.csv", "readings", rows=4, stored=3, set_aside=1)
BAD = FileOutcome("c.csv", error="it is empty")


@pytest.mark.parametrize(
    ("files", "code"),
    [((GOOD,), 0), ((GOOD, SOME), 1), ((GOOD, SOME, BAD), 2), ((BAD,), 2), ((), 2)],
)
def test_exit_codes(files: tuple[FileOutcome, ...], code: int) -> None:
    assert Outcome(files).exit_code == code


def test_summary_is_one_line_with_all_counts() -> None:
    outcome = Outcome((GOOD, SOME, BAD))
    assert outcome.summary() == "3 files, 9 rows: 6 stored, 2 already known, 1 set aside, 1 file refused"
    assert outcome.lines()[2] == "c.csv: refused: it is empty"


def test_rows_must_add_up() -> None:
    with pytest.raises(ValueError, match="rows is 3"):
        FileOutcome("x", rows=3, stored=1)
