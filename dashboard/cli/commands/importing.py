"""Files into the database."""

import argparse
import sys
from pathlib import Path

from dashboard.cli.commands.database import open_or_make
from dashboard.cli.options import WHO, database_path
from dashboard.desk import act_log
from dashboard.desk.terminal import DONE, REFUSED, say, show
from dashboard.words import terminal_words
from dashboard.words.plain_text import clean
from ingest.importer import import_paths
from ingest.parquet_folder import import_folder, is_parquet_folder


def run_import(options: argparse.Namespace) -> int:
    """Import files and folders; exit code 0, 1 or 2 as the contract states. A folder of an export becomes a new database."""
    exported = [path for path in map(Path, options.paths) if is_parquet_folder(path)]
    if exported:
        run_import_of_export(options, exported[0])
        return DONE
    db = open_or_make(database_path(options))
    progress = show_progress if sys.stderr.isatty() else None
    outcome = import_paths(db, options.paths, source=options.source, dry_run=options.dry_run, by=WHO, progress=progress)
    if progress:
        sys.stderr.write("\r\x1b[K")
    for line in outcome.lines():
        say(clean(line), refusal=outcome.exit_code == REFUSED)
    if outcome.set_aside:
        say(terminal_words.ASIDE_NOT_USED)
    show(outcome.summary())
    act_log.became(outcome.summary())
    for one in outcome.files:
        act_log.became(one.file)
    return outcome.exit_code


def run_import_of_export(options: argparse.Namespace, folder: Path) -> None:
    """Make a new database of a folder of Parquet files, which holds all that there is to say."""
    if len(options.paths) > 1 or options.source or options.dry_run:
        raise ValueError(
            f"{folder} is an export and becomes a database of its own; allowed is its name alone, with --db"
        )
    path = database_path(options)
    made = import_folder(folder, path)
    rows = made.rows("readings")
    show(terminal_words.MADE_OF_FOLDER.format(path=path, folder=folder, vehicles=made.vehicles, readings=rows))


def show_progress(file: str, done: int, total: int) -> None:
    share = done / total if total else 1.0
    bar = "#" * int(30 * share)
    sys.stderr.write(f"\r\x1b[K{clean(file)[:40]:40s} [{bar:30s}] {100 * share:3.0f} %")
    sys.stderr.flush()
