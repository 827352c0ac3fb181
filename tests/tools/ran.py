"""
What each test runs: ``python -m tests.tools.ran`` runs the suite once, without its slow tests, under coverage.

Kept in ``mutants/``: which test ran which line, in coverage's own data file (what no test ran is printed, and again by
``coverage report -m --data-file mutants/ran``), and how long each test took. Programs of their own are not in it.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Collection, Generator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cached_property
from pathlib import Path

import pytest
from coverage import Coverage, CoverageData

ROOT = Path(__file__).parents[2]
LINES, TIMES = ROOT / "mutants" / "ran", ROOT / "mutants" / "ran.json"


@dataclass(frozen=True)
class Ran:
    """
    One clean run of the suite.

    Attributes
    ----------
    seconds : dict of str to float
        Processor time of each test, under coverage, by its node id.
    texts : dict of str to str
        Each module as it was, by its path from the root.
    """

    seconds: dict[str, float]
    texts: dict[str, str]

    @cached_property
    def _lines(self) -> CoverageData:
        data = CoverageData(str(LINES))
        data.read()
        return data

    def _then(self, module: str, lines: Collection[int]) -> set[int]:
        """Numbers that lines had in the run; without those that changed since."""
        before, now = self.texts.get(module, "").splitlines(), text_of(module).splitlines()
        blocks = SequenceMatcher(None, before, now, autojunk=False).get_matching_blocks()
        return {line - b + a for a, b, size in blocks for line in lines if b < line <= b + size}

    def tests(self, lines: Mapping[str, Collection[int]], most: float, first: str = "") -> list[str]:
        """
        Tests that ran a line of these, or of their module where all changed since, for at most so many seconds in all.

        Parameters
        ----------
        lines : mapping of str to collection of int
            By module.
        most : float
            Seconds of processor time, under coverage.
        first : str
            Folder of the tests that come first; among them, and after them, the quickest do.
        """
        contexts: set[str] = set()
        for module, numbers in lines.items():
            by_line = self._lines.contexts_by_lineno(module)
            then = self._then(module, numbers) or (by_line if numbers else ())
            contexts.update(*(by_line.get(number, ()) for number in then))
        # a file stands for what its fixtures share; an import is nobody's
        contexts.discard("")
        names = [name for name in self.seconds if name in contexts or name.partition("::")[0] in contexts]
        chosen, spent = [], 0.0
        for name in sorted(names, key=lambda name: (not name.startswith(first), self.seconds[name])):
            spent += self.seconds[name]
            if spent > most and chosen:
                break
            chosen.append(name)
        return chosen


def last_run() -> Ran:
    """What the last run left; SystemExit where there was none."""
    if not TIMES.exists():
        sys.exit("no run of the suite is kept: python -m tests.tools.ran takes some minutes")
    return Ran(**json.loads(TIMES.read_text(encoding="utf-8")))


def text_of(module: str) -> str:
    """A module as it is now."""
    return (ROOT / module).read_text(encoding="utf-8")


def modules() -> list[str]:
    """All modules of the program, by their paths from the root."""
    return sorted(str(path.relative_to(ROOT)) for room in ("alignment", "cli") for path in (ROOT / room).rglob("*.py"))


class Recorder:
    """Pytest's hooks: tells coverage which test runs, and takes its time."""

    def __init__(self, measured: Coverage) -> None:
        self.measured = measured
        self.seconds: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        """One test."""
        forget()
        self.measured.switch_context(item.nodeid)
        before = sum(os.times()[:4])
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = sum(os.times()[:4]) - before
            self.measured.switch_context("")

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(
        self, fixturedef: pytest.FixtureDef[object], request: pytest.FixtureRequest
    ) -> Generator[None, object, object]:
        """A fixture: what several tests share is run for all of their file."""
        if fixturedef.scope == "function":
            return (yield)
        self.measured.switch_context(request.node.nodeid)
        try:
            return (yield)
        finally:
            self.measured.switch_context(os.environ["PYTEST_CURRENT_TEST"].rpartition(" ")[0])


def forget() -> None:
    """Empty the program's caches, so that a line is run by every test that needs it."""
    for name, module in list(sys.modules.items()):
        if name.startswith(("alignment.", "cli.")):
            for value in list(vars(module).values()):
                if callable(getattr(value, "cache_clear", None)):
                    value.cache_clear()


def main() -> int:
    """Run the suite and keep what it ran."""
    os.chdir(ROOT)
    LINES.parent.mkdir(exist_ok=True)
    measured = Coverage(data_file=str(LINES), source=["alignment", "cli"], config_file=False)
    measured.set_option("run:relative_files", True)
    measured.erase()
    recorder = Recorder(measured)
    measured.start()
    status = pytest.main(["-q", "-p", "no:cacheprovider", "-m", "not slow"], plugins=[recorder])
    measured.stop()
    measured.save()
    kept = {"seconds": recorder.seconds, "texts": {module: text_of(module) for module in modules()}}
    TIMES.write_text(json.dumps(kept), encoding="utf-8")
    measured.report(file=sys.stdout, skip_covered=True, sort="Miss")
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
