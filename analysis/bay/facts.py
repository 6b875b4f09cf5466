"""What follows from measurements before they are judged: drops at usual amps, multiples of what is usual, ohms.

Amps, speed and volts are held against what the class shows at the same temperature, and a drop against its limit at the
amps that the class takes in the warm, so that a cold morning blames no cable and a weak battery excuses none.
"""

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.bay.choices import BOUNDARIES, FACTS
from analysis.circuit.battery import held_at_half_rating_v, least_cranking_v, load_test_minimum_v, open_circuit
from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import BRUSH_V, FEWEST_CRANK_A, Limits
from analysis.readings.outcomes import UNTURNED

Facts = Mapping[str, float | str]

NAN: Final = float("nan")
DROPS: Final = {"positive": "drop_positive_v", "ground": "drop_ground_v", "contacts": "drop_contacts_v"}
DROP_LIMITS: Final = {"positive": "positive_cable_drop_v", "ground": "ground_path_drop_v",
                      "contacts": "solenoid_contacts_drop_v"}  # fmt: skip


def number(facts: Facts, name: str) -> float:
    """A measured number, NaN where there is none."""
    value = facts.get(name, NAN)
    return float(value) if not isinstance(value, str) else NAN


def with_derived(facts: Facts, limits: Limits) -> dict[str, float | str]:
    """The facts with everything that follows from them; what cannot be worked out is left out.

    :param facts: measurements, and beside them what is usual at the reading's temperature: usual_crank_a, usual_rpm,
        usual_peak_a, usual_crank_v, usual_drop_*_v, usual_battery_mohm, usual_motor_mohm,
        usual_coil_ohm, and usual_warm_a at 20 °C
    """
    out: dict[str, float | str] = dict(facts)
    for work in (
        _battery,
        _told_amps,
        _borne_out,
        _multiples,
        _curve,
        _speed_tells,
        _denied,
        _drops,
        _dip,
        _control,
        _own,
        _loaded,
        _start,
    ):
        out.update({name: value for name, value in work(out, limits).items() if not math.isnan(value)})
    drops = [name for name in DROPS.values() if name in facts]
    return out | {"largest_drop": max(drops, key=lambda name: number(facts, name), default="")}


def _over(value: float, usual: float) -> float:
    return value / usual if usual > 0 else NAN


def _battery(facts: Facts, limits: Limits) -> dict[str, float]:
    """Its resistance, what it would hold at half its label's amps, and the rest volts that cranking tells of: all by the
    amps that it gave, those of glow plugs or an intake heater with them."""
    rest, low, usual = (number(facts, n) for n in ("rest_v", "crank_min_v", "usual_battery_mohm"))
    cca = number(facts, "cca_a")
    rated = cca if cca > 0 else limits.assumed_cca_a.value
    load = under_load(
        rest, low, number(facts, "crank_a"), number(facts, "aid_a"), usual_a=number(facts, "usual_crank_a"), cca_a=rated,
        system_v=limits.system_v, agm=number(facts, "agm") == 1.0,
    )  # fmt: skip
    given, mohm = float(load.given_a), float(load.battery_mohm)
    before, doubt = number(facts, "own_battery_mohm"), number(facts, "battery_own_doubt")
    before, doubt = (usual, FACTS.sag_doubt) if math.isnan(before) else (before, doubt)
    told = low + given * before / 1000.0
    air_c = number(facts, "temperature_c")
    table = float(load_test_minimum_v(air_c, system_v=limits.system_v))
    return {
        "enough_a": float(enough_a(number(facts, "usual_crank_a"))), "half_cca_a": 0.5 * rated,
        "battery_mohm": mohm, "battery_times": _over(mohm, usual),
        "half_cca_v": float(load.half_cca_v),
        "load_test_v": table,
        "least_here_v": float(least_cranking_v(limits.least_cranking_battery_v.value, air_c)),
        "dip_told_v": rest - FACTS.early_battery * mohm * number(facts, "peak_a") / 1000.0,
        "least_dip_v": BOUNDARIES.least_dip_v * limits.system_v / 12.0,
        "fell_v": rest - low,
        "open_told_v": told, "rest_told_more_v": told - rest - doubt * given * before / 1000.0,
    }  # fmt: skip


class UnderLoad(NamedTuple):
    """Batteries as they were cranked on: amps given to starter and aid, resistance [mΩ], volts held at half their label's amps."""

    given_a: npt.NDArray[np.float64]
    battery_mohm: npt.NDArray[np.float64]
    half_cca_v: npt.NDArray[np.float64]


