"""What the annexes of a record hold of one survey, a panel or settings: states and budgets as tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from alignment.lengths import decimal, show, show_both
from alignment.machine.layout import Layout
from alignment.panel.found import PanelResult
from alignment.settings.judging import SettingsResult
from alignment.show.page import Block, Part, Table, Text, items
from alignment.show.words import panel as panel_words
from alignment.show.words import settings as settings_words
from alignment.show.words.budget import source_rows
from alignment.show.words.flags import flag_words
from alignment.show.words.phrases import counted, verdict_words
from alignment.show.words.solution import across_words
from alignment.train.budget import Means, sources
from alignment.train.solve import Solution
from alignment.train.state import State

__all__ = ["budget", "listed", "panel_part", "settings_part", "standing", "state_tables"]

LAST: Final = 99
"""Per cent that a chance is called at most."""


def listed(lead: str, texts: list[str]) -> tuple[Block, ...]:
    """A list with what leads to it, or nothing where there is nothing to list."""
    return (Text(words=lead, strong=True), *items(texts)) if texts else ()


def standing(name: str, solution: Solution) -> Part:
    """Verdict, flags and tables of one survey."""
    flags = [flag_words(flag, solution.layout) for flag in solution.flags if flag.harmful]
    return Part(
        heading=f"{name}: {solution.verdict.printed}",
        blocks=(
            *listed("Look at these readings first:", flags),
            *state_tables(solution.state, solution.layout, solution.plan.state if solution.plan.steps else None),
        ),
    )


def state_tables(state: State, layout: Layout, moved: State | None = None) -> tuple[Block, ...]:
    """Sections with their chances, now and `moved`, joints and what lies across the machine, with U and verdict."""
    units, t = layout.units, layout.tolerance
    chances = [[_chance(s.chance) for s in each.sections] for each in (state, moved) if each is not None]

    def signed(length: float) -> str:
        return decimal(length, units, signed=True)

    rows: list[tuple[str, ...]] = []
    for s, *chance in zip(state.sections, *chances, strict=True):
        if s.entry is None or s.exit is None or s.skew is None or s.worse_end is None:
            rows.append((s.name, "not measured enough", counted(s.readings, "reading"), *[""] * 5, *chance))
            continue
        u = max(s.entry.deviation.expanded, s.exit.deviation.expanded)
        ends = [signed(end.deviation.value) for end in (s.entry, s.exit)]
        skew = [signed(s.skew.value), decimal(s.skew.expanded, units), verdict_words(s.skew)]
        rows.append((s.name, *ends, decimal(u, units), verdict_words(s.worse_end), *skew, *chance))
    head = ("section", "entry", "exit", "U", "offset", "skew", "U", "square", *("chance", "moved")[: len(chances)])
    note = f"Deviations in {units.plural}, + is too far from the string; U = 2u. Tolerance: offset "
    note += f"{show_both(t.offset, units)}, square {show_both(t.square, units)}. %: chance of being within it. Chance: "
    note += f"of the section, all tolerances and steps{'; moved: after the moves, as planned' if moved else ''}."
    blocks: list[Block] = [Table(head=head, rows=tuple(rows), align="lrrrlrrlrr"[: len(head)], note=note)]
    joints = [
        (f"{j.upstream} / {j.downstream}", signed(j.step.value), decimal(j.step.expanded, units), verdict_words(j.step))
        if j.step
        else (f"{j.upstream} / {j.downstream}", "not measured", "", "")
        for j in state.joints
    ]
    if joints:
        note = f"{units.plural.capitalize()}; U = 2u. Tolerance {show_both(t.step, units)}."
        blocks.append(Table(head=("joint", "step", "U", "verdict"), rows=tuple(joints), align="lrrl", note=note))
    return (*blocks, *items(across_words(state, layout)))


def _chance(chance: float | None) -> str:
    if chance is None or chance != chance:
        return ""
    whole = round(100 * chance)
    return "> 99%" if whole > LAST else f"{whole}%" if whole else "< 1%"


def panel_part(result: PanelResult, when: str) -> Part:
    """A test panel: its verdict, what it means, and everything measured."""
    note = f"{result.panel.units.plural.capitalize()} unless said; U = 2u. {panel_words.LESS_NOMINAL}"
    head = ("", "value", "U", "limit", "verdict")
    return Part(
        heading="",
        blocks=(
            Text(words=panel_words.panel_title(result)),
            Text(words=panel_words.verdict_line(result), strong=True),
            Text(words=when),
            *listed("Read these again first:", panel_words.again(result)),
            *listed("What it means:", panel_words.meanings(result)),
            Table(head=head, rows=_rows(panel_words.table_rows(result)), align="lrrrl", note=note),
        ),
    )


def settings_part(result: SettingsResult, when: str) -> Part:
    """Settings: verdict, what is to be set, and everything measured."""
    settings, states = result.settings, result.states
    units = settings.units
    told = [f"{key} {settings.record[key]}" for key in ("taken", "by") if key in settings.record]
    head = ("setting", "wanted", "tolerance", "measured", "off", "U", "verdict")
    note = f"{units.plural.capitalize()}; off is measured less wanted; U = 2u."
    rows = _rows(settings_words.table_rows(states, units))
    return Part(
        heading="",
        blocks=(
            Text(words=", ".join([f"{settings.name} ({settings.source})", *told])),
            Text(words=f"Verdict: {result.verdict.printed}. {settings_words.summary(result)}", strong=True),
            Text(words=when),
            *listed("To be set:", [f"{s.setting.name}: {settings_words.to_do(s, units)}" for s in result.out]),
            *listed("A feeler-gauge job:", [settings_words.feeler_words(s, units) for s in states if s.feeler]),
            Table(head=head, rows=rows, align="lrrrrrl", note=note),
            *listed("Strip and guides:", settings_words.clearance_words(result)),
        ),
    )


def _rows(rows: Iterable[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(row) for row in rows)


def budget(name: str, solution: Solution) -> Table:
    """Sources of uncertainty in one survey, and what they come to."""
    layout, survey, state = solution.layout, solution.survey, solution.state
    units, tape = layout.units, survey.tape
    often = Counter((r.section, r.place) for r in survey.fitted)
    low, high = min(often.values()), max(often.values())
    rows = source_rows(sources(layout, Means(tape=tape, repeats=low)), units)
    times = "once" if high == 1 else f"{low} times" if low == high else f"{low} to {high} times"
    largest = [
        f"{what} {decimal(max(us), units)}"
        for what, us in (
            ("of an offset", [s.worse_end.expanded for s in state.sections if s.worse_end]),
            ("of a skew", [s.skew.expanded for s in state.sections if s.skew]),
            ("of a step", [j.step.expanded for j in state.joints if j.step]),
        )
        if us
    ]
    note = f"u of one reading, {units.plural}, and its part of the doubt. Marks {show(tape.mark, units)}, tilt "
    note += f"{tape.tilt:g} degrees. Each point was read {times}. Largest U: {', '.join(largest)}."
    head = ("source", "u", "in offset", "in skew")
    return Table(head=head, rows=rows, align="lrrr", title=name, note=note)
