"""What the fleet's own no-starts teach: least cranking speed, supply and coil volts of every class.

Every six weeks of the past is looked at with the eyes of that day: the state of each vehicle from what was then known,
and the probability of a no-start in the following six weeks for every combination of needs on a grid.  What really
happened gives each combination its likelihood; with a published prior that is a posterior.
"""

from __future__ import annotations

from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.lows import make_weather
from analysis.panel import FleetTables, Floats, Panel, Reals, days_since_epoch
from analysis.start import Curves, crossing, start_curves, start_state, stretched, usual_speed
from analysis.state import PRIOR_COIL_V, PRIOR_SUPPLY_V, FleetState, estimate_state, least_speed_prior

SPAN_D = 42  # days between looks at the past, and the window each looks ahead; our choice
LOOKS = 18  # about two years of them, our choice
DRAWS = 8
UNITS_LOOKED_AT = 600  # a fixed sample is enough to learn class needs from, our choice
SURVIVAL_D = 60  # days before a look in which the vehicle is known to have started, our choice
SPEED_STEPS = np.arange(-2.4, 2.01, 0.55)  # grid around the prior, in its standard deviations
SUPPLY_STEPS = np.arange(-1.8, 1.81, 0.9)
COIL_STEPS = np.arange(-1.8, 1.81, 0.9)
STRETCHES = np.array([0.6, 0.72, 0.84, 0.96, 1.08, 1.2])  # how far the extrapolation to the cold holds, see start.py
STRETCH_PRIOR = (0.85, 0.2)  # mean and sd; our choice: cold laws bend upward more often than downward
SPEED_SCATTER = 0.04  # needs differ between vehicles of a class: of the usual speed; our choice
SUPPLY_SCATTER_V = 0.25
COIL_SCATTER_V = 0.20
MORNING_SD_K = 1.0  # a start differs from morning to morning by about this much, our choice
CALIBRATION_SD = (0.25, 0.15)  # prior spread of offset and slope, our choice
CALIBRATION_LOOKS = 9  # the latest looks, about a year: early ones saw too few readings; our choice
LEAST_PROBABILITY = 0.002  # probabilities are calibrated between this and one less it, our choice
RECORDED_SHARE = 0.88  # share of no-starts that are recorded with their date, our choice
UNFORESEEN = 0.003  # no-starts that no reading foretells, per look; our choice


Starts: TypeAlias = Reals


@dataclass(frozen=True)
class Look:
    """One look at the past: probability (X, S, V, C, U) of a no-start in the window."""

    day: float
    units: npt.NDArray[np.object_]
    group: npt.NDArray[np.int64]
    probability: Reals


@dataclass(frozen=True)
class LearnedNeeds:
    """What was learned; see the fields.

    needs: (G, 3) speed [rpm], supply and coil [V per 12 V]; se: (G, 3); stretch: share of the extrapolation to the
    cold that holds, one for the fleet; offset, slope: calibration, logit p' = offset + slope * logit p; no_starts,
    looks: (G,) what it rests on.
    """

    needs: Floats
    se: Floats
    stretch: float
    stretch_se: float
    offset: float
    slope: float
    no_starts: npt.NDArray[np.int64]
    looks: npt.NDArray[np.int64]


def need_grids(panel: Panel) -> tuple[Floats, Floats, Floats]:
    """Grids of needs: (G, S) [rpm], (V,) and (C,) [V per 12 V]."""
    prior = least_speed_prior(panel)
    speed = prior[:, :1] + prior[:, 1:] * SPEED_STEPS[None, :]
    return speed, PRIOR_SUPPLY_V[0] + PRIOR_SUPPLY_V[1] * SUPPLY_STEPS, PRIOR_COIL_V[0] + PRIOR_COIL_V[1] * COIL_STEPS


