"""The address that codes on windscreens hold: what is kept, what is refused, what a phone can reach."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from dashboard.desk.addresses import bay_address, checked, only_here


@pytest.mark.parametrize(
    "text", ["http://workshop:8501", "https://10.1.2.3", "  http://workshop:8501/ ", "http://[fd00::1]:8501"]
)
def test_a_server_s_address_is_kept(text: str) -> None:
    """Definition: scheme, host and port (RFC 3986), without what a browser would leave out."""
    assert checked(text) == text.strip().rstrip("/")


@pytest.mark.parametrize(
    "text",
    ["workshop:8501", "ftp://workshop", "http://", "http://a/b", "http://a?x=1", "http://a#b", "http://u:p@a", "http://:p@a", "http://a\u200b", "http://a:99999",
     "javascript:alert(1)", "http://a b", "http://a:0", "http://" + "a" * 300],
)  # fmt: skip
def test_anything_else_is_refused_in_a_sentence(text: str) -> None:
    """Bad input: what it is and what is allowed."""
    with pytest.raises(ValueError, match="allowed is"):
        checked(text)


def test_nothing_is_allowed() -> None:
    """Definition: empty means that the browser's own address is taken."""
    assert checked("  ") == ""


@examples(25)
@given(unit=st.text(min_size=1, max_size=64))
def test_any_number_comes_back_out_of_its_address(unit: str) -> None:
    """Property: whatever a vehicle is called, its page is asked for by exactly that (RFC 3986, percent-encoding)."""
    if unit != unit.encode("utf-8", "ignore").decode():
        return
    parts = urlsplit(bay_address("http://workshop:8501", unit))
    assert parts.path == "/bay"
    assert parse_qs(parts.query, keep_blank_values=True)["unit"] == [unit]
    assert parts.fragment == ""


@pytest.mark.parametrize(
    ("address", "here"),
    [("http://localhost:8501", True), ("http://127.0.0.1:1", True), ("http://[::1]:8501", True), ("http://10.0.0.4", False),
     ("http://workshop", False)],
)  # fmt: skip
def test_a_phone_cannot_reach_this_computer_s_own_address(address: str, here: bool) -> None:
    """Loopback addresses (RFC 1122, RFC 4291) and localhost (RFC 6761) never leave the computer."""
    assert only_here(address) is here
