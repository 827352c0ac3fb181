"""The next act as plain numbers and texts, for other programs."""

from __future__ import annotations

import math
from typing import Any

from alignment.show.json.lengths import Lengths
from alignment.show.words.cautions import SHORT
from alignment.show.words.phrases import on_tape
from alignment.show.words.work import act_lines, point_name, string_doubts, wanted_at
from alignment.train.work.next_act import Act, Next

__all__ = ["as_json"]

ENDS = ("entry", "exit")


def as_json(told: Next) -> dict[str, Any]:
    """The next act; lengths in the layout's units."""
    layout, work = told.layout, told.work
    out = Lengths(layout.units)
    found: dict[str, Any] = {
        "act": str(told.act),
        "section": told.section.name if told.section else None,
        "reason": str(told.why),
        "why": " ".join(act_lines(told)),
        "check_string": string_doubts(told),
        "cautions": [] if told.act is Act.done else list(SHORT),
        "points": [point_name(told, place) for place in told.points],
        "loosen": [],
        "pivot": None,
        "direction": None,
        "watch": [],
        "other": None,
        "chance": _chance(work.chance) if work else None,
        "chance_after": None,
    }
    if told.act is Act.move and work is not None:
        decision, section = work.decision, work.section
        assert decision.value is not None  # noqa: S101  # a move always says where it leads
        row, known = layout.rows[section.row], work.standing.known.mean

        def reading(value: Any, place: float) -> float:
            share = place / section.length
            return wanted_at(work, place) + float(value[0] * (1 - share) + value[1] * share)

        ways = [row.direction(decision.move[s.end]) for s in decision.stops]
        found |= {
            "loosen": [ENDS[s.end] for s in decision.stops],
            "pivot": ENDS[1 - decision.stops[0].end] if len(decision.stops) == 1 else None,
            "direction": ways[0] if len(ways) == 1 else ways,
            "watch": [
                {
                    "point": ENDS[s.end],
                    "from": out(reading(known, s.place)),
                    "to": out(s.reading),
                    "words": on_tape(s.reading, told.log.tape.mark, layout.units),
                }
                for s in decision.stops
            ],
            "chance_after": _chance(decision.after),
        }
        if len(decision.stops) == 1:
            other = 1 - decision.stops[0].end
            place = (section.points[0], section.points[-1])[other]
            found["other"] = {"point": ENDS[other], "to": out(reading(decision.value, place))}
    found["creep"] = {
        "count": told.creep.count,
        "u": out(told.creep.u),
        "mean": out.or_none(told.creep.mean),
        "significant": told.creep.drifts,
    }
    found["sections"] = [
        {"section": w.section.name, "state": str(w.state), "chance": _chance(w.chance)} for w in told.sections
    ]
    return found


def _chance(chance: float) -> float | None:
    return None if math.isnan(chance) else round(chance, 4)
