"""Sentences carry value, unit and limit, in words of the trade; nothing is said that is not known.

Truth: worked by hand on rows written here; the wording of the contract's own example.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import fleet, quick, tables_of

from analysis.bay import findings as segments
from analysis.bay.findings import locate_segment
from analysis.circuit.limit_book import LimitBook
from analysis.costs import DEFAULT_NO_START, NoStartCost, PlanSettings
from analysis.readings.renewals import PARTS
from analysis.worklist.assess import Assessment
from dashboard.cli.tables import slope_words, start_words
from dashboard.words import fleet_words, reasons
from dashboard.words import list_row as wording
from dashboard.words.figures import beyond
from dashboard.words.finding_words import finding_sentence
from dashboard.words.limit_words import sentence as verdict_sentence
from dashboard.words.next_words import TESTS
from dashboard.words.plain_text import cold_words
from ingest.fields import OUTCOMES

DAY = pd.Timestamp("2022-12-12")
LIMITS = LimitBook().for_group("van", 12, "diesel", None)
PART = {
    "part": "ground_path", "level_mohm": 1.9, "usual_mohm": 0.55, "before_mohm": 0.6,
    "before_on": pd.Timestamp("2022-03-10"), "readings": 6,
}  # fmt: skip


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """A small fleet, assessed once."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(tables_of(fleet()), as_of=DAY)


def level(part: dict, drop_v: float | None = None, amps: float | None = None) -> str:
    """What is said of a part's level, with a drop last read."""
    latest = None if drop_v is None else {"drop_ground_v": {"drop_v": drop_v, "amps": amps}}
    return "; ".join(reasons.sentence(fact, DAY) for fact in reasons.level_facts(part, latest, LIMITS, DAY))


def test_a_level_reads_like_the_contract_s_example() -> None:
    """Worked by hand: 0.304 V at 160 A are 1.9 mΩ, the drop that was read stands beside the level that it makes."""
    said = level(PART, 0.304, 160.0)
    limit = LIMITS.ground_path_drop_v.value
    assert said == (
        f"ground path 1.90 mΩ at 20 °C (0.30 V at 160 A; limit {limit:.2f} V), was 0.60 mΩ in March 2022; class median 0.55 mΩ"
    )


def test_a_drop_that_does_not_make_the_level_is_said_not_to_fit() -> None:
    """Worked by hand: 0.05 V at 190 A are 0.26 mΩ, not 63.7; a level beside it would contradict it."""
    said = level(PART | {"level_mohm": 63.7}, 0.05, 190.0)
    assert said.startswith("ground path 63.7 mΩ at 20 °C, was")
    assert said.endswith(
        "ground path last read 0.05 V at 190 A; limit 0.20 V: that does not fit its other readings, measure it again"
    )
    assert "does not fit" not in level(PART | {"level_mohm": 0.05}, 0.0, 190.0), "nil on a shop meter fits a good part"


def test_a_level_that_grew_since_its_drop_was_read_is_not_said_to_contradict_it() -> None:
    """Worked by hand: 0.12 V at 190 A are 0.63 mΩ, as the part had then; 1.9 mΩ is what growth makes of it by now."""
    said = level(PART, 0.12, 190.0)
    assert said.endswith(
        "ground path last read 0.12 V at 190 A; limit 0.20 V: it may have grown since, measure it again"
    )
    assert "does not fit" in level(PART | {"before_mohm": 2.5}, 0.12, 190.0), "as it never was"
    assert "does not fit" in level(PART | {"level_mohm": 0.6, "before_mohm": 1.9}, 0.36, 190.0), "it never shrinks"


