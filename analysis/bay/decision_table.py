"""Decision table from simple checks to the segment at fault, as data: one row, one list of conditions, one key, by which
its sentence stands in `dashboard/words/finding_words.py`, and that of what is measured next in `next_words.py`.

The rows stand in the order in which they are named: is the measurement believable; does the engine turn as ever (then it
is not the starting circuit); is the control side at fault; is the battery charged and sound; does the load ask for more
than it should; which cable, contact or wire. Every boundary is a limit of `analysis.circuit.limits`, so that a user's own
limits move the table too. A measurement that was not made never matches a row.
"""

from collections.abc import Mapping
from typing import Final

from analysis.bay.conditions import Row
from analysis.bay.rows_alone import ALONE, NONE
from analysis.bay.rows_believable import MEASUREMENT, TURNS
from analysis.bay.rows_control import CONTROL
from analysis.bay.rows_power import BATTERY, CHARGING, DROPS, LOAD, WEAK

TABLE: Final[tuple[Row, ...]] = (
    *MEASUREMENT, *TURNS, *CONTROL, *BATTERY, *LOAD, *WEAK, *DROPS, *CHARGING, *ALONE, *NONE,
)  # fmt: skip

_THREE_DROPS: Final = ("drop_contacts_v", "drop_positive_v", "drop_ground_v")
FILLS: Final[Mapping[str, tuple[str, ...]]] = {
    "speed_and_peak": ("crank_rpm", "peak_a"),
    "amps_speed_and_peak": ("crank_a", "crank_rpm", "peak_a"),
    "feed_then_jumper": ("feed_v", "jumper_start"),
    "wire_loaded_at_both_ends": ("control_loaded_v", "coil_loaded_v"),
    "feed_then_wire_loaded": ("feed_v", "control_loaded_v", "coil_loaded_v"),
    "control_drop_then_coil_alone": ("drop_control_v", "coil_alone_v"),
    "three_drops": _THREE_DROPS,
    "drops_with_the_jumper_on": _THREE_DROPS,
    "control_drop_then_three": ("drop_control_v", *_THREE_DROPS),
    "crank_v_and_amps_then_drops": ("crank_min_v", "crank_a", *_THREE_DROPS),
    "rest_then_crank_v": ("rest_v", "crank_min_v"),
    "rest_then_crank_v_and_amps": ("rest_v", "crank_min_v", "crank_a"),
    "crank_v_and_amps": ("crank_min_v", "crank_a"),
}
"""Next measurement -> what a reading that contains it holds; one that is called as a measurement holds that, and those without a
column of their own are left out."""
