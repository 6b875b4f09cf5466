"""Every row ends as exactly one of stored, known, set aside; twice is like once; order and source do not matter."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import CLIMATE, GOOD, HEADING, NOW, UNITS, fleet, reading, readings_file, reasons
from sqlite_utils import Database

from ingest.drafting import draft_source
from ingest.importer import import_paths
from ingest.outcome import FileOutcome
from ingest.set_aside import dismiss_set_aside
from ingest.sources import save_source
from ingest.store import open_database, read_readings, read_workshops


def everything(db: Database) -> list[list[tuple[object, ...]]]:
    """All rows of all tables."""
    return [db.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in sorted(db.table_names())]


def test_a_folder_is_taken_in_the_right_order(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    (folder / "deep").mkdir(parents=True)
    (folder / "a_first.csv").write_text(f"{HEADING}\n{GOOD}\n")
    (folder / "deep" / "z.csv").write_text(UNITS)
    (folder / "b.CSV").write_text(CLIMATE)
    (folder / "c.csv").write_text("unit,done_on,part,action\nK-101,2023-01-01,battery,charged\n")
    (folder / "notes.md").write_text("not a table")
    (folder / ".hidden.csv").write_text("junk")
    db = open_database(tmp_path / "f.db")
    outcome = import_paths(db, [folder], now=NOW)
    assert [file.table for file in outcome.files] == ["units", "climate", "repairs", "readings"]
    assert outcome.exit_code == 0


def test_a_log_of_starts_that_failed_is_taken_without_a_measurement(db: Database, tmp_path: Path) -> None:
    """What the breakdown service notes: which vehicle, when and how it failed; a file of times alone tells of no start."""
    (tmp_path / "calls.csv").write_text(
        "unit,taken_at,outcome\nK-101,2023-03-01T06:10,no_start\nK-101,2023-03-02T06:10,\n"
    )
    (tmp_path / "times.csv").write_text("unit,taken_at,odometer_km\nK-101,2023-03-03T06:10,81000\n")
    outcome = import_paths(db, [tmp_path / "calls.csv", tmp_path / "times.csv"], now=NOW)
    assert [(file.table, file.stored, file.set_aside) for file in outcome.files] == [("readings", 1, 1), ("", 0, 0)]
    assert "are not known" in outcome.files[1].error
    assert read_readings(db)["outcome"].tolist() == ["no_start"]


def test_twice_is_like_once(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD, reading(unit="K-102"), reading(unit="K-999"), GOOD, reading(crank_a=160))
    first = import_paths(db, [file], now=NOW)
    assert (first.stored, first.known, first.set_aside, first.exit_code) == (2, 1, 2, 1)
    before = everything(db)
    again = import_paths(db, [file], now=NOW)
    assert (again.stored, again.known, again.set_aside, again.still_aside, again.exit_code) == (0, 3, 2, 2, 1)
    assert "2 still set aside" in again.summary()
    assert everything(db) == before


def test_rows_that_a_person_answered_are_known_and_new_ones_are_told_apart(db: Database, tmp_path: Path) -> None:
    """Worked by hand: of two rows set aside one is dismissed, then the file comes again with a third bad row, twice."""
    bad = (reading(unit="K-999"), reading(crank_a=9999))
    import_paths(db, [readings_file(tmp_path, *bad)], now=NOW)
    dismiss_set_aside(db, 1, reason="not ours", by="test")
    third = reading(unit="K-998")
    again = import_paths(db, [readings_file(tmp_path, *bad, third, third)], now=NOW)
    assert (again.stored, again.known, again.set_aside, again.still_aside, again.exit_code) == (0, 1, 3, 1, 1)
    assert "3 set aside (1 of them since an earlier import)" in again.lines()[0]


def test_overlapping_files_in_other_units_are_known(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    (tmp_path / "other.csv").write_text(
        "taken_at;UNIT;Drop ground mV;temperature_f;rest_v\n2023-03-01 08:15;K-101;90;45,5;12,66\n"
    )
    outcome = import_paths(db, [tmp_path / "other.csv"], now=NOW)
    assert (outcome.known, outcome.set_aside) == (1, 0), reasons(db)


def test_other_values_at_the_same_time_are_set_aside_never_overwritten(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    outcome = import_paths(db, [readings_file(tmp_path, reading(crank_min_v=9.9), name="b.csv")], now=NOW)
    assert outcome.set_aside == 1
    assert "crank_min_v 9.9 instead of 11.4" in reasons(db)[0]
    assert read_readings(db)["crank_min_v"].tolist() == [11.4]


@pytest.mark.parametrize(("rest_v", "known"), [(12.66, 1), (12.660004, 1), (12.65, 0), (12.6599, 0)])
def test_a_value_is_the_same_to_the_digits_that_are_stored_and_no_further(
    db: Database, tmp_path: Path, rest_v: float, known: int
) -> None:
    """Worked by hand: 12.66 V is on record; a hundredth of a volt is another value, a digit that no meter shows is not."""
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    outcome = import_paths(db, [readings_file(tmp_path, reading(rest_v=rest_v), name="b.csv")], now=NOW)
    assert (outcome.known, outcome.set_aside) == (known, 1 - known)


def test_an_empty_cell_says_nothing_about_what_is_on_record(db: Database, tmp_path: Path) -> None:
    """Contract: a file that leaves a cell open neither clashes with what is known nor wipes it out."""
    kept = ("units", "climate", "audit", "set_aside")
    before = {name: list(db[name].rows) for name in kept}
    (tmp_path / "u.csv").write_text("unit,vehicle_class,system_v,fuel,cylinders,depot\nK-101,panel_van,12,,,harbour\n")
    (tmp_path / "c.csv").write_text("depot,month,low_c,low_sd_c\nharbour,1,1,\n")
    outcome = import_paths(db, [tmp_path / "u.csv", tmp_path / "c.csv"], now=NOW)
    assert (outcome.known, outcome.stored, outcome.set_aside) == (2, 0, 0), reasons(db)
    assert {name: list(db[name].rows) for name in kept} == before


def test_newer_plans_replace_older_ones_and_the_old_value_is_kept(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text("depot,hours_per_week\nharbour,20\nhill,15\n")
    assert import_paths(db, [file], now=NOW).stored == 2
    file.write_text("depot,hours_per_week\nharbour,24\nhill,15\n")
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.stored, outcome.replaced, outcome.known) == (1, 1, 1)
    assert db.execute("SELECT column_name, old_value, new_value FROM audit").fetchall() == [
        ("hours_per_week", "20.0", "24.0")
    ]


def test_a_vehicle_that_comes_later_admits_its_rows(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, reading(unit="K-999"))
    assert import_paths(db, [file], now=NOW).set_aside == 1
    (tmp_path / "new.csv").write_text("unit,vehicle_class,system_v,depot\nK-999,bus,12,hill\n")
    import_paths(db, [tmp_path / "new.csv"], now=NOW)
    assert import_paths(db, [file], now=NOW).stored == 1
    assert db.execute("SELECT state FROM set_aside").fetchone()[0] == "admitted"


def test_one_bad_file_does_not_hold_up_the_others(db: Database, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("colour\nred\n")
    outcome = import_paths(db, [tmp_path / "bad.csv", readings_file(tmp_path, GOOD)], now=NOW)
    assert (outcome.exit_code, outcome.stored, outcome.refused) == (2, 1, 1)


def test_a_failing_file_leaves_nothing_half_written(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything(db)

    def fail(*_: object) -> None:
        raise RuntimeError("power cut")

    monkeypatch.setattr("ingest.admit.put_aside", fail)
    with pytest.raises(RuntimeError, match="power cut"):
        import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    assert everything(db) == before


def test_dry_run_says_and_changes_nothing(db: Database, tmp_path: Path) -> None:
    (tmp_path / "more.csv").write_text("unit,vehicle_class,system_v,depot\nK-999,bus,12,hill\n")
    before = everything(db)
    file = readings_file(tmp_path, GOOD, reading(unit="K-999"))
    outcome = import_paths(db, [file, tmp_path / "more.csv"], now=NOW, dry_run=True)
    assert outcome.stored == 3
    assert "would be" in outcome.summary()
    assert everything(db) == before


def test_unknown_columns_are_kept_and_said(db: Database, tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(f"{HEADING},Seat\n{GOOD},leather\n")
    outcome = import_paths(db, [tmp_path / "r.csv"], now=NOW)
    assert any("Seat" in note for note in outcome.files[0].notes)
    assert '"Seat": "leather"' in db.execute("SELECT extra FROM readings").fetchone()[0]


def with_column(
    db: Database, tmp_path: Path, heading: str, value: str, also: str = "unit,taken_at,rest_v"
) -> FileOutcome:
    """What became of a reading under our own names, one column of it headed otherwise."""
    cells = {"unit": "K-101", "taken_at": "2023-03-01T08:15", "rest_v": "12.66", "temperature_c": "7.5"}
    own = ";".join(cells[name] for name in also.split(","))
    (tmp_path / "r.csv").write_text(f"{also.replace(',', ';')};{heading}\n{own};{value}\n", encoding="utf-8")
    return import_paths(db, [tmp_path / "r.csv"], now=NOW).files[0]


@pytest.mark.parametrize(
    ("heading", "column", "value"),
    [
        ("Temp (°F)", "temperature_c", -10.0), ("Temp F", "temperature_c", -10.0), ("temp_f", "temperature_c", -10.0),
        ("Ambient (F)", "temperature_c", -10.0), ("Battery temp [°F]", "temperature_c", -10.0), ("Temp ℉", "temperature_c", -10.0),
        ("Outside air deg F", "temperature_c", -10.0), ("Bay temp, °F", "temperature_c", -10.0), ("T °C", "temperature_c", 14.0),
        ("Temp (ºC)", "temperature_c", 14.0), ("Lufttemperatur °C", "temperature_c", 14.0), ("Drop earth (mV)", "drop_ground_v", 0.014),
        ("Mileage (mi)", "odometer_km", 22.530816), ("Charging (V)", "charging_v", 14.0), ("Inrush amps", "peak_a", 14.0),
        ("Tester load (Ω)", "tester_load_ohm", 14.0), ("Cranking time (ms)", "crank_s", 0.014), ("Cranking speed", "crank_rpm", 14.0),
    ],
)  # fmt: skip
def test_a_heading_in_the_trade_s_words_with_its_unit_stands_beside_our_own(
    db: Database, tmp_path: Path, heading: str, column: str, value: float
) -> None:
    """14 °F is -10 °C; what was read by its heading is said."""
    outcome = with_column(db, tmp_path, heading, "14")
    assert (outcome.error, outcome.stored) == ("", 1)
    assert read_readings(db)[column].tolist() == pytest.approx([value])
    assert any(repr(heading) in note for note in outcome.notes)


@pytest.mark.parametrize(
    ("heading", "ways_out"),
    [
        ("Temp", ("temperature_c", "temperature_f")), ("T", ("temperature_c", "temperature_f")), ("Mileage", ("odometer_km", "odometer_mi")),
        ("Drop earth", ("drop_ground_v", "drop_ground_mv")), ("Amps (A)", ("crank_a", "peak_a", "coil_a")),
        ("Min V", ("crank_min_v", "crank_dip_v")), ("Tester load (x10 Ω)", ("tester_load_ohm", "tester_load_kohm")),
        ("Temp (K)", ("temperature_c", "temperature_f")), ("Mileage (thousand km)", ("odometer_km", "odometer_mi")),
    ],
)  # fmt: skip
def test_a_heading_that_can_mean_two_things_is_asked_about_in_one_sentence(
    db: Database, tmp_path: Path, heading: str, ways_out: tuple[str, ...]
) -> None:
    outcome = with_column(db, tmp_path, heading, "14")
    assert repr(heading) in outcome.error
    assert all(name in outcome.error for name in ways_out)
    assert "\n" not in outcome.error
    assert outcome.error.count(". ") == 0
    assert len(read_readings(db)) == 0


def test_a_tester_s_load_in_kilo_ohms_is_no_thousandth_of_it(db: Database, tmp_path: Path) -> None:
    """0.012 kΩ is 12 Ω, whether the heading says so or the cell."""
    for heading, value in (("Tester load (kΩ)", "0.012"), ("tester_load_ohm", "0.012 kohm")):
        assert with_column(db, tmp_path, heading, value).error == ""
        assert read_readings(db)["tester_load_ohm"].tolist() == pytest.approx([12.0])


def test_two_headings_for_one_column_are_asked_about(db: Database, tmp_path: Path) -> None:
    outcome = with_column(db, tmp_path, "Temp (°F);Ambient (°C)", "14;-10")
    assert "two columns are temperature_c" in outcome.error
    assert len(read_readings(db)) == 0


@pytest.mark.parametrize(
    "heading", ["Oil temp °C", "Coolant temp (°C)", "Engine temp (°C)", "Coil (Ω)", "Temp sensor 3 (°C)"]
)
def test_what_is_not_wholly_ours_is_kept_beside_the_row(db: Database, tmp_path: Path, heading: str) -> None:
    """An engine's oil is not the air; half a heading is no heading."""
    outcome = with_column(db, tmp_path, heading, "14")
    assert (outcome.error, outcome.stored) == ("", 1)
    assert read_readings(db)["temperature_c"].isna().all()
    assert any(heading in note for note in outcome.notes)


