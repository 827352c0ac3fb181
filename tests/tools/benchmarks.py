"""
How fast it is, as ratios taken in one run: ``python -m tests.tools.benchmarks``.

Not a test: nothing here passes or fails, and times depend on the machine.
"""

from __future__ import annotations

import datetime
import functools
import os
import platform
import resource
import statistics
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from alignment.change.comparison import compare
from alignment.files.disk import sample_folder
from alignment.fitting.lines import fit_lines
from alignment.lengths import Units
from alignment.machine.layout import Layout, Section
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey import Reading, StepReading, Survey
from alignment.show.paper import job, typesetting
from alignment.show.paper import record as report
from alignment.train.faces import adjust
from alignment.train.moves.linesearch import Faces
from alignment.train.moves.plan import plan_moves
from alignment.train.moves.programme import lay_line
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

SECTIONS, READINGS = 100_000, 4
LOOPED = 2_000
"""Sections on which the slow loops are timed; their time is multiplied up."""


def seconds(work: Callable[[], object], runs: int = 15) -> float:
    """Median processor time of some work, after one run to warm up: what else the machine does matters less."""
    work()
    times = []
    for _ in range(runs):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return statistics.median(times)


def fits() -> None:
    """The batch fit against the bare closed form on a full array, and against loops of library fits."""
    import statsmodels.api as sm

    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0, 450, (SECTIONS, READINGS)), axis=1)
    y = 600 + rng.normal(0, 0.5, x.shape)
    u = rng.uniform(0.3, 0.6, x.shape)
    group = np.repeat(np.arange(SECTIONS), READINGS)

    def bare() -> object:
        w = u**-2.0
        total = w.sum(axis=1)
        x0, y0 = (w * x).sum(axis=1) / total, (w * y).sum(axis=1) / total
        dx = x - x0[:, None]
        moment = (w * dx * dx).sum(axis=1)
        return y0, (w * dx * y).sum(axis=1) / moment, 1 / total, 1 / moment

    def loop_lstsq() -> None:
        for xs, ys, us in zip(x[:LOOPED], y[:LOOPED], u[:LOOPED], strict=True):
            np.linalg.lstsq(np.stack([1 / us, xs / us], axis=1), ys / us, rcond=None)

    def loop_statsmodels() -> None:
        for xs, ys, us in zip(x[:LOOPED], y[:LOOPED], u[:LOOPED], strict=True):
            fitted = sm.WLS(ys, np.stack([np.ones(READINGS), xs], axis=1), weights=us**-2).fit(cov_type="fixed scale")
            assert fitted.bse.all()

    ours = seconds(lambda: fit_lines(group, x.ravel(), y.ravel(), u.ravel()))
    ragged = rng.random(x.size) < 0.9
    left = [a.ravel()[ragged] for a in (group, x, y, u)]
    holes = seconds(lambda: fit_lines(*left, groups=SECTIONS))
    closed = seconds(bare)
    lstsq = seconds(loop_lstsq, 3) * SECTIONS / LOOPED
    models = seconds(loop_statsmodels, 3) * SECTIONS / LOOPED
    row(f"fit of {SECTIONS:,} sections of {READINGS} readings", ours)
    row("  one reading in ten left out, over that", holes, holes / ours)
    row("  that over the bare closed form on a full array", closed, ours / closed)
    row(f"  loop of numpy.linalg.lstsq over that (on {LOOPED:,}, multiplied up)", lstsq, lstsq / ours)
    row(f"  loop of statsmodels WLS over that (on {LOOPED:,}, multiplied up)", models, models / ours)


def train(sections: int, *, seed: int, free: bool) -> Faces:
    """A train with joints, readings to a sixteenth; leaning where the line is free. In sixty-fourths."""
    rng = np.random.default_rng(seed)
    start = np.arange(sections) * 20.0
    offset, skew = rng.normal(0, 5, (2, sections)) + np.array([0.01 * (start - start.mean()) * free, start * 0])
    return Faces(
        deviation=np.round(np.stack([offset - skew / 2, offset + skew / 2], axis=1) / 4) * 4,
        x=np.stack([start, start + 18], axis=1),
        bolts=np.stack([start + 2, start + 16], axis=1),
        fixed=np.zeros(sections, dtype=bool),
        sign=np.ones(sections),
        offset=4.0,
        square=4.0,
        step=4.0,
        band=0.5,
        travel=np.inf,
        joints=np.stack([np.arange(sections - 1), np.arange(1, sections)], axis=1),
        nominal=np.zeros(sections - 1),
    )


