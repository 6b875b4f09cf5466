"""Every limit and coefficient of the starting circuit, each with its unit, its source and the range a user may choose.

A limit is a number somebody printed, or common practice, or our own choice with its reason; the text says which.
"from memory" means that the number is known but was not read again in its source for this project.
Coefficients of the physical laws stand at the top; limits that judge a reading are built by :func:`default_limits`
per system voltage and duty, and may be replaced per vehicle class with :func:`limits_from_mapping`
(in `analysis/circuit/limit_book.py`).
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Final, Literal, TypeVar, get_args

from analysis.circuit.choices import BATTERY_TABLES

Class = TypeVar("Class", int, str)
Duty = Literal["light", "heavy"]
DUTIES: tuple[str, ...] = get_args(Duty)
SYSTEM_VOLTAGES: tuple[int, ...] = (12, 24)
AGM: Final = "AGM"  # a battery_type


@dataclass(frozen=True)
class Limit:
    """A number with its unit, where it comes from, and the range it may be set to."""

    value: float
    unit: str
    source: str
    lowest: float
    highest: float

    def __float__(self) -> float:
        return self.value


# --- Coefficients of the physical laws -------------------------------------------------------------------------------
REFERENCE_C = Limit(20.0, "°C", "IEC 60028 states copper at 20 °C; our choice for all other parts too", 0.0, 30.0)
COPPER_PER_K = Limit(0.00393, "1/K", "NBS Handbook 100 / IEC 60028, from memory", 0.0035, 0.0045)
CONTACT_PER_K = Limit(0.0, "1/K", "our choice, because no source gives one; 0 to 0.004 from memory", 0.0, 0.004)
CONTACT_PER_K_SD = Limit(0.001, "1/K", "our choice, because 0 to 0.004 has been stated, from memory", 0.0, 0.004)
BATTERY_PER_K = Limit(
    0.009,
    "1/K",
    "0.008 to 0.010, between the ohmic and the 5 Hz part of open impedance data of charged AGM blocks, "
    "DOI 10.5281/zenodo.14981233, own reduction",
    0.0,
    0.05,
)
BATTERY_PER_K_SD = Limit(0.003, "1/K", "our choice: small blocks, small signal; cranking polarises too", 0.0, 0.05)
BATTERY_CURVATURE = Limit(
    1.75e-4,
    "1/K²",
    "its ohmic part, DOI 10.5281/zenodo.14981233: 1.75e-4 ± 0.3e-4; x1.81 from 20 to -18 °C, between both tables",
    0.0,
    1e-3,
)
BATTERY_CURVATURE_SD = Limit(
    0.6e-4, "1/K²", "our choice: twice the stated error, because cranking is another test", 0.0, 1e-3
)
DRAG_PER_K = Limit(
    0.012,
    "1/K",
    "ASTM D341 lines of 0W-20 to 15W-40, torque by viscosity^0.4 to 0.5, computed: 0.008 to 0.019",
    0.0,
    0.05,
)
DRAG_PER_K_SD = Limit(
    0.003,
    "1/K",
    "those ASTM D341 lines over dry shares of 30 to 50 %, computed: 0.0027, with 20W and 25W 0.0033; between",
    0.0,
    0.05,
)
DRAG_CURVATURE = Limit(
    2.8e-4,
    "1/K²",
    "ASTM D341 lines as for the slope, computed: 2.3e-4 to 4.1e-4; the printed power needed has 2.7e-4",
    0.0,
    1e-3,
)
DRAG_CURVATURE_SD = Limit(
    0.65e-4, "1/K²", "of the ASTM D341 lines, likewise computed: 0.50e-4 and 0.83e-4; between", 0.0, 1e-3
)
DRAG_TOGETHER = Limit(
    0.5,
    "1",
    "correlation of both over the ASTM D341 lines, likewise computed: 0.51 and 0.59; a thicker oil has more of either",
    -0.9,
    0.9,
)
OPEN_CIRCUIT_V_PER_K = Limit(
    0.0012, "V/K", "0.2 mV/K a cell, six cells, from memory; the trade's 0.024 V per 10 °F is more", 0.0, 0.006
)
BATTERY_SOC_RISE = Limit(
    0.6, "1", "our choice: an empty block has about 1.6 times the resistance of a full one, from memory", 0.0, 3.0
)
FEWEST_CRANK_A = Limit(1.0, "A", "our choice: less is a clamp that was not on the cable", 0.0, 50.0)
FEWEST_COIL_A = Limit(0.05, "A", "our choice: less is an open coil, whose resistance has no value", 0.0, 1.0)
BRUSH_V = Limit(1.0, "V", "two copper-graphite brushes in series, from memory; per 12 V", 0.0, 3.0)
BRUSH_SD_V = Limit(0.3, "V", "our choice, because brush grades differ that much", 0.0, 2.0)
SURFACE_CHARGE_V = Limit(0.15, "V per 12 V", "common practice: that much shortly after charging", 0.0, 0.6)
SURFACE_CHARGE_HOURS = Limit(4.0, "h", "our choice: time in which surface charge falls to 37 %", 0.1, 48.0)
SURFACE_CHARGE_SD_V = Limit(0.04, "V per 12 V", "our choice, where nobody noted the hours of rest", 0.0, 0.6)
HIGHEST_OPEN_CIRCUIT_V = Limit(
    12.85, "V per 12 V", "our choice: above every full lead-acid block at rest; more is surface charge", 12.6, 13.2
)


# --- Limits that judge a reading -------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Limits:
    """The limits that apply to one kind of vehicle. Volts are those of the whole system (12 or 24 V)."""

    system_v: int
    duty: Duty
    fuel: str
    rest_watch_v: Limit
    rest_act_v: Limit
    load_test_margin_v: Limit
    least_cranking_battery_v: Limit
    positive_cable_drop_v: Limit
    ground_path_drop_v: Limit
    solenoid_contacts_drop_v: Limit
    positive_side_drop_v: Limit
    control_circuit_drop_v: Limit
    circuit_v_per_100a: Limit
    watch_share: Limit
    highest_cranking_a: Limit
    high_amps_share: Limit
    low_amps_share: Limit
    least_coil_a: Limit
    highest_coil_a: Limit
    least_cranking_rpm: Limit
    supply_minimum_v: Limit
    pull_in_v: Limit
    slow_share: Limit
    raised_peak_share: Limit
    worn_battery_times: Limit
    worn_low_battery_times: Limit
    assumed_cca_a: Limit
    must_pull_in_v: Limit
    let_go_v: Limit
    least_pull_in_a: Limit
    highest_pull_in_a: Limit
    least_charging_v: Limit
    highest_charging_v: Limit
    wire_good_low_v: Limit
    wire_good_high_v: Limit
    wire_open_share: Limit
    wire_ends_equal_v: Limit
    coil_good_low_v: Limit
    coil_good_high_v: Limit
    least_coil_ohm: Limit
    two_windings_ohm: Limit
    one_winding_ohm: Limit
    highest_coil_ohm: Limit
    wire_good_ohm: Limit
    jumper_fuse_a: Limit
    longest_crank_s: Limit


LEAST_DROP_LIMIT_V: Final = 0.01  # per 12 V, a meter's last digit; a drop is told as a multiple of its limit
LIMIT_KEYS: tuple[str, ...] = tuple(f.name for f in fields(Limits) if f.name not in ("system_v", "duty", "fuel"))

_TM_CABLES = "TM 5-3820-256-24-4"
_J541 = "SAE J541 as summarised; TM 10-3930-671-24 p. F-303"
_J541_SECONDARY = "SAE J541 as summarised in one secondary page"
_BCI = "BCI rest-voltage table at 26.7 °C"
_TWICE = "; 24 V: twice, derived"


def _volts(value: float, source: str, blocks: int, *, low: float = 0.0, high: float = 15.0) -> Limit:
    """A 12 V limit in volts, doubled for two blocks in series; the allowed range doubles with it."""
    return Limit(value * blocks, "V", source + (_TWICE if blocks == 2 else ""), low * blocks, high * blocks)


def _check_kind(system_v: int, duty: str | None) -> Duty:
    if system_v not in SYSTEM_VOLTAGES:
        raise ValueError(f"system_v is {system_v!r}; allowed are 12 and 24")
    if duty is None:
        return "heavy" if system_v == 24 else "light"
    if duty == "light":
        return "light"
    if duty == "heavy":
        return "heavy"
    raise ValueError(f"duty is {duty!r}; allowed are light and heavy")


def _circuit_per_100a(system_v: int, duty: Duty) -> Limit:
    """Volts per 100 A of the whole circuit without motor and solenoid, by system voltage and duty."""
    value, source = {
        (12, "light"): (0.20, _J541),
        (24, "light"): (0.40, _J541_SECONDARY),
        (12, "heavy"): (0.10, _J541_SECONDARY),
        (24, "heavy"): (0.17, _J541_SECONDARY),
    }[(system_v, duty)]
    return Limit(value, "V per 100 A", source, 0.02, 2.0)


def burns(fuel: str) -> str:
    """ "diesel" or "petrol" by what the trade calls them, in any case; "" for any other fuel and where nobody said."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", fuel.casefold()) if not unicodedata.combining(c)).strip()
    return next((kind for kind, words in _FUELS.items() if re.fullmatch(words, plain)), "")


