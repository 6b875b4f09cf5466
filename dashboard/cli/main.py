"""The command line: pick, call, show.  Results go to standard output, messages to standard error."""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
import re
import sqlite3
import sys
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any, NoReturn

import pandas as pd
from sqlite_utils import Database

from analysis.backtest.report import ReportCosts, backtest_report
from analysis.circuit.limits import LIMIT_KEYS
from dashboard.cli.demo import make_demo
from dashboard.cli.tables import SAFE_NOTE, list_table, logbook_lines, reading_advice, unit_sheet, whose_lines
from dashboard.desk.assessment import assess_database, backtest_database, check_assessable, list_rows, own_costs
from dashboard.desk.own_limits import limit_book, save_limits
from dashboard.desk.reading_source import knowledge_of, latest_taken, unit_row
from dashboard.desk.terminal import COULD_NOT, DONE, answered, say, show, show_bytes, show_json
from dashboard.desk.weekly import assumed
from dashboard.files.backtest_report import report_text
from dashboard.words.plain_text import clean, formula_safe
from dashboard.words.reading_sheet import load_test_text
from ingest import corrections, entries, logbook, records, set_aside, sources, store
from ingest.bounds import bytes_of
from ingest.drafting import draft_source
from ingest.errors import FileRefused, IngestError
from ingest.fields import MEASUREMENTS, OBSERVATIONS
from ingest.importer import import_paths
from ingest.writing import writing

DATABASE_VARIABLE = "CRANKTREND_DB"
DEFAULT_DATABASE = "fleet.db"
DEMO_DATABASE = "demo.db"
FIRST_DAY, LAST_DAY = date(1980, 1, 1), date(2999, 12, 31)  # no reading is older; and no end of the calendar is near
OLD_D = 60  # [d] a list says so when no reading is younger, our choice: two of the usual horizons
FILE_OPTIONS = ("db", "file", "paths")
WHO = "command line"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code, see `terminal.answered`."""
    return answered(lambda: run_command(arguments))


def run_command(arguments: Sequence[str] | None) -> int:
    """Understand the words and do what they say."""
    options = build_parser().parse_args(arguments)
    check_text(options)
    code: int = options.run(options)
    return code


def check_text(options: argparse.Namespace) -> None:
    """Refuse what is no text, except in the names of files."""
    for name, value in vars(options).items():
        for text in value if isinstance(value, list) else [value]:
            if name not in FILE_OPTIONS and isinstance(text, str) and not is_text(text):
                raise ValueError(f"{name} is {text!r}; allowed is text in UTF-8")


def is_text(words: str) -> bool:
    """Whether the words came as UTF-8; bytes that did not are marked by the system (PEP 383)."""
    return words.encode("utf-8", "ignore").decode() == words


def database_path(options: argparse.Namespace, default: str = DEFAULT_DATABASE) -> Path:
    """--db, else CRANKTREND_DB, else the default name here."""
    return Path(options.db or os.environ.get(DATABASE_VARIABLE) or default)


def open_existing(options: argparse.Namespace) -> Database:
    """The database, which has to be there already."""
    return store.open_database(database_path(options), create=False)


def open_or_make(path: Path) -> Database:
    """The database, made when there is none, which is said: its name may have been mistyped."""
    new = not path.exists()
    db = store.open_database(path)
    if new:
        say(f"made a new database {path}")
    return db


def a_date(text: str) -> date:
    """YYYY-MM-DD from the command line."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; allowed is YYYY-MM-DD") from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise argparse.ArgumentTypeError(f"{text} is not allowed; a day from {FIRST_DAY} to {LAST_DAY} is")
    return day


def whole(low: int, high: int) -> Callable[[str], int]:
    """A whole number in a range."""

    def parse(text: str) -> int:
        if not re.fullmatch(r"-?[0-9]{1,19}", text.strip()) or not low <= int(text) <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not allowed; a whole number from {low} to {high} is")
        return int(text)

    return parse


def add_as_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        type=a_date,
        default=None,
        metavar="DATE",
        help="knowledge at the start of this day; nothing dated then or later is used (default: today)",
    )


