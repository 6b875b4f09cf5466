"""The commands as a person or a pipe meets them: results on standard output only, exit codes, one line for an error.

Truth: the contract (commands, JSON names, exit codes), and files that the test itself wrote.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from samples_fleet import FEW, few, few_folder, quick

from dashboard.cli.main import main
from dashboard.files.as_csv import LIST_COLUMNS
from dashboard.words.plain_text import formula_safe
from demo_fleet.export import export_fleet
from ingest.backups import backup
from ingest.records import read_pins
from ingest.store import open_database, read_readings

DAY = "2022-12-12"
CONTRACT = (*LIST_COLUMNS,)


@dataclass(frozen=True)
class Ran:
    """Exit code and both streams of one command."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database into which files of a few vehicles were imported through the front door."""
    return few_folder(tmp_path_factory.mktemp("fleet"))


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Few looks at the past; a working directory of its own, so that no command finds or leaves a database here."""
    quick(monkeypatch)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRANKTREND_DB", raising=False)


@pytest.fixture
def own(database: Path, tmp_path: Path) -> Path:
    """A copy of the database that a test may write to."""
    return backup(open_database(database, create=False), tmp_path / "own.db")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process; a refused option counts as its exit code."""

    def _run(*words: object, db: Path | None = None) -> Ran:
        capsys.readouterr()
        start = ["--db", str(db)] if db else []
        try:
            code = main([*start, *(str(w) for w in words)])
        except SystemExit as left:
            code = int(left.code or 0)
        got = capsys.readouterr()
        return Ran(code, got.out, got.err)

    return _run


def rows_of(text: str) -> list[dict]:
    """Units of a JSON list; refuses NaN and Infinity, which are no JSON."""
    body = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    return body["units"]


# --- import ----------------------------------------------------------------------------------------------------------


def test_the_second_import_changes_nothing(run: Run, own: Path, database: Path) -> None:
    """Contract: every file may come twice."""
    again = run("import", database.parent / "files", db=own)
    assert again.code == 1, "a row that is still set aside is not done with"
    assert " 0 stored" in again.out
    assert "1 still set aside" in again.out
    assert again.out.count("\n") == 1
    assert "readings.csv" in again.err


def test_import_exit_codes(run: Run, tmp_path: Path) -> None:
    """Contract: 0 all stored or known, 1 some rows set aside, 2 a file refused."""
    units = tmp_path / "u.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nA,van,12,hill\n")
    assert run("import", units, db=tmp_path / "x.db").code == 0
    assert run("import", units, db=tmp_path / "x.db").code == 0
    units.write_text("unit,vehicle_class,system_v,depot\nA,van,12,hill\nB,van,13,hill\n")
    assert run("import", units, db=tmp_path / "x.db").code == 1
    (tmp_path / "bad.csv").write_bytes(b"\x00\x01\x02")
    refused = run("import", tmp_path / "bad.csv", db=tmp_path / "x.db")
    assert refused.code == 2
    assert "bad.csv" in refused.err
    assert run("import", tmp_path / "nothing.csv", db=tmp_path / "x.db").code == 2
    assert run("import", units, "--source", "no such source", db=tmp_path / "x.db").code == 2


def test_a_dry_run_stores_nothing(run: Run, tmp_path: Path) -> None:
    """Contract of --dry-run: the same counts, an empty database."""
    units = tmp_path / "u.csv"
    units.write_text("unit,vehicle_class,system_v,depot\nA,van,12,hill\n")
    dry = run("import", "--dry-run", units, db=tmp_path / "x.db")
    assert "1 stored" in dry.out
    assert "no vehicles yet" in run("risk", db=tmp_path / "x.db").err
    assert run("import", units, db=tmp_path / "x.db").out.split(",")[0].split(":")[0] == "1 file"


# --- risk ------------------------------------------------------------------------------------------------------------


