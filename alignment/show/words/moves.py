"""The moves in words: what to loosen, which way, at which mark to stop, and what must be read again before."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from alignment.lengths import Units, show
from alignment.machine.layout import Layout
from alignment.show.words.phrases import DIRECTIONS, counted, in_list
from alignment.show.words.stops import reading_words, stop_words
from alignment.train.moves.answers import ReadAgain, Why
from alignment.train.moves.missed import Cause, Missed
from alignment.train.moves.plan import Plan, Step
from alignment.train.solve import Solution, of_string
from alignment.train.state import Measurand

__all__ = [
    "AGAIN",
    "IF_THE_STRING_STAYS",
    "TIGHTEN",
    "by_section",
    "chance_words",
    "job_words",
    "missed_words",
    "move_words",
    "moved",
    "percent",
    "read_again_words",
    "step_lines",
    "string_doubted",
]

IF_THE_STRING_STAYS: Final = "Check the string first. These moves are right only if the string stays as it is."
TIGHTEN: Final = "Tighten, then read both ends again"
AGAIN: Final = f"{TIGHTEN}: tightening moves the section."
WHATS: Final = {Measurand.offset: "offset", Measurand.square: "square", Measurand.step: "step"}
CAUSES: Final = {
    Cause.hold: "it is on hold",
    Cause.done: "it was given as done",
    Cause.travel: "the slot is too short",
    Cause.stops: "no mark of this tape brings it in",
    Cause.joint: "no mark of this tape brings it in together with its neighbour",
    Cause.tape: "no move that this tape can tell would help. Read it with a finer mark",
}


def by_section(steps: Sequence[Step]) -> list[list[Step]]:
    """Steps grouped by section, in their order."""
    found: dict[str, list[Step]] = {}
    for step in steps:
        found.setdefault(step.section, []).append(step)
    return list(found.values())


def step_lines(steps: Sequence[Step], layout: Layout, mark: float, *, wanted: bool = True) -> list[str]:
    """
    The move of one section as sentences: what to do first, then what to expect.

    Parameters
    ----------
    steps : sequence of Step
        Of one section.
    layout : Layout
    mark : float
        Smallest mark of the tape in hand. [mm]
    wanted : bool
        Whether the readings wanted are told.
    """
    units = layout.units
    if len(steps) == 1:
        (step,) = steps
        watch, other = step.watch, step.other
        after = (
            f" {_capital(other.point)} will then read about {stop_words(other.after, mark, units)}."
            if abs(other.after - other.before) >= mark / 2
            else ""
        )
        return [
            f"loosen {step.loosen}, pivot on {step.pivot}. Swing {DIRECTIONS[step.direction]} until the tape reads "
            f"{stop_words(watch.stop, mark, units)}{_at(watch.point, step.loosen)}.",
            f"{_now(steps, mark, units, wanted=wanted)}{after}",
        ]
    one, two = steps
    first = [_set(step, mark, units) for step in steps]
    alike = one.watch.stop == two.watch.stop and one.direction is two.direction
    if alike and _moves(one, mark) and _moves(two, mark):
        first = [f"Set both to {stop_words(one.watch.stop, mark, units)}, {DIRECTIONS[one.direction]}."]
    return [
        f"loosen both ends. {' '.join(first)}",
        f"{_now(steps, mark, units, wanted=wanted)} Moving one end shifts the other slightly: alternate until both "
        "read as given.",
    ]


def _at(point: str, loosen: str) -> str:
    return "" if point == loosen else f" at {point}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _moves(step: Step, mark: float) -> bool:
    """Whether the tape shows that this end moves."""
    return bool(abs(step.watch.before - step.watch.stop) >= mark / 4)


def _set(step: Step, mark: float, units: Units) -> str:
    stop = stop_words(step.watch.stop, mark, units)
    if not _moves(step, mark):
        return f"Keep {step.watch.point} at {stop}."
    return f"Set {step.watch.point} to {stop}, {DIRECTIONS[step.direction]}."


def _now(steps: Sequence[Step], mark: float, units: Units, *, wanted: bool) -> str:
    """``Exit reads 18 9/16 now, wanted 18 3/8.``"""
    read = [f"{step.watch.point} {reading_words(step.watch.read, mark, units)}" for step in steps]
    said = f"Now {in_list(read)}"
    if wanted:
        targets = [reading_words(step.watch.target, mark, units) for step in steps]
        said += f", wanted {in_list(list(dict.fromkeys(targets)))}"
    return f"{said}."


def move_words(steps: Sequence[Step], layout: Layout, mark: float) -> str:
    """The move of one section in one sentence, its name first."""
    return f"{steps[0].section}: {step_lines(steps, layout, mark)[0]}"


def moved(length: float, units: Units) -> str:
    """Length of a move at the bolt, to what matters there: 1/64 in or 0.1 mm."""
    return show(abs(length), units)


def string_doubted(solution: Solution) -> bool:
    """Whether a string is to be checked before anything is moved."""
    return any(of_string(flag) for flag in solution.flags)


def read_again_words(solution: Solution) -> list[str]:
    """What to read again and why, with what was read and what is wanted; flags speak for themselves."""
    return [_again(solution, again) for again in solution.read_again if again.why is not Why.flagged]


def _again(solution: Solution, again: ReadAgain) -> str:
    if again.why is Why.step:
        return f"{again.section} exit and {again.beside} entry: one mark decides whether they are in step."
    reads = _reads(solution, again)
    if again.why is Why.far:
        return f"{again.section}, {in_list(again.points)}: {reads}. That is farther than its slot allows."
    return f"{again.section}, {in_list(again.points)}: {reads}. One mark decides whether to move it."


def _reads(solution: Solution, again: ReadAgain) -> str:
    """``reads 18 7/16 and 18 3/8, wanted 18 3/8``."""
    layout, mark = solution.layout, solution.survey.tape.mark
    i = layout.index[again.section]
    section = layout.sections[i]
    places = {section.point_name(p, layout.units): p for p in section.points}
    read: dict[float, list[float]] = {}
    for reading in solution.survey.fitted:
        if reading.section == again.section:
            read.setdefault(round(reading.place, 6), []).append(reading.value)
    told, wanted = [], []
    for point in again.points:
        place = places.get(point)
        if place is None or round(place, 6) not in read:
            continue
        values = read[round(place, 6)]
        told.append(reading_words(sum(values) / len(values), mark, layout.units))
        target = float(solution.train.target_at(section.start + place)[i])
        wanted.append(reading_words(target, mark, layout.units))
    return f"read {in_list(told)}, wanted {in_list(list(dict.fromkeys(wanted)))}"


def chance_words(plan: Plan) -> str:
    """The chance that the plan does it, and the weakest part."""
    if not plan.steps:
        return ""
    but = ", apart from what is to be read again" if plan.read_again else ""
    said = f"Chance that all is OK then{but}: {percent(plan.chance)}."
    if plan.weakest is not None and len({step.section for step in plan.steps}) > 1:
        said += f" Weakest: {plan.weakest.section}, {percent(plan.weakest.chance)}."
    return said


def percent(chance: float) -> str:
    """A chance in whole per cent, never quite nothing nor quite certain."""
    whole = round(100 * chance)
    return "under 1%" if whole < 1 else "over 99%" if whole > 99 else f"{whole}%"


def missed_words(plan: Plan, layout: Layout) -> list[str]:
    """What the plan does not bring in, by how much, and why."""
    return [_missed(m, layout) for m in plan.missed]


def _missed(missed: Missed, layout: Layout) -> str:
    units = layout.units
    unit = '"' if units is Units.inch else " mm"
    by = show(missed.by, units)
    over = "just over its tolerance" if by in ("0", "0.0") else f"{by}{unit} too far"
    return f"{' / '.join(missed.names)}, {WHATS[missed.what]}: {over}. Why: {CAUSES[missed.cause]}."


def job_words(solution: Solution) -> str:
    """Size of the job in one or two sentences."""
    plan = solution.plan
    said = []
    if string_doubted(solution):
        said.append("Check the string first.")
    again = plan.unread
    if again:
        said.append(f"Read {counted(len(again), 'section')} again{' first' if plan.steps else ''}.")
    if plan.steps:
        sections = len({step.section for step in plan.steps})
        then = "Then, if it stays, move" if string_doubted(solution) else "Move"
        said.append(f"{then} {counted(plan.bolt_ends, 'bolt end')} on {counted(sections, 'section')}.")
    elif plan.missed:
        said.append("Nothing that may be moved would help.")
    elif not again:
        rest = " of what was read" if solution.state.unmeasured else ""
        said.append(f"Nothing{rest} to move{'' if solution.verdict.sure else ', as far as this tape can tell'}.")
    return " ".join(said)
