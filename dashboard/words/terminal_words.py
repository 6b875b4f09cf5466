"""What the commands print of their own: the list and a vehicle on a terminal, and what became of an act."""

from datetime import date, timedelta
from pathlib import Path
from typing import Final

LIST_HEADS: Final = ("unit", "depot", "part", "sure", "no-start", "coldest start", "act by", "last reading")
PART_HEADS: Final = ("part", "now", "+/-", "class", "per month", "median slope", "wears", "renewed alone it starts at")

ADMITTED, STILL_ASIDE = "admitted", "still set aside"
SAID_ALREADY: Final = "said that already"
NO_ROW: Final = "no row is set aside"
ROW: Final = "{number}: {file}{sheet} line {line}: {reason}"
ROW_SHEET: Final = " sheet {sheet!r}"
ROW_BECAME: Final = "row {number}: {became}"
ROW_DISMISSED: Final = "row {number}: dismissed"
TO_UNDO: Final = "; to undo it: cranktrend undo {change}"
UNDONE: Final = "change {change}: undone; to bring it again: cranktrend undo {again}"
AS_JUDGED_LAST: Final = "--as-of {day:%Y-%m-%d}, or an earlier day, shows it as it was judged"
NOTHING_ON_RECORD: Final = "nothing is on record"
LOOKS_REPLACED: Final = "{unit}: {part} looks replaced around {day:%d %B %Y}, please confirm"
PREPARING: Final = "preparing quick arithmetic, once on this machine: about 10 seconds"
NEW_DATABASE: Final = "made a new database {path}"
OLDER_VERSION: Final = (
    "the database was of the older version {version} and is of this program's now; as it was it lies in {copy}"
)
NOTHING_LATER: Final = "the newest reading is of {newest}, {days} before {day}: nothing later is known"
ASIDE_NOT_USED: Final = (
    "rows set aside are not used: `cranktrend set-aside list` says why, and how to correct or dismiss them"
)
LIMITS_IN_USE: Final = "limits of {file} are in use"
LIMITS_OF_NOBODY: Final = "no vehicle is of the class {classes}: its limits wait for the first one"
BEGIN_FROM: Final = "classes that begin from {file} from now on: {count}"
BEGIN_PUBLISHED: Final = "classes begin from published values again"
LAWS_WRITTEN: Final = "written to {file}; classes: {count}"
NO_DATES: Final = "it holds no dates; say when it began with --began, as 2026-01-31T07:45"
NO_PLAN: Final = "No plan is on record yet: make one first (cranktrend plan, or cranktrend issue)."
NO_VISIT: Final = (
    "Version {version} of the plan has no visit to come with these words; `cranktrend plan` shows those there are."
)
ORDERS_WRITTEN: Final = "written to {file}; work orders: {count}"
DAY_FLAGGED: Final = "{day:%Y-%m-%d}: {flagged} of {of} flagged"
LET_GO: Final = "{unit}: {count} pins taken away"
BY_ON: Final = "{day} by {who}"
TAKEN_FOR: Final = "{unit!r} is taken for {found}"
CHECKED: Final = "checked, not stored"
KNOWN: Final = "already known"
READING_BECAME: Final = "{unit}: reading {became} ({moment})"
NOT_WORKED_OUT: Final = "what this reading shows could not be worked out: {error}"
COPIED: Final = "copied to {file}"
EXPORTED: Final = "written to {folder}; vehicles: {vehicles:,}, readings: {readings:,}, partitions: {partitions:,}"
MADE_OF_FOLDER: Final = "made the database {path} of {folder}; vehicles: {vehicles:,}, readings: {readings:,}"
OTHER_SHEETS: Final = "other sheets hold tables too: {sheets}; draft a description of each with --sheet NAME"
SOURCE_SAVED: Final = "source {name} saved"
LIST_HEAD: Final = "Weekly list for {day:%Y-%m-%d}: no-start within {days} days"
FLAGGED: Final = "{flagged} of {of} flagged; {few} {have} too few readings to judge."
MEASURE_NEXT: Final = "measure next: {what}"
ACT: Final = "enough measured, act: {what}"
DECIDED: Final = "Decided: {what}"
PARTS: Final = "Parts (at 20 °C):"
MEDIAN_SLOPE: Final = (
    "  median slope: median of the slopes between all pairs of readings of the last year, with its 90 % interval"
)
LATEST_READINGS: Final = "Latest readings:"
KNOWS_UNTIL: Final = "This sheet knows what was read before {day:%Y-%m-%d}"
REPAIRS: Final = "Repairs:"
REPAIR: Final = "  repair {number}: {day:%Y-%m-%d} {part} {action} ({reason})"
UNDER_FIVE: Final = "under 5 readings"
LATEST_SAYS: Final = "What the latest reading ({day:%Y-%m-%d}) says:"
DOES_IT_FIT: Final = "Does it fit?"
LIMITS: Final = "Limits, reading by reading:"
POINTS_TO: Final = "What the latest reading alone points to:"
OVER_TIME: Final = "Resistances over time, mΩ at 20 °C:"
CHANGE: Final = " [change {number}]"
DEMO_MADE: Final = "{operator}: {became}; the files lie in the folder {files}"


def known_readings(as_of: date, later: int, newest: date | None) -> str:
    """Which readings a vehicle's sheet knows; later: how many are of its day or after it, newest: the day of the last of them."""
    known = KNOWS_UNTIL.format(day=as_of)
    if not later or newest is None:
        return f"{known}."
    one = later == 1
    what = "1 reading of that day or later is" if one else f"{later} readings of that day or later are"
    return f"{known}: {what} not in it; --as-of {newest + timedelta(days=1):%Y-%m-%d} shows {'it' if one else 'them'}."


def demo_next(path: Path, files: Path, unit: str, story: str, as_of: date) -> str:
    return "\n".join(
        [
            "",
            "What to try next:",
            f"  cranktrend --db {path} unit {unit} --as-of {as_of}      one vehicle: {story}",
            f"  cranktrend --db {path} risk --as-of {as_of} --all       every vehicle, healthy ones too",
            f"  cranktrend --db {path} set-aside list                   entries that could not be believed",
            f"  cranktrend --db {path} dashboard                        the screens, at http://127.0.0.1:8501",
            f"  cd {files} && cranktrend import units.csv climate.csv repairs.csv readings.csv     its files as if they were yours",
        ]
    )