def test_risk_as_json_has_the_contract_s_names(run: Run, database: Path) -> None:
    """DEVELOPERS.md, the contract: names, order, flagged only unless --all, highest probability first, nothing but JSON on stdout."""
    some, every = (run("risk", "--as-of", DAY, "--format", "json", *more, db=database) for more in ((), ("--all",)))
    assert (some.code, every.code) == (0, 0)
    body = json.loads(some.out)
    assert list(body) == ["as_of", "horizon_days", "units", "assumed", "cautions"]
    (spells,) = body["assumed"]
    assert spells.startswith("Cold spells of "), "no daily lows of a depot are known"
    assert (body["as_of"], body["horizon_days"]) == (DAY, 30)
    flagged, all_units = rows_of(some.out), rows_of(every.out)
    assert len(all_units) == len(FEW)
    assert flagged == [u for u in all_units if u["flagged"]]
    assert flagged
    assert all(tuple(n for n in u if n != "evidence") == CONTRACT for u in all_units), "evidence is no cell of a table"
    probability = [u["no_start_probability"] for u in all_units]
    assert probability == sorted(probability, reverse=True)


def test_the_three_forms_say_the_same(run: Run, database: Path) -> None:
    """Property: table, CSV and JSON list the same vehicles in the same order."""
    table, sheet, body = (run("risk", "--as-of", DAY, "--format", f, db=database).out for f in ("table", "csv", "json"))
    names = [u["unit"] for u in rows_of(body)]
    rows = list(csv.DictReader(io.StringIO(sheet)))
    assert [r["unit"] for r in rows] == names
    assert tuple(rows[0]) == CONTRACT
    assert [float(r["no_start_probability"]) for r in rows] == [u["no_start_probability"] for u in rows_of(body)]
    assert rows[0]["reasons"] == "; ".join(rows_of(body)[0]["reasons"])
    assert [line.split()[0] for line in table.splitlines() if line.startswith("U0")] == names
    assert "wheels chocked" in table, "the usual cautions where someone acts"
    assert "Cold spells" in " ".join(table.split()), "what the list assumes goes where the list goes"
    charged = [row for row in rows if "charge" in (row["next_test"] or row["action"]).casefold()]
    assert charged
    assert all("Never charge a frozen battery." in row["caution"] for row in charged)


@pytest.mark.nightly
def test_risk_knows_nothing_of_its_day_and_later(run: Run, database: Path, tmp_path: Path) -> None:
    """Contract: the list for D equals that of a database into which only files cut at D were imported."""
    day, made = pd.Timestamp(DAY), few()
    cut = replace(
        made,
        readings=made.readings[made.readings["taken_at"] < day],
        repairs=made.repairs[made.repairs["done_on"] < day],
        forecast=made.forecast[made.forecast["date"] < day],
    )
    export_fleet(cut, tmp_path / "cut")
    run("import", tmp_path / "cut", db=tmp_path / "cut.db")
    for form in ("json", "table"):
        one, other = (
            run("risk", "--as-of", DAY, "--all", "--format", form, db=d) for d in (database, tmp_path / "cut.db")
        )
        assert one.out == other.out


@pytest.mark.nightly
def test_a_line_of_the_backtest_is_the_list_of_its_day(run: Run, database: Path) -> None:
    """Contract: `backtest --format jsonl` prints one such object a line, equal to `risk --all` of that day."""
    got = run("backtest", "--from", "2022-11-14", "--to", DAY, "--every-days", "28", db=database)
    assert got.code == 0
    lines = got.out.splitlines()
    assert [json.loads(line)["as_of"] for line in lines] == ["2022-11-14", DAY]
    alone = run("risk", "--as-of", DAY, "--all", "--format", "json", db=database)
    assert json.loads(lines[-1]) == json.loads(alone.out)