def test_a_part_renewed_lately_and_worn_again_is_said_to_have_been_renewed() -> None:
    """Worked by hand on 12 December: renewed on 4 November; on record, or found from its readings; over its limit, or worn; a year ago
    at the most; a starter's renewal is no engine's."""
    level = {"kind": "level", "part": "ground_path", "drop_v": 0.3, "limit_v": 0.2}
    part = PART | {"renewed_on": pd.Timestamp("2022-11-04"), "renewal_recorded": True, "worn_probability": 0.1}

    def said(level: dict = level, **new: object) -> list[str]:
        return [reasons.sentence(fact, DAY) for fact in reasons.again_facts(part | new, level, DAY)]

    end = "check that work and the part fitted before it is done once more"
    assert said() == [f"work on the ground path is on record on 4 November, and it is over its limit again: {end}"]
    found = (
        "the ground path looks renewed around 4 November, though no repair is on record, and it is over its limit again"
    )
    assert said(renewal_recorded=False) == [f"{found}: {end}"]
    sound = {"kind": "level", "part": "battery"}
    (worn,) = said(sound, worn_probability=0.9)
    assert worn.startswith("work on the battery is on record on 4 November, and it is worn again: ")
    year, contacts = DAY - pd.Timedelta(days=365), level | {"part": "solenoid_contacts"}
    assert "on 12 December 2021, and they are over their limit again" in said(contacts, renewed_on=year)[0]
    for new in ({"renewed_on": year - pd.Timedelta(days=1)}, {"renewed_on": pd.NaT}, {"part": "engine_drag"}):
        assert said(**new) == []
    assert said(sound) == []
    unit = {"status": "judged", "flagged": True, "part": "ground_path"}
    again = reasons.again_facts(part, level, DAY)
    assert wording.action(unit, None, [level, *again]).endswith(
        "in order, clean and tighten the ground strap's ends; replace the strap if the drop stays"
    )
    assert wording.action(unit | {"part": "battery"}, None, [level, *again]).startswith("Charge and test the battery; ")


def test_a_level_is_not_said_to_have_been_what_it_is() -> None:
    assert ", was " not in level(PART | {"before_mohm": 1.901})
    assert ", was 1.80 mΩ in March 2022" in level(PART | {"before_mohm": 1.8})


def test_a_value_and_its_limit_never_look_alike() -> None:
    """Worked by hand: 0.204 V beside 0.200 V is said with three decimals; 0.304 V beside 0.2 V with two."""
    assert "0.204 V at 160 A; limit 0.200 V" in level(PART | {"level_mohm": 1.275}, 0.204, 160.0)
    assert beyond(0.204, 0.2, "V") == "0.204 V, above 0.200 V"
    assert beyond(0.304, 0.2, "V") == "above 0.20 V"
    assert beyond(11.997, 12.0, "V") == "11.997 V, below 12.000 V"
    judged = {"check": "drop_ground_v", "value": 0.2, "value_unit": "V", "verdict": "act", "limit": 0.1996, "margin": -0.0004,
              "source": "x", "printed": 0.1996, "usual_a": float("nan"), "temperature_c": float("nan")}  # fmt: skip
    assert "Ground drop 0.2000 V: act, 0.0004 V outside" in verdict_sentence(judged)
    found = finding_sentence(locate_segment({"drop_ground_v": 0.203})[0])
    assert "0.203 V, above 0.200 V" in found


def test_a_range_off_the_scale_is_said_once() -> None:
    """ "80 % sure: below −44 °C to below −44 °C" says nothing twice."""
    row = {"coldest_start_c": -45.0, "coldest_start_low_c": -45.0, "coldest_start_high_c": -44.2}
    assert start_words(row) == "below −44 °C"
    assert reasons.cold_span(-45.0, -44.2) == "below −44 °C"


def test_every_outcome_of_a_start_has_its_words_and_the_decision_table_knows_it() -> None:
    """One vocabulary: what a file may hold, what is shown, and what the segments are located by."""
    assert tuple(reasons.OUTCOME_WORDS) == OUTCOMES == segments.OUTCOMES


def test_what_is_not_known_is_not_said() -> None:
    """No drop without a reading of it, no amps without amps, no past without a past."""
    nan = float("nan")
    assert "(" not in level(PART)
    assert "(" not in level(PART, nan, nan)
    assert "(0.30 V; limit" in level(PART, 0.3, nan)
    for new in ({"readings": 1}, {"before_on": DAY - pd.Timedelta(days=3)}, {"before_on": pd.NaT}):
        assert "was" not in level(PART | new)


def test_months_carry_the_year_when_it_is_another() -> None:
    """Worked by hand."""
    assert reasons.month_words(DAY - pd.Timedelta(days=150), DAY) == f"in {DAY - pd.Timedelta(days=150):%B}"
    assert reasons.month_words(pd.Timestamp("2022-03-10"), DAY) == "in March 2022", (
        "the vehicle may not have been read since"
    )
    assert reasons.month_words(pd.Timestamp("2021-11-30"), DAY) == "in November 2021"


