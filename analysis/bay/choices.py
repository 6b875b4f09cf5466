"""What we chose about one reading taken apart: boundaries of the findings, expected readings, whose reading it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Boundaries:
    """Boundaries of the decision table's rows, beside the limits."""

    stands_rpm: float = stated(5.0, "rpm", 2.5, 10.0, "a tachometer's flicker on an engine that does not turn; our choice")
    hardly: float = stated(0.15, "usual amps", 0.08, 0.3, "less than any starter takes, running free or locked; our choice")
    free_share: float = stated(0.8, "usual amps", 0.6, 0.9,
        "most of a starter that runs free; our choice, because it takes 90 of 150 to 300 A (PM starter data)")
    stall_share: float = stated(0.7, "of the inrush", 0.55, 0.85,
        "least of a locked engine; our choice, because a turning engine takes a third to half of it")
    plainly_raised: float = stated(1.2, "usual inrush", 1.15, 1.35,
        "from here on it is neither a clamp's scatter nor a strong vehicle of its class; our choice, four times what a clamp is out by")
    not_slow: float = stated(0.95, "usual speed", 0.9, 1.0, "as fast as ever; our choice")
    two_cables_least: float = stated(1.6, "the clamp's amps", 1.4, 1.8,
        "that all else tells of, when it is believed instead: round one of two cables shows about half; our choice")
    two_cables_most: float = stated(2.6, "the clamp's amps", 2.2, 3.0, "the same at the most; our choice")
    slowed: float = stated(0.82, "usual speed", 0.75, 0.9, "as much as a fifth more amps by drag cost; our choice")
    raised_amps: float = stated(1.2, "usual amps", 1.1, 1.3, "enough where the engine is clearly slow as well; our choice")
    as_many_amps: float = stated(1.1, "usual amps", 1.05, 1.2, "no more than usual; our choice, because a clamp scatters by less")
    clearly_slow: float = stated(0.75, "usual speed", 0.65, 0.85, "slow at usual amps; our choice")
    off_the_curve: float = stated(0.85, "1", 0.75, 0.95, "of the speed to which these volts turn a usual motor; our choice")
    faster_than_volts: float = stated(1.1, "1", 1.05, 1.2, "times that speed: the volts were not those at which it turned; our choice")
    low_peak: float = stated(0.8, "usual inrush", 0.7, 0.9, "low; our choice, because it is four times the usual scatter of a clamp")
    usual_peak: float = stated(0.92, "usual inrush", 0.85, 1.0, "as usual; our choice, because a worn battery lowers it")
    more_than_volts: float = stated(1.18, "1", 1.1, 1.3,
        "times the speed of these volts, times the inrush that such a battery gives; our choice: thrice what either scatters by")
    turns_easily: float = stated(1.1, "usual speed", 1.05, 1.2, "faster than any sound engine of its class is turned; our choice")
    faster_than_own: float = stated(1.1, "1", 1.06, 1.15,
        "times the speed that these volts give the vehicle by its earlier readings; our choice: more than twice what its speed scatters by")
    worse_than_own: float = stated(2.4, "1", 1.8, 3.0,
        "times what the vehicle's earlier readings make a drop; our choice, because leads on the clamp instead of the post may double it")
    worth_naming: float = stated(0.5, "of its limit", 0.3, 0.8, "least of a drop that is named for having risen; our choice")
    weaker_than_own: float = stated(0.75, "1", 0.65, 0.85,
        "speed over that of these volts, times inrush over the usual, by the vehicle's earlier readings; our choice: thrice what both "
        "scatter by")
    lost_charge_v: float = stated(0.2, "V per 12 V", 0.1, 0.3,
        "below what the vehicle's earlier readings make it: a quarter of the charge, BCI rest-voltage table; our choice")
    five_cells_least_v: float = stated(10.2, "V", 10.0, 10.3,
        "rest volts of a 12 V battery with one dead cell and the others half charged: five sixths of 12.2 V, BCI rest-voltage table")
    five_cells_most_v: float = stated(10.7, "V", 10.6, 10.9, "the same with the others full: five sixths of 12.65 to 12.8 V, BCI rest-voltage table")
    hardly_dropped: float = stated(0.25, "usual drop", 0.1, 0.4,
        "at the amps that flow; our choice, because sound cables of a class differ by far less")
    cold_explains: float = stated(1.3, "usual amps in the warm", 1.15, 1.6,
        "from here on the cold is reason enough for an engine that seems slow; our choice")
    faster_than_drop: float = stated(1.08, "1", 1.04, 1.15,
        "times the speed of these volts; our choice, because a drop of half a volt makes half of it")
    speeds_told_apart: float = stated(1.4, "1", 1.3, 1.7,
        "speed of a weak battery over that of more amps at the same volts, from which speed tells which it is; our choice: more than off the "
        "curve to one side and faster than the volts to the other")
    half_the_speed: float = stated(0.6, "1", 0.55, 0.65,
        "most of the speed of these volts, where a tachometer counts half; our choice, a fifth beside half")
    one_battery_charged: float = stated(0.66, "rest volts", 0.6, 0.75,
        "most that one battery of a pair shows while it is charged; our choice: half of 14.4 to 16 V in 12 V, and no generator that "
        "fails lets a pair fall so far")
    one_battery_cranked: float = stated(0.6, "usual volts while cranking", 0.55, 0.65,
        "most that one battery of a pair shows: half, and its own share of the sag; our choice")
    one_battery_least: float = stated(0.35, "usual volts while cranking", 0.25, 0.45,
        "least that one battery of a pair shows, the weaker one: 8 of 23 V, the load-test table's least; our choice")
    twice_the_speed: float = stated(1.6, "1", 1.5, 1.8,
        "least of the speed of these volts, where a tachometer counts twice; our choice, a fifth beside double")
    hardly_falls: float = stated(0.25, "usual resistance", 0.15, 0.35,
        "of a battery whose volts were not read while it cranked; our choice, because a new and larger one has half, and a booster "
        "beside it halves that no further")
    clamp_borne_out: float = stated(1.25, "the clamp's amps", 1.15, 1.4,
        "either way, that drops of sound cables tell of, where it is right; our choice, because joints differ by less")
    near_stall: float = stated(0.85, "of the inrush", 0.75, 0.95,
        "from here on back-emf is the small rest of large numbers, and speed tells nothing of the motor; our choice")
    charged_over_rest_v: float = stated(0.2, "V per 12 V", 0.1, 0.4,
        "above rest volts, which only a generator that works gives; our choice, because a meter and surface charge make less")
    least_dip_v: float = stated(4.0, "V per 12 V", 3.0, 5.0,
        "least at the first moment of a start: a starter held fast still has 4 V at 780 A, PM starter data; 3 V in ISO 16750-2:2023 4.6.3")
    battery_told_c: float = stated(-30.0, "°C", -35.0, -20.0,
        "coldest air in which the last row of the load-test table is held against a battery; our choice: one that is what its label says "
        "holds 9 V at half its label's amps there, by the laws of the cold")
    dip_least: float = stated(0.5, "1", 0.4, 0.65,
        "of the fall that the inrush makes through a usual battery; our choice, because at the first moment a battery has a fifth to a "
        "third less resistance than after seconds, from memory, and a meter catches most of a dip of 50 ms")
    dip_most: float = stated(1.35, "1", 1.2, 1.6, "the same at the most; our choice")
    collapsed: float = stated(0.6, "rest volts", 0.5, 0.7, "our choice, because even a locked starter leaves a sound battery more")
    hardly_sags: float = stated(0.98, "rest volts", 0.97, 0.99,
        "held by a battery that hardly any amps are drawn from; our choice, because a starter running free takes it further down")
    open_share: float = stated(0.5, "rest volts", 0.3, 0.8,
        "a larger drop is an open joint, told as it was read; our choice, because no engine is turned by the rest")
    dead_coil_a: float = stated(0.5, "A", 0.25, 1.0, "a small clamp's zero; our choice")
    most_widened: float = stated(1.0, "logarithm", 0.5, 2.0,
        "no doubt about the cold widens a boundary by more than 2.7 times; our choice")
    both_over_hold_in: float = stated(3.5, "1", 3.0, 5.0,
        "least of the amps of both windings over those of hold-in: 69 A over 19 A, TM 5-2420-230-24-2 p. 13-33; cars 60 A over 20 A, service manuals")
    own_coil_share: float = stated(0.3, "1", 0.2, 0.4, "of the vehicle's own hold-in ohms, either way; our choice, because a meter's and "
        "a warm coil's error come to a third")


