"""What the fleet teaches about a vehicle class: temperature laws, usual values, spreads, scatter of the meters."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.circuit.choices import BATTERY_TABLES, INSTRUMENT, TEMPERATURE
from analysis.circuit.limits import BRUSH_V, COPPER_PER_K
from analysis.circuit.temperature import BATTERY_LAW, drag_law
from analysis.constants import MAD_TO_SD, MEDIAN_SE
from analysis.readings.aid import engine_temperature
from analysis.readings.by_speed import learn_speed, turned_into_batteries
from analysis.readings.choices import CLASSES
from analysis.readings.cold_laws import Law, fitted, log_battery, log_of, told_by_sags, usual_oil
from analysis.readings.lowest import bounds_as_values, taught_by_values, with_bounds
from analysis.readings.observe import (
    BATTERY,
    CHANNELS,
    CONTACTS,
    CONTROL,
    GROUND,
    LOAD,
    MOTOR,
    POSITIVE,
    ClassLaws,
    Observations,
    Raw,
    Slowing,
    back_emf,
    believed,
    cold_factor,
    labelled_mohm,
    raw_quantities,
    reference_values,
    smooth_level,
    standard_errors,
    turning,
    unclamped_amps,
)
from analysis.readings.panel import (
    Bools,
    Floats,
    Ints,
    Panel,
    at_their_mean,
    evenly_of_each_group,
    group_median,
    nearest_known,
    own_median,
    pooled_scatter,
    row_quantile,
)
from analysis.readings.taught import TaughtClass, pooled_usual, unlike

INRUSH_SHARES = np.arange(0.60, 1.01, 0.05)
FIT_READINGS = 24_000
"""Readings of one class, evenly spread over it, that its laws are from: of 600 vehicles at least, as counts the widest row of the
panel. Measured on 10,000 vehicles: from 60,000 usual values lie within a tenth of the spread of sound vehicles, slopes within four
tenths of their own error, for two and a half times the time."""


def estimate_laws(panel: Panel) -> ClassLaws:
    """Class laws from the panel's readings, about FIT_READINGS of each class at most; classes without enough readings
    keep the published priors."""
    panel = at_their_mean(taught_by_values(telling_vehicles(panel)))
    n = len(panel.groups)
    inrush = np.tile([CLASSES.inrush_share, CLASSES.battery_at_inrush], (n, 1))
    told = panel.taught
    chill = [BATTERY_LAW if t is None else t.battery_law(BATTERY_LAW) for t in told]
    oil = [drag_law(grade) for grade in usual_oil(panel)]
    drag = [law if t is None else t.load_law(law) for law, t in zip(oil, told, strict=True)]
    load = (np.array([law.b_per_k for law in drag]), np.array([law.c_per_k2 for law in drag]))
    raw = raw_quantities(panel, load[0], load[1], inrush)
    battery, battery_doubt = fitted(panel, *log_battery(panel, raw), chill)
    engine = engine_temperature(panel.units, panel.measured["temperature_c"])
    load, _ = fitted(panel, log_of(panel.measured["crank_a"]), CLASSES.load_se, drag, engine)
    by_parts, at_inrush = inrush_by_parts(panel, raw)
    by_speed = learn_inrush_share(panel, battery, load, at_inrush)
    inrush = np.tile(
        [combined([by_speed, by_parts], (CLASSES.inrush_share, CLASSES.inrush_share_sd)), at_inrush], (n, 1)
    )
    raw = raw_quantities(panel, load[0], load[1], inrush, ice=raw.ice)
    emf = usual_emf(panel, raw)
    ratio = believed(turning(panel, raw, emf))
    ratio = np.where(np.isfinite(ratio), ratio, 1.0)
    by_amps = learn_speed_share(panel, raw, load, ratio)
    share = np.full(n, combined([by_amps], (CLASSES.speed_share, CLASSES.speed_share_sd)))
    slower = np.log(1.0 - share[0] + share[0] * ratio)
    load, load_doubt = fitted(panel, log_of(panel.measured["crank_a"]) - slower, CLASSES.load_se, drag, engine)
    raw = raw_quantities(panel, load[0], load[1], inrush, ice=raw.ice)
    emf = usual_emf(panel, raw)
    _, base, _ = _usual(panel, raw, battery, load, share, emf, None)
    slowing = Slowing.of_usual(share, emf, base)
    raw = raw_quantities(panel, load[0], load[1], inrush, slowing, raw.ice)
    apart = ((battery, load), (battery_doubt, load_doubt))
    ((battery, load), (battery_doubt, load_doubt), together), before = told_by_sags(panel, raw, *apart), load
    raw = raw if load is before else raw_quantities(panel, load[0], load[1], inrush, slowing, raw.ice)
    value, base, base_sd = _usual(panel, raw, battery, load, share, emf, slowing)
    se = standard_errors(panel, raw, value, (battery, load), (battery_doubt, load_doubt), together)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_rpm = back_emf(raw) / panel.measured["crank_rpm"]
        left = panel.measured["crank_min_v"] - panel.measured["drop_control_v"]
        coil = 1e3 * left / panel.measured["coil_a"] / (1.0 - COPPER_PER_K.value * raw.x)
    usual_coil = group_median(coil, panel.group, n)
    assumed_coil = 1e3 * CLASSES.assumed_coil_v / CLASSES.assumed_coil_a
    laws = ClassLaws(
        battery_per_k=battery[0],
        battery_curve=battery[1],
        load_per_k=load[0],
        load_curve=load[1],
        battery_doubt=battery_doubt,
        load_doubt=load_doubt,
        base=base,
        base_sd=base_sd,
        rest_v=group_median(panel.measured["rest_v"], panel.group, n),
        emf_v=emf,
        speed_share=share,
        emf_per_rpm=group_median(per_rpm, panel.group, n),
        scatter=measured_scatter(panel, value, se),
        coil_mohm=np.where(np.isfinite(usual_coil), usual_coil, assumed_coil),
        inrush=inrush,
        between=together[0],
        lent=together[1],
    )
    return learn_speed(panel, raw, laws)


def _usual(
    panel: Panel, raw: Raw, battery: Law, load: Law, share: Floats, emf: Floats, slowing: Slowing | None
) -> tuple[Floats, Floats, Floats]:
    """Values at 20 degC (7, U, R), what is usual of each class (G, 7), and its spread."""
    value = reference_values(panel, raw, battery, load, share, emf)
    base, base_sd = usual_values(panel, value)
    cold = cold_factor(load[0][panel.group], load[1][panel.group], raw.engine_x)
    if slowing is not None:
        low_v = panel.measured["crank_min_v"] - (raw.rest_v - raw.drive_v)
        cold = cold * slowing.factor(panel.group, raw.x, cold, low_v)
    unclamped = unclamped_amps(panel, raw.x, (raw.rest_v - panel.measured["crank_min_v"]) / cold)
    return value, with_assumed(panel, base, emf, unclamped), base_sd


def telling_vehicles(panel: Panel) -> Panel:
    """The panel of vehicles that class laws are learned from: all, or FIT_READINGS of each class and evenly spread."""
    some = evenly_of_each_group(panel, FIT_READINGS)
    return panel if len(some) == len(panel.units) else panel.of(some)


def usual_emf(panel: Panel, raw: Raw) -> Floats:
    """(G,) usual back-emf while cranking [V], of sound vehicles at mild temperatures."""
    emf = np.where(np.isfinite(raw.x) & (np.abs(raw.x) < CLASSES.mild_k), back_emf(raw), np.nan)
    usual = group_median(row_quantile(emf, CLASSES.sound_emf_quantile), panel.group, len(panel.groups))
    volts = group_median(panel.volts, panel.group, len(panel.groups))
    return np.where(np.isfinite(usual), usual, CLASSES.assumed_emf_share * volts)


def combined(estimates: list[tuple[float, float]], prior: tuple[float, float]) -> float:
    """Mean of estimates and prior (value, standard error), weighted by their precision."""
    all_of_them = [*estimates, prior]
    weight = np.array([1.0 / max(sd, 1e-6) ** 2 for _, sd in all_of_them])
    return float((weight * np.array([value for value, _ in all_of_them])).sum() / weight.sum())


NOTHING_LEARNED = (0.0, 1e6)


def learn_inrush_share(
    panel: Panel, battery: tuple[Floats, Floats], load: tuple[Floats, Floats], at_inrush: float
) -> tuple[float, float]:
    """How much of rest volts over peak amps is loop resistance: chosen so that cranking speed follows back-emf.

    Value and standard error; the error is held up at `inrush_model_sd`, because the model is not exact.
    """
    speed = panel.measured["crank_rpm"]
    told = np.isfinite(speed).sum(axis=1) >= CLASSES.fewest_of_vehicle
    if not told.any():
        return NOTHING_LEARNED
    emf_at, raised = _modelled_emf(panel, battery, load, at_inrush, told)
    measured = log_of(speed[told])
    loss = np.zeros(len(INRUSH_SHARES))
    for i, share in enumerate(INRUSH_SHARES):
        z = np.where(raised, np.nan, measured - log_of(emf_at(float(share))))
        z = z[np.isfinite(z).any(axis=1)]
        z = _from_median(z)
        away = np.abs(z[np.isfinite(z)]) / CLASSES.speed_scatter
        far = CLASSES.speed_robust
        loss[i] = 0.5 * float(np.sum(np.where(away < far, 0.5 * away**2, far * (away - 0.5 * far))))
    weight = np.exp(-(loss - loss.min()))
    weight /= weight.sum()
    value = float((weight * INRUSH_SHARES).sum())
    spread = float(np.sqrt((weight * (INRUSH_SHARES - value) ** 2).sum()))
    return value, max(spread, CLASSES.inrush_model_sd)


def inrush_by_parts(panel: Panel, raw: Raw) -> tuple[tuple[float, float], float]:
    """The same from parts that worsen: what their own drops show, the inrush has to show too.

    raw: made with the prior's shares, which are taken out again.  Returns the loop's share of rest volts over peak
    amps with its standard error, and how much of the battery's steady resistance is there at the inrush: a battery
    polarises within the second, so that part of its resistance comes later.
    """
    battery = nearest_known(raw.battery)
    others = sum(nearest_known(v) for v in (raw.positive, raw.ground, raw.contacts))
    inverse = (raw.loop - (1.0 - CLASSES.battery_at_inrush) * battery) / CLASSES.inrush_share
    all_known = np.isfinite(inverse) & np.isfinite(others) & np.isfinite(battery)
    all_known &= all_known.sum(axis=1)[:, None] >= CLASSES.fewest_whole
    typical = group_median(inverse, panel.group, len(panel.groups))[panel.group][:, None]
    dy, dx, db = (_from_median(np.where(all_known, v, np.nan)) / typical for v in (inverse, others, battery))
    far = np.isfinite(dy) & (np.abs(dx) + np.abs(db) > CLASSES.parts_moved)
    if far.sum() < CLASSES.fewest_readings:
        return NOTHING_LEARNED, CLASSES.battery_at_inrush
    design, y = np.stack([dx[far], db[far]], axis=1), dy[far]
    share, of_battery = CLASSES.inrush_share, CLASSES.battery_at_inrush
    start = np.array([1.0, of_battery]) / share
    precision = np.diag([share**4 / CLASSES.inrush_share_sd**2, (share / CLASSES.battery_at_inrush_sd) ** 2])
    slope: Floats = start
    for _ in range(20):
        residual = y - design @ slope
        scale = max(MAD_TO_SD * float(np.median(np.abs(residual))), 1e-3)
        weight = np.minimum(1.0, CLASSES.robust * scale / np.maximum(np.abs(residual), 1e-9)) ** 2 / scale**2
        information = (design * weight[:, None]).T @ design / CLASSES.parts_inflation + precision
        target = (design * weight[:, None]).T @ y / CLASSES.parts_inflation + precision @ start
        slope = np.asarray(np.linalg.solve(information, target), dtype=np.float64)
    error = float(np.sqrt(np.linalg.inv(information)[0, 0])) / float(slope[0]) ** 2
    least, most = CLASSES.battery_at_inrush_between
    at_inrush = float(np.clip(slope[1] / slope[0], least, most))
    return (1.0 / float(slope[0]), max(error, CLASSES.inrush_model_sd)), at_inrush


def _from_median(values: Floats) -> Floats:
    """Values less their own vehicle's median."""
    return np.asarray(values - own_median(values)[:, None], dtype=np.float64)


