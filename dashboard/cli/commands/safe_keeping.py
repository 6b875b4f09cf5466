"""Is the database in order; a backup made, and put back; all of it as Parquet files."""

import argparse
import json
from dataclasses import asdict
from pathlib import Path

from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import WHO, database_path
from dashboard.desk.terminal import COULD_NOT, DONE, PROGRAM, say, show, show_json, wrapped
from dashboard.words import check_words, terminal_words
from dashboard.words.plain_text import clean
from ingest.backups import backup
from ingest.errors import DatabaseRefused
from ingest.parquet_folder import export_folder
from ingest.restoring import BackupRefused, restore
from ingest.verify import Verified, verify


def run_backup(options: argparse.Namespace) -> None:
    show(terminal_words.COPIED.format(file=backup(open_existing(options), options.file)))


def run_export(options: argparse.Namespace) -> None:
    done = export_folder(open_existing(options), Path(options.folder), vehicles=options.vehicles)
    show(
        terminal_words.EXPORTED.format(
            folder=done.path, vehicles=done.vehicles, readings=done.rows("readings"), partitions=done.partitions
        )
    )


def run_check(options: argparse.Namespace) -> int:
    path = database_path(options)
    found = verify(path)
    if options.format == "json":
        show_json(json.dumps(as_json(path, found), ensure_ascii=False, indent=1))
    else:
        show("\n".join(part for line in check_words.said_lines(path, found) for part in wrapped(clean(line), "")))
    if not found.wrong:
        return DONE
    say(clean(f"{PROGRAM}: {check_words.wrong_words(found)}"))
    return COULD_NOT


def as_json(path: Path, found: Verified) -> dict[str, object]:
    findings = [
        {
            "kind": one.kind,
            "wrong": one.wrong,
            "sentence": check_words.sentence(one),
            "do": check_words.DO[one.kind],
            **one.figures,
        }
        for one in found.findings
    ]
    files = [asdict(one) for one in found.files]
    return {
        "database": str(path),
        "in_order": not found.wrong,
        "version": found.version,
        "rows": dict(found.rows),
        "findings": findings,
        "files": files,
    }


def run_restore(options: argparse.Namespace) -> None:
    path, copy = database_path(options), Path(options.file)
    try:
        replaced = restore(copy, path, by=WHO)
    except BackupRefused as error:
        raise DatabaseRefused(check_words.refused(copy, error.verified)) from error
    show(check_words.put_back(path, copy, replaced))