@pytest.mark.parametrize(
    ("value", "said"), [(0.554, "0.55 mΩ"), (-0.5, "-0.50 mΩ"), (3.04, "3.0 mΩ"), (22.31, "22.3 mΩ"), (104.6, "105 mΩ")]
)
def test_values_have_the_digits_a_technician_needs(value: float, said: str) -> None:
    """Our choice: three figures at most."""
    assert reasons.plain(value, "mΩ") == said


@pytest.mark.parametrize(
    ("celsius", "said"), [(-12.4, "−12 °C"), (0.2, "0 °C"), (-0.2, "0 °C"), (7.6, "8 °C"), (-44.0, "below −44 °C"), (-46.0, "below −44 °C"),
     (41.9, "above 30 °C")]
)  # fmt: skip
def test_coldest_starts_in_words(celsius: float, said: str) -> None:
    """A real minus sign; what was not worked out is said to be below."""
    assert cold_words(celsius) == said


def gain(part: str, renewed_c: float, now_c: float, limit: str = "speed") -> str:
    """What is said of a renewal."""
    suspect = {"renewed_coldest_start_c": renewed_c}
    found = reasons.renewed_facts(suspect, {"part": part, "coldest_start_c": now_c, "limited_by": limit})
    return "; ".join(reasons.sentence(fact, DAY) for fact in found)


def test_what_a_renewal_gains_is_said_as_far_as_it_is_known() -> None:
    """Worked by hand: 0.4 K is hardly anything; 12 K is 12; off the scale there is more; from off the scale nothing is
    said, because nothing is known; drag is removed, not renewed."""
    assert "hardly any colder: another part limits it too" in gain("battery", -20.4, -20.0)
    assert "hardly any colder: its oil limits it too" in gain("battery", -20.4, -20.0, "oil")
    assert gain("battery", -32.0, -20.0) == "with the battery renewed it starts about 12 degrees colder, down to −32 °C"
    # shown are −9 and −16: who takes one from the other gets 7, though 7.8 K are gained
    assert gain("battery", -16.4, -8.6) == "with the battery renewed it starts about 7 degrees colder, down to −16 °C"
    assert gain("engine_drag", -32.0, -20.0).startswith("with the drag removed")
    assert gain("battery", -60.0, -20.0).endswith("more than 24 degrees colder, even below −44 °C")
    assert gain("battery", -60.0, -50.0) == ""
    assert gain("battery", -60.0, -43.9) == "with the battery renewed it starts even below −44 °C", (
        "16 K are not hardly any"
    )
    assert gain("battery", 44.0, 45.0) == ""
    assert "about 1 degree colder" in gain("battery", -21.2, -20.0)


def test_every_part_has_its_words() -> None:
    """No part without a name, a measure and a thing to do."""
    for words in (reasons.PART_WORDS, reasons.MEASURES, wording.CHEAP_FIRST):
        assert set(words) == set(PARTS)
        assert "_" not in "".join(words.values())


def test_latest_readings_are_the_last_known_before_the_day() -> None:
    """Worked by hand: gaps look further back, the day itself and later do not count."""
    readings = pd.DataFrame(
        {
            "unit": "A", "taken_at": pd.to_datetime(["2022-11-01", "2022-12-01", "2022-12-12T07:00"], format="ISO8601"),
            "drop_ground_v": [0.2, float("nan"), 0.9], "crank_a": [150.0, 160.0, 170.0],
        }
    )  # fmt: skip
    latest = reasons.latest_drops(readings, DAY)
    assert latest == {"A": {"drop_ground_v": {"drop_v": 0.2, "amps": 150.0}}}, "amps of the same reading"
    assert reasons.latest_drops(readings.iloc[:0], DAY) == {}


def test_drops_over_their_limits_are_seen_to_in_the_same_visit() -> None:
    """Common practice: who renews the battery cleans the ends that lose twice their limit as well; a drop within it is left."""
    unit = {"status": "judged", "flagged": True, "part": "battery"}
    drop = {"kind": "level", "limit_v": 0.2}
    battery, ground = {"kind": "level", "part": "battery"}, drop | {"part": "ground_path", "drop_v": 0.40}
    assert wording.action(unit, None, [battery, ground]).endswith(
        "stays high. In the same visit see to the ground path, whose drop is over its limit"
    )
    cable, contacts = (
        drop | {"part": "positive_cable", "drop_v": 0.39},
        drop | {"part": "solenoid_contacts", "drop_v": 0.2},
    )
    assert "see to the positive cable and the ground path, whose drops are" in wording.action(
        unit, None, [battery, cable, ground, contacts]
    )
    assert wording.action(unit, None, [battery, contacts]) == wording.CHEAP_FIRST["battery"]
    assert wording.action(unit, "the ground path", [battery, ground]) == "measure again first"
    sound = unit | {"flagged": False}
    assert (
        wording.action(sound, None, [ground])
        == "at the next service see to the ground path, whose drop is over its limit"
    )
    assert wording.action(sound, None, [contacts]) == "nothing now"