def as_of(options: argparse.Namespace) -> date:
    """The day of --as-of, else today."""
    chosen: date | None = options.as_of
    return chosen or date.today()


def say_age(db: Database, day: date) -> None:
    """Tell how old the newest reading is, where that is old."""
    newest = store.newest_reading(db, before=day)
    if newest is not None and (day - newest).days > OLD_D:
        say(f"the newest reading is of {newest}, {(day - newest).days} days before {day}: nothing later is known")


def run_demo(options: argparse.Namespace) -> int:
    """Make the demo fleet's database and print its weekly list and plan."""
    path = Path(options.db or DEMO_DATABASE)
    open_or_make(path).conn.close()
    return make_demo(path, say=say, show=show)


def run_import(options: argparse.Namespace) -> int:
    """Import files and folders; exit code 0, 1 or 2 as the contract states."""
    if "" in options.paths:
        raise ValueError("a file to import has no name; allowed are names of files and folders")
    db = open_or_make(database_path(options))
    progress = show_progress if sys.stderr.isatty() else None
    outcome = import_paths(db, options.paths, source=options.source, dry_run=options.dry_run, by=WHO, progress=progress)
    if progress:
        sys.stderr.write("\r\x1b[K")
    for line in outcome.lines():
        say(clean(line))
    if outcome.set_aside:
        say("rows set aside are not used: `cranktrend set-aside list` says why, and how to correct or dismiss them")
    show(outcome.summary())
    return outcome.exit_code


def show_progress(file: str, done: int, total: int) -> None:
    """A progress bar on standard error."""
    share = done / total if total else 1.0
    bar = "#" * int(30 * share)
    sys.stderr.write(f"\r\x1b[K{clean(file)[:40]:40s} [{bar:30s}] {100 * share:3.0f} %")
    sys.stderr.flush()


def run_risk(options: argparse.Namespace) -> int:
    """Print the weekly list."""
    db = open_existing(options)
    day = as_of(options)
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    rows = list_rows(
        assessment,
        store.read_readings(db, before=day),
        flagged_only=not options.all,
        book=limit_book(db),
        costs=own_costs(db),
    )
    taken_for_granted = assumed(db, assessment.units)
    if options.format == "json":
        show_json(
            json.dumps(list_body(day, options.horizon_days, rows, taken_for_granted), ensure_ascii=False, indent=1)
        )
    elif options.format == "csv":
        show(rows_as_csv(rows))
    else:
        show(list_table(rows, assessment))
    for note in (*assessment.fleet_notes, *taken_for_granted):
        say(clean(note))
    say_age(db, day)
    return DONE


def list_body(day: date, horizon_days: int, rows: list[dict[str, Any]], taken_for_granted: list[str]) -> dict[str, Any]:
    """The list of a day as an object for JSON."""
    return {"as_of": day.isoformat(), "horizon_days": horizon_days, "units": rows, "assumed": taken_for_granted}


def rows_as_csv(rows: list[dict[str, Any]]) -> str:
    """The list as CSV; several reasons are joined; a text that a spreadsheet would run is led by an apostrophe."""
    names = list(LIST_COLUMNS)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        values = [row[n] if n != "reasons" else "; ".join(row[n]) for n in names]
        writer.writerow([harmless(v) for v in values])
    return out.getvalue()


REPORTED = ("unit", "part", "flagged", "no_start_probability")
LIST_COLUMNS = (
    "unit", "depot", "vehicle_class", "flagged", "part", "part_probability", "no_start_probability",
    "coldest_start_c", "coldest_start_low_c", "coldest_start_high_c", "act_by", "last_reading_on", "reasons",
    "next_test", "action", "looked_on", "looked_part", "sound_probability", "failed_on", "readings", "readings_on_record",
)  # fmt: skip


def harmless(value: Any) -> Any:
    """A cell that is no formula; nothing becomes an empty cell."""
    return "" if value is None else formula_safe(value)


def harmless_csv(frame: pd.DataFrame) -> str:
    """A table as CSV in which no cell is a formula."""
    return str(frame.map(harmless).to_csv(index=False))


