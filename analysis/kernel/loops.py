"""Loops over vehicles and draws, written so that numba compiles them: one vehicle stays in the cache from first to last.

Each does for some vehicles (`first` up to `stop`) what its caller does with whole arrays, and writes its last arguments.
Nothing here is run as it stands: see `ready`. 32-bit floats stay so, because a number of Python would widen them.
"""

from __future__ import annotations

import math
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

Singles: TypeAlias = npt.NDArray[np.float32]
Doubles: TypeAlias = npt.NDArray[np.float64]
Places: TypeAlias = npt.NDArray[np.int64]
Marks: TypeAlias = npt.NDArray[np.bool_]

NIL: Final = np.float32(0.0)
ONE: Final = np.float32(1.0)
MILLI: Final = np.float32(0.001)
LEAST_RISE_V: Final = np.float32(1e-6)  # as `crossing` of `starting.coldest_start`

OPEN_V, BRUSH_LOST_V, REFERENCE_RPM, EMF_V, COIL_MOHM, SPEED_SHARE, SOUND_MOHM, PER_12, AID_A, AID_BELOW_C = range(10)
"""Columns of `circuit` in :func:`coldest_on_levels`."""


def one_start(
    open_v: Any,
    brush: Any,
    share: Any,
    per_12: Any,
    aid: Any,
    emf: Any,
    reference_v: Any,
    battery: Any,
    asked: Any,
    cables: Any,
    contacts: Any,
    motor: Any,
    sound: Any,
    control_mohm: Any,
    coil_mohm: Any,
    warm: Any,
) -> tuple[Any, Any, Any]:
    """Speed [rpm], supply and coil [V per 12 V] of a vehicle, a draw and a temperature: the equations of `starting.loop`.

    battery [ohm] and asked [A] at the temperature; cables ... sound [ohm], coil_mohm at 20 degC, where copper has 1 / warm.
    """
    left_v = open_v - aid * battery
    drive = left_v - brush
    loop = battery + (cables * warm + contacts) + motor * warm
    turning = drive - asked * (ONE - share) * loop
    slowed = turning / (ONE + asked * share * loop / reference_v)
    # the smaller of the two, and not a number where either is none
    back = turning if turning < slowed or turning != turning else slowed
    amps = (
        asked
        * ((ONE - share) + share * drive / reference_v)
        / (ONE + asked * share * (battery + sound * warm) / reference_v)
    )
    volts = left_v - amps * battery
    warm_coil = coil_mohm * warm
    on_coil = volts * warm_coil / (warm_coil + control_mohm)
    return back / emf, volts * per_12, (volts if volts < on_coil or volts != volts else on_coil) * per_12


