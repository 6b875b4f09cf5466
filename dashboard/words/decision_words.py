"""What is said where a manager decides about a vehicle."""

from typing import Final

DECIDED: Final = {
    "postponed": "postponed on {day} until {until}",
    "accepted": "accepted on {day}: plan it",
    "measure": "measurement asked for on {day}",
    "nothing_found": "looked at on {day}, found nothing",
}
DECIDE: Final = "Decide"
CORRECT: Final = "Correct or withdraw a decision"
DECIDE_ON_OPENS: Final = "Decide on {unit} …"
DECIDE_ON: Final = "Decide on {unit}"
SO_FAR: Final = "So far: {decision}"
ACCEPT: Final = "Accept: plan it"
ASK: Final = "Ask for a measurement"
POSTPONE_OPENS: Final = "Postpone …"
UNTIL: Final = "Until"
POSTPONE: Final = "Postpone"
SAY_WHY: Final = "Say why it is postponed; any short text will do."
NOTHING_FOUND: Final = "Looked at, found nothing …"
WHAT_LOOKED_AT: Final = "What was looked at"
KEEP: Final = "Keep it on record"
KNOWN: Final = "This is on record already; it counts once."
KEPT: Final = "Kept on record."
