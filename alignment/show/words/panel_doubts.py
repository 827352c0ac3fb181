"""What the readings of a panel leave open: what contradicts itself, what no limit speaks of, what was not measured."""

from __future__ import annotations

from alignment.lengths import decimal
from alignment.panel.panel import PanelResult, Square
from alignment.show.words.panel_figures import height_words, size, with_u

__all__ = ["contradiction", "doubts"]


def contradiction(result: PanelResult) -> str:
    """That the edges do not differ as the sweep makes them; empty where they do, or where either was not measured."""
    square, camber, units = result.square, result.camber, result.panel.units
    if square is None or camber is None or not square.contradicts or not (square.swept and square.corners.edges):
        return ""
    (left, right), edges = result.panel.edges, square.corners.edges
    return (
        f"The lengths and the sweep contradict one another. A sweep of {height_words(camber, units)} {units} makes "
        f"{left} less {right} edge {with_u(square.swept.value, square.swept.u, units, signed=True)}; measured it is "
        f"{with_u(edges.value, edges.u, units, signed=True)} {units}. Either a reading is wrong, or the two ends were "
        "cut at different angles to the strip. Read both edges and the sweep again."
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
    bare = list(dict.fromkeys(_limit_key(n) for n, f in result.findings if _limit_key(n) not in panel.limits))
    if bare:
        note = "; no accepted limit for oil canning exists" if "waves" in bare else ""
        said.append(f"No limit chosen for {', '.join(bare)}: measured, not judged{note}.")
    if square:
        said += _undetermined(square)
        if result.camber is None and (square.lead or square.tail):
            said.append(
                "Camber was not measured: ends are told against the line from end to end, and a sweep alone would show "
                "as ends off square."
            )
    for curve in result.curves:
        name = "The strip's camber" if curve.of == "strip" else curve.of.capitalize()
        if not curve.agree:
            said.append(f"{name}: the sets of offsets tell different curvatures; U was made larger.")
        if any(arc.scattered for _, arc in curve.sets):
            ripple = decimal(max(arc.ripple for _, arc in curve.sets), panel.units)
            said.append(
                f"{name} is no clean arc: {ripple} {panel.units} of ripple, or a slip, is left over; U was made larger."
            )
        if all(arc.dof == 0 for _, arc in curve.sets):
            said.append(f"{name} was read at three places, and nothing checks them. Five would.")
    if result.camber and not result.strip:
        said.append("The strip's own camber was not measured: how much the machine added is open.")
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
    said.append("One panel is one panel: another of the same run shows how much they differ.")
    return said


def _limit_key(name: str) -> str:
    """What a finding is judged under, in ``[limits]``."""
    if name == "strip camber":
        return "strip"
    return next((key for key in ("square", "waves", "width", "length", "leg") if key in name), name)


def _limits(result: PanelResult) -> list[str]:
    """What a limit that was chosen does not speak of, and what it was published for."""
    panel, said = result.panel, []
    silent: dict[str, list[str]] = {}
    for name, finding in result.findings:
        limit = panel.limits.get(_limit_key(name))
        if limit and finding.bounds is None:
            silent.setdefault(limit.says, []).append(name)
    for says, names in silent.items():
        of = f"panel {size(panel.width, panel.units)} by {size(panel.length, panel.units)}, strip "
        of += f"{size(panel.strip_width, panel.units)} {panel.units} wide"
        said.append(f"Not judged, since the limit ({says}) does not speak of this size ({of}): {', '.join(names)}.")
    kinds: dict[str, list[str]] = {}
    for name, finding in result.findings:
        if finding.bounds and finding.bounds.limit.given_for:
            kinds.setdefault(finding.bounds.limit.given_for, []).append(name)
    said += [
        f"Judged by a limit published for {kind}: {', '.join(names)}. Whether it holds for this panel is yours to say."
        for kind, names in kinds.items()
    ]
    return said


def _undetermined(square: Square) -> list[str]:
    if not (square.lead or square.tail or square.both):
        return [
            "Squareness takes both diagonals, or one with the edge and the end that make a triangle with it; these "
            "lengths do not tell it."
        ]
    if not (square.lead and square.tail):
        found = "the lead end" if square.lead else "the tail end" if square.tail else "the mean of both ends"
        return [f"These lengths tell only {found}; both edges and both diagonals tell each end."]
    if square.corners.misclosure is None:
        return ["Nothing checks the lengths for square: the sixth (edges, ends, diagonals) would."]
    return []
