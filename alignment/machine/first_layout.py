"""The first layout of a machine: a commented file from a few numbers, to be mended by hand beside the machine."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final

from alignment.errors import InputError, LengthError, Problem, quote
from alignment.lengths import Units, parse, show_exact
from alignment.machine.layout import Layout, Tolerance
from alignment.machine.layout_file import parse_layout

__all__ = ["ASKED", "NEEDED", "defaults", "layout_text", "wrong"]

ASKED: Final = {
    "units": "in",
    "name": "My machine",
    "rows": "operator,drive",
    "mark": "",
    "sections": "",
    "length": "",
    "gap": "",
    "start": "0",
    "bolts": "0",
    "setback": "0",
    "target": "",
}
"""What is asked of a machine, in this order, and what stands where nothing is answered. From `sections` on, one thing
for all rows, or one for each row with commas between; of lengths, gaps, bolts and setbacks also one for each section
of a row, with colons between."""
NEEDED: Final = ("sections", "length", "gap")
_OF_SECTIONS: Final = ("length", "gap", "bolts", "setback")
_SIGNED: Final = ("start", "setback")
_HANGS_ON: Final = (
    {"units": (), "name": (), "rows": (), "mark": ("units",)}
    | dict.fromkeys(("length", "gap", "setback"), ("units", "rows", "sections"))
    | {"bolts": ("units", "rows", "sections", "length")}
)
MOST: Final = 200
"""Sections in one row; far beyond any machine."""


@dataclass(frozen=True, kw_only=True)
class _Section:
    """One section. [mm]"""

    start: float
    length: float
    bolts: float
    setback: float


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One row, entry to exit. [mm]"""

    name: str
    sections: tuple[_Section, ...]
    target: float | None


def wrong(key: str, text: str, told: Mapping[str, str]) -> list[str]:
    """
    What is wrong with one answer.

    Parameters
    ----------
    key : str
        One of `ASKED`.
    text : str
        The answer as it was written.
    told : mapping
        Answers to the questions before it, themselves without fault.

    Returns
    -------
    list of str
        Sentences; empty where the answer can be used.
    """
    if key == "name" or (key in ("target", "mark") and not text.strip()):
        return []
    if key == "units":
        return [] if text.strip() in list(Units) else [f"{quote(text)} is not a unit. Write in or mm."]
    if key == "rows":
        names = _parts(text)
        bad = [name for name in names if not re.fullmatch(r"[^\W_][\w -]{0,39}", name)]
        found = [f"{quote(name)} is not a name of a row. Use letters and digits, commas between rows." for name in bad]
        return found + ["A name stands twice. Give each row its own."] * (len(set(names)) < len(names))
    if key == "mark":
        return _wrong_lengths(key, [text], Units(told["units"]))
    rows = _parts(told["rows"])
    parts = _parts(text)
    if len(parts) not in (1, len(rows)):
        return [f"{quote(text)} is {len(parts)} things for {len(rows)} rows. Give one, or one for each row."]
    if key == "sections":
        bad = [part for part in parts if not (re.fullmatch("[0-9]{1,9}", part) and 1 <= int(part) <= MOST)]
        return [f"{quote(part)} is not a number of sections, 1 to {MOST}." for part in bad]
    units = Units(told["units"])
    if key not in _OF_SECTIONS:
        # a row whose wanted reading is not known is left empty
        return _wrong_lengths(key, [part for part in parts if part or key != "target"], units)
    found = _wrong_lengths(key, [own for part in parts for own in _sections(part)], units)
    if not found:
        for row, count, part in zip(rows, _each(told["sections"], len(rows)), _each(text, len(rows)), strict=True):
            found += _wrong_counts(key, row, int(count), part)
    if found or key != "bolts":
        return found
    for made in _rows(dict(told) | {"bolts": text}):
        short = [s for s in made.sections if 2 * s.bolts >= s.length]
        if short:
            own = show_exact(short[0].bolts, units)
            found.append(f"{own} in from both ends, the bolts of row {made.name} would meet.")
    return found


def _wrong_lengths(key: str, parts: list[str], units: Units) -> list[str]:
    found = []
    for part in parts:
        try:
            if parse(part, units, signed=key in _SIGNED) <= 0 and key in ("length", "mark", "target"):
                found.append(f"{quote(part)} is not more than nothing.")
        except LengthError as error:
            found.append(str(error))
    return found


def _wrong_counts(key: str, row: str, count: int, part: str) -> list[str]:
    given, wanted = len(_sections(part)), count - (key == "gap")
    if given in (1, wanted):
        return []
    what = "gap" if key == "gap" else "section"
    many = f"{wanted} {what}{'' if wanted == 1 else 's'}"
    return [f"{quote(part)} is {given} things for the {many} of row {row}. Give one, or one for each."]


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(",")]


def _sections(part: str) -> list[str]:
    return [own.strip() for own in part.split(":")]


def _each(text: str, count: int) -> list[str]:
    """One part for each row."""
    parts = _parts(text)
    return parts * count if len(parts) == 1 else parts


def layout_text(told: Mapping[str, str], tolerance: Tolerance | None = None) -> str:
    """
    Text of a layout file: every section written out, with the defaults that stand in and what each thing means.

    Parameters
    ----------
    told : mapping
        Answers to `ASKED`.
    tolerance : Tolerance, optional
        By default those that stand in where a layout is silent.

    Raises
    ------
    InputError
        With every answer that cannot be used.
    """
    sound: dict[str, str] = {}
    problems: list[Problem] = []
    for key, default in ASKED.items():
        answer = told.get(key, default)
        # an answer that hangs on a faulty one is not looked at
        if sound.keys() >= set(_HANGS_ON.get(key, ("units", "rows"))):
            found = wrong(key, answer, sound)
            problems += [Problem(f"--{key}", what) for what in found]
            if not found:
                sound[key] = answer
    if problems:
        raise InputError("start", "these answers cannot be used", problems)
    text = "\n".join(_lines(sound, _rows(sound), tolerance)) + "\n"
    # what is handed out is known to be readable
    parse_layout(text, "the layout made of these answers")
    return text


