"""
The layout of one machine: its rows, sections, bolts, strings and tolerances.

Lengths are in millimetres, places along the machine run downstream from its zero mark.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import Any, Final

from alignment.errors import InputError, Problem, nearest, quote
from alignment.keys import Keys, read_toml
from alignment.lengths import INCH, Units, show
from alignment.tapes import CLASSES, class_zero

__all__ = [
    "FINEST_U",
    "Joint",
    "Layout",
    "MoveRules",
    "Row",
    "Section",
    "String",
    "Strip",
    "Tape",
    "Tolerance",
    "parse_layout",
]

IN: Final = float(INCH)
FINEST_U: Final = 1024
"""What may stand below the line where an uncertainty is told in fractions of an inch."""


@dataclass(frozen=True, kw_only=True)
class Tape:
    """What the tape and the hand that holds it are worth. [mm], tilt in degrees."""

    mark: float
    """Smallest mark read."""
    placing: float | None = None
    """Standard uncertainty of placing the tape and sighting the string; None: a quarter of the mark."""
    tilt: float
    """The tape is square to the string to within this. [degrees]"""
    zero: float
    """Standard uncertainty of the tape's zero, common to all readings of a survey."""

    @property
    def set_u(self) -> float:
        """Standard uncertainty of placing and sighting (a quarter mark: our judgement, common practice, no source)."""
        return self.mark / 4 if self.placing is None else self.placing


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """Largest magnitude allowed of each thing judged. [mm]"""

    square: float
    offset: float
    step: float
    opening: float


@dataclass(frozen=True, kw_only=True)
class MoveRules:
    """How bolt ends may be moved."""

    notch: float
    """Moves are whole multiples of this. [mm]"""
    travel: float | None
    """How far a bolt end can go either way in its slot; None where it is not limited. [mm]"""
    band: float
    """Share of the tolerance into which a section that is touched is brought."""


@dataclass(frozen=True, kw_only=True)
class Strip:
    """The strip that the machine forms, as far as it is told."""

    width: float | None = None
    thickness: float | None = None
    material: str = ""
    yield_strength: float | None = None
    """[MPa]"""


@dataclass(frozen=True, kw_only=True)
class String:
    """A taut line along the machine."""

    name: str
    at: float | None = None
    """Place across the machine, to the right looking downstream; None where it was not measured. [mm]"""


