"""What a bay, a technician or a meter adds to the readings: found, said in a sentence, taken out (data manipulation).

A vehicle is read by several people.  What one person's readings show beyond the same vehicle's neighbouring readings
by others is a property of the meter, the clamp or the thermometer, not of the vehicle.  Four errors are looked for:
the gain of the clamp on steady amps, on peak amps, the gain of the meter on small drops, and the zero of the
thermometer.  Each moves the seven channels of `analysis.readings.observe` in its own pattern (a thermometer that reads high
makes battery and load look raised by their per-kelvin laws and copper look lowered; a clamp that reads high raises
the load and lowers every resistance), so that all four are solved for at once, for all persons at once.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.constants import Z_90
from analysis.readings.choices import METERS
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.hands import (
    COLUMNS,
    EFFECTS,
    THERMOMETER,
    Estimate,
    Hands,
    estimate,
    home_depots,
    sample_vehicles,
    who_read,
)
from analysis.readings.meter_notes import Disagreement, MeterNote, WrongHand
from analysis.readings.observe import CHANNELS, Observations
from analysis.readings.panel import Floats, Ints, Panel

ROUND_TRIPS = 3  # correct, learn the laws again, look again: the laws bend, and a wrong thermometer bends them more


@dataclass(frozen=True)
class BayEffects:
    """What was found.

    table: one row per person or instrument and effect, columns by ("technician" or "instrument"), name, effect
    (see EFFECTS), value and se (relative; K for the thermometer; positive reads high), se_beside (of the difference
    to the other hands of the depot, smaller where it is unclear which of them is right), depot, readings, vehicles,
    same_week_k (thermometers: median difference to others' readings at the same depot in the same week [K]),
    significant (beyond doubt this hand), taken_out (beyond doubt apart from its neighbours); notes: what a
    person should know, largest first; taken_out: column -> (U, R) factor by which a reading is too high, or kelvin
    for `temperature_c`; columns without such an effect are absent.
    """

    table: pd.DataFrame
    notes: tuple[MeterNote, ...]
    taken_out: Mapping[str, Floats]


def bay_effects(
    panel: Panel, observed: Observations, readings: pd.DataFrame, *, fewest_vehicles: int = METERS.fewest_vehicles
) -> BayEffects:
    """Errors of clamps, meters and thermometers by technician, or by instrument where instruments are recorded.

    :param panel: readings side by side; :param observed: the same readings as comparable numbers, (7, U, R)
    :param readings: the frame that the panel was made of, with `technician` and, if recorded, `instrument`
    :param fewest_vehicles: persons with readings on fewer vehicles are not judged, and where all have fewer no table is made
    :raises ValueError: `fewest_vehicles` below 2, or `observed` of another shape than the panel
    """
    if fewest_vehicles < 2:
        raise ValueError(f"fewest_vehicles is {fewest_vehicles}; allowed are 2 and more")
    if observed.value.shape != (len(CHANNELS), *panel.row.shape):
        raise ValueError(
            f"observed has the shape {observed.value.shape}; allowed is {(len(CHANNELS), *panel.row.shape)}"
        )
    who = who_read(panel, readings)
    table, out = _empty_table(), dict[str, Floats]()
    vehicles = [_counts(code, len(names))[1] for code, names in zip(who.code, who.names, strict=True)]
    if not any((read >= fewest_vehicles).any() for read in vehicles):
        return BayEffects(table, (), out)  # nobody is judged
    some = sample_vehicles(panel)
    own, mine = panel.of(some), replace(who, code=who.code[:, some])
    observed = observed.by_meters()
    observed = replace(observed, value=observed.value[:, some], se=observed.se[:, some])
    wrong, sound = np.zeros(int(who.start[-1])), own
    for _ in range(ROUND_TRIPS):
        before = wrong
        table = _table(panel, who, estimate(sound, observed, mine, before), fewest_vehicles)
        wrong = np.where(table["taken_out"], table["value"], 0.0)
        if np.allclose(wrong, before, atol=0.1 * np.repeat(METERS.least, np.diff(who.start))):
            break
        sound = corrected(own, BayEffects(table, (), _taken_out(mine, wrong)))
        observed = observe(sound, estimate_laws(sound)).by_meters()
    return BayEffects(table, (*_wrong_hands(table), *_disagreements(table)), _taken_out(who, wrong))


def corrected(panel: Panel, effects: BayEffects) -> Panel:
    """The panel with the significant, large effects taken out of every reading of those persons or instruments.

    Raises ValueError when the effects were found on a panel of another shape.
    """
    measured = dict(panel.measured)
    for column, error in effects.taken_out.items():
        if error.shape != panel.row.shape:
            raise ValueError(f"effects have the shape {error.shape}; allowed is the panel's, {panel.row.shape}")
        measured[column] = measured[column] - error if column == "temperature_c" else measured[column] / error
    return replace(panel, measured=measured)


def _empty_table() -> pd.DataFrame:
    numbers = ("value", "se", "se_beside", "readings", "vehicles", "same_week_k", "significant", "taken_out")
    return pd.DataFrame(columns=["by", "name", "effect", "depot", *numbers])


def _table(panel: Panel, who: Hands, found: Estimate, fewest_vehicles: int) -> pd.DataFrame:
    """The table of :class:`BayEffects`, in the order of the parameters."""
    frames = []
    for k, effect in enumerate(EFFECTS):
        n = len(who.names[k])
        readings, vehicles = _counts(who.code[k], n)
        own = slice(int(who.start[k]), int(who.start[k + 1]))
        read_in_vain = ~_measured_by(panel, who.code[k], COLUMNS[k], n)
        judged = (vehicles >= fewest_vehicles) & ~read_in_vain
        value, se, beside = found.value[own], found.se[own], found.se_beside[own]
        large = judged & (np.abs(value) >= METERS.least[k])
        home, depots = home_depots(panel, who.code[k], n)
        same_week = _same_week(panel, who.code[k], n) if k == THERMOMETER else np.full(n, np.nan)
        frames.append(
            pd.DataFrame(
                {
                    "by": who.kind[k],
                    "name": list(who.names[k]),
                    "effect": effect,
                    "depot": np.where(home >= 0, depots[home] if len(depots) else "", ""),
                    "value": value,
                    "se": se,
                    "se_beside": beside,
                    "readings": readings,
                    "vehicles": vehicles,
                    "same_week_k": same_week,
                    "significant": large & (np.abs(value) >= METERS.significant * se),
                    "taken_out": large & (np.abs(value) >= METERS.significant * beside),
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def _counts(code: Ints, n: int) -> tuple[Ints, Ints]:
    """(n,) readings and vehicles of each hand."""
    ordered = np.sort(code, axis=1)
    real, again = ordered >= 0, ordered == np.concatenate([np.full((len(code), 1), -1), ordered[:, :-1]], axis=1)
    readings, vehicles = (np.bincount(ordered[which], minlength=n) for which in (real, real & ~again))
    return readings.astype(np.int64), vehicles.astype(np.int64)


def _measured_by(panel: Panel, code: Ints, columns: tuple[str, ...], n: int) -> npt.NDArray[np.bool_]:
    """(n,) whether this hand measured any of `columns` at all."""
    some = np.logical_or.reduce([np.isfinite(panel.measured[name]) for name in columns]) & (code >= 0)
    return np.bincount(code[some], minlength=n) > 0


def _same_week(panel: Panel, code: Ints, n: int) -> Floats:
    """(n,) median difference of temperatures to those read by others at the same depot in the same week [K]."""
    temperature = panel.measured["temperature_c"]
    unit, column = np.nonzero(np.isfinite(temperature) & (code >= 0))
    if not len(unit):
        return np.full(n, np.nan)
    depot = pd.factorize(panel.units["depot"])[0][unit]
    week = np.floor(panel.day[unit, column] / 7.0).astype(np.int64)
    place = pd.factorize(depot * 100_000 + week)[0]
    who, t = code[unit, column], temperature[unit, column]
    own = pd.factorize(place * n + who)[0]
    all_sum, all_n = np.bincount(place, weights=t)[place], np.bincount(place)[place]
    own_sum, own_n = np.bincount(own, weights=t)[own], np.bincount(own)[own]
    others = all_n - own_n
    away = np.where(others > 0, t - (all_sum - own_sum) / np.maximum(others, 1), np.nan)
    seen = pd.Series(away).groupby(who).median()
    return np.asarray(seen.reindex(range(n)).to_numpy(dtype=np.float64), dtype=np.float64)


def _wrong_hands(table: pd.DataFrame) -> tuple[WrongHand, ...]:
    """Every significant effect, those furthest beyond what is allowed first."""
    found = table[table["significant"]].copy()
    found["size"] = [
        abs(v) / METERS.least[EFFECTS.index(e)] for v, e in zip(found["value"], found["effect"], strict=True)
    ]
    found = found.sort_values("size", ascending=False, kind="stable")
    return tuple(
        WrongHand(
            one["by"], one["name"], one["effect"], one["value"], Z_90 * one["se"], int(one["readings"]),
            int(one["vehicles"]), float(one["same_week_k"]),
        )
        for one in found.to_dict("records")
    )  # fmt: skip


def _disagreements(table: pd.DataFrame) -> list[Disagreement]:
    """Depots whose hands lie clearly apart, where it cannot be told which of them is right."""
    out = []
    for (effect, depot), team in table[table["readings"] > 0].groupby(["effect", "depot"], sort=True):
        if team["significant"].any():
            continue
        ordered = team.sort_values("value", kind="stable")
        high, low = ordered.iloc[-1], ordered.iloc[0]
        apart = float(high["value"] - low["value"])
        error = float(np.hypot(high["se_beside"], low["se_beside"]))
        enough = min(high["vehicles"], low["vehicles"]) >= METERS.fewest_vehicles
        if (
            not enough
            or apart < METERS.disagree * METERS.least[EFFECTS.index(str(effect))]
            or apart < METERS.significant * error
        ):
            continue
        over = team["value"] > low["value"] + 0.5 * apart
        above, below = (tuple(map(str, team.loc[side, "name"])) for side in (over, ~over))
        out.append(Disagreement(str(effect), str(depot), above, below, apart))
    return out


def _taken_out(who: Hands, wrong: Floats) -> dict[str, Floats]:
    """Column -> (U, R) factor (kelvin for temperature) of the effects (P,) that are taken out."""
    out: dict[str, Floats] = {}
    for k, columns in enumerate(COLUMNS):
        own = wrong[who.start[k] : who.start[k + 1]]
        if not own.any():
            continue
        error = np.append(own, 0.0)[who.code[k]]
        for name in columns:
            out[name] = error if k == THERMOMETER else np.exp(error)
    return out
