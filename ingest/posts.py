"""Which issued list was mailed to whom: taken before it is sent, so that two calls at once do not send it twice."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlite_utils import Database

from ingest.writing import find, put, stamp, writing

LOST = timedelta(minutes=15)
"""A post still on its way after this is taken to be lost, its sender having been stopped; our choice: no mail server keeps a
sender waiting so long."""


@dataclass(frozen=True)
class Post:
    """A version of a week's list for one recipient; depot: "" for all of them."""

    iso_week: str
    version: int
    depot: str
    recipient: str


def take(db: Database, post: Post, *, now: datetime) -> bool:
    """Whether the post is the caller's to send now; False when it was sent, or is on its way."""
    with writing(db):
        row = find(db, "posts", **vars(post))
        if row is not None:
            on_its_way = now - datetime.fromisoformat(row["at"]) < LOST
            if row["state"] == "sent" or on_its_way:
                return False
        put(db, "posts", {**vars(post), "state": "sending", "at": stamp(now)}, *vars(post))
    return True


def note_sent(db: Database, post: Post, *, now: datetime) -> None:
    with writing(db):
        put(db, "posts", {**vars(post), "state": "sent", "at": stamp(now)}, *vars(post))


def give_up(db: Database, post: Post) -> None:
    """Forget that the post was taken: it was not sent, and the next call is to try again."""
    with writing(db):
        sending = "state = 'sending' AND iso_week = ? AND version = ? AND depot = ? AND recipient = ?"
        db.table("posts").delete_where(sending, list(vars(post).values()))


def is_sent(db: Database, post: Post) -> bool:
    return find(db, "posts", **vars(post), state="sent") is not None
