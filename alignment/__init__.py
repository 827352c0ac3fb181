"""
stringtrue: tape readings from a string to the moves that bring a roll former's tooling sections square and in line.

This is the door for programs and notebooks; nothing slow loads before it is used.

=====================  ================================================================================
read_layout            a machine, from its .toml file
read_survey            readings taken on it, from .csv, .tsv or .xlsx
read_panel             what was measured on a test panel
read_settings          guide, die and gap settings
solve                  fit every section, judge it, plan the moves
next_act               the one next act that a job log asks for
compare, follow        what moved between two surveys; a machine through many
measure                a test panel: square, camber, bow, twist, waves, widths
judge_settings         settings against their wanted values
find_causes            what the faults of a panel may come from
budget                 what a tape and its points can tell, before going to the machine
square                 one section from two readings, without files
text, as_json, tables  any result in words, as plain numbers, as tables
picture                any result drawn
record                 the record of a job, a PDF to be signed
=====================  ================================================================================

Examples
--------
>>> import alignment
>>> samples = alignment.sample_folder()
>>> machine = alignment.read_layout(samples / "machine.toml")
>>> found = alignment.solve(machine, alignment.read_survey(samples / "as-found.csv", machine))
>>> len(found.state.sections)
9
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from alignment.causes.causes import find_causes
    from alignment.change.comparison import compare
    from alignment.change.history import follow
    from alignment.files.disk import sample_folder
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.panel.panel import measure
    from alignment.panel.panel_file import read_panel
    from alignment.settings.judging import judge_settings
    from alignment.settings.settings_file import read_settings
    from alignment.show.door import as_json, picture, record, tables, text
    from alignment.train.budget import work_out as budget
    from alignment.train.solve import solve
    from alignment.train.square import square
    from alignment.train.work.next_act import next_act

__version__ = "0.1.0"

_WHERE: Final = {
    "as_json": "show.door",
    "budget": "train.budget:work_out",
    "compare": "change.comparison",
    "find_causes": "causes.causes",
    "follow": "change.history",
    "judge_settings": "settings.judging",
    "measure": "panel.panel",
    "next_act": "train.work.next_act",
    "picture": "show.door",
    "read_layout": "machine.layout_file",
    "read_panel": "panel.panel_file",
    "read_settings": "settings.settings_file",
    "read_survey": "machine.survey_files",
    "record": "show.door",
    "sample_folder": "files.disk",
    "solve": "train.solve",
    "square": "train.square",
    "tables": "show.door",
    "text": "show.door",
}

__all__ = [
    "as_json",
    "budget",
    "compare",
    "find_causes",
    "follow",
    "judge_settings",
    "measure",
    "next_act",
    "picture",
    "read_layout",
    "read_panel",
    "read_settings",
    "read_survey",
    "record",
    "sample_folder",
    "solve",
    "square",
    "tables",
    "text",
]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'alignment' has no attribute {name!r}")
    module, _, other = _WHERE[name].partition(":")
    value = getattr(import_module(f"alignment.{module}"), other or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
