"""How people sign in with a provider of OpenID Connect: a TOML file; its secret in a file of its own."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from secrets import token_hex
from typing import Any, Final
from urllib.parse import urlsplit

from dashboard.desk.addresses import checked
from dashboard.files.secrets_kept import secret_of, settings_of, text_of

KEYS: Final = ("provider", "client_id", "client_secret_file", "address", "account")
CLAIM: Final = "email"  # of OpenID Connect Core 1.0, section 5.1: the claim that names the account, unless told
LIBRARIES: Final = ("authlib", "httpx")  # of the extra `signin`
CALLBACK: Final = "/oauth2callback"  # where the framework awaits the provider's answer
SCOPES: Final = ("openid", "profile", "email")  # OpenID Connect Core 1.0, section 5.4
WELL_KNOWN: Final = "/.well-known/openid-configuration"  # OpenID Connect Discovery 1.0, section 4


@dataclass(frozen=True)
class SignIn:
    """The claim that names an account, the host name under which people come, and what the framework asks for."""

    claim: str
    host_name: str
    secrets: Mapping[str, Any] = field(repr=False)


def sign_in_settings(file: Path) -> SignIn:
    """Read the settings; ValueError says in one sentence what is wrong with them, and what is allowed."""
    if not all(find_spec(library) for library in LIBRARIES):
        raise ValueError("signing in with a provider needs more than is installed: pip install 'cranktrend[signin]'")
    return settings_of(file, "signing in", KEYS, lambda table: _settings(table, file))


def _settings(table: Mapping[str, Any], file: Path) -> SignIn:
    provider = text_of(table, "provider").rstrip("/")
    if not urlsplit(provider).netloc or urlsplit(provider).scheme not in ("https", "http"):
        raise ValueError(f"provider is {provider!r}; allowed is an address as https://id.fleet.example")
    address = checked(text_of(table, "address"))
    auth = {
        "redirect_uri": f"{address}{CALLBACK}",
        "cookie_secret": token_hex(32),  # another at every start: people sign in again after it
        "client_id": text_of(table, "client_id"),
        "client_secret": secret_of("client_secret_file", file.parent / text_of(table, "client_secret_file")),
        "server_metadata_url": provider if provider.endswith(WELL_KNOWN) else provider + WELL_KNOWN,
        "client_kwargs": {"scope": " ".join(SCOPES)},
    }
    return SignIn(text_of(table, "account", CLAIM), urlsplit(address).hostname or "", {"auth": auth})
