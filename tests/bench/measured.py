"""What takes how long: works timed in turns, rows beside what they are measured by, powers by which times grow."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np

NONE = "not installed"
Work = Callable[[], object]


LEAST = 0.02  # s: what takes less is done so often that it takes as long, or a busy machine would seldom interrupt it


def taken(works: Sequence[Work], times: int) -> list[list[float]]:
    """Seconds that each work takes, again and again, one after the other."""
    first = [_often(work, 1) for work in works]  # it may load what stays loaded
    often = [1 if once > 1 else max(1, math.ceil(LEAST / _often(work, 1))) for work, once in zip(works, first, strict=True)]
    return [list(seconds) for seconds in zip(*([_often(work, count) for work, count in zip(works, often, strict=True)]
                                               for _ in range(times)), strict=True)]


def _often(work: Work, count: int) -> float:
    start = time.perf_counter()
    for _ in range(count):
        work()
    return (time.perf_counter() - start) / count


def word(seconds: float) -> str:
    """Three digits, in ms or s."""
    return f"{seconds:.3g} s" if seconds >= 1 else f"{seconds * 1000:.3g} ms"


def spread(seconds: Sequence[float]) -> str:
    """The median, with the least and the greatest."""
    return f"{word(statistics.median(seconds))} ({word(min(seconds))} to {word(max(seconds))})"


class Table:
    """Rows as they are measured, each printed at once."""

    def __init__(self, times: int) -> None:
        self.times = times
        self.lines: list[tuple[str, ...]] = []
        self.growth: list[tuple[str, ...]] = []
        self.missed: list[str] = []

    def row(self, what: str, size: str, ours: Sequence[float], beside: str = "", other: Sequence[float] = (), *,
            ratio: float | None = None, within: float | None = None) -> None:
        """One row. `ratio` to the other, or else the time in s, is to be `within`; ratios are taken pair by pair."""
        ratios = [one / two for one, two in zip(ours, other, strict=False)] if ratio is None else [ratio]
        found = statistics.median(ratios if other else ours)
        told = "" if within is None else f"{within:g} ×" if other else word(within)
        met = "" if within is None else "met" if found <= within else "not met"
        if met == "not met":
            self.missed.append(f"{what}, {size}")
        shown = f"{found:.3g} × ({min(ratios):.3g} to {max(ratios):.3g})" if other else ""
        self.lines.append((what, size, spread(ours), beside, spread(other) if other else "", shown, told, met))
        print(" | ".join(self.lines[-1]), flush=True)

    def compare(self, what: str, size: str, work: Work, others: Mapping[str, Work | None], *, within: float | None = None,
                aim_by: str = "", times: int = 0) -> float:
        """A row for each thing that the work is measured by; the aim is that of the one called `aim_by`. The median of ours."""
        there = {name: other for name, other in others.items() if other is not None}
        ours, *rest = taken([work, *there.values()], times or self.times)
        for name, seconds in zip(there, rest, strict=True):
            self.row(what, size, ours, name, seconds, within=within if name == aim_by else None)
        for name in others.keys() - there.keys():
            self.lines.append((what, size, spread(ours), name, NONE, "", "", ""))
        if not others:
            self.row(what, size, ours, within=within)
        return statistics.median(ours)

    def grows(self, what: str, by: str, seconds: Mapping[int, float]) -> None:
        """time ~ size to the power of p, by least squares on the logarithms."""
        sizes = np.log(list(seconds))
        power, constant = np.polyfit(sizes, np.log(list(seconds.values())), 1)
        off = np.exp(np.abs(np.log(list(seconds.values())) - power * sizes - constant).max())
        told = ", ".join(f"{size:,}: {word(one)}" for size, one in seconds.items())
        self.growth.append((what, by, f"{power:.2f}", f"{off:.2f} ×", told))
        print(" | ".join(self.growth[-1]), flush=True)

    def growing(self, what: str, by: str, sizes: Sequence[int], made: Callable[[int], Work], *, times: int = 0,
                within: Mapping[int, float] | None = None) -> None:
        """A row for each size, and how the time grows."""
        self.grows(what, by, {size: self.compare(what, f"{size:,} {by}", made(size), {}, times=times,
                                                 within=(within or {}).get(size)) for size in sizes})

    def markdown(self, misses: Mapping[str, str]) -> str:
        """The rows, the powers, and for each aim missed what is written in `misses` of rows whose names start so."""
        told = [f"- {missed}: {next((why for start, why in misses.items() if missed.startswith(start)), 'not looked into.')}"
                for missed in self.missed]
        return "\n".join([
            *_lines("what", "size", "ours", "beside", "the other", "ratio", "aim", "verdict", lines=self.lines),
            "", "## How the time grows", "",
            "time ~ size to the power of p, by least squares on logarithms of the sizes told.", "",
            *_lines("what", "size by", "p", "farthest off the line", "times", lines=self.growth),
            "", "## Aims missed", "", *(told or ["None."]), ""])


def _lines(*heads: str, lines: Sequence[Sequence[str]]) -> list[str]:
    return ["| " + " | ".join(cells) + " |" for cells in (heads, ["---"] * len(heads), *lines)]
