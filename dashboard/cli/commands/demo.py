"""The demo."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.cli.commands.database import open_or_make
from dashboard.cli.demo import make_demo
from dashboard.cli.options import database_path
from dashboard.desk.terminal import say, show


def run_demo(options: argparse.Namespace) -> int:
    """Make the demo fleet's files and database, and print its weekly list and plan."""
    path = database_path(options)
    open_or_make(path).conn.close()
    return make_demo(path, Path(options.folder), say=say, show=show)
