"""A recorded start: volts and amps over time, the marks that divide it, and what was measured between them."""

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from analysis.circuit.choices import BATTERY_TABLES
from analysis.trace.choices import RECORDING

Array = npt.NDArray[Any]
Bound = Literal["", "at most", "at least"]
Missing = Literal[
    "",
    "not recorded",
    "nothing before",
    "too slow",
    "too short",
    "no ripple",
    "cylinders unknown",
    "no slope",
    "unlike volts",
]
Caution = Literal[
    "clipped amps", "clipped volts", "zero moved", "zero unknown", "load before", "begins turning", "ends turning",
    "aborted", "caught", "slow inrush", "unlike volts", "amps sink",
]  # fmt: skip


@dataclass(frozen=True)
class Trace:
    """Samples at one rate: time_s rising evenly, volts at the battery and amps as the clamp gave them (either may be None)."""

    time_s: Array
    volts: Array | None = None
    amps: Array | None = None

    def __post_init__(self) -> None:
        if self.volts is None and self.amps is None:
            raise ValueError("a trace holds neither volts nor amps; allowed is one of them, or both")
        for name, column in (("time_s", self.time_s), ("volts", self.volts), ("amps", self.amps)):
            if column is not None and (len(column) != len(self.time_s) or not np.isfinite(column).all()):
                raise ValueError(
                    f"{name} has {len(column)} samples or some are no numbers; allowed is one for each time"
                )
        if len(self.time_s) < RECORDING.fewest_samples or not (np.diff(self.time_s) > 0).all():
            raise ValueError(f"time_s has to rise from sample to sample, {RECORDING.fewest_samples} of them at least")

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return float((len(self.time_s) - 1) / (self.time_s[-1] - self.time_s[0]))


@dataclass(frozen=True)
class Marks:
    """Where a start divides: begin of the inrush, begin of steady turning, end of turning [s]."""

    begin_s: float
    steady_s: float
    end_s: float

    def __post_init__(self) -> None:
        if not self.begin_s < self.steady_s <= self.end_s:
            raise ValueError(
                f"the marks stand at {self.begin_s:g}, {self.steady_s:g} and {self.end_s:g} s; allowed is begin before "
                "steady turning before end"
            )


@dataclass(frozen=True)
class Measured:
    """A value with its standard error; `bound` where it is only one; `missing` says why there is none."""

    value: float | None = None
    se: float | None = None
    bound: Bound = ""
    missing: Missing = ""


@dataclass(frozen=True)
class Start:
    """What one start shows.

    crank_min_v: lowest volts while turning steadily, averaged over the ripple as the display of a meter averages them;
    ripple_low_v: the deepest point of the ripple itself; crank_dip_v: lowest volts in the inrush. ran: whether the engine
    charged afterwards (None: not to be told). even: each cylinder's stroke in percent of their mean, in firing order,
    beginning unknown; empty where it cannot be told. zero_a: what the clamp
    shows with nothing flowing, taken off already. cautions: what to mind, with a figure each.
    """

    marks: Marks
    rest_v: Measured
    crank_dip_v: Measured
    crank_min_v: Measured
    ripple_low_v: Measured
    peak_a: Measured
    crank_a: Measured
    crank_s: Measured
    firing_hz: Measured
    crank_rpm: Measured
    source_mohm: Measured
    even: tuple[Measured, ...] = ()
    ran: bool | None = None
    zero_a: float = 0.0
    cautions: dict[Caution, float] = field(default_factory=dict)


@dataclass(frozen=True)
class OtherLoad:
    """A load that is no start: when it came on [s], and what it is.

    "chatter": comes and goes, `figure` times a second; "held": the amps of a starter that does not turn, `figure` [A];
    "coil": no more than a solenoid draws, `figure` [A]; "cut": on from the trace's first sample;
    "load": none of these, a heater or lamps.
    """

    at_s: float
    kind: Literal["load", "chatter", "held", "coil", "cut"] = "load"
    figure: float = 0.0


@dataclass(frozen=True)
class Found:
    """Where starts are in a trace, and what came on that is none."""

    marks: tuple[Marks, ...]
    others: tuple[OtherLoad, ...] = ()


def upright(trace: Trace) -> tuple[Trace, bool]:
    """The trace with amps that rise as the volts go down, and whether the clamp was on the other way round."""
    if trace.amps is None:
        return trace, False
    amps = trace.amps - np.median(trace.amps)
    if trace.volts is None:
        amps = trace.amps - np.median(trace.amps[: max(3, len(trace.amps) // RECORDING.zero_part)])
        reversed_clamp = bool(-amps.min() > RECORDING.reversed_times * amps.max())
    else:
        volts = trace.volts - np.median(trace.volts)
        size = float(np.sqrt((amps**2).sum() * (volts**2).sum()))
        reversed_clamp = bool((amps * volts).sum() > RECORDING.reversed_likeness * size > 0)
    return (Trace(trace.time_s, trace.volts, -trace.amps), True) if reversed_clamp else (trace, False)


def between(trace: Trace, low_s: float, high_s: float) -> slice:
    """The samples from one time to before another."""
    first, last = np.searchsorted(trace.time_s, [low_s, high_s])
    return slice(int(first), int(last))


def blocks_of(trace: Trace, system_v: int | None) -> int:
    """Twelve-volt blocks in series: by the vehicle's nominal volts, else by what the trace shows."""
    if system_v is not None:
        return system_v // 12
    return 2 if trace.volts is not None and float(np.quantile(trace.volts, 0.9)) > BATTERY_TABLES.two_blocks_v else 1
