"""Whether a database is in order, in words: what is wrong with it, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from dashboard.words.plain_text import count_words

if TYPE_CHECKING:
    from ingest.record_check import FileRows
    from ingest.verify import Finding, Verified

NOTHING_YET: Final = "Nothing is in it yet."
IN_ORDER: Final = "In order: every page, every reference, every change on record, and every row of every imported file."
GO_BACK: Final = (
    "Put the last good copy back with `cranktrend restore BACKUP`; what is here now is kept beside it. Look first "
    "whether the disk is failing."
)
ASK: Final = (
    "Somebody wrote to the database past the program. `cranktrend logbook` says who set the value on record; set the right one "
    "again where it was set (`cranktrend correct`, or its page), or go back to a copy with `cranktrend restore BACKUP`."
)
IMPORT_AGAIN: Final = (
    "Import that file again: rows that are there are known and change nothing. Where the file is gone, put back a copy "
    "from that day or later with `cranktrend restore BACKUP`."
)
DO: Final[Mapping[str, str]] = {
    "damaged": GO_BACK,
    "missing": GO_BACK,
    "reference": GO_BACK,
    "text": GO_BACK,
    "change": ASK,
    "rows": IMPORT_AGAIN,
    "older": "Nothing: the next command copies it beside itself and brings it up to date.",
    "readable": "Where that is not meant: chmod 600, for the database and for what lies beside it.",
}


def sentence(found: Finding) -> str:
    f = found.figures
    if found.kind == "damaged":
        return f"The database is damaged: {f['said']}."
    if found.kind == "missing":
        return f"The database is damaged: {f['what']}."
    if found.kind == "reference":
        return (
            f"{count_words(int(f['rows']), 'row')} of {f['table']} belong to a row of {f['named']} that is not there."
        )
    if found.kind == "text":
        return f"{count_words(int(f['rows']), 'row')} of {f['table']} hold {f['column']} that cannot be read."
    if found.kind == "change":
        return (
            f"{f['table']} {f['row']}: {f['column']} is {f['there'] or 'nothing'}, but the last change on record made it "
            f"{f['told'] or 'nothing'}."
        )
    if found.kind == "rows":
        return rows_words(f)
    if found.kind == "older":
        return f"It is of the older version {f['version']}."
    return f"Others on this machine may read {f['file']}."


def rows_words(f: Mapping[str, str | int]) -> str:
    told = f"{f['file']}, imported on {str(f['at'])[:10]}"
    if int(f["said"]) < 0:
        return f"{told}: there is no account of its rows."
    stored = f"of {f['table']} were stored" if f["table"] else "were stored"
    became = "were set aside" if f["table"] == "set_aside" else stored
    return f"{told}: {count_words(int(f['said']), 'row')} {became}, {f['there']} are there."


def said_lines(file: Path, found: Verified) -> list[str]:
    if not found.version:
        head = f"{file}"
    else:
        rows = found.rows
        head = (
            f"{file}: version {found.version}, {count_words(rows['units'], 'vehicle')}, "
            f"{count_words(rows['readings'], 'reading')}, {count_words(rows['repairs'], 'repair')}, "
            f"{count_words(rows['set_aside'], 'row')} set aside, {count_words(imports(found.files), 'imported file')}"
        )
    lines = [head]
    for one in found.findings:
        lines += [f"{'WRONG' if one.wrong else 'note'}: {sentence(one)}", f"  {DO[one.kind]}"]
    if not found.wrong:
        lines.append(IN_ORDER if found.version else NOTHING_YET)
    return lines


def imports(files: Sequence[FileRows]) -> int:
    """How many imports of files there were: one may have brought rows of several tables."""
    return len({(one.file, one.at) for one in files})


def wrong_words(found: Verified) -> str:
    first, more = sentence(found.wrong[0]), len(found.wrong) - 1
    return f"{first[0].lower()}{first[1:-1]}{f'; {more} more' if more else ''}"


def refused(backup: Path, found: Verified) -> str:
    return f"{backup} was not put back, the database is as it was: {wrong_words(found)}; name another copy"


def put_back(file: Path, backup: Path, replaced: Path | None) -> str:
    kept = f"; what was there lies in {replaced}" if replaced else ""
    return f"{file} is again as {backup} has it{kept}"
