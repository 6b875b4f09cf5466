"""Reading by reading: pass, watch or act, by printed limits, with the margin in volts; `dashboard/words/limit_words.py` says it.

Limits on drops are meant at the amps that the class usually takes: at other amps the limit is as many times the printed
one as the amps are, so that a cold morning's high amps blame no cable and a weak battery's low amps excuse none. Amps,
speed and volts are judged at their temperature; the load-test table at half the label's cold-cranking amps, not by the
volts of a start.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.bay import sources
from analysis.bay.facts import at_charged_volts, at_usual_share, charging_most_v, enough_a, under_load
from analysis.circuit.battery import (
    COLDEST_PRINTED_C,
    bank_cca_a,
    least_cranking_v,
    load_test_minimum_v,
)
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import AGM, Limit, Limits
from analysis.readings.aid import aid_amps, said

Array = npt.NDArray[np.float64]
Sense = Literal["at least", "at most"]
Checked: TypeAlias = dict[str, npt.NDArray[Any]]
"""One check of the readings that have its measurement: columns of :func:`verdict`; one frame is made of all checks at the end."""

VERDICTS: Final = ("pass", "watch", "act")
COLUMNS: Final = (
    *("row", "unit", "taken_at", "check", "value", "value_unit"),
    *("limit", "margin", "margin_v", "verdict", "source"),
    *("printed", "amps", "usual_a", "temperature_c", "rest_v", "full_v"),
)
TEXTS: Final = ("unit", "check", "value_unit", "verdict", "source")
FIGURES: Final = ("amps", "usual_a", "temperature_c", "rest_v", "full_v")
"""What a limit that moves was worked out at, and rest volts of a charged battery beside those read; NaN where a check has none."""
AIDS: Final = ("aid_load_a", "aid_below_c")
GROUP: Final = ["vehicle_class", "system_v", "fuel", "cylinders", "battery_type"]
DROP_LIMITS: Final = {
    "drop_positive_v": "positive_cable_drop_v",
    "drop_ground_v": "ground_path_drop_v",
    "drop_contacts_v": "solenoid_contacts_drop_v",
}
LOAD_TEST_CHECK: Final = "load_test"


@dataclass(frozen=True)
class Alike:
    """Readings of vehicles of one kind: their places (N,) among all readings, and a column of all of these."""

    row: npt.NDArray[np.intp]
    column: Callable[[str], Array]


def verdict(
    readings: pd.DataFrame,
    units: pd.DataFrame,
    book: LimitBook | None = None,
    *,
    class_crank_a: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Judge every measured quantity of every reading by the printed limits.

    :param readings: columns unit, taken_at, temperature_c, measurements as in the files; any measurement may be NaN;
        `usual_crank_a`, `usual_rpm` where known: what the class shows at the reading's temperature [A, rpm]
    :param units: columns unit, vehicle_class, system_v, fuel, cylinders; where known rated_cca_a, batteries, in_parallel,
        battery_type, aid_load_a, aid_below_c
    :param book: a user's own limits; None for the defaults
    :param class_crank_a: usual cranking amps in the warm by vehicle class [A]; drops of other classes are judged as read
    :returns: one row per reading and quantity: `row` (position in `readings`), unit, taken_at, check, value,
        value_unit, limit, margin (in value_unit, positive is good), margin_v (NaN where the limit is not in volts),
        verdict (pass, watch, act), source, printed (the limit's own number, before amps or cold move it), FIGURES; ordered by row,
        worst verdict first. `check` is the measurement, with _low or _high where both are judged, or LOAD_TEST_CHECK,
        positive_side_drop_v, v_per_100a
    :raises ValueError: a reading's unit is not among `units`
    """
    place = pd.Index(units["unit"]).get_indexer(pd.Index(readings["unit"]))
    if (place < 0).any():
        raise ValueError(f"readings name the unit {readings['unit'][place < 0].iloc[0]!r}, which is not among units")
    chosen = LimitBook() if book is None else book
    about = {name: said(units, name) for name in AIDS} | {"cca_a": bank_cca_a(units)}
    column = cache(lambda name: about[name][place] if name in about else said(readings, name))
    alike, kinds = _kinds(units)
    parts: list[Checked] = []
    for kind, (vehicle_class, system_v, fuel, cylinders, battery_type) in enumerate(kinds):
        rows = np.flatnonzero(alike[place] == kind)
        if not len(rows):
            continue
        limits = chosen.for_group(vehicle_class, int(float(system_v)), fuel, float(cylinders), battery_type)
        usual_a = float((class_crank_a or {}).get(vehicle_class, np.nan))
        parts.extend(_judge_group(Alike(rows, column), limits, usual_a, agm=battery_type == AGM))
    if not parts:
        return pd.DataFrame({name: [] for name in COLUMNS})
    every = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    mildness = np.select([every["verdict"] == name for name in VERDICTS], range(0, -len(VERDICTS), -1))
    every = {name: value[np.lexsort((mildness, every["row"]))] for name, value in every.items()}
    own = {name: readings[name].array.take(every["row"]) for name in ("unit", "taken_at")}
    shown = {name: pd.array(value, dtype="str") if name in TEXTS else value for name, value in (every | own).items()}
    return pd.DataFrame(shown, columns=list(COLUMNS))


