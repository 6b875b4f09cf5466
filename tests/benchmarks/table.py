"""One table of what costs what, each beside a reference measured in the same run; README.md beside this file says how.

python tests/benchmarks/table.py [--only GROUP ...] [--small] [--json FILE] [--compare FILE]
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Row:
    """One thing measured: seconds by the clock and of processor time, peak of memory of its process (0 where it has
    several), the row it is held against, and what else was found."""

    name: str
    seconds: float
    processor_s: float = 0.0
    peak_gib: float = 0.0
    reference: str = ""
    more: dict[str, float] = field(default_factory=dict)

    @property
    def cost(self) -> float:
        """What ratios are taken of: processor time, which others on the machine change little; else the clock."""
        return self.processor_s or self.seconds


@dataclass(frozen=True)
class Step:
    """A side of sides.py, the name of its row ("" for none) and that of the row it is held against."""

    side: str
    name: str = ""
    reference: str = ""


FLEET = (
    Step("make"),
    Step("bare_import", "bare import"),
    Step("whole_import", "import", "bare import"),
    Step("whole_import", "import again", "bare import"),
    Step("bare_read", "bare read"),
    Step("read", "read", "bare read"),
    Step("full", "assess, full", "read"),
)
ASSESSED = (
    Step("make"),
    Step("whole_import"),
    Step("bare_read", "bare read"),
    Step("read", "read", "bare read"),
    Step("full", "assess, full", "read"),
)
TENTH, TWICE = "tenth", "twice"
GROUPS: dict[str, tuple[Step, ...]] = {
    "fleet": (
        *FLEET,
        Step("trend_loop", "loop of trends", "read"),
        Step("new_week", "import of a week", "bare import"),
        Step("weekly", "assess, weekly", "assess, full"),
    ),
    "plan": (Step("plan_bound", "bound alone"), Step("plan", "plan", "bound alone")),
    "backtest": (Step("one_list", "one list"), Step("backtest", "backtest", "one list")),
    "dense": FLEET,
    TENTH: ASSESSED,
    TWICE: ASSESSED,
}
PAGE = "page"
FULL: dict[str, dict[str, float]] = {
    "fleet": {"units": 50_000, "starts": 0},
    "plan": {"fleet": 50_000, "at_risk": 4_000, "depots": 40, "hours": 8.0},
    "backtest": {"units": 400, "dates": 60},
    "dense": {"units": 5_000, "starts": 600},
    TENTH: {"units": 10_000, "starts": 0},
    TWICE: {"units": 100_000, "starts": 0},
    PAGE: {"units": 50_000},
}
SMALL: dict[str, dict[str, float]] = {
    "fleet": {"units": 500, "starts": 0},
    "plan": {"fleet": 2_000, "at_risk": 160, "depots": 4, "hours": 8.0},
    "backtest": {"units": 60, "dates": 8},
    "dense": {"units": 100, "starts": 200},
    TENTH: {"units": 100, "starts": 0},
    TWICE: {"units": 1_000, "starts": 0},
    PAGE: {"units": 600},
}


def measured(group: str, sizes: dict[str, float]) -> Iterator[Row]:
    """The rows of a group, each measured in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        for step in GROUPS[group]:
            command = [sys.executable, str(HERE / "sides.py"), step.side, folder, json.dumps(sizes)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                raise SystemExit(f"{group}, {step.side}: {done.stderr[-2000:]}")
            found = json.loads(done.stdout)
            own = {name: found.pop(name) for name in ("seconds", "processor_s", "peak_gib")}
            if step.name:
                reference = f"{group}: {step.reference}" if step.reference else ""
                yield Row(f"{group}: {step.name}", **own, reference=reference, more=found)


def pages(sizes: dict[str, float]) -> Iterator[Row]:
    """What a person waits for in Chromium, beside the toolkit's empty page (medians, by the clock)."""
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "pages.json"
        command = [
            sys.executable,
            str(HERE / "bench_first_page.py"),
            "--units",
            str(int(sizes["units"])),
            "--json",
            str(kept),
        ]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(f"{PAGE}: {done.stderr[-2000:]}")
        times = json.loads(kept.read_text())
    empty = "empty page"
    for where, waits in times.items():
        for what, found in waits.items():
            like = what if what in times[empty] else "click"
            reference = "" if where == empty else f"{PAGE}: {empty}, {like}"
            yield Row(
                f"{PAGE}: {where}, {what}",
                statistics.median(found),
                reference=reference,
                more={"slowest_s": max(found)},
            )


def machine() -> dict[str, object]:
    """What it was measured on."""
    about = Path("/proc/cpuinfo").read_text().splitlines()
    model = next((line.partition(":")[2].strip() for line in about if line.startswith("model name")), "")
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    commit = subprocess.run(
        ["git", "-C", str(HERE), "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    return {
        "commit": commit.stdout.strip(), "processor": model, "cores": os.cpu_count(), "memory_gib": round(memory, 1),
        "python": platform.python_version(), "load": os.getloadavg()[0],
    }  # fmt: skip


def growth(rows: dict[str, Row], sizes: dict[str, dict[str, float]]) -> list[str]:
    """The exponent with which a row's processor time grows with the number of vehicles, where both fleets were measured."""
    out = []
    for step in ASSESSED:
        few, many = (rows.get(f"{group}: {step.name}") for group in (TENTH, TWICE))
        if step.name and few and many:
            apart = sizes[TWICE]["units"] / sizes[TENTH]["units"]
            exponent = math.log(many.cost / few.cost) / math.log(apart)
            out.append(f"{step.name}: {apart:g} times the vehicles cost as their power {exponent:.2f}")
    return out


def ratio(row: Row, rows: dict[str, Row]) -> float:
    """How many times its reference a row costs; NaN without one."""
    return row.cost / rows[row.reference].cost if row.reference in rows else float("nan")


def line(row: Row, rows: dict[str, Row]) -> str:
    """A row of the table."""
    more = ", ".join(f"{name} {value:.4g}" for name, value in row.more.items())
    times = f"{ratio(row, rows):9.2f} x {row.reference.partition(': ')[2]:18s}" if row.reference else f"{'':30s}"
    return f"{row.name:36s} {row.seconds:8.1f} {row.processor_s:8.1f} {row.peak_gib:6.2f} {times} {more}"


def compared(before: dict[str, Row], after: dict[str, Row]) -> list[str]:
    """A line for each row that both runs have: ratios to the reference, and how they changed."""
    out = [f"{'':36s} {'before':>10s} {'after':>10s} {'after/before':>13s} {'GiB before':>11s} {'after':>6s}"]
    for name, row in after.items():
        if name not in before:
            continue
        old = before[name]
        held = bool(row.reference) and row.reference in after and old.reference in before
        was, now = (ratio(old, before), ratio(row, after)) if held else (old.cost, row.cost)
        unit = "x" if held else "s"
        out.append(
            f"{name:36s} {was:8.2f} {unit} {now:8.2f} {unit} {now / was:13.2f} {old.peak_gib:11.2f} {row.peak_gib:6.2f}"
        )
    return out


def main() -> None:
    """Measure, print, keep, compare."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--only", nargs="+", choices=list(FULL), default=list(FULL), metavar="GROUP", help=", ".join(FULL)
    )
    parser.add_argument("--small", action="store_true", help="small sizes, to see that all of it runs")
    parser.add_argument("--json", type=Path, help="keep the table in this file")
    parser.add_argument("--compare", type=Path, help="a table kept before, to print before and after of")
    options = parser.parse_args()
    before = json.loads(options.compare.read_text()) if options.compare else None
    sizes = SMALL if options.small else FULL
    if before and any(before["sizes"].get(group) not in (None, sizes[group]) for group in options.only):
        raise SystemExit(f"{options.compare} was measured with other sizes; measure both with or both without --small")
    kept = {"machine": machine(), "sizes": {group: sizes[group] for group in options.only}}
    print(*(f"{name} {value}" for name, value in kept["machine"].items()), sep=", ")
    print(f"{'':36s} {'clock s':>8s} {'proc. s':>8s} {'GiB':>6s} {'times its reference':>30s}")
    rows: dict[str, Row] = {}
    for group in options.only:
        for row in pages(sizes[group]) if group == PAGE else measured(group, sizes[group]):
            rows[row.name] = row
            print(line(row, rows), flush=True)
    for said in growth(rows, sizes):
        print(said)
    if options.json:
        kept["rows"] = [asdict(row) for row in rows.values()]
        options.json.write_text(json.dumps(kept, indent=1))
    if before:
        print(*compared({row["name"]: Row(**row) for row in before["rows"]}, rows), sep="\n")


if __name__ == "__main__":
    main()
