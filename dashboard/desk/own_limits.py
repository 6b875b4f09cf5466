"""The user's own limits: a TOML text checked once, kept in the database, and used wherever a limit is shown."""

import tomllib
from collections.abc import Mapping

from sqlite_utils import Database

from analysis.circuit.limit_book import LimitBook, limits_from_mapping
from analysis.circuit.limits import SYSTEM_VOLTAGES, class_fuels
from ingest.records import read_settings, save_setting

SETTING = "limits"
RETIRED = ("typical_cranking_a",)  # taken from users once, read by nothing: the class's own amps are what counts


def parse_limits(text: str) -> tuple[dict[str, object], LimitBook]:
    """TOML text -> its tables and the book that they make; ValueError with one sentence for a text or value that is not allowed."""
    try:
        mapping = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"the limits are not valid TOML: {error}") from None
    return mapping, limits_from_mapping(mapping)


def save_limits(db: Database, text: str, *, by: str) -> list[str]:
    """Check and keep the user's limits; an empty text goes back to the printed ones. Classes named that no vehicle is of, sorted.

    :raises ValueError: what is not allowed, at the voltage of a class's vehicles too; one sentence, and the limits stay as they were
    """
    tables, book = parse_limits(text)
    classes = [
        (row["vehicle_class"], row["system_v"])
        for row in db.query("SELECT DISTINCT vehicle_class, system_v FROM units")
    ]
    for name, system_v in classes:
        book.check_class(name, system_v)
    save_setting(db, SETTING, tables, by=by)
    return sorted({*book.by_class, *book.duty_by_class} - {name for name, _ in classes})


def kind_of(db: Database, vehicle_class: str, system_v: int | None = None) -> tuple[int, str]:
    """Voltage of most vehicles of a class, and what the list takes those of this voltage to burn, "" where it is known of none; 12 V
    and diesel where the class has none.

    system_v: voltage to ask for [V]; None for that of most
    """
    rows = list(db.query("SELECT system_v, fuel FROM units WHERE vehicle_class = ? ORDER BY system_v", [vehicle_class]))
    volts = [int(row["system_v"]) for row in rows]
    asked = system_v or max(volts, key=volts.count, default=SYSTEM_VOLTAGES[0])
    if asked not in volts:
        return asked, "diesel"
    return asked, class_fuels(volts, [str(row["fuel"]) for row in rows]).get(asked, "")


def limit_book(db: Database) -> LimitBook:
    """The user's limits, or the printed ones where there are none; those that are no limits any more are passed over."""
    kept = read_settings(db).get(SETTING)
    return limits_from_mapping(_without_retired(kept)) if isinstance(kept, Mapping) else LimitBook()


def _without_retired(tables: Mapping[str, object]) -> dict[str, object]:
    return {
        name: _without_retired(value) if isinstance(value, Mapping) else value
        for name, value in tables.items()
        if name not in RETIRED
    }
