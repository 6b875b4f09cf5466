"""Files into the database: each file one transaction, every row stored, already known, or set aside."""

import hashlib
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from ingest.admit import admit, load_context
from ingest.bounds import table_bytes
from ingest.cells import Batch, batch_of
from ingest.drafting import can_be_drafted, likely_heading, no_table_of_readings
from ingest.errors import DatabaseTrouble, FileRefused, NotDescribed, SourceProblem
from ingest.fields import TABLES, UNITS
from ingest.layout import Layout, is_own, own_layout, own_name, source_layout
from ingest.one_vehicle import by_their_titles, of_what, refuse_another_vehicle, vehicle_for_all
from ingest.outcome import FileOutcome, Outcome
from ingest.readers import SUFFIXES, read_sheets
from ingest.record_check import kept_rows
from ingest.rules import UNKNOWN
from ingest.sheets import Sheet
from ingest.sources import Source, columns_filled, find_source, missing_columns, saved_sources, target_of
from ingest.titled_tables import titled_tables
from ingest.values import counted, joined
from ingest.writing import Admitted, Origin, Place, write_origin, writing

Progress = Callable[[str, int, int], None]
KEPT_CHARACTERS = 10_000_000  # [characters] of a file kept between looking into it and importing it; our choice
HEADINGS_SHOWN = 6  # headings quoted in a refusal; our choice


@dataclass(frozen=True)
class _Job:
    """One file with what was found in it, or why it is refused."""

    path: Path
    sheets: tuple[tuple[Sheet, Layout], ...] = ()
    notes: tuple[str, ...] = ()
    error: str = ""
    describe: bool = False
    order: int = len(TABLES)  # place of the file's table in the order of import; refused files come last


class _DryRun(Exception):
    """Ends the transaction of a dry run so that nothing stays."""


def import_paths(
    db: Database,
    paths: Sequence[str | Path],
    *,
    source: str | None = None,
    dry_run: bool = False,
    now: datetime | None = None,
    by: str = "import",
    progress: Progress | None = None,
) -> Outcome:
    """Import files and folders of CSV and XLSX files, vehicles first and readings last whatever the files are called.

    `source` names a saved description or a TOML file for files with foreign headings. `now` [local time] bounds the
    times that rows may carry. `progress(file, done, all)` is told the characters (cells of a workbook) read.
    A bad file is counted as refused and nothing of it is stored, the others go on; when the database itself fails, the
    file and those after it are counted as not stored. SourceProblem is raised when `source` is unusable.
    """
    at = now or datetime.now()
    described = find_source(db, source) if source else None
    known = saved_sources(db)
    outcomes: list[FileOutcome] = []
    try:
        with writing(db) if dry_run else nullcontext():
            jobs = [_kept(_look_into(path, described, known)) for path in _files(paths)]
            for job in sorted(jobs, key=lambda job: job.order):
                if outcomes and outcomes[-1].could_not:
                    outcomes.append(FileOutcome(_name(job.path), error="not tried after that", could_not=True))
                    continue
                ready = job if job.sheets or job.error else _look_into(job.path, described, known)
                outcomes.append(_import_file(db, ready, at, by, progress))
            outcomes = [_with_rows_to_come(db, outcome) for outcome in outcomes]
            if dry_run:
                raise _DryRun
    except _DryRun:
        pass
    return Outcome(tuple(outcomes), dry_run)


def _kept(job: _Job) -> _Job:
    """Forget the contents of a large file until its turn comes, so that a folder of them fits into memory."""
    large = sum(sheet.size for sheet, _ in job.sheets) > KEPT_CHARACTERS
    return replace(job, sheets=()) if large else job


def _files(paths: Sequence[str | Path]) -> list[Path]:
    """Return the files named and the tables in the folders named, each once."""
    found: dict[Path, Path] = {}
    for path in map(Path, paths):
        folder = _is_folder(path)
        for file in sorted(path.rglob("*")) if folder else [path]:
            wanted = not folder or (file.suffix.lower() in SUFFIXES and _is_table(file))
            if wanted:
                found.setdefault(_place(file), file)
    return list(found.values())


def _place(file: Path) -> Path:
    """Where a file lies, whatever links lead there; links that lead nowhere lie where they are."""
    try:
        return file.resolve()
    except (OSError, RuntimeError):
        return file.absolute()


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # a name that no file can have; it is refused when it is read
        return False


