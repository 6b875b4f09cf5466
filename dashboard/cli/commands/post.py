"""Monday's post: the week's list and plan issued once, as files in a folder, and mailed."""

import argparse
import os
from datetime import date, datetime
from email.message import EmailMessage
from pathlib import Path

from sqlite_utils import Database

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.workshop_calendar import iso_week
from dashboard.cli.commands.database import as_of, open_existing
from dashboard.cli.options import MAIL_VARIABLE, WHO
from dashboard.desk.assessment import assess_database
from dashboard.desk.planning import load_plan, make_plan, named, outdated_visits
from dashboard.desk.terminal import show
from dashboard.desk.weekly import issue
from dashboard.files.mail_settings import mail_settings
from dashboard.files.mailing import mail_posts
from dashboard.files.post import Week, message_of, post_files, posts_of, week_of, write_post
from dashboard.words import post_words, terminal_words
from dashboard.words.plain_text import clean
from dashboard.words.plan_words import as_it_stands, hours_note, no_visit_words, outdated_words
from ingest.fields import LONGEST_NAME
from ingest.posts import Post
from ingest.records import WeeklyList, read_weekly_list


def run_issue(options: argparse.Namespace) -> None:
    """Issue the week's list and plan where that was not done yet, say what stands, write and mail it."""
    db, day = open_existing(options), as_of(options)
    by = clean(options.by).strip()[:LONGEST_NAME] or WHO
    issued, plan = issued_once(db, day, by)
    week = week_of(db, issued, plan)
    files = post_files(week) if options.folder else {}
    if files:
        written = write_post(Path(options.folder), files)
        show(post_words.written(options.folder, [one.name for one in written]))
    settings = options.file or os.environ.get(MAIL_VARIABLE)
    if settings:
        mail(db, week, Path(settings))


def issued_once(db: Database, day: date, by: str) -> tuple[WeeklyList, ReplacementPlan]:
    """The list and the plan of the week of `day`, made now where that was not done in this week, as they stand;
    says which."""
    week, plan = iso_week(day), load_plan(db)
    stood = read_weekly_list(db, week)
    planned = plan is not None and iso_week(plan.as_of.date()) == week
    assessment = None if stood is not None and planned else assess_database(db, as_of=day)
    first = assessment is not None and stood is None and issue(db, assessment, by=by)
    issued = read_weekly_list(db, week)
    assert issued is not None
    told = "" if first else terminal_words.BY_ON.format(day=issued.issued_at[:10], who=named(issued.by))
    show(post_words.list_stands(issued.iso_week, told, len(issued.body["units"])))
    before = 0 if plan is None else plan.version
    if plan is None or not planned:
        plan = make_plan(db, as_of=day, assessment=assessment, by=by)
    show(post_words.plan_stands(plan.version, len(plan.visits), new=plan.version != before))
    if not len(plan.visits):
        show(hours_note(plan) or no_visit_words(plan))
    since = outdated_visits(db, plan, day)
    for sentence in outdated_words(since):
        show(sentence)
    return issued, as_it_stands(plan, since)


def mail(db: Database, week: Week, file: Path) -> None:
    """Mail what was issued to those who did not get it yet, as the settings in a file say."""
    settings, made = mail_settings(file, os.environ), dict[str, dict[str, bytes]]()
    posts = posts_of(week, settings)

    def message(post: Post) -> EmailMessage:
        if post.depot not in made:
            made[post.depot] = post_files(week, post.depot)
        return message_of(post, week, made[post.depot], settings.sender, now=datetime.now())

    show(post_words.mailed(*mail_posts(db, posts, settings, message)))
