"""Effects of hands and meters on readings, for all of them at once, by robust least squares (see `analysis.readings.bays`)."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_matrix, diags, hstack, vstack
from scipy.sparse.linalg import splu

from analysis.readings.choices import METERS
from analysis.readings.class_laws import observe
from analysis.readings.observe import CHANNELS, Observations
from analysis.readings.panel import Floats, Ints, Panel, row_quantile, spread_over

EFFECTS = ("amps", "peak amps", "drops", "thermometer")
THERMOMETER = EFFECTS.index("thermometer")
COLUMNS = (
    ("crank_a",),
    ("peak_a",),
    ("drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v"),
    ("temperature_c",),
)
STEP = (0.02, 0.02, 0.02, 2.0)  # relative, and K: steps of the numerical derivatives; small beside the laws' curvature
ENOUGH_READINGS = 250_000  # of larger fleets every so many-th vehicle is looked at: more readings change nothing
SHIFTS = 401  # points at which the common shift of a depot's hands is weighed
SAMPLE = 200  # vehicles per class that the patterns are derived from; for speed
ROUNDS = 4  # of re-weighting; the estimates stand still after three


@dataclass(frozen=True)
class Hands:
    """Who or what made each reading, per effect: codes (4, U, R) with -1 unknown, names and kind of each effect."""

    code: Ints
    names: tuple[tuple[str, ...], ...]
    kind: tuple[str, ...]

    @property
    def kinds(self) -> list[int]:
        """Effects whose codes differ: all meters' are alike."""
        return [0] if self.kind[0] == self.kind[THERMOMETER] else [0, THERMOMETER]

    @property
    def start(self) -> Ints:
        """(5,) where each effect's parameters begin."""
        return np.cumsum([0, *(len(n) for n in self.names)]).astype(np.int64)


@dataclass(frozen=True)
class Pairs:
    """Neighbouring readings of one channel by different hands: flat positions, difference of logs, sd, combination."""

    later: Ints
    earlier: Ints
    difference: Floats
    sd: Floats
    combination: Ints
    design: csr_matrix


def channel_patterns(panel: Panel, observed: Observations) -> Floats:
    """(G, 7, 4) log change of each channel per unit of each effect, by numerical derivative of `observe` itself."""
    read = panel.present.any(axis=1)
    some = np.concatenate([spread_over((panel.group == g) & read, SAMPLE) for g in range(len(panel.groups))])
    small = panel.of(some)
    plain = observe(small, observed.laws).value
    out = np.zeros((len(panel.groups), len(CHANNELS), len(EFFECTS)))
    for k, columns in enumerate(COLUMNS):
        measured = dict(small.measured)
        for name in columns:
            measured[name] = measured[name] + STEP[k] if k == THERMOMETER else measured[name] * (1.0 + STEP[k])
        moved = observe(replace(small, measured=measured), observed.laws).value
        with np.errstate(divide="ignore", invalid="ignore"):
            change = np.log(moved / plain) / STEP[k]
        for g in range(len(panel.groups)):
            for c in range(len(CHANNELS)):
                mine = change[c, small.group == g]
                mine = mine[np.isfinite(mine)]
                out[g, c, k] = np.median(mine) if len(mine) else 0.0
    return out


def sample_vehicles(panel: Panel) -> Ints:
    """Vehicles to look at: all, or of every class and depot the same share of them."""
    every = max(1, int(np.ceil(panel.present.sum() / ENOUGH_READINGS)))
    depot = pd.factorize(panel.units["depot"])[0]
    rank = pd.Series(panel.group).groupby([panel.group, depot]).cumcount().to_numpy()
    return np.flatnonzero(rank % every == 0).astype(np.int64)


