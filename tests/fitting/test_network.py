"""The sparse network against dense algebra written out here; exact algebra, 1e-9."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.errors import NotEnoughReadingsError
from alignment.fitting.network import fit_network


def random_network(seed: int, unknowns: int, reach: int, observations: int):
    """Observations of up to three unknowns no farther apart than a reach, and each unknown observed alone once."""
    rng = np.random.default_rng(seed)
    first = rng.integers(0, unknowns, observations)
    index = np.stack(
        [first, *(np.clip(first + rng.integers(0, reach + 1, observations), 0, unknowns - 1),) * 2], axis=1
    )
    index[:, 2] = np.clip(first - rng.integers(0, 2, observations) * (reach > 0), 0, unknowns - 1)
    index = np.concatenate([index, np.arange(unknowns)[:, None].repeat(3, axis=1)])
    coefficient = rng.normal(0, 1, index.shape)
    coefficient[observations:] = [1.0, 0.0, 0.0]
    return index, coefficient, rng.normal(0, 5, len(index)), rng.uniform(0.1, 2.0, len(index))


def dense(index, coefficient, unknowns: int) -> np.ndarray:
    """Design matrix; an unknown that stands twice in a row counts twice."""
    design = np.zeros((len(index), unknowns))
    for row, (places, factors) in enumerate(zip(index, coefficient, strict=True)):
        for place, factor in zip(places, factors, strict=True):
            design[row, place] += factor
    return design


@pytest.mark.parametrize(("unknowns", "reach"), [(1, 0), (5, 0), (6, 1), (40, 3), (40, 12)])
@pytest.mark.parametrize("seed", range(3))
def test_against_dense_algebra(seed, unknowns, reach):
    """Values, covariance inside the band and any column of it, residuals and redundancy."""
    index, coefficient, y, u = random_network(seed, unknowns, reach, 3 * unknowns)
    found = fit_network(index, coefficient, y, u, unknowns)
    design = dense(index, coefficient, unknowns)
    white = design / u[:, None]
    expected, *_ = np.linalg.lstsq(white, y / u, rcond=None)
    covariance = np.linalg.inv(white.T @ white)
    near = {"rel": 1e-9, "abs": 1e-9}
    assert found.value == pytest.approx(expected, **near)
    assert found.residual == pytest.approx(y - design @ expected, **near)
    for k, diagonal in enumerate(found.band):
        assert diagonal[: unknowns - k] == pytest.approx(np.diagonal(covariance, k), **near)
    hat = np.einsum("mi,ij,mj->m", white, covariance, white)
    assert found.redundancy == pytest.approx(1 - hat, **near)
    assert found.redundancy.sum() == pytest.approx(len(y) - unknowns)
    some = np.random.default_rng(seed).normal(size=(unknowns, 2))
    assert found.covariance_times(some) == pytest.approx(covariance @ some, **near)


def test_no_wider_than_what_hangs_together():
    """The band that is kept spans the unknowns of one observation and no more, however many there are."""
    count = 500
    index = np.stack([np.arange(count - 1), np.arange(1, count)], axis=1)
    index = np.concatenate([index, [[0, 0]]])
    coefficient = np.concatenate([np.tile([-1.0, 1.0], (count - 1, 1)), [[1.0, 0.0]]])
    found = fit_network(index, coefficient, np.ones(count), np.full(count, 0.5), count)
    assert found.band.shape == (2, count)
    # a levelling line: each height is one more, its variance grows by that of one difference
    assert found.value == pytest.approx(np.arange(1, count + 1))
    assert found.band[0] == pytest.approx(0.25 * np.arange(1, count + 1))
    assert found.band[1, :-1] == pytest.approx(found.band[0, :-1])


def test_not_determined():
    """Differences alone leave the level of all of them open."""
    with pytest.raises(NotEnoughReadingsError) as error:
        fit_network([[0, 1], [1, 2]], [[-1, 1], [-1, 1]], [1.0, 1.0], [0.1, 0.1], 3)
    assert str(error.value) == "these observations do not determine every unknown of the network"