def test_our_own_name_goes_before_another_heading_for_the_same(db: Database, tmp_path: Path) -> None:
    outcome = with_column(db, tmp_path, "Temp (°F)", "14", also="unit,taken_at,rest_v,temperature_c")
    assert (outcome.error, outcome.stored) == ("", 1)
    assert read_readings(db)["temperature_c"].tolist() == [7.5]


def brought(db: Database, tmp_path: Path, text: str) -> FileOutcome:
    (tmp_path / "m.csv").write_text(text, encoding="utf-8")
    return import_paths(db, [tmp_path / "m.csv"], now=NOW).files[0]


@pytest.mark.parametrize(
    ("heading", "units"),
    [
        ("unit;taken_at;temperature_c;rest_v;drop_ground_v", ";;°F;V;mV\n"), ("unit;taken_at;Air;rest_v;drop_ground_v", "[-];-;[°F];[V];[mV]\n"),
        ("unit;taken_at;temperature_c [°F];rest_v [V];drop_ground_v (mV)", ""),
    ],
)  # fmt: skip
def test_units_below_or_beside_our_own_names_are_those_of_the_values(
    db: Database, tmp_path: Path, heading: str, units: str
) -> None:
    """14 °F is -10 °C and 90 mV are 0.09 V, whatever the name ends with; the row of units is no reading."""
    outcome = brought(db, tmp_path, f"{heading}\n{units}K-101;2023-03-01T08:15;14;12.66;90\n")
    assert (outcome.error, outcome.rows, outcome.stored) == ("", 1, 1)
    stored = read_readings(db).iloc[0]
    assert stored[["temperature_c", "rest_v", "drop_ground_v"]].tolist() == pytest.approx([-10.0, 12.66, 0.09])


