"""What the readings of a panel leave open: what contradicts itself, what no limit covers, what was not measured."""

from __future__ import annotations

from alignment.lengths import decimal
from alignment.panel.found import PanelResult, Square
from alignment.panel.limits import Finding
from alignment.panel.parts import Part, Spot, Where
from alignment.show.words.panel_figures import height_words, size, where_words, with_u
from alignment.show.words.phrases import unit_mark

__all__ = ["contradiction", "doubts"]


def contradiction(result: PanelResult) -> str:
    """That the edges do not differ as the sweep makes them; empty where they do, or where either was not measured."""
    square, camber, units = result.square, result.camber, result.panel.units
    if square is None or camber is None or not square.contradicts or not (square.swept and square.corners.edges):
        return ""
    (left, right), edges = result.panel.edges, square.corners.edges
    return (
        f"The edges and the sweep contradict each other. A sweep of {height_words(camber, units)} makes {left} minus "
        f"{right} edge {with_u(square.swept.value, square.swept.u, units, signed=True)}. Measured: "
        f"{with_u(edges.value, edges.u, units, signed=True)}. Read both edges and the sweep again. If they read the "
        "same, the two ends were cut at different angles."
    )


def doubts(result: PanelResult) -> list[str]:
    """What the readings leave open, and what was not measured."""
    panel, square = result.panel, result.square
    odd = contradiction(result)
    said = [odd] if odd else []
    unsure = sum(f.verdict is not None and not f.verdict.sure for _, f in result.findings)
    if unsure:
        said.append(f"'?' marks what these readings cannot prove ({unsure} number{'s' * (unsure > 1)}).")
    said += _limits(result)
    bare = list(dict.fromkeys(where.part for where, _ in result.findings if where.part not in panel.limits))
    if bare:
        note = " No accepted limit for oil canning exists." if Part.waves in bare else ""
        said.append(f"No limit chosen for {', '.join(bare)}: measured, not judged.{note}")
    if square:
        said += _undetermined(square)
        if result.camber is None and (square.lead or square.tail):
            said.append(
                "Camber was not measured. Ends are judged against the line from end to end: a sweep alone would look "
                "like ends off square."
            )
    said += _curves(result)
    if result.camber and not result.strip:
        said.append("The strip's own camber was not measured. What the machine added is open.")
    missing = [
        name
        for name, there in (
            ("square", square),
            ("camber", result.camber),
            ("bow", result.bow),
            ("twist", result.twist),
            ("waves", panel.waves_looked_for),
            ("widths", result.across),
        )
        if not there
    ]
    if missing:
        said.append(f"Not measured: {', '.join(missing)}.")
    said.append("This is one panel. Measure another of the same run to see how much they differ.")
    return said


def _curves(result: PanelResult) -> list[str]:
    said = []
    for curve in result.curves:
        name = "The strip's camber" if curve.of is Part.strip_camber else curve.of.capitalize()
        if not curve.agree:
            said.append(f"{name}: the sets of offsets give different curvatures. U was made larger.")
        if any(arc.scattered for _, arc in curve.sets):
            units = result.panel.units
            ripple = decimal(max(arc.ripple for _, arc in curve.sets), units)
            left = f"{ripple}{unit_mark(units)} of ripple, or a wrong reading, is left"
            said.append(f"{name} is no clean arc: {left}. U was made larger.")
        if all(arc.dof == 0 for _, arc in curve.sets):
            said.append(f"{name} was read at three places. A wrong reading would not show. Read five.")
    return said


def _limits(result: PanelResult) -> list[str]:
    """What a limit that was chosen does not speak of, and what it was published for."""
    panel, said = result.panel, []
    silent: dict[str, list[str]] = {}
    for where, finding in result.findings:
        limit = panel.limits.get(where.part)
        if limit and finding.bounds is None:
            silent.setdefault(limit.says, []).append(where_words(where, panel))
    for says, names in silent.items():
        of = f"panel {size(panel.width, panel.units)} by {size(panel.length, panel.units)}, strip "
        of += f"{size(panel.strip_width, panel.units)} wide"
        said.append(f"Not judged: {', '.join(names)}. The limit ({says}) does not cover this size ({of}).")
    kinds: dict[str, list[tuple[Where, Finding]]] = {}
    for where, finding in result.findings:
        if finding.bounds and finding.bounds.limit.given_for:
            kinds.setdefault(finding.bounds.limit.given_for, []).append((where, finding))
    for kind, found in kinds.items():
        judged = ", ".join(where_words(where, panel) for where, _ in found)
        said.append(f"Judged by a limit for {kind}: {judged}. Decide whether this limit fits your panel.")
    return said


def _undetermined(square: Square) -> list[str]:
    if not (square.lead or square.tail or square.both):
        return [
            "Squareness needs both diagonals, or one with the edge and the end that make a triangle with it. Measure "
            "these."
        ]
    if not (square.lead and square.tail):
        end = Spot.lead if square.lead else Spot.tail if square.tail else None
        found = f"the {end} end" if end else "the mean of both ends"
        return [f"These lengths give only {found}. Both edges and both diagonals give each end."]
    if square.corners.misclosure is None:
        return ["Nothing checks the lengths for square. The sixth would (edges, ends, diagonals)."]
    return []
