"""The planner against an exhaustive search on small trains and the linear programme's bound on large ones."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from scipy.optimize import linprog

from alignment.choices import Aim, Line
from alignment.train.moves.linesearch import Faces
from alignment.train.moves.plan import plan_moves
from alignment.train.moves.programme import plan_notches
from alignment.train.train import fit_train
from tests.tools.exhaustive import SLACK, Block, Problem, best_cost, cost, every_plan, lines_exist, plans_of
from tests.tools.machines import machine, readings


def random_problem(seed: int, count: int, *, joints: bool = True, hold: float = 0.0, travel: int = 9, **how) -> Problem:
    """Sections with bolts inside, beside or under their ends, deviations off any notch."""
    rng = np.random.default_rng(seed)
    blocks, x = [], float(rng.uniform(-50, 50))
    spread = how.pop("spread", 4.0)
    for _ in range(count):
        length = float(rng.uniform(200, 600))
        bolts = (x + length * float(rng.uniform(0, 0.2)), x + length * float(rng.uniform(0.8, 1.0)))
        middle, skew = rng.normal(0, spread), rng.normal(0, spread)
        blocks.append(
            Block(middle - skew / 2, middle + skew / 2, (x, x + length), bolts, hold=bool(rng.random() < hold))
        )
        x += length + float(rng.uniform(0, 60))
    tolerance = {"offset": 4.0, "square": 3.0, "step": 3.5, "band": 0.5} | how
    nominal = {i: float(rng.choice([0.0, 1.25])) for i in range(count - 1) if joints and rng.random() < 0.85}
    return Problem(blocks, travel=travel, joints=nominal, **tolerance)


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


def check_kept(problem: Problem, plan, line=(0.0, 0.0)) -> None:
    """The rules, one by one, on a plan; the line as what it takes off at the first and last end."""
    first = min(b.x[0] for b in problem.blocks)
    span = max(b.x[1] for b in problem.blocks) - first

    def off(x):
        return line[0] + (line[1] - line[0]) * (x - first) / span

    for block, moves in zip(problem.blocks, plan, strict=True):
        assert all(abs(m) <= problem.travel for m in moves)
        assert not (block.hold and any(moves))
        assert problem.kept(block, tuple(moves), (off(block.x[0]), off(block.x[1])))
    for i, nominal in problem.joints.items():
        one, other = problem.blocks[i], problem.blocks[i + 1]
        if not (one.hold and other.hold):
            up = one.after(tuple(plan[i]))[1] - off(one.x[1])
            down = other.after(tuple(plan[i + 1]))[0] - off(other.x[0])
            assert abs(down - up - nominal) <= problem.step + SLACK


def total(plan, *, fewest: bool) -> tuple[int, int]:
    own = [cost(tuple(m), fewest=fewest) for m in plan]
    return sum(c[0] for c in own), sum(c[1] for c in own)


@pytest.mark.parametrize("seed", range(6))
def test_the_search_itself(seed):
    """The search that carries the best forward finds what writing out every plan finds."""
    problem = random_problem(seed, 3, hold=0.2, travel=6, spread=3.0)
    for fewest in (True, False):
        written_out = min((total(plan, fewest=fewest) for plan in every_plan(problem)), default=None)
        assert best_cost(problem, fewest=fewest) == written_out


def small_train(seed: int) -> Problem:
    """One of a set of trains of one to seven sections."""
    return random_problem(100 + seed, 1 + seed % 7, hold=0.08, travel=12, spread=3.5)


@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
@pytest.mark.parametrize("seed", range(28))
def test_small_trains_against_every_plan(seed, fewest):
    """Trains of one to seven sections with joints and sections on hold: as good as the best of all plans."""
    problem = small_train(seed)
    expected = best_cost(problem, fewest=fewest)
    found = plan_notches(faces_of(problem), fewest=fewest, free=False, seconds=20)
    if expected is None:
        assert found.missed > 0 or beyond_band(problem, found)
        return
    check_kept(problem, found.moves.tolist())
    assert found.missed == 0
    assert found.optimal
    assert total(found.moves.tolist(), fewest=fewest) == expected


def test_most_of_the_small_trains_can_be_brought_in():
    """What the comparison above is worth: most of its trains have a plan, and few of those plans are empty."""
    best = [best_cost(small_train(seed), fewest=True) for seed in range(28)]
    assert sum(b is not None for b in best) >= 18
    assert sum(b is not None and b[0] >= 3 for b in best) >= 12


@pytest.mark.parametrize("seed", range(12))
def test_slots_too_short(seed):
    """Where nothing keeps every tolerance: the least missed in all, over every plan within the slots."""
    problem = random_problem(300 + seed, 3, travel=3, spread=5.0, hold=0.1)
    assert best_cost(problem, fewest=True) is None, "the train is meant to be out of reach"

    def beyond(block, moves):
        if block.hold:
            return 0.0
        entry, exit_ = block.after(moves)
        return max(abs(entry) - problem.offset, abs(exit_) - problem.offset, abs(exit_ - entry) - problem.square, 0.0)

    def apart(i, up, down):
        one, other = problem.blocks[i], problem.blocks[i + 1]
        if i not in problem.joints or (one.hold and other.hold):
            return 0.0
        return max(abs(other.after(down)[0] - one.after(up)[1] - problem.joints[i]) - problem.step, 0.0)

    every = [[(0, 0)] if b.hold else [(a, c) for a in range(-3, 4) for c in range(-3, 4)] for b in problem.blocks]
    reached = {m: beyond(problem.blocks[0], m) for m in every[0]}
    for i, block in enumerate(problem.blocks[1:]):
        reached = {m: min(c + apart(i, k, m) for k, c in reached.items()) + beyond(block, m) for m in every[i + 1]}
    found = plan_notches(faces_of(problem), fewest=True, free=False, seconds=20)
    plan = [tuple(m) for m in found.moves.tolist()]
    missed = sum(beyond(b, m) for b, m in zip(problem.blocks, plan, strict=True))
    missed += sum(apart(i, plan[i], plan[i + 1]) for i in range(2))
    assert np.abs(found.moves).max() <= 3
    assert missed == pytest.approx(min(reached.values()), abs=1e-4)


@functools.cache
def tiny_train(seed: int) -> tuple[Problem, list]:
    """A train of three sections, and all plans of it that some line makes keep everything."""
    problem = random_problem(500 + seed, 3, travel=2, spread=2.5, offset=2.0, square=1.5, step=2.0)
    every = [plan for ends in range(7) for plan in plans_of(problem, ends)]
    return problem, [plan for plan, line in zip(every, lines_exist(problem, every), strict=True) if line]


@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
@pytest.mark.parametrize("seed", range(12))
def test_free_line_against_every_plan(seed, fewest):
    """Tiny trains with a free line: as good as the best of all plans for which there is a line."""
    problem, serve = tiny_train(seed)
    found = plan_notches(faces_of(problem), fewest=fewest, free=True, seconds=20)
    if not serve:
        assert found.missed > 0 or beyond_band(problem, found)
        return
    check_kept(problem, found.moves.tolist(), found.line)
    assert found.missed == 0
    assert found.optimal
    assert total(found.moves.tolist(), fewest=fewest) == min(total(plan, fewest=fewest) for plan in serve)


def test_enough_of_the_tiny_trains_have_a_line():
    """What the comparison above is worth: most of its trains have a plan, and some of those plans move something."""
    best = [min((total(plan, fewest=True) for plan in tiny_train(seed)[1]), default=None) for seed in range(12)]
    assert sum(b is not None for b in best) >= 6, best
    assert sum(b is not None and b[0] > 0 for b in best) >= 4, best


def beyond_band(problem: Problem, found) -> bool:
    """Whether a section that is touched lies outside the band of its line."""
    try:
        check_kept(problem, found.moves.tolist(), found.line)
    except AssertionError:
        return True
    return False


def least_movement_bound(problem: Problem, *, free: bool) -> float:
    """Linear programme: whole tolerances, any part of a notch; no plan moves less than its optimum."""
    count = len(problem.blocks)
    first = min(b.x[0] for b in problem.blocks)
    span = max(b.x[1] for b in problem.blocks) - first
    rows, limits = [], []

    def end(i, x, now):
        """Deviation at x: a constant and coefficients of (toward, away) of both bolt ends and of the line."""
        b = problem.blocks[i]
        t = (x - b.bolts[0]) / (b.bolts[1] - b.bolts[0])
        row = np.zeros(4 * count + 2)
        row[4 * i : 4 * i + 4] = [-(1 - t), 1 - t, -t, t]
        row[-2:] = [-(1 - (x - first) / span), -(x - first) / span]
        return now, row

    def within(now, row, tolerance):
        rows.extend([row, -row])
        limits.extend([tolerance - now, tolerance + now])

    for i, b in enumerate(problem.blocks):
        (one, a), (other, c) = end(i, b.x[0], b.entry), end(i, b.x[1], b.exit)
        within(one, a, problem.offset)
        within(other, c, problem.offset)
        within(other - one, c - a, problem.square)
    for i, nominal in problem.joints.items():
        up, down = problem.blocks[i], problem.blocks[i + 1]
        (one, a), (other, c) = end(i, up.x[1], up.exit), end(i + 1, down.x[0], down.entry)
        within(other - one - nominal, c - a, problem.step)
    bounds = [(0, problem.travel)] * (4 * count) + [(None, None) if free else (0, 0)] * 2
    goal = np.concatenate([np.ones(4 * count), np.zeros(2)])
    found = linprog(goal, A_ub=np.array(rows), b_ub=np.array(limits), bounds=bounds)
    assert found.status == 0
    return float(found.fun)


@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
def test_sixty_sections_on_their_string(fewest):
    """Proved best, no better than the bound, and as good as the best of all plans."""
    problem = random_problem(900, 60, travel=20)
    found = plan_notches(faces_of(problem), fewest=fewest, free=False, seconds=20)
    check_kept(problem, found.moves.tolist())
    assert found.optimal
    assert found.movement >= least_movement_bound(problem, free=False) - SLACK
    assert total(found.moves.tolist(), fewest=fewest) == best_cost(problem, fewest=fewest)


@pytest.mark.slow
@pytest.mark.parametrize("fewest", [True, False], ids=["fewest", "least"])
def test_sixty_sections_with_a_free_line(fewest):
    """Every rule kept within the time given; proved best, or a gap that the bound does not contradict."""
    problem = random_problem(901, 60, travel=20)
    for i, block in enumerate(problem.blocks):
        block.entry, block.exit = block.entry + 0.2 * i, block.exit + 0.2 * i + 0.2
    found = plan_notches(faces_of(problem), fewest=fewest, free=True, seconds=4)
    check_kept(problem, found.moves.tolist(), found.line)
    bound = least_movement_bound(problem, free=True)
    assert found.movement >= bound - SLACK
    assert found.least_ends <= found.ends
    if not fewest:
        # the whole tolerance and any part of a notch can save the band's half and a notch at each bolt end
        assert found.least_movement <= found.movement
        assert found.optimal or found.least_movement >= bound - 1
    on_string = best_cost(problem, fewest=True)
    assert on_string is None or not fewest or found.ends <= on_string[0]


@pytest.mark.parametrize("aim", [Aim.fewest, Aim.least])
@pytest.mark.parametrize("seed", range(6))
def test_a_machine_against_every_plan(seed, aim):
    """Through layout, survey and fit: a machine of two rows is as cheap as the best of all plans of each row."""
    rng = np.random.default_rng(40 + seed)
    sections, rows, joints, problems = [], [], [], []
    notch = 0.5
    for row in ("left", "right"):
        blocks = []
        for k in range(4):
            name, x = f"{row}-{k}", 500.0 * k
            entry, exit_ = (round(float(rng.normal(0, 2)), 1) for _ in range(2))
            hold = row == "right" and k == 1
            sections.append(
                {"name": name, "row": row, "start": x, "length": 460.0, "bolts": [40.0, 400.0], "hold": hold}
            )
            rows += [(name, "entry", f"{700 + entry:.1f}"), (name, "exit", f"{700 + exit_:.1f}")]
            ends = (x, x + 460.0), (x + 40.0, x + 400.0)
            blocks.append(Block(entry / notch, exit_ / notch, *ends, hold=hold))
        joints += [(f"{row}-{k}", f"{row}-{k + 1}") for k in range(3)]
        problems.append(Problem(blocks, 3.0, 3.0, 4.0, 0.5, 14, joints=dict.fromkeys(range(3), 0.0)))
    layout = machine(
        sections,
        rows=dict.fromkeys(("left", "right"), "target = '700'"),
        tolerance="offset = '1.5'\nsquare = '1.5'\nstep = '2'",
        moves="notch = '0.5'\ntravel = '7'",
        joints=joints,
    )
    plan = plan_moves(fit_train(layout, readings(layout, rows), line=Line.string), aim=aim)
    fewest = aim is Aim.fewest
    notches = plan.moves / notch
    assert notches == pytest.approx(np.round(notches), abs=1e-9)
    for problem, moves in zip(problems, np.round(notches).astype(int).reshape(2, 4, 2).tolist(), strict=True):
        expected = best_cost(problem, fewest=fewest)
        if expected is not None:
            check_kept(problem, moves)
            assert total(moves, fewest=fewest) == expected
    assert plan.optimal
    assert plan.bolt_ends == np.count_nonzero(notches)
    assert plan.total == pytest.approx(np.abs(plan.moves).sum())


def test_free_line_through_a_steep_middle():
    """
    A line along the five sections in the middle asks for four bolt ends: those of the two far off at either end.

    That line runs far from the string at the train's ends.
    """

    def block(x, middle, skew):
        return Block(middle - skew / 2, middle + skew / 2, (x, x + 18), (x + 2, x + 16))

    five = [block(300.0 + 20 * k, -4.0 + 2 * k, 1.8) for k in range(5)]
    problem = Problem([block(0.0, 0.0, 0.0), *five, block(700.0, 0.0, 0.0)], 1.0, 1.0, 1.0, 0.5, travel=200)
    found = plan_notches(faces_of(problem), fewest=True, free=True, seconds=20)
    check_kept(problem, found.moves.tolist(), found.line)
    assert found.ends <= 4