@pytest.mark.nightly
def test_the_horizon_is_passed_on(run: Run, database: Path) -> None:
    """Property: a week is never riskier than a season."""
    every = ("risk", "--as-of", DAY, "--all", "--format", "json")
    week, season = (
        {u["unit"]: u["no_start_probability"] for u in rows_of(run(*every, "--horizon-days", d, db=database).out)}
        for d in (7, 120)
    )  # fmt: skip
    assert all(season[u] >= week[u] - 0.02 for u in week)
    assert sum(season.values()) > sum(week.values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("risk", "--as-of", "12.12.2022"), "'12.12.2022' is not a date; allowed is YYYY-MM-DD"),
        (("risk", "--horizon-days", "0"), "'0' is not allowed; a whole number from 1 to 180 is"),
        (("risk", "--horizon-days", "x"), "'x' is not allowed"),
        (("risk", "--as-of", "1999-01-01"), "no reading before 1999-01-01"),
        (("unit", "U99999", "--as-of", DAY), "unit 'U99999' is not in the database"),
        (("backtest", "--from", DAY, "--to", "2022-01-01"), "--to 2022-01-01 lies before --from"),
        (("set-aside", "show", "999"), "no set-aside row 999"),
        (("set-aside", "correct", "1", "crank_a"), "allowed is COLUMN=VALUE"),
        (("source", "show", "nothing"), "nothing"),
        (("source", "save", "mine", "missing.toml"), "missing.toml"),
        (("nonsense",), "nonsense"),
    ],
)
def test_a_mistake_is_one_clear_line_on_standard_error(run: Run, database: Path, words: tuple, said: str) -> None:
    """Contract: exit code 2, what and what is allowed, nothing on standard output, no traceback."""
    got = run(*words, db=database)
    assert got.code == 2
    assert got.out == ""
    assert said in got.err
    assert "Traceback" not in got.err


def test_a_database_that_is_not_there_or_is_none(run: Run, tmp_path: Path) -> None:
    """A wrong path makes no new file; a text file is not a database and stays as it is."""
    got = run("risk", db=tmp_path / "none.db")
    assert got.code == 2
    assert "none.db" in got.err
    assert not (tmp_path / "none.db").exists()
    (tmp_path / "notes.db").write_text("shopping list, long enough to be no database")
    assert run("risk", db=tmp_path / "notes.db").code == 2
    assert run("import", tmp_path, db=tmp_path / "notes.db").code == 2
    assert (tmp_path / "notes.db").read_text().startswith("shopping list")


def test_the_database_comes_from_option_variable_or_default(
    run: Run, database: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Contract: --db, else CRANKTREND_DB, else fleet.db here."""
    assert "fleet.db" in run("set-aside", "list").err
    monkeypatch.setenv("CRANKTREND_DB", str(database))
    assert run("set-aside", "list").code == 0
    assert run("set-aside", "list", db=tmp_path / "other.db").code == 2


# --- unit, record, classes, resets -----------------------------------------------------------------------------------


def test_a_unit_s_sheet_as_table_and_json(run: Run, database: Path) -> None:
    """Contract: one vehicle; the JSON has the list's names and every part."""
    sheet = run("unit", "U00003", "--as-of", DAY, db=database)
    assert sheet.code == 0
    for words in ("U00003", "positive cable", "Latest readings", "measure next"):
        assert words in sheet.out
    body = json.loads(run("unit", "U00003", "--as-of", DAY, "--format", "json", db=database).out)
    assert body["unit"] == "U00003"
    assert set(CONTRACT) <= set(body)
    assert body["parts"][0]["part"] == "battery"
    assert len(body["parts"]) == 7


def test_record_stores_a_good_reading_and_says_how_it_compares(run: Run, own: Path) -> None:
    """Contract: one reading, checked like any other, and known the second time."""
    words = (
        "record",
        "U00003",
        "--taken-at",
        "2023-06-01T08:00",
        "--rest-v",
        "12.6",
        "--crank-min-v",
        "11.4",
        "--crank-a",
        "190",
    )
    first = run(*words, db=own)
    assert first.code == 0
    assert "U00003: reading stored" in first.out
    assert re.search(r"The \d+ values fit each other and this vehicle's \d+ earlier readings\.", first.out)
    other = " ".join(run(*words[:3], "2023-06-02T08:00", *words[4:-1], "260", db=own).out.split())
    assert re.search(r"Unlike this vehicle's \d+ earlier readings, taken to .*: steady amps 260 A, not 1\d\d A", other)
    again = run(*words, db=own)
    assert again.code == 0
    assert "already known" in again.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("U00003", "--rest-v", "11", "--crank-min-v", "13"), "above rest volts"),
        (("U00003", "--crank-a", "plenty"), "plenty"),
        (("NOBODY", "--rest-v", "12.6"), "'NOBODY' is unknown"),
        (("U00003",), ""),
        (("U00003", "--taken-at", "2999-01-01T00:00", "--rest-v", "12.6"), "2999"),
    ],
)
def test_record_refuses_what_cannot_be_and_stores_nothing(run: Run, own: Path, words: tuple, said: str) -> None:
    """Contract: bad input gets a clear sentence and nothing is half-written."""
    before = read_readings(open_database(own))
    got = run("record", *words, db=own)
    assert got.code in (1, 2)
    assert got.out == ""
    assert said in got.err
    assert got.err.strip()
    pd.testing.assert_frame_equal(read_readings(open_database(own)), before)