def test_a_name_of_ours_with_another_quantity_s_unit_is_not_taken(db: Database, tmp_path: Path) -> None:
    outcome = brought(db, tmp_path, "unit;taken_at;rest_v;crank_min_v [A]\nK-101;2023-03-01T08:15;12.66;11.4\n")
    assert outcome.stored == 1
    assert read_readings(db)["crank_min_v"].isna().all()
    assert any("crank_min_v [A]" in note for note in outcome.notes)


@pytest.mark.parametrize(
    ("cell", "celsius"), [("- 7,5", -7.5), ("−7,5", -7.5), ("-7,5°", -7.5), ("+7,5 °", 7.5), ("14 °F", -10.0)]
)
def test_degrees_as_people_write_them(db: Database, tmp_path: Path, cell: str, celsius: float) -> None:
    outcome = brought(db, tmp_path, f"unit;taken_at;temperature_c;rest_v\nK-101;2023-03-01T08:15;{cell};12,6\n")
    assert outcome.stored == 1
    assert read_readings(db)["temperature_c"].tolist() == pytest.approx([celsius])


def test_a_degree_sign_belongs_to_the_scale_of_its_heading_and_to_no_volts(db: Database, tmp_path: Path) -> None:
    text = "unit;taken_at;temperature_f;rest_v\nK-101;2023-03-01T08:15;14°;12,6\nK-102;2023-03-01T08:15;14;12,6°\n"
    outcome = brought(db, tmp_path, text)
    assert (outcome.stored, outcome.set_aside) == (1, 1)
    assert read_readings(db)["temperature_c"].tolist() == pytest.approx([-10.0])


