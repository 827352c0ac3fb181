"""
The record of a job: a page to be signed, and annexes with everything that it rests on.

Nothing here is worked out anew or worded: pages of words are laid out with pictures and places to sign.
"""

from __future__ import annotations

import dataclasses
import datetime

from alignment import __version__
from alignment.choices import Paper
from alignment.show.paper.blocks import page_data
from alignment.show.paper.job import Job
from alignment.show.paper.typesetting import paper_name, typeset
from alignment.show.pictures import record as record_pictures
from alignment.show.pictures.record import Picture
from alignment.show.words import record as words
from alignment.show.words.comparison import dated
from alignment.show.words.record_annexes import annex_pages

__all__ = ["render"]


def render(job: Job, paper: Paper, made: datetime.date) -> bytes:
    """The record as a PDF."""
    drawn = {kind: [dataclasses.asdict(picture) for picture in found] for kind, found in _pictures(job).items()}
    data = {
        "paper": paper_name(paper),
        "made": [made.year, made.month, made.day],
        "version": __version__,
        "machine": job.layout.name,
        "number": words.number(job),
        "title": words.TITLE,
        "front": page_data(words.front_page(job)),
        "vouches": words.VOUCHES,
        "signing": {
            "boxes": list(words.BOXES),
            "open": words.OPEN_POINTS,
            "roles": list(words.ROLES),
            "heads": list(words.SIGNED_HEADS),
        },
        "annexes": [
            page_data(page) | {"pictures": drawn.get(kind, []), "together": kind == "pictures"}
            for kind, page in annex_pages(job).items()
        ],
    }
    return typeset("record", data)


def _pictures(job: Job) -> dict[str, list[Picture]]:
    """The pictures of each annex that has some."""
    states = [(f"{name}: {dated(solution.survey)}", solution, False) for name, solution in job.surveys]
    if job.left is None and job.found.plan.steps:
        states.append(("After the moves, as the tape should then read", job.found, True))
    panel = {"panel": [record_pictures.panel_picture(job.panel)]} if job.panel else {}
    return {"pictures": record_pictures.state_pictures(states), **panel}