def test_classes_says_what_was_learned(run: Run, database: Path) -> None:
    """Contract: from how many readings and no-starts."""
    rows = list(csv.DictReader(io.StringIO(run("classes", "--as-of", DAY, "--format", "csv", db=database).out)))
    assert {"vehicle_class", "quantity", "value", "se", "unit", "units", "readings", "no_starts", "cases"} == set(
        rows[0]
    )
    shown = run("classes", "--as-of", DAY, db=database).out
    for words in ("least cranking speed", "ordinary ageing of sound parts, battery", "wear that begins, motor",
                  "time from first wear to failing, ground path", "share of no-starts, battery",
                  "age by which half have failed, starter motor"):  # fmt: skip
        assert words in shown


@pytest.mark.nightly
def test_an_unrecorded_renewal_is_listed_confirmed_and_denied(run: Run, own: Path) -> None:
    """Contract: "looks replaced around ..., please confirm"; an answer takes it off the list, of every day."""
    listed = run("resets", "list", "--as-of", "2999-01-01", db=own)
    assert "looks replaced around" in listed.out
    first = listed.out.splitlines()[0]
    unit, part, day = first.split(":")[0], "battery", pd.Timestamp(first.split("around ")[1].split(",")[0])
    assert part in listed.out.splitlines()[0]
    before = f"{day + pd.Timedelta(days=365):%Y-%m-%d}"  # years before it is answered
    assert f"{unit}: {part}" in run("resets", "list", "--as-of", before, db=own).out
    assert run("resets", "deny", unit, part, "--around", f"{day:%Y-%m-%d}", db=own).code == 0
    for as_of in ("2999-01-01", before):
        assert f"{unit}: {part}" not in run("resets", "list", "--as-of", as_of, db=own).out
    assert run("resets", "confirm", "NOBODY", part, "--around", "2022-12-16", db=own).code == 2


# --- set-aside, source, backup, limits -------------------------------------------------------------------------------


def test_set_aside_rows_are_listed_shown_corrected_and_dismissed(run: Run, own: Path) -> None:
    """Contract: corrected through the same checks, or dismissed with a reason; nothing dropped."""
    listed = run("set-aside", "list", db=own)
    assert listed.code == 0
    slipped = re.search(r"crank_a is (\d+)0 A; .*decimal point misplaced", listed.out)
    assert slipped is not None
    assert "crank_a = " in run("set-aside", "show", "1", db=own).out
    still = run("set-aside", "correct", "1", "crank_a=9999", db=own)
    assert (still.code, "still set aside" in still.out) == (1, True)
    assert run("set-aside", "dismiss", "1", db=own).code == 2, "a reason is needed"
    good = run("set-aside", "correct", "1", f"crank_a={slipped[1]}", db=own)
    assert (good.code, "admitted" in good.out) == (0, True)
    assert "no row is set aside" in run("set-aside", "list", db=own).out
    assert (
        len(
            list(csv.DictReader(io.StringIO(run("set-aside", "list", "--state", "all", "--format", "csv", db=own).out)))
        )
        == 1
    )