def under_load(
    rest_v: npt.ArrayLike, low_v: npt.ArrayLike, amps: npt.ArrayLike, aid_a: npt.ArrayLike, *, usual_a: npt.ArrayLike,
    cca_a: npt.ArrayLike, system_v: int, agm: bool,
) -> UnderLoad:  # fmt: skip
    """What a start tells of the battery; no resistance where fewer amps flow than `enough_a` of the usual ones."""
    open_v, _ = open_circuit(rest_v, system_v=system_v, agm=agm)
    given = np.asarray(amps, dtype=np.float64) + np.nan_to_num(np.asarray(aid_a, dtype=np.float64))
    flowing = np.where(np.asarray(amps) >= enough_a(usual_a), given, NAN)
    held = held_at_half_rating_v(open_v, low_v, flowing, cca_a)
    return UnderLoad(given, 1000.0 * (open_v - np.asarray(low_v)) / flowing, held)


def _told_amps(facts: Facts, limits: Limits) -> dict[str, float]:
    """Amps that sag and drops tell of, were every part as usual: where they agree, the clamp is what differs."""
    amps, usual = number(facts, "crank_a"), number(facts, "usual_crank_a")
    if not amps >= FACTS.flowing_share / 2.0 * usual:
        return {}
    told = [_over(number(facts, name), number(facts, f"usual_{name}")) * usual for name in DROPS.values()]
    if not number(facts, "rest_v") < limits.rest_act_v.value:  # a discharged battery sags more at the same amps
        told.append(_over(number(facts, "battery_mohm"), number(facts, "usual_battery_mohm")) * amps)
    told = [one for one in told if one > 0]
    if not told or max(told) > FACTS.agree_within * min(told):
        return {}
    middle = float(np.median(told))
    turned = facts.get("outcome") not in ("no_click", "click", "chatter")
    if len(told) < FACTS.fewest_telling and not (turned and abs(middle / usual - 1.0) <= FACTS.as_usual):
        return {}
    differs = max(middle / amps, amps / middle) >= BOUNDARIES.two_cables_least
    return {"told_a": middle, "told_times": middle / amps, "trusted_a": middle if differs else amps}


def _borne_out(facts: Facts, _limits: Limits) -> dict[str, float]:
    """Amps that the drops alone tell of, over the clamp's, were cables and contacts as usual: two or more that agree."""
    amps, usual = number(facts, "crank_a"), number(facts, "usual_crank_a")
    told = [_over(number(facts, name), number(facts, f"usual_{name}")) * usual for name in DROPS.values()]
    told = [one for one in told if one > 0]
    if len(told) < FACTS.fewest_dropping or max(told) > FACTS.agree_within * min(told):
        return {}
    return {"drops_told_times": _over(float(np.median(told)), amps)}


def _multiples(facts: Facts, limits: Limits) -> dict[str, float]:
    """Amps, speed and inrush as multiples of what is usual at this temperature."""
    pairs = {"amps_times": ("crank_a", "usual_crank_a"), "speed_times": ("crank_rpm", "usual_rpm"),
             "peak_times": ("peak_a", "usual_peak_a")}  # fmt: skip
    stall = max(number(facts, "usual_peak_a"), number(facts, "peak_a"), key=lambda v: -math.inf if math.isnan(v) else v)
    out = {name: _over(number(facts, value), number(facts, usual)) for name, (value, usual) in pairs.items()}
    colder = number(facts, "cold_amps_times")
    highest = limits.highest_cranking_a.value * (colder if colder > 1.0 else 1.0)
    out["speed_doubt"] = speed_doubt(number(facts, "load_doubt"), colder)
    return out | {"stall_share": _over(number(facts, "crank_a"), stall), "highest_here_a": highest}


def speed_doubt(load_doubt: float, cold_amps_times: float) -> float:
    """Relative doubt of the usual speed: that of the load, and of all that the cold slows at once."""
    in_cold = FACTS.speed_in_cold * math.log(cold_amps_times) if cold_amps_times > 1.0 else 0.0
    return float(np.hypot(np.nan_to_num(load_doubt), in_cold))


def _curve(facts: Facts, _limits: Limits) -> dict[str, float]:
    """:func:`_on_curve` of a usual motor, and of the vehicle's own by its earlier readings."""
    own = _on_curve(facts, "own")
    return _on_curve(facts, "usual") | {f"own_{name}": value for name, value in own.items()}


