"""What we chose about the weekly list: what is judged and flagged, which part is named, what a look is worth."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated, stated_each


# fmt: off
@dataclass(frozen=True)
class Judging:
    """Which vehicles are judged and looked at closely, and what is said of them."""

    fewest_readings: int = stated(3, "readings", 2, 5, "fewer in all, and the vehicle is not judged; our choice")
    other_causes_per_year: float = stated(0.015, "1/a", 0.0075, 0.03, "no-starts per vehicle that no reading foretells; our choice")
    detail_probability: float = stated(0.005, "1", 0.0025, 0.01,
        "vehicles that risk more over the flag's window get the detailed look; our choice")
    act_probability: float = stated(0.10, "1", 0.05, 0.2, "act before the chance of a no-start has come to one in ten; our choice")
    plain_d: float = stated(400.0, "d", 300.0, 600.0, "the plain slope takes the readings of about the last year; our choice")
    plain_readings: int = stated(5, "readings", 3, 8, "fewer carry no plain slope; our choice")
    plain_confidence: float = stated(0.90, "1", 0.8, 0.95, "of the interval of the plain slope; our choice, as for other intervals")
    share_counts: float = stated(10.0, "no-starts", 5.0, 20.0, "that the stated shares of no-starts by part count as much as; our choice")
    floor_held_k: float = stated(0.25, "K", 0.1, 0.5,
        "a coldest start so near to what no start is promised below is held by it; our choice, which matters to the word for the need alone")
    cold_c: float = stated(-20.0, "°C", -25.0, -15.0,
        "at which laws are told as multiples; our choice, because a sound vehicle is expected to start there")
    open_share: float = stated(0.25, "1", 0.15, 0.4,
        "of half its range: a standard error by chance of draws beyond this leaves a chance open, and more are drawn; our choice")
    open_least: float = stated(0.02, "1", 0.01, 0.04, "that half a range counts as at the least there; our choice")
    open_tail: float = stated(0.14, "1", 0.1, 0.16,
        "either end of the range there; our choice, not the tenth that is shown, which of few draws may lie far out by luck")


@dataclass(frozen=True)
class Flags:
    """What flags a vehicle, at three tolerated rates and between them on logarithmic scales; any of the three ways is enough.

    Chosen from figures of simulated fleets, see DEVELOPERS.md.
    """

    window_d: int = stated(100, "d", 70, 130, "a flag looks this far ahead: two or three services; our choice")
    rates: tuple[float, ...] = stated_each((2.0, 5.0, 10.0), "1/(100 a)", 0.7, 1.4,
        "tolerated false flags per 100 healthy vehicle-years; with the levels below fourteen simulated fleets had 1.9, 3.3, 8.7; our choice")
    worn_probability: tuple[float, ...] = stated_each((0.05, 0.05, 0.03), "1", 0.7, 1.4,
        "much used: avoidable probability of a no-start within the window; our choice, from fourteen simulated fleets; matters in mild months")
    worn_used: tuple[float, ...] = stated_each((0.46, 0.40, 0.36), "1", 0.8, 1.2,
        "together with this share of its reserve used; our choice likewise")
    risky_probability: tuple[float, ...] = stated_each((0.40, 0.30, 0.15), "1", 0.7, 1.4,
        "less used and risky: avoidable probability; our choice likewise")
    risky_used: tuple[float, ...] = stated_each((0.35, 0.35, 0.25), "1", 0.8, 1.2, "together with this share used; our choice likewise")
    progress: tuple[float, ...] = stated_each((0.50, 0.45, 0.36), "1", 0.8, 1.2,
        "progress of the worst part, 0 new, 1 failing at +5 °C; our choice likewise")
    least_reserve_k: float = stated(4.0, "K", 2.0, 8.0, "a sound vehicle is taken to have so much reserve at the least; our choice")


@dataclass(frozen=True)
class Naming:
    """Which part is named."""

    least_gain_k: float = stated(1.0, "K", 0.5, 2.0, "a draw in which no renewal gains this much names no part; our choice")
    any_draw: float = stated(0.02, "1", 0.01, 0.04,
        "every draw names the part with its probability of a no-start and so much more, so that all of them count; our choice")
    progress_sd: float = stated(1.0, "standard deviations", 0.5, 1.5, "below the estimate, from which progress is counted; our choice")
    surely_steady: float = stated(0.05, "1", 0.025, 0.1, "a part less probably steady than this surely wears; our choice")


@dataclass(frozen=True)
class Inspection:
    """What it is worth that a look found nothing."""

    sees: float = stated(0.5, "1", 0.3, 0.7, "share of faults that a look finds; our choice, because a loose or corroded joint shows when "
        "it is looked for, plates and brushes inside a housing do not")
    surest: float = stated(0.9, "1", 0.8, 0.95, "that readings alone are taken for; our choice, because a meter badly placed or a model "
        "that does not fit may mislead about one suspect in ten")


# fmt: on
JUDGING: Final = Judging()
FLAGS: Final = Flags()
NAMING: Final = Naming()
INSPECTION: Final = Inspection()
