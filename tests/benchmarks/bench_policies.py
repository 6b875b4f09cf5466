"""Cost and no-starts per 100 unit-years of the plan, three simple policies and an all-knowing planner.

    python tests/benchmarks/bench_policies.py [--units 120] [--years 3.3] [--fleets NAME ...] [--policies NAME ...]

The target: the plan makes at least 70 % of the saving that the all-knowing planner makes over run to failure.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from policy_play import Outcome, all_policies, play, share_of_saving

from analysis.costs import PlanSettings
from demo_fleet.specs import FleetSpec, evaluation_specs


def main() -> None:
    """Play the policies on the named fleets and print a table each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=120)
    parser.add_argument("--years", type=float, default=3.3)
    parser.add_argument("--fleets", nargs="*", default=["usual_mixed"])
    parser.add_argument("--policies", nargs="*", default=[])
    chosen = parser.parse_args()
    for spec in evaluation_specs():
        if spec.name in chosen.fleets:
            run_one(replace(spec, units=chosen.units, years=chosen.years), chosen.policies)


def run_one(spec: FleetSpec, names: list[str]) -> None:
    """One fleet's table."""
    settings = PlanSettings()
    outcomes: dict[str, Outcome] = {}
    for name, policy in all_policies(settings).items():
        if names and name not in (*names, "run_to_failure", "all_knowing"):
            continue
        begun = time.perf_counter()
        outcomes[name], _ = play(spec, name, policy, settings)
        print(f"  {name}: {time.perf_counter() - begun:.0f} s", file=sys.stderr, flush=True)
    print(
        f"{spec.name}: {spec.units} units, {spec.years:g} years, the first without acting, the last half year all-knowing"
    )
    for name, o in outcomes.items():
        share = share_of_saving(outcomes, name)
        print(
            f"  {name:15s} cost {o.cost_per_100:9.0f}  no-starts {o.no_starts_per_100:5.1f}  "
            f"visits {100 * o.visits / o.unit_years:6.1f} per 100 unit-years, saving {share:6.1%} of the all-knowing"
        )


if __name__ == "__main__":
    main()
