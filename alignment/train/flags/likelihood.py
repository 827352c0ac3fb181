"""
Readings too far off for a machine that is badly out: target, neighbours and own section weighed at once.

Deviations of the readings of one string are taken as

    d = e + h + z        e: where the section's ends stand and what the reading errs by; h: the string; z: the zero

with ends out by `OUT` each by itself, straight faces in between, and a string that hangs off by `HUNG` at either end.
That reading k alone is misread is weighed against none by the likelihood ratio: with P the inverse covariance of all
of them the slip is (P d)_k / P_kk, which for one section on a string goes by the target and for many by the
neighbours. It is set against how it scatters on a string that hangs where it should, so that no more clean surveys
are doubted where there are few sections and the string can as well be blamed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.lengths import INCH
from alignment.quantiles import chi_square_point, normal_point
from alignment.train.train import Train

__all__ = ["OUT", "improbable", "statistics"]

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

OUT: Final = float(INCH) / 8
"""How far the section ends of a machine that wants aligning are usually out: a standard deviation (our judgement, no
source). [mm]"""
HUNG: Final = float(INCH) / 16
"""
How far a string hangs off at either end, a standard deviation (our judgement, no source). [mm]

Less, and a string hung off by 1/4 in sends a person to more of the sections of a machine that is badly out; more, and
more slips on one that hangs right are missed.
"""
FREE: Final = 1000.0
"""The same of what is not known: a string that is seen to lean, a row whose wanted reading nobody tells. [mm]"""
FALSE: Final = 0.045
"""Chance that any reading of a clean survey is doubted here, on a machine as far out as `OUT`: less than 1 in 20."""
SWAPPED: Final = 0.005
"""So much of it is left to ends that seem swapped, where there are sections enough for that."""
FOUND_OUT: Final = 0.01
"""Chance that such a machine is taken to be out by more than that."""
WORTH: Final = 0.37
"""Degrees of freedom of a median of absolute values for each of them: its efficiency."""
NEAREST: Final = 60
"""Readings weighed at once; in a very long train those farther off say nothing of one another."""


def improbable(train: Train, deviation: Floats, tested: NDArray[np.bool_], leaning: set[str]) -> list[int]:
    """
    Readings too far off, the farthest first, each set aside before the next is looked for.

    Parameters
    ----------
    train : Train
    deviation : (m,) array
        Of each fitted reading; NaN for those that are left out. [mm]
    tested : (m,) bool array
        Which of them may be doubted.
    leaning : set of str
        Strings that are seen to lean.

    Returns
    -------
    list of int
        Their places among the fitted readings.
    """
    tested = tested & ~np.isnan(deviation)
    if not tested.any():
        return []
    parts = list(_parts(train, deviation))
    false = FALSE - SWAPPED * (max(len(part) for part in parts) > 4)
    limit = normal_point(1 - false / (2 * int(tested.sum())))
    limit *= _grown(train, deviation, parts)
    found: list[tuple[float, int]] = []
    for part in parts:
        left = part
        while tested[left].any():
            w = np.where(tested[left], np.abs(statistics(train, deviation, left, leaning)), 0.0)
            k = int(np.argmax(w))
            if w[k] <= limit:
                break
            found.append((float(w[k]), int(left[k])))
            left = np.delete(left, k)
    return [k for _, k in sorted(found, reverse=True)]


def statistics(train: Train, deviation: Floats, part: Indices, leaning: set[str]) -> Floats:
    """
    How far each of some readings of a string is off beside the others, standard normal on a machine out by `OUT`.

    Parameters
    ----------
    train : Train
    deviation : (m,) array
        Of each fitted reading. [mm]
    part : (n,) int array
        Which of these, all on one string.
    leaning : set of str
        Strings that are seen to lean.

    Returns
    -------
    (n,) array
    """
    layout = train.layout
    readings = [train.survey.fitted[k] for k in part]
    section = np.array([layout.index[r.section] for r in readings])
    place = np.array([r.place for r in readings])
    x = train.start[section] + place
    share = place / train.length[section]
    # what both ends of a section do to two of its readings
    ends = np.outer(1 - share, 1 - share) + np.outer(share, share)
    covariance = OUT**2 * ends * (section[:, None] == section)
    covariance += np.diag([r.u**2 for r in readings]) + train.survey.tape.zero**2
    rows = np.array([layout.sections[i].row for i in section])
    covariance += FREE**2 * (rows[:, None] == rows) * np.array([layout.rows[row].target is None for row in rows])
    along = (x - x.min()) / max(float(np.ptp(x)), 1.0)
    hung = FREE if layout.rows[rows[0]].string in leaning else HUNG
    line = hung * train.datum.sign[section][:, None] * np.stack([1 - along, along], axis=1)
    weight = np.linalg.inv(covariance + line @ line.T)
    # variance of the pull of each on a string that hangs where it should: without the line's own part
    variance = np.diag(weight) - np.sum((weight @ line) ** 2, axis=1)
    return np.asarray(weight @ deviation[part] / np.sqrt(np.maximum(variance, np.finfo(float).tiny)))


def _parts(train: Train, deviation: Floats) -> Iterator[Indices]:
    """Readings string by string, along it, of a long one so many at a time; those left out are not in them."""
    layout = train.layout
    readings = train.survey.fitted
    known = np.flatnonzero(~np.isnan(deviation))
    for string in layout.strings:
        own = [k for k in known if layout.rows[layout.sections[layout.index[readings[k].section]].row].string == string]
        if not own:
            continue
        own.sort(key=lambda k: (train.start[layout.index[readings[k].section]], readings[k].section))
        yield from np.array_split(np.array(own), -(-len(own) // NEAREST))


def _grown(train: Train, deviation: Floats, parts: list[Indices]) -> float:
    """By how much a machine is farther out than `OUT`, where its readings say so: by medians, which bear slips."""
    readings = train.survey.fitted
    off = [np.zeros(0)]
    for part in parts:
        # of two sections one slip would be half
        if len(part) > 4:
            d = deviation[part] * train.datum.sign[[train.layout.index[readings[k].section] for k in part]]
            off.append((d - np.median(d)) / np.hypot(OUT, [readings[k].u for k in part]))
    together = np.abs(np.concatenate(off))
    if not len(together):
        return 1.0
    dof = max(round(WORTH * len(together)), 1)
    squared = (1.4826 * float(np.median(together))) ** 2
    return float(squared**0.5) if squared > float(chi_square_point(dof, 1 - FOUND_OUT)) / dof else 1.0
