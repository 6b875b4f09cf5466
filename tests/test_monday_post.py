"""Monday's post: list and plan issued once, written as files, mailed to everybody once, whatever goes wrong on the way.

Truth: a mail server of the test's own (RFC 5321) and what it took; the list and the plan that the test put on record.
"""

from __future__ import annotations

import io
import socket
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from icalendar import Calendar
from openpyxl import load_workbook
from samples_mail import MailServer, mail_server
from samples_screens import AS_OF, listed_database
from test_paper import pages

from analysis.plan.workshop_calendar import iso_week
from dashboard.cli.main import main
from dashboard.desk.planning import load_plan
from dashboard.files.mail_settings import PASSWORD_VARIABLE, mail_settings
from dashboard.files.mailing import mail_posts
from dashboard.files.post import message_of, post_files, week_of
from ingest import posts, store
from ingest.corrections import correct
from ingest.entries import record_repair
from ingest.errors import CouldNot
from ingest.posts import Post
from ingest.records import read_weekly_list

WEEK = iso_week(AS_OF)
NAMES = [f"visits-{WEEK}.ics", f"weekly-list-{WEEK}.pdf", f"weekly-list-and-plan-{WEEK}.xlsx"]
NOW = datetime(2026, 11, 30, 6)
HOSTILE = 'ridge"\r\nBcc: thief@example.org\r\n\r\n<b>x'


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """This week's list and plan are on record, so that nothing is judged here."""
    for name in ("CRANKTREND_MAIL", PASSWORD_VARIABLE):
        monkeypatch.delenv(name, raising=False)
    return listed_database(tmp_path / "fleet.db")


def settings_file(folder: Path, port: int, more: str = "", to: str = '["office@fleet.example"]') -> Path:
    file = folder / "mail.toml"
    file.write_text(
        f'host = "127.0.0.1"\nport = {port}\ntls = "none"\nfrom = "cranktrend@fleet.example"\nto = {to}\n{more}'
    )
    return file


def issue(fleet: Path, *words: object) -> int:
    return main(["--db", str(fleet), "issue", "--as-of", AS_OF.isoformat(), *map(str, words)])