def coldest_on_levels(
    first: int,
    stop: int,
    level: Singles,
    field: Singles,
    base: Singles,
    circuit: Singles,
    group: Places,
    load_place: Places,
    battery_cold: Singles,
    load_cold: Singles,
    copper: Singles,
    grid_c: Singles,
    below_c: Any,
    least_level: Any,
    speed_levels: Singles,
    supply_levels: Singles,
    coil_levels: Singles,
    speed_c: Singles,
    supply_c: Singles,
    coil_c: Singles,
) -> None:
    """Coldest starts by speed (S, U, K), supply (V, U, K) and coil (C, U, K) at so many levels of each need.

    level: (7, U, K) drawn multiples of base (U, 7), in the order of CHANNELS; field (U, K); circuit: (U, 10) columns as
    above; group, load_place (U,) of battery_cold (G, T, K) and load_cold (L, T, K): times its value at 20 degC; copper (T,); grid_c (T,)
    rising.
    """
    temperatures, draws = len(grid_c), field.shape[1]
    step = grid_c[1] - grid_c[0]
    speed, supply, coil = (
        np.empty((temperatures, draws), np.float32),
        np.empty((temperatures, draws), np.float32),
        np.empty((temperatures, draws), np.float32),
    )
    value = np.empty((7, draws), np.float32)
    last = np.empty(draws, np.int32)
    for u in range(first, stop):
        g, engine = group[u], load_place[u]
        open_v, brush = circuit[u, OPEN_V], circuit[u, BRUSH_LOST_V]
        reference, emf_v = circuit[u, REFERENCE_RPM], circuit[u, EMF_V]
        share, per_12 = circuit[u, SPEED_SHARE], circuit[u, PER_12]
        for c in range(7):
            for k in range(draws):
                own = level[c, u, k]
                value[c, k] = (least_level if own < least_level else own) * base[u, c]
        for t in range(temperatures):
            warm = copper[t]
            aid = circuit[u, AID_A] if grid_c[t] < circuit[u, AID_BELOW_C] else NIL
            coil_mohm, sound = circuit[u, COIL_MOHM], circuit[u, SOUND_MOHM] * MILLI
            for k in range(draws):
                emf = emf_v / reference * field[u, k]
                speed[t, k], supply[t, k], coil[t, k] = one_start(
                    open_v, brush, share, per_12, aid, emf, emf * reference,
                    value[0, k] * MILLI * battery_cold[g, t, k], value[5, k] * load_cold[engine, t, k],
                    (value[1, k] + value[2, k]) * MILLI, value[3, k] * MILLI, value[4, k] * MILLI, sound,
                    value[6, k], coil_mohm, warm,
                )  # fmt: skip
        for need in range(3):
            curve = speed if need == 0 else supply if need == 1 else coil
            levels = speed_levels if need == 0 else supply_levels if need == 1 else coil_levels
            found = speed_c if need == 0 else supply_c if need == 1 else coil_c
            for n in range(levels.shape[0]):
                for k in range(draws):
                    last[k] = -1
                for t in range(temperatures):
                    for k in range(draws):
                        last[k] = t if curve[t, k] - levels[n, u, k] < NIL else last[k]
                for k in range(draws):
                    at = last[k]
                    if at < 0:
                        found[n, u, k] = below_c
                    elif at == temperatures - 1:
                        found[n, u, k] = grid_c[at] + step
                    else:
                        short = curve[at, k] - levels[n, u, k]
                        rise = (curve[at + 1, k] - levels[n, u, k]) - short
                        along = -short / (LEAST_RISE_V if rise < LEAST_RISE_V else rise)
                        found[n, u, k] = grid_c[at] + step * (ONE if along > ONE else NIL if along < NIL else along)


STARTER_MOTOR, CONTROL_CIRCUIT, ENGINE_DRAG, CHARGED = 4, 5, 6, 7
"""Bits of `renewed` in :func:`coldest_with_renewed`: places in PARTS, which before these are those of channels, and one more."""
LOAD, CONTROL = 5, 6  # places of channels; the first belongs to two parts
SURELY: Final = np.float32(1.0001)  # more than rounding makes of a bound


