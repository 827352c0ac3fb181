"""What a comparison of two surveys says to a person: what moved and what to do, the planned moves, then the rest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from alignment.change.comparison import Comparison, Outcome, PlannedMove
from alignment.change.motion import Motion
from alignment.change.strings import Status, Stayed, StringChange
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Layout, Plane, Row
from alignment.machine.survey import Survey
from alignment.show.page import Block, Degree, Page, Part, Table, Text, items
from alignment.show.words.flags import flag_words
from alignment.show.words.opening import opening
from alignment.show.words.phrases import SHORTLY, counted, in_list
from alignment.uncertainty import COVERAGE

__all__ = [
    "comparison_page",
    "dated",
    "doubt_words",
    "doubtful_strings",
    "doubts",
    "motion_words",
    "move_words",
    "moved_words",
    "sentences",
    "sized",
]

LISTED: Final = 8
"""Sections named in one sentence."""
STATUS: Final = {Status.still: "", Status.open: "not known", Status.untouched: "not touched"}
OTHERS: Final = 3
"""Answers named beside the likeliest."""
ENDS: Final = ("entry", "exit")


def dated(survey: Survey) -> str:
    """Name of a survey with its date, where it has one."""
    taken = survey.record.get("taken")
    return f"{survey.source} ({taken})" if taken else survey.source


def comparison_page(comparison: Comparison) -> Page:
    """The whole comparison."""
    layout = comparison.layout
    before, after = comparison.before.survey, comparison.after.survey
    act, sends = _act(comparison)
    return Page(
        title=f"{layout.name}: {dated(before)} against {dated(after)}",
        act=act,
        parts=(
            opening(sentences(comparison), act, sends=sends),
            _read_again(comparison),
            _moves(comparison),
            Part(heading="What changed", blocks=(_table(comparison.motion),), degree=Degree.full),
            Part(heading="Strings", blocks=_strings(comparison.motion), degree=Degree.full),
            Part(heading="Doubts", blocks=items(doubts(comparison)), degree=Degree.full),
        ),
    )


def _act(comparison: Comparison) -> tuple[str, bool]:
    """The first thing to do, and whether it is done at the machine."""
    motion, layout = comparison.motion, comparison.layout
    run = f"stringtrue solve {layout.source} {comparison.source}"
    if comparison.flags:
        return "read the doubted points again. A wrong reading looks like a section that moved.", True
    if not_as_planned(comparison):
        return f"see what is still to be done: {run}", True
    if len(motion.of(Status.doubtful)):
        if motion.stayed is Stayed.unknown:
            return "if the string stayed up between the surveys, run this again with --same-string.", False
        names = _names(layout, motion.of(Status.doubtful))
        return f"read {names} again at both ends, with the finest marks to hand.", True
    if len(motion.of(Status.open)) == len(motion.status):
        return "read every section at both ends, in both surveys.", True
    if comparison.moves:
        return f"check the verdict as it is now: {run}", False
    if len(motion.moved):
        return f"see whether anything is out now: {run}", False
    return "", False


def not_as_planned(comparison: Comparison) -> list[PlannedMove]:
    """Moves that were not done in full, as far as that is known."""
    return [move for move in comparison.moves if move.outcome not in (Outcome.full, Outcome.untold)]


def sentences(comparison: Comparison) -> tuple[str, ...]:
    """What moved, what cannot be told, what stood still, and what the strings did."""
    motion, layout = comparison.motion, comparison.layout
    moved, still, doubtful, open_ = (motion.of(s) for s in (Status.moved, Status.still, Status.doubtful, Status.open))
    if len(open_) == len(motion.status):
        return ("No section can be compared.", *_string_sentences(comparison))
    said = [f"Moved: {moved_words(motion)}."] if len(moved) else []
    said += [doubt_words(motion, string) for string in doubtful_strings(motion)]
    if len(still):
        rest = "No section" if len(still) == len(motion.status) else f"No other section ({_names(layout, still)})"
        if not len(moved) and not len(doubtful):
            rest = "No section" if not len(open_) else f"None of {_names(layout, still)}"
        said.append(f"{rest} moved by more than this tape can see.")
    untouched = motion.of(Status.untouched)
    if len(untouched):
        said.append(f"Not touched, by the log: {_names(layout, untouched)}.")
    if len(open_):
        said.append(f"Nothing can be said of {_names(layout, open_)}.")
    return (*said, *_string_sentences(comparison))


def doubtful_strings(motion: Motion) -> list[StringChange]:
    """Strings with sections of which some moved, and which cannot be told."""
    doubtful = {int(i) for i in motion.of(Status.doubtful)}
    return [string for string in motion.strings if doubtful & set(string.members)]


def doubt_words(motion: Motion, string: StringChange) -> str:
    """What the answers of one string leave open, the likeliest first."""
    layout = motion.layout
    doubtful = [i for i in string.members if motion.status[i] is Status.doubtful]
    answers = [[i for i in answer.otherwise if i in doubtful] for answer in string.answers]
    if len({answer.hung for answer in string.answers}) == 2:
        return f"Cannot be told: either {_names(layout, doubtful)} moved, or the string was hung anew."
    if not all(answers):
        some = "any of " if len(doubtful) > 1 else ""
        return f"Cannot be told whether {some}{_names(layout, doubtful)} moved."
    if len(doubtful) == 2 and all(len(answer) == 1 for answer in answers):
        return f"Cannot be told which: {in_list([layout.sections[i].name for i in doubtful], 'or')} moved."
    if all(answer.dof == 0 for answer in string.answers):
        return f"Cannot be told which moved: no two of {_names(layout, doubtful)} agree."
    names = list(dict.fromkeys(_names(layout, answer) for answer in answers if answer))
    if 1 < len(names) <= OTHERS + 1 and len(doubtful) <= LISTED:
        return f"Cannot be told for sure. Likeliest: {names[0]} moved. Or else: {'; '.join(names[1:])}."
    return f"Cannot be told: some of {_names(layout, doubtful)} moved."


def _string_sentences(comparison: Comparison) -> tuple[str, ...]:
    motion = comparison.motion
    if motion.stayed is Stayed.told:
        return ("It is taken that the string stayed up in between.",)
    changed = [s for s in motion.strings if s.changed]
    unknown = [s for s in motion.strings if not s.known]
    same = [s for s in motion.strings if s.known and not s.changed]
    said = [f"String {_string_name(s)} was hung {_hung(s, motion)}." for s in changed]
    if unknown:
        said.append(f"What string {in_list([_string_name(s) for s in unknown])} did cannot be told.")
    if same:
        names = (
            "The string"
            if len(motion.strings) == 1
            else f"String{'s' * (len(same) > 1)} {in_list([_string_name(s) for s in same])}"
        )
        said.append(f"{names} hung as before, as far as this tape can see.")
    return tuple(said)


def _string_name(string: StringChange) -> str:
    return f"{string.string} (heights)" if string.plane is Plane.height else string.string


def _hung(string: StringChange, motion: Motion) -> str:
    units = motion.layout.units
    entry, exit_ = (
        "as before"
        if show(v, units) == show(0.0, units)
        else f"{sized(v, units)} {'farther off' if v > 0 else 'nearer'}"
        for v in map(float, string.change)
    )
    return entry if entry == exit_ else f"{entry} at its entry end, {exit_} at its exit end"


def sized(length: float, units: Units) -> str:
    """Magnitude as it is said, with its unit."""
    return show(abs(length), units) + (" mm" if units is Units.mm else '"')


def moved_words(motion: Motion) -> str:
    """The sections that moved and how: ``a exit 1/8" away; b both ends 1/16" toward``."""
    moved = [int(i) for i in motion.moved]
    words = [f"{motion.layout.sections[i].name} {motion_words(motion, i)}" for i in moved[:LISTED]]
    if len(moved) > LISTED:
        words.append(counted(len(moved) - LISTED, "more section"))
    return "; ".join(words)


def motion_words(motion: Motion, i: int) -> str:
    """What one section did: ``exit 1/8" away``."""
    layout = motion.layout
    row = layout.rows[layout.sections[i].row]
    ends = [(float(bolt.value[i]), COVERAGE * float(bolt.u[i])) for bolt in motion.bolts()]
    if any(math.isnan(value) for value, _ in ends):
        return "by an amount that cannot be told"

    def amount(change: float) -> str:
        return f"{sized(change, layout.units)} {_way(row, -change)}"

    seen = [abs(value) > reach for value, reach in ends]
    skew, u = motion.change[i, 1], math.sqrt(motion.covariance[i, 1, 1])
    (entry, _), (exit_, _) = ends
    if all(seen) and entry * exit_ > 0 and abs(skew) <= COVERAGE * u:
        return f"both ends {amount((entry + exit_) / 2)}"
    if not any(seen):
        k = int(abs(exit_) > abs(entry))
        return f"{ENDS[k]} about {amount(ends[k][0])}"
    return ", ".join(f"{end} {amount(value)}" for end, (value, _), told in zip(ENDS, ends, seen, strict=True) if told)