def _kinds(units: pd.DataFrame) -> tuple[npt.NDArray[np.intp], list[tuple[str, ...]]]:
    """(U,) place of each vehicle's kind among the kinds, which are texts of GROUP."""
    told = units.reindex(columns=GROUP)
    texts = [["nan" if pd.isna(one) else str(one) for one in told[name]] for name in GROUP]
    of_each = list(zip(*texts, strict=True))
    kinds = list(dict.fromkeys(of_each))
    return np.array([kinds.index(one) for one in of_each], dtype=np.intp), kinds


def _judge_group(group: Alike, limits: Limits, usual_a: float, *, agm: bool) -> list[Checked]:
    """All checks of the readings of one kind of vehicle; `usual_a` in the warm, NaN where nobody knows."""
    return [
        *_battery_checks(group, limits, agm=agm),
        *_drop_checks(group, limits, usual_a),
        *_amp_checks(group, limits, usual_a),
        *_solenoid_checks(group, limits),
        *_charging_checks(group, limits),
    ]


def _values(group: Alike, name: str) -> Array:
    return group.column(name)[group.row]


def _battery_checks(group: Alike, limits: Limits, *, agm: bool) -> list[Checked]:
    rest, low = _values(group, "rest_v"), _values(group, "crank_min_v")
    least = least_cranking_v(limits.least_cranking_battery_v.value, _values(group, "temperature_c"))
    return [
        _checked(group, "rest_v", rest, limits.rest_act_v, "at least", watch=limits.rest_watch_v.value),
        _load_test(group, limits, rest, low, agm=agm),
        _checked(
            group, "crank_min_v", low, limits.least_cranking_battery_v, "at least",
            boundary=least, watch=least + limits.load_test_margin_v.value,
        ),
    ]  # fmt: skip


def _load_test(group: Alike, limits: Limits, rest: Array, low: Array, *, agm: bool) -> Checked:
    """What the battery would hold at half its label's cold-cranking amps, by its resistance, beside the printed table; it gave
    the amps of glow plugs or an intake heater as well as the starter's."""
    temperature, amps, cca = (_values(group, n) for n in ("temperature_c", "crank_a", "cca_a"))
    aid_a = np.ravel(aid_amps(pd.DataFrame({name: _values(group, name) for name in AIDS}), temperature[:, None]))
    held = under_load(
        rest, low, amps, aid_a, usual_a=_values(group, "usual_crank_a"), cca_a=cca,
        system_v=limits.system_v, agm=agm,
    ).half_cca_v  # fmt: skip
    table = load_test_minimum_v(temperature, system_v=limits.system_v)
    table = np.where(temperature >= COLDEST_PRINTED_C, table, np.nan)  # nothing is printed for the colder
    return _checked(
        group, LOAD_TEST_CHECK, held, Limit(float("nan"), "V", sources.LOAD_TABLE_PRINTED, 0.0, 0.0), "at least",
        boundary=table, watch=table + limits.load_test_margin_v.value, amps=0.5 * cca, temperature_c=temperature,
    )  # fmt: skip


def _drop_checks(group: Alike, limits: Limits, usual_a: float) -> list[Checked]:
    """Drops in volts, their limits as many times the printed ones as the amps are the usual ones."""
    share = limits.watch_share.value
    checks = {name: (_values(group, name), key) for name, key in DROP_LIMITS.items()}
    checks["positive_side_drop_v"] = (
        _values(group, "drop_positive_v") + _values(group, "drop_contacts_v"), "positive_side_drop_v",
    )  # fmt: skip
    amps = _values(group, "crank_a")
    amps = np.where(np.isfinite(amps), amps, _values(group, "usual_crank_a"))
    share_at_usual = at_usual_share(amps, usual_a)
    found = []
    for check, (value, key) in checks.items():
        limit: Limit = getattr(limits, key)
        edge = limit.value / share_at_usual
        found.append(
            _checked(
                group, check, value, limit, "at most", watch=share * edge, boundary=edge, amps=amps, usual_a=usual_a
            )
        )
    control = limits.control_circuit_drop_v
    found.append(
        _checked(
            group,
            "drop_control_v",
            _values(group, "drop_control_v"),
            control,
            "at most",
            watch=share * control.value,
        )
    )
    whole = (_values(group, "drop_positive_v") + _values(group, "drop_ground_v")) / np.where(
        amps >= enough_a(_values(group, "usual_crank_a")), amps, np.nan
    )
    limit = limits.circuit_v_per_100a
    measured = np.where(np.isfinite(_values(group, "crank_a")), 100.0 * whole, np.nan)
    found.append(_checked(group, "v_per_100a", measured, limit, "at most", watch=share * limit.value))
    return found


