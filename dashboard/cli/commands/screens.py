"""The screens."""

from __future__ import annotations

import argparse
import os

from dashboard.charts.theme import STREAMLIT_FLAGS
from dashboard.cli.commands.database import open_or_make
from dashboard.cli.options import DATABASE_VARIABLE, database_path
from dashboard.desk.terminal import say
from dashboard.files import paper  # noqa: F401 - imported before the server is up
from dashboard.screens import serving, unit_charts  # noqa: F401 - imported before the server is up


def run_dashboard(options: argparse.Namespace) -> int:
    """Start the screens."""
    path = database_path(options)
    serving.check_address(options.host, options.port)
    open_or_make(path).conn.close()
    os.environ[DATABASE_VARIABLE] = str(path.resolve())
    say(f"cranktrend: screens at http://{options.host}:{options.port} (database {path}); stop with Ctrl+C")
    serving.serve(options.host, options.port, flags=STREAMLIT_FLAGS)
    return 0
