"""The screens as `cranktrend` serves them, but that nothing is worked out beside them: for tests of what a page does.

python -m quick_server FOLDER WHAT ARGUMENTS...: FOLDER is where `samples_kept` keeps what is made once a run; WHAT is `fleet`
where every assessment is the small fleet's, or `here` where the server itself assesses what is in the database; then as
`cranktrend`. That judging by a process of its own comes to the page is held by `test_a_new_monday`.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import samples_kept
from samples_screens import assess_here, assessed, past_like_today

from analysis.worklist.assess import Assessment
from dashboard.cli.main import main
from dashboard.screens import history, session


def like_the_small_fleet(key: session.Key) -> Assessment:
    """The small fleet's assessment under the day asked for."""
    return replace(assessed(), as_of=pd.Timestamp(key.as_of), horizon_days=key.horizon_days)


def quick(folder: Path, what: str) -> None:
    """Have this process answer at once what the screens would let others work out."""
    samples_kept.keep_in(folder)
    session._assess = {"fleet": like_the_small_fleet, "here": assess_here}[what]
    history._work_out = past_like_today if what == "fleet" else lambda *_: None


if __name__ == "__main__":
    quick(Path(sys.argv[1]), sys.argv[2])
    sys.exit(main(sys.argv[3:]))