def _amp_checks(group: Alike, limits: Limits, usual_a: float) -> list[Checked]:
    """Amps, speed and seconds. Amps and seconds name no part alone, so that they are watched and never call for action."""
    amps, speed = _values(group, "crank_a"), _values(group, "crank_rpm")
    here = _values(group, "usual_crank_a")
    here = np.where(np.isfinite(here), here, usual_a)
    high, low, most = limits.high_amps_share, limits.low_amps_share, limits.highest_cranking_a
    found = []
    if np.isfinite(usual_a):
        for check, share, sense in (("crank_a_high", high, "at most"), ("crank_a_low", low, "at least")):
            edge = here * share.value
            limit = Limit(usual_a * share.value, "A", share.source, 0.0, 0.0)
            side: Sense = "at most" if sense == "at most" else "at least"
            found.append(
                _checked(
                    group,
                    check,
                    amps,
                    limit,
                    side,
                    watch=edge,
                    boundary=edge,
                    printed=share.value,
                    usual_a=usual_a,
                    act=False,
                )
            )
    else:
        found.append(_checked(group, "crank_a_high", amps, most, "at most", watch=most.value, act=False))
    rpm = limits.least_cranking_rpm
    # in the cold sound engines are slow
    least = np.fmin(rpm.value, limits.slow_share.value * _values(group, "usual_rpm"))
    found.append(
        _checked(
            group, "crank_rpm", speed, rpm, "at least", watch=least / limits.watch_share.value, boundary=least,
        )
    )  # fmt: skip
    longest = limits.longest_crank_s
    found.append(_checked(group, "crank_s", _values(group, "crank_s"), longest, "at most",
                        watch=longest.value, act=False))  # fmt: skip
    return found


def _solenoid_checks(group: Alike, limits: Limits) -> list[Checked]:
    """Hold-in amps, those of both windings at the volts of a charged battery, and the feed of the relay socket.

    Amps name no part alone: they are watched. What a clamp caught of both windings as hold-in is judged as theirs.
    """
    coil, pull, rest = (_values(group, name) for name in ("coil_a", "pull_in_a", "rest_v"))
    least, most = limits.least_pull_in_a, limits.highest_pull_in_a
    both = (coil >= least.value) & (coil <= most.value)
    pull, hold = np.where(np.isnan(pull) & both, coil, pull), np.where(both, np.nan, coil)
    full = at_charged_volts(pull, rest, limits)
    dip, low, feed = (_values(group, name) for name in ("crank_dip_v", "crank_min_v", "feed_v"))
    lost = limits.control_circuit_drop_v
    battery = np.fmin(np.fmin(np.where(rest > 0, rest, float(limits.system_v)), low), dip)
    return [
        _checked(group, "coil_a_low", hold, limits.least_coil_a, "at least", watch=limits.least_coil_a.value, act=False),
        _checked(group, "coil_a_high", hold, limits.highest_coil_a, "at most", watch=limits.highest_coil_a.value, act=False),
        _checked(group, "pull_in_a_low", full, least, "at least", watch=least.value, act=False),
        _checked(group, "pull_in_a_high", full, most, "at most", watch=most.value, act=False,
                 amps=pull, rest_v=rest, full_v=limits.rest_watch_v.value),
        _checked(
            group, "feed_v", feed, lost, "at least", boundary=battery - lost.value, watch=battery - lost.value,
        ),
    ]  # fmt: skip


def _charging_checks(group: Alike, limits: Limits) -> list[Checked]:
    """Volts with the engine running, between what charges and what a sound regulator gives at the temperature."""
    volts, least, most = _values(group, "charging_v"), limits.least_charging_v, limits.highest_charging_v
    here = charging_most_v(_values(group, "temperature_c"), limits)
    return [
        _checked(group, "charging_v_low", volts, least, "at least", watch=least.value),
        _checked(group, "charging_v_high", volts, most, "at most", boundary=here, watch=here),
    ]


def _checked(
    group: Alike,
    check: str,
    value: Array,
    limit: Limit,
    sense: Sense,
    *,
    watch: float | Array,
    boundary: Array | None = None,
    printed: float | None = None,
    act: bool = True,
    **figures: float | Array,
) -> Checked:
    """One check of many readings; readings without the measurement are left out."""
    edge = np.full_like(value, limit.value) if boundary is None else boundary
    sign = 1.0 if sense == "at least" else -1.0
    margin = sign * (value - edge)
    keep = np.isfinite(margin)
    worst = "act" if act else "watch"
    result = np.where(margin < 0, worst, np.where(sign * (value - watch) < 0, "watch", "pass"))
    columns: dict[str, npt.ArrayLike] = {
        "row": group.row,
        "check": check,
        "value": value,
        "value_unit": limit.unit,
        "limit": edge,
        "margin": margin,
        "margin_v": margin if limit.unit == "V" else np.nan,
        "verdict": result,
        "source": limit.source,
        "printed": limit.value if printed is None else printed,
        **{name: figures.get(name, np.nan) for name in FIGURES},
    }
    kinds = {name: np.dtype(object) if name in TEXTS else None for name in columns}
    return {
        name: np.broadcast_to(np.asarray(values, dtype=kinds[name]), keep.shape)[keep]
        for name, values in columns.items()
    }
