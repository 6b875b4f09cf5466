"""In front of the server: names of hosts, foreign pages, and the header of a proxy; worked by hand from RFC 9110 and RFC 6454."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from urllib.parse import unquote

import pytest
from starlette.types import Message, Receive, Scope, Send

from dashboard.screens.gate import FORBIDDEN, MARK, MISDIRECTED, POLICY, Door, Gate

LOCAL, PHONE, SERVER = ("127.0.0.1", 40_000), ("192.168.1.7", 40_000), ("192.168.1.5", 8501)


def asked(
    door: Door,
    headers: dict[str, str] | list[tuple[str, str]],
    *,
    client: Any = LOCAL,
    kind: str = "http",
    server: Any = None,
) -> tuple[list[Message], dict[str, str] | None]:
    """What the gate answers itself, and the headers that reach what is behind it (None where nothing does)."""
    inside: list[Scope] = []
    sent: list[Message] = []

    async def app(scope: Scope, receive: Receive, send: Send) -> None:  # noqa: ARG001
        inside.append(scope)

    async def receive() -> Message:
        return {"type": "websocket.connect"}

    async def send(message: Message) -> None:
        sent.append(message)

    pairs = headers.items() if isinstance(headers, dict) else headers
    raw = [(name.encode(), value.encode("latin-1")) for name, value in pairs]
    scope = {"type": kind, "headers": raw, "client": client, "server": server or ("127.0.0.1", 8501)}
    with ThreadPoolExecutor(1) as aside:  # this thread may hold the browser's own loop
        aside.submit(asyncio.run, Gate(app, door)(scope, receive, send)).result()
    found = {name.decode(): value.decode("latin-1") for name, value in inside[0]["headers"]} if inside else None
    return sent, found


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1:8501", "localhost:8501", "LOCALHOST", "[::1]:8501", "workshop", "Workshop.:443", "screens.example"],
)
def test_configured_names_and_this_machine_are_answered(host: str) -> None:
    sent, inside = asked(Door("127.0.0.1", ("workshop", "screens.example")), {"host": host})
    assert not sent
    assert inside == {"host": host}


@pytest.mark.parametrize(
    "host",
    ["evil.example", "workshop.evil.example", "192.168.1.5", "", "a@workshop", "workshop/", "workshop:x", "wörkshop"],
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_other_names_are_refused(host: str, kind: str) -> None:
    """A page whose name was pointed at this machine (rebinding) asks by its own name."""
    sent, inside = asked(Door("127.0.0.1", ("workshop",)), {"host": host}, kind=kind)
    assert inside is None
    assert sent[0].get("status", MISDIRECTED) == MISDIRECTED
    assert kind == "http" or sent == [{"type": "websocket.close", "code": POLICY, "reason": ""}]


def test_no_host_or_two_are_refused() -> None:
    for headers in ([], [("host", "localhost"), ("host", "workshop")]):
        sent, inside = asked(Door(names=("workshop",)), headers)
        assert inside is None
        assert sent[0]["status"] == MISDIRECTED


def test_the_address_that_was_called_is_answered_in_figures() -> None:
    """Nobody can point an address in figures elsewhere; another machine's is refused."""
    door = Door("0.0.0.0")
    assert asked(door, {"host": "192.168.1.5:8501"}, client=PHONE, server=SERVER)[1] is not None
    assert asked(door, {"host": "192.168.1.6:8501"}, client=PHONE, server=SERVER)[1] is None
    assert asked(door, {"host": "evil.example"}, client=PHONE, server=SERVER)[1] is None


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_pages_of_others_are_refused(kind: str) -> None:
    door = Door(names=("workshop",))
    for origin in (
        "http://evil.example",
        "https://workshop.evil.example",
        "null",
        "http://workshop:99",
        "file://workshop",
        "",
    ):
        sent, inside = asked(door, {"host": "workshop", "origin": origin}, kind=kind)
        assert inside is None, origin
        assert sent[0].get("status", FORBIDDEN) == FORBIDDEN
    for origin in ("http://workshop", "https://workshop"):  # a proxy may speak TLS outwards
        assert asked(door, {"host": "workshop", "origin": origin}, kind=kind)[1] is not None


def test_a_plain_request_loses_its_own_origin() -> None:
    """With an origin the framework would look up this machine's address outside; what keeps a connection open needs it."""
    own = {"host": "workshop", "origin": "https://workshop"}
    assert asked(Door(names=("workshop",)), own)[1] == {"host": "workshop"}
    assert asked(Door(names=("workshop",)), own, kind="websocket")[1] == own


@pytest.mark.parametrize("client", [PHONE, ("127.0.0.1.evil", 1), ("", 0), None, ("::ffff:192.168.1.7", 1)])
def test_a_header_from_elsewhere_is_never_believed(client: Any) -> None:
    door = Door("127.0.0.1", account_header="X-Account")
    for forwarded in ({}, {"x-forwarded-for": "127.0.0.1"}, {"forwarded": "for=127.0.0.1"}):
        _, inside = asked(door, {"host": "localhost", "x-account": "ada", **forwarded}, client=client)
        assert inside is not None
        assert "ada" not in inside.values()


@pytest.mark.parametrize("client", [LOCAL, ("127.0.0.9", 1), ("::1", 1)])
def test_a_header_from_this_machine_is_carried_inwards(client: Any) -> None:
    for name in ("ada", "Jürgen Öz", "ada@fleet.example"):
        told = name.encode().decode("latin-1")
        _, inside = asked(Door(account_header="X-Account"), {"host": "localhost", "X-ACCOUNT": told}, client=client)
        assert inside is not None
        assert unquote(inside[MARK]) == name
        assert "X-ACCOUNT" not in inside


def test_what_is_told_twice_or_not_asked_for_is_no_account() -> None:
    twice = [("host", "localhost"), ("x-account", "ada"), ("X-Account", "eve")]
    assert MARK not in (asked(Door(account_header="X-Account"), twice)[1] or {MARK: ""})
    assert MARK not in (
        asked(Door(account_header="X-Account"), {"host": "localhost", "x-account": "\xff"})[1] or {MARK: ""}
    )
    for door in (Door(), Door(account_header="X-Account")):
        _, inside = asked(door, {"host": "localhost", MARK: "eve", "x-other": "eve"})
        assert inside == {"host": "localhost", "x-other": "eve"}, "the inner header cannot come from outside"
