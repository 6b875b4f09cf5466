"""What stands over a column of a table on the screens: words, not the names under which files and commands know it."""

from types import MappingProxyType
from typing import Final

HEADS: Final = MappingProxyType(
    {
        "at": "when", "by": "who", "change": "change", "day": "list of", "done_on": "done on", "id": "number",
        "iso_week": "list of", "last_reading_on": "last read", "new": "is", "no_starts": "no-starts", "old": "was",
        "reading_id": "number", "repair_id": "number", "se": "± one standard error", "set_aside_at": "since",
        "table_name": "table", "taken_at": "taken", "unit": "vehicle", "units": "vehicles", "vehicle_class": "class",
    }
)  # fmt: skip
"""Column -> its head where that is not the column's own name."""


def head(column: str) -> str:
    return HEADS.get(column, column.replace("_", " "))
