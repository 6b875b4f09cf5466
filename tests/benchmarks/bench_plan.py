"""Time of a plan of 5,000 vehicles with 400 candidates over 26 weeks; the target is under 30 s.

python tests/benchmarks/bench_plan.py
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from samples_plan import AS_OF, make_inputs

from analysis.costs import PlanSettings
from analysis.plan.replacement_plan import plan_replacements

TARGET_S = 30.0


def main() -> None:
    """Print time, visits, gap and method for one depot and for ten, with scarce and with plentiful hours."""
    for depots, hours in ((1, 20.0), (1, 60.0), (10, 3.0), (10, 8.0)):
        inputs = make_inputs(fleet=5000, at_risk=400, depots=depots, hours=hours, seed=3)
        begun = time.perf_counter()
        plan = plan_replacements(inputs, as_of=AS_OF, weeks=26, settings=PlanSettings(down_share=0.02))
        took = time.perf_counter() - begun
        s = plan.summary
        print(
            f"{depots:2d} depots of {hours:4.0f} h: {took:5.1f} s ({'under' if took < TARGET_S else 'OVER'} "
            f"{TARGET_S:g} s), {len(plan.visits)} visits, {len(plan.left_out)} left out, "
            f"gap {abs(s['gap']):.2%}, {', '.join(s['method'])}"
        )


if __name__ == "__main__":
    main()
