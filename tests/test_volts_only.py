"""A fleet of which only rest volts, lowest volts and the air were ever read is judged, honestly wide, and told what it lacks.

Truth: the project's own forward simulation with every other column taken away; the battery's label by SAE J537.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from samples_fleet import drawn_of, quick, tables_of

from analysis.backtest.lists import backtest_lists
from analysis.circuit.battery import RATING_C, bank_cca_a, rating_resistance_mohm
from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import BRUSH_V
from analysis.readings.choices import CLASSES
from analysis.readings.observe import BATTERY, LOAD
from analysis.readings.panel import FleetTables
from analysis.readings.renewals import PARTS
from analysis.worklist.assess import Assessment, assess
from dashboard.cli.tables import list_table
from dashboard.desk.assessment import list_rows
from dashboard.words import reasons
from dashboard.words.reasons import PART_WORDS, lacking_words, suspect_name
from demo_fleet.cranking import ColdLaw, Condition, crank
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import MEASUREMENTS, FleetSpec
from demo_fleet.vehicles import CLASSES as VEHICLE_CLASSES
from demo_fleet.vehicles import build

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged

VOLTS = ("rest_v", "crank_min_v")
SPEC = FleetSpec(902, units=40, years=2.2, classes={"light_van": 1.0}, missing=0.0, without=tuple(
    name for name in MEASUREMENTS if name not in VOLTS
))  # fmt: skip
DAY = pd.Timestamp("2022-12-15")


@pytest.fixture(scope="module")
def volts() -> Fleet:
    return simulate_fleet(SPEC)


@pytest.fixture(scope="module")
def judged(volts: Fleet) -> Assessment:
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return assess(tables_of(volts), as_of=DAY)


def test_volts_and_temperature_give_a_judged_vehicle(judged: Assessment) -> None:
    """Three starts in volts are enough; the range is wide and holds a number."""
    read = judged.units["readings"] >= 3
    assert read.mean() > 0.8
    assert (judged.units.loc[read, "status"] == "judged").all()
    width = judged.units.loc[read, "coldest_start_high_c"] - judged.units.loc[read, "coldest_start_low_c"]
    assert width.median() > 5.0


def test_sag_against_the_class_orders_batteries_as_the_truth_does(volts: Fleet, judged: Assessment) -> None:
    """Rank correlation of the level of the battery with the simulated severity of vehicles that failed by their battery."""
    level = judged.parts[judged.parts["part"] == "battery"].set_index("unit")["level"]
    soon = volts.truth[(volts.truth.part == "battery") & (volts.truth.date >= DAY)].sort_values("date")
    soon = soon[soon.date < DAY + pd.Timedelta(days=90)]
    worse = level[soon.unit.unique()]
    assert len(worse) >= 2
    assert worse.median() > 1.3 * level.median()


def test_a_label_anchors_what_no_clamp_ever_read(judged: Assessment) -> None:
    """640 A by SAE J537: 5.4 V / 640 A = 8.4 mOhm at -18 degC at most, so that usual amps follow from the usual sag."""
    laws = judged.state.laws
    at_test = rating_resistance_mohm(640.0) / np.exp(0.009 * (20.0 - RATING_C) + 1.75e-4 * (20.0 - RATING_C) ** 2)
    assert laws.base[0, BATTERY] == pytest.approx(at_test, rel=0.1)
    sag = judged.state.panel.measured["rest_v"] - judged.state.panel.measured["crank_min_v"]
    assert 1e-3 * laws.base[0, BATTERY] * laws.base[0, LOAD] == pytest.approx(np.nanmedian(sag), rel=0.35)


def test_the_back_emf_that_is_assumed_leaves_the_battery_its_share_of_the_loop() -> None:
    """A battery that wears weighs as much as its sag is of all volts that amps cost. Truth: steady amps of 150 to 200 A of an inrush
    near 600 A (common practice), a starter printed with 780 A stalled, and the project's own forward simulation of nine classes, worked
    here from what each start leaves over battery, cables, contacts and winding."""
    loop_v = CLASSES.inrush_share * BATTERY_TABLES.full_rest_v * np.array([150.0, 200.0]) / 600.0
    inrush = BATTERY_TABLES.full_rest_v - BRUSH_V.value - loop_v
    stalled = (BATTERY_TABLES.full_rest_v - BRUSH_V.value) * (1.0 - np.array([150.0, 200.0]) / 780.0)
    assert CLASSES.assumed_emf_share == pytest.approx(np.mean([inrush, stalled]) / 12.0, abs=0.05)
    made = build(list(VEHICLE_CLASSES), np.random.default_rng(3))
    one, none = np.ones(len(made.blocks)), np.zeros(len(made.blocks))
    start = crank(made, Condition(one, one, none, none, none, one, one, one, none, one), ColdLaw(), 20.0 * one)
    drops = start.drop_positive_v + start.drop_ground_v + start.drop_contacts_v + start.crank_a * made.motor_mohm / 1e3
    share = (start.crank_min_v - BRUSH_V.value * made.blocks - drops) / (12.0 * made.blocks)
    assert np.median(share) == pytest.approx(CLASSES.assumed_emf_share, abs=0.02)
    assert np.abs(share - CLASSES.assumed_emf_share).max() < 0.05


def test_batteries_in_parallel_share_the_amps() -> None:
    units = pd.DataFrame(
        {
            "system_v": [12, 12, 24, 24],
            "rated_cca_a": [600.0] * 4,
            "batteries": [1, 2, 2, 4],
            "in_parallel": ["no", "yes", "no", "yes"],
        }
    )
    assert bank_cca_a(units).tolist() == [600.0, 1200.0, 600.0, 1200.0]
    assert np.isnan(bank_cca_a(units.drop(columns="rated_cca_a"))).all()


def test_the_list_says_what_volts_cannot_tell(volts: Fleet, judged: Assessment) -> None:
    """Battery or amps are not told apart, and the drops that nobody measured are named, with what would tell."""
    rows = list_rows(judged, volts.readings[volts.readings.taken_at < DAY], flagged_only=False)
    read = [r for r in rows if r["readings"] >= 3]
    assert all(any("volts alone" in reason for reason in r["reasons"]) for r in read)
    assert all(any("no drop was ever measured" in reason for reason in r["reasons"]) for r in read)


def test_what_was_measured_before_a_part_was_renewed_is_not_said_to_be_never_measured() -> None:
    """Worked by hand: a starter and a strap renewed after the last reading have none of their own, and were read before."""

    def parts(*renewed: str) -> list[dict[str, object]]:
        day = pd.Timestamp("2026-10-30")
        return [{"part": p, "readings": int(p == "battery"), "by_speed": 0, "by_time": 0, "part_probability": 0.3,
                 "renewed_on": day if p in renewed else pd.NaT} for p in PARTS]  # fmt: skip

    said = {fact["kind"] for fact in reasons.lacking_facts(parts())}
    assert said == {"volts_only", "no_drops"}
    assert reasons.lacking_facts(parts("engine_drag", "ground_path")) == []
    starter = next(p for p in parts("starter_motor") if p["part"] == "starter_motor")
    sentence = reasons.sentence(reasons.never_measured_fact(starter), pd.Timestamp("2026-11-30"))
    assert sentence.startswith(
        "starter motor (30 %) is suspected only because it was not measured since the work on 30 October: "
    )
    contacts = next(p for p in parts() if p["part"] == "solenoid_contacts")
    sentence = reasons.sentence(reasons.never_measured_fact(contacts), pd.Timestamp("2026-11-30"))
    assert sentence.startswith("solenoid contacts (30 %) are suspected only because they were never measured: ")


def test_amps_and_drops_without_volts_say_that_they_do_not_see_a_weak_battery() -> None:
    """By Ohm's law fewer amps at the inrush are a weaker battery or a worn starter: no part but these two is renamed."""

    def parts(*read: str) -> list[dict[str, object]]:
        return [{"part": p, "readings": int(p in read), "by_speed": 0, "by_time": 0, "renewed_on": pd.NaT} for p in PARTS]  # fmt: skip

    drops = ("positive_cable", "ground_path", "solenoid_contacts", "starter_motor", "engine_drag")
    (fact,) = reasons.lacking_facts(parts(*drops))
    assert "a weak battery is not seen" in reasons.sentence(fact, DAY)
    assert reasons.lacking_facts(parts("battery", *drops)) == []
    named = {part: suspect_name({"part": part, "evidence": [fact]}) for part in PARTS}
    apart = {part: name for part, name in named.items() if name != PART_WORDS[part]}
    assert apart == dict.fromkeys(("battery", "starter_motor"), "starter or battery")


