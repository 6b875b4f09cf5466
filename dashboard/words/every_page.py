"""What several pages say alike: names of pages, the margin, choosing a vehicle, saving and taking back, files to take away."""

from typing import Final

PROGRAM: Final = "cranktrend"
MONDAY, IN_THE_BAY, DATA = "Monday", "In the bay", "Data"  # headings of the margin
PAGES: Final = {
    "weekly_list": "Weekly list",
    "fleet": "Fleet",
    "unit": "Vehicle",
    "plan": "Replacement plan",
    "bay": "Measure",
    "visit": "Visit done",
    "work": "Repairs and starts",
    "correct": "Corrections",
    "logbook": "Logbook",
    "files": "Files",
    "set_aside": "Rows to put right",
    "settings": "Settings",
}
VEHICLES: Final = "Vehicles"
VEHICLE, DEPOT, CLASS, PART, WEEK, DAY = "Vehicle", "Depot", "Class", "Part", "Week", "Day"
ALL: Final = "all"
MEASURED_IN: Final = "measured in"
NO_DEPOT: Final = "no depot"
MEASURE_IT: Final = "Measure this vehicle"
ISSUED_BY: Final = "Issued by, your name"
NAME_FIRST: Final = "Give your name; it goes on record with the day and the time."
YOUR_NAME: Final = "Your name, for the record"
KNOWN_AT: Final = "Knowledge at the start of"
KNOWN_AT_HELP: Final = "Nothing dated this day or later is used. Take an earlier day to see what was known then."
FIND: Final = "Find a vehicle"
PART_OF_NUMBER: Final = "part of its number"
NO_SUCH_NUMBER: Final = "No vehicle's number contains {part}."
LEFT_SERVICE: Final = (
    "The last day in service of {unit} is {day}: from that day on it is on no list and in no plan, and a reading or repair of a "
    "later day is not taken in."
)
LEFT: Final = "{unit}, out of service"
NONE_IN_SERVICE: Final = (
    "No vehicle is in service on this day; take an earlier day, or bring in a file of other vehicles."
)
ANOTHER: Final = "Another vehicle"
NO_VEHICLE: Final = "There is no vehicle {asked}; allowed are the {count} vehicles known here."
RECENT: Final = "Recent vehicles"
MORE_OF_NUMBER: Final = "{count} vehicles match; type more of the number."
AT_ONCE: Final = "undone right after it was saved"
BRING_BACK: Final = "Bring it back"
UNDO: Final = "Undo"
AGAIN_ON_RECORD: Final = "It is on record again."
UNDONE: Final = "Undone; the logbook keeps it."
NOT_NAMED: Final = "not named"  # as it stands on record
ON_AT: Final = "on {day} at {time:%H:%M}"
SOMEBODY: Final = "somebody not named"
JUDGING: Final = "Judging every vehicle from its readings …"
JUDGING_NEWER: Final = "Newer entries are being judged; the page follows by itself."
NEWER_THERE: Final = "Newer figures are there; they are shown as soon as nothing is open or half typed."
TRIED_AGAIN: Final = "{why} It is tried again by itself in {seconds:.0f} s."
TRY_AGAIN: Final = "Try again"
CODE_UNREACHABLE: Final = (
    "The code would hold {address}, which a phone cannot reach: set the address of these screens under Settings."
)
CODE_HOLDS: Final = "The code holds {address}."
AS_CSV: Final = "Table as CSV"
AS_XLSX: Final = "Table as XLSX"
STEP_BEFORE: Final = "Before"
STEP_NEXT: Final = "Next"
PLACE_ON_LIST: Final = "List of {week}, {position} of {count}"
NO_ADDRESS: Final = "no address"
SO_FAR: Final = "({seconds:.0f} s so far)"
WHY: Final = "Why"
MEASURE_NEXT: Final = "**Measure next:** {what}"
NONE_JUDGED: Final = "No vehicle can be judged yet: each has too few readings."
JUDGING_ALL: Final = "Every vehicle is being judged from its readings; the page follows by itself."
UNTIL_THEN: Final = "Until then: as in the list of {week}, and what is on record."
MORE_DEPOTS: Final = "; and {count} more depots"
HOW_STARTED: Final = "How it started"
WHAT_DONE: Final = "What was done"
DONE_ON: Final = "Done on"
REMARK: Final = "Remark"
