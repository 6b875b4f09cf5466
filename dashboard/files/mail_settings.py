"""Where Monday's post is mailed to and through which server: a TOML file; its password from elsewhere, never in it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from dashboard.desk.addresses import is_here
from dashboard.files.secrets_kept import secret_of, settings_of, text_of

PASSWORD_VARIABLE: Final = "CRANKTREND_MAIL_PASSWORD"
TLS: Final = ("starttls", "tls", "none")
PORTS: Final = {"starttls": 587, "tls": 465, "none": 25}  # RFC 6409, RFC 8314, RFC 5321
KEYS: Final = ("host", "port", "tls", "user", "password_file", "from", "to", "depots")
MOST: Final = 200  # recipients in all; our choice: more are a mailing list of the server's
_ADDRESS: Final = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,185}[A-Za-z0-9])?")


@dataclass(frozen=True)
class MailSettings:
    """The server, who sends, and who gets the post of all depots (`to`) or of one."""

    host: str
    port: int
    tls: str
    sender: str
    user: str = ""
    to: tuple[str, ...] = ()
    depots: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    password: str = field(default="", repr=False)

    @property
    def server(self) -> str:
        return f"{self.host}:{self.port}"

    def recipients(self) -> list[tuple[str, str]]:
        """Depot ("" for all of them) and address of everybody who gets a mail, once each."""
        every = [("", one) for one in self.to] + [(depot, one) for depot, own in self.depots.items() for one in own]
        return list(dict.fromkeys(every))


def mail_settings(file: Path, environment: Mapping[str, str]) -> MailSettings:
    """Read the settings; ValueError says in one sentence what is wrong with them, and what is allowed."""
    return settings_of(file, "mail", KEYS, lambda table: _settings(table, file, environment))


def _settings(table: Mapping[str, Any], file: Path, environment: Mapping[str, str]) -> MailSettings:
    tls, user = table.get("tls", TLS[0]), text_of(table, "user", "")
    if tls not in TLS:
        raise ValueError(f"tls is {tls!r}; allowed are {', '.join(TLS)}")
    port = table.get("port", PORTS[tls])
    if not isinstance(port, int) or isinstance(port, bool) or not 1 <= port <= 65535:
        raise ValueError(f"port is {port!r}; allowed is a whole number from 1 to 65535")
    host = text_of(table, "host")
    if user and tls == "none" and not is_here(host):
        raise ValueError(
            "tls is 'none' with a user; allowed is 'starttls' or 'tls': a password is not sent in the open"
        )
    depots = table.get("depots", {})
    if not isinstance(depots, Mapping):
        raise ValueError(f"depots is {depots!r}; allowed is a table of depots with their addresses")
    made = MailSettings(
        host, port, tls, _address("from", text_of(table, "from")), user, _addresses("to", table.get("to", [])),
        {str(depot): _addresses(str(depot), own) for depot, own in depots.items()},
        _password(table, file, environment) if user else "",
    )  # fmt: skip
    if not 1 <= len(made.recipients()) <= MOST:
        raise ValueError(f"to and depots name {len(made.recipients())} recipients; allowed are 1 to {MOST}")
    return made


def _addresses(name: str, value: object) -> tuple[str, ...]:
    listed = [value] if isinstance(value, str) else value
    if not isinstance(listed, list):
        raise ValueError(f"{name} is {value!r}; allowed is a list of addresses")
    return tuple(_address(name, one) for one in listed)


def _address(name: str, value: object) -> str:
    if not isinstance(value, str) or not _ADDRESS.fullmatch(value):
        raise ValueError(f"{name} names {value!r}; allowed is an address as office@depot.example")
    return value


def _password(table: Mapping[str, Any], file: Path, environment: Mapping[str, str]) -> str:
    """From the environment, else from a file that only its owner can read."""
    told = environment.get(PASSWORD_VARIABLE, "")
    if told:
        return told
    name = text_of(table, "password_file", "")
    if not name:
        raise ValueError(f"user is given without a password; allowed is {PASSWORD_VARIABLE} or password_file")
    return secret_of("password_file", file.parent / name)
