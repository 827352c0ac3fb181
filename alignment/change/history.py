"""
Many surveys of one machine over time: where each section stood, how it drifts, and what moved between which dates.

Offsets and skews are those of each survey by itself. What moved from one survey to the next, and what drifts over all
of them, is told apart from the string of each day.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.change.motion import PROBABILITY, Motion, compare_trains
from alignment.change.strings import Status, by_string, recorded, string_line
from alignment.change.trends import Series, Trends, find_trends
from alignment.choices import Line
from alignment.errors import InputError, NotEnoughReadingsError, Problem, quote
from alignment.machine.layout import Layout, Plane
from alignment.machine.log import parts
from alignment.machine.survey import Survey
from alignment.quantiles import student_point
from alignment.results import Result
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE

__all__ = ["MONTH", "Drift", "Event", "History", "StringHistory", "follow"]

Floats = NDArray[np.float64]
MONTH: Final = 365.25 / 12
"""Days of a mean month."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Drift(Result):
    """
    Straight line through the values of one quantity over time, against the sections of its string that are steady.

    Attributes
    ----------
    per_month, u : float
        Slope and its standard uncertainty, grown where the values scatter more than theirs explain. [mm per month]
    since : datetime
        First date that it was taken over.
    dates : int
        Surveys in which the section was measured.
    significant : bool
    doubtful : bool
        Whether another section's drift would explain the values as well.
    """

    per_month: float
    u: float
    since: datetime.datetime
    dates: int
    significant: bool
    doubtful: bool

    @property
    def expanded(self) -> float:
        """Expanded uncertainty of the slope. [mm per month]"""
        return COVERAGE * self.u


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class StringHistory(Result):
    """One string over all dates: the sections measured from it, where it hung, and what drifts among them."""

    string: str
    plane: Plane
    members: tuple[int, ...]
    places: tuple[float, float]
    trends: Trends


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Event(Result):
    """
    Sections that moved, or may have moved, between two surveys that follow each other.

    `flags` are those of either survey on the readings of these sections, each with the name of the survey.
    """

    before: int
    after: int
    motion: Motion
    flags: tuple[tuple[str, Flag], ...]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class History(Result):
    """
    Surveys of one machine in the order of their dates.

    Attributes
    ----------
    surveys : tuple of Survey
        With their names, records and readings.
    taken : tuple of datetime
    offset, offset_u, skew, skew_u : (m, n) array
        Of each survey and section, from that day's string; NaN where it was not measured. [mm]
    hung : (m, n, 2) array
        What of offset and skew comes from how that day's string hung, against the mean of all days. Zero where a
        section is alone on its string, and where a line of each day is taken off already. [mm]
    strings : tuple of StringHistory
    drifts : tuple of (offset, skew)
        Of each section; None where there are too few dates.
    events : tuple of Event
        Between which surveys anything moved.
    """

    layout: Layout
    line: Line
    surveys: tuple[Survey, ...]
    taken: tuple[datetime.datetime, ...]
    offset: Floats
    offset_u: Floats
    skew: Floats
    skew_u: Floats
    hung: Floats
    strings: tuple[StringHistory, ...]
    drifts: tuple[tuple[Drift | None, Drift | None], ...]
    events: tuple[Event, ...]

    @property
    def apart(self) -> tuple[Floats, Floats]:
        """Offset and skew with each day's string taken off, so that dates compare, (m, n) each. [mm]"""
        return self.offset - self.hung[:, :, 0], self.skew - self.hung[:, :, 1]


def follow(layout: Layout, surveys: Iterable[Survey], *, line: Line = Line.string) -> History:
    """
    Follow a machine through many surveys.

    Parameters
    ----------
    layout : Layout
    surveys : iterable of Survey
        In any order; each says when it was taken. A job log is as found and as left.
    line : Line
        What the deviations of each survey are taken from.

    Returns
    -------
    History
        Lengths in millimetres; away from the string positive.

    Raises
    ------
    InputError
        A survey without a date or with too few readings; all of them at once.
    NotEnoughReadingsError
        No survey at all.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> days = [alignment.read_survey(samples / name, machine) for name in ("before-move.csv", "as-found.csv")]
    >>> alignment.follow(machine, days).layout.name
    'Liner line, bay 2'
    """
    found: list[tuple[datetime.datetime, Survey, Train]] = []
    problems: list[Problem] = []
    # a job log tells of two days: as found and as left
    for survey in (part for each in surveys for part in parts(each)):
        try:
            train = fit_train(layout, survey, line=line)
            taken = _date(survey)
        except InputError as error:
            problems += [Problem(survey.source, f"{problem.where} {problem.what}") for problem in error.problems]
        except NotEnoughReadingsError as error:
            problems.append(Problem(survey.source, error.what))
        else:
            found.append((taken, survey, train))
    if problems:
        raise InputError("surveys", f"{len(problems)} cannot be followed over time", problems)
    if not found:
        raise NotEnoughReadingsError("There is no survey to follow. Name survey files, or a folder of them.")
    found.sort(key=lambda one: (one[0], one[1].source))
    taken_, surveys_, trains = (tuple(column) for column in zip(*found, strict=True))
    values = [
        np.array([getattr(getattr(t, what), part) for t in trains])
        for what in ("offset", "skew")
        for part in ("value", "u")
    ]
    events = _events(trains)
    strings, hung = _strings(layout, taken_, trains, events)
    return History(
        layout=layout,
        line=line,
        surveys=surveys_,
        taken=taken_,
        offset=values[0],
        offset_u=values[1],
        skew=values[2],
        skew_u=values[3],
        hung=hung if line is Line.string else np.zeros_like(hung),
        strings=strings,
        drifts=_drifts(taken_, values[0], strings),
        events=events,
    )


