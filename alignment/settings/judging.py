"""
Guide, die and gap settings and cross levels: wanted against measured, judged by the rule that judges everything else.

What a setting was measured with gives its uncertainty. Lengths are in millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from alignment import __version__
from alignment.settings.settings_file import Setting, Settings, Strip
from alignment.uncertainty import COVERAGE, Judged, Verdict, worst

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "SHEAR_SHARE",
    "SHEAR_SOURCE",
    "SettingState",
    "SettingsResult",
    "as_json",
    "as_tables",
    "judge_settings",
]

SHEAR_SHARE: Final = (0.02, 0.10)
"""Clearance of a blade pair, as shares of the strip's thickness."""
SHEAR_SOURCE: Final = (
    "2 to 10 % of thickness for each blade pair: press-tool handbooks, secondary source: read in a text that quotes "
    "them; do not accept or reject on it alone"
)


@dataclass(frozen=True, kw_only=True)
class SettingState:
    """
    One setting judged.

    Attributes
    ----------
    wanted : float
        As it came out of the file and the strip. [mm]
    judged : Judged or None
        Measured less wanted; None where it was not measured, or not with what it takes.
    clearance : Judged or None
        Of a guide with a known strip: the gap less the strip's width. Its tolerance is infinite.
    feeler : bool
        A shear clearance that was not measured finely enough to be judged.
    """

    setting: Setting
    wanted: float
    tolerance: float
    judged: Judged | None
    clearance: Judged | None = None
    feeler: bool = False

    @property
    def coarse(self) -> bool:
        """Whether nothing measured so could ever be proved in tolerance."""
        return self.judged is not None and self.judged.expanded > self.tolerance

    @property
    def verdict(self) -> Verdict | None:
        """Within tolerance or out, sure or not."""
        return None if self.judged is None else self.judged.verdict


@dataclass(frozen=True, kw_only=True)
class SettingsResult:
    """The settings of one machine, each with what was found of it."""

    settings: Settings
    states: tuple[SettingState, ...]

    @property
    def verdict(self) -> Verdict:
        """Worst verdict; a setting that was not judged leaves it unknown at best."""
        return worst(Verdict.unknown if s.verdict is None else s.verdict for s in self.states)

    @property
    def out(self) -> list[SettingState]:
        """What is to be set."""
        return [s for s in self.states if s.verdict is not None and not s.verdict.inside]


def judge_settings(settings: Settings) -> SettingsResult:
    """Judge every setting; the uncertainty of a strip that a guide hangs on is in the guide's."""
    return SettingsResult(settings=settings, states=tuple(_judge(s, settings.strip) for s in settings.settings))


def _judge(setting: Setting, strip: Strip) -> SettingState:
    wanted, tolerance, u_wanted = setting.wanted, setting.tolerance, 0.0
    clearance, found = None, setting.found
    if setting.kind == "guide" and strip.best is not None:
        width, u_width = strip.best
        if setting.clearance is not None:
            wanted, u_wanted = width + setting.clearance, u_width
        if found is not None:
            clearance = Judged(value=found.value - width, u=math.hypot(found.u, u_width), tolerance=math.inf)
    if setting.kind == "shear" and math.isnan(wanted) and strip.thickness is not None:
        low, high = (share * strip.thickness for share in SHEAR_SHARE)
        wanted, tolerance = (low + high) / 2, (high - low) / 2
    judged = None
    if found is not None:
        judged = Judged(value=found.value - wanted, u=math.hypot(found.u, u_wanted), tolerance=tolerance)
    # no tape reads hundredths: a shear clearance is judged only where what measured it can tell the limits apart
    feeler = setting.kind == "shear" and (judged is None or COVERAGE * judged.u > tolerance)
    return SettingState(
        setting=setting,
        wanted=wanted,
        tolerance=tolerance,
        judged=None if feeler else judged,
        clearance=clearance,
        feeler=feeler,
    )


def as_json(result: SettingsResult) -> dict[str, Any]:
    """The settings as plain numbers and texts; lengths in the file's units."""
    settings, states = result.settings, result.states
    of = settings.units.of

    def told(s: SettingState) -> dict[str, Any]:
        found, judged = s.setting.found, s.judged
        angle = None
        if s.setting.over and judged:
            angle = math.degrees(math.atan2(judged.value + s.wanted, s.setting.over))
        return {
            "setting": s.setting.name,
            "kind": s.setting.kind,
            "wanted": of(s.wanted),
            "tolerance": of(s.tolerance),
            "measured": of(found.value) if found else None,
            "readings": len(found.readings) if found else 0,
            "with": found.instrument if found else None,
            "deviation": of(judged.value) if judged else None,
            "u": of(judged.u) if judged else None,
            "verdict": str(s.verdict) if s.verdict else None,
            "p_in": judged.p_in if judged else None,
            "clearance": {"value": of(s.clearance.value), "u": of(s.clearance.u)} if s.clearance else None,
            "angle": angle,
            "feeler_gauge": s.feeler,
        }

    best = settings.strip.best
    return {
        "stringtrue": __version__,
        "machine": settings.name,
        "units": str(settings.units),
        "file": {"file": settings.source, **settings.record},
        "strip": {"width": of(best[0]), "u": of(best[1]), "measured": settings.strip.found is not None}
        if best
        else None,
        "settings": [told(s) for s in states],
        "verdict": str(result.verdict),
    }


def as_tables(result: SettingsResult) -> dict[str, pd.DataFrame]:
    """The settings as a table; lengths in the file's units."""
    import pandas as pd

    return {"settings": pd.json_normalize(as_json(result)["settings"])}