def test_what_is_measured_first_is_named_where_one_line_is_left() -> None:
    """A card, the list on paper and its workbook have one line: "measure again first" alone does not say what."""
    row = {"action": "measure again first", "next_test": TESTS["cranking_speed"], "flagged": True}
    said = wording.to_do(row)
    assert said.startswith("measure first: ")
    assert said.removeprefix("measure first: ")[1:] in str(row["next_test"])
    assert "\n" not in said
    assert ":" not in said.removeprefix("measure first: ")
    assert wording.to_do(row | {"next_test": None}) == "measure again first"
    assert wording.to_do(row | {"flagged": False, "action": "nothing now"}) == "nothing now"


def test_a_failed_start_of_unknown_kind_says_how_one_that_lacked_fuel_is_put_right() -> None:
    """Definition: a start whose engine turned is no failure of the starting circuit; where the kind was told, nobody is asked."""
    fact = {"kind": "failed", "failed_starts": 1, "failed_on": "2026-10-14", "failed_at_c": 7.0}
    said = {
        kind: reasons.sentence(fact | {"failure": kind}, pd.Timestamp("2026-11-30"))
        for kind in ("no_start", "click", "spins")
    }
    assert said["no_start"].endswith(
        "; if fuel or ignition was missing, put its outcome right: cranks well, does not start"
    )
    assert not any("fuel" in said[kind] for kind in ("click", "spins"))


def test_what_is_looked_at_where_readings_explain_no_failure_follows_from_how_it_failed() -> None:
    """Common practice: a starter that runs without the engine is looked at where it meets the engine, all else is measured."""
    unit = {"unit": "A", "status": "judged", "failed_starts": 1, "failure_unexplained": 0.9, "failure": "spins"}
    assert wording.next_tests([unit], {"A": []}) == {"A": wording.PINION}
    assert wording.next_tests([unit | {"failure": "click"}], {"A": []}) == {"A": wording.WHILE_IT_FAILS}


def test_a_battery_known_by_volts_alone_is_told_from_many_amps_before_any_cable_is_measured() -> None:
    """Ohm's law: volts that sag are a weak battery or more amps, and no drop of a cable tells these apart."""
    unit = {
        "unit": "A", "status": "judged", "flagged": True, "part": "battery", "flag_probability": 0.5, "vehicle_class": "van",
        "system_v": 12, "repaired_probability": 0.0, "failed_starts": 0, "failure": "", "failure_unexplained": 0.0,
    }  # fmt: skip

    def parts(amps: int) -> list[dict]:
        share = {"battery": 0.8, "ground_path": 0.15}
        read = {"battery": 9, "engine_drag": amps}
        own = {"part_probability": 0.0, "worn_probability": 0.0, "last_slip": 0.0}
        return [
            own | {"part": part, "readings": read.get(part, 0), "part_probability": share.get(part, 0.01), "worn_probability": share.get(part, 0.0)}
            for part in PARTS
        ]  # fmt: skip

    known = {"A": frozenset({"battery_load_test", "repeat", "rest_v_after_two_hours"})}
    asked = wording.next_tests([unit], {"A": parts(0)}, made=known)["A"]
    assert asked == wording.AMPS_OF_A_START
    assert wording.next_tests([unit], {"A": parts(9)}, made=known)["A"] != asked
    assert wording.next_tests([unit], {"A": parts(9)}, made=known)["A"] == TESTS["ground_joints"]


def suspects(*rows: tuple[str, float, float]) -> list[dict]:
    return [{"part": part, "part_probability": share, "worn_probability": worn} for part, share, worn in rows]


