"""What the page of one vehicle says, and its charts."""

from typing import Final

from dashboard.words.plain_text import count_words

ANSWER_WORDS: Final = {"confirmed": "Yes, it was renewed", "denied": "No"}
ANSWER_SAID: Final = {"confirmed": "it was renewed", "denied": "it was not renewed"}
ENOUGH: Final = "nothing; enough is known to act."

OVER_TIME: Final = "Over time"
LATEST: Final = "Latest reading"
RECORDS: Final = "Readings and repairs"
ON_PAPER: Final = "On paper"
A_READING: Final = "a reading"
NOT_JUDGED_YET: Final = "On record for this day, and counted in these figures from the next day on: {what}."
NOT_JUDGED: Final = "This vehicle has not been judged: it has no reading before the day shown."
NOT_ON_LIST: Final = "It was not on the list of {week}."
IN_SERVICE: Final = "in service since {day}"
BATTERY_RATED: Final = "battery rated {amps:.0f} A"
NO_START: Final = "No-start within {days} days"
STARTS_DOWN_TO: Final = "Starts down to"
ACT_BY: Final = "Act by"
LAST_READ: Final = "last read {day}{count}"
SUSPECT: Final = "Suspect"
MOST_WORN: Final = "Most worn"
WHAT_TO_DO: Final = "**What to do:** {action}"
ENTER: Final = "Enter a measurement"
NO_DATE: Final = "no date"
LOOKS_RENEWED: Final = (
    "The {part} looks renewed around {day}, though no repair is on record: it read {before:.1f} times what is "
    "usual, then {after:.1f} times. Was it?"
)
ANSWERED: Final = "The {part} around {day}: {answer} ({by})."
IT_WAS_NOT: Final = "It was not"
IT_WAS: Final = "It was"
PART_OVER_TIME: Final = "Part over time"
PART_KEY: Final = "Blue shading: 80 % sure. Grey band: sound vehicles of the class. Dashed: ahead, if nothing is done."
COLD_KEY: Final = "Blue shading: 80 % sure. Grey shading: from the usual low to the coldest morning in ten."
OUTLOOK_KEY: Final = "Shading: 80 % sure."
LEVEL_AT: Final = "level at {temperature}"
A_MONTH_ADDS: Final = "a month adds"
RENEWED_STARTS: Final = "renewed, starts to"
WEAR_BEGAN: Final = "wear began"
MEDIAN_SLOPE: Final = "median slope"
EVERY_PART: Final = "Every part"
PARTS_ALT: Final = "Level, growth and suspicion of every part"
PARTS_KEY: Final = (
    "Level: as the trend has it, ± one standard error. Usual: the median of its class. Suspect: how likely this "
    "part is the one at fault. Wearing: how likely it wears beyond ordinary ageing. Renewed, starts to: the "
    "coldest start with this part alone renewed. Median slope: the median of the slopes a month between all "
    "pairs of readings of the last year (Theil-Sen), and from where to where it lies nine times in ten; none "
    "under five readings."
)
LATEST_SAYS: Final = "What the latest reading says"
TAKEN: Final = "Taken {day}. Resistances at {temperature} ± one standard error."
OVER_READINGS: Final = "Resistances, reading by reading"
OVER_READINGS_ALT: Final = "Resistances of the latest readings"
READINGS: Final = "Readings"
NO_READING: Final = "No reading yet."
READINGS_ALT: Final = "The vehicle's readings, newest first"
DOUBTFUL_KEY: Final = "Values named under “doubtful” are kept but not used in the judgement."
CORRECT_READING: Final = "Correct or withdraw a reading"
CORRECT_VEHICLE: Final = "Correct the vehicle: depot, class, battery …"
ROW_OF_FILE: Final = "{file} line {line}: {reason}"
PUT_RIGHT: Final = "Put them right"
REPAIRS: Final = "Repairs"
NO_REPAIR: Final = "None on record."
REPAIRS_ALT: Final = "Repairs, newest first"
CORRECT_REPAIR: Final = "Correct or withdraw a repair"
SHEET: Final = "Vehicle sheet (PDF)"
BAY_SHEET: Final = "Blank bay sheet (PDF)"
CODE: Final = "Code for the windscreen (PDF)"
PART_TITLE: Final = "{measure} of {unit}"
WITH_RENEWED: Final = "with the {part} renewed"
COLD_TITLE: Final = "Coldest start against the coming mornings"
OUTLOOK: Final = (
    "By {day} a no-start has a probability of {chance} if nothing is done, {renewed_chance} with the {part} "
    "renewed today."
)
OUTLOOK_TITLE: Final = "No-start by week"
PART_RENEWED: Final = "{part} renewed"
MEASURED_TWICE: Final = "measured twice"
AT_MOST_HELP: Final = "{meaning}; at most: slow samples"
EVERY_CHECK: Final = "Every check by its printed limit"


def not_taken_in(rows: int) -> str:
    one = rows == 1
    return (
        f"**{count_words(rows, 'row')} of this vehicle {'was' if one else 'were'} not taken in** because "
        f"{'it' if one else 'they'} could not be believed:"
    )
