"""What was saved put right, and who did what."""

import argparse

from dashboard.cli.commands.database import as_of, open_existing
from dashboard.cli.options import WHO
from dashboard.cli.tables import logbook_lines
from dashboard.desk.assessment import assess_database, open_questions
from dashboard.desk.terminal import DONE, SET_ASIDE, say, show
from dashboard.files.as_csv import as_csv
from dashboard.words import terminal_words
from dashboard.words.plain_text import clean, words
from ingest import corrections, entries, logbook, records


def run_correct(options: argparse.Namespace) -> int:
    what = (options.what, options.id, dict(options.changes))
    return changed(
        options, corrections.correct(open_existing(options), *what, by=WHO, reason=options.reason), "corrected"
    )


def run_withdraw(options: argparse.Namespace) -> int:
    db = open_existing(options)
    return changed(
        options, corrections.withdraw(db, options.what, options.id, by=WHO, reason=options.reason), "withdrawn"
    )


def changed(options: argparse.Namespace, entry: entries.Entry, word: str) -> int:
    """Say what became of a stored row, and how to undo it."""
    for text in (*entry.problems, *entry.doubts):
        say(clean(text))
    if entry.problems:
        return SET_ASIDE
    undone = "" if entry.change is None else terminal_words.TO_UNDO.format(change=entry.change)
    show(f"{options.what} {options.id}: {word if entry.stored else terminal_words.SAID_ALREADY}{undone}")
    return DONE


def run_undo(options: argparse.Namespace) -> None:
    entry = corrections.undo(open_existing(options), options.change, by=WHO, reason=options.reason)
    show(terminal_words.UNDONE.format(change=options.change, again=entry.change))


def run_logbook(options: argparse.Namespace) -> None:
    db = open_existing(options)
    done = logbook.read_logbook(db, unit=options.unit, who=options.who, since=options.since)
    if options.format == "csv":
        show(as_csv(done))
    else:
        show("\n".join(clean(line) for line in logbook_lines(done)) or terminal_words.NOTHING_ON_RECORD)


def list_resets(options: argparse.Namespace) -> None:
    db = open_existing(options)
    asked = open_questions(db, assess_database(db, as_of=as_of(options)))
    for unit, part, day in zip(asked["unit"], asked["part"], asked["around_on"], strict=True):
        show(terminal_words.LOOKS_REPLACED.format(unit=unit, part=words(str(part)), day=day))


def answer_reset(options: argparse.Namespace) -> None:
    answer = {"confirm": "confirmed", "deny": "denied"}[options.what]
    records.save_reset_answer(
        open_existing(options), unit=options.unit, part=options.part, around_on=options.around, answer=answer, by=WHO
    )
    show(f"{options.unit}: {words(options.part)} {answer}")