def test_suspects_nearly_alike_are_said_not_to_be_told_apart() -> None:
    """Worked by hand: 0.28 is more than 0.6 of 0.44; a suspect with 0.7 stands alone, whoever comes second."""
    rows = suspects(("battery", 0.28, 0.2), ("starter_motor", 0.44, 0.5), ("ground_path", 0.1, 0.1))
    found = reasons.not_told_apart(rows)
    assert [p["part"] for p in found] == ["starter_motor", "battery"]
    sentence = reasons.sentence(reasons.rivals_fact(found, 7), DAY)
    assert "(44 %) and battery (28 %) cannot be told apart by its 7 readings" in sentence
    assert len(reasons.not_told_apart(suspects(("battery", 0.29, 0.2), ("starter_motor", 0.7, 0.5)))) == 1
    assert reasons.not_told_apart([]) == []


def test_two_parts_worn_at_once_are_said_to_be() -> None:
    """Both more probably worn than not: either may stop the vehicle, and nothing is left to be told apart."""
    rows = suspects(("battery", 0.45, 0.95), ("positive_cable", 0.5, 0.9))
    said = reasons.sentence(reasons.rivals_fact(reasons.not_told_apart(rows), 7), DAY)
    assert "are worn at the same time, by 7 readings" in said


# --- on an assessed fleet --------------------------------------------------------------------------------------------


def row_of(assessed: Assessment, unit: dict) -> dict:
    parts = assessed.parts[assessed.parts["unit"] == unit["unit"]]
    asked = unit["flagged"] or unit["status"] != "judged"
    following = wording.next_tests([unit], {unit["unit"]: parts})[unit["unit"]] if asked else None
    return wording.list_row(unit, parts, None, assessed, following=following)


def test_a_drop_over_its_limit_is_named_however_many_parts_are_worse(assessed: Assessment) -> None:
    """Four worn parts: the fourth loses 0.48 V of at most 0.30 V, which whoever is at the vehicle anyway sees to; within its limit
    it is left to the three that matter more."""
    unit = next(u for u in assessed.units.to_dict("records") if u["flagged"] and u["system_v"] == 12)
    drops = {"positive_cable": 0.39, "ground_path": 0.40, "solenoid_contacts": 0.48}
    parts = [
        p | {"worn_probability": 1.0, "part_probability": {"battery": 0.9, "positive_cable": 0.05, "ground_path": 0.04}.get(p["part"], 0.001),
             "readings": 9, "level_mohm": 1e3 * drops.get(p["part"], 1.2) / 220.0}
        if p["part"] in ("battery", *drops) else p | {"worn_probability": 0.0, "part_probability": 0.0}
        for p in assessed.parts[assessed.parts["unit"] == unit["unit"]].to_dict("records")
    ]  # fmt: skip
    unit |= {"part": "battery", "part_probability": 0.9, "failed_starts": 0}

    def row(contacts_v: float) -> dict:
        latest = {
            reasons.DROP_COLUMN[part][0]: {"drop_v": volts, "amps": 220.0}
            for part, volts in (drops | {"solenoid_contacts": contacts_v}).items()
        }
        return wording.list_row(unit, parts, latest, assessed)

    assert row(0.48)["action"].endswith(
        "see to the positive cable, the ground path and the solenoid contacts, whose drops are over their limits"
    )
    assert any("0.48 V at 220 A; limit 0.30 V" in reason for reason in row(0.48)["reasons"])
    assert row(0.29)["action"].endswith(
        "see to the positive cable and the ground path, whose drops are over their limits"
    )


def test_a_sudden_drop_over_its_limit_is_said_and_measured_again_first(assessed: Assessment) -> None:
    """Worked by hand: 0.90 V at 205 A are 4.4 mOhm, nine times what the ground path's other readings make it: a slip, or a strap that
    has come loose. Whoever changes the battery without measuring it again may change the wrong part."""
    limits = LimitBook().for_group("van", 12)
    ground = {"part": "ground_path", "readings": 11, "level_mohm": 0.48}
    sudden, usual = ({"drop_ground_v": {"drop_v": volts, "amps": 205.0}} for volts in (0.90, 0.10))
    assert reasons.denied([ground], sudden, limits) == [ground]
    assert reasons.denied([ground], usual, limits) == []
    assert reasons.denied([ground | {"level_mohm": 4.5}], sudden, limits) == [], "its other readings say the same"
    unit = next(u for u in assessed.units.to_dict("records") if u["flagged"] and u["system_v"] == 12)
    parts = [
        p | ({"readings": 11, "level_mohm": 0.48, "worn_probability": 0.01, "part_probability": 0.0} if p["part"] == "ground_path" else {})
        for p in assessed.parts[assessed.parts["unit"] == unit["unit"]].to_dict("records")
    ]  # fmt: skip
    unit |= {"part": "battery", "failed_starts": 0, "repaired_probability": 0.0}
    asked = wording.next_tests([unit], {unit["unit"]: parts}, denied={unit["unit"]: "ground_path"})[unit["unit"]]
    assert asked == wording.DROP_AGAIN.format(part="ground path")
    row = wording.list_row(unit, parts, sudden, assessed, following=asked)
    said = [r for r in row["reasons"] if r.startswith("ground path last read 0.90 V at 205 A; limit 0.20 V")]
    assert said == [
        "ground path last read 0.90 V at 205 A; limit 0.20 V: that does not fit its other readings, measure it again"
    ]
    assert row["action"] == "measure again first"
    assert "Disable fuel or ignition" in row["caution"]
    left = wording.list_row(unit | {"flagged": False}, parts, sudden, assessed)
    assert (
        "at the next service measure the drop of the ground path again" in left["action"] or "see to" in left["action"]
    )


