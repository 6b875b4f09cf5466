"""Everything that one reading says: resistances with errors or why not, closure, charge, limits, segment at fault.

Composes `circuit`, `load`, `closure`, `battery`, `verdict` and `segments` for one reading of one vehicle and what is
expected of it; used by the vehicle's sheet, by `record` and by the bay screen alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.bay.against import Against, against
from analysis.bay.boundaries import AMPS_ROWS
from analysis.bay.choices import BOUNDARIES, EXPECTING, FACTS
from analysis.bay.closure import MOVED_BY, check_closure, predicted_measurements
from analysis.bay.expected import Expected
from analysis.bay.facts import DROPS, enough_a, speed_doubt
from analysis.bay.findings import MEASURED_HERE, WORDS, Finding, locate_segment
from analysis.bay.verdict import verdict
from analysis.circuit.battery import (
    bank_cca_a,
    celsius_from_fahrenheit,
    freezing_point_c,
    full_charge_resistance_mohm,
    gravity_from_charge,
    ice,
    least_cranking_v,
    open_circuit,
    state_of_charge,
)
from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import AGM, DRAG_PER_K, REFERENCE_C, Limits
from analysis.circuit.load import infer_load
from analysis.circuit.resistances import ELEMENTS, MEASURED, MOHM_PER_OHM, WITHOUT, Inferred, infer_resistances
from analysis.circuit.temperature import CONTACT_LAW, COPPER_LAW, TemperatureLaw, at_reference, copper_factor
from analysis.readings.choices import NOISE
from analysis.readings.outcomes import FAILED, UNTURNED
from analysis.readings.panel import MEASURED as READ
from analysis.readings.panel import RAN_FREE, Floats, trusted_values
from analysis.starting.loop import StartState, aid_amps_at

NAN: Final = float("nan")
NOTHING: Final[Mapping[str, Any]] = MappingProxyType({})
_RESTS_ON: Final = {
    "battery": ("rest_v", "crank_min_v", "crank_a"),
    "positive_cable": ("drop_positive_v", "crank_a"),
    "ground_path": ("drop_ground_v", "crank_a"),
    "solenoid_contacts": ("drop_contacts_v", "crank_a"),
    "motor_lumped": ("crank_min_v", "crank_a"),
    "motor_winding": ("peak_a", "crank_a"),
    "control_circuit": ("drop_control_v", "coil_a"),
    "coil": ("drop_control_v", "coil_a", "crank_min_v"),
    "back_emf": ("peak_a", "crank_a"),
    "motor_constant": ("peak_a", "crank_a", "crank_rpm"),
    "torque": ("peak_a", "crank_a", "crank_rpm"),
}
HARDLY_FLOWED: Final = "hardly_flowed"
SERIES: Final = ("battery", "positive_cable", "ground_path", "solenoid_contacts", "motor_winding", "motor_lumped")
ONLY_A_BOUND: Final = "only_a_bound"
ASIDE: Final = {
    name: f"{name}_aside" for name in ("rest_v", "crank_min_v", "crank_a", "coil_a", *DROPS.values(), "drop_control_v")
}
"""The same as `WITHOUT` of a value that was measured, but is doubtful and not used."""
KIND: Final = (
    *("vehicle_class", "system_v", "fuel", "cylinders", "rated_cca_a", "batteries", "in_parallel"),
    *("battery_type", "aid_load_a", "aid_below_c"),
)
NO_LAW: Final = TemperatureLaw(0.0, 0.0, np.zeros((2, 2)), REFERENCE_C.value)
LOAD_ROWS: Final = {  # name here -> value, standard error and unit of `analysis.circuit.load.infer_load`
    "back_emf": ("back_emf_v", "back_emf_se_v", "V", 1.0),
    "motor_constant": ("emf_v_per_rpm", "emf_se_v_per_rpm", "mV/rpm", 1000.0),
    "torque": ("torque_nm", "torque_se_nm", "Nm", 1.0),
}


@dataclass(frozen=True)
class Identified:
    """One element: value at 20 °C with standard error and what was expected, or the key of why it has none."""

    element: str
    unit: str
    value: float
    se: float
    expected: float
    reason: str


@dataclass(frozen=True)
class Closure:
    """Whether the reading agrees with itself and with what is expected of its unit; `why_not`, a key, where nobody can tell.

    `values`: how many measurements were compared; `earlier`: readings of the vehicle that the expectation rests on;
    `measured`, `expected`, `se`, `off`: of the suspect, in its own unit; `settled`: values that would not fit, were they
    not measured twice.
    """

    checked: bool
    why_not: str = ""
    closes: bool = True
    values: int = 0
    earlier: int = 0
    p_value: float = 1.0
    suspect: str = ""
    measured: float = float("nan")
    expected: float = float("nan")
    se: float = float("nan")
    off: float = float("nan")
    repaired: bool = False
    also: tuple[str, ...] = ()
    settled: tuple[str, ...] = ()


@dataclass(frozen=True)
class Charge:
    """What the rest volts say: state of charge [0..1], surface charge taken off [V] and its error [V].

    `level`: "" (charged), "watch" or "act", by the limits; `freezing_c`: of the electrolyte at that charge; `ice`: whether the air
    was that cold;
    `full_mohm`, `full_se_mohm`: the battery's resistance at 20 °C as it would be when full. `battery_type`: how it is
    built, empty where that is not on record: then it is read as a flooded one.
    """

    rest_v: float
    soc: float
    surface_v: float
    surface_se_v: float
    level: str
    freezing_c: float
    ice: bool
    full_mohm: float
    full_se_mohm: float
    battery_type: str

    @property
    def looks_like_surface_charge(self) -> bool:
        """More than a rested battery shows."""
        return self.surface_v > 0


@dataclass(frozen=True)
class ReadingCheck:
    """Everything that one reading says. `assumed`: measurement filled in for a missing one -> value and error; `before`:
    measured shortly before and used by the findings; `rest_aside_v`: rest volts that were measured, but are doubtful and not used [V], NaN
    where there are none."""

    temperature_c: float
    temperature_assumed: bool
    identified: tuple[Identified, ...]
    assumed: Mapping[str, tuple[float, float]]
    closure: Closure
    against: Against
    charge: Charge | None
    limits: pd.DataFrame
    findings: tuple[Finding, ...]
    before: tuple[str, ...] = ()
    rest_aside_v: float = NAN


def check_one_reading(
    reading: Mapping[str, Any], unit: Mapping[str, Any], expected: Expected, limits: Limits, book: LimitBook,
    before: Mapping[str, Any] = NOTHING, earlier: pd.DataFrame | None = None,
) -> ReadingCheck:  # fmt: skip
    """Take one reading apart.

    :param reading: measurements by name [V, A, °C, rpm], None or NaN for missing; `doubtful` names, comma-joined, that
        are left out; `confirmed` names, comma-joined, that were measured twice; `outcome`, `jumper_start` if known
    :param unit: vehicle_class, system_v, fuel, cylinders
    :param expected: what the vehicle should show, from its earlier readings
    :param before: measured shortly before, of :func:`analysis.bay.same_visit.measured_before`; findings rest on it too
    :param earlier: the vehicle's readings before it and after its last repair, as :func:`analysis.bay.against.against` takes them
    """
    battery_type = str(unit.get("battery_type") or "")
    agm = battery_type == AGM
    reading = _with_drops_weighed(reading, expected)
    row = trusted_row(reading).assign(agm=float(agm))
    noted = float(row["temperature_c"].iloc[0])
    assumed_t = not np.isfinite(noted)
    temperature, sd = (NOISE.assumed_c, NOISE.assumed_temperature_k) if assumed_t else (noted, NOISE.temperature_k)
    at = row.assign(temperature_c=temperature, aid_a=_aid_a(expected, temperature))
    shown = _shown(expected, temperature)
    typical = {n: NAN if n in expected.unknown else float(shown[n].iloc[0]) for n in ("crank_a", "rest_v")}
    if reading.get("outcome") in UNTURNED:
        typical["crank_a"] = NAN
    load_sd = float(np.hypot(np.asarray(expected.spread.load), DRAG_PER_K.value * sd))
    system_v = int(expected.volts)
    inferred = infer_resistances(
        at, system_v, typical_crank_a=typical["crank_a"], typical_crank_rel_sd=load_sd, typical_rest_v=typical["rest_v"]
    )
    names = [n for n in str(inferred.assumed[0]).split(",") if n]
    inferred = _told_by_enough(inferred, at, shown["crank_a"].to_numpy(np.float64))
    frozen = _ice(row, expected, np.array([temperature]), agm)
    inferred = _thawed(inferred, frozen)
    charge = _charge(row, temperature, system_v, limits, inferred, expected, sd, battery_type)
    resistances = _resistances(inferred, shown, expected, temperature, sd)
    load = _load(at, shown, expected)
    if (inferred.reason == HARDLY_FLOWED).any():
        load = [replace(one, value=NAN, se=NAN, reason=HARDLY_FLOWED) for one in load]
    expected = expected.iced(*(float(v[0]) for v in frozen))
    judged = low_bound_counts(row, limits, temperature).assign(temperature_c=temperature)
    closes = _closure(at, shown, expected, sd, names_in(reading.get("confirmed")), reading.get("outcome"))
    joined = judged.assign(**{n: v for n, v in before.items() if n in judged and np.isnan(judged[n].iloc[0])})
    said = {**reading, **{n: v for n, v in before.items() if n in WORDS}}
    findings = tuple(_findings(joined, said, unit, expected, temperature, limits))
    denied = temperature > 0.0 and closes.checked and not closes.closes
    if (assumed_t or denied) and {f.segment for f in findings} & set(AMPS_ROWS):
        told = _told_c(joined, said, unit, expected, temperature, limits, noted=not assumed_t)
        if assumed_t and np.isfinite(told):
            joined = joined.assign(temperature_c=NAN)
        findings = tuple(_findings(joined, said, unit, expected, temperature, limits, told))
    believed = judged.assign(**dict.fromkeys((f.doubts for f in findings if f.doubts), NAN))
    if np.isfinite(row["crank_at_most_v"].iloc[0]):
        resistances = [
            replace(r, reason=ONLY_A_BOUND) if r.reason == WITHOUT["crank_min_v"] else r for r in resistances
        ]
    rest_aside_v = NAN if charge is not None else _number(reading.get("rest_v"))
    volts = {"rest_v": rest_aside_v, "crank_min_v": _number(reading.get("crank_min_v"))}
    unused = {*names_in(reading.get("doubtful")), *(n for n, v in volts.items() if np.isfinite(v))}
    aside = {WITHOUT[n]: ASIDE[n] for n in unused & set(ASIDE)}
    resistances, load = (
        [replace(r, reason=aside.get(r.reason, r.reason)) for r in rows] for rows in (resistances, load)
    )
    return ReadingCheck(
        temperature, assumed_t, (*resistances, *load),
        {n: _assumed_value(n, typical, load_sd, system_v) for n in names},
        closes, against(at, expected, sd, pd.DataFrame() if earlier is None else earlier, reading.get("outcome")), charge,
        _limits(believed, reading, unit, expected, temperature, book), findings, tuple(before), rest_aside_v,
    )  # fmt: skip


def _with_drops_weighed(reading: Mapping[str, Any], expected: Expected) -> Mapping[str, Any]:
    """The reading with drops about ten times what they should be, or a tenth, believed or doubted by what amps, inrush and speed say
    of it, for this vehicle at this temperature: a part that loses those volts, or a slip of the decimal point beside one that is as ever.

    Those that import doubts count where the part is likelier; others no longer count where the part does not fit and the slip is far likelier.
    """
    doubted = [name for name in str(reading.get("doubtful") or "").split(",") if name]
    drops = {name: _number(reading.get(name)) for name in DROPS.values()}
    row = trusted_row(reading).assign(**dict.fromkeys(DROPS.values(), NAN))
    air_c, amps = (float(row[name].iloc[0]) for name in ("temperature_c", "crank_a"))
    if not np.isfinite(air_c):
        return reading
    usual = _shown_by(expected, expected.state, air_c)
    times = {name: volts / usual[name] for name, volts in drops.items()}
    powers = {name: round(np.log10(ratio)) for name, ratio in times.items() if 0.0 < ratio < np.inf}
    weighed = powers.keys() & set(doubted)
    believed = reading.get("outcome") in ("slow", *FAILED)
    sure = {*doubted, *names_in(reading.get("confirmed"))}
    suspects = [name for name, power in powers.items() if power == 1 and not believed and name not in sure]
    amps = amps if np.isfinite(amps) else usual["crank_a"]
    if not (weighed or suspects) or not amps > 0.0:  # without amps nothing is lost
        return reading
    row = expected.foretold(row.assign(aid_a=_aid_a(expected, air_c)))

    def tested(names: AbstractSet[str]) -> tuple[pd.Series[Any], pd.Series[Any]]:
        """The reading as that of slips, and as that of parts that lose those volts."""
        slips = row.assign(**{name: drops[name] / 10.0 ** powers[name] for name in names})
        losing = {MOVED_BY[name]: drops[name] * MOHM_PER_OHM / amps for name in names}
        changed = replace(expected, state=replace(expected.state, **losing))
        k = NOISE.temperature_k
        return _tested(slips, expected, k, frozenset()), _tested(row, changed, k, frozenset())

    if weighed:
        slip, lost = tested(weighed)
        if lost["closes"] and slip["chi2"] - lost["chi2"] >= EXPECTING.borne_out_by:
            doubted = [name for name in doubted if name not in weighed]
    for name in suspects:
        slip, lost = tested({name})
        if slip["closes"] and not lost["closes"] and lost["chi2"] - slip["chi2"] >= EXPECTING.denied_by:
            doubted.append(name)
    return {**reading, "doubtful": ",".join(doubted)}


def trusted_row(reading: Mapping[str, Any]) -> pd.DataFrame:
    """One row of floats: what was measured, without the values marked doubtful."""
    frame = pd.DataFrame(
        {n: [_number(reading.get(n))] for n in dict.fromkeys((*READ, *MEASURED_HERE))}
        | {n: [str(reading.get(n) or "")] for n in ("doubtful", "lowest_is")}
    )
    doubtful = {name.strip() for name in str(frame["doubtful"].iloc[0]).split(",")}
    own = trusted_values(frame)
    rest = {n: frame[n].to_numpy(np.float64) * (np.nan if n in doubtful else 1.0) for n in frame if n in MEASURED_HERE}
    more = {
        n: [_number(v)] for n, v in reading.items() if n not in frame and n not in doubtful and np.isfinite(_number(v))
    }
    return pd.DataFrame({**more, **rest, **own})


def _ice(readings: pd.DataFrame, expected: Expected, temperature_c: Floats, agm: bool) -> tuple[Floats, Floats]:
    """Log of what ice in the battery multiplies its resistance by in each reading, and its error: by the rest volts, or by
    those expected where they were not read."""
    open_v, se = open_circuit(readings["rest_v"].to_numpy(np.float64), system_v=expected.volts, agm=agm)
    usual_v = float(np.ravel(np.asarray(expected.state.open_circuit_v))[0])
    read = np.isfinite(open_v)
    se = np.where(read, se, INSTRUMENT.assumed_rest_v * expected.volts / 12.0)
    return ice(np.where(read, open_v, usual_v), se, temperature_c, system_v=expected.volts, agm=agm)


def _told_by_enough(inferred: Inferred, rows: pd.DataFrame, usual_a: Floats) -> Inferred:
    """The same without what hardly any amps tell of the series circuit; usual_a: at the temperature of each row [A]."""
    few = rows["crank_a"].to_numpy(np.float64) < enough_a(usual_a)
    if not few.any():
        return inferred
    at = np.ix_(np.flatnonzero(few), np.array([ELEMENTS.index(name) for name in SERIES]))
    value, se, reason = inferred.value_mohm.copy(), inferred.se_mohm.copy(), inferred.reason.copy()
    value[at], se[at], reason[at] = NAN, NAN, HARDLY_FLOWED
    return replace(inferred, value_mohm=value, se_mohm=se, reason=reason)


def _thawed(inferred: Inferred, frozen: tuple[Floats, Floats]) -> Inferred:
    """The same with the battery as it is without ice."""
    value, se, (log, error) = inferred.value_mohm.copy(), inferred.se_mohm.copy(), frozen
    value[:, 0] *= np.exp(-log)
    se[:, 0] = np.hypot(se[:, 0] * np.exp(-log), value[:, 0] * error)
    return replace(inferred, value_mohm=value, se_mohm=se)


def low_bound_counts(row: pd.DataFrame, limits: Limits, temperature_c: float) -> pd.DataFrame:
    """The row with an upper bound of the lowest volts as the lowest volts where even the bound is under the limit."""
    least = least_cranking_v(limits.least_cranking_battery_v.value, np.array([temperature_c]))
    return row.assign(crank_min_v=row["crank_min_v"].where(~(row["crank_at_most_v"] < least), row["crank_at_most_v"]))


def names_in(joined: object) -> frozenset[str]:
    """Comma-joined names, as a reading holds them."""
    return frozenset(name for name in str(joined or "").split(",") if name)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float | np.number) and not isinstance(value, bool) else float("nan")


def _law_of(element: str, expected: Expected) -> TemperatureLaw:
    """How the element's resistance goes with temperature; the motor as a whole holds back-emf and is left as it is."""
    laws = {"battery": expected.battery_law, "solenoid_contacts": CONTACT_LAW, "control_circuit": CONTACT_LAW,
            "motor_lumped": NO_LAW}  # fmt: skip
    return laws.get(element, COPPER_LAW)


