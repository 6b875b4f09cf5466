"""What we chose or took from memory about the circuit; printed limits and coefficients stand in `limits`."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class BatteryTables:
    """The tables of `battery`, between and beyond their rows."""

    warm_c: float = stated(20.0, "°C", 15.0, 25.0,
        "of one reading: from here on the least volts while cranking and the charging limit stand as printed; our choice")
    charge_factor_doubt: float = stated(1 / 3, "1", 1 / 6, 2 / 3,
        "of one reading: the rise of resistance with discharge is known to this share of itself; our choice")
    two_blocks_v: float = stated(16.0, "V", 15.5, 17.0,
        "more than one block shows while it charges, less than two when empty; our choice, which matters to recorded starts")
    full_rest_v: float = stated(12.65, "V per 12 V", 12.5, 12.8,
        "a full battery at rest, where a class was never read; the last row of the BCI rest-voltage table")
    agm_above_v: float = stated(0.15, "V per 12 V", 0.10, 0.20,
        "rest volts of an AGM battery above those of a flooded one as charged: 12.8 V full, 12.4 V half; from memory")
    rating_open_circuit_v: float = stated(12.6, "V per 12 V", 12.4, 12.8,
        "open-circuit volts of a charged block in the cold; our choice, because SAE J537 tests begin so")
    frozen_times: float = stated(2.2, "1", 1.3, 3.6,
        "resistance of a frozen block over that of a charged one as cold: x1.98 to x4.75 beside x1.32 to x1.53 of what they show warm, "
        "open impedance data of AGM blocks, DOI 10.5281/zenodo.14981233, own reduction; the middle is our choice")
    frozen_log_sd: float = stated(0.5, "logarithm", 0.3, 0.7, "spread of that; our choice, because the same blocks span 1.3 to 3.6")
    freezing_sd_k: float = stated(2.0, "K", 1.0, 4.0,
        "of the freezing point beside what the volts leave open; our choice: gravity table and blocks of the same data agree within it")


@dataclass(frozen=True)
class Temperature:
    """Bringing values to one temperature, and fitting the laws for it."""

    fewest_for_scale: int = stated(8, "1", 4, 16,
        "with fewer differences the passed errors alone give the scale; our choice")
    shared_k: float = stated(5.0, "K", 2.5, 10.0,
        "readings so near in temperature share what season, charge and habits do to them; our choice")
    least_told: float = stated(0.3, "1", 0.15, 0.6,
        "of the spread of the temperatures at least this share is taken for true; our choice")
    oil_drag_per_k_sd: float = stated(0.0028, "1/K", 0.0023, 0.0034,
        "of a known oil grade's slope; spread over exponents and dry shares, computed of each grade")
    oil_drag_curvature_sd: float = stated(0.42e-4, "1/K²", 0.33e-4, 0.55e-4, "of its curvature; likewise computed")
    oil_drag_together: float = stated(0.35, "1", 0.23, 0.44, "correlation of both; likewise computed")


@dataclass(frozen=True)
class Instrument:
    """Standard errors of the instruments of one reading; volts are per 12 V of system voltage where a reading spans the battery."""

    battery_v: float = stated(0.02, "V per 12 V", 0.01, 0.04, "rest volts; our choice, because workshop meters of that class are common")
    crank_v: float = stated(0.04, "V per 12 V", 0.02, 0.08, "volts while cranking; our choice likewise")
    drop_v: float = stated(0.004, "V", 0.002, 0.008, "a drop, at its least; our choice, because workshop meters of that class are common")
    drop_share: float = stated(0.03, "1", 0.015, 0.06, "a drop, relative; our choice likewise")
    control_v: float = stated(0.02, "V", 0.01, 0.04, "drop of the control circuit; our choice likewise")
    amps_share: float = stated(0.03, "1", 0.015, 0.06, "steady amps, relative; clamps of 3 to 5 % are common, from memory")
    amps_a: float = stated(1.0, "A", 0.5, 2.0, "steady amps, at the least; our choice")
    peak_share: float = stated(0.05, "1", 0.03, 0.1, "peak amps, relative; clamps of 3 to 5 % are common, from memory")
    coil_share: float = stated(0.025, "1", 0.0125, 0.05, "coil amps, relative; our choice, what a good small clamp reaches")
    rpm_share: float = stated(0.03, "1", 0.015, 0.06, "cranking speed counted from ripple, relative; our choice")
    fewest_rpm: float = stated(5.0, "rpm", 2.5, 10.0, "slower is an engine that did not turn; our choice, which matters to one that hardly did")
    assumed_rest_v: float = stated(0.15, "V per 12 V", 0.075, 0.3, "rest volts that were not measured but expected; our choice")
    still_sag_v: float = stated(0.15, "V per 12 V", 0.05, 0.3,
        "a battery that falls less gives hardly any amps, and none are assumed where the clamp shows none; our choice, because a sound "
        "one has 2 to 10 mΩ (SAE J537)")
    assumed_amps_share: float = stated(0.25, "1", 0.125, 0.5, "amps that were not measured but expected, relative; our choice")
    assumed_drop_v: float = stated(0.1, "V per 12 V", 0.05, 0.2, "a drop that was not measured, as of a sound cable, common practice")
    assumed_drop_sd_v: float = stated(0.08, "V per 12 V", 0.04, 0.16, "its standard error; our choice")


# fmt: on
BATTERY_TABLES: Final = BatteryTables()
TEMPERATURE: Final = Temperature()
INSTRUMENT: Final = Instrument()
