"""The long form: every fault and every odd input, counted, as a table for DEVELOPERS.md.

python -m tests.faults --long                           all of it, about a quarter of an hour on two idle cores
python -m tests.faults --long --only kills --seed 2     one group; several lines of a table make one
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]

from faults import disks, fuzz, kills, power
from faults.afterwards import Counts
from faults.disk_log import why_not

HEAD = "| fault | tried | struck at work | acknowledged | lost | not acknowledged: whole / absent | copies looked at | wrong |"
Group = Callable[[int, float], Iterator[tuple[str, Counts]]]


def killed(seed: int, share: float) -> Iterator[tuple[str, Counts]]:
    """200 kills of eight commands."""
    for kind, found in kills.all_killed(many=round(25 * share), seed=seed):
        yield f"SIGKILL, `{kind}`", found


def cut(seed: int, share: float) -> Iterator[tuple[str, Counts]]:
    """500 power cuts."""
    if why := why_not():
        yield f"power cut: not tried, {why}", Counts()
        return
    yield "power cut, a week's work", power.cuts(power.work, many=round(400 * share), seed=seed)
    yield "power cut, change of version", power.cuts(power.upgrade, many=round(100 * share), seed=seed)


def failing(_seed: int, _share: float) -> Iterator[tuple[str, Counts]]:
    """Full disks, locks, read-only places, clocks set back."""
    why = disks.why_no_mount()
    yield (f"full disk: not tried, {why}", Counts()) if why else ("full disk, 14 sizes", disks.full())
    yield "locked by another program", disks.locked()
    yield "read-only file and folder", disks.read_only()
    yield "clock set back by 400 days", disks.clock_set_back()


def odd(seed: int, share: float) -> Iterator[tuple[str, Counts]]:
    """100,000 odd inputs."""
    for group, many in fuzz.LONG.items():
        yield f"odd inputs, {group}", fuzz.fuzzed(group, many=round(many * share), seed=seed)


GROUPS: Mapping[str, Group] = {"kills": killed, "power": cut, "disks": failing, "fuzz": odd}


def row(name: str, found: Counts) -> str:
    """A line of the table."""
    return (
        f"| {name} | {found.tried:,} | {found.struck} | {found.acknowledged:,} | {found.lost} | {found.whole} / {found.absent} | "
        f"{found.copies} | {len(found.wrong)} |"
    )


def main() -> int:
    """Run what was asked for; 1 where something is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument(
        "--long", action="store_true", required=True, help="the long form; the short one runs with the tests"
    )
    parser.add_argument("--only", choices=tuple(GROUPS), action="append", help="only this group")
    parser.add_argument("--seed", type=int, default=1, help="what chance begins from (default: 1)")
    parser.add_argument("--share", type=float, default=1.0, help="a share of each count (default: 1)")
    options = parser.parse_args()
    wrong: list[str] = []
    print(HEAD, "|" + " --- |" * 8, sep="\n")
    for name in options.only or GROUPS:
        for title, found in GROUPS[name](options.seed, options.share):
            print(row(title, found), flush=True)
            wrong += found.wrong
    print(*wrong[:50], sep="\n", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
