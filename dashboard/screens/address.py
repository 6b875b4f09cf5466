"""The address by which a phone reaches a vehicle's page for measuring: what the code on its windscreen holds."""

from __future__ import annotations

import ipaddress
from urllib.parse import quote, urlsplit

import streamlit as st

from dashboard.screens import session

ADDRESS_KEY = "screens_address"
LONGEST = 200
ALLOWED = "an address such as http://workshop:8501, without anything after the port"


def checked(text: str) -> str:
    """The address as it is kept, "" for none; ValueError for what is not the address of a server."""
    plain = text.strip().rstrip("/")
    if not plain:
        return ""
    try:
        parts = urlsplit(plain)
        server = parts.scheme in ("http", "https") and parts.hostname and parts.port != 0 and "@" not in parts.netloc
    except ValueError:
        server = False
    alone = server and not (parts.path or parts.query or parts.fragment)
    readable = len(plain) <= LONGEST and plain.isprintable() and " " not in plain
    if not (alone and readable):
        raise ValueError(f"The address of these screens is {plain[:60]!r}; allowed is {ALLOWED}, or nothing.")
    return plain


def screens_address() -> str:
    """What the settings say, else where this browser found the screens; "" where neither is known."""
    kept = session.settings().get(ADDRESS_KEY)
    if isinstance(kept, str) and kept:
        return kept
    parts = urlsplit(st.context.url or "")
    return f"{parts.scheme}://{parts.netloc}" if parts.scheme and parts.netloc else ""


def bay_address(base: str, unit: str) -> str:
    """Where a vehicle is measured."""
    return f"{base}/bay?unit={quote(unit, safe='')}"


def only_here(address: str) -> bool:
    """Whether only the computer itself reaches that address: a phone would find nothing there."""
    host = urlsplit(address).hostname or ""
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
