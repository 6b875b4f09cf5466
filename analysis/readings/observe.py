"""Volts and amps to seven comparable numbers per reading, each with its standard error ("Seven numbers per reading" in
NUMBERS.md; data manipulation, ISO 13374)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.circuit.battery import RATING_C, bank_cca_a, ice, rating_resistance_mohm
from analysis.circuit.choices import BATTERY_TABLES, INSTRUMENT
from analysis.circuit.limits import AGM, BRUSH_V, COPPER_PER_K, REFERENCE_C, SURFACE_CHARGE_SD_V
from analysis.circuit.temperature import BATTERY_LAW
from analysis.constants import MEDIAN_SE
from analysis.readings.aid import aid_amps, engine_temperature
from analysis.readings.choices import CLASSES, NOISE, OBSERVING
from analysis.readings.lowest import by_the_dip, dip_amps
from analysis.readings.panel import Bools, Floats, Ints, Panel, group_median, nearest_known, nearest_of_same, own_median

CHANNELS = ("battery", "positive_cable", "ground_path", "solenoid_contacts", "motor", "load", "control_circuit")
BATTERY, POSITIVE, GROUND, CONTACTS, MOTOR, LOAD, CONTROL = range(7)


TAKEN_FROM = {  # channel -> measurements that it is made from
    BATTERY: ("rest_v", "crank_min_v", "crank_a"),
    POSITIVE: ("drop_positive_v", "crank_a"),
    GROUND: ("drop_ground_v", "crank_a"),
    CONTACTS: ("drop_contacts_v", "crank_a"),
    MOTOR: ("peak_a", "rest_v", "crank_min_v", "crank_a"),
    LOAD: ("crank_a",),
    CONTROL: ("drop_control_v", "coil_a"),
}


@dataclass(frozen=True)
class LawDoubt:
    """How far a class's temperature law may be out: covariance (G, 2, 2) of its slope [1/K] and curvature [1/K^2], and
    the mean (G, 2) of x and x^2 over the class's readings, x kelvin below 20 degC.

    Usual values come from the same readings, so an error of the law cancels where most of them were taken.
    """

    covariance: Floats
    centre: Floats

    def of_class(self, g: int) -> LawDoubt:
        """The doubt of one class alone."""
        return LawDoubt(self.covariance[g : g + 1], self.centre[g : g + 1])

    def relative_se(self, x: Floats, group: Ints) -> Floats:
        """(U, R) standard error of the log correction of readings taken x kelvin (U, R) below 20 degC."""
        step = np.stack([x, x * x], axis=-1) - self.centre[group][:, None, :]
        variance: Floats = np.einsum("uri,uij,urj->ur", step, self.covariance[group], step)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)


@dataclass(frozen=True)
class SpeedLaw:
    """How fast the engines of each class turn: in this order by speed and by time, one over which stands for speed.

    usual: (2, G) log of it at one volt of back-emf, NaN where the class was never read; law: (2, 2, G) slope [1/K] and curvature
    [1/K^2] by which the cold multiplies the load beside the load's own law; doubt: of those; scatter: (2, G) from start to start;
    between: (2, G) between sound vehicles, both relative.
    """

    usual: Floats
    law: Floats
    doubt: tuple[LawDoubt, LawDoubt]
    scatter: Floats
    between: Floats


@dataclass(frozen=True)
class ClassLaws:
    """What a vehicle class has in common; arrays over G classes.

    battery_per_k, load_per_k: log change per kelvin colder than 20 degC; battery_curve, load_curve: per K^2;
    battery_doubt, load_doubt: how far these may be out; between: (G, 2, 2) covariance of the load's coefficients with the
    battery's, which sags of starts that nobody clamped bring: they tell the sum of both laws; lent: (G, 2) x and x^2 at which the
    usual battery rests on amps that the load's law made of others, see :func:`battery_law_se`;
    base: (G, 7) usual value at 20 degC [mOhm; A for load]; base_sd: (G, 7) spread between healthy vehicles, relative;
    rest_v: (G,) usual rest volts; emf_v: (G,) usual back-emf while cranking at 20 degC, without the brushes' drop; speed_share: (G,) share of the
    load that goes with speed; emf_per_rpm: (G,) [V/rpm], NaN when speed was never read; scatter: (G, 7) measured over
    stated noise; coil_mohm: (G,); inrush: (G, 2) how much of rest volts over peak amps is resistance, and what share of
    the battery's resistance while cranking steadily is there already at the inrush; speed: where speed or time is all that is
    known of some starts.
    """

    battery_per_k: Floats
    battery_curve: Floats
    load_per_k: Floats
    load_curve: Floats
    battery_doubt: LawDoubt
    load_doubt: LawDoubt
    base: Floats
    base_sd: Floats
    rest_v: Floats
    emf_v: Floats
    speed_share: Floats
    emf_per_rpm: Floats
    scatter: Floats
    coil_mohm: Floats
    inrush: Floats
    between: Floats
    lent: Floats
    speed: SpeedLaw | None = None

    @property
    def slowing(self) -> Slowing:
        """How the amps of its usual vehicle fall as the engine slows."""
        return Slowing.of_usual(self.speed_share, self.emf_v, self.base)


@dataclass(frozen=True)
class Slowing:
    """How amps fall as the engine slows: (G,) share of the load that goes with speed, usual back-emf, usual volts over cables,
    contacts and motor, and usual sag of the battery, all at 20 degC [V]."""

    share: Floats
    emf_v: Floats
    others_v: Floats
    sag_v: Floats

    @classmethod
    def of_usual(cls, share: Floats, emf_v: Floats, base: Floats) -> Slowing:
        """From usual values (G, 7)."""
        volts = 1e-3 * base[:, LOAD][:, None] * base
        return cls(share, emf_v, volts[:, [POSITIVE, GROUND, CONTACTS, MOTOR]].sum(axis=1), volts[:, BATTERY])

    def factor(self, group: Ints, x: Floats, law: Floats, low_v: Floats) -> Floats:
        """(U, R) amps over those at full speed: what the lowest volts leave over brushes, cables and motor turns the engine.

        x: kelvin below 20 degC; law: by what the cold multiplies the load; low_v: less the brushes' drop; where it was not read, that
        of a usual battery.
        """
        share, emf, others, sag = (v[group][:, None] for v in (self.share, self.emf_v, self.others_v, self.sag_v))
        over = others * law * (1.0 - COPPER_PER_K.value * x)
        turns = share / (emf + share * over)  # amps by a volt, as a share
        usual_sag = sag * law * np.exp(BATTERY_LAW.log_factor(REFERENCE_C.value - x))
        stands = 1.0 - share - turns * (1.0 - share) * over
        usual = (stands + turns * (emf + others + sag)) / (1.0 + turns * usual_sag)
        found = np.where(np.isfinite(low_v), stands + turns * low_v, usual)
        return np.asarray(np.clip(found, *(1.0 - share + share * ratio for ratio in CLASSES.turns)))


@dataclass(frozen=True)
class Observations:
    """Normalised readings: value, se (7, U, R), NaN where not identified; the laws they were made with; raw helpers.

    least: (U, R) batteries as they would be if bounds of the lowest volts were values; None where the fleet has no bounds.
    turned: (2, U, R) batteries that stand for all that slows a start, told by speed or by time alone; None where there are none;
    habit_sd: (U,) how far a vehicle known by these alone may lie from its class though it is sound, nil for the others.
    """

    value: Floats
    se: Floats
    laws: ClassLaws
    rest_v: Floats
    emf_per_rpm: Floats
    least: Floats | None = None
    turned: Bools | None = None
    habit_sd: Floats | None = None

    def spread(self, group: Ints) -> Floats:
        """(7, U) spread of sound vehicles about the class-usual values."""
        out = self.laws.base_sd[group].T
        if self.habit_sd is None:
            return out
        return np.concatenate([np.hypot(out[:1], self.habit_sd), out[1:]])

    def of(self, rows: Ints) -> Observations:
        """Those of some vehicles."""
        along = {name: getattr(self, name) for name in ("rest_v", "emf_per_rpm", "least", "habit_sd")}
        each = {name: getattr(self, name) for name in ("value", "se", "turned")}
        some = {name: held[rows] for name, held in along.items() if held is not None}
        return replace(self, **some, **{name: held[:, rows] for name, held in each.items() if held is not None})

    def by_meters(self) -> Observations:
        """What volts and amps tell, without what speed or time alone does."""
        if self.turned is None:
            return self
        value = self.value.copy()
        value[BATTERY, self.turned.any(axis=0)] = np.nan
        return replace(self, value=value, laws=replace(self.laws, speed=None), turned=None, habit_sd=None)


@dataclass(frozen=True)
class Raw:
    """Per reading (U, R), at the measured temperature: amps used and their relative error, resistances [mOhm].

    ice: log of what ice in the battery multiplies its resistance by, and the standard error.
    """

    x: Floats  # kelvin colder than the reference
    engine_x: Floats  # the same of the engine, which a block heater may have warmed
    temperature_se: Floats
    rest_v: Floats
    rest_se: Floats
    amps: Floats
    amps_se: Floats
    sag_amps: Floats  # what the fall of the battery is divided by: `amps`, or those of the inrush, and its error
    sag_amps_se: Floats
    battery: Floats
    positive: Floats
    ground: Floats
    contacts: Floats
    loop: Floats
    control: Floats
    ice: tuple[Floats, Floats]
    drive_v: Floats  # rest volts less what brushes take, which turns nothing


def raw_quantities(
    panel: Panel,
    load_per_k: Floats,
    load_curve: Floats,
    inrush: Floats,
    slowing: Slowing | None = None,
    ice: tuple[Floats, Floats] | None = None,
) -> Raw:
    """Volts and amps -> resistances at the measured temperature; missing amps, rest volts and degrees are assumed
    from the vehicle's own other readings, else its class, with a larger error; amps at full speed without `slowing`; ice: of the same panel, where
    it is known."""
    m, g, G = panel.measured, panel.group, len(panel.groups)
    scale = (panel.volts / 12.0)[:, None]
    t = m["temperature_c"]
    known_t = np.isfinite(t)
    if not known_t.all():
        usual = np.nanmedian(t) if known_t.any() else NOISE.assumed_c
        t = np.where(known_t, t, usual)
    x = REFERENCE_C.value - t
    rest = m["rest_v"]
    own = own_median(rest)
    own = np.where(np.isfinite(own), own, group_median(rest, g, G)[g])
    rest_v = np.where(np.isfinite(rest), rest, own[:, None])
    rest_v = np.where(np.isfinite(rest_v), rest_v, BATTERY_TABLES.full_rest_v * scale)
    rest_se = np.where(np.isfinite(rest), NOISE.volts_v, NOISE.assumed_rest_v) * scale
    brush = BRUSH_V.value * scale
    engine_x = REFERENCE_C.value - engine_temperature(panel.units, t)
    law = cold_factor(load_per_k[g], load_curve[g], engine_x)
    if slowing is not None:
        law = law * slowing.factor(g, x, law, m["crank_min_v"] - brush)
    at_reference = nearest_of_same(m["crank_a"] / law, panel.starter)
    sag = rest_v - m["crank_min_v"]
    class_amps, clamped = group_median(m["crank_a"] / law, g, G), clamped_classes(panel)
    if not clamped.all():
        class_amps = np.where(clamped, class_amps, unclamped_amps(panel, x, sag / law))
    assumed = np.where(np.isfinite(at_reference), at_reference, class_amps[g][:, None]) * law
    measured = np.isfinite(m["crank_a"])
    amps = np.where(measured, m["crank_a"], assumed)
    own_or_only = np.isfinite(at_reference) | ~clamped[g][:, None]
    amps_se = np.where(measured, INSTRUMENT.amps_share, np.where(own_or_only, NOISE.assumed_amps, NOISE.class_amps))
    coil = m["coil_a"]
    coil = nearest_known(coil)
    beside = aid_amps(panel.units, t)
    sag_amps, sag_amps_se = amps + beside, amps_se
    dips = by_the_dip(panel)
    with np.errstate(divide="ignore", invalid="ignore"):
        if dips.any():
            at_dip, at_dip_se = dip_amps(panel, rest_v, x, 1e3 * sag / amps, inrush[g, 1], labelled_mohm(panel))
            sag, sag_amps = np.where(dips, rest_v - m["crank_dip_v"], sag), np.where(dips, at_dip + beside, sag_amps)
            sag_amps_se = np.where(dips, at_dip_se, amps_se)
        battery = 1e3 * np.where(sag > OBSERVING.least_sag_v * scale, sag, np.nan) / sag_amps
        near = nearest_known(battery)
        held = rest_v - 1e-3 * beside * inrush[g, 1][:, None] * np.nan_to_num(near)  # what an aid leaves for the inrush
        at_inrush = 1e3 * inrush[g, 0][:, None] * held / m["peak_a"]
        grown = (1.0 - inrush[g, 1])[:, None] * near
        return Raw(
            x,
            engine_x,
            np.where(known_t, NOISE.temperature_k, NOISE.assumed_temperature_k),
            rest_v,
            rest_se,
            amps,
            amps_se,
            sag_amps,
            sag_amps_se,
            battery=battery,
            positive=1e3 * m["drop_positive_v"] / amps,
            ground=1e3 * m["drop_ground_v"] / amps,
            contacts=1e3 * m["drop_contacts_v"] / amps,
            loop=at_inrush + np.where(np.isfinite(grown), grown, 0.0),
            control=1e3 * m["drop_control_v"] / coil,
            ice=ice or _ice(panel, rest_v, rest_se),
            drive_v=rest_v - brush,
        )


def _ice(panel: Panel, rest_v: Floats, rest_se: Floats) -> tuple[Floats, Floats]:
    """(U, R) log of what ice multiplies the battery's resistance by at each reading, and its standard error."""
    scale = (panel.volts / 12.0)[:, None]
    agm = np.zeros((len(scale), 1), dtype=bool)
    if "battery_type" in panel.units:
        agm = (panel.units["battery_type"] == AGM).to_numpy(bool)[:, None]
    se = np.hypot(rest_se, SURFACE_CHARGE_SD_V.value * scale)
    return ice(rest_v, se, panel.measured["temperature_c"], system_v=12.0 * scale, agm=agm)


