"""One measurement, one meaning: lowest volts of steady turning, the dip of the inrush, and bounds of slow samples.

Truth: draws of a normal cut off, by counting; the circuit's own equations; a simulated fleet whose lowest volts are known
and are then hidden behind dips or bounds.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet as simulated
from samples_fleet import quick, tables_of
from samples_ingest import HEADING, NOW, fleet, reading, reasons
from sqlite_utils import Database

from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.lowest import with_bounds
from analysis.readings.observe import BATTERY, Observations
from analysis.readings.panel import Panel, make_panel, without_slips
from analysis.wear.state import day_number, estimate_state
from analysis.worklist.assess import assess
from analysis.worklist.course import part_course
from dashboard.charts import charts
from dashboard.cli import tables
from dashboard.cli.main import main
from dashboard.desk.reading_source import latest_trusted
from dashboard.files import paper
from dashboard.screens import one_unit
from dashboard.words import chart_words
from ingest.corrections import correct
from ingest.entries import check_reading, record_reading
from ingest.importer import import_paths
from ingest.store import read_readings

SHARE = 0.95  # of the battery's steady resistance that is there at the inrush, as a class begins with


# --- the arithmetic --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bound", "error"), [(0.95, 0.02), (1.0, 0.05), (0.88, 0.0)])
def test_a_bound_tells_what_a_normal_cut_off_tells(bound: float, error: float) -> None:
    """Truth: two million draws of a usual battery, of which those stay that fall at least as far as was seen."""
    rng = np.random.default_rng(3)
    true = 1.0 + 0.1 * rng.standard_normal(2_000_000)
    left = true[true + error * rng.standard_normal(len(true)) >= bound]
    none = np.full((1, 1), np.nan)
    value, se = with_bounds(
        none, none, np.full((1, 1), bound), np.full((1, 1), error), np.zeros((1, 1)), np.array([0.1])
    )
    precision = 1.0 / 0.1**2 + 1.0 / se[0, 0] ** 2
    mean = (1.0 / 0.1**2 + value[0, 0] / se[0, 0] ** 2) / precision
    assert mean == pytest.approx(left.mean(), abs=5e-4)
    assert precision**-0.5 == pytest.approx(left.std(), abs=5e-4)


def test_a_bound_far_below_the_expected_says_nothing_and_one_above_counts() -> None:
    none = np.full((2, 1), np.nan)
    value, se = with_bounds(
        none, none, np.array([[0.6], [1.6]]), np.full((2, 1), 0.02), np.zeros((2, 1)), np.full(2, 0.1)
    )
    assert np.isnan(value[0, 0])
    assert np.isnan(se[0, 0])
    assert value[1, 0] > 1.6
    assert value[1, 0] - 2.0 * se[1, 0] > 1.1, "a battery that fell by 1.6 times the usual at least is no usual one"


def test_the_same_bound_again_adds_hardly_anything() -> None:
    """Truth: a bound seen twenty times says what it says once."""
    least, none = np.full((1, 20), 0.95), np.full((1, 20), np.nan)
    value, se = with_bounds(none, none, least, np.full((1, 20), 0.02), np.zeros((1, 20)), np.array([0.1]))
    weight = np.where(np.isfinite(value), se**-2.0, 0.0)
    mean = (100.0 + (weight * np.nan_to_num(value)).sum()) / (100.0 + weight.sum())
    once = (100.0 + weight[0, 0] * value[0, 0]) / (100.0 + weight[0, 0])
    assert once < mean < once + 0.03


# --- a fleet that mixes them -----------------------------------------------------------------------------------------


def looked_at(readings: pd.DataFrame) -> tuple[Panel, Observations]:
    panel = without_slips(make_panel(tables_of(simulated()).units, readings))
    return panel, observe(panel, estimate_laws(panel))


def half_of(readings: pd.DataFrame) -> pd.Series:
    """Readings of every second vehicle of each class."""
    units = tables_of(simulated()).units.sort_values("unit")
    place = units.groupby(["vehicle_class", "system_v"]).cumcount()
    return readings["unit"].isin(units["unit"][place % 2 == 0])


@pytest.mark.parametrize("caught", ["nearly all", "any share"])
def test_vehicles_with_bounds_alone_never_look_better_than_they_are(caught: str) -> None:
    """Truth: the lowest volts of the simulated fleet, of which slow samples see a share of the fall."""
    readings, rng = tables_of(simulated()).readings, np.random.default_rng(5)
    _, true = looked_at(readings)
    hidden, random = half_of(readings), rng.random(len(readings))
    share = 1.0 - 0.1 * random if caught == "nearly all" else np.sqrt(random)
    low = readings["rest_v"] - (readings["rest_v"] - readings["crank_min_v"]) * share
    mixed = readings.assign(
        crank_min_v=readings["crank_min_v"].where(~hidden, low.round(2)),
        lowest_is=np.where(hidden & low.notna(), "sampled", ""),
    )
    panel, seen = looked_at(mixed)
    bounds = np.isfinite(panel.measured["crank_at_most_v"])
    assert bounds.any()
    told = bounds & np.isfinite(seen.value[BATTERY])
    value, se = seen.value[BATTERY], seen.se[BATTERY]
    _, shown = looked_at(mixed.assign(lowest_is=""))
    ratio = shown.laws.base[panel.group, BATTERY][:, None] / seen.laws.base[panel.group, BATTERY][:, None]
    assert np.all((value - shown.value[BATTERY] * ratio + 2.0 * se)[told] > 0.0), "never better than what was seen"
    weight = np.where(told, se**-2.0, 0.0)
    sound = (100.0 + (weight * np.nan_to_num(value)).sum(axis=1)) / (100.0 + weight.sum(axis=1))
    assert (sound > 0.99).all(), "nor better than a vehicle that was never read"
    if caught == "nearly all":
        away = ((value - true.value[BATTERY]) / np.hypot(se, true.se[BATTERY]))[told]
        assert np.mean(away) > -0.5
        assert np.mean(away < -2.0) < 0.1
    worn = bounds & (true.value[BATTERY] > 1.5) & np.isfinite(seen.value[BATTERY])
    assert np.mean(seen.value[BATTERY][worn] > 1.2) > 0.8, "a fall beyond the expected counts"


def test_class_laws_are_learned_from_values_where_there_are_any() -> None:
    readings = tables_of(simulated()).readings
    hidden = half_of(readings)
    without = readings.assign(crank_min_v=readings["crank_min_v"].where(~hidden))
    with_bounds_too = readings.assign(
        crank_min_v=readings["crank_min_v"].where(~hidden, readings["crank_min_v"] + 0.4),
        lowest_is=np.where(hidden, "sampled", ""),
    )
    (_, lacking), (_, bounded) = looked_at(without), looked_at(with_bounds_too)
    assert np.array_equal(lacking.laws.base, bounded.laws.base, equal_nan=True)
    only = readings.assign(lowest_is="sampled")
    _, alone = looked_at(only)
    _, usual = looked_at(readings)
    assert alone.laws.base[:, BATTERY] == pytest.approx(usual.laws.base[:, BATTERY]), (
        "a class that holds nothing but bounds has them for its usual value"
    )


@pytest.mark.parametrize("peak", ["read", "of the class"])
def test_the_dip_tells_the_battery_that_steady_turning_tells(peak: str) -> None:
    """Truth: dip = rest - 0.95 * battery * peak, with battery and peak of the simulated fleet; half of it dips only."""
    readings = tables_of(simulated()).readings
    _, true = looked_at(readings)
    hidden = half_of(readings)
    mohm = (readings["rest_v"] - readings["crank_min_v"]) / readings["crank_a"]
    dip = (readings["rest_v"] - SHARE * mohm * readings["peak_a"]).where(hidden)
    mixed = readings.assign(crank_min_v=readings["crank_min_v"].where(~hidden), crank_dip_v=dip)
    if peak == "of the class":
        first = ~readings["unit"].isin(sorted(readings["unit"].unique())[:12])
        mixed = mixed.assign(peak_a=readings["peak_a"].where(~hidden | first))
    panel, seen = looked_at(mixed)
    dips = np.isfinite(panel.measured["crank_dip_v"])
    away = ((seen.value[BATTERY] - true.value[BATTERY]) / seen.se[BATTERY])[dips]
    away = away[np.isfinite(away)]
    assert len(away) > 50
    assert abs(np.median(away)) < 0.8
    assert np.mean(np.abs(away) < 2.0) > 0.9
    untouched = np.isfinite(panel.measured["crank_min_v"])
    mohm_before, mohm_after = (o.value[BATTERY] * o.laws.base[panel.group, BATTERY][:, None] for o in (true, seen))
    assert np.median(np.abs(mohm_after / mohm_before - 1.0)[untouched]) < 0.02


# --- from the file to the page ---------------------------------------------------------------------------------------


def taken_in(db: Database, folder: Path, *rows: tuple[str, str]) -> pd.DataFrame:
    lines = [f"{line},{lowest_is}" for line, lowest_is in rows]
    (folder / "r.csv").write_text("\n".join([f"{HEADING},lowest_is", *lines]) + "\n")
    import_paths(db, [folder / "r.csv"], now=NOW)
    return read_readings(db)


def test_a_file_says_what_its_lowest_volts_are(db: Database, tmp_path: Path) -> None:
    """Worked by hand: a meter's MIN goes to the dip, a bound is marked, steady and empty are the same."""
    rows = [
        (reading(taken_at=f"2023-03-0{n}T08:15"), word) for n, word in enumerate(("", "steady", "inrush", "sampled"), 1)
    ]
    kept = taken_in(db, tmp_path, *rows)
    assert kept["lowest_is"].tolist() == ["", "", "", "sampled"]
    assert kept["crank_min_v"].fillna(0).tolist() == [11.4, 11.4, 0, 11.4]
    assert kept["crank_dip_v"].fillna(0).tolist() == [0, 0, 11.4, 0]
    again = import_paths(db, [tmp_path / "r.csv"], now=NOW)
    assert (again.stored, again.known, again.set_aside) == (0, 4, 0)


