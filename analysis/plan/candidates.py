"""The vehicles worth planning: their risk curves, the suspect parts, and what acting or failing costs each of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis.constants import DAYS_PER_YEAR
from analysis.costs import CHEAP_ACTIONS, PARTS, TOGETHER, PlanSettings
from analysis.plan.choices import VISITS
from analysis.plan.result import Note, note
from analysis.readings.panel import Bools, Floats, Ints
from analysis.wear.lives import AgeReplacement, Lifetime, age_replacement

LEAST_RISK = 1e-6
"""Risks below this are taken for none."""


@dataclass(frozen=True)
class Catalogue:
    """Price [money], labour [h] and lead time [d] of each part, and what had to be assumed."""

    price: Mapping[str, float]
    labour_h: Mapping[str, float]
    lead_days: Mapping[str, float]
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class Candidates:
    """U vehicles over K weeks from the plan's date, and over M weeks after those (M may be 0).

    table: unit, depot, vehicle_class, part, second ("" if none), part_probability, forced (only here because pinned or accepted), measurement
    (what is measured before anything is done, "" for nothing), may_measure (whether a visit may be for measuring alone), beside (further
    parts that are seen to at any visit);
    risk, renewed: (U, K+1) probability of a no-start by each week's boundary, as it is and with `part` renewed today;
    better, worse: (U, K+1) the risk if the vehicle stands in the better or the worse half of what it may be today, each
    as likely as the other: what a reading would tell; later: (4, U, M+1) risk, renewed, better and worse from week K
    on, for a vehicle that has not failed by then; fail_cost: (U,) a no-start with its repair;
    part_cost, part_h: (U,) price [money] and hours [h] of renewing the part; second_cost, second_h: the same for the
    second part in the same visit; second_share: share of the remaining risk that it removes;
    other_cost: (U,) price and labour of the next likely part; cheap_h: (U,) hours of the cheap
    act, NaN where there is none; cheap_success: (U,); rate: (U,) long-run cost of the part [money per week];
    life_weeks: (U,) its mean life; beside_h: (U,) hours for what is seen to beside the part, second_beside_h: those of them that are
    for the second part; lead: (U,) its lead time [d]; second_lead: the same for the second part; leaves: (U,) the
    vehicle's last day in service [d after the plan's date], inf where it stays: nothing can fail from then on, and a new part is
    worth nothing.
    """

    table: pd.DataFrame
    risk: Floats
    renewed: Floats
    better: Floats
    worse: Floats
    later: Floats
    fail_cost: Floats
    part_cost: Floats
    part_h: Floats
    second_cost: Floats
    second_h: Floats
    second_share: Floats
    other_cost: Floats
    cheap_h: Floats
    cheap_success: Floats
    rate: Floats
    life_weeks: Floats
    beside_h: Floats
    second_beside_h: Floats
    lead: Floats
    second_lead: Floats
    leaves: Floats

    def __len__(self) -> int:
        return len(self.table)

    def risk_until(self, week: float) -> Floats:
        """(U,) probability of a no-start until `week` where nobody acts."""
        return between(self.risk, np.full((len(self), 1), week))[:, 0]

    @cached_property
    def part(self) -> list[str]:
        """The suspect part of each vehicle, "" for none."""
        return [str(part) for part in self.table["part"].tolist()]

    @cached_property
    def second(self) -> list[str]:
        """The part that may be renewed in the same visit, "" for none."""
        return [str(part) for part in self.table["second"].tolist()]

    @property
    def has_part(self) -> Bools:
        """(U,) whether a part is named at all."""
        return (self.table["part"] != "").to_numpy()

    @property
    def has_second(self) -> Bools:
        """(U,) whether a second part is worth a thought."""
        return (self.table["second"] != "").to_numpy()


def complete_catalogue(parts: pd.DataFrame, settings: PlanSettings) -> Catalogue:
    """Prices, hours and lead times of all parts; what is not on record comes from the settings, with a note."""
    given = parts.drop_duplicates("part", keep="last").set_index("part") if len(parts) else pd.DataFrame()
    sources = {
        "price": settings.part_price,
        "labour_h": settings.part_labour_h,
        "lead_days": dict.fromkeys(PARTS, settings.default_lead_days),
    }
    columns: dict[str, dict[str, float]] = {}
    assumed = []
    for column, fallback in sources.items():
        values = {}
        missing = []
        for part in PARTS:
            own = given[column].get(part, np.nan) if column in given.columns else np.nan
            known = bool(np.isfinite(own))
            values[part] = float(own) if known else float(fallback[part])
            if not known:
                missing.append(part)
        if missing:
            assumed.append((column, tuple((part, fallback[part]) for part in missing)))
        columns[column] = values
    told = note(
        "some_not_on_record" if len(parts) else "none_on_record", assumed=tuple(assumed), currency=settings.currency
    )
    return Catalogue(columns["price"], columns["labour_h"], columns["lead_days"], (told,) if assumed else ())


def no_start_costs(units: pd.DataFrame, settings: PlanSettings) -> Floats:
    """Roadside, tow and lost work of one no-start of each vehicle (U,) [money]."""
    pairs = zip(units["vehicle_class"].astype(str), units["system_v"].astype(float), strict=True)
    return np.array([settings.no_start_cost(name, volts).total for name, volts in pairs], dtype=np.float64)


def best_ages(
    units: pd.DataFrame, lives: Mapping[str, Lifetime], catalogue: Catalogue, settings: PlanSettings, *, access: float
) -> dict[str, AgeReplacement]:
    """Best fixed age [d] of each part, with the fleet's mean cost of a no-start (Barlow & Proschan 1965).

    access: of calling a vehicle in for it, 0 for none [money].
    """
    extra = float(no_start_costs(units, settings).mean()) if len(units) else settings.no_start["light"].total
    out = {}
    for part in PARTS:
        work_h, price = catalogue.labour_h[part], catalogue.price[part]
        planned = price + work_h * settings.hour_rate + access
        unplanned = price + work_h * settings.failure_hours_factor * settings.hour_rate + extra
        out[part] = age_replacement(lives[part].law, planned=max(planned, 1e-6), unplanned=max(unplanned, 1e-6))
    return out


def _curves(outlook: pd.DataFrame, beyond: pd.DataFrame | None, names: list[str]) -> tuple[Floats, Floats]:
    """Cumulative risks (4, U, K+1), never falling: as they are, renewed, in the better and in the worse half; and the same
    from week K on (4, U, M+1), given that nothing has failed by then; M is 0 without the table of the quarters beyond.

    Without halves in the tables, they lie at the ends of the interval.
    """
    weeks = int(outlook["week"].max()) + 1 if len(outlook) else 1
    at = pd.Index(names)
    rows = at.get_indexer(pd.Index(outlook["unit"].astype(str)))
    position = outlook["week"].to_numpy(np.int64) + 1

    def grid(column: str) -> Floats:
        out = np.zeros((len(names), weeks + 1))
        out[rows, position] = outlook[column].to_numpy(np.float64)
        if beyond is not None and len(beyond) and column in beyond:
            out = _lengthened(out, at.get_indexer(pd.Index(beyond["unit"].astype(str))), beyond["week"], beyond[column])
        return np.asarray(np.clip(np.maximum.accumulate(np.nan_to_num(out), axis=1), 0.0, 1.0 - LEAST_RISK))

    risk = grid("probability")
    renewed = np.minimum(grid("probability_renewed"), risk)
    if "probability_worse" in outlook.columns:
        better, worse = np.minimum(grid("probability_better"), risk), np.maximum(grid("probability_worse"), risk)
    else:
        low, high = (np.nan_to_num(grid(name)[:, weeks]) for name in ("probability_low", "probability_high"))
        end = np.maximum(risk[:, weeks], LEAST_RISK)
        spread = np.clip(0.5 * np.maximum(high - low, 0.0) / end, 0.0, np.minimum(1.0, (1.0 - end) / end))[:, None]
        better, worse = (np.clip(risk * (1.0 + sign * spread), 0.0, 1.0 - LEAST_RISK) for sign in (-1.0, 1.0))
    every = np.stack([risk, renewed, better, worse])
    at_end = every[:, :, weeks : weeks + 1]
    return every[:, :, : weeks + 1], (every[:, :, weeks:] - at_end) / (1.0 - at_end)


def _lengthened(near: Floats, rows: Ints, week: pd.Series, value: pd.Series) -> Floats:
    """Weekly risks (U, K+1) carried on by risks at later weeks, with an even hazard between; rows: (N,) of the later."""
    weeks = near.shape[1] - 1
    ends = np.unique(np.concatenate([[weeks], week.to_numpy(np.int64)]))
    knots = np.repeat(near[:, -1:], len(ends), axis=1)
    known = rows >= 0
    knots[rows[known], np.searchsorted(ends, week.to_numpy(np.int64)[known])] = value.to_numpy(np.float64)[known]
    knots = np.clip(np.maximum.accumulate(np.nan_to_num(knots), axis=1), 0.0, 1.0 - LEAST_RISK)
    later = np.arange(weeks + 1, int(ends[-1]) + 1)
    k = np.searchsorted(ends, later) - 1
    share = (later - ends[k]) / (ends[k + 1] - ends[k])
    log_alive = np.log1p(-knots)
    far = -np.expm1(log_alive[:, k] + share * (log_alive[:, k + 1] - log_alive[:, k]))
    return np.concatenate([near, far], axis=1)


def between(knots: Floats, weeks: Floats) -> Floats:
    """Values of `knots` (U, K+1) at moments (U, N) [weeks], straight between, clamped at the ends."""
    last = knots.shape[1] - 1
    t = np.clip(weeks, 0.0, last)
    at = np.minimum(t.astype(np.int64), last - 1)
    low = np.take_along_axis(knots, at, axis=1)
    high = np.take_along_axis(knots, at + 1, axis=1)
    return np.asarray(low + (t - at) * (high - low), dtype=np.float64)


def _until(leaves: Floats, curves: Floats, later: Floats) -> tuple[Floats, Floats]:
    """Risks (N, U, K+1), and those after them (N, U, M+1), that rise no more once the vehicles have left (U,) [weeks]."""
    weeks = curves.shape[2] - 1
    near = np.minimum(np.arange(weeks + 1.0), leaves[:, None])
    far = np.minimum(np.arange(later.shape[2], dtype=np.float64), leaves[:, None] - weeks)
    if later.shape[2] > 1:
        later = np.stack([between(one, far) for one in later])
    return np.stack([between(one, near) for one in curves]), later


def _second_parts(names: list[str], suspects: list[str], parts: pd.DataFrame) -> tuple[list[str], Floats, list[str]]:
    """Second part of each vehicle ("" if none), its share of the other parts' probability, and the next likely part."""
    if not len(parts):
        return [""] * len(names), np.zeros(len(names)), list(suspects)
    chance = np.zeros((len(names), len(PARTS)))
    unit = pd.Index(names).get_indexer(pd.Index(parts["unit"]))
    part = pd.Index(PARTS).get_indexer(pd.Index(parts["part"]))
    value = parts["part_probability"].to_numpy(np.float64)
    known = (unit >= 0) & (part >= 0) & np.isfinite(value)
    chance[unit[known], part[known]] = value[known]
    for row, suspect in enumerate(suspects):
        if suspect in PARTS:
            chance[row, PARTS.index(suspect)] = 0.0
    best = chance.argmax(axis=1)
    top = chance.max(axis=1)
    others = np.maximum(chance.sum(axis=1), LEAST_RISK)
    second = [PARTS[b] if t >= VISITS.second_part_probability else "" for b, t in zip(best, top, strict=True)]
    nearest = [PARTS[b] if t > 0 else s for b, t, s in zip(best, top, suspects, strict=True)]
    return second, np.where(top >= VISITS.second_part_probability, top / others, 0.0), nearest


