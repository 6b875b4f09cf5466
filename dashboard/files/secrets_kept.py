"""Settings in a TOML file, and secrets that lie in a file of their own: one line, readable by the owner of the file only."""

import os
import stat
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from ingest.bounds import bytes_of
from ingest.errors import FileRefused

Made = TypeVar("Made")
LONGEST_TEXT = 254  # [characters] of a setting; of an address RFC 5321 allows as many


def settings_of(file: Path, what: str, keys: Sequence[str], made: Callable[[Mapping[str, Any]], Made]) -> Made:
    """What is `made` of the file's table; ValueError says in one sentence what is wrong with it, and what is allowed.

    what: the settings' name in that sentence, as "mail"; keys: all that may stand in the file.
    """
    try:
        table = tomllib.loads(bytes_of(file).decode("utf-8"))
    except (FileRefused, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ValueError(f"{file}: settings for {what} cannot be read: {error}") from None
    try:
        strange = [name for name in table if name not in keys]
        if strange:
            raise ValueError(f"{strange[0]!r} is no setting for {what}; allowed are {', '.join(keys)}")
        return made(table)
    except ValueError as error:
        raise ValueError(f"{file}: {error}") from None


def text_of(table: Mapping[str, Any], name: str, missing: str | None = None) -> str:
    """A text of the table, `missing` where it has none; ValueError for what is none, and for an empty one unless `missing` is."""
    value = table.get(name, missing or "")
    if (
        not isinstance(value, str)
        or not (value or missing == "")
        or not value.isprintable()
        or len(value) > LONGEST_TEXT
    ):
        raise ValueError(f"{name} is {value!r}; allowed is a text in one line")
    return value


def secret_of(setting: str, file: Path) -> str:
    """The secret that the setting's file holds; ValueError says what is wrong with the file."""
    try:
        mode = file.stat().st_mode
        text = file.read_text(encoding="utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or error
        raise ValueError(f"{setting} {file.name!r} cannot be read: {why}") from None
    if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise ValueError(
            f"{setting} {file.name!r} can be read by others; allowed is a file of its owner only (chmod 600)"
        )
    if not text or not text.isprintable():
        raise ValueError(f"{setting} {file.name!r} holds no secret; allowed is a text in one line")
    return text
