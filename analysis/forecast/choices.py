"""What we chose about the coming lows, what no-starts teach, and single vehicles."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Weather:
    """The coming lows of a depot."""

    persistence: float = stated(0.75, "1", 0.66, 0.83, "correlation of one day's departure from the season with the next, where no daily "
        "lows are known; winters of Fort Collins, Denver, the coast of British Columbia and the Alps (packages extRemes, climdex.pcic, "
        "RMAWGEN), measured")
    steady_skew: float = stated(-0.45, "1", -0.76, 0.0,
        "of daily lows where none are known and those of the coldest month scatter by `steady_sd_k` or less; nine such places have -0.40 to +0.08, "
        "the Alps -0.26, the coast of British Columbia -0.76, measured; a little colder than the coldest of the nine")
    changing_skew: float = stated(-0.8, "1", -0.91, -0.6,
        "where they scatter by `changing_sd_k` or more; Fort Collins, Denver and Champion have -0.75, -0.83 and -0.91, measured; straight between")
    steady_sd_k: float = stated(4.5, "K", 4.0, 5.0, "daily lows of the coldest month: such places scatter by 2.6 to 4.8 K, measured")
    changing_sd_k: float = stated(6.0, "K", 5.5, 6.5, "such places by 5.9 to 6.8 K, measured")
    full_year_d: int = stated(300, "d", 240, 360, "of measured lows from which a depot's own climate is learned; our choice")
    winter_d: float = stated(60.0, "d", 30.0, 120.0, "of its own that a winter's shape as stated counts as much as; our choice")
    month_d: float = stated(20.0, "d", 10.0, 60.0,
        "of its own, each on its own, that a month's shape counts for against its depot's winter; our choice, the best of those tried on six places")
    most_persistence: float = stated(0.95, "1", 0.9, 0.98, "that measured lows may give; our choice, which matters to months of equal lows")
    least_skew: float = stated(-1.2, "1", -1.8, -0.9,
        "that measured lows may give; our choice, which matters to few lows with one very cold morning; a warm tail counts as none")
    least_sd_k: float = stated(0.1, "K", 0.05, 0.5,
        "of measured lows in a month at the least, which departures are divided by; our choice, which matters to months of equal lows")
    forecast_sd_first_k: float = stated(1.5, "K", 1.0, 2.5, "error of a forecast low on the first day, from memory")
    forecast_sd_per_day_k: float = stated(0.25, "K/d", 0.125, 0.5, "by which it grows, from memory")
    forecast_sd_most_k: float = stated(4.0, "K", 3.0, 6.0, "that it grows to, from memory")
    usual_sd_k: float = stated(4.0, "K", 2.0, 6.0, "of daily lows where a climate has none; our choice")
    unknown_low_c: float = stated(5.0, "°C", 0.0, 10.0, "a depot without climate, mild; our choice")
    unknown_sd_k: float = stated(8.0, "K", 6.0, 12.0, "of its lows, wide; our choice")


@dataclass(frozen=True)
class Learning:
    """What the fleet's own no-starts teach."""

    span_d: int = stated(42, "d", 28, 56, "between looks at the past, and the window that each looks ahead; our choice")
    looks: int = stated(18, "1", 9, 27, "of them, about two years; our choice")
    winters: int = stated(4, "winters", 2, 6,
        "equal parts of what a window's lows may be, in each of which a depot's vehicles are judged together; our choice, few for speed")
    first_look_d: float = stated(90.0, "d", 45.0, 180.0, "after the first reading comes the first look; our choice")
    survival_d: int = stated(60, "d", 30, 90, "before a look in which the vehicle is known to have started; our choice")
    least_alive: float = stated(0.02, "1", 0.01, 0.04,
        "a vehicle that should have failed long ago may be one that the model is wrong about; our choice")
    telling_probability: float = stated(0.003, "1", 0.0015, 0.006,
        "vehicles that could not even fail under the worst needs teach nothing; our choice")
    unforeseen: float = stated(0.003, "1", 0.0015, 0.006,
        "no-starts that no reading foretells, per vehicle and look; our choice, more than the list's `other_causes_per_year` makes of a "
        "look, because a vehicle that the model is wrong about must not teach its whole class: with one rate for both ten simulated "
        "fleets scored worse")
    recorded_share: float = stated(0.88, "1", 0.8, 0.95, "of no-starts are recorded, before the fleet has shown its habits; our choice")
    recorded_counts: float = stated(20.0, "repairs", 10.0, 40.0, "that this counts as much as; our choice")
    learning_counts: float = stated(0.7, "1", 0.5, 1.0,
        "looks at vehicles tell so much of what as many strangers would; our choice, because they share the errors of their class's laws")
    calibration_looks: int = stated(9, "looks", 5, 18, "about a year; our choice, because early ones saw too few readings")
    calibration_counts: float = stated(0.2, "1", 0.1, 0.4,
        "looks tell so much about whether all probabilities are too high; our choice, because a single year tells still less of that")
    calibration_offset_sd: float = stated(0.25, "logit", 0.125, 0.5, "prior spread of the offset; our choice")
    calibration_slope_sd: float = stated(0.15, "1", 0.075, 0.3, "prior spread of the slope; our choice")
    off_times: float = stated(2.0, "times", 1.5, 3.0,
        "as many no-starts expected of the past as came, or the reverse, from which on the list says so; our choice, which matters to a "
        "sentence of the list")
    off_chance: float = stated(0.02, "1", 0.01, 0.05,
        "that as few, or as many, came by luck, below which it does; our choice likewise: of 20 simulated fleets with true climates none came below "
        "0.04")
    least_probability: float = stated(0.002, "1", 0.001, 0.004, "probabilities are calibrated between this and one less it; our choice")


@dataclass(frozen=True)
class Departure:
    """How far single vehicles depart from their class."""

    speed_share: float = stated(0.04, "1", 0.02, 0.08,
        "of the least speed that its class needs, between vehicles; our choice: as much as the speeds of sound vehicles differ "
        "(`readings.turning`)")
    supply_v: float = stated(0.25, "V per 12 V", 0.125, 0.5, "least supply, between vehicles of a class; our choice")
    coil_v: float = stated(0.20, "V per 12 V", 0.1, 0.4, "least coil volts, between vehicles of a class; our choice")
    may_be_renewed: float = stated(0.01, "1", 0.005, 0.02,
        "probability of an unrecorded repair from which on coldest starts know of it; our choice")


# fmt: on
WEATHER: Final = Weather()
LEARNING: Final = Learning()
DEPARTURE: Final = Departure()