def test_every_reason_has_a_value_with_its_unit(assessed: Assessment) -> None:
    """Contract: reasons are sentences with value, limit and unit."""
    for unit in assessed.units.to_dict("records"):
        row = row_of(assessed, unit)
        assert row["reasons"]
        for sentence in row["reasons"]:
            assert re.search(r"\d.*(mΩ|°C|A\b|degrees|V\b|%|reading)", sentence) or "hardly any colder" in sentence
            assert "nan" not in sentence
            assert "_" not in sentence


def test_what_to_do_follows_from_flag_and_status(assessed: Assessment) -> None:
    """Definition: nothing for the healthy, readings for the unknown, a measurement first or an action for the flagged."""
    for unit in assessed.units.to_dict("records"):
        row = row_of(assessed, unit)
        if unit["flagged"]:
            assert row["action"] == ("measure again first" if row["next_test"] else wording.CHEAP_FIRST[row["part"]])
        else:
            over = [f for f in row["evidence"] if f["kind"] == "level" and f.get("drop_v", 0.0) > f.get("limit_v", 0.0)]
            assert row["action"].startswith("at the next service see to" if over else "nothing now")
        new = {"status": "too few readings", "flagged": False, "readings": 1, "readings_on_record": 1}
        few = row_of(assessed, unit | new)
        assert few["reasons"] == ["1 reading so far: too few to judge, not known to be healthy"]
        held = row_of(assessed, unit | new | {"readings": 0, "readings_on_record": 20})
        assert held["reasons"][0].startswith("20 readings on record, none of them holds enough to judge a part by")
        assert few["action"] == "take readings at the next service"
        assert few["next_test"]


def test_the_suspect_part_is_spoken_of_first(assessed: Assessment) -> None:
    """Property: of a flagged vehicle's reasons the first names the part that the row names."""
    flagged = [u for u in assessed.units.to_dict("records") if u["flagged"]]
    assert flagged
    for unit in flagged:
        row = row_of(assessed, unit)
        measured = assessed.parts[(assessed.parts["unit"] == unit["unit"]) & (assessed.parts["part"] == row["part"])]
        never = f"{reasons.PART_WORDS[row['part']]} ("
        said = reasons.MEASURES[row["part"]] if measured["readings"].iloc[0] else never
        assert row["reasons"][0].startswith(said)


def test_missing_dates_and_depots_are_null(assessed: Assessment) -> None:
    """Contract: null where there is none."""
    unit = assessed.units.iloc[0].to_dict() | {"depot": None, "act_by": pd.NaT, "last_reading_on": pd.NaT}
    row = row_of(assessed, unit)
    assert row["depot"] is None
    assert row["act_by"] is None
    assert row["last_reading_on"] is None
    assert wording.iso_day(pd.Timestamp("2022-02-03")) == "2022-02-03"


def next_test(
    unit: dict, parts: list[dict], costs: PlanSettings | None = None, made: frozenset[str] = frozenset()
) -> str | None:
    """Of one vehicle alone."""
    return wording.next_tests([{"unit": "A", **unit}], {"A": parts}, costs, {"A": made})["A"]