def clamped_classes(panel: Panel) -> Bools:
    """(G,) whether the amps of any vehicle of the class were ever read."""
    some = np.zeros(len(panel.groups), dtype=bool)
    some[panel.group[np.isfinite(panel.measured["crank_a"]).any(axis=1)]] = True
    return some


def unclamped_amps(panel: Panel, x: Floats, sag_v: Floats) -> Floats:
    """(G,) steady amps at 20 degC that a class without a clamp reading is taken to draw.

    From the label: what the class's usual sag at its usual temperature is over the resistance of a battery that just
    meets its cold-cranking amps; common practice where the label is not known either. sag_v: (U, R) sag of every reading
    less what colder oil adds to the amps. Amps only scale what is read in volts: its course is the same with any.
    """
    n = len(panel.groups)
    factor = np.exp(BATTERY_LAW.log_factor(REFERENCE_C.value - x))
    amps = 1e3 * sag_v / factor / labelled_mohm(panel)[:, None]
    usual = group_median(np.where(sag_v > 0.0, amps, np.nan), panel.group, n)
    each = group_median(panel.volts, panel.group, n) / 12.0
    return np.where(
        np.isfinite(usual), usual, OBSERVING.assumed_a * np.sqrt(each) * OBSERVING.larger_24v ** (each - 1.0)
    )


