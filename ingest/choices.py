"""What we chose about files, rows and values that are to be believed: each a field with its unit, doubt and source, as `analysis.stated` has
them of what is worked out; NUMBERS.md prints both."""

from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeVar

Value = TypeVar("Value", int, float)


class Doubt(NamedTuple):
    """What is said of a choice beside its value; it may lie between low and high."""

    unit: str
    low: float
    high: float
    source: str
    kind: str = "between"


def stated(value: Value, unit: str, low: float, high: float, source: str) -> Value:
    """A field of a number; low and high in its unit, with `value` between them."""
    found: Value = field(default=value, metadata={"stated": Doubt(unit, low, high, source)})
    return found


# fmt: off
@dataclass(frozen=True)
class Files:
    """What lines and cells of a file are taken for (`texts`, `values`, `cells`, `layout`, `former`)."""

    century_split: int = stated(70, "year of two digits", 50, 80,
        "below is 20xx, from there on 19xx; our choice, POSIX splits at 69; matters to years of two digits")
    first_serial_d: float = stated(20_000.0, "d", 15_000.0, 30_000.0,
        "a number from there on may be a spreadsheet's day, of 1954; our choice; matters to numbers where a day belongs")
    last_serial_d: float = stated(80_000.0, "d", 60_000.0, 100_000.0, "up to that of 2119; our choice; and matters there too")
    fewest_side_by_side: int = stated(3, "columns", 2, 6,
        "of days, months or vehicles beside each other, where a table has rows of them; our choice; matters to refusals")
    longest_quoted: int = stated(50, "lines", 20, 200,
        "of one quoted cell: a quote that stays open longer was never closed; our choice; matters to remarks of many lines, and "
        "to quotes left open")
    fewest_headings: float = stated(0.6, "1", 0.4, 0.8,
        "share of a description's headings that a file must have; our choice, because columns go; matters to files that lost columns")
    fewest_against: int = stated(2, "dates", 1, 5,
        "that contradict the stated order before a file is refused; our choice: one may be a slip; matters to files of mixed dates")
    same: float = stated(1e-5, "V, A, °C", 1e-6, 1e-3,
        "two values are the same within this; our choice: ten times the stored rounding; matters to files that come again with "
        "fewer digits")


@dataclass(frozen=True)
class Drafting:
    """What the columns of a foreign file are taken for where no heading says it (`drafting`)."""

    mostly: float = stated(0.8, "1", 0.6, 0.95,
        "share of a column's cells that must be dates for it to be a column of dates; our choice; matters to columns of dates "
        "among remarks")
    fewest_swapped: int = stated(5, "dates", 4, 8,
        "real ones, all of the first twelve days, beside later text dates; our choice: chance is under 1 % (0.39^5); matters to "
        "workbooks opened in another country")
    fewest_meanings: int = stated(3, "headings", 2, 5,
        "understood below which a row is not taken for a heading; our choice; matters to title rows")
    millivolt_drop_v: float = stated(15.0, "V", 12.0, 30.0,
        "a median drop above cannot be volts; our choice, from the ranges in `fields`; matters to headings without a unit")
    millivolt_battery_v: float = stated(100.0, "V", 40.0, 1000.0,
        "a median battery voltage above cannot be volts; our choice likewise; and matters there too")
    fahrenheit_c: float = stated(45.0, "°C", 35.0, 50.0,
        "a median air temperature above is no Celsius; our choice likewise; and matters there too")
    fahrenheit_low_c: float = stated(27.0, "°C", 24.0, 30.0,
        "a median of nights' lows above is no Celsius: hardly a place has warmer ones the year round; our choice; matters to climate files "
        "whose heading names no unit")
    large_clamp_mv: float = stated(10.0, "mV/A", 2.0, 50.0,
        "clamps up to here go round a starter cable, finer ones round a coil wire; common practice; matters to headings that say "
        "millivolts alone")