def test_what_to_measure_next_depends_on_what_a_no_start_costs() -> None:
    """A measurement is worth its minutes only where the wrong act would cost more: free no-starts need none."""
    unit = {
        "status": "judged", "flagged": True, "part": "starter_motor", "flag_probability": 0.5, "vehicle_class": "van",
        "system_v": 12, "repaired_probability": 0.0, "failed_starts": 0, "failure_unexplained": 0.0,
    }  # fmt: skip
    parts = [
        {"part": "starter_motor", "part_probability": 0.5, "worn_probability": 0.5, "readings": 5, "last_slip": 0.0},
        {"part": "battery", "part_probability": 0.5, "worn_probability": 0.5, "readings": 5, "last_slip": 0.0},
    ]
    dear = PlanSettings(no_start={**DEFAULT_NO_START, "van": NoStartCost(500.0, 500.0, 5000.0)})
    free = PlanSettings(
        hour_rate=0.0, part_price=dict.fromkeys(PlanSettings().part_price, 0.0),
        no_start={**DEFAULT_NO_START, "van": NoStartCost(0.0, 0.0, 0.0)},
    )  # fmt: skip
    assert next_test(unit, parts, dear) is not None
    assert next_test(unit, parts, free) is None
    perhaps = {**unit, "repaired_probability": 0.6}
    assert "repair that nobody recorded" in str(next_test(perhaps, parts, free))


def test_the_list_does_not_ask_for_what_the_latest_readings_hold() -> None:
    """Whatever is asked for is not asked for again once it was made; a slip measured twice is none."""
    unit = {
        "status": "judged", "flagged": True, "part": "starter_motor", "flag_probability": 0.5, "vehicle_class": "van",
        "system_v": 12, "repaired_probability": 0.0, "failed_starts": 0, "failure_unexplained": 0.0,
    }  # fmt: skip
    parts = [
        {"part": "starter_motor", "part_probability": 0.9, "worn_probability": 0.9, "readings": 5, "last_slip": 0.6}
    ]
    said = str(next_test(unit, parts))
    assert said.startswith("Repeat the last reading")
    made: frozenset[str] = frozenset()
    while said != "None":
        made |= {name for name, sentence in TESTS.items() if sentence == said}
        following = str(next_test(unit, parts, None, made))
        assert following not in {TESTS[name] for name in made}
        said = following
    assert "repeat" in made


def test_every_temperature_is_turned_once(assessed: Assessment) -> None:
    """Property: in °F a reason says what its own figure says, never the turned whole degree of °C.

    Worked by hand: −12.4 °C is 9.7 °F, so 10 °F; −12 °C would be 10.4 °F, so 10 °F; −11.6 °C is 11.1 °F, −12 °C is not.
    """
    fact = {
        "kind": "cold", "coldest_start_c": -11.6, "coldest_start_low_c": -20.4, "coldest_start_high_c": -4.6,
        "limited_by": "speed",
    }  # fmt: skip
    said = reasons.sentence(fact, DAY, fahrenheit=True)
    assert said == "starts down to 11 °F (80 % sure: −5 °F to 24 °F); cranking speed runs out first"
    renewed = {"kind": "renewed", "part": "battery", "renewed_coldest_start_c": -32.4, "colder_k": 12.4}
    assert reasons.sentence(renewed, DAY, fahrenheit=True) == (
        "with the battery renewed it starts about 22 degrees colder, down to −26 °F"
    )
    assert (
        reasons.sentence(renewed, DAY) == "with the battery renewed it starts about 12 degrees colder, down to −32 °C"
    )
    for unit in assessed.units.to_dict("records"):
        row = row_of(assessed, unit)
        read = reasons.read_reasons(row, DAY, fahrenheit=True)
        assert "°C" not in " ".join(read)
        cold = reasons.Reader(DAY, fahrenheit=True).down_to(row["coldest_start_c"])
        assert not any("80 % sure: " in text for text in read) or f"starts {cold}" in " ".join(read)
        assert reasons.read_reasons(row, DAY, fahrenheit=False) == row["reasons"]


HEATERS: list[tuple[str, float, list[str], list[str]]] = [
    (
        "block_heater", -10.0,
        ["with its block heater on below −10 °C the engine is taken to be 15 degrees warmer than the air"],
        ["with its block heater on below 14 °F the engine is taken to be 27 degrees warmer than the air"],
    ),
    ("block_heater", np.nan, *[["nobody said below what its block heater is plugged in: it counts as off"]] * 2),
    ("intake_heater", -10.0, [], []),
]  # fmt: skip