def labelled_mohm(panel: Panel) -> Floats:
    """(U,) resistance at 20 degC of batteries that just meet their labels [mOhm], of the whole system; NaN without a label."""
    label = bank_cca_a(panel.units)
    known = np.isfinite(label) & (label > 0.0)
    block = rating_resistance_mohm(np.where(known, label, 1.0)) / np.exp(BATTERY_LAW.log_factor(RATING_C))
    return np.where(known, panel.volts / 12.0 * block, np.nan)


def reference_values(
    panel: Panel,
    raw: Raw,
    battery: tuple[Floats, Floats],
    load: tuple[Floats, Floats],
    share: Floats,
    emf_usual: Floats | None,
) -> Floats:
    """(7, U, R) channel values at 20 degC [mOhm; amps for the load], NaN where not measured."""
    g = panel.group
    copper = 1.0 - COPPER_PER_K.value * raw.x
    factor = cold_factor(battery[0][g], battery[1][g], raw.x)
    filled = [nearest_known(v) for v in (raw.battery, raw.positive, raw.ground, raw.contacts)]
    motor = raw.loop - sum(np.where(np.isfinite(f), f, 0.0) for f in filled)
    law = cold_factor(load[0][g], load[1][g], raw.engine_x)
    steady = panel.measured["crank_a"] / law
    if emf_usual is not None:
        steady = steady / speed_factor(panel, raw, steady, share, emf_usual)
    return np.stack(
        [
            raw.battery / factor / np.exp(raw.ice[0]),
            raw.positive / copper,
            raw.ground / copper,
            raw.contacts,
            motor / copper,
            steady,
            raw.control,
        ]
    )


