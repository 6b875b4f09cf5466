"""What is said to somebody who begins: which files a fleet needs first, in which order, and how far it has come."""

from dataclasses import dataclass
from typing import Final

from dashboard.words.plain_text import count_words

EMPTY: Final = "There are no vehicles in this database yet."
NO_READING: Final = "There is no reading before the day shown, so nothing can be judged yet."
BRING_IN: Final = "Bring in files"
TO_STEPS: Final = "First steps, templates and a sample to try"
SAMPLE: Final = (
    "The sample files hold an invented fleet. Try them in a database of their own: "
    "`cranktrend --db try.db dashboard` makes one. Files come in the order of these steps, under **Files**."
)
ABOUT: Final = ("column", "needed", "what it means", "what it may hold")
YES: Final = "yes"
FIRST_STEPS: Final = "First steps"
TEMPLATE: Final = "Template for {table} (XLSX)"
SAMPLE_OF: Final = "Sample of {table} (CSV)"
MEASURE: Final = "Measure a vehicle"


@dataclass(frozen=True)
class Step:
    """One step: its table, its name, what it is for, and what is counted once it is done."""

    table: str
    title: str
    why: str
    counted: str


STEPS: Final = (
    Step(
        "units", "Vehicles",
        "One row a vehicle: its number, its class (vehicles built alike), 12 or 24 volts, and the depot where it stands at "
        "night.", "vehicle",
    ),
    Step(
        "climate", "Climate of each depot",
        "The mean daily low of each month, or a file of daily lows. Without it a usual climate is assumed, and the list says so.",
        "depot",
    ),
    Step(
        "readings", "Readings",
        "Rest volts, lowest volts while cranking and the air's temperature are enough to begin; amps and drops tell which part it "
        "is. From a file, a logger, or typed in beside the vehicle.", "reading",
    ),
    Step(
        "workshops", "Workshop hours of each depot",
        "Hours a week for this work, a row a depot. The list needs none; without them no visit is planned. Prices of parts "
        "(parts.csv) and days on which vehicles are in the workshop anyway (services.csv) make the plan's sums yours.", "depot",
    ),
)  # fmt: skip
"""In the order in which their files come: each needs the ones before."""


def state(step: Step, count: int) -> str:
    return f"done: {count_words(count, step.counted)}" if count else "to do"