def test_a_vehicle_s_volts_may_carry_their_unit(db: Database, tmp_path: Path) -> None:
    text = "unit,vehicle_class,system_v,depot\nN-1,van,12 V,hill\nN-2,van,24V,hill\nN-3,van,12 A,hill\n"
    outcome = brought(db, tmp_path, text)
    assert (outcome.stored, outcome.set_aside) == (2, 1)


def test_headings_again_and_comments_are_no_readings(db: Database, tmp_path: Path) -> None:
    """As loggers and sheets that were put together write them; a vehicle whose number begins with # is one."""
    heading = "unit,taken_at,rest_v,note"
    lines = [
        "# logger 3", heading, "K-101,2023-03-01T08:15:00.250,12.66,", "# battery changed", heading.upper(), ",,V,s",
        "K-102,2023-03-01T08:15,12.6,# 2", "#7,2023-03-01T08:15,12.6,", "Total,,25.26,",
    ]  # fmt: skip
    outcome = brought(db, tmp_path, "\n".join(lines) + "\n")
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (4, 2, 2)
    assert any("3 rows left out" in note for note in outcome.notes)


@pytest.mark.parametrize(
    ("days", "stored"), [(("01", "", "", "02", ""), 5), (("01", "01", "", "02", ""), 3), (("", "01", "", "02", ""), 2)]
)
def test_a_day_written_once_above_its_clock_times_is_theirs(
    db: Database, tmp_path: Path, days: tuple[str, ...], stored: int
) -> None:
    """Where a day is written twice running, or the first is missing, an empty one is a gap and nothing is guessed."""
    rows = [f"K-101,{day and '2023-03-' + day},0{8 + k % 2}:1{k},12.6" for k, day in enumerate(days)]
    outcome = brought(db, tmp_path, "unit,taken_on,taken_time,rest_v\n" + "\n".join(rows) + "\n")
    assert (outcome.stored, outcome.set_aside) == (stored, 5 - stored)
    if stored == 5:
        assert read_readings(db)["taken_at"].dt.day.tolist() == [1, 1, 1, 2, 2]


