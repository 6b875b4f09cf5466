"""What to measure next: the measurement that changes the repair decision most for its minutes, or none (advisory).

The suspects' probabilities, the costs of a right and a wrong repair and of waiting give the best act now.  A
measurement is worth what it saves on average by changing that act, less its minutes (value of information: Raiffa &
Schlaifer 1961, from memory).  Where nothing saves more than it costs, the answer is to act.  One measurement ahead is
looked at: after it the question is asked again with what was found.
"""

import math
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.bay.choices import ASKING, TESTING
from analysis.circuit.battery import open_circuit
from analysis.circuit.choices import INSTRUMENT
from analysis.costs import PlanSettings
from analysis.readings.panel import Bools, Floats, trusted_values
from analysis.readings.renewals import PARTS

CAUSES: Final[Mapping[str, str]] = {
    "worn_battery": "battery",
    "discharged_battery": "battery",
    "positive_joint": "positive_cable",
    "positive_cable": "positive_cable",
    "ground_joint": "ground_path",
    "ground_strap": "ground_path",
    "solenoid_contacts": "solenoid_contacts",
    "starter_motor": "starter_motor",
    "control_joint": "control_circuit",
    "control_wire_or_coil": "control_circuit",
    "engine_drag": "engine_drag",
    "no_part": "",
    "slip": "",
}
"""Cause -> part; the last two need no repair."""
CHEAP: Final[Mapping[str, str]] = {
    "discharged_battery": "battery",
    "positive_joint": "positive_cable",
    "ground_joint": "ground_path",
    "control_joint": "control_circuit",
}
"""Causes that charging, or cleaning and tightening, cures."""
NAMES: Final = tuple(CAUSES)
SLIP, SOUND = NAMES.index("slip"), NAMES.index("no_part")


@dataclass(frozen=True)
class Candidate:
    """A measurement: key, minutes, where each cause puts it, columns that it fills; what a technician is told stands in
    `dashboard/words/next_words.py`.

    means: cause -> expected outcome in standard errors of the measurement, 0 for causes not named.  times: how often
    the columns have to be read for it; once is enough in a reading without the columns `without`, which is no full set and
    was taken for this.
    """

    name: str
    minutes: float
    means: Mapping[str, float]
    columns: tuple[str, ...] = ()
    times: int = 1
    without: tuple[str, ...] = ()


REPEAT: Final = "repeat"
_REAL: Final = [c for c in NAMES if c != "slip"]
CANDIDATES: Final = (
    Candidate(
        REPEAT,
        TESTING.again_min,
        dict.fromkeys(_REAL, TESTING.repeat_slip),
        ("crank_min_v", "crank_a"),
        2,
    ),
    Candidate(
        "cranking_speed",
        TESTING.at_hand_min,
        {"starter_motor": TESTING.speed_starter, "engine_drag": -TESTING.speed_drag},
        ("crank_rpm",),
    ),
    Candidate(
        "rest_v_after_two_hours",
        TESTING.at_hand_min,
        {"discharged_battery": -TESTING.plain},
        ("rest_v",),
        2,
        ("crank_min_v",),
    ),
    Candidate(
        "battery_load_test",
        TESTING.load_test_min,
        {"worn_battery": -TESTING.load_worn, "discharged_battery": -TESTING.load_discharged},
        ("rest_v", "crank_min_v", "crank_a"),
        2,
        ("drop_positive_v", "drop_ground_v", "drop_contacts_v"),
    ),
    Candidate(
        "positive_joints",
        TESTING.at_hand_min,
        {"positive_joint": TESTING.plain, "positive_cable": -TESTING.plain},
        ("drop_positive_v",),
        2,
        ("drop_ground_v", "drop_contacts_v"),
    ),
    Candidate(
        "ground_joints",
        TESTING.at_hand_min,
        {"ground_joint": TESTING.plain, "ground_strap": -TESTING.plain},
        ("drop_ground_v",),
        2,
        ("drop_positive_v", "drop_contacts_v"),
    ),
    Candidate(
        "contacts_three_times",
        TESTING.again_min,
        {"solenoid_contacts": TESTING.contacts},
        ("drop_contacts_v",),
        3,
    ),
    Candidate(
        "control_wire_loaded",
        TESTING.at_hand_min,
        {"control_joint": TESTING.plain, "control_wire_or_coil": -TESTING.plain},
        ("control_loaded_v", "coil_loaded_v"),
    ),
    Candidate(
        "peak_a",
        TESTING.peak_min,
        {"starter_motor": -TESTING.peak_starter, "worn_battery": -TESTING.peak_battery},
        ("peak_a",),
    ),
    Candidate(
        "engine_by_hand",
        TESTING.by_hand_min,
        {"engine_drag": TESTING.by_hand},
    ),
    Candidate(
        "starter_on_the_bench",
        TESTING.bench_min,
        {"starter_motor": TESTING.plain},
    ),
)
EDGES: Final = np.arange(-9.0, 9.01, 0.25)  # outcome classes [standard errors]; finer changes no value by 0.1 %
_ERFC: Final = np.frompyfunc(math.erfc, 1, 1)
CHUNK: Final = 128  # vehicles at a time, to keep memory small


