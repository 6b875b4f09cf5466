"""What is measured next on vehicles whose engine did not turn when it was last tried: what the bay asks for after that reading."""

from collections.abc import Mapping

import pandas as pd

from analysis.bay.choices import BOUNDARIES
from analysis.bay.findings import MEASURED_HERE, Finding, locate_segment
from analysis.bay.same_visit import measured_before
from analysis.circuit.limits import Limits
from analysis.readings.outcomes import UNTURNED


def asked_after(readings: pd.DataFrame, limits: Mapping[str, Limits]) -> dict[str, Finding]:
    """Unit -> the finding that says what is measured next, of vehicles whose latest reading is of a start at which the engine did
    not turn; vehicles of which that reading holds all that is asked for are left out.

    What is usual in the class is not held against it: hardly anything of that flows through an engine that stands.

    :param readings: columns as in the files
    :param limits: of the units that are looked at
    """
    if "outcome" not in readings:
        return {}
    own = readings[readings["unit"].isin(set(limits))].sort_values("taken_at", kind="stable")
    latest = own.drop_duplicates("unit", keep="last")
    asked: dict[str, Finding] = {}
    stood = latest["outcome"].isin(UNTURNED)
    if "crank_rpm" in latest:
        stood |= (latest["outcome"] == "no_start") & (latest["crank_rpm"] <= BOUNDARIES.stands_rpm)
    for row in latest[stood].to_dict("records"):
        reading = {str(name): value for name, value in row.items()}
        unit = str(reading["unit"])
        aside = [name for name in str(reading.get("doubtful") or "").split(",") if name in MEASURED_HERE]
        known = {name: value for name, value in reading.items() if name not in aside and not pd.isna(value)}
        facts = {**measured_before(reading, own[own["unit"] == unit]), **known, "twice": reading.get("confirmed")}
        if aside:
            facts |= {"doubted": aside[0], "doubted_value": reading[aside[0]]}
        found = locate_segment(facts, limits=limits[unit])
        if asking := next((one for one in found if one.following), None):
            asked[unit] = asking
    return asked
