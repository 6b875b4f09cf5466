"""A draft says what kind of file it has before it guesses, and marks what it guessed from a part of a heading.

Truth: headings as workshops, loggers and bus interfaces write them, with the column that a technician would name.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from openpyxl import Workbook

from dashboard.words.described import column_words, columns_to_choose
from ingest import store
from ingest.bus_logs import read_log
from ingest.drafting import draft_source
from ingest.errors import FileRefused, IngestError
from ingest.fields import OUTCOMES, READINGS, TABLES
from ingest.importer import import_paths
from ingest.sources import parse_source, save_source
from ingest.vocabulary import READING_WORDS, REPAIR_WORDS, UNIT_WORDS, beside, meaning, spoken, work_done


@pytest.mark.parametrize(
    ("heading", "words", "never"),
    [
        ("Vehicle speed (km/h)", READING_WORDS, "unit"), ("Vehicle speed", UNIT_WORDS, "unit"),
        ("Fahrzeuggeschwindigkeit", READING_WORDS, "unit"), ("Short term fuel trim", UNIT_WORDS, "fuel"),
        ("Fuel level", UNIT_WORDS, "fuel"), ("Fuel rail pressure", UNIT_WORDS, "fuel"),
        ("Control module voltage", UNIT_WORDS, "system_v"), ("O2 sensor voltage", UNIT_WORDS, "system_v"),
        ("Vehicle speed (km/h)", READING_WORDS, "odometer_km"), ("Vitesse du véhicule", READING_WORDS, "crank_rpm"),
        ("Coolant temp (°C)", READING_WORDS, "temperature_c"), ("Oil temperature", READING_WORDS, "temperature_c"),
    ],
)  # fmt: skip
def test_a_signal_of_the_engine_is_no_column_of_ours(heading: str, words: tuple, never: str) -> None:
    found = meaning(heading, words)
    assert found is None or found.column != never


def test_a_name_of_ours_is_sure_beside_headings_that_are_not(tmp_path: Path) -> None:
    """`crank_min_v` means what the glossary says, where a heading "Min" would be asked about."""
    file = tmp_path / "bay book.csv"
    file.write_text("unit,Date/time,crank_min_v,Drops ground (mV)\nK-101,2024-03-01 08:00,11.2,90\n")
    assert draft_source(file).unsure == ()
    (line,) = import_paths(store.open_database(tmp_path / "f.db", create=True), [file]).lines()
    assert "its headings ('Date/time', 'Drops ground (mV)') are not known" in line
    assert line.endswith('cranktrend source draft "bay book.csv"' + "'")


def test_a_recorded_start_is_refused_with_what_reads_it(tmp_path: Path) -> None:
    """To describe its columns would lead nowhere: it holds one start over time, of no vehicle."""
    file = tmp_path / "clamp logger.csv"
    rows = [f"{n / 500:.3f};{12.6 - 0.9 * (500 < n < 1200):.2f};{200.0 * (500 < n < 1200):.1f}" for n in range(1500)]
    file.write_text("\n".join(["Zeit (s);Spannung (V);Strom (A)", *rows]) + "\n")
    (line,) = import_paths(store.open_database(tmp_path / "f.db", create=True), [file]).lines()
    assert line.startswith("clamp logger.csv: refused: it is one start over time (time, volts, amps): cranktrend trace")
    assert "draft a description" not in line


@pytest.mark.parametrize(
    ("heading", "words", "column"),
    [
        ("Vehicle", READING_WORDS, "unit"), ("Vehicle no.", UNIT_WORDS, "unit"), ("Fuel", UNIT_WORDS, "fuel"),
        ("Fuel type", UNIT_WORDS, "fuel"), ("Kraftstoffart", UNIT_WORDS, "fuel"), ("System voltage", UNIT_WORDS, "system_v"),
        ("Bordnetz (V)", UNIT_WORDS, "system_v"),
        ("Kilometerstand (km)", READING_WORDS, "odometer_km"), ("batt_min", READING_WORDS, "crank_min_v"),
        ("cranking_rpm", READING_WORDS, "crank_rpm"), ("device_id", READING_WORDS, "unit"),
    ],
)  # fmt: skip
def test_a_heading_means_what_a_technician_reads_in_it(heading: str, words: tuple, column: str) -> None:
    found = meaning(heading, words)
    assert found is not None
    assert found.column == column


def test_a_heading_of_which_a_part_is_understood_is_marked(tmp_path: Path) -> None:
    """`Telematics battery lowest` tells of something else too; `Lowest volts while cranking` is understood whole."""
    file = tmp_path / "t.csv"
    file.write_text(
        "Vehicle;Date;Lowest volts while cranking (V);Rest volts gearbox (V)\nA;2026-01-31;10.1;12.6\n",
        encoding="utf-8",
    )
    draft = draft_source(file)
    assert draft.doubt("Lowest volts while cranking (V)") == ""
    assert "'gearbox'" in draft.doubt("Rest volts gearbox (V)")
    assert beside("Ruhespannung am Fahrzeug") == []


def test_of_two_headings_for_one_column_the_one_understood_whole_has_it(tmp_path: Path) -> None:
    """The number of a work order is not what was done."""
    file = tmp_path / "t.csv"
    file.write_text(
        "Work order;Vehicle;Completed;Component;Action\n10012;A;2026-01-31;battery;replaced\n", encoding="utf-8"
    )
    columns = parse_source(draft_source(file).toml).columns
    assert columns["action"] == "action"
    assert "work order" not in columns


def test_a_unit_that_is_not_known_is_not_taken_for_the_usual_one(tmp_path: Path) -> None:
    """Truth: 277 K are 4 °C, no 277 °F; 278 thousand km are no 278 km; a spread of 4 K is one of 4 °C."""
    file = tmp_path / "t.csv"
    file.write_text(
        "Vehicle;Date;Rest (mV);Temperature (K);Odometer (thousand km)\nA;2026-01-31;12600;277.1;278.1\n",
        encoding="utf-8",
    )
    draft = draft_source(file)
    assert "says K, a unit that is not known here" in draft.doubt("Temperature (K)")
    assert "says thousand km" in draft.doubt("Odometer (thousand km)")
    assert parse_source(draft.toml).columns["temperature (k)"] == "temperature_c"
    file.write_text("Standort;Monat;Tief (°C);Streuung (K)\nhill;1;-4;4\n", encoding="utf-8")
    assert "unit" not in draft_source(file).doubt("Streuung (K)")


def test_a_row_of_units_below_a_foreign_heading_is_read_with_it(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text(
        "Truck,Date,Odo,Ambient,Rest,Lowest cranking,Ground drop\n,,mi,°F,V,V,mV\nA,2026-01-31,50000,14,12.6,10.9,90\n",
        encoding="utf-8",
    )
    source = parse_source(draft_source(file).toml)
    assert source.heading_rows == 2
    assert {"odometer_mi", "temperature_f", "rest_v", "crank_min_v", "drop_ground_mv"} <= set(source.columns.values())


@pytest.mark.parametrize("dates", ["dd.mm.yyyy", "[TT.MM.JJJJ hh:mm]", "-", ""])
def test_a_row_of_units_may_say_how_dates_are_written(tmp_path: Path, dates: str) -> None:
    """52 °F below it are 11 °C, no 52 °C."""
    file = tmp_path / "t.csv"
    file.write_text(
        f"Shop,,,\nVehicle,Date,Temp,Rest\n,{dates},°F,[mV]\nA,31.01.2026 07:00,52,12600\n", encoding="utf-8"
    )
    source = parse_source(draft_source(file).toml)
    assert (source.skip_rows, source.heading_rows) == (1, 2)
    assert {"taken_at", "temperature_f", "rest_mv"} <= set(source.columns.values())


@pytest.mark.parametrize(
    "heading", ["km-Stand", "Kilometerstand", "Chilometri", "Kilométrage", "Quilometragem", "Km stand (km)"]
)
def test_a_heading_of_kilometres_names_its_unit(tmp_path: Path, heading: str) -> None:
    file = tmp_path / "t.csv"
    file.write_text(f"Vehicle;Date;Rest (V);{heading}\nA;31.01.2026;12,6;181250\n", encoding="utf-8")
    draft = draft_source(file)
    assert "odometer_km" in parse_source(draft.toml).columns.values()
    assert "unit" not in draft.doubt(heading)
    file.write_text("Vehicle;Date;Rest (V);Mileage\nA;31.01.2026;12,6;181250\n", encoding="utf-8")
    assert "names no unit" in draft_source(file).doubt("Mileage")


def test_repairs_told_in_a_description_are_drafted_as_work(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text("Date;Fleet no;Description;Cost\n31.01.2026;A;new battery;189\n", encoding="utf-8")
    draft = draft_source(file)
    assert parse_source(draft.toml).columns["description"] == "work"
    assert "not clear" in draft.doubt("Description") or "description" in draft.doubt("Description")


def test_a_column_of_minimum_volts_is_asked_what_it_is_the_minimum_of(tmp_path: Path) -> None:
    """Truth: a meter's MIN is the dip, a slow logger's least sample a bound, the lowest of steady turning neither."""
    file = tmp_path / "t.csv"
    file.write_text("Vehicle;Date;Min V;Rest V\nA;2026-01-31;8.1;12.6\n", encoding="utf-8")
    draft = draft_source(file)
    assert "crank_dip_v" in draft.doubt("Min V")
    assert 'lowest_is = "sampled"' in draft.doubt("Min V")
    assert "'Min V' = 'crank_min_v'" in draft.toml.replace('"', "'")
    described = draft.toml.split("[columns]")
    source = parse_source(f'{described[0]}[columns]{described[1]}\n[constants]\nlowest_is = "sampled"\n')
    assert source.constants == {"lowest_is": "sampled"}


def test_a_heading_that_says_sampled_is_asked_about_as_a_minimum_is(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text("Vehicle;Date;Lowest V (sampled);Rest V\nA;2026-01-31;8.1;12.6\n", encoding="utf-8")
    assert 'lowest_is = "sampled"' in draft_source(file).doubt("Lowest V (sampled)")


def test_each_kind_of_table_is_named_before_it_is_guessed(tmp_path: Path) -> None:
    files = {
        "readings": "Vehicle;Test date;Rest volts (V);Lowest volts (V)\nA;2026-01-31;12.6;10.1\n",
        "vehicles": "Vehicle;Class;System voltage;Depot\nA;van;12;hill\n",
        "repairs": "Vehicle;Date;Part;Action;Remark\nA;2026-01-31;battery;replaced;cold\n",
        "the depots' monthly lows": "Yard;Month;Average low (°C)\nhill;1;-4.5\n",
    }
    for kind, text in files.items():
        file = tmp_path / f"{kind}.csv"
        file.write_text(text, encoding="utf-8")
        draft = draft_source(file)
        assert draft.kind.startswith(f"taken for {kind}: "), draft.kind
        parse_source(draft.toml)


def test_no_starts_and_repairs_in_words_are_read_by_their_drafts_as_they_stand(tmp_path: Path) -> None:
    """From memory, as fleets write them; what does not say one part and one action, or is no start, is set aside."""
    files = {
        "vehicles": "Fleet no.;Type;System voltage;Garage\nA;van;12 V;hill\n",
        "breakdowns": "Vehicle;Date;What happened\nA;13.11.2026;didn't start\nA;14.11.2026;Would not crank, jump started\n"
        "A;15.11.2026;clicks only\nA;16.11.2026;flat tyre\nA;17.11.2026;did not start the engine, as nobody was there\n",
        "repairs": "Vehicle;Date;Work done\nA;13.11.2026;batt. changed\nA;14.11.2026;new starter (reman)\n"
        "A;15.11.2026;earth strap cleaned\nA;16.11.2026;alternator belt\nA;17.11.2026;battery not replaced\n"
        "A;18.11.2026;battery charged, starter renewed\n",
    }
    db = store.open_database(tmp_path / "f.db", create=True)
    for name, text in files.items():
        file = tmp_path / f"{name}.csv"
        file.write_text(text, encoding="utf-8")
        save_source(db, name, draft_source(file).toml)
        import_paths(db, [file], now=datetime(2026, 11, 30, 8))
    starts = [tuple(row.values()) for row in db.query("SELECT taken_at, outcome FROM readings ORDER BY taken_at")]
    assert [(at[:10], how) for at, how in starts] == [
        ("2026-11-13", "no_start"), ("2026-11-14", "no_start"), ("2026-11-15", "click"),
    ]  # fmt: skip
    done = [tuple(row.values()) for row in db.query("SELECT done_on, part, action FROM repairs ORDER BY done_on")]
    assert done == [
        ("2026-11-13", "battery", "replaced"), ("2026-11-14", "starter_motor", "replaced"), ("2026-11-15", "ground_path", "cleaned"),
    ]  # fmt: skip
    assert db["set_aside"].count == 5


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        ("nur Klick", "click"), ("klickt nur", "click"), ("Magnetschalter klackt", "click"), ("kein Klicken", "no_click"),
        ("rattert", "chatter"), ("dreht langsam", "slow"), ("Anlasser dreht träge", "slow"), ("springt schlecht an", "slow"),
        ("Anlasser dreht leer", "spins"), ("dreht, springt nicht an", "cranks_only"), ("springt nicht an", "no_start"),
        ("springt sofort an", "started"), ("sprang an", "started"), ("started fine", "started"), ("no crank", "no_start"),
        ("nothing happens", "no_click"), ("ok", ""), ("gut", ""),
        ("dreht nicht", ""), ("langsamer Fahrer", ""), ("Klicksystem geprüft", ""),
    ],
)  # fmt: skip
def test_how_a_start_went_is_read_as_german_speaking_workshops_say_it(said: str, outcome: str) -> None:
    """From memory; "ok" may be said of the whole inspection, and is asked about."""
    assert spoken(said, OUTCOMES) == outcome


def test_a_time_of_two_columns_that_cannot_be_read_is_said_with_their_headings(tmp_path: Path) -> None:
    db = store.open_database(tmp_path / "f.db", create=True)
    units, log = tmp_path / "units.csv", tmp_path / "log.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nA,van,12,hill\n")
    log.write_text("Vehicle no.,Date,Time,Battery at rest (V)\nA,31.02.2026,07:23,12.6\nA,28.02.2026,07:20,12.6\n")
    save_source(db, "log", draft_source(log).toml)
    import_paths(db, [units, log], now=datetime(2026, 11, 30, 8))
    (row,) = db.query("SELECT reason FROM set_aside")
    assert "taken_at (Date, Time): '31.02.2026 07:23' is not a date in the calendar" in row["reason"]


def test_each_sheet_of_a_workbook_is_drafted_by_its_name(tmp_path: Path) -> None:
    """A workbook of vehicles and repairs needs two descriptions, and both read it as their drafts stand."""
    book, file = Workbook(), tmp_path / "all.xlsx"
    fleet, work = book.active, book.create_sheet("Workshop")
    fleet.title = "Fleet"
    for row in (("Fleet no.", "Type", "System voltage", "Garage"), ("A", "van", 12, "hill")):
        fleet.append(row)
    for row in (("Vehicle", "Date", "Work done"), ("A", datetime(2026, 11, 13), "new battery")):
        work.append(row)
    book.save(file)
    assert draft_source(file).other_sheets == ("Workshop",)
    with pytest.raises(FileRefused, match=r"all\.xlsx has no sheet 'Stock'; it has 'Fleet', 'Workshop'"):
        draft_source(file, "Stock")
    db = store.open_database(tmp_path / "f.db", create=True)
    for name in ("Fleet", "Workshop"):
        save_source(db, name, draft_source(file, name).toml)
    import_paths(db, [file], now=datetime(2026, 11, 30, 8))
    assert [row["unit"] for row in db.query("SELECT unit FROM units")] == ["A"]
    assert [row["part"] for row in db.query("SELECT part FROM repairs")] == ["battery"]


def test_a_foreign_sheet_beside_one_of_ours_is_drafted_and_said_to_be_left_out(tmp_path: Path) -> None:
    file, book = tmp_path / "book.xlsx", Workbook()
    fleet, read = book.active, book.create_sheet("Measured")
    assert fleet is not None
    for row in (["unit", "vehicle_class", "system_v", "depot"], ["A", "van", 12, "hill"]):
        fleet.append(row)
    for row in (["Vehicle", "Date", "Rest volts (V)"], ["A", datetime(2026, 1, 31), 12.6]):
        read.append(row)
    book.create_sheet("Notes").append(["call", "the supplier"])
    book.save(file)
    db = store.open_database(tmp_path / "f.db", create=True)
    notes = import_paths(db, [file]).files[0].notes
    assert '--sheet "Measured"\' drafts a description of it' in notes[0]
    assert notes[1].endswith("sheet 'Notes' left out: its headings are not known")
    for named in ("", "Measured"):
        assert 'sheet = "Measured"' in draft_source(file, named).toml
    with pytest.raises(IngestError, match="no description is needed"):
        draft_source(file, str(fleet.title))
    save_source(db, "measured", draft_source(file).toml)
    assert import_paths(db, [file], now=datetime(2026, 11, 30, 8)).files[0].stored == 1


def test_sheets_with_the_same_headings_have_one_description(tmp_path: Path) -> None:
    """A sheet for each month: what January leaves open (1.2. or 2.1.?), February proves; a description of one says why others are left."""
    book, file = Workbook(), tmp_path / "winter.xlsx"
    for title, day in (("Januar", "02.01.23"), ("Februar", "13.02.23")):
        sheet = book.create_sheet(title)
        sheet.append(["Fahrzeug", "Datum", "Ruhespannung (V)", "Anlassstrom (A)"])
        sheet.append(["A", day, 12.58, 168])
    book.save(file)
    draft = draft_source(file)
    assert (draft.questions, draft.other_sheets) == ((), ())
    assert parse_source(draft.toml).sheet == "*"
    assert parse_source(draft_source(file, "Februar").toml).sheet == "Februar"
    db = store.open_database(tmp_path / "f.db", create=True)
    text = draft.toml.replace('sheet = "*"', 'sheet = "Februar"')
    (tmp_path / "one.toml").write_text(text, encoding="utf-8")
    outcome = import_paths(db, [file], source=str(tmp_path / "one.toml"), now=datetime(2026, 11, 30, 8))
    assert outcome.rows == 1
    assert outcome.files[0].notes[0] == "sheet 'Januar' left out: the source description is of sheet 'Februar'"
    save_source(db, "winter", draft.toml)
    assert import_paths(db, [file], now=datetime(2026, 11, 30, 8)).rows == 2


def test_headings_of_a_strange_fleet_are_understood(tmp_path: Path) -> None:
    """Common practice: OAT is the outside air, Vbat a battery's volts."""
    file, units = tmp_path / "other sites.csv", tmp_path / "Liste.csv"
    file.write_text(
        "Vehicle no,Date/time,OAT,Vbat rest,Vbat min crank,Start OK?\nA,25.11.2026 07:24,2.0,12.69,11.59,ok\n"
    )
    units.write_text(
        "Kennung;Bauart;Bordnetz;Kaltstartstrom (A);Standort;Erstzulassung\nA;Bus;12 V;640;Hof;25.11.2016\n"
    )
    drafts = draft_source(file), draft_source(units)
    read = {line for draft in drafts for line in draft.toml.splitlines() if line.startswith('"')}
    assert {
        '"Kennung" = "unit"',
        '"Kaltstartstrom (A)" = "rated_cca_a"',
        '"Erstzulassung" = "in_service"',
    } <= read
    assert {line.split("  #")[0] for line in read} >= {
        '"OAT" = "temperature_c"',
        '"Vbat rest" = "rest_v"',
        '"Vbat min crank" = "crank_min_v"',
    }