def learn_speed_share(panel: Panel, raw: Raw, load: tuple[Floats, Floats], ratio: Floats) -> tuple[float, float]:
    """Share of the load that falls with speed, from amps of vehicles that turn slowly because of a resistance.

    load: a law that was fitted to amps as they are, so that it holds what usual vehicles lose as they turn slower in the cold;
    ratio: (U, R) speed over the usual one at 20 degC.  What is slower than others as cold tells, vehicle by vehicle: amps over
    those of the law are (1 - s + s ratio) / (1 - s + s usual ratio).  Readings are chosen by those before and after them, as an
    error of their own amps makes them look slow and their load high.
    """
    law = cold_factor(load[0][panel.group], load[1][panel.group], raw.engine_x)
    usual = _usual_as_cold(panel, raw, ratio)
    amps, turns = panel.measured["crank_a"] / law, np.where(np.isfinite(raw.loop), ratio / usual, np.nan)
    fast = np.where(np.abs(turns - 1.0) < CLASSES.usual_turn, amps, np.nan)
    own = own_median(fast)
    relative = amps / np.where(own > 0, own, np.nan)[:, None]
    known, beside = np.isfinite(turns), nearest_known(turns)
    beside = 0.5 * (np.roll(beside, 1, axis=1) + np.roll(beside, -1, axis=1))
    slow = known & (known.cumsum(axis=1) > 1) & np.isfinite(relative) & (beside < CLASSES.slow_below)
    least, most = CLASSES.slow_amps
    slow &= (relative < most) & (relative > least)
    slow[:, -1:] = False
    if slow.sum() < CLASSES.fewest_readings:
        return NOTHING_LEARNED
    lost, slower = (
        np.where(slow, each, 0.0).sum(axis=1)[slow.any(axis=1)]
        for each in (1.0 - relative, (1.0 - ratio) - relative * (1.0 - usual))
    )
    vehicles = lost / np.where(slower == 0.0, 1e-9, slower)
    share = float(np.median(vehicles))
    spread = MAD_TO_SD * float(np.median(np.abs(vehicles - share)))
    return share, max(MEDIAN_SE * spread / float(np.sqrt(len(vehicles))), CLASSES.speed_share_least_sd)


