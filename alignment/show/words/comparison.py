"""What a comparison of two surveys says to a person: two sentences, then the tables, then the doubts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from alignment.change.comparison import Comparison, Outcome, PlannedMove
from alignment.change.motion import Motion, Status, StringChange
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Layout, Row
from alignment.machine.survey import Survey
from alignment.show.terminal import caution_lines, headed, short, wrap
from alignment.show.words.phrases import in_list
from alignment.uncertainty import COVERAGE

__all__ = [
    "comparison_text",
    "dated",
    "doubts",
    "motion_words",
    "move_words",
    "moved_words",
    "sentences",
]

LISTED = 8
"""Sections named in one sentence."""


def dated(survey: Survey) -> str:
    """Name of a survey with its date, where it has one."""
    taken = survey.record.get("taken")
    return f"{survey.source} ({taken})" if taken else survey.source


def motion_words(motion: Motion, i: int) -> str:
    """What one section did: ``1/8 away at its exit end``."""
    layout = motion.layout
    entry, exit_ = ((float(bolt.value[i]), COVERAGE * float(bolt.u[i])) for bolt in motion.bolts())

    def amount(change: float) -> str:
        row = layout.rows[layout.sections[i].row]
        # the shorter form of 'toward the string'; heights have 'up' and 'down'
        return f"{_size(change, layout.units)} {(row.away if change > 0 else row.toward).split()[0]}"

    parts = [
        f"{amount(value)} at its {end} end"
        for end, (value, reach) in (("entry", entry), ("exit", exit_))
        if abs(value) > reach
    ]
    skew, u = motion.change[i, 1], math.sqrt(motion.covariance[i, 1, 1])
    if len(parts) == 2 and entry[0] * exit_[0] > 0 and abs(skew) <= COVERAGE * u:
        return f"{amount((entry[0] + exit_[0]) / 2)} at both ends"
    if not parts:
        larger, end = max((entry, "entry"), (exit_, "exit"), key=lambda pair: abs(pair[0][0]))
        return f"about {amount(larger[0])} at its {end} end"
    return " and ".join(parts)


def _size(change: float, units: Units) -> str:
    """Magnitude as it is said: ``1/8``, but ``3.2 mm``."""
    return show(abs(change), units) + (" mm" if units is Units.mm else "")


def sentences(comparison: Comparison) -> tuple[str, str]:
    """What the strings did and what the machine did, one sentence each."""
    return _string_sentence(comparison), _moved_sentence(comparison)


def _string_sentence(comparison: Comparison) -> str:
    motion, units = comparison.motion, comparison.layout.units
    if comparison.same_string:
        return "The string is taken to have stayed up between the two surveys."
    changed = [s for s in motion.strings if s.changed]
    if not motion.strings:
        return "What the string did cannot be told: too few sections stood still."
    if not changed:
        many = len(motion.strings) > 1
        return (
            f"The string{'s were' if many else ' was'} hung where {'they were' if many else 'it was'} before, as far "
            "as this tape can see."
        )
    said = "; ".join(f"string {s.string} was hung {_hung(s, units)}" for s in changed)
    return f"S{said[1:]}."


def _hung(string: StringChange, units: Units) -> str:
    entry, exit_ = (
        "as before"
        if show(v, units) == show(0.0, units)
        else f"{_size(v, units)} {'farther off' if v > 0 else 'nearer'}"
        for v in map(float, string.change)
    )
    if entry == exit_:
        return entry
    return f"{entry} at its entry end and {exit_} at its exit end"


def _moved_sentence(comparison: Comparison) -> str:
    layout, motion = comparison.layout, comparison.motion
    moved = [int(i) for i in motion.moved]
    open_ = [s.name for s, status in zip(layout.sections, motion.status, strict=True) if status is Status.open]
    if len(open_) == len(motion.status):
        return "No section can be compared."
    but = f"; nothing can be told of {_names(open_)}" if open_ else ""
    if not moved:
        return f"Nothing moved that this tape can see{but}."
    return f"{moved_words(motion)}; nothing else moved that this tape can see{but}."


def moved_words(motion: Motion) -> str:
    """The sections that moved and how: ``a moved 1/8 away at its exit end and b 1/16 toward at both ends``."""
    moved = [int(i) for i in motion.moved]
    names = [motion.layout.sections[i].name for i in moved[:LISTED]]
    words = [f"{name}{' moved' if k == 0 else ''} {motion_words(motion, moved[k])}" for k, name in enumerate(names)]
    if len(moved) > LISTED:
        words.append(f"{len(moved) - LISTED} more sections")
    return ", ".join(words)


def _names(names: Sequence[str]) -> str:
    return in_list(names) if len(names) <= LISTED else f"{len(names)} sections"


def comparison_text(comparison: Comparison) -> str:
    """The whole comparison as text."""
    layout = comparison.layout
    before, after = comparison.before.survey, comparison.after.survey
    lines = wrap(f"{layout.name}: {dated(before)} against {dated(after)}")
    for sentence in sentences(comparison):
        lines += wrap(sentence)
    lines.append("")
    heading = "READ THESE AGAIN FIRST: a wrong reading looks like a section that moved"
    lines += headed(heading, (f"{source}: {flag.message}" for source, flag in comparison.flags))
    lines += _moves(comparison.moves, layout, after)
    units = layout.units
    lines.append(f"WHAT CHANGED, against what stood still ({units.plural}; + is away; U = 2u)")
    lines += [*_table(comparison.motion), ""]
    lines += _strings(comparison.motion)
    lines += headed("DOUBTS", doubts(comparison))
    return "\n".join(lines).rstrip() + "\n"


def _moves(moves: Sequence[PlannedMove], layout: Layout, after: Survey) -> list[str]:
    """The planned moves and what became of each; where one is not done in full, what to do about it."""
    if not moves:
        return []
    units = layout.units
    width = min(max([len(move.section) for move in moves] + [7]), 20)
    lines = [
        "WHAT BECAME OF THE PLANNED MOVES",
        f"{'section':<{width}} {'bolt end':<8}  {'planned':<13} {'done':<13} {'U':>5}",
    ]
    for move in moves:
        row = layout.rows[layout.sections[layout.index[move.section]].row]
        line = f"{short(move.section, width)} {move.bolt_end:<8}  {move_words(move.planned, row, units):<13} "
        if not math.isnan(move.done):
            line += f"{move_words(move.done, row, units):<13} {decimal(COVERAGE * move.u, units):>5}  "
        lines.append(line + move.outcome)
    left = [move for move in moves if move.outcome not in (Outcome.full, Outcome.untold)]
    if left:
        ends = in_list([f"{move.section} {move.bolt_end}" for move in left])
        lines += wrap(
            f"Not as planned: {ends}. What is still to be done stands in: stringtrue solve {layout.source} "
            f"{after.source}"
        )
        lines += ["", "BEFORE A BOLT IS TOUCHED", *caution_lines()]
    return [*lines, ""]


def move_words(move: float, row: Row, units: Units) -> str:
    """Amount and direction of a move, toward the string positive; nothing is ``0``."""
    amount = show(abs(move), units)
    if amount == show(0.0, units):
        return amount
    return f"{amount} {(row.toward if move > 0 else row.away).split()[0]}"


def _table(motion: Motion) -> list[str]:
    layout, units = motion.layout, motion.layout.units
    width = min(max([len(s.name) for s in layout.sections] + [7]), 18)
    lines = [f"{'section':<{width}} {'entry':>7} {'exit':>7} {'U':>6}  {'offset':>7} {'U':>6}  {'skew':>7} {'U':>6}"]
    bolts = motion.bolts(left=True)
    for i, section in enumerate(layout.sections):
        name = short(section.name, width)
        if math.isnan(motion.statistic[i]):
            lines.append(f"{name} cannot be told")
            continue
        ends = " ".join(f"{show(float(b.value[i]), units, signed=True):>7}" for b in bolts)
        reach = COVERAGE * max(float(b.u[i]) for b in bolts)
        pairs = "  ".join(
            f"{show(float(value), units, signed=True):>7} {decimal(COVERAGE * math.sqrt(variance), units):>6}"
            for value, variance in zip(motion.left[i], motion.covariance[i].diagonal(), strict=True)
        )
        status = "" if motion.status[i] is Status.still else f"  {motion.status[i]}"
        lines.append(f"{name} {ends} {decimal(reach, units):>6}  {pairs}{status}")
    return lines


def _strings(motion: Motion) -> list[str]:
    units = motion.layout.units
    lines = []
    for s in motion.strings:
        ends = [
            f"{show(float(v), units, signed=True)} (U {decimal(COVERAGE * float(u), units)})"
            for v, u in zip(s.change, s.u, strict=True)
        ]
        lines += wrap(
            f"String {s.string}: {ends[0]} at the entry, {ends[1]} at the exit; + is away from the faces"
            f"{'' if s.changed else '; not more than this tape explains'}.",
            "  ",
        )
    return [*lines, ""] if lines else []


def doubts(comparison: Comparison) -> list[str]:
    """What the two surveys leave open."""
    layout, motion = comparison.layout, comparison.motion
    said = []
    if not comparison.same_string:
        said.append(
            "A shift or a lean that all sections of one string share is put down to the string or to the tape's zero: "
            "a machine that moved as one piece cannot be told from a string hung anew."
        )
    for s in motion.strings:
        moved = len(s.sections) - len(s.still)
        if 2 * moved >= len(s.sections):
            said.append(
                f"String {s.string}: {moved} of {len(s.sections)} sections moved, and the line hangs on "
                f"{in_list(s.still)}. Had these moved alike instead, the readings would be the same."
            )
    open_ = [s.name for s, status in zip(layout.sections, motion.status, strict=True) if status is Status.open]
    if open_:
        said.append(
            f"Cannot be told: {_names(open_)}. A section must be read at two points in both surveys, and its string "
            "needs three such sections to tell which one moved; with --same-string one is enough."
        )
    if any(status is Status.still for status in motion.status):
        said.append("Where a section stood still, U is the move that could have gone unseen.")
    said.append(
        f"A section is named where its change is beyond what both surveys explain (chi-square {motion.limit:.1f} with "
        "2 degrees of freedom, 1 % over all sections together)."
    )
    if motion.dof:
        said.append(
            f"Taken all together, {'nothing' if motion.congruent else 'something'} moved by more than the tapes "
            f"explain (chi-square {motion.chi2:.1f}, at most {motion.chi2_limit:.1f} with {motion.dof} degrees of "
            "freedom, where all stood still)."
        )
    return said