def test_a_row_of_a_workbook_is_named_with_its_sheet(run: Run, tmp_path: Path) -> None:
    book, own = Workbook(), tmp_path / "own.db"
    book.active.title = "Spring"
    for row in (("unit", "taken_at", "rest_v"), ("K-999", "2024-03-01T08:00", 12.6)):
        book.active.append(row)
    book.save(tmp_path / "book.xlsx")
    run("import", str(tmp_path / "book.xlsx"), db=own)
    for words in (("list",), ("show", "1")):
        assert "1: book.xlsx sheet 'Spring' line 2" in run("set-aside", *words, db=own).out


def test_a_set_aside_row_is_dismissed(run: Run, own: Path) -> None:
    """Contract: dismissed with a reason, and no more on the open list."""
    assert run("set-aside", "dismiss", "1", "--reason", "clamp broken", db=own).code == 0
    assert "no row is set aside" in run("set-aside", "list", db=own).out


def test_a_foreign_file_is_drafted_corrected_saved_and_imported(run: Run, own: Path, tmp_path: Path) -> None:
    """Contract: drafted from headings and values, unsure guesses named, kept under a name, used by that name."""
    foreign = tmp_path / "werkstatt.csv"
    foreign.write_text(
        "Fahrzeug;Datum;Ruhespannung V;Startspannung V;Strom A\n"
        + "".join(f"U00003;{k:02d}.05.2023;12,6{k % 10};11,{k % 10}5;14{k % 10}\n" for k in range(13, 28))
    )
    draft = run("source", "draft", foreign, db=own)
    assert draft.code == 0
    assert draft.out.strip()
    assert run("import", foreign, db=own).code == 2, "not without a description"
    described = draft.out
    (tmp_path / "w.toml").write_text(described)
    saved = run("source", "save", "werkstatt", tmp_path / "w.toml", db=own)
    assert saved.code in (0, 2), saved.err
    if saved.code == 0:
        assert "werkstatt" in run("source", "list", db=own).out
        assert run("source", "show", "werkstatt", db=own).out.strip() == described.strip()
        assert run("import", foreign, "--source", "werkstatt", db=own).code in (0, 1)


def test_backup_copies_and_never_overwrites(run: Run, database: Path, tmp_path: Path) -> None:
    """Contract: a whole copy; a file that is there stays."""
    assert run("backup", tmp_path / "copy.db", db=database).code == 0
    one, other = (run("risk", "--as-of", DAY, "--format", "json", db=d).out for d in (database, tmp_path / "copy.db"))
    assert one == other
    (tmp_path / "there.db").write_text("mine")
    assert run("backup", tmp_path / "there.db", db=database).code == 2
    assert (tmp_path / "there.db").read_text() == "mine"


def test_limits_show_value_unit_range_and_source(run: Run, own: Path, tmp_path: Path) -> None:
    """Contract: limits can be seen with their sources; a file that is none is refused."""
    shown = run("limits", "show", db=own)
    assert shown.code == 0
    assert "ground_path_drop_v" in shown.out
    (tmp_path / "own.toml").write_text("this is = not [toml")
    assert run("limits", "set", tmp_path / "own.toml", db=own).code == 2


