"""Every measured quantity and every column, once: its name, unit, believable range and meaning."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Kind = Literal["text", "number", "whole", "date", "time", "choice"]

PARTS = (
    "battery",
    "positive_cable",
    "ground_path",
    "solenoid_contacts",
    "starter_motor",
    "control_circuit",
    "engine_drag",
)
ACTIONS = ("replaced", "cleaned", "tightened", "charged")
REASONS = ("no_start", "preventive", "complaint")
# How a start went. The engine did not start by the starting circuit's fault (`FAILED_STARTS`: how is not known, nothing
# is heard, the solenoid pulls in once, it pulls in and lets go, the pinion does not turn the engine), or by another:
# cranks_only is a start at which the starting circuit did its work and fuel or ignition did not.
FAILED_STARTS = ("no_start", "no_click", "click", "chatter", "spins")
OUTCOMES = ("started", "slow", *FAILED_STARTS, "cranks_only")
JUMPER_RESULTS = ("cranks", "no_crank", "fuse_opens")
SAMPLED = "sampled"
LOWEST_IS = ("steady", "inrush", SAMPLED)
"""What `crank_min_v` is: lowest while the engine turns steadily (also where nothing is said), the dip of the inrush (as a
meter's MIN holds it; kept as `crank_dip_v`), or the lowest of slow samples: the true lowest lies at or below it."""
BATTERY_TYPES = ("flooded", "EFB", "AGM")
STARTING_AIDS = ("none", "intake_heater", "block_heater")
_WINTER_GRADES = ("0W", "5W", "10W", "15W", "20W", "25W")  # SAE J300
_SUMMER_GRADES = ("8", "12", "16", "20", "30", "40", "50", "60")  # SAE J300
OIL_GRADES = tuple(f"{winter}-{summer}" for winter in _WINTER_GRADES for summer in _SUMMER_GRADES)
SYSTEM_VOLTAGES = (12, 24)
FOUND = ("worn", "sound", "other", "not_known")
"""What a planned visit found of the part it was planned for: at fault, sound, sound and another part at fault, not looked into."""
CORRECTABLE = MappingProxyType({"reading": "readings", "repair": "repairs", "decision": "decisions", "visit": "visits"})
"""What a person can put right -> the table that keeps it."""
FILE = "file"  # what is withdrawn by its name: the readings and repairs that its import brought
VEHICLE = "vehicle"  # what is put right by its own number, and not withdrawn: readings lie under it

C_PER_F, F_AT_FREEZING = 1.0 / 1.8, 32.0  # °C = (°F - 32) / 1.8, exact by definition
KM_PER_MILE = 1.609344  # [km/mi] international mile, exact
MV_PER_V = 1000.0
MA_PER_A = 1000.0
A_PER_KA = 1000.0
MOHM_PER_OHM = 1000.0
OHM_PER_KOHM = 1000.0
MS_PER_S = 1000.0
LARGE_CLAMP_MV_PER_A = 1.0  # [mV/A] usual output of a large current clamp; common practice
SMALL_CLAMP_MV_PER_A = 100.0  # [mV/A] usual output of a small current clamp; common practice
SMALLEST_CLAMP, LARGEST_CLAMP = 0.01, 10_000.0  # [mV/A] scales of clamps that are taken; our choice
SLOWEST_HZ, FASTEST_HZ = 0.5, 1_000_000.0  # [1/s] samples of a recording that are taken; our choice
LONGEST_TEXT = 500  # [characters] of a remark; our choice, because longer ones are pasted files
TECHNICIAN, PLANNER, MANAGER, ADMINISTRATOR = "technician", "planner", "manager", "administrator"
ROLES = (TECHNICIAN, PLANNER, MANAGER, ADMINISTRATOR)
"""What an account of the screens may be."""
LONGEST_NAME = 64  # [characters] of a vehicle's number, depot or class; our choice


@dataclass(frozen=True)
class Quantity:
    """One measured quantity: the range that physics and meters allow on a 12 V and on a 24 V system, and its words.

    label: beside the field that asks for it; where: the points the meter or clamp is held to; heading: over a column, its
    unit follows; seldom: asked for with the rarer ones, and left off the paper sheet for the bay; digits a meter shows.
    """

    name: str
    unit: str
    range_12: tuple[float, float]
    range_24: tuple[float, float]
    meaning: str
    label: str
    where: str = ""
    heading: str = ""
    seldom: bool = False
    digits: int = 0

    @property
    def over_column(self) -> str:
        """The words over a column of it, without the unit."""
        return self.heading or self.label.casefold()


# Ranges are our choice unless a source is named: wide enough for a failing vehicle, too narrow for a slipped decimal
# point. Voltage drops may read a little below zero, because a meter's zero is off by up to two hundredths of a volt.
_DROP_12, _DROP_24 = (-0.02, 16.0), (-0.02, 32.0)

_QUANTITIES = (
    Quantity(
        "temperature_c", "°C", (-50.0, 60.0), (-50.0, 60.0), "air at the vehicle when it was measured",
        "Air at the vehicle", heading="air", digits=1,
    ),
    Quantity(
        "rest_v", "V", (3.0, 16.0), (6.0, 32.0), "battery voltage before the start, nothing drawing",
        "Rest volts", "battery posts, nothing drawing", heading="rest", digits=2,
    ),
    Quantity(
        "crank_min_v", "V", (1.5, 15.0), (3.0, 30.0), "lowest battery voltage while the engine turns steadily",
        "Lowest volts while cranking", "battery posts, engine turning steadily", heading="lowest cranking", digits=2,
    ),
    Quantity(
        "crank_a", "A", (0.0, 2000.0), (0.0, 2500.0), "steady amps while cranking",
        "Steady amps while cranking", "clamp round the starter cable", heading="steady",
    ),
    Quantity(
        "peak_a", "A", (0.0, 4000.0), (0.0, 5000.0), "inrush amps as the starter begins to turn",
        "Peak amps at the first moment", "clamp round the starter cable", heading="peak",
    ),
    Quantity(
        "drop_positive_v", "V", _DROP_12, _DROP_24, "voltage lost in the positive cable while cranking",
        "Drop, positive cable", "battery post to starter stud, cranking", heading="drop positive", digits=2,
    ),
    Quantity(
        "drop_ground_v", "V", _DROP_12, _DROP_24, "voltage lost in the ground path while cranking",
        "Drop, ground path", "starter housing to negative post, cranking", heading="drop ground", digits=2,
    ),
    Quantity(
        "drop_contacts_v", "V", _DROP_12, _DROP_24, "voltage lost across the solenoid contacts while cranking",
        "Drop, solenoid contacts", "stud to stud, cranking", heading="drop contacts", digits=2,
    ),
    Quantity(
        "drop_control_v", "V", _DROP_12, _DROP_24, "voltage lost from battery post to solenoid control terminal",
        "Drop, control circuit", "battery post to solenoid control terminal", heading="drop control", digits=2,
    ),
    Quantity(
        "coil_a", "A", (0.0, 100.0), (0.0, 150.0), "amps through the solenoid coil while cranking (hold-in)",
        "Solenoid coil amps", "small clamp round the control wire", heading="coil", digits=1,
    ),
    Quantity(
        "crank_rpm", "rpm", (0.0, 600.0), (0.0, 600.0), "engine speed while cranking",
        "Cranking speed", heading="speed",
    ),
    Quantity(
        "odometer_km", "km", (0.0, 3_000_000.0), (0.0, 5_000_000.0), "distance run by the vehicle",
        "Odometer",
    ),
    Quantity(
        "control_loaded_v", "V", _DROP_12, _DROP_24, "volts left on the control wire under the tester's load",
        "Control wire and coil under load", "at the relay socket, tester's load on",
        heading="control wire loaded", seldom=True, digits=2,
    ),
    Quantity(
        "coil_loaded_v", "V", _DROP_12, _DROP_24, "the same check, measured at the coil's end of the wire",
        "The same at the coil", "at the coil's end of the wire, tester's load on",
        heading="wire and coil loaded", seldom=True, digits=2,
    ),
    Quantity(
        "coil_alone_v", "V", _DROP_12, _DROP_24, "volts left across the coil alone under the tester's load",
        "Coil alone under load", "wire taken off, tester's load on",
        heading="coil alone loaded", seldom=True, digits=2,
    ),
    Quantity(
        "charging_v", "V", (3.0, 20.0), (6.0, 40.0), "battery voltage with the engine running",
        "Charging volts", "battery posts, engine running", heading="charging", seldom=True, digits=2,
    ),
    Quantity(
        "crank_s", "s", (0.0, 120.0), (0.0, 120.0), "seconds from key to running engine",
        "Key to running engine", heading="key to running", seldom=True, digits=1,
    ),
    Quantity(
        "feed_v", "V", _DROP_12, _DROP_24, "volts at the relay socket's feed terminal, key at crank",
        "Feed terminal of the relay socket", "to ground, key at crank", heading="feed", seldom=True, digits=2,
    ),
    Quantity(
        "tester_load_ohm", "Ω", (0.1, 1000.0), (0.1, 1000.0), "resistance of the tester's load in a loaded check",
        "The tester's load", heading="tester's load", seldom=True, digits=1,
    ),
    Quantity(
        "pull_in_a", "A", (0.0, 200.0), (0.0, 300.0), "amps of both solenoid windings as it pulls in",
        "Pull-in amps, both windings", "small clamp round the control wire, first moment",
        heading="pull-in", seldom=True, digits=1,
    ),
    Quantity(
        "crank_dip_v", "V", (0.5, 15.0), (1.0, 30.0), "lowest battery voltage at the first moment, during the inrush",
        "Dip at the first moment", "battery posts, what MIN holds", heading="dip", seldom=True, digits=2,
    ),
)  # fmt: skip
QUANTITIES: Mapping[str, Quantity] = MappingProxyType({quantity.name: quantity for quantity in _QUANTITIES})

# A row with none of these holds no measurement; odometer, temperature and the tester alone say nothing about the start.
CIRCUIT_MEASUREMENTS = tuple(n for n in QUANTITIES if n not in ("odometer_km", "temperature_c", "tester_load_ohm"))
MEASUREMENTS = tuple(QUANTITIES)
OBSERVATIONS = ("outcome", "jumper_start")
OF_A_TRACE = (
    "rest_v",
    "crank_dip_v",
    "crank_min_v",
    "peak_a",
    "crank_a",
    "crank_rpm",
    "crank_s",
)  # told by a recorded start
MAIN_DROPS = ("drop_positive_v", "drop_ground_v", "drop_contacts_v")


@dataclass(frozen=True)
class Column:
    """A column of one of our tables: its kind, whether a row must have it, and the words it may hold.

    like: what may stand there in a few words, where `choices` are too many to be read.
    """

    name: str
    kind: Kind
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    meaning: str = ""
    like: str = ""


@dataclass(frozen=True)
class Table:
    """One of our tables: what recognises it, its columns, and the columns that identify a row."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    recognised_by: tuple[str, ...]
    replaces: bool  # a newer file replaces values under the same key (plans change), the old value goes to the audit

    def column(self, name: str) -> Column:
        """Return the column called `name`; ValueError when the table has none such."""
        for column in self.columns:
            if column.name == name:
                return column
        raise ValueError(f"{self.name} has no column {name!r}; it has {', '.join(c.name for c in self.columns)}")

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)


READINGS = Table(
    "readings",
    (
        Column("unit", "text", required=True, meaning="the vehicle's number"),
        Column(
            "taken_at",
            "time",
            required=True,
            meaning="when it was measured, by the local clock; an offset as +01:00 is left out, a time in UTC (Z, +00:00) is refused unless a "
            "description of the file names its time zone",
        ),
        *(Column(name, "number", meaning=QUANTITIES[name].meaning) for name in MEASUREMENTS),
        Column("outcome", "choice", choices=OUTCOMES, meaning="how the start went"),
        Column("jumper_start", "choice", choices=JUMPER_RESULTS, meaning="fused jumper at the relay socket"),
        Column("technician", "text", meaning="who measured"),
        Column("instrument", "text", meaning="which meter or clamp"),
        Column("note", "text", meaning="remark"),
        Column(
            "lowest_is",
            "choice",
            choices=LOWEST_IS,
            meaning="what crank_min_v is: lowest while turning steadily (also when empty), dip of the inrush, or lowest of "
            "slow samples (the true lowest is at most that)",
        ),
    ),
    ("unit", "taken_at"),
    ("unit", "taken_at"),
    False,
)
UNITS = Table(
    "units",
    (
        Column("unit", "text", required=True, meaning="the vehicle's number"),
        Column("vehicle_class", "text", required=True, meaning="vehicles built alike"),
        Column("system_v", "whole", required=True, choices=("12", "24"), meaning="nominal system voltage [V]"),
        Column("fuel", "text", meaning="diesel, petrol or other, in whatever words"),
        Column("cylinders", "whole", low=1, high=24, meaning="number of cylinders"),
        Column("rated_cca_a", "number", low=50, high=5000, meaning="cold-cranking rating on the battery's label [A]"),
        Column("depot", "text", required=True, meaning="where the vehicle stands at night"),
        Column("in_service", "date", meaning="first day in service"),
        Column(
            "battery_type",
            "choice",
            choices=BATTERY_TYPES,
            meaning="how the battery is built; EFB is judged as flooded",
        ),
        Column("batteries", "whole", low=1, high=12, meaning="number of batteries that crank the engine"),
        Column("in_parallel", "choice", choices=("yes", "no"), meaning="whether batteries stand in parallel"),
        Column("oil_grade", "choice", choices=OIL_GRADES, meaning="engine oil", like="an SAE J300 grade as 15W-40"),
        Column("starting_aid", "choice", choices=STARTING_AIDS, meaning="what warms the engine before a cold start"),
        Column("aid_below_c", "number", low=-40, high=30, meaning="air below which the starting aid works [°C]"),
        Column(
            "aid_load_a",
            "number",
            low=0,
            high=400,
            meaning="amps of glow plugs or an intake heater while cranking, not through the starter's cable [A]",
        ),
        Column("fuel_limit_c", "number", low=-60, high=20, meaning="coldest air that the fuel still flows in [°C]"),
        Column("out_of_service", "date", meaning="last day in service; from that day on it is on no list"),
    ),
    ("unit",),
    ("unit", "vehicle_class", "system_v"),
    False,
)
REPAIRS = Table(
    "repairs",
    (
        Column("unit", "text", required=True, meaning="the vehicle's number"),
        Column("done_on", "date", required=True, meaning="day of the repair"),
        Column("part", "choice", required=True, choices=PARTS, meaning="part worked on"),
        Column("action", "choice", required=True, choices=ACTIONS, meaning="what was done"),
        Column("reason", "choice", choices=REASONS, meaning="why it was done"),
        Column("note", "text", meaning="remark"),
    ),
    ("unit", "done_on", "part", "action"),
    ("unit", "done_on", "part"),
    False,
)
CLIMATE = Table(
    "climate",
    (
        Column("depot", "text", required=True, meaning="place"),
        Column("month", "whole", required=True, low=1, high=12, meaning="month of the year"),
        Column("low_c", "number", required=True, low=-60, high=40, meaning="mean daily low [°C]"),
        Column("low_sd_c", "number", low=0, high=20, meaning="standard deviation of the daily lows [K]"),
    ),
    ("depot", "month"),
    ("depot", "month", "low_c"),
    True,
)


def _daily(name: str, low_is: str) -> Table:
    columns = (
        Column("depot", "text", required=True, meaning="place"),
        Column("date", "date", required=True, meaning="day"),
        Column("low_c", "number", required=True, low=-70, high=45, meaning=low_is),
    )
    return Table(name, columns, ("depot", "date"), ("depot", "date", "low_c"), True)


FORECAST = _daily("forecast", "lowest temperature foreseen [°C]")
LOWS = _daily("lows", "lowest temperature measured that day [°C]")
SERVICES = Table(
    "services",
    (
        Column("unit", "text", required=True, meaning="the vehicle's number"),
        Column("due_on", "date", required=True, meaning="day the vehicle is in the workshop anyway"),
    ),
    ("unit", "due_on"),
    ("unit", "due_on"),
    True,
)
WORKSHOPS = Table(
    "workshops",
    (
        Column("depot", "text", required=True, meaning="place"),
        Column("week_from", "date", meaning="Monday of the only week these hours are for; empty: every other week"),
        Column("hours_per_week", "number", required=True, low=0, high=10_000, meaning="hours for this work [h]"),
    ),
    ("depot", "week_from"),
    ("depot", "hours_per_week"),
    True,
)
PART_PRICES = Table(
    "parts",
    (
        Column("part", "choice", required=True, choices=PARTS, meaning="part"),
        Column("price", "number", low=0, high=1_000_000, meaning="price in the user's currency"),
        Column("labour_h", "number", low=0, high=1000, meaning="hours to replace it [h]"),
        Column("lead_days", "number", low=0, high=1000, meaning="days from order to delivery [d]"),
    ),
    ("part",),
    ("part", "price", "labour_h"),
    True,
)
# The order in which the files of a folder are taken: vehicles first, readings last, because each needs the ones before.
TABLES: Mapping[str, Table] = MappingProxyType(
    {t.name: t for t in (UNITS, CLIMATE, REPAIRS, SERVICES, WORKSHOPS, PART_PRICES, FORECAST, LOWS, READINGS)}
)


@dataclass(frozen=True)
class Conversion:
    """How a column in another unit becomes ours: value * `factor` + `offset` (clamps: value / scale in mV per A)."""

    column: str
    factor: float
    offset: float
    unit: str


CLAMP_COLUMNS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {
        "crank_clamp_mv": ("crank_a", LARGE_CLAMP_MV_PER_A),
        "peak_clamp_mv": ("peak_a", LARGE_CLAMP_MV_PER_A),
        "coil_clamp_mv": ("coil_a", SMALL_CLAMP_MV_PER_A),
    }
)


def conversion(name: str, clamp_mv_per_a: float | None = None) -> Conversion | None:
    """Return how the column `name` (unit in its name, as `drop_ground_mv`) becomes one of ours; None if it does not.

    `clamp_mv_per_a` [mV/A] overrides the usual scale of a clamp column. Our own names come back with factor 1.
    A spread such as `low_sd_f` has no offset.
    """
    if clamp_mv_per_a is not None and not clamp_mv_per_a > 0:
        raise ValueError(f"clamp_mv_per_a is {clamp_mv_per_a!r}; allowed is a number above 0 (1 for most large clamps)")
    if name in CLAMP_COLUMNS:
        column, usual = CLAMP_COLUMNS[name]
        return Conversion(column, 1.0 / (clamp_mv_per_a or usual), 0.0, "mV")
    if name in _OWN_NUMBERS:
        return Conversion(name, 1.0, 0.0, _OWN_NUMBERS[name])
    for theirs, ours, factor, unit in _SUFFIXES:
        own = name.removesuffix(theirs) + ours
        if name.endswith(theirs) and own in _OWN_NUMBERS:
            offset = -F_AT_FREEZING * factor if theirs == "_f" and not name.endswith("_sd_f") else 0.0
            return Conversion(own, factor, offset, unit)
    return None


def largest_of(made: Conversion) -> float:
    """The largest value that a column may hold, in its own unit; infinite where nothing bounds it."""
    known = QUANTITIES.get(made.column)
    return (max(known.range_12[1], known.range_24[1]) - made.offset) / made.factor if known else float("inf")


def other_units(name: str) -> tuple[str, ...]:
    """Names of a column of ours in the units that files may hold it in, its own first."""
    return (name, *(name.removesuffix(ours) + theirs for theirs, ours, _, _ in _SUFFIXES if name.endswith(ours)))


_SUFFIXES = (
    ("_f", "_c", C_PER_F, "°F"),
    ("_mv", "_v", 1.0 / MV_PER_V, "mV"),
    ("_ma", "_a", 1.0 / MA_PER_A, "mA"),
    ("_ka", "_a", A_PER_KA, "kA"),
    ("_mi", "_km", KM_PER_MILE, "mi"),
    ("_kohm", "_ohm", OHM_PER_KOHM, "kΩ"),
    ("_ms", "_s", 1.0 / MS_PER_S, "ms"),
)
HELD_IN_OTHERS = frozenset({"V", "A", "°C", "km"})
"""Units whose columns files hold in others too, without saying so: a heading that names none is asked about; trade practice."""
_OTHER_UNITS = {
    "system_v": "V",
    "rated_cca_a": "A",
    "fuel_limit_c": "°C",
    "aid_below_c": "°C",
    "aid_load_a": "A",
    "low_c": "°C",
    "low_sd_c": "°C",
    "labour_h": "h",
    "lead_days": "d",
    "hours_per_week": "h",
}


def own_unit(name: str) -> str:
    """Return the unit of a column of ours, '' where it has none."""
    return QUANTITIES[name].unit if name in QUANTITIES else _OTHER_UNITS.get(name, "")


_OWN_NUMBERS = {
    column.name: own_unit(column.name)
    for table in TABLES.values()
    for column in table.columns
    if column.kind in ("number", "whole")
}


def fahrenheit_to_celsius(temperature_f: float) -> float:
    """Return `temperature_f` [°F] in °C; exact by definition of the scales."""
    return (temperature_f - F_AT_FREEZING) * C_PER_F


def allowed_words(column: Column) -> str:
    """Return in words what a cell of `column` may hold."""
    if column.like:
        return column.like
    if column.choices:
        return ", ".join(column.choices)
    if column.low is not None and column.high is not None:
        return f"{column.low:g} to {column.high:g}"
    return {
        "text": f"text up to {LONGEST_TEXT if column.name == 'note' else LONGEST_NAME} characters",
        "number": "a number",
        "whole": "a whole number",
        "date": "a date as 2026-01-31",
        "time": "a time as 2026-01-31T07:45",
        "choice": "a word",
    }[column.kind]
