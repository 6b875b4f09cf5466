"""Before and after a repair, in words."""

import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from analysis.bay.repaired import BETTER, WORSE, Repaired
from dashboard.words.plain_text import as_sentence, day
from dashboard.words.reading_sheet import with_error
from dashboard.words.reasons import PART_WORDS, plain
from dashboard.words.safety import with_caution

TITLE: Final = "Before and after the repair"
CHOOSE: Final = "Repair"
NONE: Final = "No repair has a reading before and after it that tells of its part."
DOTS: Final = "dots: mΩ at 20 °C, their lines 80 % sure"
BEFORE, AFTER, USUAL = "Before", "After", "usual"
COLUMNS: Final = ("", "measured on", "mΩ at 20 °C, ± one standard error", "usual, mΩ")
SIDES: Final = {"before": BEFORE, "after": AFTER}
STILL: Final = 1.5  # times what is usual: a part renewed or cleaned that reads more is looked at again; our choice


def repair_title(repair: Mapping[Any, Any]) -> str:
    return f"{as_sentence(PART_WORDS[str(repair['part'])])} {repair['action']}, {day(repair['done_on'])}"


def said(part: str, found: Repaired | None) -> str:
    """Whether it helped, and what to do."""
    name = PART_WORDS[part]
    if found is None:
        return (
            f"The two readings do not both tell the resistance of the {name}: only their volts stand side by side. Measure "
            "what tells of it before and after the next repair."
        )
    usual = f", usual {plain(found.usual, 'mΩ')}" if math.isfinite(found.usual) else ""
    figures = f"{as_sentence(name)} {plain(found.before, 'mΩ')} before, {plain(found.after, 'mΩ')} after{usual}: "
    if found.outcome == BETTER:
        high = math.isfinite(found.usual) and found.after > STILL * found.usual + found.after_se
        then = "still more than is usual, so look at it once more." if high else "nothing more to do."
        return f"{figures}the repair took away {plain(found.fell, 'mΩ')}; {then}"
    if found.outcome == WORSE:
        return with_caution(f"{figures}it reads worse than before. Measure again, then look at the work.")
    return (
        f"{figures}no difference that the meters' errors let tell. Measure once more before the repair counts as done."
    )


def numbers(found: Repaired | None, days: Mapping[str, pd.Timestamp]) -> pd.DataFrame:
    rows = []
    if found is not None:
        usual = "–" if not math.isfinite(found.usual) else plain(found.usual, "").strip()
        rows = [
            (BEFORE, day(days["before"]), with_error(found.before, found.before_se), usual),
            (AFTER, day(days["after"]), with_error(found.after, found.after_se), usual),
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))