def plans() -> None:
    """The planner on trains of 7, 20 and 60 sections, on the string and with a free line: processor time, medians."""
    for count in (7, 20, 60):
        layout, survey = on_string(count)
        fitted = fit_train(layout, survey)
        plan, took = plan_moves(fitted), seconds(functools.partial(plan_moves, fitted))
        row(f"plan, {count:>2} sections, string: {plan.bolt_ends} bolt ends, {_proved(plan.optimal, '')}", took)
        lay = functools.partial(lay_line, train(count, seed=count, free=True), fewest=True, seconds=24)
        found, took = lay(), seconds(lay, 5)
        gap = f"bolt ends within {found.ends - found.least_ends}, movement within "
        gap += f"{found.movement - found.least_movement:.1f}/64 of the best"
        row(f"line, {count:>2} sections, free: {found.ends} bolt ends, {_proved(found.optimal, gap)}", took)


def _proved(optimal: bool, gap: str) -> str:
    return "proved best" if optimal else gap


def on_string(count: int) -> tuple[Layout, Survey]:
    """The trains of `train` as layout and survey: sixteenths, tolerances of a sixteenth, each end read three times."""
    faces = train(count, seed=count, free=False)
    parts = [
        {"name": f"s{k}", "row": "r", "start": f"{20 * k}", "length": "18", "bolts": ["2", "16"]} for k in range(count)
    ]
    layout = machine(
        parts,
        units="in",
        tape="mark = '1/16'",
        tolerance="offset = '1/16'\nsquare = '1/16'\nstep = '1/16'",
        rows={"r": "target = '18 3/8'"},
        joints=[(f"s{k}", f"s{k + 1}") for k in range(count - 1)],
    )
    rows = [
        (f"s{k}", end, f"{18.375 + by / 64:.6f}")
        for k, own in enumerate(faces.deviation)
        for end, by in zip(("entry", "exit"), own, strict=True)
    ]
    return layout, readings(layout, rows * 3)


def chains() -> None:
    """A row of sections with a step read at every joint, adjusted as one network: time and memory as it grows."""
    found = {}
    for count in (1_000, 10_000):
        layout, survey = chain(count)
        adjust(layout, survey)
        tracemalloc.start()
        adjust(layout, survey)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        found[count] = seconds(functools.partial(adjust, layout, survey), 5), peak
        row(f"chain of {count:,} sections ({peak / 1e6:.1f} MB)", found[count][0])
    time_ratio, memory_ratio = (found[10_000][k] / found[1_000][k] / 10 for k in (0, 1))
    row("  time over growing with the number of sections", found[10_000][0], time_ratio)
    row("  memory over the same", None, memory_ratio)


def chain(count: int) -> tuple[Layout, Survey]:
    """A row of so many sections, two readings each and a step at every joint."""
    rng = np.random.default_rng(count)
    sections = tuple(
        Section(name=f"a-{k}", row="a", start=500.0 * k, length=450.0, points=(0.0, 450.0), bolts=(50.0, 400.0))
        for k in range(count)
    )
    layout = replace(
        parse_layout(
            '[machine]\nname = "chain"\nunits = "mm"\n[row.a]\ntarget = "600"\n[[section]]\n'
            'name = "a-0"\nrow = "a"\nstart = "0"\nlength = "450"\n'
        ),
        sections=sections,
    )
    values = 600 + rng.normal(0, 1, (count, 2))
    readings = tuple(
        Reading(section=s.name, place=place, value=float(value), u=0.4, text="", row=0)
        for s, own in zip(sections, values, strict=True)
        for place, value in zip(s.points, own, strict=True)
    )
    steps = tuple(
        StepReading(upstream=a.name, downstream=b.name, value=float(rng.normal()), u=0.1, text="", row=0)
        for a, b in pairwise(sections)
    )
    return layout, Survey(source="", readings=readings, tape=layout.tape, steps=steps, record={})