def _usual_as_cold(panel: Panel, raw: Raw, values: Floats) -> Floats:
    """(U, R) medians of the readings of a vehicle's class that lie within the same `shared_k` as its own."""
    step = np.where(np.isfinite(raw.x), np.floor(raw.x / TEMPERATURE.shared_k), 0.0)
    alike = pd.DataFrame({"group": np.repeat(panel.group, step.shape[1]), "step": step.ravel()})
    known = alike.assign(value=np.where(panel.present, values, np.nan).ravel())
    return np.asarray(known.groupby(["group", "step"])["value"].transform("median"), np.float64).reshape(step.shape)


def _modelled_emf(
    panel: Panel, battery: tuple[Floats, Floats], load: tuple[Floats, Floats], at_inrush: float, rows: Bools
) -> tuple[Callable[[float], Floats], Bools]:
    """Back-emf (V, R) of some vehicles from smoothed resistances, for any inrush share, and where their load is raised (field or
    drag unclear).  Only the motor's resistance goes with the share, and along a straight line."""
    n = len(panel.groups)
    raw = raw_quantities(panel, load[0], load[1], np.tile([0.0, at_inrush], (n, 1)))
    whole = raw_quantities(panel, load[0], load[1], np.tile([1.0, at_inrush], (n, 1)), ice=raw.ice)
    value = reference_values(panel, raw, battery, load, np.zeros(n), None)
    usual = group_median(smooth_level(value[LOAD:CONTROL])[0], panel.group, n)[panel.group[rows]][:, None]
    level, x, drive_v, group = smooth_level(value[:, rows]), raw.x[rows], raw.drive_v[rows], panel.group[rows]
    copper = 1.0 - COPPER_PER_K.value * x
    cold = cold_factor(battery[0][group], battery[1][group], x)
    others = level[BATTERY] * cold + (level[POSITIVE] + level[GROUND]) * copper + level[CONTACTS]
    motor, per_share = value[MOTOR, rows], (whole.loop - raw.loop)[rows] / copper

    def emf(share: float) -> Floats:
        loop = others + smooth_level((motor + share * per_share)[None])[0] * copper
        return np.asarray(
            np.maximum(drive_v - raw.amps[rows] * loop / 1e3, CLASSES.least_loop_share * drive_v), dtype=np.float64
        )

    return emf, level[LOAD] > CLASSES.raised_load * usual


