"""Counts, summary and exit code of an import."""

from __future__ import annotations

import pytest

from ingest.outcome import FileOutcome, Outcome

GOOD = FileOutcome("a.csv", "readings", rows=5, stored=3, known=2)
SOME = FileOutcome("b.csv", "readings", rows=4, stored=3, set_aside=1)
BAD = FileOutcome("c.csv", error="it is empty")
FULL = FileOutcome("d.csv", error="the disk is full", could_not=True)


@pytest.mark.parametrize(
    ("files", "code"),
    [((GOOD,), 0), ((GOOD, SOME), 1), ((GOOD, SOME, BAD), 2), ((BAD,), 2), ((), 2), ((SOME, BAD, FULL), 3)],
)
def test_exit_codes(files: tuple[FileOutcome, ...], code: int) -> None:
    assert Outcome(files).exit_code == code


def test_summary_is_one_line_with_all_counts() -> None:
    outcome = Outcome((GOOD, SOME, BAD))
    assert outcome.summary() == "3 files, 9 rows: 6 stored, 2 already known, 1 set aside, 1 file refused"
    assert outcome.lines()[2] == "c.csv: refused: it is empty"


def test_rows_that_still_wait_and_files_that_could_not_be_stored_are_told_apart() -> None:
    """Worked by hand."""
    waiting = FileOutcome("e.csv", "readings", rows=4, set_aside=4, still_aside=3)
    assert waiting.line().endswith("0 stored, 0 already known, 4 set aside (3 of them since an earlier import)")
    assert Outcome((FULL,)).summary() == "1 file, 0 rows: 0 stored, 0 already known, 0 set aside, 1 file not stored"
    assert FULL.line() == "d.csv: not stored: the disk is full"


def test_rows_must_add_up() -> None:
    with pytest.raises(ValueError, match="rows is 3"):
        FileOutcome("x", rows=3, stored=1)
    with pytest.raises(ValueError, match="still_aside is 2"):
        FileOutcome("x", rows=1, set_aside=1, still_aside=2)