def _on_curve(facts: Facts, whose: str) -> dict[str, float]:
    """Speed over the speed to which these volts and amps turn a motor: back-emf over flux.

    The flux of a series-wound motor rises with its amps, that of a permanent magnet does not: `curve_most` is the larger
    of the two ratios, `curve_least` the smaller.
    """
    motor = number(facts, f"{whose}_motor_mohm") / 1000.0

    def back_emf(volts: float, amps: float, lost: float) -> float:
        return volts - lost - BRUSH_V.value - amps * motor

    amps, usual_a = number(facts, "trusted_a"), number(facts, f"{whose}_crank_a")
    amps = number(facts, "crank_a") if math.isnan(amps) else amps
    usual_lost = sum(number(facts, f"{whose}_{name}") for name in DROPS.values())
    lost = 0.0
    for name in DROPS.values():
        read, usual = number(facts, name), number(facts, f"{whose}_{name}")
        lost += usual * _over(amps, usual_a) if math.isnan(read) else read
    now = back_emf(number(facts, "crank_min_v"), amps, lost)
    then = back_emf(number(facts, f"{whose}_crank_v"), usual_a, usual_lost)
    if not (then > 0 and amps > 0):
        return {}
    if now <= 0:  # nothing is left that could turn the motor
        turned = number(facts, "crank_rpm") > BOUNDARIES.stands_rpm
        return {"curve_most": math.inf, "curve_least": math.inf} if turned else {}
    constant = _over(_over(number(facts, "crank_rpm"), number(facts, f"{whose}_rpm")), now / then)
    flux = _flux(amps, usual_a) / _flux(usual_a, usual_a)
    return {"curve_most": max(constant, constant * flux), "curve_least": min(constant, constant * flux)}


def _speed_tells(facts: Facts, _limits: Limits) -> dict[str, float]:
    """Where volts are low and nobody measured amps: speed over that of a weak battery at usual amps, and over that of a usual battery
    whose sag means more amps, both by the usual motor as a permanent magnet, on which more amps cost the least speed."""
    low, usual_a, then = (number(facts, name) for name in ("crank_min_v", "usual_crank_a", "usual_crank_v"))
    more = _over(number(facts, "rest_v") - low, usual_a * number(facts, "usual_battery_mohm") / 1000.0)
    lost = (
        sum(number(facts, f"usual_{name}") for name in DROPS.values())
        + usual_a * number(facts, "usual_motor_mohm") / 1000.0
    )
    usual = then - BRUSH_V.value - lost
    by_battery = _over(low - BRUSH_V.value - lost, usual)
    by_load = _over(max(low - BRUSH_V.value - lost * more, FACTS.stalled_share * usual), usual)
    speed = number(facts, "speed_times")
    return {
        "speed_of_weak_battery": _over(speed, by_battery), "speed_of_more_amps": _over(speed, by_load),
        "speeds_apart": _over(by_battery, by_load),
    }  # fmt: skip


def _denied(facts: Facts, _limits: Limits) -> dict[str, float]:
    """How far speed and inrush deny the volts read: speed over that of these volts, times the inrush over that of a battery of the
    resistance read, all else being usual; one of the two is enough."""
    usual_a, more_mohm = (
        number(facts, "usual_peak_a"),
        number(facts, "battery_mohm") - number(facts, "usual_battery_mohm"),
    )
    usual_mohm = _over(1000.0 * (number(facts, "rest_v") - BRUSH_V.value), usual_a)
    inrush = number(facts, "peak_times") * (1.0 + FACTS.early_battery * _over(more_mohm, usual_mohm))
    known = [one for one in (number(facts, "curve_least"), inrush) if not math.isnan(one)]
    return {"volts_denied": math.prod(known) if known else NAN}


def _flux(amps: float, usual_a: float) -> float:
    """Flux of a series-wound motor, as a share of its most: it saturates near the amps that it usually takes."""
    return amps / (amps + FACTS.saturates_at * usual_a)