def usual_values(panel: Panel, value: Floats) -> tuple[Floats, Floats]:
    """(G, 7) usual value and relative spread between sound vehicles, from every vehicle's lower readings."""
    n = len(panel.groups)
    base = np.full((n, len(CHANNELS)), np.nan)
    spread = np.tile(CLASSES.base_sd, (n, 1))
    low = row_quantile(value, CLASSES.low_quantile)
    for g in range(n):
        for c in range(len(CHANNELS)):
            mine = low[c, panel.group == g]
            mine = mine[mine > 0.0]  # a few readings at odds with each other may make a resistance below nil
            told = panel.taught[g]
            sound = CLASSES.base_sd[c] if told is None or np.isnan(told.usual_spread[c]) else told.usual_spread[c]
            if len(mine):
                middle = np.median(mine)
                below = MAD_TO_SD * np.median(np.abs(mine[mine <= middle] - middle)) / abs(middle)
                pooled = (len(mine) * below + CLASSES.prior_vehicles * sound) / (len(mine) + CLASSES.prior_vehicles)
                base[g, c], spread[g, c] = middle, np.clip(pooled, CLASSES.least_spread, CLASSES.most_spread)
            base[g, c], spread[g, c] = pooled_usual(told, c, base[g, c], spread[g, c], len(mine))
    return base, spread


