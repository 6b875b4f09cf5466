"""Accounts and their roles on the screens, and the secret that signs the codes on windscreens."""

from collections.abc import Sequence
from datetime import datetime
from secrets import token_hex
from typing import Final

from sqlite_utils import Database

from ingest.errors import IngestError
from ingest.fields import ADMINISTRATOR, LONGEST_NAME, ROLES
from ingest.writing import Change, first, put, stamp, write_change, writing

SECRET_BYTES: Final = 32  # of the key of HMAC-SHA-256: as many as its digest has (RFC 2104, section 3)


def read_accounts(db: Database) -> dict[str, tuple[str, ...]]:
    """Every account that has a role, with its roles in the order of ROLES."""
    found: dict[str, set[str]] = {}
    for row in db.query("SELECT account, role FROM accounts ORDER BY account"):
        found.setdefault(row["account"], set()).add(row["role"])
    return {account: tuple(role for role in ROLES if role in held) for account, held in found.items()}


def roles_of(db: Database, account: str) -> tuple[str, ...]:
    """The roles of one account, written exactly so; none for one that nobody gave any."""
    held = {row["role"] for row in db.query("SELECT role FROM accounts WHERE account = ?", [account])}
    return tuple(role for role in ROLES if role in held)


def administrators(db: Database) -> tuple[str, ...]:
    return tuple(account for account, held in read_accounts(db).items() if ADMINISTRATOR in held)


def checked_account(account: str) -> str:
    """The name of an account as it is kept; ValueError for what is none."""
    name = account.strip()
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        raise ValueError(
            f"account is {name[:LONGEST_NAME]!r}; allowed is a name in one line, 1 to {LONGEST_NAME} characters"
        )
    return name


def give_roles(db: Database, account: str, roles: Sequence[str], *, by: str, now: datetime | None = None) -> bool:
    """Add roles to an account; False when it has them all already."""
    return _change(db, account, roles, give=True, by=by, now=now)


def take_roles(db: Database, account: str, roles: Sequence[str], *, by: str, now: datetime | None = None) -> bool:
    """Take roles from an account; False when it has none of them.  IngestError for the only administrator."""
    return _change(db, account, roles, give=False, by=by, now=now)


def _change(db: Database, account: str, roles: Sequence[str], *, give: bool, by: str, now: datetime | None) -> bool:
    name, at = checked_account(account), now or datetime.now()
    for role in roles:
        if role not in ROLES:
            raise ValueError(f"role is {role!r}; allowed are {', '.join(ROLES)}")
    with writing(db):
        old = set(roles_of(db, name))
        new = old | {*roles} if give else old - {*roles}
        if new == old:
            return False
        if ADMINISTRATOR in old - new and administrators(db) == (name,):
            raise IngestError(f"{name} is the only administrator; make another one first")
        for role in old - new:
            db.table("accounts").delete((name, role))
        for role in new - old:
            put(db, "accounts", {"account": name, "role": role, "by": by, "at": stamp(at)})
        was, held = (", ".join(role for role in ROLES if role in both) or None for both in (old, new))
        reason = "roles given" if give else "roles taken"
        write_change(db, Change("accounts", name, "roles", was, held), by=by, at=at, reason=reason)
    return True


def code_secret(db: Database) -> str:
    """The secret that codes on windscreens are signed with; "" where none was made yet."""
    newest = first(db, "SELECT secret FROM code_secrets ORDER BY id DESC LIMIT 1")
    return str(newest["secret"]) if newest else ""


def new_code_secret(db: Database, *, by: str, reason: str, now: datetime | None = None) -> None:
    """Make a new secret: codes that were printed before open nothing any more for who is not signed in."""
    at = now or datetime.now()
    with writing(db):
        put(db, "code_secrets", {"secret": token_hex(SECRET_BYTES), "by": by, "at": stamp(at)})
        write_change(db, Change("code_secrets", "all", "made", None, stamp(at)), by=by, at=at, reason=reason)


def first_code_secret(db: Database, *, by: str) -> str:
    """The secret of the codes, made where there is none."""
    with writing(db):
        if not code_secret(db):
            new_code_secret(db, by=by, reason="the first codes")
    return code_secret(db)
