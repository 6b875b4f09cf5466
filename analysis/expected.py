"""What the next reading of one vehicle should show: its state from its earlier readings alone, and how sure that is.

The state is that of `analysis.state`, estimated for one vehicle on the day of the reading from what was measured
before, so that a reading is never checked against itself. Class laws may come from the day's assessment. A vehicle
without earlier readings is expected to be like its class.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from analysis.classes import BATTERY_CURVE, bent, estimate_laws
from analysis.closure import MEASURED, Inrush, StateSpread
from analysis.coldstart import StartState
from analysis.observe import BATTERY, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE, ClassLaws
from analysis.panel import FleetTables, Floats, Panel, class_groups, make_panel, without_slips
from analysis.start import start_state
from analysis.state import estimate_state
from analysis.temperature import BATTERY_LAW, TemperatureLaw, fit_temperature_law

DRAWS: Final = 256  # our choice: a standard error good to 5 %
FEWEST_READINGS: Final = 8  # our choice: of a class, before what is usual in it counts as known
MIDDLE: Final = (0.16, 0.84)  # quantiles one standard deviation from the median of a Gaussian
BATTERY_SE: Final = 0.08  # relative error of one battery value in the law's fit, as in `analysis.classes`
MODEL_SD: Final = {
    "open_circuit": 0.004,
    "battery": 0.05,
    "positive": 0.06,
    "ground": 0.06,
    "contacts": 0.06,
    "motor": 0.05,
    "load": 0.045,
    "emf": 0.06,
    "control": 0.05,
    "coil": 0.05,
}


@dataclass(frozen=True)
class ClassKnowledge:
    """What is known of the classes: names, laws (arrays over classes), battery laws with covariance, and how often
    each measurement was read in each class."""

    groups: tuple[str, ...]
    laws: ClassLaws
    battery: tuple[TemperatureLaw, ...]
    count: tuple[Mapping[str, int], ...]


@dataclass(frozen=True)
class Expected:
    """State that a vehicle is expected in, its relative errors, the inrush and battery laws of its class.

    `usual`: the state usual in its class; `earlier`: how many readings of its own it rests on; `unknown`: measurements
    that its class has hardly been read for, so that nothing is expected of them; `volts`: nominal system voltage.
    """

    state: StartState
    spread: StateSpread
    usual: StartState
    inrush: Inrush
    battery_law: TemperatureLaw
    earlier: int
    unknown: frozenset[str]
    volts: float


def class_knowledge(panel: Panel, laws: ClassLaws | None = None) -> ClassKnowledge:
    """Laws of every class of a panel of readings; `laws` where they were learned already, as by an assessment."""
    learned = laws or estimate_laws(panel)
    groups = range(len(panel.groups))
    return ClassKnowledge(
        panel.groups, learned, tuple(_battery_law(panel, g) for g in groups), tuple(_count(panel, g) for g in groups)
    )


def _count(panel: Panel, group: int) -> dict[str, int]:
    mine = panel.group == group
    return {name: int(np.isfinite(panel.measured[name][mine]).sum()) for name in MEASURED}


def _battery_law(panel: Panel, group: int) -> TemperatureLaw:
    """The class's battery law with its covariance, from readings with rest volts, lowest volts and amps."""
    mine = panel.group == group
    fall = panel.measured["rest_v"][mine] - panel.measured["crank_min_v"][mine]
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.log(np.where(fall > 0, fall, np.nan) / panel.measured["crank_a"][mine])
    codes = np.broadcast_to(np.arange(int(mine.sum()))[:, None], value.shape)
    return fit_temperature_law(
        value, panel.measured["temperature_c"][mine], codes, BATTERY_SE,
        time_days=np.nan_to_num(panel.day[mine]), prior=bent(BATTERY_LAW, BATTERY_CURVE),
    )  # fmt: skip


def expected_of(tables: FleetTables, day: float, known: ClassKnowledge | None = None) -> Expected:
    """What a reading taken on `day` [d since 1970] should show, from the readings of one vehicle before it.

    :param tables: one row of `units`; its readings and repairs, all before the reading that is to be checked
    :param known: laws of the classes; None, or a class that is not among them, for what print says of such a vehicle
    :raises ValueError: not exactly one vehicle
    """
    if len(tables.units) != 1:
        raise ValueError(f"units has {len(tables.units)} rows; allowed is one")
    panel = without_slips(make_panel(tables.units, tables.readings))
    own = _of_class(known, class_groups(tables.units)[1][0], panel)
    laws = own.laws
    state = estimate_state(tables, day, np.array([0.0]), draws=DRAWS, laws=laws)
    level = state.drawn[0][:, 0, :].astype(np.float64)
    middle, spread = _middle(level), _spread(level)
    return Expected(
        state=_scalars(middle, float(np.median(state.field)), float(state.rest_v[0]), laws),
        spread=_with_model(spread, float(np.std(np.log(state.field)))),
        usual=_scalars(np.ones(len(level)), 1.0, float(state.rest_v[0]), laws),
        inrush=Inrush(float(laws.inrush[0, 0]), float(laws.inrush[0, 1])),
        battery_law=own.battery[0],
        earlier=int(panel.present.sum()),
        unknown=frozenset(name for name, count in own.count[0].items() if count < FEWEST_READINGS),
        volts=float(panel.volts[0]),
    )


def _of_class(known: ClassKnowledge | None, name: str, panel: Panel) -> ClassKnowledge:
    """The knowledge of one class alone."""
    if known is None or name not in known.groups:
        return class_knowledge(panel)
    g = known.groups.index(name)
    one = {f.name: getattr(known.laws, f.name)[g : g + 1] for f in fields(ClassLaws)}
    return ClassKnowledge((name,), replace(known.laws, **one), (known.battery[g],), (known.count[g],))


def _middle(level: Floats) -> Floats:
    return np.asarray(np.median(level, axis=1), dtype=np.float64)


def _spread(level: Floats) -> Floats:
    """Relative standard error of each channel: half the distance of the middle 68 % of the draws."""
    low, high = np.quantile(level, MIDDLE, axis=1)
    return np.asarray(0.5 * (high - low) / np.maximum(np.median(level, axis=1), 0.05), dtype=np.float64)


def _scalars(level: Floats, field: float, rest_v: float, laws: ClassLaws) -> StartState:
    """A state of plain numbers from levels (multiples of class-usual) and the motor's field."""
    arrays = start_state(
        level[:, None, None], np.array([[field]]), np.array([rest_v]), np.zeros(1, dtype=np.int64), laws
    )
    return replace(arrays, **{f.name: float(np.ravel(getattr(arrays, f.name))[0]) for f in fields(StartState)})


def _with_model(spread: Floats, field_sd: float) -> StateSpread:
    """The vehicle's own errors with those of the model itself."""
    own = {"battery": BATTERY, "positive": POSITIVE, "ground": GROUND, "contacts": CONTACTS, "motor": MOTOR,
           "load": LOAD, "control": CONTROL}  # fmt: skip
    total = {name: float(np.hypot(spread[channel], MODEL_SD[name])) for name, channel in own.items()}
    return StateSpread(
        open_circuit=MODEL_SD["open_circuit"], emf=float(np.hypot(field_sd, MODEL_SD["emf"])), coil=MODEL_SD["coil"],
        **total,
    )  # fmt: skip
