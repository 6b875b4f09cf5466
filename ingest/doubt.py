"""Values that are stored but not to be taken at face value: ten times (or a tenth of) what this vehicle showed before.

A slipped decimal point lands near ten times a steady past, and nothing else of the start changes with it. A failing
part also rises many times over, mostly on the way, sometimes at once: so a value is doubted only when the earlier ones are
steady, it lies close to ten times both their median and the last, and neither speed nor amps nor the way the start went
bear it out. On a simulated fleet of 300 vehicles this took 13 of 15 slips in voltage drops and all 18 in amps, at the cost
of two of some 180 true rises, which the next reading clears.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ingest.choices import DOUBTING
from ingest.fields import FAILED_STARTS, MAIN_DROPS, QUANTITIES

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FALLEN = {"crank_a": DOUBTING.fallen_amps, **dict.fromkeys(("peak_a", "crank_rpm", "coil_a"), DOUBTING.fallen)}
TELLING_OUTCOMES = ("slow", *FAILED_STARTS)
NEVER_TENFOLD = ("temperature_c", "odometer_km", "crank_s")  # these have no steady level of their own


@dataclass(frozen=True)
class History:
    """Readings sorted by unit and time: unit codes, times, measured values, and per row the system voltage [V].

    confirmed: per row the measurements that were taken twice, comma-joined; outcome: how each start went, '' unknown;
    None where no row has any.
    """

    unit: Ints
    taken_at: npt.NDArray[np.datetime64]
    numbers: dict[str, Floats]
    system_v: Floats
    confirmed: npt.NDArray[np.object_] | None = None
    outcome: npt.NDArray[np.object_] | None = None

    def went(self, row: int) -> str:
        return "" if self.outcome is None else str(self.outcome[row])

    def value(self, name: str, row: int) -> float:
        """A measurement of a row; NaN where there is none."""
        return float(self.numbers[name][row]) if name in self.numbers else float("nan")

    def earlier(self, row: int) -> list[int]:
        """Up to `DOUBTING.earlier` rows of the same vehicle before a row, the latest first."""
        first = max(0, row - DOUBTING.earlier)
        return [r for r in range(row - 1, first - 1, -1) if self.unit[r] == self.unit[row]]

    def before(self, name: str, row: int) -> list[float]:
        """What the same vehicle's last readings before a row show of a measurement, the latest first."""
        return [value for value in (self.value(name, r) for r in self.earlier(row)) if not np.isnan(value)]

    def twice(self, name: str) -> npt.NDArray[np.bool_]:
        out = np.zeros(len(self.unit), dtype=bool)
        if self.confirmed is not None:
            some = np.flatnonzero(self.confirmed != "")
            out[some] = [name in str(self.confirmed[row]).split(",") for row in some]
        return out


@dataclass
class _Marks:
    names: npt.NDArray[np.object_]
    reasons: npt.NDArray[np.object_]
    history: History

    def add(self, rows: Ints, name: str, sentence: Callable[[int], str]) -> None:
        """Mark `name` doubtful in the rows, but where it was measured twice; `sentence(i)` is the reason for rows[i]."""
        twice = self.history.twice(name)
        for index, row in enumerate(rows.tolist()):
            if twice[row] or name in self.names[row].split(","):
                continue
            self.names[row] = f"{self.names[row]},{name}" if self.names[row] else name
            reason = sentence(index)
            self.reasons[row] = f"{self.reasons[row]}; {reason}" if self.reasons[row] else reason


