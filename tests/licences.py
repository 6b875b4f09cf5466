"""Prints the licences of what is installed for the program, and ends with 1 where one is not on the stated list.

    python -m tests.licences

Truth is what each package says of itself: License-Expression (PEP 639), else its classifier, else its field License.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution

from packaging.requirements import Requirement

ALLOWED = {
    "MIT", "MIT-0", "MIT-CMU", "BSD", "BSD-2-Clause", "BSD-3-Clause", "0BSD", "Apache-2.0", "PSF-2.0", "Zlib", "CC0-1.0", "ISC",
    "Public Domain", "Apache-2.0 WITH LLVM-exception", "MPL-2.0", "LGPL-3.0-or-later", "Unlicense",
}  # fmt: skip
"""Licences under which a package may be used beside a program under MIT: those that ask for a notice only; and two that ask
for changes of the package itself to be given away, which nobody makes here (MPL-2.0, and LGPL of a library that is imported)."""
CALLED = {
    "Apache Software License": "Apache-2.0", "Apache 2.0": "Apache-2.0", "Apache License 2.0": "Apache-2.0",
    "Apache License, Version 2.0": "Apache-2.0", "Apache": "Apache-2.0", "BSD License": "BSD", "MIT License": "MIT",
    "3-Clause BSD License": "BSD-3-Clause", "2-clause BSD": "BSD-2-Clause", "Python Software Foundation License": "PSF-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "GNU Lesser General Public License v3 or later (LGPLv3+)": "LGPL-3.0-or-later",
    "ISC License (ISCL)": "ISC", "The Unlicense (Unlicense)": "Unlicense",
}  # fmt: skip
"""What packages call a licence -> its short name (SPDX)."""


def used(root: str = "cranktrend") -> Iterator[Distribution]:
    """Every installed package that `root` asks for, with or without its extras, and what those ask for."""
    seen, open_names = {root}, [root]
    while open_names:
        name = open_names.pop()
        try:
            found = distribution(name)
        except PackageNotFoundError:  # of an extra that is not installed, or for another system
            continue
        if name != root:
            yield found
        for line in found.requires or []:
            asked = Requirement(line)
            extra = asked.marker is not None and "extra" in str(asked.marker)
            if asked.name.lower() not in seen and (name == root or not extra):
                seen.add(asked.name.lower())
                open_names.append(asked.name)


def licences(of: Distribution) -> list[str]:
    """Short names of the licences of a package."""
    told = of.metadata.get("License-Expression")
    if told:
        return re.split(r" (?:AND|OR) ", re.sub(r"[()]", "", told))
    classifiers = [c for c in of.metadata.get_all("Classifier") or [] if c.startswith("License ::")]
    names = [c.rpartition(" :: ")[2] for c in classifiers] or [
        (of.metadata.get("License") or "not told").split("\n")[0]
    ]
    return [CALLED.get(name, name) for name in names]


def not_allowed(names: list[str]) -> list[str]:
    """Those that are not on the list."""
    return [name for name in names if name not in ALLOWED]


def main() -> int:
    """Print the table; 1 where a licence is not on the list."""
    wrong = 0
    for one in sorted(used(), key=lambda found: str(found.name).lower()):
        names = licences(one)
        mark = "" if not not_allowed(names) else "  NOT ON THE LIST"
        wrong += bool(mark)
        sys.stdout.write(f"{one.name:28s} {one.version:18s} {', '.join(names)}{mark}\n")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
