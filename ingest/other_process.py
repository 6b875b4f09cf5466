"""Another process of this program, that calls functions for this one: what one thread at a time does here is done there meanwhile.

It begins with nothing of this process, and ends with it: then nothing more comes in.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from threading import Lock
from typing import Any, Final, Self

_SERVE: Final = "from ingest.other_process import serve; serve()"
_Asked = tuple[bool, Callable[..., Any], tuple[Any, ...]]
"""Whether what it returns is wanted, a function of a module, its arguments."""


class HasEnded(Exception):
    """There is no other process, because it could not begin or was ended, or because what it was asked for went wrong there."""


class OtherProcess:
    """Calls functions one after the other; a module is imported with the first of its functions.

    Raises HasEnded, as its methods do; used with `with`, at the end of which it is ended.
    """

    def __init__(self) -> None:
        pipe = subprocess.PIPE
        try:
            self._worker = subprocess.Popen(
                [sys.executable, "-c", _SERVE], stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL
            )
        except OSError as error:  # no memory or no process left just now
            raise HasEnded from error
        self._one_at_a_time = Lock()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._worker.kill()
        self._worker.wait()
        for pipe in (self._worker.stdin, self._worker.stdout):
            with suppress(OSError):  # what was not sent yet
                if pipe is not None:
                    pipe.close()

    def begin(self, function: Callable[..., Any], *arguments: Any) -> None:
        """Have a function called, of which nothing is wanted; does not wait."""
        self._send((False, function, arguments))

    def ask(self, function: Callable[..., Any], *arguments: Any) -> None:
        """Have a function called, and do something else until :meth:`answer` gives what it returned."""
        self._send((True, function, arguments))

    def answer(self) -> Any:
        """What the first function returned that was asked for and not answered."""
        assert self._worker.stdout is not None
        try:
            return pickle.load(self._worker.stdout)
        except (OSError, EOFError, pickle.UnpicklingError) as error:
            raise HasEnded from error

    def call(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """What a function returns there, waited for; threads wait for each other."""
        with self._one_at_a_time:
            self.ask(function, *arguments)
            return self.answer()

    def _send(self, asked: _Asked) -> None:
        assert self._worker.stdin is not None
        try:
            pickle.dump(asked, self._worker.stdin, protocol=pickle.HIGHEST_PROTOCOL)
            self._worker.stdin.flush()
        except OSError as error:
            raise HasEnded from error


def cores() -> int:
    """How many cores this process may use."""
    return len(getattr(os, "sched_getaffinity", lambda _: range(os.cpu_count() or 1))(0))


def serve() -> None:
    """In the other process: calls come in and results go out, until nothing more comes in; what goes wrong ends it."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a function prints is no result
    with suppress(EOFError, BrokenPipeError):
        while True:
            asked: _Asked = pickle.load(sys.stdin.buffer)
            wanted, function, arguments = asked
            found = function(*arguments)
            if wanted:
                pickle.dump(found, out, protocol=pickle.HIGHEST_PROTOCOL)
                out.flush()
            del asked, arguments, found  # they may be large, and the next come when they come