def back_emf(raw: Raw) -> Floats:
    """(U, R) back-emf while turning steadily [V]: rest volts less brushes and amps times the loop; gaps filled per vehicle."""
    emf_share = 1.0 - raw.amps * raw.loop / (1e3 * raw.drive_v)
    return np.clip(nearest_known(emf_share), 0.05, 1.0) * raw.drive_v


def turning(panel: Panel, raw: Raw, emf_usual: Floats) -> Floats:
    """(U, R) speed over that at the usual back-emf (G,)."""
    return back_emf(raw) / emf_usual[panel.group][:, None]


def cold_factor(slope: Floats, curve: Floats, x: Floats) -> Floats:
    """(U, R) what the cold multiplies a quantity by; slope [1/K], curve [1/K^2] (U,); x [K] below the reference (U, R)."""
    return np.asarray(np.exp(slope[:, None] * x + curve[:, None] * x * x), dtype=np.float64)


def speed_factor(panel: Panel, raw: Raw, steady: Floats, share: Floats, emf_usual: Floats) -> Floats:
    """How far the load differs from its full-speed value because the engine turns at another speed: 1 - c + c w/w0.

    A raised load is taken for a weak field here (more amps, same speed), because a motor with a weak field turns
    faster for the same back-emf; for raised drag this understates the load by a few per cent.
    """
    usual = group_median(steady, panel.group, len(panel.groups))[panel.group][:, None]
    raised = np.maximum(nearest_known(steady) / usual, 1.0)
    ratio = turning(panel, raw, emf_usual) * np.where(np.isfinite(raised), raised, 1.0)
    ratio = np.where(np.isfinite(ratio), ratio, 1.0)
    c = share[panel.group][:, None]
    return amps_at(ratio, c)


