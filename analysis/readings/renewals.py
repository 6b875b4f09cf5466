"""When a part was renewed: from repair records, from a person's answers, and from a step down nobody recorded."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.readings.choices import RENEWALS
from analysis.readings.observe import BATTERY, CHANNELS, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE
from analysis.readings.panel import Bools, FleetTables, Floats, Ints, Panel, days_since_epoch, make_panel

PART_CHANNELS: dict[str, tuple[int, ...]] = {
    "battery": (BATTERY,),
    "positive_cable": (POSITIVE,),
    "ground_path": (GROUND,),
    "solenoid_contacts": (CONTACTS,),
    "starter_motor": (MOTOR, LOAD),
    "control_circuit": (CONTROL,),
    "engine_drag": (LOAD,),
}
PARTS = tuple(PART_CHANNELS)
CHANNEL_PART = {c: part for part, channels in reversed(PART_CHANNELS.items()) for c in channels}
"""Channel -> the part that a step of it tells of; of the load, the starter."""
RESETTING = ("replaced", "cleaned", "tightened")  # charging a battery does not make it a new one


@dataclass(frozen=True)
class Resets:
    """day: (7, U) day of the latest renewal [d since 1970], -inf for none; found: unrecorded ones, one row each."""

    day: Floats
    found: pd.DataFrame


@dataclass(frozen=True)
class Renewals:
    """Recorded renewals of one channel, L of them in no order: vehicle, day, and whether a no-start was the reason."""

    unit: Ints
    day: Floats
    failed: Bools


def panel_of(tables: FleetTables) -> tuple[Panel, list[Renewals]]:
    """All readings of the tables side by side, with what is on record of renewals that their amps hang on, and all
    :func:`recorded_renewals`; a reading on the day of one, before or after it, stands for itself."""
    panel = make_panel(tables.units, tables.readings, tables.taught, tables.classes)
    renewals = recorded_renewals(panel, tables)
    renewed = renewals[LOAD]
    for day in (renewed.day, renewed.day + 1.0):
        np.add.at(panel.starter, renewed.unit, panel.day[renewed.unit] >= day[:, None])
    return panel, renewals


def recorded_renewals(panel: Panel, tables: FleetTables) -> list[Renewals]:
    """Of every channel, confirmed answers included."""
    lookup = pd.Index(panel.units["unit"].astype(str))
    repairs, answers = tables.repairs, tables.reset_answers
    told = [(repairs, "done_on", repairs["action"].isin(RESETTING), repairs["reason"] == "no_start")]
    if answers is not None and len(answers):
        confirmed = answers["answer"] == "confirmed"
        told.append((answers, "around_on", confirmed, confirmed & False))
    found: list[list[Renewals]] = [[] for _ in CHANNELS]
    for table, column, counts, for_no_start in told:
        code = lookup.get_indexer(pd.Index(table["unit"].astype(str)))
        some = counts.to_numpy(dtype=bool) & (code >= 0)
        part = np.where(some, pd.Index(PARTS).get_indexer(pd.Index(table["part"])), -1)
        when, failed = days_since_epoch(table[column]), for_no_start.to_numpy(dtype=bool)
        for k, channels in enumerate(PART_CHANNELS.values()):
            mine = part == k
            for c in channels:
                found[c].append(Renewals(code[mine].astype(np.int64), when[mine], failed[mine]))
    return [
        Renewals(*(np.concatenate([getattr(r, f) for r in own]) for f in ("unit", "day", "failed"))) for own in found
    ]


def recorded_days(panel: Panel, renewals: Sequence[Renewals]) -> Floats:
    """(7, U) day of the latest of the renewals of each channel, as :func:`recorded_renewals` gives them."""
    day = np.full((len(CHANNELS), len(panel.units)), -np.inf)
    for c, own in enumerate(renewals):
        np.maximum.at(day[c], own.unit, own.day)
    return day


@dataclass(frozen=True)
class EndedLives:
    """Past lives of one channel's parts, L of them: vehicle, day of the renewal before (-inf for none), day of the one
    that ended it, and whether a no-start was the reason for that."""

    unit: Ints
    begin: Floats
    end: Floats
    failed: Bools


def ended_lives(renewals: Renewals, found_day: Floats, left_day: Floats) -> EndedLives:
    """Lives between renewals; found_day: (U,) day of the latest one that nobody recorded, -inf for none; left_day: (U,) last
    day of vehicles in service, with which their parts' lives end unfailed, inf for those that are."""
    found = np.flatnonzero(np.isfinite(found_day))
    gone = np.flatnonzero(np.isfinite(left_day))
    unit = np.concatenate([renewals.unit, found, gone])
    end = np.concatenate([renewals.day, found_day[found], left_day[gone] + 1.0])
    failed = np.concatenate([renewals.failed, np.zeros(len(found) + len(gone), dtype=bool)])
    order = np.lexsort((end, unit))
    unit, end, failed = unit[order], end[order], failed[order]
    first = np.concatenate([[True], unit[1:] != unit[:-1]])[: len(unit)]
    begin = np.where(first, -np.inf, np.concatenate([[-np.inf], end[:-1]])[: len(unit)])
    return EndedLives(unit, begin, end, failed)


