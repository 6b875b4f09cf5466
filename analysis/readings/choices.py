"""What we chose about readings: their errors, what a class has in common, wrong meters, renewals, how starts went."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Final

from analysis.stated import stated, stated_each, stated_shares


# fmt: off
@dataclass(frozen=True)
class Noise:
    """Standard errors of single readings: what a good workshop meter reaches; those of clamps are `circuit.instrument`'s."""

    volts_v: float = stated(0.03, "V per 12 V", 0.015, 0.06, "rest and cranking volts; our choice, what a good workshop meter reaches")
    drop_v: float = stated(0.005, "V", 0.0025, 0.01, "a drop; our choice likewise")
    contact: float = stated(0.05, "1", 0.025, 0.1, "start to start scatter of contacts and crimps, relative; our choice")
    control_mohm: float = stated(5.0, "mΩ", 2.5, 10.0, "control circuit, at the least; our choice")
    assumed_amps: float = stated(0.045, "1", 0.02, 0.09, "amps taken from the vehicle's other readings, relative; our choice")
    class_amps: float = stated(0.10, "1", 0.05, 0.2, "amps taken from the vehicle's class, relative; our choice")
    assumed_rest_v: float = stated(0.06, "V per 12 V", 0.03, 0.12, "rest volts taken from the vehicle's other readings; our choice")
    temperature_k: float = stated(2.0, "K", 1.0, 4.0, "air by the vehicle against the part itself; our choice")
    thermometer_k: float = stated(1.0, "K", 0.5, 2.0,
        "thermometer against the air: only this flattens a law, a part that is out of its air does not; our choice")
    assumed_c: float = stated(15.0, "°C", 10.0, 20.0,
        "taken where nobody noted the temperature; our choice: a workshop; matters to volts without one")
    assumed_temperature_k: float = stated(8.0, "K", 5.0, 12.0, "its doubt; our choice, between a cold yard and a warm bay; likewise")


@dataclass(frozen=True)
class Observing:
    """Volts and amps into comparable numbers."""

    aid_below_c: float = stated(5.0, "°C", 0.0, 10.0,
        "air below which glow plugs and intake heaters draw their amps, where a vehicle says their load alone; our choice")
    heater_k: float = stated(15.0, "K", 10.0, 30.0,
        "by which an engine is warmer than the air after a night on its block heater, where its drag is made: coolant and walls 20 to "
        "40 K, oil in the sump 5 to 15 K; from memory, and the lower part of it so that a cool sump is not promised away; matters to "
        "vehicles with block heaters")
    assumed_a: float = stated(200.0, "A", 150.0, 300.0, "steady, 12 V, where neither clamp nor label tells; middle of common practice")
    larger_24v: float = stated(1.2, "1", 1.0, 1.5,
        "of a 24 V vehicle beside √2 times as many; our choice, because its engine is larger: 300 A and more in print")
    shared_sd: float = stated(0.02, "1", 0.01, 0.04,
        "of a quantity, what season, charge and habits do to all readings at one temperature; our choice")
    least_sag_v: float = stated(0.05, "V per 12 V", 0.025, 0.1,
        "a battery that falls by less did not crank, and tells no resistance; our choice, which matters to readings of a starter that stood")
    least_level: float = stated(0.05, "class-usual values", 0.025, 0.1, "no part has less, because no resistance is nil; our choice")


@dataclass(frozen=True)
class Thinning:
    """Which starts of many stand for the others (`thinning`)."""

    recent_d: float = stated(84.0, "d", 56.0, 112.0,
        "so far back a start stands for a week, before that for several; our choice, so that forty of them are two years")
    old_weeks: int = stated(4, "weeks", 2, 8, "that a start stands for before that; our choice, so that forty of them are two years")


@dataclass(frozen=True)
class Mornings:
    """What starts side by side tell of loggers' thermometers (`mornings`)."""

    hours: float = stated(2.0, "h", 1.0, 3.0, "starts within these are side by side; our choice: the air warms by 1 K an hour after dawn")
    logger_k: float = stated(1.0, "K", 0.5, 2.0,
        "by which loggers of one depot usually differ, thermometer and place together; our choice: sensors of a few kelvin's class")
    share_sd: float = stated(0.25, "1", 0.1, 0.4, "doubt of the share of their differences that is real, before any start; our choice")
    most_blur: float = stated(0.5, "1", 0.3, 0.7,
        "of what mornings' mean degrees tell of sags, that their own error may have taken; our choice, which matters to depots whose mornings "
        "are nearly alike")
    least_left: float = stated(0.1, "1", 0.05, 0.2,
        "of the same, that is left where sags follow a start's own degrees further than its morning's: all of the difference is real then; our "
        "choice, likewise")
    reject: float = stated(0.6, "1", 0.4, 1.0,
        "log sag further than this from the month's others is no usual start; our choice; matters to starts that failed")


