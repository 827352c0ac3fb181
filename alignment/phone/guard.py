"""
Who may see the page, and who may write: keys, cookies, and where a request comes from.

Whoever has the address has the key. The local network is not encrypted, and a page on it is no secure context: what is
kept out is chance visitors, other pages in the same browser, and names that are made to point here.
"""

from __future__ import annotations

import enum
import hmac
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

__all__ = ["COOKIE", "HEADERS", "Guard", "Role"]

COOKIE = "stringtrue"
HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # not "no-referrer": with it a form would be sent from the origin "null"
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""On every answer: nothing from elsewhere runs, the browser keeps nothing, no other page may frame this one."""


class Role(enum.StrEnum):
    """What a key opens."""

    writer = "writer"
    """Read, and write the log."""
    reader = "reader"
    """Only look."""


def _key() -> str:
    return secrets.token_urlsafe(24)


@dataclass(frozen=True, kw_only=True)
class Guard:
    """
    Keys of one run of the server, and the hosts under which it answers.

    Attributes
    ----------
    hosts : frozenset of str
        Host and port as a browser sends them, lower case.
    writer, reader : str
        Keys in the address.
    """

    hosts: frozenset[str]
    writer: str = field(default_factory=_key)
    reader: str = field(default_factory=_key)
    _cookies: Mapping[Role, str] = field(default_factory=lambda: {role: _key() for role in Role}, repr=False)

    def role_of_key(self, key: str) -> Role | None:
        """What a key in the address opens; in the same time whatever it is."""
        return _match(key, {Role.writer: self.writer, Role.reader: self.reader})

    def role_of_cookie(self, cookie: str) -> Role | None:
        """What a cookie opens; in the same time whatever it is."""
        return _match(cookie, self._cookies)

    def cookie_for(self, role: Role) -> str:
        """The cookie that a visitor with this key gets; of this run alone, and not the key."""
        return self._cookies[role]

    def is_host(self, hosts: Iterable[str]) -> bool:
        """Whether a request was sent to this server by a name of its own: one host, and a known one."""
        found = [host.lower() for host in hosts]
        return len(found) == 1 and found[0] in self.hosts

    def is_origin(self, origins: Iterable[str]) -> bool:
        """Whether a request that writes comes from a page of this server: one origin, and its own."""
        found = [origin.lower() for origin in origins]
        return len(found) == 1 and found[0] in {f"http://{host}" for host in self.hosts}


def _match(given: str, known: Mapping[Role, str]) -> Role | None:
    # every key is compared, so that the time tells nothing
    found = [role for role, key in known.items() if hmac.compare_digest(given.encode(), key.encode())]
    return found[0] if found else None