def with_assumed(panel: Panel, base: Floats, emf: Floats, unclamped: Floats) -> Floats:
    """Usual values with what the class never read filled in, so that the rest can still be judged.

    The battery by the cold-cranking amps on its label where they are known, amps, drops and other batteries by common
    practice; the motor from the back-emf that a sound vehicle usually has.  unclamped: (G,) of :func:`unclamped_amps`.
    """
    out = base.copy()
    volts = group_median(panel.volts, panel.group, len(panel.groups))
    blocks = volts / 12.0
    amps = np.where(np.isfinite(out[:, LOAD]), out[:, LOAD], unclamped)
    rest = group_median(panel.measured["rest_v"], panel.group, len(panel.groups))
    rest = np.where(np.isfinite(rest), rest, BATTERY_TABLES.full_rest_v * blocks)
    label = group_median(labelled_mohm(panel), panel.group, len(panel.groups)) / 1e3
    outside = {
        BATTERY: np.where(np.isfinite(label), label, CLASSES.assumed_battery_v / amps * blocks),
        POSITIVE: INSTRUMENT.assumed_drop_v / amps * blocks,
        GROUND: INSTRUMENT.assumed_drop_v / amps * blocks,
        CONTACTS: CLASSES.contacts_drop_times * INSTRUMENT.assumed_drop_v / amps * blocks,
        CONTROL: CLASSES.assumed_control_v / CLASSES.assumed_coil_a * blocks,
    }
    for channel, ohms in outside.items():
        out[:, channel] = np.where(np.isfinite(out[:, channel]), out[:, channel], 1e3 * ohms)
    out[:, LOAD] = amps
    loop = 1e3 * np.maximum(rest - BRUSH_V.value * blocks - emf, CLASSES.least_loop_share * rest) / amps
    motor = np.maximum(
        loop - out[:, [BATTERY, POSITIVE, GROUND, CONTACTS]].sum(axis=1), CLASSES.least_motor_share * loop
    )
    out[:, MOTOR] = np.where(np.isfinite(out[:, MOTOR]), out[:, MOTOR], motor)
    return out


