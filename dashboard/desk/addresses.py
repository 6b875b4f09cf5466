"""Addresses of the screens as a phone reaches them: what the codes on windscreens and on work orders hold."""

import ipaddress
from urllib.parse import quote, urlsplit

ADDRESS_KEY = "screens_address"
LONGEST = 200
NAMED_HERE = "@cranktrend"  # the end of every visit's name, which an address leaves out
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


def bay_address(base: str, unit: str, code: str = "") -> str:
    """Where a vehicle is measured; the code lets in who is not signed in."""
    return f"{base}/bay?unit={quote(unit, safe='')}" + (f"&code={code}" if code else "")


def visit_address(base: str, unit: str, uid: str) -> str:
    """Where a visit of the plan is reported."""
    return f"{base}/visit?unit={quote(unit, safe='')}&visit={quote(uid.removesuffix(NAMED_HERE), safe='')}"


def uid_of(asked: str) -> str:
    """The lasting name of a visit from what its address says."""
    return asked if "@" in asked else f"{asked}{NAMED_HERE}"


def only_here(address: str) -> bool:
    """Whether only the computer itself reaches that address: a phone would find nothing there."""
    return is_here(urlsplit(address).hostname or "")


def is_here(host: str) -> bool:
    """Whether a host's name or number is this very machine."""
    return host == "localhost" or host.endswith(".localhost") or is_loopback(host)


def is_loopback(address: str) -> bool:
    """Whether an address is this machine's own, which no other machine can send from."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
