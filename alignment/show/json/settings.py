"""Settings as plain numbers and texts, for other programs. Lengths in the units of the file."""

from __future__ import annotations

import math
from typing import Any

from alignment import __version__
from alignment.settings.judging import SettingsResult, SettingState
from alignment.show.json.lengths import Lengths

__all__ = ["as_json"]


def as_json(result: SettingsResult) -> dict[str, Any]:
    """The settings, each with its verdict; None where it was not measured or not judged."""
    settings, out = result.settings, Lengths(result.settings.units)
    best = settings.strip.best
    strip = None
    if best:
        strip = {"width": out(best[0]), "u": out(best[1]), "measured": settings.strip.found is not None}
    return {
        "stringtrue": __version__,
        "machine": settings.name,
        "units": str(settings.units),
        "file": {"file": settings.source, **settings.record},
        "strip": strip,
        "settings": [_setting(s, out) for s in result.states],
        "verdict": str(result.verdict),
    }


def _setting(s: SettingState, out: Lengths) -> dict[str, Any]:
    found, judged, angle = s.setting.found, s.judged, None
    if s.setting.over and judged:
        angle = math.degrees(math.atan2(judged.value + s.wanted, s.setting.over))
    return {
        "setting": s.setting.name,
        "kind": str(s.setting.kind),
        "wanted": out(s.wanted),
        "tolerance": out(s.tolerance),
        "measured": out(found.value) if found else None,
        "readings": len(found.readings) if found else 0,
        "with": found.instrument if found else None,
        "deviation": out(judged.value) if judged else None,
        "u": out(judged.u) if judged else None,
        "verdict": str(s.verdict) if s.verdict else None,
        "p_in": judged.p_in if judged else None,
        "way": str(s.way) if s.way else None,
        "clearance": {"value": out(s.clearance.value), "u": out(s.clearance.u)} if s.clearance else None,
        "angle": angle,
        "feeler_gauge": s.feeler,
    }
