"""
Guide, die and gap settings and cross levels: wanted against measured, judged by the rule that judges everything else.

What a setting was measured with gives its uncertainty. Lengths are in millimetres.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import Final

from alignment.results import Result
from alignment.settings.settings_file import Kind, Setting, Settings, Strip
from alignment.uncertainty import COVERAGE, Judged, Verdict, worst

__all__ = ["SHEAR_SHARE", "SettingState", "SettingsResult", "Way", "judge_settings"]

SHEAR_SHARE: Final = (0.02, 0.10)
"""Clearance of a blade pair, as shares of the strip's thickness."""


class Way(enum.StrEnum):
    """Which way a setting is to go."""

    close = "close"
    open = "open"
    reduce = "reduce"
    increase = "increase"
    lower_left = "lower left"
    lower_right = "lower right"


_WAYS: Final = {
    Kind.guide: (Way.close, Way.open),
    Kind.gap: (Way.close, Way.open),
    Kind.shear: (Way.close, Way.open),
    Kind.die: (Way.reduce, Way.increase),
    Kind.level: (Way.lower_right, Way.lower_left),
}
"""For a setting that is larger than wanted, and for one that is smaller."""


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

    @property
    def way(self) -> Way | None:
        """Which way it is to go; None where it is not out."""
        if self.judged is None or self.judged.verdict.inside:
            return None
        return _WAYS[self.setting.kind][0 if self.judged.value > 0 else 1]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SettingsResult(Result):
    """The settings of one machine, each with what was found of it."""

    settings: Settings
    states: tuple[SettingState, ...]

    @property
    def headline(self) -> str:
        """The verdict."""
        return str(self.verdict)

    @property
    def verdict(self) -> Verdict:
        """Worst verdict; a setting that was not judged leaves it unknown at best."""
        return worst(Verdict.unknown if s.verdict is None else s.verdict for s in self.states)

    @property
    def out(self) -> list[SettingState]:
        """What is to be set."""
        return [s for s in self.states if s.verdict is not None and not s.verdict.inside]


def judge_settings(settings: Settings) -> SettingsResult:
    """
    Judge every setting; the uncertainty of a strip that a guide hangs on is in the guide's.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    SettingsResult
        Measured minus wanted, in millimetres; a setting that was not measured has no verdict.

    Examples
    --------
    >>> import alignment
    >>> settings = alignment.read_settings(alignment.sample_folder() / "settings.toml")
    >>> len(alignment.judge_settings(settings).states) > 0
    True
    """
    return SettingsResult(settings=settings, states=tuple(_judge(s, settings.strip) for s in settings.settings))


def _judge(setting: Setting, strip: Strip) -> SettingState:
    wanted, tolerance, u_wanted = setting.wanted, setting.tolerance, 0.0
    clearance, found = None, setting.found
    if setting.kind is Kind.guide and strip.best is not None:
        width, u_width = strip.best
        if setting.clearance is not None:
            wanted, u_wanted = width + setting.clearance, u_width
        if found is not None:
            clearance = Judged(value=found.value - width, u=math.hypot(found.u, u_width), tolerance=math.inf)
    if setting.kind is Kind.shear and math.isnan(wanted) and strip.thickness is not None:
        low, high = (share * strip.thickness for share in SHEAR_SHARE)
        wanted, tolerance = (low + high) / 2, (high - low) / 2
    judged = None
    if found is not None:
        judged = Judged(value=found.value - wanted, u=math.hypot(found.u, u_wanted), tolerance=tolerance)
    # no tape reads hundredths: a shear clearance is judged only where what measured it can tell the limits apart
    feeler = setting.kind is Kind.shear and (judged is None or COVERAGE * judged.u > tolerance)
    return SettingState(
        setting=setting,
        wanted=wanted,
        tolerance=tolerance,
        judged=None if feeler else judged,
        clearance=clearance,
        feeler=feeler,
    )
