"""Files of every habit become rows with true line numbers, or one clear refusal."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import GOOD, HEADING, NOW, fleet, reading, reasons
from sqlite_utils import Database

from ingest.errors import FileRefused
from ingest.importer import import_paths
from ingest.readers import read_sheets
from ingest.texts import sniff_delimiter
from ingest.workbook_look import unit_shown


def rows_of(file: Path, width: int, numeric: frozenset[int] = frozenset()) -> list[tuple[int, list[object]]]:
    """Lines and cells below a one-line heading."""
    out = []
    for block in read_sheets(file)[0].blocks(1, width, numeric):
        for i, line in enumerate(block.lines.tolist()):
            out.append((line, [column[i] for column in block.columns]))
    return out


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_delimiters_and_line_ends(tmp_path: Path, encoding: str, delimiter: str, end: str) -> None:
    text = end.join([HEADING + ",note", GOOD + ",naß", GOOD.replace("08:15", "09:15") + ",Prüfung", ""])
    file = tmp_path / "r.csv"
    file.write_bytes(text.replace(",", delimiter).encode(encoding))
    sheet = read_sheets(file)[0]
    assert sheet.delimiter == delimiter
    found = rows_of(file, 11)
    assert [line for line, _ in found] == [2, 3]
    assert [cells[-1] for _, cells in found] == ["naß", "Prüfung"]


def test_quoted_line_breaks_delimiters_and_blank_lines_keep_true_line_numbers(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(
        f"{HEADING},note\n"
        f'{reading(taken_at="2023-03-01T08:00")},"first line\nsecond, ""quoted"""\n'
        "\n"
        ",,,,,,,,,,\n"
        f"{reading(taken_at='2023-03-02T08:00', crank_a='x')},plain\n"
    )
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (2, 1, 1)
    assert db.execute("SELECT note FROM readings").fetchone()[0] == 'first line\nsecond, "quoted"'
    assert db.execute("SELECT line FROM set_aside").fetchone()[0] == 6


def test_an_unclosed_quote_costs_its_own_line_only(db: Database, tmp_path: Path) -> None:
    lines = [reading(taken_at=f"2023-03-01T08:{minute:02d}") for minute in range(60)]
    lines[3] += ',"never closed'
    file = tmp_path / "r.csv"
    file.write_text("\n".join([HEADING + ",note", *lines]) + "\n")
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (60, 59, 1)
    assert "never closed" in reasons(db)[0]
    assert db.execute("SELECT line FROM set_aside").fetchone()[0] == 5


@pytest.mark.parametrize(("breaks", "stored"), [(48, 3), (49, 2)])
def test_a_remark_of_up_to_49_lines_is_one_cell(db: Database, tmp_path: Path, breaks: int, stored: int) -> None:
    """By our choice: a quote that is still open in its fiftieth line was never closed, and costs its own line only."""
    remark = "\n".join(["word"] * (breaks + 1))
    rows = [f'{reading(taken_at=f"2023-03-0{day}T08:00")},"{remark if day == 2 else "short"}"' for day in (1, 2, 3)]
    file = tmp_path / "r.csv"
    file.write_text("\n".join([HEADING + ",note", *rows]) + "\n")
    assert import_paths(db, [file], now=NOW).stored == stored
    assert ("a quotation mark is never closed" in " ".join(reasons(db))) == (stored == 2)


