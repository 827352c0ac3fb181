"""
Job logs, the next act and what a phone sends, spoiled at random: ``python -m tests.tools.fuzz_jobs log 100000``.

Good ones are changed in a few places, by a seed, and run in this process. What may come of one stands in the checks:
something sane or one error, in time, and nothing lost. It ends at the first find and prints the input.
test_fuzz_jobs.py sends some hundred through at each test run.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import io
import json
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import quote_from_bytes

from PIL import Image

from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.log_text import added, rows_of, without_last
from alignment.machine.survey import Reading, Survey
from alignment.machine.survey_text import parse_survey
from alignment.phone.guard import COOKIE, HEADERS, Guard, Role
from alignment.phone.job import Job
from alignment.phone.server import make_app
from alignment.show import terminal
from alignment.show.json import work as work_json
from alignment.show.page import Degree
from alignment.show.words.work import next_page
from alignment.train.work.next_act import Act, next_act
from tests.phone.conftest import HOST, LAYOUT
from tests.tools.reader_oracles import LONGEST_WAIT, ran, small_layout
from tests.tools.spoiling import CELLS, picker, spoil_table

LOGS = (
    "# taken: 2026-10-02 07:40\n# mark: 1/16\nsection,point,reading,kind,when,note\n"
    "op-1,entry,18 3/8,,2026-10-02 07:40,\nop-1,exit,18 9/16,,07:41,rust\nop-1,joint,1/64,,,\n"
    "op-1,exit,18 3/8,move,07:50,\nop-1,entry,18 3/8+,,07:52,\nop-1,exit,18 3/8,read,,\nop-1,entry,18 3/8,close,,\n",
    "section,point,reading,kind,when,note,id,photo,sha256\nop-2,1,18 3/8,,,,a1,,\nop-2,17,18 1/8,,,,a2,,\n"
    f"op-2,entry,,photo,,,a3,job-photo-001.jpg,{'0' * 64}\nop-2,entry,18 3/8,move,08:00,,a4,,\n"
    "op-2,exit,18 3/8,move,08:00,,a4,,\nop-2,1,18 3/8,,,,a5,,\nop-2,17,18 3/8,,,,a6,,\n",
    "section;point;reading;kind;when;note\r\nop-1;entry;18,5;;;\r\nop-1;exit;18,25;;;\"a; b\"\r\nop-1;exit;;move;;\r\n",
    "section,point,reading,kind\n",
    "# by: R. Quill\nsection,point,reading,u,note\nop-1,entry,18 3/8,0.012,\nop-1,entry,18 7/16,0.012,(\"x\",\"y\")\n"
    "op-1,exit,18 3/8,1/64,\ndrive-1,entry,19 7/8,,\ndrive-1,exit,19 5/8,,\ndrive-1,mid,19 3/4,,\n",
)  # fmt: skip
KINDS = ("read", "close", "move", "photo", "", "MOVE", "moved", " move", "back")
LOG_ROWS = (
    "op-1,entry,18 3/8,move,,",
    "op-1,exit,,move,,",
    "op-1,mid,18,move,,",
    "op-1,joint,1/64,move,,",
    "op-2,entry,18,close",
    "op-1,entry,18 3/8,close,99:99,",
    "op-1,exit,18 3/8,,2026-13-40,",
    "op-1,entry,,photo,,",
    "\u2028",
    "# a\u2028op-1,entry,18",
    "# section,point",
    'op-1,entry,18 3/8,,,"a\nb"',
    '"op-1",entry,18 3/8',
    "op-1,entry,18 3/8,,,a\x0cb",
    "section,point,reading",
    "op-1,0,18 3/8,,,",
    "op-1,9,25 1/2,,,",
    "op-1,entry,466 mm,,,",
    "op-1,entry,18 3/8,,,\x85",
)
ROW = {"section": "op-1", "point": "exit", "reading": "18 3/8 in"}

# names as in the logs above
PHONE_LAYOUT = LAYOUT.replace('"operator-', '"op-')
FORMS: tuple[dict[str, str], ...] = (
    {
        "kind": "read",
        "section": "op-1",
        "point": "entry",
        "base": "18",
        "part": "3/8",
        "mark": "",
        "id": "",
        "version": "",
        "page": "p",
    },
    {"kind": "read", "section": "op-1", "point": "exit", "part": "typed", "typed": "18 7/16+", "id": "", "version": ""},
    {"kind": "close", "section": "op-2", "point": "entry", "base": "18", "part": "0", "mark": "-", "id": ""},
    {"kind": "move", "section": "op-1", "stop-entry": "18 3/8", "id": "", "version": ""},
    {"kind": "move", "section": "op-2", "stop-entry": "18 3/8", "stop-exit": "18 13/32", "id": "", "anyway": "1"},
    {"kind": "back", "id": "", "version": ""},
)
SAID = (
    *CELLS,
    "op-1\nop-2,entry,18",
    "\r\n",
    "a\x85b",
    "a\u2028b",
    "<script>",
    "=1+1",
    "%s%n",
    "../x",
    "A" * 300,
    "9" * 200,
    "12-abc",
    "0-",
    "-1-x",
    "\u0663-x",
    "\U0001f600",
    "\u202e",
    "op-1,entry,18",
    "entry\x1f",
    "typed",
    "1",
    "back",
    "move",
    "stop-mid",
)


def _picture(kind: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (3, 2), "red").save(out, kind)
    return out.getvalue()


PICTURES = (_picture("JPEG"), _picture("PNG"), _picture("WEBP"))
JPEG_HEAD = bytes.fromhex("ffd8ffe000104a46494600010100000100010000ffdb004300") + b"\x01" * 64
PNG_HEAD = bytes.fromhex("89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489")


def spoiled_log(rng: Random) -> str:
    """A job log with a few of its cells and rows spoiled."""
    text = rng.choice(LOGS)
    if rng.random() < 0.8:
        text = spoil_table(text, picker(rng.randbytes(24)))
    for _ in range(rng.choice((0, 0, 1, 1, 2))):
        lines = text.split("\n")
        at = rng.randrange(len(lines))
        cells = lines[at].split(",")
        if len(cells) > 3 and rng.random() < 0.5:
            cells[3] = rng.choice(KINDS)
            lines[at] = ",".join(cells)
        else:
            lines.insert(at, rng.choice(LOG_ROWS))
        text = "\n".join(lines)
    return text


Event = tuple[int, object]


def events(survey: Survey) -> list[Event]:
    """All that a log records, by row, without its row."""
    found: list[Event] = [(r.row, (r.section, r.place, r.value, r.closing, r.note)) for r in survey.readings]
    found += [(s.row, (s.upstream, s.value)) for s in survey.steps]
    found += [(m.row, (m.section, m.end, m.stop, m.when)) for m in survey.moves]
    found += [(p.row, (p.section, p.name)) for p in survey.photos]
    return sorted(found, key=lambda event: event[0])


def check_log(text: str, layout: Layout) -> Survey | None:
    """Rows are read, added at its end and taken off again, and nothing else of it changes."""
    survey = ran(lambda: parse_survey(text, layout, "job.csv", begun=True))
    longer = ran(lambda: added(text, [ROW], "job.csv"))
    shorter = ran(lambda: without_last(text, "job.csv"))
    if survey is None:
        return None
    for move in survey.moves:
        section = layout.sections[layout.index[move.section]]
        assert move.end in (0, 1), move
        assert move.pivot == section.bolts[1 - move.end], move
    told = [what for _, what in events(survey)]
    if longer is not None:
        again = ran(lambda: parse_survey(longer, layout, "job.csv", begun=True))
        assert again is not None, "a row was added, and the log cannot be read any more"
        assert again.record == survey.record
        more = [what for _, what in events(again)]
        assert more[: len(told)] == told, "a row was added, and others changed"
        assert len(more) == len(told) + 1
        back = ran(lambda: without_last(longer, "job.csv"))
        assert back is not None
        restored = ran(lambda: parse_survey(back, layout, "job.csv", begun=True))
        assert restored is not None, "the row was taken off, and the log cannot be read any more"
        assert [what for _, what in events(restored)] == told, "the row was taken off, and others changed"
    if shorter is not None and told:
        less = ran(lambda: parse_survey(shorter, layout, "job.csv", begun=True))
        # the first of two readings may be one of the other unit, which is an error where it is most of them
        other_unit = 2 * sum(near_other_unit(r, layout) for r in survey.readings) >= len(survey.readings) - 1
        assert less is not None or other_unit, "its last row was taken off, and it cannot be read any more"
        if less is None:
            return survey
        left = [what for _, what in events(less)]
        assert left == told[: len(left)], "its last row was taken off, and others changed"
        rows = len({row for row, _ in events(survey)}) - len({row for row, _ in events(less)})
        assert rows in (0, 1, 2)
    return survey


def near_other_unit(reading: Reading, layout: Layout) -> bool:
    """Whether a reading is 25.4 times its target, or as many times less, to within a fifth."""
    section = layout.sections[layout.index[reading.section]]
    target = layout.rows[section.row].target
    return target is not None and any(abs(reading.value * ratio / target - 1) < 0.25 for ratio in (25.4, 1 / 25.4))


def check_next(text: str, layout: Layout) -> bool:
    """An act that can be done on this machine, told in words that print and numbers that are some; or an error."""
    survey = ran(lambda: parse_survey(text, layout, "job.csv", begun=True))
    if survey is None:
        return False
    found = ran(lambda: next_act(layout, survey))
    assert found is not None, "a log that can be read has a next act"
    assert (found.section is None) == (found.act is Act.done)
    assert len(found.sections) == len(layout.sections)
    if found.section is not None:
        assert all(-1e-6 <= place <= found.section.length + 1e-6 for place in found.points), found.points
    assert bool(found.points) == (found.act in (Act.read, Act.close)), found.act
    assert bool(found.stops) == (found.act is Act.move), found.act
    for stop in found.stops:
        assert stop.reading > 0, stop
    json.dumps(work_json.as_json(found), allow_nan=False)
    said = terminal.render(next_page(found), Degree.full)
    assert said.strip()
    assert all(line.isprintable() for line in said.split("\n")), said
    return True


@dataclass(frozen=True, kw_only=True)
class Sent:
    """One request."""

    path: str
    body: bytes
    headers: tuple[tuple[bytes, bytes], ...]


def spoiled_request(rng: Random, number: int, cookie: str) -> Sent:
    """An answer or a photograph with a few of its fields, bytes or headers spoiled."""
    headers = {b"host": HOST.encode(), b"origin": f"http://{HOST}".encode(), b"accept": b"application/json"}
    headers[b"cookie"] = f"{COOKIE}={cookie}".encode()
    headers[b"content-type"] = b"application/x-www-form-urlencoded"
    path = "/answer"
    if rng.random() < 0.1:
        path = "/photo?id=" + rng.choice((f"f{number}", "", "%00", "%0Aop-1", "%22", "a" * 90))
        body, kind = _photo(rng)
        headers[b"content-type"] = kind
    else:
        form: dict[str, str] = dict(
            rng.choice(FORMS), id=rng.choice((f"i{number}", f"i{number}", f"i{number - 1}", ""))
        )
        form["version"] = rng.choice(("", f"{rng.randrange(12)}-abcdef"))
        for _ in range(rng.choice((0, 1, 1, 1, 2))):
            form[rng.choice([*form, "part", "typed", "anyway"])] = rng.choice(SAID)
        if rng.random() < 0.15:
            form.pop(rng.choice(list(form)))
        body = "&".join(
            f"{key}={quote_from_bytes(v.encode('utf-8', 'surrogatepass'))}" for key, v in form.items()
        ).encode()
    for _ in range(rng.choice((0, 0, 0, 1, 3))):
        at = rng.randrange(len(body) + 1)
        body = (
            body[:at]
            + rng.choice((b"", b"%", b"&", b"=", b"\x00", b"\xff", b"%ff", b";", b"+"))
            + body[at + rng.randrange(3) :]
        )
    if rng.random() < 0.05:
        headers[rng.choice(list(headers))] = rng.choice(
            (b"", b"\xff", b"null", b"text/html", b"multipart/form-data", b"x" * 3000)
        )
    return Sent(path=path, body=body, headers=tuple(headers.items()))


def _photo(rng: Random) -> tuple[bytes, bytes]:
    good = rng.random() < 0.3
    picture = (
        rng.choice(PICTURES)
        if good
        else rng.choice((JPEG_HEAD, PNG_HEAD, b"RIFF\x10\x00\x00\x00WEBPVP8 ", b"GIF89a", b"<svg/>", b""))
        + rng.randbytes(rng.randrange(90))
    )
    if rng.random() < 0.5:
        return picture, rng.choice((b"image/jpeg", b"image/png", b"application/octet-stream", b""))
    name = rng.choice((b"a.jpg", b"../../a.jpg", b'a".jpg', b"\xff.jpg", b""))
    body = (
        b'--B\r\nContent-Disposition: form-data; name="photo"; filename="'
        + name
        + b'"\r\nContent-Type: image/jpeg\r\n\r\n'
    )
    end = rng.choice((b"\r\n--B--\r\n", b"", b"\r\n--B\r\n", b"\r\n--C--"))
    return body + picture + end, rng.choice(
        (b"multipart/form-data; boundary=B", b"multipart/form-data; boundary=", b"multipart/form-data")
    )


STATUSES = {200, 303, 400, 403, 409, 413, 421, 422}


class Phone:
    """One log served in this process, its requests sent straight to the application."""

    def __init__(self, folder: Path) -> None:
        self.log = folder / "job.csv"
        self.layout = parse_layout(PHONE_LAYOUT, "machine.toml")
        self.guard = Guard(hosts=frozenset({HOST}))
        self.app = make_app(Job(self.layout, self.log), self.guard)
        self.cookie = self.guard.cookie_for(Role.writer)

    async def ask(self, method: str, sent: Sent) -> tuple[int, bytes]:
        """Status and body of an answer; what the application raises is raised."""
        path, _, query = sent.path.partition("?")
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
            "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
            "headers": list(sent.headers), "client": ("127.0.0.1", 5), "server": ("127.0.0.1", 8000), "state": {},
        }  # fmt: skip
        got: list[dict[str, Any]] = []
        parts = iter([{"type": "http.request", "body": sent.body, "more_body": False}])

        async def receive() -> dict[str, Any]:
            return next(parts, {"type": "http.disconnect"})

        async def send(message: dict[str, Any]) -> None:
            got.append(message)

        await self.app(scope, receive, send)
        names = {name.lower() for name, _ in got[0]["headers"]}
        assert {name.lower().encode() for name in HEADERS} <= names
        return int(got[0]["status"]), b"".join(message.get("body", b"") for message in got[1:])

    async def check(self, sent: Sent) -> bool:
        """Whether a request was taken; in time, and the log is as it was, or has its rows at its end."""
        before = self.log.read_bytes().decode() if self.log.exists() else None
        began = time.process_time()
        status, body = await self.ask("POST", sent)
        assert time.process_time() - began < LONGEST_WAIT
        assert status in STATUSES, status
        after = self.log.read_bytes().decode() if self.log.exists() else None
        taken = status == 303 or (status == 200 and json.loads(body)["saved"] == "saved")
        if not taken:
            assert after == before, "it was not taken, and the log changed"
            return False
        assert after is not None
        survey = parse_survey(after, self.layout, "job.csv", begun=True)
        old, new = rows_of(before or "", "job.csv"), rows_of(after, "job.csv")
        shared = min(len(old), len(new))
        same = all(one.get(key, "") == other.get(key, "") for one, other in zip(old, new, strict=False) for key in one)
        assert same, "rows that were there changed"
        assert shared >= len(old) - 2
        assert len(events(survey)) == len(new)
        assert all(self.log.with_name(photo.name).exists() for photo in survey.photos)
        return True


async def _phone(folder: Path, seed: int, count: int, first: int) -> dict[str, int]:
    phone, taken, kept = Phone(folder), 0, 0
    for number in range(first, first + count):
        rng = Random(f"{seed}-{number}")  # noqa: S311
        sent = spoiled_request(rng, number, phone.cookie)
        try:
            one = await phone.check(sent)
            if number % 25 == 0:
                status, body = await phone.ask(
                    "GET", Sent(path="/", body=b"", headers=sent.headers[:1] + sent.headers[3:4])
                )
                assert status in (200, 403, 421), status
                assert b"Traceback" not in body
        except BaseException:
            print(f"seed {seed}, input {number}: {sent}", file=sys.stderr)
            print(f"the log: {phone.log.read_bytes() if phone.log.exists() else None!r}", file=sys.stderr)
            raise
        taken, kept = taken + one, kept + one
        if kept >= 30:
            kept = 0
            for file in folder.glob("job*"):
                file.unlink()
    return {"inputs": count, "taken": taken, "refused": count - taken}


def run(target: str, count: int, seed: int = 1, first: int = 0) -> dict[str, int]:
    """Send inputs through one check; how many were taken and refused."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        if target == "phone":
            # the library lets a file of a form that breaks off to the collector of waste
            warnings.simplefilter("ignore", ResourceWarning)
            found = asyncio.run(_phone(Path(folder), seed, count, first))
            gc.collect()
            return found
        layouts = small_layout("in"), small_layout("mm")
        check: Callable[[str, Layout], object] = check_log if target == "log" else check_next
        used = 0
        for number in range(first, first + count):
            rng = Random(f"{seed}-{number}")  # noqa: S311
            text = spoiled_log(rng)
            try:
                used += bool(check(text, layouts[number % 7 == 0]))
            except BaseException:
                print(f"seed {seed}, input {number}: {text!r}", file=sys.stderr)
                raise
        return {"inputs": count, "read": used, "refused": count - used}


def main() -> None:
    """Fuzz one of them."""
    options = argparse.ArgumentParser(prog="python -m tests.tools.fuzz_jobs", description=main.__doc__)
    options.add_argument("target", choices=("log", "next", "phone"))
    options.add_argument("count", type=int)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--first", type=int, default=0)
    told = options.parse_args()
    began = time.process_time()
    found = run(told.target, told.count, told.seed, told.first)
    print(f"{told.target}: {found}, {time.process_time() - began:.0f} s of processor time, nothing found")


if __name__ == "__main__":
    main()
