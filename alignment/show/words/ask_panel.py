"""What is asked of a test panel: its sizes and limits, kept with its profile, and what was measured on one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import tomlkit

from alignment.errors import LengthError
from alignment.lengths import Units, parse, show
from alignment.panel.limits import ARCS, catalogue
from alignment.panel.parts import Part
from alignment.show.words.filling import Place, Question, held, question

__all__ = ["first_panel", "measured", "panel_job", "profile"]

Doc = Any
KEPT: Final = ("panel", "tape", "rule", "limits")
"""Tables that are of every panel of a profile."""
OF_ONE: Final = ("taken", "by", "coil", "turned", "waves")
"""Keys that are of one panel."""
READ_TWICE: Final = "Read more than once: type all, with commas between. Enter: not measured."
LEAD: Final = "The lead end came out of the machine first."
HANDS: Final = "The left edge first, of a person who looks the way the strip runs."
ARC_WORDS: Final = {
    Part.camber: ("Camber: the edge that is hollow", "A straightedge or string along the hollow edge; read the gaps."),
    Part.bow: ("Bow: the edge it was read under", "The panel on a flat; read the gaps from the flat up to the edge."),
    Part.strip_camber: ("Camber of the strip before forming: its hollow edge", "A length of strip, laid flat."),
}
LIMIT_WORDS: Final = {
    Part.square: "square, over the width",
    Part.length: "length, either way",
    Part.width: "width, either way",
    Part.leg: "legs, either way",
}


def first_panel(units: Units | None) -> str:
    """What a new profile begins with."""
    told = "" if units is None else f'units = "{units}"\n'
    return f"# A panel as it should be. Measure one: stringtrue enter, with this file.\n\n[panel]\n{told}"


def panel_job(text: str, taken: str, by: str = "") -> str:
    """What the file of one panel begins with: sizes and limits of its profile, and nothing measured yet."""
    doc: Doc = tomlkit.parse(text)
    for name in [name for name in doc if name not in KEPT]:
        doc.remove(name)
    for key in OF_ONE:
        doc["panel"].pop(key, None)
    doc["panel"]["taken"] = taken
    if by:
        doc["panel"]["by"] = by
    return tomlkit.dumps(doc)


def profile(doc: Mapping[str, Any]) -> list[Question]:
    """Name, sizes, what it is measured with, and limits."""
    metric = held(doc, ("panel", "units")) == Units.mm
    tape, rule, height, over = ("1", "0.5", "6", "2400") if metric else ("1/16", "1/64", "1/4", "96")
    asked = [
        question(doc, ("panel", "units"), "Units of bare numbers, in or mm", default="in", needed=True),
        question(doc, ("panel", "name"), "Name of the panel", default="Test panel", needed=True),
        question(doc, ("panel", "width"), "Width, edge to edge", needed=True),
        question(doc, ("panel", "length"), "Length", needed=True),
        question(doc, ("panel", "leg"), "Height of its legs", help="Enter where it has none."),
        question(
            doc, ("panel", "edges"), "Its two edges", default="operator, drive", needed=True, several=True, help=HANDS
        ),
        question(doc, ("tape", "mark"), "Smallest mark of the tape, for edges and diagonals", default=tape),
        question(doc, ("rule", "mark"), "Smallest mark of the rule, for gaps and heights", default=rule),
    ]
    for part in ARCS:
        asked += _arc_limit(doc, part, height, over)
    for part, words in LIMIT_WORDS.items():
        if part is not Part.leg or held(doc, ("panel", "leg")):
            asked.append(question(doc, ("limits", part), f"Limit of {words}", help=_published(part)))
    twist = f"Limit of twist, as {'1.5 deg/m' if metric else '0.5 deg/ft'}"
    asked.append(question(doc, ("limits", Part.twist), twist))
    return asked


def _published(part: Part) -> str:
    names = [name for name, limit in catalogue().items() if part in limit.judges]
    return f"Your own number, or a published limit: {', '.join(names)}. Enter: none." if names else "Enter: none."


def _arc_limit(doc: Mapping[str, Any], part: Part, height: str, over: str) -> list[Question]:
    """A published limit by its name, or a height over a length."""
    named = {name for name, limit in catalogue().items() if part in limit.judges}
    what = {Part.camber: "camber", Part.bow: "bow", Part.strip_camber: "the strip's own camber"}[part]
    place: Place = ("limits", part)
    own, by_name = (
        question(doc, p, f"Limit of {what}, {height} or a published one", name=str(part))
        for p in ((*place, "height"), place)
    )
    is_named = isinstance(held(doc, place), str)

    def keep(into: Doc, typed: str) -> None:
        if (typed in named) != is_named:
            into.get("limits", {}).pop(part, None)
        (by_name if typed in named else own).keep(into, typed)

    first = Question(
        name=str(part), words=own.words, stands=by_name.stands if is_named else own.stands, keep=keep,
        drop=by_name.drop, help=_published(part),
    )  # fmt: skip
    if is_named or not own.stands:
        return [first]
    return [first, question(doc, (*place, "over"), f"Limit of {what}, over what length", default=over, needed=True)]


def measured(doc: Mapping[str, Any]) -> list[Question]:
    """Who measures, corner to corner, the arcs, twist, waves and widths."""
    left, right = held(doc, ("panel", "edges")) or ("operator", "drive")
    asked = [
        question(doc, ("panel", "by"), "Your name"),
        question(doc, ("panel", "coil"), "Coil"),
        *(
            question(doc, ("square", key), words, several=True, help=f"{help_} {READ_TWICE}")
            for key, words, help_ in (
                (left, f"Length of the {left} edge", LEAD),
                (right, f"Length of the {right} edge", LEAD),
                ("lead", "Width at the lead end", LEAD),
                ("tail", "Width at the tail end", LEAD),
                (f"from_{left}", f"Diagonal from the lead corner of {left}", "To the tail corner of the other edge."),
                (f"from_{right}", f"Diagonal from the lead corner of {right}", "To the tail corner of the other edge."),
            )
        ),
        question(
            doc, ("panel", "legs"), "Legs up or down, as it is measured", default="up", needed=True, only=("up", "down")
        ),
    ]
    for part in ARCS:
        asked += _arc(doc, part, (left, right))
    asked += _twist(doc, (left, right))
    asked += _waves(doc, (left, right))
    for spot in ("lead", "middle", "tail"):
        asked += _across(doc, spot, (left, right))
    return asked


def _arc(doc: Mapping[str, Any], part: Part, edges: tuple[str, str]) -> list[Question]:
    """The edge, the places, and a gap at each."""
    tables = held(doc, ("offsets",)) or []
    k = next((k for k, table in enumerate(tables) if table.get("of") == part), len(tables))
    at: Place = ("offsets", k)
    words, how = ARC_WORDS[part]
    also = {(*at, "of"): str(part), **({(*at, "line"): "under"} if part is Part.bow else {})}
    edge = question(
        doc, (*at, "edge"), f"{words}, {edges[0]} or {edges[1]}", name=f"{part}.edge", only=edges, also=also,
        help=f"{how} Enter: not measured.",
    )  # fmt: skip

    def drop(into: Doc) -> None:
        del into["offsets"][k]

    edge = Question(
        name=edge.name, words=edge.words, stands=edge.stands, keep=edge.keep, drop=drop, help=edge.help
    )  # fmt: skip
    if not edge.stands:
        return [edge]
    called = {Part.camber: "Camber", Part.bow: "Bow", Part.strip_camber: "Strip"}[part]
    places = question(
        doc, (*at, "places"), f"{called}, read at these places from the lead end", name=f"{part}.places",
        default=", ".join(_quarters(doc)), needed=True, several=True,
    )  # fmt: skip
    gaps = [
        question(doc, (*at, "readings", n), f"{called}, gap at {place}", name=f"{part}.{n}", needed=True)
        for n, place in enumerate(held(doc, (*at, "places")) or ())
    ]
    return [edge, places, *gaps]


def _quarters(doc: Mapping[str, Any]) -> list[str]:
    """Both ends of the panel, its middle, and halfway between."""
    units = Units(held(doc, ("panel", "units")))
    try:
        length = float(parse(held(doc, ("panel", "length")), units))
    except LengthError:
        return []
    return [show(length * k / 4, units).removesuffix(".0") for k in range(5)]


def _twist(doc: Mapping[str, Any], edges: tuple[str, str]) -> list[Question]:
    how = "Three corners down on a flat. Enter: not measured, or none."
    end = question(doc, ("twist", "end"), "Twist: the end that lifts, lead or tail", only=("lead", "tail"), help=how)

    def drop(into: Doc) -> None:
        del into["twist"]

    first = Question(name=end.name, words=end.words, stands=end.stands, keep=end.keep, drop=drop, help=how)
    if not end.stands:
        return [first]
    corner = question(doc, ("twist", "edge"), f"Twist: its edge, {edges[0]} or {edges[1]}", needed=True, only=edges)
    return [first, corner, question(doc, ("twist", "lift"), "Twist: how far the corner lifts", needed=True)]


def _waves(doc: Mapping[str, Any], edges: tuple[str, str]) -> list[Question]:
    """No waves at all, or each run of them."""
    places = (*edges, "pan")
    runs = held(doc, ("wave",)) or []
    asked = []
    for k in range(len(runs) + 1):
        at: Place = ("wave", k)
        where = question(doc, (*at, "where"), "", only=(*places, *(() if k else ("none",))))
        none = question(doc, ("panel", "waves"), "")

        def keep(into: Doc, typed: str, where: Question = where, none: Question = none) -> None:
            if typed == "none":
                none.keep(into, typed)
            else:
                where.keep(into, typed)
                none.drop(into)

        def drop(into: Doc, k: int = k, none: Question = none) -> None:
            none.drop(into)
            if k < len(into.get("wave", ())):
                del into["wave"][k]

        first = f"Waves, where: {', '.join(places)}; none where you looked and saw none"
        asked.append(
            Question(
                name=where.name, words=f"More waves, where: {', '.join(places)}" if k else first,
                stands=where.stands or ("" if k else none.stands), keep=keep, drop=drop,
                help="The pan is the flat between the edges. Enter where you did not look, or there are no more.",
            )
        )  # fmt: skip
        if where.stands:
            asked += [
                question(doc, (*at, "height"), f"Waves in {where.stands}, height from flat to crest", needed=True),
                question(doc, (*at, "pitch"), f"Waves in {where.stands}, from crest to crest", needed=True),
            ]
        elif none.stands:
            break
    return asked


def _across(doc: Mapping[str, Any], spot: str, edges: tuple[str, str]) -> list[Question]:
    """Width and legs at one place along the panel."""
    tables = held(doc, ("across",)) or []
    k = next((k for k, table in enumerate(tables) if table.get("at") == spot), len(tables))
    at: Place = ("across", k)
    sizes = [("width", "width over the pan")]
    if held(doc, ("panel", "leg")):
        sizes += [(f"{edge}_leg", f"{edge} leg") for edge in edges]
    where = {"lead": "Lead end", "middle": "Middle", "tail": "Tail end"}[spot]
    return [
        question(doc, (*at, key), f"{where}, {words}", name=f"{spot}.{key}", also={(*at, "at"): spot})
        for key, words in sizes
    ]