def usable_readings(panel: Panel, value: Floats, reset_day: Floats, base_sd: Floats) -> Bools:
    """(7, U, R) readings that tell of the part now fitted; one taken on the day of a repair only if it looks new."""
    later = panel.day[None] > reset_day[..., None] + 0.99
    same = (np.floor(panel.day)[None] == reset_day[..., None]) & (
        value < 1.0 + RENEWALS.same_day_sd * base_sd[..., None]
    )
    never = np.isneginf(reset_day)[..., None]
    return np.asarray(np.isfinite(value) & panel.present[None] & (later | same | never))


def find_steps(
    panel: Panel, value: Floats, se: Floats, usable: Bools, base_sd: Floats, denied: pd.DataFrame | None = None
) -> Resets:
    """Unrecorded renewals: a part that twice read well above a sound one, and then reads like a new one.

    value, se, usable: (7, U, R); base_sd: (7, U).  Only earlier readings are looked at, so that a later one never
    changes an earlier verdict.
    """
    count, units, _ = value.shape
    day = np.full((count, units), -np.inf)
    previous = np.full((2, count, units), np.nan)
    errors = np.full((2, count, units), np.nan)
    refused = _denied_days(panel, denied)
    rows = []
    # a reading of all vehicles side by side
    in_time = (np.ascontiguousarray(np.moveaxis(a, -1, 0)) for a in (value, se, usable))
    for r, (v, s, use) in enumerate(zip(*in_time, strict=True)):
        with np.errstate(invalid="ignore"):
            floor = np.minimum(previous[0], previous[1])
            error = np.sqrt(s**2 + np.maximum(errors[0], errors[1]) ** 2)
            step = use & (floor - v > RENEWALS.step_se * error) & (floor - v > RENEWALS.step_excess)
            step &= v < 1.0 + RENEWALS.new_sd * np.sqrt(base_sd**2 + s**2)
            step &= floor > 1.0 + RENEWALS.step_se * np.sqrt(base_sd**2 + error**2)
        for c, u in zip(*np.nonzero(step), strict=True):
            at = float(panel.day[u, r])
            if any(abs(at - d) < RENEWALS.denied_d for d in refused.get((int(u), int(c)), ())):
                step[c, u] = False
                continue
            rows.append((int(u), int(c), at, float(floor[c, u]), float(v[c, u])))
        day = np.where(step, panel.day[None, :, r], day)
        previous = np.where(use, np.stack([np.where(step, np.nan, previous[1]), v]), previous)
        errors = np.where(use, np.stack([errors[1], s]), errors)
    return Resets(day, _found_frame(panel, rows))


def _denied_days(panel: Panel, answers: pd.DataFrame | None) -> dict[tuple[int, int], list[float]]:
    """Days on which a person said that nothing was renewed, by vehicle and channel."""
    out: dict[tuple[int, int], list[float]] = {}
    if answers is None or answers.empty:
        return out
    denied = answers[answers["answer"] == "denied"]
    codes = pd.Index(panel.units["unit"].astype(str)).get_indexer(pd.Index(denied["unit"].astype(str)))
    for code, part, day in zip(codes, denied["part"], days_since_epoch(denied["around_on"]), strict=True):
        for c in PART_CHANNELS.get(str(part), ()):
            out.setdefault((int(code), c), []).append(float(day))
    return out


def _found_frame(panel: Panel, rows: list[tuple[int, int, float, float, float]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["code", "channel", "day", "before", "after"])
    frame["unit"] = panel.units["unit"].to_numpy()[frame["code"].to_numpy(dtype=int)]
    frame["part"] = [CHANNEL_PART[c] for c in frame["channel"]]
    frame["around_on"] = pd.to_datetime(np.floor(frame["day"].to_numpy(dtype=float)), unit="D")
    return frame
