"""CSV files and workbooks become sheets of rows with true line numbers, whatever their encoding and delimiter."""

from pathlib import Path

from ingest.bounds import table_bytes
from ingest.errors import FileRefused
from ingest.old_workbooks import OLD
from ingest.sheets import Sheet
from ingest.texts import text_sheet
from ingest.workbooks import workbook_sheets

SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods")


def read_sheets(path: str | Path, *, encoding: str = "", delimiter: str = "") -> list[Sheet]:
    """Return the sheets of a CSV file or a workbook (by its content, not its name); raise FileRefused when it is neither.

    `encoding` and `delimiter` override what is found by looking.
    """
    file = Path(path)
    data = table_bytes(file)
    if data.startswith((b"PK\x03\x04", OLD)):
        return workbook_sheets(file, data)
    if data[:5] == b"%PDF-":
        raise FileRefused("a PDF, not a table; export the table itself as .xlsx or CSV, then import that")
    return [text_sheet(file, data, encoding=encoding, delimiter=delimiter)]