def startup() -> None:
    """``stringtrue --help`` and ``solve`` of the sample's job log against their floors, whole processes in turn."""
    ours, samples = [sys.executable, "-m", "alignment"], sample_folder()
    for what, command, floor in (
        ("--help", ["--help"], "import typer.main"),
        (
            "solve of the sample",
            ["solve", str(samples / "machine.toml"), str(samples / "job.csv")],
            "import numpy, typer.main",
        ),
    ):
        pairs = [(_process([*ours, *command]), _process([sys.executable, "-c", floor])) for _ in range(22)][1:]
        took, least = (statistics.median(times) for times in zip(*pairs, strict=True))
        row(f"{what}, over {floor} (processor time)", took, took / least)


def _process(command: list[str]) -> float:
    """Processor time of a process, its end included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def comparisons() -> None:
    """Two rows of 500 sections read once before and once after, all joints named, and what became of each move."""
    layout, (before, after) = chain_of_rows(500)
    compare(layout, before, after)
    begun = time.process_time()
    found = compare(layout, before, after)
    row(
        f"comparison of 1,000 sections, {len(found.moves)} bolt ends planned (processor time)",
        time.process_time() - begun,
    )


def chain_of_rows(count: int) -> tuple[Layout, tuple[Survey, Survey]]:
    """Two rows of sections, each end read to the sixteenth; one of twelve is off before, and none after."""
    places = [(r, k) for r in "ab" for k in range(count)]
    parts = [{"name": f"{r}-{k}", "row": r, "start": str(16 * k), "length": "15"} for r, k in places]
    joints = [(f"{r}-{k}", f"{r}-{k + 1}") for r, k in places if k + 1 < count]
    rows = {"a": "target = '18 3/8'", "b": "target = '19 7/8'"}
    how = {"tape": "mark = '1/16'\nset = '1/64'", "tolerance": "square = '1/16'\noffset = '1/16'\nstep = '1/16'"}
    layout = machine(parts, units="in", rows=rows, joints=joints, **how)
    rng = np.random.default_rng(20261002)

    def survey(off: float) -> Survey:
        read = []
        for r, k in places:
            for end, at in (("entry", 0.0), ("exit", off if k % 12 == 0 else 0.0)):
                true = (18.375 if r == "a" else 19.875) + at + rng.normal(0, 0.01)
                read.append((f"{r}-{k}", end, str(round(true * 16) / 16)))
        return readings(layout, read)

    return layout, (survey(0.25), survey(0.0))


def reports() -> None:
    """The whole job of the sample as a signed record: reading, both solutions, the comparison, pictures and PDF."""
    samples = sample_folder()
    papers = job.Papers(
        layout=samples / "machine.toml",
        survey=samples / "as-found.csv",
        after=samples / "as-left.csv",
        panel=samples / "tray.toml",
        settings=samples / "settings.toml",
    )
    gather = seconds(lambda: job.gather(papers), 5)
    whole = seconds(
        lambda: report.render(job.gather(papers), typesetting.paper_for(Units.inch), typesetting.today()), 5
    )
    row("report of the sample, over working it out", whole, whole / gather)


def row(what: str, took: float | None, ratio: float | None = None) -> None:
    """One line of the table."""
    time_ = "" if took is None else f"{1e3 * took:.1f} ms"
    print(f"{what:<78} {time_:>12} {'' if ratio is None else f'{ratio:.2f} x':>11}")


def main() -> None:
    """Print all of them."""
    today, versions = datetime.datetime.now().astimezone().date(), f"Python {platform.python_version()}"
    print(f"{today}, {os.cpu_count()} cores, {versions}, numpy {np.__version__}, {platform.machine()}")
    for part in (fits, startup, reports, comparisons, chains, plans):
        part()


if __name__ == "__main__":
    main()