def _resistances(
    inferred: Inferred, shown: pd.DataFrame, expected: Expected, temperature_c: float, sd_k: float
) -> list[Identified]:
    """Every element of the circuit at 20 °C."""
    usual = infer_resistances(shown.assign(aid_a=_aid_a(expected, temperature_c)), expected.volts).value_mohm[0]
    rows = []
    for i, element in enumerate(ELEMENTS):
        law = _law_of(element, expected)
        at, sd = np.array([temperature_c]), np.array([sd_k])
        value, se = at_reference(inferred.value_mohm[:, i], inferred.se_mohm[:, i], at, law, sd)
        then, _ = at_reference(usual[i : i + 1], np.zeros(1), at, law, sd)
        rows.append(
            Identified(
                element, "mΩ", float(value[0]), float(se[0]), float(then[0]) if _expected(element, expected) else NAN,
                str(inferred.reason[0, i]),
            )
        )  # fmt: skip
    return rows


def _expected(element: str, expected: Expected) -> bool:
    return not expected.unknown & set(_RESTS_ON[element])


def _load(at: pd.DataFrame, shown: pd.DataFrame, expected: Expected) -> list[Identified]:
    """Back-emf, motor constant and torque, at the temperature of the reading."""
    found, usual = infer_load(at, expected.volts).iloc[0], infer_load(shown, expected.volts).iloc[0]
    rows = []
    for name, (value, se, unit, times) in LOAD_ROWS.items():
        known = bool(np.isfinite(found[value]))
        then = times * float(usual[value]) if _expected(name, expected) else NAN
        rows.append(
            Identified(name, unit, times * float(found[value]), times * float(found[se]), then,
                       "" if known else str(found["reason"]))
        )  # fmt: skip
    return rows


