"""Small files that commands read, and new ones that they write."""

from pathlib import Path

from ingest.bounds import bytes_of
from ingest.errors import CouldNot, FileRefused


def write_new(file: Path, body: str | bytes) -> Path:
    """Write a text, or what is none, to a new file, all of it or nothing; nothing is ever overwritten."""
    if not file.parent.is_dir():
        raise ValueError(f"there is no folder {file.parent} to write {file.name} to")
    try:
        with file.open("xb") as out:
            out.write(body.encode() if isinstance(body, str) else body)
    except FileExistsError:
        raise ValueError(f"{file} is there already and is not overwritten: name a new file") from None
    except OSError as error:
        file.unlink(missing_ok=True)
        raise CouldNot(f"{file} could not be written: {error.strerror or error}") from error
    return file


def read_text(file: str) -> str:
    """A small text file; one clear sentence when it cannot be read."""
    try:
        return bytes_of(Path(file)).decode("utf-8")
    except UnicodeDecodeError:
        raise ValueError(f"{file}: cannot be read as UTF-8 text") from None
    except FileRefused as error:
        raise ValueError(f"{file}: {error}") from None
