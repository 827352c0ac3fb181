"""Runs the server until Ctrl-C, and says where it is."""

from __future__ import annotations

import contextlib
import io
import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Final

from alignment.errors import StringtrueError
from alignment.phone.guard import Guard
from alignment.phone.job import open_job
from alignment.phone.server import make_app
from alignment.show.words.phone import address_lines

__all__ = ["serve"]

HERE: Final = "127.0.0.1"
BACKLOG: Final = 2048
USUAL: Final = 8471
"""Port that is tried first."""


def serve(layout: Path, log: Path, *, share: bool, port: int, say: Callable[[str], None]) -> None:
    """
    Serve the page of one log until the program is interrupted.

    Parameters
    ----------
    layout, log : path
        The machine and its job log.
    share : bool
        Whether the local network may reach it, and not this computer alone.
    port : int
        0 for the usual one, or the next that is free.
    say : callable
        Takes what to print.

    Raises
    ------
    StringtrueError
        A file that cannot be used, or a port that is taken.
    """
    import uvicorn

    job = open_job(layout, log)
    # the same place each time, where it is free: what a phone kept for it is found there again
    listening = _listen("0.0.0.0" if share else HERE, port or USUAL, tries=1 if port else 20)  # noqa: S104  # asked for
    port = listening.getsockname()[1]
    reached = _own_address() if share else HERE
    names = {HERE, "localhost", reached}
    guard = Guard(hosts=frozenset(f"{name}:{port}" for name in names))
    address, looking = (f"http://{reached}:{port}/?key={key}" for key in (guard.writer, guard.reader))
    # Ctrl-C ends it, whenever it is pressed
    with listening, contextlib.suppress(KeyboardInterrupt):
        say("\n".join([*address_lines(address, looking, shared=share), "", _drawn(address)]) + "\n")
        # no access log: it would hold the key
        config = uvicorn.Config(
            make_app(job, guard),
            log_level="warning",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=2,
            lifespan="off",
        )
        uvicorn.Server(config).run(sockets=[listening])


def _listen(address: str, port: int, *, tries: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name != "nt":  # there it would let two programs have one port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    why: str | None = ""
    for k in range(tries):
        try:
            listening.bind((address, port + k))
        except OSError as error:
            why = error.strerror
        else:
            # whoever comes as soon as the address is told waits until the server is up
            listening.listen(BACKLOG)
            return listening
    listening.close()
    raise StringtrueError(f"--port: {port} cannot be used: {why}. Leave it out for a free one.")


def _own_address() -> str:
    """Address of this computer on the local network, as its routes tell; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737), which nobody has
            return str(asked.getsockname()[0])
        except OSError:
            return HERE


def _drawn(address: str) -> str:
    """The address as a QR code in letters."""
    import segno

    out = io.StringIO()
    segno.make(address, error="m").terminal(out, compact=True)
    return out.getvalue()
