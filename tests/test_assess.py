"""One assessment: blind to the future, honest about too little data, indifferent to the order of rows.

Truth: properties that follow from the contract (nothing dated D or later; statuses; errors), on simulated fleets.
"""

from __future__ import annotations

import itertools
import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_chance import is_night, more_by_night, one_in
from samples_fleet import FEW, cut, few, fleet, quick, tables_of

from analysis.forecast import learning
from analysis.forecast.season import WEEKS
from analysis.readings.panel import MEASURED, FleetTables
from analysis.readings.renewals import PARTS
from analysis.worklist import judge
from analysis.worklist.assess import Assessment, assess
from dashboard.desk.assessment import list_rows

DAY = pd.Timestamp("2022-12-12")
CONTRACT = [
    "unit",
    "depot",
    "vehicle_class",
    "flagged",
    "part",
    "part_probability",
    "no_start_probability",
    "coldest_start_c",
    "coldest_start_low_c",
    "coldest_start_high_c",
    "act_by",
    "last_reading_on",
    "reasons",
    "next_test",
    "action",
    "looked_on",
    "looked_part",
    "sound_probability",
    "evidence",
    "failed_on",
    "readings",
    "readings_on_record",
    "caution",
]
NO_READINGS = pd.DataFrame({"unit": pd.Series(dtype="str"), "taken_at": pd.Series(dtype="datetime64[us]")})
TABLES = ("units", "readings", "repairs", "climate", "forecast")
FRAMES = ("units", "parts", "outlook", "resets", "classes")
NUMBERS = (
    "part_probability", "no_start_probability", "probability_low", "probability_high", "flag_probability",
    "coldest_start_c", "coldest_start_low_c", "coldest_start_high_c",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch)


@pytest.fixture(scope="module")
def tables() -> FleetTables:
    """Five vehicles."""
    return tables_of(few())


@pytest.fixture(scope="module")
def more() -> FleetTables:
    """Two dozen, where a property is one of many vehicles."""
    return tables_of(fleet())


@pytest.fixture
def usual(tables: FleetTables) -> Assessment:
    """The assessment of the unchanged tables on DAY, made once."""
    return samples_kept.assess(tables, as_of=DAY)


def assert_same(one: Assessment, other: Assessment) -> None:
    """Every table equal, bit for bit."""
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), obj=name)
    assert one.fleet_notes == other.fleet_notes


def assert_sound(assessed: Assessment) -> None:
    """No number missing or out of its range, whatever was missing in the tables."""
    units = assessed.units
    for name in NUMBERS:
        assert np.isfinite(units[name].to_numpy(float)).all(), name
    for name in ("part_probability", "no_start_probability", "probability_low", "probability_high"):
        assert units[name].between(0.0, 1.0).all(), name
    for table, name in ((units, "no_start_probability"), (assessed.outlook, "probability")):
        assert (table["probability_low"] <= table[name]).all(), f"{name} below its own range"
        assert (table[name] <= table["probability_high"]).all(), f"{name} above its own range"
    assert (units["coldest_start_low_c"] <= units["coldest_start_c"]).all()
    assert (units["coldest_start_c"] <= units["coldest_start_high_c"]).all()
    assert set(units["part"]) <= set(PARTS)
    assert units["no_start_probability"].is_monotonic_decreasing
    assert not units.loc[units["status"] != "judged", "flagged"].any()
    rows = list_rows(assessed, NO_READINGS, flagged_only=False)
    json.dumps(rows, allow_nan=False)


