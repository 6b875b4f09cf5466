"""What cranking speed, or else cranking time, tells where a start was read neither in volts under load nor in amps ("Speed or
time alone" in NUMBERS.md)."""

from dataclasses import replace

import numpy as np
import scipy

from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limits import COPPER_PER_K, REFERENCE_C
from analysis.circuit.temperature import TemperatureLaw
from analysis.constants import MEDIAN_SE
from analysis.readings.aid import engine_temperature
from analysis.readings.choices import CLASSES, NOISE, TURNING
from analysis.readings.cold_laws import fitted
from analysis.readings.observe import (
    BATTERY,
    CONTACTS,
    GROUND,
    LOAD,
    MOTOR,
    POSITIVE,
    ClassLaws,
    LawDoubt,
    Observations,
    Raw,
    SpeedLaw,
    amps_at,
    cold_factor,
    smooth_level,
)
from analysis.readings.panel import MEASURED, Bools, Floats, Panel, group_median, pooled_scatter, row_quantile

SPEED, TIME = range(2)
SIGNS = ("crank_rpm", "crank_s")
ROUND_TRIPS = 3  # of usual speed and law, which rest on each other
ABOUT_NEIGHBOURS = 1.5  # variance of a value about the mean of its two neighbours, over its own
BLOM = 0.375  # plotting position of an order statistic of a normal, Blom 1958
UNDER_LOAD = tuple(name for name in MEASURED if name not in ("temperature_c", "rest_v", *SIGNS))


def log_turning(panel: Panel) -> Floats:
    """(2, U, R) log of cranking speed [rpm], and of one over cranking time [1/s]; NaN where not read."""
    rpm, seconds = (panel.measured[name] for name in SIGNS)
    with np.errstate(divide="ignore", invalid="ignore"):
        rpm = np.log(np.where(rpm >= INSTRUMENT.fewest_rpm, rpm, np.nan))
        return np.stack([rpm, -np.log(np.where(seconds > 0.0, seconds, np.nan))])


def alone(panel: Panel) -> Bools:
    """(2, U, R) starts of which speed is all that is known under load, and those of which it is time."""
    read = np.any([np.isfinite(panel.measured[name]) for name in UNDER_LOAD], axis=0)
    speed, time = np.isfinite(log_turning(panel)) & ~read
    return np.stack([speed, time & ~speed])


class UsualCircuit:
    """The circuit of a usual vehicle of the class at every start (U, R) [V, A, ohm], with the rest volts of that start.

    law: slope and curvature (2, G) of what the cold multiplies the load by beside its own law, as speeds tell it.
    """

    def __init__(self, panel: Panel, raw: Raw, laws: ClassLaws, law: Floats) -> None:
        g, x = panel.group, raw.x
        copper = 1.0 - COPPER_PER_K.value * x
        each = 1e-3 * laws.base[g].T[:, :, None]
        cold = cold_factor(laws.load_per_k[g] + law[0][g], laws.load_curve[g] + law[1][g], raw.engine_x)
        self.drive = raw.drive_v
        self.load = laws.base[g, LOAD][:, None] * cold
        self.battery = each[BATTERY] * cold_factor(laws.battery_per_k[g], laws.battery_curve[g], x) * np.exp(raw.ice[0])
        self.others = (each[POSITIVE] + each[GROUND] + each[MOTOR]) * copper + each[CONTACTS]
        self.share, self.full_emf = laws.speed_share[g][:, None], laws.emf_v[g][:, None]
        loop = self.battery + self.others
        left = self.drive - self.load * (1.0 - self.share) * loop
        emf = left / (1.0 + self.load * self.share * loop / self.full_emf)
        self.emf = np.maximum(emf, CLASSES.least_loop_share * self.drive)
        self.lost = self.drive / self.emf - 1.0  # volts lost in the loop over those that turn the motor

    def _amps(self, emf: Floats) -> Floats:
        return np.asarray(self.load * amps_at(emf / self.full_emf, self.share), dtype=np.float64)

    def battery_times(self, log_ratio: Floats) -> Floats:
        """The battery, as a multiple of the usual one, with which the engine turns at this share of its usual speed."""
        emf = self.emf * np.exp(np.clip(log_ratio, *np.log(CLASSES.turns)))
        return np.asarray(((self.drive - emf) / self._amps(emf) - self.others) / self.battery)

    def log_load(self, emf: Floats) -> Floats:
        """Log of the load over the usual one with which a usual battery turns the engine at this back-emf."""
        loop = self.battery + self.others
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.log(np.where(emf < self.drive, self.drive - emf, np.nan) / (self._amps(emf) * loop)))


