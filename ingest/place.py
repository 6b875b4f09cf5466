"""Where a database may lie."""

from pathlib import Path

from ingest.errors import DatabaseRefused

OWNER_ONLY = 0o600  # names of vehicles, people and places are nobody else's business; our choice


def check_place(file: Path, *, create: bool) -> None:
    """Raise DatabaseRefused where no database can be, or (unless it may be made) where there is none."""
    name = str(file)
    if name == ":memory:" or name.encode("utf-8", "ignore").decode() != name:
        raise DatabaseRefused(f"{name!r} is no name for a database; allowed is the name of a file, in UTF-8")
    if file.is_dir():
        raise DatabaseRefused(f"{file} is a folder; name a database file")
    if file.exists() and not file.is_file():
        raise DatabaseRefused(f"{file} is a device or a pipe; name a database file")
    if not file.exists():
        if not create:
            raise DatabaseRefused(f"there is no database {file}; import files first or name another with --db")
        if not file.parent.is_dir():
            raise DatabaseRefused(f"there is no folder {file.parent} to keep the database in")