def _date(survey: Survey) -> datetime.datetime:
    text = survey.record.get("taken")
    mend = "Write a line '# taken: 2026-10-02 07:40' above the readings."
    if text is None:
        raise InputError(survey.source, "no date", [Problem("# taken", f"is missing. {mend}")])
    try:
        taken = datetime.datetime.fromisoformat(text)
        # with an offset it is brought to UTC, so that surveys of one day stand in their true order
        return taken.astimezone(datetime.UTC).replace(tzinfo=None) if taken.tzinfo else taken
    except ValueError:
        what = f"{quote(text)} is not a date as year-month-day. {mend}"
        raise InputError(survey.source, "no date", [Problem("# taken", what)]) from None


def _events(trains: tuple[Train, ...]) -> tuple[Event, ...]:
    """What moved between neighbours; over the whole history no section is named by chance with `PROBABILITY`."""
    pairs = max(len(trains) - 1, 1)
    events = []
    for k in range(len(trains) - 1):
        before, after = trains[k : k + 2]
        motion = compare_trains(
            before,
            after,
            stayed=recorded(before.survey, after.survey),
            probability=1 - (1 - PROBABILITY) / pairs,
        )
        changed = [*motion.moved, *motion.of(Status.doubtful)]
        if changed:
            names = {motion.layout.sections[i].name for i in changed}
            flags = tuple(
                (train.survey.source, flag)
                for train in (before, after)
                for flag in find_flags(train)
                if flag.section in names and flag.harmful
            )
            events.append(Event(before=k, after=k + 1, motion=motion, flags=flags))
    return tuple(events)


def _strings(
    layout: Layout, taken: tuple[datetime.datetime, ...], trains: tuple[Train, ...], events: tuple[Event, ...]
) -> tuple[tuple[StringHistory, ...], Floats]:
    """What drifts among the sections of each string, and what the strings did, (m, n, 2)."""
    n = len(layout.sections)
    length = np.array([s.length for s in layout.sections])
    scale = np.stack([np.ones(n), length], axis=1)
    value = np.array([train.face * scale for train in trains])
    covariance = np.array([train.covariance * scale[:, :, None] * scale[:, None, :] for train in trains])
    stretch = np.zeros((len(trains), n), dtype=np.int64)
    for event in events:
        stretch[event.after :, event.motion.moved] += 1
    time = np.array([(t - taken[0]).total_seconds() / 86400 / MONTH for t in taken])
    groups = by_string(layout, np.flatnonzero(~np.isnan(value[:, :, 1]).all(axis=0)))
    hung = np.zeros((len(trains), n, 2))
    found = []
    for (name, plane), own in groups.items():
        line, places = string_line(layout, own)
        trends = find_trends(
            Series(time=time, value=value[:, own], covariance=covariance[:, own], line=line, stretch=stretch[:, own]),
            error=1 - PROBABILITY ** (1 / len(groups)),
        )
        hung[:, own] = trends.hung
        found.append(
            StringHistory(string=name, plane=plane, members=tuple(map(int, own)), places=places, trends=trends)
        )
    return tuple(found), hung


def _drifts(
    taken: tuple[datetime.datetime, ...], offset: Floats, strings: tuple[StringHistory, ...]
) -> tuple[tuple[Drift | None, Drift | None], ...]:
    """Drift of every section's offset and skew; of one that drifts, of which of the two it is seen."""
    found: list[tuple[Drift | None, Drift | None]] = [(None, None)] * offset.shape[1]
    for string in strings:
        trends = string.trends
        for k, i in enumerate(string.members):
            if np.isnan(trends.drift[k]).any():
                continue
            dates = np.flatnonzero(~np.isnan(offset[:, i]))
            ratio = np.abs(trends.drift[k]) / trends.u[k]
            seen = ratio > student_point(1 - (1 - PROBABILITY) / 2, trends.dof)
            # what is seen of both together is that of the larger, where neither alone is
            seen[int(ratio.argmax())] = True
            pair = [
                Drift(
                    per_month=float(trends.drift[k, what]),
                    u=float(trends.u[k, what]),
                    since=taken[int(dates[0])],
                    dates=len(dates),
                    significant=k in trends.drifting and bool(seen[what]),
                    doubtful=k in trends.doubtful,
                )
                for what in (0, 1)
            ]
            found[i] = (pair[0], pair[1])
    return tuple(found)