@dataclass(frozen=True)
class Dip:
    """Relative errors of the amps that the dip of the inrush is divided by (`lowest`)."""

    share: float = stated(0.10, "1", 0.05, 0.2,
        "share of the battery's steady resistance that is there at the inrush, and how fast the meter holds MIN; our choice")
    own_peak: float = stated(0.08, "1", 0.04, 0.16,
        "peak amps taken from the vehicle's other readings; our choice, which matters where some have them")
    class_peak: float = stated(0.35, "1", 0.2, 0.5,
        "peak amps taken from the class; our choice, because a part that is worn elsewhere lowers the peak, and so the dip")


@dataclass(frozen=True)
class Bound:
    """How an upper bound of the lowest volts is weighed, as multiples of the class-usual battery (`lowest`)."""

    per_root_year: float = stated(0.10, "1/a^0.5", 0.05, 0.2, "a battery may have moved by in a year since it was read; our choice")
    beyond: float = stated(0.5, "1", 0.25, 1.0,
        "of what a bound exceeds the expected by: added to the expected value's doubt, and the bound's own doubt at least; our "
        "choice, because nobody knows how far beyond it the truth lies")
    tells: float = stated(0.05, "1", 0.025, 0.1, "of the expected value's information, least that a bound adds to count; our choice")
    fewest_with_values: int = stated(3, "vehicles", 2, 6,
        "of a class: with fewer its usual value is learned from bounds as if they were values; our choice, which matters to classes of "
        "slow samples alone")


@dataclass(frozen=True)
class Turning:
    """What cranking speed, or else cranking time, tells where a reading holds neither volts under load nor amps (`by_speed`)."""

    speed_sd: float = stated(0.04, "1", 0.02, 0.08,
        "cranking speed between sound vehicles of a class, relative; our choice: compression, idle loads and tachometers differ")
    time_scatter: float = stated(0.25, "1", 0.15, 0.4,
        "cranking time from start to start, relative; our choice, because where the crank comes to rest, fuel and the hand on "
        "the key count more than speed")
    time_sd: float = stated(0.15, "1", 0.1, 0.3, "cranking time between sound vehicles of a class, relative; our choice")
    time_per_k: float = stated(0.01, "1/K", 0.005, 0.02,
        "doubt of how cranking time grows with the cold beyond what speed does; our choice: fuel and glow plugs")
    most_own: float = stated(2.0, "standard deviations", 1.5, 3.0,
        "further than this from its class a vehicle's own speed is a loss, not its habit; our choice")


@dataclass(frozen=True)
class Travel:
    """How far the same class of another fleet may differ (`taught`)."""

    law_share: float = stated(0.5, "1", 0.25, 1.0, "of the published doubt of a law that is left between fleets; our choice")
    usual_sd: float = stated(0.10, "1", 0.05, 0.2,
        "of usual values between fleets of one class, relative: batteries and cables of other makes; our choice")
    needs_share: float = stated(0.5, "1", 0.25, 1.0, "of the published doubt of a need that is left between fleets; our choice")
    ageing_sd: float = stated(0.01, "1/a", 0.005, 0.02, "of ordinary ageing between fleets, as their use differs; our choice")
    unlike: float = stated(0.001, "1", 0.0001, 0.01,
        "chance below which a law is taken for another kind of vehicle's; our choice, which matters to classes nearly alike")
    fewest_vehicles: int = stated(4, "vehicles", 3, 8,
        "whose readings of a channel may say so; our choice, which matters to fleets of a few vehicles")


@dataclass(frozen=True)
class Slips:
    """Beyond this multiple of the class median a value is a misplaced decimal point, not a worn part."""

    factors: Mapping[str, float] = stated_each(
        {"crank_a": 3.5, "peak_a": 5.0, "coil_a": 3.0, "crank_rpm": 3.5, "rest_v": 1.25, "crank_min_v": 2.5}, "1", 0.85, 1.2,
        "times the class median, and the median over it; our choice")


