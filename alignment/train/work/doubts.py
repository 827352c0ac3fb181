"""What the flags of a survey say of a section and its string before a bolt is touched."""

from __future__ import annotations

from collections.abc import Sequence

from alignment.errors import NotEnoughReadingsError
from alignment.machine.layout import Layout, Section
from alignment.machine.survey import Reading, Survey
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag
from alignment.train.train import fit_train
from alignment.uncertainty import SAME

__all__ = ["doubts_of", "read_once"]


def doubts_of(layout: Layout, log: Survey, section: Section) -> tuple[Flag, ...]:
    """Harmful flags of a section and of its string, as long as nothing on that string was moved."""
    string = layout.rows[section.row].string
    on = {s.name for s in layout.sections if layout.rows[s.row].string == string}
    if any(move.section in on for move in log.moves) or len({r.section for r in log.fitted} & on) <= 1:
        return ()
    try:
        flags = find_flags(fit_train(layout, log))
    except NotEnoughReadingsError:
        # no section was read at both ends yet
        return ()
    return tuple(f for f in flags if f.harmful and (f.string == string or f.section == section.name))


def read_once(log: Survey, readings: Sequence[Reading]) -> tuple[float, ...]:
    """Places of these readings where nothing else was read."""
    return tuple(
        r.place
        for r in readings
        if sum(o.section == r.section and abs(o.place - r.place) < SAME for o in log.fitted) == 1
    )
