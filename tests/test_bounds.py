"""Any input ends soon and in little memory, with rows or with one sentence.

Truth: the limits of `ingest.bounds`, and files made here to break them; time and memory as the system counts them.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from samples_ingest import GOOD, HEADING, NOW, fleet, reading, readings_file, reasons
from sqlite_utils import Database

from dashboard.cli.commands.files import read_text
from ingest import bounds
from ingest.errors import FileRefused, SourceProblem
from ingest.importer import import_paths
from ingest.readers import read_sheets
from ingest.sources import find_source

MB = 1_000_000
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def refused(db: Database, file: Path) -> str:
    """The one sentence a file is refused with."""
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.exit_code, outcome.rows) == (2, 0)
    assert "\n" not in outcome.files[0].error
    return outcome.files[0].error


def book_with(path: Path, **cells: object) -> Path:
    """A workbook with one good row and some cells elsewhere."""
    book = openpyxl.Workbook()
    book.active.append(HEADING.split(","))
    book.active.append(GOOD.split(","))
    for place, value in cells.items():
        book.active[place] = value
    book.save(path)
    return path


def edited(path: Path, part: str, old: bytes, new: bytes, **more: bytes) -> Path:
    """The workbook with something in one of its parts replaced, and parts added."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as before, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as after:
        for name in before.namelist():
            data = before.read(name)
            if name == part:
                assert old in data
                data = data.replace(old, new)
            after.writestr(name, data)
        for name, data in more.items():
            after.writestr(name, data)
    path.write_bytes(out.getvalue())
    return path


SHEET = "xl/worksheets/sheet1.xml"


# --- what is no file, and what is too large --------------------------------------------------------------------------


