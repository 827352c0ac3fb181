"""
Many surveys of one machine over time: where each section stood, how it drifts, and what moved between which dates.

Offsets and skews are those of each survey by itself; what moved from one survey to the next is told apart from a
string hung anew as for any two surveys.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment import __version__
from alignment.change.motion import PROBABILITY, Motion, Status, compare_trains
from alignment.choices import Line
from alignment.errors import InputError, NotEnoughReadingsError, Problem, quote
from alignment.fitting.lines import fit_line
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.train.flags.find import Flag, find_flags
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE, chi_square_point, normal_point, student_point

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MONTH", "Drift", "Event", "History", "as_json", "as_tables", "drift", "follow"]

Floats = NDArray[np.float64]
MONTH: Final = 365.25 / 12
"""Days of a mean month."""
FEWEST_DATES: Final = 3
"""Dates that a drift needs: two make a difference, not a drift."""


@dataclass(frozen=True, kw_only=True)
class Drift:
    """
    Straight line through the values of one quantity over time.

    Attributes
    ----------
    per_month, u : float
        Slope and its standard uncertainty, grown where the values scatter more than theirs explain. [mm per month]
    since : datetime
        First date of the stretch that it was taken over.
    dates : int
        Surveys in that stretch.
    significant : bool
    """

    per_month: float
    u: float
    since: datetime.datetime
    dates: int
    significant: bool
    straight: bool
    """Whether the values lie on the line as well as their uncertainties allow."""

    @property
    def expanded(self) -> float:
        """Expanded uncertainty of the slope. [mm per month]"""
        return COVERAGE * self.u


@dataclass(frozen=True, kw_only=True)
class Event:
    """
    Sections that moved between two surveys that follow each other.

    `flags` are those of either survey on the readings of these sections, each with the name of the survey.
    """

    before: int
    after: int
    motion: Motion
    flags: tuple[tuple[str, Flag], ...]


@dataclass(frozen=True, kw_only=True)
class History:
    """
    Surveys of one machine in the order of their dates.

    Attributes
    ----------
    surveys : tuple of Survey
        With their names, records and readings.
    taken : tuple of datetime
    offset, offset_u, skew, skew_u : (m, n) array
        Of each survey and section; NaN where it was not measured. [mm]
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
    drifts: tuple[tuple[Drift | None, Drift | None], ...]
    events: tuple[Event, ...]


