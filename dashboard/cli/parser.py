"""All commands with their options, each with a word of help; what a command does is loaded when it is typed."""

import argparse
import sys
from collections.abc import Callable
from functools import cache
from typing import Any, NoReturn

from dashboard.cli.options import (
    A_CHANGE,
    A_PIN,
    BESIDE_A_TRACE,
    DATABASE_VARIABLE,
    DEFAULT_DATABASE,
    DEMO_DATABASE,
    DEMO_FILES,
    MAIL_VARIABLE,
    QUIET,
    VERBOSE,
    WHO,
    a_date,
    a_file,
    a_folder,
    a_number,
    a_rate,
    a_scale,
    a_week,
    add_as_of,
    add_format,
    add_horizon,
    add_measurements,
    pair,
    seconds,
    whole,
)
from dashboard.desk.terminal import PROGRAM, own_version, show
from dashboard.words import cluster_words, log_words
from dashboard.words.plain_text import clean
from dashboard.words.safety import SAFE_NOTE
from ingest.bounds import VEHICLES_A_PARTITION
from ingest.fields import CORRECTABLE, FILE, MEASUREMENTS, OF_A_TRACE, PARTS, ROLES, SYSTEM_VOLTAGES, VEHICLE
from ingest.values import is_empty, parse_time

WORKBOOK_TO_TERMINAL = "an XLSX file is not text: send it to a file, as in  cranktrend plan --format xlsx > plan.xlsx"
UNIT: dict[str, Any] = {"type": str.strip, "metavar": "UNIT"}  # blanks round a number are no part of it
ENGINES = ("here", "dask")
SHELLS = ("bash", "zsh", "fish", "tcsh", "powershell")  # that the library which writes the scripts knows
ACTS: dict[str, str | None] = {
    "demo.run_demo": None, "importing.run_import": None, "safe_keeping.run_backup": None, "safe_keeping.run_export": None,
    "safe_keeping.run_restore": None,
    "sources.save": None, "aside.correct": None, "aside.dismiss": None, "post.run_issue": None, "record.run_record": None,
    "trace.run_trace": "record", "logs.run_log": "record", "planner.run_plan": None, "changes.run_undo": None,
    "changes.run_correct": None, "changes.run_withdraw": None, "changes.answer_reset": None,
    "lists.run_classes": "import_from forget", "limits.set_limits": None, "accounts.give_or_take": None,
    "accounts.new_codes": None,
}  # fmt: skip
"""Commands that are logged -> the options of which one has to be given for that; None for always."""
Command = Callable[..., argparse.ArgumentParser]


class Parser(argparse.ArgumentParser):
    """A parser whose messages hold nothing that a terminal would act on."""

    def error(self, message: str) -> NoReturn:
        super().error(clean(message))