def coldest_with_renewed(
    first: int,
    stop: int,
    rows: Places,
    renewed: Places,
    level: Singles,
    near: Singles,
    unrenewed: bool,
    field: Singles,
    weak: Marks,
    built: Singles,
    base: Singles,
    circuit: Singles,
    group: Places,
    load_place: Places,
    battery_cold: Singles,
    load_cold: Singles,
    copper: Singles,
    grid_c: Singles,
    below_c: Any,
    least_level: Any,
    battery_most: Singles,
    load_most: Singles,
    copper_load_most: Singles,
    speed_need: Singles,
    supply_need: Singles,
    coil_need: Singles,
    as_charged: Singles,
    charged: Singles,
    coldest: Singles,
) -> None:
    """Coldest starts (R, K) of the vehicles `rows` (R,) by whichever need falls short first, with parts `renewed` (R,) in bits.

    near: (U, K) coldest starts near which the search begins; unrenewed: whether they are those with nothing renewed, so that
    draws which no renewal touches keep theirs.  weak: (U, K); built: (U, K) level that the engine's load returns to; battery_most (G, T, K),
    load_most, copper_load_most (L, T, K): the most of battery_cold, of load_cold and of its product with copper at a temperature
    and above it; floors as_charged (U, K) and charged (U,) [degC]; all others as in :func:`coldest_on_levels`.

    From a temperature at which nothing falls short there or above, were the most asked at once, the search goes colder until
    something does or the floor is reached.
    """
    temperatures, draws = len(grid_c), field.shape[1]
    step = grid_c[1] - grid_c[0]
    touched = np.empty(LOAD, np.int64)
    for i in range(first, stop):
        u, parts, many = rows[i], renewed[i], 0
        for c in range(LOAD):
            if (parts >> c) & 1 == 1:
                touched[many] = c
                many += 1
        g, engine, new_starter, new_charge = (
            group[u],
            load_place[u],
            (parts >> STARTER_MOTOR) & 1 == 1,
            (parts >> CHARGED) & 1 == 1,
        )
        new_engine, new_control = (parts >> ENGINE_DRAG) & 1 == 1, (parts >> CONTROL_CIRCUIT) & 1 == 1
        open_v, brush = circuit[u, OPEN_V], circuit[u, BRUSH_LOST_V]
        reference, emf_v = circuit[u, REFERENCE_RPM], circuit[u, EMF_V]
        share, per_12, bounded = circuit[u, SPEED_SHARE], circuit[u, PER_12], NIL <= circuit[u, SPEED_SHARE] <= ONE
        coil_mohm, sound_ohm = circuit[u, COIL_MOHM], circuit[u, SOUND_MOHM] * MILLI
        for k in range(draws):
            before, floor = near[u, k], as_charged[u, k]
            turns, new_load = field[u, k], new_starter if weak[u, k] else new_engine
            load_back = ONE if weak[u, k] else built[u, k]
            stronger = new_starter and weak[u, k] and turns < ONE
            if unrenewed:
                better = (new_load and level[LOAD, u, k] > load_back) or (new_control and level[CONTROL, u, k] > ONE)
                for n in range(many):
                    better |= level[touched[n], u, k] > ONE
                if not better and not stronger and (not new_charge or before > floor):
                    coldest[i, k] = before
                    continue
            if new_charge:
                floor = charged[u]
            if unrenewed and not stronger and before <= floor:
                coldest[i, k] = floor
                continue
            own = level[0, u, k]
            own = ONE if parts & 1 == 1 and own > ONE else own
            battery_ohm = (least_level if own < least_level else own) * base[u, 0] * MILLI
            own = level[1, u, k]
            own = ONE if (parts >> 1) & 1 == 1 and own > ONE else own
            cable_mohm = (least_level if own < least_level else own) * base[u, 1]
            own = level[2, u, k]
            own = ONE if (parts >> 2) & 1 == 1 and own > ONE else own
            cables_ohm = (cable_mohm + (least_level if own < least_level else own) * base[u, 2]) * MILLI
            own = level[3, u, k]
            own = ONE if (parts >> 3) & 1 == 1 and own > ONE else own
            contacts_ohm = (least_level if own < least_level else own) * base[u, 3] * MILLI
            own = level[4, u, k]
            own = ONE if new_starter and own > ONE else own
            motor_ohm = (least_level if own < least_level else own) * base[u, 4] * MILLI
            own = level[LOAD, u, k]
            own = load_back if new_load and own > load_back else own
            load_a = (least_level if own < least_level else own) * base[u, LOAD]
            own = level[CONTROL, u, k]
            own = ONE if new_control and own > ONE else own
            control_mohm = (least_level if own < least_level else own) * base[u, CONTROL]
            emf = emf_v / reference * (ONE if stronger else turns)
            reference_v = emf * reference
            need_rpm, need_v, need_coil_v = speed_need[u, k], supply_need[u, k], coil_need[u, k]
            cell = min(max((before - grid_c[0]) / step, NIL), np.float32(temperatures))  # not a number: the warmest
            t = min(int(cell) + 1, temperatures - 1) if cell == cell else temperatures - 1
            found, surely, begun = below_c, unrenewed and not stronger, False
            rpm_above, volts_above, coil_above = NIL, NIL, NIL
            while t >= 0:
                warm = copper[t]
                aid = circuit[u, AID_A] if grid_c[t] < circuit[u, AID_BELOW_C] else NIL
                if not surely and t < temperatures - 1:
                    battery, asked = battery_ohm * battery_most[g, t, k], load_a * load_most[engine, t, k]
                    lost = asked * (battery + contacts_ohm) + load_a * copper_load_most[engine, t, k] * (
                        cables_ohm + motor_ohm
                    )
                    left_v = open_v - aid * battery
                    turning = left_v - brush - (ONE - share) * lost
                    least_v = left_v - battery * (
                        asked
                        * ((ONE - share) + share * (open_v - brush) / reference_v)
                        / (ONE + asked * share * (battery + sound_ohm * warm) / reference_v)
                    )
                    surely = (
                        bounded
                        and emf > NIL
                        and turning > NIL
                        and least_v > NIL
                        and turning / (ONE + share * lost / reference_v) > SURELY * need_rpm * emf
                        and least_v * per_12 > SURELY * need_v
                        and least_v * coil_mohm * warm * per_12
                        > SURELY * need_coil_v * (coil_mohm * warm + control_mohm)
                    )
                    if not surely:
                        t = min(t + 2, temperatures - 1)
                        continue
                rpm, volts, on_coil = one_start(
                    open_v, brush, share, per_12, aid, emf, reference_v,
                    battery_ohm * battery_cold[g, t, k], load_a * load_cold[engine, t, k],
                    cables_ohm, contacts_ohm, motor_ohm, sound_ohm, control_mohm, coil_mohm, warm,
                )  # fmt: skip
                surely = True
                if rpm - need_rpm < NIL or volts - need_v < NIL or on_coil - need_coil_v < NIL:
                    if not begun and t < temperatures - 1:  # by rounding
                        surely, t = False, t + 1
                        continue
                    for n in range(3):
                        lacks = (rpm - need_rpm) if n == 0 else (volts - need_v) if n == 1 else (on_coil - need_coil_v)
                        if not lacks < NIL:
                            continue
                        along = ONE
                        if t < temperatures - 1:
                            above = (
                                (rpm_above - need_rpm)
                                if n == 0
                                else (volts_above - need_v)
                                if n == 1
                                else (coil_above - need_coil_v)
                            )
                            rise = above - lacks
                            along = -lacks / (LEAST_RISE_V if rise < LEAST_RISE_V else rise)
                        one = grid_c[t] + step * (ONE if along > ONE else NIL if along < NIL else along)
                        if one > found or one != one:
                            found = one
                    break
                if grid_c[t] <= floor:
                    break
                rpm_above, volts_above, coil_above, begun = rpm, volts, on_coil, True
                t -= 1
            coldest[i, k] = found if found > floor or found != found else floor