@dataclass(frozen=True, kw_only=True)
class Row:
    """The sections on one side of the machine."""

    name: str
    string: str
    side: str = ""
    """``left`` or ``right``: side of the row's faces on which its string hangs, looking downstream; may be empty."""
    target: float | None = None
    """Reading wanted, before setbacks; None where it is taken from the row itself. [mm]"""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A rigid block of tooling, bolted down at two bolt ends. [mm]"""

    name: str
    row: str
    start: float
    """Machine x of its entry end."""
    length: float
    points: tuple[float, ...]
    """Places where the tape is read, from its entry end."""
    bolts: tuple[float, float]
    """Entry and exit bolt end, from its entry end."""
    setback: float = 0.0
    hold: bool = False

    @property
    def middle(self) -> float:
        """Machine x of its mid-length. [mm]"""
        return self.start + self.length / 2

    @property
    def end(self) -> float:
        """Machine x of its exit end. [mm]"""
        return self.start + self.length

    def place(self, point: str) -> float | None:
        """Place of a named point from the entry end; None where the word is not one of the names. [mm]"""
        if point == "entry":
            return self.points[0]
        if point == "exit":
            return self.points[-1]
        if point == "mid":
            return self.points[len(self.points) // 2] if len(self.points) % 2 else self.length / 2
        return None

    def point_name(self, place: float, units: Units) -> str:
        """Name of the point at a place from the entry end, a length where it has none. [mm]"""
        named = ("entry", "exit", "mid")
        return next((name for name in named if abs(self.place(name) - place) < 1e-6), show(place, units))  # type: ignore[operator]


@dataclass(frozen=True, kw_only=True)
class Joint:
    """Where two neighbours of a row meet."""

    upstream: str
    downstream: str
    step: float | None = None
    """Nominal face of the downstream section beyond that of the upstream one; None: as the setbacks say. [mm]"""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """One machine. Sections stand row by row, entry to exit."""

    source: str
    name: str
    units: Units
    strip: Strip
    tape: Tape
    tolerance: Tolerance
    moves: MoveRules
    strings: Mapping[str, String]
    rows: Mapping[str, Row]
    sections: tuple[Section, ...]
    joints: tuple[Joint, ...] = ()
    assumed: tuple[str, ...] = field(default=())
    """Tables that the file leaves out, so that defaults stand in."""

    @cached_property
    def index(self) -> dict[str, int]:
        """Place of each section in `sections`, by name."""
        return {section.name: i for i, section in enumerate(self.sections)}

    def shown_in(self, units: Units | None) -> Layout:
        """The same machine, with lengths printed in other units."""
        return self if units is None else replace(self, units=units)

    def row_sections(self, row: str) -> list[Section]:
        """Sections of one row, entry to exit."""
        return [section for section in self.sections if section.row == row]


def parse_layout(text: str, source: str = "layout") -> Layout:
    """
    Read a layout file.

    Parameters
    ----------
    text : str
        TOML.
    source : str
        Name of the file, for messages.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    tables = read_toml(text, source)
    problems: list[Problem] = []
    top = Keys(tables, "", problems)
    machine = Keys(_table(top, "machine"), "[machine]", problems)
    units = Units(machine.choice("units", list(Units), required=True) or Units.inch)
    machine.units = top.units = units

    def table(name: str) -> Keys:
        return Keys(_table(top, name), f"[{name}]", problems, units)

    name = machine.text("name", required=True)
    strip = _strip(machine)
    tolerance = _tolerance(table("tolerance"))
    moves = _moves(table("moves"))
    strings = _strings(top, problems)
    rows = _rows(top, problems, strings)
    tape = _tape(table("tape"), max((row.target or 0.0 for row in rows.values()), default=0.0))
    sections = _sections(top, problems, rows)
    joints = _joints(top, problems, sections)
    for keys in (machine, top):
        keys.finish()
    if problems:
        raise InputError(source, "this layout cannot be used", problems)
    return Layout(
        source=source,
        name=name,
        units=units,
        strip=strip,
        tape=tape,
        tolerance=tolerance,
        moves=moves,
        strings=strings or {row.string: String(name=row.string) for row in rows.values()},
        rows=rows,
        sections=sections,
        joints=joints,
        assumed=tuple(key for key in ("tape", "tolerance") if key not in tables),
    )


def _table(top: Keys, name: str) -> object:
    """What stands under a name, an empty table where nothing does."""
    value = top.take(name)
    return {} if value is None else value


def _strip(machine: Keys) -> Strip:
    width = machine.length("strip_width", positive=True)
    thickness = machine.length("strip_thickness", positive=True)
    material = machine.text("material")
    strength = machine.take("yield")
    found = None
    if strength is not None:
        match = re.fullmatch(r"\s*(\d{1,5}(?:\.\d{1,6})?)\s*(MPa|N/mm2|ksi|psi)\s*", str(strength))
        if match:
            found = float(match[1]) * {"ksi": 6.894757, "psi": 0.006894757}.get(match[2], 1.0)
        else:
            machine.wrong("yield", f"{quote(strength)} is not a strength. Write for example '230 MPa' or '33 ksi'.")
    return Strip(width=_known(width), thickness=_known(thickness), material=material, yield_strength=found)


def _known(length: float) -> float | None:
    return None if length != length else length


def _default(units: Units, inches: float, millimetres: float) -> float:
    return inches * IN if units is Units.inch else millimetres


