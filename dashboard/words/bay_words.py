"""What the page for measuring says: fields, verdicts beside them, the meter, saving."""

from collections.abc import Sequence
from typing import Final

from dashboard.words.reasons import PART_WORDS

COUNTS: Final = ("None", "One", "Two", "Three", "Four", "Five", "Six", "Seven")
THE_REST: Final = "The rest, in the order of the work"
BEFORE_CRANKING: Final = "Before cranking"
ONE_CRANK: Final = "One crank, several values"
DROP_BY_DROP: Final = "Drop by drop, cranking"
CONTROL_CIRCUIT: Final = "Control circuit, cranking"
BEFORE_IT_LEAVES: Final = "Before it leaves"
GOOD, WATCH, OUTSIDE_LIMIT, DOUBTFUL, WRONG = "good", "watch", "outside its limit", "doubtful", "cannot be"
JUMPER_WORDS: Final = {"cranks": "cranks", "no_crank": "does not crank", "fuse_opens": "fuse opens"}
MORE_WORTH: Final = {
    "temperature_c": "Air temperature: without it the cold is mistaken for wear.",
    "rest_v": "Rest volts: without them a discharged battery is mistaken for a worn one.",
    "crank_min_v": "Lowest battery volts while the engine turns: the battery's resistance comes from it.",
    "crank_a": "Steady amps while cranking: every resistance is volts over amps.",
    "drop_ground_v": "Voltage drop from starter housing to battery negative post while cranking.",
    "drop_positive_v": "Voltage drop from battery post to starter stud while cranking.",
    "drop_contacts_v": "Voltage drop across the solenoid's two studs while cranking.",
}
LAST: Final = "last {value}"
BY_EARLIER: Final = "earlier readings make it {value} at this temperature"
KEPT_NOT_USED: Final = "{doubt} It can be saved; it will be kept but not used."
DOES_NOT_FIT: Final = "does not fit: the other values and this vehicle's past make it {value}."
CANNOT_BE_SAVED: Final = "This cannot be saved as it is{field}: correct the value, or empty the field."
WHAT_CAN_BE_JUDGED: Final = "what can be judged"
NO_LIMIT: Final = "No limit for what was typed."
WOULD_HOLD: Final = "it would hold {volts} there, {short} too little"
OUTSIDE: Final = "{margin} outside the limit of {limit}"
AT_MOST_HERE: Final = "at most {limit} at these amps"
AT_THESE_AMPS: Final = " at these amps"
ABOUT_MIN: Final = "{what} (about {minutes} min)."
ONCE_MORE: Final = "{what} once more: this value does not fit the others."
TWICE: Final = "Measured twice, it is right"
YOUR_NAME_IF: Final = "Your name, if it is not you"
YOUR_NAME_ONCE: Final = "Your name, asked once on this device"
LAST_READ: Final = "last read {day}"
NEVER_READ: Final = "never read"
METER_UNITS: Final = "Units of this meter"
IT_SHOWS: Final = "It shows {units}."
TEMPERATURE: Final = "Temperature"
DROPS: Final = "Voltage drops"
LARGE_CLAMP: Final = "Large clamp"
SMALL_CLAMP: Final = "Small clamp"
ODOMETER: Final = "Odometer"
TESTER_LOAD: Final = "Loaded checks: the tester's load, Ω"
TESTER_LOAD_HINT: Final = "a small lamp has about 48, a headlamp bulb 2.4"
MV_AT: Final = "mV at {scale:g} mV/A"
METER_SHOWS: Final = "{degrees}, drops in {drops}, the clamp in {clamp}"
CLAMP_SHOWS: Final = "{clamp} shows"
CLAMP_SCALE: Final = "{clamp}, mV per A"
SELDOM: Final = "Loaded checks, charging, how it started, remarks"
JUMPER: Final = "Fused jumper at the relay socket"
BEFORE_SAVING: Final = "Before you save"
RESISTANCES_AT: Final = "Resistances at {temperature}"
IT_IS: Final = "It is {unit}"
TYPE: Final = "Type what the meter shows; comma or point, as you like. Leave empty what you did not measure."
ENOUGH: Final = "nothing; this is enough."
SAVE: Final = "Save reading"
NOT_LOST: Final = "{error} Nothing is lost: what you typed stays here."
WITHOUT_NAME: Final = ", without a name"
SAVED_BEFORE: Final = "this reading was saved before"
SEE: Final = "See the vehicle"
CORRECT: Final = "Correct a value"
RECORD_REPAIR: Final = "Record a repair"
MEASURED_BY: Final = ", measured by {who}"
SAVED: Final = "reading saved{by}"
SAVED_COUNTS: Final = "{unit}: {what}. It counts in the judgement from tomorrow."


def today_words(names: Sequence[str], suspect: str, *, never: bool) -> str:
    """How many values are enough today, and why those; the air's temperature is not counted."""
    number = sum(name != "temperature_c" for name in names)
    count = COUNTS[number] if number < len(COUNTS) else str(number)
    why = f": {PART_WORDS[suspect]} suspected" if suspect else ": never all measured here" if never else ""
    return f"{count} {'is' if number == 1 else 'are'} enough today{why}"
