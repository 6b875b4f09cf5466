"""Files to begin with: an empty template of each table, and a sample of an invented fleet that ends yesterday."""

import datetime as dt
import tempfile
from pathlib import Path
from typing import Final

import pandas as pd
from openpyxl.styles import Alignment

from dashboard.files.workbook import bytes_of, empty_book, sheet
from dashboard.words import beginning
from demo_fleet.export import export_fleet
from demo_fleet.scenario import DEPOTS
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import FleetSpec
from ingest.fields import TABLES, allowed_words

FIRST: Final = ("units", "climate", "readings", "workshops")
"""Tables that a fleet begins with, in the order in which their files come."""
SAMPLE_SEED: Final = 31
SAMPLE_VEHICLES: Final = 30  # enough for each class to be compared; our choice
SAMPLE_YEARS: Final = 1.5  # so that one winter is in it; our choice


def template(name: str) -> bytes:
    """An XLSX file with the headings of one table, and a second sheet on what each column means and may hold.

    Raises KeyError where there is no such table.
    """
    table, book = TABLES[name], empty_book()
    sheet(book, name, table.names, pd.DataFrame(columns=table.names), heads=str)
    about = pd.DataFrame(
        [(c.name, beginning.YES if c.required else "", c.meaning, allowed_words(c)) for c in table.columns],
        columns=beginning.ABOUT,
    )
    sheet(book, "columns", beginning.ABOUT, about, heads=str)
    for row in book["columns"]:
        for cell in row:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    return bytes_of(book)


def sample(until: dt.date) -> dict[str, bytes]:
    """Table -> CSV of an invented fleet whose last day is the one before `until`; the same for the same day."""
    spec = FleetSpec(
        SAMPLE_SEED, units=SAMPLE_VEHICLES, years=SAMPLE_YEARS, name="sample", prefix="S-", first_number=1, digits=3,
        start=until - dt.timedelta(days=round(SAMPLE_YEARS * 365.25)), depots=DEPOTS, winter_ready=True, gross=0.0,
    )  # fmt: skip
    with tempfile.TemporaryDirectory(prefix="cranktrend-") as folder:
        files = export_fleet(simulate_fleet(spec), Path(folder))
        return {file.stem: file.read_bytes() for file in files}
