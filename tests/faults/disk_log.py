"""Every write that SQLite and the program make to a folder, in order: a layer of our own between SQLite and the system.

SQLite lets a program register such a layer (sqlite.org/vfs.html); it is put into the very library that Python's `sqlite3`
uses, so that the program itself is watched, as it is.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

OK, READ_WRITE_ERROR = 0, 10
JOURNAL_OR_LOG = 0x800 | 0x4000 | 0x80000  # SQLITE_OPEN_MAIN_JOURNAL, SUPER_JOURNAL, WAL
CREATE = 0x4  # SQLITE_OPEN_CREATE
_P, _I, _L, _S = ctypes.c_void_p, ctypes.c_int, ctypes.c_int64, ctypes.c_char_p
_OPEN = ctypes.CFUNCTYPE(_I, _P, _P, _P, _I, ctypes.POINTER(_I))  # a name is a pointer: SQLite keeps it
_DELETE = ctypes.CFUNCTYPE(_I, _P, _P, _I)
_CLOSE = ctypes.CFUNCTYPE(_I, _P)
_WRITE = ctypes.CFUNCTYPE(_I, _P, _P, _I, _L)
_TRUNCATE = ctypes.CFUNCTYPE(_I, _P, _L)
_SYNC = ctypes.CFUNCTYPE(_I, _P, _I)


class _Vfs(ctypes.Structure):
    """sqlite3_vfs, as far as it is changed; the rest is copied."""

    _fields_ = [
        ("version", _I), ("file_size", _I), ("longest_name", _I), ("next", _P), ("name", _S), ("data", _P),
        ("open", _P), ("delete", _P), ("rest", _P * 14),
    ]  # fmt: skip


class _Methods(ctypes.Structure):
    """sqlite3_io_methods, likewise."""

    _fields_ = [
        ("version", _I), ("close", _P), ("read", _P), ("write", _P), ("truncate", _P), ("sync", _P), ("rest", _P * 13),
    ]  # fmt: skip


@dataclass(frozen=True)
class Event:
    """One thing done to a file: write, truncate, sync, sync_folder, create, delete, link, rename; or a mark of the scenario."""

    what: str
    path: str = ""
    at: int = 0
    data: bytes = b""
    other: str = ""


Told = Callable[[Event], None]


class Layer:
    """Tells every write, sync and deletion below a folder to `told`, before it is done."""

    def __init__(self, folder: Path, told: Told) -> None:
        self._folder = str(folder)
        self._told = told
        self._library = ctypes.CDLL(_sqlite3.__file__)
        self._library.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
        self._old = self._library.sqlite3_vfs_find(None)
        self._files: dict[int, tuple[str, _Methods, bool]] = {}
        self._made: dict[int, tuple[_Methods, tuple[Any, ...]]] = {}
        self._vfs = _Vfs.from_buffer_copy(self._old.contents)
        self._name = ctypes.create_string_buffer(b"watched")
        self._vfs.name = ctypes.cast(self._name, _S)
        self._held = (_OPEN(self._open), _DELETE(self._delete))
        self._vfs.open, self._vfs.delete = (ctypes.cast(one, _P) for one in self._held)

    def __enter__(self) -> Layer:
        self._library.sqlite3_vfs_register(ctypes.byref(self._vfs), 1)
        return self

    def __exit__(self, *_: object) -> None:
        self._library.sqlite3_vfs_unregister(ctypes.byref(self._vfs))
        self._library.sqlite3_vfs_register(self._old, 1)

    def _say(self, event: Event) -> None:
        if event.path.startswith(self._folder):
            self._told(event)

    def _open(self, _vfs: int, name: int | None, file: int, flags: int, out: Any) -> int:
        path = os.fsdecode(ctypes.string_at(name)) if name else ""
        fresh = bool(path) and bool(flags & CREATE) and not os.path.lexists(path)
        code = _OPEN(self._old.contents.open)(ctypes.addressof(self._old.contents), name, file, flags, out)
        if code != OK:
            return int(code)
        if fresh:
            self._say(Event("create", path))
        slot = ctypes.cast(file, ctypes.POINTER(_P))
        methods = int(slot[0] or 0)
        if methods:
            slot[0] = ctypes.addressof(self._watched(methods))
            self._files[file] = path, _Methods.from_address(methods), bool(flags & JOURNAL_OR_LOG) and fresh
        return OK

    def _watched(self, methods: int) -> _Methods:
        if methods not in self._made:
            mine = _Methods.from_buffer_copy(_Methods.from_address(methods))
            calls = (_CLOSE(self._close), _WRITE(self._write), _TRUNCATE(self._truncate), _SYNC(self._sync))
            mine.close, mine.write, mine.truncate, mine.sync = (ctypes.cast(one, _P) for one in calls)
            self._made[methods] = mine, calls
        return self._made[methods][0]

    def _close(self, file: int) -> int:
        _, old, _ = self._files.pop(file)
        return int(_CLOSE(old.close)(file))

    def _write(self, file: int, data: int, size: int, at: int) -> int:
        path, old, _ = self._files[file]
        self._say(Event("write", path, at, ctypes.string_at(data, size)))
        return int(_WRITE(old.write)(file, data, size, at))

    def _truncate(self, file: int, size: int) -> int:
        path, old, _ = self._files[file]
        self._say(Event("truncate", path, size))
        return int(_TRUNCATE(old.truncate)(file, size))

    def _sync(self, file: int, flags: int) -> int:
        path, old, first = self._files[file]
        code = int(_SYNC(old.sync)(file, flags))
        self._say(Event("sync", path))
        if first:  # SQLite waits for the folder with the first sync of a journal or log that it made
            self._say(Event("sync_folder", path))
            self._files[file] = path, old, False
        return code

    def _delete(self, _vfs: int, name: int, folder_too: int) -> int:
        path = os.fsdecode(ctypes.string_at(name))
        there = os.path.lexists(path)
        code = int(_DELETE(self._old.contents.delete)(ctypes.addressof(self._old.contents), name, folder_too))
        if there and code == OK:
            self._say(Event("delete", path))
            if folder_too:
                self._say(Event("sync_folder", path))
        return code


@contextmanager
def watched(folder: Path, told: Told) -> Iterator[None]:
    """Tell what SQLite and the program itself do to files below a folder."""
    kept = {name: getattr(os, name) for name in ("fsync", "link", "unlink", "replace", "rename", "open")}

    def say(event: Event) -> None:
        if event.path.startswith(str(folder)):
            told(event)

    def fsync(opened: int) -> None:
        kept["fsync"](opened)
        path = os.path.realpath(f"/proc/self/fd/{opened}")
        say(Event("sync_folder", f"{path}/.") if os.path.isdir(path) else Event("sync", path))  # noqa: PTH112

    def open_(path: Any, flags: int, *arguments: Any, **options: Any) -> int:
        fresh = bool(flags & os.O_CREAT) and not os.path.lexists(path)
        opened: int = kept["open"](path, flags, *arguments, **options)
        if fresh:
            say(Event("create", os.fspath(path)))
        return opened

    def two(name: str) -> Callable[..., None]:
        def called(one: Any, other: Any, **options: Any) -> None:
            kept[name](one, other, **options)
            say(Event("link" if name == "link" else "rename", os.fspath(one), other=os.fspath(other)))

        return called

    def unlink(path: Any, **options: Any) -> None:
        kept["unlink"](path, **options)
        say(Event("delete", os.fspath(path)))

    mine = {
        "fsync": fsync,
        "open": open_,
        "link": two("link"),
        "replace": two("replace"),
        "rename": two("rename"),
        "unlink": unlink,
    }
    try:
        for name, call in mine.items():
            setattr(os, name, call)
        with Layer(folder, told):
            yield
    finally:
        for name, call in kept.items():
            setattr(os, name, call)


def why_not() -> str:
    """Why SQLite cannot be watched here; "" where it can."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(_sqlite3.__file__).sqlite3_vfs_register  # noqa: B018 - is it there
        return "" if Path("/proc/self/fd").exists() else "nothing tells here which file is meant"
    return "Python's SQLite lets nobody in here"
