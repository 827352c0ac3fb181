"""The main job in one call: a layout and a survey in, flags, verdicts, answers, moves and the state after out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from alignment.choices import Aim, At, Line, LineChoice
from alignment.errors import check_names
from alignment.machine.layout import Layout
from alignment.machine.log import seen
from alignment.machine.survey import Reading, Survey
from alignment.results import Result
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag
from alignment.train.flags.strays import find_strays, without
from alignment.train.moves.answers import ReadAgain
from alignment.train.moves.plan import SECONDS, Plan, plan_moves
from alignment.train.state import State, judge
from alignment.train.train import Train, fit_train
from alignment.uncertainty import Verdict

__all__ = ["SECONDS", "Solution", "easiest", "of_string", "solve", "solve_lines"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Solution(Result):
    """
    What one survey of one machine comes to.

    `survey` and `flags` are of the readings as they were written; `train` is fitted without the dropped ones.
    """

    layout: Layout
    survey: Survey
    train: Train
    state: State
    flags: tuple[Flag, ...]
    plan: Plan
    dropped: tuple[Reading, ...] = ()
    """Strays that were left out of the fit because the user said so."""

    @property
    def verdict(self) -> Verdict:
        """Of the machine as measured."""
        return self.state.verdict

    @property
    def read_again(self) -> tuple[ReadAgain, ...]:
        """Sections to read again before anything of them is moved."""
        return self.plan.read_again

    @property
    def headline(self) -> str:
        """Verdict and size of the job."""
        return f"{self.verdict}, {self.plan.headline} to move"


def solve(
    layout: Layout,
    survey: Survey,
    *,
    at: At = At.now,
    line: Line = Line.string,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    done: Sequence[str] = (),
    waiting: Callable[[], None] | None = None,
) -> Solution:
    """
    Fit a survey, judge every section, say which to read again, and plan the moves of the others.

    Parameters
    ----------
    layout, survey
        The machine and its readings.
    at : At
        Of a job log: whether how things stand now is judged, or how they stood as found.
    line : Line
        What deviations are taken from.
    aim : Aim
        What makes one plan better than another.
    drop_strays : bool
        Whether readings that the others contradict are left out of the fit. They are kept in `Solution.dropped`.
    done : sequence of str
        Sections that are finished and are not to be touched again.
    waiting : callable, optional
        Called several times a second while planning takes long.

    Returns
    -------
    Solution

    Raises
    ------
    NotEnoughReadingsError
        No section was read at two distinct points.
    NameUnknownError
        A section in `done` that the layout lacks.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> found = alignment.solve(machine, alignment.read_survey(samples / "as-found.csv", machine))
    >>> found.verdict.value
    'out'
    """
    check_names(done, layout.index, layout.source)
    line, aim, survey = Line(line), Aim(aim), seen(survey, At(at))
    measured = fit_train(layout, survey, line=line)
    flags = find_flags(measured)
    dropped: tuple[Reading, ...] = ()
    if drop_strays:
        # where nothing tells which of several readings is wrong, none is dropped by chance
        dropped = tuple(stray.reading for stray in find_strays(measured) if stray.decided)
        measured = fit_train(layout, without(survey, list(dropped)), line=line)
    plan = plan_moves(
        measured, aim=aim, done=frozenset(done), doubted=_doubted(layout, flags, dropped), waiting=waiting
    )
    return Solution(
        layout=layout,
        survey=survey,
        train=plan.before,
        state=judge(plan.before, chances=plan.now),
        flags=flags,
        plan=plan,
        dropped=dropped,
    )


def of_string(flag: Flag) -> bool:
    """Whether a flag doubts a string, or all readings of one, rather than a section's."""
    return flag.flag.of_string or (bool(flag.string) and not flag.section)


def _doubted(layout: Layout, flags: Sequence[Flag], dropped: Sequence[Reading]) -> dict[str, tuple[str, ...]]:
    """Sections whose readings are doubted, and the points to read again: all of them where the flag names none."""
    gone = {id(r) for r in dropped}
    found: dict[str, list[str]] = {}
    for flag in flags:
        if flag.harmful and not of_string(flag) and id(flag.reading) not in gone:
            for name in (flag.section, flag.beside):
                if name:
                    section = layout.sections[layout.index[name]]
                    every = [section.point_name(place, layout.units) for place in section.points]
                    points = found.setdefault(name, [])
                    points += [p for p in ([flag.point] if flag.point else every) if p not in points]
    return {name: tuple(points) for name, points in found.items()}


def solve_lines(
    layout: Layout,
    survey: Survey,
    choice: LineChoice,
    *,
    at: At = At.now,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    done: Sequence[str] = (),
    waiting: Callable[[], None] | None = None,
) -> dict[Line, Solution]:
    """Solve with one line, or with every one so that what each takes can be seen side by side; see `solve`."""
    lines = list(Line) if choice is LineChoice.all else [Line(choice)]
    how = {"at": at, "aim": aim, "drop_strays": drop_strays, "done": done, "waiting": waiting}
    return {line: solve(layout, survey, line=line, **how) for line in lines}  # type: ignore[arg-type]


def easiest(solutions: Mapping[Line, Solution]) -> Solution:
    """
    The solution that misses least, then moves fewest bolt ends, then has least to read again, then moves least.

    The string's on a tie.
    """

    def cost(s: Solution) -> tuple[float, int, int, float]:
        return (
            round(sum(m.by for m in s.plan.missed), 3), s.plan.bolt_ends, len(s.read_again), round(s.plan.total, 3)
        )  # fmt: skip

    return min(solutions.values(), key=cost)
