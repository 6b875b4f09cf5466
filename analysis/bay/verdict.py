"""Reading by reading: pass, watch or act, by printed limits, with the margin in volts and in the limit's own words.

Voltage drops are judged twice: as printed (volts, whatever the amps were) and as a resistance, at the amps the class
usually takes, so that a cold morning's high amps blame no cable and a weak battery's low amps excuse none.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.circuit.battery import fahrenheit_from_celsius, load_test_minimum_v
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import FEWEST_CRANK_A, Limit, Limits

Array = npt.NDArray[np.float64]
Sense = Literal["at least", "at most"]

VERDICTS: Final = ("pass", "watch", "act")
COLUMNS: Final = (
    *("row", "unit", "taken_at", "check", "value", "value_unit"),
    *("limit", "margin", "margin_v", "verdict", "words", "source"),
)
GROUP: Final = ["vehicle_class", "system_v", "fuel", "cylinders"]
DROP_LIMITS: Final = {
    "drop_positive_v": "positive_cable_drop_v",
    "drop_ground_v": "ground_path_drop_v",
    "drop_contacts_v": "solenoid_contacts_drop_v",
}
LOAD_TEST_WORDS: Final = "battery at least the load-test table's {limit:.2f} V at {at:.0f} °C ({at_f:.0f} °F)"
AT_USUAL_AMPS: Final = ", as volts at usual amps,"
LOAD_TEST_SOURCE: Final = "BCI Battery Service Manual, load-test table, as quoted in manuals; 24 V twice, derived"


def verdict(
    readings: pd.DataFrame,
    units: pd.DataFrame,
    book: LimitBook | None = None,
    *,
    class_crank_a: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Judge every measured quantity of every reading by the printed limits.

    :param readings: columns unit, taken_at, temperature_c, measurements as in the files; any measurement may be NaN
    :param units: columns unit, vehicle_class, system_v, fuel, cylinders
    :param book: a user's own limits; None for the defaults
    :param class_crank_a: usual cranking amps by vehicle class [A]; missing classes use the limit `typical_cranking_a`
    :returns: one row per reading and quantity: `row` (position in `readings`), unit, taken_at, check, value,
        value_unit, limit, margin (in value_unit, positive is good), margin_v (NaN where the limit is not in volts),
        verdict (pass, watch, act), words, source; ordered by row, worst verdict first
    :raises ValueError: a reading's unit is not among `units`
    """
    unknown = ~readings["unit"].isin(units["unit"])
    if unknown.any():
        raise ValueError(f"readings name the unit {readings['unit'][unknown].iloc[0]!r}, which is not among units")
    chosen = LimitBook() if book is None else book
    kinds = units.reindex(columns=["unit", *GROUP])
    joined = readings.reset_index(drop=True).merge(kinds, on="unit", how="left", validate="many_to_one")
    joined["row"] = np.arange(len(joined))
    parts: list[pd.DataFrame] = []
    for key, group in joined.groupby(GROUP, dropna=False, sort=False):
        vehicle_class, system_v, fuel, cylinders = (str(part) for part in key)
        limits = chosen.for_group(vehicle_class, int(float(system_v)), fuel, float(cylinders))
        usual = (class_crank_a or {}).get(vehicle_class, limits.typical_cranking_a.value)
        parts.extend(_judge_group(group, limits, float(usual), class_known=vehicle_class in (class_crank_a or {})))
    if not parts:
        return pd.DataFrame({name: [] for name in COLUMNS})
    result = pd.concat(parts, ignore_index=True)
    order = result["verdict"].map({name: -i for i, name in enumerate(VERDICTS)})
    return result.assign(order=order).sort_values(["row", "order"], kind="stable", ignore_index=True)[list(COLUMNS)]


def worst_verdict(judged: pd.DataFrame) -> pd.DataFrame:
    """The worst verdict of each reading: the first of its rows."""
    return judged.drop_duplicates("row", ignore_index=True)


def _judge_group(group: pd.DataFrame, limits: Limits, usual_a: float, *, class_known: bool) -> list[pd.DataFrame]:
    """All checks of the readings of one kind of vehicle."""
    return [
        *_battery_checks(group, limits),
        *_drop_checks(group, limits),
        *_resistance_checks(group, limits, usual_a),
        *_amp_checks(group, limits, usual_a, class_known=class_known),
    ]


