"""Odd files, entries, descriptions and addresses by the thousand: no traceback, and every row stored or set aside."""

from __future__ import annotations

import csv
import io
import random
import tempfile
import tomllib
import traceback
from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from samples_ingest import CLIMATE, GOOD, HEADING, UNITS, reading
from sqlite_utils import Database

from dashboard.desk import addresses
from dashboard.desk.own_limits import parse_limits
from dashboard.desk.taught_laws import parse_laws
from dashboard.files.mail_settings import mail_settings
from faults.afterwards import Counts, in_memory
from ingest.drafting import draft_source
from ingest.entries import check_reading, record_reading, record_repair
from ingest.errors import FileRefused, IngestError, SourceProblem
from ingest.fields import CLAMP_COLUMNS, OBSERVATIONS, PARTS, READINGS, REPAIRS, TABLES
from ingest.importer import import_paths
from ingest.logbook import read_logbook
from ingest.schema import migrate
from ingest.sources import parse_source

NOW = datetime(2024, 6, 1, 12)
STRANGE = (
    "", " ", "\t", "\0", "\r", "\n", '"', "'", ";", ",", "=1+1", "@x", "-", "+", ".", "0", "-0", "1e9", "1e999", "nan", "inf",
    "-inf", "9" * 30, "0x1F", "1_000", "1.234,5", "1,234.5", "١٢", "½", "12 V", "12,6V", "126 mV", "true", "yes", "None", "null",
    "2023-02-30", "31.12.2023", "12/31/2023", "9999-12-31", "0001-01-01T00:00", "2023-03-01T08:15:00+02:00", "24:00", "K-101",
    "\u202e", "\ufeff", "\ud7ff", "é", "\U0001f69a", "x" * 70, "x" * 600, "<script>", "'; DROP TABLE readings;--", "%s", "{}",
    "\\", "../..", "€", "−5", "\u00a0", "\x1b[31m", "K-101\nK-102", "12.6.1", "1 2", "12\t6", "1\x0c345", "1\u20282",
    "--", "n/a", "12,6;", "1e-320", "0.1e1",
)  # fmt: skip
FILES: Mapping[str, str] = {
    "units": UNITS,
    "climate": CLIMATE,
    "readings": "\n".join([HEADING, *(reading(taken_at=f"2023-03-{d:02d}T08:15") for d in range(1, 13)), ""]),
    "repairs": "unit,done_on,part,action,reason,note\nK-101,2023-02-01,battery,replaced,no_start,x\nK-201,2023-03-01,ground_path,cleaned,,\n",
    "workshops": "depot,week_from,hours_per_week\nharbour,,12\nhill,2024-06-03,3\n",
    "parts": "part,price,labour_h,lead_days\nbattery,120,0.5,2\nstarter_motor,400,2.5,5\n",
    "services": "unit,due_on\nK-101,2024-07-01\n",
    "lows": "depot,date,low_c\nhill,2024-01-02,-3\nhill,2024-01-03,-4.5\n",
}  # fmt: skip
SOURCE = """table = "readings"
skip_rows = 0
encoding = "utf-8"
delimiter = ";"
decimal = ","
date_order = "day_first"
ignore_rows = ["^Summe"]
[columns]
"Wagen" = "unit"
"Zeit" = "taken_at"
"Ruhe" = "rest_v"
"Zange" = "crank_clamp_mv"
[clamp_mv_per_a]
"Zange" = 10
[constants]
technician = "A"
"""
LIMITS = '[all]\nrest_watch_v = 12.5\n[vehicle_class."van"]\nrest_watch_v = 12.4\n[system_24]\nrest_watch_v = 25.0\n'
MAIL = 'host = "mail.fleet.example"\nport = 587\ntls = "none"\nfrom = "a@fleet.example"\nto = ["b@fleet.example"]\n'


def vehicles() -> Database:
    """A database in memory with the invented fleet's vehicles and climate."""
    db = Database(memory=True)
    migrate(db)
    db.conn.execute("PRAGMA foreign_keys=ON")
    with tempfile.TemporaryDirectory(dir=in_memory()) as folder:
        for name in ("units", "climate"):
            (Path(folder) / f"{name}.csv").write_text(FILES[name])
        import_paths(db, [folder], now=NOW)
    return db


# --- mutation --------------------------------------------------------------------------------------------------------