def _assumed_value(name: str, typical: Mapping[str, float], load_sd: float, system_v: int) -> tuple[float, float]:
    """What a missing measurement was taken to be, with its error."""
    blocks = system_v / 12.0
    if name == "crank_a":
        return typical[name], typical[name] * load_sd
    if name == "rest_v":
        return typical[name], INSTRUMENT.assumed_rest_v * blocks
    return INSTRUMENT.assumed_drop_v * blocks, INSTRUMENT.assumed_drop_sd_v * blocks


def _hardly_flows(row: pd.DataFrame, shown: pd.DataFrame) -> bool:
    """Whether amps and sag, both measured, are too small against what is expected for volts to make resistances."""
    sag, usual_sag = (float((one["rest_v"] - one["crank_min_v"]).iloc[0]) for one in (row, shown))
    amps, usual = (float(one["crank_a"].iloc[0]) for one in (row, shown))
    return bool(amps < enough_a(usual)) and sag < FACTS.flowing_share * usual_sag


def _closure(
    at: pd.DataFrame, shown: pd.DataFrame, expected: Expected, sd_k: float, confirmed: frozenset[str], outcome: object
) -> Closure:
    """The test of closure, without the measurements of which nothing is expected."""
    if outcome == RAN_FREE:
        return Closure(False, "ran_free")
    row = expected.foretold(at)
    stood = outcome in FAILED and float(row["crank_rpm"].iloc[0]) <= BOUNDARIES.stands_rpm
    if not stood and _hardly_flows(row, shown):
        return Closure(False, HARDLY_FLOWED)
    if stood or outcome in UNTURNED:
        return Closure(False, "did_not_turn")
    count = int(np.isfinite(row[list(MEASURED)].to_numpy(np.float64)).sum())
    if count < EXPECTING.fewest_checked:
        read = int(np.isfinite(at[list(MEASURED)].to_numpy(np.float64)).sum())
        unread = read >= EXPECTING.fewest_checked
        return Closure(False, "class_hardly_read" if unread else "too_few")
    given, found = frozenset[str](), _tested(row, expected, sd_k, frozenset())
    while not found["closes"] and confirmed - given:  # what was measured twice counts as right where it would not fit
        suspect = str(found["suspect"])
        given |= {suspect} if suspect in confirmed else confirmed
        found = _tested(row, expected, sd_k, given)
    suspect = str(found["suspect"])
    value, then = float(row[suspect].iloc[0]) if suspect else NAN, float(found["suspect_expected"])
    return Closure(
        True, "", bool(found["closes"]), int(found["dof"]), expected.earlier, float(found["p_value"]), suspect,
        value, then, float(found["suspect_se"]), value - then, bool(found["repaired"]),
        tuple(n for n in str(found["also"]).split(",") if n), tuple(sorted(given)),
    )  # fmt: skip


