"""
A machine of two rows with steps read at its joints, against generalised least squares of statsmodels.

The reference holds every reading of the survey at once, with a dense covariance that has the tape's common zero in
it; the mean of the tilt is laid on each face by its reading at mid-length. Ours goes through sections or a sparse
network and carries what is common apart. Agreement is exact algebra: 1e-7.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from alignment.choices import Line
from alignment.machine.layout import Layout
from alignment.train.across import openings
from alignment.train.train import Train, fit_train
from tests.tools.machines import machine, readings

NEAR = {"rel": 1e-7, "abs": 1e-7}
FEELER = 0.05
ZERO = 0.4
TILT = np.radians(2.0) ** 2 / 6
ROWS = {
    "left": "string = 'a'\nstring_side = 'left'\ntarget = '600'",
    "right": "string = 'b'\nstring_side = 'right'\ntarget = '650'",
}
STRINGS = "[string.a]\nat = '0'\n[string.b]\nat = '2000'\n"
COUNT = 6


class Reference:
    """All readings in one dense model: unknowns are c and s of every section, sections in the layout's order."""

    def __init__(self, train: Train) -> None:
        layout, survey = train.layout, train.survey
        rows, y, own, tape = [], [], [], []
        for r in survey.fitted:
            i = layout.index[r.section]
            rows.append(self.face(train, i, layout.sections[i].start + r.place))
            y.append(r.value)
            own.append(r.u)
            tape.append(1.0)
        for s in survey.steps:
            up, down = layout.index[s.upstream], layout.index[s.downstream]
            one, other = layout.sections[up], layout.sections[down]
            rows.append(self.face(train, down, other.start) - self.face(train, up, one.end))
            y.append(s.value)
            own.append(s.u)
            tape.append(0.0)
        covariance = np.diag(np.square(own)) + survey.tape.zero**2 * np.outer(tape, tape)
        model = sm.GLS(np.array(y), np.array(rows), sigma=covariance)
        fit = model.fit(cov_type="fixed scale")
        self.train, self.value = train, fit.params
        long = np.stack([train.face[:, 0], np.zeros(len(train.face))], axis=1).ravel()
        self.covariance = fit.cov_params() + TILT**2 * np.outer(long, long)

    @staticmethod
    def face(train: Train, i: int, x: float) -> np.ndarray:
        """Reading of a section's face at machine x as a function of the unknowns."""
        row = np.zeros(2 * len(train.layout.sections))
        row[2 * i : 2 * i + 2] = 1.0, x - train.layout.sections[i].middle
        return row

    def says(self, row: np.ndarray, constant: float = 0.0) -> tuple[float, float]:
        """Value of a function of the unknowns, and its standard uncertainty."""
        return float(row @ self.value) + constant, float(np.sqrt(row @ self.covariance @ row))


@pytest.fixture(scope="module", params=[False, True], ids=["tape", "steps"])
def train(request) -> Train:
    """Two to five readings a section; with ``steps`` a feeler at every joint but one, so that chains differ."""
    return made(steps=request.param)