_FUELS: Final = {
    "diesel": r"(?:bio)?diesel(?: ?oil|ol)?|d|derv|hvo|gas-?oil|gazole|gasoleo(?: a)?|gasolio",
    "petrol": r"petrol|p|gasoline|benzin|benzina|essence|gasolina|super(?: ?95)?|otto",
}
"""Kind -> what files call it, in small letters without marks (from memory)."""


def class_fuels(classes: Iterable[Class], fuels: Iterable[str]) -> dict[Class, str]:
    """Class -> what most of its vehicles burn of those that it is known of, diesel where as many burn either: vehicles built alike
    burn the same.

    :param classes: of each vehicle; one of whose vehicles it is known of none is left out
    :param fuels: of each vehicle, as :func:`burns` reads it
    """
    kind: dict[str, str] = {}
    count: Counter[tuple[Class, str]] = Counter()
    for of, fuel in zip(classes, fuels, strict=True):
        known = kind[fuel] if fuel in kind else kind.setdefault(fuel, burns(fuel))
        if known:
            count[of, known] += 1
    return dict(sorted(count, key=lambda one: (count[one], one[1] == "diesel")))  # the last of a class stays


def _highest_cranking_a(system_v: int, fuel: str, cylinders: float | None) -> Limit:
    """Most steady cranking amps that a source prints for this kind of vehicle; one that may be a diesel takes as many as one."""
    petrol = burns(fuel) == "petrol"
    if system_v == 24 and not petrol:
        return Limit(
            900.0, "A", "our choice: sound 24 V diesels draw far more than the 300 A that TM 9-2320-211-20 prints for its "
            "gasoline engine", 30.0, 2000.0,
        )  # fmt: skip
    if system_v == 24:
        return Limit(300.0, "A", "24 V truck, gasoline, TM 9-2320-211-20", 30.0, 2000.0)
    if not petrol:
        return Limit(630.0, "A", "light-truck diesel 230 to 630 A, service manual", 30.0, 2000.0)
    by_cylinders = {4: 185.0, 6: 200.0, 8: 250.0}
    value = by_cylinders.get(int(cylinders), 250.0) if cylinders is not None and cylinders == cylinders else 250.0
    return Limit(value, "A", "12 V car on-vehicle maximum, service manual", 30.0, 2000.0)


