"""Says what an audit of the pinned packages found; ends with 1 where one has a known weakness, and never for want of a network.

    python -m tests.audit FOUND.json

FOUND.json is what pip-audit wrote (--format json); where it is not there or is not whole, the service could not be reached.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path


def told(text: str) -> tuple[list[str], int]:
    """The lines to print, and the exit code; text: what pip-audit wrote, "" for nothing."""
    try:
        packages = json.loads(text)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return ["audit: nothing was audited, because pip-audit or its service could not be reached"], 0
    weak = [one for one in packages if one.get("vulns")]
    left = [one for one in packages if "skip_reason" in one]
    lines = [
        f"audit: {one['name']} {one['version']} has {known['id']}, mended in {', '.join(known['fix_versions']) or 'no version'}"
        for one in weak
        for known in one["vulns"]
    ]
    audited = len(packages) - len(left)
    why = (
        f"; the service here does not know {len(left)}, as {left[0]['name']}: {left[0]['skip_reason']}" if left else ""
    )
    return [
        *lines,
        f"audit: {audited} of {len(packages)} pinned packages audited, {len(weak)} with a known weakness{why}",
    ], int(bool(weak))


def main(file: Path) -> int:
    """Print what was found."""
    lines, code = told(file.read_text(encoding="utf-8") if file.exists() else "")
    sys.stdout.write("\n".join(lines) + "\n")
    return code


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