def _drops(facts: Facts, limits: Limits) -> dict[str, float]:
    """Every drop as it would be at the class's usual amps in the warm, and as a multiple of its limit; as it was read where
    nobody knows what is usual, less what the cold alone adds to the amps, or at the most that any sound engine takes."""
    amps, warm, cold = (number(facts, n) for n in ("trusted_a", "usual_warm_a", "usual_crank_a"))
    amps = number(facts, "crank_a") if math.isnan(amps) else amps
    usual = warm if warm > 0 else cold
    colder = number(facts, "cold_amps_times")
    if facts.get("outcome") in UNTURNED and math.isnan(amps):
        share = 1.0  # of a start at which nothing turned nobody knows the amps
    elif usual > 0:
        share = float(at_usual_share(amps, usual, cold))
    else:
        most_a = limits.highest_cranking_a.value  # nobody knows the usual amps: no sound engine takes more
        share = min(1.0 / colder if colder > 1.0 else 1.0, most_a / amps if amps > most_a else 1.0)
    battery = number(facts, "rest_v")
    most = battery if battery > 0 else float(limits.system_v)
    out = {
        "judged_at_a": usual,
        "largest_drop_v": max((number(facts, n) for n in DROPS.values() if n in facts), default=NAN),
    }
    for part, name in DROPS.items():
        read = number(facts, name)
        out[f"{part}_at_usual_v"] = min(read * share, max(most, read)) if not math.isnan(read) else NAN
        out[f"{part}_size"] = out[f"{part}_at_usual_v"] / float(getattr(limits, DROP_LIMITS[part]))
    shares = [
        _over(out[f"{part}_at_usual_v"], number(facts, f"usual_{name}") * _over(usual, cold))
        for part, name in DROPS.items()
    ]
    known = [one for one in shares if not math.isnan(one)]
    return out | {"dropped_share": max(known) if len(known) >= FACTS.fewest_dropping else NAN}


