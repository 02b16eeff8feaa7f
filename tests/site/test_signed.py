"""
Cookies of the office and tokens of the order form: each part, each bound, each attribute.

Signatures are made again by OpenSSL (HMAC, RFC 2104; base64url without padding, RFC 4648 part 5).
"""

from __future__ import annotations

import base64
import datetime
import subprocess
from http.cookies import SimpleCookie
from types import ModuleType
from unittest.mock import Mock

import pytest

from api.site import form_token, sessions
from api.site.form_token import LATEST, SOONEST, is_human, is_ours, new_token
from api.site.sessions import LASTS, Session, demo_session, ended_cookie, new_cookie, session_of

SECRET, ANOTHER = "a secret of this server's", "a secret of another server's"
AT = datetime.datetime(2026, 11, 29, 9, 30, 0, tzinfo=datetime.UTC)
UNTIL = f"{int((AT + LASTS).timestamp()):08x}"
MICROSECOND = datetime.timedelta(microseconds=1)
KEY = "0123456789abcdef"


def signed_by_openssl(secret: str, told: str, *, most_bytes: int = 32) -> str:
    """An HMAC with SHA-256, in base64url without padding."""
    command = ["openssl", "dgst", "-sha256", "-hmac", secret, "-binary"]
    made = subprocess.run(command, input=told.encode(), capture_output=True, check=True).stdout
    return base64.urlsafe_b64encode(made[:most_bytes]).rstrip(b"=").decode()


def cookie(at: datetime.datetime = AT, *, is_secure: bool = True) -> str:
    """The value of a cookie that begins a session."""
    return SimpleCookie(new_cookie(SECRET, KEY, at, is_secure=is_secure))["office"].value


def session(value: str, at: datetime.datetime = AT, secret: str = SECRET) -> Session | None:
    """Whose session a value is."""
    return session_of(f"theme=dark; office={value}", secret, at)


def test_a_cookie_is_signed_and_names_its_key_and_its_end() -> None:
    key, until, nonce, signed = cookie().split(".")

    assert (key, int(until, 16)) == (KEY, int((AT + datetime.timedelta(hours=12)).timestamp()))
    assert len(nonce) == 32
    assert signed == signed_by_openssl(SECRET, f"office {key}.{until}.{nonce}")


def test_a_session_ends_when_its_cookie_says() -> None:
    value = cookie()
    end = AT + LASTS

    assert session(value) == session(value, end - MICROSECOND) is not None
    assert session(value, end) is None
    assert session(value, end + LASTS) is None


def test_what_forms_carry_is_of_one_session_and_is_not_the_signature() -> None:
    first, second = cookie(), cookie()
    told, _, signed = first.rpartition(".")

    found = session(first)

    assert found == Session(KEY, signed_by_openssl(SECRET, f"office form {told}"), may_write=False)
    assert not found.is_demo
    assert not Session("demos", "").is_demo
    assert len({found.csrf, getattr(session(second), "csrf", ""), signed}) == 3


@pytest.mark.parametrize("place", range(4))
def test_a_cookie_that_was_changed_is_nobodys(place: int) -> None:
    parts = cookie().split(".")
    first = parts[place][0]
    parts[place] = ("1" if first == "0" else "0") + parts[place][1:]

    assert session(".".join(parts)) is None


NONCE = "0" * 32


@pytest.mark.parametrize(
    ("told", "is_somebodys"),
    [
        (f"{KEY}.{UNTIL}.{NONCE}", True),
        (f"{'k' * 64}.{UNTIL}.{NONCE}", True),
        (f"{'k' * 65}.{UNTIL}.{NONCE}", False),
        (f".{UNTIL}.{NONCE}", False),
        (f"k-1.{UNTIL}.{NONCE}", False),
        (f"{KEY}.{UNTIL[:7]}.{NONCE}", False),
        (f"{KEY}.{'0' * 4}{UNTIL}.{NONCE}", True),
        (f"{KEY}.{'0' * 5}{UNTIL}.{NONCE}", False),
        (f"{KEY}.{UNTIL.upper()}.{NONCE}", False),
        (f"{KEY}.{UNTIL}.{NONCE[1:]}", False),
        (f"{KEY}.{UNTIL}.{NONCE}0", False),
        (f"{KEY}.{UNTIL}.{NONCE}.more", False),
    ],
)
def test_a_cookie_has_its_form_whoever_signed_it(told: str, is_somebodys: bool) -> None:
    value = f"{told}.{signed_by_openssl(SECRET, f'office {told}')}"

    assert (session(value) is not None) is is_somebodys
    assert session(f"{value}x") is None
    assert session(value[:-1]) is None


