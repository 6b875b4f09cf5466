"""What a shell needs to complete our words at the Tab key."""

import argparse
from collections.abc import Iterator

import shtab

from dashboard.cli.parser import build_parser
from dashboard.desk.terminal import show


def run_completion(options: argparse.Namespace) -> None:
    """Print a script for a shell, made from the parser itself."""
    parser = build_parser()
    for action in actions_of(parser):
        if action.metavar and str(action.metavar).startswith("FILE"):
            action.complete = shtab.FILE  # type: ignore[attr-defined]
    show(shtab.complete(parser, options.shell))


def actions_of(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Every option and argument of a parser and of all commands below it."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for sub in action.choices.values():
                yield from actions_of(sub)