def _tested(row: pd.DataFrame, expected: Expected, sd_k: float, confirmed: frozenset[str]) -> pd.Series[Any]:
    """The test of closure of one row."""
    return check_closure(
        row, expected.state, expected.volts, spread=expected.spread, inrush=expected.inrush, temperature_sd_k=sd_k,
        confirmed=confirmed,
    ).iloc[0]  # fmt: skip


def _charge(
    row: pd.DataFrame, temperature_c: float, system_v: int, limits: Limits, inferred: Inferred, expected: Expected,
    sd_k: float, battery_type: str,
) -> Charge | None:  # fmt: skip
    """State of charge and surface charge from the rest volts; None where they were not measured."""
    rest = float(row["rest_v"].iloc[0])
    if not np.isfinite(rest):
        return None
    agm = battery_type == AGM
    open_v, se = open_circuit(rest, system_v=system_v, agm=agm)
    soc = float(state_of_charge(open_v, system_v=system_v, temperature_c=temperature_c, agm=agm))
    low = "act" if rest < limits.rest_act_v.value else "watch" if rest < limits.rest_watch_v.value else ""
    share, doubt = full_charge_resistance_mohm(1.0, open_v, system_v=system_v, temperature_c=temperature_c, agm=agm)
    measured = inferred.value_mohm[:1, 0]  # nil where the volts do not sag at all
    full, own_se = share * measured, share * np.hypot(inferred.se_mohm[:1, 0], measured * doubt)
    at = np.array([temperature_c])
    value, error = at_reference(full, own_se, at, expected.battery_law, np.array([sd_k]))
    freezes = float(freezing_point_c(gravity_from_charge(soc)))
    ice = float(row["temperature_c"].iloc[0]) <= freezes
    return Charge(
        rest, soc, float(rest - open_v), float(se), low, freezes, ice, float(value[0]), float(error[0]), battery_type,
    )  # fmt: skip


