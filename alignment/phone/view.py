"""What the page shows of a log, worked out from the next act: its words, its keys, its picture."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from markupsafe import Markup

from alignment.errors import check_names
from alignment.machine.survey import BoltMove, Reading
from alignment.phone.job import Ask, Job, Move
from alignment.show import html
from alignment.show.page import Block, Page, Part, Text, items
from alignment.show.words import cautions, work
from alignment.show.words import phone as words
from alignment.train.work.next_act import Act, Next, State

__all__ = ["Drawn", "View", "draw_row", "view_of"]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One row of the train to be drawn, and its words for whoever does not see it."""

    row: str
    alt: str


@dataclass(frozen=True, kw_only=True)
class View:
    """Everything that the page shows; texts of pages are HTML, escaped."""

    machine: str
    progress: str
    version: str
    page: str
    """Of this drawing of the page alone."""
    begin: bool
    """Whether nothing was written yet, so that the cautions stand first."""
    short: Markup | None
    """The cautions above what sends a person to the machine."""
    accepted: Sequence[str]
    """What is said of the section of the last answer where it is finished."""
    act: Markup
    why: Markup
    sections: Markup
    cautions: Markup
    asks: Sequence[Ask]
    move: Move | None
    moved: str
    can_back: bool
    skip_query: str
    """Where the page is with the section at hand passed over, too; empty where there is none."""
    back_id: str
    may_photograph: bool
    photo_id: str
    rows: Sequence[Drawn]


def view_of(job: Job, skip: Sequence[str] = ()) -> View:
    """
    Look at the log and work out the page.

    Raises
    ------
    StringtrueError
        The log cannot be read.
    """
    found, version = job.look(skip)
    move = job.move(found)
    started = not version.startswith("0-")
    settled = sum(s.state in (State.done, State.kept, State.stuck) for s in found.sections)
    return View(
        machine=job.layout.name,
        progress=words.progress(settled, len(found.sections), job.path.name),
        version=version,
        page=secrets.token_hex(8),
        begin=not started,
        short=None if found.act is Act.done else _html(_only(cautions.short())),
        accepted=_accepted(found),
        act=_html(_act(found)),
        why=_html(_only(*items(work.reasons(found)))),
        sections=_html(_only(*items([work.section_line(each) for each in found.sections]))),
        cautions=_html(_only(cautions.full())),
        asks=job.asks(found),
        move=move,
        moved=words.moved_label([s.end for s in move.stops], [s.reading for s in move.stops]) if move else "",
        can_back=started,
        skip_query=_skip_query(found.section.name, skip) if found.section else "",
        back_id=secrets.token_hex(8),
        may_photograph=started,
        photo_id=secrets.token_hex(8),
        rows=[Drawn(row=row, alt=words.drawn(row)) for row in job.layout.rows],
    )


def _skip_query(name: str, skip: Sequence[str]) -> str:
    """Of the page that puts off this section too, as the last."""
    return f"?{urlencode({'skip': [*(s for s in skip if s != name), name]}, doseq=True)}"


def _accepted(found: Next) -> list[str]:
    events: list[Reading | BoltMove] = [*found.log.readings, *found.log.moves]
    if not events:
        return []
    last = max(events, key=lambda event: event.row).section
    own = found.sections[found.layout.index[last]]
    finished = own.state in (State.done, State.stuck) and (found.section is None or found.section.name != last)
    return work.accepted(found, own) if finished else []


def _act(found: Next) -> Page:
    first, *more = [*work.act_lines(found), *filter(None, [work.creep_line(found)])]
    lines = (*work.string_doubts(found), *more)
    return Page(title=first, parts=(Part(blocks=tuple(Text(words=line) for line in lines)),))


def _only(*blocks: Block) -> Page:
    """Blocks without a title."""
    return Page(title="", parts=(Part(blocks=blocks),))


def _html(page: Page) -> Markup:
    # the renderer escapes every text
    return Markup(html.render(page))  # noqa: S704


def draw_row(job: Job, row: str) -> bytes:
    """
    One row as the log has it now, as SVG.

    Raises
    ------
    StringtrueError
        The machine has no such row.
    """
    from alignment.show.pictures import narrow
    from alignment.show.pictures.train import render

    check_names([row], job.layout.rows, job.layout.source)
    return render(narrow.work_sheet(job.look()[0], row), ".svg")