def who_read(panel: Panel, readings: pd.DataFrame) -> Hands:
    """Codes of technicians; of instruments for the three gains where most readings name one."""
    technician = _codes(panel, readings, "technician")
    instrument = _codes(panel, readings, "instrument")
    named = float((instrument[0] >= 0).sum()) / max(1, int(panel.present.sum()))
    meters = ("instrument", *instrument) if named >= METERS.named_share else ("technician", *technician)
    per_effect = [meters if k != THERMOMETER else ("technician", *technician) for k in range(len(EFFECTS))]
    return Hands(
        np.stack([code for _, code, _ in per_effect]),
        tuple(names for _, _, names in per_effect),
        tuple(kind for kind, _, _ in per_effect),
    )


def _codes(panel: Panel, readings: pd.DataFrame, column: str) -> tuple[Ints, tuple[str, ...]]:
    """(U, R) code of what `column` says of each reading, -1 for nothing, and the names."""
    code = np.full(panel.row.shape, -1, dtype=np.int64)
    if column not in readings or readings.empty:
        return code, ()
    labels = readings[column].astype("str").str.strip()
    labels = labels.where(readings[column].notna() & (labels != ""))
    found, names = pd.factorize(labels, sort=True)
    code[panel.present] = found[panel.row[panel.present]]
    return code, tuple(str(n) for n in names)


def _pairs(panel: Panel, observed: Observations, who: Hands, pattern: Floats, c: int) -> Pairs:
    """Every reading of channel `c` with the one before it, where they were made by different hands."""
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.log(observed.value[c])
        sd = np.maximum(observed.se[c] / np.abs(observed.value[c]), METERS.least_se)
    known = np.isfinite(y) & np.isfinite(sd) & panel.present
    width = y.shape[1]
    latest = np.maximum.accumulate(np.where(known, np.arange(width), -1), axis=1)
    before = np.concatenate([np.full((len(y), 1), -1, dtype=np.int64), latest[:, :-1]], axis=1)
    unit, later = np.nonzero(known & (before >= 0))
    earlier = before[unit, later]
    gap = panel.day[unit, later] - panel.day[unit, earlier]
    near = gap <= METERS.longest_gap_d
    unit, later, earlier, gap = unit[near], later[near], earlier[near], gap[near]
    difference = y[unit, later] - y[unit, earlier]
    difference = difference - _usual_growth(difference, gap, panel.group[unit], len(panel.groups)) * gap
    hands = {k: (who.code[k, unit, later], who.code[k, unit, earlier]) for k in who.kinds}
    differ = np.any([a != b for a, b in hands.values()], axis=0)
    hands = {k: (a[differ], b[differ]) for k, (a, b) in hands.items()}
    unit, later, earlier, difference = unit[differ], later[differ], earlier[differ], difference[differ]
    group = panel.group[unit]
    first, combination = _combinations(who, hands, group)
    a, b = (who.code[:, unit[first], at[first]] for at in (later, earlier))
    spread, at = np.hypot(sd[unit, later], sd[unit, earlier]), unit * width
    design = _design(who, pattern, c, a, b, group[first])
    return Pairs(at + later, at + earlier, difference, spread, combination, design)


def _usual_growth(difference: Floats, gap: Floats, group: Ints, n_groups: int) -> Floats:
    """Median change per day of each pair's class: the part of a difference that is plain ageing."""
    rate = np.zeros(n_groups)
    for g in range(n_groups):
        mine = group == g
        if mine.any() and np.median(gap[mine]) > 0:
            rate[g] = np.median(difference[mine]) / np.median(gap[mine])
    return rate[group]


def _combinations(who: Hands, hands: dict[int, tuple[Ints, Ints]], group: Ints) -> tuple[Ints, Ints]:
    """The first pair of each distinct (hands of the later reading, hands of the earlier one, class), and which of them each pair
    is; hands: of both readings, by kind."""
    key = group.copy()
    for side in range(2):
        for k, codes in hands.items():
            key = key * (len(who.names[k]) + 1) + codes[side] + 1
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    return first, which.astype(np.int64)


