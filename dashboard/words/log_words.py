"""What the log says of an act, and where it is said to lie."""

import json
from collections.abc import Sequence
from typing import Final

WHERE: Final = "FILE.log beside the database FILE, readable by its owner only, says what was done, when, by which account, how long it took"
QUIET: Final = "print results and refusals only"
VERBOSE: Final = "print what goes into the log, too"
ABOUT: Final = "About these screens"
VERSION_AND_LOG: Final = (
    "Version {version}. What was imported, issued, planned and recorded, by which account and how long it took, is logged in "
    "{log}, on the machine that serves these screens, readable by its owner only."
)
NOBODY: Final = "no account"
BEGUN: Final = "begun"
EXIT_CODE: Final = "exit code {code}"
STARTED: Final = "screens at {address}"


def act_line(act: str, account: str, seconds: float, told: Sequence[str], failed: str = "", about: str = "") -> str:
    """An act in a line: which, about what, by which account, how long; then what became of it, or what kept it from being done."""
    what = f"{act} {_quoted(about)}" if about else act
    who = f"by {_quoted(account)}" if account else f"by {NOBODY}"
    became = [f"not done, {failed}"] if failed else []
    rest = "; ".join([*became, *(_quoted(one) for one in told)])
    return f"{what} {who}, {seconds:.1f} s" + (f": {rest}" if rest else "")


def _quoted(text: str) -> str:
    """A text in quotes that it cannot end."""
    return json.dumps(text, ensure_ascii=False)
