"""Who may do what on the screens: acts and the roles that may do them, in one table."""

import hashlib
import hmac
from base64 import urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from sqlite_utils import Database

from dashboard.words.rights_words import not_yours
from ingest.accounts import code_secret, roles_of
from ingest.errors import IngestError
from ingest.fields import ADMINISTRATOR, MANAGER, PLANNER, TECHNICIAN
from ingest.sheet_edits import SHEETS

CODE_BYTES: Final = 16  # of a windscreen code: 128 bits cannot be guessed, the square stays coarse; our choice


class Act(StrEnum):
    """What writes; each is worded in `words.rights_words.ACT_WORDS`."""

    REMEMBER = "remember"
    RECORD = "record"
    CORRECT = "correct"
    ANSWER = "answer"
    ASIDE = "aside"
    DECIDE = "decide"
    ISSUE = "issue"
    PLAN = "plan"
    HOURS = "hours"
    IMPORT = "import"
    CODES = "codes"
    SETTINGS = "settings"
    ACCOUNTS = "accounts"

    @property
    def roles(self) -> tuple[str, ...]:
        return ALLOWED[self]


ALLOWED: Final[Mapping[Act, tuple[str, ...]]] = {
    Act.REMEMBER: (TECHNICIAN, PLANNER, MANAGER, ADMINISTRATOR),
    Act.RECORD: (TECHNICIAN, MANAGER, ADMINISTRATOR),
    Act.CORRECT: (TECHNICIAN, MANAGER, ADMINISTRATOR),
    Act.ANSWER: (TECHNICIAN, MANAGER, ADMINISTRATOR),
    Act.ASIDE: (TECHNICIAN, MANAGER, ADMINISTRATOR),
    Act.DECIDE: (MANAGER, ADMINISTRATOR),
    Act.ISSUE: (MANAGER, ADMINISTRATOR),
    Act.PLAN: (PLANNER, MANAGER, ADMINISTRATOR),
    Act.HOURS: (PLANNER, MANAGER, ADMINISTRATOR),
    Act.IMPORT: (PLANNER, MANAGER, ADMINISTRATOR),
    Act.CODES: (MANAGER, ADMINISTRATOR),
    Act.SETTINGS: (MANAGER, ADMINISTRATOR),
    Act.ACCOUNTS: (ADMINISTRATOR,),
}
"""Act -> the roles that may do it; an account with several roles may do what any of them may."""
BY_CODE: Final = (Act.REMEMBER, Act.RECORD)
"""What a windscreen code lets do who is not signed in: record readings of its own vehicle."""
_ACT_OF_TABLE: Final = {
    **dict.fromkeys(SHEETS, Act.HOURS),
    "units": Act.IMPORT,
    "vehicles": Act.IMPORT,
    "decisions": Act.DECIDE,
}


class NotAllowed(IngestError):
    """An act that the visitor has no role for; nothing was written."""


@dataclass(frozen=True)
class Visitor:
    """Who is looking: anybody where no sign-in is on, else an account with its roles, else the holder of a vehicle's code."""

    anybody: bool = False
    account: str = ""
    roles: tuple[str, ...] = ()
    code_unit: str = ""

    @property
    def may_read(self) -> bool:
        return self.anybody or bool(self.roles)

    def may(self, act: Act, unit: str = "") -> bool:
        """Whether the visitor may do it; `unit` is the vehicle that the act is about."""
        if self.anybody or set(self.roles) & set(act.roles):
            return True
        own = act == Act.REMEMBER or unit == self.code_unit
        return not self.roles and bool(self.code_unit) and act in BY_CODE and own

    def check(self, act: Act, unit: str = "") -> None:
        """Raise NotAllowed, in a sentence that says who may, where the visitor may not do it."""
        if not self.may(act, unit):
            raise NotAllowed(not_yours(act, act.roles, self.roles))


ANYBODY: Final = Visitor(anybody=True)


def visitor_of(db: Database, account: str, unit: str = "", code: str = "") -> Visitor:
    """An account with the roles that it has at this moment, and the vehicle whose code was shown, where the code is right."""
    right = bool(unit and code) and hmac.compare_digest(code.encode(), code_of(code_secret(db), unit).encode())
    return Visitor(False, account, roles_of(db, account) if account else (), unit if right and code_secret(db) else "")


def code_of(secret: str, unit: str) -> str:
    """The code of a vehicle's windscreen: HMAC-SHA-256 (RFC 2104) of its number, cut to CODE_BYTES, for an address."""
    digest = hmac.new(secret.encode(), unit.encode(), hashlib.sha256).digest()
    return urlsafe_b64encode(digest[:CODE_BYTES]).decode().rstrip("=")


def act_of_row(word: str) -> Act:
    """The act that changes a row of the kind `word`, as `ingest.corrections` calls kinds."""
    return _ACT_OF_TABLE.get(f"{word}s", Act.CORRECT)


def act_of_change(db: Database, change: int) -> Act:
    """The act that undoes a change: that of the strictest table which it touched."""
    touched = db.query("SELECT DISTINCT table_name FROM audit WHERE origin_id = ?", [change])
    acts = [_ACT_OF_TABLE.get(str(row["table_name"]), Act.CORRECT) for row in touched]
    return min(acts, key=lambda act: len(act.roles), default=Act.CORRECT)
