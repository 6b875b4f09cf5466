"""What was measured at a vehicle shortly before a reading, one measurement after the other in one visit to the bay.

Nobody measures everything at once: what a reading lacks may have been read an hour ago. As soon as something is measured
again, or something was repaired, what came before it no longer counts.
"""

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from analysis.bay.choices import ASKING
from analysis.bay.findings import MEASURED_HERE, WORDS
from analysis.readings.outcomes import UNTURNED

LOAD: Final = "tester_load_ohm"  # noted with each loaded check, and no new state
NAMES: Final = tuple(name for name in (*MEASURED_HERE, *WORDS) if name != "temperature_c")


def measured_before(
    reading: Mapping[str, Any], readings: pd.DataFrame, *, repaired_on: pd.Timestamp | None = None
) -> dict[str, Any]:
    """What a reading lacks and the vehicle's readings shortly before it hold, by name: numbers as in the files, and words; of one that
    started also how the last try among them went at which the engine did not turn, as `failed_before`.

    :param reading: taken_at and what was measured
    :param readings: of the same vehicle; those at or after `taken_at`, or longer before it than `ASKING.visit_h`, do not count, nor
        values marked doubtful
    :param repaired_on: day of the vehicle's last repair; readings of that day and before it do not count
    """
    at = pd.Timestamp(reading["taken_at"])
    taken = readings["taken_at"]
    near = (taken < at) & (taken >= at - pd.Timedelta(hours=ASKING.visit_h))
    if repaired_on is not None:
        near &= taken.dt.normalize() > repaired_on
    read, found = _held(reading), dict[str, Any]()
    for row in readings[near].sort_values("taken_at", ascending=False, kind="stable").to_dict("records"):
        held = _held({str(name): value for name, value in row.items()})
        if (read.keys() | found.keys()) & held.keys() - {LOAD, *WORDS}:
            break
        found = held | found
    tries = readings[near & readings["outcome"].isin(UNTURNED)] if "outcome" in readings else readings[:0]
    if read.get("outcome") == "started" and len(tries):
        found["failed_before"] = str(tries.sort_values("taken_at", kind="stable")["outcome"].iloc[-1])
    return {name: value for name, value in found.items() if name not in read}


def _held(reading: Mapping[str, Any]) -> dict[str, Any]:
    """What a reading holds and nobody doubts."""
    doubtful = str(reading.get("doubtful") or "").split(",")
    values = {name: reading.get(name) for name in NAMES if name not in doubtful}
    return {name: value for name, value in values.items() if not (value is None or value == "" or pd.isna(value))}