def test_limits_that_would_stop_every_later_command_are_refused_when_they_are_set(
    run: Run, own: Path, tmp_path: Path
) -> None:
    """Contract: volts of a 24 V system for a class of 12 V, and a drop of nil; a class that nobody has is told of, and kept."""
    ((name,),) = open_database(own).execute("SELECT vehicle_class FROM units WHERE system_v = 12 LIMIT 1").fetchall()
    file = tmp_path / "own.toml"
    for text, why in (
        (
            f'[vehicle_class."{name}"]\nsupply_minimum_v = 25',
            f"vehicle_class.{name}.supply_minimum_v is 25 V; allowed is 0 to 15 V",
        ),
        ("[system_24]\ncontrol_circuit_drop_v = 0", "system_24.control_circuit_drop_v is 0 V; allowed is 0.02 to 30 V"),
    ):
        file.write_text(text)
        refused = run("limits", "set", file, db=own)
        assert refused.code == 2
        assert why in refused.err
        assert "user" not in run("limits", "show", "--vehicle-class", name, db=own).out
    ((large,),) = open_database(own).execute("SELECT vehicle_class FROM units WHERE system_v = 24 LIMIT 1").fetchall()
    assert "least_cranking_battery_v           18 V" in run("limits", "show", "--vehicle-class", large, db=own).out
    assert "least_cranking_battery_v            9 V" in run("limits", "show", "--vehicle-class", name, db=own).out
    file.write_text(f'[vehicle_class."{name}"]\nsupply_minimum_v = 8\n[vehicle_class.vann]\nsupply_minimum_v = 8')
    taken = run("limits", "set", file, db=own)
    assert taken.code == 0
    assert "no vehicle is of the class vann" in taken.err
    assert "supply_minimum_v                    8 V" in run("limits", "show", "--vehicle-class", name, db=own).out


def test_demo_refuses_a_database_that_holds_something_else(run: Run, own: Path) -> None:
    """Contract: never over a database that holds anything else; it is as it was."""
    before = run("risk", "--as-of", DAY, "--format", "json", db=own).out
    refused = run("demo", db=own)
    assert refused.code == 2
    assert "holds something other than the demo" in refused.err
    assert refused.out == ""
    assert run("risk", "--as-of", DAY, "--format", "json", db=own).out == before


# --- hostile text ----------------------------------------------------------------------------------------------------