@dataclass(frozen=True)
class TraceFiles:
    """Which files are a recorded start (`trace_files`)."""

    largest_v: float = stated(60.0, "V", 35.0, 100.0, "our choice: twice a charging 24 V system; matters to columns in millivolts")
    least_v: float = stated(5.0, "V", 3.0, 8.0,
        "our choice: the highest volts of a battery that starts anything; matters to a clamp's column taken for the battery's")
    largest_a: float = stated(6000.0, "A", 3000.0, 10000.0, "our choice: more than a heavy starter's inrush; and matters there too")
    fewest_rows: int = stated(20, "rows", 10, 100,
        "with fewer there is nothing before, in and after a start; our choice; matters to slow recorders")
    most_gaps: float = stated(0.02, "1", 0.005, 0.05,
        "share of rows without a value that are left out; our choice, more are another kind of file; matters to channels of two rates")
    even_share: float = stated(0.25, "steps", 0.1, 0.5, "times that are off by less are rounded ones; our choice; matters to rounded times")
    longest_pause: float = stated(20.0, "steps", 5.0, 50.0,
        "between two rows, beyond which samples are missing; our choice; matters to recordings in pieces")
    other_rate: float = stated(0.05, "1", 0.02, 0.1,
        "a stated rate may differ so much from the times before one of them is wrong; our choice; matters where rate and times disagree")


@dataclass(frozen=True)
class BusLogs:
    """Which files are a log of the bus, and what its times are (`file_kinds`, `bus_logs`)."""

    fewest_signals: int = stated(2, "headings", 1, 4, "that name a signal of the bus; our choice; matters to logs of one signal")
    fewest_rows: int = stated(20, "rows", 10, 100, "below them; our choice; matters to short ones")
    dated_from_s: float = stated(1e8, "s since 1970", 1e7, 1e9,
        "smaller times count from the beginning of the log; our choice, it is 1973; matters to loggers without a clock")
    most_back: float = stated(0.05, "1", 0.01, 0.2,
        "share of times before the one before, beyond which they are no times of a clock; our choice; matters to clocks that were set")


@dataclass(frozen=True)
class Believing:
    """Rows that are believed (`rules`): the rest is set aside."""

    clock_slack_min: float = stated(10.0, "min", 2.0, 60.0,
        "that a phone's clock may run ahead of the server's; our choice; matters to phones set by hand")
    earliest_year: int = stated(1980, "1", 1970, 1990,
        "no reading in a workshop's files is older; our choice; matters to slips of the year")
    meter_tolerance: float = stated(0.01, "1", 0.005, 0.03,
        "in which two readings of one voltage agree; our choice: a workshop multimeter; matters to a battery that hardly sags")
    clamp_tolerance: float = stated(0.05, "1", 0.02, 0.1,
        "by which steady amps may lie above peak amps; our choice: a clamp is good to a few per cent, and these are two; matters "
        "to clamps that are slow")
    colder_by_k: float = stated(27.0, "K", 20.0, 35.0,
        "air below the depot's mean daily low of the month; our choice: record lows of inland stations lie so far below, from "
        "memory; matters to thermometers read in another unit")
    colder_by_sd: float = stated(6.0, "standard deviations of the daily lows", 5.0, 8.0,
        "the same, where that is more; our choice likewise; and matters where lows scatter much")
    warmer_by_k: float = stated(18.0, "K", 12.0, 24.0,
        "from that low to a hot afternoon; our choice, wide on purpose; matters to thermometers in the sun")
    warmer_by_sd: float = stated(4.0, "standard deviations of the daily lows", 3.0, 6.0,
        "in addition to that; our choice, wide on purpose; and matters there too")
    warmest_bay_c: float = stated(35.0, "°C", 30.0, 45.0, "a heated bay, or a yard in the sun, in any month; our choice")
    low_sd_k: float = stated(4.5, "K", 3.0, 6.0,
        "of daily lows where the climate file gives none; our choice, typical of stations; matters to climate files without it")
    most_looked_for: int = stated(200, "vehicles", 50, 1000,
        "unknown, of which a known one is looked for; our choice: with more, the fleet is another; matters to a foreign fleet's file")
    largest_looked_through: int = stated(5000, "vehicles", 1000, 20000,
        "known, among which one is looked for; our choice, to save time; matters to large fleets")
    alike: float = stated(0.8, "1", 0.7, 0.9,
        "share of two numbers' letters that are the same, to name one for the other; our choice; matters to mistyped numbers")