def _least_rpm(fuel: str) -> Limit:
    if burns(fuel) == "diesel":
        return Limit(100.0, "rpm", "about 100 rpm, workshop article", 20.0, 400.0)
    return Limit(75.0, "rpm", "middle of 60 to 90 rpm for spark ignition, from memory", 20.0, 400.0)


def _drop_limits(blocks: int) -> dict[str, Limit]:
    practice = "common practice"

    def drop(value: float, source: str) -> Limit:
        return _volts(value, source, blocks, low=LEAST_DROP_LIMIT_V)

    return {
        "positive_cable_drop_v": drop(0.2, practice),
        "ground_path_drop_v": drop(0.2, f"{_TM_CABLES}; common practice"),
        "solenoid_contacts_drop_v": drop(0.3, f"{practice}; {_TM_CABLES} prints 0.2 V"),
        "positive_side_drop_v": drop(0.5, _TM_CABLES),
        "control_circuit_drop_v": drop(1.0, f"{practice}, many connections; {_TM_CABLES} prints 0.5 V"),
    }


def _battery_limits(blocks: int, *, agm: bool) -> dict[str, Limit]:
    above, source = (
        (BATTERY_TABLES.agm_above_v, f"{_BCI}; an AGM battery rests higher, from memory") if agm else (0.0, _BCI)
    )
    return {
        "rest_watch_v": _volts(12.45 + above, source, blocks, low=11.0, high=13.5),
        "rest_act_v": _volts(12.24 + above, source, blocks, low=11.0, high=13.5),
        "load_test_margin_v": _volts(
            0.2, "our choice: one row of the load-test table is 0.1 to 0.2 V", blocks
        ),
        "least_cranking_battery_v": Limit(
            18.0 if blocks == 2 else 9.0,
            "V",
            "24 V truck, TM 9-2320-211-20" if blocks == 2 else "half of 18 V, TM 9-2320-211-20, derived",
            5.0 * blocks,
            12.0 * blocks,
        ),
        "supply_minimum_v": _volts(
            7.2,
            "our choice: what SAE J537 asks of a battery at rated amps",
            blocks,
        ),
        "pull_in_v": _volts(7.0, "middle of 6 to 8 V, from memory", blocks),
        "worn_battery_times": Limit(
            1.6, "1", "our choice: meters and ageing leave a sound battery under it 99 times in 100", 1.1, 4.0,
        ),
        "worn_low_battery_times": Limit(
            1.3, "1", "our choice: low rest volts and a raised resistance tell of the same battery", 1.05, 4.0,
        ),
        "assumed_cca_a": Limit(
            600.0 if blocks == 2 else 400.0, "A", "our choice: a small battery, where the label's amps are not known",
            50.0, 5000.0,
        ),
        "least_charging_v": _volts(13.2, "common practice, 13.5 to 14.8 V usual", blocks),
        "highest_charging_v": _volts(
            15.0, "common practice, 13.5 to 14.8 V usual; regulators give more in the cold",
            blocks, high=18.0,
        ),
    }  # fmt: skip


