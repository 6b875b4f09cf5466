"""Where the two leads of a meter go for each field of the bay: the points, when to read, and what to mind."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from dashboard.words.plain_text import as_sentence
from dashboard.words.safety import BODY, said_with

TITLE: Final = "Where the two leads go"
CHOOSE: Final = "For the field"
POSITIVE, NEGATIVE, STUD, MOTOR_STUD, TERMINAL, HOUSING, FEED, OUT, BLOCK, CABLE, WIRE = (
    "positive", "negative", "stud", "motor_stud", "terminal", "housing", "feed", "out", "block", "cable", "wire",
)  # fmt: skip
POINT_WORDS: Final = {
    POSITIVE: "the battery's positive post",
    NEGATIVE: "the battery's negative post",
    STUD: "the starter's B+ stud, where the positive cable ends",
    MOTOR_STUD: "the solenoid's motor stud",
    TERMINAL: "the solenoid's control terminal",
    HOUSING: "the starter's housing",
    FEED: "the feed terminal of the relay socket",
    OUT: "the control terminal of the relay socket",
    BLOCK: "bare metal of the engine",
    CABLE: "the starter cable",
    WIRE: "the control wire",
}
IN_SERIES: Final = {
    POSITIVE: "the outer positive post of the two batteries in series",
    NEGATIVE: "the outer negative post of the two batteries in series",
}
IN_PARALLEL: Final = {
    POSITIVE: "the positive post that the starter cable leaves from",
    NEGATIVE: "the negative post that the ground strap leaves from",
}
AT_REST, CRANKING, RUNNING, KEY = (
    "engine off, nothing drawing", "while cranking", "engine running", "key at crank",
)  # fmt: skip
ENGINE_GROUND: Final = "engine, ground"
POSITIVE_CABLE: Final = "positive cable"
MOTOR, SOLENOID, STARTER, LOAD, RELAY, CLAMP = "motor", "solenoid", "starter", "load", "relay", "clamp"
LEAD_WORDS: Final = {"red": "red", "black": "black"}
LOADED: Final = "tester's load on"
FROM_FEED: Final = "Relay out; the load from feed to control terminal."
FROM_POST: Final = "Control wire off; the load from the positive post to the terminal."
Load = Literal["", "socket", "coil"]


@dataclass(frozen=True)
class Leads:
    """Where a field is measured: two points, or one that a clamp goes round; when; and where a tester's load is put."""

    red: str
    black: str
    when: str
    clamp: str = ""
    load: Load = ""
    more: str = ""


LEADS: Final[Mapping[str, Leads]] = MappingProxyType(
    {
        "rest_v": Leads(POSITIVE, NEGATIVE, AT_REST),
        "crank_min_v": Leads(POSITIVE, NEGATIVE, CRANKING, more="Read the lowest while the engine turns steadily."),
        "crank_dip_v": Leads(POSITIVE, NEGATIVE, CRANKING, more="Read what MIN holds from the first moment."),
        "crank_a": Leads("", "", CRANKING, clamp=CABLE, more="All strands of the cable in the clamp; set it to zero first."),
        "peak_a": Leads("", "", CRANKING, clamp=CABLE, more="Read what MAX holds from the first moment; set it to zero first."),
        "drop_positive_v": Leads(POSITIVE, STUD, CRANKING, more="On the post itself, not on its clamp."),
        "drop_ground_v": Leads(HOUSING, NEGATIVE, CRANKING, more="On the post itself, not on its clamp."),
        "drop_contacts_v": Leads(STUD, MOTOR_STUD, CRANKING),
        "drop_control_v": Leads(POSITIVE, TERMINAL, CRANKING),
        "coil_a": Leads("", "", CRANKING, clamp=WIRE, more="Small clamp, set to zero first."),
        "pull_in_a": Leads("", "", CRANKING, clamp=WIRE, more="Small clamp, set to zero first; read what MAX holds."),
        "feed_v": Leads(FEED, BLOCK, KEY, more="Relay pulled from its socket."),
        "control_loaded_v": Leads(OUT, NEGATIVE, LOADED, load="socket", more=FROM_FEED),
        "coil_loaded_v": Leads(TERMINAL, HOUSING, LOADED, load="socket", more=FROM_FEED),
        "coil_alone_v": Leads(TERMINAL, HOUSING, LOADED, load="coil", more=FROM_POST),
        "charging_v": Leads(POSITIVE, NEGATIVE, RUNNING),
    }
)  # fmt: skip
"""By field, in the order in which a technician measures."""


def point_words(point: str, *, series: bool, parallel: bool) -> str:
    """A point in words, as this vehicle's batteries stand."""
    other = IN_SERIES if series else IN_PARALLEL if parallel else {}
    return other.get(point, POINT_WORDS[point])


def leads_text(field: str, *, series: bool = False, parallel: bool = False) -> str:
    """The two points in a sentence; KeyError for a field that no leads are needed for."""
    where = LEADS[field]
    if where.clamp:
        said = f"clamp round {POINT_WORDS[where.clamp]}"
    else:
        red, black = (point_words(p, series=series, parallel=parallel) for p in (where.red, where.black))
        said = f"red lead at {red}, black lead at {black}"
    return as_sentence(f"{said}; {where.when}.") + (f" {where.more}" if where.more else "")


def leads_caution(field: str) -> str:
    """What to mind with it, "" where nothing more than always."""
    return BODY if LEADS[field].when == RUNNING else said_with(leads_text(field))


def field_at_hand(typed: Mapping[str, str], order: Iterable[str] = LEADS) -> str:
    """The field to be measured next: the first of `order` that is empty, of those that leads are needed for."""
    fields = [name for name in order if name in LEADS] or list(LEADS)
    return next((name for name in fields if not typed.get(name, "").strip()), fields[0])
