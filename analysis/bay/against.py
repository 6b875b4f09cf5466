"""A reading beside the vehicle's earlier ones: what they foretell of it through the circuit, and what only its last values tell."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.bay.choices import EXPECTING, FACTS
from analysis.bay.closure import predicted_measurements
from analysis.bay.expected import Expected
from analysis.circuit.resistances import MEASURED, measured_column
from analysis.circuit.temperature import copper_factor
from analysis.readings.choices import NOISE
from analysis.readings.outcomes import UNTURNED
from analysis.readings.panel import Bools, Floats, doubted, trusted_values
from analysis.starting.loop import open_circuit_v_at

FALLS: Final = {"crank_dip_v": "crank_dip_v", "crank_at_most_v": "crank_min_v"}
"""Lowest volts that are not those of steady turning -> the measurement that they are; both are taken as falls from the rest volts."""
TURNING: Final = (*FALLS, "crank_s")
LOADED: Final = ("control_loaded_v", "coil_loaded_v", "coil_alone_v")
LOAD: Final = "tester_load_ohm"
NOTED: Final = ("taken_at", "outcome", "doubtful", "lowest_is", "temperature_c", LOAD)
"""Columns of earlier readings that are no measurement to be held against them."""


@dataclass(frozen=True)
class Moved:
    """A measurement unlike what is expected of it at the reading's temperature, with the standard error of the difference."""

    name: str
    measured: float
    expected: float
    se: float


@dataclass(frozen=True)
class Against:
    """This reading beside the vehicle's `earlier` ones (none: beside its class): how many values were `compared`, which `moved`."""

    earlier: int
    compared: int
    moved: tuple[Moved, ...]


def against(at: pd.DataFrame, expected: Expected, sd_k: float, earlier: pd.DataFrame, outcome: object) -> Against:
    """Each value beside what the vehicle's earlier readings make it at this temperature.

    :param at: the reading: one row of trusted values with its temperature [°C], good to `sd_k` [K]
    :param earlier: the vehicle's readings before it and after its last repair: measurements, and the columns `NOTED`
    """
    row = expected.foretold(at)
    found = expected.departures(row, sd_k)
    off, se, used = found.residual[0], np.sqrt(np.diagonal(found.covariance[0])), found.used[0]
    values = row[list(MEASURED)].to_numpy(np.float64)[0]
    through = [
        Moved(name, float(value), float(value - d), float(e))
        for name, value, d, e in zip(MEASURED, values, off, se, strict=True)
        if abs(d) >= EXPECTING.moved_z * e
    ]
    others = list(_beside_last(at, expected, earlier, outcome)) if len(earlier) else []
    moved = [*through, *(one for one in others if abs(one.measured - one.expected) >= EXPECTING.moved_z * one.se)]
    return Against(expected.earlier, int(used.sum()) + len(others), tuple(moved))


def _beside_last(at: pd.DataFrame, expected: Expected, earlier: pd.DataFrame, outcome: object) -> Iterator[Moved]:
    """What no state of a circuit foretells, beside its median in the vehicle's last readings that hold it, each taken as a multiple of
    what the circuit makes of it at its temperature. How far sound values scatter follows from the last ones, too."""
    own = earlier.sort_values("taken_at", kind="stable")
    standing = [str(name) for name in own if name not in (*MEASURED, *TURNING, *NOTED)]
    turned = ~own["outcome"].isin(UNTURNED).to_numpy() if "outcome" in own else np.ones(len(own), dtype=bool)
    same_load = np.equal(_loads(own), _loads(at)[0])
    now, then = _Scaled(at, expected), _Scaled(_trusted(own, standing), expected)
    for name in (*standing, *(() if outcome in UNTURNED else TURNING)):
        value, logs = now.logs(name)[0], then.logs(name)
        counts: Bools = np.isfinite(logs) & (turned | (name in standing)) & (same_load | (name not in LOADED))
        last = logs[counts][-EXPECTING.last_own :]
        if len(last) < FACTS.fewest_own or not np.isfinite(value):
            continue
        middle, n, prior = float(np.median(last)), len(last), EXPECTING.prior_own
        scatter = np.sqrt((np.square(last - middle).sum() + prior * EXPECTING.own_scatter**2) / (n + prior))
        usual = float(now.scale(name)[0] * np.exp(middle))
        foretold = float(now.rest[0]) - usual if name in FALLS else usual
        measured = float(now.read(name)[0])
        yield Moved(FALLS.get(name, name), measured, foretold, usual * float(scatter * np.sqrt(1.0 + 1.0 / n)))


class _Scaled:
    """Measurements of some readings as multiples of what the circuit of one vehicle makes of them at their temperatures."""

    def __init__(self, rows: pd.DataFrame, expected: Expected) -> None:
        self.rows, noted = rows, measured_column(rows, "temperature_c")
        air_c = np.where(np.isfinite(noted), noted, NOISE.assumed_c)
        shown = predicted_measurements(expected.state, air_c, inrush=expected.inrush)
        low, amps, peak, rpm = (shown[:, MEASURED.index(n)] for n in ("crank_min_v", "crank_a", "peak_a", "crank_rpm"))
        open_v = np.broadcast_to(np.asarray(open_circuit_v_at(expected.state, air_c)), air_c.shape)
        rest = measured_column(rows, "rest_v")
        self.rest: Floats = np.where(np.isfinite(rest), rest, open_v)
        with np.errstate(divide="ignore", invalid="ignore"):
            self._scales: dict[str, Floats] = {
                "crank_at_most_v": open_v - low,
                "crank_dip_v": (open_v - low) / amps * peak * expected.inrush.battery_share,
                "crank_s": 1.0 / rpm,
                "pull_in_a": self.rest / copper_factor(air_c),
            }

    def read(self, name: str) -> Floats:
        return measured_column(self.rows, name)

    def scale(self, name: str) -> Floats:
        return self._scales.get(name, np.ones(len(self.rows)))

    def logs(self, name: str) -> Floats:
        """Log of each as a multiple; NaN where it was not read, or nothing is lost."""
        value = self.rest - self.read(name) if name in FALLS else self.read(name)
        with np.errstate(divide="ignore", invalid="ignore"):
            times = value / self.scale(name)
            return np.log(np.where(times > 0.0, times, np.nan))


def _loads(rows: pd.DataFrame) -> Floats:
    """Load of the tester [Ω], nil where nobody noted it."""
    return np.nan_to_num(measured_column(rows, LOAD))


def _trusted(readings: pd.DataFrame, standing: Sequence[str]) -> pd.DataFrame:
    """Readings without the values that are marked doubtful."""
    known = {name: np.where(doubted(readings, name), np.nan, measured_column(readings, name)) for name in standing}
    return pd.DataFrame({**known, LOAD: measured_column(readings, LOAD), **trusted_values(readings)})
