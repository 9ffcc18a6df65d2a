"""The chain from readings to verdicts, done again and again with errors drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..surface.plane import Floats
from .asked import ROUNDING
from .certainty import as_it_is
from .check import SurfaceVerdicts, certainty_of

TRIALS = 100_000
BLOCK = 4_096  # trials at once, so that memory is bounded


@dataclass(frozen=True, eq=False)
class Trials:
    """What many simulated surveys say of each demand (k,). Made by `simulate`.

    `met`, `not_met`, `too_close` are the shares of the trials in which the survey, done again, would give that verdict, were
    everything as it was found; `inside` the share in which the surface meets the demand in truth, building errors included.
    `count` trials from the seed `seed`.
    """

    count: int
    seed: int
    met: Floats
    not_met: Floats
    too_close: Floats
    inside: Floats


def simulate(verdicts: SurfaceVerdicts, *, count: int = TRIALS, seed: int = 1) -> Trials:
    """The chain from readings to verdicts, again and again, the surface held fixed.

    Each trial draws every input that bears on a demand, from a normal distribution, and judges what is then found; the true
    fall is that of both its parts, not of a straight line through them.
    """
    budget, certainty = verdicts.budget, verdicts.certainty
    assert budget is not None
    assert certainty is not None
    draw = _drawn(verdicts)
    numbers = [verdicts.places_of(number) for number in range(len(verdicts.worst))]
    low, high = np.array([one.condition.ends for one in verdicts.everywhere]).T
    found = np.array([one.found for one in verdicts.everywhere])
    u = np.maximum([one.u or 0.0 for one in verdicts.everywhere], 1e-12)
    low, high = low - ROUNDING * (u < ROUNDING), high + ROUNDING * (u < ROUNDING)  # as the verdict on what is known exactly
    near = np.array([one.k for one in verdicts.everywhere])
    far = [np.array([budget.k_of(len(rows), freedom) for freedom in certainty.freedom[rows]]) for rows in numbers]
    totals = np.zeros((4, len(numbers)))
    random = np.random.default_rng(seed)
    for start in range(0, count, BLOCK):
        seen, true = draw(random, min(BLOCK, count - start), found)
        margin = np.minimum(seen - low, high - seen) / u
        inside = (true >= low) & (true <= high)
        for number, rows in enumerate(numbers):
            mine = margin[:, rows]
            met, failed = (mine >= near[rows]).all(axis=1), (mine <= -far[number]).any(axis=1)
            totals[:, number] += met.sum(), (failed & ~met).sum(), (~met & ~failed).sum(), inside[:, rows].all(axis=1).sum()
    return Trials(count, seed, *(totals / count))


def _drawn(verdicts: SurfaceVerdicts) -> Callable[[np.random.Generator, int, Floats], tuple[Floats, Floats]]:
    """A function that draws so many trials: the numbers that would be found, and those that would be true, (trials, places)."""
    errors = verdicts.errors
    assert errors is not None
    asked = [(one.condition, facet) for one, facet in zip(verdicts.everywhere, verdicts.facets, strict=True)]
    steep = [row for row, (condition, facet) in enumerate(asked) if condition.at is None and condition.way_on(facet) is None]
    for row in steep:  # the true fall has a part square to the steepest way too
        condition, facet = asked[row]
        x, y = facet.plane.direction
        asked.append((replace(condition, toward=(-y, x) if x or y else (0.0, 1.0)), facet))
    sure = as_it_is(asked, errors, verdicts.surveyed) if verdicts.surveyed else certainty_of(asked, verdicts.finish, errors)
    effect = sure.effect * sure.inputs.sd
    moves = np.asarray(effect.any(axis=0))  # what moves nothing is not drawn
    effect, survey = effect[:, moves], int(moves[:sure.survey].sum())

    def draw(random: np.random.Generator, count: int, found: Floats) -> tuple[Floats, Floats]:
        drawn, places = random.standard_normal((count, effect.shape[1])), len(found)
        again = drawn[:, :survey] @ effect[:, :survey].T
        error = again + drawn[:, survey:] @ effect[:, survey:].T
        seen, true = found + again[:, :places], found - error[:, :places]
        for place, row in enumerate(steep, start=places):
            seen[:, row], true[:, row] = np.hypot(seen[:, row], again[:, place]), np.hypot(true[:, row], error[:, place])
        return seen, true
    return draw