def run_unit(options: argparse.Namespace) -> int:
    """Print one vehicle's sheet."""
    db = open_existing(options)
    day = as_of(options)
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    known = store.read_readings(db, before=day, units=[options.unit])
    listed = list_rows(assessment, known, flagged_only=False, book=limit_book(db), costs=own_costs(db))
    rows = [row for row in listed if row["unit"] == options.unit]
    if not rows:
        raise ValueError(
            f"unit {options.unit!r} is not in the database; `cranktrend risk --all` lists the ones that are"
        )
    unit = unit_row(db, options.unit)
    taken = latest_taken(db, unit, known, knowledge_of(assessment, unit), limit_book(db))
    repairs = store.read_repairs(db, before=day)
    sheet = unit_sheet(rows[0], assessment, known, repairs, fmt=options.format, taken=taken)
    (show_json if options.format == "json" else show)(sheet)
    say_age(db, day)
    return 0


def run_record(options: argparse.Namespace) -> int:
    """Record one reading of a vehicle, checked like any other."""
    db = open_existing(options)
    given = {name: getattr(options, name) for name in RECORDABLE if getattr(options, name) is not None}
    values = {"unit": options.unit, **given}
    twice = options.measured_twice
    not_given = sorted(set(twice) - entries.measured_by(values))
    if not_given:
        raise ValueError(f"--measured-twice names {not_given[0]}, of which no value is given; allowed are values given")
    checked = entries.check_reading(db, values, confirmed=twice) if options.dry_run else None
    entry = checked or entries.record_reading(db, values, by=WHO, confirmed=twice)
    for text in (*entry.problems, *entry.doubts, *entry.remarks):
        say(text)
    if entry.problems or not (entry.stored or entry.known or options.dry_run):
        for line in whose_lines(db, options.unit, entry):
            say(clean(line))
        return 1
    became = "checked, not stored" if options.dry_run else "already known" if entry.known else "stored"
    show(f"{options.unit}: reading {became} ({entry.values.get('taken_at', '')})")
    try:
        lines = reading_advice(db, options.unit, entry)
    except (ValueError, ArithmeticError, LookupError, IngestError, sqlite3.Error) as error:
        say(f"what this reading shows could not be worked out: {error}")
        return COULD_NOT if options.dry_run else DONE  # a stored reading is stored, whatever is said about it
    for line in lines:
        show(clean(line))
    return DONE


def run_backtest(options: argparse.Namespace) -> int:
    """Print the list as it would have been issued on each date, one JSON object a line; a report to standard error."""
    db = open_existing(options)
    first, last = getattr(options, "from"), options.to
    if last < first:
        raise ValueError(f"--to {last} lies before --from {first}")
    dates = [pd.Timestamp(first + timedelta(days=k)) for k in range(0, (last - first).days + 1, options.every_days)]
    readings, book, costs = store.read_readings(db), limit_book(db), own_costs(db)
    lists: list[dict[str, object]] = []
    for day, assessment in backtest_database(db, dates, horizon_days=options.horizon_days):
        rows = list_rows(assessment, readings, flagged_only=False, book=book, costs=costs)
        body = list_body(day.date(), options.horizon_days, rows, assumed(db, assessment.units))
        show_json(json.dumps(body, ensure_ascii=False))
        lists += [{"as_of": day, **{name: row[name] for name in REPORTED}} for row in rows]
        say(f"{day:%Y-%m-%d}: {sum(bool(r['flagged']) for r in rows)} of {len(rows)} vehicles flagged")
    say_report(db, lists, readings, options.horizon_days)
    return 0


def say_report(db: Database, lists: list[dict[str, object]], readings: pd.DataFrame, horizon_days: int) -> None:
    """What these lists would have done, in no-starts, flags and money, on standard error."""
    report = backtest_report(
        pd.DataFrame(lists).astype({"as_of": "datetime64[us]"}),
        store.read_units(db),
        readings,
        store.read_repairs(db),
        horizon_days=horizon_days,
        decisions=records.read_decisions(db),
        costs=ReportCosts(own_costs(db)),
        book=limit_book(db),
    )
    say(report_text(report))


