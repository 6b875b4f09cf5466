"""One piece of work after the other beside the screens, without keeping the program from ending."""

from collections.abc import Callable
from concurrent.futures import Future
from queue import SimpleQueue
from threading import Thread
from typing import Any, TypeVar

T = TypeVar("T")


class Worker:
    """A thread that dies with the program: an executor's threads would be waited for at the end."""

    def __init__(self) -> None:
        self._tasks: SimpleQueue[tuple[Future[Any], Callable[[], Any]]] = SimpleQueue()
        Thread(target=self._run, daemon=True).start()

    def submit(self, work: Callable[..., T], *arguments: object) -> Future[T]:
        """Do `work` when what came before is done; the future holds its result or what it raised."""
        future: Future[T] = Future()
        self._tasks.put((future, lambda: work(*arguments)))
        return future

    def _run(self) -> None:
        while True:
            future, task = self._tasks.get()
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(task())
            except BaseException as error:  # whatever it is belongs to who waits for the future
                future.set_exception(error)