@dataclass(frozen=True)
class Facts:
    """The arithmetic before the table."""

    stalled_share: float = stated(0.05, "usual back-emf", 0.02, 0.1, "less is an engine that stands; our choice; matters to seized ones")
    flowing_share: float = stated(0.3, "usual amps", 0.15, 0.5, "fewer make no resistance out of a meter's last digit; our choice")
    smallest_a: float = stated(60.0, "A", 40.0, 90.0,
        "usual amps where nobody knows them; common practice: 60 to 250 A while cranking steadily")
    fewest_telling: int = stated(3, "1", 2, 4, "sag and drops that must agree on the amps; our choice")
    fewest_dropping: int = stated(2, "drops", 2, 3, "that are nearly nil before the way they were measured is doubted; our choice")
    agree_within: float = stated(1.5, "1", 1.25, 2.0,
        "largest over smallest of the amps that they tell; our choice, because sound parts differ by less")
    as_usual: float = stated(0.2, "usual amps", 0.1, 0.4,
        "fewer that agree must tell of what the class takes anyway; our choice")
    charging_per_k: float = stated(0.01, "V/K per 12 V", 0.005, 0.03, "more below the warm; regulators give more in the cold, from memory")
    saturates_at: float = stated(1.2, "usual amps", 0.6, 2.4, "a series field is half full near cranking amps, from memory; our choice")
    early_battery: float = stated(0.7, "1", 0.6, 0.85,
        "of a battery's resistance after seconds that the inrush meets; our choice: a fifth to a third less, from memory")
    felt_drop_v: float = stated(0.8, "V per 12 V", 0.4, 1.2, "a tenth of the back-emf, which the speed shows; our choice")
    clamp_doubt: float = stated(0.05, "1", 0.025, 0.1, "of a small clamp, relative; our choice")
    clear_fall_v: float = stated(0.6, "V per 12 V", 0.3, 1.0,
        "below the usual volts; our choice, because sound vehicles of a class differ by less")
    coldest_told_c: float = stated(-45.0, "°C", -55.0, -35.0,
        "colder air is not asked for where degrees do not fit; our choice, because no reading in it is likely")
    coldest_unnoted_c: float = stated(-26.0, "°C", -30.0, -20.0,
        "coldest air that may explain a reading whose air nobody noted; our choice, because few engines start in colder air")
    unnoted_step_k: float = stated(4.0, "K", 2.0, 6.0, "between the temperatures that are tried for it; our choice, about what air and "
        "engine are apart")
    speed_in_cold: float = stated(0.3, "of the logarithm of how many times the warm amps the cold takes", 0.15, 0.6,
        "doubt of the usual speed; our choice, because speed falls with oil, battery and motor at once")
    fewest_own: int = stated(3, "readings", 2, 6, "of the vehicle, before what they make of it counts beside its class; our choice")
    sag_doubt: float = stated(0.1, "of the sag", 0.05, 0.2,
        "of a vehicle with few readings: taken off what cranking tells of the rest volts; our choice")


