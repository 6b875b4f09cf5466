"""Secrets that lie in a file of their own: one line, readable by the owner of the file only."""

from __future__ import annotations

import os
import stat
from pathlib import Path


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
