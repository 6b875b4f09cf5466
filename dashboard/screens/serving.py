"""The screens' server: sockets that send at once, and work that is begun before the first visitor comes."""

from __future__ import annotations

import asyncio
import inspect
import socket
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ingest.bounds import LARGEST_FILE
from ingest.errors import CouldNot

FLAGS = {
    "server.headless": "true",
    "browser.gatherUsageStats": "false",
    "server.fileWatcherType": "none",
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "server.maxUploadSize": str(LARGEST_FILE // 1_000_000),
}


class PromptLoop(asyncio.SelectorEventLoop):
    """An event loop whose servers send small answers at once (TCP_NODELAY).

    asyncio does so for the sockets that it makes itself, not for one that is handed to it ready made, as the screens'
    server does; there every answer would wait some 40 ms for the browser's acknowledgement.
    """

    async def create_server(self, *arguments: Any, **options: Any) -> asyncio.Server:
        """As in asyncio; what a listening socket was told, its connections inherit."""
        own = options.get("sock")
        if isinstance(own, socket.socket) and own.family in (socket.AF_INET, socket.AF_INET6):
            own.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return await super().create_server(*arguments, **options)


def check_address(host: str, port: int) -> None:
    """Raise CouldNot where the screens cannot be served: a port in use, a host that is not this machine's."""
    try:
        family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind) as own:
            own.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            own.bind(address)
            own.listen(1)
    except (OSError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or error
        raise CouldNot(f"no screens at {host}, port {port}: {why}; name another with --host or --port") from error


def prepare() -> None:
    """Begin what the first visitor would wait for: the vehicles are judged, the last list is read."""
    from dashboard.screens import issued, session

    inspect.stack()  # fills the memory of source files that Streamlit asks for on its first element
    day = session.today()
    session.begin_judging(day)
    if session.has_vehicles():
        session.units(day)
        issued.newest_issued(day)


def serve(host: str, port: int, *, flags: Sequence[str] = ()) -> None:
    """Serve the screens at `host` and `port` until told to stop."""
    from streamlit.web import cli as streamlit_cli

    prepare()
    app = Path(__file__).with_name("app.py")
    options = {"server.address": host, "server.port": port, **FLAGS}
    arguments = ["run", str(app), *(f"--{name}={value}" for name, value in options.items()), *flags]
    run_prompt(lambda: streamlit_cli.main(arguments, standalone_mode=False))


def run_prompt(start: Callable[[], object]) -> None:
    """Call `start`, which begins tasks in the running loop, and wait until all of them have ended."""

    async def everything() -> None:
        start()
        await asyncio.gather(*(asyncio.all_tasks() - {asyncio.current_task()}))

    with asyncio.Runner(loop_factory=PromptLoop) as runner:
        runner.run(everything())