def mutated_bytes(body: bytes, chance: random.Random) -> bytes:
    """Bytes flipped, cut, doubled, put in, taken out; sometimes in another encoding."""
    if chance.random() < 0.1:
        body = body.decode().encode(chance.choice(("utf-16", "utf-16-le", "cp1252", "utf-8-sig", "utf-32")))
    out = bytearray(body)
    for _ in range(chance.choice((1, 1, 2, 3, 8, 40))):
        at, size = chance.randrange(len(out) + 1), chance.choice((1, 1, 2, 7, 60))
        what = chance.randrange(6)
        if what == 0 and at < len(out):
            out[at] ^= 1 << chance.randrange(8)
        elif what == 1:
            del out[at : at + size]
        elif what == 2:
            out[at:at] = out[at : at + size]
        elif what == 3:
            out[at:at] = chance.choice(STRANGE).encode("utf-8", "replace")
        elif what == 4:
            out[at:at] = bytes(chance.randrange(256) for _ in range(size))
        elif chance.random() < 0.2:
            del out[at:]
    return bytes(out)


def mutated_text(text: str, chance: random.Random) -> str:
    """The same of a text, as far as it can be read."""
    return mutated_bytes(text.encode(), chance).decode("utf-8", "replace")


def mutated_cells(text: str, chance: random.Random) -> tuple[str, int]:
    """A file whose cells, rows and headings are changed but whose form is whole, and how many rows it has."""
    rows = list(csv.reader(io.StringIO(text)))
    body = [list(row) for row in rows[1:]]
    for _ in range(chance.choice((1, 2, 5, 20))):
        row = chance.choice(body)
        what = chance.random()
        if what < 0.75:
            row[chance.randrange(len(row))] = chance.choice(STRANGE).replace("\0", "")
        elif what < 0.85:
            body.insert(chance.randrange(len(body) + 1), list(chance.choice(body)))
        elif len(body) > 1 and what < 0.95:
            body.remove(row)
        else:
            chance.shuffle(body)
    order = list(range(len(rows[0])))
    if chance.random() < 0.3:
        chance.shuffle(order)
    out = io.StringIO()
    writer = csv.writer(out, delimiter=chance.choice(",;\t|"), quoting=csv.QUOTE_ALL)
    writer.writerow([rows[0][k] for k in order])
    writer.writerows([[row[k] for k in order] for row in body])
    return out.getvalue(), sum(1 for row in body if any(cell.strip(" \t\r\n\u00a0") for cell in row))


# --- what is tried ---------------------------------------------------------------------------------------------------


def a_file(db: Database, chance: random.Random, folder: Path) -> str:
    """A file of ours, changed: refused whole, or every row stored, known or set aside, and that is what the tables say."""
    name = chance.choice(list(FILES))
    file = folder / f"{name}.csv"
    expected = None
    if chance.random() < 0.5:
        text, expected = mutated_cells(FILES[name], chance)
        file.write_text(text, encoding="utf-8", newline="")
    else:
        file.write_bytes(mutated_bytes(FILES[name].encode(), chance))
    db.conn.execute("BEGIN")
    try:
        outcome = import_paths(db, [file], now=NOW)
        (one,) = outcome.files
        new = db.execute("SELECT coalesce(max(id), 0) FROM origins").fetchone()[0]
        there = sum(_under(db, table, new) for table in TABLES)
        fresh = _under(db, "set_aside", new)
        if one.error:
            return "" if there == 0 or new <= 2 else f"refused, and {there} rows are there"
        if new > 2 and not one.stored - one.replaced <= there <= one.stored:  # a row may replace one of its own file
            return f"{one.stored} stored, {there} there"
        if new > 2 and fresh > one.set_aside:
            return f"{one.set_aside} set aside, {fresh} there"
        if expected is not None and one.rows != expected:
            return f"{expected} rows in the file, {one.rows} accounted for"
        return ""
    finally:
        db.conn.rollback()


def _under(db: Database, table: str, origin: int) -> int:
    return int(db.execute(f"SELECT count(*) FROM {table} WHERE origin_id = ?", (origin,)).fetchone()[0])


def a_foreign_file(_: Database, chance: random.Random, folder: Path) -> str:
    """Any file, of which a description is drafted: a draft that can be parsed, or a refusal."""
    file = folder / chance.choice(("f.csv", "f.xlsx", "f.txt"))
    text = "\n".join(
        ["Wagen;Zeit;Ruhe;Zange", *(f"K-{k};{k:02d}.03.2023 08:15;12,{k};{1700 + k}" for k in range(1, 15))]
    )
    file.write_bytes(mutated_bytes(text.encode(), chance))
    try:
        draft = draft_source(file)
        tomllib.loads(draft.toml)
    except FileRefused:
        return ""
    return ""


