"""When a part was renewed: from repair records, from a person's answers, and from a step down nobody recorded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.observe import BATTERY, CHANNELS, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE
from analysis.panel import Bools, FleetTables, Floats, Panel, days_since_epoch

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
CHANNEL_PART = {
    BATTERY: "battery",
    POSITIVE: "positive_cable",
    GROUND: "ground_path",
    CONTACTS: "solenoid_contacts",
    MOTOR: "starter_motor",
    LOAD: "starter_motor",
    CONTROL: "control_circuit",
}
RESETTING = ("replaced", "cleaned", "tightened")  # charging a battery does not make it a new one
STEP_SE = 5.0  # a step down of five standard errors, our choice
STEP_EXCESS = 0.35  # of which at least this multiple of the class-usual value, our choice
DENIED_D = 45.0  # a denial speaks of steps this many days around it, our choice
NEW_SD = 3.0  # afterwards within three standard deviations of a sound part, our choice


@dataclass(frozen=True)
class Resets:
    """day: (7, U) day of the latest renewal [d since 1970], -inf for none; found: unrecorded ones, one row each."""

    day: Floats
    found: pd.DataFrame


def recorded_days(panel: Panel, tables: FleetTables) -> Floats:
    """(7, U) day of the latest recorded renewal of each channel, confirmed answers included."""
    day = np.full((len(CHANNELS), len(panel.units)), -np.inf)
    lookup = pd.Index(panel.units["unit"].astype(str))
    frames = [tables.repairs[tables.repairs["action"].isin(RESETTING)][["unit", "done_on", "part"]]]
    answers = tables.reset_answers
    if answers is not None and len(answers):
        confirmed = answers[answers["answer"] == "confirmed"]
        frames.append(confirmed.rename(columns={"around_on": "done_on"})[["unit", "done_on", "part"]])
    for frame in frames:
        if frame.empty:
            continue
        code = lookup.get_indexer(pd.Index(frame["unit"].astype(str)))
        when = days_since_epoch(frame["done_on"])
        part = frame["part"].to_numpy()
        for name, channels in PART_CHANNELS.items():
            mine = (part == name) & (code >= 0)
            for c in channels:
                np.maximum.at(day[c], code[mine], when[mine])
    return day


def usable_readings(panel: Panel, value: Floats, reset_day: Floats, base_sd: Floats) -> Bools:
    """(7, U, R) readings that tell of the part now fitted; one taken on the day of a repair only if it looks new."""
    later = panel.day[None] > reset_day[..., None] + 0.99
    same = (np.floor(panel.day)[None] == reset_day[..., None]) & (value < 1.0 + 4.0 * base_sd[..., None])
    never = np.isneginf(reset_day)[..., None]
    return np.asarray(np.isfinite(value) & panel.present[None] & (later | same | never))


def find_steps(
    panel: Panel, value: Floats, se: Floats, usable: Bools, base_sd: Floats, denied: pd.DataFrame | None = None
) -> Resets:
    """Unrecorded renewals: a part that twice read well above a sound one, and then reads like a new one.

    value, se, usable: (7, U, R); base_sd: (7, U).  Only earlier readings are looked at, so that a later one never
    changes an earlier verdict.
    """
    count, units, width = value.shape
    day = np.full((count, units), -np.inf)
    previous = np.full((2, count, units), np.nan)
    errors = np.full((2, count, units), np.nan)
    refused = _denied_days(panel, denied)
    rows = []
    for r in range(width):
        v, s = value[..., r], se[..., r]
        with np.errstate(invalid="ignore"):
            floor = np.minimum(previous[0], previous[1])
            error = np.sqrt(s**2 + np.maximum(errors[0], errors[1]) ** 2)
            step = usable[..., r] & (floor - v > STEP_SE * error) & (floor - v > STEP_EXCESS)
            step &= v < 1.0 + NEW_SD * np.sqrt(base_sd**2 + s**2)
            step &= floor > 1.0 + STEP_SE * np.sqrt(base_sd**2 + error**2)
        for c, u in zip(*np.nonzero(step), strict=True):
            at = float(panel.day[u, r])
            if any(abs(at - d) < DENIED_D for d in refused.get((int(u), int(c)), ())):
                step[c, u] = False
                continue
            rows.append((int(u), int(c), at, float(floor[c, u]), float(v[c, u])))
        day = np.where(step, panel.day[None, :, r], day)
        use = usable[..., r]
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
