"""The solver HiGHS: silent, interruptible, and loaded only where a programme has to be solved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Answer", "Rows", "minimise"]

Floats = NDArray[np.float64]
TICK: Final = 0.1
"""How often a waiting caller is told, and an interrupt looked for. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """Rows of a programme: their limits, and their entries as places and factors."""

    low: Floats
    high: Floats
    row: NDArray[np.int32]
    column: NDArray[np.int32]
    factor: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """
    What the solver found.

    Attributes
    ----------
    x : array or None
        The best values found; None where none were.
    bound : float
        It is proved that no values do better.
    proved : bool
        Whether `x` is proved best.
    infeasible : bool
        Whether it is proved that no values keep all rows.
    """

    x: Floats | None
    bound: float
    proved: bool
    infeasible: bool


def minimise(
    goal: Floats,
    rows: Rows,
    lower: Floats,
    upper: Floats,
    integer: NDArray[np.bool_],
    *,
    seconds: float,
    waiting: Callable[[], None] | None = None,
) -> Answer:
    """
    Least value of ``goal @ x`` with ``low <= A x <= high`` and ``lower <= x <= upper``.

    The solver runs in a thread of its own, so that Ctrl-C ends it.

    Parameters
    ----------
    goal, lower, upper : (n,) arrays
    rows : Rows
    integer : (n,) bool array
        Unknowns that are whole numbers.
    seconds : float
        Time to spend.
    waiting : callable, optional
        Called several times a second.

    Raises
    ------
    KeyboardInterrupt
        The user ended it.
    """
    import highspy

    class Silent(highspy.Highs):
        """Silenced before its callbacks are set up, since that prints a banner."""

        def enableCallbacks(self) -> None:  # noqa: N802  # the solver's own name
            self.silent()
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    solver = Silent()  # type: ignore[no-untyped-call]
    # one thread: to start more for each of so many small programmes takes longer than it saves
    how = {"output_flag": False, "time_limit": max(seconds, 0.1), "mip_rel_gap": 0.0, "threads": 1}
    for option, value in how.items():
        solver.setOptionValue(option, value)
    order = np.lexsort((rows.column, rows.row))
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(goal), len(rows.low)
    model.col_cost_, model.col_lower_, model.col_upper_ = goal, lower, upper
    model.row_lower_, model.row_upper_ = rows.low, rows.high
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = np.searchsorted(rows.row[order], np.arange(len(rows.low) + 1)).astype(np.int32)
    model.a_matrix_.index_, model.a_matrix_.value_ = rows.column[order], rows.factor[order]
    kinds = highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger
    model.integrality_ = [kinds[int(whole)] for whole in integer]
    solver.passModel(model)
    solver.HandleUserInterrupt = True
    thread = solver.startSolve()
    try:
        while thread.is_alive():
            thread.join(TICK)
            if waiting is not None:
                waiting()
    except KeyboardInterrupt:
        solver.cancelSolve()  # type: ignore[no-untyped-call]
        thread.join()
        raise
    status, info = solver.getModelStatus(), solver.getInfo()
    optimal = status == highspy.HighsModelStatus.kOptimal
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    return Answer(
        x=np.array(solver.getSolution().col_value) if found else None,
        bound=float(info.mip_dual_bound),
        proved=optimal,
        infeasible=status == highspy.HighsModelStatus.kInfeasible,
    )
