"""Files to begin with: an empty template of each table, and a sample of an invented fleet that ends yesterday."""

from __future__ import annotations

import datetime as dt
import io
import tempfile
from pathlib import Path
from types import MappingProxyType
from typing import Final

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font

from demo_fleet.export import export_fleet
from demo_fleet.scenario import DEPOTS
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import FleetSpec
from ingest.fields import TABLES, allowed_words

FIRST: Final = ("units", "climate", "readings")
"""Tables that a fleet begins with, in the order in which their files come."""
SAMPLE_SEED: Final = 31
SAMPLE_VEHICLES: Final = 30  # enough for each class to be compared; our choice
SAMPLE_YEARS: Final = 1.5  # so that one winter is in it; our choice
_WIDTH: Final = MappingProxyType({"A": 18, "B": 9, "C": 62, "D": 46})  # [characters]


def template(name: str) -> bytes:
    """An XLSX file with the headings of one table, and a second sheet on what each column means and may hold.

    Raises KeyError where there is no such table.
    """
    table = TABLES[name]
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = name
    sheet.append(list(table.names))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    about = book.create_sheet("columns")
    about.append(["column", "needed", "what it means", "what it may hold"])
    for column in table.columns:
        about.append([column.name, "yes" if column.required else "", column.meaning, allowed_words(column)])
    for cell in about[1]:
        cell.font = Font(bold=True)
    for letter, width in _WIDTH.items():
        about.column_dimensions[letter].width = width
        for cell in about[letter]:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def sample(until: dt.date) -> dict[str, bytes]:
    """Table -> CSV of an invented fleet whose last day is the one before `until`; the same for the same day."""
    spec = FleetSpec(
        SAMPLE_SEED, units=SAMPLE_VEHICLES, years=SAMPLE_YEARS, name="sample", prefix="S-", first_number=1, digits=3,
        start=until - dt.timedelta(days=round(SAMPLE_YEARS * 365.25)), depots=DEPOTS, winter_ready=True, gross=0.0,
    )  # fmt: skip
    with tempfile.TemporaryDirectory(prefix="cranktrend-") as folder:
        files = export_fleet(simulate_fleet(spec), Path(folder))
        return {file.stem: file.read_bytes() for file in files}