def test_a_word_that_is_none_and_two_dips_are_set_aside(db: Database, tmp_path: Path) -> None:
    taken_in(db, tmp_path, (reading(), "slowest"))
    assert "lowest_is" in reasons(db)[0]
    both = {"unit": "K-101", "rest_v": 12.6, "crank_min_v": 10.0, "crank_dip_v": 9.0, "lowest_is": "inrush"}
    assert "crank_dip_v is 9 V; allowed is one of them" in check_reading(db, both, now=NOW).problems[0]


@pytest.mark.parametrize(("dip_v", "believed"), [(9.0, True), (10.09, True), (10.15, False)])
def test_the_dip_lies_below_steady_cranking_but_for_the_meter(db: Database, dip_v: float, believed: bool) -> None:
    """The inrush takes more amps than steady cranking does; two readings of one voltage agree within a hundredth (our choice)."""
    values = {"unit": "K-101", "rest_v": 12.6, "crank_min_v": 10.0, "crank_dip_v": dip_v}
    assert (check_reading(db, values, now=NOW).problems == ()) is believed


def test_no_rule_of_plausible_change_doubts_a_bound(db: Database) -> None:
    """Truth: 0.4 V less at 900 A would be a battery of 0.4 mΩ; as a bound it is only a start that was missed."""
    values = {"unit": "K-101", "rest_v": 12.6, "crank_min_v": 12.2, "crank_a": 900.0}
    assert check_reading(db, values, now=NOW).doubtful == ("crank_a",)
    assert check_reading(db, {**values, "lowest_is": "sampled"}, now=NOW).doubtful == ()


