"""The server of the screens: sockets that send at once, and nothing that keeps it from ending."""

from __future__ import annotations

import asyncio
import socket
from pathlib import Path

import pytest
from samples_screens import AS_OF, empty_database, one_reading_database

from dashboard.screens import serving, session
from dashboard.screens.session import DATABASE_VARIABLE, TODAY_VARIABLE


def nodelay_of_a_connection(loop: type[asyncio.AbstractEventLoop]) -> int:
    """TCP_NODELAY of a connection to a server on a socket made beforehand, as the screens' server makes it."""

    async def connect() -> int:
        listening = socket.socket(family=socket.AF_INET)
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        listening.setblocking(False)
        told: asyncio.Future[int] = asyncio.get_running_loop().create_future()

        class Told(asyncio.Protocol):
            def connection_made(self, transport: asyncio.BaseTransport) -> None:
                own = transport.get_extra_info("socket")
                told.set_result(own.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
                transport.close()

        server = await asyncio.get_running_loop().create_server(Told, sock=listening)
        async with server:
            _, writer = await asyncio.open_connection(*listening.getsockname())
            found = await told
            writer.close()
            await writer.wait_closed()
        return found

    with asyncio.Runner(loop_factory=loop) as runner:
        return runner.run(connect())


def test_a_connection_sends_at_once() -> None:
    assert nodelay_of_a_connection(serving.PromptLoop) != 0


def test_serving_waits_for_what_was_begun_and_passes_its_error_on() -> None:
    done: list[str] = []

    async def work() -> None:
        await asyncio.sleep(0.01)
        done.append("done")

    serving.run_prompt(lambda: asyncio.get_running_loop().create_task(work()))
    assert done == ["done"]

    async def fail() -> None:
        raise OSError("the port is taken")

    with pytest.raises(OSError, match="the port is taken"):
        serving.run_prompt(lambda: asyncio.get_running_loop().create_task(fail()))


def test_judging_begins_with_the_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[session.Key] = []
    monkeypatch.setattr(session, "_assess", asked.append)
    monkeypatch.setenv(TODAY_VARIABLE, AS_OF.isoformat())
    monkeypatch.setenv(DATABASE_VARIABLE, str(empty_database(tmp_path / "empty.db")))
    serving.prepare()
    monkeypatch.setenv(DATABASE_VARIABLE, str(one_reading_database(tmp_path / "one.db")))
    serving.prepare()
    session.judge().ask(session.key_of(AS_OF)).result(30)
    assert [key.as_of for key in asked] == [AS_OF]