@dataclass(frozen=True)
class InformationValues:
    """For n vehicles: value (n, T) of each candidate before its cost, cost (n,) of the best act now [money]."""

    value: Floats
    cost: Floats


def next_measurements(
    shares: Floats,
    *,
    no_start_probability: Floats,
    last_slip: Floats,
    discharged: Floats,
    measured: Sequence[AbstractSet[str]],
    settings: PlanSettings,
    no_start_cost: Floats,
) -> list[Candidate | None]:
    """The next measurement for each of n vehicles, None where none would change the decision for its minutes.

    :param shares: (n, 7) in the order of PARTS: probability that the part is what limits the start; the rest to one is "no_part"
    :param no_start_probability: (n,) of a no-start until the vehicle would be looked at anyway, if nothing is done
    :param last_slip: (n,) probability that the last reading is a slip and the suspicion with it
    :param discharged: (n,) how much room the latest rest volts leave for a discharged battery, of :func:`room_for_discharged`
    :param measured: names of candidates, or columns, that are known already, for each vehicle
    :param settings: prices, hours and hour rate
    :param no_start_cost: (n,) of a no-start beside the repair [money]
    :raises ValueError: a probability outside 0 to 1, shares above one in all, a negative price
    """
    belief = cause_probabilities(shares, last_slip, settings, discharged)
    found = information_values(belief, no_start_probability, settings=settings, no_start_cost=no_start_cost)
    known = [[c.name in m or bool(c.columns and c.times == 1 and set(c.columns) <= m) for c in CANDIDATES]
             for m in measured]  # fmt: skip
    net = found.value - settings.hour_rate / 60.0 * np.array([c.minutes for c in CANDIDATES])
    net = np.where(np.array(known, dtype=bool).reshape(net.shape), -np.inf, net)
    best = net.argmax(axis=1)
    return [CANDIDATES[t] if net[i, t] > 0.0 else None for i, t in enumerate(best)]


def faulty_shares(shares: Floats, worn: Floats, read: Bools) -> Floats:
    """(n, 7) shares among faults that may be there: a part that was read and is not worn limits a start only through what a worn one
    takes away, so that what it has beyond its own chance of being worn goes to the others, in proportion.

    shares, worn: (n, 7) probabilities that the part limits the start, and that it wears; read: whether the part was read at all.
    """
    own = np.where(read, np.minimum(shares, worn), shares)
    total = own.sum(axis=1, keepdims=True)
    return np.where(total > 0.0, own * shares.sum(axis=1, keepdims=True) / np.where(total > 0.0, total, 1.0), shares)