def test_a_correction_gives_the_lowest_volts_another_meaning(db: Database) -> None:
    """Truth: the tables' own checks; what was a dip leaves the column of steady turning."""
    values = {"unit": "K-101", "taken_at": "2024-05-01T08:00", "rest_v": 12.6, "crank_min_v": 9.0}
    number = record_reading(db, values, by="ben", now=NOW).row_id
    assert number is not None
    assert correct(db, "reading", number, {"lowest_is": "sampled"}, by="ben", reason="a slow logger").stored
    assert read_readings(db)["lowest_is"].tolist() == ["sampled"]
    assert correct(db, "reading", number, {"lowest_is": "inrush"}, by="ben", reason="what MIN held").stored
    kept = read_readings(db).iloc[0]
    assert (kept["crank_dip_v"], kept["lowest_is"]) == (9.0, "")
    assert np.isnan(kept["crank_min_v"])


def test_a_bound_is_said_to_be_one_wherever_it_is_shown(db: Database) -> None:
    for day, word in ((1, ""), (2, "sampled")):
        values = {"unit": "K-101", "taken_at": f"2024-05-0{day}T08:00", "rest_v": 12.6, "crank_min_v": 9.8}
        assert record_reading(db, {**values, "lowest_is": word}, by="ben", now=NOW).stored
    readings = read_readings(db)
    facts = one_unit.Facts({"unit": "K-101"}, readings, pd.DataFrame(), pd.DataFrame())
    assert one_unit.readings_shown(facts)["crank_min_v"].tolist() == ["at most 9.80", "9.80"]
    assert latest_trusted(facts.readings)[0]["crank_min_v"] == 9.8
    assert "at most 9.80" in tables.readings_text(readings)
    assert "at most 9.80" in str(paper._reading_tables(readings, fahrenheit=False))
    assert tables.measured_object(readings) == {"rest_v": 12.6, "crank_min_v": 9.8, "at_most": ["crank_min_v"]}