def test_the_part_is_named_for_all_that_volts_cannot_tell_apart(volts: Fleet, judged: Assessment) -> None:
    """A weak battery and more amps than usual sag alike: on the list the part is both, and no other part is renamed."""
    rows = list_rows(judged, volts.readings[volts.readings.taken_at < DAY], flagged_only=False)
    read = [r for r in rows if r["readings"] >= 3]
    named = {(r["part"], suspect_name(r)) for r in read if r["part"]}
    assert ("battery", "battery or amps") in named
    assert all(name == PART_WORDS[part] for part, name in named if part != "battery")
    assert "battery or amps" in list_table(rows, judged)
    assert all("20 minutes would tell." in lacking_words(r, DAY) for r in read)
    assert lacking_words({"evidence": [{"kind": "no_drops"}, {"kind": "level"}]}, DAY) == "", (
        "the first is said already"
    )


def test_one_clamped_vehicle_lends_its_amps_to_its_class(volts: Fleet, judged: Assessment) -> None:
    """Where any vehicle of the class was clamped its amps are the class's: levels of the others hardly move, ohms do."""
    tables = tables_of(volts)
    some = tables.readings["unit"] == tables.units["unit"].iloc[0]
    clamped = replace(tables, readings=tables.readings.assign(crank_a=np.where(some, 150.0, np.nan)))
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        one, other = (drawn_of(a).state for a in (judged, assess(clamped, as_of=DAY)))
    assert other.laws.base[0, LOAD] == pytest.approx(150.0, rel=0.15)
    levels = [s.growth[BATTERY].level for s in (one, other)]
    assert np.nanmedian(np.abs(np.log(levels[0] / levels[1]))) < 0.1


@pytest.mark.nightly
def test_volts_catch_no_starts_that_they_can_see(volts: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the batteries' no-starts some are flagged a fortnight before; a fleet of volts used to catch none."""
    quick(monkeypatch)
    tables: FleetTables = tables_of(volts)
    days = pd.date_range("2022-10-05", "2023-05-17", freq="56D")
    flags = {day: set(a.units.loc[a.units["flagged"], "unit"]) for day, a in backtest_lists(tables, days)}
    truth = volts.truth[(volts.truth.part == "battery") & (volts.truth.date > days[0] + pd.Timedelta(days=14))]
    truth = truth[truth.date < days[-1]]
    last = [max(d for d in days if d <= date - pd.Timedelta(days=14)) for date in truth.date]
    caught = [unit in flags[day] for unit, day in zip(truth.unit, last, strict=True)]
    assert len(caught) >= 2
    assert np.mean(caught) > 0.5
