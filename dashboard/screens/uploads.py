"""Uploaded files: laid down in a folder, and what was made of them kept as long as they and what is said of them stay."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path, PurePath
from typing import TypeVar

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

T = TypeVar("T")


def saved_to(folder: str, upload: UploadedFile) -> Path:
    """An uploaded file in a folder of its own, under its own last name only: two of one name do not meet."""
    path = Path(tempfile.mkdtemp(dir=folder)) / (PurePath(upload.name.replace("\\", "/")).name or "file")
    path.write_bytes(upload.getvalue())
    return path


def made_once(key: str, made_of: object, make: Callable[[], T]) -> T:
    """What `make` makes, made again only when `made_of` is another; kept in the session under `key`."""
    kept = st.session_state.get(key)
    if not isinstance(kept, tuple) or kept[0] != made_of:
        kept = st.session_state[key] = (made_of, make())
    made: T = kept[1]
    return made