@dataclass(frozen=True)
class Expecting:
    """What a vehicle's next reading should show, and whether a reading closes."""

    fewest_readings: int = stated(8, "readings", 4, 16, "of a class, before what is usual in it counts as known; our choice")
    prior_rest: float = stated(4.0, "readings", 2.0, 8.0, "that the usual scatter of rest volts counts for; our choice")
    closes_at: float = stated(0.001, "1", 1e-4, 0.01, "chance of a sound reading being called not closing; our choice")
    borne_out_by: float = stated(2.0, "chi-squared", 1.0, 6.0,
        "less where a doubted drop is believed than where it is not: e times as likely; our choice, because the joints are looked at "
        "either way, and a slip that speed and inrush deny lies far on the other side")
    denied_by: float = stated(12.0, "chi-squared", 8.0, 18.0,
        "less where a drop of ten times the usual is taken for a slip than where it is believed: 400 times as likely; our choice, because "
        "slips and parts that fail from one service to the next are both rare")
    fewest_checked: int = stated(3, "values", 2, 5, "fewer over-determine nothing; our choice")
    moved_z: float = stated(3.0, "1", 2.5, 4.0,
        "standard errors from which on a value is said to be unlike the readings before; normal law, one of 370 sound values: our choice")
    last_own: int = stated(5, "readings", 3, 10, "of the vehicle that a value which no circuit foretells is held against; our choice")
    own_scatter: float = stated(0.065, "1", 0.04, 0.1,
        "of such a value among them, relative: with few of them a fifth more or less is worth saying; our choice")
    prior_own: float = stated(4.0, "readings", 2.0, 8.0, "that this scatter counts for; our choice")


