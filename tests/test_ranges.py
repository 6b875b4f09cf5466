"""The range of the coldest start is true: held against the simulations' own physics, which is richer than the model's.

The stated range is 80 %: over all lists it is to hold between 0.75 and 0.88 of the time, a standard error of a share allowed for,
all vehicles and flagged ones, and in the middle nothing is to be more than 1.5 K off. A class's law is one
draw of nature, so that within a single fleet of three classes all vehicles err together: fleets are held to the middle and to half
of the vehicles, their sum to the range.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from samples_fleet import demo, tables_of

from analysis.worklist.assess import assess
from demo_fleet.scenario import AS_OF
from demo_fleet.simulate import FleetRun
from demo_fleet.specs import evaluation_specs

FLEETS = ("demo", "noisy_meters", "usual_mixed")
ROUNDING_K = 0.5
pytestmark = pytest.mark.usefixtures(
    "compiled"
)  # as fleets of 300 are judged; `test_kernel.py` holds whole arrays equal


@cache
def held(name: str) -> pd.DataFrame:
    """One list of a fleet beside its truth: said, low, high, true [degC], flagged."""
    if name == "demo":
        run, day = demo(), pd.Timestamp(AS_OF)
    else:
        spec = replace(next(s for s in evaluation_specs() if s.name == name), units=90, years=2.4)
        run, day = FleetRun(spec), pd.Timestamp(spec.end)
        run.advance(spec.end)
    units = assess(tables_of(run.fleet()), as_of=day, with_classes=False).units.set_index("unit")
    truth = run.true_state().set_index("unit")["coldest_start_c"].reindex(units.index)
    low, high = units["coldest_start_low_c"] - ROUNDING_K, units["coldest_start_high_c"] + ROUNDING_K
    return pd.DataFrame(
        {"error": units["coldest_start_c"] - truth, "holds": truth.between(low, high), "flagged": units["flagged"]}
    )


@pytest.mark.nightly
@pytest.mark.parametrize("name", FLEETS)
def test_the_coldest_start_is_right_in_the_middle(name: str) -> None:
    """Median error within 1.5 K, and the range true for more than half of the vehicles of every single fleet; by day
    `test_recovery.py` holds a list of its own to the same."""
    one = held(name)
    assert abs(one["error"].median()) < 1.5
    assert one["holds"].mean() > 0.5
    assert np.isfinite(one["error"]).all()


@pytest.mark.nightly
def test_eighty_per_cent_ranges_hold_for_about_eighty_per_cent() -> None:
    every = pd.concat([held(name) for name in FLEETS])
    for some in (every, every[every["flagged"]]):
        error = np.sqrt(0.8 * 0.2 / len(some))  # standard error of a share of 80 %
        assert 0.75 - error <= some["holds"].mean() <= 0.88 + error
