"""Where the volts go: the battery's rest volts, taken apart along the circuit while the engine cranks.

Kirchhoff's law of the loop, from the battery's open-circuit volts down to zero::

    E = lost in the battery + positive cable + solenoid contacts + left for the motor + ground path

Three bars of the same vehicle stand beneath each other: this reading, a sound vehicle of its class at the same
temperature and amps, and the coming low as this reading has the parts. A drop that nobody measured is the expected one at
the amps that were; where no amps were, what is not measured stays together with the motor, because nothing tells it apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.bay.closure import STATE_FIELDS, STEP, StateSpread
from analysis.bay.expected import Expected, usual_crank_a
from analysis.bay.facts import at_usual_share
from analysis.bay.one_reading import ONLY_A_BOUND, ReadingCheck, trusted_row
from analysis.bay.verdict import DROP_LIMITS
from analysis.circuit.battery import least_cranking_v
from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limits import AGM, FEWEST_CRANK_A, REFERENCE_C, Limits
from analysis.circuit.resistances import MEASURED, WITHOUT, measured_values, measurement_errors
from analysis.starting.loop import StartState, blocks_of, solve_start, volts_at_amps

BATTERY: Final = "battery"
MOTOR: Final = "starter_motor"
CIRCUIT: Final = "circuit"  # the motor and all that was not told apart from it
DROP_OF: Final = {
    "positive_cable": "drop_positive_v", "solenoid_contacts": "drop_contacts_v", "ground_path": "drop_ground_v",
}  # fmt: skip
SEGMENTS: Final = (BATTERY, "positive_cable", "solenoid_contacts", MOTOR, CIRCUIT, "ground_path")
"""From the positive post round to the negative post."""
READ, USUAL, COMING = "read", "usual", "coming"
BY_METER, ASSUMED, REST = "measured", "assumed", "rest"
COLUMNS: Final = (
    *("bar", "segment", "volts", "se_v", "from_v", "to_v", "known", "limit_v", "over", "amps", "temperature_c"),
)
_FIELD_OF: Final = {"battery": "battery_mohm", "positive_cable": "positive_mohm", "ground_path": "ground_mohm",
                    "solenoid_contacts": "contacts_mohm"}  # fmt: skip
_SPREAD_OF: Final = {"battery_mohm": "battery", "positive_mohm": "positive", "ground_mohm": "ground",
                     "contacts_mohm": "contacts"}  # fmt: skip
CONTRADICT: Final = "volts_contradict"
ROUNDS: Final = 4  # in which the load is set so that the amps are those read: each leaves a tenth of the error


@dataclass(frozen=True)
class WhereVoltsGo:
    """The bars as one tidy table, a row per segment in the order of SEGMENTS, and the key of why there is none of this reading.

    shares: `bar` (read, usual, coming), `segment`, `volts` and their standard error `se_v`, `from_v` and `to_v` (volts left
    before and after it), `known` (measured, assumed, or the rest that is left), `limit_v` (the most that may be lost there,
    NaN without a limit), `over` (more is lost), `amps` (NaN where they are not known), `temperature_c`.
    """

    shares: pd.DataFrame
    why_not: str = ""

    def bar(self, name: str) -> pd.DataFrame:
        """The segments of one bar, none where it is not known."""
        return self.shares[self.shares["bar"] == name].reset_index(drop=True)


def where_volts_go(
    reading: Mapping[str, Any],
    check: ReadingCheck,
    expected: Expected,
    limits: Limits,
    *,
    coming_c: float | None = None,
) -> WhereVoltsGo:
    """The three bars of one reading.

    :param reading: measurements by name, as for `check_one_reading`
    :param check: the same reading taken apart
    :param expected: what the vehicle should show, from its readings before
    :param coming_c: the coldest morning to be expected [°C]; None for two bars
    """
    agm = check.charge is not None and check.charge.battery_type == AGM
    row = trusted_row(reading).assign(temperature_c=check.temperature_c, agm=float(agm))
    value, charge_se = measured_values(row, np.array([expected.volts / 12.0]))
    error = measurement_errors(value, np.array([expected.volts / 12.0]), charge_se)
    read = {name: (float(value[name][0]), float(np.ravel(error[name])[0])) for name in MEASURED}
    why_not = _why_not(row, read, expected)
    amps = read["crank_a"][0] if read["crank_a"][0] >= FEWEST_CRANK_A.value else float("nan")
    bars = [] if why_not else [_as_read(read, amps, check, expected)]
    if not expected.unknown & {"rest_v", "crank_min_v"}:
        usual = _of_state(USUAL, expected.usual, expected.usual_spread or expected.spread, check.temperature_c, amps,
                          told_apart=_told_apart(expected))  # fmt: skip
        bars.append(usual.assign(amps=amps) if "crank_a" in expected.unknown else usual)  # nobody knows what it takes
    if coming_c is not None and not why_not and not expected.unknown & {"crank_a"}:
        state, spread = _state_as_read(read, amps, check, expected, coming_c)
        bars.append(_of_state(COMING, state, spread, coming_c, float("nan"), told_apart=_told_apart(expected)))
    usual_a = usual_crank_a(expected.usual, expected.unknown)
    frames = [_with_limits(bar, limits, usual_a) for bar in bars]
    shares = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(COLUMNS))
    return WhereVoltsGo(shares, why_not)


def _why_not(row: pd.DataFrame, read: Mapping[str, tuple[float, float]], expected: Expected) -> str:
    """The key of why this reading has no bar, "" where it has."""
    if np.isfinite(row["crank_at_most_v"].iloc[0]):
        return ONLY_A_BOUND
    if not np.isfinite(read["crank_min_v"][0]):
        return WITHOUT["crank_min_v"]
    if not np.isfinite(read["rest_v"][0]) and "rest_v" in expected.unknown:
        return WITHOUT["rest_v"]
    return CONTRADICT if read["crank_min_v"][0] > _rest(read, expected)[0] else ""


def _rest(read: Mapping[str, tuple[float, float]], expected: Expected) -> tuple[float, float, str]:
    """Rest volts, their error, and whether they were measured."""
    value, se = read["rest_v"]
    if np.isfinite(value):
        return value, se, BY_METER
    usual = float(np.ravel(np.asarray(expected.state.open_circuit_v))[0])
    return usual, INSTRUMENT.assumed_rest_v * expected.volts / 12.0, ASSUMED


def _told_apart(expected: Expected) -> frozenset[str]:
    """Segments of which the class has been read often enough to expect something."""
    if "crank_a" in expected.unknown:
        return frozenset()
    return frozenset(segment for segment, drop in DROP_OF.items() if drop not in expected.unknown)


def _as_read(
    read: Mapping[str, tuple[float, float]], amps: float, check: ReadingCheck, expected: Expected
) -> pd.DataFrame:
    """The bar of the reading itself."""
    rest, rest_se, rest_known = _rest(read, expected)
    low, low_se = read["crank_min_v"]
    lost = {BATTERY: (rest - low, float(np.hypot(rest_se, low_se)), rest_known)}
    usual = volts_at_amps(expected.state, check.temperature_c, amps)
    for segment, drop in DROP_OF.items():
        volts, se = read[drop]
        if np.isfinite(volts):
            lost[segment] = (volts, se, BY_METER)
        elif segment in _told_apart(expected) and np.isfinite(amps):
            name = _SPREAD_OF[_FIELD_OF[segment]]
            share = float(np.ravel(usual[f"{name}_v"])[0])
            lost[segment] = (share, share * float(np.ravel(getattr(expected.spread, name))[0]), ASSUMED)
    drops = [one for segment, one in lost.items() if segment != BATTERY]
    left_se = float(np.sqrt(low_se**2 + sum(se**2 for _, se, _ in drops)))
    lost[_rest_of(lost)] = (low - sum(volts for volts, _, _ in drops), left_se, REST)
    return _frame(READ, rest, lost, amps, check.temperature_c)


def _rest_of(lost: Mapping[str, Any]) -> str:
    """What the volts that are left are called: the motor's, where all else is told apart."""
    return MOTOR if DROP_OF.keys() <= lost.keys() else CIRCUIT


