"""How large a file may be: so that any file ends within a minute and a gigabyte, with its rows or with one sentence.

All of these are our choices: above what a fleet's logger or office gives, below what the memory and the minute allow.
"""

import stat
from pathlib import Path

from ingest.errors import FileRefused

LARGEST_FILE = 100_000_000  # [byte]; 1,000 vehicles with 600 rows each are about 60 million
MOST_ROWS = 1_000_000  # of one table: as many lines as a workbook's sheet can hold, about
LONGEST_LINE = 1_000_000  # [characters]: a longer one is a file whose line ends are lost
MOST_COLUMNS = 1_000  # under one heading row
MOST_CELLS = 25_000_000  # of a text table: rows times columns
MOST_ASIDE = 100_000  # rows of one table that cannot be believed: with more, its description or its columns are wrong
MOST_BESIDE = 100_000_000  # [characters] in columns that are not ours, kept beside the rows
MOST_GRID = 6_500_000  # cells of a workbook's sheets from the first to the last used one, empty ones too
LARGEST_UNPACKED = 300_000_000  # [byte] of a workbook
MOST_TEXT = 200_000_000  # [characters] of a workbook's cells in all
LONGEST_CELL = 32_767  # [characters] of a workbook's cell, as its programs allow
VEHICLES_A_PARTITION = 2_000  # of an export: some seconds of assessment with 24 readings each; our choice


def bytes_of(file: Path) -> bytes:
    """The bytes of a file; FileRefused as :func:`check_file`, also where it grew meanwhile."""
    check_file(file)
    try:
        with file.open("rb") as opened:
            data = opened.read(LARGEST_FILE + 1)
    except OSError as error:
        raise FileRefused(f"it cannot be read: {error.strerror or error}") from error
    _refuse_large(len(data))
    return data


def check_file(file: Path) -> None:
    """FileRefused for what is no file, cannot be read or is larger than LARGEST_FILE."""
    try:
        kind = file.stat()
        if stat.S_ISDIR(kind.st_mode):
            raise FileRefused("a folder, not a file")
        if not stat.S_ISREG(kind.st_mode):
            raise FileRefused("a pipe or a device, not a file; write its content to a file and import that")
        with file.open("rb"):
            pass
    except FileNotFoundError:
        raise FileRefused("there is no such file") from None
    except OSError as error:
        raise FileRefused(f"it cannot be read: {error.strerror or error}") from error
    _refuse_large(kind.st_size)


def _refuse_large(size: int) -> None:
    if size > LARGEST_FILE:
        raise FileRefused(f"it has {size / 1e6:,.0f} MB; allowed are {LARGEST_FILE / 1e6:,.0f} MB: split it")


def table_bytes(file: Path) -> bytes:
    """The bytes of a file that holds a table; FileRefused as :func:`bytes_of` and for an empty file."""
    data = bytes_of(file)
    if not data.strip():
        raise FileRefused("the file is empty; a table needs a heading and at least one row")
    return data


def refuse_more(what: str, found: int, most: int, remedy: str) -> None:
    """FileRefused when there are more than `most` of what is counted."""
    if found > most:
        raise FileRefused(f"it has {found:,} {what}; allowed are {most:,}: {remedy}")
