"""
Many phones at once, and how long an answer to a tap takes.

Run as ``python -m tests.tools.crowd --clients 500 --seconds 10`` for a crowd on loopback: every reading that
was said to
be saved is looked for in the log. ``python -m tests.tools.crowd --taps 200`` times an answer and the page after it.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import re
import resource
import secrets
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlencode

from tests.phone.conftest import LAYOUT

ROOT = Path(__file__).parent.parent.parent


async def ask(port: int, head: str, body: bytes = b"") -> tuple[int, str, bytes]:
    """One request on a connection of its own: status, headers and body of the answer."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        lines = [head, f"Host: 127.0.0.1:{port}", "Connection: close", f"Content-Length: {len(body)}"]
        writer.write("\r\n".join(lines).encode() + b"\r\n\r\n" + body)
        await writer.drain()
        whole = await reader.read()
    finally:
        writer.close()
    top, _, content = whole.partition(b"\r\n\r\n")
    headers = top.decode("latin-1")
    return int(headers.split()[1]), headers, content


def answer(port: int, cookie: str, own: str) -> tuple[str, bytes]:
    """A reading as the page sends it."""
    body = urlencode(
        {"kind": "read", "section": "operator-1", "point": "entry", "base": "18", "part": "3/8", "id": own}
    )
    head = (
        f"POST /answer HTTP/1.1\r\nCookie: {cookie}\r\nOrigin: http://127.0.0.1:{port}\r\nAccept: application/json\r\n"
        "Content-Type: application/x-www-form-urlencoded"
    )
    return head, body.encode()


async def client(port: int, cookie: str, until: float, saved: list[str], wrong: list[str]) -> None:
    """Answer as fast as the server takes it."""
    while time.monotonic() < until:
        own = secrets.token_hex(8)
        try:
            status, _, content = await ask(port, *answer(port, cookie, own))
        except OSError as error:
            wrong.append(str(error))
            continue
        if status == 200 and json.loads(content)["saved"] == "saved":
            saved.append(own)
        else:
            wrong.append(f"{status} {content[:80]!r}")


async def crowd(port: int, cookie: str, clients: int, seconds: float) -> tuple[list[str], list[str]]:
    """Many clients for a time."""
    saved: list[str] = []
    wrong: list[str] = []
    until = time.monotonic() + seconds
    await asyncio.gather(*(client(port, cookie, until, saved, wrong) for _ in range(clients)))
    return saved, wrong


async def taps(port: int, cookie: str, count: int) -> list[float]:
    """Seconds from an answer to the page after it, one after the other."""
    taken = []
    for _ in range(count):
        begun = time.perf_counter()
        await ask(port, *answer(port, cookie, secrets.token_hex(8)))
        await ask(port, f"GET / HTTP/1.1\r\nCookie: {cookie}")
        taken.append(time.perf_counter() - begun)
    return taken


def memory(process: int) -> float:
    """Memory of a process now. [MB]"""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--taps", type=int, default=0)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "machine.toml").write_text(LAYOUT)
        served = subprocess.Popen(
            [sys.executable, "-m", "alignment", "phone", "machine.toml", "job.csv"],
            cwd=folder,
            stdout=subprocess.PIPE,
            text=True,
            env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
        )
        assert served.stdout is not None
        port, key = re.search(r":(\d+)/\?key=(\S+)", served.stdout.readline()).groups()  # type: ignore[union-attr]
        port = int(port)
        time.sleep(2)
        try:
            _, headers, _ = asyncio.run(ask(port, f"GET /?key={key} HTTP/1.1"))
            cookie = re.search(r"(?i)set-cookie: ([^;]+)", headers)[1]  # type: ignore[index]
            if told.taps:
                _, _, page = asyncio.run(ask(port, f"GET / HTTP/1.1\r\nCookie: {cookie}"))
                taken = asyncio.run(taps(port, cookie, told.taps))
                print(f"page {len(page)} bytes; {told.taps} taps, answer and page after it: median "
                      f"{1000 * statistics.median(taken):.0f} ms, worst {1000 * max(taken):.0f} ms")  # fmt: skip
            if told.clients:
                before = memory(served.pid)
                saved, wrong = asyncio.run(crowd(port, cookie, told.clients, told.seconds))
                after = memory(served.pid)
                rows = [line.rsplit(",", 1)[-1] for line in Path(folder, "job.csv").read_text().splitlines()[1:]]
                lost = set(saved) - set(rows)
                print(f"{told.clients} clients, {told.seconds:g} s: {len(saved)} saved, {len(lost)} lost, "
                      f"{len(rows) - len(set(rows))} twice, {len(wrong)} errors {wrong[:1]}; memory "
                      f"{before:.0f} to {after:.0f} MB")  # fmt: skip
        finally:
            served.kill()
            served.wait()


if __name__ == "__main__":
    main()