def _of_state(
    bar: str, state: StartState, spread: StateSpread, temperature_c: float, amps: float, *, told_apart: frozenset[str]
) -> pd.DataFrame:
    """The bar of a circuit in a state, at amps that are given or at those that its engine takes (NaN)."""
    fields = dict(zip(STATE_FIELDS, (float(np.ravel(one)[0]) for one in vars(spread).values()), strict=True))
    middle = _volts(state, temperature_c, amps, told_apart)
    variance = dict.fromkeys(middle, 0.0)
    for name, share in fields.items():
        stepped = replace(state, **{name: getattr(state, name) * (1.0 + STEP)})
        moved = _volts(stepped, temperature_c, amps, told_apart)
        for segment, volts in moved.items():
            variance[segment] += ((volts - middle[segment]) / STEP * share) ** 2
    known = {segment: REST if segment in (MOTOR, CIRCUIT) else ASSUMED for segment in middle}
    lost = {segment: (volts, float(np.sqrt(variance[segment])), known[segment]) for segment, volts in middle.items()}
    taken = amps if np.isfinite(amps) else float(np.ravel(solve_start(state, temperature_c).amps)[0])
    return _frame(bar, sum(middle.values()), lost, taken, temperature_c)


def _volts(state: StartState, temperature_c: float, amps: float, told_apart: frozenset[str]) -> dict[str, float]:
    """Volts of every segment of a circuit in a state."""
    flowing = amps if np.isfinite(amps) else solve_start(state, temperature_c).amps
    at = {name: float(np.ravel(one)[0]) for name, one in volts_at_amps(state, temperature_c, flowing).items()}
    lost = {segment: at[f"{_SPREAD_OF[_FIELD_OF[segment]]}_v"] for segment in DROP_OF if segment in told_apart}
    return {BATTERY: at["rest_v"] - at["battery_v"], **lost, _rest_of(lost): at["battery_v"] - sum(lost.values())}