@dataclass(frozen=True)
class Classes:
    """What the vehicles of a class have in common, before and beside its own readings."""

    speed_share: float = stated(0.30, "1", 0.2, 0.4, "of the load that falls with speed; our choice, between constant torque and viscous drag")
    speed_share_sd: float = stated(0.10, "1", 0.05, 0.2, "its doubt before any reading; our choice")
    inrush_share: float = stated(0.85, "1", 0.77, 0.93,
        "loop resistance over rest volts by peak amps; our choice, because true stall is never reached")
    inrush_share_sd: float = stated(0.08, "1", 0.04, 0.16, "its doubt before any reading; our choice")
    inrush_model_sd: float = stated(0.02, "1", 0.01, 0.04, "no estimate of the inrush share is better than this; our choice")
    battery_at_inrush: float = stated(0.95, "1", 0.8, 1.0, "of the steady battery resistance that the inrush sees; our choice")
    battery_at_inrush_sd: float = stated(0.15, "1", 0.075, 0.3, "its doubt before any reading; our choice")
    battery_at_inrush_between: tuple[float, ...] = stated_each((0.5, 1.1), "1", 0.9, 1.1,
        "between which readings may have it: a battery polarises within the second, and gives hardly more than its steady resistance at the "
        "inrush; our choice, which matters to fleets whose parts wear much")
    base_sd: tuple[float, ...] = stated_each((0.10, 0.18, 0.18, 0.15, 0.12, 0.07, 0.20), "class-usual values", 0.67, 1.5,
        "spread between sound vehicles by channel; our choice")
    prior_vehicles: float = stated(10.0, "vehicles", 5.0, 20.0, "that this spread counts for; our choice")
    least_spread: float = stated(0.04, "class-usual values", 0.02, 0.06, "that a class may show; our choice")
    most_spread: float = stated(0.4, "class-usual values", 0.3, 0.6, "the same at the most; our choice, which matters to a class of two kinds")
    low_quantile: float = stated(0.35, "1", 0.25, 0.5, "of a vehicle's readings, for what is usual: worn stretches lie above it; our choice")
    battery_se: float = stated(0.08, "1", 0.04, 0.16, "of one battery value where its law is fitted, relative; our choice")
    load_se: float = stated(0.035, "1", 0.0175, 0.07, "the same of the load; our choice")
    scatter_readings: float = stated(30.0, "readings", 15.0, 60.0,
        "that the stated errors count for beside the scatter that a class shows; our choice")
    least_scatter: float = stated(0.6, "1", 0.4, 0.8, "of that scatter over the stated errors; our choice")
    most_scatter: float = stated(3.0, "1", 2.0, 4.0, "of the same at the most; our choice")
    turns: tuple[float, ...] = stated_each((0.2, 1.3), "usual speed", 0.85, 1.15,
        "between which an engine's speed is believed where amps are reckoned from it; our choice: below the first it stands, above the second "
        "it runs by itself")
    speed_robust: float = stated(2.0, "scatter", 1.5, 3.0, "of speed, beyond which a reading counts for less in the inrush share; our choice")
    fewest_of_vehicle: int = stated(3, "readings", 3, 6, "of its speed, from which on a vehicle tells of the inrush share; our choice")
    speed_scatter: float = stated(0.045, "1", 0.02, 0.09, "of speed over back-emf about the vehicle's own middle, relative; our choice")
    mild_k: float = stated(15.0, "K", 10.0, 20.0, "from 20 °C within which the usual back-emf is looked for; our choice")
    sound_emf_quantile: float = stated(0.7, "1", 0.5, 0.8, "of a vehicle's readings, for the back-emf of a sound one; our choice")
    assumed_emf_share: float = stated(0.70, "system volts", 0.60, 0.80,
        "back-emf where no reading tells it: 150 to 250 A steady of an inrush near 600 A (common practice) through `inrush_share` leave 0.75 "
        "to 0.60, a printed 1.4 kW starter (780 A stalled) at 150 to 200 A 0.79 to 0.73; what brushes take beyond their stated drop counts with it")
    parts_inflation: float = stated(10.0, "1", 5.0, 20.0, "readings of one vehicle are not independent: they count for a tenth; our choice")
    parts_moved: float = stated(0.25, "usual loop", 0.125, 0.5, "parts that moved less tell little of the inrush; our choice")
    fewest_readings: int = stated(20, "readings", 10, 40, "that tell of the inrush, or of the load's share, or nothing is learned; our choice")
    fewest_whole: int = stated(4, "readings", 3, 8,
        "of inrush, battery and every drop, from which on a vehicle tells how its inrush follows its parts; our choice")
    robust: float = stated(1.5, "scatter", 1.2, 2.0, "beyond which a reading counts for less; our choice")
    slow_below: float = stated(0.75, "usual back-emf", 0.65, 0.85, "at which an engine turns slowly because of a resistance; our choice")
    usual_turn: float = stated(0.1, "usual speed as cold", 0.05, 0.2, "within which a start is at its usual speed; our choice")
    slow_amps: tuple[float, ...] = stated_each((0.5, 1.1), "amps at the usual speed", 0.9, 1.1,
        "between which those of a slow start are believed: it takes fewer, and hardly less than half; our choice")
    speed_share_least_sd: float = stated(0.03, "1", 0.015, 0.06, "no estimate of the speed share is better than this; our choice")
    raised_load: float = stated(1.15, "usual load", 1.1, 1.25, "above it a load is raised, and tells nothing of the inrush; our choice")
    assumed_battery_v: float = stated(1.0, "V per 12 V", 0.6, 1.6,
        "sag of a sound battery while cranking, common practice; matters where no label tells")
    contacts_drop_times: float = stated(1.5, "a cable's drop", 1.0, 2.0, "drop of sound contacts; our choice")
    assumed_control_v: float = stated(0.8, "V per 12 V", 0.4, 1.0, "drop of a sound control circuit, common practice: up to 1 V")
    assumed_coil_a: float = stated(7.0, "A", 4.0, 15.0, "most coils, common practice")
    assumed_coil_v: float = stated(11.0, "V", 10.0, 12.0, "on the coil at these amps; our choice")
    least_loop_share: float = stated(0.05, "rest volts", 0.025, 0.1,
        "that the loop takes while cranking at the least; our choice, which matters to speeds that contradict their volts")
    least_motor_share: float = stated(0.1, "loop resistance", 0.05, 0.2,
        "that is the motor's at the least; our choice, which matters to readings that contradict each other")


