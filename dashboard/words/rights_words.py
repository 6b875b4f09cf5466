"""Who may do what, in words: roles, acts, and what is said to who may not."""

from collections.abc import Sequence
from typing import Final

from ingest.values import joined

ACT_WORDS: Final = {
    "remember": "keep what a device remembers",
    "record": "record readings, starts, repairs and visits",
    "correct": "correct and withdraw what is on record",
    "answer": "say whether a part was renewed",
    "aside": "put rows right that could not be believed",
    "decide": "decide on a vehicle",
    "issue": "issue the list",
    "plan": "make and change the plan",
    "hours": "set workshop hours, closed days and parts",
    "import": "bring in files and descriptions",
    "codes": "print codes for windscreens",
    "settings": "change settings",
    "accounts": "give and take roles, and make new codes",
}
"""Act -> what it lets do; behind "who may"."""
BY_CODE: Final = "windscreen code"
SIGN_IN: Final = "Sign in"
SIGN_OUT: Final = "Sign out"
SIGN_IN_FIRST: Final = "Sign in to see these pages."
NO_NAME: Final = (
    "Nobody told these screens who you are. Come by the address of your workshop, where you sign in, and not past it."
)
UNKNOWN: Final = "Your account {account} is not known here. Ask {administrators} to give it a role."
NO_ADMINISTRATOR: Final = (
    "Your account {account} is not known here, and no administrator is on record. On the machine that holds the database, "
    "make the first one: cranktrend accounts give ACCOUNT administrator"
)
CODE_WRONG: Final = "This code opens nothing any more. Sign in, or have a new code printed."
ANOTHER_VEHICLE: Final = "This code opens {unit} only."
SIGNED_IN: Final = "Signed in as **{account}** ({roles})"
HOST_REFUSED: Final = "These screens do not answer to the name {name}. Start them with --host-name {name} if that is how they are reached."
HOST_UNREADABLE: Final = (
    "These screens want to be asked by one name of a host; this request named none, or something else."
)
ORIGIN_REFUSED: Final = "These screens do not answer to pages of {origin}."
OPEN_REFUSED: Final = (
    "--host {host} lets every device of the network write to the database without a name: sign-in is off. Turn it on with "
    "--sign-in FILE.toml, or with --account-header NAME behind a proxy on this machine; or say "
    "--open-to-everyone-on-this-network if that is what you mean"
)
HEADER_ELSEWHERE: Final = (
    "--account-header believes a proxy on this machine only, and --host {host} lets others come past it: leave --host at "
    "127.0.0.1, and let the proxy serve the network"
)
NO_ACCOUNT: Final = (
    "no account has a role; `cranktrend accounts give ACCOUNT administrator` makes the first administrator"
)
ACCOUNTS: Final = "Accounts and their roles"
ACCOUNT: Final = "Account"
ACCOUNT_HELP: Final = "Exactly as the sign-in tells it, capitals too."
ROLES: Final = "Roles"
CHOOSE_ROLES: Final = "choose one or more"
GIVE: Final = "Give these roles"
TAKE: Final = "Take these roles"
NOTHING_CHANGED: Final = "Nothing changes: it is so already, or no role was chosen."
NEW_CODES_OPENS: Final = "New codes for windscreens …"
NEW_CODES_HELP: Final = (
    "Codes that were printed open nothing any more for who is not signed in. Print new ones from the Fleet page."
)
NEW_CODES_NOW: Final = "Make new codes"
NEW_CODES_MADE: Final = "The codes printed before open nothing any more."
NO_ROLE: Final = "no role"
AS_BEFORE: Final = "as before"
NEW_CODES: Final = (
    "codes printed before open nothing any more for who is not signed in; print new ones from the Fleet page"
)


def not_yours(act: str, allowed: Sequence[str], roles: Sequence[str]) -> str:
    """Why an act is refused: who may do it, and what the visitor is."""
    yours = f"you are {joined(roles)}" if roles else "you came by a windscreen code"
    return f"To {ACT_WORDS[act]} you have to be {joined(allowed, 'or')}; {yours}."


def unknown_account(account: str, administrators: Sequence[str]) -> str:
    """What an account without a role is told, and whom it asks."""
    if not administrators:
        return NO_ADMINISTRATOR.format(account=account)
    return UNKNOWN.format(account=account, administrators=joined(administrators, "or"))