def run_classes(options: argparse.Namespace) -> int:
    """Print what was learned of every class, from how many readings and no-starts."""
    assessment = assess_database(open_existing(options), as_of=as_of(options))
    if options.format == "csv":
        show(harmless_csv(assessment.classes))
    else:
        table = assessment.classes.copy()
        table["value"] = [f"{v:.3g}" for v in table["value"]]
        table["se"] = ["" if pd.isna(v) else f"{v:.2g}" for v in table["se"]]
        table["cases"] = ["" if pd.isna(v) else f"{v:.0f}" for v in table["cases"]]
        show(table.to_string(index=False))
    return 0


def run_plan(options: argparse.Namespace) -> int:
    """Print the replacement plan."""
    from dashboard.desk.plan_moves import keep_pin, let_go
    from dashboard.desk.planning import make_plan
    from dashboard.files.plan_export import render

    if options.format == "xlsx" and sys.stdout is not None and sys.stdout.isatty():
        raise ValueError(
            "an XLSX file is not text: send it to a file, as in  cranktrend plan --format xlsx > plan.xlsx"
        )
    db, day = open_existing(options), as_of(options)
    check_assessable(db, day)
    with writing(db):
        for kind, texts in (("pin", options.pin), ("forbid", options.forbid)):
            for unit, week in (pair(text, "UNIT=WEEK, as in K-142=2026-W50") for text in texts):
                keep_pin(db, unit=unit, week=week.strip(), kind=kind, by=WHO)
        for unit in options.let_go:
            say(f"{unit}: {let_go(db, unit, by=WHO)} pins taken away")
    body = render(make_plan(db, as_of=day, weeks=options.weeks, by=WHO), options.format)
    if isinstance(body, bytes):
        show_bytes(body)
    else:
        (show_json if options.format == "json" else show)(body)
    say_age(db, day)
    return DONE


def run_backup(options: argparse.Namespace) -> int:
    """Copy the database to a new file."""
    show(f"copied to {store.backup(open_existing(options), options.file)}")
    return 0


def run_dashboard(options: argparse.Namespace) -> int:
    """Start the screens."""
    from dashboard.charts.theme import STREAMLIT_FLAGS
    from dashboard.files import paper  # noqa: F401 - imported before the server is up
    from dashboard.screens import unit_charts  # noqa: F401 - imported before the server is up
    from dashboard.screens.serving import check_address, serve

    path = database_path(options)
    check_address(options.host, options.port)
    open_or_make(path).conn.close()
    os.environ[DATABASE_VARIABLE] = str(path.resolve())
    say(f"cranktrend: screens at http://{options.host}:{options.port} (database {path}); stop with Ctrl+C")
    serve(options.host, options.port, flags=STREAMLIT_FLAGS)
    return 0


def run_set_aside(options: argparse.Namespace) -> int:
    """List, show, correct or dismiss rows that could not be believed."""
    db = open_existing(options)
    if options.what == "list":
        rows = set_aside.list_set_aside(db, state=options.state)
        show(harmless_csv(rows) if options.format == "csv" else set_aside_text(rows))
    elif options.what == "show":
        row = set_aside.show_set_aside(db, options.id)
        show(f"{row.id}: {row.file} line {row.line} ({row.state})\nreason: {row.reason}\noriginal: {row.original!r}")
        for name, value in row.values.items():
            show(f"  {name} = {value!r}")
    elif options.what == "correct":
        entry = set_aside.correct_set_aside(db, options.id, dict(pair(p) for p in options.changes), by=WHO)
        for text in (*entry.problems, *entry.doubts):
            say(text)
        show(f"row {options.id}: {'admitted' if entry.stored or entry.known else 'still set aside'}")
        return 0 if entry.stored or entry.known else 1
    else:
        set_aside.dismiss_set_aside(db, options.id, reason=options.reason, by=WHO)
        show(f"row {options.id}: dismissed")
    return 0


def run_correct(options: argparse.Namespace) -> int:
    """Correct a stored reading, repair or decision."""
    changes = dict(pair(text) for text in options.changes)
    db = open_existing(options)
    return changed(
        options, corrections.correct(db, options.what, options.id, changes, by=WHO, reason=options.reason), "corrected"
    )


