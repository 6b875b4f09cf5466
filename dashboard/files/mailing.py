"""Mails through the user's own server (SMTP, RFC 5321): each recipient gets a list once, however often it is asked for."""

import smtplib
import ssl
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from email.message import EmailMessage
from typing import Final

from sqlite_utils import Database

from dashboard.files.mail_settings import MailSettings
from dashboard.words import post_words
from ingest.errors import CouldNot
from ingest.posts import Post, give_up, is_sent, note_sent, take

PATIENCE_S: Final = 30.0  # [s] that a mail server may take for an answer, our choice


def mail_posts(
    db: Database,
    posts: Sequence[Post],
    settings: MailSettings,
    message_of: Callable[[Post], EmailMessage],
    *,
    now: Callable[[], datetime] = datetime.now,
) -> tuple[list[str], int, int]:
    """Send the posts that were not sent; CouldNot says in one sentence who did not get theirs, and why.

    Who got a mail now, how many had it before, and to how many another call is sending it at this moment.
    A recipient whom the server refuses does not keep the others from theirs.
    """
    open_posts = [post for post in posts if not is_sent(db, post)]
    sent, refused, elsewhere = [], {}, 0
    if open_posts:
        try:
            with _server(settings) as server:
                for post in open_posts:
                    if not take(db, post, now=now()):
                        elsewhere += 1
                        continue
                    try:
                        server.send_message(message_of(post))
                        note_sent(db, post, now=now())
                        sent.append(post.recipient)
                    except (smtplib.SMTPRecipientsRefused, smtplib.SMTPSenderRefused, smtplib.SMTPDataError) as error:
                        give_up(db, post)
                        refused[post.recipient] = _reason(error)
                    except BaseException:
                        give_up(db, post)
                        raise
        except (smtplib.SMTPException, OSError) as error:
            left = [post.recipient for post in open_posts if not is_sent(db, post)]
            raise CouldNot(post_words.not_mailed(list(dict.fromkeys(left)), settings.server, _reason(error))) from error
    if refused:
        raise CouldNot(
            post_words.not_mailed(list(refused), settings.server, "; ".join(dict.fromkeys(refused.values())))
        )
    return sent, len(posts) - len(open_posts), elsewhere


@contextmanager
def _server(settings: MailSettings) -> Iterator[smtplib.SMTP]:
    context = ssl.create_default_context()
    if settings.tls == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(settings.host, settings.port, timeout=PATIENCE_S, context=context)
    else:
        server = smtplib.SMTP(settings.host, settings.port, timeout=PATIENCE_S)
    try:
        if settings.tls == "starttls":
            server.starttls(context=context)
        if settings.user:
            server.login(settings.user, settings.password)
        yield server
    finally:
        with suppress(smtplib.SMTPException, OSError):  # what was sent is sent; a server that is gone needs no goodbye
            server.quit()
        server.close()


def _reason(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        answers = [f"{code} {_told(text)}" for code, text in error.recipients.values()]
        return "; ".join(answers)
    if isinstance(error, smtplib.SMTPResponseException):
        return f"{error.smtp_code} {_told(error.smtp_error)}"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__


def _told(answer: bytes | str) -> str:
    return answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