def two_rows() -> Layout:
    parts = [
        {"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 450, "points": [20, 200, 450]}
        for row in ROWS
        for k in range(COUNT)
    ]
    joints = [f"[[joint]]\nsections = ['{row}-{k}', '{row}-{k + 1}']\n" for row in ROWS for k in range(COUNT - 1)]
    return machine(parts, joints="".join(joints) + STRINGS, rows=ROWS, tape=f"mark = '1'\ntilt = 2\nzero = '{ZERO}'")


def made(*, steps: bool, line: Line = Line.string) -> Train:
    rng = np.random.default_rng(5)
    layout = two_rows()
    taken = []
    ends = {}
    for number, s in enumerate(layout.sections):
        places = (20.0, 200.0, 450.0) if number % 3 == 0 else (20.0, 450.0)
        middle, skew = rng.normal(0, 2, 2)
        ends[s.name] = middle, middle + skew
        for place in places:
            for _ in range(1 + number % 2):
                value = 590 + middle + skew * place / s.length + rng.normal(0, 0.2)
                taken.append((s.name, f"{place:g}", f"{value:.6f}", f"{rng.uniform(0.3, 0.6):.4f}"))
    if steps:
        skipped = "left-2"
        taken += [
            (j.upstream, "joint", f"{ends[j.downstream][0] - ends[j.upstream][1] + rng.normal(0, FEELER):.4f}", FEELER)
            for j in layout.joints
            if j.upstream != skipped
        ]
    train = fit_train(layout, readings(layout, taken, header="section,point,reading,u"), line=line)
    assert train.birge == pytest.approx(1.0), "the readings are meant to scatter as the tape explains"
    assert len(train.adjusted.steps) == (len(layout.joints) - 1) * steps
    return train


def test_faces(train):
    """Values, and covariance of each face with itself and with the next, the zero left out."""
    reference = Reference(train)
    assert train.face.ravel() == pytest.approx(reference.value, **NEAR)
    zero = np.kron(np.ones(len(train.face)), [1.0, 0.0])
    long = np.stack([train.face[:, 0], np.zeros(len(train.face))], axis=1).ravel()
    covariance = reference.covariance - ZERO**2 * np.outer(zero, zero) - TILT**2 * np.outer(long, long)
    for i in range(len(train.face)):
        own = slice(2 * i, 2 * i + 2)
        assert train.covariance[i] == pytest.approx(covariance[own, own], **NEAR)
        if i + 1 < len(train.face):
            beside = slice(2 * i + 2, 2 * i + 4)
            assert train.adjusted.cross[i] == pytest.approx(covariance[own, beside], **NEAR)


def test_deviations_from_targets_that_are_numbers(train):
    """At both ends and at mid-length, the zero included; skews, in which it cancels."""
    reference = Reference(train)
    target = {"left": 600.0, "right": 650.0}
    for i, s in enumerate(train.layout.sections):
        for found, x in ((train.ends[0], s.start), (train.ends[1], s.end), (train.offset, s.middle)):
            value, u = reference.says(reference.face(train, i, x), -target[s.row])
            assert (found.value[i], found.u[i]) == (pytest.approx(value, **NEAR), pytest.approx(u, **NEAR))
        value, u = reference.says(reference.face(train, i, s.end) - reference.face(train, i, s.start))
        assert (train.skew.value[i], train.skew.u[i]) == (pytest.approx(value, **NEAR), pytest.approx(u, **NEAR))


def test_steps(train):
    """With the correlation of neighbours that a feeler ties together."""
    reference = Reference(train)
    for k, (up, down) in enumerate(train.joint_index):
        one, other = train.layout.sections[up], train.layout.sections[down]
        row = reference.face(train, down, other.start) - reference.face(train, up, one.end)
        value, u = reference.says(row)
        assert train.steps.value[k] == pytest.approx(value, **NEAR)
        assert train.steps.u[k] == pytest.approx(u, **NEAR)


def test_weighted_sums_of_any_sections(train):
    """Openings and their growth along the machine are such sums; so is any other, of readings or deviations."""
    reference = Reference(train)
    rng = np.random.default_rng(8)
    target = {"left": 600.0, "right": 650.0}
    for readings_ in (True, False):
        for _ in range(10):
            parts = [
                (int(rng.integers(0, 2 * COUNT)), float(rng.uniform(0, 3000)), float(rng.normal())) for _ in range(4)
            ]
            row = sum(factor * reference.face(train, i, x) for i, x, factor in parts)
            taken = 0.0 if readings_ else sum(f * target[train.layout.sections[i].row] for i, _, f in parts)
            value, u = reference.says(row, -taken)
            found = train.combine(parts, readings=readings_)
            assert found == (pytest.approx(value, **NEAR), pytest.approx(u, **NEAR))


@pytest.mark.parametrize("steps", [False, True], ids=["tape", "steps"])
def test_fitted_line(steps):
    """
    Shift and slope of each string from statsmodels' fit of a line to the faces, and deviations from it.

    The reference takes each face's two numbers as observed, with their own covariance as weight and the covariance of
    all readings for the uncertainty: that is the same line as the one through the readings while no step is read.
    """
    train = made(steps=steps, line=Line.fitted)
    reference = Reference(train)
    count = len(train.face)
    target = np.repeat([600.0, 650.0], COUNT)
    middle = np.array([s.middle for s in train.layout.sections])
    for string, members in (("a", range(COUNT)), ("b", range(COUNT, 2 * COUNT))):
        design, y, pick = [], [], np.zeros((2 * COUNT, 2 * count))
        sigma = np.zeros((2 * COUNT, 2 * COUNT))
        for k, i in enumerate(members):
            design += [[1.0, middle[i]], [0.0, 1.0]]
            y += [reference.value[2 * i] - target[i], reference.value[2 * i + 1]]
            pick[2 * k : 2 * k + 2, 2 * i : 2 * i + 2] = np.eye(2)
            own = slice(2 * i, 2 * i + 2)
            # what moves all alike has no say in the weights
            common = ZERO**2 + (TILT * train.face[i, 0]) ** 2
            sigma[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = reference.covariance[own, own] - common * np.diag([1.0, 0.0])
        model = sm.GLS(np.array(y), np.array(design), sigma=sigma)
        shift, slope = model.fit(cov_type="fixed scale").params
        assert train.string_lines[string] == (pytest.approx(shift, **NEAR), pytest.approx(slope, **NEAR))
        line = model.pinv_wexog @ model.cholsigmainv @ pick
        for i in members:
            s = train.layout.sections[i]
            for found, x in ((train.ends[0], s.start), (train.ends[1], s.end)):
                row = reference.face(train, i, x) - line[0] - line[1] * x
                value = reference.says(reference.face(train, i, x))[0] - target[i] - shift - slope * x
                assert found.value[i] == pytest.approx(value, **NEAR)
                assert found.u[i] == pytest.approx(reference.says(row)[1], **NEAR)
            row = reference.face(train, i, s.end) - reference.face(train, i, s.start) - line[1] * s.length
            assert train.skew.u[i] == pytest.approx(reference.says(row)[1], **NEAR)


def test_fitted_line_is_the_one_through_the_readings():
    """While no step is read, statsmodels' weighted line through the bare readings of a string is the same."""
    train = made(steps=False, line=Line.fitted)
    layout = train.layout
    for string, row, target in (("a", "left", 600.0), ("b", "right", 650.0)):
        own = [r for r in train.survey.fitted if layout.sections[layout.index[r.section]].row == row]
        x = np.array([layout.sections[layout.index[r.section]].start + r.place for r in own])
        weights = np.array([r.u for r in own]) ** -2.0
        # what the sections' own fits leave over does not pull at the line
        fit = sm.WLS(np.array([r.value - target for r in own]), sm.add_constant(x), weights=weights).fit()
        assert train.string_lines[string] == pytest.approx(tuple(fit.params), rel=1e-7)


def test_openings_and_their_taper(train):
    """Two strings 2000 mm apart: what lies between the faces is 2000 less both readings; the zero counts twice."""
    reference = Reference(train)
    (across,) = openings(train)
    assert across.rows == ("left", "right")
    rows = {}
    for place in across.places:
        i = next(i for i, s in enumerate(train.layout.sections) if s.start <= place.x <= s.end)
        rows[place.x] = -reference.face(train, i, place.x) - reference.face(train, i + COUNT, place.x)
        value, u = reference.says(rows[place.x], 2000.0)
        assert (place.opening, place.u) == (pytest.approx(value, **NEAR), pytest.approx(u, **NEAR))
        assert place.u > 2 * ZERO
    assert sorted(rows) == sorted(x for k in range(COUNT) for x in (500.0 * k, 500.0 * k + 450.0))
    value, u = reference.says(rows[2950.0] - rows[0.0])
    assert (across.change, across.change_u) == (pytest.approx(value, **NEAR), pytest.approx(u, **NEAR))


def test_grown_where_steps_contradict():
    """
    A chain whose steps the tape contradicts has its uncertainties grown by the Birge ratio.

    That is statsmodels' own covariance, scaled by the mean square of the residuals. The other row's stay.
    """
    layout = two_rows()
    taken = [(s.name, f"{place:g}", "600", "0.5") for s in layout.sections for place in (20, 450)]
    taken += [(j.upstream, "joint", "3" if j.upstream == "left-2" else "0", FEELER) for j in layout.joints]
    train = fit_train(layout, readings(layout, taken, header="section,point,reading,u"))
    own = [k for k, s in enumerate(layout.sections) if s.row == "left"]
    rows, y, u = [], [], []
    for r in train.survey.fitted:
        i = layout.index[r.section]
        rows.append(Reference.face(train, i, layout.sections[i].start + r.place) * (i in own))
        y.append(r.value)
        u.append(r.u)
    for step in train.adjusted.steps:
        up, down = layout.index[step.upstream], layout.index[step.downstream]
        face = Reference.face(train, down, layout.sections[down].start)
        rows.append((face - Reference.face(train, up, layout.sections[up].end)) * (up in own))
        y.append(step.value)
        u.append(step.u)
    keep = np.any(rows, axis=1)
    columns = [c for k in own for c in (2 * k, 2 * k + 1)]
    fit = sm.WLS(np.array(y)[keep], np.array(rows)[keep][:, columns], weights=np.array(u)[keep] ** -2.0).fit()
    assert fit.scale > 1.5
    assert train.covariance[own] == pytest.approx(
        np.array([fit.cov_params()[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] for i in range(len(own))]), rel=1e-6
    )
    pick = np.zeros((2, *train.face.shape))
    pick[0, own[1], 0] = pick[1, own[4], 1] = 1.0
    whole = train.adjusted.covariance_times(pick)[own].reshape(2 * len(own), 2)
    assert whole == pytest.approx(fit.cov_params()[:, [2, 9]], rel=1e-6, abs=1e-12)
    for i, k in enumerate(own[:-1]):
        assert train.adjusted.cross[k] == pytest.approx(
            fit.cov_params()[2 * i : 2 * i + 2, 2 * i + 2 : 2 * i + 4], rel=1e-6, abs=1e-12
        )
    assert train.birge[own] == pytest.approx(np.sqrt(fit.scale))
    others = [k for k in range(len(layout.sections)) if k not in own]
    assert train.birge[others] == pytest.approx(1.0)