def doubts(history: History) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Return per row the comma-joined names of doubtful measurements and the reasons ('' where there are none).

    Each row is judged by itself and by the same vehicle's earlier readings only, so that no later one changes it. A value
    that was measured twice is not doubted, and what came before it no longer counts as the vehicle's past.
    """
    count = len(history.unit)
    marks = _Marks(np.full(count, "", dtype=object), np.full(count, "", dtype=object), history)
    for name, values in history.numbers.items():
        if name not in NEVER_TENFOLD:
            _doubt_tenfold(marks, name, values, history)
    _doubt_odometer(marks, history)
    _doubt_half_voltage(marks, history)
    _doubt_amps(marks, history)
    return marks.names, marks.reasons


# --- against the vehicle's own past ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Past:
    """For candidate rows: the value, the last one, median, smallest and largest of up to five earlier ones."""

    rows: Ints
    value: Floats
    last: Floats
    median: Floats
    smallest: Floats
    largest: Floats
    count: Ints


def _past(
    values: Floats,
    unit: Ints,
    is_candidate: Callable[[Floats, Floats], npt.NDArray[np.bool_]],
    twice: npt.NDArray[np.bool_],
) -> _Past:
    """Look back from rows whose value and last earlier value make them candidates; `twice`: values that begin anew."""
    valid = np.flatnonzero(~np.isnan(values))
    v, u = values[valid], np.cumsum(twice)[valid] + unit[valid] * (1 + np.count_nonzero(twice))
    last = np.full(len(v), np.nan)
    if len(v) > 1:
        last[1:] = np.where(u[1:] == u[:-1], v[:-1], np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.flatnonzero(is_candidate(v, last))
    earlier = np.full((len(at), DOUBTING.earlier), np.nan)
    for lag in range(1, DOUBTING.earlier + 1):
        back = at - lag
        same = (back >= 0) & (u[np.maximum(back, 0)] == u[at])
        earlier[same, lag - 1] = v[back[same]]
    enough = np.count_nonzero(~np.isnan(earlier), axis=1) >= DOUBTING.fewest_earlier
    at, earlier = at[enough], earlier[enough]
    if not len(at):
        none = np.empty(0)
        return _Past(np.empty(0, dtype=np.int64), none, none, none, none, none, np.empty(0, dtype=np.int64))
    return _Past(
        rows=valid[at],
        value=v[at],
        last=last[at],
        median=np.nanmedian(earlier, axis=1),
        smallest=np.nanmin(earlier, axis=1),
        largest=np.nanmax(earlier, axis=1),
        count=np.count_nonzero(~np.isnan(earlier), axis=1),
    )


def _near_ten(ratio: Floats) -> npt.NDArray[np.bool_]:
    return np.asarray((ratio >= DOUBTING.ten_least) & (ratio <= DOUBTING.ten_most), dtype=bool)


def _doubt_tenfold(marks: _Marks, name: str, values: Floats, history: History) -> None:
    past = _past(
        values, history.unit, lambda v, last: _near_ten(v / last) | _near_ten(last / v), history.twice(name)
    )  # fmt: skip
    if not len(past.rows):
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        steady = past.largest <= DOUBTING.steady * past.smallest
        up = steady & _near_ten(past.value / past.median)
        down = steady & _near_ten(past.median / past.value)
    if name in MAIN_DROPS or name == "drop_control_v":
        down &= past.value < DOUBTING.healthy_drop_v * history.system_v[past.rows] / 12.0
    unit = QUANTITIES[name].unit

    def sentence(which: Ints, word: str) -> Callable[[int], str]:
        return lambda index: (
            f"{name} {past.value[which[index]]:g} {unit} is about {word} of this vehicle's last "
            f"{past.count[which[index]]} readings (median {past.median[which[index]]:g} {unit}): decimal point?"
        )

    for flags, word, rises in ((up, "ten times that", True), (down, "a tenth", False)):
        which = np.flatnonzero(flags).astype(np.int64)
        borne = [_borne_out(history, row, name, rises=rises) for row in past.rows[which].tolist()]
        which = which[~np.array(borne, dtype=bool)]
        marks.add(past.rows[which], name, sentence(which, word))


def _borne_out(history: History, row: int, name: str, *, rises: bool) -> bool:
    """Whether speed, amps or the way the start went bear a tenfold change out, so that it is no slip."""
    drop = name in MAIN_DROPS or name == "drop_control_v"
    if name in MAIN_DROPS and not rises:  # hardly any amps flowed, at an open joint for one: drops fall with them
        fewest = min(history.before("crank_a", row), default=float("nan"))
        return _hardly_sags(history, row) and not history.value("crank_a", row) > FALLEN["crank_a"] * fewest
    if drop != rises or name not in (*MAIN_DROPS, "drop_control_v", *FALLEN):
        return False
    if history.went(row) in TELLING_OUTCOMES:
        return True
    if name == "drop_control_v":
        return _fell(history, row, "coil_a")
    if name == "crank_a":
        return _hardly_sags(history, row)
    if not drop:
        return False
    amps = history.before("crank_a", row)
    colder = bool(amps) and history.value("crank_a", row) > DOUBTING.more_amps * max(amps)
    return _fell(history, row, "crank_a") or any(_fell(history, row, n) and not colder for n in ("peak_a", "crank_rpm"))


def _fell(history: History, row: int, name: str) -> bool:
    """Whether a measurement is clearly below all of the vehicle's last ones."""
    before = history.before(name, row)
    return len(before) >= DOUBTING.fewest_earlier and history.value(name, row) <= FALLEN[name] * min(before)


