"""Plausibility is physics: Kirchhoff's voltage law over the starting circuit, the sign of currents, the season."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_ingest import NOW, UNITS, reading, readings_file, reasons
from sqlite_utils import Database

from ingest.importer import import_paths
from ingest.store import open_database, read_readings


def why(db: Database, tmp_path: Path, **changes: object) -> str:
    """Import one changed line and return the reason it was set aside for ('' when stored)."""
    outcome = import_paths(db, [readings_file(tmp_path, reading(**changes))], now=NOW)
    assert outcome.rows == outcome.stored + outcome.known + outcome.set_aside == 1
    return reasons(db)[-1] if outcome.set_aside else ""


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unit": "K-999"}, ("unit 'K-999' is unknown", "3 vehicles")),
        ({"unit": ""}, ("unit is empty",)),
        ({"taken_at": "2222-01-01T08:00"}, ("in the future", "2024-06-01")),
        ({"taken_at": "31/31/2022"}, ("taken_at", "31/31/2022", "2026-01-31")),
        ({"taken_at": ""}, ("taken_at is empty",)),
        ({"crank_min_v": "abc"}, ("crank_min_v", "'abc'", "number in V")),
        ({"crank_a": "=1+1"}, ("crank_a", "'=1+1'")),
        ({"drop_ground_v": 68}, ("68 V", "millivolts? 0.068 would fit")),
        ({"rest_v": 27.9}, ("27.9 V", "a system of twice the volts, or a meter set to AC?")),
        ({"crank_min_v": 1140}, ("1140 V", "12 V system", "decimal point misplaced", "11.4")),
        ({"drop_ground_v": 90}, ("drop_ground_v is 90 V", "16 V")),
        ({"crank_a": -170}, ("negative amps", "wrong way round")),
        ({"rest_v": 10.9, "crank_min_v": 12.4}, ("crank_min_v", "12.4", "10.9", "swapped")),
        ({"crank_min_v": 12.8}, ("crank_min_v", "12.8", "12.66", "swapped")),
        ({"drop_positive_v": 11.5}, ("more than the battery voltage", "11.4")),
        ({"drop_positive_v": 6, "drop_ground_v": 6}, ("sum to 12 V", "11.4")),
        ({"drop_positive_v": 13, "crank_min_v": ""}, ("more than the battery voltage", "12.66")),
        ({"drop_positive_v": "9" * 308, "drop_ground_v": "9" * 308}, ("drop_positive_v", "drop_ground_v", "16 V")),
        ({"peak_a": 157}, ("peak_a", "below the steady", "157", "170")),
        ({"peak_a": 100}, ("peak_a", "below the steady", "100", "170")),
        ({"temperature_c": 400}, ("400 °C",)),
        ({"temperature_c": 54}, ("Fahrenheit in a Celsius column?", "12.2 °C")),
        ({"temperature_c": -45}, ("-45 °C", "depot and month")),
        ({"rest_v": "12 A"}, ("another unit",)),
    ],
)
def test_set_aside_with_value_column_and_what_is_allowed(
    db: Database, tmp_path: Path, changes: dict[str, object], words: tuple[str, ...]
) -> None:
    reason = why(db, tmp_path, **changes)
    assert reason
    assert "\n" not in reason
    for word in words:
        assert word in reason


def test_a_number_that_is_as_near_to_several_vehicles_is_not_guessed(db: Database, tmp_path: Path) -> None:
    """K-109 is one digit away from K-101 and K-102 alike; "K 0101" is K-101 with a nought too many."""
    assert "is it" not in why(db, tmp_path, unit="K-109")
    assert "is it K-101?" in why(db, tmp_path, unit="K 0101")


@pytest.mark.parametrize(
    ("vehicles", "meant"),
    [
        (("0007", "0123", "K-101"), "0007"),
        (("0007", "07"), ""),  # numbers of two lengths: a nought may tell two vehicles apart
        (("0007", "1234567"), ""),
        (("1007", "2007"), ""),
        (("K-007",), ""),
    ],
)
def test_a_number_whose_noughts_a_spreadsheet_took_is_its_vehicle_s(
    db: Database, tmp_path: Path, vehicles: tuple[str, ...], meant: str
) -> None:
    """Common practice: where every number of figures has four of them, 7 is 0007; the row and the import say so."""
    head = UNITS.splitlines()[0]
    more = [f"{unit},panel_van,12,diesel,4,760,harbour,2019-03-01" for unit in vehicles if unit != "K-101"]
    (tmp_path / "more.csv").write_text("\n".join([head, *more]) + "\n")
    assert import_paths(db, [tmp_path / "more.csv"], now=NOW).exit_code == 0
    outcome = import_paths(db, [readings_file(tmp_path, reading(unit="7"))], now=NOW)
    kept = read_readings(db)
    assert kept["unit"].tolist() == ([meant] if meant else [])
    assert outcome.set_aside == (0 if meant else 1)
    if meant:
        assert "'7' is 0007" in " ".join(outcome.lines())
        assert kept["remark"].tolist() == ["unit: written '7', taken for 0007"]


@pytest.mark.parametrize("written", ["k101", "K 101", "k - 101", "K\u2013101", " K-101 ", "K101", "K_101", "#K/101."])
def test_a_number_written_another_way_is_that_vehicle_s(db: Database, tmp_path: Path, written: str) -> None:
    """Common practice: whoever writes k101 means K-101, where there is one; the row says how it was written, and so does the import."""
    outcome = import_paths(db, [readings_file(tmp_path, reading(unit=written))], now=NOW)
    assert outcome.stored == 1
    kept = read_readings(db)
    assert kept["unit"].tolist() == ["K-101"]
    if written.strip() != "K-101":
        assert f"{written.strip()!r} is K-101" in " ".join(outcome.lines())
        assert kept["remark"].tolist() == [f"unit: written {written.strip()!r}, taken for K-101"]
    again = import_paths(db, [readings_file(tmp_path, reading(unit="K-101"))], now=NOW)
    assert (again.stored, again.known) == (0, 1), "the same reading under its own number is known"


def test_a_number_is_not_taken_for_another_where_two_fit_or_figures_are_kept_apart(
    db: Database, tmp_path: Path
) -> None:
    """K101 and K-101 both being there, k101 may be either; 1-11 and 11-1 are two vehicles, and so are 0101 and 101."""
    assert "is it K-101?" in why(db, tmp_path, unit="K-0101")
    head, *lines = UNITS.splitlines()
    own = next(line for line in lines if line.startswith("K-101,"))
    new = [own.replace("K-101", name, 1) for name in ("K101", "1-11")]
    (tmp_path / "units.csv").write_text("\n".join([head, own, *new]))
    assert import_paths(db, [tmp_path / "units.csv"], now=NOW).stored == 2
    assert "'k 101' is unknown" in why(db, tmp_path, unit="k 101")
    assert "'11-1' is unknown" in why(db, tmp_path, unit="11-1")
    assert "'111' is unknown" in why(db, tmp_path, unit="111")
    assert why(db, tmp_path, unit="1 11") == ""


def test_a_number_with_signs_that_cannot_be_seen_or_as_programs_write_numbers_is_known(
    db: Database, tmp_path: Path
) -> None:
    """Marks of writing from right to left come with what is copied from a screen; 4711.0 from a column of numbers with gaps."""
    own = next(line for line in UNITS.splitlines() if line.startswith("K-101,")).replace("K-101", "4711")
    (tmp_path / "units.csv").write_text("\n".join([UNITS.splitlines()[0], own]))
    import_paths(db, [tmp_path / "units.csv"], now=NOW)
    days = (f"2023-04-0{day}T08:00" for day in range(1, 4))
    written = ("\u202aK-101\u202c", "4711.0", "4711.5")
    lines = [reading(unit=unit, taken_at=day) for unit, day in zip(written, days, strict=True)]
    outcome = import_paths(db, [readings_file(tmp_path, *lines, name="marks.csv")], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (2, 1)
    assert "4711.5" in reasons(db)[0]
    assert outcome.files[0].notes[0].endswith(": '\\u202aK-101\\u202c' is K-101, '4711.0' is 4711")  # as they come


def test_new_vehicles_whose_numbers_are_alike_are_told_of(tmp_path: Path) -> None:
    """They stay two, as two rows of one table say, and are named once: hardly a fleet numbers so."""
    db, file = open_database(tmp_path / "f.db", create=True), tmp_path / "units.csv"
    rows = [f"{unit},van,12,hill" for unit in ("B-003", "B003", "0042", "42", "B-004", "1-11", "11-1")]
    file.write_text("\n".join(["unit,vehicle_class,system_v,depot", *rows]) + "\n")
    told = "vehicles of their own, though their numbers are alike: 0042 and 42; B-003 and B003"
    assert import_paths(db, [file], now=NOW).files[0].notes == (told,)
    assert db["units"].count == 7
    assert import_paths(db, [file], now=NOW).files[0].notes == ()


def test_a_table_of_vehicles_in_another_spelling_makes_no_second_one(db: Database, tmp_path: Path) -> None:
    """k101 of another system's export is K-101; only a table that holds both numbers means two vehicles."""

    def told(*names: str) -> tuple[int, int, int]:
        lines = UNITS.splitlines()
        own = next(line for line in lines if line.startswith("K-101,"))
        (tmp_path / "units.csv").write_text("\n".join([lines[0], *(own.replace("K-101", n, 1) for n in names)]))
        outcome = import_paths(db, [tmp_path / "units.csv"], now=NOW)
        return outcome.stored, outcome.known, outcome.set_aside

    assert told("k101") == (0, 1, 0)
    assert told("K-101", "K101") == (1, 1, 0)
    assert "'k101' is unknown" in why(db, tmp_path, unit="k101")


