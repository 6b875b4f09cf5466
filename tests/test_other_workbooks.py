"""Workbooks of Excel before 2007 (.xls) and OpenDocument tables (.ods) become the same rows as an XLSX workbook.

Truth: an .xls file that xlwt 1.3.0 wrote (kept here), and tables written by hand after OASIS OpenDocument 1.2, parts 1 and 2.
"""

from __future__ import annotations

import base64
import zipfile
import zlib
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import NOW, reasons
from sqlite_utils import Database
from test_readers import rows_of

from ingest.errors import FileRefused
from ingest.importer import import_paths
from ingest.readers import read_sheets

XLS = zlib.decompress(
    base64.b64decode(
        """
        eNrtWE1IVFEUPvf9zI/5MzNqpIEMQVZmorSJwMbCUooRa2NFMD31CTL6lNdTqE2WzSYIglb9bARb1MKKoB/KqF1EYNQiCCItatMqKGihvs4582
        YcJw0HTDLeN9zz7jn33nPOPffc++68VxPByZE75VOQhV0gw6ztB0+GTGDxp5gAYLttUzX19GGxXawq+H24kB4VHhW89NIa0npPgQS3lWdIAT5i
        OQb90NJn6OEVxB72QRPkQ71QMPckuIalEMrYrxDTDqbFTG9x38dMG1hygWk99p0UR2Ei0lK1w8njw9IGbitEKuA+j3nHkjooheeUx6cvimRfFX
        ab3VrPKmuoUPJhFHBJm3RDN4kvheu0aRsba6LRmiOIcHPzzmh0Ekpw0Ufhhx0G+J7a3U/Drnxl5QJQ/nO+3LuI3IdLmS2/JCkAQ2AfF5TSCSiA
        LoVaVGjTTUtPQD7U8g5XoEfXzWno4rPczxIYMLotPL4tLa4bMc3CU8DUT1ixwTW4x0zNiMd6u43YoDfFaQXYV+/tx8yyBkw91oEqjD5LVwEObK
        urrUOtca3Hqg4b2oc8ssKnTGDeKVPAey8faScUcT3IOzCA05u+8e11tL01EmPJEL9Zku+fjTRNsOEMjcDBhZCcE4FUV/GIrUzPstb1XC9nWoLh
        wGdla6lT2TfMfc5xayXa2c54E9mUUd+M9cTXgw8qEp8iW7A+1jR1qmTsbWQENmD8OnE8/YahWlSLK5cJDyOpp3BOqvdMy347tXxSwPHddl6yRT
        ADeVwNMk1yFB2R5iQnVklORk5OcwpySppTkVPTnAc5j2NVMD/fqmCrFEcZI0uzCnHz+atfGsahgk/hINwt5l4BovtloiG2RFqlrLk8wXhJzlxI
        p5TWedPRKf1RJ3klsd8+x285y2+yIGdYkNMWXqAFVaJWsuAV47AO6/KCdj7z7AVrwtuPFIJ75Da+SeawfJkMi2byHFZbJnPMYKGYuXDhwoULFy
        7+LQi+TQLfexS+CSXvNF7nu84Mlln3M8l/i0PQhz8L/0zuBQOfJpzMKX/WgipSusQSx6S+FxLa0LoJcWhnP+I55y/eSUXmfJY8MLB8WyhX+7O5
        +PmX7f8CnJ4pRg==
        """
    )
)
HIDING_XLS = zlib.decompress(
    base64.b64decode(
        """
        eNrtWE1IVFEU/u57b8YZc5wfNdBAhoGszEJr00ZHhXIRmbWoiGAadYphakaek1AQWSatgqhV0SLJglxYEfRDBbUIXARGLYIg0Fq2CopaqK9zz3vP
        RhvBAROU9z3uueeee+65591z7n0/78aDE0MPqyYxD01QMWN44c6RCSpeuxEA9RuGZO3aQ8VwsKLg9VAg3S48970tkjGU8Z6Eggfaa6LAFypH0IP2
        TDoRXka0sg9xIX1oFBrlnoKbVEpRyX6FmHYxLWN6n3VfMG1myWWmjaQ7IQ5jPNpeu8PK40NKhPoEWZP0CY/5xNoNqMCYzONzV4Sp60KLnoyfWGEd
        1VoJhkEhbUukE7ps+3BH7tD6rfWR8MkDkQmUU7CH8dMIAz/sXf0q7MiXVy5A8t9z5UULyD0Uwvnya4oG9MM4KmQqD9IB3ayZmdAiG8fckhVoncJe
        +EgudzkpnEons5QN2XgqkY7Fs6SlJ3qzsT4/0K1nemI9md5kNtmXiPXRgC49nk7F4i5g95aG+gar3lYsnwd8fgTmnB8+3lUlRLvhZz7IeytANzB1
        7/v7PZ0d0RhL+vmZYXq4Xt4IDJyXI0rO0niVrqtr/PzcgVLKmipT8gC1bGEz0ws8yzrmq5iWkw7VNR0VFrNrgHUucm8Nzbud8SG6IYffSPzgt31P
        qwe/RjcRP9o2eaZ89GN0CBFay272U2AAdaJO3Lgu8Sxq18I6kz4zrfznfPIoAct3w3qc+jGNYmaDTM2WXC0x21KstTNbKrXU2ZZGLc2yLPJYFmxZ
        rtVLVLPnQfwa8ooQRt7IE/SukP0jirQkbSg5NsKWDWWODTOWl27nt9GkhPBYDqDz9y+WMkswL0vsrFCcrFgwK9S8WeHmiIasrDh+yyuCeFQmLXMU
        kS+KDhw4cODAgYPVAWG9PanmZwG/Q7mtzwT5X2eayozzm2TVYj8ydGXpo3In0lTrOF1Q/qyFS9i2xCLH2P8LJQ7S7DpS6GQ/UgXnL71di9z7WfTA
        wNJtoULnnynEz/88/x+YKB7C
        """
    )
)
"""Days bare from 1904, millivolts by the format alone, row 3, column D and sheet B hidden; written by xlwt 1.3.0."""
ROOT = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
    'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0">'
    "<office:body><office:spreadsheet>{}</office:spreadsheet></office:body></office:document-content>"
)
MANIFEST = (
    '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    '<manifest:file-entry manifest:full-path="/" manifest:media-type="{0}"/></manifest:manifest>'
)
TABLE = "application/vnd.oasis.opendocument.spreadsheet"
NAMES = ("unit", "taken_at", "rest_v", "crank_min_v", "crank_a", "temperature_c")