def _as_ever(history: History, row: int, name: str) -> bool:
    """Whether a measurement is near what the vehicle's last ones were."""
    before = history.before(name, row)
    return len(before) >= DOUBTING.fewest_earlier and max(before) / DOUBTING.steady <= history.value(
        name, row
    ) <= DOUBTING.steady * max(before)


def _hardly_sags(history: History, row: int) -> bool:
    """Whether the battery sags clearly less than at the vehicle's last starts."""
    before = [sag for sag in (_sag(history, r) for r in history.earlier(row)) if not np.isnan(sag)]
    return len(before) >= DOUBTING.fewest_earlier and _sag(history, row) <= DOUBTING.less_sag * min(before)


def _sag(history: History, row: int) -> float:
    return history.value("rest_v", row) - history.value("crank_min_v", row)


def _doubt_odometer(marks: _Marks, history: History) -> None:
    values = history.numbers.get("odometer_km")
    if values is None:
        return
    past = _past(
        values, history.unit, lambda v, last: (v < last - DOUBTING.odometer_back_km) | (v > last * DOUBTING.odometer_times),
        history.twice("odometer_km"),
    )  # fmt: skip
    back = past.value < past.median - DOUBTING.odometer_back_km
    ahead = (past.value > past.median * DOUBTING.odometer_times) & (past.median > DOUBTING.odometer_least_km)
    for flags, word in ((back, "runs backwards"), (ahead, "jumps ahead")):
        which = np.flatnonzero(flags).astype(np.int64)
        marks.add(past.rows[which], "odometer_km", _odometer_sentence(past, which, word))


def _odometer_sentence(past: _Past, which: Ints, word: str) -> Callable[[int], str]:
    return lambda index: (
        f"odometer_km {past.value[which[index]]:.0f} km {word}: this vehicle's last readings are about "
        f"{past.median[which[index]]:.0f} km"
    )


# --- against fixed limits --------------------------------------------------------------------------------------------


def _doubt_half_voltage(marks: _Marks, history: History) -> None:
    rest = history.numbers.get("rest_v")
    if rest is None:
        return
    rows = np.flatnonzero((history.system_v == 24.0) & (rest <= DOUBTING.one_battery_v)).astype(np.int64)
    marks.add(
        rows, "rest_v", lambda i: f"rest_v {rest[rows[i]]:g} V on a 24 V system: only one battery of the pair measured?"
    )
    for name in ("crank_min_v", "crank_dip_v"):
        _doubt_below_one_battery(marks, name, rows, history)


def _doubt_below_one_battery(marks: _Marks, name: str, rows: Ints, history: History) -> None:
    """Volts while cranking below the rest volts of one battery were measured at the same battery."""
    volts = history.numbers.get(name, np.full(len(history.unit), np.nan))
    below = rows[volts[rows] < history.numbers["rest_v"][rows]]
    marks.add(
        below, name, lambda i: f"{name} {volts[below[i]]:g} V on a 24 V system: measured at the same one battery?"
    )


def _doubt_amps(marks: _Marks, history: History) -> None:
    """Doubt amps that the sag of the battery does not bear out, history or not."""
    if not {"rest_v", "crank_min_v", "crank_a"} <= history.numbers.keys():
        return
    sag = history.numbers["rest_v"] - history.numbers["crank_min_v"]
    amps = history.numbers["crank_a"]
    with np.errstate(divide="ignore", invalid="ignore"):
        mohm = 1000.0 * sag / amps
    low, high = (limit * history.system_v / 12.0 for limit in (DOUBTING.least_mohm, DOUBTING.most_mohm))
    wrong = (sag >= DOUBTING.least_sag_v) & ((mohm < low) | (mohm > high))
    as_ever = [r for r in np.flatnonzero(wrong & (mohm < low)).tolist() if _as_ever(history, r, "crank_a")]
    wrong[as_ever] = False  # then it is the rest volts that were taken under a load
    collapsed = (mohm > high) & (history.numbers["crank_min_v"] < DOUBTING.collapsed * history.numbers["rest_v"])
    rows = np.array(
        [r for r in np.flatnonzero(wrong).tolist() if not (collapsed[r] and history.went(r) in FAILED_STARTS)],
        dtype=np.int64,
    )
    marks.add(
        rows,
        "crank_a",
        lambda i: (
            f"crank_a {amps[rows[i]]:g} A does not fit a sag of {sag[rows[i]]:.2f} V: that would be a battery of "
            f"{mohm[rows[i]]:.2g} mΩ; believable are {low[rows[i]]:g} to {high[rows[i]]:g} mΩ"
        ),
    )
