"""Reading by reading: pass, watch or act, by printed limits, with the margin in volts and in the limit's own words.

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

from analysis.bay.facts import at_charged_volts, at_usual_share, charging_most_v, enough_a, under_load
from analysis.bay.figures import both_degrees, digits_apart, usual_digits
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
    *("limit", "margin", "margin_v", "verdict", "words", "source"),
)
TEXTS: Final = ("unit", "check", "value_unit", "verdict", "words", "source")
AIDS: Final = ("aid_load_a", "aid_below_c")
GROUP: Final = ["vehicle_class", "system_v", "fuel", "cylinders", "battery_type"]
DROP_LIMITS: Final = {
    "drop_positive_v": "positive_cable_drop_v",
    "drop_ground_v": "ground_path_drop_v",
    "drop_contacts_v": "solenoid_contacts_drop_v",
}
LOAD_TEST_CHECK: Final = "battery at half its cold-cranking amps, load-test table"
LOAD_TEST_WORDS: Final = "at {amps:.0f} A at least the load-test table's {limit:.2f} V at {at}"
PULL_IN_WORDS: Final = "{most} at {full:.2f} V; read: {amps:.0f} A at {volts:.2f} V"
FEED_WORDS: Final = "at most {lost:.1f} V less than the battery has"
LOAD_TEST_SOURCE: Final = "BCI Battery Service Manual, load-test table, as quoted in manuals; 24 V twice, derived"


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
        verdict (pass, watch, act), words, source; ordered by row, worst verdict first
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
    warm = limits.least_cranking_battery_v
    words = [
        f"{warm.words}, {v:.{digits_apart(v, x, 1)}f} V at this temperature" if v < warm.value else warm.words
        for v, x in zip(least, low, strict=True)
    ]
    return [
        _checked(group, "rest voltage", rest, limits.rest_act_v, "at least", watch=limits.rest_watch_v.value),
        _load_test(group, limits, rest, low, agm=agm),
        _checked(
            group, "volts while cranking", low, limits.least_cranking_battery_v, "at least",
            boundary=least, watch=least + limits.load_test_margin_v.value,
            words=np.array(words, dtype=object),
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
    words = np.array(
        [
            LOAD_TEST_WORDS.format(amps=a, limit=v, at=both_degrees(t))
            for a, v, t in zip(0.5 * cca, table, temperature, strict=True)
        ],
        dtype=object,
    )
    return _checked(
        group, LOAD_TEST_CHECK, held, Limit(float("nan"), "V", LOAD_TEST_SOURCE, 0.0, 0.0), "at least",
        boundary=table, watch=table + limits.load_test_margin_v.value, words=words,
    )  # fmt: skip


def _drop_checks(group: Alike, limits: Limits, usual_a: float) -> list[Checked]:
    """Drops in volts, their limits as many times the printed ones as the amps are the usual ones."""
    share = limits.watch_share.value
    checks = {name.replace("_v", "").replace("drop_", "") + " drop": (_values(group, name), key) for name, key in
              DROP_LIMITS.items()}  # fmt: skip
    checks["positive side drop"] = (
        _values(group, "drop_positive_v") + _values(group, "drop_contacts_v"), "positive_side_drop_v",
    )  # fmt: skip
    amps = _values(group, "crank_a")
    amps = np.where(np.isfinite(amps), amps, _values(group, "usual_crank_a"))
    share_at_usual = at_usual_share(amps, usual_a)
    found = []
    for check, (value, key) in checks.items():
        limit: Limit = getattr(limits, key)
        edge = limit.value / share_at_usual
        words = np.array([_at_amps(limit, usual_a, a, e) for a, e in zip(amps, edge, strict=True)], dtype=object)
        found.append(_checked(group, check, value, limit, "at most", watch=share * edge, boundary=edge, words=words))
    control = limits.control_circuit_drop_v
    found.append(
        _checked(
            group,
            "control circuit drop",
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
    found.append(_checked(group, "cables and ground per 100 A", measured, limit, "at most", watch=share * limit.value))
    return found


def _at_amps(limit: Limit, usual_a: float, amps: float, edge: float) -> str:
    """A limit's own words, with what it comes to at these amps."""
    if not np.isfinite(usual_a) or edge == limit.value:
        return limit.words
    return f"{limit.words} at the usual {usual_a:.0f} A, {edge:.2f} V at {amps:.0f} A"


