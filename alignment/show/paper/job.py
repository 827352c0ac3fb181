"""
One job as a whole: a machine, its surveys as found and as left, a panel and settings, read and worked out together.

What a report is made from.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from alignment.change.comparison import Comparison, compare
from alignment.choices import Aim, Line
from alignment.errors import FileError
from alignment.files.disk import fingerprint
from alignment.lengths import Units
from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout
from alignment.machine.log import parts
from alignment.machine.survey import BoltMove, Photo, Survey
from alignment.machine.survey_files import read_pair, read_survey
from alignment.panel.found import PanelResult
from alignment.panel.panel import measure
from alignment.panel.panel_file import read_panel
from alignment.settings.judging import SettingsResult, judge_settings
from alignment.settings.settings_file import read_settings
from alignment.train.flags.strays import without
from alignment.train.solve import Solution, solve

__all__ = ["Job", "Kept", "Papers", "Photograph", "gather"]


class Kept(enum.Enum):
    """Whether a photograph still lies beside its log."""

    same = enum.auto()
    changed = enum.auto()
    """There is a file of this name, with another hash than in the log."""
    missing = enum.auto()


@dataclass(frozen=True, kw_only=True)
class Photograph:
    """A photograph of a job log, and whether it is kept."""

    photo: Photo
    kept: Kept


@dataclass(frozen=True, kw_only=True)
class Papers:
    """The files that a report is made from."""

    layout: Path
    survey: Path
    after: Path | None = None
    panel: Path | None = None
    settings: Path | None = None

    @property
    def named(self) -> dict[str, Path]:
        """Those that there are, by what they are."""
        single = "survey as found" if self.after else "survey"
        every = {
            "layout": self.layout,
            single: self.survey,
            "survey as left": self.after,
            "panel": self.panel,
            "settings": self.settings,
        }
        return {what: path for what, path in every.items() if path is not None}


@dataclass(frozen=True, kw_only=True)
class Job:
    """
    What a report is of; all lengths are printed in the units of `found`'s layout.

    Attributes
    ----------
    found : Solution
        The survey as found, or the only one.
    left : Solution or None
        The survey as left.
    comparison : Comparison or None
        Of the two, without the strays that were dropped.
    digests : tuple of (str, str, str)
        What each input file is, its name and its SHA-256.
    files : tuple of Survey
        The readings files whole.
    photographs : tuple of Photograph
        Those that the job log names.
    """

    found: Solution
    left: Solution | None = None
    comparison: Comparison | None = None
    panel: PanelResult | None = None
    settings: SettingsResult | None = None
    written: Units
    """Units of bare numbers in the files of the surveys."""
    digests: tuple[tuple[str, str, str], ...] = ()
    files: tuple[Survey, ...] = ()
    photographs: tuple[Photograph, ...] = ()

    @property
    def layout(self) -> Layout:
        """The machine."""
        return self.found.layout

    @property
    def moves(self) -> tuple[BoltMove, ...]:
        """What was moved, by the job log."""
        return tuple(move for survey in self.files for move in survey.moves)

    @property
    def surveys(self) -> list[tuple[str, Solution]]:
        """Each survey with what it is called."""
        if self.left is None:
            return [("As read", self.found)]
        return [("As found", self.found), ("As left", self.left)]


def gather(
    papers: Papers,
    *,
    units: Units | None = None,
    line: Line = Line.string,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    same_string: bool = False,
) -> Job:
    """
    Read and work out everything that a report says.

    Parameters
    ----------
    papers : Papers
    units : Units, optional
        To print in; by default the layout's.
    line, aim, drop_strays
        As in `solution.solve`, for both surveys.
    same_string : bool
        As in `comparison.compare`.

    Raises
    ------
    StringtrueError
        A file that cannot be read or used.
    """
    digests = tuple((what, path.name, fingerprint(path)) for what, path in papers.named.items())
    read = read_layout(papers.layout)
    first, after = papers.survey, papers.after
    whole = read_pair(first, after, read) if after else (read_survey(first, read),)
    surveys = whole if after else parts(whole[0])
    same_string = same_string or (after is None and len(surveys) > 1)
    layout = read.shown_in(units)
    panel = measure(read_panel(papers.panel).shown_in(layout.units)) if papers.panel else None
    settings = None
    if papers.settings:
        settings = judge_settings(read_settings(papers.settings).shown_in(layout.units))
    solved = [solve(layout, survey, line=line, aim=aim, drop_strays=drop_strays) for survey in surveys]
    comparison = None
    if len(solved) > 1:
        kept = [without(s.survey, list(s.dropped)) for s in solved]
        comparison = compare(layout, *kept, same_string=same_string, line=line, aim=aim, planned=solved[0].plan.moves)
    return Job(
        found=solved[0],
        left=solved[1] if comparison else None,
        comparison=comparison,
        panel=panel,
        settings=settings,
        written=read.units,
        digests=digests,
        files=whole,
        photographs=_photographs(dict(zip((p for p in (first, after) if p), whole, strict=True))),
    )


def _photographs(read: Mapping[Path, Survey]) -> tuple[Photograph, ...]:
    return tuple(
        Photograph(photo=photo, kept=_kept(path.parent / photo.name, photo.sha256))
        for path, survey in read.items()
        for photo in survey.photos
    )


def _kept(file: Path, sha256: str) -> Kept:
    try:
        found = fingerprint(file)
    except FileError:
        return Kept.missing
    return Kept.same if found == sha256.lower() else Kept.changed