ESCAPE, CSI = "\x1b[31mred\x07", "\x9b2Jgone"
PLAIN = ("=cmd|' /C calc'!A0", "+1+1", "@SUM(A1)", "-2+3", "<b>x</b>", "R'; DROP TABLE units; --")
NAMES = (*PLAIN, f"T{ESCAPE}", f"C{CSI}", "L\u202eevil")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database of vehicles, depots, classes and set-aside rows with names that mean something to other programs."""
    folder = tmp_path_factory.mktemp("hostile")
    for kind, names in (("plain", PLAIN), ("control", NAMES[len(PLAIN) :])):
        units = [[name, name, 12, name] for name in names]
        _write(folder / f"units {kind}.csv", ["unit", "vehicle_class", "system_v", "depot"], units)
        readings = [[n, f"2022-0{m}-03T09:00", 12.6, 11.2, 150, n, n] for n in names for m in range(1, 5)]
        readings += [[n, "2022-06-03T09:00", 12.6, 11.2, n, n, n] for n in names]
        heading = ["unit", "taken_at", "rest_v", "crank_min_v", "crank_a", "technician", "note"]
        _write(folder / f"=readings {kind}.csv", heading, readings)
    main(["--db", str(folder / "h.db"), "import", str(folder)])
    return folder / "h.db"


def _write(file: Path, heading: list[str], rows: list[list[object]]) -> None:
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(heading)
        writer.writerows(rows)


def no_control_characters(text: str) -> bool:
    """Whether a terminal would take every character for one to show: printable, or a line break."""
    return all(ch.isprintable() or ch == "\n" for ch in text)


COMMANDS = [
    ("risk", "--as-of", "2022-12-01", "--all"), ("set-aside", "list"), ("set-aside", "show", "1"), ("classes", "--as-of", "2022-12-01"),
    ("resets", "list", "--as-of", "2022-12-01"), ("unit", "=nothing\x1b[31m", "--as-of", "2022-12-01"),
    ("record", "X\x1b[31m", "--rest-v", "1\x1b[0m"),
    ("source", "show", "\x1b[31mnone"), ("risk", "--as-of", "\x1b[31m"),
]  # fmt: skip


@pytest.mark.parametrize("words", COMMANDS, ids=lambda w: " ".join(w[:2]).encode("unicode_escape").decode())
def test_nothing_a_terminal_would_act_on_reaches_it(run: Run, hostile: Path, words: tuple[str, ...]) -> None:
    """Common practice (CWE-150): escape sequences from data are not written raw to either stream."""
    got = run(*words, db=hostile)
    assert no_control_characters(got.out), ascii([c for c in got.out if not (c.isprintable() or c == "\n")][:3])
    assert no_control_characters(got.err), ascii([c for c in got.err if not (c.isprintable() or c == "\n")][:3])


def test_a_file_name_cannot_command_the_terminal(run: Run, hostile: Path) -> None:
    """The same for names of files, found or not."""
    assert no_control_characters(run("import", "no\x1b[31mfile.csv", db=hostile).err)


@pytest.mark.parametrize("name", [PLAIN[0], PLAIN[4], f"T{ESCAPE}"], ids=ascii)
def test_a_hostile_vehicle_s_sheet_is_printable(run: Run, hostile: Path, name: str) -> None:
    """Every stored vehicle can be shown, and nothing in its sheet commands the terminal."""
    got = run("unit", name, "--as-of", "2022-12-01", db=hostile)
    assert no_control_characters(got.out)
    assert no_control_characters(got.err)


@pytest.mark.parametrize(
    "words",
    [
        ("risk", "--as-of", "2022-12-01", "--all", "--format", "csv"),
        pytest.param(
            ("set-aside", "list", "--format", "csv"),
        ),
        pytest.param(
            ("classes", "--as-of", "2022-12-01", "--format", "csv"),
        ),
    ],
    ids=lambda w: w[0],
)  # fmt: skip
def test_no_cell_of_a_csv_is_a_formula(run: Run, hostile: Path, words: tuple[str, ...]) -> None:
    """OWASP, CSV injection: no text cell begins with = + - @ or a control character."""
    got = run(*words, db=hostile)
    cells = [cell for row in csv.reader(io.StringIO(got.out)) for cell in row]
    assert cells
    for cell in cells:
        try:
            float(cell)
        except ValueError:
            assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r"), cell


def test_json_of_hostile_names_is_read_back_as_they_were(run: Run, hostile: Path) -> None:
    """JSON carries text as text."""
    units = rows_of(run("risk", "--as-of", "2022-12-01", "--all", "--format", "json", db=hostile).out)
    assert {u["unit"] for u in units} <= set(NAMES)
    assert "=cmd|' /C calc'!A0" in {u["unit"] for u in units}
    assert "R'; DROP TABLE units; --" in {u["unit"] for u in units}


def test_harmless_leads_formulas_with_an_apostrophe_and_leaves_numbers() -> None:
    """Worked by hand."""
    given = ["=A1", "+1", "-1", "@x", "\t=1", "\r=1", "plain", -1.5, None, True]
    assert [formula_safe(v) for v in given] == [
        "'=A1",
        "'+1",
        "'-1",
        "'@x",
        "'\t=1",
        "'\r=1",
        "plain",
        -1.5,
        None,
        True,
    ]


@pytest.mark.nightly
def test_visits_are_forbidden_and_let_go_from_the_command_line(run: Run, own: Path) -> None:
    """A bad one among several changes nothing; a forbidden week holds no visit of that vehicle."""
    first = json.loads(run("plan", "--as-of", DAY, "--format", "json", db=own).out)
    unit, week = first["visits"][0]["unit"], first["visits"][0]["iso_week"]
    for bad, words in (("nonsense", "allowed is UNIT=WEEK"), ("NOBODY=2023-W01", "allowed are the vehicles"),
                       (f"{unit}=soon", "allowed is a week such as")):  # fmt: skip
        refused = run("plan", "--as-of", DAY, "--forbid", f"{unit}={week}", "--forbid", bad, db=own)
        assert refused.code == 2
        assert words in refused.err
        assert read_pins(open_database(own)).empty
    ran = run("plan", "--as-of", DAY, "--forbid", f"{unit}={week}", "--format", "json", db=own)
    assert (ran.code, len(read_pins(open_database(own)))) == (0, 1)
    assert (unit, week) not in {(v["unit"], v["iso_week"]) for v in json.loads(ran.out)["visits"]}
    assert "1 pins taken away" in run("plan", "--as-of", DAY, "--let-go", unit, db=own).err
    assert read_pins(open_database(own)).empty