def test_what_is_assumed_of_a_block_heater_is_said_where_its_coldest_start_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """After the coldest start, on screen, paper and command line alike, because all of them show a row's reasons; each third vehicle
    has another heater."""
    tables = tables_of(fleet())
    of = [HEATERS[k % len(HEATERS)] for k in range(len(tables.units))]
    aided = tables.units.assign(starting_aid=[aid for aid, *_ in of], aid_below_c=[below_c for _, below_c, *_ in of])
    quick(monkeypatch)
    found = samples_kept.assess(replace(tables, units=aided), as_of=DAY)
    judged = found.units[(found.units["status"] == "judged") & (found.units["failed_starts"] == 0)]
    says = dict(zip(tables.units["unit"], of, strict=True))
    assert len({id(says[unit]) for unit in judged["unit"]}) == len(HEATERS), "some of each"
    for unit in judged.to_dict("records"):
        row, (*_, celsius, fahrenheit) = row_of(found, unit), says[unit["unit"]]
        for in_f, said in ((False, celsius), (True, fahrenheit)):
            read = reasons.read_reasons(row, DAY, fahrenheit=in_f)
            at = next(k for k, text in enumerate(read) if "80 % sure: " in text)
            assert read[at + 1 : at + 1 + len(said)] == said
            assert [text for text in read if "heater" in text] == said


def test_old_lists_have_their_sentences_only() -> None:
    """A list from before figures were kept beside its sentences."""
    row = {"reasons": ["starts down to −10 °C; cranking speed runs out first"]}
    assert reasons.read_reasons(row, DAY, fahrenheit=True) == ["starts down to 14 °F; cranking speed runs out first"]


def test_off_the_scale_is_said_in_plain_words() -> None:
    """Worked by hand: the scale of coldest starts ends at −44 and +30 °C; nobody says "down to below"."""
    fact = {
        "kind": "cold", "coldest_start_c": -45.0, "coldest_start_low_c": -45.0, "coldest_start_high_c": -37.0,
        "limited_by": "speed",
    }  # fmt: skip
    assert reasons.sentence(fact, DAY).startswith("starts even below −44 °C (80 % sure: below −44 °C to −37 °C)")
    assert reasons.sentence(fact | {"coldest_start_c": 35.0}, DAY).startswith("starts only above 30 °C")
    assert reasons.sentence(fact | {"coldest_start_c": -18.2}, DAY).startswith("starts down to −18 °C")


def test_no_reason_is_as_good_as_certain() -> None:
    """A share said in a reason is the one of the column "sure": over 99 %, never 100 % (99.7 % rounds to it)."""
    part = {"part": "starter_motor", "part_probability": 0.997, "readings": 4, "all_worn": False, "on": "2022-11-01"}
    other = {"part": "battery", "part_probability": 0.003}
    for fact in (
        {"kind": "never_measured", **part},
        {"kind": "rivals", **part, "parts": [part, other]},
        {"kind": "looked", **part, "sound_probability": 0.997},
        {"kind": "perhaps_repaired", **part, "repaired_probability": 0.997},
    ):
        said = reasons.sentence(fact, DAY)
        assert "over 99 %" in said
        assert not re.search(r"\b(100|0) %", said)


def test_what_rounds_to_nothing_has_no_sign() -> None:
    assert reasons.plain(-0.004, "mΩ") == "0.00 mΩ"
    assert reasons.plain(-0.006, "mΩ") == "-0.01 mΩ"


def test_a_low_at_which_no_vehicle_may_fail_is_said_in_words() -> None:
    assert fleet_words.at_a_low("−4 °C", [], of=52, possible=0) == (
        "at **−4 °C**, **none of 52 vehicles** likely or possibly fails to start."
    )
    assert "**none of 52 vehicles** likely fails to start; possibly 3 in all." in fleet_words.at_a_low(
        "−4 °C", [], of=52, possible=3
    )
    assert fleet_words.on_the_coldest(1, of=1, possible=1).endswith(
        "**1 of 1 vehicle** likely fails to start, possibly 1 in all."
    )


def test_a_slope_s_interval_has_the_digits_that_tell_its_ends_apart() -> None:
    """Definition: a range whose ends are printed alike says nothing."""
    assert slope_words((0.0118, 0.0061, 0.0142)) == "0.012 (0.006 to 0.014)"
    assert slope_words((0.02, -0.08, 0.09)) == "0.02 (−0.08 to 0.09)"
    assert slope_words((0.0, 0.0, 0.0)) == "0.0000 (0.0000 to 0.0000)"
