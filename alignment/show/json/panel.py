"""A panel's result as plain numbers and texts, for other programs. Lengths in the units that are printed."""

from __future__ import annotations

import math
from typing import Any

from alignment import __version__
from alignment.panel.corners import Known
from alignment.panel.found import EDGES, Curve, EndCut, PanelResult, Square, WaveFound
from alignment.panel.limits import Finding
from alignment.panel.next_step import next_step
from alignment.panel.parts import Side
from alignment.panel.readings import Across, Panel
from alignment.panel.widths import Steadiness
from alignment.show.json.lengths import Lengths
from alignment.show.words.panel_figures import BOWED
from alignment.show.words.sources import limit_source

__all__ = ["as_json"]


def as_json(result: PanelResult) -> dict[str, Any]:
    """Everything found on a panel; None where it was not measured, ``limit`` None where none was chosen."""
    panel = result.panel
    out = _Panel(panel)
    twist = result.twist
    return {
        "stringtrue": __version__,
        "panel": {"file": panel.source, "name": panel.name, **panel.record},
        "units": str(panel.units),
        "size": {"width": out(panel.width), "length": out(panel.length)},
        "edges": list(panel.edges),
        "legs": panel.legs or None,
        "turned": panel.turned or None,
        "square": out.square(result.square) if result.square else None,
        "camber": out.camber(result.camber, result) if result.camber else None,
        "bow": out.curve(result.bow) if result.bow else None,
        "strip": out.curve(result.strip) if result.strip else None,
        "twist": {
            "degrees_per_m": twist.finding.value,
            "u": twist.finding.u,
            "higher_at_lead": out.edge(twist.higher),
            **out.judged(twist.finding, 1.0),
        }
        if twist
        else None,
        "waves": [out.wave(wave) for wave in result.waves] if panel.waves_looked_for else None,
        "lengths": [
            {
                "edge": out.edge(side),
                "length": out(f.value + panel.length),
                "u": out(f.u),
                **out.judged(f, base=panel.length),
            }
            for side, f in result.lengths.items()
        ],
        "widths": [
            {
                "place": out.place(place.across),
                "at": out(place.across.place),
                "width": out(place.width.value + panel.width),
                "u": out(place.width.u),
                **out.judged(place.width, base=panel.width),
            }
            for place in result.across
            if place.width
        ],
        "legs_found": [
            {
                "place": out.place(place.across),
                "edge": out.edge(side),
                "height": out(leg),
                **(out.judged(f, base=panel.leg or 0.0) if f else {}),
            }
            for place in result.across
            for side, leg, f in zip(EDGES, place.across.legs, place.legs, strict=True)
            if leg is not None
        ],
        "flare": {str(end): out.known(known) for end, known in result.flare.items()},
        "legs_differ": out.steady(result.legs_differ),
        "girth": out.steady(result.girth),
        "verdict": str(result.verdict) if result.verdict else None,
        "next": str(next_step(result)),
    }


class _Panel(Lengths):
    """Turns what was found on one panel into plain numbers and the names of its edges."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel.units)
        self.panel = panel

    def edge(self, side: Side | None) -> str | None:
        return self.panel.edge(side) if side else None

    def toward(self, side: Side | None) -> str | None:
        return BOWED[side] if side in BOWED else self.edge(side)

    def place(self, across: Across) -> str:
        # a program finds the number beside it
        return str(across.spot) if across.spot else f"{self(across.place):g}"

    def known(self, known: Known | None) -> dict[str, float] | None:
        return {"value": self(known.value), "u": self(known.u)} if known else None

    def judged(self, finding: Finding, size: float | None = None, *, base: float = 0.0) -> dict[str, Any]:
        """Verdict, limit and source; limits are lengths unless ``size`` says what one unit of them is."""
        bounds = finding.bounds
        if bounds is None:
            return dict.fromkeys(("verdict", "p_in", "limit", "limit_name", "source"))
        even = math.isclose(bounds.lower, -bounds.upper) and not base
        ends = [bounds.upper] if even else [base + bounds.lower, base + bounds.upper]
        numbers = [self(end) if size is None else end / size for end in ends]
        return {
            "verdict": str(finding.verdict),
            "p_in": finding.p_in,
            "limit": numbers[0] if even else numbers,
            "limit_name": bounds.limit.name,
            "source": limit_source(bounds.limit),
        }

    def square(self, square: Square) -> dict[str, Any]:
        corners = square.corners

        def end(cut: EndCut | None) -> dict[str, Any] | None:
            if cut is None:
                return None
            f = cut.finding
            own = {
                "out_of_square": self(f.value),
                "u": self(f.u),
                "angle": cut.angle,
                "ahead": self.edge(cut.ahead),
                "off_chord": self(cut.off_chord),
            }
            return own | self.judged(f)

        return {
            "lead": end(square.lead),
            "tail": end(square.tail),
            "both": end(square.both),
            "edge_difference": self.known(corners.edges),
            "edge_difference_of_camber": self.known(square.swept),
            "contradicts_camber": square.contradicts,
            "taper": self.known(corners.taper),
            "misclosure": self(corners.misclosure.value) if corners.misclosure else None,
            "misclosure_u": self(corners.misclosure.u) if corners.misclosure else None,
            "slip": {"length": corners.slip.name, "by": self(corners.slip.by), "alone": corners.slip.alone}
            if corners.slip
            else None,
        }

    def curve(self, curve: Curve) -> dict[str, Any]:
        return {
            "height": self(curve.height),
            "over": self(curve.over),
            "radius": self(curve.radius) if math.isfinite(curve.radius) else None,
            "u": self(curve.height_u),
            "toward": self.toward(curve.toward),
            **self.judged(curve.finding),
            "limit_over": self(curve.finding_over) if curve.finding.bounds else None,
            "height_at_limit": self(abs(curve.finding.value)) if curve.finding.bounds else None,
            "ripple": self(max(arc.ripple for _, arc in curve.sets)),
        }

    def camber(self, camber: Curve, result: PanelResult) -> dict[str, Any]:
        strain = abs(camber.curvature) * result.panel.width
        found = self.curve(camber) | {
            "strain": strain,
            "longer_by": self(strain * result.panel.length),
            "added": None,
        }
        added = result.added
        if added:
            found["added"] = {
                "height": self(added.height),
                "u": self(added.height_u),
                "toward": self.edge(added.toward),
            }
        return found

    def wave(self, found: WaveFound) -> dict[str, Any]:
        by_height = found.finding.bounds is not None and bool(found.finding.bounds.limit.pitches)
        return {
            "place": self.edge(found.wave.side) or "pan",
            "at": [self(place) for place in found.wave.places],
            "height": self(found.wave.height),
            "pitch": self(found.wave.pitch),
            "steepness": found.steepness,
            "i_units": found.i_units,
            "u": found.u,
            **self.judged(found.finding, None if by_height else 1.0),
        }

    def steady(self, found: Steadiness | None) -> dict[str, Any] | None:
        if found is None:
            return None
        return {
            "mean": self(found.mean.value),
            "u": self(found.mean.u),
            "changes": found.changes,
            "spread": self(found.spread.value),
        }