def learn_speed(panel: Panel, raw: Raw, laws: ClassLaws) -> ClassLaws:
    """The laws with how fast engines of each class turn, where speed or time is all that is known of some starts."""
    if not alone(panel).any():
        return laws
    priors = ((CLASSES.speed_scatter, TURNING.speed_sd), (TURNING.time_scatter, TURNING.time_sd))
    found = [_learned(panel, raw, laws, sign, *priors[sign]) for sign in (SPEED, TIME)]
    law, doubts, usual, scatter, between = zip(*found, strict=True)
    speed = SpeedLaw(np.stack(usual), np.stack(law), (doubts[0], doubts[1]), np.stack(scatter), np.stack(between))
    return replace(laws, speed=speed, emf_per_rpm=_emf_per_rpm(panel, laws, speed))


def _emf_per_rpm(panel: Panel, laws: ClassLaws, speed: SpeedLaw) -> Floats:
    """(G,) volts of back-emf a turn: by speed where no volts of the class were ever read under load."""
    loaded = np.any([np.isfinite(panel.measured[name]).any(axis=1) for name in UNDER_LOAD], axis=0)
    never = np.bincount(panel.group[loaded], minlength=len(panel.groups)) == 0
    return np.where(never & np.isnan(laws.emf_per_rpm), np.exp(-speed.usual[SPEED]), laws.emf_per_rpm)


def _learned(
    panel: Panel, raw: Raw, laws: ClassLaws, sign: int, scatter_sd: float, between_sd: float
) -> tuple[Floats, LawDoubt, Floats, Floats, Floats]:
    """Law (2, G), its doubt, usual, scatter and between (G,) of one sign.

    Speeds become loads, because in the cold a small error of the load is a large one of the speed.
    """
    n, g, turns = len(panel.groups), panel.group, log_turning(panel)[sign]
    plain = UsualCircuit(panel, raw, laws, np.zeros((2, n)))
    mild = np.where(np.abs(raw.x) < CLASSES.mild_k, turns, np.nan)
    usual = group_median(mild - np.log(plain.emf), g, n)
    usual = np.where(np.isfinite(usual), usual, group_median(turns - np.log(laws.emf_v)[g][:, None], g, n))
    for _ in range(ROUND_TRIPS):
        emf = np.exp(turns - usual[g][:, None])
        (slope, curve), doubt = fitted(
            panel,
            plain.log_load(emf),
            scatter_sd * emf / np.maximum(plain.drive - emf, CLASSES.least_loop_share * plain.drive),
            _priors(laws, sign),
            engine_temperature(panel.units, panel.measured["temperature_c"]),
        )
        law = np.stack([slope, curve])
        flat = turns - np.log(UsualCircuit(panel, raw, laws, law).emf)
        with np.errstate(invalid="ignore"):
            step = (flat[:, 1:-1] - 0.5 * (flat[:, :-2] + flat[:, 2:])) / np.sqrt(ABOUT_NEIGHBOURS)
        scatter = np.array([pooled_scatter(step[g == k], scatter_sd, CLASSES.scatter_readings) for k in range(n)])
        sound = sound_turning(flat, scatter[g])
        usual = group_median(sound, g, n)
    faster = np.where(sound >= usual[g], sound - usual[g], np.nan)  # those slower than usual may be worn
    between = np.array([pooled_scatter(faster[g == k], between_sd, CLASSES.prior_vehicles) for k in range(n)])
    return law, doubt, usual, scatter, between


def _priors(laws: ClassLaws, sign: int) -> list[TemperatureLaw]:
    """Of each class: load and battery follow their laws, as far as these are known; time may grow further with the cold."""
    loop = laws.base[:, [BATTERY, POSITIVE, GROUND, CONTACTS, MOTOR]].sum(axis=1)
    by_battery = (laws.base[:, BATTERY] / loop)[:, None, None]
    doubt = by_battery**2 * laws.battery_doubt.covariance + laws.load_doubt.covariance
    if sign == TIME:
        lost = 1e-3 * loop * laws.base[:, LOAD] / laws.emf_v
        doubt = doubt + (TURNING.time_per_k / lost[:, None, None]) ** 2 * np.diag([1.0, 0.0])
    return [TemperatureLaw(0.0, 0.0, each, REFERENCE_C.value) for each in doubt]


