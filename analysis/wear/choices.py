"""What we chose about wear: how parts grow, what passes for ageing or drift, when a part fails."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated, stated_each, stated_shares


# fmt: off
@dataclass(frozen=True)
class Paths:
    """The growth paths of one part, before and beside what the fleet has taught."""

    onset_per_year: tuple[float, ...] = stated_each((0.20, 0.03, 0.03, 0.03, 0.04, 0.03, 0.02), "1/a", 0.5, 2.0,
        "onsets of wear per vehicle and year by channel, batteries first; our choice, because batteries wear most")
    life_share: tuple[float, ...] = stated_shares((0.005, 0.06, 0.25, 0.35, 0.22, 0.115), 0.7, 1.4,
        "of lives from 60 days to five years; from the log score of the next reading over five simulated fleets, our choice")
    power: float = stated(1.7, "1", 1.2, 2.6,
        "of time, that wear grows with; our choice: a law among 0.8 to 2.6 for each part foretold no better, as readings tell them apart badly")
    life_spread: float = stated(0.35, "1", 0.25, 0.5, "relative width of one life step, so that neighbours overlap; our choice")
    outlier_share: float = stated(0.01, "1", 0.005, 0.02, "of readings that are slips of pen or decimal point; our choice")
    outlier_range: float = stated(10.0, "class-usual values", 5.0, 20.0, "width that a slip may fall in; our choice")
    departure: float = stated(0.20, "1", 0.1, 0.3, "real wear departs from its path by about this share of its excess; our choice")
    departure_d: float = stated(75.0, "d", 40.0, 150.0,
        "at readings so long before the latest and earlier, less at later ones; our choice")
    pace_sd: float = stated(0.3, "1", 0.15, 0.45,
        "wear ahead goes by its path at a pace of its own, log standard deviation; our choice, from the log score of five simulated fleets")
    most_worn: float = stated(0.6, "1", 0.45, 0.8, "most prior weight that wear may have before any reading; our choice")
    may_be_slip_se: float = stated(2.5, "standard errors", 2.0, 3.0,
        "beyond so many the latest reading, or a first one above the others, is looked at as a slip; our choice")
    stand_alone_se: float = stated(5.0, "standard errors", 4.0, 6.0, "so far outside both neighbours a reading is set apart; our choice")
    surely_failed: float = stated(6.0, "1", 3.0, 12.0,
        "with this power of how far past: a part past what fails at +5 °C seldom still serves; our choice")
    not_renewed: float = stated(0.02, "1", 0.01, 0.04, "share of recorded repairs that did not renew the part; our choice")
    rare_d: float = stated(30.0, "d", 15.0, 60.0, "so far ahead a path is soon to fail or not, which is drawn more often then; our choice")
    rare_excess: float = stated(0.3, "1", 0.15, 0.6, "of the failing excess, by which it grows until then, or it is drawn less by the square; "
        "our choice, because two seeds differ as little with half or twice")
    rare_times: float = stated(8.0, "1", 4.0, 16.0, "more often at most; our choice likewise")
    rare_share: float = stated(0.2, "1", 0.1, 0.4, "of all draws at most is spent on such paths; our choice likewise")


@dataclass(frozen=True)
class GrowthLearning:
    """How much the stated growth laws count against what the fleet's lives of parts show."""

    onset_counts: float = stated(10.0, "onsets", 5.0, 20.0, "that the prior's rate of onsets counts as much as; our choice")
    life_counts: float = stated(20.0, "lives", 10.0, 40.0, "that its shares of lives count as much as; our choice")
    class_counts: float = stated(30.0, "cases", 15.0, 60.0, "of a class's own that the fleet's law counts as much as; our choice")
    told: float = stated(0.5, "1", 0.3, 0.7, "a life counts as worn where its readings say so rather than not; our choice, because errors "
        "that hang together from reading to reading look a little like slow wear, and the sum of many littles would be taken for a habit")
    ends_at: float = stated(0.6, "1", 0.48, 0.72, "a no-start, mostly in the cold, ends a life at this share of the failing excess; our choice")
    ends_at_sd: float = stated(0.2, "1", 0.1, 0.4, "its spread; our choice")
    ends_sound: float = stated(0.05, "1", 0.025, 0.1, "share of parts renewed at a no-start that were sound; our choice")


@dataclass(frozen=True)
class Ageing:
    """What all parts of a class gain without being worn."""

    fewest_readings: int = stated(4, "readings", 3, 8, "that a vehicle needs to tell of it; our choice")
    least_span_a: float = stated(0.5, "a", 0.25, 1.0, "over which they must go; our choice")
    fewest_telling: int = stated(10, "vehicles", 5, 20, "that tell of it, or it is not asked for; our choice, because one alone may be wearing")
    sound_sd: float = stated(2.5, "standard deviations", 2.0, 3.0,
        "a vehicle that has come to read so far above usual may be wearing; our choice")
    spread: float = stated(0.015, "1/a", 0.0075, 0.03, "it differs so much between vehicles; our choice")
    sd: float = stated(0.05, "1/a", 0.025, 0.1, "before the fleet has told of it; our choice")
    class_sd: float = stated(0.02, "1/a", 0.01, 0.04, "of a class about the fleet; our choice")
    far_sd: float = stated(2.5, "standard deviations", 2.0, 3.0, "so far from the others a vehicle tells of it no longer; our choice")
    most: float = stated(0.25, "1/a", 0.125, 0.5, "what rises faster wears; our choice, which matters to a class all of whose joints corrode")


