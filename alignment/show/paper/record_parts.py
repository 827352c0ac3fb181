"""
What the parts of a report are made of: one survey, a panel, settings, readings and their budget, as plain blocks.

A block is a paragraph, a list or a table; its texts are said by the modules that know them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

from alignment.lengths import Units, decimal, show, show_both
from alignment.machine.layout import Layout
from alignment.machine.survey import Reading, Survey
from alignment.panel.panel import PanelResult
from alignment.settings.judging import SettingsResult
from alignment.show.words import panel as panel_wording
from alignment.show.words import settings as settings_wording
from alignment.show.words.phrases import counted, verdict_words
from alignment.show.words.solution import across_words
from alignment.train.budget import Means, sources
from alignment.train.solve import Solution
from alignment.train.state import State
from alignment.uncertainty import SAME, reading_u

__all__ = [
    "Block",
    "budget",
    "itemized",
    "panel_found",
    "paragraph",
    "raw_readings",
    "settings_found",
    "standing",
    "state_tables",
    "table",
]

Block = dict[str, Any]
NARROW: Final = 20
"""Letters of a name that leave room for two tables beside one another."""


def paragraph(text: str, *, strong: bool = False, lead: bool = False) -> Block:
    """A paragraph; one that leads to what follows stays with it."""
    return {"kind": "text", "text": text, "strong": strong, "lead": lead or strong}


def itemized(items: Sequence[str], lead: str = "") -> list[Block]:
    """A list with its lead, or nothing where there is nothing to list."""
    return [{"kind": "list", "items": list(items), "lead": lead}] if items else []


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[Any]],
    columns: str,
    *,
    title: str = "",
    note: str = "",
    narrow: bool = False,
) -> Block:
    """
    A table: `columns` has a letter for each.

    ``n`` for names, which share what the others leave, ``w`` for running words, which take
    three such shares, ``l`` for words, ``r`` for numbers. Two
    halves of a ``narrow`` one stand side by side.
    """
    made = {"kind": "table", "head": list(head), "rows": [list(row) for row in rows], "columns": columns}
    return made | {"title": title, "note": note, "narrow": narrow}


def standing(solution: Solution) -> list[Block]:
    """Verdict, flags and tables of one survey."""
    layout, state = solution.layout, solution.state
    flags = [flag.message for flag in solution.flags if flag.harmful]
    return [
        paragraph(f"Verdict: {solution.verdict.printed}.", strong=True),
        *itemized(flags, "Look at these readings first:"),
        *state_tables(state, layout),
    ]


def state_tables(state: State, layout: Layout) -> list[Block]:
    """Sections, joints and what lies across the machine, each with its U and verdict."""
    units, t = layout.units, layout.tolerance

    def both(length: float) -> str:
        plain = show(length, units, signed=True)
        return f"{plain} ({decimal(length, units, signed=True)})" if units is Units.inch else plain

    rows: list[list[str]] = []
    for s in state.sections:
        if s.entry is None or s.exit is None or s.skew is None or s.worse_end is None:
            read = counted(s.readings, "reading")
            rows.append([s.name, "not measured enough", read, *[""] * 5])
            continue
        u = max(s.entry.deviation.expanded, s.exit.deviation.expanded)
        rows.append(
            [
                s.name,
                both(s.entry.deviation.value),
                both(s.exit.deviation.value),
                decimal(u, units),
                verdict_words(s.worse_end),
                both(s.skew.value),
                decimal(s.skew.expanded, units),
                verdict_words(s.skew),
            ]
        )
    limits = f"offset {show_both(t.offset, units)}, square {show_both(t.square, units)}"
    head = ["section", "entry", "exit", "U", "offset", "skew", "U", "square"]
    note = f"lengths in {units.plural}; U = 2u. Tolerance: {limits}."
    blocks = [table(head, rows, "nrrrlrrl", title="Sections", note=note)]
    joints = [
        [f"{j.upstream} / {j.downstream}"]
        + (
            [both(j.step.value), decimal(j.step.expanded, units), verdict_words(j.step)]
            if j.step
            else ["not measured", "", ""]
        )
        for j in state.joints
    ]
    if joints:
        note = f"{units.plural}; U = 2u. Tolerance: {show_both(t.step, units)}."
        blocks.append(table(["joint", "step", "U", "verdict"], joints, "nrrl", title="Joints", note=note))
    return [*blocks, *itemized(across_words(state, layout), f"Across the machine ({units.plural}):")]


def panel_found(result: PanelResult) -> list[Block]:
    """A test panel: its verdict, what it means, and everything measured."""
    units = result.panel.units
    head = ["", "value", "U", "limit", "verdict"]
    note = f"{units.plural} unless said; U = 2u. {panel_wording.LESS_NOMINAL}"
    return [
        paragraph(panel_wording.panel_title(result), lead=True),
        paragraph(panel_wording.verdict_line(result), strong=True),
        *itemized(panel_wording.again(result), "Read these again first:"),
        *itemized(panel_wording.meanings(result), "What it means:"),
        table(head, panel_wording.table_rows(result), "nrrrl", title="Measured", note=note),
    ]


def settings_found(result: SettingsResult) -> list[Block]:
    """Settings: verdict, what is to be set, and everything measured."""
    settings, states = result.settings, result.states
    units = settings.units
    told = [f"{key} {settings.record[key]}" for key in ("taken", "by") if key in settings.record]
    strip, *clear = settings_wording.clearance_words(result) or [""]
    head = ["setting", "wanted", "tolerance", "measured", "off", "U", "verdict"]
    note = f"{units.plural}; off is measured less wanted; U = 2u."
    return [
        paragraph(", ".join([f"{settings.name} ({settings.source})", *told]), lead=True),
        paragraph(f"Verdict: {result.verdict.printed}. {settings_wording.summary(result)}", strong=True),
        *itemized([f"{s.setting.name}: {settings_wording.to_do(s, units)}" for s in result.out], "To be set:"),
        *itemized([settings_wording.feeler_words(s, units) for s in states if s.feeler], "A feeler-gauge job:"),
        table(head, settings_wording.table_rows(states, units), "nrrrrrl", title="Measured", note=note),
        *itemized(clear, f"Strip and guides: {strip}."),
    ]


def raw_readings(solution: Solution, units: Units) -> list[Block]:
    """Every reading as it was written, in the order of the file, dropped ones struck out; `units` are the file's."""
    layout, survey = solution.layout, solution.survey
    dropped, seen = {id(r) for r in solution.dropped}, Counter[tuple[str, float]]()
    rows = []
    for r in survey.readings:
        point = layout.sections[layout.index[r.section]].point_name(r.place, layout.units)
        seen[r.section, r.place] += not r.closing
        which = "closing" if r.closing else str(seen[r.section, r.place])
        out = id(r) in dropped
        remarks = ["dropped: the others contradict it"] if out else []
        remarks += [] if _by_tape(r, survey) else [f"own u {decimal(r.u, layout.units, places=4)} {layout.units}"]
        remark = "; ".join([*remarks, r.note] if r.note else remarks)
        rows.append([str(r.row), r.section, point, {"struck": r.text} if out else r.text, which, remark])
    rows += [
        [str(s.row), f"{s.upstream} / {s.downstream}", "joint", s.text, "step, by feeler gauge", ""]
        for s in survey.steps
    ]
    noted = any(row[-1] for row in rows)
    narrow = not noted and max(len(row[1]) for row in rows) <= NARROW
    head = ["row", "section", "point", "reading", "which", "note"]
    if not noted:
        head, rows = head[:-1], [row[:-1] for row in rows]
    bare = Units(survey.record["units"]) if survey.record.get("units") in list(Units) else units
    told = f"As written in {survey.source}, {bare.plural} where no unit stands. "
    told += f"{counted(len(dropped), 'reading')} dropped, as told, and struck out." if dropped else "None was dropped."
    return [paragraph(told), table(head, rows, "rnllln" if noted else "rnlll", narrow=narrow)]


def _by_tape(reading: Reading, survey: Survey) -> bool:
    """Whether a reading is worth what the tape makes it, and not what the file says beside it."""
    tape = survey.tape
    return bool(
        abs(reading.u - reading_u(reading.value, mark=tape.graduation, set_u=tape.set_u, tilt=tape.tilt)) < SAME
    )


def budget(name: str, solution: Solution) -> Block:
    """Sources of uncertainty in one survey, and what they come to."""
    layout, survey, state = solution.layout, solution.survey, solution.state
    units = layout.units
    often = Counter((r.section, r.place) for r in survey.fitted)
    low, high = min(often.values()), max(often.values())
    found = sources(layout, Means(tape=survey.tape, repeats=low))
    rows = [
        [s.name, decimal(s.u, units, places=4), f"{100 * s.in_offset:.0f} %", f"{100 * s.in_skew:.0f} %"] for s in found
    ]
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
    note = f"{units.plural}. Each point was read {times}. Largest U in this survey: {', '.join(largest)}."
    head = ["source", "u of one reading", "share in offset", "share in skew"]
    return table(head, rows, "nrrr", title=name, note=note)