def _way(row: Row, move: float) -> str:
    return SHORTLY[row.direction(move)]


def move_words(move: float, row: Row, units: Units) -> str:
    """Amount and direction of a move, toward the string positive; nothing is ``0``."""
    amount = show(abs(move), units)
    return amount if amount == show(0.0, units) else f"{amount} {_way(row, move)}"


def _names(layout: Layout, sections: Sequence[int] | np.ndarray) -> str:
    """Sections by name; many are counted."""
    if len(sections) > LISTED:
        return counted(len(sections), "section")
    return in_list([layout.sections[i].name for i in sections])


def _read_again(comparison: Comparison) -> Part:
    if not comparison.flags:
        return Part(blocks=())
    said = [f"{source}: {flag_words(flag, comparison.layout)}" for source, flag in comparison.flags]
    return Part(heading="Read these again first", blocks=items(said))


def _moves(comparison: Comparison) -> Part:
    """The planned moves and what became of each; where one is not done in full, what to do about it."""
    if not comparison.moves:
        return Part(blocks=())
    layout, units = comparison.layout, comparison.layout.units
    rows = []
    for move in comparison.moves:
        row = layout.rows[layout.sections[layout.index[move.section]].row]
        done, u = ("", "") if math.isnan(move.done) else (
            move_words(move.done, row, units),
            decimal(COVERAGE * move.u, units),
        )  # fmt: skip
        rows.append((move.section, move.bolt_end, move_words(move.planned, row, units), done, u, str(move.outcome)))
    blocks: list[Block] = [
        Table(
            head=("section", "bolt end", "by the log" if comparison.logged else "planned", "found", "U", "outcome"),
            rows=tuple(rows),
            align="llllrl",
            note=f"{units.plural.capitalize()}. U: the number may be wrong by this much.",
        )
    ]
    wrong = not_as_planned(comparison)
    if wrong:
        ends = [f"{move.section} {move.bolt_end}" for move in wrong]
        names = in_list(ends) if len(ends) <= LISTED else counted(len(ends), "bolt end")
        blocks.append(Text(words=f"Not as planned: {names}."))
    return Part(heading="Moves by the log" if comparison.logged else "Planned moves", blocks=tuple(blocks))