def _name(file: Path) -> str:
    """The file's name as text: a file system may hold names that are no UTF-8."""
    return file.name.encode("utf-8", "replace").decode()


def _is_table(file: Path) -> bool:
    """Leave out folders, hidden files and the lock files that office programs leave behind."""
    return file.is_file() and not file.name.startswith((".", "~$"))


def _look_into(path: Path, described: Source | None, known: Sequence[Source]) -> _Job:
    try:
        sheets = _sheets(path, described)
        found, unknown = [], []
        for sheet in sheets:
            fitting = _layout(path, sheet, described, known)
            if fitting is None:
                unknown.append(sheet)
            else:
                found.append(fitting)
        if not found and described is None:
            found = _by_titles(path, sheets)
            unknown = (
                [sheet for sheet in sheets if sheet not in [one for one, _ in found]] if sheets[0].is_workbook else []
            )
        if not found:
            if described is None and (what := no_table_of_readings(path, sheets)):
                raise FileRefused(f"it {what}")
            raise NotDescribed(_not_known(sheets[0], described))
        found.sort(key=lambda pair: list(TABLES).index(pair[1].table.name))
        only = described.sheet if described and described.sheet != "*" else ""
        left = [f"sheet {one.name!r} left out: {_why_left_out(one, only)}" for one in unknown]
        hidden = [
            f"sheet {one.name!r} was read with what is hidden in the workbook: {one.hidden}"
            for one, _ in found
            if one.hidden
        ]
        return _Job(path, tuple(found), (*left, *hidden), order=list(TABLES).index(found[0][1].table.name))
    except FileRefused as error:
        return _Job(path, error=str(error), describe=isinstance(error, NotDescribed))
    except OSError as error:
        return _Job(path, error=f"it cannot be read: {error.strerror or error}")


def _why_left_out(sheet: Sheet, only: str) -> str:
    """Why a sheet was not read; only: the one that the source description is of, '' for none."""
    if only and only != sheet.name:
        return f"the source description is of sheet {only!r}"
    way_out = f"; 'cranktrend source draft FILE --sheet \"{sheet.name}\"' drafts a description of it"
    return f"its headings are not known{way_out if can_be_drafted(sheet) else ''}"


def _by_titles(path: Path, sheets: Sequence[Sheet]) -> list[tuple[Sheet, Layout]]:
    """Sheets of a workbook, or tables below each other, that lack nothing but a column for the vehicle: it may be their title."""
    if not sheets[0].is_workbook:
        return titled_tables(sheets[0], path.stem)
    layouts = [(sheet, own_layout(sheet, named=path.stem, by_title=True)) for sheet in sheets]
    return [(sheet, layout) for sheet, layout in layouts if layout]


def _sheets(path: Path, described: Source | None) -> list[Sheet]:
    """The file as it is, or in the encoding and with the delimiter of its description where its headings are not our own."""
    try:
        sheets = read_sheets(path)
    except FileRefused:
        if described is None:
            raise
        return read_sheets(path, encoding=described.encoding, delimiter=described.delimiter)
    if described is None or any(own_layout(sheet, named=path.stem) for sheet in sheets):
        return sheets
    return [_as_described(path, sheet, described) for sheet in sheets]


def _layout(path: Path, sheet: Sheet, described: Source | None, known: Sequence[Source]) -> tuple[Sheet, Layout] | None:
    layout = own_layout(sheet, named=path.stem)
    if layout is not None:
        return sheet, replace(
            layout, utc_to=_zone_of(sheet, layout, [described] if described else known, asked=described is not None)
        )
    if described is not None:
        layout = source_layout(sheet, described, all_headings=False)
        return (sheet, layout) if layout else None
    fitting = []
    for source in known:
        seen = _as_described(path, sheet, source)
        layout = source_layout(seen, source, all_headings=True)
        if layout is not None:
            fitting.append((seen, layout))
    if len({_reading_of(layout) for _, layout in fitting}) > 1:
        names = ", ".join(layout.source for _, layout in fitting)
        raise FileRefused(f"its headings fit more than one source ({names}); say which with --source")
    return fitting[0] if fitting else None


