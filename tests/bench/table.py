"""How long things take, beside what they should be measured by: prints a table and writes table.md beside this file.

Run it as a script: `python tests/bench/table.py`, or with --quick for smaller sizes and fewer repeats.
"""

from __future__ import annotations

import contextlib
import importlib.metadata
import importlib.util
import os
import platform
import random
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import pandas as pd
from scipy.interpolate import LinearNDInterpolator
from scipy.optimize import linprog
from scipy.spatial import Delaunay

sys.path.insert(0, str(Path(__file__).parent))

from cases import MIDDLE, WITHIN, YARD, judged, long_book, page, paving, reduced, site, twelve_demands, yard
from measured import Table, Work, taken

import sitelevels as sl
from sitelevels.design.rows import rows_of
from sitelevels.design.simulation import BLOCK, TRIALS, simulate
from sitelevels.surface.shapes import OnePlane
from sitelevels.workbook import forms, open_job
from sitelevels.workbook.class_set import save_class_set

HERE = Path(__file__).parent
DATA = HERE.parents[1] / "data"
QUICK = "--quick" in sys.argv
READ = "plain read (sums of the three arrays)"
TIMES, MOST = (3, 1) if QUICK else (5, 3)  # of what is short, and of what takes seconds
PACKAGES = ("numpy", "pandas", "scipy", "shapely", "matplotlib", "statsmodels", "scikit-learn")
MISSES: Mapping[str, str] = {
    "plane and covariance": "arrays that nobody can change take about 3 reads, as the rows that follow tell; the rest is the "
                            "copy of others, which the result keeps. Of the 3 one is the memory; the others are means, offsets "
                            "and sums of products in the cache.",
    "spots to volumes": "the aim was set for 100,000 points, where it is met; of fewer the search tree and the cutting along the "
                        "outline weigh more beside the triangulation.",
    "python -m sitelevels pottery-yard": "some four seconds are bars laid over what was laid and over 200 surfaces drawn from "
                                         "the errors; then come loading matplotlib and writing text to pages.",
}
"""What stands in the way where an aim is missed, by the start of the name of a row; written by hand."""


def planes(table: Table) -> None:
    """The plane through many points."""
    sizes, seconds = (10_000, 100_000, 1_000_000) if QUICK else (100_000, 1_000_000, 10_000_000), {}
    for size in sizes:
        x, y, level = site(size)
        fixed = [np.array(one) for one in (x, y, level)]
        for one in fixed:
            one.setflags(write=False)
        read = partial(lambda *arrays: sum(one.sum() for one in arrays), x, y, level)
        others: dict[str, Work | None] = {READ: read}
        if size <= 1_000_000:
            design = np.column_stack([np.ones(size), x, y])
            others["numpy lstsq"] = partial(np.linalg.lstsq, design, level)
            others["statsmodels OLS"] = _ols(design, level)
            others["scikit-learn LinearRegression"] = _regression(design, level)
        seconds[size] = table.compare("plane and covariance", f"{size:,} points", partial(sl.fit_plane, x, y, level), others,
                                      within=3 if size >= 1_000_000 else None, aim_by=READ)
        table.compare("the same, read-only arrays", f"{size:,} points", partial(sl.fit_plane, *fixed), {READ: read})
        table.compare("with all residuals", f"{size:,} points", lambda fixed=fixed: sl.fit_plane(*fixed).residuals,
                      {READ: read})
    table.grows("plane and covariance", "points", seconds)


def _ols(design: Any, level: Any) -> Work | None:
    with contextlib.suppress(ImportError):
        from statsmodels.regression.linear_model import OLS
        return lambda: OLS(level, design).fit().cov_params()
    return None


def _regression(design: Any, level: Any) -> Work | None:
    with contextlib.suppress(ImportError):
        from sklearn.linear_model import LinearRegression
        return lambda: LinearRegression().fit(design[:, 1:], level).coef_
    return None


