"""Prints the tables of priors and choices in analysis/NUMBERS.md anew, from the fields that the program uses.

    python -m tests.print_choices            shows what would change
    python -m tests.print_choices --write    writes it

A table stands between <!-- stated: ROOM.STAGE --> and <!-- end -->; a stage is a frozen dataclass of a module `choices`.
"""

from __future__ import annotations

import difflib
import importlib
import re
import sys
from dataclasses import is_dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from analysis.stated import choices_of, table_of

ROOT = Path(__file__).resolve().parents[1]
NUMBERS = ROOT / "analysis" / "NUMBERS.md"
TABLE = re.compile(r"(<!-- stated: ([a-z_.]+) -->\n).*?(<!-- end -->)", re.S)


def stages() -> dict[str, tuple[str, str]]:
    """ROOM.STAGE -> its module and the name of its instance there, for every stage of `analysis`."""
    found = {}
    for path in sorted((ROOT / "analysis").rglob("choices.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for name, held in vars(importlib.import_module(module)).items():
            if is_dataclass(held) and not isinstance(held, type) and type(held).__module__ == module:
                found[f"{path.parent.name}.{name.lower()}"] = (module, name)
    return found


def stage(key: str) -> Any:
    """The instance of one stage."""
    module, name = stages()[key]
    return getattr(importlib.import_module(module), name)


def printed(text: str) -> str:
    """The page with every table as the fields say it."""
    return TABLE.sub(lambda found: f"{found[1]}{table_of(stage(found[2]))}\n{found[3]}", text)


def main() -> int:
    """Show or write what differs."""
    before = NUMBERS.read_text(encoding="utf-8")
    after = printed(before)
    if "--write" in sys.argv[1:]:
        NUMBERS.write_text(after, encoding="utf-8")
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0)
    print("\n".join(lines) or f"{sum(len(choices_of(stage(key))) for key in stages())} choices, all as printed")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