class ShowVersion(argparse.Action):
    """Print the version that is installed, and leave."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object, **__: object) -> None:
        show(f"{PROGRAM} {own_version()}")
        parser.exit()


@cache
def build_parser() -> argparse.ArgumentParser:
    parser = Parser(
        prog=PROGRAM,
        description="Health of starting systems over a vehicle fleet.",
        epilog=f"{SAFE_NOTE} {log_words.WHERE}.",
    )
    parser.add_argument("--version", action=ShowVersion, nargs=0, help="say which version this is")
    add_database(parser, default=None)
    add_talk(parser, default=None)
    parser.set_defaults(wrong=lambda _: "", database_is_there=True, is_act=is_act)
    command = commands_of(parser, "command", "COMMAND")
    add_files(command)
    add_lists(command)
    add_vehicle(command)
    add_trace(command)
    add_logs(command)
    add_plan(command)
    add_corrections(command)
    add_settings(command)
    add_accounts(group_of(command, "accounts", "who may do what on the screens", "list", "give", "take", "new-codes"))
    return parser


def commands_of(parser: argparse.ArgumentParser, name: str, metavar: str) -> Command:
    """A way to add commands to a parser; each takes --db, which may as well stand before it."""
    commands = parser.add_subparsers(dest=name, required=True, metavar=metavar)

    def command(word: str, run: str, words: str, **defaults: object) -> argparse.ArgumentParser:
        sub = commands.add_parser(word, help=words, description=f"{words[0].upper()}{words[1:]}.")
        add_database(sub, default=argparse.SUPPRESS)
        add_talk(sub, default=argparse.SUPPRESS)
        sub.set_defaults(run=run, **defaults)
        return sub

    return command


def group_of(command: Command, word: str, words: str, *seconds: str) -> Command:
    return commands_of(command(word, "", f"{words}: {', '.join(seconds)}"), "what", "|".join(seconds))


def add_database(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    """--db, before and after a command; SUPPRESS leaves what stood before it alone."""
    parser.add_argument(
        "--db", metavar="FILE", default=default, help=f"database (default: {DATABASE_VARIABLE}, or {DEFAULT_DATABASE})"
    )


def add_talk(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    told = parser.add_mutually_exclusive_group()
    for name, words in ((QUIET, log_words.QUIET), (VERBOSE, log_words.VERBOSE)):
        told.add_argument(f"--{name}", dest="talk", action="store_const", const=name, default=default, help=words)


def is_act(options: argparse.Namespace) -> bool:
    """Whether the command does something that is logged, and does not only tell."""
    needed = ACTS.get(options.run, "")
    return needed is None or any(getattr(options, name) for name in needed.split())


def add_files(command: Command) -> None:
    """Files in, descriptions of foreign files, rows set aside, the copy of the database."""
    sub = command(
        "demo", "demo.run_demo",
        f"make the demo fleet's files and database ({DEMO_DATABASE}), and print its weekly list and plan",
        database_is_there=False,
    )  # fmt: skip
    sub.add_argument(
        "--files", dest="folder", type=a_folder, default=DEMO_FILES, metavar="FOLDER",
        help=f"where its files are written (default: {DEMO_FILES})",
    )  # fmt: skip
    sub = command(
        "import", "importing.run_import", "import files and folders of CSV, XLSX, XLS and ODS", database_is_there=False
    )
    sub.add_argument(
        "paths", nargs="+", type=a_file, metavar="FILE|FOLDER",
        help="a file, or a folder with all its files; a folder that `export` wrote becomes a new database",
    )  # fmt: skip
    sub.add_argument("--source", metavar="DESCRIPTION", help="name or TOML file of a source description")
    sub.add_argument("--dry-run", action="store_true", help="say what would happen and store nothing")
    add_safe_keeping(command)
    add_sources(group_of(command, "source", "descriptions of foreign files", "draft", "save", "list", "show"))
    add_set_aside(
        group_of(command, "set-aside", "rows that could not be believed", "list", "show", "correct", "dismiss")
    )


def add_safe_keeping(command: Command) -> None:
    """The copy of the database, whether it is in order, and a copy put back."""
    sub = command("backup", "safe_keeping.run_backup", "copy the database to a new file")
    sub.add_argument("file", metavar="FILE", help="the new file; one that is there is never overwritten")
    sub = command("export", "safe_keeping.run_export", "write the whole database to a folder of Parquet files")
    sub.add_argument(
        "--parquet", dest="folder", type=a_folder, required=True, metavar="FOLDER",
        help="the new folder, which `import` makes a database of and `assess` reads; needs the extra `cluster`",
    )  # fmt: skip
    sub.add_argument(
        "--vehicles", type=whole(1, 100_000), default=VEHICLES_A_PARTITION, metavar="N",
        help=f"vehicles to a partition, 1 to 100,000 (default: {VEHICLES_A_PARTITION:,})",
    )  # fmt: skip
    sub = command(
        "check",
        "safe_keeping.run_check",
        "say whether the database is in order and every row there, and what to do if not",
    )
    add_format(sub, "table", "json")
    sub = command(
        "restore", "safe_keeping.run_restore", "put a backup in the place of the database, which is kept beside it",
        database_is_there=False,
    )  # fmt: skip
    sub.add_argument("file", metavar="BACKUP", help="a copy that `backup` made, or one from before a change of version")


def add_sources(command: Command) -> None:
    sub = command("draft", "sources.draft", "write a draft that says which guesses are unsure", database_is_there=False)
    sub.add_argument("file", metavar="FILE", help="a file with headings of its own")
    sub.add_argument(
        "--sheet", metavar="NAME", default="", help="the workbook's sheet (default: the one best understood)"
    )
    sub = command(
        "save", "sources.save", "keep a description: files with its headings just work then", database_is_there=False
    )
    sub.add_argument("name", metavar="NAME", help="what to call it")
    sub.add_argument("file", metavar="FILE.toml", help="the description, a corrected draft")
    command("list", "sources.list_all", "the descriptions that are kept")
    sub = command("show", "sources.show_one", "a description as it is kept")
    sub.add_argument("name", metavar="NAME", help="as `source list` shows it")


def add_set_aside(command: Command) -> None:
    sub = command("list", "aside.list_all", "the rows, and why each was set aside")
    states = ("open", "corrected", "admitted", "dismissed", "all")
    sub.add_argument("--state", choices=states, default="open", help="which rows (default: open)")
    add_format(sub, "table", "csv")
    for name, words in (
        ("show", "one row with all its cells"),
        ("correct", "put cells of a row right and have it checked again"),
        ("dismiss", "say that a row is not wanted; it stays on record"),
    ):
        sub = command(name, f"aside.{name}", words)
        sub.add_argument("id", type=a_number, metavar="ID", help="its number, as `set-aside list` shows it")
        if name == "correct":
            sub.add_argument(
                "changes", nargs="+", type=pair(A_CHANGE), metavar="COLUMN=VALUE", help="a cell as it should be"
            )
        if name == "dismiss":
            sub.add_argument("--reason", default="", metavar="TEXT", help="why")


def add_list(sub: argparse.ArgumentParser) -> None:
    """Which list is printed, and how."""
    add_as_of(sub)
    add_horizon(sub)
    sub.add_argument("--all", action="store_true", help="all vehicles, not only flagged ones")
    add_format(sub, "table", "csv", "json")


def add_lists(command: Command) -> None:
    sub = command("risk", "lists.run_risk", "the weekly list: which vehicles, which part, how sure, how long")
    add_list(sub)
    sub = command(
        "assess", "cluster.run_assess", "the weekly list of a fleet in a folder of Parquet files, past one machine",
        database_is_there=False, wrong=engine_wrong,
    )  # fmt: skip
    sub.add_argument(
        "--parquet", dest="folder", type=a_folder, required=True, metavar="FOLDER",
        help="a folder that `export` wrote, at a place that all workers see",
    )  # fmt: skip
    sub.add_argument(
        "--engine", choices=ENGINES, default=ENGINES[0],
        help="where it is worked out: on this machine alone, or by workers of dask (default: here)",
    )  # fmt: skip
    sub.add_argument(
        "--scheduler", default="", metavar="ADDRESS", help="of the workers, as tcp://10.0.0.1:8786; for --engine dask"
    )
    add_list(sub)
    sub = command("issue", "post.run_issue", "issue the week's list and plan once, for a job on Mondays")
    add_as_of(sub)
    sub.add_argument(
        "--to", dest="folder", type=a_folder, default=None, metavar="FOLDER",
        help="write the list (PDF), list and plan (XLSX) and the visits (calendar) to this folder, which is made",
    )  # fmt: skip
    sub.add_argument(
        "--mail", dest="file", default=None, metavar="FILE.toml",
        help=f"mail them as the settings in this file say, to nobody twice (default: {MAIL_VARIABLE})",
    )  # fmt: skip
    sub.add_argument("--by", default=WHO, metavar="NAME", help=f"who issues them (default: {WHO})")
    sub = command(
        "backtest",
        "past.run_backtest",
        "the list as it would have been issued on past dates, one a line",
        wrong=days_wrong,
    )
    sub.add_argument("--from", type=a_date, required=True, metavar="DATE", help="day of the first list")
    sub.add_argument("--to", type=a_date, required=True, metavar="DATE", help="no list after this day")
    sub.add_argument(
        "--every-days",
        type=whole(1, 366),
        default=14,
        metavar="DAYS",
        help="days between lists, 1 to 366 (default: 14)",
    )
    add_horizon(sub)
    add_format(sub, "jsonl")
    sub = command("classes", "lists.run_classes", "what the fleet has taught about every vehicle class")
    travel = sub.add_mutually_exclusive_group()
    travel.add_argument(
        "--export", metavar="FILE.json", help="write it to a new file, from which another fleet can begin"
    )
    travel.add_argument(
        "--import", dest="import_from", metavar="FILE.json", help="begin from what another fleet has written"
    )
    travel.add_argument("--forget", action="store_true", help="begin from published values again")
    add_as_of(sub)
    add_format(sub, "table", "csv")


def engine_wrong(options: argparse.Namespace) -> str:
    """Workers without a scheduler, or the other way round."""
    if options.engine == "dask" and not options.scheduler:
        return cluster_words.NEEDS_SCHEDULER
    if options.engine != "dask" and options.scheduler:
        return cluster_words.NEEDS_DASK.format(address=options.scheduler)
    return ""


def days_wrong(options: argparse.Namespace) -> str:
    """A backtest that would end before it begins."""
    first, last = getattr(options, "from"), options.to
    return f"--to {last} lies before --from {first}" if last < first else ""


def add_vehicle(command: Command) -> None:
    sub = command("unit", "vehicle.run_unit", "one vehicle's sheet")
    sub.add_argument("unit", **UNIT, help="the vehicle's number")
    add_as_of(sub)
    add_horizon(sub)
    add_format(sub, "table", "json")
    sub = command("record", "record.run_record", "record one reading, checked like any other", wrong=twice_wrong)
    sub.add_argument("unit", **UNIT, help="the vehicle's number")
    sub.add_argument("--dry-run", action="store_true", help="say what the reading shows and store nothing")
    add_measurements(sub)
    add_twice(sub)


def add_trace(command: Command) -> None:
    sub = command("trace", "trace.run_trace", "what a recorded start shows: a CSV file of time, volts and amps",
        wrong=trace_wrong, database_is_there=False,
    )  # fmt: skip
    sub.add_argument(
        "file", metavar="FILE", help="time, volts at the battery and/or amps, 100 to 100,000 samples a second"
    )
    sub.add_argument("--unit", default="", **UNIT, help="the vehicle's number: its cylinders and volts are known")
    sub.add_argument(
        "--clamp", type=a_scale, default=None, metavar="SCALE",
        help="the clamp's scale, such as 10mV/A, where the file holds its millivolts",
    )  # fmt: skip
    sub.add_argument("--cylinders", type=whole(1, 24), default=None, metavar="N", help="number of cylinders, 1 to 24")
    sub.add_argument(
        "--rate", type=a_rate, default=None, metavar="HZ", help="samples a second, where the file holds no time"
    )
    for name in ("volts", "amps"):
        sub.add_argument(
            f"--{name}", default="", metavar="HEADING", help=f"the column of {name}, where its heading does not say so"
        )
    sub.add_argument("--event", type=whole(1, 999), default=None, metavar="K", help="only this start, counted from 1")
    for name, words in (("begin", "the inrush begins"), ("steady", "steady turning begins"), ("end", "turning ends")):
        sub.add_argument(
            f"--{name}", type=seconds, default=None, metavar="S", help=f"where {words}, if not where found"
        )
    sub.add_argument(
        "--record", action="store_true", help="store the start as a reading of --unit, checked like any other"
    )
    add_measurements(sub, BESIDE_A_TRACE)
    add_twice(sub)
    add_format(sub, "table", "json")


def trace_wrong(options: argparse.Namespace) -> str:
    """A reading of no vehicle, or values of one that is not to be stored."""
    if options.record and not options.unit:
        return "--record needs the vehicle's number, as in --unit K-142"
    beside = [name for name in BESIDE_A_TRACE if getattr(options, name) is not None]
    if beside and not options.record:
        return f"--{beside[0].replace('_', '-')} belongs to a reading; allowed is with --record"
    given = [
        name for name in options.measured_twice if name not in OF_A_TRACE and is_empty(getattr(options, name, None))
    ]
    return f"--measured-twice names {given[0]}, of which no value is given; allowed are values given" if given else ""


def add_twice(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--measured-twice", action="append", default=[], choices=MEASUREMENTS, metavar="MEASUREMENT",
        help="a measurement, such as drop_ground_v, that was taken twice and is right, however unlikely; may be repeated",
    )  # fmt: skip


def add_logs(command: Command) -> None:
    sub = command(
        "log", "logs.run_log", "the starts in logs of a vehicle's bus", wrong=log_wrong, database_is_there=False
    )
    sub.add_argument(
        "files",
        nargs="+",
        type=a_file,
        metavar="FILE",
        help="candump text, MDF4, or a table of signals over time (CSV)",
    )
    sub.add_argument("--unit", default="", **UNIT, help="the vehicle's number, which --record needs")
    sub.add_argument("--record", action="store_true", help="store the starts as readings, checked like any other")
    sub.add_argument(
        "--dbc", default="", metavar="FILE", help="a data base of signals (DBC) by which frames are decoded"
    )
    sub.add_argument(
        "--began", default="", metavar="TIME", help="when a log without dates began, local clock, as 2026-01-31T07:45"
    )
    add_format(sub, "table", "json")


def log_wrong(options: argparse.Namespace) -> str:
    """Readings of nobody, and a beginning that is no time."""
    if options.record and not options.unit:
        return "--record needs --unit, the number of the vehicle that the logs are of"
    if options.began and parse_time(options.began).value is None:
        return f"--began is {options.began!r}; allowed is a time as 2026-01-31T07:45"
    return ""


def twice_wrong(options: argparse.Namespace) -> str:
    """A value said to have been measured twice that is not given."""
    for name in options.measured_twice:
        if is_empty(getattr(options, name)):
            return f"--measured-twice names {name}, of which no value is given; allowed are values given"
    return ""


def add_plan(command: Command) -> None:
    sub = command("plan", "planner.run_plan", "the replacement plan", wrong=plan_wrong)
    add_as_of(sub)
    sub.add_argument(
        "--weeks", type=whole(1, 26), default=13, metavar="WEEKS", help="weeks planned, 1 to 26 (default: 13)"
    )
    for name, words in (("pin", "fix a visit, as K-142=2026-W50"), ("forbid", "keep a vehicle out of a week")):
        sub.add_argument(
            f"--{name}", action="append", default=[], type=pair(A_PIN), metavar="UNIT=WEEK",
            help=f"{words}; may be repeated",
        )  # fmt: skip
    sub.add_argument(
        "--let-go", action="append", default=[], **UNIT, help="take a vehicle's pins away; may be repeated"
    )
    add_format(sub, "table", "csv", "json", "ics", "xlsx")
    sub = command("work-orders", "orders.run_work_orders", "a sheet to print for each visit of the plan on record")
    sub.add_argument("file", metavar="FILE.pdf", help="the new file")
    sub.add_argument("--unit", default="", **UNIT, help="only the visits of this vehicle, in whatever week")
    sub.add_argument(
        "--week",
        type=a_week,
        default=None,
        metavar="WEEK",
        help="the week, as 2026-W50 (default: the first with a visit)",
    )
    sub.add_argument("--depot", default="", metavar="DEPOT", help="only the visits at this depot")


def plan_wrong(options: argparse.Namespace) -> str:
    """A workbook on a terminal."""
    terminal = sys.stdout is not None and sys.stdout.isatty()
    return WORKBOOK_TO_TERMINAL if options.format == "xlsx" and terminal else ""


def add_corrections(command: Command) -> None:
    """Commands that put a saved mistake right, and the record of who did what."""
    for name, words in (
        (
            "correct",
            "correct a stored reading, repair, decision, report of a visit or vehicle; the old values stay on record",
        ),
        (
            "withdraw",
            "take a stored reading, repair, decision or report of a visit, or all that a file brought, out of what is judged; it stays on "
            "record",
        ),
    ):
        sub = command(name, f"changes.run_{name}", words, wrong=number_wrong)
        kinds = (*CORRECTABLE, VEHICLE if name == "correct" else FILE)
        sub.add_argument("what", choices=kinds, help="what kind of row")
        sub.add_argument("id", metavar="ID", help="its number, or a file's name, as `logbook` and `unit` show it")
        if name == "correct":
            sub.add_argument(
                "changes",
                nargs="+",
                type=pair(A_CHANGE),
                metavar="COLUMN=VALUE",
                help="unit=K-7 moves it to that vehicle; of a vehicle its columns, as depot=harbour",
            )
        sub.add_argument("--reason", default="", metavar="TEXT", help="why; has to be given")
    sub = command("undo", "changes.run_undo", "put back what a correction or a withdrawal changed")
    sub.add_argument("change", type=a_number, metavar="CHANGE", help="its number, as `logbook` shows it")
    sub.add_argument("--reason", default="undone", metavar="TEXT", help="why (default: undone)")
    sub = command("logbook", "changes.run_logbook", "who did what, when and why, newest first")
    sub.add_argument("--unit", default="", **UNIT, help="only what concerns this vehicle")
    sub.add_argument("--who", default="", metavar="NAME", help="only by names that contain this")
    sub.add_argument("--since", type=a_date, default=None, metavar="DATE", help="only from this day on")
    add_format(sub, "table", "csv")
    add_resets(
        group_of(command, "resets", "parts that look replaced though nobody recorded it", "list", "confirm", "deny")
    )


def number_wrong(options: argparse.Namespace) -> str:
    """The number of a row that is none; that of a vehicle, or the name of a file, may be any text."""
    try:
        options.id = options.id.strip() if options.what in (VEHICLE, FILE) else a_number(options.id)
    except argparse.ArgumentTypeError as error:
        return f"argument ID: {error}"
    return ""


def add_resets(command: Command) -> None:
    add_as_of(command("list", "changes.list_resets", "the parts, and about when each was replaced"))
    for name, words in (("confirm", "yes, it was replaced"), ("deny", "no, it was not replaced")):
        sub = command(name, "changes.answer_reset", words)
        sub.add_argument("unit", **UNIT, help="the vehicle's number")
        sub.add_argument("part", metavar="PART", help=f"one of {', '.join(PARTS)}")
        sub.add_argument(
            "--around", type=a_date, required=True, metavar="DATE", help="about when, as `resets list` shows it"
        )


def add_accounts(command: Command) -> None:
    """Who may do what on the screens; on the command line may everything who may open the file."""
    command("list", "accounts.list_all", "every account that has a role, with its roles")
    for name, words in (
        ("give", "give an account roles: the first administrator is made so"),
        ("take", "take roles from an account"),
    ):
        sub = command(name, "accounts.give_or_take", words)
        sub.add_argument("account", metavar="ACCOUNT", help="its name, exactly as the sign-in tells it")
        sub.add_argument("roles", nargs="+", choices=ROLES, metavar="ROLE", help=f"one or more of {', '.join(ROLES)}")
    sub = command("new-codes", "accounts.new_codes", "let the windscreen codes that were printed open nothing any more")
    sub.add_argument("--reason", default="new codes", metavar="TEXT", help="why")


def add_door(sub: argparse.ArgumentParser) -> None:
    """Where the screens are served, to whom, and who tells them who is looking."""
    sub.add_argument(
        "--host", default="127.0.0.1", metavar="HOST", help="address to serve at (default: this machine only)"
    )
    sub.add_argument(
        "--port", type=whole(1, 65535), default=8501, metavar="PORT", help="port to serve at (default: 8501)"
    )
    sub.add_argument(
        "--host-name", dest="host_names", action="append", default=[], metavar="NAME",
        help="a name by which browsers reach the screens, may be given again; other names are refused",
    )  # fmt: skip
    who = sub.add_mutually_exclusive_group()
    who.add_argument(
        "--sign-in", type=a_file, metavar="FILE.toml", help="people sign in with your provider of OpenID Connect"
    )
    who.add_argument(
        "--account-header", metavar="NAME",
        help="a proxy on this machine signs people in, and tells the account in this header",
    )  # fmt: skip
    who.add_argument(
        "--open-to-everyone-on-this-network", dest="open_to_all", action="store_true",
        help="serve at another --host without sign-in: every device there may read and write everything",
    )  # fmt: skip


def add_settings(command: Command) -> None:
    limits = group_of(
        command, "limits", "the limits in use, with their sources, or a TOML file of your own", "show", "set"
    )
    sub = limits("show", "limits.show_limits", "every limit of a kind of vehicle, with its source")
    sub.add_argument("--vehicle-class", default="", metavar="CLASS", help="a class with limits of its own")
    sub.add_argument(
        "--system-v",
        type=int,
        choices=SYSTEM_VOLTAGES,
        help="nominal voltage (default: that of the class's vehicles, else 12)",
    )
    sub.add_argument(
        "--fuel", choices=("diesel", "petrol"), help="fuel (default: that of the class's vehicles, else diesel)"
    )
    sub = limits("set", "limits.set_limits", "put your own limits in place of those in use")
    sub.add_argument("file", metavar="FILE.toml", help="your limits; an empty file goes back to the printed ones")
    sub = command("dashboard", "screens.run_dashboard", "start the screens", database_is_there=False)
    add_door(sub)
    sub = command("completion", "completion.run_completion", "print what a shell needs to complete words at the Tab key",
        database_is_there=False,
    )  # fmt: skip
    sub.add_argument(
        "shell", choices=SHELLS, help="your shell: bash, zsh, fish, ... its manual says where the script goes"
    )