def trace_text() -> str:
    """Two seconds at 200 Hz: rest, a start, running."""
    t = np.arange(0.0, 2.0, 0.005)
    on = (t > 0.5) & (t < 1.4)
    volts, amps = np.where(on, 10.2, 12.6), np.where(on, 180.0 + 20.0 * np.sin(60.0 * t), 0.0)
    return "time (s);volts (V);amps (A)\n" + "".join(
        f"{a:.3f};{v:.3f};{i:.1f}\n" for a, v, i in zip(t, volts, amps, strict=True)
    )


def obd_text() -> str:
    """One row a second of what a vehicle's interface tells."""
    rows = "".join(f"{k},{0 if k < 5 else 800},0,21,{12.6 if k < 5 else 14.1}\n" for k in range(30))
    return "Time (sec),Engine RPM,Vehicle speed (km/h),Coolant temperature (C),Control module voltage (V)\n" + rows


FRAMES = "".join(f"(1700000000.{k:06d}) can0 0CF00400#F07D7D00000000FF\n" for k in range(40))


def queries_text() -> str:
    """What an interface answered, one query a row, and the same with German headings side by side."""
    return "time_s;pid;value\n" + "".join(
        f"{k / 4:.2f};{'0C' if k % 2 else '42'};{12.6 if k % 2 == 0 else 0}\n" for k in range(60)
    )


