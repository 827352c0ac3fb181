"""
The file in which a person writes down guide, die and gap settings and what they were measured with.

Lengths are in millimetres once read.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from alignment.errors import InputError, Problem, nearest, quote
from alignment.files.disk import read_toml
from alignment.files.keys import Keys, open_tables
from alignment.files.templates import filled_in
from alignment.instruments import USUAL_TAPE, Tape
from alignment.lengths import FINEST_U, Units
from alignment.quantiles import chi_square_point

__all__ = ["Found", "Kind", "Setting", "Settings", "Strip", "parse_settings", "read_settings", "template"]


class Kind(enum.StrEnum):
    """What is set."""

    guide = "guide"
    gap = "gap"
    die = "die"
    level = "level"
    shear = "shear"


@dataclass(frozen=True, kw_only=True)
class Found:
    """Readings of one length and what they were taken with."""

    readings: tuple[float, ...]
    instrument: str
    worth: Tape

    @property
    def value(self) -> float:
        """Mean of the readings. [mm]"""
        return float(np.mean(self.readings))

    @property
    def scattered(self) -> bool:
        """Whether the readings differ by more than the instrument explains (95 %)."""
        return self._birge > 1

    @property
    def _birge(self) -> float:
        dof = len(self.readings) - 1
        if dof < 1:
            return 1.0
        chi2 = float(np.sum(((np.array(self.readings) - self.value) / self._own) ** 2))
        return math.sqrt(chi2 / dof) if chi2 > chi_square_point(dof, 0.95) else 1.0

    @property
    def _own(self) -> float:
        return float(self.worth.reading_u(abs(self.value)))

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean, the instrument's zero included; grown where readings scatter. [mm]"""
        size, worth = abs(self.value), self.worth
        mean = float(worth.mean_u(size, len(self.readings)))
        return math.hypot(mean * self._birge, worth.zero, float(worth.tilt_mean(size)))


@dataclass(frozen=True, kw_only=True)
class Strip:
    """The strip that runs between the guides, as far as it is told. [mm]"""

    width: float | None = None
    tolerance: float = 0.0
    """Of the nominal width: stands for its uncertainty where the strip was not measured."""
    thickness: float | None = None
    found: Found | None = None

    @property
    def best(self) -> tuple[float, float] | None:
        """Width and its standard uncertainty: measured, else nominal with its tolerance taken as rectangular."""
        if self.found is not None:
            return self.found.value, self.found.u
        return None if self.width is None else (self.width, self.tolerance / math.sqrt(3))


@dataclass(frozen=True, kw_only=True)
class Setting:
    """
    One thing set at the machine.

    `wanted` is NaN where it hangs on the strip: a guide's clearance over its width, a shear's over its thickness.
    """

    name: str
    kind: Kind
    wanted: float
    tolerance: float
    clearance: float | None = None
    """Of a guide: wanted gap beyond the strip's width. [mm]"""
    over: float | None = None
    """Of a level: the distance over which it was read. [mm]"""
    found: Found | None = None


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The settings of one machine as one person found them."""

    source: str
    name: str
    units: Units
    record: Mapping[str, str]
    strip: Strip
    settings: tuple[Setting, ...]

    def shown_in(self, units: Units | None) -> Settings:
        """The same settings, printed in other units."""
        return self if units is None else replace(self, units=units)


def read_settings(path: str | Path) -> Settings:
    """
    Read guide, die and gap settings.

    Parameters
    ----------
    path : path
        A .toml file in UTF-8.

    Returns
    -------
    Settings
        Lengths in millimetres.

    Raises
    ------
    FileError
        It cannot be read, or is another kind of file.
    InputError
        With everything in it that cannot be used, in the order of the file.

    Examples
    --------
    >>> import alignment
    >>> settings = alignment.read_settings(alignment.sample_folder() / "settings.toml")
    >>> settings.name
    'Liner line, bay 2'
    """
    return parse_settings(read_toml(path, "settings file"), Path(path).name)


def parse_settings(text: str, source: str = "settings") -> Settings:
    """
    Read a settings file.

    Parameters
    ----------
    text : str
        TOML.
    source : str
        Name of the file, for messages.

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    top, head = open_tables(text, source, "machine")
    problems, units = top.problems, top.units
    name = head.text("name", required=True)
    record = {str(key): head.text(key) for key in ("taken", "by", "place") if key in head.table}
    head.known += ["taken", "by", "place"]
    head.finish()
    instruments = _instruments(top)
    strip = _strip(top.one("strip"), instruments)
    listed = top.many("setting", called="name")
    if not top.table.get("setting"):
        none = "there is none. Add a [[setting]] for each thing that is set."
        problems.append(Problem("[[setting]]", none, lacking=True))
    settings = [_setting(keys, instruments, strip) for keys in listed]
    names = [s.name for s in settings if s is not None]
    problems += [
        Problem(f"[[setting]] {quote(n)} name", "stands twice. Give each setting a name of its own.")
        for n in dict.fromkeys(n for n in names if names.count(n) > 1)
    ]
    top.finish()
    if problems:
        raise InputError(source, "these settings cannot be used", problems)
    return Settings(
        source=source,
        name=name,
        units=units,
        record=record,
        strip=strip,
        settings=tuple(s for s in settings if s is not None),
    )