@dataclass(frozen=True)
class Drift:
    """A vehicle held against its own past: what a sound one may do, and the chart."""

    allowance: float = stated(0.5, "standard deviations", 0.25, 1.0, "k of the CUSUM: tuned to a shift of one, common practice")
    winsor: float = stated(3.0, "standard deviations", 2.4, 3.6, "surprises count at most this much, so that one slip makes no flag; our choice")
    fewest_sharing: int = stated(8, "vehicles", 4, 16, "that must share a week; our choice")
    most_ageing: float = stated(0.10, "1/a", 0.05, 0.2,
        "share of the level that may pass for ageing; faster is drift, also of a whole class; our choice")
    block: int = stated(4, "readings", 2, 8, "whose surprises are summed to see errors that last; our choice")
    prior_blocks: float = stated(20.0, "blocks", 10.0, 40.0, "that the stated errors count for; our choice")
    most_scatter: float = stated(1.5, "1", 1.2, 1.8, "scatter beyond this multiple of the stated errors is drift, not scatter; our choice")


@dataclass(frozen=True)
class Lives:
    """Lives of parts from recorded repairs."""

    least_failures: int = stated(8, "failures", 5, 16,
        "fewer do not carry a fit of two parameters: the stated mean life is used; our choice")
    assumed_shape: float = stated(2.0, "1", 1.5, 3.5,
        "Weibull shape where they are too few: wear-out, hazard rising in a straight line; our choice")


@dataclass(frozen=True)
class Failing:
    """When a part keeps a vehicle from starting, and whose a raised load is."""

    at_c: float = stated(5.0, "°C", 0.0, 10.0, "a part fails when it alone keeps a sound vehicle from starting there; our choice")
    recent_readings: int = stated(6, "readings", 3, 12, "rest volts are the median of the latest so many; our choice")
    field_sd: float = stated(0.04, "1", 0.02, 0.08, "spread of the speed constant between vehicles, relative; our choice")
    field_error: float = stated(0.07, "1", 0.035, 0.14,
        "of one speed reading over back-emf against the class's; our choice, more than readings of one vehicle scatter about its own "
        "middle (`speed_scatter`), because the back-emf of a vehicle rests on its class's laws")
    clear_of_raised: float = stated(0.03, "1", 0.015, 0.06, "a load so far below a raised one is sound; our choice")
    sound_log_field: float = stated(0.5, "1", 0.25, 1.0, "logarithm of the speed constant beyond which it is misread; our choice")
    starter_odds: float = stated(3.0, "1", 1.5, 6.0, "a raised load is the starter so many times as often as the engine; our choice")
    most_vote: float = stated(6.0, "1", 3.0, 12.0, "log odds that one speed reading may add for starter or engine; our choice")
    worn_motor: float = stated(1.3, "class-usual values", 1.15, 1.6, "a motor with a weak field also reads this resistance; our choice")
    worn_motor_sd: float = stated(0.2, "class-usual values", 0.1, 0.4, "its spread; our choice")
    sound_motor_sd: float = stated(0.12, "class-usual values", 0.06, 0.24, "spread of a sound motor's resistance; our choice")
    least_motor_vote: float = stated(-2.0, "1", -4.0, -1.0, "log odds that the motor's resistance may take from the starter; our choice")
    most_motor_vote: float = stated(4.0, "1", 2.0, 8.0, "log odds that it may add; our choice")


@dataclass(frozen=True)
class NeedDoubt:
    """Spread of what a start needs, before the fleet has taught anything, about the printed limits."""

    diesel_speed_sd_rpm: float = stated(22.0, "rpm", 11.0, 44.0, "of the least cranking speed; our choice")
    petrol_speed_sd_rpm: float = stated(20.0, "rpm", 10.0, 40.0, "the same of spark ignition; our choice")
    supply_sd_v: float = stated(0.7, "V per 12 V", 0.35, 1.4, "of the least supply for the electronics; our choice")
    coil_sd_v: float = stated(0.7, "V per 12 V", 0.35, 1.4, "of the least volts on the solenoid coil; our choice")


# fmt: on
PATHS: Final = Paths()
GROWTH: Final = GrowthLearning()
AGEING: Final = Ageing()
DRIFT: Final = Drift()
LIVES: Final = Lives()
FAILING: Final = Failing()
NEED_DOUBT: Final = NeedDoubt()