@pytest.mark.parametrize(
    "sent", ["", "theme=dark", "office=", "office=...", "{good}; a/b=c", "not a cookie (at all)"]
)
def test_what_is_no_cookie_of_ours_is_nobodys(sent: str) -> None:
    """A header that cannot be read is nobody's, whatever else stands in it."""
    good = new_cookie(SECRET, KEY, AT, is_secure=True).partition(";")[0]

    assert session_of(good, SECRET, AT) is not None
    assert session_of(sent.format(good=good), SECRET, AT) is None


def test_a_cookie_of_another_server_is_nobodys() -> None:
    assert session(cookie(), secret=ANOTHER) is None


def test_a_cookie_is_kept_from_scripts_from_other_sites_and_from_plain_http() -> None:
    """RFC 6265, 4.1.2, and SameSite of its successor's draft."""
    begun, plain = new_cookie(SECRET, KEY, AT, is_secure=True), new_cookie(SECRET, KEY, AT, is_secure=False)
    attributes = ["Path=/office", "HttpOnly", "SameSite=Strict"]

    assert begun.split("; ")[1:] == [*attributes, "Max-Age=43200", "Secure"]
    assert plain.split("; ")[1:] == [*attributes, "Max-Age=43200"]
    assert ended_cookie(is_secure=True).split("; ") == ["office=", *attributes, "Max-Age=0", "Secure"]
    assert ended_cookie(is_secure=False).split("; ") == ["office=", *attributes, "Max-Age=0"]


def test_a_demo_needs_no_key_but_its_forms_carry_their_token_too() -> None:
    found = demo_session(SECRET)

    assert found.is_demo
    assert found.may_write
    assert found.csrf == signed_by_openssl(SECRET, "office demo form")
    assert demo_session(ANOTHER).csrf != found.csrf


def test_a_token_is_signed_and_says_when_its_form_was_shown() -> None:
    token = new_token(SECRET, AT)
    of, nonce, seconds, signed = token[:2], token[3:27], token[28:36], token[37:]

    assert (of, int(seconds, 16), len(nonce)) == ("of", int(AT.timestamp()), 24)
    assert signed == signed_by_openssl(SECRET, f"order form {nonce}_{seconds}", most_bytes=16)
    assert new_token(SECRET, AT) != token
    assert is_ours(token, SECRET)


def test_a_form_is_a_persons_from_three_seconds_to_two_hours() -> None:
    token = new_token(SECRET, AT)
    soonest, latest = datetime.timedelta(seconds=3), datetime.timedelta(hours=2)
    ages = [datetime.timedelta(), soonest - MICROSECOND, soonest, latest, latest + MICROSECOND]

    assert [is_human(token, SECRET, AT + age) for age in ages] == [False, False, True, True, False]
    assert (soonest, latest) == (SOONEST, LATEST)
    assert is_ours(token, SECRET)


@pytest.mark.parametrize("place", [0, 3, 28, 37])
def test_a_token_that_was_changed_is_none_of_ours(place: int) -> None:
    token = new_token(SECRET, AT)
    other = "1" if token[place] == "0" else "0"
    changed = token[:place] + other + token[place + 1 :]

    assert not is_ours(changed, SECRET)
    assert not is_human(changed, SECRET, AT + LATEST)


@pytest.mark.parametrize("changed", ["", "of_", "{}A", "of_{}", " {}", "{}\n"])
def test_what_is_no_token_is_none_of_ours(changed: str) -> None:
    token = changed.format(new_token(SECRET, AT))

    assert not is_ours(token, SECRET)
    assert not is_human(token, SECRET, AT + SOONEST)


def test_a_token_of_another_server_is_none_of_ours() -> None:
    assert not is_ours(new_token(ANOTHER, AT), SECRET)


@pytest.mark.parametrize("module", [sessions, form_token])
def test_signatures_are_compared_in_constant_time(module: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    compare = Mock(return_value=False)
    monkeypatch.setattr(module.hmac, "compare_digest", compare)

    assert session(cookie()) is None if module is sessions else not is_ours(new_token(SECRET, AT), SECRET)
    compare.assert_called_once()
