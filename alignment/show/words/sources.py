"""Where a limit comes from, and what may be rested on it, as shown beside every verdict."""

from __future__ import annotations

from typing import Final

from alignment.panel.limits import Limit

__all__ = ["SHEAR_SOURCE", "limit_source"]

_NOT_ALONE: Final = "do not accept or reject on it alone"
_STANDING: Final = {
    "secondary": f", secondary source: read in a text that reproduces it; {_NOT_ALONE}",
    "memory": f", from memory: text not seen; {_NOT_ALONE}",
}
SHEAR_SOURCE: Final = (
    "2 to 10 % of thickness for each blade pair: press-tool handbooks, secondary source: read in a text that quotes "
    f"them; {_NOT_ALONE}"
)


def limit_source(limit: Limit) -> str:
    """Source of a limit with its standing."""
    return limit.origin + _STANDING.get(limit.checked, "")