def test_pipes_and_devices_are_not_waited_for(db: Database, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    assert "a pipe or a device" in refused(db, tmp_path / "pipe.csv")
    assert "a pipe or a device" in refused(db, Path("/dev/zero"))


def test_settings_are_not_read_from_a_pipe_either(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(ValueError, match="a pipe or a device"):
        read_text(str(tmp_path / "pipe.toml"))
    with pytest.raises(SourceProblem, match="a pipe or a device"):
        find_source(fleet(tmp_path), str(tmp_path / "pipe.toml"))


def test_files_over_the_limit_name_it(db: Database, tmp_path: Path) -> None:
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(bounds.LARGEST_FILE + 1)
    assert "allowed are 100 MB" in refused(db, large)


@pytest.mark.parametrize(
    ("content", "words"),
    [  # made by the test that writes it: every worker keeps what stands here to the end
        (lambda: "unit,taken_at,rest_v" + ",x" * 2000 + "\nK-101,2023-03-01,12\n", "1,001 columns; allowed are 1,000"),
        (lambda: "unit,taken_at,rest_v" + ",x" * 997 + "\n" + "a\n" * 30_000, "30,001 lines, 1000 columns"),
    ],
)
def test_shapeless_text_is_refused_in_one_sentence(
    db: Database, tmp_path: Path, content: Callable[[], str], words: str
) -> None:
    file = tmp_path / "odd.csv"
    file.write_text(content())
    assert words in refused(db, file)


def test_a_row_of_very_many_values_is_set_aside_alone(db: Database, tmp_path: Path) -> None:
    other = reading(taken_at="2023-03-02T08:00")
    outcome = import_paths(db, [readings_file(tmp_path, GOOD, GOOD + ",1" * 5000, other)], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (2, 1)
    assert "more than 1,000 values under 10 headings" in reasons(db)[0]


@pytest.mark.parametrize("quote", ["", '"'])
def test_pieces_and_blocks_of_any_size_give_the_same_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quote: str
) -> None:
    """Cut anywhere, in the middle of a letter of two bytes or of a quoted cell over two lines, a file says the same."""
    lines = [
        reading(taken_at=f"2023-03-{day:02d}T08:00") + f",{quote}naß {day}{chr(10) + 'two' if quote else ''}{quote}"
        for day in range(1, 29)
    ]
    file = tmp_path / "r.csv"
    file.write_text("\n".join([HEADING + ",note", *lines]) + "\n", encoding="utf-8")
    whole = [
        (b.lines.tolist(), [c.tolist() for c in b.columns]) for b in read_sheets(file)[0].blocks(1, 11, frozenset())
    ]
    for size, cells in ((7, 11), (100, 40), (333, 2000)):
        monkeypatch.setattr("ingest.texts.PIECE_BYTES", size)
        monkeypatch.setattr("ingest.texts.BLOCK_CELLS", cells)
        blocks = [*read_sheets(file)[0].blocks(1, 11, frozenset())]
        assert [line for b in blocks for line in b.lines.tolist()] == whole[0][0]
        assert [[v for b in blocks for v in b.columns[i].tolist()] for i in range(11)] == whole[0][1]
        assert [b.original(i) for b in blocks for i in range(len(b.lines))] == lines


def test_a_file_of_rows_that_cannot_be_believed_is_refused(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.cells.MOST_ASIDE", 20)
    strange = [reading(unit=f"X-{i}") for i in range(21)]
    sentence = refused(db, readings_file(tmp_path, *strange))
    assert "over 20 of its rows cannot be believed" in sentence
    assert "line 2: unit 'X-0' is unknown" in sentence
    assert import_paths(db, [readings_file(tmp_path, *strange[1:])], now=NOW).set_aside == 20


def test_columns_that_are_not_ours_are_kept_up_to_a_limit(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "r.csv"
    file.write_text(f"{HEADING},Seat\n{GOOD},blue\n")
    monkeypatch.setattr("ingest.cells.MOST_BESIDE", 10)
    assert "in columns that are not ours" in refused(db, file)
    monkeypatch.undo()
    assert import_paths(db, [file], now=NOW).stored == 1
    assert db.execute("SELECT extra FROM readings").fetchone()[0] == '{"Seat": "blue"}'


# --- workbooks -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["XFD1048576", "XFD2", "A1048576"])
def test_a_stray_cell_is_told_with_its_place(db: Database, tmp_path: Path, place: str) -> None:
    sentence = refused(db, book_with(tmp_path / "stray.xlsx", **{place: "x"}))
    assert "sheet 'Sheet' reaches to column" in sentence
    assert "delete what stands far below or beside the table" in sentence


@pytest.mark.parametrize(
    "place",
    [b'r="A1000000000"', b"r='A100000000'", b'r="xfd900000"', b's="1"\nr = "A100000000"', b'r="AAAAAA2"'],
)
def test_a_place_that_no_sheet_has_is_refused_before_memory_is_asked_for_it(
    db: Database, tmp_path: Path, place: bytes
) -> None:
    """The reader of the cells makes a grid as far as any place says, however it is written, and ends the program where it does not fit."""
    path = edited(book_with(tmp_path / "far.xlsx"), "xl/worksheets/sheet1.xml", b'r="A2"', place)
    assert "sheet 'Sheet' reaches to column" in refused(db, path)


def test_a_stray_cell_nearby_costs_nothing(db: Database, tmp_path: Path) -> None:
    outcome = import_paths(db, [book_with(tmp_path / "near.xlsx", L60000="x")], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (1, 1)
    assert db.execute("SELECT line FROM set_aside").fetchone()[0] == 60_000


def test_archives_that_unpack_to_very_much_are_refused(db: Database, tmp_path: Path) -> None:
    path = book_with(tmp_path / "bomb.xlsx")
    out = io.BytesIO(path.read_bytes())
    with (
        zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open("xl/x.bin", "w") as part,
    ):
        for _ in range(bounds.LARGEST_UNPACKED // MB + 1):
            part.write(bytes(MB))
    path.write_bytes(out.getvalue())
    assert "unpacks to 301 MB; allowed are 300 MB" in refused(db, path)


def test_texts_shared_by_very_many_cells_are_counted(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = book_with(tmp_path / "shared.xlsx")
    cells = b"".join(b'<row r="%d"><c r="A%d" t="s"><v>0</v></c></row>' % (row, row) for row in range(3, 103))
    edited(path, SHEET, b"</sheetData>", cells + b"</sheetData>")
    text = b'<sst xmlns="%s"><si><t>%s</t></si></sst>' % (MAIN.strip("{}").encode(), b"a" * 1000)
    edited(path, "xl/workbook.xml", b"", b"", **{"xl/sharedStrings.xml": text})
    monkeypatch.setattr("ingest.workbook_look.MOST_TEXT", 50_000)
    assert "characters in its cells; allowed are 50,000" in refused(db, path)


def test_what_a_workbook_does_not_say_is_not_taken_for_an_empty_cell(db: Database, tmp_path: Path) -> None:
    """An error and a formula without a result stand in the row's reason; a formula's result is its value."""
    path = book_with(tmp_path / "f.xlsx", E2="=12+0.6", F2="#DIV/0!", A3="K-102", B3="2023-03-04 08:00", E3="=6+6.5")
    edited(path, SHEET, b"<f>6+6.5</f><v />", b"<f>6+6.5</f><v>12.5</v>")
    outcome = import_paths(db, [path], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (1, 1)
    assert "'=12+0.6' is not a number" in reasons(db)[0]
    assert "'#DIV/0!' is not a number" in reasons(db)[0]
    assert db.execute("SELECT rest_v FROM readings").fetchone()[0] == 12.5


def test_days_from_1904_and_times_of_day(db: Database, tmp_path: Path) -> None:
    """ECMA-376 part 1, 18.17.4.1: a workbook may count its days from 1904."""
    from datetime import datetime

    path = book_with(tmp_path / "d.xlsx", B2=datetime(2023, 3, 1, 8, 15))
    assert import_paths(db, [path], now=NOW).stored == 1
    edited(path, "xl/workbook.xml", b"<workbookPr />", b'<workbookPr date1904="1" />')
    import_paths(db, [path], now=datetime(2030, 1, 1))
    bare = book_with(tmp_path / "n.xlsx", B2=43_520.25)
    edited(bare, "xl/workbook.xml", b"<workbookPr />", b'<workbookPr date1904="true" />')
    assert import_paths(db, [bare], now=NOW).stored == 1
    when = [row[0] for row in db.execute("SELECT taken_at FROM readings ORDER BY taken_at").fetchall()]
    assert when == ["2023-02-25T06:00:00", "2023-03-01T08:15:00", "2027-03-02T08:15:00"]


# --- time and memory -------------------------------------------------------------------------------------------------

MEASURED = """
import sys, time
from ingest.importer import import_paths
from ingest.store import open_database
db = open_database(sys.argv[1])
outcome = import_paths(db, sys.argv[2:])
print([f.error for f in outcome.files], outcome.stored)
peak = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(time.process_time(), int(peak[0]) / 1024)
"""


def measured(db: Path, *files: Path) -> tuple[str, float, float]:
    """What an import of its own process said, the seconds it worked, and its peak of memory [MB].

    Linux counts the memory of the process that began it to getrusage, so its own peak is read where it stands.
    """
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(db), *map(str, files)],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    said, figures = done.stdout.splitlines()
    seconds, peak = figures.split()
    return said, float(seconds), float(peak)


@pytest.mark.nightly
def test_large_inputs_end_within_the_minute_and_the_gigabyte(tmp_path: Path) -> None:
    """50 MB in one line, 99 MB of line ends, a rare wide letter in every piece, and 20,000 rows of a logger."""
    fleet(tmp_path)
    files = {
        "line.csv": f"{HEADING}\n" + "1," * (25 * MB),
        "ends.csv": f"{HEADING}\n" + "\n" * (99 * MB),
        "wide.csv": f"{HEADING},note\n" + ("9" * 9_000 + "\n") * 6_000 + "\U0001f600" + "\n",
    }
    for name, content in files.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    times = (f"2023-{1 + i % 12:02d}-{1 + i // 12 % 28:02d}T{i // 336 % 24:02d}:{i // 8064:02d}" for i in range(20_000))
    log = readings_file(tmp_path, *(reading(taken_at=when) for when in times), name="log.csv")
    said, seconds, peak = measured(tmp_path / "fleet.db", *(tmp_path / name for name in files), log)
    assert "line 2 has 50,000,000 characters; allowed are 1,000,000" in said
    assert "99,000,001 lines; allowed are 1,000,000" in said
    assert said.endswith("20000")
    assert seconds < 60
    assert peak < 1000


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(FileRefused, match="a folder"):
        bounds.bytes_of(tmp_path)
