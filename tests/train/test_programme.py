"""The planner against an exhaustive search on small trains and the linear programme's bound on large ones."""

from __future__ import annotations

import time

import numpy as np
import pytest

from alignment.choices import Aim, Line
from alignment.train.joint import ends_parts
from alignment.train.moves.answers import Answer
from alignment.train.moves.choosing import choose
from alignment.train.moves.linesearch import Faces
from alignment.train.moves.plan import plan_moves
from alignment.train.moves.programme import lay_line
from alignment.train.train import fit_train
from tests.tools.exhaustive import SLACK, Block, Problem, Worth, best_line, best_plan, only_told, programme, ways
from tests.tools.machines import machine, readings


def random_problem(seed: int, count: int, *, joints: bool = True, hold: float = 0.0, travel: float = 5.0, **how):
    """Sections with bolts inside, beside or under their ends."""
    rng = np.random.default_rng(seed)
    blocks, x = [], float(rng.uniform(-50, 50))
    spread = how.pop("spread", 2.0)
    for _ in range(count):
        length = float(rng.uniform(200, 600))
        bolts = (x + length * float(rng.uniform(0, 0.2)), x + length * float(rng.uniform(0.8, 1.0)))
        middle, skew = rng.normal(0, spread), rng.normal(0, spread)
        blocks.append(
            Block(middle - skew / 2, middle + skew / 2, (x, x + length), bolts, hold=bool(rng.random() < hold))
        )
        x += length + float(rng.uniform(0, 60))
    tolerance = {"offset": 2.0, "square": 1.5, "step": 1.75, "band": 0.5} | how
    nominal = {i: float(rng.choice([0.0, 0.6])) for i in range(count - 1) if joints and rng.random() < 0.85}
    return Problem(blocks, travel=travel, joints=nominal, **tolerance)


# --- on a given line: every stop -------------------------------------------------------------------------------


def machine_of(problem: Problem, *, mark: float = 1.0):
    """The same problem as layout and survey, each end read three times alike."""
    parts, rows, joints = [], [], ""
    for k, b in enumerate(problem.blocks):
        start = b.x[0] + 100
        bolts = [b.bolts[0] - b.x[0], b.bolts[1] - b.x[0]]
        length = b.x[1] - b.x[0]
        parts.append({"name": f"s{k}", "row": "r", "start": start, "length": length, "bolts": bolts, "hold": b.hold})
        for end, value in (("entry", b.entry), ("exit", b.exit)):
            rows += [(f"s{k}", end, f"{600 + value:.6f}")] * 3
    for i, nominal in problem.joints.items():
        joints += f"[[joint]]\nsections = ['s{i}', 's{i + 1}']\nstep = '{nominal}'\n"
    layout = machine(
        parts,
        rows={"r": "target = '600'"},
        tape=f"mark = '{mark}'\nset = '0.4'\ntilt = 0\nzero = '0.4'",
        tolerance=f"offset = '{problem.offset}'\nsquare = '{problem.square}'\nstep = '{problem.step}'",
        moves=f"travel = '{problem.travel}'\ncreep = '0.4'",
        joints=joints,
    )
    return layout, readings(layout, rows)


@pytest.mark.parametrize("seed", range(12))
def test_stops_of_small_trains_against_every_combination(seed):
    """
    Trains of one and two sections: as few bolt ends, and as good chances, as the best of all combinations of stops.

    Whether a section is left or moved is answered before; the search is given the same answers.
    """
    problem = random_problem(seed, 1 + seed % 2, hold=0.1, travel=9.0, spread=2.0)
    layout, survey = machine_of(problem)
    train = fit_train(layout, survey)
    fixed = np.array([s.hold for s in layout.sections])
    choice = choose(train, ends_parts(train), fixed, {}, Aim.fewest, 20.0)
    one = float(np.sqrt(train.covariance[0, 0, 0] * 2))
    worth = Worth(mark=1.0, u=one, zero=0.4, creep=0.4, bolt=layout.moves.bolt)
    stop = float(np.sqrt(1 / 12 + 0.4**2))
    every = []
    for i, block in enumerate(problem.blocks):
        own = ways(block, layout.tolerance, worth, problem.travel, stop)
        if choice.answers[i] is Answer.move:
            own = only_told(own, block, worth)
        own = own if choice.answers[i] in (Answer.leave, Answer.move) else own[:1]
        every.append(own)
    if any(answer in (Answer.stuck, Answer.read_again) for answer in choice.answers):
        pytest.skip("not a plan of moves alone")
    cost, chosen = best_plan(problem, every, [a is Answer.leave for a in choice.answers], layout.moves.bolt)
    assert choice.cost[1] == cost[2]
    assert choice.cost[2] == pytest.approx(cost[3], abs=2e-3)
    assert [int(k) for k in choice.loose.sum(axis=1)] == [way.ends for way in chosen]
    assert choice.ends == pytest.approx(np.array([[w.entry, w.exit] for w in chosen]), abs=1e-5)


# --- a line that may be chosen ---------------------------------------------------------------------------------


def faces_of(problem: Problem) -> Faces:
    """The same problem as the planner takes it."""
    joints = sorted(problem.joints)
    return Faces(
        deviation=np.array([[b.entry, b.exit] for b in problem.blocks]),
        x=np.array([b.x for b in problem.blocks]),
        bolts=np.array([b.bolts for b in problem.blocks]),
        fixed=np.array([b.hold for b in problem.blocks]),
        sign=np.ones(len(problem.blocks)),
        offset=problem.offset,
        square=problem.square,
        step=problem.step,
        band=problem.band,
        travel=float(problem.travel),
        joints=np.array([[i, i + 1] for i in joints], dtype=np.int64).reshape(-1, 2),
        nominal=np.array([problem.joints[i] for i in joints]),
    )


