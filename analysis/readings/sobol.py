"""Scrambled Sobol' points, those of `scipy.stats.qmc` to the last bit: loading that takes a command .4 s, more than all the rest
that it does for one vehicle.

Direction numbers: Joe and Kuo (2008), SIAM J. Sci. Comput. 30, 2635. Scrambled by a random lower triangular matrix and a
digital shift (Matousek 1998, J. Complexity 14, 527).
"""

from typing import Final

import numpy as np

from analysis.readings.panel import Floats

BITS: Final = 30  # digits of a point, as the library has them
DIRECTIONS: Final = (
    (1, 1), (3, 1), (7, 1, 3), (11, 1, 3, 1), (13, 1, 1, 1), (19, 1, 1, 3, 3), (25, 1, 3, 5, 13), (37, 1, 1, 5, 5, 17),
    (41, 1, 1, 5, 5, 5), (47, 1, 1, 7, 11, 19), (55, 1, 1, 5, 1, 1), (59, 1, 1, 1, 3, 11), (61, 1, 3, 5, 5, 31),
    (67, 1, 3, 3, 9, 7, 49), (91, 1, 1, 1, 15, 21, 21), (97, 1, 3, 1, 13, 27, 49), (103, 1, 1, 1, 15, 7, 5),
    (109, 1, 3, 1, 15, 13, 25), (115, 1, 1, 5, 5, 19, 61), (131, 1, 3, 7, 11, 23, 15, 103),
    (137, 1, 3, 7, 13, 13, 15, 69), (143, 1, 1, 3, 13, 7, 35, 63), (145, 1, 3, 5, 9, 1, 25, 53),
    (157, 1, 3, 1, 13, 9, 35, 107), (167, 1, 3, 1, 5, 27, 61, 31), (171, 1, 1, 5, 11, 19, 41, 61),
    (185, 1, 3, 5, 3, 3, 13, 69), (191, 1, 1, 7, 13, 1, 19, 1), (193, 1, 3, 7, 5, 13, 19, 59),
    (203, 1, 1, 3, 9, 25, 29, 41), (211, 1, 3, 5, 13, 23, 1, 55), (213, 1, 3, 7, 3, 13, 59, 17),
    (229, 1, 3, 1, 3, 5, 53, 69), (239, 1, 1, 5, 5, 23, 33, 13), (241, 1, 1, 7, 7, 1, 61, 123),
    (247, 1, 1, 7, 9, 13, 61, 49), (253, 1, 3, 3, 5, 3, 55, 33), (285, 1, 3, 1, 15, 31, 13, 49, 245),
)  # fmt: skip
"""Of each axis, the bits of its polynomial, and its first direction numbers."""


def scrambled_points(axes: int, power: int, seed: int) -> Floats:
    """(axes, 2^power) points in [0, 1). Raises ValueError for more axes than DIRECTIONS has."""
    if axes > len(DIRECTIONS):
        raise ValueError(f"axes is {axes}; allowed are up to {len(DIRECTIONS)}")
    chance = np.random.default_rng(seed).spawn(1)[0]
    by_bit = np.uint32(2) ** np.arange(BITS, dtype=np.uint32)
    shift = chance.integers(2, size=(axes, BITS), dtype=np.uint32) @ by_bit
    rows = np.tril(chance.integers(2, size=(axes, BITS, BITS), dtype=np.uint32))
    rows[:, np.arange(BITS), np.arange(BITS)] = 1
    plain = np.array([_directions(*axis) for axis in DIRECTIONS[:axes]], dtype=np.uint32)
    digits = (plain[:, :power, None] & by_bit[::-1]) != 0  # (axes, directions, digits), the highest first
    directions = (digits.astype(np.uint32) @ rows.transpose(0, 2, 1)) % 2 @ by_bit[::-1]
    place = np.arange(1, 2**power)
    changed = np.bitwise_count((place & -place) - 1)  # Gray code: one direction more or less from point to point
    steps = np.concatenate([shift[:, None], directions[:, changed]], axis=1)
    return np.ascontiguousarray(np.bitwise_xor.accumulate(steps, axis=1) * 2.0**-BITS)


def _directions(polynomial: int, *first: int) -> list[int]:
    """An axis's directions as whole numbers of BITS bits (Bratley and Fox 1988, ACM Trans. Math. Softw. 14, 88)."""
    own, degree = list(first), len(first)
    for j in range(degree, BITS):
        number = own[j - degree]
        if polynomial > 1:  # the first axis has none
            for k in range(1, degree + 1):
                number ^= (polynomial >> (degree - k) & 1) * own[j - k] << k
        own.append(number)
    return [number << (BITS - 1 - j) for j, number in enumerate(own)]