def run_withdraw(options: argparse.Namespace) -> int:
    """Take a stored reading, repair or decision out of what is judged."""
    db = open_existing(options)
    return changed(
        options, corrections.withdraw(db, options.what, options.id, by=WHO, reason=options.reason), "withdrawn"
    )


def changed(options: argparse.Namespace, entry: entries.Entry, word: str) -> int:
    """Say what became of a stored row, and how to undo it."""
    for text in (*entry.problems, *entry.doubts):
        say(clean(text))
    if entry.problems:
        return 1
    undone = "" if entry.change is None else f"; to undo it: cranktrend undo {entry.change}"
    show(f"{options.what} {options.id}: {word if entry.stored else 'said that already'}{undone}")
    return 0


def run_undo(options: argparse.Namespace) -> int:
    """Put back what a correction or a withdrawal changed."""
    entry = corrections.undo(open_existing(options), options.change, by=WHO, reason=options.reason)
    show(f"change {options.change}: undone; to bring it again: cranktrend undo {entry.change}")
    return 0


def run_logbook(options: argparse.Namespace) -> int:
    """Print who did what."""
    db = open_existing(options)
    done = logbook.read_logbook(db, unit=options.unit, who=options.who, since=options.since)
    if options.format == "csv":
        show(harmless_csv(done))
    else:
        show("\n".join(clean(line) for line in logbook_lines(done)) or "nothing is on record")
    return 0


def set_aside_text(rows: pd.DataFrame) -> str:
    """Set-aside rows, one a line."""
    if rows.empty:
        return "no row is set aside"
    lines = [f"{r.id}: {r.file} line {r.line}: {r.reason}" for r in rows.itertuples()]
    return "\n".join(lines)


def pair(text: str, allowed: str = "COLUMN=VALUE, as in crank_a=145") -> tuple[str, str]:
    """NAME=VALUE from the command line."""
    name, sign, value = text.partition("=")
    if not sign or not name.strip():
        raise ValueError(f"{text!r} is no change; allowed is {allowed}")
    return name.strip(), value


def run_source(options: argparse.Namespace) -> int:
    """Draft, save, list and show descriptions of foreign files."""
    if options.what == "draft":
        draft = draft_source(options.file)
        show(draft.toml)
        for question in (*draft.questions, *draft.unsure):
            say(question)
        return 0
    if options.what == "save":
        text = read_text(options.file)
        db = open_or_make(database_path(options))
        sources.save_source(db, options.name, text, by=WHO)
        show(f"source {options.name} saved")
        return 0
    db = open_existing(options)
    if options.what == "show":
        show(sources.read_source(db, options.name))
    else:
        for saved in sources.list_sources(db):
            show(f"{saved.name}\t{saved.saved_at}\t{saved.saved_by}")
    return 0


def read_text(file: str) -> str:
    """A small text file; one clear sentence when it cannot be read."""
    try:
        return bytes_of(Path(file)).decode("utf-8")
    except UnicodeDecodeError:
        raise ValueError(f"{file}: cannot be read as UTF-8 text") from None
    except FileRefused as error:
        raise ValueError(f"{file}: {error}") from None


def run_limits(options: argparse.Namespace) -> int:
    """Show the limits of a kind of vehicle, or put the user's own in their place."""
    db = open_existing(options)
    if options.what == "set":
        save_limits(db, read_text(options.file), by=WHO)
        show(f"limits of {options.file} are in use")
        return 0
    limits = limit_book(db).for_group(options.vehicle_class, options.system_v, options.fuel)
    for key in LIMIT_KEYS:
        limit = getattr(limits, key)
        show(f"{key:28s} {limit.value:8.3g} {limit.unit:12s} {limit.lowest:g} to {limit.highest:g}; {limit.source}")
    show(load_test_text())
    return 0


def run_resets(options: argparse.Namespace) -> int:
    """List renewals that nobody recorded, and take a person's answer."""
    db = open_existing(options)
    if options.what == "list":
        found = assess_database(db, as_of=as_of(options)).resets
        for unit, part, day in zip(found["unit"], found["part"], found["around_on"], strict=True):
            words = str(part).replace("_", " ")
            show(f"{unit}: {words} looks replaced around {day:%d %B %Y}, please confirm")
        return 0
    answer = "confirmed" if options.what == "confirm" else "denied"
    records.save_reset_answer(db, unit=options.unit, part=options.part, around_on=options.around, answer=answer, by=WHO)
    show(f"{options.unit}: {options.part.replace('_', ' ')} {answer}")
    return 0


