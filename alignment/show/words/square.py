"""What is said of one section from two readings."""

from __future__ import annotations

from alignment.lengths import decimal, show, show_both
from alignment.machine.layout import Layout
from alignment.machine.plausible import doubt
from alignment.show.terminal import caution_lines, wrap
from alignment.show.words.moves import step_lines
from alignment.train.solve import Solution

__all__ = ["square_text"]


def square_text(solution: Solution) -> str:
    """The answer on one screen."""
    layout, units = solution.layout, solution.layout.units
    (section,) = layout.sections
    skew = solution.state.sections[0].skew
    assert skew is not None  # noqa: S101  # two readings at two places always give one
    way = "farther from the string than" if skew.value > 0 else "nearer to the string than"
    apart = f"{show_both(abs(skew.value), units)} {units} {way}" if abs(skew.value) > 1e-6 else "as far off as"
    sure = "" if skew.verdict.sure else f"; {100 * skew.p_in:.0f}% likely square"
    lines = [
        f"{skew.verdict.printed}: exit is {apart} entry, over {show(section.length, units)} {units}.",
        f"Tolerance {show_both(skew.tolerance, units)}; U {decimal(skew.expanded, units)}{sure}.",
        "",
    ]
    doubted = doubt(layout, solution.survey.readings[:1], solution.survey.readings[1], units)
    if doubted:
        lines += ["READ BOTH ENDS AGAIN FIRST", *wrap(f"Exit reads {doubted}", "  "), ""]
    if solution.plan.steps:
        lines += ["BEFORE A BOLT IS TOUCHED", *caution_lines(), "", "MOVE", *_move(solution), ""]
    else:
        lines += [f"Nothing to move{'' if skew.verdict.sure else ', as far as this tape can tell'}.", ""]
    lines += ["DOUBTS", *wrap(_doubts(layout), "  ")]
    return "\n".join(lines) + "\n"


def _move(solution: Solution) -> list[str]:
    steps = solution.plan.steps
    lines = [line for text in step_lines(steps, solution.layout) for line in wrap(text, "  ")]
    if len(steps) == 1:
        lines += wrap(
            f"Or swing {steps[0].snug} as far the other way, where {steps[0].loosen} is where it should be.", "  "
        )
    return [*lines, *wrap("Tighten, then read both ends again: bolts creep as they are snugged.", "  ")]


def _doubts(layout: Layout) -> str:
    units = layout.units
    (section,) = layout.sections
    bolts = " and ".join(show(place, units) for place in section.bolts)
    return (
        f"Each end was read once and nothing checks it: read both again. Taken: bolts at {bolts}, "
        f"mark {show(layout.tape.mark, units)}, notch {show(layout.moves.notch, units)}. Only square is judged here, "
        "not where the section stands."
    )
