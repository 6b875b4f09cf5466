"""The screens."""

import argparse
import os
from pathlib import Path
from urllib.parse import urlsplit

from dashboard.cli.commands.database import open_or_make
from dashboard.cli.options import DATABASE_VARIABLE, WHO, database_path
from dashboard.desk import act_log
from dashboard.desk.addresses import ADDRESS_KEY, is_loopback
from dashboard.desk.terminal import say
from dashboard.files import paper  # noqa: F401 - imported before the server is up
from dashboard.files.sign_in_settings import SignIn, sign_in_settings
from dashboard.screens import serving, unit_charts  # noqa: F401 - imported before the server is up
from dashboard.screens.gate import Door
from dashboard.screens.visitor import BY_HEADER, BY_PROVIDER, SIGN_IN_VARIABLE
from dashboard.words import rights_words as words
from dashboard.words.log_words import STARTED, act_line
from ingest.accounts import administrators, first_code_secret
from ingest.records import read_settings


def run_dashboard(options: argparse.Namespace) -> None:
    path = database_path(options)
    signing = sign_in_settings(Path(options.sign_in)) if options.sign_in else None
    check_open(options)
    serving.check_address(options.host, options.port)
    door = opened(options, path, signing)
    os.environ[DATABASE_VARIABLE] = str(path.resolve())
    say(f"cranktrend: screens at http://{options.host}:{options.port} (database {path}); stop with Ctrl+C")
    begun = act_line(
        options.command, act_log.system_account(), 0.0, [STARTED.format(address=f"{options.host}:{options.port}")]
    )
    act_log.note(path, begun)
    serving.serve(door, options.port, secrets=signing.secrets if signing else None)


def check_open(options: argparse.Namespace) -> None:
    """Refuse to serve others than this machine without a sign-in, or with one that they could come past."""
    if options.host == "localhost" or is_loopback(options.host):
        return
    if options.account_header:
        raise ValueError(words.HEADER_ELSEWHERE.format(host=options.host))
    if not (options.sign_in or options.open_to_all):
        raise ValueError(words.OPEN_REFUSED.format(host=options.host))


def opened(options: argparse.Namespace, path: Path, signing: SignIn | None) -> Door:
    """The door as the options, the settings and the sign-in have it; says so where nobody could come in yet."""
    db = open_or_make(path)
    address = read_settings(db).get(ADDRESS_KEY)
    names = [*options.host_names, urlsplit(str(address or "")).hostname or "", signing.host_name if signing else ""]
    how = f"{BY_PROVIDER}:{signing.claim}" if signing else BY_HEADER if options.account_header else ""
    os.environ[SIGN_IN_VARIABLE] = how
    if how:
        first_code_secret(db, by=WHO)
        if not administrators(db):
            say(words.NO_ACCOUNT)
    db.conn.close()
    return Door(options.host, tuple(name for name in names if name), options.account_header or "")