def follow(layout: Layout, surveys: Iterable[Survey], *, line: Line = Line.string) -> History:
    """
    Follow a machine through many surveys.

    Parameters
    ----------
    layout : Layout
    surveys : iterable of Survey
        In any order; each says when it was taken.
    line : Line
        What the deviations of each survey are taken from.

    Raises
    ------
    InputError
        A survey without a date or with too few readings; all of them at once.
    NotEnoughReadingsError
        No survey at all.
    """
    found: list[tuple[datetime.datetime, Survey, Train]] = []
    problems: list[Problem] = []
    for survey in surveys:
        try:
            train = fit_train(layout, survey, line=line)
            taken = _date(survey)
        except InputError as error:
            problems += [Problem(survey.source, f"{problem.where} {problem.what}") for problem in error.problems]
        except NotEnoughReadingsError as error:
            problems.append(Problem(survey.source, str(error).removeprefix(f"{survey.source}: ")))
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
    return History(
        layout=layout,
        line=line,
        surveys=surveys_,
        taken=taken_,
        offset=values[0],
        offset_u=values[1],
        skew=values[2],
        skew_u=values[3],
        drifts=_drifts(taken_, values, events, len(layout.sections)),
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
        motion = compare_trains(trains[k], trains[k + 1], probability=1 - (1 - PROBABILITY) / pairs)
        if len(motion.moved):
            names = {motion.layout.sections[i].name for i in motion.moved}
            flags = tuple(
                (train.survey.source, flag)
                for train in trains[k : k + 2]
                for flag in find_flags(train)
                if flag.section in names and flag.harmful
            )
            events.append(Event(before=k, after=k + 1, motion=motion, flags=flags))
    return tuple(events)


def _drifts(
    taken: tuple[datetime.datetime, ...], values: list[Floats], events: tuple[Event, ...], sections: int
) -> tuple[tuple[Drift | None, Drift | None], ...]:
    """
    Drift of every section's offset and skew.

    Over the whole record where a straight line explains it; else, where the section moved at some date, over the
    stretch since it last did.
    """
    days = np.array([(t - taken[0]).total_seconds() / 86400 for t in taken])
    error = (1 - PROBABILITY) / (2 * max(sections, 1))
    found = []
    for i in range(sections):
        moved = [event.after for event in events if event.motion.status[i] is Status.moved]
        pair: list[Drift | None] = []
        for value, u in ((values[0], values[1]), (values[2], values[3])):
            whole = _stretch(taken, days, value[:, i], u[:, i], 0, error)
            if whole is not None and not whole.straight and moved:
                whole = _stretch(taken, days, value[:, i], u[:, i], moved[-1], error)
            pair.append(whole)
        found.append((pair[0], pair[1]))
    return tuple(found)


def _stretch(
    taken: tuple[datetime.datetime, ...], days: Floats, value: Floats, u: Floats, first: int, error: float
) -> Drift | None:
    at = np.flatnonzero(~np.isnan(value) & (np.arange(len(value)) >= first))
    if len(set(days[at])) < FEWEST_DATES:
        return None
    per_month, slope_u, significant, straight = drift(days[at], value[at], u[at], error=error)
    return Drift(
        per_month=per_month,
        u=slope_u,
        since=taken[at[0]],
        dates=len(at),
        significant=significant,
        straight=straight,
    )


def drift(days: ArrayLike, value: ArrayLike, u: ArrayLike, *, error: float = 0.05) -> tuple[float, float, bool, bool]:
    """
    Slope of values over time by weighted least squares.

    Parameters
    ----------
    days : (n,) array
        Three different ones at least.
    value, u : (n,) array
        With their standard uncertainties.
    error : float
        Probability of calling a slope significant where there is none.

    Returns
    -------
    per_month, u : float
        Slope over a mean month and its standard uncertainty, grown by the Birge ratio where the values scatter
        beyond the 95 % point of chi-square.
    significant, straight : bool
        Whether the slope differs from zero; whether the values lie on a line as well as their u allow.
    """
    line = fit_line(days, value, u=u)
    dof, chi2 = int(line.dof[0]), float(line.chi2[0])
    straight = chi2 <= chi_square_point(dof, 0.95)
    birge = 1.0 if straight else math.sqrt(max(chi2 / dof, 1.0))
    slope, slope_u = float(line.slope[0]) * MONTH, math.sqrt(float(line.slope_var[0])) * birge * MONTH
    # a spread that was estimated from the values themselves asks for Student's t
    point = normal_point(1 - error / 2) if straight else student_point(1 - error / 2, dof)
    return slope, slope_u, abs(slope) > point * slope_u, bool(straight)


def as_json(history: History) -> dict[str, Any]:
    """The history as plain numbers and texts; lengths in the layout's units."""
    layout = history.layout
    of = layout.units.of

    def series(values: Floats) -> list[float | None]:
        return [None if math.isnan(v) else of(float(v)) for v in values]

    def told(d: Drift | None) -> dict[str, Any] | None:
        if d is None:
            return None
        return {
            "per_month": of(d.per_month),
            "u": of(d.u),
            "since": d.since.isoformat(" "),
            "dates": d.dates,
            "significant": d.significant,
        }

    sections = [
        {
            "section": section.name,
            "row": section.row,
            **{
                name: {"values": series(value[:, i]), "u": series(u[:, i]), "drift": told(history.drifts[i][k])}
                for k, (name, value, u) in enumerate(
                    (("offset", history.offset, history.offset_u), ("skew", history.skew, history.skew_u))
                )
            },
        }
        for i, section in enumerate(layout.sections)
    ]
    moved = [
        {
            "from": history.taken[event.before].isoformat(" "),
            "to": history.taken[event.after].isoformat(" "),
            "section": layout.sections[i].name,
            **{
                end: {"value": of(float(bolt.value[i])), "u": of(float(bolt.u[i]))}
                for end, bolt in zip(("entry", "exit"), event.motion.bolts(), strict=True)
            },
            "flags": [
                {"file": source, "flag": flag.flag, "message": flag.message}
                for source, flag in event.flags
                if flag.section == layout.sections[i].name
            ],
        }
        for event in history.events
        for i in event.motion.moved
    ]
    return {
        "stringtrue": __version__,
        "machine": layout.name,
        "units": str(layout.units),
        "line": str(history.line),
        "surveys": [
            {"file": survey.source, **survey.record, "taken": taken.isoformat(" ")}
            for survey, taken in zip(history.surveys, history.taken, strict=True)
        ],
        "sections": sections,
        "moved": moved,
    }


def as_tables(history: History) -> dict[str, pd.DataFrame]:
    """The history as tables: every section at every date, the drifts, and what moved; in the layout's units."""
    import pandas as pd

    layout, of = history.layout, history.layout.units.of
    shape = history.offset.shape
    names = [s.name for s in layout.sections]
    series = pd.DataFrame(
        {
            "taken": np.repeat([t.isoformat(" ") for t in history.taken], shape[1]),
            "file": np.repeat([s.source for s in history.surveys], shape[1]),
            "section": names * shape[0],
            "offset": of(1.0) * history.offset.ravel(),
            "U offset": of(COVERAGE) * history.offset_u.ravel(),
            "skew": of(1.0) * history.skew.ravel(),
            "U skew": of(COVERAGE) * history.skew_u.ravel(),
        }
    )
    drifts = [
        {
            "section": name,
            "quantity": what,
            "per month": of(d.per_month),
            "U per month": of(d.expanded),
            "since": d.since.isoformat(" "),
            "dates": d.dates,
            "significant": d.significant,
        }
        for name, pair in zip(names, history.drifts, strict=True)
        for what, d in zip(("offset", "skew"), pair, strict=True)
        if d is not None
    ]
    tables = {"series": series}
    if drifts:
        tables["drift"] = pd.DataFrame(drifts)
    if history.events:
        tables["moved"] = pd.json_normalize(as_json(history)["moved"]).drop(columns="flags")
    return tables