def test_surplus_cells_and_a_torn_last_line_are_set_aside(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(
        f"{HEADING}\n{GOOD},surplus\n{reading(taken_at='2023-03-02T08:00')},,,\nK-102,2023-03-01T08:15,8100"
    )
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (3, 1, 2)
    assert "11 values under 10 headings" in reasons(db)[0]
    file.write_text(f"{HEADING}\n{GOOD}\nK-102,2023-03-01T08:15,8100,5,12.6")
    assert import_paths(db, [file], now=NOW).set_aside == 1
    assert "ends in the middle" in reasons(db)[-1]


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.csv", b"", "empty"),
        ("a.csv", b" \n \n", "empty"),
        ("a.csv", HEADING.encode() + b"\n", "no rows"),
        ("a.csv", b"unit,taken_at\nS\x00\x00,2022\n", "NUL"),
        ("a.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "not a text table"),
        ("a.csv", b"colour,shape\nred,round\n", "not known"),
        ("a.xlsx", b"PK\x03\x04" + b"garbage" * 100, "damaged"),
        ("a.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"0" * 600, "damaged or locked"),
        ("a.csv", b"unit,taken_at,rest_v\nK-101,2023-01-01,12.\x8d\n\x81", "not a text table"),
        ("a.csv", b"unit,taken_at,rest_v,rest_mv\nK-101,2023-01-01,12.6,12600\n", "two columns are rest_v"),
    ],
)
def test_useless_files_get_one_sentence_and_store_nothing(
    db: Database, tmp_path: Path, name: str, data: bytes, words: str
) -> None:
    (tmp_path / name).write_bytes(data)
    outcome = import_paths(db, [tmp_path / name], now=NOW)
    assert outcome.exit_code == 2
    assert words in outcome.files[0].error
    assert "\n" not in outcome.files[0].error
    assert db.execute("SELECT count(*) FROM readings").fetchone()[0] == 0


def test_missing_file_and_torn_workbook(db: Database, tmp_path: Path) -> None:
    assert "no such file" in import_paths(db, [tmp_path / "none.csv"], now=NOW).files[0].error
    book = openpyxl.Workbook()
    book.active.append(HEADING.split(","))
    book.save(tmp_path / "w.xlsx")
    whole = (tmp_path / "w.xlsx").read_bytes()
    for share in (0.1, 0.5, 0.9, 0.99):
        (tmp_path / "torn.xlsx").write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(FileRefused, match="damaged"):
            read_sheets(tmp_path / "torn.xlsx")


def test_workbook_habits(db: Database, tmp_path: Path) -> None:
    """Two sheets of tables and one of scribbles, merged cells, real dates, a formula with and without its result."""
    book = openpyxl.Workbook()
    scribble = book.active
    scribble.title = "Legend"
    scribble.append(["OL means over range"])
    sheet = book.create_sheet("March")
    sheet.append(["Checks of March"])
    sheet.append([])
    sheet.append(["Unit ", "Taken at", "Rest V", "crank_min_v", "Crank-A"])
    from datetime import datetime

    sheet.append(["K-101", datetime(2023, 3, 1, 8), 12.6, 11.4, 170])
    sheet.append([None, datetime(2023, 3, 2, 8), 12.6, "11,4 V", 171])
    sheet.merge_cells("A4:A5")
    sheet.append(["K-102", 44986.5, 12.6, "OL", 172, "scribbled beside"])
    sheet.append(["K-102", "2023-03-04 08:00", "=12+0.6", 11.4, 172])
    more = book.create_sheet("Repairs")
    more.append(["unit", "done_on", "part", "action", "reason"])
    more.append(["K-101", datetime(2023, 3, 3), "battery", "Replaced", ""])
    book.save(tmp_path / "book.xlsx")
    outcome = import_paths(db, [tmp_path / "book.xlsx"], now=NOW)
    assert outcome.files[0].table == "repairs, readings"
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (5, 4, 1)
    assert any("Legend" in note for note in outcome.files[0].notes)
    assert db.execute("SELECT line, sheet FROM set_aside").fetchone() == (7, "March")
    assert "=12+0.6" in reasons(db)[0]
    assert "scribbled beside" in db.execute("SELECT extra FROM readings WHERE unit = 'K-102'").fetchone()[0]
    when = [row[0] for row in db.execute("SELECT taken_at FROM readings WHERE unit = 'K-102'").fetchall()]
    assert when == ["2023-03-01T12:00:00"]


def test_what_a_workbook_hides_is_read_and_said(db: Database, tmp_path: Path) -> None:
    """Hidden rows and columns beyond the table, as tidy people hide them, are not counted."""
    book = openpyxl.Workbook()
    old = book.create_sheet("Old")
    for day, sheet in enumerate(book.worksheets, start=1):
        sheet.append(HEADING.split(","))
        sheet.append(reading(taken_at=f"2023-03-0{day}T08:15").split(","))
    old.sheet_state, shown = "hidden", book.active
    shown.row_dimensions[2].hidden = shown.row_dimensions[9].hidden = shown.column_dimensions["D"].hidden = True
    shown.column_dimensions.group("K", "XFD", hidden=True)
    book.save(tmp_path / "h.xlsx")
    outcome = import_paths(db, [tmp_path / "h.xlsx"], now=NOW)
    said = "was read with what is hidden in the workbook"
    assert outcome.files[0].notes == (f"sheet 'Sheet' {said}: 1 row and 1 column", f"sheet 'Old' {said}: all of it")
    assert outcome.stored == 2


def test_units_that_only_a_cells_format_shows_are_read(db: Database, tmp_path: Path) -> None:
    """45.5 °F is 7.5 °C; 50331 miles of 1.609344 km; a format of colours, dates, thousands or percent is no unit."""
    book = openpyxl.Workbook()
    book.active.append(HEADING.split(","))
    row = reading(odometer_km=50331, temperature_c=45.5, crank_min_v=11400, crank_a=0.171, drop_positive_v=105)
    texts = row.split(",")
    book.active.append([*texts[:2], *map(float, texts[2:])])
    formats = {
        "C": '#,##0" mi"',
        "D": '0.0\\ "°F"',
        "E": '[Red]0.00" V"',
        "F": '0"mV";-0"mV"',
        "G": "0.000\\ \\k\\A",
        "I": "0.0 [$mV]",
    }
    for column, one in formats.items():
        book.active[f"{column}2"].number_format = one
    book.save(tmp_path / "u.xlsx")
    assert import_paths(db, [tmp_path / "u.xlsx"], now=NOW).stored == 1
    names = "odometer_km, temperature_c, rest_v, crank_min_v, crank_a, drop_positive_v"
    stored = db.execute(f"SELECT {names} FROM readings").fetchone()
    assert stored == pytest.approx((81000.0, 7.5, 12.66, 11.4, 171.0, 0.105), abs=0.2)
    assert stored[-1] == 0.105
    assert [unit_shown(one) for one in ("General", '0.0," kA"', "[h]:mm", "0%", "dd.mm.yyyy", '"K-"000')] == [""] * 6


def test_numbers_that_are_names_keep_their_zeros(db: Database, tmp_path: Path) -> None:
    (tmp_path / "u2.csv").write_text("unit,vehicle_class,system_v,depot\n0017,bus,12,007\n")
    (tmp_path / "r.csv").write_text(f"{HEADING},technician\n{reading(unit='0017')},0042\n")
    assert import_paths(db, [tmp_path], now=NOW).exit_code == 0
    assert db.execute("SELECT unit, technician FROM readings").fetchone() == ("0017", "0042")


def test_content_decides_not_the_name(db: Database, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(HEADING.split(","))
    book.active.append(GOOD.split(","))
    book.save(tmp_path / "w.xlsx")
    (tmp_path / "w.xlsx").rename(tmp_path / "w.csv")
    assert import_paths(db, [tmp_path / "w.csv"], now=NOW).stored == 1


def test_sniffing_prefers_the_steady_delimiter() -> None:
    assert sniff_delimiter("a;b;c\n1,5;2,5;3,5\n1,5;2,5;3,5\n") == ";"
    assert sniff_delimiter("a,b\n1,x;y;z\n2,x\n") == ","


@examples(10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300))
@example(b"\x1a")
def test_any_bytes_give_sheets_or_a_refusal(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "any.csv"
    file.write_bytes(data)
    try:
        sheets = read_sheets(file)
    except FileRefused:
        return
    for sheet in sheets:
        for block in sheet.blocks(1, 3, frozenset({1})):
            assert len(block.lines) == len(block.columns[0])


@examples(10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example([["", "", " "]])  # a row of nothing but blanks is no row
@example([["", "TRUE", ""]])
@example([["", "TRUE", ""], ["", "", "x"], ["", "False", ""]])
@given(
    st.lists(
        st.lists(
            st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=6), min_size=3, max_size=3
        )
    )
)
def test_quick_and_slow_reading_agree(tmp_path: Path, rows: list[list[str]]) -> None:
    """A file without quotes is read many lines at once; with a quote in it row by row: the cells must be the same."""
    clean = [[cell.replace('"', "").replace(",", "") for cell in row] for row in rows]
    body = "\n".join(",".join(row) for row in [["a", "b", "c"], *clean]) + "\n"
    quick, slow = tmp_path / "quick.csv", tmp_path / "slow.csv"
    quick.write_bytes(body.encode())
    slow.write_bytes((body + '"q",q,q\n').encode())

    def cells(file: Path) -> list[tuple[int, list[str]]]:
        return [(line, [_text(cell) for cell in row]) for line, row in rows_of(file, 3, frozenset({1}))]

    assert cells(quick) == cells(slow)[:-1]


ODD_CELLS = (
    "", "TRUE", "False", "true", "12.6", "-", "OL", "n/a", "nan", "inf", "-inf", "1e400", "12345678901234567890", "0x1F", "1_0",
    "12,6 V", "1.234.567", "12.6 kPa", "2023-03-01", "08:15", "#DIV/0!", "١٢", "½", "+12", "12.", ".5", " ", "9" * 400, "\x0b",
)  # fmt: skip
TARGETS = [*HEADING.split(","), "crank_s", "outcome", "jumper_start", "technician", "note"]


@examples(15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example({"rest_v": ["TRUE", ""]}, False)  # a column of truth values with an empty cell once ended the whole import
@example({"rest_v": ["TRUE", "12.6", ""]}, True)
@given(
    st.dictionaries(st.sampled_from(TARGETS), st.lists(st.sampled_from(ODD_CELLS), min_size=1, max_size=4), min_size=1),
    st.booleans(),
)
def test_columns_of_any_mixture_end_row_by_row(
    tmp_path_factory: pytest.TempPathFactory, columns: dict[str, list[str]], quoted: bool
) -> None:
    """Whatever the cells of a column, every row is stored, known or set aside, read quickly or row by row."""
    folder = tmp_path_factory.mktemp("odd")
    db = fleet(folder)
    size = max(map(len, columns.values()))
    rows = []
    for number in range(size):
        own = {"unit": "K-101", "taken_at": f"2023-03-{number + 1:02d}", "rest_v": "12.6"}
        own |= {name: cells[number % len(cells)] for name, cells in columns.items()}
        rows.append(
            ",".join('"' + own.get(n, "") + '"' if quoted or "," in own.get(n, "") else own.get(n, "") for n in TARGETS)
        )
    file = folder / "odd.csv"
    file.write_text(",".join(TARGETS) + "\n" + "\n".join(rows) + "\n", encoding="utf-8")
    outcome = import_paths(db, [file], now=NOW)
    if not outcome.refused:
        assert outcome.rows == outcome.stored + outcome.known + outcome.set_aside
        assert outcome.rows == sum(1 for row in rows if row.replace(",", "").replace('"', "").strip())
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    db.conn.close()


def _text(cell: object) -> str:
    """Numbers read at once are floats; compare by value."""
    try:
        value = float(str(cell).strip())
    except ValueError:
        return str(cell)
    return "" if value != value else repr(value)