def _amp_limits(system_v: int, fuel: str, cylinders: float | None) -> dict[str, Limit]:
    return {
        "highest_cranking_a": _highest_cranking_a(system_v, fuel, cylinders),
        "slow_share": Limit(
            0.85,
            "1",
            "our choice: speeds of sound vehicles of a class differ by less",
            0.4,
            0.98,
        ),
        "raised_peak_share": Limit(
            1.15,
            "1",
            "our choice: three times the usual scatter of a clamp",
            1.02,
            2.0,
        ),
        "high_amps_share": Limit(1.35, "1", "our choice: a third above", 1.05, 3.0),
        "low_amps_share": Limit(0.65, "1", "our choice: a third below", 0.1, 0.95),
        "least_coil_a": Limit(2.0, "A", "common practice, solenoid coil 2 to 15 A", 0.1, 20.0),
        **_solenoid_limits(system_v // 12),
        "least_cranking_rpm": _least_rpm(fuel),
        "longest_crank_s": Limit(30.0, "s", "TM 10-3930-671-24, TM 9-2920-242-35; then cool 2 min", 1.0, 30.0),
    }


_TWO_WINDINGS = "TM 5-2420-230-24-2 p. 13-33; service manuals"


def _solenoid_limits(blocks: int) -> dict[str, Limit]:
    """Hold-in winding alone, and pull-in and hold-in winding together, which the first moment shows."""
    hold, least, most = (20.0, 60.0, 97.0) if blocks == 1 else (17.0, 36.0, 120.0)
    hold_source = (
        f"{_TWO_WINDINGS}: hold-in 13 to 20 A"
        if blocks == 1
        else "hold-in 12 to 14 A at 20 V, TM 9-4940-568-34, at 24 V"
    )
    pull_in = 8.0 if blocks == 1 else 18.0
    return {
        "highest_coil_a": Limit(hold, "A", hold_source, 1.0, 150.0),
        "least_pull_in_a": Limit(least, "A", _TWO_WINDINGS, 5.0, 300.0),
        "highest_pull_in_a": Limit(most, "A", _TWO_WINDINGS, 5.0, 400.0),
        "must_pull_in_v": Limit(
            pull_in, "V", "service manual of the PM starter" if blocks == 1 else "TM 5-3895-382-24", 3.0 * blocks,
            12.0 * blocks,
        ),
        "let_go_v": _volts(4.0, "our choice: hold-in lets go well below pull-in, from memory", blocks),
    }  # fmt: skip


def _coil_ohm_limits(blocks: int) -> dict[str, Limit]:
    """Ohms of the coil in a loaded check: both windings in parallel, or one alone; the wire by the control limit."""
    low, two, one, high, wire = (0.1, 0.25, 0.5, 6.5, 0.017) if blocks == 1 else (0.14, 0.8, 1.2, 13.0, 0.056)
    both = f"{_TWO_WINDINGS}: volts over amps of both windings, a fifth either way"
    alone = "hold-in winding or a coil of one winding, 2 to 20 A; TM 9-4940-568-34"
    return {
        "least_coil_ohm": Limit(low, "Ω", both, 0.01, 1.0),
        "two_windings_ohm": Limit(two, "Ω", both, 0.05, 5.0),
        "one_winding_ohm": Limit(one, "Ω", alone, 0.1, 20.0),
        "highest_coil_ohm": Limit(high, "Ω", alone, 0.5, 60.0),
        "wire_good_ohm": Limit(
            wire, "Ω", "the control circuit's limit over the least amps of both windings", 0.001, 1.0
        ),
    }  # fmt: skip


def _loaded_check_limits(blocks: int) -> dict[str, Limit]:
    """Loaded check of the control wire and coil; volts left on the wire under the tester's load."""
    source = "common practice, depends on the tester's load"
    return {
        "wire_good_low_v": Limit(0.0, "V", source, -1.0, 1.0),
        "wire_good_high_v": Limit(0.15, "V", source, 0.0, 5.0),
        "wire_open_share": Limit(0.8, "1", "our choice: four fifths of battery voltage is near it", 0.3, 1.0),
        "wire_ends_equal_v": Limit(0.02, "V", source, 0.0, 1.0),
        "coil_good_low_v": Limit(0.01, "V", source, 0.0, 1.0),
        "coil_good_high_v": Limit(0.03, "V", source, 0.0, 5.0),
        "jumper_fuse_a": Limit(10.0, "A", "common practice; some need 15 A", 5.0, 20.0 * blocks),
    }


def default_limits(
    system_v: int = 12,
    *,
    duty: str | None = None,
    fuel: str = "diesel",
    cylinders: float | None = None,
    battery_type: str = "",
) -> Limits:
    """Return the limits of one kind of vehicle.

    :param system_v: 12 or 24 [V]
    :param duty: "light" or "heavy"; None means heavy for 24 V and light for 12 V (our choice)
    :param fuel: as :func:`burns` reads it; an engine of another fuel, or of one that nobody said, is held to nothing that a sound
        diesel or a sound petrol engine would not meet
    :param cylinders: number of cylinders, None or NaN when unknown
    :param battery_type: AGM rests higher as charged; anything else counts as flooded
    :raises ValueError: system_v or duty outside the allowed values
    """
    chosen = _check_kind(system_v, duty)
    blocks = system_v // 12
    limits: dict[str, Limit] = {
        **_battery_limits(blocks, agm=battery_type == AGM),
        **_drop_limits(blocks),
        **_amp_limits(system_v, fuel, cylinders),
        **_loaded_check_limits(blocks),
        **_coil_ohm_limits(blocks),
        "circuit_v_per_100a": _circuit_per_100a(system_v, chosen),
        "watch_share": Limit(0.8, "1", "our choice: the last fifth before a limit is watched", 0.3, 1.0),
    }
    return Limits(system_v=system_v, duty=chosen, fuel=fuel, **limits)