def made_already(readings: pd.DataFrame, renewed_on: pd.Series | None = None) -> dict[str, frozenset[str]]:
    """Unit -> candidates that its readings hold, so that nobody is asked for them again.

    A candidate is made by readings within `ASKING.together_d`, by one where it is asked for once; made so, it stands for
    `ASKING.stands_d` before the vehicle's latest reading, and until a part is renewed.  Values marked doubtful do not count; the
    latest reading is repeated by a second one of volts and amps, and by a value measured twice.

    :param readings: columns as in the files
    :param renewed_on: unit -> day of its latest renewal of any part, NaT for none
    """
    code, units = pd.factorize(readings["unit"])
    taken = readings["taken_at"].to_numpy()
    latest = np.full(len(units), taken.min() if len(taken) else np.datetime64("NaT"), dtype=taken.dtype)
    np.maximum.at(latest, code, taken)
    recent = taken >= latest[code] - pd.Timedelta(days=ASKING.stands_d).to_timedelta64()
    if renewed_on is not None:
        recent &= ~(taken < renewed_on.reindex(units).to_numpy(dtype=taken.dtype)[code])
    order = np.flatnonzero(recent)[np.lexsort((taken[recent], code[recent]))]
    own, code, taken = readings.iloc[order], code[order], taken[order]
    known = {name: np.isfinite(values) for name, values in trusted_values(own).items()}
    known |= {n: own[n].notna().to_numpy() for c in CANDIDATES for n in c.columns if n in own and n not in known}
    never = np.zeros(len(own), dtype=bool)

    def together(rows: Bools, times: int) -> Bools:
        """(units,) whether so many of the rows lie close together."""
        at = np.flatnonzero(rows)
        first, last = at[: len(at) - times + 1], at[times - 1 :]
        close = (code[first] == code[last]) & (taken[last] - taken[first] <= span)
        return np.bincount(code[last[close]], minlength=len(units)) > 0

    span = pd.Timedelta(days=ASKING.together_d).to_timedelta64()
    late = taken >= latest[code] - span
    made: dict[str, Bools] = {}
    for c in CANDIDATES:
        if not c.columns:
            continue
        columns = [known.get(name, never) & (late | (c.name != REPEAT)) for name in c.columns]
        made[c.name] = np.all([together(rows, c.times) for rows in columns], axis=0)
        if c.without:
            full = np.any([known.get(name, never) for name in c.without], axis=0)
            made[c.name] |= together(np.all(columns, axis=0) & ~full, 1)
    if "confirmed" in own and len(own):
        last = np.append(code[1:] != code[:-1], True)
        made[REPEAT] |= np.bincount(code[last & (own["confirmed"] != "").to_numpy()], minlength=len(units)) > 0
    return {str(unit): frozenset(name for name, rows in made.items() if rows[at]) for at, unit in enumerate(units)}


def rest_read(readings: pd.DataFrame) -> dict[str, float]:
    """Unit -> its latest rest volts [V] that nobody doubts; columns as in the files."""
    rest = pd.Series(trusted_values(readings)["rest_v"], index=readings["unit"].astype(str))
    in_order = rest.iloc[np.argsort(readings["taken_at"].to_numpy(), kind="stable")].dropna()
    return {str(unit): float(volts) for unit, volts in in_order.groupby(level=0).last().items()}


def room_for_discharged(rest_v: float, system_v: int, charged_v: float, *, agm: bool = False) -> float:
    """Probability that a battery that rested at `rest_v` [V] is below `charged_v` [V], surface charge and meter allowed for; 1 where
    its rest volts are not known."""
    if not np.isfinite(rest_v):
        return 1.0
    open_v, error = open_circuit(rest_v, system_v=system_v, agm=agm)
    return float(_normal_below((charged_v - open_v) / np.hypot(error, INSTRUMENT.battery_v * system_v / 12.0)))


def cause_probabilities(shares: Floats, last_slip: Floats, settings: PlanSettings, discharged: Floats) -> Floats:
    """(n, causes) from part shares (n, 7): parts split into their causes, a slip taking its share of everything.

    discharged: (n,) by how much less than usual a battery is likely to be discharged, because its rest volts are known.  Raises
    ValueError for shares or slips outside 0 to 1, or shares above one in all.
    """
    _check("shares", shares)
    _check("last_slip", last_slip)
    total = shares.sum(axis=1)
    if (total > 1.0 + 1e-6).any():
        raise ValueError(f"shares add up to {total.max():.4g}; allowed are sums of 0 to 1")
    out = np.zeros((len(shares), len(NAMES)))
    for h, (cause, part) in enumerate(CAUSES.items()):
        if part:
            cheap: float | Floats = settings.clean_success.get(part, 0.0) if part in CHEAP.values() else 0.0
            if part == "battery":
                cheap = cheap * discharged
            out[:, h] = shares[:, PARTS.index(part)] * (cheap if cause in CHEAP else 1.0 - cheap)
    out[:, SOUND] = np.maximum(1.0 - total, 0.0)
    out *= (1.0 - last_slip)[:, None]
    out[:, SLIP] = last_slip
    return np.asarray(out / out.sum(axis=1, keepdims=True), dtype=np.float64)


