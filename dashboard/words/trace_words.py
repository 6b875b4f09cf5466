"""What a recorded start shows, in words: its values with their errors, why one is missing, and what to mind."""

from collections.abc import Sequence
from typing import Final

from analysis.trace.choices import LEVELS
from analysis.trace.record import Caution, Found, Measured, Missing, Start
from dashboard.words.plain_text import count_words, number
from dashboard.words.safety import DISABLE, SAFE_LINE

ROWS: Final = (
    ("rest_v", "rest volts", "V"),
    ("crank_dip_v", "lowest volts in the inrush", "V"),
    ("crank_min_v", "lowest volts while turning steadily", "V"),
    ("peak_a", "inrush peak", "A"),
    ("crank_a", "steady amps", "A"),
    ("crank_s", "cranking time", "s"),
    ("crank_rpm", "cranking speed", "rpm"),
    ("source_mohm", "source resistance", "mΩ"),
)
MISSING: Final[dict[Missing, str]] = {
    "not recorded": "not recorded",
    "nothing before": "the trace begins too late: half a second before the start is needed",
    "too slow": "sampled too slowly",
    "too short": "turned too briefly",
    "no ripple": "no strokes stand out in the ripple",
    "cylinders unknown": "the number of cylinders is not known",
    "no slope": "the amps change too little, or noise hides it",
    "unlike volts": "does not fit the volts",
}
DIP_TOO_SLOW: Final = f"sampled slower than {LEVELS.lowest_hz:g} times a second: no lowest volts"
CAUTIONS: Final[dict[Caution, str]] = {
    "clipped amps": "The amps stand at the end of the range, {} A: the peak was higher.",
    "clipped volts": "The volts stand at the end of the range, {} V: they went lower.",
    "zero moved": "After the start the amps stay at {} A, as it charges or the clamp drifted: the zero is taken from before only.",
    "zero unknown": "Nothing before or after the start shows the clamp's zero: ± {} A on all amps.",
    "load before": "Something drew before the start: the volts had gone down by {} V. Rest volts are those before that.",
    "begins turning": "The trace begins at {} s with the starter on: inrush, rest volts and cranking time are not whole.",
    "ends turning": "The trace ends at {} s with the starter on: the cranking time is longer.",
    "aborted": "Broken off after {} s: no steady turning, so no steady values.",
    "caught": "The engine ran after {} s: no steady turning, so no steady values.",
    "unlike volts": "The volts lost over the amps would be a battery of {} mΩ: look at the clamp's scale, and whether its input is AC "
    "coupled; the amps are left out.",
    "amps sink": "The steady amps, {} A, are too few for the volts lost: an input that is AC coupled lets them sink; they are left out.",
    "slow inrush": "At {} samples a second the top of the inrush falls between samples: peak and dip are bounds.",
}
EVEN_HINT: Final = (
    "In firing order, beginning unknown. A hint, no compression test: inertia and a weak battery shape it too."
)
OWN_ERRORS: Final = (
    "± is one standard error of the trace itself; the errors of clamp and meter, 1 to 3 % as a rule, come on top."
)
AVERAGED: Final = "averaged over the ripple as a meter's display does; in the ripple down to {} V"
REVERSED: Final = "The clamp was on the other way round: the amps' sign is turned."
NO_START: Final = "No start is in this trace."
OTHER_LOADS: Final = {
    "load": "A load came on at {} s that has neither inrush nor ripple of a starter: not taken for a start.",
    "chatter": "From {} s on the load comes and goes {} times a second: the solenoid chatters and turns nothing. Charge and test the "
    "battery first, then the solenoid's hold-in winding and its ground.",
    "held": "From {} s on {} A flow without any ripple: the starter is held and turns nothing. Do not crank on; see whether the engine "
    "can be turned by hand before the starter is taken off.",
    "coil": "From {} s on {} A flow, no more than a solenoid draws: the starter gets none. Measure the voltage drop across the "
    "solenoid's contacts with the key at crank.",
    "cut": "The load is on from the trace's first sample, at {} s: a start began before. Record again from a second before the key is turned.",
}
TIME_AXIS: Final = "seconds"
VOLTS_AXIS: Final = "volts"
AMPS_AXIS: Final = "amps"
MARK_WORDS: Final = {"begin_s": "inrush", "steady_s": "turns steadily", "end_s": "end"}
PANEL: Final = "Take the values from a recorded start"
PANEL_HELP: Final = "A CSV file of time, volts at the battery and amps of the clamp, 100 samples a second or more."
SCALE_LABEL, RATE_LABEL, CYLINDERS_LABEL = "Clamp in the file", "Samples a second, if it holds no time", "Cylinders"
COLUMN_LABELS: Final = {"volts": "Heading over the volts", "amps": "Heading over the amps"}
MORE_LABEL: Final = "More about the file"
AS_WRITTEN: Final = "as written"
WHICH_START: Final = "Start"
MARK_LABELS: Final = {"begin_s": "Inrush begins, s", "steady_s": "Turns steadily from, s", "end_s": "Ends, s"}
MOVE: Final = "Move a mark where it stands wrong: the values follow."
AS_FOUND, FILL_IN = "Marks as found", "Fill in these values"
SAMPLED_WORDS: Final = "The lowest volts are kept as a bound: sampled so slowly, the true lowest is at most that."
FILLED: Final = "Filled in from a recorded start: {}. They are checked below like typed ones."
VALUE: Final = "value"
PICTURE: Final = "The recorded start"
SAMPLES: Final = "{} samples, {} a second, {} s"
STROKES: Final = "{} strokes a second"


