"""Seconds of processor time that each command takes, one process a command: python bench_commands.py [DEMO_DATABASE].

Prints the best of three runs beside the target: half a second for help and refusals, two seconds for lists and sheets on a
database to which nothing was written since they were worked out. The database is copied, or made anew (some ten seconds).
The first list on it, which is worked out, stands beside the others.

    python tests/benchmarks/bench_commands.py /tmp/demo.db
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from demo_fleet.scenario import AS_OF, STORIES
from ingest import store
from ingest.backups import backup

RUNS = 3
AT_ONCE_S, LISTED_S = 0.5, 2.0
UNIT = next(iter(STORIES))
AT = ("--taken-at", f"{AS_OF}T08:00", "--temperature-c", "12")
LIKE_ITS_LAST = ("--rest-v", "12.63", "--crank-min-v", "11.6", "--crank-a", "247", "--drop-ground-v", "1.0")
LIKE_ANOTHER_S = ("--rest-v", "12.63", "--crank-min-v", "10.2")  # a dozen vehicles are looked at, whose it is
COMMANDS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("--help",), AT_ONCE_S),
    (("--version",), AT_ONCE_S),
    (("record", "--help"), AT_ONCE_S),
    (("risk", "--horizon-days", "900"), AT_ONCE_S),
    (("nonsense",), AT_ONCE_S),
    (("risk", "--as-of", str(AS_OF)), LISTED_S),
    (("unit", UNIT, "--as-of", str(AS_OF)), LISTED_S),
    (("plan", "--as-of", str(AS_OF)), LISTED_S),
    (("record", UNIT, "--dry-run", *AT, *LIKE_ITS_LAST), LISTED_S),
    (("record", UNIT, "--dry-run", *AT, *LIKE_ANOTHER_S), LISTED_S),
)


def processor_s(words: tuple[str, ...], database: Path) -> float:
    """Processor time of one command, its start included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "dashboard.cli.entry", "--db", str(database), *words]
    # modules are compiled once, as an installation has them, whatever the shell says
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(command, env=kept, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Measure every command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("database", nargs="?", type=Path, help="a demo database; made anew when left out")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "demo.db"
        if options.database is None:
            print(f"{processor_s(('demo', '--files', f'{folder}/files'), database):6.2f} s           demo")
        else:
            backup(store.open_database(options.database, create=False), database)
        print(
            f"{processor_s(('risk', '--as-of', str(AS_OF), '--horizon-days', '31'), database):6.2f} s           a list worked out"
        )
        processor_s(("risk", "--as-of", str(AS_OF)), database)
        for words, target_s in COMMANDS:
            best_s = min(processor_s(words, database) for _ in range(RUNS))
            mark = "" if best_s <= target_s else "  over its target"
            print(f"{best_s:6.2f} s  ({target_s:.1f} s)  {' '.join(words)[-60:]}{mark}")


if __name__ == "__main__":
    main()