def cell(value: object, more: str = "") -> str:
    if isinstance(value, datetime):
        kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
    elif isinstance(value, float):
        kind = f'office:value-type="float" office:value="{value}"'
    else:
        kind = 'office:value-type="string"'
    return f"<table:table-cell {kind} {more}><text:p>{value}</text:p></table:table-cell>"


def row(*cells: str, more: str = "") -> str:
    return f"<table:table-row {more}>{''.join(cells)}</table:table-row>"


def ods(folder: Path, *rows: str, kind: str = TABLE) -> Path:
    """A table as an office writes it: the kind first and not packed, the cells in content.xml."""
    file = folder / "readings.ods"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", kind, zipfile.ZIP_STORED)
        archive.writestr("content.xml", ROOT.format(f'<table:table table:name="Werte">{"".join(rows)}</table:table>'))
        archive.writestr("META-INF/manifest.xml", MANIFEST.format(kind))
    return file


HEAD = row(*map(cell, NAMES))


def of_day(day: int, *, rest: str = "") -> str:
    values = ("K-101", datetime(2023, 3, day, 8, 15), 12.6, 11.4, 170.0, 4.0)
    cells = [cell(value) for value in values]
    return row(*cells[:2], rest or cells[2], *cells[3:])


def test_an_old_workbook_becomes_rows_with_moments_merged_cells_and_errors_as_shown(tmp_path: Path) -> None:
    (tmp_path / "a.xls").write_bytes(XLS)
    (sheet,) = read_sheets(tmp_path / "a.xls")
    assert sheet.name == "Werte", "the other one is empty"
    moments = [datetime(2026, 10, day, 7, 30) for day in (5, 6, 7)]
    assert rows_of(tmp_path / "a.xls", 7) == [
        (2, ["K-101", moments[0], 12.6, 10.25, 210.0, 4.0, None]),
        (3, ["K-101", moments[1], 12.6, 10.25, 210.0, 4.0, "kalt, naß"]),
        (4, ["K-101", moments[2], "#DIV/0!", 10.25, 210.0, 4.0, None]),
    ]


