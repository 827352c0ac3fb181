"""
What a signature under a record is for: the verdicts, of which machine, and in which order things were measured.

A panel or settings that were measured before the machine was read as left tell nothing of the machine as left: that is
said beside their verdict, and so is another machine's name.
"""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Final

from alignment.show.words import panel as panel_wording

if TYPE_CHECKING:
    from alignment.show.paper.job import Job

__all__ = ["other_machine", "panel_when", "settings_when", "signed"]

DAY: Final = len("2026-10-02")


def panel_when(job: Job) -> str:
    """When the panel was measured, against the last survey; empty without one."""
    return _when(job, job.panel.panel.record.get("taken"), "panel is") if job.panel else ""


def settings_when(job: Job) -> str:
    """When the settings were measured, against the last survey; empty without them."""
    return _when(job, job.settings.settings.record.get("taken"), "settings are") if job.settings else ""


def signed(job: Job) -> str:
    """The verdicts that a signature is put under, each with its place in the order of events."""
    said = [f"{name}: {s.verdict.printed}." for name, s in job.surveys]
    if job.panel:
        order = _order(job, job.panel.panel.record.get("taken"))
        said.append(f"Test panel: {panel_wording.short_verdict(job.panel)}{order}.")
    if job.settings:
        order = _order(job, job.settings.settings.record.get("taken"))
        said.append(f"Settings: {job.settings.verdict.printed}{order}.")
    return " ".join(said)


def other_machine(job: Job) -> list[str]:
    """That a panel or settings bear the name of another machine, or edges that are no rows of this one."""
    name, said = job.layout.name, []
    if job.panel:
        panel = job.panel.panel
        strange = [edge for edge in panel.edges if edge not in job.layout.rows]
        if panel.record.get("machine", name) != name:
            said.append(f"NOT OF THIS MACHINE: the panel is of {panel.record['machine']}, the surveys of {name}.")
        elif strange:
            rows = ", ".join(job.layout.rows)
            said.append(f"NOT OF THIS MACHINE? The panel has an edge '{strange[0]}'; the machine's rows are {rows}.")
    if job.settings and job.settings.settings.name != name:
        said.append(f"NOT OF THIS MACHINE: the settings are of {job.settings.settings.name}, the surveys of {name}.")
    return said


def _before(job: Job, taken: str | None) -> bool | None:
    """Whether something was measured before the last survey; None where the dates do not tell."""
    last = job.surveys[-1][1].survey.record.get("taken")
    if not taken or not last:
        return None
    try:
        one, other = (datetime.datetime.fromisoformat(text).replace(tzinfo=None) for text in (taken, last))
    except ValueError:
        return None
    bare = min(len(taken), len(last)) <= DAY
    return None if bare and one.date() == other.date() else one < other


def _last(job: Job) -> str:
    """The last survey in words, with its date where it has one."""
    name, solution = job.surveys[-1]
    taken = solution.survey.record.get("taken")
    return (f"the survey {name.lower()}" if job.left else "the survey") + (f" ({taken})" if taken else "")


def _order(job: Job, taken: str | None) -> str:
    """Place of something in the order of events, in few words."""
    before = _before(job, taken)
    which = "the survey as left" if job.left else "the survey"
    if before is None:
        return f", before or after {which} not recorded"
    return f", BEFORE {which}" if before else f", after {which}"


def _when(job: Job, taken: str | None, what: str) -> str:
    """When something was measured against the last survey, and what that leaves open."""
    before, last = _before(job, taken), _last(job)
    told = f"Measured {taken}" if taken else "When it was measured is not recorded"
    if before is None:
        return f"{told}: whether that was before or after {last} is open."
    if not before:
        return f"{told}, after {last}."
    return f"{told}, BEFORE {last}. No {what} on record after it."