@pytest.mark.parametrize("clock", ["08:15", "8.15 Uhr", "8h15", "0815", "815", "0.34375", "0,34375", "8:15 am"])
def test_clock_times_as_people_write_them(db: Database, tmp_path: Path, clock: str) -> None:
    outcome = brought(db, tmp_path, f"unit;taken_on;taken_time;rest_v\nK-101;2023-03-01;{clock};12.6\n")
    assert outcome.stored == 1
    assert read_readings(db)["taken_at"].tolist() == [pd.Timestamp("2023-03-01T08:15")]


def test_decimal_commas_in_quotes_between_commas_are_read_as_between_semicolons(db: Database, tmp_path: Path) -> None:
    """11,200 beside -3,5 is no 11200, whatever stands between the cells."""
    text = 'unit,taken_at,temperature_c,crank_min_v,odometer_km\nK-101,2023-03-01T08:15,"-3,5","11,200",81.000\n'
    assert brought(db, tmp_path, text).stored == 1
    stored = read_readings(db).iloc[0]
    assert stored[["temperature_c", "crank_min_v", "odometer_km"]].tolist() == [-3.5, 11.2, 81000.0]


def test_a_spreadsheet_s_day_number_and_a_time_beside_it_are_one_moment(db: Database, tmp_path: Path) -> None:
    """44986 is 2023-03-01 in the calendar of 1900 (ECMA-376, part 1, 18.17.4.1)."""
    outcome = brought(
        db, tmp_path, "unit,taken_on,taken_time,rest_v\nK-101,44986,07:30,12.6\nK-101,44987,0.5000,12.6\n"
    )
    assert (outcome.stored, outcome.set_aside) == (2, 0)
    when = [row[0] for row in db.execute("SELECT taken_at FROM readings ORDER BY taken_at").fetchall()]
    assert when == ["2023-03-01T07:30:00", "2023-03-02T12:00:00"]


def test_a_price_with_its_currency_is_read(db: Database, tmp_path: Path) -> None:
    lines = "part;price;labour_h\nbattery;129,90 €;1\nstarter_motor;1.249,00 EUR;2\nground_path;$ 12,50;1\npositive_cable;12,50 V;1\n"
    outcome = brought(db, tmp_path, lines)
    assert (outcome.stored, outcome.set_aside) == (3, 1)
    assert [row[0] for row in db.execute("SELECT price FROM parts ORDER BY price").fetchall()] == [12.5, 129.9, 1249.0]


def test_a_comma_groups_thousands_where_all_other_numbers_have_points(db: Database, tmp_path: Path) -> None:
    """81,000 beside 12.66 is no 81 km; beside a decimal comma nothing is guessed."""
    row = 'unit,taken_at,odometer_km,rest_v,drop_ground_v\nK-101,2023-03-01T08:15,"81,000",12.66,{}\n'
    assert brought(db, tmp_path, row.format("0.09")).stored == 1
    assert read_readings(db)["odometer_km"].tolist() == [81000.0]
    assert brought(db, tmp_path, row.replace("K-101", "K-102").format('"0,09"')).set_aside == 1


def test_dates_that_only_the_file_can_settle(db: Database, tmp_path: Path) -> None:
    lines = [reading(taken_at="05/06/2023 08:00"), reading(taken_at="27/06/2023 08:00")]
    outcome = import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    assert outcome.stored == 2
    assert "day first" in outcome.files[0].notes[0]
    assert read_readings(db)["taken_at"].dt.month.tolist() == [6, 6]


