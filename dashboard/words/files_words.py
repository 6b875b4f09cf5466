"""What the page of files says: bringing them in, and describing those that have headings of their own."""

from typing import Final

from ingest.bounds import LARGEST_FILE

BRING_IN, BUS, ON_RECORD = "Bring in files", "Logs of the bus", "Descriptions on record"
CHOOSE: Final = "choose"
NOT_STORED, REFUSED = "not stored", "refused"

WHICH_FILES: Final = (
    "CSV, XLSX, XLS or ODS files of vehicles, readings, repairs, climate, daily lows, forecast, services, workshops or parts. A file may come "
    "twice; the second time changes nothing. A row that cannot be believed is kept apart with its reason, to be put right."
)
FILES: Final = "Files"
DESCRIPTION: Final = "Description"
BY_HEADINGS: Final = "found by the headings"
ONLY_TRY: Final = "Only try, store nothing"
BRING_IN_NOW: Final = "Bring in"
NOT_LAID_DOWN: Final = "The files cannot be laid down for the import: {why}."
READING: Final = "Reading {file} …"
LOOKING: Final = "Looking into the files …"
STOP: Final = "Stop"
STORED_BEFORE: Final = "Stored whole before that: {files}."
NOTHING_STORED: Final = "Nothing of it was stored."
STOPPED: Final = "Stopped. {kept}"
WAS_A_TRY: Final = " Nothing was stored: this was a try."
DESCRIBE: Final = "Describe a file"
WORK_THROUGH: Final = "Work through the {rows}"
VEHICLES_FIRST: Final = (
    "No vehicle is known yet, so no row can belong to one. Bring in the file of vehicles, then this file again: what is right comes in, "
    "and is kept apart no more."
)
ALREADY_KNOWN: Final = "already known"
TO_PUT_RIGHT: Final = "to put right"
REFUSED_BECAUSE: Final = "refused because"
OUTCOME_ALT: Final = "What became of each file"
NOTES: Final = "**Notes of the import**"
TAKE_OUT_OPENS: Final = "Withdraw what a file brought …"
TAKEN_OUT_MEANS: Final = (
    "The readings and repairs that the last import of this file brought count no more, so that a corrected file can come in their "
    "place. They stay on record and can be put back."
)
TAKEN_OUT: Final = "Withdrawn: what {file} brought counts no more."
DESCRIBE_HELP: Final = (
    "For a file with headings of its own. What each heading is was drafted from headings, units and values; put "
    "right what is wrong and look at the first rows before saving."
)
FILE: Final = "File"
AS_TEXT: Final = "The description as text"
FIRST_ROWS: Final = "First rows as they would be read"
AFTER_ANSWER: Final = "They stand here when the question above is answered."
SAVE_AS: Final = "Save as"
SAVE_DESCRIPTION: Final = "Save description"
SAVED: Final = "Saved. Files with these headings are read by it from now on."
DATES: Final = "Dates"
DECIMALS: Final = "Decimals"
THOUSANDS: Final = "Thousands"
ZONE: Final = "Its times are in UTC: time zone of its depots"
ZONE_AS: Final = "as Europe/Berlin or America/Denver"
EACH_HEADING: Final = "**Each heading of the file, and what it is here**"
TO_CHECK: Final = "{heading} (check)"
CLAMP_SCALE: Final = "{column}: mV per A"
NONE_YET: Final = "None yet. Files with our own column names need none."
KNOWN: Final = "Description on record"
SAVED_BY: Final = "Saved {day} by {by}; {count} headings."
AS_FILE: Final = "Description as a file"


def up_to(label: str) -> str:
    """The words over a field for files, with how large each may be."""
    return f"{label.rstrip('.')}, {LARGEST_FILE / 1e6:.0f} MB each at most"