RECORDABLE = ("taken_at", *MEASUREMENTS, *OBSERVATIONS, "technician", "instrument", "note")


class Parser(argparse.ArgumentParser):
    """A parser whose messages hold nothing that a terminal would act on."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the words, and leave."""
        super().error(clean(message))


def build_parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    parser = Parser(prog="cranktrend", description="Health of starting systems over a vehicle fleet.", epilog=SAFE_NOTE)
    parser.add_argument("--db", metavar="FILE", help=f"database (default {DATABASE_VARIABLE} or {DEFAULT_DATABASE})")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], words: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=words, description=words)
        sub.set_defaults(run=run)
        return sub

    command("demo", run_demo, f"make the demo fleet's database ({DEMO_DATABASE}) and print its weekly list and plan")
    sub = command("import", run_import, "import files and folders of CSV and XLSX")
    sub.add_argument("paths", nargs="+", metavar="FILE|FOLDER")
    sub.add_argument("--source", metavar="DESCRIPTION", help="name or TOML file of a source description")
    sub.add_argument("--dry-run", action="store_true", help="say what would happen and store nothing")
    sub = command("risk", run_risk, "the weekly list: which vehicles, which part, how sure, how long")
    add_as_of(sub)
    add_horizon(sub)
    sub.add_argument("--all", action="store_true", help="all vehicles, not only flagged ones")
    sub.add_argument("--format", choices=("table", "csv", "json"), default="table")
    sub = command("unit", run_unit, "one vehicle's sheet")
    sub.add_argument("unit", metavar="UNIT")
    add_as_of(sub)
    add_horizon(sub)
    sub.add_argument("--format", choices=("table", "json"), default="table")
    sub = command("plan", run_plan, "the replacement plan")
    add_as_of(sub)
    sub.add_argument("--weeks", type=whole(1, 26), default=13)
    sub.add_argument("--pin", action="append", default=[], metavar="UNIT=WEEK", help="fix a visit, as K-142=2026-W50")
    sub.add_argument("--forbid", action="append", default=[], metavar="UNIT=WEEK", help="keep a vehicle out of a week")
    sub.add_argument("--let-go", action="append", default=[], metavar="UNIT", help="take a vehicle's pins away")
    sub.add_argument("--format", choices=("table", "csv", "json", "ics", "xlsx"), default="table")
    sub = command("record", run_record, "record one reading, checked like any other")
    sub.add_argument("unit", metavar="UNIT")
    sub.add_argument("--dry-run", action="store_true", help="say what the reading shows and store nothing")
    for name in RECORDABLE:
        sub.add_argument(f"--{name.replace('_', '-')}", dest=name, metavar="VALUE")
    sub.add_argument(
        "--measured-twice", action="append", default=[], choices=MEASUREMENTS, metavar="MEASUREMENT",
        help="a measurement, such as drop_ground_v, that was taken twice and is right, however unlikely; may be repeated",
    )  # fmt: skip
    sub = command("backtest", run_backtest, "the list as it would have been issued on past dates, one a line")
    sub.add_argument("--from", type=a_date, required=True, metavar="DATE")
    sub.add_argument("--to", type=a_date, required=True, metavar="DATE")
    sub.add_argument("--every-days", type=whole(1, 366), default=14)
    add_horizon(sub)
    sub.add_argument("--format", choices=("jsonl",), default="jsonl")
    sub = command("classes", run_classes, "what the fleet has taught about every vehicle class")
    add_as_of(sub)
    sub.add_argument("--format", choices=("table", "csv"), default="table")
    sub = command("dashboard", run_dashboard, "start the screens")
    sub.add_argument("--host", default="127.0.0.1")
    sub.add_argument("--port", type=whole(1, 65535), default=8501)
    sub = command("backup", run_backup, "copy the database to a new file")
    sub.add_argument("file", metavar="FILE")
    add_corrections(command)
    add_nested(command)
    return parser


