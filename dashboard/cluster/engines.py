"""Where functions are run: here, one after the other, or by the workers of a cluster that somebody else keeps running.

An engine is given functions of modules and their arguments, of which some are what earlier functions will give.  On a cluster
nothing is handed round that could not be made again: a worker that ends takes nothing along.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final, Protocol

from dashboard.desk.kept_assessment import program
from dashboard.words import cluster_words as say
from ingest.errors import CouldNot

ANSWER_S: Final = 10  # [s] that a scheduler has to answer in; our choice
WORKER_S: Final = 30  # [s] that the first worker has to come in; our choice


class Engine(Protocol):
    """Runs functions; what `later` gives stands for the result, in arguments too."""

    def later(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """The result of a function, some time."""

    def now(self, results: Sequence[Any]) -> list[Any]:
        """Those results, when they are there."""


class Here:
    """One after the other, in this process."""

    def later(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """The result, at once."""
        return function(*arguments)

    def now(self, results: Sequence[Any]) -> list[Any]:
        """They are there."""
        return list(results)


class OnDask:
    """By the workers of a cluster of dask."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def later(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """A future, which a worker makes, and another if that one ends."""
        return self._client.submit(function, *arguments, pure=False)

    def now(self, results: Sequence[Any]) -> list[Any]:
        """Wait for them; CouldNot where workers end again and again."""
        from distributed import KilledWorker
        from distributed.client import FutureCancelledError

        try:
            return list(self._client.gather(list(results)))
        except KilledWorker as error:
            raise CouldNot(say.KILLED) from error
        except (FutureCancelledError, OSError) as error:
            raise CouldNot(say.LOST) from error


@contextmanager
def on_dask(address: str) -> Iterator[OnDask]:
    """The workers of the scheduler at an address as `tcp://10.0.0.1:8786`.

    Raises CouldNot where the extra is not installed, no scheduler answers, it has no worker, or one with another program;
    ValueError for what is no address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise CouldNot(say.NOT_INSTALLED) from None
    connect: Any = Client
    try:
        client = connect(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, TimeoutError) as error:
        raise CouldNot(say.NO_SCHEDULER.format(address=address)) from error
    except (ValueError, TypeError) as error:
        raise ValueError(say.NO_ADDRESS.format(address=address)) from error
    try:
        try:
            client.wait_for_workers(1, timeout=WORKER_S)
        except TimeoutError as error:
            raise CouldNot(say.NO_WORKER.format(address=address)) from error
        others = [worker for worker, runs in client.run(program, on_error="return").items() if runs != program()]
        if others:
            raise CouldNot(say.OTHER_PROGRAM.format(worker=others[0]))
        yield OnDask(client)
    finally:
        client.close()