def test_the_post_is_written_and_mailed_once(fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "post"
    with mail_server() as server:
        settings = settings_file(tmp_path, server.port, '[depots]\nridge = ["ridge@fleet.example"]\n')
        assert issue(fleet, "--to", folder, "--mail", settings) == 0
        said = capsys.readouterr().out.splitlines()
        assert said[-1] == "Mailed to office@fleet.example, ridge@fleet.example."
        assert server.recipients() == ["office@fleet.example", "ridge@fleet.example"]
        assert issue(fleet, "--to", folder, "--mail", settings) == 0
        assert capsys.readouterr().out.splitlines()[-1] == "2 recipients had it before; nothing is sent twice."
        assert len(server.taken) == 2
    assert sorted(one.name for one in folder.iterdir()) == NAMES
    check_files({one.name: one.read_bytes() for one in folder.iterdir()}, fleet, "")
    for (sender, _, mail), depot in zip(server.taken, ("", "ridge"), strict=True):
        assert sender == "cranktrend@fleet.example"
        assert WEEK in mail["Subject"]
        assert mail["Auto-Submitted"] == "auto-generated"
        files = {str(part.get_filename()): part.get_payload(decode=True) for part in mail.iter_attachments()}
        assert sorted(files) == NAMES
        check_files({name: bytes(body) for name, body in files.items()}, fleet, depot)  # type: ignore[arg-type]
    assert ("ridge" in server.taken[1][2]["Subject"], "ridge" in server.taken[0][2]["Subject"]) == (True, False)


def check_files(files: dict[str, bytes], fleet: Path, depot: str) -> None:
    """Each holds the rows of its depot, or all."""
    db = store.open_database(fleet)
    issued, plan = read_weekly_list(db, WEEK), load_plan(db)
    assert issued is not None
    assert plan is not None
    listed = [row["unit"] for row in issued.body["units"] if not depot or row["depot"] == depot]
    visits = plan.visits if not depot else plan.visits[plan.visits["depot"] == depot]
    assert listed
    assert pages(files[NAMES[1]]) >= 1
    book = load_workbook(io.BytesIO(files[NAMES[2]]))
    assert [row[1].value for row in book["weekly list"].iter_rows(min_row=2)] == listed
    assert book["visits"].max_row == len(visits) + 1
    events = Calendar.from_ical(files[NAMES[0]].decode()).walk("VEVENT")
    assert {str(event["uid"]) for event in events if event["status"] != "CANCELLED"} == set(visits["uid"])


def test_list_and_plan_stand_all_week(fleet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A timer that calls again on Friday makes neither anew; the next Monday is another week."""
    friday = AS_OF + timedelta(days=4)
    before = list(store.open_database(fleet).conn.iterdump())
    assert main(["--db", str(fleet), "issue", "--as-of", friday.isoformat()]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"The list of {WEEK} stands as it was issued on {AS_OF}")
    assert said[1].startswith("Version 1 of the plan stands; visits: ")
    assert list(store.open_database(fleet).conn.iterdump()) == before


@pytest.mark.nightly
def test_without_settings_nothing_is_mailed(fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert issue(fleet) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert issue(fleet, "--to", tmp_path / "post") == 0
    assert "Written to" in capsys.readouterr().out
    assert issue(fleet, "--to", fleet) == 3, "a file is no folder"
    assert store.open_database(fleet)["posts"].count == 0


@pytest.mark.nightly
def test_a_server_that_is_away_costs_nothing_but_time(
    fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence, exit code 3; list and files stay, and the next call sends."""
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        settings = settings_file(tmp_path, nobody.getsockname()[1])
        assert issue(fleet, "--to", tmp_path / "post", "--mail", settings) == 3
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 1
    assert told[0].startswith("cranktrend: no mail to office@fleet.example: 127.0.0.1:")
    assert "the list stays issued, and the next call sends what was not sent" in told[0]
    assert sorted(one.name for one in (tmp_path / "post").iterdir()) == NAMES
    with mail_server() as server:
        assert issue(fleet, "--mail", settings_file(tmp_path, server.port)) == 0
        assert server.recipients() == ["office@fleet.example"]


@pytest.mark.nightly
def test_what_was_not_sent_is_sent_later_and_the_rest_not_twice(fleet: Path, tmp_path: Path) -> None:
    """A refused recipient does not keep the others from theirs; a server that breaks off loses only what it did not take."""
    to = '["a@x.example", "b@x.example", "c@x.example"]'
    with mail_server(refuses={"b@x.example"}) as server:
        assert issue(fleet, "--mail", settings_file(tmp_path, server.port, to=to)) == 3
        assert server.recipients() == ["a@x.example", "c@x.example"]
        server.refuses.clear()
        assert issue(fleet, "--mail", settings_file(tmp_path, server.port, to=to)) == 0
        assert server.recipients() == ["a@x.example", "c@x.example", "b@x.example"]
    with mail_server(breaks_off_after=1) as server:
        more = '["d@x.example", "e@x.example"]'
        assert issue(fleet, "--mail", settings_file(tmp_path, server.port, to=more)) == 3
        assert server.recipients() == ["d@x.example"]
        server.breaks_off_after = 9
        assert issue(fleet, "--mail", settings_file(tmp_path, server.port, to=more)) == 0
        assert server.recipients() == ["d@x.example", "e@x.example"]


def test_two_calls_at_once_send_once(fleet: Path, tmp_path: Path) -> None:
    """The second finds the post taken; one whose sender was stopped is taken again after a while."""
    db, post = store.open_database(fleet), Post(WEEK, 1, "", "a@x.example")
    assert posts.take(db, post, now=NOW)
    assert not posts.take(db, post, now=NOW + posts.LOST - timedelta(seconds=1))
    assert posts.take(db, post, now=NOW + posts.LOST)
    with mail_server() as server:
        settings = mail_settings(settings_file(tmp_path, server.port), {})
        found = mail_posts(
            db, [post], settings, lambda _post: pytest.fail("it is on its way"), now=lambda: NOW + posts.LOST
        )
        assert found == ([], 0, 1)
    posts.note_sent(db, post, now=NOW)
    assert not posts.take(db, post, now=NOW + 9 * posts.LOST)
    posts.give_up(db, post)
    assert posts.is_sent(db, post), "what was sent stays sent"


def test_names_cannot_write_a_header(fleet: Path) -> None:
    """A depot's name with line ends becomes one line of text: no further header, recipient or body (RFC 5322, 2.2)."""
    db = store.open_database(fleet)
    issued, plan = read_weekly_list(db, WEEK), load_plan(db)
    assert issued is not None
    assert plan is not None
    week = week_of(db, issued, plan)
    mail = message_of(Post(WEEK, 1, HOSTILE, "a@x.example"), week, post_files(week), "me@x.example", now=NOW)
    head = mail.as_bytes().split(b"\r\n\r\n")[0].lower()
    assert b"\r\nbcc:" not in head
    assert [value for name, value in mail.items() if name in ("To", "Cc", "Bcc")] == ["a@x.example"]
    assert head.count(b"\r\nsubject:") + head.startswith(b"subject:") == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("host = ", "cannot be read"),
        ('hots = "a"', "'hots' is no setting for mail; allowed are host, port"),
        ('host = ""', "host is ''; allowed is a text in one line"),
        ('host = "a\\nb"', "allowed is a text in one line"),
        ('host = "a"\ntls = "yes"', "tls is 'yes'; allowed are starttls, tls, none"),
        ('host = "a"\nport = 0', "port is 0; allowed is a whole number from 1 to 65535"),
        ('host = "a"\nfrom = "me"', "from names 'me'; allowed is an address as"),
        ('host = "a"\nfrom = "me@x.example"\nto = ["a@x.example\\nBcc: b@x.example"]', "to names"),
        ('host = "a"\nfrom = "me@x.example"\nto = 5', "to is 5; allowed is a list of addresses"),
        ('host = "a"\nfrom = "me@x.example"\ndepots = 5', "depots is 5"),
        ('host = "a"\nfrom = "me@x.example"', "name 0 recipients; allowed are 1 to 200"),
        ('host = "a"\nfrom = "me@x.example"\npassword = "x"', "'password' is no setting"),
        ('host = "a"\ntls = "none"\nuser = "me"\nfrom = "me@x.example"', "a password is not sent in the open"),
        ('host = "a"\nuser = "me"\nfrom = "me@x.example"\nto = "a@x.example"', "user is given without a password"),
    ],
)
def test_settings_that_cannot_be_used_are_named(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "mail.toml"
    file.write_text(text)
    with pytest.raises(ValueError, match=r"mail\.toml") as caught:
        mail_settings(file, {})
    assert said in str(caught.value)


def test_wrong_settings_leave_the_list_issued(fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2; also for a depot that is not there, to which nobody would ever have got a mail."""
    assert issue(fleet, "--to", tmp_path / "post", "--mail", tmp_path / "none.toml") == 2
    assert sorted(one.name for one in (tmp_path / "post").iterdir()) == NAMES
    with mail_server() as server:
        settings = settings_file(tmp_path, server.port, '[depots]\nnowhere = ["a@x.example"]\n')
        assert issue(fleet, "--mail", settings) == 2
        assert "the depot 'nowhere'; allowed are" in capsys.readouterr().err
        assert not server.taken


def test_the_password_comes_from_outside(tmp_path: Path) -> None:
    """From the environment, or from a file that nobody else can read; it is shown nowhere."""
    text = 'host = "mail.example"\nuser = "me"\nfrom = "me@x.example"\nto = "a@x.example"\npassword_file = "secret"\n'
    file, secret = tmp_path / "mail.toml", tmp_path / "secret"
    file.write_text(text)
    assert mail_settings(file, {PASSWORD_VARIABLE: "told"}).password == "told"
    with pytest.raises(ValueError, match="password_file 'secret' cannot be read"):
        mail_settings(file, {})
    secret.write_text("kept\n")
    secret.chmod(0o644)
    with pytest.raises(ValueError, match="can be read by others; allowed is a file of its owner only"):
        mail_settings(file, {})
    secret.chmod(0o600)
    found = mail_settings(file, {})
    assert (found.password, found.port, found.tls) == ("kept", 587, "starttls")
    assert "kept" not in repr(found)


@pytest.mark.nightly
def test_the_server_is_told_who_sends(fleet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with mail_server(password="open") as server:
        settings = settings_file(tmp_path, server.port, 'user = "me"\n')
        monkeypatch.setenv(PASSWORD_VARIABLE, "wrong")
        assert issue(fleet, "--mail", settings) == 3
        monkeypatch.setenv(PASSWORD_VARIABLE, "open")
        assert issue(fleet, "--mail", settings) == 0
        assert server.recipients() == ["office@fleet.example"]


def test_no_mail_goes_in_the_open_where_tls_is_asked_for(fleet: Path, tmp_path: Path) -> None:
    """A server without STARTTLS gets neither password nor mail (RFC 3207)."""
    db = store.open_database(fleet)
    with mail_server() as server:
        settings = mail_settings(settings_file(tmp_path, server.port), {})
        strict = settings.__class__(**{**vars(settings), "tls": "starttls"})
        with pytest.raises(CouldNot, match="STARTTLS"):
            mail_posts(db, [Post(WEEK, 1, "", "a@x.example")], strict, lambda _post: pytest.fail("nothing may be sent"))
        check_nothing_sent(server)
    assert db["posts"].count == 0


def check_nothing_sent(server: MailServer) -> None:
    assert not server.taken
    assert not any(line.startswith(("AUTH", "MAIL")) for line in server.commands)


def test_what_was_overtaken_is_cancelled_in_the_calendar_and_in_no_sheet(fleet: Path, tmp_path: Path) -> None:
    """A repair since, and a vehicle that left: no visit, no order; the notes name both, and the whole plan's sums stand as they are."""
    db = store.open_database(fleet)
    plan = load_plan(db)
    assert plan is not None
    gone, sold = (str(unit) for unit in plan.visits.loc[plan.visits["kind"] == "replace", "unit"].drop_duplicates()[:2])
    later = datetime.combine(AS_OF + timedelta(days=1), datetime.min.time())
    visit = plan.visits.set_index("unit").loc[gone]
    for part in visit["parts"]:
        values = {"unit": gone, "part": part, "action": "replaced", "done_on": AS_OF.isoformat()}
        assert record_repair(db, values, by="ben", now=later).stored
    assert correct(
        db, "vehicle", sold, {"out_of_service": AS_OF.isoformat()}, by="ben", reason="sold", now=later
    ).stored
    assert issue(fleet, "--to", tmp_path) == 0
    book = load_workbook(tmp_path / NAMES[2])
    heads, *rows = book["visits"].values
    assert not {gone, sold} & {row[heads.index("vehicle")] for row in rows}
    assert len(rows) == len(plan.visits) - sum(plan.visits["unit"].isin([gone, sold]))
    heads, *ordered = book["orders"].values
    assert not {gone, sold} & {unit for row in ordered for unit in str(row[heads.index("for")]).split(", ")}
    for row in ordered:
        assert row[heads.index("pieces")] == len(str(row[heads.index("for")]).split(", "))
    notes = [str(cell.value) for cell in book["notes"]["A"]]
    assert f": {len(rows)} visits, " in notes[1]
    assert any(gone in note and sold in note and note.startswith("Overtaken since") for note in notes)
    events = {str(e["uid"]): e for e in Calendar.from_ical((tmp_path / NAMES[0]).read_text()).walk("VEVENT")}
    for row in plan.visits[plan.visits["unit"].isin([gone, sold])].to_dict("records"):
        event = events[row["uid"]]
        assert (event["status"], int(event["sequence"])) == ("CANCELLED", row["sequence"] + 1)