def _aid_a(expected: Expected, temperature_c: float | Floats) -> Floats:
    """Amps that the vehicle's starting aid draws beside the starter at a temperature [°C]."""
    return np.asarray(aid_amps_at(expected.state, temperature_c), dtype=np.float64)


def _limits(
    row: pd.DataFrame, reading: Mapping[str, Any], unit: Mapping[str, Any], expected: Expected, temperature_c: float,
    book: LimitBook,
) -> pd.DataFrame:  # fmt: skip
    """Pass, watch or act of every measured quantity."""
    name = str(unit.get("unit", ""))
    usual = usual_facts(expected, temperature_c)
    warm = usual["usual_warm_a"]
    known = {str(unit["vehicle_class"]): warm} if warm is not None else {}
    kind = pd.DataFrame(
        [{k: unit.get(k) for k in KIND} | {"unit": name}]
    )  # fmt: skip
    own = row.assign(
        unit=name, taken_at=pd.Timestamp(reading.get("taken_at") or "NaT"),
        **{n: np.nan if usual[n] is None else usual[n] for n in ("usual_crank_a", "usual_rpm")},
    )  # fmt: skip
    own["usual_rpm"] /= np.exp(speed_doubt(_number(usual["load_doubt"]), _number(usual["cold_amps_times"])))
    return verdict(own, kind, book, class_crank_a=known)


