"""The screens' server, and the work that is begun before the first visitor comes."""

import gc
import inspect
import signal
import socket
import sys
from collections.abc import Mapping
from functools import wraps
from pathlib import Path
from typing import Any

import uvicorn
from starlette.middleware import Middleware
from streamlit import config, net_util
from streamlit.runtime.forward_msg_queue import ForwardMsgQueue
from streamlit.starlette import App

from dashboard.charts.theme import OPTIONS
from dashboard.screens.gate import Door, Gate
from ingest.bounds import LARGEST_FILE
from ingest.errors import CouldNot

GRACE_S = 3  # [s] that open pages have to end in; our choice
FLAGS = {
    "server.headless": True,
    "browser.gatherUsageStats": False,
    "server.fileWatcherType": "none",
    "runner.magicEnabled": False,  # no page shows bare values; looking for them parses every page, which Python 3.11 may
    # refuse while another thread works ("AST constructor recursion depth mismatch")
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",  # the framework's box of an error offers to ask others about it
    "server.maxUploadSize": LARGEST_FILE // 1_000_000,
}


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


def ask_nobody() -> None:
    """Keep the framework from asking others for this machine's addresses, which it does whenever a foreign page calls."""
    for name in ("get_external_ip", "get_internal_ip"):
        setattr(net_util, name, lambda: None)


ANSWERS = ("file_urls_response", "backend_operation_response")
"""What the framework answers a browser: where a file just given is to be sent, what a button that makes a file made."""


def keep_answers() -> None:
    """Keep the framework from dropping an answer where a page begins to be drawn before it has left.

    It empties what waits to be sent but for the news of runs; a file given then is lost without a word, because the
    browser waits for ever for the address to send it to.
    """
    clear = ForwardMsgQueue.clear

    @wraps(clear)
    def cleared(queue: ForwardMsgQueue, *args: Any, **more: Any) -> None:
        news = bool(args or more)  # without a word all of it has been taken to be sent
        answers = [one for one in queue._queue if news and one.WhichOneof("type") in ANSWERS]
        clear(queue, *args, **more)
        queue._queue.extend(one for one in answers if all(one is not kept for kept in queue._queue))

    if not hasattr(clear, "__wrapped__"):
        ForwardMsgQueue.clear = cleared  # type: ignore[method-assign,assignment]


def keep_loaded() -> None:
    """Keep what is loaded by now from being looked through after every page, for which the framework collects all garbage."""
    gc.collect()
    gc.freeze()


def serve(door: Door, port: int, *, secrets: Mapping[str, Any] | None) -> None:
    """Serve the screens behind `door` at `port` until told to stop; secrets: those of the provider of the sign-in."""
    ask_nobody()
    keep_answers()
    keep_loaded()
    prepare()
    for name, value in {**FLAGS, **OPTIONS, "server.address": door.host, "server.port": port}.items():
        config.set_option(name, value)
    app = App(Path(__file__).with_name("app.py"), middleware=[Middleware(Gate, door=door)], secrets=secrets)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # what was begun beside the server is ended on the way out
    uvicorn.Server(
        uvicorn.Config(
            app, host=door.host, port=port, ws_max_size=LARGEST_FILE, timeout_graceful_shutdown=GRACE_S,
            proxy_headers=False,  # who is at the other end is asked of the connection, and not of what it says
            server_header=False, log_level="warning", access_log=False,
        )
    ).run()  # fmt: skip
