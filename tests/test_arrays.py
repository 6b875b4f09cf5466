"""What becomes of memory that arrays no longer take."""

from __future__ import annotations

import ctypes
import platform
from pathlib import Path

import numpy as np
import pytest

from analysis.arrays import LARGE, give_back


def held_mib() -> float:
    """Memory of this process now."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library keeps what it keeps")
def test_holes_between_arrays_go_back_after_a_large_step_alone() -> None:
    """An array below the size from which the C library asks the system for each one stays in its store when let go of."""
    arrays = [np.ones(12_000) for _ in range(2_000)]  # 92 KiB each, 183 MiB
    arrays = arrays[-1:]  # those below the last one are holes
    before = held_mib()
    give_back(LARGE - 1)
    assert held_mib() > before - 50.0
    give_back(LARGE)
    assert held_mib() < before - 100.0
    assert arrays[0].sum() == 12_000


def test_another_c_library_keeps_what_it_keeps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without malloc_trim, or without a library by no name, nothing happens."""
    monkeypatch.setattr(ctypes, "CDLL", lambda _: object())
    give_back(LARGE)

    def none(_: object) -> None:
        raise TypeError

    monkeypatch.setattr(ctypes, "CDLL", none)
    give_back(LARGE)