def sound_turning(flat: Floats, scatter: Floats) -> Floats:
    """(U,) log of how fast each vehicle turns when sound, from one of its faster starts; NaN where never read.

    Less what such a start of so many lies above their middle by chance (Blom's order statistics of a normal).
    """
    quantile = 1.0 - CLASSES.low_quantile
    count = np.isfinite(flat).sum(axis=1)
    place = np.floor(quantile * np.maximum(count - 1, 0)) + 1.0
    above = scipy.special.ndtri((place - BLOM) / (np.maximum(count, 1) + 1.0 - 2.0 * BLOM))
    return np.asarray(row_quantile(flat, quantile) - above * scatter, dtype=np.float64)


def turned_into_batteries(panel: Panel, raw: Raw, observed: Observations) -> Observations:
    """The observations with batteries that stand for all that slows a start, where speed or time is all that is known.

    How fast a vehicle turns when sound is its own, as far as its class spreads; what is beyond, and what it loses, counts. How
    far its own is unknown is all its starts': a doubt of the vehicle, or of each start where meters told other starts of it.
    """
    known, value, se = alone(panel), observed.value.copy(), observed.se.copy()
    by_meters = np.isfinite(value[BATTERY]).any(axis=1)
    habit_sd = np.zeros(len(panel.group))
    for sign in (SPEED, TIME):
        mine = known[sign]
        found, error, apart = _batteries(panel, raw, observed.laws, mine, sign)
        value[BATTERY] = np.where(mine, found, value[BATTERY])
        se[BATTERY] = np.where(mine, np.hypot(error, np.where(by_meters[:, None], apart, 0.0)), se[BATTERY])
        of_vehicle = row_quantile(np.where(mine, apart, np.nan), 0.5)
        habit_sd = np.fmax(habit_sd, np.where(by_meters, np.nan, of_vehicle))
    return replace(observed, value=value, se=se, turned=known, habit_sd=habit_sd)


def _batteries(panel: Panel, raw: Raw, laws: ClassLaws, mine: Bools, sign: int) -> tuple[Floats, Floats, Floats]:
    """Batteries (U, R) that stand for how fast the starts `mine` turned, their errors, and what the vehicle's own speed leaves
    unknown of them; all as multiples of the usual one."""
    if laws.speed is None:
        raise ValueError("laws.speed is None; allowed are laws that were learned with cranking speed or time")
    g, law = panel.group, laws.speed.law[sign]
    usual, warmer = (
        UsualCircuit(panel, r, laws, law) for r in (raw, replace(raw, x=raw.x - 1.0, engine_x=raw.engine_x - 1.0))
    )
    flat = log_turning(panel)[sign] - np.log(usual.emf) - laws.speed.usual[sign][g][:, None]
    scatter = laws.speed.scatter[sign][g]
    own, left = (v[:, None] for v in own_turning(flat, scatter, laws.speed.between[sign][g]))
    by_law = usual.lost * laws.speed.doubt[sign].relative_se(raw.engine_x, g)
    cold = np.log(warmer.emf / usual.emf) * raw.temperature_se
    error = np.sqrt(scatter[:, None] ** 2 + by_law**2 + cold**2 + (raw.rest_se / usual.emf) ** 2)
    ratio = np.where(mine, flat - own, np.nan)
    level = np.log(np.maximum(smooth_level(np.exp(ratio)[None])[0], CLASSES.turns[0]))
    by_speed = 0.5 * (usual.battery_times(level - error) - usual.battery_times(level + error))
    by_amps = NOISE.class_amps * (usual.battery_times(level) - 1.0)
    apart = 0.5 * (usual.battery_times(-left) - usual.battery_times(left))
    return usual.battery_times(ratio), np.hypot(by_speed, by_amps), apart


def own_turning(flat: Floats, scatter: Floats, between: Floats) -> tuple[Floats, Floats]:
    """(U,) log of how fast each vehicle turns when sound over its class, and how far that is still unknown.

    flat: (U, R) log over the class's usual; scatter, between: (U,). Shrunk to the class by what so many starts tell.
    """
    count = np.isfinite(flat).sum(axis=1)
    error = (MEDIAN_SE * scatter) ** 2 / np.maximum(count, 1)
    gain = np.where(count > 0, between**2 / (between**2 + error), 0.0)
    most = TURNING.most_own * between
    sound = np.clip(np.nan_to_num(sound_turning(flat, scatter)), -most, most)
    return gain * sound, between * np.sqrt(1.0 - gain)