def _findings(
    row: pd.DataFrame, reading: Mapping[str, Any], unit: Mapping[str, Any], expected: Expected, temperature_c: float,
    limits: Limits, told_c: float = NAN,
) -> list[Finding]:  # fmt: skip
    """What the decision table makes of the reading, with what is usual in the class beside it."""
    facts: dict[str, object] = {str(k): v for k, v in row.iloc[0].to_dict().items()}
    facts |= usual_facts(expected, temperature_c) | {
        "told_c": told_c,
        "cca_a": float(bank_cca_a(pd.DataFrame([unit]))[0]),
    }
    doubtful = [name for name in str(reading.get("doubtful") or "").split(",") if name and name != "odometer_km"]
    coil = _number(reading.get("coil_a"))
    if "coil_a" in doubtful and limits.least_pull_in_a.value <= coil <= limits.highest_pull_in_a.value:
        facts["coil_a"] = coil  # ten times hold-in is what both windings take: no slip, the first moment
        doubtful.remove("coil_a")
    if doubtful:
        facts |= {"doubted": doubtful[0], "doubted_value": reading.get(doubtful[0])}
    facts |= {name: reading.get(name) for name in WORDS} | {"twice": reading.get("confirmed")}
    return locate_segment(facts, limits=limits)


def _told_c(
    row: pd.DataFrame, reading: Mapping[str, Any], unit: Mapping[str, Any], expected: Expected, temperature_c: float,
    limits: Limits, *, noted: bool,
) -> float:  # fmt: skip
    """The temperature [°C] that the whole reading goes with, were the one noted in °F or without its minus; NaN for none. Where
    none was `noted`, the warmest of real cold with which it goes.

    Of degrees above nil only: in real cold a stiff engine looks like still colder air, and °F below nil are below -18 °C.
    A stiffer engine in the air noted must be the worse explanation, and without amps a weak battery looks like the cold.
    """
    if noted and row["crank_a"].isna().all():
        return NAN
    stiff, others = 0.0, list(np.arange(temperature_c, FACTS.coldest_unnoted_c, -FACTS.unnoted_step_k)[1:])
    if noted:
        here = row.assign(aid_a=_aid_a(expected, temperature_c))
        stiff = float(_tested(here, expected, NOISE.temperature_k, frozenset({"crank_a"}))["p_value"])
        others = [float(celsius_from_fahrenheit(temperature_c)), -temperature_c]
    for other in others:
        if not FACTS.coldest_told_c <= other < temperature_c:
            continue
        at = row.assign(temperature_c=other, aid_a=_aid_a(expected, other))
        shown = _shown(expected, other)
        if not (shown > 0.0).all(axis=None):  # no engine would turn
            continue
        told = _closure(at, shown, expected, NOISE.temperature_k, frozenset(), reading.get("outcome"))
        agrees = told.closes and told.p_value > stiff if noted else told.closes or not told.checked
        found = _findings(at, reading, unit, expected, other, limits)
        if agrees and all(one.segment == "none" for one in found):
            return float(other)
    return NAN


