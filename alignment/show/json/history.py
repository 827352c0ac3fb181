"""A history of surveys as plain numbers and texts."""

from __future__ import annotations

import math
from typing import Any

from alignment import __version__
from alignment.change.history import Drift, History, StringHistory
from alignment.show.json.comparison import known
from alignment.show.json.lengths import Lengths
from alignment.show.words.flags import flag_words

__all__ = ["as_json"]


def as_json(history: History) -> dict[str, Any]:
    """Lengths in the layout's units, away from the string positive; drifts per mean month; u standard ones."""
    layout = history.layout
    of = Lengths(layout.units)
    sections = [
        {
            "section": section.name,
            "row": section.row,
            **{
                name: {
                    "values": [of.or_none(float(v)) for v in value[:, i]],
                    "u": [of.or_none(float(v)) for v in u[:, i]],
                    "string": [of(float(v)) for v in history.hung[:, i, k]],
                    "drift": _drift(history.drifts[i][k], of),
                }
                for k, (name, value, u) in enumerate(
                    (("offset", history.offset, history.offset_u), ("skew", history.skew, history.skew_u))
                )
            },
        }
        for i, section in enumerate(layout.sections)
    ]
    moved = [
        {
            "from": history.taken[event.before].isoformat(" "),
            "to": history.taken[event.after].isoformat(" "),
            "section": layout.sections[i].name,
            **{
                end: known(of, bolt.value[i], bolt.u[i])
                for end, bolt in zip(("entry", "exit"), event.motion.bolts(), strict=True)
            },
            "flags": [
                {"file": source, "flag": flag.flag, "message": flag_words(flag, layout)}
                for source, flag in event.flags
                if flag.section == layout.sections[i].name
            ],
        }
        for event in history.events
        for i in event.motion.moved
    ]
    return {
        "stringtrue": __version__,
        "machine": layout.name,
        "units": str(layout.units),
        "line": str(history.line),
        "surveys": [
            {"file": survey.source, **survey.record, "taken": taken.isoformat(" ")}
            for survey, taken in zip(history.surveys, history.taken, strict=True)
        ],
        "sections": sections,
        "strings": [_string(history, string, of) for string in history.strings],
        "moved": moved,
    }


def _drift(drift: Drift | None, of: Lengths) -> dict[str, Any] | None:
    if drift is None:
        return None
    return {
        "per_month": of(drift.per_month),
        "u": of(drift.u),
        "since": drift.since.isoformat(" "),
        "dates": drift.dates,
        "significant": drift.significant,
        "doubtful": drift.doubtful,
    }


def _string(history: History, string: StringHistory, of: Lengths) -> dict[str, Any]:
    names = [history.layout.sections[i].name for i in string.members]
    common = string.trends.common
    ends = None
    if common is not None:
        ends = [
            {"x": of(x), "per_month": of(float(value)), "u": None if math.isnan(u) else of(float(u))}
            for x, value, u in zip(string.places, common.value, common.u, strict=True)
        ]
    return {
        "string": string.string,
        "plane": str(string.plane),
        "sections": names,
        "drift": None if common is None else {"ends": ends, "significant": common.significant},
        "answers": [[names[k] for k in answer] for answer in string.trends.answers],
    }