def information_values(
    belief: Floats,
    no_start_probability: Floats,
    *,
    settings: PlanSettings,
    no_start_cost: Floats,
    candidates: Sequence[Candidate] = CANDIDATES,
) -> InformationValues:
    """Value of every candidate, and the cost of the best act now, for n vehicles.

    belief: (n, causes) probabilities; no_start_probability: (n,) if nothing is done; no_start_cost: (n,) [money].
    Raises ValueError for probabilities outside 0 to 1 and negative costs.
    """
    _check("belief", belief)
    _check("no_start_probability", no_start_probability)
    if not (np.isfinite(no_start_cost) & (no_start_cost >= 0)).all():
        raise ValueError(f"no_start_cost has {no_start_cost.min()}; allowed are amounts of 0 and more")
    cost = decision_costs(belief, no_start_probability, no_start_cost, settings)
    likely = outcome_probabilities(candidates)
    now = np.einsum("nah,nh->na", cost, belief).min(axis=1)
    value = np.zeros((len(belief), len(candidates)))
    for i in range(0, len(belief), CHUNK):
        part = slice(i, i + CHUNK)
        joint = np.einsum("nah,nh->nah", cost[part], belief[part]) @ likely.reshape(len(NAMES), -1)
        best = joint.min(axis=1).reshape(-1, len(candidates), likely.shape[2]).sum(axis=2)
        value[part] = now[part, None] - best
    return InformationValues(np.maximum(value, 0.0), now)


def decision_costs(
    belief: Floats, no_start_probability: Floats, no_start_cost: Floats, settings: PlanSettings
) -> Floats:
    """(n, actions, causes) cost of each act when each cause is the true one [money].

    The right repair costs itself.  Any other act costs itself, the right repair later, and the no-start meanwhile
    with its probability, at which the repair also takes more hours.  Without a fault only the act costs.
    """
    act, cures, repair, hours = _remedies(settings)
    faulty = np.array([bool(part) for part in CAUSES.values()])
    sound = belief[:, ~faulty].sum(axis=1)
    risk = np.minimum(no_start_probability / np.maximum(1.0 - sound, 1e-9), 1.0)
    dearer = (settings.failure_hours_factor - 1.0) * hours * settings.hour_rate
    left = repair[None, :] + risk[:, None] * (no_start_cost[:, None] + dearer[None, :])
    left = np.where(faulty, left, 0.0)
    return np.asarray(act[None, :, None] + np.where(cures, 0.0, left[:, None, :]), dtype=np.float64)


def _remedies(settings: PlanSettings) -> tuple[Floats, np.ndarray, Floats, Floats]:
    """Cost of each action, which causes it cures (actions, causes), cost and hours of each cause's right repair."""
    rate = settings.hour_rate
    act, cures = [0.0], [np.zeros(len(NAMES), dtype=bool)]
    for part in PARTS:
        act.append(settings.part_price[part] + settings.part_labour_h[part] * rate)
        cures.append(np.array([p == part for p in CAUSES.values()]))
    for cause, part in CHEAP.items():
        act.append((settings.charge_h if part == "battery" else settings.clean_h) * rate)
        cures.append(np.array([c == cause for c in NAMES]))
    repair = [act[1 + PARTS.index(p)] if p else 0.0 for p in CAUSES.values()]
    hours = [settings.part_labour_h[p] if p else 0.0 for p in CAUSES.values()]
    for a, cause in enumerate(CHEAP, start=1 + len(PARTS)):
        repair[NAMES.index(cause)] = min(act[a], repair[NAMES.index(cause)])
        hours[NAMES.index(cause)] = settings.charge_h if CHEAP[cause] == "battery" else settings.clean_h
    return np.array(act), np.stack(cures), np.array(repair), np.array(hours)


def outcome_probabilities(candidates: Sequence[Candidate]) -> Floats:
    """(causes, candidates, outcomes) probability of each outcome class; sums to one over the outcomes."""
    mean = np.array([[c.means.get(cause, 0.0) for c in candidates] for cause in NAMES])
    below = _normal_below(EDGES[None, None, :] - mean[:, :, None])
    full = np.concatenate([np.zeros((*mean.shape, 1)), below, np.ones((*mean.shape, 1))], axis=2)
    return np.asarray(np.diff(full, axis=2), dtype=np.float64)


def _normal_below(z: npt.ArrayLike) -> Floats:
    """Probability that a standard normal is below z; by `math`, because a kept list is shown in less time than scipy.special loads."""
    return 0.5 * np.asarray(_ERFC(-np.asarray(z) / math.sqrt(2.0)), dtype=np.float64)


def _check(name: str, value: Floats) -> None:
    """Raise ValueError naming the argument when a probability is none."""
    wrong = ~(np.isfinite(value) & (value >= 0.0) & (value <= 1.0 + 1e-9))
    if wrong.any():
        raise ValueError(f"{name} has {value[wrong].ravel()[0]}; allowed are probabilities from 0 to 1")
