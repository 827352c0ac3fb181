"""The points of a survey, by name, and the slips that may explain what was read there."""

from __future__ import annotations

from alignment.machine.slips import LikelySlip, likely_slip, tape_units
from alignment.machine.survey import Reading
from alignment.train.train import Train

__all__ = ["hint_for", "name_of", "points_of"]


def points_of(train: Train) -> dict[tuple[str, float], list[tuple[int, Reading]]]:
    """Fitted readings by section and place, each with its place in the fit."""
    found: dict[tuple[str, float], list[tuple[int, Reading]]] = {}
    for k, reading in enumerate(train.survey.fitted):
        found.setdefault((reading.section, round(reading.place, 6)), []).append((k, reading))
    return found


def name_of(train: Train, section: str, place: float) -> str:
    """Name of a point, from its section's entry end."""
    layout = train.layout
    return layout.sections[layout.index[section]].point_name(place, layout.units)


def hint_for(train: Train, reading: Reading, slip: float, u: float) -> LikelySlip | None:
    """The slip that explains by how much a reading is too long, where one does."""
    return likely_slip(reading.text, reading.value, slip, u, tape_units(train.survey.tape.mark))