def _of_no_part(parts: pd.DataFrame) -> list[str]:
    """Vehicles for which it is likelier that no renewal helps than that any one part's does: what the parts' probabilities leave
    to one."""
    if not len(parts):
        return []
    of_unit = parts.groupby(parts["unit"].astype(str))["part_probability"]
    return [str(unit) for unit in of_unit.max().index[1.0 - of_unit.sum() > of_unit.max()]]


def _look_up(parts: list[str], values: Mapping[str, float], missing: float = 0.0) -> Floats:
    return np.array([values.get(part, missing) for part in parts], dtype=np.float64)


def _prices(
    names: list[str],
    parts: list[str],
    catalogue: Catalogue,
    ordered: Mapping[tuple[str, str], float],
    missing: float = 0.0,
) -> Floats:
    """Price (U,) of each vehicle's part that is still to be spent: of one that is on its way nothing, as it is paid either way."""
    price = _look_up(parts, catalogue.price, missing)
    return np.where([known in ordered for known in zip(names, parts, strict=True)], 0.0, price) if ordered else price


def _leads(
    names: list[str], parts: list[str], catalogue: Catalogue, ordered: Mapping[tuple[str, str], float]
) -> Floats:
    """Days (U,) until each vehicle's part is there: from its delivery time, or from when it was ordered."""
    coming = _look_up(parts, catalogue.lead_days)
    own = [ordered.get(known, lead) for known, lead in zip(zip(names, parts, strict=True), coming, strict=True)]
    return np.minimum(np.array(own, dtype=np.float64), coming) if own else coming