def test_a_year_of_two_digits_that_may_stand_first_is_asked_about(db: Database, tmp_path: Path) -> None:
    """As 05/06/2023 is: by other dates of the file, else by its description; beside whole years row by row."""
    only = readings_file(tmp_path, reading(taken_at="23-04-05 08:00"), reading(taken_at="23-04-17 08:00"))
    outcome = import_paths(db, [only], now=NOW)
    assert (outcome.exit_code, outcome.stored) == (2, 0)
    assert "its dates can be read day first or year first (line 2: '23-04-05 08:00')" in outcome.files[0].error
    proved = readings_file(
        tmp_path, reading(taken_at="23-04-22 08:00"), reading(taken_at="24/04/2022 08:00"), name="b.csv"
    )
    outcome = import_paths(db, [proved], now=NOW)
    assert outcome.files[0].notes[0] == "1 date read day first, because line 3 has '24/04/2022 08:00'"
    assert read_readings(db)["taken_at"].dt.strftime("%Y-%m-%d").tolist() == ["2022-04-23", "2022-04-24"]
    mixed = readings_file(
        tmp_path, reading(taken_at="23-04-21 08:00"), reading(taken_at="2023-05-01T08:00"), name="c.csv"
    )
    outcome = import_paths(db, [mixed], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (1, 1)
    assert reasons(db)[-1].startswith("taken_at: '23-04-21 08:00' can be read day first or year first; allowed is")
    described = 'date_order = "year-first"\n[columns]\n"Van" = "unit"\n"When" = "taken_at"\n"Rest" = "rest_v"\n'
    save_source(db, "vans", described, by="anna")
    file = tmp_path / "d.csv"
    file.write_text("Van,When,Rest\nK-102,23-04-05 08:00,12.6\nK-102,23-04-17 08:00,12.6\n")
    assert import_paths(db, [file], now=NOW).stored == 2
    mine = read_readings(db, units=["K-102"])["taken_at"]
    assert mine.dt.strftime("%Y-%m-%d").tolist() == ["2023-04-05", "2023-04-17"]


def test_times_in_utc_are_refused_and_offsets_left_out(db: Database, tmp_path: Path) -> None:
    lines = [reading(taken_at="2023-04-05T07:45Z"), reading(taken_at="2023-04-06T00:00:00Z")]
    outcome = import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    assert (outcome.exit_code, outcome.stored, outcome.set_aside) == (2, 0, 0)
    assert outcome.files[0].error.startswith(
        "its times are in UTC (line 2: '2023-04-05T07:45Z'); write them by the local clock"
    )
    mixed = [*lines, reading(taken_at="2023-04-07T07:45+02:00"), reading(taken_at="2023-04-08T07:45")]
    outcome = import_paths(db, [readings_file(tmp_path, *mixed, name="b.csv")], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (2, 2)
    assert (
        "'2023-04-05T07:45Z' is in UTC, not by the local clock; allowed is a time as 2026-01-31T07:45" in reasons(db)[0]
    )
    assert read_readings(db)["taken_at"].dt.strftime("%d %H:%M").tolist() == ["07 07:45", "08 07:45"]
    repairs = tmp_path / "repairs.csv"
    repairs.write_text("unit,done_on,part,action\nK-101,2023-04-05T00:00:00Z,battery,replaced\n")
    assert import_paths(db, [repairs], now=NOW).stored == 1, "a day has no clock"


def test_a_line_drawn_below_a_heading_is_no_row(db: Database, tmp_path: Path) -> None:
    """As a table of Markdown or a printed list has it; a row of gaps with a vehicle stays one."""
    rows = ["K-101 | 2023-04-05 07:45 | 12.6", "K-102 | --- | ---"]
    (tmp_path / "t.txt").write_text("\n".join(["unit | taken_at | rest_v", ":--- | :------: | ---:", *rows]) + "\n")
    outcome = import_paths(db, [tmp_path / "t.txt"], now=NOW)
    assert (outcome.rows, outcome.stored, outcome.set_aside) == (2, 1, 1)
    assert any(note.startswith("1 row left out") for note in outcome.files[0].notes)


def test_dates_that_nothing_settles_are_never_guessed(db: Database, tmp_path: Path) -> None:
    only = readings_file(tmp_path, reading(taken_at="05/06/2023 08:00"))
    outcome = import_paths(db, [only], now=NOW)
    assert outcome.exit_code == 2
    assert "day first or month first" in outcome.files[0].error
    both = [reading(taken_at=f"{day} 08:00") for day in ("05/06/2023", "27/06/2023", "06/27/2022")]
    outcome = import_paths(db, [readings_file(tmp_path, *both, name="both.csv")], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (2, 1)


def test_doubts_follow_when_earlier_readings_come_later(db: Database, tmp_path: Path) -> None:
    slip = reading(taken_at="2023-05-01T08:00", drop_ground_v=0.93)
    import_paths(db, [readings_file(tmp_path, slip)], now=NOW)
    assert read_readings(db)["doubtful"].tolist() == [""]
    earlier = [reading(taken_at=f"2023-0{month}-01T08:00") for month in (2, 3, 4)]
    import_paths(db, [readings_file(tmp_path, *earlier, name="earlier.csv")], now=NOW)
    assert read_readings(db)["doubtful"].tolist() == ["", "", "", "drop_ground_v"]


def test_large_files_are_looked_into_twice_with_the_same_outcome(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.importer.KEPT_CHARACTERS", 0)
    monkeypatch.setattr("ingest.texts.PIECE_BYTES", 100)
    lines = [reading(taken_at=f"2023-03-01T08:{minute:02d}", crank_a=170 + minute) for minute in range(30)]
    lines[20] = reading(crank_a="x")
    outcome = import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (29, 1)
    assert db.execute("SELECT line, original FROM set_aside").fetchone() == (22, lines[20])
    stored = db.execute("SELECT line, crank_a FROM readings ORDER BY line").fetchall()
    assert all(amps == 168 + line for line, amps in stored)


def test_progress_reaches_its_end(db: Database, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW, progress=lambda *args: told.append(args))
    assert told[-1][0] == "readings.csv"
    assert told[-1][1] == told[-1][2] > 0


def test_who_and_where_is_on_record(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW, by="anna")
    row = db.execute("SELECT o.by, o.file, r.line FROM readings r JOIN origins o ON o.id = r.origin_id").fetchone()
    assert row == ("anna", "readings.csv", 2)


CELL = st.sampled_from(["12.6", "11.4", "", "OL", "x", "-3", "1140", "12,5", "=1+1", "24.8", "'", "0.1"])
ROW = st.fixed_dictionaries(
    {
        "unit": st.sampled_from(["K-101", "K-102", "K-201", "K-9", ""]),
        "taken_at": st.sampled_from(["2023-03-01T08:00", "2023-03-02T08:00", "2099-01-01", "3/4/23", "13.04.2023", ""]),
        "rest_v": CELL,
        "crank_min_v": CELL,
        "crank_a": CELL,
    }
)


@examples(15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROW, min_size=1, max_size=12))
def test_rows_are_conserved_whatever_they_hold(tmp_path: Path, rows: list[dict[str, str]]) -> None:
    db = fleet_in_memory(tmp_path)
    with db.atomic():
        file = tmp_path / "h.csv"
        lines = [";".join(row.values()) for row in rows]
        file.write_text("\n".join([";".join(rows[0]), *lines]) + "\n")
        whole = import_paths(db, [file], now=NOW)
        assert whole.rows == whole.stored + whole.known + whole.set_aside
        if not whole.refused:
            assert whole.rows == sum(any(row.values()) for row in rows)
        before = everything(db)
        again = import_paths(db, [file], now=NOW)
        assert (again.stored, again.set_aside) == (0, again.still_aside)
        assert everything(db) == before
        db.execute("DELETE FROM readings")
        db.execute("DELETE FROM set_aside")
        db.execute("DELETE FROM origins WHERE id > 2")


_FLEETS: dict[str, Database] = {}


def fleet_in_memory(folder: Path) -> Database:
    """One database for all examples of a property."""
    if "one" not in _FLEETS:
        _FLEETS["one"] = fleet(folder)
    return _FLEETS["one"]


def test_now_bounds_the_times(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD)
    assert import_paths(db, [file], now=datetime(2022, 1, 1)).set_aside == 1


# --- workshop hours by depot and week --------------------------------------------------------------------------------


def hours_file(folder: Path, *lines: str, heading: str = "depot,week_from,hours_per_week") -> Path:
    """A file of workshop hours."""
    file = folder / "workshops.csv"
    file.write_text("\n".join([heading, *lines]) + "\n")
    return file


def hours(db: Database) -> list[tuple[str, str, float]]:
    """Stored hours: depot, week ("" for the usual one), hours."""
    return [
        (str(r.depot), "" if pd.isna(r.week_from) else f"{r.week_from:%Y-%m-%d}", float(str(r.hours_per_week)))
        for r in read_workshops(db).itertuples(index=False)
    ]


def test_hours_by_week_stand_beside_the_usual_week(db: Database, tmp_path: Path) -> None:
    file = hours_file(tmp_path, "hill,,20", "hill,2024-12-23,0", "harbour,2024-12-30,4")
    assert import_paths(db, [file], now=NOW).exit_code == 0
    assert hours(db) == [("harbour", "2024-12-30", 4.0), ("hill", "", 20.0), ("hill", "2024-12-23", 0.0)]
    before = everything(db)
    again = import_paths(db, [file], now=NOW)
    assert (again.stored, again.known) == (0, 3)
    assert everything(db) == before


def test_plain_hours_are_the_usual_week_and_changes_keep_the_old_value(db: Database, tmp_path: Path) -> None:
    plain = "depot,hours_per_week"
    assert import_paths(db, [hours_file(tmp_path, "hill,20", heading=plain)], now=NOW).stored == 1
    import_paths(db, [hours_file(tmp_path, "hill,2024-12-23,0")], now=NOW)
    import_paths(db, [hours_file(tmp_path, "hill,24", heading=plain)], now=NOW)
    import_paths(db, [hours_file(tmp_path, "hill,2024-12-23,6", "hill,,24")], now=NOW)
    assert hours(db) == [("hill", "", 24.0), ("hill", "2024-12-23", 6.0)]
    audit = db.execute("SELECT row_key, column_name, old_value, new_value FROM audit ORDER BY id").fetchall()
    assert audit == [("hill", "hours_per_week", "20.0", "24.0"), ("hill/2024-12-23", "hours_per_week", "0.0", "6.0")]


def test_hours_must_begin_on_a_monday(db: Database, tmp_path: Path) -> None:
    """24 December 2024 was a Tuesday (calendar)."""
    outcome = import_paths(
        db, [hours_file(tmp_path, "hill,2024-12-24,0", "hill,soon,3", "hill,2024-12-23,-1")], now=NOW
    )
    assert outcome.set_aside == 3
    first, second, third = reasons(db)
    assert first == "week_from 2024-12-24 is no Monday; allowed is the Monday its week begins with (2024-12-23)"
    assert "week_from" in second
    assert "allowed is a date as 2026-01-31" in second
    assert "hours_per_week is -1; allowed is 0 to 10000" in third


def test_three_decimals_behind_a_comma_are_decimals_where_thousands_cannot_be(db: Database, tmp_path: Path) -> None:
    """12,610 V is no 12610 V, and beside it 81.000 km are thousands; with our own headings and with others."""
    file, foreign = tmp_path / "r.csv", tmp_path / "f.csv"
    file.write_text("unit;taken_at;odometer_km;rest_v;crank_min_v\nK-101;2023-03-01T08:15;81.000;12,610;11,400\n")
    foreign.write_text(
        "Wagen;Datum;Km-Stand;Ruhespannung (V);Strom Spitze (A)\nK-101;2023-03-02;81.100;12,620;480,000\n",
        encoding="utf-8",
    )
    save_source(db, "logger", draft_source(foreign).toml)
    assert import_paths(db, [file, foreign], now=NOW).stored == 2
    told = read_readings(db)[["odometer_km", "rest_v"]]
    assert told.to_numpy().tolist() == [[81000.0, 12.61], [81100.0, 12.62]]
    assert read_readings(db)["peak_a"].tolist()[1] == 480.0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "utf-16-be"])
def test_a_file_may_end_with_the_mark_of_dos_in_its_own_encoding(db: Database, tmp_path: Path, encoding: str) -> None:
    """U+011A is 01 1A in UTF-16 with the high byte first: a letter, and no mark."""
    file = tmp_path / "r.csv"
    for day, mark in ((1, "\x1a"), (2, "")):
        line = reading(taken_at=f"2023-03-0{day}T08:00")
        file.write_bytes(f"{HEADING},note\n{line},TĚ{mark}".encode(encoding))
        assert import_paths(db, [file], now=NOW).stored == 1
    assert read_readings(db)["note"].tolist() == ["TĚ", "TĚ"]


@pytest.mark.parametrize(
    ("encoding", "words"), [("cp1250", "słaby rozruch, wymienić"), ("cp1252", "Prüfung 3 m³, ça va")]
)
def test_letters_of_poland_and_of_the_west_are_told_apart(
    db: Database, tmp_path: Path, encoding: str, words: str
) -> None:
    file = tmp_path / "r.csv"
    file.write_bytes(f'{HEADING},note\n{reading()},"{words}"\n'.encode(encoding))
    assert import_paths(db, [file], now=NOW).stored == 1
    assert read_readings(db)["note"].tolist() == [words]


def test_lines_that_a_program_quoted_whole_are_read(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path)
    file.write_text("".join(f'"{line}"\n' for line in (HEADING, reading().replace("7.5", '""7.5""'))))
    assert import_paths(db, [file], now=NOW).stored == 1
    assert read_readings(db)["temperature_c"].tolist() == [7.5]


def test_months_of_a_climate_may_be_named(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "c.csv"
    file.write_text(
        "depot,month,low_c\nnorth,Januar,-4\nnorth,févr.,-3\nnorth,3,1\nnorth,Quartal,1\n", encoding="utf-8"
    )
    (outcome,) = import_paths(db, [file], now=NOW).files
    assert (outcome.stored, outcome.set_aside) == (3, 1)
    assert [row["month"] for row in db.query("SELECT month FROM climate WHERE depot = 'north' ORDER BY month")] == [
        1,
        2,
        3,
    ]


def test_columns_of_another_table_are_said_to_be_that_table_s(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(
        f"{HEADING},part,action,colour\n{reading()},,,red\n{reading(taken_at='2023-03-02')},battery,replaced,\n"
    )
    (outcome,) = import_paths(db, [file], now=NOW).files
    assert (
        "columns of repairs, kept as they are beside the rows: part, action; give repairs a file or a sheet of their own"
        in outcome.notes
    )
    assert "columns not known to us, kept as they are beside the rows: colour" in outcome.notes


def test_amps_in_tenths_all_over_a_file_are_said(db: Database, tmp_path: Path) -> None:
    """A battery of 7 mΩ that sags as it does with 170 A does not sag so with 17 A, and not all batteries of a fleet are dead."""
    days = [f"2023-03-{day:02d}T08:15" for day in range(1, 11)]
    for name, amps, said in (("whole.csv", 170, False), ("tenths.csv", 17, True)):
        rows = [reading(taken_at=day, crank_a=amps, unit="K-102" if said else "K-101", peak_a="") for day in days]
        (outcome,) = import_paths(db, [readings_file(tmp_path, *rows, name=name)], now=NOW).files
        assert outcome.stored == len(days)
        assert any("a battery would have 74 mΩ per 12 V" in note for note in outcome.notes) == said
