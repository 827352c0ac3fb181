"""What is asked of settings: what is wanted, kept with the machine, and what was measured, kept with the job."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import tomlkit

from alignment.errors import quote
from alignment.lengths import Units
from alignment.settings.settings_file import Kind
from alignment.show.words.filling import Question, held, question
from alignment.show.words.phrases import in_list

__all__ = ["first_settings", "measured", "settings_job", "wanted"]

Doc = Any
REPEATS: Final = "Measured more than once: type all, with commas between."
KINDS: Final = {
    Kind.guide: "guide: the gap between two guides",
    Kind.gap: "gap: between two rolls",
    Kind.die: "die: its opening",
    Kind.level: "level: across the frame",
    Kind.shear: "shear: between its blades",
}


def first_settings(units: Units | None) -> str:
    """What a new file of wanted settings begins with."""
    told = "" if units is None else f'units = "{units}"\n'
    return (
        "# What is wanted at this machine, and what it is measured with. Then: stringtrue enter, with this file.\n"
        f"\n[machine]\n{told}"
    )


def settings_job(text: str, taken: str, by: str = "") -> str:
    """What the file of a job begins with: all that is wanted, and nothing measured yet."""
    doc: Doc = tomlkit.parse(text)
    for table in (doc.get("strip", {}), *doc.get("setting", ())):
        table.pop("measured", None)
    doc["machine"].pop("by", None)
    doc["machine"]["taken"] = taken
    if by:
        doc["machine"]["by"] = by
    return tomlkit.dumps(doc)


def wanted(doc: Mapping[str, Any]) -> list[Question]:
    """The machine, what is measured with, the strip, and each thing that is set."""
    asked = [
        question(doc, ("machine", "units"), "Units of bare numbers, in or mm", default="in", needed=True),
        question(doc, ("machine", "name"), "Name of the machine", default="My machine", needed=True),
    ]
    names = list(held(doc, ("instrument",)) or {})
    for k, name in enumerate((*names, "")):
        asked.append(_instrument(names, k))
        if name:
            mark = "its smallest mark, or the last digit it shows"
            asked.append(question(doc, ("instrument", name, "mark"), f"{name}, {mark}", needed=True))
            zero = "its zero may be off by (standard uncertainty)"
            asked.append(question(doc, ("instrument", name, "zero"), f"{name}, {zero}"))
    asked += [
        question(doc, ("strip", "width"), "Width of the strip"),
        question(doc, ("strip", "thickness"), "Thickness of the strip"),
    ]
    if len(names) > 1 and held(doc, ("strip", "width")):
        asked.append(question(doc, ("strip", "with"), "The strip is measured with", default=names[0], only=names))
    settings = held(doc, ("setting",)) or []
    for k in range(len(settings) + 1):
        asked += _setting(doc, k, names)
    return asked


def _instrument(names: list[str], k: int) -> Question:
    """A thing to measure with; its name is that of a table."""
    stands = names[k] if k < len(names) else ""

    def keep(doc: Doc, typed: str) -> None:
        tables = doc.setdefault("instrument", tomlkit.table(is_super_table=True))
        if typed != stands and typed in tables:
            raise ValueError(f"{quote(typed)} is there already. Give it another name.")
        tables[typed] = tables.pop(stands) if stands else tomlkit.table()

    def drop(doc: Doc) -> None:
        doc["instrument"].pop(stands)

    first = "What do you measure with: tape, rule, caliper or another name"
    return Question(
        name=f"instrument.{k}", words="What else do you measure with" if k else first, stands=stands,
        default="" if k else "rule", needed=not k, keep=keep, drop=drop,
    )  # fmt: skip


def _setting(doc: Mapping[str, Any], k: int, names: list[str]) -> list[Question]:
    """All that is asked of the k-th thing; of one that has no name yet only its name."""
    at = ("setting", k)
    name = held(doc, (*at, "name"))

    def drop(into: Doc) -> None:
        del into["setting"][k]

    first = question(doc, (*at, "name"), "Name of a thing that is set" if not k else "Name of the next one")
    asked = [
        Question(
            name=first.name, words=first.words, stands=first.stands, needed=not k, keep=first.keep, drop=drop,
            help="As you call it, for example entry guides, or roll gap, station 1. Enter when there are no more.",
        )
    ]  # fmt: skip
    if not name:
        return asked
    told = held(doc, (*at, "kind"))
    kinds = [str(kind) for kind in Kind]
    what = in_list(list(KINDS.values()), "or")
    asked.append(question(doc, (*at, "kind"), f"{name}, kind ({', '.join(kinds)})", needed=True, only=kinds, help=what))
    own = told != Kind.shear
    if told == Kind.guide:
        asked.append(question(doc, (*at, "clearance"), f"{name}, wanted over the strip's width"))
    if told == Kind.level:
        asked.append(question(doc, (*at, "over"), f"{name}, read over what length", needed=True))
        asked.append(question(doc, (*at, "wanted"), f"{name}, wanted", default="0"))
    elif not held(doc, (*at, "clearance")):
        words = f"{name}, wanted" if own else f"{name}, wanted; Enter: 2 to 10 % of the strip's thickness"
        asked.append(question(doc, (*at, "wanted"), words, needed=own))
    if own or held(doc, (*at, "wanted")):
        asked.append(question(doc, (*at, "tolerance"), f"{name}, may be off by", needed=True))
    if len(names) > 1:
        asked.append(question(doc, (*at, "with"), f"{name}, measured with", default=names[0], needed=True, only=names))
    return asked


def measured(doc: Mapping[str, Any]) -> list[Question]:
    """Who measures, and each thing with what is wanted of it."""
    asked = [question(doc, ("machine", "by"), "Your name")]
    if held(doc, ("strip",)):
        width = held(doc, ("strip", "width"))
        asked.append(_measured(doc, ("strip",), f"Width of the strip{f', nominal {width}' if width else ''}"))
    for k, table in enumerate(held(doc, ("setting",)) or ()):
        asked.append(_measured(doc, ("setting", k), f"{table.get('name')}{_wanted(table)}"))
    return asked


def _measured(doc: Mapping[str, Any], at: tuple[str | int, ...], words: str) -> Question:
    tool = held(doc, (*at, "with"))
    shown = f"{words} ({tool})" if tool else words
    return question(doc, (*at, "measured"), shown, several=True, help=f"{REPEATS} Enter: not measured.")


def _wanted(table: Mapping[str, Any]) -> str:
    """``, wanted 0.0360``; nothing where it hangs on the strip's thickness."""
    if "clearance" in table:
        return f", wanted {table['clearance']} over the strip"
    return f", wanted {table['wanted']}" if "wanted" in table else ""
