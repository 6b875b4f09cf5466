"""Another process that does some of a large assessment, as one thread at a time makes whole arrays of numbers here.

It begins while the tables are read, and reckons as this process does: what it finds is the same to the last bit. Where there is
none, or it has ended, this process does all of it.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any, Final

from threadpoolctl import threadpool_limits

from analysis.kernel.ready import is_ready
from analysis.readings.panel import Elsewhere, here, one_after_the_other
from analysis.worklist import judge as judge  # which it will be asked for
from dashboard.desk.quick import quick_for
from ingest.other_process import HasEnded, OtherProcess, cores

FROM_VEHICLES: Final = 2_000  # with fewer it takes longer to begin than it saves; our choice, by trying


@contextmanager
def other_core(vehicles: int) -> Iterator[Elsewhere | None]:
    """Calls functions of `analysis` in another process, for a fleet of so many vehicles; None where that is not worth it."""
    with ExitStack() as stack:
        found = None
        if vehicles >= FROM_VEHICLES and cores() > 1:
            with suppress(HasEnded):
                other = stack.enter_context(OtherProcess())
                other.begin(_loaded, vehicles)
                found = _OtherCore(other, vehicles)
        yield found


class _OtherCore:
    """Calls functions there while that process lasts, and here from then on."""

    def __init__(self, other: OtherProcess, vehicles: int) -> None:
        self._other: OtherProcess | None = other
        self._vehicles = vehicles

    def __call__(self, function: Callable[..., Any], *arguments: Any) -> Any:
        if (other := self._other) is not None:  # another thread may find meanwhile that it has ended
            try:
                return other.call(_as_there, self._vehicles, is_ready(), function, *arguments)
            except HasEnded:
                self._other = None
        return here(function, *arguments)


def _loaded(vehicles: int) -> None:
    """In the other process: what takes longest to begin with, which is this module and compiled loops."""
    quick_for(vehicles)


def _as_there(vehicles: int, ready: bool, function: Callable[..., Any], *arguments: Any) -> Any:
    """In the other process: a function called with the arithmetic of the process that asks, `ready` if loops are compiled there."""
    quick_for(vehicles)
    if is_ready() != ready:
        raise HasEnded
    one_after_the_other()
    with threadpool_limits(limits=1, user_api="blas"):
        return function(*arguments)