def german_text() -> str:
    return "Zeit (s);Motordrehzahl (1/min);Batteriespannung (V)\n" + "".join(
        f"{k};{0 if k < 5 else 800};{12.6 if k < 5 else 14.1}\n" for k in range(30)
    )


@pytest.mark.parametrize("text", [queries_text(), german_text()], ids=["one query a row", "German"])
def test_what_the_log_command_reads_is_sent_to_it(tmp_path: Path, text: str) -> None:
    """Truth: cranktrend log takes both."""
    file = tmp_path / "brought.csv"
    file.write_text(text, encoding="utf-8")
    assert read_log(file).signals
    with pytest.raises(FileRefused, match=r"many signals.*cranktrend log"):
        draft_source(file)


def test_dates_that_no_heading_explains_are_what_the_table_dates(tmp_path: Path) -> None:
    """A vehicle has no time of a reading: its date is the first day in service, and the draft is a valid description."""
    file = tmp_path / "t.csv"
    file.write_text(
        "Fleet number;Type;Fuel type;System voltage;Depot;First used\nA;van;diesel;12;hill;2019-03-31\n",
        encoding="utf-8",
    )
    draft = draft_source(file)
    assert dict(draft.described.columns) == {
        "Fleet number": "unit", "Type": "vehicle_class", "Fuel type": "fuel", "System voltage": "system_v",
        "Depot": "depot", "First used": "in_service",
    }  # fmt: skip
    assert "holds dates" in draft.doubt("First used")
    assert parse_source(draft.toml).table is TABLES["units"]