def failed_by_the_end(
    first: int,
    stop: int,
    tables: Doubles,
    none_below_c: Doubles,
    depot: Places,
    rises_k: Doubles,
    lows_c: Doubles,
    coldest_c: Singles,
    place: Places,
    share: Singles,
    failed: Doubles,
    by_end: Doubles,
) -> None:
    """Probability (U, W, K) of a no-start by the end of each of W windows, one after the other.

    tables: (W, D, S, L) over rises_k (S,) and lows_c (L,), nil below none_below_c (W, D); depot (U,); coldest_c: (H, U, K)
    coldest starts at some times;
    place, share: (W + 1,) where the bounds of the windows lie between these; failed: (U, K) by the first bound.
    """
    windows, draws = tables.shape[0], failed.shape[1]
    last_rise, last_low = len(rises_k) - 2, len(lows_c) - 2
    low_step = lows_c[1] - lows_c[0]
    start, end = np.empty(draws, np.float32), np.empty(draws, np.float32)
    rises, lows, by_now = np.empty(draws), np.empty(draws), np.empty(draws)
    for u in range(first, stop):
        d = depot[u]
        for k in range(draws):
            start[k] = coldest_c[place[0], u, k] * (ONE - share[0]) + coldest_c[place[0] + 1, u, k] * share[0]
        for k in range(draws):
            by_now[k] = failed[u, k]
        for w in range(windows):
            b, then, none_below = place[w + 1], share[w + 1], none_below_c[w, d]
            for k in range(draws):
                end[k] = coldest_c[b, u, k] * (ONE - then) + coldest_c[b + 1, u, k] * then
            for k in range(draws):
                rises[k] = min(max(np.float64(end[k] - start[k]), rises_k[0]), rises_k[-1]) - rises_k[0]
                lows[k] = (min(max(np.float64(start[k]), lows_c[0]), lows_c[-1]) - lows_c[0]) / low_step
            for k in range(draws):
                if not start[k] < none_below:
                    j, i = min(int(rises[k]), last_rise), min(int(lows[k]), last_low)
                    across, along = rises[k] - j, lows[k] - i
                    lower = tables[w, d, j, i] * (1.0 - along) + tables[w, d, j, i + 1] * along
                    upper = tables[w, d, j + 1, i] * (1.0 - along) + tables[w, d, j + 1, i + 1] * along
                    by_now[k] = 1.0 - (1.0 - by_now[k]) * (1.0 - (lower * (1.0 - across) + upper * across))
                by_end[u, w, k] = by_now[k]
            for k in range(draws):
                start[k] = end[k]


