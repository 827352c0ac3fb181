"""Where the phone's page listens, and which address is told."""

from __future__ import annotations

import socket

import pytest
import uvicorn

from alignment.errors import StringtrueError
from alignment.phone import serve as serving
from tests.phone.conftest import LAYOUT

OWN = "192.0.2.7"
"""An address for documentation (RFC 5737)."""


@pytest.fixture
def start(tmp_path, monkeypatch):
    """Begin to serve and stop at once: what was said, and the socket's address and options."""
    (tmp_path / "machine.toml").write_text(LAYOUT, encoding="utf-8")
    seen: list[tuple[str, int, int]] = []

    def run(_, sockets):
        reuse = sockets[0].getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR)
        seen.append((*sockets[0].getsockname(), reuse))

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(serving, "_own_address", lambda: OWN)

    def go(*, share: bool = False, port: int = 0):
        said: list[str] = []
        serving.serve(tmp_path / "machine.toml", tmp_path / "job.csv", share=share, port=port, say=said.append)
        return said[0], seen[-1]

    return go


def test_this_computer_alone_unless_shared(start):
    said, (address, port, reuse) = start()
    assert address == serving.HERE
    assert f"http://{serving.HERE}:{port}/?key=" in said
    assert OWN not in said
    # started anew, it has its port again at once
    assert reuse


def test_the_address_on_the_network_is_told_where_it_is_shared(start):
    said, (address, port, _) = start(share=True)
    assert address == "0.0.0.0"  # noqa: S104
    assert f"http://{OWN}:{port}/?key=" in said


def test_the_next_free_port_but_where_one_is_asked_for(start, monkeypatch):
    with socket.socket() as taken:
        taken.bind((serving.HERE, 0))
        taken.listen()
        port = taken.getsockname()[1]
        monkeypatch.setattr(serving, "USUAL", port)
        _, (_, other, _) = start()
        assert other > port
        with pytest.raises(StringtrueError, match=f"--port: {port} cannot be used: "):
            start(port=port)