def test_an_old_workbook_tells_what_it_hides_its_day_nought_and_units_of_formats(db: Database, tmp_path: Path) -> None:
    (tmp_path / "h.xls").write_bytes(HIDING_XLS)
    outcome = import_paths(db, [tmp_path / "h.xls"], now=NOW)
    said = "was read with what is hidden in the workbook"
    assert outcome.files[0].notes == (f"sheet 'A' {said}: 1 row and 1 column", f"sheet 'B' {said}: all of it")
    stored = db.execute("SELECT taken_at, rest_v, drop_positive_v FROM readings ORDER BY taken_at").fetchall()
    assert stored == [
        ("2023-02-25T06:00:00", 12.6, None),
        ("2023-02-26T06:00:00", 12.65, 0.105),
        ("2023-02-27T06:00:00", 12.65, 0.105),
    ]


def test_an_opendocument_table_is_stored_and_what_is_repeated_stands_as_often(db: Database, tmp_path: Path) -> None:
    """Contract: empty rows that offices repeat to the end of the sheet are none; a cell that shows an error is said with its row."""
    far = row('<table:table-cell table:number-columns-repeated="16384"/>', more='table:number-rows-repeated="1048570"')
    wrong = cell("#DIV/0!", 'calcext:value-type="error"')
    first = of_day(1).replace("<table:table-row", '<table:table-row table:visibility="filter"')
    file = ods(tmp_path, HEAD, row(more='table:number-rows-repeated="2"'), first, of_day(2, rest=wrong), far)
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (2, 1, 1)
    assert "hidden in the workbook: 1 row" in outcome.files[0].notes[0]
    assert "#DIV/0!" in reasons(db)[0]
    assert [one["rest_v"] for one in db.query("SELECT rest_v FROM readings")] == [12.6]
    assert [line for line, _ in rows_of(file, 6)] == [4, 5]
    again = import_paths(db, [file], now=NOW)
    assert (again.stored, again.known) == (0, 1)


@pytest.mark.parametrize(
    ("times", "words"),
    [
        (("16384", "1"), "reaches to column 16,384"),
        (("900", "1048576"), "reaches to column 900 and row 1,048,577"),
        (("900", "900000"), "cells"),
    ],
)
def test_cells_that_are_repeated_beyond_a_table_are_refused_before_they_are_read(
    tmp_path: Path, times: tuple[str, str], words: str
) -> None:
    """A file of a kilobyte that holds a thousand million cells."""
    columns, rows = (f'table:number-{what}-repeated="{n}"' for what, n in zip(("columns", "rows"), times, strict=True))
    with pytest.raises(FileRefused, match=words):
        read_sheets(ods(tmp_path, HEAD, row(cell("x", columns), more=rows)))


def test_other_documents_of_an_office_and_locked_ones_are_named(tmp_path: Path) -> None:
    with pytest.raises(FileRefused, match="no table"):
        read_sheets(ods(tmp_path, HEAD, kind="application/vnd.oasis.opendocument.text"))
    (tmp_path / "locked.xlsx").write_bytes(XLS[:512] + bytes(4096))
    with pytest.raises(FileRefused, match="damaged or locked"):
        read_sheets(tmp_path / "locked.xlsx")


@pytest.mark.parametrize("kind", ["xls", "ods"])
def test_whatever_is_damaged_ends_in_one_sentence(tmp_path_factory: pytest.TempPathFactory, kind: str) -> None:
    """Property: bytes changed or cut off give rows or one refusal, never another error."""
    folder = tmp_path_factory.mktemp(kind)
    whole = XLS if kind == "xls" else ods(folder, HEAD, of_day(1)).read_bytes()

    @examples(20)
    @given(st.integers(8, len(whole)), st.dictionaries(st.integers(8, len(whole) - 1), st.integers(0, 255), max_size=8))
    def damaged(end: int, changed: dict[int, int]) -> None:
        data = bytearray(whole)
        for at, byte in changed.items():
            data[at] = byte
        (folder / "a").write_bytes(data[:end])
        refused = ""
        try:
            rows_of(folder / "a", 7)
        except FileRefused as error:
            refused = str(error)
        assert "\n" not in refused

    damaged()
