"""What is said of one section from two readings."""

from __future__ import annotations

from alignment.lengths import decimal, show
from alignment.machine.layout import Direction
from alignment.show.page import Degree, Page, Part, Text, items
from alignment.show.words.doubts import doubt_words
from alignment.show.words.moves import (
    TIGHTEN,
    by_section,
    missed_words,
    percent,
    read_again_words,
    step_lines,
)
from alignment.show.words.opening import opening
from alignment.show.words.phrases import DIRECTIONS, unit_mark
from alignment.show.words.stops import reading_words
from alignment.train.moves.plan import Step
from alignment.train.solve import Solution

__all__ = ["square_page"]


def square_page(solution: Solution) -> Page:
    """The answer on one page."""
    layout, units, mark = solution.layout, solution.layout.units, solution.survey.tape.mark
    entry, exit_ = (reading_words(r.value, mark, units) for r in solution.survey.readings)
    target = _target(solution)
    wanted = f", wanted {reading_words(target, mark, units)}" if target is not None else ""
    doubted = doubt_words(layout, solution.survey.readings[:1], solution.survey.readings[1], units)
    again = [f"Exit reads {doubted}"] if doubted else read_again_words(solution)
    steps = [] if doubted else [line for group in by_section(solution.plan.steps) for line in _move(solution, group)]
    act = "read both ends again." if again else steps[0] if steps else ""
    more = steps[1:] if steps and not again else []
    return Page(
        title=f"Entry {entry}, exit {exit_}{wanted}",
        parts=(
            # no headings: one section is one glance
            opening(_verdict(solution), act, sends=bool(act), after=more if act else [_nothing(solution)]),
            Part(heading="Read both ends again first", blocks=items(again)),
            Part(heading="Move then", blocks=items(steps if again else ())),
            Part(heading="Still out after this move", blocks=items(missed_words(solution.plan, layout))),
            Part(blocks=tuple(Text(words=said) for said in _doubts(solution, doubted=bool(again)))),
            Part(heading="Taken", blocks=items(_taken(solution)), degree=Degree.full),
        ),
        act=act,
    )


def _target(solution: Solution) -> float | None:
    (row,) = solution.layout.rows.values()
    return row.target


def _verdict(solution: Solution) -> list[str]:
    layout, units = solution.layout, solution.layout.units
    (section,), (state,) = layout.sections, solution.state.sections
    skew = state.skew
    assert skew is not None  # noqa: S101  # two readings at two places always give one
    chance = "" if state.chance is None else f" Chance of OK: {percent(state.chance)}."
    way = "farther from the string than" if skew.value > 0 else "nearer to the string than"
    amount = show(abs(skew.value), units)
    unit = unit_mark(units)
    apart = f"{amount}{unit} {way}" if amount not in ("0", "0.0") else "as far from the string as"
    long = f"{show(section.length, units)}{unit}"
    limits = f"square {show(skew.tolerance, units)}"
    if _target(solution) is not None:
        limits += f", offset {show(layout.tolerance.offset, units)}"
    return [f"{solution.verdict.printed}: exit is {apart} entry, over {long}.", f"Tolerance {limits}.{chance}"]


def _nothing(solution: Solution) -> str:
    return f"Nothing to move{'' if solution.verdict.sure else ', as far as this tape can tell'}."


def _move(solution: Solution, group: list[Step]) -> list[str]:
    """What to do, then what goes with it. What is read now and wanted stands in the title."""
    layout, mark = solution.layout, solution.survey.tape.mark
    lines = [step_lines(group, layout, mark)[0]]
    if len(group) == 1 and _target(solution) is None:
        (step,) = group
        back = DIRECTIONS[Direction.away if step.direction is Direction.toward else Direction.toward]
        lines.append(
            f"Without --target only square is judged. If {step.loosen} is where it should be, loosen {step.pivot} "
            f"instead and swing it {back}, as far."
        )
    return [*lines, f"{TIGHTEN}. Chance of OK then: {percent(solution.plan.chance)}."]


def _doubts(solution: Solution, *, doubted: bool) -> list[str]:
    said = [] if doubted else ["Each end was read once. A wrong reading would not show: read both again."]
    if _target(solution) is None and not solution.plan.steps:
        said.append("Only square is judged, not where the section is. Give --target to judge that as well.")
    return said


def _taken(solution: Solution) -> list[str]:
    layout, units = solution.layout, solution.layout.units
    (section,) = layout.sections
    bolts = " and ".join(show(place, units) for place in section.bolts)
    (state,) = solution.state.sections
    assert state.skew is not None  # noqa: S101  # as above
    return [
        f"Bolts at {bolts} from the entry end, mark {show(layout.tape.mark, units)}{unit_mark(units)}.",
        f"U of square {decimal(state.skew.expanded, units)}.",
    ]