def _saved_hours(first: list[str], second: list[str], hours: Mapping[str, float]) -> Floats:
    """Hours saved by doing two parts in one visit (U,) [h]."""
    out = []
    for a, b in zip(first, second, strict=True):
        share = TOGETHER.get(frozenset((a, b)), 0.0)
        out.append(share * min(hours.get(a, 0.0), hours.get(b, 0.0)))
    return np.array(out, dtype=np.float64)


def make_candidates(
    outlook: pd.DataFrame,
    units: pd.DataFrame,
    parts: pd.DataFrame,
    *,
    catalogue: Catalogue,
    rates: Mapping[str, float],
    lives: Mapping[str, Lifetime],
    settings: PlanSettings,
    success: Mapping[str, float],
    forced: Mapping[str, str],
    beyond: pd.DataFrame | None,
    measure: Mapping[str, str],
    leaving: Mapping[str, float],
    ordered: Mapping[tuple[str, str], float],
    beside: Mapping[str, Sequence[str]],
) -> Candidates:
    """Bring the assessment's tables into the form that the costs are computed from.

    outlook, units, parts, beyond: of the Assessment; rates: part -> long-run cost [money per
    week]; success: part -> chance of its cheap act;
    forced: units that are pinned or accepted, with the part named so ("" for none); a part that is not the suspect one is
    renewed without helping, as far as the assessment knows; measure: of the plan's inputs.  Where measuring would change nothing
    no visit is for that alone, unless somebody calls in a vehicle that has no part to renew; leaving: unit -> its last day in
    service [d after the plan's date], of vehicles that leave; ordered: (unit, part) -> when a part
    comes that is on its way [d after the plan's date]; beside: of the plan's inputs.
    """
    watched = set(outlook["unit"].astype(str))
    extra = [unit for unit in forced if unit not in watched]
    names = [str(name) for name in pd.unique(outlook["unit"].astype(str))] + extra
    about = units.assign(unit=units["unit"].astype(str)).drop_duplicates("unit").set_index("unit").reindex(names)
    first = outlook.drop_duplicates("unit").assign(unit=lambda t: t["unit"].astype(str))
    named = dict(zip(first["unit"].tolist(), first["part"].tolist(), strict=True)) | dict.fromkeys(
        _of_no_part(parts), ""
    )
    suspects = [part if isinstance(part := named.get(name, ""), str) else "" for name in names]
    wished = [forced.get(name) or part for name, part in zip(names, suspects, strict=True)]
    other = np.array([wish != part for wish, part in zip(wished, suspects, strict=True)], dtype=np.bool_)
    suspects = [part if part in PARTS else "" for part in wished]
    (risk, renewed, better, worse), later = _curves(outlook, beyond, names)
    leaves = np.array([leaving.get(name, np.inf) for name in names], dtype=np.float64)
    leaves[leaves >= 7.0 * (risk.shape[1] + later.shape[2] - 2)] = np.inf  # beyond all that is looked at
    if np.isfinite(leaves).any():
        (risk, renewed, better, worse), later = _until(leaves / 7.0, np.stack([risk, renewed, better, worse]), later)
    renewed = np.where(other[:, None], risk, renewed)
    later[1] = np.where(other[:, None], later[0], later[1])
    second, share, nearest = _second_parts(names, suspects, parts)
    hours = catalogue.labour_h
    part_h = _look_up(suspects, hours)
    second_h = np.maximum(_look_up(second, hours) - _saved_hours(suspects, second, hours), 0.0)
    life = {part: lives[part].law.mean / 7.0 for part in PARTS}
    repair_h = np.where(part_h > 0, part_h, np.mean(list(hours.values()))) * settings.failure_hours_factor
    fail = no_start_costs(about.fillna({"system_v": 12.0, "vehicle_class": ""}), settings)
    fail = fail + _prices(names, suspects, catalogue, ordered, float(np.mean(list(catalogue.price.values()))))
    others = [[part for part in beside.get(name, ()) if part != own] for name, own in zip(names, suspects, strict=True)]
    seeing = {part: settings.clean_h if CHEAP_ACTIONS.get(part) == "cleaned" else settings.measure_h for part in PARTS}
    cheap = [CHEAP_ACTIONS.get(part, "") for part in suspects]
    cheap_h = _look_up(cheap, {"cleaned": settings.clean_h, "charged": settings.charge_h}, np.nan)
    probability = about["part_probability"].fillna(0.0).clip(0.0, 1.0) if "part_probability" in about else 0.5
    table = pd.DataFrame({
        "unit": pd.Series(names, dtype="str"), "depot": about["depot"].fillna("").astype("str").to_numpy(),
        "vehicle_class": about["vehicle_class"].fillna("").astype("str").to_numpy(),
        "part": pd.Series(suspects, dtype="str"), "second": pd.Series(second, dtype="str"),
        "part_probability": np.asarray(probability, dtype=np.float64) * np.ones(len(names)),
        "measurement": pd.Series([measure.get(name, "") for name in names], dtype="str"),
        "may_measure": [
            bool(measure.get(name, True)) or (name in forced and not part)
            for name, part in zip(names, suspects, strict=True)
        ],
        "forced": np.isin(np.array(names, dtype=object), np.array(extra, dtype=object)),
        "beside": pd.Series(others, dtype="object"),
    })  # fmt: skip
    return Candidates(
        table=table,
        risk=risk,
        renewed=renewed,
        better=better,
        worse=worse,
        later=later,
        fail_cost=fail + repair_h * settings.hour_rate,
        part_cost=_prices(names, suspects, catalogue, ordered),
        part_h=part_h,
        second_cost=_prices(names, second, catalogue, ordered),
        second_h=second_h,
        second_share=share,
        other_cost=_prices(names, nearest, catalogue, ordered) + _look_up(nearest, hours) * settings.hour_rate,
        cheap_h=cheap_h,
        cheap_success=_look_up(suspects, success),
        rate=np.where(np.isinf(leaves), _look_up(suspects, rates, min(rates.values())), 0.0),
        life_weeks=_look_up(suspects, life, DAYS_PER_YEAR),
        beside_h=np.array([sum(seeing[part] for part in more) for more in others], dtype=np.float64),
        second_beside_h=np.array(
            [seeing[part] if part in more else 0.0 for part, more in zip(second, others, strict=True)], dtype=np.float64
        ),
        lead=_leads(names, suspects, catalogue, ordered),
        second_lead=_leads(names, second, catalogue, ordered),
        leaves=leaves,
    )