def _state_as_read(
    read: Mapping[str, tuple[float, float]], amps: float, check: ReadingCheck, expected: Expected, coming_c: float
) -> tuple[StartState, StateSpread]:
    """The vehicle with the parts as this reading has them, and how sure that is in the coming cold.

    What the reading does not tell is as expected; the engine's load is set so that it takes the amps that were read.
    """
    state, spread = expected.state, expected.spread
    for one in check.identified:
        if one.element in _FIELD_OF and not one.reason and one.value > 0:
            field = _FIELD_OF[one.element]
            state = replace(state, **{field: one.value})
            spread = replace(spread, **{_SPREAD_OF[field]: one.se / one.value})
    if np.isfinite(read["rest_v"][0]):
        cold = blocks_of(state.open_circuit_v) * (REFERENCE_C.value - check.temperature_c)
        at_20 = read["rest_v"][0] + float(np.ravel(state.open_circuit_v_per_k * cold)[0])
        state = replace(state, open_circuit_v=at_20)
        spread = replace(spread, open_circuit=read["rest_v"][1] / at_20)
    for _ in range(ROUNDS if np.isfinite(amps) else 0):
        taken = float(np.ravel(solve_start(state, check.temperature_c).amps)[0])
        state = replace(state, load_a=state.load_a * amps / taken)
    battery, load = expected.law_doubts(coming_c)
    wider = {"battery": float(np.hypot(np.ravel(spread.battery)[0], battery)),
             "load": float(np.hypot(np.ravel(spread.load)[0], load))}  # fmt: skip
    return state, replace(spread, **wider)


def _frame(
    bar: str, rest_v: float, lost: Mapping[str, tuple[float, float, str]], amps: float, temperature_c: float
) -> pd.DataFrame:
    """A bar's segments in the order of the circuit."""
    rows, left = [], rest_v
    for segment in SEGMENTS:
        if segment in lost:
            volts, se, known = lost[segment]
            rows.append({"bar": bar, "segment": segment, "volts": volts, "se_v": se, "from_v": left, "to_v": left - volts,
                         "known": known, "amps": amps, "temperature_c": temperature_c})  # fmt: skip
            left -= volts
    return pd.DataFrame(rows)


def _with_limits(bar: pd.DataFrame, limits: Limits, usual_a: float | None) -> pd.DataFrame:
    """The bar with the most that each segment may lose: a drop's limit at these amps, the battery's least volts at this
    temperature."""
    rest, amps, at_c = (float(bar[name].iloc[0]) for name in ("from_v", "amps", "temperature_c"))
    share = 1.0 if usual_a is None else float(at_usual_share(np.array([amps]), usual_a)[0])
    most = {segment: getattr(limits, DROP_LIMITS[drop]).value / share for segment, drop in DROP_OF.items()}
    most[BATTERY] = rest - float(least_cranking_v(limits.least_cranking_battery_v.value, at_c))
    limit = bar["segment"].map(most).astype(float)
    return bar.assign(limit_v=limit, over=(bar["volts"] > limit).to_numpy(bool))[list(COLUMNS)]
