"""Points of a scrambled Sobol' sequence, the same as those of scipy.stats.qmc, which takes longer to load than a small fleet
to be judged.

Direction numbers: Joe and Kuo 2008 (search criterion 6). Scrambling: a random lower triangular matrix of bits for each axis,
then a random shift (Matousek 1998).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

BITS: Final = 30
BEGINNINGS: Final = (
    (3, 1), (7, 1, 3), (11, 1, 3, 1), (13, 1, 1, 1), (19, 1, 1, 3, 3), (25, 1, 3, 5, 13), (37, 1, 1, 5, 5, 17),
    (41, 1, 1, 5, 5, 5), (47, 1, 1, 7, 11, 19), (55, 1, 1, 5, 1, 1), (59, 1, 1, 1, 3, 11), (61, 1, 3, 5, 5, 31),
    (67, 1, 3, 3, 9, 7, 49), (91, 1, 1, 1, 15, 21, 21), (97, 1, 3, 1, 13, 27, 49), (103, 1, 1, 1, 15, 7, 5),
    (109, 1, 3, 1, 15, 13, 25), (115, 1, 1, 5, 5, 19, 61), (131, 1, 3, 7, 11, 23, 15, 103), (137, 1, 3, 7, 13, 13, 15, 69),
    (143, 1, 1, 3, 13, 7, 35, 63), (145, 1, 3, 5, 9, 1, 25, 53), (157, 1, 3, 1, 13, 9, 35, 107),
    (167, 1, 3, 1, 5, 27, 61, 31), (171, 1, 1, 5, 11, 19, 41, 61), (185, 1, 3, 5, 3, 3, 13, 69), (191, 1, 1, 7, 13, 1, 19, 1),
    (193, 1, 3, 7, 5, 13, 19, 59), (203, 1, 1, 3, 9, 25, 29, 41), (211, 1, 3, 5, 13, 23, 1, 55), (213, 1, 3, 7, 3, 13, 59, 17),
    (229, 1, 3, 1, 3, 5, 53, 69), (239, 1, 1, 5, 5, 23, 33, 13), (241, 1, 1, 7, 7, 1, 61, 123), (247, 1, 1, 7, 9, 13, 61, 49),
    (253, 1, 3, 3, 5, 3, 55, 33), (285, 1, 3, 1, 15, 31, 13, 49, 245),
)  # fmt: skip
"""Of every axis but the first: its primitive polynomial, as bits, and its first direction numbers."""
Whole = npt.NDArray[np.int64]


def scrambled(axes: int, power: int, seed: int) -> npt.NDArray[np.float64]:
    """(axes, 2**power) points in [0, 1). Raises ValueError for more axes than there are BEGINNINGS, and the first."""
    if axes > len(BEGINNINGS) + 1:
        raise ValueError(f"{axes} axes; direction numbers are given for {len(BEGINNINGS) + 1}")
    (chance,), places = np.random.default_rng(seed).spawn(1), np.arange(BITS)
    shift = chance.integers(0, 2, size=(axes, BITS), dtype=np.uint32) @ (np.int64(1) << places)
    below = np.tril(chance.integers(0, 2, size=(axes, BITS, BITS), dtype=np.uint32), -1)
    bits = (_directions(axes)[:, :, None] >> (BITS - 1 - places)) & 1  # (axes, number, bit), the highest first
    mixed = np.einsum("dpc,djc->djp", below + np.eye(BITS), bits.astype(np.float64)).astype(np.int64) & 1
    direction = mixed @ (np.int64(1) << (BITS - 1 - places))
    found = shift[:, None]
    for k in range(power):  # Gray code: the second half is the first one backwards, in one direction more
        found = np.concatenate([found, found[:, ::-1] ^ direction[:, k, None]], axis=1)
    return np.asarray(found * 2.0**-BITS)


@lru_cache(maxsize=1)
def _directions(axes: int) -> Whole:
    """(axes, BITS) direction numbers, the first with the highest bit."""
    found = np.ones((axes, BITS), dtype=np.int64)
    for axis, (polynomial, *first) in enumerate(BEGINNINGS[: axes - 1], start=1):
        degree, own = len(first), found[axis]
        own[:degree] = first
        for j in range(degree, BITS):
            own[j] = own[j - degree]
            for k in range(1, degree + 1):
                if (polynomial >> (degree - k)) & 1:
                    own[j] ^= own[j - k] << k
    return found << (BITS - 1 - np.arange(BITS))