def volumes(table: Table) -> None:
    """Exact volumes, beside the triangulation and beside a grid that is fine enough."""
    seconds = {}
    for size in (100, 1_000, 10_000) if QUICK else (100, 10_000, 100_000):
        x, y, level = site(size)
        ground = sl.Ground(x, y, level)

        def exact(ground: sl.Ground = ground) -> float:
            works = sl.cut_and_fill(ground, MIDDLE, WITHIN)
            return works.cut + works.fill
        others: dict[str, Work | None] = {"Delaunay alone": partial(Delaunay, np.column_stack([x, y])),
                                          "Ground alone": partial(sl.Ground, x, y, level)}
        seconds[size] = table.compare("exact volumes", f"{size:,} points", exact, others, within=2 if size >= 10_000 else None,
                                      aim_by="Delaunay alone")
        table.compare("spots to volumes (Ground and cut_and_fill)", f"{size:,} points",
                      lambda x=x, y=y, level=level: exact(sl.Ground(x, y, level)),
                      {"Delaunay alone": others["Delaunay alone"]}, within=2 if size >= 10_000 else None, aim_by="Delaunay alone")
        side, grid = _fine_enough(x, y, level, exact())
        table.compare("exact volumes", f"{size:,} points", exact, {f"grid of {side:,} by {side:,} for 1e-4 of the volume": grid},
                      times=MOST)
    table.grows("exact volumes", "points", seconds)


