"""Accounts by command, and how the screens may be opened: what is refused, in one sentence."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest
from samples_screens import empty_database

from dashboard.cli.commands import screens
from dashboard.cli.main import main
from dashboard.cli.parser import build_parser
from dashboard.files.sign_in_settings import sign_in_settings
from dashboard.screens.visitor import SIGN_IN_VARIABLE
from ingest import store
from ingest.accounts import code_secret, first_code_secret, read_accounts
from ingest.fields import LONGEST_NAME
from ingest.logbook import read_logbook
from ingest.records import save_setting


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(SIGN_IN_VARIABLE, "")
    return empty_database(tmp_path / "fleet.db")


def test_the_first_administrator_is_made_by_command(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = ["--db", str(path), "accounts"]
    assert main([*before, "list"]) == 0
    assert "makes the first administrator" in capsys.readouterr().err
    assert main([*before, "give", "ada", "administrator", "technician"]) == 0
    assert main([*before, "give", "bo", "planner"]) == 0
    assert main([*before, "give", "bo", "planner"]) == 0
    assert main([*before, "list"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out == [
        "ada: technician, administrator", "bo: planner", "bo: planner (as before)",
        "ada: technician, administrator", "bo: planner",
    ]  # fmt: skip
    assert main([*before, "take", "ada", "administrator"]) == 2
    assert "ada is the only administrator; make another one first" in capsys.readouterr().err
    assert main([*before, "give", "bo", "administrator"]) == 0
    assert main([*before, "take", "ada", "administrator", "technician"]) == 0
    assert "ada: no role" in capsys.readouterr().out
    assert read_accounts(store.open_database(path)) == {"bo": ("planner", "administrator")}


def test_what_is_done_to_accounts_stands_in_the_logbook(path: Path) -> None:
    main(["--db", str(path), "accounts", "give", "ada", "administrator"])
    main(["--db", str(path), "accounts", "new-codes", "--reason", "a phone was stolen"])
    db = store.open_database(path)
    done = read_logbook(db)
    assert [tuple(row) for row in done[["by", "record", "column", "why"]].to_numpy()] == [
        ("command line", "windscreen codes: all", "made", "a phone was stolen"),
        ("command line", "account ada", "roles", "roles given"),
    ]
    assert not done["new"].str.contains(code_secret(db)).any(), "the secret stands nowhere else"
    assert set(done["change"]) == {0}


@pytest.mark.parametrize("account", ["", "   ", "a" * (LONGEST_NAME + 1), "two\nlines", "a\x1b[31m"])
def test_what_is_no_name_of_an_account_is_refused(path: Path, account: str) -> None:
    assert main(["--db", str(path), "accounts", "give", account, "planner"]) == 2
    assert read_accounts(store.open_database(path)) == {}


def test_an_unknown_role_is_refused(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--db", str(path), "accounts", "give", "ada", "king"])
    assert "technician" in capsys.readouterr().err


def test_the_first_secret_stays_until_a_new_one_is_made(path: Path) -> None:
    db = store.open_database(path)
    first = first_code_secret(db, by="x")
    assert len(first) == 64
    assert first_code_secret(db, by="x") == first
    main(["--db", str(path), "accounts", "new-codes"])
    assert code_secret(db) != first


# --- how the screens are opened --------------------------------------------------------------------------------------


def options_of(path: Path, *words: str) -> argparse.Namespace:
    return build_parser().parse_args(["--db", str(path), "dashboard", *words])


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "workshop.example"])
def test_a_network_without_sign_in_is_refused_unless_it_is_meant(
    path: Path, host: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--db", str(path), "dashboard", "--host", host]) == 2
    said = capsys.readouterr().err
    assert "--open-to-everyone-on-this-network" in said
    assert "sign-in is off" in said
    screens.check_open(options_of(path, "--host", host, "--open-to-everyone-on-this-network"))
    with pytest.raises(ValueError, match="leave --host at"):
        screens.check_open(options_of(path, "--host", host, "--account-header", "X-Account"))


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.0.0.9"])
def test_this_machine_needs_no_sign_in(path: Path, host: str) -> None:
    screens.check_open(options_of(path, "--host", host))


def test_the_names_that_are_answered_are_those_configured(path: Path) -> None:
    db = store.open_database(path)
    save_setting(db, "screens_address", "http://workshop:8501", by="x")
    assert screens.opened(options_of(path), path, None).names == ("workshop",)
    more = options_of(path, "--host-name", "a.example", "--host-name", "b.example", "--account-header", "X-A")
    door = screens.opened(more, path, None)
    assert (door.names, door.account_header) == (("a.example", "b.example", "workshop"), "X-A")
    assert code_secret(db), "codes for windscreens can be printed from the first day"


# --- the provider's settings -----------------------------------------------------------------------------------------

GOOD = 'provider = "https://id.example"\nclient_id = "c"\nclient_secret_file = "s"\naddress = "https://w.example"\n'


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    pytest.importorskip("authlib")
    pytest.importorskip("httpx")
    secret = tmp_path / "s"
    secret.write_text("hush-hush\n")
    secret.chmod(0o600)
    return tmp_path / "sign-in.toml"


def test_settings_of_a_provider(settings: Path) -> None:
    settings.write_text(GOOD)
    read = sign_in_settings(settings)
    auth = read.secrets["auth"]
    assert (read.claim, read.host_name) == ("email", "w.example")
    assert auth["redirect_uri"] == "https://w.example/oauth2callback"
    assert auth["server_metadata_url"] == "https://id.example/.well-known/openid-configuration"
    assert auth["client_secret"] == "hush-hush"
    assert "hush" not in repr(read)
    assert auth["cookie_secret"] != sign_in_settings(settings).secrets["auth"]["cookie_secret"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD + 'colour = "red"\n', "'colour' is no setting for signing in; allowed are"),
        (GOOD.replace("https://id.example", "id.example"), "provider is 'id.example'; allowed is an address"),
        (GOOD.replace('client_id = "c"\n', ""), "client_id is ''; allowed is a text"),
        (GOOD.replace("https://w.example", "https://w.example/x"), "allowed is an address such as"),
        (GOOD.replace('"s"', '"t"'), "client_secret_file 't' cannot be read"),
        ("provider = ", "settings for signing in cannot be read"),
    ],
)
def test_wrong_settings_are_refused_in_a_sentence(settings: Path, text: str, said: str) -> None:
    settings.write_text(text)
    with pytest.raises(ValueError, match=said):
        sign_in_settings(settings)


def test_a_secret_that_others_can_read_is_refused(settings: Path) -> None:
    settings.write_text(GOOD)
    (settings.parent / "s").chmod(0o644)
    with pytest.raises(ValueError, match="can be read by others"):
        sign_in_settings(settings)


def test_without_the_extra_one_sentence_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.files.sign_in_settings.find_spec", lambda _name: None)
    with pytest.raises(ValueError, match=r"pip install 'cranktrend\[signin\]'"):
        sign_in_settings(tmp_path / "any.toml")