def _instruments(top: Keys) -> dict[str, Tape]:
    """What was measured with; a tape with the marks that a layout takes for granted where the file names none."""
    found = {}
    for name, keys in top.named("instrument").items():
        found[name] = Tape(
            mark=keys.length("mark", 1.0, required=True, positive=True, finest=FINEST_U),
            placing=keys.told_length("set", finest=FINEST_U),
            tilt=keys.number("tilt", 0.0, least=0, most=30),
            zero=keys.length("zero", 0.0, finest=FINEST_U),
        )
        keys.finish()
    mark, zero = USUAL_TAPE[top.units]
    return found or {"tape": Tape(mark=mark, tilt=2.0, zero=zero)}


def _found(keys: Keys, instruments: Mapping[str, Tape], *, signed: bool = False) -> Found | None:
    """Readings under ``measured``: one length or a list of repeats."""
    several = len(instruments) > 1
    only = "" if several else next(iter(instruments))
    name = keys.text("with", only, required=several and "measured" in keys.table)
    if name and name not in instruments:
        keys.wrong("with", f"no [instrument.{name}] in this file.{nearest(name, instruments)}")
    value = keys.take("measured")
    if value is None:
        return None
    listed = Keys({"measured": value if isinstance(value, list) else [value]}, keys.where, keys.problems, keys.units)
    readings = listed.lengths("measured")
    if readings is None or name not in instruments:
        return None
    if not readings:
        keys.wrong("measured", "is an empty list. Write what was read, or leave it out.")
        return None
    if not signed and min(readings) < 0:
        keys.wrong("measured", "is negative, and only a level has a sign. Leave the minus off.")
        return None
    return Found(readings=tuple(readings), instrument=name, worth=instruments[name])


def _strip(keys: Keys, instruments: Mapping[str, Tape]) -> Strip:
    strip = Strip(
        width=keys.told_length("width", positive=True),
        tolerance=keys.length("tolerance", 0.0),
        thickness=keys.told_length("thickness", positive=True, finest=FINEST_U),
        found=_found(keys, instruments),
    )
    keys.finish()
    return strip


def _setting(keys: Keys, instruments: Mapping[str, Tape], strip: Strip) -> Setting | None:
    problems = keys.problems
    before = len(problems)
    name = keys.text("name", required=True)
    told = keys.choice("kind", Kind, required=True)
    # an unknown one is a problem already; what else it would need is not known
    kind = Kind(told) if told else None
    wanted = keys.length("wanted", signed=kind is Kind.level)
    clearance = keys.told_length("clearance") if kind is Kind.guide else None
    over = keys.told_length("over", positive=True) if kind is Kind.level else None
    tolerance = keys.length("tolerance", positive=True, finest=FINEST_U)
    found = _found(keys, instruments, signed=kind is Kind.level)
    keys.finish()
    if kind is Kind.level and math.isnan(wanted):
        wanted = 0.0
    if kind is Kind.shear:
        # one that is there and cannot be read was told of already
        if ("wanted" in keys.table) != ("tolerance" in keys.table):
            keys.lacks("wanted", "and tolerance go together. Write both, or neither for the published shares.")
        elif "wanted" not in keys.table and strip.thickness is None:
            keys.wrong("wanted", "is missing, and the strip has no thickness to take it from. Write [strip] thickness.")
    elif math.isnan(tolerance) and "tolerance" not in keys.table:
        keys.lacks("tolerance")
    if kind is Kind.guide and clearance is not None:
        if not math.isnan(wanted):
            keys.wrong("wanted", "and clearance are two ways to say one thing. Leave one of them out.")
        if strip.best is None:
            keys.wrong("clearance", "needs the strip's width. Write [strip] width.")
    elif kind in (Kind.guide, Kind.gap, Kind.die) and math.isnan(wanted) and "wanted" not in keys.table:
        keys.lacks("wanted")
    if len(problems) > before or kind is None:
        return None
    return Setting(
        name=name, kind=kind, wanted=wanted, tolerance=tolerance, clearance=clearance, over=over, found=found
    )


def template(units: Units) -> str:
    """Commented settings file to fill in, in inches or in millimetres."""
    return filled_in("alignment.settings", units)
