"""A history of surveys as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from alignment.show.json.history import as_json
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    import pandas as pd

    from alignment.change.history import History

__all__ = ["as_tables"]


def as_tables(history: History) -> dict[str, pd.DataFrame]:
    """Every section at every date, the drifts, and what moved; in the layout's units."""
    import pandas as pd

    layout, of = history.layout, history.layout.units.of
    shape = history.offset.shape
    names = [s.name for s in layout.sections]
    offset, skew = history.apart
    series = pd.DataFrame(
        {
            "taken": np.repeat([t.isoformat(" ") for t in history.taken], shape[1]),
            "file": np.repeat([s.source for s in history.surveys], shape[1]),
            "section": names * shape[0],
            "offset": of(1.0) * history.offset.ravel(),
            "U offset": of(COVERAGE) * history.offset_u.ravel(),
            "offset less string": of(1.0) * offset.ravel(),
            "skew": of(1.0) * history.skew.ravel(),
            "U skew": of(COVERAGE) * history.skew_u.ravel(),
            "skew less string": of(1.0) * skew.ravel(),
        }
    )
    drifts = [
        {
            "section": name,
            "quantity": what,
            "per month": of(d.per_month),
            "U per month": of(d.expanded),
            "since": d.since.isoformat(" "),
            "dates": d.dates,
            "significant": d.significant,
        }
        for name, pair in zip(names, history.drifts, strict=True)
        for what, d in zip(("offset", "skew"), pair, strict=True)
        if d is not None
    ]
    tables = {"series": series}
    if drifts:
        tables["drift"] = pd.DataFrame(drifts)
    if history.events:
        tables["moved"] = pd.json_normalize(as_json(history)["moved"]).drop(columns="flags")
    return tables