def enough_a(usual_a: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Amps from which volts make a resistance [A]; `usual_a`: what is usual, NaN where nobody knows: then of the smallest."""
    return np.maximum(FEWEST_CRANK_A.value, FACTS.flowing_share * np.nan_to_num(usual_a, nan=FACTS.smallest_a))


def at_usual_share(amps: npt.ArrayLike, usual_a: float, usual_here_a: npt.ArrayLike = NAN) -> npt.NDArray[np.float64]:
    """What drops at `amps` are multiplied by to be those at the usual amps in the warm; those usual at this temperature
    stand for amps that nobody measured, and hardly any amps make no resistance; 1 where nobody knows what is usual."""
    here = np.where(np.isnan(amps), usual_here_a, amps)
    return np.divide(usual_a, here, out=np.ones_like(here), where=here >= FACTS.flowing_share * usual_a)


def _dip(facts: Facts, limits: Limits) -> dict[str, float]:
    """How much of the fall to the lowest volts the inrush alone makes through a usual battery: one for the dip."""
    rest, low, dip = (number(facts, n) for n in ("rest_v", "crank_min_v", "crank_dip_v"))
    peak = number(facts, "peak_a")
    peak = number(facts, "usual_peak_a") if math.isnan(peak) else peak
    fall = peak * number(facts, "usual_battery_mohm") / 1000.0
    known = [v for v in (dip, low) if not math.isnan(v)]
    return {
        "dip_share": _over(rest - low, fall), "low_under_usual_v": number(facts, "usual_crank_v") - low,
        "low_times": _over(low, number(facts, "usual_crank_v")),
        "lowest_v": min(known, default=NAN), "low_share": _over(low, rest), "lowest_share": _over(min(known, default=NAN), rest),
        "blocks": limits.system_v / 12.0, "clear_fall_v": FACTS.clear_fall_v * limits.system_v / 12.0,
        "felt_drop_v": FACTS.felt_drop_v * limits.system_v / 12.0,
        "lost_charge_v": BOUNDARIES.lost_charge_v * limits.system_v / 12.0, "clamp_doubt": FACTS.clamp_doubt,
    }  # fmt: skip


def _control(facts: Facts, limits: Limits) -> dict[str, float]:
    """Volts that reach the solenoid as it pulls in and as the battery dips, and what the feed terminal lacks."""
    rest, lost, feed = (number(facts, n) for n in ("rest_v", "drop_control_v", "feed_v"))
    at_rest = rest if rest > 0 else float(limits.system_v)
    while_on = min(
        v for v in (at_rest, number(facts, "crank_min_v"), number(facts, "crank_dip_v")) if not math.isnan(v)
    )
    return {
        "battery_now_v": at_rest, "solenoid_v": at_rest - lost, "held_v": number(facts, "lowest_v") - lost,
        "feed_share": feed / at_rest, "charging_share": number(facts, "charging_v") / at_rest, "feed_lacks_v": while_on - feed,
        "least_both_a": _least_both_a(number(facts, "usual_coil_ohm"), limits),
        "pull_in_full_a": float(at_charged_volts(number(facts, "pull_in_a"), rest, limits)),
        "control_size": lost / limits.control_circuit_drop_v.value,
        "charged_least_v": at_rest + BOUNDARIES.charged_over_rest_v * limits.system_v / 12.0,
        "charging_most_v": float(charging_most_v(number(facts, "temperature_c"), limits)),
    }  # fmt: skip


def _least_both_a(hold_in_ohm: float, limits: Limits) -> float:
    """Least amps of both windings [A], fewer where the vehicle's own hold-in winding is small: its pull-in winding is, too."""
    own = BOUNDARIES.both_over_hold_in * limits.rest_watch_v.value / hold_in_ohm if hold_in_ohm > 0 else math.inf
    return min(limits.least_pull_in_a.value, own)


def at_charged_volts(amps: npt.ArrayLike, rest_v: npt.ArrayLike, limits: Limits) -> npt.NDArray[np.float64]:
    """Amps of a winding as they were at the rest volts of a charged battery; as read where no rest volts were."""
    at = np.where(np.asarray(rest_v) > 0, rest_v, limits.rest_watch_v.value)
    return np.asarray(np.asarray(amps) * limits.rest_watch_v.value / at, dtype=np.float64)


def charging_most_v(temperature_c: npt.ArrayLike, limits: Limits) -> npt.NDArray[np.float64]:
    """Most volts of a sound regulator [V], more in the cold; the printed ones where nobody noted the air."""
    colder = np.maximum(BATTERY_TABLES.warm_c - np.nan_to_num(temperature_c, nan=BATTERY_TABLES.warm_c), 0.0)
    most = limits.highest_charging_v.value + FACTS.charging_per_k * colder * limits.system_v / 12.0
    return np.asarray(most, dtype=np.float64)


def _own(facts: Facts, _limits: Limits) -> dict[str, float]:
    """Multiples of what the vehicle's own earlier readings make each value, drops at the amps that were read; what it rests lower."""
    amps = number(facts, "trusted_a")
    amps = number(facts, "crank_a") if math.isnan(amps) else amps
    share = _over(amps, number(facts, "own_crank_a"))
    out = {
        f"{part}_own_times": _over(
            number(facts, name), number(facts, f"own_{name}") * (1.0 if math.isnan(share) else share)
        )
        for part, name in DROPS.items()
    }
    pairs = {"control": ("drop_control_v", "own_drop_control_v"), "speed": ("crank_rpm", "own_rpm"),
             "peak": ("peak_a", "own_peak_a"), "amps": ("crank_a", "own_crank_a")}  # fmt: skip
    out |= {f"{name}_own_times": _over(number(facts, read), number(facts, own)) for name, (read, own) in pairs.items()}
    out["motor_own_times"] = number(facts, "own_curve_most") * out["peak_own_times"]
    out |= {f"{part}_read_v": number(facts, name) for part, name in (*DROPS.items(), ("control", "drop_control_v"))}
    return out | {"rest_fell_v": number(facts, "own_rest_v") - number(facts, "rest_v")}


def _loaded(facts: Facts, _limits: Limits) -> dict[str, float]:
    """Ohms of a loaded check: volts left, times the load, over the volts that the load takes."""
    load, battery = number(facts, "tester_load_ohm"), number(facts, "battery_now_v")

    def ohms(name: str) -> float:
        left = number(facts, name)
        return left * load / (battery - left) if battery - left > 0 else NAN

    found = {
        "control_ohm": ohms("control_loaded_v"),
        "coil_ohm": ohms("coil_loaded_v"),
        "alone_ohm": ohms("coil_alone_v"),
    }
    found["wire_ohm"] = found["control_ohm"] - found["coil_ohm"]
    known = [v for v in (found["alone_ohm"], found["coil_ohm"], found["control_ohm"]) if not math.isnan(v)]
    return found | {"winding_ohm": known[0] if known else NAN}


def _start(facts: Facts, limits: Limits) -> dict[str, float]:
    """1 where the engine was turned as it usually is (by speed, else by amps and volts), 0 where not."""
    speed, rpm = number(facts, "speed_times"), number(facts, "crank_rpm")
    if not math.isnan(speed):
        return {"cranked_well": float(speed >= limits.slow_share.value)}
    if not math.isnan(rpm):
        return {"cranked_well": float(rpm >= limits.least_cranking_rpm.value / limits.watch_share.value)}
    times, under = number(facts, "amps_times"), number(facts, "low_under_usual_v")
    if math.isnan(times):
        return {}
    usual = limits.low_amps_share.value < times < limits.high_amps_share.value
    return {"cranked_well": float(usual and not under > limits.load_test_margin_v.value * 2.0)}