@dataclass(frozen=True)
class Meters:
    """Wrong meters and thermometers; effects in the order amps, peak amps, drops (relative), thermometer (K)."""

    sound: tuple[float, ...] = stated_each((0.010, 0.010, 0.010, 1.0), "1, K", 0.5, 2.0, "usual error of a sound meter; our choice")
    least: tuple[float, ...] = stated_each((0.02, 0.03, 0.02, 3.0), "1, K", 0.5, 2.0,
        "smaller effects are neither reported nor taken out; our choice, which matters to meters a few percent off")
    significant: float = stated(4.0, "standard errors", 3.0, 5.0,
        "of an effect that counts; our choice, because hundreds of persons times four effects are looked at; likewise")
    disagree: float = stated(1.5, "times the least", 1.2, 2.0,
        "meters nearer together than this are not worth a sentence; our choice, which matters where no hand is surely wrong")
    fewest_vehicles: int = stated(8, "vehicles", 4, 16, "that one hand must have read before it is judged; our choice")
    longest_gap_d: float = stated(200.0, "d", 100.0, 400.0, "readings further apart say more about wear than about meters; our choice")
    huber: float = stated(1.5, "standard errors", 1.2, 2.0, "beyond which a difference counts for less; our choice")
    reject: float = stated(6.0, "standard errors", 4.0, 8.0, "and beyond which it is a repair or a slip; our choice")
    least_se: float = stated(0.01, "1", 0.005, 0.02, "of one reading, relative, where hands are compared; our choice")
    depot_sd: float = stated(0.02, "1", 0.01, 0.04,
        "how far sound vehicles of one class differ from depot to depot in any channel, relative; our choice, which matters where all "
        "hands of a depot share an error")
    apart_sd: float = stated(2.5, "standard deviations", 2.0, 3.0, "beyond which a vehicle counts no further for its depot; our choice, likewise")
    named_share: float = stated(0.6, "1", 0.4, 0.8,
        "of readings that name an instrument, from which on instruments are judged instead of technicians; our choice, which matters where "
        "about half do")


@dataclass(frozen=True)
class Renewals:
    """Steps down that look like a renewal nobody recorded."""

    step_se: float = stated(5.0, "standard errors", 4.0, 6.0, "of a step down; our choice")
    step_excess: float = stated(0.35, "class-usual values", 0.2, 0.5,
        "that it must be at the least; our choice, which matters to parts that are read very often")
    denied_d: float = stated(45.0, "d", 20.0, 90.0, "either way, of the steps that a denial speaks of; our choice")
    new_sd: float = stated(3.0, "standard deviations", 2.4, 3.6,
        "of a sound part that it must come down to; our choice, which matters to used parts fitted")
    same_day_sd: float = stated(4.0, "standard deviations", 3.0, 5.0,
        "of a sound part, within which one read on the day of its repair was read after it; our choice, which matters "
        "to vehicles read before and after a repair")


