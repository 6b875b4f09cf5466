"""What the next reading of one vehicle should show: its state from its earlier readings alone, and how sure that is.

The state is that of `analysis.wear.state`, estimated for one vehicle on the day of the reading from what was measured
before, so that a reading is never checked against itself. Class laws may come from the day's assessment. A vehicle
without earlier readings is expected to be like its class.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
import pandas as pd

from analysis.bay.choices import EXPECTING, MODEL_ERROR
from analysis.bay.closure import Departures, Inrush, StateSpread, departures, predicted_measurements
from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import REFERENCE_C
from analysis.circuit.resistances import MEASURED
from analysis.circuit.temperature import TemperatureLaw
from analysis.readings.aid import Aid, aid_of, engine_c
from analysis.readings.class_laws import estimate_laws
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
    LawDoubt,
)
from analysis.readings.panel import FleetTables, Floats, Panel, class_groups, make_panel, without_slips
from analysis.starting.coldest_start import start_state
from analysis.starting.loop import StartState
from analysis.wear.choices import FAILING
from analysis.wear.growth_laws import GrowthLaws
from analysis.wear.state import FleetState, estimate_state

DRAWS: Final = 256  # for speed: a standard error is good to 5 %
MIDDLE: Final = (0.16, 0.84)  # quantiles one standard deviation from the median of a Gaussian
DOUBTS = ("battery_doubt", "load_doubt")  # of the class laws: not arrays by class
APART = (*DOUBTS, "speed")  # nor is what speed alone tells, which one reading is not held against


@dataclass(frozen=True)
class ClassKnowledge:
    """What is known of one class: its name, laws (arrays of length one), battery law with covariance, how often each
    measurement was read, and its growth laws where an assessment has learned them."""

    name: str
    laws: ClassLaws
    battery: TemperatureLaw
    count: Mapping[str, int]
    growth: GrowthLaws | None = None


@dataclass(frozen=True)
class Expected:
    """State that a vehicle is expected in, its relative errors, the inrush and battery laws of its class.

    `usual`: the state usual in its class; `earlier`: how many readings of its own it rests on; `unknown`: measurements
    that its class has hardly been read for, so that nothing is expected of them; `volts`: nominal system voltage;
    `doubts`: of the class's battery and load laws; `usual_spread`: how far sound vehicles of the class lie apart; `ice_se`: of the
    log of what ice makes of the battery.
    """

    state: StartState
    spread: StateSpread
    usual: StartState
    inrush: Inrush
    battery_law: TemperatureLaw
    earlier: int
    unknown: frozenset[str]
    volts: float
    doubts: tuple[LawDoubt, LawDoubt] | None = None
    usual_spread: StateSpread | None = None
    ice_se: float = 0.0

    def law_doubts(self, temperature_c: float) -> tuple[float, float]:
        """Relative errors of what the laws, and ice, make of battery and load at a temperature [°C]; nil where nothing is
        stated."""
        if self.doubts is None:
            return self.ice_se, 0.0
        engine = float(engine_c(temperature_c, self.state.aid_below_c, self.state.engine_warmer_k))
        group = np.zeros(1, dtype=np.int64)
        battery, load = (
            float(doubt.relative_se(np.array([[REFERENCE_C.value - at]]), group)[0, 0])
            for doubt, at in zip(self.doubts, (temperature_c, engine), strict=True)
        )
        return float(np.hypot(battery, self.ice_se)), load

    def foretold(self, row: pd.DataFrame) -> pd.DataFrame:
        """A row without the measurements of which nothing is expected."""
        return row.assign(**dict.fromkeys(self.unknown & set(MEASURED), np.nan))

    def departures(self, row: pd.DataFrame, temperature_sd_k: float) -> Departures:
        """How far readings of the vehicle are from what is expected; see :func:`analysis.bay.closure.departures`."""
        return departures(
            row, self.state, self.volts, spread=self.spread, inrush=self.inrush, temperature_sd_k=temperature_sd_k
        )

    def iced(self, log: float, se: float) -> Expected:
        """The same with ice in the battery, its own and a usual one; log: of what that multiplies its resistance by."""
        if log == 0.0:
            return self
        own, usual = (replace(s, battery_mohm=s.battery_mohm * np.exp(log)) for s in (self.state, self.usual))
        spread = replace(self.spread, battery=np.hypot(self.spread.battery, se))
        return replace(self, state=own, usual=usual, spread=spread, ice_se=se)


def class_knowledge(
    panel: Panel, name: str, laws: ClassLaws | None = None, growth: GrowthLaws | None = None
) -> ClassKnowledge:
    """What a panel of readings tells of one of its classes.

    :param name: one of `panel.groups`
    :param laws: laws of all classes of the panel where they were learned already, as by an assessment
    :param growth: the same of growth laws
    :raises ValueError: a class that the panel does not hold
    """
    if name not in panel.groups:
        raise ValueError(f"name is {name!r}; allowed are {', '.join(panel.groups)}")
    g = panel.groups.index(name)
    learned = laws or estimate_laws(panel)
    one = {f.name: getattr(learned, f.name)[g : g + 1] for f in fields(ClassLaws) if f.name not in APART}
    doubts = {name: getattr(learned, name).of_class(g) for name in DOUBTS}
    covariance = learned.battery_doubt.covariance[g]
    battery = TemperatureLaw(
        float(learned.battery_per_k[g]), float(learned.battery_curve[g]), covariance, REFERENCE_C.value
    )
    mine = panel.group == g
    count = {name: int(np.isfinite(panel.measured[name][mine]).sum()) for name in MEASURED}
    return ClassKnowledge(
        name, replace(learned, **one, **doubts, speed=None), battery, count, growth.of_class(g) if growth else None
    )


def expected_of_each(tables: FleetTables, day: float, known: ClassKnowledge | None = None) -> dict[str, Expected]:
    """What a reading taken on `day` [d since 1970] should show of each vehicle, from its own readings before it, and by far less from
    the others': what it was never read for is taken from theirs, as on the list.

    :param tables: vehicles of one class; their readings and repairs, all before the reading that is to be checked
    :param known: what is known of their class; None for what these readings and print say
    :raises ValueError: no vehicle, several classes, or another class's knowledge
    """
    names = class_groups(tables.units)[1]
    if len(names) != 1:
        raise ValueError(f"units are of the classes {', '.join(names) or 'none'}; allowed is one class")
    if known is not None and known.name != names[0]:
        raise ValueError(f"known is of the class {known.name!r}; allowed is {names[0]!r}")
    own = known or class_knowledge(without_slips(make_panel(tables.units, tables.readings)), names[0])
    each = estimate_state(
        tables, day, np.array([0.0]), draws=DRAWS, laws=own.laws, growth_laws=own.growth, growth=False
    )
    return {str(unit): _expected(each.of(np.array([row])), own) for row, unit in enumerate(each.names)}


def _expected(state: FleetState, own: ClassKnowledge) -> Expected:
    """The same of the only vehicle of a state."""
    panel, laws = state.panel, own.laws
    level = state.drawn[0][:, 0, :].astype(np.float64)
    middle, spread = np.asarray(np.median(level, axis=1), dtype=np.float64), _spread(level)
    if not panel.present.any():  # like its class, though it may be worn: the draws say how far
        middle, spread = np.ones(len(level)), np.hypot(spread * middle, middle - 1.0)
    aid = aid_of(panel.units)
    return Expected(
        state=_scalars(middle, float(np.median(state.field)), float(state.rest_v[0]), laws, aid),
        spread=_with_model(spread, float(np.std(np.log(state.field))), _rest_sd(panel)),
        usual=class_usual(own, float(panel.volts[0]), aid),
        inrush=Inrush(float(laws.inrush[0, 0]), float(laws.inrush[0, 1])),
        battery_law=own.battery,
        earlier=int(panel.present.sum()),
        unknown=hardly_read(own),
        volts=float(panel.volts[0]),
        doubts=(laws.battery_doubt, laws.load_doubt),
        usual_spread=_with_model(laws.base_sd[0], 0.0, MODEL_ERROR.open_circuit),
    )


def class_usual(known: ClassKnowledge, volts: float, aid: Aid | None = None) -> StartState:
    """The state usual in a class of `volts` nominal system voltage [V], its rest volts with it; aid: of one vehicle of it."""
    rest_v = float(known.laws.rest_v[0])
    return _scalars(
        np.ones(len(CHANNELS)),
        1.0,
        rest_v if np.isfinite(rest_v) else BATTERY_TABLES.full_rest_v * volts / 12.0,
        known.laws,
        aid,
    )


def hardly_read(known: ClassKnowledge) -> frozenset[str]:
    """Measurements that a class has hardly been read for, so that nothing is usual in it."""
    return frozenset(name for name, count in known.count.items() if count < EXPECTING.fewest_readings)


def usual_crank_a(usual: StartState, unknown: frozenset[str]) -> float | None:
    """Steady amps [A] usual in a class at 20 °C, which limits on amps are shares of; None where nobody knows."""
    shown = np.ravel(predicted_measurements(usual, REFERENCE_C.value))
    return None if "crank_a" in unknown else float(shown[MEASURED.index("crank_a")])


def _spread(level: Floats) -> Floats:
    """Relative standard error of each channel: half the distance of the middle 68 % of the draws."""
    low, high = np.quantile(level, MIDDLE, axis=1)
    return np.asarray(0.5 * (high - low) / np.maximum(np.median(level, axis=1), 0.05), dtype=np.float64)


def _scalars(level: Floats, field: float, rest_v: float, laws: ClassLaws, aid: Aid | None = None) -> StartState:
    """A state of plain numbers from levels (multiples of class-usual) and the motor's field."""
    arrays = start_state(
        level[:, None, None], np.array([[field]]), np.array([rest_v]), np.zeros(1, dtype=np.int64), laws, aid=aid
    )
    return replace(arrays, **{f.name: float(np.ravel(getattr(arrays, f.name))[0]) for f in fields(StartState)})


def _rest_sd(panel: Panel) -> float:
    """Relative scatter of a vehicle's own latest rest volts, drawn towards the usual one: its charge comes and goes."""
    rest = panel.measured["rest_v"][0, -FAILING.recent_readings :]
    rest = rest[np.isfinite(rest)]
    own = float(np.square(rest / np.median(rest) - 1.0).sum()) if len(rest) else 0.0
    return float(
        np.sqrt((own + EXPECTING.prior_rest * MODEL_ERROR.open_circuit**2) / (len(rest) + EXPECTING.prior_rest))
    )


def _with_model(spread: Floats, field_sd: float, rest_sd: float) -> StateSpread:
    """The vehicle's own errors with those of the model itself."""
    own = {"battery": BATTERY, "positive": POSITIVE, "ground": GROUND, "contacts": CONTACTS, "motor": MOTOR,
           "load": LOAD, "control": CONTROL}  # fmt: skip
    total = {name: float(np.hypot(spread[channel], getattr(MODEL_ERROR, name))) for name, channel in own.items()}
    return StateSpread(
        open_circuit=rest_sd, emf=float(np.hypot(field_sd, MODEL_ERROR.emf)), coil=MODEL_ERROR.coil,
        **total,
    )  # fmt: skip