@dataclass(frozen=True)
class ModelError:
    """How far the model itself is from a sound vehicle's start, relative, one standard deviation.

    It is what single starts of sound vehicles scatter beyond the instruments in the simulated fleets.
    """

    open_circuit: float = stated(0.006, "1", 0.003, 0.012, "rest volts; our choice, from simulated fleets")
    battery: float = stated(0.05, "1", 0.025, 0.1, "battery; our choice, from simulated fleets")
    positive: float = stated(0.06, "1", 0.03, 0.12, "positive cable; our choice, from simulated fleets")
    ground: float = stated(0.06, "1", 0.03, 0.12, "ground path; our choice, from simulated fleets")
    contacts: float = stated(0.06, "1", 0.03, 0.12, "contacts; our choice, from simulated fleets")
    motor: float = stated(0.05, "1", 0.025, 0.1, "motor winding; our choice, from simulated fleets")
    load: float = stated(0.045, "1", 0.02, 0.09, "load; our choice, from simulated fleets")
    emf: float = stated(0.06, "1", 0.03, 0.12, "motor constant; our choice, from simulated fleets")
    control: float = stated(0.05, "1", 0.025, 0.1, "control circuit; our choice, from simulated fleets")
    coil: float = stated(0.05, "1", 0.025, 0.1, "coil; our choice, from simulated fleets")


@dataclass(frozen=True)
class Whose:
    """Is it this vehicle's reading?"""

    prior_other: float = stated(0.005, "1", 0.0025, 0.01, "chance that a reading stands under a wrong number; our choice")
    ask_at: float = stated(0.5, "1", 0.3, 0.8, "probability at which it is asked; our choice: even odds")
    most_named: int = stated(3, "vehicles", 2, 5, "named in the question; our choice")
    least_named: float = stated(0.05, "1", 0.025, 0.1, "probability of a vehicle that is named; our choice")
    look_at: float = stated(0.01, "1", 0.003, 0.03,
        "chance of a sound reading being compared with other vehicles at all; our choice, to save time")
    nearest: int = stated(12, "vehicles", 6, 24, "that a reading is compared with; our choice, to save time")
    sound: float = stated(0.83, "1", 0.7, 0.9, "of own readings: as expected; our choice")
    changed: float = stated(0.10, "1", 0.05, 0.2, "of own readings: a part changed since; our choice")
    slipped: float = stated(0.05, "1", 0.025, 0.1, "of own readings: one value wrong; our choice")
    loose: float = stated(0.02, "1", 0.01, 0.04, "of own readings: off everywhere; our choice")
    changed_sd: float = stated(1.0, "logarithm", 0.5, 2.0, "of a part that changed: up to some three times and a third; our choice")
    loose_times: float = stated(3.0, "1", 1.5, 6.0, "errors of a reading that is off everywhere; our choice")
    slip_times: float = stated(1000.0, "1", 100.0, 10000.0, "a wrong value is anywhere within three powers of ten; our choice")
    least_size: float = stated(0.05, "V, A, rpm", 0.01, 0.1, "of a wrong value, so that zero has a density; our choice")
    km_a_day: float = stated(60.0, "km/d", 30.0, 120.0, "where one odometer reading is all there is; our choice")
    odometer_sd_km: float = stated(300.0, "km", 150.0, 600.0, "of the odometer expected; our choice")
    odometer_sd_share: float = stated(0.5, "1", 0.25, 1.0, "of the distance run since, which is added to that; our choice")
    odometer_tail: float = stated(3.0, "degrees of freedom", 2.0, 6.0,
        "of Student's t; our choice, because holidays and long hauls happen")
    misread: float = stated(0.02, "1", 0.01, 0.04, "of own odometer readings that are misread; our choice")
    any_km: float = stated(1e6, "km", 5e5, 2e6, "over which a misread or unknown odometer may lie; our choice")
    near_sd: float = stated(0.25, "log ratio", 0.125, 0.5, "to a vehicle's latest values that counts as one step away; our choice")
    near_km: float = stated(5000.0, "km", 2500.0, 10000.0, "the same of the odometer; our choice")
    farthest: float = stated(60.0, "squared steps", 30.0, 120.0, "of one value at most; our choice")
    unread: float = stated(4.0, "squared steps", 2.0, 8.0, "of a value that was never read; our choice")