def _amp_checks(group: Alike, limits: Limits, usual_a: float) -> list[Checked]:
    """Amps, speed and seconds. Amps and seconds name no part alone, so that they are watched and never call for action."""
    amps, speed = _values(group, "crank_a"), _values(group, "crank_rpm")
    here = _values(group, "usual_crank_a")
    here = np.where(np.isfinite(here), here, usual_a)
    high, low, most = limits.high_amps_share, limits.low_amps_share, limits.highest_cranking_a
    found = []
    if np.isfinite(usual_a):
        for check, share, sense in (("cranking amps, high", high, "at most"), ("cranking amps, low", low, "at least")):
            edge = here * share.value
            limit = Limit(usual_a * share.value, "A", share.source, 0.0, 0.0)
            words = f"{sense} {share.words}"
            side: Sense = "at most" if sense == "at most" else "at least"
            found.append(_checked(group, check, amps, limit, side, watch=edge, boundary=edge, words=words, act=False))
    else:
        found.append(_checked(group, "cranking amps, high", amps, most, "at most", watch=most.value, act=False))
    rpm = limits.least_cranking_rpm
    # in the cold sound engines are slow
    least = np.fmin(rpm.value, limits.slow_share.value * _values(group, "usual_rpm"))
    slower = least < rpm.value
    said = np.array([f"{rpm.words}, {r:.0f} rpm at this temperature" if s else rpm.words for r, s in zip(least, slower, strict=True)],
                     dtype=object)  # fmt: skip
    found.append(
        _checked(
            group, "cranking speed", speed, rpm, "at least", watch=least / limits.watch_share.value, boundary=least,
            words=said,
        )
    )  # fmt: skip
    longest = limits.longest_crank_s
    found.append(_checked(group, "seconds cranked", _values(group, "crank_s"), longest, "at most",
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
    read = np.array(
        [PULL_IN_WORDS.format(most=most.words, full=limits.rest_watch_v.value, amps=a, volts=v) if v > 0 else most.words
         for a, v in zip(pull, rest, strict=True)], dtype=object,
    )  # fmt: skip
    full = at_charged_volts(pull, rest, limits)
    dip, low, feed = (_values(group, name) for name in ("crank_dip_v", "crank_min_v", "feed_v"))
    lost = limits.control_circuit_drop_v
    battery = np.fmin(np.fmin(np.where(rest > 0, rest, float(limits.system_v)), low), dip)
    return [
        _checked(group, "coil amps, low", hold, limits.least_coil_a, "at least", watch=limits.least_coil_a.value, act=False),
        _checked(group, "coil amps, high", hold, limits.highest_coil_a, "at most", watch=limits.highest_coil_a.value, act=False),
        _checked(group, "pull-in amps, low", full, least, "at least", watch=least.value, act=False),
        _checked(group, "pull-in amps, high", full, most, "at most", watch=most.value, words=read, act=False),
        _checked(
            group, "feed volts", feed, lost, "at least", boundary=battery - lost.value, watch=battery - lost.value,
            words=FEED_WORDS.format(lost=lost.value),
        ),
    ]  # fmt: skip


def _charging_checks(group: Alike, limits: Limits) -> list[Checked]:
    """Volts with the engine running, between what charges and what a sound regulator gives at the temperature."""
    volts, least, most = _values(group, "charging_v"), limits.least_charging_v, limits.highest_charging_v
    here = charging_most_v(_values(group, "temperature_c"), limits)
    words = np.array(
        [f"{most.words}, {v:.2f} V at this temperature" if v > most.value else most.words for v in here], dtype=object
    )
    return [
        _checked(group, "charging volts, low", volts, least, "at least", watch=least.value),
        _checked(group, "charging volts, high", volts, most, "at most", boundary=here, watch=here, words=words),
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
    words: str | npt.NDArray[np.object_] | None = None,
    act: bool = True,
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
        "words": limit.words if words is None else words,
        "source": limit.source,
    }
    kinds = {name: np.dtype(object) if name in TEXTS else None for name in columns}
    return {
        name: np.broadcast_to(np.asarray(values, dtype=kinds[name]), keep.shape)[keep]
        for name, values in columns.items()
    }


def sentence(judged: Mapping[str, object]) -> str:
    """One row of :func:`verdict` as a sentence with value, limit and unit."""
    unit = str(judged["value_unit"])
    value, margin, limit = (float(str(judged[n])) for n in ("value", "margin", "limit"))
    side = "inside" if margin >= 0 else "outside"
    digits = digits_apart(value, limit, usual_digits(unit))
    check = str(judged["check"])
    return (
        f"{check[:1].upper()}{check[1:]} {value:.{digits}f} {unit}: {judged['verdict']}, "
        f"{abs(margin):.{digits}f} {unit} {side} the limit ({judged['words']}; {judged['source']})."
    )
