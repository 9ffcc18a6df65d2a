"""How long it takes to solve a finish, to find the quarrel of its demands and to try the cures: medians, in a small table.

Run it by hand: python tests/bench/bench_solve.py. The aims, 50 ms, 2 s and 1 s, are those of the project for a plain laptop.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from functools import partial

import numpy as np

from sitelevels import (
    Brief,
    Channel,
    Clearance,
    Cover,
    FallAlong,
    FallAway,
    Ground,
    KeepBelow,
    Layer,
    MaxGradient,
    Meet,
    Outlet,
    Solution,
    Step,
    Wall,
    solve_finish,
)

WIDE, DEEP = 10.0, 8.0
AREA = [(0, 0), (WIDE, 0), (WIDE, DEEP), (0, DEEP)]
SHAPES = {"plane": None, "channel": Channel(((0, 4), (WIDE, 4))), "outlet": Outlet((5.0, 4.0))}
AIMS = ("target fall", "least dig")


def ground(spots: int, seed: int = 3) -> Ground:
    """Rough ground that falls from the wall, about 20 mm up and down, with spots at its four corners."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, WIDE, spots), random.uniform(0, DEEP, spots)
    x[:4], y[:4] = [0, WIDE, WIDE, 0], [0, 0, DEEP, DEEP]
    return Ground(x, y, 10 - 0.012 * y + 0.004 * x + 0.02 * random.normal(size=spots))


def brief(far_edge: float, reach: float = 0.15) -> Brief:
    """Twelve demands; with old paving high enough at the far edge, or held too closely, they fight."""
    wall = Wall("wall", (0, 0), (WIDE, 0), dpc=[(0, 10.30), (5, 10.31), (WIDE, 10.32)])
    old = [("e1", 1, DEEP, far_edge), ("e2", 5, DEEP, far_edge + 0.01)]
    return Brief(AREA, walls=[wall], layers=[Layer("slab", 0.05), Layer("bed", 0.10)], demands=[
        Clearance("wall"), FallAway("wall", 1 / 80, target=1 / 60, most=1 / 20), FallAlong("wall", 1 / 50), MaxGradient(1 / 15),
        Step([("tread", 2, 0, 10.2)], 0.05, 0.35), Cover([("pipe", 6, 2, 9.3)]), Cover([("footing", 8, 1, 9.3)]),
        KeepBelow(("air brick", 3, 0, 10.3)), KeepBelow(("vent", 7, 0, 10.32)), Meet(old, reach),
        Cover([("cable", 4, 6, 9.2)]), Step([("path", 9, DEEP, 10.5)], 0.0, 0.7)])


def seconds(work: Callable[[], object], times: int) -> float:
    """Median time of some runs."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def then(work: Callable[[], Solution], more: str) -> object:
    """Solve afresh and ask for one more thing, which is worked out when it is asked for."""
    return getattr(work(), more)


def line(what: str, shape: str, aim: str, taken: float, wanted: float | None, note: str = "") -> None:
    told = "" if wanted is None else f"{wanted * 1000:7.0f} ms  {'kept' if taken <= wanted else 'MISSED'}"
    print(f"{what:<34}{shape:<9}{aim:<13}{taken * 1000:9.1f} ms {told:<18}{note}")


def found(solution: Solution) -> str:
    return "solved" if solution.solved else "in conflict"


def table() -> None:
    print(f"{'':<34}{'shape':<9}{'aim':<13}{'median':>12}  {'wanted':>9}")
    for spots, wanted, times in ((100, 0.05, 15), (10_000, 2.0, 5)):
        here, job = ground(spots), brief(10.0)
        for name, shape in SHAPES.items():
            for aim in AIMS:
                work = partial(solve_finish, job, here, shape=shape, aim=aim)
                first = work()  # the first call loads scipy
                line(f"solve, {spots:,} spots, 12 demands", name, aim, seconds(work, times), wanted, found(first))
                line("  and what holds the surface", name, aim, seconds(partial(then, work, "binding"), 3), None,
                     f"{len(first.binding)} demands")
    for spots in (100, 10_000):
        here, job = ground(spots), brief(10.4, 0.006)
        for name, shape in SHAPES.items():
            for aim in AIMS:
                work = partial(solve_finish, job, here, shape=shape, aim=aim)
                first = work()
                sets = ", ".join(str(len(conflict.demands)) for conflict in first.conflicts)
                line(f"quarrel, {spots:,} spots, 12 demands", name, aim, seconds(partial(then, work, "quarrel"), 5), 1.0,
                     f"{found(first)}; sets of {sets or 'none'}")
                line("  and its cures", name, aim, seconds(partial(then, work, "cures"), 3), None,
                     f"{sum(one.works for one in first.cures)} of {len(first.cures)} work")


def growth() -> None:
    print("\nHow the time grows with the spots (12 demands): time ~ spots to the power of")
    counts = (100, 300, 1000, 3000, 10_000, 30_000)
    places, job = [ground(count) for count in counts], brief(10.0)
    for name, shape in SHAPES.items():
        for aim in AIMS:
            taken = [seconds(partial(solve_finish, job, here, shape=shape, aim=aim), 3) for here in places]
            whole = np.polyfit(np.log(counts), np.log(taken), 1)[0]
            last = math.log(taken[-1] / taken[-3]) / math.log(counts[-1] / counts[-3])
            times = "  ".join(f"{count:,}: {one * 1000:.0f} ms" for count, one in zip(counts, taken, strict=True))
            print(f"{name:<9}{aim:<13}{whole:5.2f} in all, {last:.2f} from {counts[-3]:,} on;  {times}")


if __name__ == "__main__":
    table()
    growth()