@dataclass(frozen=True)
class Doubting:
    """Values that are stored but not taken at face value (`doubt`)."""

    earlier: int = stated(5, "readings", 3, 8, "of the same vehicle that a value is compared with; our choice")
    fewest_earlier: int = stated(2, "readings", 1, 4, "of them that must be there; our choice")
    ten_least: float = stated(8.0, "1", 6.5, 9.5, "a ratio that a slipped decimal point explains, readings' noise included; our choice")
    ten_most: float = stated(12.5, "1", 10.5, 15.0, "the same at the most; our choice")
    steady: float = stated(1.6, "1", 1.3, 2.2, "largest over smallest of the earlier values; our choice: a healthy drop scatters less")
    healthy_drop_v: float = stated(0.03, "V per 12 V", 0.015, 0.06,
        "a drop from there on may be a repaired one, not a tenth; our choice; matters to joints that were cleaned")
    odometer_back_km: float = stated(1000.0, "km", 300.0, 3000.0,
        "behind the earlier ones; our choice: trip corrections stay below; matters to mistyped distances")
    odometer_times: float = stated(5.0, "1", 3.0, 10.0,
        "the median of the earlier ones, further ahead of which it is doubted; our choice; and matters there too")
    odometer_least_km: float = stated(5000.0, "km", 2000.0, 10000.0,
        "below, a vehicle may well have run so many times as far by its next reading; our choice; matters to new vehicles")
    one_battery_v: float = stated(15.5, "V", 14.5, 16.5,
        "at rest on a 24 V system, one battery of the pair was measured; common practice: no 12 V battery rests higher; matters "
        "to 24 V vehicles")
    least_mohm: float = stated(0.6, "mΩ per 12 V", 0.3, 1.2,
        "sag over amps; our choice: a battery of 300 to 1200 A rating has 2 to 10 mΩ (SAE J537: at most 9 for 600 A at -18 °C); "
        "matters to clamps on one cable of two")
    most_mohm: float = stated(90.0, "mΩ per 12 V", 45.0, 180.0,
        "the same at the most; our choice: several times that, dying in the cold; matters to amps in another unit")
    most_mohm_of_a_file: float = stated(25.0, "mΩ per 12 V", 15.0, 40.0,
        "the same in the middle of a file's rows, beyond which its amps are asked about: one battery may be so bad, half of a fleet is not; "
        "our choice; matters to columns in tenths")
    fewest_rows: int = stated(8, "rows", 5, 20, "of a file that this is said of; our choice; matters to small files")
    collapsed: float = stated(0.6, "rest volts", 0.5, 0.7,
        "at a start that failed less is a dead cell, whatever few amps flow; our choice; matters to starts that failed")
    least_sag_v: float = stated(0.3, "V", 0.15, 0.6,
        "below, a meter's rounding rules the quotient; our choice; matters to meters of few digits")
    fallen_amps: float = stated(0.88, "1", 0.8, 0.95,
        "of the earlier amps, as a new resistance makes them; our choice: sound readings scatter less from one to the next")
    fallen: float = stated(0.85, "1", 0.75, 0.92, "the same of inrush, speed and coil amps; our choice likewise")
    more_amps: float = stated(1.1, "1", 1.02, 1.25,
        "times the earlier ones, a lower speed is the cold's, not a cable's; our choice; matters to cold mornings")
    less_sag: float = stated(0.5, "1", 0.3, 0.7,
        "of the earlier ones: amps that are truly a tenth let the battery sag less; our choice; matters to starts that failed")


# fmt: on
FILES: Final = Files()
DRAFTING: Final = Drafting()
TRACE_FILES: Final = TraceFiles()
BUS_LOGS: Final = BusLogs()
BELIEVING: Final = Believing()
DOUBTING: Final = Doubting()
