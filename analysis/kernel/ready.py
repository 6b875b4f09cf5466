"""The loops compiled: by numba, once on a machine, kept on its disk beside this file or in the user's own cache folder.

Nothing is compiled until :func:`make_ready` is called, and until then, and where it could not be done, every caller works
with whole arrays instead: the same figures, later.
"""

from __future__ import annotations

import gc
import pickle
from collections.abc import Callable
from typing import Any, Final, TypeAlias

from analysis.kernel import loops

Loop: TypeAlias = Callable[..., None]

_F1, _F2, _F3, _, _F5 = (f"float32[{':,' * n}::1]" for n in range(5))
_D1, _D2, _D3, _D4 = (f"float64[{':,' * n}::1]" for n in range(4))
_PLACES: Final = "int64[::1]"
_MARKS: Final = "boolean[:, ::1]"
SIGNATURES: Final[dict[Loop, tuple[str, ...]]] = {
    loops.weighted_places: (_F2, _D2, "float64", _D1),
    loops.failed_by_the_end: (_D4, _D2, _PLACES, _D1, _D1, _F3, _PLACES, _F1, _D2, _D3),
    loops.failed_by_needs: (*(_D3,) * 3, *(_D4,) * 3, _D1, "float64", _F5),
    loops.places_by_window: (_D3, _D2, _D1, _D1, _D3),
    loops.path_means: (*(_F2,) * 6, _D2, _D2, _PLACES, "float64", "float64", _D2),
    loops.paths_weighed: (
        *(_D2,) * 3, _MARKS, _MARKS, _D1, _D1, _D2, _D2, "float64", _PLACES, _D1, _D1, *(_F2,) * 6, _D1,
    ),
    loops.values_drawn: (*(_F2,) * 7, *(_D2,) * 4, "float64", _D1, _D2, _D1, _D2, _F3, _D2),
    loops.coldest_on_levels: (
        _F3, _F2, _F2, _F2, _PLACES, _PLACES, _F3, _F3, _F1, _F1, "float32", "float32", _F3, _F3, _F3, _F3, _F3, _F3,
    ),
    loops.coldest_with_renewed: (
        _PLACES, _PLACES, _F3, _F2, "boolean", _F2, _MARKS, *(_F2,) * 3, _PLACES, _PLACES, _F3, _F3, _F1, _F1, "float32",
        "float32", _F3, _F3, _F3, *(_F2,) * 4, _F1, _F2,
    ),
}  # fmt: skip
"""What each loop takes after the first and the last vehicle, the shortest loop first; one kind of arrays each, because each
kind is compiled."""
DAMAGED: Final = (
    EOFError, pickle.UnpicklingError, ValueError, TypeError, AttributeError, ImportError, IndexError, KeyError, OverflowError,
)  # fmt: skip
"""What reading something kept that was cut off or changed may raise."""
_made: dict[Loop, Loop] = {}


def compiled(loop: Loop) -> Loop | None:
    """The loop as it was compiled; None where whole arrays are to be used."""
    return _made.get(loop)


def is_ready() -> bool:
    """Whether compiled loops are used from here on."""
    return bool(_made)


def make_ready(told: Callable[[], None]) -> bool:
    """Whether all loops are compiled now, or were before; told: called before a wait, where they were not kept on disk.

    False where numba cannot be loaded or run, or finds no folder to keep anything in.
    """
    if _made:
        return True
    try:
        import numba
        import numba.extending
    except (ImportError, OSError):
        return False
    made: dict[Loop, Any] = {}
    collected = gc.isenabled()
    gc.disable()  # a tenth of the wait and more would go into looking through what the compiler still holds; 50 MB are let go later
    try:
        numba.extending.register_jitable(error_model="numpy")(loops.one_start)  # which loops call
        for loop, taken in SIGNATURES.items():
            made[loop] = numba.njit(nogil=True, cache=True, error_model="numpy")(loop)
            _compile(made[loop], f"void(int64, int64, {', '.join(taken)})")
            if len(made) == 1 and made[loop].stats.cache_misses:  # what is not kept of the first is not of the others
                told()
    except (RuntimeError, OSError, *DAMAGED, numba.core.errors.NumbaError):
        return False
    finally:
        if collected:
            gc.enable()
    _made.update(made)
    return True


def _compile(loop: Any, signature: str) -> None:
    """Compiled, or as it is kept; what is kept and cannot be read is made anew."""
    try:
        loop.compile(signature)
    except DAMAGED:
        loop.recompile()  # of nothing yet: empties what is kept
        loop.compile(signature)


def leave() -> None:
    """From here on whole arrays, as before :func:`make_ready`."""
    _made.clear()