def scatter_draws(n_units: int, draws: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Departures of single vehicles and mornings from the class needs, (U, K) each: relative speed, V, V, K."""
    rng = np.random.default_rng(77)
    z = rng.standard_normal((4, n_units, draws))
    return SPEED_SCATTER * z[0], SUPPLY_SCATTER_V * z[1], COIL_SCATTER_V * z[2], MORNING_SD_K * z[3]


def look_back(tables: FleetTables, day: float) -> Look:
    """Look at the fleet on a past day with what was known at its start."""
    then = sampled(tables).before(pd.Timestamp("1970-01-01") + pd.Timedelta(days=day))
    state = estimate_state(then, day, np.array([-float(SURVIVAL_D), 0.0, float(SPAN_D)]), draws=DRAWS, seed=11)
    units = state.panel.units["unit"].to_numpy(dtype=object)
    grids = need_grids(state.panel)
    starts = [_starts_on_grid(state, h, grids) for h in range(3)]
    depots, depot = depot_codes(state.panel.units)
    before = make_weather(then.climate, depots, int(day) - SURVIVAL_D, SURVIVAL_D)
    ahead = make_weather(then.climate, depots, int(day), SPAN_D)
    morning = scatter_draws(len(units), DRAWS)[3].astype(np.float32)
    shape = (len(STRETCHES), len(SPEED_STEPS), len(SUPPLY_STEPS), len(COIL_STEPS), len(units))
    probability = np.empty(shape, dtype=np.float32)
    other = [np.maximum(supply[:, None], coil[None, :]) for _, supply, coil in starts]  # (V, C, U, K)
    for k in range(len(SPEED_STEPS)):
        cold = [np.maximum(a[0][k], b) for a, b in zip(starts, other, strict=True)]
        for x, stretch in enumerate(STRETCHES):
            now = [stretched(c, float(stretch)) + morning for c in cold]
            alive = np.maximum(1.0 - before.nearest(depot, now[0], now[1]), 1e-3)
            fails = ahead.nearest(depot, now[1], now[2])
            probability[x, k] = (alive * fails).sum(axis=-1) / alive.sum(axis=-1)
    return Look(day, units, state.group, probability)


def sampled(tables: FleetTables) -> FleetTables:
    """At most UNITS_LOOKED_AT vehicles, always the same ones: every n-th by name."""
    if len(tables.units) <= UNITS_LOOKED_AT:
        return tables
    names = np.sort(tables.units["unit"].astype(str).to_numpy())
    step = len(names) / UNITS_LOOKED_AT
    keep = set(names[(np.arange(UNITS_LOOKED_AT) * step).astype(int)])
    return FleetTables(
        tables.units[tables.units["unit"].isin(keep)].reset_index(drop=True),
        tables.readings[tables.readings["unit"].isin(keep)],
        tables.repairs[tables.repairs["unit"].isin(keep)],
        tables.climate,
        tables.forecast,
        tables.reset_answers,
    )


def _starts_on_grid(state: FleetState, h: int, grids: tuple[Floats, Floats, Floats]) -> tuple[Starts, Starts, Starts]:
    """Coldest starts for every value of each need: (S, U, K), (V, U, K), (C, U, K)."""
    speed_e, supply_e, coil_e, _ = scatter_draws(len(state.group), DRAWS)
    circuit = start_state(state.drawn[h], state.field, state.rest_v, state.group, state.laws)
    curves: Curves = start_curves(circuit, state.panel.volts)
    usual = usual_speed(state.laws)[state.group][:, None]
    speed = [
        crossing(curves.speed, grids[0][state.group, k][:, None] + speed_e * usual) for k in range(len(SPEED_STEPS))
    ]
    supply = [crossing(curves.supply, level + supply_e) for level in grids[1]]
    coil = [crossing(curves.coil, level + coil_e) for level in grids[2]]
    return np.stack(speed), np.stack(supply), np.stack(coil)


def depot_codes(units: pd.DataFrame) -> tuple[list[str], npt.NDArray[np.int64]]:
    """Depot names and the code of each vehicle's depot."""
    codes, names = pd.factorize(units["depot"].fillna("").astype(str), sort=True)
    return [str(n) for n in names], codes.astype(np.int64)


def look_days(tables: FleetTables, day: float) -> list[float]:
    """Days of the looks that a day can learn from: on a fixed calendar, windows over before `day`, after first data."""
    if tables.readings.empty:
        return []
    first = float(days_since_epoch(pd.DatetimeIndex([tables.readings["taken_at"].min()]))[0]) + 90.0
    newest = np.floor((day - SPAN_D) / SPAN_D) * SPAN_D
    days = newest - SPAN_D * np.arange(LOOKS)
    return [float(d) for d in days[::-1] if d >= first]


def learn_needs(
    tables: FleetTables, panel: Panel, day: float, *, looks: MutableMapping[float, Look] | None = None
) -> LearnedNeeds:
    """Posterior of the class needs from the no-starts recorded before `day`; the prior where there are none.

    tables hold nothing dated `day` or later.  looks: looks already made, by day; new ones are added to it.
    """
    looks = {} if looks is None else looks
    speed, supply, coil = need_grids(panel)
    n = len(panel.groups)
    prior = (
        -0.5 * SPEED_STEPS[:, None, None] ** 2
        - 0.5 * SUPPLY_STEPS[None, :, None] ** 2
        - 0.5 * COIL_STEPS[None, None, :] ** 2
    )
    log_weight = np.tile(prior, (n, len(STRETCHES), 1, 1, 1))
    counts, seen = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    failed = tables.repairs[tables.repairs["reason"] == "no_start"]
    when = days_since_epoch(failed["done_on"]) if len(failed) else np.zeros(0)
    names = failed["unit"].astype(str).to_numpy()
    used: list[tuple[Look, npt.NDArray[np.bool_]]] = []
    if len(failed):
        for d in look_days(tables, day):
            look = looks.get(d)
            if look is None:
                look = looks[d] = look_back(tables, d)
            happened = np.isin(look.units, names[(when >= d) & (when < d + SPAN_D)])
            used.append((look, happened))
            p = UNFORESEEN + RECORDED_SHARE * look.probability
            terms = np.where(happened, np.log(p), np.log1p(-p))
            for g in range(n):
                mine = look.group == g
                log_weight[g] += terms[..., mine].sum(axis=-1)
                counts[g] += int(happened[mine].sum())
                seen[g] += int(mine.sum())
    return _summary(log_weight, (speed, supply, coil), counts, seen, used)


def _summary(
    log_weight: Floats,
    grids: tuple[Floats, Floats, Floats],
    counts: npt.NDArray[np.int64],
    seen: npt.NDArray[np.int64],
    used: list[tuple[Look, npt.NDArray[np.bool_]]],
) -> LearnedNeeds:
    """Posterior mean and standard deviation of each need, and of the stretch that all classes share."""
    n = len(log_weight)
    shared = -0.5 * ((STRETCHES - STRETCH_PRIOR[0]) / STRETCH_PRIOR[1]) ** 2
    shared = shared + sum(np.logaddexp.reduce(w.reshape(len(STRETCHES), -1), axis=1) for w in log_weight)
    share = np.exp(shared - shared.max())
    share /= share.sum()
    mean, sd = np.empty((n, 3)), np.empty((n, 3))
    weights = np.empty_like(log_weight)
    speed, supply, coil = grids
    for g in range(n):
        w = np.exp(log_weight[g] - log_weight[g].max(axis=(1, 2, 3), keepdims=True))
        w *= (share / w.sum(axis=(1, 2, 3)))[:, None, None, None]
        weights[g] = w
        for k, (grid, axes) in enumerate(((speed[g], (0, 2, 3)), (supply, (0, 1, 3)), (coil, (0, 1, 2)))):
            marginal = w.sum(axis=axes)
            mean[g, k] = float((marginal * grid).sum())
            sd[g, k] = float(np.sqrt((marginal * (grid - mean[g, k]) ** 2).sum()))
    stretch = float((share * STRETCHES).sum())
    stretch_se = float(np.sqrt((share * (STRETCHES - stretch) ** 2).sum()))
    offset, slope = calibration(*looked_at(weights, used[-CALIBRATION_LOOKS:]))
    return LearnedNeeds(mean, sd, stretch, stretch_se, offset, slope, counts, seen)


def looked_at(weights: Floats, used: list[tuple[Look, npt.NDArray[np.bool_]]]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Probabilities of all looks, averaged over the posterior of the needs (G, X, S, V, C), and what happened."""
    p, y = [np.zeros(0)], [np.zeros(0, dtype=bool)]
    for look, happened in used:
        own = np.empty(len(look.group))
        for g in range(len(weights)):
            mine = look.group == g
            own[mine] = np.tensordot(weights[g], look.probability[..., mine], axes=4)
        p.append(own)
        y.append(happened)
    return np.concatenate(p), np.concatenate(y)


def calibration(p: Floats, happened: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Offset and slope of logit p' = offset + slope * logit p, held near (0, 1) by a prior that counts as data.

    Platt's method with a Gaussian prior, by Newton's method; p (N,), happened (N,).
    """
    x = logit(p)
    beta, start = np.array([0.0, 1.0]), np.array([0.0, 1.0])
    precision = np.diag([1.0 / CALIBRATION_SD[0] ** 2, 1.0 / CALIBRATION_SD[1] ** 2])
    design = np.stack([np.ones_like(x), x], axis=1)
    for _ in range(30):
        q = 1.0 / (1.0 + np.exp(-design @ beta))
        gradient = design.T @ (happened - q) - precision @ (beta - start)
        information = (design * (q * (1.0 - q))[:, None]).T @ design + precision
        step = np.linalg.solve(information, gradient)
        beta = beta + np.clip(step, -0.5, 0.5)
    return float(beta[0]), float(beta[1])


def logit(p: Reals) -> Floats:
    """log odds of probabilities held inside LEAST_PROBABILITY to one less it."""
    inside = np.clip(p, LEAST_PROBABILITY, 1.0 - LEAST_PROBABILITY)
    return np.asarray(np.log(inside / (1.0 - inside)), dtype=np.float64)


def calibrated(p: Reals, learned: LearnedNeeds) -> Floats:
    """Probabilities as the fleet's own past makes them; the prior leaves them nearly as they are."""
    return np.asarray(1.0 / (1.0 + np.exp(-(learned.offset + learned.slope * logit(p)))), dtype=np.float64)