def _values(group: pd.DataFrame, name: str) -> Array:
    if name not in group:
        return np.full(len(group), np.nan)
    return group[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _battery_checks(group: pd.DataFrame, limits: Limits) -> list[pd.DataFrame]:
    rest, low = _values(group, "rest_v"), _values(group, "crank_min_v")
    temperature = _values(group, "temperature_c")
    table = load_test_minimum_v(temperature, system_v=limits.system_v)
    words = np.array(
        [
            LOAD_TEST_WORDS.format(limit=v, at=t, at_f=f)
            for v, t, f in zip(table, temperature, fahrenheit_from_celsius(temperature), strict=True)
        ],
        dtype=object,
    )
    return [
        _frame(group, "rest voltage", rest, limits.rest_act_v, "at least", watch=limits.rest_watch_v.value),
        _frame(
            group, "volts while cranking, load-test table", low,
            Limit(float("nan"), "V", LOAD_TEST_SOURCE, 0.0, 0.0), "at least",
            boundary=table, watch=table + limits.load_test_margin_v.value, words=words,
        ),
        _frame(
            group, "volts while cranking", low, limits.least_cranking_battery_v, "at least",
            watch=limits.least_cranking_battery_v.value + limits.load_test_margin_v.value,
        ),
    ]  # fmt: skip


def _drop_checks(group: pd.DataFrame, limits: Limits) -> list[pd.DataFrame]:
    """Drops in volts, as printed."""
    share = limits.watch_share.value
    checks = {name.replace("_v", "").replace("drop_", "") + " drop": (_values(group, name), key) for name, key in
              DROP_LIMITS.items()}  # fmt: skip
    checks["positive side drop"] = (
        _values(group, "drop_positive_v") + _values(group, "drop_contacts_v"), "positive_side_drop_v",
    )  # fmt: skip
    checks["control circuit drop"] = (_values(group, "drop_control_v"), "control_circuit_drop_v")
    found = []
    for check, (value, key) in checks.items():
        limit: Limit = getattr(limits, key)
        found.append(_frame(group, check, value, limit, "at most", watch=share * limit.value))
    return found


def _resistance_checks(group: pd.DataFrame, limits: Limits, usual_a: float) -> list[pd.DataFrame]:
    """The same drops brought to the class's usual amps, and cables with ground per 100 A."""
    amps = _values(group, "crank_a")
    amps = np.where(amps >= FEWEST_CRANK_A.value, amps, np.nan)
    share = limits.watch_share.value
    found = []
    for name, key in DROP_LIMITS.items():
        limit: Limit = getattr(limits, key)
        at_usual = _values(group, name) / amps * usual_a
        words = f"{limit.words}, at the class's usual {usual_a:.0f} A: at most {limit.value / usual_a * 1000:.2f} mΩ"
        check = name.replace("_v", "").replace("drop_", "") + " resistance"
        found.append(_frame(group, check, at_usual, limit, "at most", watch=share * limit.value, words=words))
    whole = (_values(group, "drop_positive_v") + _values(group, "drop_ground_v")) / amps * 100.0
    limit = limits.circuit_v_per_100a
    found.append(_frame(group, "cables and ground per 100 A", whole, limit, "at most", watch=share * limit.value))
    return found


def _amp_checks(group: pd.DataFrame, limits: Limits, usual_a: float, *, class_known: bool) -> list[pd.DataFrame]:
    """Amps and speed. Amps name no part alone, so that they are watched and never call for action."""
    amps, coil, speed = (_values(group, name) for name in ("crank_a", "coil_a", "crank_rpm"))
    high, low = limits.highest_cranking_a, limits.low_amps_share
    found = []
    if class_known:
        high = Limit(usual_a * limits.high_amps_share.value, "A", limits.high_amps_share.source, 0.0, 0.0,
                     f"at most {limits.high_amps_share.words}")  # fmt: skip
    found.append(_frame(group, "cranking amps, high", amps, high, "at most", watch=high.value, act=False))
    least = Limit(usual_a * low.value, "A", low.source, 0.0, 0.0, f"at least {low.words}")
    if class_known:
        found.append(_frame(group, "cranking amps, low", amps, least, "at least", watch=least.value, act=False))
    found.append(_frame(group, "coil amps, high", coil, limits.highest_coil_a, "at most",
                        watch=limits.highest_coil_a.value, act=False))  # fmt: skip
    found.append(_frame(group, "coil amps, low", coil, limits.least_coil_a, "at least",
                        watch=limits.least_coil_a.value, act=False))  # fmt: skip
    rpm = limits.least_cranking_rpm
    found.append(_frame(group, "cranking speed", speed, rpm, "at least", watch=rpm.value / limits.watch_share.value))
    return found


def _frame(
    group: pd.DataFrame,
    check: str,
    value: Array,
    limit: Limit,
    sense: Sense,
    *,
    watch: float | Array,
    boundary: Array | None = None,
    words: str | npt.NDArray[np.object_] | None = None,
    act: bool = True,
) -> pd.DataFrame:
    """One check of many readings; readings without the measurement are left out."""
    edge = np.full_like(value, limit.value) if boundary is None else boundary
    sign = 1.0 if sense == "at least" else -1.0
    margin = sign * (value - edge)
    keep = np.isfinite(margin)
    worst = "act" if act else "watch"
    result = np.where(margin < 0, worst, np.where(sign * (value - watch) < 0, "watch", "pass"))
    in_volts = limit.unit == "V"
    frame = pd.DataFrame(
        {
            "row": group["row"].to_numpy(),
            "unit": group["unit"].to_numpy(),
            "taken_at": group["taken_at"].to_numpy(),
            "check": check,
            "value": value,
            "value_unit": limit.unit,
            "limit": edge,
            "margin": margin,
            "margin_v": margin if in_volts else np.nan,
            "verdict": result,
            "words": limit.words if words is None else words,
            "source": limit.source,
        }
    )
    return frame[keep]


def sentence(judged: Mapping[str, object]) -> str:
    """One row of :func:`verdict` as a sentence with value, limit and unit."""
    unit = str(judged["value_unit"])
    value, margin = float(str(judged["value"])), float(str(judged["margin"]))
    side = "inside" if margin >= 0 else "outside"
    digits = 2 if unit.startswith("V") else 0
    check = str(judged["check"])
    name = f"{check[:1].upper()}{check[1:]}" + (AT_USUAL_AMPS if check.endswith(" resistance") else "")
    return (
        f"{name} {value:.{digits}f} {unit}: {judged['verdict']}, "
        f"{abs(margin):.{digits}f} {unit} {side} the limit ({judged['words']}; {judged['source']})."
    )
