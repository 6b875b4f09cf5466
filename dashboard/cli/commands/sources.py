"""Descriptions of foreign files."""

import argparse

from dashboard.cli.commands.database import open_existing, open_or_make
from dashboard.cli.commands.files import read_text
from dashboard.cli.options import WHO, database_path
from dashboard.desk.terminal import say, show
from dashboard.words import terminal_words
from ingest import sources
from ingest.drafting import draft_source


def draft(options: argparse.Namespace) -> None:
    """Print a draft; what kind of file it is taken for and what is unsure about it goes to standard error."""
    drafted = draft_source(options.file, options.sheet)
    show(drafted.toml)
    for question in (drafted.kind, *drafted.questions, *drafted.unsure):
        say(question)
    if drafted.other_sheets and not options.sheet:
        say(terminal_words.OTHER_SHEETS.format(sheets=", ".join(map(repr, drafted.other_sheets))))


def save(options: argparse.Namespace) -> None:
    text = read_text(options.file)
    sources.save_source(open_or_make(database_path(options)), options.name, text, by=WHO)
    show(terminal_words.SOURCE_SAVED.format(name=options.name))


def list_all(options: argparse.Namespace) -> None:
    for saved in sources.list_sources(open_existing(options)):
        show(f"{saved.name}\t{saved.saved_at}\t{saved.saved_by}")


def show_one(options: argparse.Namespace) -> None:
    show(sources.read_source(open_existing(options), options.name))
