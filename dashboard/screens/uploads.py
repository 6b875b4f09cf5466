"""Uploaded files: how large they may be, laid down in a folder, and what was made of them kept as long as they and what is
said of them stay."""

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path, PurePath
from typing import TypeVar

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboard.words.files_words import up_to

T = TypeVar("T")


def one_file(label: str, kinds: Sequence[str], *, key: str) -> UploadedFile | None:
    """A field for a file of these kinds; the server takes none that is larger than it says (`serving.FLAGS`)."""
    return st.file_uploader(up_to(label), type=list(kinds), key=key)


def some_files(label: str, kinds: Sequence[str], *, key: str) -> list[UploadedFile]:
    return st.file_uploader(up_to(label), type=list(kinds), key=key, accept_multiple_files=True)


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
