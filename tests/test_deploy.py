"""Examples for a server: their commands are ours, their names fit together, and the programs that read them take them."""

from __future__ import annotations

import argparse
import re
import shlex
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from dashboard.cli.parser import build_parser
from dashboard.files import sign_in_settings as settings
from ingest.bounds import LARGEST_FILE

DEPLOY = Path(__file__).resolve().parents[1] / "deploy"
PROGRAM = "/opt/cranktrend/bin/cranktrend"


def read(name: str) -> str:
    return (DEPLOY / name).read_text(encoding="utf-8")


def commands(name: str) -> list[argparse.Namespace]:
    """Our commands in an example, understood; one that the parser does not take ends the test."""
    found = []
    for line in read(name).splitlines():
        begun, _, told = line.partition("=") if line.startswith("ExecStart=") else line.partition("   ")
        words = shlex.split(told) if begun in ("ExecStart", "#") else []
        if words[:2] == ["/bin/sh", "-c"]:
            words = shlex.split(words[2].removeprefix("exec "))
        if words and words[0] in (PROGRAM, "cranktrend"):
            found.append(build_parser().parse_args(words[1:]))
    return found


@pytest.mark.parametrize("path", sorted(DEPLOY.glob("*.service")), ids=lambda path: path.name)
def test_units_start_our_commands_as_their_own_user(path: Path) -> None:
    (options,) = commands(path.name)
    assert options.db == "/var/lib/cranktrend/fleet.db"
    text = read(path.name)
    for line in ("User=cranktrend", "UMask=0077", "NoNewPrivileges=yes", "ProtectSystem=strict"):
        assert line in text.splitlines(), line
    if path.stem != "cranktrend":
        assert (DEPLOY / f"{path.stem}.timer").is_file(), "a timer begins it"


def test_proxies_and_screens_name_the_same_header_and_hosts() -> None:
    (screens,) = commands("cranktrend.service")
    (beside,) = commands("Caddyfile")
    assert screens.account_header == beside.account_header == "X-Account"
    assert screens.host_names == beside.host_names == re.findall(r"^(\S+) \{$", read("Caddyfile"), re.M)
    assert screens.host == "127.0.0.1", "nobody comes past the proxy"
    for name in ("Caddyfile", "nginx.conf"):
        assert f"127.0.0.1:{screens.port}" in read(name)
    assert re.findall(r"header_up (-?X-Account)", read("Caddyfile")) == ["X-Account", "-X-Account"], "set or taken away"


def test_nginx_and_the_sign_in_fit_together() -> None:
    (screens,) = commands("nginx.conf")
    assert Path(screens.sign_in).name == "sign-in.toml"
    assert screens.account_header is None
    table = tomllib.loads(read("sign-in.toml"))
    assert set(table) <= set(settings.KEYS)
    assert table["address"].removeprefix("https://") in re.findall(r"server_name (\S+);", read("nginx.conf"))
    (largest,) = re.findall(r"client_max_body_size (\d+)m;", read("nginx.conf"))
    assert int(largest) * 1_000_000 >= LARGEST_FILE


def test_programs_take_the_examples(tmp_path: Path) -> None:
    """Caddy and systemd read them, where they are installed; a command that is not there yet is no fault."""
    tried = 0
    if caddy := shutil.which("caddy"):
        words = [caddy, "validate", "--adapter", "caddyfile", "--config", str(DEPLOY / "Caddyfile")]
        done = subprocess.run(words, capture_output=True, text=True, env={"HOME": str(tmp_path)}, check=False)
        assert done.returncode == 0, done.stderr
        tried += 1
    if systemd := shutil.which("systemd-analyze"):
        units = [str(path) for path in (*DEPLOY.glob("*.service"), *DEPLOY.glob("*.timer"))]
        done = subprocess.run([systemd, "verify", "--man=no", *units], capture_output=True, text=True, check=False)
        ours = [line for line in done.stderr.splitlines() if "cranktrend" in line]
        assert all(f"{PROGRAM} is not executable" in line for line in ours), ours
        tried += 1
    if not tried:
        pytest.skip("neither Caddy nor systemd is installed")
