"""Small machines for tests, written as the layout files that a user would write."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey import Survey
from alignment.machine.survey_text import parse_survey
from alignment.show.words.flags import flag_words
from alignment.train.flags.flag import Flag


def layout_text(
    sections: Iterable[Mapping[str, object]],
    *,
    units: str = "mm",
    tape: str = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'",
    tolerance: str = "",
    moves: str = "",
    rows: Mapping[str, str] | None = None,
    joints: Sequence[tuple[str, str]] | str = (),
) -> str:
    """Text of a layout; sections as tables of keys, rows as the lines below their heading."""
    lines = ["[machine]", "name = 'Test machine'", f"units = '{units}'", "[tape]", tape]
    lines += ["[tolerance]", tolerance, "[moves]", moves]
    for name, body in (rows or {}).items():
        lines += [f"[row.{name}]", body]
    for section in sections:
        lines.append("[[section]]")
        lines += [f"{key} = {_toml(value)}" for key, value in section.items()]
    if isinstance(joints, str):
        lines.append(joints)
    else:
        for up, down in joints:
            lines += ["[[joint]]", f"sections = ['{up}', '{down}']"]
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"'{value}'"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    return repr(value)


def survey_text(rows: Iterable[Sequence[object]], header: str = "section,point,reading", record: str = "") -> str:
    """Text of a long survey."""
    return record + header + "\n" + "\n".join(",".join(str(cell) for cell in row) for row in rows) + "\n"


def machine(sections: Iterable[Mapping[str, object]], **how: object) -> Layout:
    """A layout, read as its file would be."""
    return parse_layout(layout_text(sections, **how), "machine.toml")  # type: ignore[arg-type]


def readings(layout: Layout, rows: Iterable[Sequence[object]], **how: str) -> Survey:
    """A survey of a machine, read as its file would be."""
    return parse_survey(survey_text(rows, **how), layout, "survey.csv")


def said(flag: Flag, layout: Layout | None = None) -> str:
    """What a flag says, in millimetres unless a layout says otherwise."""
    return flag_words(flag, layout or machine([{"name": "a", "row": "a", "start": "0", "length": "450"}]))
