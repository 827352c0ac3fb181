"""The main answer as tables; lengths in the layout's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from alignment.files.tables import listed
from alignment.machine.layout import Layout
from alignment.show.json.solution import as_json
from alignment.show.words.cautions import SHORT
from alignment.train.solve import Solution
from alignment.train.state import State

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["as_tables"]

SENDING: Final = {"read_again", "moves", "flags"}
"""Tables that send a person to the machine."""


def _sections(state: State, layout: Layout) -> pd.DataFrame:
    """Sections of a state as a table, lengths in the layout's units."""
    import pandas as pd

    of = layout.units.of
    rows = []
    for s in state.sections:
        row: dict[str, Any] = {"section": s.name, "row": s.row, "readings": s.readings}
        if s.offset and s.skew and s.entry and s.exit and s.worse_end:
            row |= {
                "offset": of(s.offset.value),
                "U offset": of(s.offset.expanded),
                "offset verdict": str(s.worse_end.verdict),
                "skew": of(s.skew.value),
                "U skew": of(s.skew.expanded),
                "skew verdict": str(s.skew.verdict),
                "entry": of(s.entry.deviation.value),
                "exit": of(s.exit.deviation.value),
            }
        rows.append(row)
    return pd.DataFrame(rows).set_index("section")


def as_tables(solution: Solution) -> dict[str, pd.DataFrame]:
    """Sections as found and after the moves, joints, openings, moves and flags; lengths in the layout's units."""
    states = {"sections": solution.state, "after": solution.plan.state}
    sheets = {name: _sections(state, solution.layout) for name, state in states.items()}
    lists = listed(as_json(solution), "joints", "openings", "read_again", "moves.steps", "flags")
    for name in SENDING & lists.keys():
        lists[name]["cautions"] = " ".join(SHORT)
    return sheets | lists