LEAST_ERROR: Final = 0.001
"""An error that is smaller is said as this: no meter shows more."""


def measured_words(found: Measured, unit: str, *, why: str = "") -> str:
    """A value with its error, or that it is a bound, or why there is none."""
    if found.value is None:
        return why or MISSING[found.missing]
    digits = digits_of(found)
    if found.bound:
        return f"{found.bound} {number(found.value, digits)} {unit}"
    return f"{number(found.value, digits)} ± {number(max(found.se or 0.0, LEAST_ERROR), digits)} {unit}"


def digits_of(found: Measured) -> int:
    """So many decimals that the error has one or two figures."""
    se = found.se or 0.0
    return 0 if se >= 2 else 1 if se >= 0.2 else 2 if se >= 0.02 or found.bound else 3


def row_words(start: Start, name: str, unit: str) -> str:
    found: Measured = getattr(start, name)
    why = DIP_TOO_SLOW if name == "crank_dip_v" and found.missing == "too slow" else ""
    said = measured_words(found, unit, why=why)
    if (
        name == "crank_min_v"
        and found.value is not None
        and found.bound != "at most"
        and start.ripple_low_v.value is not None
    ):
        return f"{said}; {AVERAGED.format(number(start.ripple_low_v.value, 2))}"
    if name == "crank_rpm" and start.firing_hz.value is not None:
        return f"{said}; {STROKES.format(number(start.firing_hz.value, 2))}"
    return said


def even_words(even: Sequence[Measured]) -> str:
    """How even the cylinders are, "" where it cannot be told."""
    if not even:
        return ""
    numbers = " ".join(number(one.value or 0.0) for one in even)
    worst = max(one.se or 0.0 for one in even)
    return f"{numbers} % of their mean, ± {number(worst)}. {EVEN_HINT} {DISABLE}"


def caution_words(start: Start) -> list[str]:
    return [
        CAUTIONS[name].format(number(figure, 0 if abs(figure) >= 20 else 2)) for name, figure in start.cautions.items()
    ]


def begun_words(start: Start, position: int, count: int) -> str:
    which = f"start {position} of {count}" if count > 1 else "start"
    begin, steady, end = (number(value, 3) for value in vars(start.marks).values())
    return f"{which}: begins at {begin} s, turns steadily from {steady} s, ends at {end} s"


def ran_words(start: Start) -> str:
    """Whether the engine ran afterwards, "" where the trace does not tell."""
    if start.ran is None:
        return ""
    return "The engine ran and charged afterwards." if start.ran else "The battery was not charged afterwards."


def alone_words(count: int) -> str:
    """Samples that were not believed."""
    return f"{count_words(count, 'sample')} unlike both neighbours put between them"


def notes(found: Found, *, reversed_clamp: bool) -> list[str]:
    said = [REVERSED] if reversed_clamp else []
    if not found.marks:
        said.append(NO_START)
    return said + [OTHER_LOADS[one.kind].format(number(one.at_s, 2), number(one.figure, 0)) for one in found.others]


def before_next() -> str:
    """What to mind before the engine is cranked again."""
    return f"Before it is cranked again: {SAFE_LINE[0].lower()}{SAFE_LINE[1:]}."