def check_kept(problem: Problem, laid) -> None:
    """The rules, one by one."""
    first = min(b.x[0] for b in problem.blocks)
    span = max(b.x[1] for b in problem.blocks) - first
    after = []
    for block, moves in zip(problem.blocks, laid.moves, strict=True):
        assert np.abs(moves).max() <= problem.travel + SLACK
        assert not (block.hold and moves.any())
        share = problem.band if moves.any() else 1.0
        turn = (moves[1] - moves[0]) / (block.bolts[1] - block.bolts[0])
        off = [
            d
            - moves[0]
            - turn * (x - block.bolts[0])
            - laid.line[0]
            - (laid.line[1] - laid.line[0]) * (x - first) / span
            for d, x in zip((block.entry, block.exit), block.x, strict=True)
        ]
        assert np.abs(off).max() <= share * problem.offset + SLACK
        assert abs(off[1] - off[0]) <= share * problem.square + SLACK
        after.append(off)
    for i, nominal in problem.joints.items():
        assert abs(after[i + 1][0] - after[i][1] - nominal) <= problem.step + SLACK


@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
@pytest.mark.parametrize("seed", range(10))
def test_free_line_against_every_set_of_bolt_ends(seed, fewest):
    """Trains of three sections: as good as the best of all sets of bolt ends, each a linear programme."""
    problem = random_problem(500 + seed, 3, travel=4.0, spread=2.0, hold=0.1, offset=1.5, square=1.0, step=1.5)
    expected = best_line(problem, fewest=fewest)
    found = lay_line(faces_of(problem), fewest=fewest, seconds=20)
    if expected is None:
        assert found.missed > 0 or not keeps(problem, found)
        return
    check_kept(problem, found)
    assert found.missed == pytest.approx(0, abs=1e-6)
    assert found.optimal
    assert found.movement >= found.least_movement - 1e-3
    if fewest:
        assert found.ends == found.least_ends == expected[0]
        assert found.movement == pytest.approx(expected[1], abs=1e-3)
    else:
        assert found.ends >= found.least_ends
        assert found.least_movement == pytest.approx(expected[0], abs=1e-3)


def keeps(problem: Problem, found) -> bool:
    try:
        check_kept(problem, found)
    except AssertionError:
        return False
    return True


def test_enough_of_these_trains_have_a_line():
    """What the comparison above is worth."""
    problems = (
        random_problem(500 + seed, 3, travel=4.0, spread=2.0, hold=0.1, offset=1.5, square=1.0, step=1.5)
        for seed in range(10)
    )
    best = [best_line(problem, fewest=True) for problem in problems]
    assert sum(b is not None for b in best) >= 6, best
    assert sum(b is not None and b[0] > 0 for b in best) >= 4, best


@pytest.mark.slow
@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
def test_sixty_sections_with_a_free_line(fewest):
    """Every rule kept within the time given; proved best, or a gap that the linear programme does not contradict."""
    problem = random_problem(901, 60, travel=10.0)
    for i, block in enumerate(problem.blocks):
        block.entry, block.exit = block.entry + 0.1 * i, block.exit + 0.1 * i + 0.1
    found = lay_line(faces_of(problem), fewest=fewest, seconds=6)
    check_kept(problem, found)
    every = {(i, end) for i in range(60) for end in (0, 1)}
    bound = programme(problem, every, touched_band=False).fun
    assert found.movement >= bound - SLACK
    assert found.least_ends <= found.ends
    if not fewest:
        assert found.least_movement <= found.movement + 1e-3


def test_free_line_through_a_steep_middle():
    """
    A line along the five sections in the middle asks for four bolt ends: those of the two far off at either end.

    That line runs far from the string at the train's ends.
    """

    def block(x, middle, skew):
        return Block(middle - skew / 2, middle + skew / 2, (x, x + 18), (x + 2, x + 16))

    five = [block(300.0 + 20 * k, -4.0 + 2 * k, 1.8) for k in range(5)]
    problem = Problem([block(0.0, 0.0, 0.0), *five, block(700.0, 0.0, 0.0)], 1.0, 1.0, 1.0, 0.5, travel=200.0)
    found = lay_line(faces_of(problem), fewest=True, seconds=20)
    check_kept(problem, found)
    assert found.ends <= 4


# --- large machines --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [7, 20, 60])
def test_large_machines_are_proved_best_on_their_string(count):
    """Dynamic programming is exact: proved, quickly, and with everything in that can be brought in."""
    problem = random_problem(900 + count, count, travel=9.0, spread=1.5)
    layout, survey = machine_of(problem)
    train = fit_train(layout, survey, line=Line.string)
    begun = time.perf_counter()
    plan = plan_moves(train)
    assert plan.optimal
    assert plan.steps
    assert not [m for m in plan.missed if m.names[0] not in plan.stuck]
    assert time.perf_counter() - begun < 20


def test_interrupted_by_the_user(monkeypatch):
    """Ctrl-C while the solver works ends it, and nothing hangs."""
    problem = random_problem(3, 40, travel=9.0)

    def now() -> None:
        raise KeyboardInterrupt

    begun = time.perf_counter()
    with pytest.raises(KeyboardInterrupt):
        lay_line(faces_of(problem), fewest=True, seconds=20, waiting=now)
    assert time.perf_counter() - begun < 15


def test_the_solver_is_silent(capfd):
    lay_line(faces_of(random_problem(1, 3)), fewest=True, seconds=5)
    assert capfd.readouterr() == ("", "")
