"""
The file in which a person writes down what was measured on a test panel.

The lead end came out of the machine first, the tail end last; edges are named after the rows, the left one first for a
person who looks downstream. Places along the panel are measured from its lead end. Lengths are in millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from alignment.errors import InputError, Problem, quote
from alignment.files.disk import read_toml
from alignment.files.keys import Keys, open_tables
from alignment.files.templates import filled_in
from alignment.instruments import USUAL_RULE, USUAL_TAPE
from alignment.lengths import FINEST_U, Units, show
from alignment.panel.limits import ARCS, choose
from alignment.panel.parts import Part, Side, Spot
from alignment.panel.possible import Impossible, Why, impossible, within
from alignment.panel.readings import Across, Budget, Corner, Offsets, Panel, Twist, Wave

__all__ = ["TURNS", "parse_panel", "read_panel", "template"]

RECORD: Final = ("machine", "taken", "by", "tape", "coil")
"""What is told of a panel besides its sizes."""
TURNS: Final = ("end-for-end", "over", "both")
LINES: Final = {
    Part.camber: ("outside", "inside"),
    Part.strip_camber: ("outside", "inside"),
    Part.bow: ("over", "under"),
}
LEG_FAR: Final = 0.5
"""A leg farther than this share from its nominal height is taken for a slip of the pen (our judgement, no source)."""


def read_panel(path: str | Path) -> Panel:
    """
    Read what was measured on a test panel.

    Parameters
    ----------
    path : path
        A .toml file in UTF-8.

    Returns
    -------
    Panel
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
    >>> panel = alignment.read_panel(alignment.sample_folder() / "tray.toml")
    >>> panel.edges
    ('operator', 'drive')
    """
    return parse_panel(read_toml(path, "panel file"), Path(path).name)


def parse_panel(text: str, source: str = "panel") -> Panel:
    """
    Read a panel file.

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
    top, head = open_tables(text, source, "panel")
    problems, units = top.problems, top.units
    name = head.text("name", required=True)
    width = head.length("width", required=True, positive=True)
    length = head.length("length", required=True, positive=True)
    edges = _edges(head)
    legs = head.choice("legs", ("up", "down"))
    turned = head.choice("turned", TURNS)
    waves_said = head.choice("waves", ("none",))
    leg = head.told_length("leg", positive=True)
    record: dict[str, str] = {key: head.text(key) for key in RECORD if key in head.table}
    head.finish()
    if problems:
        # names and sizes are needed to read the rest
        raise InputError(source, "this panel cannot be used", problems)
    tape = _budget(top.one("tape"), *USUAL_TAPE[units])
    rule = _budget(top.one("rule"), USUAL_RULE[units])
    lengths = _lengths(top.one("square"), edges, length, width)
    offsets = [_offsets(keys, edges, length) for keys in top.many("offsets")]
    twist = _twist(top.one("twist"), edges, length, width) if "twist" in top.table else None
    waves = [_wave(keys, edges, length) for keys in top.many("wave")]
    across = [_across(keys, edges, length, width, leg) for keys in top.many("across")]
    limits = choose(top.one("limits"), source)
    top.known.append("twist")
    top.finish()
    if Part.leg in limits and leg is None:
        head.wrong("leg", "is needed with a limit on legs: the height that is wanted.")
    if any(o and o.of is Part.bow for o in offsets) and not legs:
        head.wrong("legs", 'is needed with bow: write "up" or "down", as the legs stood while it was measured.')
    if waves and waves_said:
        head.wrong("waves", "says none, and the file has [[wave]] tables. Leave one of them out.")
    if not problems and not (lengths or offsets or twist or waves or across or waves_said):
        none = "nothing was measured. Add [square], [[offsets]], [[wave]] or another."
        problems.append(Problem("[square]", none, lacking=True))
    if problems:
        raise InputError(source, "this panel cannot be used", problems)
    return Panel(
        source=source,
        name=name,
        units=units,
        width=width,
        length=length,
        edges=edges,
        legs=legs,
        turned=turned,
        waves_looked_for=bool(waves or waves_said),
        leg=leg,
        tape=tape,
        rule=rule,
        lengths=lengths,
        offsets=tuple(o for o in offsets if o),
        twist=twist,
        waves=tuple(w for w in waves if w),
        across=tuple(sorted((a for a in across if a), key=lambda a: a.place)),
        limits=limits,
        record=record,
    )