def amps_at(ratio: Floats, share: Floats) -> Floats:
    """Amps of an engine over those at its usual speed; ratio: of its speed to the usual one; share: of the amps that follow it."""
    return np.asarray(1.0 - share + share * believed(ratio))


def believed(ratio: Floats) -> Floats:
    """A speed over its usual one, within what an engine is believed to turn at."""
    slowest, fastest = CLASSES.turns
    return np.asarray(np.clip(ratio, slowest, fastest))


def standard_errors(
    panel: Panel,
    raw: Raw,
    value: Floats,
    laws: tuple[tuple[Floats, Floats], tuple[Floats, Floats]],
    doubt: tuple[LawDoubt, LawDoubt],
    together: tuple[Floats, Floats],
) -> Floats:
    """(7, U, R) standard errors of `value`, from instrument errors at the smoothed level (not at the noisy reading).

    laws, doubt: slope and curvature (G,) of the battery's and of the load's temperature law, and how far they may be out;
    together: `between` and `lent` of the class laws.
    A thermometer that is out counts with the slope at the reading's own temperature.
    """
    scale = (panel.volts / 12.0)[:, None]
    level = smooth_level(value)
    # the usual start of many scatters less than a single one: its own scatter averages, what all of them share does not
    fewer = np.where(panel.stands_for > 1.0, np.minimum(1.0, MEDIAN_SE / np.sqrt(panel.stands_for)), 1.0)
    per_k = [
        b[panel.group][:, None] + 2.0 * c[panel.group][:, None] * x
        for (b, c), x in zip(laws, (raw.x, raw.engine_x), strict=True)
    ]
    volts = 1e3 * np.hypot(raw.rest_se, NOISE.volts_v * scale) / raw.sag_amps
    at_least, dips = level[BATTERY], by_the_dip(panel)
    if dips.any():  # of a dip's unknown amps the error is that of a usual battery at least
        usual = group_median(np.where(at_least > 0.0, at_least, np.nan), panel.group, len(panel.groups))[panel.group]
        at_least = np.where(dips, np.fmax(at_least, usual[:, None]), at_least)
    battery = np.hypot(volts, raw.sag_amps_se * at_least)
    cold = [np.abs(k) * raw.temperature_se for k in per_k]
    by_law = battery_law_se(panel, raw, doubt, together)
    single = np.hypot(battery, cold[0] * level[BATTERY])
    battery = np.hypot(
        np.maximum(single * fewer, np.minimum(single, OBSERVING.shared_sd * level[BATTERY])),
        np.hypot(by_law, raw.ice[1]) * level[BATTERY],
    )
    drop = 1e3 * NOISE.drop_v / raw.amps
    cables = [np.hypot(drop, np.hypot(raw.amps_se, NOISE.contact) * level[c]) for c in (POSITIVE, GROUND, CONTACTS)]
    loop_level = level[MOTOR] + level[BATTERY] + level[POSITIVE] + level[GROUND] + level[CONTACTS]
    motor = np.sqrt((INSTRUMENT.peak_share * loop_level) ** 2 + battery**2 + sum(c**2 for c in cables))
    load_law = np.hypot(cold[1], doubt[1].relative_se(raw.engine_x, panel.group))
    load = np.hypot(INSTRUMENT.amps_share, load_law) * level[LOAD]
    control = np.hypot(np.hypot(INSTRUMENT.coil_share, NOISE.contact) * level[CONTROL], NOISE.control_mohm)
    return np.stack([battery, *cables, motor, load, control])