def _shown(expected: Expected, temperature_c: float) -> pd.DataFrame:
    """What the meters should show at a temperature [°C], one row."""
    values = np.atleast_2d(predicted_measurements(expected.state, temperature_c, inrush=expected.inrush))
    return pd.DataFrame(values, columns=list(MEASURED))


SHOWN: Final = {"rest_v": "rest_v", "crank_a": "crank_a", "rpm": "crank_rpm", "peak_a": "peak_a", "crank_v": "crank_min_v",
                "drop_positive_v": "drop_positive_v", "drop_ground_v": "drop_ground_v",
                "drop_contacts_v": "drop_contacts_v", "drop_control_v": "drop_control_v"}  # fmt: skip
OWN_DOUBTS: Final = ("battery", "positive", "ground", "contacts", "control")


def usual_facts(expected: Expected, temperature_c: float) -> dict[str, float | None]:
    """What is usual in the class at a temperature [°C], and what the vehicle's own earlier readings make of it where there are
    enough of them, by the names of `analysis.bay.findings.NUMBERS`."""
    warm = float(_shown_by(expected, expected.usual, REFERENCE_C.value)["crank_a"])
    facts = _facts_of("usual", expected.usual, expected, temperature_c)
    if expected.earlier >= FACTS.fewest_own:
        facts |= _facts_of("own", expected.state, expected, temperature_c)
        facts |= {f"{part}_own_doubt": float(np.asarray(getattr(expected.spread, part))) for part in OWN_DOUBTS}
    battery, load = expected.law_doubts(temperature_c)
    return facts | {
        "aid_a": float(_aid_a(expected, temperature_c)), "usual_warm_a": None if "crank_a" in expected.unknown else warm,
        "cold_amps_times": float(_shown_by(expected, expected.usual, temperature_c)["crank_a"]) / warm,
        "battery_doubt": battery, "load_doubt": load,
    }  # fmt: skip