def add_corrections(command: Callable[..., argparse.ArgumentParser]) -> None:
    """Commands that put a saved mistake right, and the record of who did what."""
    for name, run, words in (
        ("correct", run_correct, "correct a stored reading, repair or decision; the old values stay on record"),
        (
            "withdraw",
            run_withdraw,
            "take a stored reading, repair or decision out of what is judged; it stays on record",
        ),
    ):
        sub = command(name, run, words)
        sub.add_argument("what", choices=tuple(corrections.KINDS))
        sub.add_argument("id", type=whole(1, 2**62), metavar="ID", help="its number, as `logbook` and `unit` show it")
        if name == "correct":
            sub.add_argument("changes", nargs="+", metavar="COLUMN=VALUE", help="unit=K-7 moves it to that vehicle")
        sub.add_argument("--reason", default="", metavar="TEXT", help="why; has to be given")
    sub = command("undo", run_undo, "put back what a correction or a withdrawal changed")
    sub.add_argument("change", type=whole(1, 2**62), metavar="CHANGE", help="its number, as `logbook` shows it")
    sub.add_argument("--reason", default="undone", metavar="TEXT")
    sub = command("logbook", run_logbook, "who did what, when and why, newest first")
    sub.add_argument("--unit", default="", metavar="UNIT", help="only what concerns this vehicle")
    sub.add_argument("--who", default="", metavar="NAME", help="only by names that contain this")
    sub.add_argument("--since", type=a_date, default=None, metavar="DATE", help="only from this day on")
    sub.add_argument("--format", choices=("table", "csv"), default="table")


def add_horizon(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--horizon-days", type=whole(1, 180), default=30)


def add_nested(command: Callable[..., argparse.ArgumentParser]) -> None:
    """Commands with a second word: set-aside, source, resets."""
    sub = command("set-aside", run_set_aside, "rows that could not be believed: list, show, correct, dismiss")
    what = sub.add_subparsers(dest="what", required=True, metavar="list|show|correct|dismiss")
    one = what.add_parser("list")
    one.add_argument("--state", choices=("open", "corrected", "admitted", "dismissed", "all"), default="open")
    one.add_argument("--format", choices=("table", "csv"), default="table")
    for name in ("show", "correct", "dismiss"):
        one = what.add_parser(name)
        one.add_argument("id", type=whole(1, 2**62), metavar="ID")
        if name == "correct":
            one.add_argument("changes", nargs="+", metavar="COLUMN=VALUE")
        if name == "dismiss":
            one.add_argument("--reason", default="")
    sub = command("source", run_source, "descriptions of foreign files: draft, save, list, show")
    what = sub.add_subparsers(dest="what", required=True, metavar="draft|save|list|show")
    what.add_parser("draft").add_argument("file", metavar="FILE")
    one = what.add_parser("save")
    one.add_argument("name", metavar="NAME")
    one.add_argument("file", metavar="FILE.toml")
    what.add_parser("list")
    what.add_parser("show").add_argument("name", metavar="NAME")
    sub = command("limits", run_limits, "the limits in use, with their sources, or a TOML file of your own")
    what = sub.add_subparsers(dest="what", required=True, metavar="show|set")
    one = what.add_parser("show")
    one.add_argument("--vehicle-class", default="")
    one.add_argument("--system-v", type=int, choices=(12, 24), default=12)
    one.add_argument("--fuel", choices=("diesel", "petrol"), default="diesel")
    what.add_parser("set").add_argument("file", metavar="FILE.toml")
    sub = command("resets", run_resets, "parts that look replaced though nobody recorded it: list, confirm, deny")
    what = sub.add_subparsers(dest="what", required=True, metavar="list|confirm|deny")
    add_as_of(what.add_parser("list"))
    for name in ("confirm", "deny"):
        one = what.add_parser(name)
        one.add_argument("unit", metavar="UNIT")
        one.add_argument("part", metavar="PART")
        one.add_argument("--around", type=a_date, required=True, metavar="DATE")


if __name__ == "__main__":
    sys.exit(main())