def _zone_of(sheet: Sheet, layout: Layout, known: Sequence[Source], *, asked: bool) -> str:
    """The time zone that a description names for a file in UTC with our own headings, "" for none."""
    fitting = [
        one
        for one in known
        if one.utc_to and one.table is layout.table and source_layout(sheet, one, all_headings=not asked)
    ]
    return fitting[0].utc_to if fitting else ""


def _as_described(path: Path, sheet: Sheet, source: Source) -> Sheet:
    """Read a text file again in the encoding and with the delimiter its description states, when those differ."""
    if sheet.is_workbook or (source.encoding in ("", sheet.encoding) and source.delimiter in ("", sheet.delimiter)):
        return sheet
    try:
        return read_sheets(path, encoding=source.encoding, delimiter=source.delimiter)[0]
    except FileRefused:
        return sheet


def _reading_of(layout: Layout) -> tuple[object, ...]:
    """What two descriptions must share to give the same rows."""
    constants = tuple(sorted(layout.constants.items()))
    how = layout.style, layout.date_order, layout.utc_to
    return layout.targets, layout.conversions, *how, layout.heading_line, constants


def _not_known(sheet: Sheet, described: Source | None) -> str:
    headings = likely_heading(sheet)
    if described is None:
        headings = [heading for heading in headings if not is_own(heading)] or headings
    if described is None and (lacking := _lacking(headings)):
        return lacking
    quoted = ", ".join(repr(heading) for heading in headings[:HEADINGS_SHOWN])
    more = " ..." if len(headings) > HEADINGS_SHOWN else ""
    if described is not None:
        wanted = ", ".join(repr(heading) for heading in list(described.headings.values())[:HEADINGS_SHOWN])
        return f"its headings ({quoted}{more}) are not those of source {described.name} ({wanted} ...)"
    return (
        f"its headings ({quoted}{more}) are not known; allowed are our own columns, or headings that a source "
        "description explains"
    )


def _lacking(headings: Sequence[str]) -> str:
    """What is missing where all headings are our own."""
    if not all(map(is_own, headings)):
        return ""
    names = [own_name(heading) for heading in headings]
    table = max(TABLES.values(), key=lambda one: len(columns_filled(names, one)))
    lacking = missing_columns(names, table)
    return (
        f"no column is {joined(lacking)}, which {table.name} need; allowed is a column for it, or a constant in a source description"
        if lacking
        else ""
    )


def _import_file(db: Database, job: _Job, now: datetime, by: str, progress: Progress | None) -> FileOutcome:
    name = _name(job.path)
    if job.error:
        return FileOutcome(name, error=job.error, describe=job.describe)
    try:
        with writing(db):
            return _import_sheets(db, job, now, by, progress)
    except (FileRefused, SourceProblem) as error:
        return FileOutcome(name, error=str(error), describe=isinstance(error, NotDescribed))
    except (OverflowError, sqlite3.IntegrityError) as error:
        return FileOutcome(name, error=f"it holds a value that no table can keep ({error})")
    except DatabaseTrouble as error:
        return FileOutcome(name, error=str(error), could_not=True)


def _import_sheets(db: Database, job: _Job, now: datetime, by: str, progress: Progress | None) -> FileOutcome:
    sources = ", ".join(dict.fromkeys(layout.source for _, layout in job.sheets if layout.source))
    digest = hashlib.sha256(table_bytes(job.path)).hexdigest()
    origin = Origin("file", by=by, at=now, file=_name(job.path), sha256=digest, source=sources)
    total = sum(sheet.size for sheet, _ in job.sheets)
    done = 0

    def told(read: int) -> None:
        nonlocal done
        done = min(done + read, total)
        if progress is not None:
            progress(_name(job.path), done, total)

    result = FileOutcome(_name(job.path), source=sources, notes=job.notes)
    origin_id: int | None = None
    sheets = by_their_titles(job.sheets, load_context(db, now))
    taken = (f"{sheet.name!r} is {layout.constants['unit']}" for sheet, layout in sheets if layout.by_title)
    if named := list(dict.fromkeys(taken)):
        more = f" and {len(named) - HEADINGS_SHOWN} more" if len(named) > HEADINGS_SHOWN else ""
        note = f"every row taken for the vehicle that the title of its {of_what(sheets[0][0])} names: {', '.join(named[:HEADINGS_SHOWN])}{more}"
        result = replace(result, notes=(*result.notes, note))
    for sheet, layout in sheets:
        batch = batch_of(layout, sheet.blocks(layout.heading_line, layout.width, layout.numeric), told)
        if not len(batch) and len(job.sheets) == 1:
            raise FileRefused("it has a heading but no rows; there is nothing to import")
        if vehicle_for_all(layout):
            refuse_another_vehicle(job.path.stem, sheet, layout, batch, load_context(db, now))
        if origin_id is None:
            origin_id = write_origin(db, origin)
        admitted = admit(db, batch, Place(origin_id, _name(job.path), now, sheet.name, layout.source))
        result = _with(result, layout, admitted, _notes(layout, batch))
    if progress is not None:
        progress(_name(job.path), total, total)
    if origin_id is not None:
        _close_origin(db, origin_id, result)
    return result