def failed_by_needs(
    first: int,
    stop: int,
    speed_before: Doubles,
    supply_before: Doubles,
    coil_before: Doubles,
    speed_ahead: Doubles,
    supply_ahead: Doubles,
    coil_ahead: Doubles,
    renewed: Doubles,
    least_alive: float,
    probability: Singles,
) -> None:
    """Probability (W, S, V, C, N) of a no-start in each of W winters for every combination of needs, of N vehicles that stand as read.

    speed (S, N, K), supply (V, N, K) and coil (C, N, K): that a draw fails by one need alone before the look, and with W in front in
    the winters ahead; renewed (N,): share of what failed that was repaired without a record.
    """
    winters, speeds, supplies, coils = speed_ahead.shape[0], len(speed_before), len(supply_before), len(coil_before)
    draws = speed_before.shape[2]
    other, alive = np.empty(draws), np.empty(draws)
    other_ahead = np.empty((winters, draws))
    for n in range(first, stop):
        for v in range(supplies):
            for c in range(coils):
                for k in range(draws):
                    a, b = supply_before[v, n, k], coil_before[c, n, k]
                    other[k] = a if a > b else b
                for w in range(winters):
                    for k in range(draws):
                        a, b = supply_ahead[w, v, n, k], coil_ahead[w, c, n, k]
                        other_ahead[w, k] = a if a > b else b
                for s in range(speeds):
                    stood, fell = 0.0, 0.0
                    for k in range(draws):
                        a = speed_before[s, n, k]
                        a = a if a > other[k] else other[k]
                        alive[k] = 1.0 - a if 1.0 - a > least_alive else least_alive
                        stood += alive[k]
                        fell += a
                    standing = stood + renewed[n] * fell
                    for w in range(winters):
                        fails = 0.0
                        for k in range(draws):
                            a = speed_ahead[w, s, n, k]
                            fails += alive[k] * (a if a > other_ahead[w, k] else other_ahead[w, k])
                        probability[w, s, v, c, n] = fails / standing


