"""What is known of a vehicle's batteries, oil and heaters, and the rarer measurements of the solenoid.

Truth: rows written here; SAE J300 for what an oil grade may be.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_ingest import NOW, UNITS, reasons
from sqlite_utils import Database

from ingest import store
from ingest.entries import check_reading
from ingest.importer import import_paths
from ingest.vocabulary import READING_WORDS, UNIT_WORDS, meaning

NEW = ("battery_type", "batteries", "in_parallel", "oil_grade", "starting_aid", "fuel_limit_c")
HEADING = UNITS.splitlines()[0] + "," + ",".join(NEW)


def vehicles(tmp_path: Path, db: Database, *ends: str) -> list[str]:
    """Import K-102 again, once for each of `ends`; the reasons of rows set aside."""
    first = next(line for line in UNITS.splitlines() if line.startswith("K-102"))
    file = tmp_path / "again.csv"
    file.write_text("\n".join([HEADING, *(f"{first},{end}" for end in ends)]) + "\n")
    import_paths(db, [file], now=NOW)
    return reasons(db)


def known(db: Database) -> list[object]:
    """What is stored of K-102."""
    row = store.read_units(db).set_index("unit").loc["K-102"]
    return [row[name] for name in NEW]


def test_a_vehicle_that_gave_none_of_it_has_none(db: Database) -> None:
    assert [str(value) for value in known(db)] == ["", "nan", "", "", "", "nan"]


def test_a_newer_file_says_what_was_not_known_of_a_vehicle(db: Database, tmp_path: Path) -> None:
    assert vehicles(tmp_path, db, "agm,2,Yes,15w40,Intake heater,-12") == []
    assert known(db) == ["AGM", 2.0, "yes", "15W-40", "intake_heater", -12.0]
    assert store.read_units(db)["system_v"].tolist() == [12, 12, 24]


def test_what_is_known_already_is_not_changed_by_a_file(db: Database, tmp_path: Path) -> None:
    (reason,) = vehicles(tmp_path, db, "flooded,,,5W-30,none,", "flooded,,,10W-30,none,")
    assert "oil_grade 10W-30, stored is 5W-30" in reason
    assert known(db)[:5] == ["flooded", pytest.approx(float("nan"), nan_ok=True), "", "5W-30", "none"]


def test_a_file_that_tells_something_new_changes_nothing_that_is_known(db: Database, tmp_path: Path) -> None:
    """A row that has another oil than the stored one is asked about whole, though the number of batteries in it is new."""
    (reason,) = vehicles(tmp_path, db, "flooded,,,5W-30,none,", "flooded,2,,10W-30,none,")
    assert "oil_grade 10W-30, stored is 5W-30" in reason
    assert known(db)[:5] == ["flooded", pytest.approx(float("nan"), nan_ok=True), "", "5W-30", "none"]


def test_a_vehicle_is_taken_in_the_words_of_the_trade(db: Database, tmp_path: Path) -> None:
    """From memory: a flooded battery is called wet, and diesels have glow plugs, whose amps `aid_load_a` holds."""
    assert vehicles(tmp_path, db, "Wet,,,,Glow plugs,") == []
    assert (known(db)[0], known(db)[4]) == ("flooded", "intake_heater")


@pytest.mark.parametrize(
    ("end", "said"),
    [
        ("lithium,,,,,", "allowed is flooded, EFB, AGM"),
        (",,,15W-41,,", "allowed is an SAE J300 grade as 15W-40"),
        (",0,,,,", "batteries is 0; allowed is 1 to 12"),
        (",1.5,,,,", "batteries is 1.5; allowed is 1 to 12"),
        (",,,,ether,", "allowed is none, intake_heater, block_heater"),
        (",,,,,-70", "fuel_limit_c is -70; allowed is -60 to 20"),
    ],
)
def test_what_cannot_be_is_set_aside_with_what_may_stand_there(
    db: Database, tmp_path: Path, end: str, said: str
) -> None:
    (reason,) = vehicles(tmp_path, db, end)
    assert said in reason


def test_the_rarer_measurements_are_read_and_compared(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "windings.csv"
    file.write_text(
        "unit,taken_at,rest_v,crank_min_v,crank_dip_v,feed_mv,tester_load_ohm,pull_in_ma\n"
        "K-101,2024-03-01T08:00,12.6,11.4,9.8,12500,2.4,81000\n"
        "K-101,2024-03-02T08:00,12.6,9.8,11.4,12500,2.4,81000\n"
    )
    import_paths(db, [file], now=NOW)
    (row,) = store.read_readings(db).to_dict("records")
    assert [row[n] for n in ("crank_dip_v", "feed_v", "tester_load_ohm", "pull_in_a")] == [9.8, 12.5, 2.4, 81.0]
    assert "the dip (crank_dip_v) 11.4 V is above the lowest cranking volts" in reasons(db)[0]


def test_the_tester_alone_is_no_reading(db: Database) -> None:
    entry = check_reading(db, {"unit": "K-101", "tester_load_ohm": "2.4"}, now=NOW)
    assert any("no measurement at all" in problem for problem in entry.problems)


def test_headings_of_other_files_are_understood() -> None:
    """The words of a workshop's own headings, in a draft of a description."""
    found = {h: meaning(h, UNIT_WORDS) for h in ("Battery type", "Engine oil", "Number of batteries", "Block heater")}
    assert {h: w.column for h, w in found.items() if w} == {
        "Battery type": "battery_type", "Engine oil": "oil_grade", "Number of batteries": "batteries",
        "Block heater": "starting_aid",
    }  # fmt: skip
    read = {h: meaning(h, READING_WORDS) for h in ("Pull-in A", "Hold-in A", "Dip V", "Tester load ohm")}
    assert {h: w.column for h, w in read.items() if w} == {
        "Pull-in A": "pull_in_a", "Hold-in A": "coil_a", "Dip V": "crank_dip_v", "Tester load ohm": "tester_load_ohm",
    }  # fmt: skip