def _with_rows_to_come(db: Database, outcome: FileOutcome) -> FileOutcome:
    """With new vehicles: which rows were set aside because these were not known when their file came."""
    if not outcome.stored or UNITS.name not in outcome.table.split(", "):
        return outcome
    waiting = db.query(
        "SELECT file, count(*) AS rows FROM set_aside WHERE state = 'open' AND instr(reason, ?) AND unit IN (SELECT unit FROM units)"
        " GROUP BY file ORDER BY file",
        (UNKNOWN,),
    )
    said = [
        f"{counted(one['rows'], 'row')} of {one['file']} set aside while the vehicle was not known: import that file again"
        for one in waiting
    ]
    return replace(outcome, notes=(*outcome.notes, *said))


def _with(result: FileOutcome, layout: Layout, admitted: Admitted, notes: tuple[str, ...]) -> FileOutcome:
    tables = dict.fromkeys([*filter(None, result.table.split(", ")), layout.table.name])
    return replace(
        result,
        table=", ".join(tables),
        rows=result.rows + admitted.rows,
        stored=result.stored + admitted.stored,
        known=result.known + admitted.known,
        set_aside=result.set_aside + admitted.set_aside,
        still_aside=result.still_aside + admitted.still_aside,
        replaced=result.replaced + admitted.replaced,
        doubtful=result.doubtful + admitted.doubtful,
        notes=tuple(dict.fromkeys(result.notes + notes)),
    )


def _notes(layout: Layout, batch: Batch) -> tuple[str, ...]:
    unknown = [
        heading for heading, target in zip(layout.headings, layout.targets, strict=True) if heading and not target
    ]
    if "" in layout.headings:
        unknown += sorted(set(batch.beside) - set(unknown))
    notes = list(batch.notes)
    meant = [
        f"{heading!r} as {target}"
        for heading, target in zip(layout.headings, layout.targets, strict=True)
        if layout.own and target and own_name(heading) != target
    ]
    if meant:
        notes.append(f"read by their headings: {', '.join(meant)}")
    for table in TABLES.values():
        theirs = [one for one in unknown if target_of(own_name(one), table)] if table is not layout.table else []
        if layout.own and theirs:
            notes.append(
                f"columns of {table.name}, kept as they are beside the rows: {', '.join(theirs)}; give {table.name} a file or a sheet of their own"
            )
            unknown = [one for one in unknown if one not in theirs]
    if unknown:
        notes.append(f"columns not known to us, kept as they are beside the rows: {', '.join(unknown)}")
    if (unit := vehicle_for_all(layout)) and not layout.by_title:
        notes.append(f"every row taken for {unit}, as the source description says (constants)")
    if batch.ignored:
        notes.append(f"{counted(batch.ignored, 'row')} left out, as the source description says (ignore_rows)")
    return tuple(notes)


def _close_origin(db: Database, origin_id: int, result: FileOutcome) -> None:
    """Write the counts to the origin; an import that changed nothing leaves no trace, so that twice is like once."""
    if result.stored == 0 and result.set_aside == result.still_aside:
        db.table("origins").delete(origin_id)
        return
    counts = f"rows {result.rows}, stored {result.stored}, known {result.known}, set aside {result.set_aside}"
    db.table("origins").update(origin_id, {"counts": counts, "kept": kept_rows(db, origin_id)})
