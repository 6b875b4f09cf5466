"""What a row must satisfy to be believed: ranges by system voltage, the physics of a start, the season at the depot."""

import difflib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlite_utils import Database

from ingest.cells import TIME_DTYPE, Batch
from ingest.choices import BELIEVING, DOUBTING
from ingest.fields import (
    CIRCUIT_MEASUREMENTS,
    MAIN_DROPS,
    MEASUREMENTS,
    MOHM_PER_OHM,
    OBSERVATIONS,
    QUANTITIES,
    SAMPLED,
    SYSTEM_VOLTAGES,
    Column,
    Quantity,
    allowed_words,
    fahrenheit_to_celsius,
)
from ingest.service_days import outside_service
from ingest.values import counted, joined, shown

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

EARLIEST = np.datetime64(f"{BELIEVING.earliest_year}-01-01", "s")
EPOCH_WEEKDAY = 3  # 1 January 1970, from which days are counted, was a Thursday; Monday is 0
UNKNOWN = "is unknown"  # said of a vehicle that is in no file of vehicles yet
SLIPS = (10.0, 100.0, 1000.0)  # factors of a slipped decimal point, or of millivolts in a column of volts


_TOTALS = re.compile(
    r"^(?:(?:grand |sub)?totals?|totale?|totaal|sum|(?:zwischen|gesamt)?summe|gesamt|somme|suma|razem|averages?|means?|counts?"
    r"|mittelwert|durchschnitt|anzahl|moyenne|promedio|media|gemiddelde|średnia)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Vehicle:
    """system_v [V]; first, last: its days in service as 2026-01-31, "" where not known."""

    system_v: int
    depot: str
    first: str = ""
    last: str = ""


UNHEARD_OF = Vehicle(0, "")
_FIGURES = re.compile("[0-9]+")
_UNSEEN = re.compile(
    "[\u061c\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufe0f\ufeff]"
)  # they tell a screen how to lay text out
SPELLINGS_SHOWN = 5  # in one note: enough to see what was meant


@dataclass(frozen=True)
class Context:
    """What is known beside the row: the vehicles, the depots' climate (low, sd by depot and month), and the time."""

    vehicles: Mapping[str, Vehicle]
    climate: Mapping[tuple[str, int], tuple[float, float]]
    now: datetime
    _folded: dict[str, str] = field(default_factory=dict)
    _nearest: dict[str, str] = field(default_factory=dict)
    _spelled: dict[str, list[str]] = field(default_factory=dict)
    _lengths: set[int] = field(default_factory=set)

    def same_unit(self, unit: str) -> str:
        """Return the one known vehicle whose number is `unit` as :func:`_plain` has both, or, of figures alone, but for the noughts in front
        that a spreadsheet takes away and the .0 that programs write behind; '' where none or several are."""
        if not self._spelled:
            for known in self.vehicles:
                self._spelled.setdefault(_plain(known), []).append(known)
        found = self._spelled.get(_plain(unit), [])
        if unit in found or len(found) == 1:
            return unit if unit in found else found[0]
        return "" if found else self._with_noughts(unit.removesuffix(".0"))

    def _with_noughts(self, unit: str) -> str:
        """A number of figures alone as the fleet writes it; a shorter one where all its numbers of figures are of one length, '' for none."""
        if not _FIGURES.fullmatch(unit):
            return ""
        if unit in self.vehicles:
            return unit
        if not self._lengths:
            self._lengths.update({len(known) for known in self.vehicles if _FIGURES.fullmatch(known)} or {0})
        full = unit.zfill(max(self._lengths))
        return full if len(self._lengths) == 1 and full in self.vehicles else ""

    def nearest_unit(self, unit: str) -> str:
        """Return the known vehicle whose number looks most like `unit`, or '' where none does or several do alike."""
        if unit not in self._nearest:
            self._nearest[unit] = self._look_for(unit) if len(self._nearest) < BELIEVING.most_looked_for else ""
        return self._nearest[unit]

    def _look_for(self, unit: str) -> str:
        if not self._folded:
            self._folded.update({_plain(known, loosely=True): known for known in self.vehicles})
        folded = _plain(unit, loosely=True)
        if folded in self._folded:
            return self._folded[folded]
        # comparing with every vehicle of a large fleet takes too long for a hint
        if len(self._folded) > BELIEVING.largest_looked_through:
            return ""
        close = difflib.get_close_matches(folded, self._folded, n=2, cutoff=BELIEVING.alike)
        alike = {difflib.SequenceMatcher(None, known, folded).ratio() for known in close}
        return self._folded[close[0]] if len(alike) == len(close) > 0 else ""


def _plain(unit: str, *, loosely: bool = False) -> str:
    """A number without capitals, signs that cannot be seen, spaces, hyphens, points, strokes and #, but for one between two figures:
    1-11 is not 11-1. Loosely, for what is asked about only, without any other sign and noughts in front, too."""
    text = re.sub(r"[\s\u2010-\u2015._/#-]+", "-", _UNSEEN.sub("", unit).casefold().strip())
    text = re.sub(r"(?<![0-9])-|-(?![0-9])", "", text)
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", "".join(filter(str.isalnum, text))) if loosely else text


def same_unit(db: Database, unit: str) -> str:
    """Return the vehicle of the database that a number means, as :meth:`Context.same_unit`."""
    known = {row["unit"]: UNHEARD_OF for row in db.query("SELECT unit FROM units")}
    return Context(known, {}, datetime.min).same_unit(unit)


def check(batch: Batch, context: Context) -> None:
    """Add to `batch.problems` one sentence for everything in a row that cannot be."""
    _check_required(batch)
    _take_other_spellings(batch, context)
    _check_units_known(batch, context)
    _check_column_ranges(batch)
    if batch.table.name == "readings":
        _check_readings(batch, context)
        _check_in_service(batch, "taken_at", context)
    elif batch.table.name == "repairs":
        _check_not_future(batch, "done_on", context.now)
        _check_in_service(batch, "done_on", context)
    elif batch.table.name == "units":
        _check_days_of_service(batch)
    elif batch.table.name == "lows":
        _check_not_future(batch, "date", context.now)
    elif batch.table.name == "workshops":
        _check_monday(batch, "week_from")


# --- every table -----------------------------------------------------------------------------------------------------


def _check_required(batch: Batch) -> None:
    for column in batch.table.columns:
        if not column.required:
            continue
        missing = [r for r in np.flatnonzero(_is_missing(batch, column)).tolist() if (r, column.name) not in batch.raw]
        batch.add_problems(missing, _empty_sentence(column))


def _empty_sentence(column: Column) -> Callable[[int], str]:
    return lambda _: f"{column.name} is empty; allowed is {allowed_words(column)}"


def _is_missing(batch: Batch, column: Column) -> Flags:
    if column.name in batch.texts:
        return np.asarray(batch.texts[column.name] == "", dtype=bool)
    if column.name in batch.numbers:
        return np.isnan(batch.numbers[column.name])
    if column.name in batch.times:
        return np.isnat(batch.times[column.name])
    return np.ones(len(batch), dtype=bool)


def _take_other_spellings(batch: Batch, context: Context) -> None:
    """A vehicle written another way (:meth:`Context.same_unit`) is that vehicle, and the row says how it was written."""
    if "unit" not in batch.texts:
        return
    written = batch.texts["unit"]
    named = dict.fromkeys(written.tolist())  # in the order of the file
    same = {u: context.same_unit(u) for u in named if u and u not in context.vehicles}
    two = set(named) if batch.table.name == "units" else set()  # a table of vehicles that holds both numbers means two
    meant = {u: known for u, known in same.items() if known and known not in two}
    if new := two - {"", *meant, *context.vehicles}:
        _note_alike(batch, new, context)
    if not meant:
        return
    rows = np.flatnonzero(np.isin(written, list(meant))).tolist()
    for row in rows:
        batch.remarks.setdefault(row, []).append(
            f"unit: written {shown(written[row])}, taken for {meant[written[row]]}"
        )
    said = [f"{shown(u)} is {known}" for u, known in meant.items()]
    more = f" and {len(said) - SPELLINGS_SHOWN} more" if len(said) > SPELLINGS_SHOWN else ""
    batch.notes.append(
        f"{counted(len(rows), 'row')} with a vehicle's number written another way: "
        f"{', '.join(said[:SPELLINGS_SHOWN])}{more}"
    )
    batch.texts["unit"] = np.array([meant.get(u, u) for u in written.tolist()], dtype=object)


def _note_alike(batch: Batch, new: set[str], context: Context) -> None:
    """Say which new vehicles differ from others in how their numbers are written only, which are kept apart all the same."""
    spelled: dict[str, list[str]] = {}
    for unit in sorted({*new, *context.vehicles}):
        spelled.setdefault(re.sub("^0+(?=[0-9]+$)", "", _plain(unit)), []).append(unit)
    alike = [joined(units) for units in spelled.values() if len(units) > 1 and not new.isdisjoint(units)]
    if alike:
        more = f"; and {len(alike) - SPELLINGS_SHOWN} more" if len(alike) > SPELLINGS_SHOWN else ""
        batch.notes.append(
            f"vehicles of their own, though their numbers are alike: {'; '.join(alike[:SPELLINGS_SHOWN])}{more}"
        )


def _check_units_known(batch: Batch, context: Context) -> None:
    if "unit" not in batch.texts or batch.table.name == "units":
        return
    unit = batch.texts["unit"]
    codes, uniques = pd.factorize(unit)
    strange = np.array([bool(u) and u not in context.vehicles for u in uniques] or [False], dtype=bool)
    unknown = strange[codes]

    def sentence(row: int) -> str:
        near = context.nearest_unit(unit[row])
        hint = f" (is it {near}?)" if near else " (a row of totals or means?)" if _TOTALS.match(unit[row]) else ""
        count = len(context.vehicles)
        return f"unit {shown(unit[row])} {UNKNOWN}; allowed are the {count} vehicles on record{hint}"

    batch.add_problems(np.flatnonzero(unknown), sentence)


def _check_column_ranges(batch: Batch) -> None:
    for column in batch.table.columns:
        values = batch.numbers.get(column.name)
        if values is None:
            continue
        wrong = np.zeros(len(batch), dtype=bool)
        if column.low is not None and column.high is not None:
            wrong |= (values < column.low) | (values > column.high)
        if column.kind == "whole":
            wrong |= (values != np.round(values)) & ~np.isnan(values)
        if column.kind == "whole" and column.choices:
            wrong |= ~np.isin(values, [float(choice) for choice in column.choices]) & ~np.isnan(values)
        _add(batch, wrong, _range_sentence(column, values))


def _range_sentence(column: Column, values: Floats) -> Callable[[int], str]:
    return lambda row: f"{column.name} is {values[row]:g}; allowed is {allowed_words(column)}"


def _check_not_future(batch: Batch, name: str, now: datetime) -> None:
    times = batch.times.get(name)
    if times is None:
        return
    latest = np.datetime64(now + timedelta(minutes=BELIEVING.clock_slack_min), "s")
    _add(
        batch,
        times > latest,
        lambda row: f"{name} {_clock(times[row])} is in the future; allowed is up to now ({now:%Y-%m-%d %H:%M})",
    )
    _add(
        batch,
        times < EARLIEST,
        lambda row: f"{name} {_clock(times[row])} is too long ago; allowed is from {BELIEVING.earliest_year} on",
    )


def _check_in_service(batch: Batch, name: str, context: Context) -> None:
    """A vehicle is read and repaired from its first day in service to its last."""
    times, units = batch.times.get(name), batch.texts.get("unit")
    if times is None or units is None:
        return
    codes, uniques = pd.factorize(units)
    known = [context.vehicles.get(unit, UNHEARD_OF) for unit in uniques]
    if not any(vehicle.first or vehicle.last for vehicle in known):
        return
    first = np.array([vehicle.first or "NaT" for vehicle in known], dtype="datetime64[D]")[codes]
    last = np.array([vehicle.last or "NaT" for vehicle in known], dtype="datetime64[D]")[codes]
    days = times.astype("datetime64[D]")

    def sentence(row: int) -> str:
        vehicle = context.vehicles[units[row]]
        return outside_service(units[row], vehicle.first, vehicle.last, f"{name} {days[row]}", str(days[row]))

    _add(batch, (days < first) | (days > last), sentence)


def _check_days_of_service(batch: Batch) -> None:
    first, last = batch.times.get("in_service"), batch.times.get("out_of_service")
    if last is None:
        return
    _add(
        batch,
        last < EARLIEST,
        lambda row: f"out_of_service {_day(last[row])} is too long ago; allowed is from {BELIEVING.earliest_year} on",
    )
    if first is not None:
        _add(
            batch,
            last < first,
            lambda row: (
                f"out_of_service {_day(last[row])} is before in_service {_day(first[row])}; allowed is that day or a later one"
            ),
        )


def _day(value: np.datetime64) -> str:
    return str(value.astype("datetime64[D]"))


def _check_monday(batch: Batch, name: str) -> None:
    """Hours of one week are named by its Monday (ISO 8601), so that no two rows can mean the same week."""
    times = batch.times.get(name)
    if times is None:
        return
    days = times.astype("datetime64[D]")
    weekday = (days.astype(np.int64) + EPOCH_WEEKDAY) % 7
    monday = days - weekday.astype("timedelta64[D]")
    _add(
        batch,
        ~np.isnat(days) & (weekday != 0),
        lambda row: f"{name} {days[row]} is no Monday; allowed is the Monday its week begins with ({monday[row]})",
    )


def _clock(value: np.datetime64) -> str:
    return str(value.astype("datetime64[m]")).replace("T", " ")


def _add(batch: Batch, wrong: Flags, sentence: Callable[[int], str]) -> None:
    batch.add_problems(np.flatnonzero(wrong), sentence)


# --- readings --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Setting:
    """What a row of readings hangs on: system voltage [V] (NaN unknown), coldest and warmest credible air [°C]."""

    system_v: Floats
    coldest_c: Floats
    warmest_c: Floats


def setting(batch: Batch, context: Context) -> Setting:
    """Look up system voltage and credible temperatures for every row."""
    units = batch.texts.get("unit", np.full(len(batch), "", dtype=object))
    codes, uniques = pd.factorize(units)
    vehicles = [context.vehicles.get(unit) for unit in uniques]
    system_v = np.array([v.system_v if v else np.nan for v in vehicles] or [np.nan], dtype=np.float64)[codes]
    times = batch.times.get("taken_at", np.full(len(batch), np.datetime64("NaT"), dtype=TIME_DTYPE))
    coldest, warmest = _bounds_by_row(codes.astype(np.int64), vehicles, times, context)
    return Setting(system_v, coldest, warmest)


def _bounds_by_row(
    codes: npt.NDArray[np.int64], vehicles: list[Vehicle | None], times: npt.NDArray[np.datetime64], context: Context
) -> tuple[Floats, Floats]:
    depots = sorted({v.depot for v in vehicles if v})
    number = {depot: index for index, depot in enumerate(depots)}
    depot_codes = np.array([number[v.depot] if v else len(depots) for v in vehicles] or [0], dtype=np.int64)[codes]
    low, high = _climate_bounds(depots, context)
    months = np.where(np.isnat(times), 0, times.astype("datetime64[M]").astype(np.int64) % 12 + 1)
    return low[depot_codes, months], high[depot_codes, months]


def _climate_bounds(depots: list[str], context: Context) -> tuple[Floats, Floats]:
    """Return the coldest and warmest credible air [°C] by depot (last row: unknown) and month (0: unknown)."""
    quantity = QUANTITIES["temperature_c"]
    low = np.full((len(depots) + 1, 13), quantity.range_12[0])
    high = np.full((len(depots) + 1, 13), quantity.range_12[1])
    for index, depot in enumerate(depots):
        for month in range(1, 13):
            if (depot, month) in context.climate:
                low_c, low_sd_c = context.climate[(depot, month)]
                sd = low_sd_c if np.isfinite(low_sd_c) else BELIEVING.low_sd_k
                low[index, month] = max(
                    low[index, month], low_c - max(BELIEVING.colder_by_k, BELIEVING.colder_by_sd * sd)
                )
                warm = max(BELIEVING.warmest_bay_c, low_c + BELIEVING.warmer_by_k + BELIEVING.warmer_by_sd * sd)
                high[index, month] = min(high[index, month], warm)
    return low, high


def _check_readings(batch: Batch, context: Context) -> None:
    _settle_lowest(batch)
    _check_not_future(batch, "taken_at", context.now)
    _check_something_measured(batch)
    at = setting(batch, context)
    out_of_range = np.zeros(len(batch), dtype=bool)
    for name in MEASUREMENTS:
        if name in batch.numbers:
            out_of_range |= _check_quantity(batch, QUANTITIES[name], at)
    within = ~out_of_range  # a value that cannot be needs no comparison with the others
    _check_rest_above_crank(batch, within, at.system_v)
    _check_dip(batch, within)
    _check_drops(batch, within)
    _check_peak(batch, within)
    _note_few_amps(batch, at.system_v)


def _note_few_amps(batch: Batch, system_v: Floats) -> None:
    """Say so where the amps of a whole file are too few for what the batteries sag: no single row shows it."""
    sag = _column(batch, "rest_v") - _column(batch, "crank_min_v")
    with np.errstate(divide="ignore", invalid="ignore"):
        mohm = MOHM_PER_OHM * sag / _column(batch, "crank_a") * 12.0 / system_v
    told = np.flatnonzero(batch.good() & (sag >= DOUBTING.least_sag_v) & np.isfinite(mohm))
    if len(told) < DOUBTING.fewest_rows:
        return
    middle = float(np.median(mohm[told]))
    if middle > DOUBTING.most_mohm_of_a_file:
        batch.notes.append(
            f"crank_a: in the middle of {counted(len(told), 'row')} a battery would have {middle:.0f} mΩ per 12 V, where sound ones have 2 to "
            "10: a decimal point, another unit, or the clamp round one of several cables? They are stored as they stand; "
            "cranktrend withdraw file takes them out again"
        )


def _settle_lowest(batch: Batch) -> None:
    """One measurement, one meaning: the dip of the inrush goes to its own column; only bounds stay marked."""
    if "lowest_is" not in batch.texts:
        return
    said, lowest, dip = batch.texts["lowest_is"], _column(batch, "crank_min_v"), _column(batch, "crank_dip_v")
    known = ~np.isnan(lowest)
    differs = (said == "inrush") & (np.abs(dip - lowest) > 0.0)
    moved = (said == "inrush") & known & ~differs
    _add(
        batch,
        differs,
        lambda row: (
            f"crank_min_v {lowest[row]:g} V is said to be the dip of the inrush (lowest_is), and crank_dip_v is "
            f"{dip[row]:g} V; allowed is one of them"
        ),
    )
    if moved.any():
        batch.numbers["crank_dip_v"] = np.where(moved, lowest, dip)
        batch.numbers["crank_min_v"] = np.where(moved, np.nan, lowest)
    kept = differs | (said == SAMPLED) & known
    batch.texts["lowest_is"] = np.where(kept, said, "").astype(object)


def _check_something_measured(batch: Batch) -> None:
    nothing = np.ones(len(batch), dtype=bool)
    for name in CIRCUIT_MEASUREMENTS:
        if name in batch.numbers:
            nothing &= np.isnan(batch.numbers[name])
    for name in OBSERVATIONS:
        if name in batch.texts:
            nothing &= batch.texts[name] == ""
    for row, _ in batch.raw:
        nothing[row] = False
    _add(
        batch,
        nothing,
        lambda _: "no measurement at all; a reading needs at least one of rest_v, crank_min_v, crank_a ...",
    )


def _check_quantity(batch: Batch, quantity: Quantity, at: Setting) -> Flags:
    """Give values outside their range a problem; return where."""
    values = batch.numbers[quantity.name]
    system = at.system_v
    low = np.where(system == 24, quantity.range_24[0], np.where(system == 12, quantity.range_12[0], -np.inf))
    high = np.where(system == 24, quantity.range_24[1], np.where(system == 12, quantity.range_12[1], np.inf))
    low = np.where(np.isnan(system), min(quantity.range_12[0], quantity.range_24[0]), low)
    high = np.where(np.isnan(system), max(quantity.range_12[1], quantity.range_24[1]), high)
    if quantity.name == "temperature_c":
        twice = np.isin(
            np.arange(len(batch)), [row for row, names in batch.confirmed.items() if quantity.name in names]
        )
        low, high = np.where(twice, low, at.coldest_c), np.where(twice, high, at.warmest_c)
    wrong = (values < low) | (values > high)

    def sentence(row: int) -> str:
        value, bounds = float(values[row]), (float(low[row]), float(high[row]))
        hint = suspicion(quantity, value, bounds)
        where = _where(quantity, system[row])
        allowed = (
            f"{bounds[0]:.4g} to {bounds[1]:.4g} {quantity.unit}"
            if bounds[1] < 1e5
            else (f"{bounds[0]:.0f} to {bounds[1]:.0f} {quantity.unit}")
        )
        return f"{quantity.name} is {value:g} {quantity.unit}; allowed {where} is {allowed}{hint}"

    _add(batch, wrong, sentence)
    return np.asarray(wrong, dtype=bool)


def _where(quantity: Quantity, system_v: float) -> str:
    if quantity.name == "temperature_c":
        return "for the depot and month"
    if quantity.unit in ("V", "A") and system_v in SYSTEM_VOLTAGES:
        return f"on a {system_v:g} V system"
    return "here"


def suspicion(quantity: Quantity, value: float, allowed: tuple[float, float]) -> str:
    """Return the likely slip behind a value outside `allowed`, in brackets, or ''."""
    low, high = allowed
    if quantity.name == "temperature_c":
        celsius = fahrenheit_to_celsius(value)
        return f" (Fahrenheit in a Celsius column? {value:g} °F is {celsius:.1f} °C)" if low <= celsius <= high else ""
    if value < 0:
        if quantity.unit == "A":
            return " (negative amps: was the clamp the wrong way round?)"
        return " (negative: were the leads swapped?)" if quantity.unit == "V" else ""
    if quantity.name.startswith("drop_") and value > high:
        return f" (millivolts? {value / 1000.0:g} would fit)"
    likely = max(low, 0.01) if quantity.unit == "V" else low
    for factor in SLIPS:
        if value > high and likely <= value / factor <= high:
            unit = " or millivolts" if factor == 1000.0 and quantity.unit == "V" else ""
            return f" (decimal point misplaced{unit}? {value / factor:g} would fit)"
        if value < low and low <= value * factor <= high:
            return f" (decimal point misplaced? {value * factor:g} would fit)"
    if quantity.unit == "V" and high < value <= 2.0 * high:
        return " (a system of twice the volts, or a meter set to AC?)"
    return ""


def _column(batch: Batch, name: str) -> Floats:
    return batch.numbers.get(name, np.full(len(batch), np.nan))


def _check_rest_above_crank(batch: Batch, within: Flags, system_v: Floats) -> None:
    rest, crank = _column(batch, "rest_v"), _column(batch, "crank_min_v")
    one_battery = (system_v == 24.0) & (rest <= DOUBTING.one_battery_v)  # stored, and the rest volts doubted
    _add(
        batch,
        within & ~one_battery & (crank > rest * (1.0 + BELIEVING.meter_tolerance)),
        lambda row: (
            f"lowest cranking volts (crank_min_v) {crank[row]:g} V are above rest volts (rest_v) {rest[row]:g} V; "
            "allowed is at most the rest volts (swapped?)"
        ),
    )


def _check_dip(batch: Batch, within: Flags) -> None:
    """The inrush pulls the battery down further than steady cranking does."""
    dip, crank = _column(batch, "crank_dip_v"), _column(batch, "crank_min_v")
    _add(
        batch,
        within & (dip > crank * (1.0 + BELIEVING.meter_tolerance)),
        lambda row: (
            f"the dip (crank_dip_v) {dip[row]:g} V is above the lowest cranking volts (crank_min_v) {crank[row]:g} V; "
            "allowed is at most those (swapped?)"
        ),
    )


def _check_drops(batch: Batch, within: Flags) -> None:
    """A drop is part of what the battery gives while it cranks, and the drops of the main circuit add up to less."""
    crank, rest = _column(batch, "crank_min_v"), _column(batch, "rest_v")
    crank = np.where(np.isnan(crank), rest, crank)
    total = np.zeros(len(batch))
    single = np.zeros(len(batch), dtype=bool)
    for name in (*MAIN_DROPS, "drop_control_v"):
        drop = _column(batch, name)
        wrong = within & (drop > crank)
        single |= wrong
        if name in MAIN_DROPS:
            total += np.nan_to_num(drop)
        _add(batch, wrong, _drop_sentence(name, drop, crank))
    _add(
        batch,
        within & (total > crank) & ~single,
        lambda row: (
            f"the drops ({', '.join(MAIN_DROPS)}) sum to {total[row]:g} V, more than the battery gives; "
            f"allowed is less than its {crank[row]:g} V"
        ),
    )


def _drop_sentence(name: str, drop: Floats, crank: Floats) -> Callable[[int], str]:
    return lambda row: (
        f"{name} is {drop[row]:g} V, more than the battery voltage while cranking; "
        f"allowed is less than its {crank[row]:g} V"
    )


def _check_peak(batch: Batch, within: Flags) -> None:
    peak, steady = _column(batch, "peak_a"), _column(batch, "crank_a")
    _add(
        batch,
        within & (peak < steady * (1.0 - BELIEVING.clamp_tolerance)),
        lambda row: (
            f"inrush (peak_a) {peak[row]:g} A is below the steady amps (crank_a) {steady[row]:g} A; "
            "allowed is at least the steady amps (swapped?)"
        ),
    )