def test_no_measurement_at_all(db: Database, tmp_path: Path) -> None:
    empty = dict.fromkeys(("rest_v", "crank_min_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v"), "")
    assert "no measurement at all" in why(db, tmp_path, **empty)


@pytest.mark.parametrize(
    "changes",
    [
        {"crank_min_v": 7.1},
        {"drop_ground_v": 4.47},
        {"drop_ground_v": -0.002},
        {"temperature_c": 22, "taken_at": "2023-01-10T08:00"},
        {"temperature_c": -12, "taken_at": "2023-01-10T08:00"},
        {"temperature_c": 34, "taken_at": "2023-07-10T14:00"},
        {"rest_v": 12.66, "crank_min_v": 12.66},
        {"crank_min_v": 12.78},  # two readings of one voltage agree within a hundredth
        {"peak_a": 168},
        {"crank_a": ""},
        {"unit": "K-201", "rest_v": 25.3, "crank_min_v": 22.4},
        {"rest_v": 13.4},
        {"crank_min_v": "11.4 V"},
        {"drop_ground_v": "90 mV"},
        {"drop_ground_v": "OL"},
        {"temperature_c": "45 °F"},
    ],
)
def test_a_failing_vehicle_is_believed(db: Database, tmp_path: Path, changes: dict[str, object]) -> None:
    assert why(db, tmp_path, **changes) == ""


