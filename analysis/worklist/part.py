"""Which part: how much colder a vehicle would start with each part renewed (health assessment, ISO 13374)."""

import numpy as np
import pandas as pd

from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.outlook import Outlook, coldest_today, renewed_coldest
from analysis.readings.observe import BATTERY
from analysis.readings.outcomes import blamed
from analysis.readings.panel import Bools, Floats, Ints, Reals, dates_of
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.wear.fleet_growth import GROWTH_D
from analysis.wear.state import FleetState
from analysis.worklist.choices import NAMING

PART_CHANNEL = {part: channels[0] for part, channels in PART_CHANNELS.items()}
"""Part -> the channel that it is judged by."""


def part_shares(gain: Reals, weight: Floats) -> Floats:
    """(rows, 7) probability that the part is what limits the start: the share of draws in which it gains most.

    gain: (7, rows, K) kelvin colder with each part renewed; weight (rows, K).  The rest to one is "none of them".
    """
    best = gain.argmax(axis=0)
    enough = gain.max(axis=0) > NAMING.least_gain_k
    total = weight.sum(axis=1)
    return np.stack([(weight * (enough & (best == k))).sum(axis=1) / total for k in range(len(PARTS))], axis=1)


def wear_shares(state: FleetState) -> Floats:
    """(U, 7 parts) probability that the part wears at all, from the growth posterior alone."""
    worn = {p: 1.0 - state.growth[c].steady for p, c in PART_CHANNEL.items()}
    load = worn["engine_drag"]
    worn["starter_motor"] = np.maximum(worn["starter_motor"], load * state.starter_share)
    worn["engine_drag"] = load * (1.0 - state.starter_share)
    return np.stack([worn[p] for p in PARTS], axis=1)


def wear_progress(state: FleetState) -> Floats:
    """(U,) how far the worst part has come from new (0) to failing at +5 degC (1), where it surely wears."""
    out = np.zeros(len(state.group))
    for c, growth in enumerate(state.growth):
        share = (growth.level - NAMING.progress_sd * growth.level_sd - 1.0) / state.fail_excess[state.group, c]
        sure = growth.steady < NAMING.surely_steady
        out = np.maximum(out, np.where(sure & np.isfinite(share), share, 0.0))
    return out


def part_table(
    state: FleetState, outlook: Outlook, h: int, rows: Ints, weight: Floats
) -> tuple[pd.DataFrame, Floats, dict[int, Reals]]:
    """Long table of vehicles and parts, (U, 7) part probabilities, and, by place among the state's times, the coldest starts
    (7 parts, rows, K) with each part renewed that they took.

    rows: vehicles worth the detail (the others get wear probabilities only); weight: (rows, K).
    """
    n, now = len(state.group), int(np.argmin(np.abs(state.ahead_d)))
    shares = wear_shares(state)
    worn = shares.copy()
    cold = np.full((n, len(PARTS)), np.nan)
    renewed = {t: renewed_coldest(state, outlook, rows, state.drawn[t], outlook.coldest[t]) for t in (now, h)}
    if len(rows):
        shares[rows] = part_shares(outlook.coldest[h][rows][None] - renewed[h], weight)
    shares = blamed(shares, worn, outlook.failures)
    for k, part in enumerate(PARTS):
        also, stays = (part, renewed[now][k]), 1.0 - shares[rows, k]
        cold[rows, k] = coldest_today(state, outlook, shares.argmax(axis=1), rows, (0.5,), also, stays)[0]
    return _table(state, shares, worn, cold), shares, renewed


def _table(state: FleetState, shares: Floats, worn: Floats, cold: Floats) -> pd.DataFrame:
    """One row per vehicle and part; shares, worn, cold: (U, 7)."""
    n = len(state.group)
    of_parts = [_one_part(state, p, shares[:, k], worn[:, k], cold[:, k]) for k, p in enumerate(PARTS)]
    columns = {name: np.stack([one[name] for one in of_parts], axis=1).ravel() for name in of_parts[0]}
    days = {name: dates_of(np.asarray(columns[name], np.float64)) for name in ("before_on", "began_on", "renewed_on")}
    part = pd.array(PARTS, dtype="str").take(np.tile(np.arange(len(PARTS)), n))
    named = {"unit": state.panel.units["unit"].astype("str").array.repeat(len(PARTS)), "part": part}
    return pd.DataFrame({**named, **columns, **days})


def _one_part(
    state: FleetState, part: str, share: Floats, worn: Floats, cold: Floats
) -> dict[str, Reals | Ints | Bools]:
    """Columns (U,) of one part; days since 1970; renewed_on: of a part that was ever read, as it is now or before;
    renewal_recorded: whether that is on record, not only found from a step of its readings."""
    c = PART_CHANNEL[part]
    found = np.isfinite(state.resets.day[c])  # of readings after the latest record
    ever = (np.isfinite(state.observed.value[c]) & state.panel.present).sum(axis=1)
    growth = state.growth[c]
    usual = state.laws.base[state.group, c]
    known = state.observed.turned if c == BATTERY else None
    turned = np.zeros((2, len(usual)), np.int64) if known is None else (known & state.usable[c]).sum(axis=2)
    return {
        "level": growth.level,
        "level_mohm": growth.level * usual,
        "se_mohm": growth.level_sd * usual,
        "usual_mohm": usual,
        "spread_mohm": state.spread[c] * usual,
        "before_mohm": growth.before * usual,
        "before_on": state.day - growth.back_d,
        "growth_per_year": (growth.later - growth.level) * DAYS_PER_YEAR / GROWTH_D,
        "growth_mohm_per_month": (growth.later - growth.level) * usual,
        "worn_probability": worn,
        "part_probability": share,
        "renewed_coldest_start_c": cold,
        "began_on": state.day - growth.onset_d,
        "readings": state.usable[c].sum(axis=1),
        "by_speed": turned[0],
        "by_time": turned[1],
        "last_slip": growth.last_slip,
        "renewed_on": np.where(ever > 0, np.where(found, state.resets.day[c], state.reset_day[c]), -np.inf),
        "renewal_recorded": np.isfinite(state.reset_day[c]) & ~found,
    }
