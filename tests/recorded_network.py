"""Everything that a program and the programs it starts ask of a network, written down and refused: loopback alone is free."""

from __future__ import annotations

import os
from pathlib import Path

_HOOK = """
import os, sys

_ASKED = {"socket.getaddrinfo": 0, "socket.gethostbyname": 0, "socket.gethostbyaddr": 0, "socket.getnameinfo": 0,
          "socket.connect": 1, "socket.sendto": 1, "socket.sendmsg": 1}
_HERE = ("localhost", "::1", "", "None", "0.0.0.0")


def _refuse(event, told):
    if event not in _ASKED:
        return
    address = told[_ASKED[event]]
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg") and not isinstance(address, tuple):
        return  # a socket of this machine's own file system
    host = address[0] if isinstance(address, tuple) else address
    host = host.decode() if isinstance(host, bytes) else str(host)
    if host in _HERE or host.startswith("127."):
        return
    with open(os.environ["RECORDED_NETWORK"], "a", encoding="utf-8") as file:
        file.write(f"{event} {host}\\n")
    raise OSError(101, "no network in this test")


sys.addaudithook(_refuse)
"""


def recorded(folder: Path) -> tuple[dict[str, str], Path]:
    """The environment for a program that is recorded, and the file with what it asked for."""
    (folder / "sitecustomize.py").write_text(_HOOK, encoding="utf-8")
    asked = folder / "asked.txt"
    asked.touch()
    path = os.pathsep.join(filter(None, (str(folder), os.environ.get("PYTHONPATH", ""))))
    return {"PYTHONPATH": path, "RECORDED_NETWORK": str(asked)}, asked