def an_entry(db: Database, chance: random.Random, _: Path) -> str:
    """A reading or repair typed in: stored as one row, or not at all with a sentence why."""
    repair = chance.random() < 0.2
    table = REPAIRS if repair else READINGS
    names = [*table.names, *OBSERVATIONS, *CLAMP_COLUMNS, *(f"{name}_per_a" for name in CLAMP_COLUMNS)]
    usual = dict(zip(HEADING.split(","), GOOD.split(","), strict=True))
    if repair:
        usual = {"unit": "K-101", "done_on": "2023-02-01", "part": chance.choice(PARTS), "action": "replaced"}
    values: dict[str, object] = dict(usual)
    for _ in range(chance.choice((1, 2, 4))):
        name = chance.choice(
            (*names, "drop_ground_mv", "temperature_f", "taken_on", "taken_at_time", "no_such", chance.choice(STRANGE))
        )
        values[name] = chance.choice(
            (chance.choice(STRANGE), chance.uniform(-1e6, 1e6), None, True, 10**30, float("nan"))
        )
    db.conn.execute("BEGIN")
    try:
        before = int(db.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0])
        if not repair:
            check_reading(db, values, now=NOW)
        entry = record_repair(db, values, by="t", now=NOW) if repair else record_reading(db, values, by="t", now=NOW)
        after = int(db.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0])
    finally:
        db.conn.rollback()
    if after - before != int(entry.stored):
        return f"stored is {entry.stored}, {after - before} rows came"
    return "" if entry.stored or entry.known or entry.problems else "not stored, and no word why"


def a_description(_: Database, chance: random.Random, folder: Path) -> str:
    """A TOML file: understood, or one sentence."""
    which = chance.randrange(4)
    text = mutated_text((SOURCE, SOURCE, LIMITS, MAIL)[which], chance)
    try:
        if which < 2:
            parse_source(text, name="mine")
        elif which == 2:
            parse_limits(text)
        else:
            (folder / "mail.toml").write_text(text, encoding="utf-8", newline="")
            mail_settings(folder / "mail.toml", {})
        if chance.random() < 0.1:
            parse_laws(text)
    except (SourceProblem, IngestError) as error:
        return "" if str(error) and "\n" not in str(error) else f"no sentence: {error!r}"
    except ValueError as error:
        return "" if _ours(error) else f"{type(error).__name__} {error}"
    return ""


def _ours(error: ValueError) -> bool:
    """Whether the house itself raised it, as the command line tells."""
    last = traceback.extract_tb(error.__traceback__)[-1].filename
    return any(f"/{name}/" in last for name in ("ingest", "dashboard", "analysis"))


def an_address(db: Database, chance: random.Random, _: Path) -> str:
    """What a code holds or a person typed: brought back whole, refused in words, or nothing found."""
    typed = mutated_text(
        chance.choice(("http://workshop:8501", "https://[::1]:8501", "http://a.example/x?y#z", "K-101")), chance
    )
    try:
        base = addresses.checked(typed)
    except ValueError as error:
        base = "" if _ours(error) else f"! {error!r}"
    if base.startswith("!"):
        return base
    if base:
        addresses.only_here(base)
    unit, uid = (
        chance.choice(STRANGE) or "x",
        (mutated_text("3f1c", chance).replace("@", "") or "x") + addresses.NAMED_HERE,
    )
    asked = parse_qs(urlsplit(addresses.visit_address("http://w:1", unit, uid)).query, keep_blank_values=True)
    if asked["unit"] != [unit] or addresses.uid_of(asked["visit"][0]) != uid:
        return f"{unit!r} and {uid!r} became {asked}"
    if chance.random() < 0.1:
        unit, who = mutated_text("K-101", chance), chance.choice(STRANGE)
        if len(read_logbook(db, unit=unit, who=who, since=date(2024, 1, 1), most=5)) > 5:
            return "more than was asked for"
    return ""


Tried = Callable[[Database, random.Random, Path], str]
GROUPS: Mapping[str, tuple[Tried, ...]] = {
    "readers": (a_file, a_file, a_file, a_foreign_file),
    "forms": (an_entry,),
    "descriptions": (a_description,),
    "addresses": (an_address,),
}
LONG = {"readers": 30_000, "forms": 20_000, "descriptions": 30_000, "addresses": 20_000}


def fuzzed(group: str, *, many: int, seed: int) -> Counts:
    """Try `many` inputs of a group; what is wrong is told with the number that brings it again."""
    counts = Counts()
    with closing(vehicles().conn) as connection, tempfile.TemporaryDirectory(dir=in_memory()) as folder:
        db = Database(connection)
        for k in range(many):
            chance = random.Random(f"{group} {seed} {k}")
            tried = chance.choice(GROUPS[group])
            counts.tried += 1
            try:
                wrong = tried(db, chance, Path(folder))
            except Exception as error:  # every one of them is what is looked for
                last = traceback.extract_tb(error.__traceback__)[-1]
                wrong = f"{type(error).__name__}: {error} ({Path(last.filename).name}, line {last.lineno})"
            if wrong:
                counts.wrong.append(f"{tried.__name__} {seed} {k}: {wrong[:300]}")
    return counts
