"""CSV and XLSX files become sheets of rows with true line numbers, whatever their encoding and delimiter."""

from pathlib import Path

from ingest.bounds import table_bytes
from ingest.errors import FileRefused
from ingest.sheets import Sheet
from ingest.texts import text_sheet
from ingest.workbooks import workbook_sheets

SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")


def read_sheets(path: str | Path, *, encoding: str = "", delimiter: str = "") -> list[Sheet]:
    """Return the sheets of a CSV or XLSX file (by its content, not its name); raise FileRefused when it is neither.

    `encoding` and `delimiter` override what is found by looking.
    """
    file = Path(path)
    data = table_bytes(file)
    if data[:4] == b"PK\x03\x04":
        return workbook_sheets(file, data)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise FileRefused("an old or locked Excel file; save it as .xlsx without a password, then import that")
    if data[:5] == b"%PDF-":
        raise FileRefused("a PDF, not a table; export the table itself as .xlsx or CSV, then import that")
    return [text_sheet(file, data, encoding=encoding, delimiter=delimiter)]
