"""Monday's post: the issued list and the plan as files, of all depots or of one, in a folder and as mails."""

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP as MAIL_POLICY
from email.utils import format_datetime
from pathlib import Path
from typing import Any, Final

import pandas as pd
from sqlite_utils import Database

from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.desk import weekly
from dashboard.desk.addresses import ADDRESS_KEY
from dashboard.desk.habits import in_force, responsible_words
from dashboard.files.mail_settings import MailSettings
from dashboard.files.paper import list_pdf
from dashboard.files.plan_book import plan_book
from dashboard.files.plan_export import render
from dashboard.files.workbook import bytes_of, sheet
from dashboard.words import post_words
from dashboard.words.safety import SAFE_NOTE
from ingest.posts import Post
from ingest.records import WeeklyList, read_decisions, read_settings

KINDS: Final = {
    "pdf": ("application", "pdf"),
    "xlsx": ("application", "vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    "ics": ("text", "calendar"),
}


@dataclass(frozen=True)
class Week:
    """What is posted: the list as issued, the plan, the decisions that stand, and the settings of the database."""

    issued: WeeklyList
    plan: ReplacementPlan
    standing: Mapping[str, Mapping[Any, Any]]
    settings: Mapping[str, Any]

    def rows(self, depot: str) -> list[dict[str, Any]]:
        """The rows of the list of a depot, "" for all, each with its rank on the whole list."""
        return [row for row in weekly.ranked(self.issued.body) if not depot or row["depot"] == depot]

    def visits(self, depot: str) -> int:
        """How many visits are to come at a depot, "" for all."""
        return int((self.plan.visits["depot"] == depot).sum()) if depot else len(self.plan.visits)


def week_of(db: Database, issued: WeeklyList, plan: ReplacementPlan) -> Week:
    """What is posted of a list that was issued, and of the plan that stands."""
    standing = weekly.latest_decisions(read_decisions(db), plan.as_of.date())
    return Week(issued, plan, standing, read_settings(db))


def post_files(week: Week, depot: str = "") -> dict[str, bytes]:
    """The list as PDF, list and plan as a workbook, and the visits as a calendar, by the names of their files."""
    rows, iso = week.rows(depot), week.issued.iso_week
    in_f = in_force(week.settings, depot, None).fahrenheit
    stamp = datetime.fromisoformat(week.issued.issued_at)
    named = responsible_words(week.settings, [depot] if depot else list(week.issued.body["depots"]))
    calendar = render(week.plan, "ics", depot=depot or None, now=stamp)
    return {
        f"weekly-list-{iso}.pdf": list_pdf(week.issued, rows, week.standing, fahrenheit=in_f, responsible=named),
        f"weekly-list-and-plan-{iso}.xlsx": _workbook(week, rows, depot),
        f"visits-{iso}.ics": str(calendar).encode("utf-8"),
    }


def _workbook(week: Week, rows: list[dict[str, Any]], depot: str) -> bytes:
    """The list before the sheets of the plan."""
    frame = weekly.list_frame({**week.issued.body, "units": rows}, week.standing)
    book = plan_book(week.plan, depot=depot or None)
    sheet(book, post_words.LIST_SHEET, list(frame.columns), frame, first=True)
    said = pd.DataFrame({"note": [*weekly.said_of_list(week.issued), SAFE_NOTE]})
    sheet(book, post_words.LIST_NOTES_SHEET, ("note",), said)
    return bytes_of(book)


def write_post(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write the files to a folder, each whole or not at all, in place of those of the same week; the folder is made."""
    folder.mkdir(exist_ok=True)
    written = []
    for name, body in files.items():
        part = folder / f".{name}.{os.getpid()}.part"
        try:
            part.write_bytes(body)
            written.append(part.replace(folder / name))
        finally:
            part.unlink(missing_ok=True)
    return written


def posts_of(week: Week, settings: MailSettings) -> list[Post]:
    """A post for every recipient; ValueError for a depot that the fleet does not have."""
    known = sorted(set(week.plan.hours["depot"]))
    for depot in settings.depots:
        if depot not in known:
            raise ValueError(f"the settings for mail name the depot {depot!r}; allowed are {', '.join(known)}")
    return [Post(week.issued.iso_week, week.issued.version, *one) for one in settings.recipients()]


def message_of(post: Post, week: Week, files: Mapping[str, bytes], sender: str, *, now: datetime) -> EmailMessage:
    """The mail of a post; its name is always the same, so that a second copy can be known as one."""
    mail = EmailMessage(policy=MAIL_POLICY)
    mail["Subject"] = post_words.subject(post.iso_week, post.version, post.depot)
    mail["From"], mail["To"] = sender, post.recipient
    mail["Date"] = format_datetime(now.astimezone())
    name = hashlib.sha256(repr(post).encode()).hexdigest()[:32]
    mail["Message-ID"] = f"<{name}@{sender.partition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no absence notice comes back
    address = str(week.settings.get(ADDRESS_KEY) or "")
    mail.set_content(
        post_words.body(
            post.iso_week, post.depot, len(week.rows(post.depot)), week.visits(post.depot), address, list(files)
        )
    )
    for file, content in files.items():
        main, sub = KINDS[file.rpartition(".")[2]]
        mail.add_attachment(content, maintype=main, subtype=sub, filename=file)
    return mail
