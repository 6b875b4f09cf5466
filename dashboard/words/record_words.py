"""What the pages of records say: repairs and starts, corrections, rows to put right, the logbook."""

from typing import Final

from dashboard.words import bay_words, every_page
from dashboard.words.reasons import OUTCOME_WORDS, PART_WORDS
from dashboard.words.visit_words import FOUND_WORDS

KIND_WORDS: Final = {
    "reading": "reading",
    "repair": "repair",
    "decision": "decision",
    "visit": "visit",
    "vehicle": "vehicle",
}
LOGGED: Final = {"admitted": "taken in", "dismissed": "left out"}
"""What was done, as the database has it -> as a person reads it; what is not here is a word already."""
LOGGED_RECORDS: Final = {"set-aside row": "row", "source": "description", "pin": "fixed visit", "settings": "setting"}
"""The first words of what it was done to, likewise."""


def logged_record(record: str) -> str:
    """What a line of the logbook is about, in words."""
    for stored, said in LOGGED_RECORDS.items():
        if record.startswith(f"{stored} "):
            return f"{said} {record.removeprefix(stored).strip()}".replace("_", " ")
    return record


LABELS: Final = {
    "unit": every_page.VEHICLE, "taken_at": "Taken at", "outcome": every_page.HOW_STARTED, "jumper_start": bay_words.JUMPER,
    "technician": "Who measured", "instrument": "Meter", "lowest_is": "The lowest volts are", "note": every_page.REMARK,
    "done_on": every_page.DONE_ON, "part": every_page.PART, "action": every_page.WHAT_DONE, "found": "What was found",
    "other_part": "Part at fault instead", "reason": every_page.WHY, "iso_week": "Week of the list", "kind": "Decided",
    "until": "Until",
    "vehicle_class": "Class", "system_v": "System, V", "fuel": "Fuel", "cylinders": "Cylinders",
    "rated_cca_a": "Cold-cranking amps on the battery's label, A", "depot": every_page.DEPOT, "in_service": "In service since",
    "out_of_service": "Last day in service, such as 2026-10-31; empty: in service",
    "battery_type": "How the battery is built", "batteries": "Batteries that crank the engine", "in_parallel": "Batteries in parallel",
    "oil_grade": "Engine oil", "starting_aid": "Starting aid", "aid_below_c": "Starting aid works below, °C",
    "aid_load_a": "Glow plugs or intake heater while cranking, A", "fuel_limit_c": "Coldest air the fuel flows in, °C",
}  # fmt: skip
REASON_WORDS: Final = {
    "no_start": "it did not start",
    "preventive": "before it failed",
    "complaint": "driver's complaint",
}
DECIDED_WORDS: Final = {
    "accepted": "accepted: plan it", "measure": "measurement asked for", "postponed": "postponed",
    "nothing_found": "looked at, found nothing",
}  # fmt: skip
CHOICE_WORDS: Final = {
    **REASON_WORDS, **FOUND_WORDS, **OUTCOME_WORDS, **PART_WORDS, **DECIDED_WORDS, **bay_words.JUMPER_WORDS, "": "–",
}  # fmt: skip
STATES: Final = {
    "open": "to be put right", "corrected": "put right", "admitted": "taken in as they were", "dismissed": "left out",
    "all": "all",
}  # fmt: skip
"""State of a row -> what it is called; the code stays in the address."""
WITH_IT_GO: Final = " With it go the repairs and the reading that it put on record."
NOTHING: Final = "nothing"

WHAT_PUT_RIGHT: Final = "What is put right"
WHICH: Final = "Which"
NONE_ON_RECORD: Final = "There is no {kind} of this vehicle on record."
DOUBTFUL: Final = " (doubtful)"
NOT_MEASURED: Final = "What was not measured then"
CHANGED_MEANWHILE: Final = (
    "Somebody changed this since you opened the page; the fields show what is on record now. What you typed is not saved: "
    "{typed}."
)
WHY_CORRECTED: Final = "Why it is corrected"
SAVE_CORRECTION: Final = "Save correction"
CORRECTED: Final = "Corrected; the old values stay on record."
CHANGED_BEFORE: Final = "**Changed before**"
CHANGES_ALT: Final = "Changes of this {kind}"
UNDONE_IN_LOGBOOK: Final = "A change is undone in the logbook."
LOGBOOK_OF_THIS: Final = "Logbook of this vehicle"
NOTHING_CHANGED: Final = "It says that already; nothing was changed."
WITHDRAW_OPENS: Final = "Withdraw this {kind} …"
COUNTS_NO_MORE: Final = "It counts no more, and stays on record; it can be put back.{with_it}"
WHY_WITHDRAWN: Final = "Why it is withdrawn"
WITHDRAW: Final = "Withdraw"
WITHDRAWN_NOW: Final = "Withdrawn: this {kind} counts no more."
WITHDRAWN: Final = "Withdrawn"
WITHDRAWN_LINE: Final = "{kind} {number} of {moment}, withdrawn on {day} by {by}: {reason}"
PUT_BACK: Final = "Put back"
PUT_SOMETHING_RIGHT: Final = "Put something right"
REPAIR: Final = "Repair"
SAVE_REPAIR: Final = "Save repair"
REPAIR_KEPT: Final = "Repair kept."
REPAIR_KNOWN: Final = "This repair is on record already."
ON_RECORD: Final = "On record: {repairs}"
THE_START: Final = "The start"
ABOUT_WHEN: Final = "About when"
AIR: Final = "Air at the vehicle, {degrees}"
SAVE_START: Final = "Save start"
START_KEPT: Final = "Start kept."
START_KNOWN: Final = "This start is on record already."
REPAIR_TOO: Final = "If it was repaired because of this, record the repair too, with “it did not start” as the reason."
KEPT_APART: Final = (
    "A row that cannot be believed is kept here whole, with its reason; nothing is ever dropped silently."
)
SHOW: Final = "Show"
NO_ROW_WAITS: Final = "No row waits to be put right."
NO_SUCH_ROW: Final = "No such row."
ROWS_ALT: Final = "Rows that could not be believed, with their reasons"
FIRST_ROWS: Final = "The first {shown} of {count:,} are shown; the others follow as these are dealt with."
ROW: Final = "Row"
SHEET: Final = ", sheet {sheet}"
ROW_LINE: Final = "**{file}{sheet}, line {line}**, kept apart since {day}: {reason}"
RESOLVED: Final = "{state} by {by} on {day}: {resolution}"
TRIED_BEFORE: Final = "**Tried before**"
TRIED_ALT: Final = "Corrections tried before"
PUT_IT_RIGHT: Final = "Put it right"
TAKE_IN: Final = "Take the row in"
TAKEN_IN: Final = "Taken in; the original row stays on record."
LEAVE_OUT_OPENS: Final = "Leave it out …"
LEAVE_OUT: Final = "Leave it out"
LEFT_OUT: Final = "Left out; the row stays on record."
WHOLE_NUMBER: Final = "its whole number"
WHO: Final = "Who"
PART_OF_NAME: Final = "part of a name"
SINCE: Final = "Since"
NOTHING_THEN: Final = "Nothing was put on record in this time that fits what is chosen."
LOGBOOK_ALT: Final = "Who did what, newest first"
CHANGE_HEAD: Final = "change"
CHANGE_HELP: Final = "The number that undoes it."
LATEST_LINES: Final = "The latest {count} lines; take a later day, a vehicle or a name to see less."
CHANGE: Final = "Change"
UNDO_CHANGE: Final = "Undo this change"
CORRECTIONS_OF: Final = "Corrections of {unit}"