def battery_law_se(panel: Panel, raw: Raw, doubt: tuple[LawDoubt, LawDoubt], together: tuple[Floats, Floats]) -> Floats:
    """(U, R) standard error of a log battery resistance brought to 20 degC, against the usual one, from both laws.

    The sag of a start that nobody clamped is brought by both laws, from the amps of other readings; of the usual battery so
    many of the class's sags are `lent`.
    """
    (battery, load), (between, lent), g = doubt, together, panel.group
    square, engine = (np.stack([x, x * x], axis=-1) for x in (raw.x, raw.engine_x))
    own = square - battery.centre[g][:, None, :]
    lends = np.broadcast_to(-lent[g][:, None, :], square.shape)
    unclamped = np.isnan(panel.measured["crank_a"])[..., None]
    lends = np.where(unclamped, engine - load.centre[g][:, None, :] + lends, lends)
    variance = np.einsum("uri,uij,urj->ur", own, battery.covariance[g], own)
    variance += np.einsum("uri,uij,urj->ur", lends, load.covariance[g], lends)
    variance += 2.0 * np.einsum("uri,uij,urj->ur", lends, between[g], own)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)


def smooth_level(value: Floats) -> Floats:
    """Median of three neighbours along time, gaps filled: the level that a relative error is taken of."""
    out = np.empty(value.shape)
    # one channel at a time, as all of a large fleet's do not fit the cache
    for v, level in zip(value, out, strict=True):
        filled = nearest_known(v)
        before = np.concatenate([filled[:, :1], filled[:, :-1]], axis=1)
        after = np.concatenate([filled[:, 1:], filled[:, -1:]], axis=1)
        middle = np.maximum(np.minimum(before, after), np.minimum(np.maximum(before, after), filled))
        np.abs(np.where(np.isfinite(middle), middle, 0.0), out=level)
    return out
