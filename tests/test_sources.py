"""Descriptions of foreign files: checked, saved, recognised again, drafted without silent guesses."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import GOOD, HEADING, NOW, readings_file
from sqlite_utils import Database

from ingest import store
from ingest.drafting import draft_source, preview, toml_text
from ingest.errors import FileRefused, IngestError, SourceProblem
from ingest.importer import import_paths
from ingest.layout import combined_headings
from ingest.sources import list_sources, parse_source, read_source, save_source
from ingest.store import read_readings

GERMAN = (
    "Fahrzeug Nr.;Datum;Uhrzeit;km-Stand;Außentemp. (°C);Ruhespannung (V);Min. Spannung Anlassen (V);"
    "Anlasserstrom (A);Spannungsabfall Plus (mV);Spannungsabfall Masse (mV);Monteur;Farbe\n"
    "K-101;01/03/2023;08:15;81.000;7,5;12,66;11,40;170;110;90;Änne;rot\n"
    "K-102;02/03/2023;9:05;1.200;5,0;12,60;11,20;181;105;95;;\n"
)
MINIMAL = 'date_order = "iso"\n[columns]\n"Van" = "unit"\n"When" = "taken_at"\n"Rest" = "rest_v"\n'


@pytest.fixture
def german(tmp_path: Path) -> Path:
    file = tmp_path / "werkstatt.csv"
    file.write_bytes(GERMAN.encode("cp1252"))
    return file


@pytest.mark.parametrize(
    ("toml", "words"),
    [
        ("not toml =", "not valid TOML"),
        ("colour = 1", "'colour' is not known"),
        (MINIMAL.replace("unit", "unidad"), "'unidad'"),
        (MINIMAL.replace('"Van" = "unit"\n', ""), "no heading is 'unit'"),
        (MINIMAL.replace("iso", "?"), "day-first, month-first, year-first or iso"),
        (MINIMAL.replace('date_order = "iso"', ""), "date_order is not settled"),
        (MINIMAL.replace("iso", "american"), "'american'"),
        (MINIMAL + '"Rest2" = "rest_mv"\n', "two headings are rest_v"),
        ('decimal = ";"\n' + MINIMAL, "decimal is ';'"),
        ('thousands = "."\n' + MINIMAL, "thousands is '.'"),
        ('encoding = "klingon"\n' + MINIMAL, "klingon"),
        ("heading_rows = 9\n" + MINIMAL, "heading_rows is 9; allowed is 1 to 3"),
        ('skip_rows = "two"\n' + MINIMAL, "a whole number"),
        ('delimiter = "::"\n' + MINIMAL, "delimiter"),
        ('ignore_rows = ["("]\n' + MINIMAL, "not a pattern"),
        (MINIMAL + "[clamp_mv_per_a]\ncrank_clamp_mv = 0\n", "above 0"),
        (MINIMAL + "[clamp_mv_per_a]\nmain = 1\n", "allowed are crank_clamp_mv"),
        (MINIMAL + '[constants]\nshape = "x"\n', "constant 'shape'"),
        ('table = "poems"\n' + MINIMAL, "allowed are units"),
    ],
)
def test_wrong_descriptions_get_one_sentence(toml: str, words: str) -> None:
    with pytest.raises(SourceProblem) as caught:
        parse_source(toml)
    assert words in str(caught.value)


def test_an_unknown_file_is_refused_with_the_way_out(db: Database, german: Path) -> None:
    outcome = import_paths(db, [german], now=NOW)
    assert outcome.exit_code == 2
    assert "source draft werkstatt.csv" in outcome.files[0].line()
    assert "Fahrzeug Nr." in outcome.files[0].error


def test_drafted_checked_saved_and_recognised_next_time(db: Database, german: Path, tmp_path: Path) -> None:
    draft = draft_source(german)
    assert any("day first or month first" in question for question in draft.questions)
    with pytest.raises(SourceProblem, match="date_order"):
        save_source(db, "werkstatt", draft.toml)
    save_source(db, "werkstatt", draft.toml.replace('date_order = "?"', 'date_order = "day-first"'), by="anna")
    outcome = import_paths(db, [german], now=NOW)
    assert (outcome.stored, outcome.files[0].source) == (2, "werkstatt")
    assert any("Farbe" in note for note in outcome.files[0].notes)
    frame = read_readings(db)
    assert frame["taken_at"].tolist() == [datetime(2023, 3, 1, 8, 15), datetime(2023, 3, 2, 9, 5)]
    assert frame["odometer_km"].tolist() == [81000.0, 1200.0]
    assert frame["drop_positive_v"].tolist() == [0.11, 0.105]
    assert frame["technician"].tolist() == ["Änne", ""]
    later = tmp_path / "april.csv"
    later.write_bytes(GERMAN.replace("/03/2023", "/04/2023").encode("cp1252"))
    assert import_paths(db, [later], now=NOW).stored == 2
    (saved,) = list_sources(db)
    assert (saved.name, saved.saved_by) == ("werkstatt", "anna")
    assert "Fahrzeug Nr." in saved.headings


def test_a_description_may_be_a_file(db: Database, german: Path, tmp_path: Path) -> None:
    toml = draft_source(german).toml.replace('"?"', '"day-first"')
    (tmp_path / "w.toml").write_text(toml, encoding="utf-8")
    outcome = import_paths(db, [german], source=str(tmp_path / "w.toml"), now=NOW)
    assert outcome.stored == 2
    assert list_sources(db) == []
    with pytest.raises(SourceProblem, match="there is no source 'nobody'"):
        import_paths(db, [german], source="nobody", now=NOW)


def test_a_description_of_another_file_does_not_fit(db: Database, german: Path) -> None:
    save_source(db, "small", MINIMAL)
    outcome = import_paths(db, [german], source="small", now=NOW)
    assert "not those of source small" in outcome.files[0].error


def test_two_descriptions_that_read_differently_are_not_chosen_between(db: Database, tmp_path: Path) -> None:
    save_source(db, "one", MINIMAL.replace("iso", "day-first"))
    save_source(db, "two", MINIMAL.replace("iso", "month-first"))
    (tmp_path / "v.csv").write_text("Van,When,Rest\nK-101,03/04/2023,12.6\n")
    outcome = import_paths(db, [tmp_path / "v.csv"], now=NOW)
    assert "more than one source (one, two)" in outcome.files[0].error
    assert import_paths(db, [tmp_path / "v.csv"], source="two", now=NOW).stored == 1


def test_a_description_that_the_dates_contradict_is_refused(db: Database, tmp_path: Path) -> None:
    save_source(db, "s", MINIMAL.replace("iso", "day-first"))
    (tmp_path / "v.csv").write_text(
        "Van,When,Rest\nK-101,03/04/2023,12.6\nK-101,03/14/2023,12.6\nK-101,03/24/2023,12.6\n"
    )
    outcome = import_paths(db, [tmp_path / "v.csv"], now=NOW)
    assert "says day-first, but line 3 has '03/14/2023'" in outcome.files[0].error
    assert len(read_readings(db)) == 0


def test_a_column_of_dates_is_found_by_its_values(tmp_path: Path) -> None:
    (tmp_path / "g.csv").write_text("Vehicle,Round,Resting (V),Drop earth (mV)\nK-1,27/03/2023,12.6,90\n")
    assert '"Round" = "taken_at"  # unsure' in draft_source(tmp_path / "g.csv").toml


def test_real_dates_that_a_spreadsheet_may_have_swapped_are_said(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Vehicle", "Date", "Resting (V)"])
    for day in range(1, 7):
        book.active.append(["K-1", datetime(2023, 3, day), 12.6])
        book.active.append(["K-1", f"{day + 14}/03/2023", 12.6])
    book.save(tmp_path / "g.xlsx")
    assert "swapped day and month" in " ".join(draft_source(tmp_path / "g.xlsx").unsure)


def test_saving_again_keeps_the_old_text(db: Database) -> None:
    save_source(db, "s", MINIMAL)
    save_source(db, "s", MINIMAL + '"Amps" = "crank_a"\n')
    assert "Amps" in read_source(db, "s")
    assert db.execute("SELECT old_value FROM audit WHERE table_name = 'sources'").fetchone()[0] == MINIMAL


def test_ignored_rows_are_said_and_constants_fill_in(db: Database, tmp_path: Path) -> None:
    extra = 'ignore_rows = ["^Total"]\n' + MINIMAL + '[constants]\ninstrument = "DMM 3"\n'
    save_source(db, "s", extra)
    (tmp_path / "v.csv").write_text("Van,When,Rest\nK-101,2023-04-01,12.6\nTotal,,25\n")
    outcome = import_paths(db, [tmp_path / "v.csv"], now=NOW)
    assert (outcome.rows, outcome.stored) == (1, 1)
    assert any("1 row left out" in note for note in outcome.files[0].notes)
    assert read_readings(db)["instrument"].tolist() == ["DMM 3"]


OF_ONE = 'date_order = "iso"\n[constants]\nunit = "K-101"\n[columns]\n"When" = "taken_at"\n"Rest" = "rest_v"\n'
ROW = "2023-04-0{d},12.6\n"


@pytest.mark.parametrize(
    ("name", "text", "where"),
    [
        ("t.csv", "When,Rest\n" + ROW.format(d=1) + "Vehicle: K-102,\nWhen,Rest\n" + ROW.format(d=2), "line 3 names the vehicle 'K-102'"),
        ("t.csv", "When,Rest\n" + ROW.format(d=1) + "k102\n" + ROW.format(d=2), "line 3 names the vehicle 'k102'"),
        ("t.csv", "Fahrzeug K-999,\nWhen,Rest\n" + ROW.format(d=1), "line 1 names the vehicle 'K-999'"),
        ("t.csv", "When,Rest,Truck\n2023-04-01,12.6,K-101\n2023-04-02,12.6,K-102\n", "line 3 names the vehicle 'K-102'"),
        ("K-102_april.csv", "When,Rest\n" + ROW.format(d=1), "its name names the vehicle 'K-102'"),
    ],
)  # fmt: skip
def test_a_file_that_names_another_vehicle_than_its_description_is_refused(
    db: Database, tmp_path: Path, name: str, text: str, where: str
) -> None:
    """Told by hand from the files: a description says K-101 of every row, and the file says that some are of another."""
    save_source(db, "one", OF_ONE)
    (tmp_path / name).write_text(text)
    (refusal,) = [one.error for one in import_paths(db, [tmp_path / name], now=NOW).files]
    assert refusal.startswith(f"{where}, and its source description says that every row is of K-101; allowed is")
    assert db.table("readings").count == db.table("set_aside").count == 0


def test_a_file_of_one_vehicle_alone_is_taken_and_said_to_be(db: Database, tmp_path: Path) -> None:
    """Its own number in any spelling, a type, a page, and rows that cannot be read name no other vehicle."""
    save_source(db, "one", OF_ONE)
    text = "Vehicle: k 101,\nVehicle: van 316,\nBay 3 page 2 of 2023,\nWhen,Rest\n" + ROW.format(d=1)
    (tmp_path / "K101 2023.csv").write_text(text + "Total,1\nno date,12.6\n")
    outcome = import_paths(db, [tmp_path / "K101 2023.csv"], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (1, 2)
    assert "every row taken for K-101, as the source description says (constants)" in outcome.files[0].notes


def test_sheets_of_several_vehicles_are_not_all_of_one(db: Database, tmp_path: Path) -> None:
    save_source(db, "one", OF_ONE)
    book = openpyxl.Workbook()
    for unit in ("K-101", "K-102"):
        sheet = book.create_sheet(unit)
        sheet.append(["When", "Rest"])
        sheet.append([datetime(2023, 4, 1), 12.6])
    book.save(tmp_path / "each.xlsx")
    (one,) = import_paths(db, [tmp_path / "each.xlsx"], now=NOW).files
    assert one.error.startswith("sheet 'K-102' names the vehicle 'K-102'")
    assert db.table("readings").count == 0


def sheets_titled(path: Path, titles: tuple[str, ...], heading: tuple[str, ...]) -> Path:
    """A workbook with a table of one row under each title."""
    book = openpyxl.Workbook()
    for day, title in enumerate(titles, start=1):
        sheet = book.create_sheet(title)
        sheet.append(["Checks of 2023"])
        sheet.append(heading)
        sheet.append([f"2023-03-{day:02d} 08:15", 7.5, 12.6, 170 + day])
    book.save(path)
    return path


OURS = ("taken_at", "temperature_c", "rest_v", "crank_a")


def test_a_sheet_for_each_vehicle_is_taken_by_its_title(db: Database, tmp_path: Path) -> None:
    """By the same rule of same numbers as in a column, and only where every title is a vehicle of the fleet."""
    outcome = import_paths(db, [sheets_titled(tmp_path / "k.xlsx", ("K-101", "k 102"), OURS)], now=NOW)
    taken = "every row taken for the vehicle that the title of its sheet names: 'K-101' is K-101, 'k 102' is K-102"
    assert (outcome.stored, outcome.files[0].notes[-1]) == (2, taken)
    assert read_readings(db).set_index("unit")["crank_a"].to_dict() == {"K-101": 171.0, "K-102": 172.0}
    for titles in (("K-101", "K-109"), ("March", "April")):
        (file,) = import_paths(db, [sheets_titled(tmp_path / "n.xlsx", titles, OURS)], now=NOW).files
        assert file.error.startswith("no column is unit, which readings need, and the title of its sheet")
        assert "is no vehicle of the fleet" in file.error
    assert len(read_readings(db)) == 2


TABLE = "taken_at,rest_v,crank_a\n2023-03-01 08:15,12.6,{amps}\n2023-03-02 08:15,12.6,x\n"


def test_tables_below_each_other_are_taken_by_the_vehicle_above_each(db: Database, tmp_path: Path) -> None:
    """Also the second of two rows alike that are set aside: they are of two vehicles."""
    tables = [f"\n{title}\n{TABLE.format(amps=171 + k)}" for k, title in enumerate(("Vehicle: K-101", "k 102"))]
    (tmp_path / "t.csv").write_text("Checks of 2023\n" + "".join(tables))
    outcome = import_paths(db, [tmp_path / "t.csv"], now=NOW)
    taken = "every row taken for the vehicle that the title of its table names: 'K-101' is K-101, 'k 102' is K-102"
    assert (outcome.stored, outcome.set_aside, outcome.files[0].notes) == (2, 2, (taken,))
    assert read_readings(db).set_index("unit")["crank_a"].to_dict() == {"K-101": 171.0, "K-102": 172.0}
    aside = db.execute("SELECT unit, line FROM set_aside ORDER BY line").fetchall()
    assert aside == [("K-101", 6), ("K-102", 11)]
    again = import_paths(db, [tmp_path / "t.csv"], now=NOW)
    assert (again.stored, again.known, again.still_aside) == (0, 2, 2)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("K-101\n" + TABLE + "K-109\n" + TABLE, "no column is unit, which readings need, and the title of its table 'K-109'"),
        ("K-101\n" + TABLE + "K-102\n2023-03-03 08:15,12.6,170\n", "line 5 names the vehicle 'K-102', and the title of its table"),
        ("K-101\n" + TABLE + "\n" + TABLE, "no column is unit, which readings need; allowed is"),
    ],
)  # fmt: skip
def test_tables_that_are_not_all_under_a_vehicle_are_refused(
    db: Database, tmp_path: Path, text: str, said: str
) -> None:
    (tmp_path / "t.csv").write_text(text.format(amps=170))
    assert import_paths(db, [tmp_path / "t.csv"], now=NOW).files[0].error.startswith(said)
    assert db.table("readings").count == db.table("set_aside").count == 0


def test_a_description_may_say_that_the_vehicle_is_the_sheets_title(db: Database, tmp_path: Path) -> None:
    headings = ("Date", "Air temperature (°C)", "Rest volts (V)", "Steady cranking amps (A)")
    file = sheets_titled(tmp_path / "k.xlsx", ("K-101", "K-102"), headings)
    draft = draft_source(file)
    assert 'unit = "the sheet\'s title"' in draft.questions[0]
    (tmp_path / "k.toml").write_text(draft.toml + '[constants]\nunit = "the sheet\'s title"\n', encoding="utf-8")
    assert import_paths(db, [file], source=str(tmp_path / "k.toml"), now=NOW).stored == 2
    assert read_readings(db).set_index("unit")["crank_a"].to_dict() == {"K-101": 171.0, "K-102": 172.0}


def test_title_rows_two_row_heading_clamps_and_fahrenheit(db: Database, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Cranking tests"])
    sheet.append(["Clamp 1: 10 mV per A, clamp 2: 100 mV per A"])
    sheet.append(["Truck", "Date", "Time", "Odo", "Ambient", "Battery", None, "Clamp 1", "Clamp 2", "Volt drop", None])
    sheet.append([None, None, None, "miles", "°F", "resting V", "cranking V", "mV", "mV", "earth mV", "+ve mV"])
    sheet.append(
        [
            "K-101",
            datetime(2023, 3, 1),
            datetime(2023, 3, 1, 8, 15).time(),
            50331,
            45.5,
            12.66,
            11.4,
            1700,
            800,
            90,
            110,
        ]
    )
    sheet.append(["K-102", "03/31/2023", "02:30 PM", 1000, 41, 12.6, 11.2, 1810, 790, 95, "OL"])
    sheet.append([])
    sheet.append(["Total", None, None, None, None, None, None, None, None, None, 2])
    book.save(tmp_path / "tests.xlsx")
    draft = draft_source(tmp_path / "tests.xlsx")
    assert draft.questions == ()
    save_source(db, "tests", draft.toml)
    outcome = import_paths(db, [tmp_path / "tests.xlsx"], now=NOW)
    assert (outcome.stored, outcome.set_aside) == (2, 1), (draft.toml, outcome.lines())
    first = read_readings(db).iloc[0]
    assert first["taken_at"] == datetime(2023, 3, 1, 8, 15)
    assert first["temperature_c"] == pytest.approx(7.5)
    assert (first["crank_a"], first["coil_a"]) == (170.0, 8.0)
    assert (first["drop_ground_v"], first["drop_positive_v"]) == (0.09, 0.11)
    assert read_readings(db)["taken_at"].iloc[1] == datetime(2023, 3, 31, 14, 30)


def test_units_that_headings_do_not_name_are_guessed_aloud(tmp_path: Path) -> None:
    (tmp_path / "g.csv").write_text(
        "Vehicle,Date,Temp,Resting,Lowest,Drop earth,Steady amps\n"
        + "".join(f"K-101,2023-03-{day:02d},{50 + day},{12600 + day},11400,{90 + day},170\n" for day in range(1, 20))
    )
    draft = draft_source(tmp_path / "g.csv")
    for line in ('"Temp" = "temperature_f"', '"Resting" = "rest_mv"', '"Drop earth" = "drop_ground_mv"'):
        assert line + "  # unsure:" in draft.toml
    assert len(draft.unsure) >= 4


def test_a_heading_contradicted_by_its_values_is_said(tmp_path: Path) -> None:
    (tmp_path / "g.csv").write_text("Vehicle,Date,Temp (°C),Resting (V),Drop earth (V)\nK-1,2023-03-01,61,12.6,90\n")
    unsure = " ".join(draft_source(tmp_path / "g.csv").unsure)
    assert "look like °F" in unsure
    assert "look like mV" in unsure


def test_dates_both_ways_are_asked_about(tmp_path: Path) -> None:
    (tmp_path / "g.csv").write_text("Vehicle,Date,Resting (V)\nK-1,27/03/2023,12.6\nK-1,03/27/2023,12.6\n")
    assert "which is it" in draft_source(tmp_path / "g.csv").questions[0]


def test_files_that_need_or_allow_no_draft(tmp_path: Path) -> None:
    with pytest.raises(IngestError, match="our own column names"):
        draft_source(readings_file(tmp_path, GOOD))
    (tmp_path / "s.csv").write_text("colour,shape\nred,round\n")
    with pytest.raises(FileRefused, match="fewer than 3 headings in it are understood"):
        draft_source(tmp_path / "s.csv")


def test_preview_shows_the_first_rows_in_our_units(german: Path) -> None:
    frame = preview(german, draft_source(german).toml.replace('"?"', '"day-first"'), rows=1)
    assert len(frame) == 1
    assert frame.loc[0, "drop_positive_v"] == 0.11
    assert frame.loc[0, "line"] == 2


def test_combined_headings() -> None:
    rows = [["Unit", "Battery", None, "Notes"], [None, "rest V", "low V", None]]
    assert combined_headings(rows) == ("Unit", "Battery rest V", "Battery low V", "Notes")


@examples(25)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=20))
def test_any_heading_survives_toml(text: str) -> None:
    import tomllib

    assert tomllib.loads(f"x = {toml_text(text)}")["x"] == text


def test_own_files_need_no_source(db: Database, tmp_path: Path) -> None:
    save_source(db, "s", MINIMAL)
    described = f'delimiter = ";"\nencoding = "cp1252"\n{MINIMAL}'
    save_source(db, "s", described)
    assert import_paths(db, [readings_file(tmp_path, GOOD)], source="s", now=NOW).stored == 1
    assert HEADING


# --- times in UTC ----------------------------------------------------------------------------------------------------

IN_UTC = """Fahrzeug;Zeitstempel (UTC);Ruhespannung (V);Startspannung min (V);Temperatur (°C)
A-1;2026-11-25T23:30:00Z;12,61;10,9;-3
A-2;2026-07-25 05:30;12,60;10,8;14
A-3;2026-10-25T01:30:00+00:00;12,60;10,8;4
A-4;2026-10-25T09:30:00+02:00;12,60;10,8;4
"""


def test_a_file_in_utc_is_asked_for_its_time_zone_and_told_by_its_clock(tmp_path: Path) -> None:
    """Central European time, worked by hand: UTC+1, UTC+2 until 01:00 UTC on the last Sunday of October; an offset of its own stays."""
    file = tmp_path / "logger.csv"
    file.write_text(IN_UTC, encoding="utf-8")
    draft = draft_source(file)
    assert [q for q in draft.questions if q.startswith("utc_to: its times are in UTC (2026-11-25T23:30:00Z)")]
    with pytest.raises(SourceProblem, match="utc_to is not settled"):
        parse_source(draft.toml)
    with pytest.raises(SourceProblem, match="utc_to is 'Mars/Base'; allowed is a time zone such as Europe/Berlin"):
        parse_source(draft.toml.replace('utc_to = "?"', 'utc_to = "Mars/Base"'))
    db = store.open_database(tmp_path / "own.db")
    units = tmp_path / "units.csv"
    units.write_text("unit,vehicle_class,system_v,depot\n" + "".join(f"A-{n},van,12,yard\n" for n in range(1, 8)))
    save_source(db, "logger", draft.toml.replace('utc_to = "?"', 'utc_to = "Europe/Vienna"'))
    found = import_paths(db, [units, file])
    assert found.files[1].notes[-1] == "3 times in UTC told by the clock of Europe/Vienna"
    told = store.read_readings(db).set_index("unit")["taken_at"].astype(str).to_dict()
    assert told == {
        "A-1": "2026-11-26 00:30:00", "A-2": "2026-07-25 07:30:00", "A-3": "2026-10-25 02:30:00", "A-4": "2026-10-25 09:30:00",
    }  # fmt: skip


def test_a_file_with_our_own_headings_in_utc_can_be_described_too(tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text("unit,taken_at,rest_v,crank_min_v,place\nA-1,2026-01-20T05:30:00Z,12.6,10.9,x\n")
    units = tmp_path / "units.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nA-1,van,12,yard\n")
    db = store.open_database(tmp_path / "own.db")
    import_paths(db, [units])
    (refused,) = import_paths(db, [file]).files
    assert "cranktrend source draft FILE asks for it (utc_to)" in refused.error
    save_source(db, "own", draft_source(file).toml.replace('utc_to = "?"', 'utc_to = "America/Denver"'))
    (taken,) = import_paths(db, [file]).files
    assert (taken.stored, taken.error) == (1, "")
    assert store.read_readings(db)["taken_at"].astype(str).tolist() == ["2026-01-19 22:30:00"]
    more = (
        "2026-01-21 05.30",
        "2026-01-22 0530",
        "2026-01-23 05:30 MST",
    )  # the last by a local clock, whose name says so
    file.write_text("unit,taken_at,rest_v,crank_min_v,place\n" + "".join(f"A-1,{at},12.6,10.9,x\n" for at in more))
    assert import_paths(db, [file]).stored == 3
    told = ["2026-01-20 22:30:00", "2026-01-21 22:30:00", "2026-01-23 05:30:00"]
    assert store.read_readings(db)["taken_at"].astype(str).tolist()[1:] == told
