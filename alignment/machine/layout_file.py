"""
Reading a layout file, with every problem in it told at once.

Lengths come out in millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from alignment.errors import InputError, LengthError, Problem, nearest, quote
from alignment.files.disk import read_toml
from alignment.files.keys import Keys, open_tables
from alignment.instruments import CLASSES, USUAL_TAPE, Tape, check_mark, class_zero
from alignment.lengths import FINEST_U, INCH, Units, show
from alignment.machine.layout import Joint, Layout, MoveRules, Plane, Row, Section, String, Strip, Tolerance

if TYPE_CHECKING:
    from alignment.machine.sag import Sag

__all__ = ["parse_layout", "read_layout"]

IN: Final = float(INCH)


def read_layout(path: str | Path) -> Layout:
    """
    Read the layout of a machine.

    Parameters
    ----------
    path : path
        A .toml file in UTF-8.

    Returns
    -------
    Layout
        Lengths in millimetres; ``shown_in`` sets the units to print in.

    Raises
    ------
    FileError
        It cannot be read, or is another kind of file.
    InputError
        With everything in it that cannot be used, in the order of the file.

    Examples
    --------
    >>> import alignment
    >>> machine = alignment.read_layout(alignment.sample_folder() / "machine.toml")
    >>> machine.name
    'Liner line, bay 2'
    """
    return parse_layout(read_toml(path, "layout"), Path(path).name)


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
    top, machine = open_tables(text, source, "machine")
    problems = top.problems
    name = machine.text("name", required=True)
    strip = _strip(machine)
    tolerance = _tolerance(top.one("tolerance"))
    moves = _moves(top.one("moves"))
    strings = _strings(top)
    rows = _rows(top, problems)
    told = list(rows)
    tape = _tape(top.one("tape"), max((row.target or 0.0 for row in rows.values()), default=0.0))
    sections = _sections(top, problems, rows)
    hung = {name: rows[name] for name in told} if told else rows
    _match_strings(problems, hung, strings)
    joints = _joints(top, sections)
    for keys in (machine, top):
        keys.finish()
    if problems:
        raise InputError(source, "this layout cannot be used", problems)
    return Layout(
        source=source,
        name=name,
        units=top.units,
        strip=strip,
        tape=tape,
        tolerance=tolerance,
        moves=moves,
        strings=strings or {row.string: String(name=row.string) for row in rows.values()},
        rows=rows,
        sections=sections,
        joints=joints,
        assumed=_assumed(top.table),
    )


def _assumed(table: Mapping[str, Any]) -> tuple[str, ...]:
    """Tables that a file leaves out, and the tolerances that it leaves out of the table that is there."""
    limits = table.get("tolerance", {})
    own = [f"tolerance.{f.name}" for f in fields(Tolerance) if "tolerance" in table and f.name not in limits]
    return (*(key for key in ("tape", "tolerance") if key not in table), *own)


def _strip(machine: Keys) -> Strip:
    width = machine.told_length("strip_width", positive=True)
    thickness = machine.told_length("strip_thickness", positive=True)
    material = machine.text("material")
    strength = machine.quantity("yield", {"MPa": 1.0, "N/mm2": 1.0, "ksi": 6.894757, "psi": 0.006894757})
    return Strip(width=width, thickness=thickness, material=material, yield_strength=strength)


def _default(units: Units, inches: float, millimetres: float) -> float:
    return inches * IN if units is Units.inch else millimetres


def _tape(keys: Keys, reading: float) -> Tape:
    """The tape, its zero from its class where one is told; ``reading`` is the longest target. [mm]"""
    named = keys.choice("class", CLASSES)
    if named and "zero" in keys.table:
        keys.wrong("class", "stands beside a zero. Give the class or the zero, not both.")
    mark, zero = USUAL_TAPE[keys.units]
    tape = Tape(
        mark=_mark(keys, keys.length("mark", mark, positive=True)),
        placing=keys.told_length("set", finest=FINEST_U),
        feeler=keys.length("feeler", _default(keys.units, 0.003, 0.08), positive=True, finest=FINEST_U),
        strong_shy=keys.flag("strong_shy"),
        tilt=keys.number("tilt", 2.0, least=0, most=30),
        zero=keys.length("zero", class_zero(named, reading) if named else zero, finest=FINEST_U),
    )
    keys.finish()
    return tape


def _mark(keys: Keys, mark: float) -> float:
    """A smallest mark that can be one; a problem is noted where it cannot."""
    try:
        return check_mark(mark, str(keys.table.get("mark", "")))
    except LengthError as error:
        keys.wrong("mark", str(error))
        return USUAL_TAPE[keys.units][0]


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
        travel=keys.told_length("travel", positive=True),
        creep=keys.length("creep", _default(keys.units, 1 / 64, 0.4), finest=FINEST_U),
        bolt=keys.number("bolt", 0.06, least=0, most=1),
    )
    keys.finish()
    return rules


def _strings(top: Keys) -> dict[str, String]:
    strings = {}
    for name, keys in top.named("string").items():
        strings[name] = String(name=name, at=keys.told_length("at", signed=True), sag=_sag(keys))
        keys.finish()
    return strings


GRAVITY: Final = 9.80665
"""Standard acceleration of gravity [m/s2], ISO 80000-3."""
_WEIGHTS: Final = {"g/m": GRAVITY * 1e-6, "kg/m": GRAVITY * 1e-3, "N/m": 1e-3, "lb/ft": 4.4482216 / 304.8}
_TENSIONS: Final = {"N": 1.0, "kgf": GRAVITY, "lb": 4.4482216, "lbf": 4.4482216}


def _sag(keys: Keys) -> Sag | None:
    """How a string hangs: weight per length, tension and the two anchors, all three or none."""
    weight = keys.quantity("weight", _WEIGHTS)
    tension = keys.quantity("tension", _TENSIONS)
    anchors = keys.lengths("anchors")
    share_u = keys.number("tension_u", 0.1, least=0, most=1)
    told = [key for key in ("weight", "tension", "anchors") if key in keys.table]
    if not told:
        return None
    for key in ("weight", "tension", "anchors"):
        if key not in told:
            keys.wrong(key, "is missing: a string's sag needs its weight, its tension and its anchors.")
    if anchors is not None and (len(anchors) != 2 or anchors[1] - anchors[0] < 1):
        keys.wrong("anchors", "a string has two anchors, the upstream one first.")
        anchors = None
    if weight is None or tension is None or anchors is None:
        return None
    # few machines tell it
    from alignment.machine.sag import Sag

    return Sag(first=anchors[0], last=anchors[1], weight=weight, tension=tension, share_u=share_u)


def _rows(top: Keys, problems: list[Problem]) -> dict[str, Row]:
    rows = {}
    for name, keys in top.named("row").items():
        plane = Plane(keys.choice("plane", list(Plane), Plane.side))
        sides = ("left", "right") if plane is Plane.side else ("above", "below")
        row = Row(
            name=name,
            string=keys.text("string", name),
            plane=plane,
            side=keys.choice("string_side", sides, "" if plane is Plane.side else "above"),
            target=keys.told_length("target"),
        )
        keys.finish()
        rows[name] = row
    planes: dict[str, Plane] = {}
    for row in rows.values():
        if planes.setdefault(row.string, row.plane) is not row.plane:
            what = f"'{row.string}' serves another plane. Name a string for heights and one for the side."
            problems.append(Problem(f"[row.{row.name}] string", what))
    return rows


def _match_strings(problems: list[Problem], rows: dict[str, Row], strings: dict[str, String]) -> None:
    """Note rows without their string and strings without a row, in a file that has ``[string]`` tables."""
    hung = [row.string for row in rows.values()]
    problems += [
        Problem(f"[row.{row.name}] string", f"no [string.{row.string}] in this file.{nearest(row.string, strings)}")
        for row in rows.values()
        if strings and row.string not in strings
    ]
    problems += [
        Problem(f"[string.{name}]", f"no row hangs on this string.{nearest(name, hung)}")
        for name in strings
        if rows and name not in hung
    ]


def _sections(top: Keys, problems: list[Problem], rows: dict[str, Row]) -> tuple[Section, ...]:
    """Sections of a file, row by row and entry to exit; a file without ``[row]`` tables has its rows from here."""
    tables = top.many("section", called="name")
    told = bool(rows)
    sections: dict[str, Section] = {}
    for keys in tables:
        section = _section(keys)
        if section is None:
            continue
        if section.name in sections:
            keys.wrong("name", "stands twice. Give each section a name of its own.")
        if told and section.row not in rows:
            keys.wrong("row", f"no [row.{section.row}] in this file.{nearest(section.row, rows)}")
        rows.setdefault(section.row, Row(name=section.row, string=section.row))
        sections[section.name] = section
    if not top.table.get("section"):
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
    if name.lstrip(' "').startswith("#"):
        keys.wrong("name", f"{quote(name)} starts with '#', which marks a note in a survey. Begin it otherwise.")
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


def _joints(top: Keys, sections: tuple[Section, ...]) -> tuple[Joint, ...]:
    names = [section.name for section in sections]
    # a section that cannot be used has been told of; its joints are not to blame
    listed = top.table.get("section")
    said = [t.get("name") for t in listed if isinstance(t, dict)] if isinstance(listed, list) else []
    told = [" ".join(name.split()) for name in said if isinstance(name, str)]
    neighbours = {(a.name, b.name) for a, b in pairwise(sections) if a.row == b.row}
    joints: dict[tuple[str, str], Joint] = {}
    for keys in top.many("joint"):
        pair = keys.take("sections", required=True)
        step = keys.told_length("step", signed=True)
        keys.finish()
        if pair is None:
            continue
        if not (isinstance(pair, list) and len(pair) == 2 and all(isinstance(name, str) for name in pair)):
            keys.wrong("sections", f'{quote(pair)} is not a pair of names. Write ["operator-1", "operator-2"].')
            continue
        pair = [" ".join(name.split()) for name in pair]
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
