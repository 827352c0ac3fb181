"""The moves in words: what to loosen, which way, where to stop, and what must be read again before any of it."""

from __future__ import annotations

from collections.abc import Sequence

from alignment.lengths import decimal, show, show_both
from alignment.machine.layout import Layout
from alignment.show.terminal import headed, short, wrap
from alignment.train.flags.flag import Flag
from alignment.train.moves.plan import Plan, Step, Watch
from alignment.train.solve import Solution

__all__ = [
    "by_section",
    "doubted",
    "missed_lines",
    "missed_words",
    "move_lines",
    "moved",
    "step_lines",
    "string_doubted",
]


def by_section(steps: Sequence[Step]) -> list[list[Step]]:
    """Steps grouped by section, in their order."""
    found: dict[str, list[Step]] = {}
    for step in steps:
        found.setdefault(step.section, []).append(step)
    return list(found.values())


def step_lines(steps: Sequence[Step], layout: Layout) -> list[str]:
    """The moves of one section, in short lines: one bolt end swung about the other, or both ends set."""
    units = layout.units
    if len(steps) == 1:
        (step,) = steps
        return [
            f"loosen {step.loosen}, keep {step.snug} snug; swing {step.loosen} {_way(step, layout)}",
            f"tape at {_stop(step.watch, layout)}",
            f"{step.other.point} will then read {show_both(step.other.after, units)}",
        ]
    lines = ["loosen both ends; set entry first, then exit"]
    for step in steps:
        lines += [f"{step.loosen} {_way(step, layout)}", f"  tape at {_stop(step.watch, layout)}"]
    return [*lines, "each shifts the other a little: go to and fro until both read so"]


def _way(step: Step, layout: Layout) -> str:
    return f"{moved(step.move, layout)} {step.way}"


def _stop(watch: Watch, layout: Layout) -> str:
    units = layout.units
    now = show(watch.before, units)
    if decimal(watch.before, units) == decimal(watch.after, units):
        return f"{watch.point} is to stay at {show_both(watch.after, units)}"
    if now == show(watch.after, units):
        now = decimal(watch.before, units)
    if abs(watch.before - watch.read) > layout.tape.mark / 2:
        now = f"{now} by the fitted face, {show(watch.read, units)} as read"
        return f"{watch.point}, {now}: stop at {show_both(watch.after, units)}"
    return f"{watch.point} reads {now} now: stop at {show_both(watch.after, units)}"


def moved(length: float, layout: Layout) -> str:
    """Length of a move, to the notch."""
    return show(abs(length), layout.units, to=layout.moves.notch)


def doubted(solution: Solution) -> set[str]:
    """Sections with a reading to take again before they are moved, and those in step with one of them."""
    dropped = {id(r) for r in solution.dropped}
    flags = [f for f in solution.flags if f.harmful and not _of_string(f) and id(f.reading) not in dropped]
    own = {name for f in flags for name in (f.section, f.beside) if name}
    return own | {name for j in solution.layout.joints for name in j.names if own & set(j.names)}


def string_doubted(solution: Solution) -> str:
    """What is to be done before any move where a string is doubted; empty where none is."""
    doubted_ = any(_of_string(flag) for flag in solution.flags)
    return "Not yet: settle the string first. These are the moves if it stays as it is." if doubted_ else ""


def _of_string(flag: Flag) -> bool:
    # of a string that reads alike at every section too
    return flag.flag.of_string or (bool(flag.string) and not flag.section)


def move_lines(solution: Solution) -> list[str]:
    """The moves in the order of work, under their heading."""
    layout, doubts = solution.layout, doubted(solution)
    groups = by_section(solution.plan.steps)
    width = min(max(len(steps[0].section) for steps in groups), 20)
    lines = [f"MOVES, in this order ({layout.units.plural})"]
    lines += wrap(string_doubted(solution), "    ")
    for number, steps in enumerate(groups, 1):
        first, *more = step_lines(steps, layout)
        if steps[0].section in doubts:
            first, more = "only once what is doubted above has been read again:", [first, *more]
        lines += wrap(first, f"{number:>3} {short(steps[0].section, width)}  ")
        for text in more:
            lines += wrap(text.lstrip(), " " * (width + 6 + 2 * text.startswith("  ")))
    lines += wrap(
        "Amounts are at the bolt; go by the tape. Tighten, then read the section's points again before going to the "
        "next: bolts creep as they are snugged.",
        "    ",
    )
    return lines


def missed_lines(plan: Plan, layout: Layout) -> list[str]:
    """What the plan leaves out of tolerance, and what it leaves nearer its limit than wanted."""
    lines = headed("NOT BROUGHT IN", missed_words(plan, layout))
    if plan.beyond_band:
        names = ", ".join(plan.beyond_band)
        lines += wrap(f"Within tolerance but nearer its limit than wanted: {names}.")
        lines.append("")
    return lines


def missed_words(plan: Plan, layout: Layout) -> list[str]:
    """What the plan does not bring in, and by how much."""
    return [
        f"{m.where}, {m.what}: still {show_both(m.by, layout.units)} {layout.units} beyond tolerance ({m.why})."
        for m in plan.missed
    ]