def _design(who: Hands, pattern: Floats, c: int, a: Ints, b: Ints, group: Ints) -> csr_matrix:
    """(combinations, P) how a difference of channel `c` follows from the effects of its two hands."""
    rows = np.arange(len(group))
    at, column, value = [], [], []
    for k in range(len(EFFECTS)):
        for code, sign in ((a[k], 1.0), (b[k], -1.0)):
            real = code >= 0
            at.append(rows[real])
            column.append(who.start[k] + code[real])
            value.append(sign * pattern[group[real], c, k])
    shape = (len(group), int(who.start[-1]))
    return csr_matrix((np.concatenate(value), (np.concatenate(at), np.concatenate(column))), shape=shape)


@dataclass(frozen=True)
class Anchors:
    """What depots say about each other: alike vehicles are alike on average, to within `depot_sd`.

    Differences within vehicles do not say which of two bays of a depot is wrong; the level of a depot's vehicles
    against the same class elsewhere does.  design: (cells, P) whose readings a level rests on; level and precision of
    each cell (class, depot, channel); peer: which cells share class and channel, and so a common level.
    """

    design: csr_matrix
    level: Floats
    precision: Floats
    peer: Ints

    def normal(self) -> csr_matrix:
        """(P, P) precision."""
        return csr_matrix(self.design.T @ diags(np.asarray(self.precision, dtype=np.float64)) @ self.design)

    def beyond(self, value: Floats) -> Floats:
        """(cells,) how far the effects `value` put each level above the common level that fits them best."""
        left = self.level - self.design @ value
        total = np.bincount(self.peer, weights=self.precision)
        common = np.bincount(self.peer, weights=self.precision * left) / np.maximum(total, 1e-12)
        return np.asarray(common[self.peer] - left, dtype=np.float64)

    def right(self, value: Floats) -> Floats:
        """(P,) right side, the common levels being those that fit the effects `value`."""
        return np.asarray(
            self.design.T @ (self.precision * (self.design @ value - self.beyond(value))), dtype=np.float64
        )