def test_one_battery_of_a_pair_at_rest_is_stored_and_doubted(tmp_path: Path) -> None:
    """12.64 V at rest and 22.6 V while cranking are one battery and two; common practice."""
    db = open_database(tmp_path / "pair.db")
    units = tmp_path / "units.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nT-1,truck,24,yard\n", encoding="utf-8")
    rows = tmp_path / "readings.csv"
    rows.write_text(
        "unit,taken_at,rest_v,crank_min_v\nT-1,2024-02-01T08:00,12.64,22.6\nT-1,2024-02-02T08:00,16.2,22.6\n",
        encoding="utf-8",
    )
    import_paths(db, [units, rows], now=NOW)
    assert [(r["rest_v"], r["doubtful"]) for r in db["readings"].rows] == [(12.64, "rest_v")]
    assert "swapped" in reasons(db)[-1]


def test_swapped_system_voltage_shows(db: Database, tmp_path: Path) -> None:
    assert "12 V system" in why(db, tmp_path, rest_v=25.3, crank_min_v=22.4)


@pytest.mark.parametrize(("sd", "coldest"), [("2", -26.0), ("4", -26.0), ("5", -29.0), ("", -26.0)])
def test_air_colder_than_the_depot_s_january_can_be_is_not_believed(tmp_path: Path, sd: str, coldest: float) -> None:
    """By hand: 1 °C as mean low, less 27 K (record lows of inland stations, from memory) or six standard deviations (our choice),
    4.5 K where none is given, whichever is more."""
    (tmp_path / "c.csv").write_text(f"depot,month,low_c,low_sd_c\nharbour,1,1,{sd}\n")
    (tmp_path / "u.csv").write_text(UNITS)
    db = open_database(tmp_path / "x.db")
    assert import_paths(db, [tmp_path / "u.csv", tmp_path / "c.csv"], now=NOW).exit_code == 0
    at = {"taken_at": "2023-01-10T08:00"}
    assert why(db, tmp_path, **at, temperature_c=coldest + 0.5) == ""
    assert "depot and month" in why(db, tmp_path, **at, temperature_c=coldest - 0.5)


def test_without_climate_only_what_no_place_has_is_refused(tmp_path: Path) -> None:
    from samples_ingest import UNITS

    from ingest.store import open_database

    (tmp_path / "u.csv").write_text(UNITS)
    db = open_database(tmp_path / "bare.db")
    import_paths(db, [tmp_path / "u.csv"], now=NOW)
    assert why(db, tmp_path, temperature_c=54) == ""
    assert "75 °C" in why(db, tmp_path, temperature_c=75, taken_at="2023-04-01T08:00")


def test_repairs_and_vehicles_are_checked_too(db: Database, tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(
        "unit,done_on,part,action,reason\n"
        "K-101,2023-05-01,battery,replaced,no_start\n"
        "K-101,2023-05-01,batery,replaced,no_start\n"
        "K-999,2023-05-01,battery,replaced,\n"
        "K-101,2033-05-01,battery,replaced,\n"
        "K-101,2023-05-01,battery,,\n"
    )
    assert (out := import_paths(db, [tmp_path / "r.csv"], now=NOW)).stored == 1
    assert out.set_aside == 4
    (tmp_path / "u2.csv").write_text(
        "unit,vehicle_class,system_v,depot,cylinders\nK-301,bus,36,hill,6\nK-302,bus,24,hill,4.5\nK-101,bus,12,hill,4\n"
    )
    assert import_paths(db, [tmp_path / "u2.csv"], now=NOW).set_aside == 3
    found = reasons(db)
    assert any("system_v is 36; allowed is 12, 24" in reason for reason in found)
    assert any("other values" in reason and "panel_van" in reason for reason in found)