def measured_scatter(panel: Panel, value: Floats, se: Floats) -> Floats:
    """(G, 7) scatter of readings about their neighbours in time, as a multiple of the stated error."""
    out = np.ones((len(panel.groups), len(CHANNELS)))
    if value.shape[2] < 3:
        return out
    with np.errstate(divide="ignore", invalid="ignore"):
        away = value[..., 1:-1] - 0.5 * (value[..., :-2] + value[..., 2:])
        error = np.sqrt(se[..., 1:-1] ** 2 + 0.25 * (se[..., :-2] ** 2 + se[..., 2:] ** 2))
        z = away / error
    for g in range(len(panel.groups)):
        for c in range(len(CHANNELS)):
            mine = z[c, panel.group == g]
            if np.isfinite(mine).any():
                scatter = pooled_scatter(mine, 1.0, CLASSES.scatter_readings)
                out[g, c] = np.clip(scatter, CLASSES.least_scatter, CLASSES.most_scatter)
    return out


def observe(panel: Panel, laws: ClassLaws) -> Observations:
    """Every reading as multiples of the class-usual values at 20 degC, each with its standard error."""
    raw, value, se = _multiples(panel, laws)
    bound = np.asarray(np.isfinite(panel.measured["crank_at_most_v"]).any(axis=1), dtype=bool)
    at_least = None
    if bound.any():
        _, least, least_se = _multiples(bounds_as_values(panel, bound), laws)
        at_least = np.where(np.isnan(value[BATTERY]), least[BATTERY], np.nan)
        own, own_se, low, low_se = (each[BATTERY, bound] for each in (value, se, least, least_se))
        spread = laws.base_sd[panel.group[bound], BATTERY]
        value[BATTERY, bound], se[BATTERY, bound] = with_bounds(own, own_se, low, low_se, panel.day[bound], spread)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_rpm = back_emf(raw) / panel.measured["crank_rpm"]
    observed = Observations(value, se, laws, raw.rest_v, per_rpm, at_least)
    return observed if laws.speed is None else turned_into_batteries(panel, raw, observed)


def _multiples(panel: Panel, laws: ClassLaws) -> tuple[Raw, Floats, Floats]:
    """Raw quantities, and the seven numbers as multiples of the class-usual values with their errors (7, U, R)."""
    raw = raw_quantities(panel, laws.load_per_k, laws.load_curve, laws.inrush, laws.slowing)
    battery, load = (laws.battery_per_k, laws.battery_curve), (laws.load_per_k, laws.load_curve)
    value = reference_values(panel, raw, battery, load, laws.speed_share, laws.emf_v)
    doubts, together = (laws.battery_doubt, laws.load_doubt), (laws.between, laws.lent)
    se = standard_errors(panel, raw, value, (battery, load), doubts, together)
    usual = laws.base[panel.group].T[:, :, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        return raw, value / usual, se * laws.scatter[panel.group].T[:, :, None] / usual


def fitting(panel: Panel, taught: tuple[TaughtClass, ...]) -> list[tuple[TaughtClass, bool]]:
    """Those of the taught classes that the panel has, and whether its own readings are near enough to what they say.

    panel: made without what another fleet taught.
    """
    laws = estimate_laws(panel)
    read = vehicles_read(panel, observe(panel, laws))
    place = {name: g for g, name in enumerate(panel.groups)}
    here = [(one, place[one.name]) for one in taught if one.name in place]
    return [(one, not unlike(one, laws.base[g], laws.base_sd[g], read[g].tolist())) for one, g in here]


def vehicles_read(panel: Panel, observed: Observations) -> Ints:
    """(G, 7) vehicles of each class of which each channel was ever read in volts or amps."""
    some: Bools = np.any(np.isfinite(observed.by_meters().value), axis=2)
    return np.stack([some[:, panel.group == g].sum(axis=1) for g in range(len(panel.groups))])