def _fine_enough(x: Any, y: Any, level: Any, exact: float) -> tuple[int, Work]:
    """Volumes from depths at the middles of squares, the fewest (by doubling) that come twice within 1e-4 of the exact sum.

    That is no accuracy equal to ours, whose two routes agree to some twelve digits: no grid gets there.
    """
    ground = LinearNDInterpolator(Delaunay(np.column_stack([x, y])), level)
    (low, _), _, (high, _), _ = WITHIN

    def sampled(side: int) -> float:
        step = (high - low) / side
        places = low + step * (np.arange(side) + 0.5)
        east, north = np.meshgrid(places, places)
        return float(np.abs(ground(east, north) - MIDDLE.level_at(east, north)).sum()) * step**2
    side, good = 32, 0
    while good < 2 and side < 4096:
        side *= 2
        good = good + 1 if abs(sampled(side) / exact - 1) < 1e-4 else 0
    return (side // 2 if good == 2 else side), partial(sampled, side // 2 if good == 2 else side)


def solving(table: Table) -> None:
    """The best surface, beside its first linear programme alone."""
    job = open_job(DATA / "pottery-yard")
    table.compare("solve_finish, the demonstration job", f"{len(job.ground.x)} spots, {len(job.brief.demands)} demands",
                  partial(sl.solve_finish, job.brief, job.ground, shape=job.shape), {}, within=0.05)
    ground, fight = yard(100), twelve_demands(far=10.4, reach=0.006)
    table.compare("what fights", "100 spots, 12 demands", lambda: sl.solve_finish(fight, ground).quarrel, {}, within=1.0)
    brief, sizes = twelve_demands(), (100, 300, 1_000) if QUICK else (100, 1_000, 10_000)
    rows = rows_of(brief, OnePlane(), 10.0)
    a, b = rows.upper(np.ones(len(rows.a), dtype=bool))
    worst = np.append(np.zeros(3), 1.0)
    first = partial(linprog, worst, A_ub=np.column_stack([a, -np.ones(len(b))]), b_ub=b, method="highs",
                    bounds=[(None, None)] * 3 + [(0, None)])
    table.compare("solve_finish, one plane", "100 spots, 12 demands", partial(sl.solve_finish, brief, yard(100)),
                  {"linprog, the first programme alone": first})
    for name, shape in (("one plane", None), ("a channel", sl.Channel(((0, 4), (10, 4)))), ("an outlet", sl.Outlet((5.0, 4.0)))):
        for aim in ("target fall", "least dig"):
            table.growing(f"solve_finish, {name}, {aim}", "spots", sizes,
                          lambda size, shape=shape, aim=aim: partial(sl.solve_finish, brief, yard(size), shape=shape, aim=aim),
                          times=MOST, within={100: 0.05, 10_000: 2.0})
    table.growing("solve_finish, one plane", "corners", (4, 16, 64),
                  lambda corners: partial(sl.solve_finish, twelve_demands(corners), yard(100)), times=MOST)


def errors(table: Table) -> None:
    """Errors of levels, trials by random numbers, the next shot."""
    table.growing("covariance of the levels", "points", (60, 240, 960),
                  lambda size: partial(sl.ErrorBudget().covariance, reduced(size)), within={60: 0.005})
    verdicts = judged(60)
    sure = verdicts.certainty
    assert sure is not None
    inputs = int((sure.effect != 0).any(axis=0).sum())
    effect = (sure.effect * sure.inputs.sd)[:, (sure.effect != 0).any(axis=0)].tolist()

    def drawn() -> None:
        random = np.random.default_rng(1)
        for start in range(0, TRIALS, BLOCK):
            random.standard_normal((min(BLOCK, TRIALS - start), inputs))

    def plainly(trials: int = 100) -> None:
        draw = random.Random(1).gauss
        for _ in range(trials):
            errors = [draw(0.0, 1.0) for _ in range(inputs)]
            [sum(share * error for share, error in zip(row, errors, strict=True)) for row in effect]
    trials, alone, loop = taken([partial(simulate, verdicts), drawn, plainly], TIMES)
    size = f"{TRIALS:,} trials, 60 points"
    table.row("trials through fit and verdicts", size, trials, f"the {inputs} random numbers of each alone", alone, within=3)
    table.row("trials through fit and verdicts", size, trials, "a plain Python loop (100 trials, times 1,000; errors alone)",
              [one * TRIALS / 100 for one in loop])
    table.growing("trials through fit and verdicts", "points", (15, 60, 240), lambda size: partial(simulate, judged(size)),
                  times=2)
    table.growing("next_shot", "points", (30, 60, 120) if QUICK else (50, 100, 200, 400),
                  lambda size: partial(sl.next_shot, judged(size)), times=1)


def laid(table: Table) -> None:
    """Straightedges, water and flatness of what was laid."""
    sizes = (50, 100, 200) if QUICK else (100, 1_000, 10_000)
    table.growing("straightedge, one bar", "spots", sizes,
                  lambda size: partial(sl.straightedge, paving(size), within=YARD), times=1)
    table.growing("ponding", "spots", (100, 1_000, 10_000), lambda size: partial(sl.ponding, paving(size), YARD), times=2)
    table.growing("flatness with errors, three bars", "spots", (25, 50, 100) if QUICK else (50, 100, 200), lambda size: partial(
        sl.flatness, paving(size), within=YARD, covariance=0.001**2 * np.eye(size)), times=1)


def units(table: Table) -> None:
    """Units over an L-shaped yard."""
    corners = [(0, 0), (8, 0), (8, 6), (5, 6), (5, 4), (0, 4)]
    table.growing("lay_out_units", "units", (100, 1_000, 10_000), lambda size: partial(
        sl.lay_out_units, corners, (one := round((38 / size)**0.5, 3), one / 2), joint=0.005), times=1)


def books(table: Table) -> None:
    """A long book, beside pandas."""
    seconds = {}
    with tempfile.TemporaryDirectory() as folder:
        for rows in (1_000, 10_000) if QUICK else (1_000, 10_000, 100_000):
            path = Path(folder) / f"{rows}.csv"
            path.write_text(long_book(rows), encoding="utf-8")
            csv: dict[str, Work | None] = {"pandas.read_csv": partial(pd.read_csv, path)}
            book = sl.read_book(path)
            size = f"{rows:,} rows"
            table.compare("read_book", size, partial(sl.read_book, path), csv, times=MOST)
            table.compare("reduce_book", size, partial(sl.reduce_book, book), csv, times=MOST)
            seconds[rows] = table.compare("read_book and reduce_book", size,
                                          lambda path=path: sl.reduce_book(sl.read_book(path)), csv, times=MOST)
    if len(seconds) > 2:
        table.grows("read_book and reduce_book", "rows", seconds)


def slider(table: Table) -> None:
    """From a step of a slider to numbers and pictures: in the kernel, and in the browser where there is one."""
    form = forms.SurfaceForm(open_job(DATA / "pottery-yard"))
    for name in ("level", "away", "along", "place"):
        control = getattr(form, name)
        at, numbers, pictures = control.value, [], []
        seen: list[float] = []
        form.shown.observe(lambda _, seen=seen: seen.append(time.perf_counter()), "value")
        for step in range(3 + 4 * TIMES):
            start = time.perf_counter()
            control.value = at + control.step * (2 - step % 4)
            pictures.append(time.perf_counter() - start)
            numbers.append((seen or [start])[-1] - start)
            seen.clear()
        control.value = at
        what, steps = f"slider {control.description!r}, in the kernel", f"{len(numbers) - 3} steps"
        if name != "place":  # where the section is cut changes no number
            table.row(f"{what}: numbers", steps, numbers[3:], within=0.1)
        table.row(f"{what}: pictures", steps, pictures[3:], within=0.15)
    try:
        found = _in_the_browser()
    except ImportError:
        table.lines.append(("slider in the browser", "", "not measured here", "", "", "", "", ""))
    else:
        for what, ms in found.items():
            table.row(f"slider to {what}, in the browser", "median of the steps", [ms / 1000],
                      within=0.1 if what == "numbers" else 0.15)


def _in_the_browser() -> dict[str, float]:
    """Medians in ms by `slider_times` of tests/browser. Raises ImportError where there is no browser to be driven."""
    sys.path.insert(0, str(HERE.parent / "browser"))
    if QUICK:
        raise ImportError("a quick run opens no browser")
    try:
        from lab import CHROMIUM, FLAGS, Desk, copy_of_workbook, server
        from playwright.sync_api import sync_playwright
        from timing import slider_times
    except (ImportError, RuntimeError) as error:
        raise ImportError(str(error)) from None
    with tempfile.TemporaryDirectory() as folder:
        root = copy_of_workbook(Path(folder))
        with server(root) as (base, token), sync_playwright() as playwright:
            if not Path(CHROMIUM).exists():
                raise ImportError("there is no browser")
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            desk = Desk(root, base, token, browser)
            desk.open("3-finish")
            desk.run_all()
            return dict(slider_times(desk))


@contextlib.contextmanager
def _processes() -> Iterator[Callable[..., None]]:
    """A function that runs Python with some arguments; byte code is kept for the next run, as where the package is installed."""
    with tempfile.TemporaryDirectory() as folder:
        own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        own |= {"PYTHONPYCACHEPREFIX": folder, "PYTHONPATH": str(HERE.parents[1])}
        yield lambda *more: subprocess.run([sys.executable, *more], env=own, check=True, capture_output=True)


def imports_and_jobs(table: Table) -> None:
    """Import, and whole jobs, in processes of their own."""
    with _processes() as run, tempfile.TemporaryDirectory() as folder:
        nothing, pandas, ours = taken([partial(run, "-c", text) for text in ("pass", "import pandas", "import sitelevels")],
                                      5 if QUICK else 15)
        table.row("import sitelevels, as it is", "a process", ours, "import pandas", pandas, within=1.5)
        less = [[one - bare for one, bare in zip(times, nothing, strict=True)] for times in (ours, pandas)]
        medians = [median(one) - median(nothing) for one in (ours, pandas)]
        table.row("import sitelevels, less the bare interpreter", "a process", less[0], "import pandas", less[1],
                  ratio=medians[0] / medians[1], within=1.5)
        for name in ("pottery-yard", "seed-store"):
            job = shutil.copytree(DATA / name, Path(folder) / name)
            table.compare(f"python -m sitelevels {name}", "a whole job", partial(run, "-m", "sitelevels", str(job)), {}, within=5,
                          times=MOST)
        table.compare("python -m sitelevels --class-set", "12 learners", partial(
            run, "-m", "sitelevels", "--class-set", str(Path(folder) / "set")), {}, times=MOST)


def teaching(table: Table) -> None:
    """Marking, and the pages for a class."""
    exercise = sl.practice_book(1)
    filled = exercise.sheet(filled=True)
    table.compare("mark_book, a right page", f"{len(filled)} rows", partial(sl.mark_book, exercise, filled), {})
    table.growing("mark_book, one slip", "rows", (20, 60, 180), lambda rows: partial(sl.mark_book, *page(rows)), times=2)
    with tempfile.TemporaryDirectory() as folder:
        table.growing("class set", "pages", (1, 2, 4) if QUICK else (3, 6, 12), lambda pages: partial(
            save_class_set, Path(folder) / "set", seed=1, learners=pages), times=1)


PARTS = (planes, volumes, solving, errors, laid, units, books, slider, imports_and_jobs, teaching)


HEAD = """# Benchmarks

By `python tests/bench/table.py{flag}` on {cores} cores, Python {python}, {packages}; {seconds:.0f} s in all.
Ours and the other take turns in one run, and ratios are taken turn by turn, so that they hold on a busy machine too; a
time without a ratio is that of the machine as it was. Medians of wall times, with the least and the greatest; what takes under
20 ms is done that long each time.

"""


def main() -> None:
    """Measure, print, write."""
    warnings.simplefilter("ignore")
    table, began = Table(TIMES), time.perf_counter()
    for part in PARTS:
        part(table)
    packages = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in PACKAGES if importlib.util.find_spec(
        {"scikit-learn": "sklearn"}.get(name, name)))
    head = HEAD.format(flag=" --quick" * QUICK, cores=os.cpu_count(), python=platform.python_version(), packages=packages,
                       seconds=time.perf_counter() - began)
    (HERE / "table.md").write_text(head + table.markdown(MISSES), encoding="utf-8")
    print(head + table.markdown(MISSES))


if __name__ == "__main__":
    main()
