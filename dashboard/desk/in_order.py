"""Measurements in the order in which a technician takes them, and those that matter most for a vehicle today."""

from collections.abc import Collection
from typing import Final

from dashboard.desk.reading_source import MEASURED_BY
from dashboard.words import bay_words
from ingest.fields import MAIN_DROPS, QUANTITIES

_CRANKED: Final = (
    (bay_words.BEFORE_CRANKING, ("temperature_c", "rest_v")),
    (bay_words.ONE_CRANK, ("crank_min_v", "crank_a", "peak_a", "crank_rpm")),
    (bay_words.DROP_BY_DROP, MAIN_DROPS),
    (bay_words.CONTROL_CIRCUIT, ("drop_control_v", "coil_a")),
)
_NAMED: Final = {name for _, names in _CRANKED for name in names}
STEPS: Final = (
    *_CRANKED,
    (bay_words.BEFORE_IT_LEAVES, tuple(n for n, q in QUANTITIES.items() if not q.seldom and n not in _NAMED)),
)
"""What is done -> the measurements that it gives; rarer ones are asked for apart."""
ALWAYS: Final = ("temperature_c", "rest_v", "crank_min_v")
"""Enough to begin with, and enough for a vehicle of which nothing is suspected."""
WITH_SPEED: Final = ("starter_motor", "engine_drag")
"""Parts of which the cranking speed tells."""


def fields_today(suspect: str, known: Collection[str]) -> tuple[str, ...]:
    """Measurements to take first, in the order of the work.

    suspect: part under which the vehicle stands on the list, "" where it does not
    known: measurements that were ever read at this vehicle; amps and a drop are asked for where there are none of them
    """
    wanted = {*ALWAYS, *MEASURED_BY.get(suspect, ())}
    if suspect in WITH_SPEED:
        wanted |= {"crank_a", "crank_rpm"}
    if known and "crank_a" not in known:
        wanted.add("crank_a")
    elif known and not set(MAIN_DROPS) & set(known):
        wanted |= {"crank_a", *MAIN_DROPS}
    return as_taken(wanted)


def as_taken(wanted: Collection[str]) -> tuple[str, ...]:
    return tuple(name for _, names in STEPS for name in names if name in wanted)