def _edges(head: Keys) -> tuple[str, str]:
    value = head.take("edges")
    if value is None:
        return "operator", "drive"
    texts = isinstance(value, list) and len(value) == 2 and all(isinstance(e, str) for e in value)
    left, right = (" ".join(e.split()) for e in value) if texts else ("", "")
    # each names keys of [square] besides its own: lengths of the ends, and diagonals
    keys = {left, right, "lead", "tail", "pan", f"from_{left}", f"from_{right}"}
    if not (left and right and (left + right).isprintable() and len(keys) == 7):
        head.wrong("edges", f'{quote(value)} is no pair of edges. Write ["operator", "drive"], the left one first.')
        return "operator", "drive"
    return left, right


def _budget(keys: Keys, usual: float, zero: float | None = None) -> Budget:
    """What lengths are read with; ``usual`` stands for the mark, ``zero`` for the zero where one is asked for. [mm]"""
    mark = keys.length("mark", usual, positive=True)
    placing = keys.length("set", mark / 4, finest=FINEST_U)
    common = 0.0 if zero is None else keys.length("zero", zero, finest=FINEST_U)
    keys.finish()
    return Budget(mark=mark, placing=placing, zero=common)


def _side(edges: tuple[str, str], edge: str) -> Side:
    return Side.left if edge == edges[0] else Side.right


def _lengths(keys: Keys, edges: tuple[str, str], length: float, width: float) -> dict[str, tuple[float, ...]]:
    """Sides and diagonals; each one length or a list of repeats."""
    left, right = edges
    names = {
        "left": left,
        "right": right,
        "lead": "lead",
        "tail": "tail",
        "from_left": f"from_{left}",
        "from_right": f"from_{right}",
    }
    found: dict[str, tuple[float, ...]] = {}
    for name, key in names.items():
        if isinstance(keys.table.get(key), list):
            values = keys.lengths(key)
            if values == []:
                keys.wrong(key, "is an empty list. Write the lengths that were read, or leave it out.")
        else:
            one = keys.told_length(key, positive=True)
            values = None if one is None else [one]
        if values:
            found[name] = tuple(values)
    keys.finish()
    for fault in impossible(found, length=length, width=width):
        keys.wrong(names[fault.name], _impossible(fault, names, (width, length), keys.units))
    return found


def _impossible(fault: Impossible, names: dict[str, str], size: tuple[float, float], units: Units) -> str:
    """What was read, what is possible and how to mend it."""
    width, length = (show(s, units) for s in size)
    beside = " and ".join(f"{names[name]}" for name in fault.beside)
    why = {
        Why.nominal: f"for a panel of {width} by {length}",
        Why.other_edge: f"beside {beside}, with ends off square by a quarter of the width at most",
        Why.diagonal: "for a diagonal, with ends off square by a quarter of the width at most",
        Why.triangle: f"beside {beside}: the three make a triangle",
    }[fault.why]
    said = f"read {show(fault.read, units)}; possible is {show(fault.low, units)} to {show(fault.high, units)} {why}."
    return f"{said} Check the reading, and [panel] width and length."


def _place(keys: Keys, key: str, value: float, length: float) -> None:
    if not -0.01 * length <= value <= 1.01 * length:
        off = show(value, keys.units)
        keys.wrong(key, f"{off} is off the panel, which is {show(length, keys.units)} long from its lead end.")


def _offsets(keys: Keys, edges: tuple[str, str], length: float) -> Offsets | None:
    before = len(keys.problems)
    of = Part(keys.choice("of", ARCS, required=True) or Part.camber)
    edge = keys.choice("edge", edges, required=True)
    options = LINES[of]
    line = keys.choice("line", options, options[0])
    places = keys.lengths("places")
    readings = keys.lengths("readings")
    keys.finish()
    for key, values in (("places", places), ("readings", readings)):
        if key not in keys.table:
            keys.lacks(key)
        elif values is not None and len(values) < 3:
            # readings are written down one by one
            (keys.lacks if key == "readings" else keys.wrong)(key, "an arc needs three: both ends and the middle.")
    if places and readings and len(keys.problems) == before:
        if len(places) != len(readings):
            told = f"there are {len(readings)} of them and {len(places)} places. Write one for each."
            (keys.lacks if len(readings) < len(places) else keys.wrong)("readings", told)
        if len({round(place, 3) for place in places}) < 3:
            keys.wrong("places", "an arc needs three different places at least.")
        span = max(places) - min(places)
        if max(readings) - min(readings) > span / 8:
            keys.wrong("readings", f"differ by more than an eighth of the {show(span, keys.units)} they stand on.")
        if of is not Part.strip_camber:
            for place in places:
                _place(keys, "places", place, length)
    if len(keys.problems) > before or places is None or readings is None:
        return None
    return Offsets(of=of, side=_side(edges, edge), line=line, places=tuple(places), readings=tuple(readings))