def test_record_takes_a_bound_and_says_what_it_tells(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Truth: a bound above the limit gives no battery resistance; one under it is under it, whatever the lowest was."""
    fleet(tmp_path)
    file = str(tmp_path / "fleet.db")
    words = ["--db", file, "record", "K-101", "--rest-v", "12.6", "--lowest-is", "sampled", "--temperature-c", "15"]
    assert main([*words, "--crank-min-v", "11.0", "--taken-at", "2024-05-01T08:00"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "at or below what was seen" in said
    assert main([*words, "--crank-min-v", "7.5", "--taken-at", "2024-05-01T09:00"]) == 0
    assert "7.5" in capsys.readouterr().out
    assert main(["--db", file, "unit", "K-101", "--as-of", str(date(2024, 5, 2)), "--format", "json"]) == 0
    latest = json.loads(capsys.readouterr().out)["latest_reading"]
    assert latest["measured"]["at_most"] == ["crank_min_v"]
    volts = [limit for limit in latest["limits"] if limit["check"] == "volts while cranking"]
    assert [(limit["value"], limit["verdict"]) for limit in volts] == [(7.5, "act")]


# --- in the state of the fleet ---------------------------------------------------------------------------------------


def test_a_bound_beyond_the_expected_makes_a_battery_worse_and_one_below_no_better(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Truth: a vehicle's own readings, its sag made 1.8 times and half of what it was, told as bounds or not at all."""
    made, name = tables_of(simulated()), "U00001"
    readings = made.readings
    own = readings["unit"] == name
    sag = readings["rest_v"] - readings["crank_min_v"]
    day = day_number(pd.Timestamp(simulated().as_of))
    battery, told = {}, {}
    for word, share in (("nothing", np.nan), ("half", 0.5), ("more", 1.8)):
        hidden = readings.assign(
            crank_min_v=readings["crank_min_v"].where(~own, readings["rest_v"] - share * sag),
            lowest_is=np.where(own, "sampled", ""),
            **{c: readings[c].where(~own) for c in ("crank_a", "peak_a")},
        )
        state = estimate_state(replace(made, readings=hidden), day, np.zeros(1), draws=400)
        u = int(np.flatnonzero(state.panel.units["unit"] == name)[0])
        battery[word], told[word] = state.drawn[0, BATTERY, u], int(state.usable[BATTERY, u].sum())
    assert battery["more"].mean() > battery["nothing"].mean() + 0.2
    assert np.quantile(battery["more"], 0.1) > np.median(battery["nothing"])
    assert battery["half"].mean() >= battery["nothing"].mean() - 0.02
    assert told["half"] == told["nothing"] == 0, "a bound that tells nothing is no reading to judge by"
    assert told["more"] > 3
    quick(monkeypatch)
    listed = assess(replace(made, readings=hidden), as_of=pd.Timestamp(simulated().as_of), draws=8, with_classes=False)
    drawn = part_course(listed, name, "battery")
    assert drawn.readings["bound"].all(), "a bound is drawn as what it is, not as what it adds"
    taken = readings[own].set_index("taken_at")
    warm = taken.index[(taken["temperature_c"] - 20.0).abs().argmin()]
    here = drawn.readings.set_index("taken_at").loc[warm]
    assert here["low"] == here["value"] == here["high"]
    assert chart_words.part_text(drawn, "Battery").count("at least") == 1
    layers = charts.part_chart(
        drawn, title="t", as_of=warm, repairs=made.repairs.assign(words="")[:0]
    ).to_dict()  # fmt: skip
    assert chart_words.BOUND in str(layers)