def _table(motion: Motion) -> Table:
    layout, units = motion.layout, motion.layout.units
    bolts = motion.bolts()
    rows = []
    for i, section in enumerate(layout.sections):
        numbers = ["", "", "", "", "", "", ""]
        if not math.isnan(motion.change[i, 0]) and not math.isnan(motion.covariance[i, 0, 0]):
            ends = [show(float(b.value[i]), units, signed=True) for b in bolts]
            reach = decimal(COVERAGE * max(float(b.u[i]) for b in bolts), units)
            pairs = [
                text
                for value, variance in zip(motion.change[i], motion.covariance[i].diagonal(), strict=True)
                for text in (
                    show(float(value), units, signed=True),
                    decimal(COVERAGE * math.sqrt(variance), units),
                )
            ]
            numbers = [*ends, reach, *pairs]
        status = STATUS.get(motion.status[i], str(motion.status[i]))
        rows.append((section.name, *numbers, status))
    return Table(
        head=("section", "entry", "exit", "U", "offset", "U", "skew", "U", ""),
        rows=tuple(rows),
        align="lrrrrrrrl",
        note=(
            f"{units.plural.capitalize()}, without what the string did. Positive: away from the string. U: largest "
            "error. Of a section that did not move: the largest move that could be missed."
        ),
    )


def _strings(motion: Motion) -> tuple[Block, ...]:
    units = motion.layout.units
    said = []
    for s in motion.strings:
        if not math.isnan(float(s.change[0])):
            ends = [
                f"{show(float(v), units, signed=True)} (U {decimal(COVERAGE * float(u), units)})"
                for v, u in zip(s.change, s.u, strict=True)
            ]
            more = "" if s.changed else " That is no more than the tape explains."
            said.append(
                f"String {_string_name(s)}: {ends[0]} at the entry, {ends[1]} at the exit. + is away from the "
                f"faces.{more}"
            )
        first = s.answers[0]
        if first.dof:
            said.append(
                f"String {_string_name(s)}, {counted(len(s.members) - len(first.otherwise), 'section')} together: "
                f"chi-square {first.chi2:.1f}, at most {first.limit:.1f} ({first.dof} degrees of freedom)."
            )
    return items(said)


def doubts(comparison: Comparison) -> list[str]:
    """What the two surveys leave open."""
    layout, motion = comparison.layout, comparison.motion
    said = []
    if any(answer.hung for string in motion.strings for answer in string.answers):
        said.append(
            "A shift or a slope common to all sections of a string counts as the string's. A machine that moved as "
            "one piece looks the same."
        )
    for s in motion.strings:
        moved = sum(motion.status[i] is Status.moved for i in s.members)
        standing = [i for i in s.members if motion.status[i] is Status.still]
        if standing and moved >= len(standing):
            said.append(
                f"String {_string_name(s)}: {moved} of {len(s.members)} sections moved. The answer rests on "
                f"{_names(layout, standing)}. If these moved alike instead, the readings would be the same."
            )
    open_ = motion.of(Status.open)
    if len(open_):
        said.append(
            f"Not known: {_names(layout, open_)}. Read a section at two points in both surveys. A section alone on its "
            "string needs --same-string."
        )
    if motion.stayed is Stayed.recorded and any(a.hung for s in motion.strings for a in s.answers):
        said.append("The records name one string, but the readings say that it hangs differently.")
    said.append(
        "A section is named only if no answer with as few moved sections, or fewer, leaves it standing. With "
        "nothing moved, one is named by mistake in 1 comparison of 100 at most."
    )
    if motion.dof:
        said.append(
            f"All sections together: {'nothing' if motion.congruent else 'something'} moved by more than the tapes "
            f"explain. Chi-square {motion.chi2:.1f}, at most {motion.chi2_limit:.1f}, {motion.dof} degrees of freedom."
        )
    return said
