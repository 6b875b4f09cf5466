"""What is tried by day and what by night: inputs by chance a few or many times, of many cases one in so many or all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

import pytest

MORE_BY_NIGHT: Final = 20  # times as many; our choice
_NIGHT: list[bool] = []


def by_night(night: bool) -> None:
    """Whether this run is that of the night; said before any test is collected."""
    _NIGHT[:] = [night]


def is_night() -> bool:
    """Whether it is."""
    return any(_NIGHT)


def more_by_night(test: Callable[..., None]) -> Callable[..., None]:
    """A test by day that runs by night too, where it tries more, by :func:`is_night`."""
    return pytest.mark.nightly(test) if is_night() else test


def examples(by_day: int, **more: Any) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """So many inputs by day; by night, where the test runs too, MORE_BY_NIGHT times as many. No clock ends any."""

    def tried(test: Callable[..., None]) -> Callable[..., None]:
        from hypothesis import settings  # here, so that the process that only deals the tests out does not load it

        if not is_night():
            return settings(max_examples=by_day, deadline=None, **more)(test)
        return pytest.mark.nightly(settings(max_examples=MORE_BY_NIGHT * by_day, deadline=None, **more)(test))

    return tried


def one_in(every: int, cases: Iterable[Any], *, apart: bool = False) -> list[Any]:
    """Cases for `parametrize`: the first of every so many is tried by day, the others by night; apart: of several names each."""
    return [
        case if place % every == 0 else pytest.param(*(case if apart else (case,)), marks=pytest.mark.nightly)
        for place, case in enumerate(cases)
    ]
