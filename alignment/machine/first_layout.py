"""The first layout of a machine: a commented file from a few numbers, to be mended by hand beside the machine."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from alignment.errors import InputError, LengthError, Problem, quote
from alignment.lengths import Units, parse, show_exact
from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout

__all__ = ["NEEDED", "QUESTIONS", "defaults", "layout_text", "wrong"]

QUESTIONS: Final = {
    "units": ("Units of bare numbers, in or mm", "in"),
    "name": ("Name of the machine", "My machine"),
    "rows": ("Names of the rows", "operator,drive"),
    "sections": ("Sections in each row, as 5 or 5,4", ""),
    "length": ("Length of a section", ""),
    "spacing": ("From one entry end to the next", ""),
    "bolts": ("Bolts, how far in from its ends", "0"),
    "target": ("Reading wanted, if you know it", ""),
}
"""What is asked of a machine, and what stands where nothing is answered. From `sections` on, one thing for all rows, or
one for each row with commas between."""
NEEDED: Final = ("sections", "length", "spacing")
_HANGS_ON: Final = {"units": (), "name": (), "rows": ()} | dict.fromkeys(("spacing", "bolts"), ("sections", "length"))
MOST: Final = 200
"""Sections in one row; far beyond any machine."""


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One row of equal sections. [mm]"""

    name: str
    count: int
    length: float
    spacing: float
    bolts: float
    target: float | None


def wrong(key: str, text: str, told: Mapping[str, str]) -> list[str]:
    """
    What is wrong with one answer.

    Parameters
    ----------
    key : str
        One of `QUESTIONS`.
    text : str
        The answer as it was written.
    told : mapping
        Answers to the questions before it, themselves without fault.

    Returns
    -------
    list of str
        Sentences; empty where the answer can be used.
    """
    if key == "name" or (key == "target" and not text.strip()):
        return []
    if key == "units":
        return [] if text.strip() in list(Units) else [f"{quote(text)} is not a unit. Write in or mm."]
    if key == "rows":
        names = _parts(text)
        bad = [name for name in names if not re.fullmatch(r"[^\W_][\w -]{0,39}", name)]
        found = [f"{quote(name)} is not a name of a row. Use letters and digits, commas between rows." for name in bad]
        return found + ["A name stands twice. Give each row its own."] * (len(set(names)) < len(names))
    rows = _parts(told["rows"])
    parts = _parts(text)
    if len(parts) not in (1, len(rows)):
        return [f"{quote(text)} is {len(parts)} things for {len(rows)} rows. Give one, or one for each row."]
    if key == "sections":
        bad = [part for part in parts if not (re.fullmatch("[0-9]{1,9}", part) and 1 <= int(part) <= MOST)]
        return [f"{quote(part)} is not a number of sections, 1 to {MOST}." for part in bad]
    return _wrong_lengths(key, parts, told)


def _wrong_lengths(key: str, parts: list[str], told: Mapping[str, str]) -> list[str]:
    units = Units(told["units"])
    found = []
    for part in parts:
        try:
            if parse(part, units) <= 0 and key in NEEDED:
                found.append(f"{quote(part)} is not more than nothing.")
        except LengthError as error:
            found.append(str(error))
    if found or key not in ("spacing", "bolts"):
        return found
    rows = _parts(told["rows"])
    for row, count, long, own in zip(
        rows, *(_each(t, len(rows)) for t in (told["sections"], told["length"], ",".join(parts))), strict=True
    ):
        length, value = parse(long, units), parse(own, units)
        if key == "spacing" and int(count) > 1 and value < length:
            found.append(f"{own} is less than a section of row {row} is long: they would overlap.")
        if key == "bolts" and 2 * value >= length:
            found.append(f"{own} in from both ends, the bolts of row {row} would meet.")
    return found


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(",")]


def _each(text: str, count: int) -> list[str]:
    """One part for each row."""
    parts = _parts(text)
    return parts * count if len(parts) == 1 else parts