def weighted_places(first: int, stop: int, values: Singles, weight: Doubles, share: float, found: Doubles) -> None:
    """Least value (U,) of each vehicle's values (U, N) at or below which `share` of its weight (U, N) lies.

    Around a value out of the middle the others part into lower, equal and higher ones, and the search goes on among those
    that hold the place.
    """
    size = values.shape[1]
    value, own = np.empty(size, np.float32), np.empty(size, np.float64)
    for u in range(first, stop):
        total, many = 0.0, 0
        for k in range(size):
            if weight[u, k] > 0.0:  # what counts nothing is no place but the first
                value[many], own[many] = values[u, k], weight[u, k]
                total += weight[u, k]
                many += 1
        if share <= 0.0 or many == 0:
            found[u] = values[u].min()
            continue
        wanted = share * total
        low, high, below = 0, many, 0.0  # the place lies in low ... high; below: weight of what is lower
        while high - low > 1:
            a, b, c = value[low], value[(low + high) // 2], value[high - 1]
            pivot = max(min(a, b), min(max(a, b), c))
            left, at, right, lower, equal = low, low, high, 0.0, 0.0
            while at < right:
                one, its = value[at], own[at]
                if one < pivot:
                    value[at], own[at] = value[left], own[left]
                    value[left], own[left] = one, its
                    lower += its
                    left += 1
                    at += 1
                elif one > pivot:
                    right -= 1
                    value[at], own[at] = value[right], own[right]
                    value[right], own[right] = one, its
                else:
                    equal += its
                    at += 1
            if left > low and (below + lower >= wanted):
                high = left
            elif below + lower + equal >= wanted or right == high:
                low, high = left, left + 1
            else:
                below += lower + equal
                low = right
        found[u] = value[low]


def places_by_window(
    first: int, stop: int, by_window: Doubles, weight: Doubles, nil_weight: Doubles, shares: Doubles, found: Doubles
) -> None:
    """As :func:`weighted_places` of every window (S, U, W), of 32-bit by_window (U, W, K) and one nil more.

    weight: (U, K); nil_weight: (U,); shares: (S,), rising. From window to window the order of the draws changes little.
    """
    windows, draws = by_window.shape[1], by_window.shape[2]
    value, own, order = np.zeros(draws + 1, np.float32), np.empty(draws + 1), np.empty(draws + 1, np.int64)
    for u in range(first, stop):
        total = nil_weight[u]
        own[draws] = nil_weight[u]
        for k in range(draws + 1):
            order[k] = k
            if k < draws:
                own[k] = weight[u, k]
                total += weight[u, k]
        for w in range(windows):
            for k in range(draws + 1):
                value[k] = by_window[u, w, order[k]] if order[k] < draws else NIL
            for k in range(1, draws + 1):
                its, mine, at = value[k], order[k], k
                while at > 0 and value[at - 1] > its:
                    value[at], order[at] = value[at - 1], order[at - 1]
                    at -= 1
                value[at], order[at] = its, mine
            at, up_to = 0, own[order[0]]
            for s in range(len(shares)):
                while up_to < shares[s] * total and at < draws:
                    at += 1
                    up_to += own[order[at]]
                found[s, u, w] = value[at]


DEPARTURE, DEPARTURE_D, SLIP_SE, SLIP_LOG_SHARE, AMOUNT_SPREAD = range(5)
"""Places in `choice` of :func:`paths_weighed`."""
NIL_IN_SINGLES: Final = -110.0  # a weight of e to less than this is nil in 32-bit floats
NIL_SHARE: Final = (
    1e-30  # a path of a smaller share counts in no figure, and which way of weighing it goes by is of no matter
)


def paths_weighed(
    first: int,
    stop: int,
    before_d: Doubles,
    value: Doubles,
    error: Doubles,
    usable: Marks,
    twice: Marks,
    base_sd: Doubles,
    fail_excess: Doubles,
    log_prior: Doubles,
    columns: Doubles,
    per_day: float,
    design: Places,
    pace: Doubles,
    choice: Doubles,
    weight: Singles,
    base: Singles,
    amount: Singles,
    var_base: Singles,
    var_amount: Singles,
    cov: Singles,
    slip: Doubles,
) -> None:
    """Posteriors over N growth paths (U, N), the first of them steady, from readings (U, R); see `wear.paths`.

    log_prior: (U, N) or (1, N); columns: (T, C) growth `per_day` times a day before the assessment, of which design (N,) takes
    one for each path; pace (N,): a failing excess times it is what a path grows by in (1 a)^power.
    """
    readings, paths, wide, shared = value.shape[1], len(design), columns.shape[1], len(log_prior) == 1
    y, w, at = np.empty(readings), np.empty(readings), np.empty(readings, np.int64)
    s1, s2, sgy = np.zeros(wide + 1), np.zeros(wide + 1), np.zeros(wide + 1)
    column = design.copy()
    column[0] = wide  # the steady path has no growth
    likely, share, found = np.empty((3, paths)), np.empty((3, paths)), np.empty((3, 5, paths))
    total, odds, counts, latest = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    amount_spread = choice[AMOUNT_SPREAD]
    left_out = np.full(3, -1)  # the reading that each way of weighing does without
    own_1, own_2, own_y = np.empty(paths), np.empty(paths), np.empty(paths)
    for u in range(first, stop):
        earliest, last, oldest, newest, many = -1, -1, -np.inf, np.inf, 0
        for r in range(readings - 1, -1, -1):
            if usable[u, r] and np.isfinite(value[u, r]) and np.isfinite(error[u, r]):
                last, newest = max(last, r), min(newest, before_d[u, r])
                if before_d[u, r] >= oldest:
                    earliest, oldest = r, before_d[u, r]
                if many < 3:
                    latest[many] = value[u, r]
                    many += 1
        middle = 1.0
        if many == 1:
            middle = latest[0]
        elif many == 2:
            middle = 0.5 * (latest[0] + latest[1])
        elif many == 3:
            a, b, c = latest[0], latest[1], latest[2]
            middle = max(min(a, b), min(max(a, b), c))
        excess = max(middle - 1.0, 0.0)
        s0, sy = 0.0, 0.0
        for j in range(wide):
            s1[j], s2[j], sgy[j] = 0.0, 0.0, 0.0
        for r in range(readings):
            y[r], w[r], at[r] = 0.0, 0.0, 0
            if not (usable[u, r] and np.isfinite(value[u, r]) and np.isfinite(error[u, r])):
                continue
            departure = choice[DEPARTURE] * excess * min((before_d[u, r] - newest) / choice[DEPARTURE_D], 1.0)
            y[r], w[r] = value[u, r], 1.0 / (error[u, r] * error[u, r] + departure * departure)
            at[r] = int(min(max(np.rint(before_d[u, r] * per_day), 0.0), len(columns) - 1.0))
            s0 += w[r]
            sy += w[r] * y[r]
            began = 0
            while began < wide and columns[at[r], began] == 0.0:  # onsets after the reading come first
                began += 1
            for j in range(began, wide):
                grown = w[r] * columns[at[r], j]
                s1[j] += grown
                s2[j] += grown * columns[at[r], j]
                sgy[j] += grown * y[r]
        ways = 1
        for at_end in range(2):  # is the latest reading so far off that it may be a slip, or the first so far above?
            r = earliest if at_end == 1 else last
            if r < 0 or twice[u, r] or (at_end == 1 and earliest == last):
                continue
            rest = s0 - w[r]
            if rest > 1e-9 * w[r] and w[r] > 0.0:
                away = y[r] - (sy - w[r] * y[r]) / rest
                away = away if at_end == 1 else abs(away)
                if away > choice[SLIP_SE] * np.sqrt(1.0 / rest + 1.0 / w[r]):
                    left_out[ways] = r
                    ways += 1
        p_base = 1.0 / (base_sd[u] * base_sd[u])
        prior = 0 if shared else u
        for way in range(ways):
            for back in range(way):  # its reading is left out; the one that the way before left out comes back
                r, sign = (left_out[way], -1.0) if back == 0 else (left_out[way - 1], 1.0)
                s0 += sign * w[r]
                sy += sign * w[r] * y[r]
                for j in range(wide):
                    grown = sign * w[r] * columns[at[r], j]
                    s1[j] += grown
                    s2[j] += grown * columns[at[r], j]
                    sgy[j] += grown * y[r]
            of_base, with_base = s0 + p_base, sy + p_base
            for n in range(paths):
                own_1[n], own_2[n], own_y[n] = s1[column[n]], s2[column[n]], sgy[column[n]]
            excess_of = fail_excess[u]
            for n in range(paths):  # alone, so that it is done for several paths at once
                mean = excess_of * pace[n]
                spread = max(amount_spread * mean, 1e-6)
                p_amount = 1.0 / (spread * spread)
                both, of_amount, with_amount = own_1[n], own_2[n] + p_amount, own_y[n] + mean * p_amount
                inverse = 1.0 / (of_base * of_amount - both * both)
                new = (of_amount * with_base - both * with_amount) * inverse
                grows = (of_base * with_amount - both * with_base) * inverse
                fits = with_amount * grows + with_base * new - mean * mean * p_amount - p_base
                found[way, 0, n], found[way, 1, n] = new, grows
                found[way, 2, n], found[way, 3, n] = of_amount * inverse, of_base * inverse
                found[way, 4, n] = -both * inverse
                likely[way, n] = 0.5 * fits
                share[way, n] = np.sqrt(p_amount * inverse * p_base)
            most, whole = -np.inf, 0.0
            for n in range(paths):
                likely[way, n] += log_prior[prior, n]
                most = max(most, likely[way, n])
            for n in range(paths):
                less = likely[way, n] - most
                share[way, n] = share[way, n] * math.exp(less) if less > NIL_IN_SINGLES else 0.0
                whole += share[way, n]
            total[way] = most + math.log(whole)
            for n in range(paths):
                share[way, n] /= whole
        slip[u], odds[0], most, whole = 0.0, 0.0, 0.0, 0.0
        for way in range(1, ways):
            r = left_out[way]
            real = total[0] + 0.5 * math.log(w[r] / (2.0 * np.pi)) - 0.5 * w[r] * y[r] * y[r]
            odds[way] = total[way] + choice[SLIP_LOG_SHARE] - real
            most = max(most, odds[way])
        for way in range(ways):
            odds[way] = math.exp(odds[way] - most)
            whole += odds[way]
        if ways > 1 and left_out[1] == last:
            slip[u] = odds[1] / whole
        for n in range(paths):  # of each path one Gaussian with the mean and spread of all ways
            own, new, grows = 0.0, 0.0, 0.0
            for way in range(ways):
                own += share[way, n] * odds[way] / whole
            for way in range(ways):
                counts[way] = share[way, n] * odds[way] / (whole * own) if own > NIL_SHARE else 1.0 / ways
                new += counts[way] * found[way, 0, n]
                grows += counts[way] * found[way, 1, n]
            new_sq, grows_sq, both = 0.0, 0.0, 0.0
            for way in range(ways):
                a, b = found[way, 0, n] - new, found[way, 1, n] - grows
                new_sq += counts[way] * (found[way, 2, n] + a * a)
                grows_sq += counts[way] * (found[way, 3, n] + b * b)
                both += counts[way] * (found[way, 4, n] + a * b)
            weight[u, n], base[u, n], amount[u, n] = own, new, grows
            var_base[u, n], var_amount[u, n], cov[u, n] = new_sq, grows_sq, both


def values_drawn(
    first: int,
    stop: int,
    often: Singles,
    counts: Singles,
    base: Singles,
    amount: Singles,
    var_base: Singles,
    var_amount: Singles,
    cov: Singles,
    even: Doubles,
    amount_z: Doubles,
    base_z: Doubles,
    pace_z: Doubles,
    pace_sd: float,
    now: Doubles,
    then: Doubles,
    ahead_d: Doubles,
    aged: Doubles,
    value: Singles,
    weight: Doubles,
) -> None:
    """Values (H, U, K) drawn from posteriors over N growth paths (U, N), the first of them steady; see `wear.paths`.

    often, counts: (U, N) how often each path is drawn, and what such a draw counts, which its weight (U, K) is multiplied by; even ...
    pace_z: (U, K) chance; now: (N,) growth of each path today, then: (H, N) `ahead_d` (H,) days ahead; aged: (H, U).
    """
    paths, draws = often.shape[1], even.shape[1]
    up_to = np.empty(paths, np.float64)
    for u in range(first, stop):
        total = 0.0
        for n in range(paths):
            total += often[u, n]
            up_to[n] = total
        for n in range(paths):
            up_to[n] /= total
        for k in range(draws):
            n, high = 0, paths - 1  # the first path up to which the weight is that of the place, the steady one mostly
            if up_to[0] >= even[u, k]:
                high = 0
            while n < high:
                middle = (n + high) // 2
                if up_to[middle] < even[u, k]:
                    n = middle + 1
                else:
                    high = middle
            weight[u, k] *= counts[u, n]
            mean, variance, together = np.float64(amount[u, n]), np.float64(var_amount[u, n]), np.float64(cov[u, n])
            drawn, new, pace = 0.0, np.float64(base[u, n]), 1.0
            if n > 0:
                drawn = max(mean + np.sqrt(variance) * amount_z[u, k], 0.0)
                new += together / variance * (drawn - mean)
                pace = np.exp(pace_sd * pace_z[u, k] - 0.5 * pace_sd * pace_sd)
            new += np.sqrt(max(np.float64(var_base[u, n]) - together * together / variance, 1e-12)) * base_z[u, k]
            for h in range(len(ahead_d)):
                grown = now[n] + pace * (then[h, n] - now[n]) if ahead_d[h] > 0.0 else then[h, n]
                value[h, u, k] = new + drawn * grown + aged[h, u]


def path_means(
    first: int,
    stop: int,
    weight: Singles,
    base: Singles,
    amount: Singles,
    var_base: Singles,
    var_amount: Singles,
    cov: Singles,
    shapes: Doubles,
    back: Doubles,
    design: Places,
    surely_sd: float,
    least_weight: float,
    found: Doubles,
) -> None:
    """What posteriors over N growth paths (U, N) come to, amounts below nil held at nil; see `Growth.worn_only`.

    shapes: (2, N) growth of each path at two times; back: (U, C) columns of growth at a time of each vehicle's own, of which
    design (N,) takes one for each path; found: (4, U) mean and variance at the first time, means at the second and at its own.
    """
    paths = weight.shape[1]
    for u in range(first, stop):
        total, mean, later, own, square = 0.0, 0.0, 0.0, 0.0, 0.0
        for n in range(paths):
            w = np.float64(weight[u, n])
            m, b = np.float64(amount[u, n]), np.float64(base[u, n])
            variance, together = np.float64(var_amount[u, n]), np.float64(cov[u, n])
            likely = n > 0 and w > least_weight
            s = math.sqrt(max(variance, 1e-18)) if likely else 0.0
            if likely and m < surely_sd * s:
                z = m / s
                inside = 0.5 * math.erfc(-z * math.sqrt(0.5))
                density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
                held = m * inside + s * density
                slope = together / (s * s)
                b += slope * (held - m)
                variance = np.float64(max((m * m + s * s) * inside + m * s * density - held * held, 0.0))
                m, together = held, slope * variance
            shape = shapes[0, n]
            value = b + m * shape
            total += w
            mean += w * value
            square += w * (value * value + variance * shape * shape + 2.0 * together * shape + var_base[u, n])
            later += w * (b + m * shapes[1, n])
            own += w * (b + (m * back[u, design[n]] if n > 0 else 0.0))
        found[0, u], found[1, u], found[2, u], found[3, u] = mean, square + mean * mean * (total - 2.0), later, own