def _rows(told: Mapping[str, str]) -> list[_Row]:
    """Rows of the answers so far; what was not answered yet is the default."""
    names, units = _parts(told["rows"]), Units(told["units"])

    def rows_of(key: str) -> list[str]:
        return _each(told.get(key, ASKED[key]), len(names))

    def length(text: str) -> float:
        return float(parse(text, units, signed=True))

    found = []
    for k, name in enumerate(names):
        count = int(rows_of("sections")[k])
        lengths, gaps, bolts, setbacks = (
            [length(own or "0") for own in _spread(_sections(rows_of(key)[k]), count)] for key in _OF_SECTIONS
        )
        starts = accumulate((a + b for a, b in zip(lengths, gaps, strict=True)), initial=length(rows_of("start")[k]))
        sections = (
            _Section(start=start, length=long, bolts=bolt, setback=setback)
            for start, long, bolt, setback in zip(starts, lengths, bolts, setbacks, strict=False)
        )
        target = rows_of("target")[k]
        found.append(_Row(name=name, sections=tuple(sections), target=length(target) if target else None))
    return found


def _spread(parts: list[str], count: int) -> list[str]:
    """One part for each section; after the last section there is no gap."""
    return parts * count if len(parts) == 1 else [*parts, "0"][:count]


def _lines(told: Mapping[str, str], rows: list[_Row], tolerance: Tolerance | None) -> list[str]:
    units, name = Units(told["units"]), told["name"]

    def put(key: str, length: float, why: str = "") -> str:
        return _commented(f"{key} = {_quoted(show_exact(length, units))}", why)

    known = defaults(units)
    tape, moves = known.tape, known.moves
    tolerance = tolerance or known.tolerance
    mark = float(parse(told["mark"], units)) if told["mark"].strip() else tape.mark
    inch = units is Units.inch
    lines = [
        f"# Bare numbers are {'inches' if inch else 'millimetres'}. Places run downstream, as the strip",
        "# does, from the first entry end. Go through this file beside the machine and mend it",
        "# where the two differ. What stands after a # is not read: take it away to use a line.",
        "",
        "[machine]",
        f"name = {_quoted(''.join(c for c in name if c.isprintable()).strip() or 'My machine')}",
        f'units = "{units}"',
        f'# strip_width = "{"23 1/4" if inch else "590"}"',
        "",
        "[tape]",
        put("mark", mark, "smallest mark that you read"),
        _commented(f'# set = "{"1/64" if inch else "0.25"}"', "placing and sighting; without it, a quarter mark"),
        _commented(f"tilt = {tape.tilt:g}", "square to the string to within this, in degrees"),
        put("zero", tape.zero, "what the hook may be off by, the same at every reading"),
        "",
        "[tolerance]",
        put("square", tolerance.square, "over a section's own length"),
        put("offset", tolerance.offset, "at either end"),
        put("step", tolerance.step, "from one section to the next"),
        put("opening", tolerance.opening, "between facing rows"),
        "",
        "[moves]",
        _commented(f'# travel = "{"3/8" if inch else "10"}"', "how far a bolt end can go either way in its slot"),
        put("creep", moves.creep, "what tightening does to a bolt end, standard uncertainty"),
        _commented(f"bolt = {moves.bolt:g}", "loosen one more bolt end only for this much more chance of being OK"),
    ]
    for row in rows:
        lines += ["", f"[row.{_key(row.name)}]"]
        if row.target is None:
            example = '"18 3/8"' if inch else '"467"'
            lines.append(_commented(f"# target = {example}", "reading wanted; without it, the first section's"))
        else:
            lines.append(put("target", row.target, "reading wanted from face to string"))
        lines.append(_commented('# string_side = "left"', "side of the faces on which the string hangs, downstream"))
    first = True
    for row in rows:
        for k, section in enumerate(row.sections, start=1):
            why = ("its entry end", "from the entry end", "where the tape is read", "never to be moved")
            start, bolts, points, hold = why if first else ("", "", "", "")
            first = False
            ends = [_quoted(show_exact(x, units)) for x in (section.bolts, section.length - section.bolts)]
            lines += [
                "",
                "[[section]]",
                f"name = {_quoted(f'{row.name}-{k}')}",
                f"row = {_quoted(row.name)}",
                put("start", section.start, start),
                put("length", section.length),
                _commented(f"bolts = [{', '.join(ends)}]", bolts),
            ]
            if section.setback:
                lines.append(put("setback", section.setback))
            if points:
                lines.append(_commented(f'# points = ["0", {_quoted(show_exact(section.length, units))}]', points))
                lines.append(_commented("# hold = true", hold))
    for row in rows:
        for up, down in pairwise(f"{row.name}-{k}" for k in range(1, len(row.sections) + 1)):
            lines += ["", "[[joint]]", f"sections = [{_quoted(up)}, {_quoted(down)}]"]
    return lines


def defaults(units: Units) -> Layout:
    """A layout of one section, and nothing but what stands in where a file is silent."""
    section = '[[section]]\nname = "section"\nrow = "row"\nstart = 0\nlength = 1\n'
    return parse_layout(f'[machine]\nname = "one section"\nunits = "{units}"\n{section}')


def _commented(line: str, why: str) -> str:
    return f"{line:<23} # {why}" if why else line


def _quoted(text: str) -> str:
    """Text as a TOML string; JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)
