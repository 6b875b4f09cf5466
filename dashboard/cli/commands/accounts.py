"""Accounts and their roles, and new codes for windscreens."""

import argparse

from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import WHO
from dashboard.desk.terminal import say, show
from dashboard.words import rights_words as words
from ingest.accounts import give_roles, new_code_secret, read_accounts, roles_of, take_roles


def list_all(options: argparse.Namespace) -> None:
    known = read_accounts(open_existing(options))
    for account, roles in known.items():
        show(f"{account}: {', '.join(roles)}")
    if not known:
        say(words.NO_ACCOUNT)


def give_or_take(options: argparse.Namespace) -> None:
    db = open_existing(options)
    account = options.account.strip()
    changed = (give_roles if options.what == "give" else take_roles)(db, account, options.roles, by=WHO)
    held = ", ".join(roles_of(db, account)) or words.NO_ROLE
    show(f"{account}: {held}" + ("" if changed else f" ({words.AS_BEFORE})"))


def new_codes(options: argparse.Namespace) -> None:
    new_code_secret(open_existing(options), by=WHO, reason=options.reason)
    show(words.NEW_CODES)