# --- no look-ahead ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("day", [pytest.param("2022-09-05", marks=pytest.mark.nightly), "2023-03-20"])
def test_nothing_dated_the_day_or_later_is_used(tables: FleetTables, day: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Contract: "a test deletes everything dated D or later and gets the same list for D"."""
    quick(monkeypatch, looks=3)
    on = pd.Timestamp(day)
    past = replace(tables, forecast=tables.forecast.iloc[:0])
    assert (past.readings["taken_at"] >= on).any()
    assert (past.repairs["done_on"] >= on).any() or day > "2023"
    assert_same(assess(past, as_of=on), assess(cut(past, on), as_of=on))


@pytest.mark.nightly
def test_the_same_on_the_day_after_the_last_reading(tables: FleetTables) -> None:
    """The list of D + 1 on tables cut at D differs from that of D only in what a day does: no reading is lost."""
    one, next_day = (assess(cut(tables, DAY), as_of=d) for d in (DAY, DAY + pd.Timedelta(days=1)))
    assert one.units["readings"].sum() == next_day.units["readings"].sum()
    moved = one.units.set_index("unit")["coldest_start_c"] - next_day.units.set_index("unit")["coldest_start_c"]
    assert moved.abs().median() < 1.0


@pytest.mark.nightly
def test_what_happens_later_changes_nothing_even_when_it_is_made_up(tables: FleetTables, usual: Assessment) -> None:
    """Property: invented later readings and no-starts of the day itself leave the list as it is."""
    later = tables.readings.tail(30).assign(taken_at=DAY + pd.Timedelta(hours=7), crank_min_v=3.0, drop_ground_v=6.0)
    later = later.drop_duplicates("unit")
    failed = pd.DataFrame(
        {"unit": tables.units["unit"], "done_on": DAY, "part": "battery", "action": "replaced", "reason": "no_start"}
    )
    made_up = replace(
        tables,
        readings=pd.concat([tables.readings, later], ignore_index=True),
        repairs=pd.concat([tables.repairs, failed], ignore_index=True),
    )
    assert_same(usual, assess(made_up, as_of=DAY))


@pytest.mark.nightly
def test_a_forecast_issued_later_is_not_used(tables: FleetTables) -> None:
    """A forecast that begins after D was issued after D: the list for D may not know it."""
    first = tables.forecast["date"].min()
    day = first - pd.Timedelta(days=5)
    arctic = replace(tables, forecast=tables.forecast.assign(low_c=-40.0))
    assert_same(assess(arctic, as_of=day), assess(cut(arctic, day), as_of=day))


@pytest.mark.nightly
def test_a_person_s_answer_counts_from_the_day_it_was_given(tables: FleetTables, usual: Assessment) -> None:
    """An answer given on D or later is not known at the start of D; one given before is."""
    unit = tables.units["unit"].iloc[0]
    answers = pd.DataFrame(
        {
            "unit": [unit], "part": ["battery"], "around_on": [pd.Timestamp("2022-06-01")],
            "answer": ["confirmed"], "by": ["anna"], "at": [DAY + pd.Timedelta(hours=8)],
        }
    )  # fmt: skip
    told = replace(tables, reset_answers=answers)
    assert_same(usual, assess(told, as_of=DAY))
    known = assess(replace(tables, reset_answers=answers.assign(at=DAY - pd.Timedelta(days=1))), as_of=DAY)
    row = int(np.flatnonzero(known.state.panel.units["unit"] == unit)[0])
    assert known.state.reset_day[0, row] >= (pd.Timestamp("2022-06-01") - pd.Timestamp("1970-01-01")).days - 1


# --- the contract ----------------------------------------------------------------------------------------------------


def test_the_json_has_exactly_the_keys_of_the_contract(tables: FleetTables, usual: Assessment) -> None:
    """DEVELOPERS.md, the contract of `risk --format json`: names, order and types."""
    assessed = usual
    rows = list_rows(assessed, tables.readings, flagged_only=False)
    assert len(rows) == len(tables.units)
    for row in rows:
        assert list(row) == CONTRACT
        assert isinstance(row["flagged"], bool)
        assert row["part"] in PARTS
        assert row["reasons"]
        assert all(isinstance(sentence, str) for sentence in row["reasons"])
        assert row["next_test"] is None or isinstance(row["next_test"], str)
        assert isinstance(row["action"], str)
        for name in ("act_by", "last_reading_on"):
            assert row[name] is None or pd.Timestamp(row[name]).strftime("%Y-%m-%d") == row[name]
        assert row["last_reading_on"] is None or row["last_reading_on"] < DAY.strftime("%Y-%m-%d")
    probability = [row["no_start_probability"] for row in rows]
    assert probability == sorted(probability, reverse=True)
    flagged = list_rows(assessed, tables.readings, flagged_only=True)
    assert flagged == [row for row in rows if row["flagged"]]
    assert flagged
    json.dumps(rows, allow_nan=False)


def test_the_tables_have_a_row_for_every_unit_part_and_week(tables: FleetTables, usual: Assessment) -> None:
    """ASSESS columns; the outlook is cumulative, so it never falls, and a renewed part does not raise it."""
    assessed = usual
    assert_sound(assessed)
    assert len(assessed.parts) == len(tables.units) * len(PARTS)
    assert assessed.parts.groupby("unit").size().eq(len(PARTS)).all()
    per_unit = assessed.outlook.groupby("unit")
    assert per_unit.size().eq(WEEKS).all()
    assert per_unit["probability"].apply(lambda p: bool((np.diff(p) >= -1e-12).all())).all()
    assert (assessed.outlook["probability_renewed"] <= assessed.outlook["probability"] + 0.02).all()
    assert (assessed.outlook["week_start"] == DAY + pd.to_timedelta(7 * assessed.outlook["week"], unit="D")).all()
    flagged = assessed.units[assessed.units["flagged"]]
    assert (flagged["act_by"].dropna() >= DAY).all()
    assert assessed.units.loc[~assessed.units["flagged"], "act_by"].isna().all()


@pytest.mark.nightly
def test_a_longer_horizon_never_lowers_the_probability(tables: FleetTables) -> None:
    """Property: a no-start within 7 days is one within 30 and 120 days.  2 %: courses of weather are drawn anew."""
    looks: dict[str, learning.Look] = {}
    by_days = [
        assess(tables, as_of=DAY, horizon_days=d, looks=looks).units.set_index("unit")["no_start_probability"]
        for d in (7, 30, 120)
    ]
    for shorter, longer in itertools.pairwise(by_days):
        assert (longer.reindex(shorter.index) >= shorter - 0.02).all()
    assert by_days[-1].sum() > by_days[0].sum()


@pytest.mark.nightly
def test_a_fleet_judged_in_chunks_is_judged_as_a_whole(tables: FleetTables, monkeypatch: pytest.MonkeyPatch) -> None:
    """Property: which vehicles are drawn together makes no difference, to 1e-9."""
    looks: dict[str, learning.Look] = {}
    whole = assess(tables, as_of=DAY, looks=looks)
    monkeypatch.setattr(judge, "CHUNK_VEHICLES", 2)
    parts = assess(tables, as_of=DAY, looks=looks)
    for name in ("units", "parts", "outlook", "beyond", "resets", "drift", "classes"):
        pd.testing.assert_frame_equal(getattr(parts, name), getattr(whole, name), rtol=0.0, atol=1e-9)


@pytest.mark.nightly
def test_a_lower_tolerance_flags_no_vehicle_more(more: FleetTables) -> None:
    """Property: who tolerates fewer false flags sees a part of the longer list."""
    looks: dict[str, learning.Look] = {}
    few, many = (
        set(a.units.loc[a.units["flagged"], "unit"])
        for a in (assess(more, as_of=DAY, tolerated_false_flags=t, looks=looks) for t in (1.0, 20.0))
    )
    assert few <= many
    assert len(many) > len(few)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"horizon_days": 0}, "horizon_days is 0; allowed are whole numbers from 1 to 180"),
        ({"horizon_days": 181}, "horizon_days is 181"),
        ({"horizon_days": -30}, "horizon_days is -30"),
        ({"tolerated_false_flags": 0.1}, r"tolerated false flags is 0\.1; allowed are 0\.5 to 50"),
        ({"tolerated_false_flags": float("nan")}, "tolerated false flags is nan"),
    ],
)
def test_a_bad_call_names_argument_value_and_range(tables: FleetTables, arguments: dict, words: str) -> None:
    """Contract: a bad call names the argument, its value and what is allowed."""
    with pytest.raises(ValueError, match=words):
        assess(tables, as_of=DAY, **arguments)


def test_a_fractional_horizon_is_a_bad_call(tables: FleetTables) -> None:
    """Contract: a bad call names the argument, its value and what is allowed."""
    with pytest.raises(ValueError, match="horizon_days"):
        assess(tables, as_of=DAY, horizon_days=1.5)  # type: ignore[arg-type]


def test_no_unit_and_unknown_unit_are_bad_calls(tables: FleetTables) -> None:
    """Contract: a bad call names the argument, its value and what is allowed."""
    with pytest.raises(ValueError, match="no unit"):
        assess(replace(tables, units=tables.units.iloc[:0]), as_of=DAY)
    with pytest.raises(ValueError, match=f"'{FEW[0]}' is not in units"):
        assess(replace(tables, units=tables.units.iloc[1:]), as_of=DAY)


# --- order of rows ---------------------------------------------------------------------------------------------------


def test_the_order_of_rows_is_of_no_matter_nor_a_repair_of_a_vehicle_that_is_not_there(
    tables: FleetTables, usual: Assessment
) -> None:
    """Property: shuffled rows of every table but the vehicles', and a repair that resets nobody's part, the same assessment."""
    stray = pd.DataFrame(
        {"unit": ["nobody"], "done_on": [DAY - pd.Timedelta(days=9)], "part": ["battery"], "action": ["replaced"], "reason": ["preventive"]}
    )  # fmt: skip
    more = replace(tables, repairs=pd.concat([tables.repairs, stray], ignore_index=True))
    shuffled = {
        name: getattr(more, name).sample(frac=1.0, random_state=1).reset_index(drop=True)
        for name in ("readings", "repairs", "climate", "forecast")
    }
    assert_same(usual, assess(replace(tables, **shuffled), as_of=DAY))


def test_the_order_of_units_is_of_no_matter_and_tables_are_not_changed(tables: FleetTables, usual: Assessment) -> None:
    """Property: shuffled vehicles, the same list to 1e-9. Contract: arguments are never changed."""
    shuffled = replace(tables, units=tables.units.sample(frac=1.0, random_state=1).reset_index(drop=True))
    copies = {name: getattr(shuffled, name).copy() for name in TABLES}
    other = assess(shuffled, as_of=DAY)
    pd.testing.assert_frame_equal(usual.units, other.units, rtol=0.0, atol=1e-9)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(shuffled, name), copies[name])


# --- too little data -------------------------------------------------------------------------------------------------


def test_too_few_readings_are_said_and_not_flagged(tables: FleetTables, usual: Assessment) -> None:
    """Contract: units with too few readings are said to be so, not scored as healthy."""
    cases = {0: "no reading", 2: "too few readings", 3: "judged"}
    worst = dict(zip(cases, usual.units["unit"], strict=False))
    drop: list[int] = []
    for kept, name in worst.items():
        mine = tables.readings[(tables.readings["unit"] == name) & (tables.readings["taken_at"] < DAY)]
        drop += mine.sort_values("taken_at").index[: len(mine) - kept].tolist()
    assessed = assess(replace(tables, readings=tables.readings.drop(drop)), as_of=DAY)
    assert_sound(assessed)
    rows = {row["unit"]: row for row in list_rows(assessed, tables.readings, flagged_only=False)}
    for kept, status in cases.items():
        unit = assessed.units.set_index("unit").loc[worst[kept]]
        assert unit["status"] == status
        assert unit["readings"] == kept
        assert unit["last_reading_on"] is pd.NaT or kept
        if status != "judged":
            assert not unit["flagged"]
            row = rows[worst[kept]]
            assert "too few to judge" in row["reasons"][0]
            assert row["action"] == "take readings at the next service"


def test_readings_without_any_measurement_are_no_readings(tables: FleetTables) -> None:
    """Rows in which nothing was written down tell nothing: the vehicle is not healthy for that."""
    empty = tables.readings.assign(**dict.fromkeys(MEASURED, np.nan))
    units = assess(replace(tables, readings=empty), as_of=DAY).units
    assert not units["status"].eq("judged").any()
    assert not units["flagged"].any()


@more_by_night
def test_a_single_unit_and_a_single_reading(tables: FleetTables) -> None:
    """The smallest fleets: one vehicle, with its readings, none, by night one of them."""
    one = tables.units.iloc[:1]
    own = tables.readings[tables.readings["unit"] == one["unit"].iloc[0]]
    repairs = tables.repairs[tables.repairs["unit"] == one["unit"].iloc[0]]
    cases = {0: "no reading", len(own): "judged"} | ({1: "too few readings"} if is_night() else {})
    for kept, status in cases.items():
        assessed = assess(replace(tables, units=one, readings=own.iloc[:kept], repairs=repairs), as_of=DAY)
        assert assessed.units["status"].tolist() == [status]
        assert_sound(assessed)


def assessed_without(tables: FleetTables, column: str) -> Assessment:
    """The assessment on DAY of readings that have not this column."""
    return samples_kept.assess(replace(tables, readings=tables.readings.drop(columns=column)), as_of=DAY)


@pytest.mark.parametrize(
    "column",
    one_in(
        9,
        [
            "peak_a",
            "rest_v",
            "temperature_c",
            "technician",
            "crank_rpm",
            "crank_a",
            "crank_min_v",
            "coil_a",
            "drop_control_v",
        ],
    ),
)
def test_a_column_may_be_missing(tables: FleetTables, column: str) -> None:
    """Contract: any measurement may be missing; the absent column and one full of gaps are the same."""
    without = assessed_without(tables, column)
    assert_sound(without)
    if column not in ("peak_a", "technician"):
        return  # one number and one text stand for all: each takes a second
    gap = None if column == "technician" else np.nan
    gaps = assess(replace(tables, readings=tables.readings.assign(**{column: gap})), as_of=DAY)
    assert_same(without, gaps)


@pytest.mark.parametrize("column", one_in(3, ["peak_a", "rest_v", "temperature_c"]))
def test_vehicles_about_to_fail_are_still_seen_without(tables: FleetTables, usual: Assessment, column: str) -> None:
    """Simulated truth: of the vehicles that fail within 40 days of D and are flagged with everything known, most are
    flagged without one column too; nothing missing may turn the whole list into "starts at any temperature"."""
    full = usual.units.set_index("unit")
    without = assessed_without(tables, column).units.set_index("unit")
    flagged = full.index[full["flagged"]]
    assert len(flagged) >= 2
    assert without.loc[flagged, "flagged"].mean() >= 0.5
    assert without["coldest_start_c"].max() > -30.0


@pytest.mark.parametrize("name", one_in(3, ["climate", "repairs", "forecast"]))
def test_a_table_may_be_empty(tables: FleetTables, name: str) -> None:
    """An empty climate gives wide mild lows, an empty repair table new parts nowhere, no forecast the climate."""
    assert_sound(assess(replace(tables, **{name: getattr(tables, name).iloc[:0]}), as_of=DAY))


@pytest.mark.nightly
def test_an_unknown_depot_has_the_wide_unknown_climate(tables: FleetTables, usual: Assessment) -> None:
    """Property: a vehicle whose depot is not known stands where no climate is known, never at another's depot.

    Every known depot is made hot here, so that only a place without climate can be cold enough for a no-start.
    """
    worst = usual.units["unit"].iloc[0]
    here = tables.units["unit"] == worst
    hot = replace(tables, climate=tables.climate.assign(low_c=30.0, low_sd_c=1.0), repairs=tables.repairs.iloc[:0])
    placed = [tables.units.assign(depot=tables.units["depot"].where(~here, d)) for d in (None, "nowhere known")]
    one, other = (assess(replace(hot, units=u), as_of=DAY).units.set_index("unit") for u in placed)
    assert other.loc[worst, "flag_probability"] > 0.2
    assert one.loc[worst, "flag_probability"] == pytest.approx(other.loc[worst, "flag_probability"], abs=0.05)


def test_no_depot_known_at_all(tables: FleetTables) -> None:
    """A units table whose depots are all missing is still judged."""
    assert_sound(assess(replace(tables, units=tables.units.assign(depot=None)), as_of=DAY))


# --- what moves the list ---------------------------------------------------------------------------------------------


def test_24_volt_vehicles_are_judged_like_12_volt_ones(more: FleetTables) -> None:
    """Scale property: twice the volts and resistances at the same amps is the same vehicle in a 24 V system."""
    tables = more
    volts = [c for c in tables.readings.columns if c.endswith("_v")]
    only_12 = tables.units["system_v"] == 12
    small = replace(
        tables,
        units=tables.units[only_12].reset_index(drop=True),
        readings=tables.readings[tables.readings["unit"].isin(tables.units.loc[only_12, "unit"])].reset_index(
            drop=True
        ),
        repairs=tables.repairs.iloc[:0],
    )
    double = replace(
        small,
        units=small.units.assign(system_v=24),
        readings=small.readings.assign(**{c: 2 * small.readings[c] for c in volts}),
    )
    one, other = (assess(t, as_of=DAY).units.set_index("unit") for t in (small, double))
    other = other.reindex(one.index)
    close = (one["coldest_start_c"] - other["coldest_start_c"]).abs()
    assert close.median() < 2.0, "drops below the meter's error weigh less at 24 V, hence not exactly equal"
    both_sure = (one["flag_probability"] > 0.6) | (one["flag_probability"] < 0.02)
    agree = one["flagged"] == other["flagged"]
    assert agree[both_sure].mean() >= 0.9


@pytest.mark.nightly
def test_a_colder_forecast_raises_the_risk_of_every_vehicle(tables: FleetTables) -> None:
    """Property: with the coming month forecast ten kelvin colder no probability is lower, and their mean is higher."""
    day = pd.Timestamp("2022-10-10")
    days = pd.date_range(day, periods=30, freq="D")
    depots = tables.climate["depot"].unique()
    forecast = pd.MultiIndex.from_product([depots, days], names=["depot", "date"]).to_frame(index=False)
    one, other = (
        assess(replace(tables, forecast=forecast.assign(low_c=low)), as_of=day).units.set_index("unit")
        for low in (2.0, -8.0)
    )
    other = other.reindex(one.index)
    assert other["no_start_probability"].mean() > one["no_start_probability"].mean() + 0.02
    assert (other["no_start_probability"] >= one["no_start_probability"] - 1e-9).all()


def test_a_colder_climate_raises_the_risk_of_the_fleet(tables: FleetTables) -> None:
    """Property: ten kelvin colder everywhere, more risk in the mean; not of every vehicle, because one that lasted through
    colder weeks has shown more."""
    quiet = replace(tables, repairs=tables.repairs.iloc[:0])
    colder = replace(quiet, climate=quiet.climate.assign(low_c=quiet.climate["low_c"] - 10.0))
    one, other = (assess(t, as_of=pd.Timestamp("2022-10-10")).units for t in (quiet, colder))
    assert other["no_start_probability"].mean() > one["no_start_probability"].mean()


def test_a_fleet_whose_parts_were_all_renewed_yesterday_is_not_flagged(more: FleetTables) -> None:
    """Property: new parts in every vehicle leave nothing to act on."""
    parts = [p for p in PARTS if p != "engine_drag"]
    fitted = pd.MultiIndex.from_product([more.units["unit"], parts], names=["unit", "part"]).to_frame(index=False)
    new = fitted.assign(done_on=DAY - pd.Timedelta(days=1), action="replaced", reason="preventive")
    units = assess(replace(more, repairs=pd.concat([more.repairs, new], ignore_index=True)), as_of=DAY).units
    assert units["flagged"].sum() <= 1
    assert units["avoidable_probability"].mean() < 0.05