def _tape(keys: Keys, reading: float) -> Tape:
    """The tape, its zero from its class where one is told; ``reading`` is the longest target. [mm]"""
    named = keys.choice("class", CLASSES)
    if named and "zero" in keys.table:
        keys.wrong("class", "stands beside a zero. Give the class or the zero, not both.")
    usual = class_zero(named, reading) if named else _default(keys.units, 1 / 64, 0.4)
    tape = Tape(
        mark=keys.length("mark", _default(keys.units, 1 / 16, 1.0), positive=True),
        placing=_known(keys.length("set", finest=FINEST_U)),
        tilt=keys.number("tilt", 2.0, least=0, most=30),
        zero=keys.length("zero", usual, finest=FINEST_U),
    )
    keys.finish()
    return tape


def _tolerance(keys: Keys) -> Tolerance:
    fine, coarse = _default(keys.units, 1 / 32, 0.8), _default(keys.units, 1 / 16, 1.6)
    tolerance = Tolerance(
        square=keys.length("square", fine, positive=True),
        offset=keys.length("offset", coarse, positive=True),
        step=keys.length("step", fine, positive=True),
        opening=keys.length("opening", coarse, positive=True),
    )
    keys.finish()
    return tolerance


def _moves(keys: Keys) -> MoveRules:
    rules = MoveRules(
        notch=keys.length("notch", _default(keys.units, 1 / 64, 0.5), positive=True),
        travel=_known(keys.length("travel", positive=True)),
        band=keys.number("band", 0.5, least=0.01, most=1),
    )
    keys.finish()
    return rules


def _named(top: Keys, kind: str, problems: list[Problem]) -> dict[str, Keys]:
    """Tables ``[kind.NAME]`` of a file."""
    tables = Keys(_table(top, kind), f"[{kind}]", problems, top.units).table
    return {name: Keys(table, f"[{kind}.{name}]", problems, top.units) for name, table in tables.items()}


def _strings(top: Keys, problems: list[Problem]) -> dict[str, String]:
    strings = {}
    for name, keys in _named(top, "string", problems).items():
        strings[name] = String(name=name, at=_known(keys.length("at", signed=True)))
        keys.finish()
    return strings


def _rows(top: Keys, problems: list[Problem], strings: dict[str, String]) -> dict[str, Row]:
    rows = {}
    for name, keys in _named(top, "row", problems).items():
        row = Row(
            name=name,
            string=keys.text("string", name),
            side=keys.choice("string_side", ("left", "right")),
            target=_known(keys.length("target")),
        )
        if keys.choice("plane", ("side", "height"), "side") == "height":
            keys.wrong("plane", "heights are not worked out by this version. Leave the row out.")
        if strings and row.string not in strings:
            keys.wrong("string", f"no [string.{row.string}] in this file.{nearest(row.string, strings)}")
        keys.finish()
        rows[name] = row
    hung = [row.string for row in rows.values()]
    problems += [
        Problem(f"[string.{name}]", f"no row hangs on this string.{nearest(name, hung)}")
        for name in strings
        if rows and name not in hung
    ]
    return rows


def _tables(top: Keys, kind: str, problems: list[Problem]) -> list[Any]:
    value = top.take(kind)
    if value is None or isinstance(value, list):
        return value or []
    problems.append(Problem(f"[[{kind}]]", f"{quote(value)} is no list of tables. Write [[{kind}]] above each."))
    return []