def _anchors(panel: Panel, observed: Observations, who: Hands, pattern: Floats) -> Anchors:
    """Cells with enough vehicles, of classes that stand at two depots or more."""
    depot = pd.factorize(panel.units["depot"])[0]
    n_depots, channels = int(depot.max(initial=-1)) + 1, len(CHANNELS)
    cell = panel.group * n_depots + depot
    n_cells = len(panel.groups) * n_depots
    with np.errstate(divide="ignore", invalid="ignore"):
        middle = row_quantile(np.log(observed.value), 0.5)
    level, precision = np.zeros((n_cells, channels)), np.zeros((n_cells, channels))
    for one in range(n_cells):
        for c in range(channels):
            mine = middle[c, cell == one]
            mine = mine[np.isfinite(mine)]
            if len(mine) >= METERS.fewest_vehicles:
                spread = float(observed.laws.base_sd[one // n_depots, c])
                centre = float(np.median(mine))
                level[one, c] = np.clip(
                    mine, centre - METERS.apart_sd * spread, centre + METERS.apart_sd * spread
                ).mean()
                precision[one, c] = 1.0 / (METERS.depot_sd**2 + spread**2 / len(mine))
    group = np.arange(n_cells) // n_depots
    depots_of = (precision > 0).reshape(-1, n_depots, channels).sum(axis=1)[group]
    rows, at = np.nonzero((precision > 0) & (depots_of >= 2))
    blocks = [
        _shares(panel, who, k, cell, n_cells)[rows].multiply(pattern[group[rows], at, k][:, None]) for k in range(4)
    ]
    return Anchors(csr_matrix(hstack(blocks)), level[rows, at], precision[rows, at], (group[rows] * channels + at))


def _shares(panel: Panel, who: Hands, k: int, cell: Ints, n_cells: int) -> csr_matrix:
    """(cells, hands) share that each hand has in a cell's readings of effect `k`'s columns, vehicles counting alike."""
    seen = np.logical_or.reduce([np.isfinite(panel.measured[name]) for name in COLUMNS[k]])
    count = seen.sum(axis=1)
    unit, at = np.nonzero(seen & (who.code[k] >= 0))
    in_cell = np.bincount(cell[count > 0], minlength=n_cells)
    weight = 1.0 / (count[unit] * in_cell[cell[unit]])
    return csr_matrix((weight, (cell[unit], who.code[k, unit, at])), shape=(n_cells, len(who.names[k])))


@dataclass(frozen=True)
class Estimate:
    """(P,) effects, their standard errors, and those of the differences to the other hands of the same depot."""

    value: Floats
    se: Floats
    se_beside: Floats


def estimate(panel: Panel, observed: Observations, who: Hands, before: Floats) -> Estimate:
    """Effects of all hands, where `before` (P,) has already been taken out of the panel; robust, errors by vehicle.

    Most meters are taken for sound (Cauchy prior about zero), and it is weighed in every depot which of its hands
    are the right ones: their differences alone do not say.
    """
    pattern = channel_patterns(panel, observed)
    pairs = [_pairs(panel, observed, who, pattern, c) for c in range(len(CHANNELS))]
    for p in pairs:
        p.difference[:] += (p.design @ before)[p.combination]
    anchors = _anchors(panel, observed, who, pattern)
    anchors = replace(anchors, level=anchors.level + anchors.design @ before)
    sound = np.repeat(METERS.sound, np.diff(who.start))
    teams = _teams(panel, who)
    value, normal, weights = _solve(pairs, anchors, sound, np.zeros(len(sound)))
    total = csr_matrix(normal + anchors.normal())
    for team in teams * 2:
        shift, density = _shifts(value, team, sound, total, anchors)
        value[team] += shift[int(density.argmax())]
    value, normal, weights = _solve(pairs, anchors, sound, value)
    total = csr_matrix(normal + anchors.normal())
    spread, mean = np.zeros(len(value)), np.zeros(len(value))
    for team in teams:
        shift, density = _shifts(value, team, sound, total, anchors)
        mean[team] = float(shift @ density)
        spread[team] = np.sqrt(float((shift - mean[team[0]]) ** 2 @ density))
    lean = diags(np.asarray(2.0 / (sound**2 + value**2), dtype=np.float64))
    factor = splu((total + lean).tocsc())
    middle = (_vehicle_scores(panel, pairs, weights, value, who, pattern) + anchors.normal() + lean).toarray()
    variance = (factor.solve(middle) * factor.solve(np.eye(len(value)))).sum(axis=1)
    beside = np.sqrt(np.maximum(variance, 1e-16))
    return Estimate(value + mean, np.hypot(beside, spread), beside)


def _solve(
    pairs: list[Pairs], anchors: Anchors, sound: Floats, start: Floats
) -> tuple[Floats, csr_matrix, list[Floats]]:
    """(P,) effects, (P, P) precision of the pairs, weights of the pairs: least squares, re-weighted a few times."""
    value, fixed = start.copy(), anchors.normal()
    begin = np.cumsum([0, *(p.design.shape[0] for p in pairs)])
    design = csr_matrix(vstack([p.design for p in pairs]))
    combination = np.concatenate([p.combination + first for p, first in zip(pairs, begin[:-1], strict=True)])
    difference, sd = np.concatenate([p.difference for p in pairs]), np.concatenate([p.sd for p in pairs])
    across = csr_matrix(design.T)
    normal, w = csr_matrix(fixed.shape), np.zeros(len(sd))
    for _ in range(ROUNDS):
        z = np.abs(difference - (design @ value)[combination]) / sd
        w = np.where(z < METERS.reject, np.minimum(1.0, METERS.huber / np.maximum(z, 1e-9)), 0.0) / sd**2
        total, summed = (np.bincount(combination, weights=x, minlength=int(begin[-1])) for x in (w, w * difference))
        normal = csr_matrix(across @ diags(np.asarray(total, dtype=np.float64)) @ design)
        right = anchors.right(value) + across @ summed
        lean = diags(np.asarray(2.0 / (sound**2 + value**2), dtype=np.float64))
        value = np.asarray(splu((normal + fixed + lean).tocsc()).solve(right), dtype=np.float64)
    return value, normal, np.split(w, np.cumsum([len(p.sd) for p in pairs])[:-1])


def home_depots(panel: Panel, code: Ints, n: int) -> tuple[Ints, npt.NDArray[np.str_]]:
    """(n,) depot of most readings of each hand, -1 for none, and the depots' names."""
    depot, names = pd.factorize(panel.units["depot"].astype("str"))
    size = max(len(names), 1)
    real = code >= 0
    unit = np.broadcast_to(np.arange(len(code))[:, None], code.shape)
    count = np.bincount(code[real] * size + np.maximum(depot[unit[real]], 0), minlength=n * size).reshape(n, size)
    return np.where(count.sum(axis=1) > 0, count.argmax(axis=1), -1).astype(np.int64), np.array(names, dtype=np.str_)


def _teams(panel: Panel, who: Hands) -> list[Ints]:
    """Positions of the hands of one depot and one effect, for every depot and effect."""
    out = []
    for k in range(len(EFFECTS)):
        home, depots = home_depots(panel, who.code[k], len(who.names[k]))
        out += [who.start[k] + np.flatnonzero(home == d) for d in range(len(depots)) if (home == d).any()]
    return out


def _shifts(value: Floats, team: Ints, sound: Floats, total: csr_matrix, anchors: Anchors) -> tuple[Floats, Floats]:
    """Common shifts of one depot's hands, and how probable each is: by the prior, the anchors and shared hands."""
    reach = 1.2 * float(np.abs(value[team]).max()) + 3.0 * float(sound[team[0]])
    shift = np.linspace(-reach, reach, SHIFTS)
    ones = np.zeros(len(value))
    ones[team] = 1.0
    curve = float(ones @ (total @ ones))
    slope = float((anchors.design @ ones) @ (anchors.precision * anchors.beyond(value)))
    moved = (value[team][:, None] + shift) / sound[team][:, None]
    loss = 0.5 * curve * shift**2 + slope * shift + np.log1p(moved**2).sum(axis=0)
    density = np.exp(-(loss - loss.min()))
    return shift, density / density.sum()


def _vehicle_scores(
    panel: Panel, pairs: list[Pairs], weights: list[Floats], value: Floats, who: Hands, pattern: Floats
) -> csr_matrix:
    """(P, P) sum over vehicles of squared scores: errors that a vehicle's channels and neighbours share count once."""
    shape = panel.row.shape
    group = np.repeat(panel.group, shape[1])
    score = np.zeros((len(EFFECTS), shape[0] * shape[1]))
    for c, (p, w) in enumerate(zip(pairs, weights, strict=True)):
        left = w * (p.difference - (p.design @ value)[p.combination])
        for k in range(len(EFFECTS)):
            moved = left * pattern[group[p.later], c, k]
            score[k][p.later] += moved
            score[k][p.earlier] -= moved
    unit = np.repeat(np.arange(shape[0]), shape[1])
    data, rows, columns = [], [], []
    for k in range(len(EFFECTS)):
        code = who.code[k].ravel()
        real = (code >= 0) & (score[k] != 0.0)
        data.append(score[k][real])
        rows.append(unit[real])
        columns.append(who.start[k] + code[real])
    per_vehicle = csr_matrix(
        (np.concatenate(data), (np.concatenate(rows), np.concatenate(columns))), shape=(shape[0], int(who.start[-1]))
    )
    few = METERS.fewest_vehicles / (METERS.fewest_vehicles - 1.0)
    return csr_matrix(few * (per_vehicle.T @ per_vehicle))
