"""How a command answers: exit codes, results and messages, and one sentence for whatever goes wrong.

Everything that is printed goes through `show` or `say`, which take out what a terminal would act on.
"""

import json
import os
import re
import sqlite3
import sys
import textwrap
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from importlib.metadata import version
from pathlib import Path
from typing import TextIO

from dashboard.desk.refusals import NothingToAssess, PlanRefused
from dashboard.words.plain_text import printable
from ingest.errors import CouldNot, DatabaseTrouble, IngestError

DONE, SET_ASIDE, REFUSED, COULD_NOT = 0, 1, 2, 3
STOPPED = 130  # what shells report for a program that Ctrl-C ended (128 + SIGINT)
PROGRAM = "cranktrend"
WIDTH = 118  # [characters] of a line, our choice: a terminal over half of a screen
PACKAGES = ("ingest", "analysis", "dashboard", "demo_fleet")
HOUSE = Path(__file__).resolve().parents[2]  # the folder that holds them
_HIDDEN = re.compile(r"[^\n -~]")
_QUIET: ContextVar[bool] = ContextVar("quiet", default=False)


def own_version() -> str:
    return version(PROGRAM)


def quiet(on: bool) -> None:
    """Whether messages are left out that are neither results nor refusals."""
    _QUIET.set(on)


def say(text: str, *, refusal: bool = False) -> None:
    """A message for the person, on standard error."""
    if sys.stderr is not None and (refusal or not _QUIET.get()):
        with suppress(OSError):  # nobody is there to be told
            sys.stderr.write(printable(text) + "\n")


def show(text: str) -> None:
    """A result, on standard output."""
    _write(printable(text))


def show_json(text: str) -> None:
    """A result in JSON, in which characters that a terminal would act on are written as JSON escapes."""
    _write(_HIDDEN.sub(lambda found: found[0] if found[0].isprintable() else _escaped(found[0]), text))


def show_bytes(body: bytes) -> None:
    """A result that is no text, on standard output."""
    with _answering() as out:
        out.buffer.write(body)


def wrapped(text: str, mark: str) -> list[str]:
    """A sentence in lines of at most WIDTH after a mark; a line of a table as it is."""
    if len(text) + len(mark) <= WIDTH:
        return [mark + text]
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _escaped(character: str) -> str:
    """JSON's escapes of a character, two of them for one beyond the first 65,536 (RFC 8259, section 7)."""
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[k]:02x}{units[k + 1]:02x}" for k in range(0, len(units), 2))


def _write(text: str) -> None:
    with _answering() as out:
        out.write(text if text.endswith("\n") or not text else text + "\n")


@contextmanager
def _answering() -> Iterator[TextIO]:
    """Standard output; CouldNot when it does not take the answer, BrokenPipeError when its reader went away."""
    if sys.stdout is None:
        raise CouldNot("there is no standard output to write the answer to")
    try:
        yield sys.stdout
    except BrokenPipeError:
        raise
    except OSError as error:
        raise CouldNot(f"the answer could not be written: {error.strerror or error}") from error


def answered(command: Callable[[], int]) -> int:
    """Run a command and return its exit code; whatever goes wrong is one sentence on standard error, no traceback.

    0 done, 1 done with rows set aside, 2 refused, 3 could not, 130 stopped by Ctrl-C.
    """
    try:
        return _ended(command)
    except KeyboardInterrupt:
        return _said(STOPPED, "stopped; every file and every entry is stored whole or not at all")
    except BrokenPipeError:  # who read the answer went away: nothing more to say
        _settle_output()
        return DONE
    except CouldNot as error:
        _settle_output()
        return _said(COULD_NOT, str(error))
    except (IngestError, NothingToAssess, PlanRefused) as error:
        return _said(REFUSED, str(error))
    except sqlite3.Error as error:
        return _said(COULD_NOT, str(DatabaseTrouble(error)))
    except (UnicodeDecodeError, json.JSONDecodeError) as error:  # files are decoded and refused where they are read
        return _said(COULD_NOT, f"the database is damaged, {error}; go back to a backup of it")
    except MemoryError:
        return _said(COULD_NOT, "there is not enough memory for this")
    except OSError as error:
        return _said(COULD_NOT, f"{error.filename or 'the system'}: {error.strerror or error}")
    except Exception as error:  # the outermost edge of the program: what nobody foresaw is told, never a traceback
        if isinstance(error, ValueError) and _is_ours(error):
            return _said(REFUSED, str(error))
        if sys.flags.dev_mode:  # python -X dev: who works on the program wants to see where
            raise
        return _said(COULD_NOT, _fault_words(error))


def _ended(command: Callable[[], int]) -> int:
    """The command's exit code once all that it said has been written."""
    for stream in (sys.stdout, sys.stderr):
        if stream is not None and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that has no "°" shows "?"
    try:
        return command()
    finally:
        if sys.stdout is not None:
            with _answering() as out:
                out.flush()


def _said(code: int, *sentences: str) -> int:
    for sentence in sentences:
        say(f"{PROGRAM}: {' '.join(sentence.split())}", refusal=True)
    return code


def _settle_output() -> None:
    """Write what is still waiting; where that is impossible, forget it, so that it cannot fail again at the end."""
    try:
        sys.stdout.flush()
        return
    except (OSError, ValueError, AttributeError):
        pass
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    except (OSError, ValueError, AttributeError):  # no file stands behind it, as in tests
        return


def _is_ours(error: Exception) -> bool:
    """Whether our own code raised the error: then its text is a sentence about what was typed."""
    frames = traceback.extract_tb(error.__traceback__)
    return not isinstance(error, UnicodeError) and bool(frames) and _at_home(frames[-1].filename)


def _at_home(file: str) -> bool:
    place = Path(file)
    return HOUSE in place.parents and place.relative_to(HOUSE).parts[0] in PACKAGES


def _fault_words(error: Exception) -> str:
    """What to report about a fault of the program."""
    frames = [f for f in traceback.extract_tb(error.__traceback__) if _at_home(f.filename)]
    where = f" in {Path(frames[-1].filename).relative_to(HOUSE)}, line {frames[-1].lineno}" if frames else ""
    return f"a fault of the program{where}: {type(error).__name__} {error}; nothing was half-written, please report it"