def _sections(top: Keys, problems: list[Problem], rows: dict[str, Row]) -> tuple[Section, ...]:
    """Sections of a file, row by row and entry to exit; a file without ``[row]`` tables has its rows from here."""
    tables = _tables(top, "section", problems)
    told = bool(rows)
    sections: dict[str, Section] = {}
    for number, table in enumerate(tables, 1):
        name = table.get("name") if isinstance(table, dict) else None
        keys = Keys(table, f"[[section]] {quote(name) if isinstance(name, str) else number}", problems, top.units)
        section = _section(keys)
        if section is None:
            continue
        if section.name in sections:
            keys.wrong("name", "stands twice. Give each section a name of its own.")
        if told and section.row not in rows:
            keys.wrong("row", f"no [row.{section.row}] in this file.{nearest(section.row, rows)}")
        rows.setdefault(section.row, Row(name=section.row, string=section.row))
        sections[section.name] = section
    if not tables:
        problems.append(Problem("[[section]]", "there is none, and a machine has at least one. Add a [[section]]."))
    order = list(rows)
    found = tuple(sorted(sections.values(), key=lambda s: (order.index(s.row), s.start)))
    for one, other in pairwise(found):
        if one.row == other.row and other.start < one.end - 1e-6:
            where = f"[[section]] '{other.name}' start"
            starts, ends = show(other.start, top.units), show(one.end, top.units)
            problems.append(Problem(where, f"{starts} is before the exit end of '{one.name}' at {ends}: they overlap."))
    return found


def _section(keys: Keys) -> Section | None:
    """One section, None where its place or length is not known."""
    before = len(keys.problems)
    name = keys.text("name", required=True)
    row = keys.text("row", required=True)
    start = keys.length("start", required=True, signed=True)
    length = keys.length("length", required=True, positive=True)
    points = keys.lengths("points")
    bolts = keys.lengths("bolts")
    setback = keys.length("setback", 0.0, signed=True)
    hold = keys.flag("hold")
    keys.finish()
    if len(keys.problems) > before:
        return None
    points = sorted([0.0, length] if points is None else points)
    bolts = [0.0, length] if bolts is None else bolts
    for key, places in (("points", points), ("bolts", bolts)):
        for place in places:
            if not -1e-6 <= place <= length + 1e-6:
                off = show(place, keys.units)
                keys.wrong(key, f"{off} is off the section, which is {show(length, keys.units)} long.")
    if len(points) < 2 or any(b - a < 1e-3 for a, b in pairwise(points)):
        keys.wrong("points", "a section needs two points or more, each at its own place, to show its skew.")
    if len(bolts) != 2 or bolts[1] - bolts[0] < 1e-3:
        keys.wrong("bolts", "a section has two bolt ends, entry first, at two places.")
    if len(keys.problems) > before:
        return None
    return Section(
        name=name,
        row=row,
        start=start,
        length=length,
        points=tuple(points),
        bolts=(bolts[0], bolts[1]),
        setback=setback,
        hold=hold,
    )


def _joints(top: Keys, problems: list[Problem], sections: tuple[Section, ...]) -> tuple[Joint, ...]:
    names = [section.name for section in sections]
    # a section that cannot be used has been told of; its joints are not to blame
    told = [t.get("name") for t in _tables(top, "section", []) if isinstance(t, dict)]
    neighbours = {(a.name, b.name) for a, b in pairwise(sections) if a.row == b.row}
    joints: dict[tuple[str, str], Joint] = {}
    for number, table in enumerate(_tables(top, "joint", problems), 1):
        keys = Keys(table, f"[[joint]] {number}", problems, top.units)
        pair = keys.take("sections", required=True)
        step = _known(keys.length("step", signed=True))
        keys.finish()
        if pair is None:
            continue
        if not (isinstance(pair, list) and len(pair) == 2 and all(isinstance(name, str) for name in pair)):
            keys.wrong("sections", f'{quote(pair)} is not a pair of names. Write ["operator-1", "operator-2"].')
            continue
        for name in pair:
            if name not in told:
                keys.wrong("sections", f"no section {quote(name)} in this file.{nearest(name, names)}")
        key = (pair[0], pair[1])
        if set(pair) <= set(names) and key not in neighbours:
            keys.wrong("sections", "are not neighbours of one row, upstream one first.")
        if key in joints:
            keys.wrong("sections", "this joint stands twice.")
        joints[key] = Joint(upstream=pair[0], downstream=pair[1], step=step)
    order = {pair: i for i, pair in enumerate((a.name, b.name) for a, b in pairwise(sections))}
    return tuple(sorted(joints.values(), key=lambda j: order.get((j.upstream, j.downstream), 0)))