def _twist(keys: Keys, edges: tuple[str, str], length: float, width: float) -> Twist | None:
    before = len(keys.problems)
    if "angles" in keys.table:
        places, angles = keys.lengths("places"), keys.take("angles")
        angle_u = keys.number("u", 0.1, least=0.001, most=10)
        keys.finish()
        numbers = isinstance(angles, list) and all(
            isinstance(a, int | float) and not isinstance(a, bool) and abs(a) <= 90 for a in angles
        )
        if not numbers:
            keys.wrong("angles", f"{quote(angles)} is no list of degrees. Write for example [0.2, 0.5, 1.1].")
        elif places is None or len(places) != len(angles) or len({round(p, 3) for p in places}) < 2:
            keys.wrong("places", "write one place for each angle, two different ones at least.")
        else:
            for place in places:
                _place(keys, "places", place, length)
        if len(keys.problems) > before:
            return None
        return Twist(places=tuple(places or ()), angles=tuple(float(a) for a in angles), angle_u=angle_u)
    end = keys.choice("end", ("lead", "tail"), required=True)
    edge = keys.choice("edge", edges, required=True)
    lift = keys.length("lift", required=True)
    keys.finish()
    if lift > width:
        keys.wrong("lift", f"read {show(lift, keys.units)}; possible is up to the width, {show(width, keys.units)}.")
    if len(keys.problems) > before:
        return None
    return Twist(corner=Corner(end=Spot(end), side=_side(edges, edge), lift=lift))


def _wave(keys: Keys, edges: tuple[str, str], length: float) -> Wave | None:
    before = len(keys.problems)
    where = keys.choice("where", (*edges, "pan"), required=True)
    height = keys.length("height", required=True)
    pitch = keys.length("pitch", required=True, positive=True)
    places = keys.lengths("places") or []
    keys.finish()
    for place in places:
        _place(keys, "places", place, length)
    if len(keys.problems) == before and height > pitch / 4:
        keys.wrong("height", "is more than a quarter of the pitch, which is no wave in a sheet. Swapped?")
    if len(keys.problems) > before:
        return None
    side = None if where == "pan" else _side(edges, where)
    return Wave(side=side, height=height, pitch=pitch, places=tuple(sorted(places)))


def _across(keys: Keys, edges: tuple[str, str], length: float, wide: float, high: float | None) -> Across | None:
    before = len(keys.problems)
    at = keys.take("at", required=True)
    named = {Spot.lead: 0.0, Spot.middle: length / 2, Spot.tail: length}
    spot = None
    if isinstance(at, str) and at.strip() in named:
        spot = Spot(at.strip())
        place = named[spot]
    else:
        keys.known.pop()
        place = keys.length("at") if at is not None else math.nan
        if not math.isnan(place):
            _place(keys, "at", place, length)
    width = _near(keys, "width", within(wide))
    legs = [_near(keys, f"{edge}_leg", within(high, LEG_FAR) if high else (0.0, math.inf)) for edge in edges]
    keys.finish()
    if width is None and legs == [None, None] and len(keys.problems) == before:
        keys.lacks("width", f"nothing stands here. Write width, {edges[0]}_leg, {edges[1]}_leg or some of these.")
    if len(keys.problems) > before:
        return None
    return Across(spot=spot, place=place, width=width, legs=(legs[0], legs[1]))


def _near(keys: Keys, key: str, possible: Sequence[float]) -> float | None:
    """A size across, which cannot be far from its nominal one."""
    found, (low, high) = keys.told_length(key, positive=True), possible
    if found is not None and not low <= found <= high:
        read, least, most = (show(size, keys.units) for size in (found, low, high))
        keys.wrong(key, f"read {read}; possible is {least} to {most}. Check the reading, and the sizes in [panel].")
    return found


def template(units: Units) -> str:
    """Commented panel file to fill in, in inches or in millimetres."""
    return filled_in("alignment.panel", units)
