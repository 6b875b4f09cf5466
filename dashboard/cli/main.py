"""The command line: understand the words, load the command that was typed, run it.

Results go to standard output, messages to standard error.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib import import_module

from dashboard.cli.options import QUIET, VERBOSE, database_path
from dashboard.cli.parser import build_parser
from dashboard.desk import act_log
from dashboard.desk.terminal import DONE, answered, quiet
from dashboard.words.log_words import EXIT_CODE
from ingest.place import check_place

FILE_OPTIONS = ("db", "file", "files", "dbc", "paths", "folder")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code, see `terminal.answered`."""
    return answered(lambda: run_command(arguments))


def run_command(arguments: Sequence[str] | None) -> int:
    """Understand the words and do what they say; what can be refused without loading the command is refused first."""
    parser = build_parser()
    options = parser.parse_args(arguments)
    check_text(options)
    if wrong := options.wrong(options):
        raise ValueError(wrong)
    if options.database_is_there:
        check_place(database_path(options), create=False)
    quiet(options.talk == QUIET)
    act_log.aloud(options.talk == VERBOSE)
    if not options.is_act(options):
        return command_of(options.run)(options) or DONE
    words = " ".join(filter(None, (options.command, getattr(options, "what", ""))))
    with act_log.noted(database_path(options), words, account=act_log.system_account()):
        code = command_of(options.run)(options) or DONE
        act_log.became(EXIT_CODE.format(code=code))
    return code


def command_of(run: str) -> Callable[[argparse.Namespace], int | None]:
    """The function of a command, named as `module.function` of `dashboard.cli.commands`; its module is loaded here.

    It returns its exit code, or None where it is done and nothing else can come of it.
    """
    module, function = run.split(".")
    found: Callable[[argparse.Namespace], int | None] = getattr(
        import_module(f"dashboard.cli.commands.{module}"), function
    )
    return found


def check_text(options: argparse.Namespace) -> None:
    """Refuse what is no text, except in the names of files."""
    for name, value in vars(options).items():
        for text in texts_of(value):
            # bytes that did not come as UTF-8 are marked by the system (PEP 383)
            if name not in FILE_OPTIONS and text.encode("utf-8", "ignore").decode() != text:
                raise ValueError(f"{name} is {text!r}; allowed is text in UTF-8")


def texts_of(value: object) -> list[str]:
    """The texts that an option holds, one by one."""
    if isinstance(value, list | tuple):
        return [text for one in value for text in texts_of(one)]
    return [value] if isinstance(value, str) else []


if __name__ == "__main__":
    sys.exit(main())
