"""Who is let in: keys, cookies, hosts, origins; each way in that was tried, and what it gets."""

import pytest

from alignment.phone.guard import COOKIE, HEADERS, Guard, Role

HOST = "127.0.0.1:8000"


@pytest.fixture
def guard():
    return Guard(hosts=frozenset({HOST, "localhost:8000"}))


def test_keys_and_cookies_are_different_and_long(guard):
    known = {guard.writer, guard.reader, *(guard.cookie_for(role) for role in Role)}
    assert len(known) == 4
    assert all(len(key) >= 32 for key in known)
    assert known.isdisjoint({Guard(hosts=guard.hosts).writer})


@pytest.mark.parametrize("role", Role)
def test_a_key_opens_what_it_is_for(guard, role):
    key = guard.writer if role is Role.writer else guard.reader
    assert guard.role_of_key(key) is role
    assert guard.role_of_cookie(guard.cookie_for(role)) is role
    # neither serves as the other
    assert guard.role_of_cookie(key) is None
    assert guard.role_of_key(guard.cookie_for(role)) is None


@pytest.mark.parametrize("wrong", ["", "x", "\x00", "ключ", "a" * 10_000])
def test_anything_else_opens_nothing(guard, wrong):
    assert guard.role_of_key(wrong) is None
    assert guard.role_of_cookie(wrong) is None


def test_nearly_right_is_wrong(guard):
    assert guard.role_of_key(guard.writer[:-1]) is None
    assert guard.role_of_key(guard.writer + "=") is None
    assert guard.role_of_key(guard.writer.swapcase()) is None


@pytest.mark.parametrize(
    ("hosts", "good"),
    [
        ([HOST], True),
        (["LOCALHOST:8000"], True),
        ([], False),
        (["evil.example:8000"], False),
        (["127.0.0.1:8001"], False),
        (["127.0.0.1"], False),
        ([HOST, "evil.example"], False),
        ([HOST + ".evil.example"], False),
    ],
)
def test_hosts(guard, hosts, good):
    assert guard.is_host(hosts) is good


@pytest.mark.parametrize(
    ("origins", "good"),
    [
        (["http://" + HOST], True),
        ([], False),
        (["null"], False),
        (["https://" + HOST], False),
        (["http://evil.example"], False),
        (["http://127.0.0.1:9000"], False),
        (["http://" + HOST, "http://evil.example"], False),
    ],
)
def test_origins(guard, origins, good):
    assert guard.is_origin(origins) is good


def test_nothing_from_elsewhere_may_run():
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert not any(word in policy[name] for name in policy for word in ("unsafe", "http:", "https:", "*"))
    assert COOKIE.isascii()