@dataclass(frozen=True)
class Asking:
    """What to measure next."""

    visit_h: float = stated(8.0, "h", 4.0, 14.0,
        "within which measurements tell of the same start, each made once; our choice: a working day")
    together_d: float = stated(14.0, "d", 7.0, 28.0,
        "within which readings are one measurement made several times; our choice")
    stands_d: float = stated(91.0, "d", 45.0, 182.0,
        "before the latest reading: a measurement made since then is not asked for again; our choice, as long as a plan looks ahead")


@dataclass(frozen=True)
class Testing:
    """What the measurements that may come next take, and how far from nil each puts a cause that it tells of.

    Distances are in standard errors of the measurement, of the size that a fault which matters has with a usual workshop meter: a
    cable at 1.8 times its resistance, a battery at 1.3 times, a field 15 % weak, drag up by 18 %.
    """

    again_min: float = stated(6.0, "min", 3.0, 12.0, "the reading once more, or one drop three times; our choice")
    at_hand_min: float = stated(8.0, "min", 4.0, 16.0,
        "volts, drops step by step, a loaded check, speed: a meter at the vehicle, without waiting for its battery to rest; our choice")
    peak_min: float = stated(10.0, "min", 5.0, 20.0, "the inrush, with a clamp that holds it; our choice")
    load_test_min: float = stated(15.0, "min", 8.0, 30.0, "of the charged battery; our choice")
    by_hand_min: float = stated(30.0, "min", 15.0, 60.0, "turning the engine with a bar; our choice; matters where engine or starter may drag")
    bench_min: float = stated(90.0, "min", 45.0, 180.0, "starter out, run unloaded, and in again; our choice")
    plain: float = stated(6.0, "standard errors", 3.0, 12.0,
        "what hardly leaves a doubt: a joint one way and its cable, strap or wire the other, a discharged battery's rest volts, a "
        "starter on the bench; our choice")
    by_hand: float = stated(5.0, "standard errors", 2.5, 10.0, "drag that a hand feels on the bar; our choice; and matters there too")
    repeat_slip: float = stated(4.0, "standard errors", 2.0, 8.0, "a slip from every other cause, by a second reading; our choice")
    speed_starter: float = stated(2.5, "standard errors", 1.25, 5.0, "a weak starter: more amps at full speed; our choice")
    speed_drag: float = stated(1.5, "standard errors", 0.75, 3.0, "drag, the other way: more amps at low speed; our choice")
    load_worn: float = stated(4.0, "standard errors", 2.0, 8.0, "a worn battery under the load test; our choice")
    load_discharged: float = stated(3.0, "standard errors", 1.5, 6.0, "a discharged one that was charged for it; our choice")
    contacts: float = stated(4.0, "standard errors", 2.0, 8.0, "burnt contacts, by three drops; our choice")
    peak_starter: float = stated(3.0, "standard errors", 1.5, 6.0, "resistance in the starter, by the inrush; our choice")
    peak_battery: float = stated(1.5, "standard errors", 0.75, 3.0, "a worn battery, which lowers the inrush less; our choice")


# fmt: on
BOUNDARIES: Final = Boundaries()
FACTS: Final = Facts()
EXPECTING: Final = Expecting()
MODEL_ERROR: Final = ModelError()
WHOSE: Final = Whose()
ASKING: Final = Asking()
TESTING: Final = Testing()