def test_a_logger_s_headings_are_drafted_and_what_is_guessed_is_marked(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text("device_id,timestamp,ambient,batt_min\nK1,2026-01-31T07:00,-3,10.1\n", encoding="utf-8")
    draft = draft_source(file)
    columns = dict(draft.described.columns)
    assert columns == {
        "device_id": "unit",
        "timestamp": "taken_at",
        "ambient": "temperature_c",
        "batt_min": "crank_min_v",
    }
    assert draft.doubt("device_id")
    assert draft.doubt("timestamp") == ""
    assert "sampled" in draft.doubt("batt_min")


def test_too_few_headings_are_said_to_be_too_few(tmp_path: Path) -> None:
    """One or two that are understood are not said to be none."""
    file = tmp_path / "t.csv"
    file.write_text("Vehicle;Colour;Shape\nA;red;square\n", encoding="utf-8")
    with pytest.raises(FileRefused, match="fewer than 3 headings in it are understood"):
        draft_source(file)


@pytest.mark.parametrize(
    ("text", "said"),
    [(trace_text(), "one start over time.*cranktrend trace"), (obd_text(), "many signals.*cranktrend log"),
     (FRAMES, "many signals.*cranktrend log"), ("MDF     4.10    ......" + "x" * 200, "many signals.*cranktrend log")],
    ids=["trace", "obd", "frames", "measurement file"],
)  # fmt: skip
def test_a_recording_or_a_log_is_no_table_and_is_sent_where_it_is_read(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "brought.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(FileRefused, match=said):
        draft_source(file)


def test_every_choice_of_the_form_has_words_and_no_two_the_same() -> None:
    """Somebody chooses by the words alone."""
    for table in (READINGS, TABLES["units"], TABLES["repairs"]):
        said = [column_words(name, table) for name in columns_to_choose(table)]
        assert len(set(said)) == len(said)
        assert not any("_" in words for words in said), said


def test_what_the_form_changes_stands_in_the_description(tmp_path: Path) -> None:
    """The parts a form asks for make the same text as the draft, and a valid one when they change."""
    from dataclasses import replace

    file = tmp_path / "t.csv"
    file.write_text("Vehicle;Date;Lowest (V);Clamp mV\nA;03/04/2026;10.1;180\n", encoding="utf-8")
    described = draft_source(file).described
    assert described.date_order == "?"
    columns = tuple((heading, "-" if heading == "Clamp mV" else target) for heading, target in described.columns)
    source = parse_source(replace(described, columns=columns, date_order="day-first").toml())
    assert source.date_order == "day-first"
    assert source.columns["clamp mv"] == "-"
    assert source.clamp_mv_per_a == {}


def test_a_workshop_s_own_language_is_read_as_it_stands(tmp_path: Path) -> None:
    """Headings and words of a German-speaking office, each written by hand; a stamp of the time is no temperature."""
    head = "Wagen;erledigt am;Arbeit;Grund"
    said = {
        "Anlasser ersetzt;Startausfall": ("starter_motor", "replaced", "no_start"),
        "Batterie geladen;vorbeugend": ("battery", "charged", "preventive"),
        "Masseband gereinigt;Beanstandung": ("ground_path", "cleaned", "complaint"),
        "neuer Magnetschalter;Startausfall": ("solenoid_contacts", "replaced", "no_start"),
        "Steuerleitung erneuert;vorbeugend": ("control_circuit", "replaced", "preventive"),
        "Pluskabel nachgezogen;vorbeugend": ("positive_cable", "tightened", "preventive"),
    }
    rows = [f"A;{13 + k}.11.2023;{text}" for k, text in enumerate(said)]
    file = tmp_path / "arbeiten.csv"
    file.write_text("\n".join([head, *rows, "A;29.11.2023;Radlager ersetzt;vorbeugend"]) + "\n", encoding="cp1252")
    db = store.open_database(tmp_path / "own.db")
    units = tmp_path / "fahrzeuge.csv"
    units.write_text(
        "Wagennummer;Typ;Bordnetz (V);Standort;Antrieb;In Betrieb seit\nA;Kleinbus;12;Hof;Diesel;13.02.2020\n",
        encoding="utf-8",
    )
    for one in (units, file):
        draft = draft_source(one)
        assert not draft.questions
        assert not draft.described.unsure.keys() - {"date_order"}
        save_source(db, one.stem, draft.toml)
    found = import_paths(db, [units, file])
    assert [(one.stored, one.set_aside) for one in found.files] == [(1, 0), (6, 1)]
    told = store.read_repairs(db)[["part", "action", "reason"]].itertuples(index=False, name=None)
    assert set(told) == set(said.values())
    meters = tmp_path / "messungen.csv"
    meters.write_text(
        "Wagen;Zeitstempel;Ruhespannung (V);Spannungsfall Masse (mV)\nA;2023-11-13 07:00;12,6;90\n", encoding="utf-8"
    )
    assert dict(draft_source(meters).described.columns) == {
        "Wagen": "unit", "Zeitstempel": "taken_at", "Ruhespannung (V)": "rest_v", "Spannungsfall Masse (mV)": "drop_ground_mv",
    }  # fmt: skip


@pytest.mark.parametrize(
    "headings",
    [
        "N° véhicule;Date;Heure;Tension au repos (V);Tension mini démarrage (V);Intensité démarreur (A);Chute câble + (mV);Chute masse (mV)"
        ";Température (°C);Observations",
        "Matrícula;Fecha;Hora;Tensión en reposo (V);Tensión mínima arranque (V);Corriente de arranque (A);Caída positivo (mV);Caída masa (mV)"
        ";Temperatura ambiente (°C);Observaciones",
        "Targa;Data;Ora;Tensione a riposo (V);Tensione minima avviamento (V);Corrente di avviamento (A);Caduta positivo (mV);Caduta massa (mV)"
        ";Temperatura (°C);Note",
        "Nr rejestracyjny;Data;Godzina;Napięcie spoczynkowe (V);Napięcie minimalne rozruchu (V);Prąd rozruchu (A);Spadek napięcia + (mV)"
        ";Spadek napięcia masa (mV);Temperatura (°C);Uwagi",
        "Fordon;Datum;Tid;Vilospänning (V);Minimal startspänning (V);Startström (A);Spänningsfall plus (mV);Spänningsfall jord (mV)"
        ";Utetemperatur (°C);Anmärkning",
        "Araç;Tarih;Saat;Dinlenme gerilimi (V);Minimum marş gerilimi (V);Marş akımı (A);Artı gerilim düşüşü (mV);Şasi gerilim düşüşü (mV)"
        ";Hava sıcaklığı (°C);Not",
        "Kenteken;Datum;Tijd;Rustspanning (V);Minimum spanning bij starten (V);Startstroom (A);Spanningsverlies plus (mV)"
        ";Spanningsverlies massa (mV);Buitentemperatuur (°C);Opmerking",
        "Viatura;Data;Hora;Tensão em repouso (V);Tensão mínima no arranque (V);Corrente de arranque (A);Queda no positivo (mV)"
        ";Queda na massa (mV);Temperatura (°C);Observações",
    ],
)  # fmt: skip
def test_headings_of_eight_languages_are_read_whole(tmp_path: Path, headings: str) -> None:
    """As workshops of these countries write them (from memory); of a minimum is asked what it is the lowest of."""
    file = tmp_path / "messwerte.csv"
    file.write_text(f"{headings}\nA;28.11.2023;07:45;12,61;10,42;171;120;95;-3,5;kalt\n", encoding="utf-8")
    draft = draft_source(file)
    assert [target for _, target in draft.described.columns] == [
        "unit", "taken_on", "taken_time", "rest_v", "crank_min_v", "crank_a", "drop_positive_mv", "drop_ground_mv", "temperature_c", "note",
    ]  # fmt: skip
    assert draft.questions == ()
    assert len(draft.unsure) == 1
    assert "or what a meter's MIN held" in draft.unsure[0]


@pytest.mark.parametrize(
    ("heading", "words", "column"),
    [
        ("Spannung vor dem Start (V)", READING_WORDS, "rest_v"), ("Spannung beim Anlassen", READING_WORDS, "crank_min_v"),
        ("Temperatura motore (°C)", READING_WORDS, ""), ("Immatriculation", UNIT_WORDS, "unit"),
        ("Data immatricolazione", UNIT_WORDS, "in_service"), ("Brandstof", UNIT_WORDS, "fuel"), ("Uit dienst", UNIT_WORDS, "out_of_service"),
        ("Spannung nach dem Start (V)", READING_WORDS, ""), ("Corrente max (A)", READING_WORDS, "peak_a"),
        ("Drop - (mV)", READING_WORDS, "drop_ground_v"),
        ("Drop - contacts (mV)", READING_WORDS, "drop_contacts_v"), ("dU Plus [mV]", READING_WORDS, "drop_positive_v"),
        ("Rest V after charge", READING_WORDS, "rest_v"), ("Charging V", READING_WORDS, "charging_v"),
        ("Clamp avg (A)", READING_WORDS, "crank_a"), ("Part no", REPAIR_WORDS, ""), ("Reg.", REPAIR_WORDS, "unit"),
        ("N° parc", UNIT_WORDS, "unit"), ("Voltage at start", READING_WORDS, ""), ("Battery temp", READING_WORDS, "temperature_c"),
    ],
)  # fmt: skip
def test_a_heading_means_its_own_side_of_the_start(heading: str, words: tuple, column: str) -> None:
    found = meaning(heading, words)
    assert (found.column if found else "") == column


@pytest.mark.parametrize(
    ("said", "part", "action"),
    [
        ("batterie remplacée", "battery", "replaced"), ("démarreur remplacé", "starter_motor", "replaced"),
        ("câble de masse nettoyé", "ground_path", "cleaned"), ("motor de arranque sustituido", "starter_motor", "replaced"),
        ("batería cargada", "battery", "charged"), ("nuova batteria", "battery", "replaced"), ("accu vervangen", "battery", "replaced"),
        ("massakabel aangedraaid", "ground_path", "tightened"), ("wymiana akumulatora", "battery", "replaced"),
        ("wymiana rozrusznika", "starter_motor", "replaced"), ("batteriet bytt", "battery", "replaced"),
        ("batterie", "", ""), ("rozrusznik sprawdzony", "", ""),
    ],
)  # fmt: skip
def test_repairs_are_read_as_other_countries_say_them(said: str, part: str, action: str) -> None:
    assert work_done(said) == (part, action)


_PAGE = "Fahrzeug: K-{n};;\nDatum;Ruhespannung (V);Anlassstrom (A)\n2{n}.11.2023;12,6;171\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("unit,2023-11-01,2023-11-08,2023-11-15\nK-101,12.6,12.5,12.6\n", "it has a column for each day ('2023-11-01', '2023-11-08' ...)"),
        ("Fahrzeug;Wert;1.11.2023;8.11.2023;15.11.2023\nK-101;V;12,6;12,5;12,6\n", "it has a column for each day ('1.11.2023'"),
        ("unit,2023-11-01 rest V,2023-11-08 rest V,2023-11-15 rest V\nK-101,12.6,12.5,12.6\n", "it has a column for each day ('2023-11-01 rest V'"),
        ("Vehicle,Date,Rest V 1.11.2023,Rest V 8.11.2023,Min V 1.11.2023,Min V 8.11.2023\nK-101,,12.6,12.5,9.1,9.2\n",
         "it has a column for each day ('Rest V 1.11.2023'"),
        ("depot,Jan,Feb,Mar,Apr\nhill,-6,-5,-2,2\n", "it has a column for each month ('Jan', 'Feb' ...); allowed is a row for each, with depot"),
        ("unit,K-101,K-102,K-201\nrest_v,12.6,12.6,25.2\n", "it has a column for each vehicle or reading ('K-101', 'K-102' ...)"),
        (_PAGE.format(n=1) + _PAGE.format(n=2), "it has the same heading in lines 2 and 5 and no column for the vehicle; allowed is one table"),
        ("Fahrzeug;Zeit;Größe;Wert\nK-101;13.02.2023 07:30;Ruhespannung;12,6\nK-101;13.02.2023 07:30;Anlassstrom;171\n",
         "it has measurements below each other ('Ruhespannung', 'Anlassstrom' ...); allowed is a row for each reading, with unit"),
        ("unit;K-101;K-102\ntaken_at;13.02.2023 07:30;14.02.2023 07:30\nrest_v;12,6;12,5\ncrank_a;171;168\n",
         "it has measurements below each other ('rest_v'"),
        ("unit taken_at rest_v\nK-101 2023-11-01 12.6\n", "it has one value a line; allowed between values are commas"),
        ("<html><table><tr><td>unit</td></tr></table></html>", "a web page or XML, not a table"),
        ('[{"unit": "K-101", "rest_v": 12.6}]', "JSON, not a table"),
        ("%PDF-1.7\n", "a PDF, not a table"),
        ("taken_at,rest_v\n2023-11-01,12.6\n", "no column is unit, which readings need; allowed is a column for it, or a constant"),
    ],
)  # fmt: skip
def test_a_table_of_another_shape_is_refused_with_the_shape_that_is_wanted(
    tmp_path: Path, text: str, said: str
) -> None:
    file = tmp_path / "t.csv"
    file.write_text(text, encoding="utf-8")
    (line,) = import_paths(store.open_database(tmp_path / "f.db", create=True), [file]).lines()
    assert line.startswith(f"t.csv: refused: {said}")