def layout_text(told: Mapping[str, str]) -> str:
    """
    Text of a layout file: every section written out, with the defaults that stand in and what each thing means.

    Parameters
    ----------
    told : mapping
        Answers to `QUESTIONS`.

    Raises
    ------
    InputError
        With every answer that cannot be used.
    """
    sound: dict[str, str] = {}
    problems: list[Problem] = []
    for key, (_, default) in QUESTIONS.items():
        answer = told.get(key, default)
        # an answer that hangs on a faulty one is not looked at
        if sound.keys() >= set(_HANGS_ON.get(key, ("units", "rows"))):
            found = wrong(key, answer, sound)
            problems += [Problem(f"--{key}", what) for what in found]
            if not found:
                sound[key] = answer
    if problems:
        raise InputError("start", "these answers cannot be used", problems)
    text = "\n".join(_lines(Units(sound["units"]), sound["name"], _rows(sound))) + "\n"
    # what is handed out is known to be readable
    parse_layout(text, "the layout made of these answers")
    return text


def _rows(told: Mapping[str, str]) -> list[_Row]:
    names, units = _parts(told["rows"]), Units(told["units"])
    columns = [_each(told[key], len(names)) for key in ("sections", "length", "spacing", "bolts", "target")]
    return [
        _Row(
            name=name,
            count=int(count),
            length=float(parse(length, units)),
            spacing=float(parse(spacing, units)),
            bolts=float(parse(bolts, units)),
            target=float(parse(target, units)) if target else None,
        )
        for name, count, length, spacing, bolts, target in zip(names, *columns, strict=True)
    ]


def _lines(units: Units, name: str, rows: list[_Row]) -> list[str]:
    def put(key: str, length: float, why: str = "") -> str:
        return _commented(f"{key} = {_quoted(show_exact(length, units))}", why)

    known = defaults(units)
    tape, tolerance, moves = known.tape, known.tolerance, known.moves
    inch = units is Units.inch
    lines = [
        f"# Bare numbers are {'inches' if inch else 'millimetres'}. Places run downstream, as the strip",
        "# does, from the first entry end. Go through this file beside the machine and mend it",
        "# where the two differ. What stands after a # is not read: take it away to use a line.",
        "",
        "[machine]",
        f"name = {_quoted(''.join(c for c in name if c.isprintable()).strip() or 'My machine')}",
        f'units = "{units}"',
        f'# strip_width = "{"20" if inch else "508"}"',
        "",
        "[tape]",
        put("mark", tape.mark, "smallest mark that you read"),
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
        put("notch", moves.notch, "moves are whole multiples of this"),
        _commented(f"band = {moves.band:g}", "a section once touched is brought into this share of the tolerance"),
        _commented(f'# travel = "{"3/8" if inch else "10"}"', "how far a bolt end can go either way in its slot"),
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
        for k in range(row.count):
            told = ("its entry end", "from the entry end", "where the tape is read", "never to be moved")
            start, bolts, points, hold = told if first else ("", "", "", "")
            first = False
            ends = [_quoted(show_exact(x, units)) for x in (row.bolts, row.length - row.bolts)]
            lines += [
                "",
                "[[section]]",
                f"name = {_quoted(f'{row.name}-{k + 1}')}",
                f"row = {_quoted(row.name)}",
                put("start", k * row.spacing, start),
                put("length", row.length),
                _commented(f"bolts = [{', '.join(ends)}]", bolts),
            ]
            if points:
                lines.append(_commented(f'# points = ["0", {_quoted(show_exact(row.length, units))}]', points))
                lines.append(_commented("# hold = true", hold))
    for row in rows:
        for up, down in pairwise(f"{row.name}-{k + 1}" for k in range(row.count)):
            lines += ["", "[[joint]]", f"sections = [{_quoted(up)}, {_quoted(down)}]", 'step = "0"']
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
