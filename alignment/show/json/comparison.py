"""A comparison of two surveys as plain numbers and texts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from alignment import __version__
from alignment.change.comparison import Comparison
from alignment.change.motion import Motion
from alignment.change.strings import StringChange
from alignment.show.json.lengths import Lengths
from alignment.show.words.flags import flag_words

__all__ = ["as_json"]


def as_json(comparison: Comparison) -> dict[str, Any]:
    """Lengths in the layout's units, away from the string positive; moves toward it positive; u standard ones."""
    layout, motion = comparison.layout, comparison.motion
    of = Lengths(layout.units)
    u = np.sqrt(np.diagonal(motion.covariance, axis1=1, axis2=2))
    bolts = motion.bolts()
    sections = [
        {
            "section": section.name,
            "row": section.row,
            "status": str(motion.status[i]),
            "statistic": None if math.isnan(motion.statistic[i]) else float(motion.statistic[i]),
            "offset": known(of, motion.change[i, 0], u[i, 0]),
            "skew": known(of, motion.change[i, 1], u[i, 1]),
            "bolt_ends": {
                end: known(of, bolt.value[i], bolt.u[i]) for end, bolt in zip(("entry", "exit"), bolts, strict=True)
            },
        }
        for i, section in enumerate(layout.sections)
    ]
    return {
        "stringtrue": __version__,
        "machine": layout.name,
        "units": str(layout.units),
        "before": {"file": comparison.before.survey.source, **comparison.before.survey.record},
        "after": {"file": comparison.after.survey.source, **comparison.after.survey.record},
        "string_stayed": str(motion.stayed),
        "strings": [_string(motion, string, of) for string in motion.strings],
        "sections": sections,
        "congruency": {
            "chi2": motion.chi2,
            "dof": motion.dof,
            "limit": motion.chi2_limit,
            "congruent": motion.congruent,
        },
        "moves": [
            {
                "section": move.section,
                "bolt_end": move.bolt_end,
                "planned": of(move.planned),
                "done": known(of, move.done, move.u),
                "outcome": str(move.outcome),
            }
            for move in comparison.moves
        ],
        "flags": [
            {"file": source, "flag": f.flag, "section": f.section or None, "message": flag_words(f, layout)}
            for source, f in comparison.flags
        ],
    }


def known(of: Lengths, value: float, u: float) -> dict[str, float | None]:
    """A value and its standard uncertainty; both None where either is not known."""
    if math.isnan(value) or math.isnan(u):
        return {"value": None, "u": None}
    return {"value": of(float(value)), "u": of(float(u))}


def _string(motion: Motion, string: StringChange, of: Lengths) -> dict[str, Any]:
    names = [s.name for s in motion.layout.sections]
    return {
        "string": string.string,
        "plane": str(string.plane),
        "changed": string.changed,
        "ends": [
            {"x": of(x), **known(of, float(value), float(u))}
            for x, value, u in zip(string.places, string.change, string.u, strict=True)
        ],
        "answers": [
            {
                "string": "anew" if answer.hung else "stayed",
                "planned_moves_done": answer.done,
                "moved_otherwise": [names[i] for i in answer.otherwise],
                "chi2": answer.chi2,
                "dof": answer.dof,
                "limit": answer.limit,
            }
            for answer in string.answers
        ],
    }
