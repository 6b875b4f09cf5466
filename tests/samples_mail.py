"""A small mail server of our own for the tests: it speaks as much of SMTP (RFC 5321) as a client needs to hand over a mail."""

from __future__ import annotations

import base64
import email
import email.policy
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage


@dataclass
class MailServer:
    """What a server took, and how it behaves: whom it refuses, whether it wants a password, whether it breaks off."""

    port: int = 0
    taken: list[tuple[str, str, EmailMessage]] = field(default_factory=list)
    commands: list[str] = field(default_factory=list)
    refuses: set[str] = field(default_factory=set)
    password: str = ""
    breaks_off_after: int = 10_000

    def recipients(self) -> list[str]:
        """Who got a mail, in order."""
        return [recipient for _, recipient, _ in self.taken]


class _Talk(socketserver.StreamRequestHandler):
    """One conversation."""

    def say(self, text: str) -> None:
        self.wfile.write(f"{text}\r\n".encode())

    def handle(self) -> None:
        mine: MailServer = self.server.mine  # type: ignore[attr-defined]
        sender, recipients, known = "", [], not mine.password
        self.say("220 here")
        for raw in self.rfile:
            line = raw.decode().strip()
            word = line.split(" ")[0].upper()
            mine.commands.append(line)
            if word == "EHLO":
                self.say("250-here")
                self.say("250 AUTH PLAIN" if mine.password else "250 SIZE 10000000")
            elif word == "AUTH":
                told = base64.b64decode(line.split(" ")[2]).decode().split("\0")[2]
                known = told == mine.password
                self.say("235 welcome" if known else "535 wrong password")
            elif word == "MAIL":
                sender = line.partition("<")[2].partition(">")[0]
                self.say("250 ok" if known else "530 who are you")
            elif word == "RCPT":
                address = line.partition("<")[2].partition(">")[0]
                recipients = [address]
                self.say("550 no such mailbox" if address in mine.refuses else "250 ok")
            elif word == "DATA":
                if len(mine.taken) >= mine.breaks_off_after:
                    return
                self.say("354 go on")
                content = self.body()
                mail = email.message_from_bytes(content, policy=email.policy.SMTP)
                assert isinstance(mail, EmailMessage)
                mine.taken.append((sender, recipients[0], mail))
                self.say("250 taken")
            elif word == "QUIT":
                self.say("221 bye")
                return
            else:
                self.say("250 ok")

    def body(self) -> bytes:
        lines = []
        for raw in self.rfile:
            if raw == b".\r\n":
                break
            lines.append(raw[1:] if raw.startswith(b"..") else raw)
        return b"".join(lines)


@contextmanager
def mail_server(**behaviour: object) -> Iterator[MailServer]:
    """A server on a free port of this machine, as long as the block lasts."""
    mine = MailServer(**behaviour)  # type: ignore[arg-type]
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), _Talk) as server:
        server.daemon_threads = True
        server.mine = mine  # type: ignore[attr-defined]
        mine.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        try:
            yield mine
        finally:
            server.shutdown()
            thread.join()