@pytest.mark.parametrize("rows", [5, 39, 60])
def test_a_table_for_each_vehicle_is_known_by_its_second_heading_however_far_down(tmp_path: Path, rows: int) -> None:
    """Forty rows are looked through for a heading; the second page begins within them, with their last, and beyond."""
    file, head = tmp_path / "t.csv", "Datum;Ruhespannung (V);Anlassstrom (A)"
    pages = [
        [f"Fahrzeug: K-{n};;", head, *(f"{1 + day % 28}.{n + day // 28}.2023;12,6;17{day % 9}" for day in range(rows))]
        for n in (1, 5)
    ]
    file.write_text("\n".join([*pages[0], *pages[1]]) + "\n")
    db = store.open_database(tmp_path / "f.db", create=True)
    said = f"has the same heading in lines 2 and {rows + 4} and no column for the vehicle"
    assert said in import_paths(db, [file]).lines()[0]
    with pytest.raises(FileRefused, match=said):
        draft_source(file)
    file.write_text("\n".join(pages[0]) + "\n")
    assert "same heading" not in import_paths(db, [file]).lines()[0], "one vehicle's own page"


def test_numbered_headings_that_are_understood_are_no_table_of_another_shape(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text(
        "Vehicle;Date;Rest volts (V);Cell 1;Cell 2;Cell 3;Cell 4;Cell 5;Cell 6\nK-101;28.11.2023;12,6;2;2;2;2;2;2\n"
    )
    assert dict(draft_source(file).described.columns)["Rest volts (V)"] == "rest_v"


def test_pages_that_repeat_a_heading_are_one_table(tmp_path: Path) -> None:
    """The vehicle's column is called what nobody can know; a person names it, and the heading of the next page is no row."""
    file = tmp_path / "t.csv"
    page = "Seite {n};;\nNr.;Datum;Ruhespannung (V)\nK-10{n};2{n}.11.2023;12,6\n"
    file.write_text("Pruefungen;;\n" + page.format(n=1) + page.format(n=2), encoding="utf-8")
    (line,) = import_paths(store.open_database(tmp_path / "f.db", create=True), [file]).lines()
    assert line.endswith("draft a description with 'cranktrend source draft t.csv'")


def test_lows_of_a_year_in_fahrenheit_are_not_taken_for_warm_nights(tmp_path: Path) -> None:
    """Truth: mean lows of a temperate place, -4 to 17 °C, whose median is 5 °C or 42 °F."""
    lows_c = [-4, -3, 1, 4, 9, 14, 17, 17, 13, 7, 2, -2]
    for factor, offset, column in ((1.0, 0.0, "low_c"), (1.8, 32.0, "low_f")):
        rows = [f"hill;{month};{low * factor + offset:.0f}" for month, low in enumerate(lows_c, start=1)]
        file = tmp_path / "t.csv"
        file.write_text("\n".join(["Site;Month;Average low", *rows]) + "\n", encoding="utf-8")
        draft = draft_source(file)
        assert parse_source(draft.toml).columns["average low"] == column
        assert "names no unit" in draft.doubt("Average low")


def test_daily_lows_under_other_headings_are_drafted(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text("Station;Datum;Tmin (°C)\nHof;28.11.2023;-4,5\n", encoding="utf-8")
    draft = draft_source(file)
    assert draft.described.table is TABLES["lows"]
    assert dict(draft.described.columns) == {"Station": "depot", "Datum": "date", "Tmin (°C)": "low_c"}


def test_amps_at_the_start_may_be_the_inrush_and_are_asked_about() -> None:
    found = {
        heading: meaning(heading, READING_WORDS)
        for heading in ("Amps at start", "Cranking amps", "Courant de démarrage")
    }
    assert {heading: (word.column, word.sure) for heading, word in found.items() if word} == {
        "Amps at start": ("crank_a", False), "Cranking amps": ("crank_a", True), "Courant de démarrage": ("crank_a", True),
    }  # fmt: skip


def test_a_description_of_a_utf_16_file_does_not_end_the_import_of_others(tmp_path: Path) -> None:
    db = store.open_database(tmp_path / "f.db", create=True)
    wide, plain = tmp_path / "parc.csv", tmp_path / "flotte.csv"
    wide.write_text("N° parc\tType\tTension\tSite\nF-1\tfourgon\t12\tLyon\n", encoding="utf-16")
    plain.write_text("Kennzeichen;Typ;Bordnetz;Standort\nF-2;Bus;24;Hof\n")
    save_source(db, "parc", draft_source(wide).toml)
    first, second = import_paths(db, [wide, plain]).files
    assert (first.stored, first.error) == (1, "")
    assert second.describe
    assert "are not known" in second.error
