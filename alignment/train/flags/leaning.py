"""Whether all sections of a string lean alike: then it is more likely the string that leans."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from alignment.fitting.lines import fit_line
from alignment.train.train import Train
from alignment.uncertainty import student_point

__all__ = ["Lean", "find_leans"]

ERROR = 0.01
"""Probability of calling a straight string leaning."""
COVERED = 0.95


@dataclass(frozen=True, kw_only=True)
class Lean:
    """
    A string that leans.

    Attributes
    ----------
    string : str
    slope, expanded : float
        Growth of deviations per length downstream, and its uncertainty at 95 % by Student's t.
    entry, exit : float
        How much nearer to the faces the string should hang at the first and at the last section end. [mm]
    first, last : float
        Machine x of these. [mm]
    share : float
        Share of the squared deviations that this takes away.
    """

    string: str
    slope: float
    expanded: float
    entry: float
    exit: float
    first: float
    last: float
    share: float


def find_leans(train: Train) -> tuple[Lean, ...]:
    """
    Regress the offsets of each string's sections on their place and test the slope.

    One value a section, since the two ends of a section that is out are out together: sections are what is
    independent. F-test at 1 % against no slope, that is Student's t squared.

    Returns
    -------
    tuple of Lean
        Strings of three or more measured sections whose slope is significant.
    """
    layout = train.layout
    found = []
    for string in layout.strings:
        members = np.array([layout.rows[s.row].string == string for s in layout.sections]) & train.measured
        if members.sum() < 3:
            continue
        sign = train.datum.sign[members]
        x, d = train.middle[members], sign * train.offset.value[members]
        line = fit_line(x, d, u=1.0)
        dof = len(x) - 2
        slope = float(line.slope[0])
        scatter = float(np.sqrt(line.chi2[0] / dof * line.slope_var[0]))
        # sections may lie on a line by chance better than the tape can tell
        tape = float(np.sqrt(fit_line(x, d, u=np.sqrt(train.covariance[members, 0, 0])).slope_var[0]))
        u = max(scatter, tape)
        if abs(slope) <= u * student_point(1 - ERROR / 2, dof):
            continue
        first = float(train.start[members].min())
        last = float((train.start + train.length)[members].max())
        x_all = np.concatenate([train.start[members], (train.start + train.length)[members]])
        d_all = np.concatenate([sign * end.value[members] for end in train.ends])
        left = d_all - line.at(x_all)
        found.append(
            Lean(
                string=string,
                slope=slope,
                expanded=u * student_point((1 + COVERED) / 2, dof),
                entry=float(line.at(first)[0]),
                exit=float(line.at(last)[0]),
                first=first,
                last=last,
                share=float(1 - np.sum(left**2) / np.sum(d_all**2)),
            )
        )
    return tuple(found)
