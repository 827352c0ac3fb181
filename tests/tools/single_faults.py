"""
Single faults that once no test saw, put in one by one on a copy: ``python -m tests.tools.single_faults``.

Each names what a user would get of it, and the test that is to fail. A fault that is not seen, or whose place in the
code is gone, ends the run with status 1.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from tests.tools.mutants import copied, seen


class Fault(NamedTuple):
    """A place in the code and what is put there; what a user would get; the test that fails."""

    module: str
    sound: str
    spoiled: str
    user_gets: str
    test: str


FAULTS = [
    Fault(
        "settings/judging.py",
        "setting.kind is Kind.guide and strip.best",
        "setting.kind is Kind.guide or strip.best",
        "a strip that is 'wider than the guides' at gaps that are no guides",
        "tests/settings/test_settings.py::test_what_is_no_guide_has_no_clearance",
    ),
    Fault(
        "fitting/arcs.py",
        "np.sqrt(max(found.chi2",
        "np.sqrt(min(found.chi2",
        "U of a scattered camber as small as if nothing scattered",
        "tests/validation/test_scipy_arcs.py",
    ),
    Fault(
        "panel/corners.py",
        "np.mean(one) - np.mean(other)",
        "np.mean(one) + np.mean(other)",
        "edges without diagonals that differ by twice their length",
        "tests/panel/test_panel.py::test_sides_alone_tell_their_differences",
    ),
    Fault(
        "causes/facts.py",
        "legs != other.panel.legs else 1",
        "legs != other.panel.legs else 2",
        "a camber of a turned strip split into shares of the machine and the coil that are none",
        "tests/causes/test_causes.py::test_turned_strip_in_numbers",
    ),
    Fault(
        "panel/panel.py",
        "x = panel.length - np.array(offsets.places)",
        "x = panel.length + np.array(offsets.places)",
        "readings drawn off the panel",
        "tests/panel/test_panel.py::test_readings_lie_where_they_were_taken",
    ),
    Fault(
        "show/paper/sheet.py",
        '"above": lane.away > 0',
        '"above": lane.away <= 0',
        "a string drawn on the wrong side of its row",
        "tests/show/test_sheet.py::test_leaders_go_to_the_points_and_strings_hang_on_their_side",
    ),
    Fault(
        "show/paper/sheet.py",
        '"x": (s.start + place - low)',
        '"x": (s.start - place - low)',
        "lines from the numbers to places where nothing is read",
        "tests/show/test_sheet.py::test_leaders_go_to_the_points_and_strings_hang_on_their_side",
    ),
    Fault(
        "train/straightness.py",
        "if len(members) < 2:\n            continue",
        "if len(members) < 2:\n            break",
        "rows after one that was not measured left out",
        "tests/train/test_straightness.py::test_rows_after_one_that_was_not_read_are_told",
    ),
    Fault(
        "train/across.py",
        "ats[0] is None or ats[1] is None",
        "ats[0] is None and ats[1] is None",
        "a traceback where one string has no place",
        "tests/train/test_heights.py::test_no_twist_where_one_string_has_no_place",
    ),
    Fault(
        "machine/survey_text.py",
        "section is None or value is None:\n            return\n        after",
        "section is None and value is None:\n            return\n        after",
        "a traceback for a step at a section that the layout lacks",
        "tests/machine/test_survey.py::test_step_of_a_section_that_is_unknown",
    ),
    Fault(
        "show/json/comparison.py",
        '"section": f.section or None, "message"',
        '"section": f.section and None, "message"',
        "flags of a comparison that name no section",
        "tests/change/test_comparison.py::test_flags_name_their_section_in_json",
    ),
    Fault(
        "change/search.py",
        "trial[int(statistic.argmin())] = True",
        "trial[int(statistic.argmin())] = False",
        "a comparison that does not end, or sections called moved that stood still",
        "tests/change/test_comparison.py",
    ),
    Fault(
        "train/settling.py",
        "worse_end is section.entry.deviation else 1",
        "worse_end is section.entry.deviation else 0",
        "advice for the exit end worked out for the entry end",
        "tests/train/test_settling.py",
    ),
    Fault(
        "train/settling.py",
        "if item[0] in order else 0",
        "if item[0] not in order else 0",
        "ways to settle a verdict in any order",
        "tests/train/test_settling.py",
    ),
    Fault(
        "train/budget.py",
        "margin = (1 - share) / 2",
        "margin = (1 - share) / 4",
        "points asked for farther apart or nearer than is needed",
        "tests/train/test_budget.py",
    ),
]


def main() -> int:
    """Put each fault in, run its test, and say which are seen."""
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        for test in sorted({fault.test for fault in FAULTS}):
            if seen(tree, [test], 300):
                print(f"fails on the sound code: {test}")
                return 1
        for fault in FAULTS:
            path = tree / "alignment" / fault.module
            source = path.read_text(encoding="utf-8")
            found = source.count(fault.sound) == 1
            path.write_text(source.replace(fault.sound, fault.spoiled), encoding="utf-8")
            fails = found and seen(tree, [fault.test], 120)
            path.write_text(source, encoding="utf-8")
            missed += not fails
            said = "seen" if fails else "NOT SEEN" if found else "NOT FOUND IN THE CODE"
            print(
                f"{said}: {fault.module}: {fault.spoiled.splitlines()[0]}: {fault.user_gets} ({fault.test})", flush=True
            )
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