def _shown_by(expected: Expected, state: StartState, temperature_c: float) -> dict[str, float]:
    """What the meters should show at a temperature [°C] of a vehicle in a state, by measurement."""
    shown = np.ravel(predicted_measurements(state, temperature_c, inrush=expected.inrush))
    return dict(zip(MEASURED, map(float, shown), strict=True))


def _facts_of(whose: str, state: StartState, expected: Expected, temperature_c: float) -> dict[str, float | None]:
    """A state's measurements and resistances at a temperature [°C], by the names `<whose>_...`; None where its class has hardly
    been read for them."""
    at, unknown = _shown_by(expected, state, temperature_c), expected.unknown
    facts: dict[str, float | None] = {
        f"{whose}_{name}": None if column in unknown else at[column] for name, column in SHOWN.items()
    }
    if not unknown & {"crank_a", "crank_min_v", "rest_v"}:
        given = at["crank_a"] + float(_aid_a(expected, temperature_c))
        facts[f"{whose}_battery_mohm"] = 1000.0 * (at["rest_v"] - at["crank_min_v"]) / given
    if not unknown & {"crank_a", "peak_a", "crank_min_v", "rest_v"}:
        motor = float(np.ravel(np.asarray(state.motor_mohm))[0])
        facts[f"{whose}_motor_mohm"] = motor * float(copper_factor(temperature_c))
    if not unknown & {"coil_a", "crank_min_v"}:
        coil = float(np.ravel(np.asarray(state.coil_mohm))[0])
        facts[f"{whose}_coil_ohm"] = coil * float(copper_factor(temperature_c)) / 1000.0
    return facts


def resistances_over_time(readings: pd.DataFrame, expected: Expected, *, agm: bool = False) -> pd.DataFrame:
    """Resistances of many readings of one vehicle at 20 °C: taken_at, <element>_mohm, <element>_se_mohm.

    :param readings: columns as in the files, doubtful values are left out; a missing temperature is taken as a workshop's
    """
    values = pd.DataFrame(trusted_values(readings))
    noted = values["temperature_c"].to_numpy(np.float64)
    at = np.where(np.isfinite(noted), noted, NOISE.assumed_c)
    sd = np.where(np.isfinite(noted), NOISE.temperature_k, NOISE.assumed_temperature_k)
    found = infer_resistances(values.assign(aid_a=_aid_a(expected, at), agm=float(agm)), expected.volts)
    usual = predicted_measurements(expected.state, at, inrush=expected.inrush)[:, MEASURED.index("crank_a")]
    found = _told_by_enough(found, values, usual)
    found = _thawed(found, _ice(values, expected, at, agm))
    columns: dict[str, Any] = {"taken_at": readings["taken_at"].to_numpy()}
    for i, element in enumerate(ELEMENTS):
        law = _law_of(element, expected)
        value, se = at_reference(found.value_mohm[:, i], found.se_mohm[:, i], at, law, sd)
        columns |= {f"{element}_mohm": value, f"{element}_se_mohm": se}
    return pd.DataFrame(columns)
