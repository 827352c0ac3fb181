"""Deviations of several sections with all that they share, against derivatives taken reading by reading."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from alignment.choices import Line
from alignment.train.joint import chance_of_all, ends_parts, section_chances, whole
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

NAMES = "abc"
ENDS = ("entry", "exit")
TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '{}'"
LIMITS = "offset = '1.5'\nsquare = '1.2'\nstep = '1'"
FACES = np.array([600.0, 600.4, 600.9, 600.2, 599.8, 600.5])
DRAWS = 200_000


def fitted(faces=FACES, *, target: str = "target = '600'", line: Line = Line.string, zero: float = 0.0):
    """Three sections end to end in one row, each read once at both ends, the last one by another hand."""
    parts = [{"name": name, "row": "r", "start": 400 * k, "length": 400} for k, name in enumerate(NAMES)]
    layout = machine(
        parts, rows={"r": target}, joints=[("a", "b"), ("b", "c")], tape=TAPE.format(zero), tolerance=LIMITS
    )
    taken = [(n, e, f"{faces[2 * k + j]:.6f}", 0.3 + 0.2 * k) for k, n in enumerate(NAMES) for j, e in enumerate(ENDS)]
    return fit_train(layout, readings(layout, taken, header="section,point,reading,u"), line=line)


def deviations(train) -> np.ndarray:
    return np.stack([end.value for end in train.ends], axis=1).ravel()


def derived(**how) -> np.ndarray:
    """Covariance of all deviations, from how each changes with each reading; what all share in a zero besides."""
    change = [(deviations(fitted(FACES + 0.01 * one, **how)) - deviations(fitted(**how))) / 0.01 for one in np.eye(6)]
    u = np.repeat([0.3, 0.5, 0.7], 2)
    return np.transpose(change) @ np.diag(u**2) @ np.array(change)


WAYS = [{}, {"target": ""}, {"line": Line.fitted}, {"target": "", "line": Line.fitted}]


@pytest.mark.parametrize("how", WAYS, ids=["target", "own target", "fitted line", "both"])
def test_covariance_of_all_deviations(how):
    train, expected = fitted(**how), derived(**how)
    found = whole(train, np.arange(3))
    assert found.value == pytest.approx(deviations(train))
    assert found.covariance == pytest.approx(expected, abs=1e-6)
    parts = ends_parts(train)
    own = parts.own + parts.cross + np.swapaxes(parts.cross, 1, 2) + parts.rest
    assert own == pytest.approx(np.array([expected[k : k + 2, k : k + 2] for k in (0, 2, 4)]), abs=1e-6)


@functools.cache
def drawn(zero: float = 0.0) -> np.ndarray:
    """Deviations as they may be, (draws, 3, 2), by numpy's own generator."""
    rng = np.random.default_rng(5)
    off = rng.multivariate_normal(deviations(fitted()), derived(), DRAWS)
    return (off + rng.normal(0, zero, (DRAWS, 1)) if zero else off).reshape(DRAWS, 3, 2)


def within(off: np.ndarray) -> np.ndarray:
    """Offset and squareness of each section, (draws, 3)."""
    return (np.abs(off) <= 1.5).all(axis=2) & (np.abs(off[..., 1] - off[..., 0]) <= 1.2)


@pytest.mark.parametrize("settled", ["abc", "a", "b", "c", ""])
@pytest.mark.parametrize("zero", [0.0, 0.4])
def test_chance_of_each_with_the_steps_to_settled_neighbours(settled, zero):
    off = drawn(zero)
    in_, step = within(off), np.abs(off[:, 1:, 0] - off[:, :-1, 1]) <= 1
    for k, one in ((0, "b"), (2, "b"), (1, "a"), (1, "c")):
        in_[:, k] &= step[:, min(k, NAMES.index(one))] | (one not in settled)
    assert section_chances(fitted(zero=zero), set(settled)) == pytest.approx(in_.mean(axis=0), abs=0.005)


@pytest.mark.parametrize("names", ["abc", "ab", "bc", "ac"])
def test_chance_of_all_at_once(names):
    off = drawn()
    in_ = np.all([within(off)[:, NAMES.index(name)] for name in names], axis=0)
    for k, pair in enumerate(("ab", "bc")):
        if set(pair) <= set(names):
            in_ &= np.abs(off[:, k + 1, 0] - off[:, k, 1]) <= 1
    assert chance_of_all(fitted(), set(names)) == pytest.approx(in_.mean(), abs=0.03)


def test_rows_share_the_tapes_zero():
    """Two rows read with a hook that is worn, nobody knows how much: both are in or both are out."""
    rows = dict.fromkeys("ab", "target = '600'")
    parts = [{"name": f"{row}-1", "row": row, "start": 0, "length": 400} for row in rows]
    tape = "mark = '0.1'\nset = '0.02'\ntilt = 0\nzero = '1.5'"
    layout = machine(parts, rows=rows, tape=tape, tolerance=LIMITS)
    train = fit_train(layout, readings(layout, [(s.name, end, 600) for s in layout.sections for end in ENDS]))
    one = section_chances(train, set())[0]
    assert 0.6 < one < 0.75
    assert chance_of_all(train, {"a-1", "b-1"}) == pytest.approx(one, abs=0.04)
