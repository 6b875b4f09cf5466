"""A disk that loses what nobody waited for: of the writes since a file's last sync any part may be there, in any order.

Names of a folder are kept in their order (as journalling file systems do), but only as far as somebody waited for the
folder, and some of those after. A sector is whole or not written at all.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path

from faults.disk_log import Event

SECTOR = 512  # [bytes] that a disk writes whole, the least that any disk has (sqlite.org/atomiccommit.html, section 3)


@dataclass
class Body:
    """A file's bytes: those on the disk, and what was written since and may be lost."""

    on_disk: bytearray = field(default_factory=bytearray)
    waiting: list[Event] = field(default_factory=list)

    def settle(self) -> None:
        """All that waited is on the disk."""
        for event in self.waiting:
            _apply(self.on_disk, event)
        self.waiting.clear()

    def after_a_cut(self, chance: random.Random) -> bytes:
        """What is found when the power is back."""
        found = bytearray(self.on_disk)
        share = chance.choice((0.0, 0.5, 0.9, 1.0))
        for event in self.waiting:
            for piece in _sectors(event):
                if chance.random() < share:
                    _apply(found, piece)
        return bytes(found)


def _apply(body: bytearray, event: Event) -> None:
    if event.what == "truncate":
        del body[event.at :]
        return
    if len(body) < event.at:
        body.extend(bytes(event.at - len(body)))
    body[event.at : event.at + len(event.data)] = event.data


def _sectors(event: Event) -> list[Event]:
    if event.what == "truncate":
        return [event]
    out, at, data = [], event.at, event.data
    while data:
        size = SECTOR - at % SECTOR
        out.append(Event("write", event.path, at, data[:size]))
        at, data = at + size, data[size:]
    return out


class Disk:
    """A folder on such a disk, as the events leave it."""

    def __init__(self, start: dict[str, bytes]) -> None:
        self.names: dict[str, Body] = {name: Body(bytearray(body)) for name, body in start.items()}
        self.settled = dict(self.names)
        self.waiting: list[dict[str, Body]] = []

    def take(self, event: Event) -> None:
        """Do what an event says."""
        if event.what in ("write", "truncate"):
            self.names[event.path].waiting.append(event)
        elif event.what == "sync":
            if event.path in self.names:
                self.names[event.path].settle()
        elif event.what == "sync_folder":
            self.settled, self.waiting = dict(self.names), []
        elif event.what != "mark":
            self._name(event)
            self.waiting.append(dict(self.names))

    def _name(self, event: Event) -> None:
        if event.what == "create":
            self.names[event.path] = Body()
        elif event.what == "delete":
            self.names.pop(event.path, None)
        elif event.what == "link":
            self.names[event.other] = self.names[event.path]
        else:
            self.names[event.other] = self.names.pop(event.path)

    def cut(self, folder: Path, root: Path, chance: random.Random) -> None:
        """Lay down in `folder` what would be found of `root` after the power was cut now."""
        names = chance.choice([self.settled, *self.waiting])
        for path, body in names.items():
            (folder / Path(path).relative_to(root)).write_bytes(body.after_a_cut(chance))