@dataclass(frozen=True)
class Outcomes:
    """How starts went."""

    unexplained: float = stated(0.05, "1", 0.025, 0.1, "of failed starts, those that the parts we read do not explain; our choice")
    sd_k: float = stated(2.5, "K", 1.5, 4.0, "air read at a start against the cold the battery felt; our choice")
    unknown_sd_k: float = stated(6.0, "K", 4.0, 8.0, "temperature of a start that nobody wrote down, about its season; our choice")
    slow_above_k: float = stated(8.0, "K", 5.0, 12.0, "above the coldest start within which a slow start happens; our choice")
    stands_d: float = stated(120.0, "d", 60.0, 180.0, "a failure nobody repaired is on the list for so long at most; our choice: a winter")
    stray_share: float = stated(0.3, "1", 0.15, 0.6,
        "of failures without a repair, those that had nothing to do with the starting circuit, before the fleet's own show it; our choice")
    stray_counts: float = stated(5.0, "failures", 3.0, 10.0, "of its own that this counts as much as; our choice")
    again_times: float = stated(20.0, "times", 5.0, 60.0,
        "as likely as another stray failure is the next one of a fault that stands: `again_per_day` beside a stray one a year; our choice, which "
        "matters to vehicles that fail again")
    answered_d: float = stated(30.0, "d", 14.0, 60.0, "a repair so soon after a failure was for it; our choice, which matters to late repairs")
    passes: float = stated(0.5, "1", 0.3, 0.7, "of starts as cold, those that a fault which stopped one lets pass; our choice")
    still: float = stated(0.5, "1", 0.25, 0.75,
        "of faults that stopped a start, those that let none pass until they are mended; our choice, which matters where starts are on record")
    leads: float = stated(0.2, "1", 0.1, 0.3,
        "a failure leads the list while its fault is more probably there than this; our choice: rather four looks for nothing than one "
        "vehicle that fails again")
    worn_counts: float = stated(10.0, "times", 5.0, 20.0,
        "as likely as a sound one is a part that surely wears behind a failure that readings do not explain; our choice")
    again_per_day: float = stated(0.05, "1/d", 0.025, 0.1, "rate at which a fault that stopped a start and stands stops the next; our choice")


@dataclass(frozen=True)
class LikelyParts:
    """Shares of the parts behind each kind of failure, before any reading, in the order battery, positive cable, ground path,
    contacts, starter motor, control circuit, engine drag."""

    no_start: tuple[float, ...] = stated_shares((0.40, 0.10, 0.10, 0.10, 0.15, 0.10, 0.05), 0.5, 2.0,
        "from memory of common practice; matters where readings leave the part open", "power")
    no_click: tuple[float, ...] = stated_shares((0.20, 0.05, 0.10, 0.00, 0.05, 0.60, 0.00), 0.5, 2.0,
        "from memory of common practice: silence is the control side", "power")
    click: tuple[float, ...] = stated_shares((0.20, 0.10, 0.10, 0.25, 0.30, 0.00, 0.05), 0.5, 2.0,
        "from memory of common practice: a click without cranking is contacts or motor", "power")
    chatter: tuple[float, ...] = stated_shares((0.60, 0.15, 0.15, 0.00, 0.00, 0.10, 0.00), 0.5, 2.0,
        "from memory of common practice: chatter is a supply that collapses; matters while one stands", "power")
    spins: ClassVar[tuple[float, ...]] = (0.00, 0.00, 0.00, 0.00, 1.00, 0.00, 0.00)  # the pinion does not engage: no other part does so


# fmt: on
NOISE: Final = Noise()
OBSERVING: Final = Observing()
THINNING: Final = Thinning()
MORNINGS: Final = Mornings()
DIP: Final = Dip()
BOUND: Final = Bound()
TURNING: Final = Turning()
TRAVEL: Final = Travel()
SLIPS: Final = Slips()
CLASSES: Final = Classes()
METERS: Final = Meters()
RENEWALS: Final = Renewals()
OUTCOMES: Final = Outcomes()
LIKELY_PARTS: Final = LikelyParts()
