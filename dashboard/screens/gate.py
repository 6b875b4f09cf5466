"""In front of the screens' server: which names of hosts it answers to, whose pages may call it, and who tells an account.

Everything that a browser or a proxy sends comes through here first. What is refused here reaches nothing behind it.
"""

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from secrets import token_hex
from typing import Any, Final
from urllib.parse import quote, urlsplit

from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.desk.addresses import is_loopback
from dashboard.words import rights_words as words

MARK: Final = f"x-cranktrend-{token_hex(16)}"
"""The header that carries an account inwards; nobody outside can know its name, which is another at every start."""
HERE: Final = ("localhost", "127.0.0.1", "::1")
MISDIRECTED, FORBIDDEN, POLICY = 421, 403, 1008  # RFC 9110, sections 15.5.20 and 15.5.4; RFC 6455, section 7.4.1
LONGEST_SHOWN = 100  # [characters] of a name in a refusal; our choice


@dataclass(frozen=True)
class Door:
    """How the screens are reached: names of hosts beside this machine's own, and the header by which a proxy tells accounts."""

    host: str = "127.0.0.1"
    names: tuple[str, ...] = ()
    account_header: str = ""


class Gate:
    """ASGI middleware that lets in what `door` allows."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app = app
        self.door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """As ASGI calls it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        why, status = refused(self.door, scope)
        if why:
            await refuse(scope, send, why, status)
            return
        await self.app({**scope, "headers": inner_headers(self.door, scope)}, receive, send)


def values_of(scope: Scope, name: str) -> list[str]:
    """All values of a header, as they came."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key.decode("latin-1").lower() == name]


def refused(door: Door, scope: Scope) -> tuple[str, int]:
    """Why a request is refused, in a sentence, and the status that says so; "" for one that may come in."""
    hosts, origins = values_of(scope, "host"), values_of(scope, "origin")
    name = host_name(hosts[0]) if len(hosts) == 1 else ""
    if not name:
        return words.HOST_UNREADABLE, MISDIRECTED
    if name not in answered(door, scope):
        return words.HOST_REFUSED.format(name=name[:LONGEST_SHOWN]), MISDIRECTED
    if any(not same(origin, hosts[0]) for origin in origins) or len(origins) > 1:
        return words.ORIGIN_REFUSED.format(origin=origins[0][:LONGEST_SHOWN]), FORBIDDEN
    return "", 0


def host_name(host: str) -> str:
    """The name in a Host header, in small letters and without its port; "" where it cannot be read."""
    try:
        parts = urlsplit(f"//{host}")
        alone = parts.netloc == host and "@" not in host and parts.port != 0
    except ValueError:
        return ""
    return (parts.hostname or "").rstrip(".") if alone and host.isascii() and host.isprintable() else ""


def answered(door: Door, scope: Scope) -> set[str]:
    """The names that are answered: this machine's own, those configured, and the very address that was called.

    An address in figures cannot be pointed elsewhere by whoever owns a name, so that the one called is no risk.
    """
    called = scope.get("server") or ("",)
    own = (*HERE, door.host, *door.names, str(called[0]) if is_address(str(called[0])) else "")
    return {name.lower().rstrip(".") for name in own if name}


def is_address(text: str) -> bool:
    """Whether a text is an address in figures."""
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def same(origin: str, host: str) -> bool:
    """Whether a page of `origin` was served by `host` itself; a proxy in between may speak TLS outwards."""
    parts = urlsplit(origin)
    return parts.scheme in ("http", "https") and parts.netloc == host


def inner_headers(door: Door, scope: Scope) -> list[tuple[bytes, bytes]]:
    """The headers as the screens see them: an account only from a proxy on this machine, told once and in UTF-8.

    A plain request loses its origin, which was looked at: the framework would ask outside for this machine's address with it.
    """
    gone = {MARK, door.account_header.lower()} | ({"origin"} if scope["type"] == "http" else set())
    kept = [(key, value) for key, value in scope["headers"] if key.decode("latin-1").lower() not in gone]
    account = told_account(door, scope)
    return [*kept, (MARK.encode(), quote(account, safe="").encode())] if account else kept


def told_account(door: Door, scope: Scope) -> str:
    """The account that a proxy on this machine tells; "" where none does, or where it is told twice."""
    client = scope.get("client")
    if not door.account_header or client is None or not is_loopback(client[0]):
        return ""
    told = values_of(scope, door.account_header.lower())
    try:
        return told[0].encode("latin-1").decode("utf-8").strip() if len(told) == 1 else ""
    except UnicodeDecodeError:
        return ""


async def refuse(scope: Scope, send: Send, why: str, status: int) -> None:
    """Answer with one sentence, or close what a browser wanted to keep open."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": POLICY, "reason": ""})
        return
    headers: Iterable[tuple[bytes, bytes]] = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"x-content-type-options", b"nosniff"),
    ]
    start: dict[str, Any] = {"type": "http.response.start", "status": status, "headers": list(headers)}
    await send(start)
    await send({"type": "http.response.body", "body": why.encode("utf-8", "replace")})
