"""How long it takes to propagate errors, to judge with them and to simulate: medians, in a small table.

Run it by hand: python tests/bench/bench_errors.py. The aims are those of the project for a plain laptop: 60 points in 5 ms, and
100,000 trials of 60 points through fit and verdicts in at most three times what drawing the random numbers takes by itself.
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from sitelevels import (
    Brief,
    Clearance,
    ErrorBudget,
    FallAlong,
    FallAway,
    Finish,
    MaxGradient,
    Verdicts,
    Wall,
    check_finish,
    next_shot,
    read_book,
    reduce_book,
    sensitivity,
)
from sitelevels.design.simulation import BLOCK, TRIALS, simulate

AREA = [(0, 0), (10, 0), (10, 6), (0, 6)]


def book(points: int, seed: int = 5) -> str:
    """A level book of one set-up: a benchmark, two shots of the DPC, and spots on rough ground that falls from the wall."""
    random = np.random.default_rng(seed)
    lines = ["point,bs,is,fs,rl,x,y,feature", "BM,1.400,,,10.000,-3,2,benchmark",
             "D1,,1.050,,,0,0,dpc", "D2,,1.052,,,10,0,dpc"]
    for number in range(1, points - 2):
        x, y = random.uniform((0, 0), (10, 6))
        lines.append(f"S{number},,{1.30 + 0.02 * y + 0.003 * random.normal():.3f},,,{x:.2f},{y:.2f},ground")
    return "\n".join([*lines, "BM,,,1.400,,-3,2,benchmark"])


def judged(points: int) -> Verdicts:
    """A surface that exists, judged by its spots."""
    errors = ErrorBudget().errors(reduce_book(read_book(book(points))), instruments={1: (5.0, 3.0)})
    wall = Wall("wall", (0, 0), (10, 0), dpc=[(0, 10.35), (10, 10.348)], points=["D1", "D2"])
    brief = Brief(AREA, walls=[wall], demands=[Clearance("wall", 0.15), FallAway("wall", 1 / 80), FallAlong("wall", 1 / 100),
                                              MaxGradient(1 / 20)])
    spots = errors.ground_points()
    return check_finish(Finish.plane(errors.plane_fit(spots).plane, AREA), brief, budget=errors, surveyed=spots)


def seconds(work: Callable[[], object], times: int) -> float:
    """The median of some runs, after one that does not count."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def drawn(inputs: int) -> None:
    """The random numbers alone, in the same blocks."""
    random = np.random.default_rng(1)
    for start in range(0, TRIALS, BLOCK):
        random.standard_normal((min(BLOCK, TRIALS - start), inputs))


def main() -> None:
    print(f"{'':46}{'median':>10}{'aim':>10}")
    for points, times in ((60, 50), (240, 20), (960, 3)):
        text = read_book(book(points))

        def propagated(text: object = text) -> object:
            reduced = reduce_book(text)  # type: ignore[arg-type]
            return ErrorBudget().covariance(reduced)
        reduced = reduce_book(text)
        alone = seconds(lambda reduced=reduced: ErrorBudget().errors(reduced).covariance, times)  # type: ignore[misc]
        whole = seconds(propagated, times)
        print(f"{f'covariance of {points} points':46}{alone * 1000:8.2f} ms{'5 ms' if points == 60 else '':>10}")
        print(f"{'  with the reduction and the table':46}{whole * 1000:8.2f} ms")
    verdicts = judged(60)
    assert verdicts.certainty is not None
    inputs = int((verdicts.certainty.effect != 0).any(axis=0).sum())
    pairs = [(seconds(lambda: simulate(verdicts), 1), seconds(lambda: drawn(inputs), 1)) for _ in range(7)]
    ratio = statistics.median(whole / alone for whole, alone in pairs)
    print(f"{f'{TRIALS:,} trials of 60 points, {inputs} inputs':46}{statistics.median(one for one, _ in pairs) * 1000:8.0f} ms")
    print(f"{'  over drawing the random numbers alone':46}{ratio:8.2f} ×{'3 ×':>11}")
    tracemalloc.start()
    simulate(verdicts)
    print(f"{'  most memory meanwhile':46}{tracemalloc.get_traced_memory()[1] / 1e6:8.1f} MB")
    tracemalloc.stop()
    print(f"{'check_finish with errors, 60 points':46}{seconds(lambda: judged(60), 10) * 1000:8.1f} ms")
    print(f"{'next_shot, 60 points':46}{seconds(lambda: next_shot(verdicts), 3) * 1000:8.0f} ms")
    print(f"{'what if, five ways of measuring':46}{seconds(lambda: sensitivity(verdicts).what_if, 3) * 1000:8.0f} ms")


if __name__ == "__main__":
    main()
