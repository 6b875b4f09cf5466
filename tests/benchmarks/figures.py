"""Whether a change leaves the figures as they were: assessments and plans of the demo and of three evaluation fleets.

    python tests/benchmarks/figures.py save /tmp/before.pkl       on the commit before
    python tests/benchmarks/figures.py compare /tmp/before.pkl    on the commit after: equal within 1e-9, or what is not

Frames: units, parts, outlook, beyond, resets, drift and classes of the assessment, visits and orders of the plan.
"""

from __future__ import annotations

import pickle
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from samples_fleet import tables_of

from analysis.plan.replacement_plan import PlanInputs, plan_replacements
from analysis.worklist.assess import Assessment, assess
from demo_fleet.scenario import AS_OF, demo_operator
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import evaluation_specs

FRAMES = ("units", "parts", "outlook", "beyond", "resets", "drift", "classes")
EVALUATED = ("usual_mixed", "heavy_24v", "joints")
WITHIN = 1e-9


def frames() -> dict[str, pd.DataFrame]:
    """Every frame by fleet and name."""
    found: dict[str, pd.DataFrame] = {}
    fleets = {"demo": (demo_operator(), pd.Timestamp(AS_OF))}
    for spec in evaluation_specs():
        if spec.name in EVALUATED:
            made = simulate_fleet(replace(spec, units=80, years=2.5))
            fleets[spec.name] = (made, pd.Timestamp(made.as_of) - pd.Timedelta(days=30))
    for name, (fleet, day) in fleets.items():
        assessed: Assessment = assess(tables_of(fleet), as_of=day)
        found |= {f"{name} {f}": getattr(assessed, f) for f in FRAMES}
        plan = plan_replacements(inputs(fleet, assessed), as_of=assessed.as_of)
        found |= {f"{name} visits": plan.visits, f"{name} policies": plan.policies}
    return found


def inputs(fleet: Fleet, assessed: Assessment) -> PlanInputs:
    """What a plan of this fleet is made of."""
    return PlanInputs(
        outlook=assessed.outlook, units=assessed.units, parts=assessed.parts, catalogue=fleet.parts,
        services=fleet.services, workshops=fleet.workshops, repairs=fleet.repairs, fleet=fleet.units,
        beyond=assessed.beyond,
    )  # fmt: skip


def differences(before: pd.DataFrame, after: pd.DataFrame) -> list[str]:
    """What differs between two frames, by column; nothing where they are equal within WITHIN."""
    if list(before.columns) != list(after.columns) or len(before) != len(after):
        return [f"{list(before.columns)} x {len(before)} became {list(after.columns)} x {len(after)}"]
    found = []
    for name in before.columns:
        a, b = before[name].to_numpy(), after[name].to_numpy()
        if pd.api.types.is_float_dtype(before[name]):
            worst = float(np.nanmax(np.abs(a - b), initial=0.0))
            if worst > WITHIN or (np.isnan(a) != np.isnan(b)).any():
                found.append(f"{name}: {worst:.3g}")
        elif not before[name].reset_index(drop=True).equals(after[name].reset_index(drop=True)):
            found.append(f"{name}: other values")
    return found


def main() -> int:
    """Save the figures, or compare them with saved ones."""
    what, file = sys.argv[1], Path(sys.argv[2])
    now = frames()
    if what == "save":
        file.write_bytes(pickle.dumps(now))
        print(f"{len(now)} frames kept in {file}")
        return 0
    before = pickle.loads(file.read_bytes())
    wrong = {name: d for name, frame in before.items() if (d := differences(frame, now[name]))}
    for name, what_differs in wrong.items():
        print(name, *what_differs, sep="\n    ")
    print(f"{len(before)} frames, {len(wrong)} differ by more than {WITHIN:g}")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
