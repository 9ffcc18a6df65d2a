"""The finished surface that meets every demand with the least digging."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, must_be
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces
from ..surface.plane import Floats, Plane
from ..surface.shapes import Channel, OnePlane, Outlet, Shape
from ..wording import html_table, word_area, word_change, word_volume
from .brief import Brief
from .check import facets_for
from .conditions import Condition, Demand
from .conflict import Quarrel, find_quarrel
from .cures import Cure, try_cures
from .demands import FallAway
from .rows import SAME, Rows, least, moved, rows_of, tangents
from .volume import Volume

AIMS = ("target fall", "least dig")
CLOSE = 1e-8  # share of the volume: how near the least the search stops; a thousandth would do for a spade
SHALLOW = 1e-8  # m: a mean depth below which nothing is worth saving
AT_LIMIT = 1e-6  # m or m/m: a condition as near to its limit is at it
RELIEF = 0.001  # m or m/m: what `Binding.saving` is told for
DIGITS = 1e-9  # m or m/m: room for the last binary digits where limits meet in a point
STAY = 1e-6  # of an aim, m/m or m for each m: what moving a corner must gain, so that what does not matter stays where it is
WORTH = 1e-4  # m³: a saving below this is none
TRIES = 12  # of surfaces that serve an aim, before the present one stays
MOST_CUTS = 300  # of the convex volume; some thirty are usual


@dataclass(frozen=True)
class Binding:
    """A demand that holds the surface where it is.

    `saving` is the volume in m³ that would not be moved if its limit (the field `limit`) were eased by 1 mm, or by 1 mm/m:
    found by solving again, and negative where the ease is used to come nearer to the target fall, by `nearer` m/m in all.
    Both are None for a demand without a number to ease.
    """

    demand: Demand
    place: str
    limit: str
    saving: float | None
    nearer: float | None

    @property
    def words(self) -> str:
        """What relief would bring, in a sentence."""
        if self.saving is None or self.nearer is None:
            return "There is no number to ease."
        ease = word_change(RELIEF, "mm" if self.demand.unit == "mm" else "mm/m")
        nearer = f"brings the falls {word_change(self.nearer, 'mm/m')} nearer to their targets" if self.nearer > SAME else ""
        volume = f"{'saves' if self.saving > 0 else 'costs'} {word_volume(abs(self.saving))}" if abs(self.saving) > WORTH else ""
        told = " and ".join(part for part in (nearer, volume) if part)
        return f"{ease} of relief {told or 'on it alone brings nothing: others hold the same place'}."


def _worth(saving: float, nearer: float) -> bool:
    return abs(saving) > WORTH or nearer > SAME


@dataclass(frozen=True, eq=False)
class Solution:
    """The best surface for a brief, or the quarrel of its demands. Made by `solve_finish`.

    `finish` is None where no surface of that shape meets every demand. `volume` is what is moved down to its formation, dig
    and fill together, in m³; `covered` the share of the area that the spots cover, over which it is counted; `off_target` the
    sum over all target falls of how far they are missed, m/m.
    """

    brief: Brief
    ground: Ground
    shape: Shape
    aim: str
    finish: Finish | None
    volume: float | None
    covered: float
    off_target: float | None
    _pieces: Pieces = field(repr=False)
    _rows: Rows = field(repr=False)
    _x: Floats | None = field(repr=False)

    @property
    def solved(self) -> bool:
        """Whether there is a surface."""
        return self.finish is not None

    @property
    def unknowns(self) -> tuple[float, ...]:
        """The unknowns of the shape (`Channel`, `Outlet`; for a plane, level at the middle, gx, gy), m and m/m; empty if none."""
        return () if self._x is None else tuple(map(float, self._rows.base + self._x / self._rows.scale))

    @cached_property
    def binding(self) -> tuple[Binding, ...]:
        """The demands that hold the surface where it is, the one whose relief saves most first; empty where there is none."""
        if self._x is None:
            return ()
        found = self._rows.a @ self._x
        held: dict[tuple[int, str], Condition] = {}
        for side, limits in ((found - self._rows.low, "low_of"), (self._rows.high - found, "high_of")):
            for row in np.flatnonzero(side < AT_LIMIT):
                condition = self._rows.of[row]
                for limit in getattr(condition, limits).split()[:1] or [""]:
                    held.setdefault((int(self._rows.owner[row]), limit), condition)
        every = [key for key in held if key[1]]
        all_eased = self._eased(every)
        binding = [Binding(self._rows.demands[number], condition.place, "", None, None)
                   for (number, limit), condition in held.items() if not limit]
        for key in every:
            saving, nearer = self._eased([key])
            if not _worth(saving, nearer):  # alone it brings nothing; does it where others hold the surface at the same place?
                others = self._eased([other for other in every if other != key])
                if not _worth(all_eased[0] - others[0], all_eased[1] - others[1]):
                    continue
            binding.append(Binding(self._rows.demands[key[0]], held[key].place, key[1], saving, nearer))
        return tuple(sorted(binding, key=lambda one: -(one.saving or 0.0)))

    def _eased(self, limits: Sequence[tuple[int, str]]) -> tuple[float, float]:
        """What is saved (m³), and by how much the targets are nearer (m/m), where some limits are eased."""
        rows = self._rows
        for number, limit in limits:
            rows = rows.eased(number, limit, RELIEF)
        _, volume, off = _best(rows, self.aim, self._pieces)
        assert self.volume is not None
        assert self.off_target is not None
        return self.volume - volume, self.off_target - off

    @cached_property
    def quarrel(self) -> Quarrel:
        """Which demands fight, and what each would have to give; empty where there is a surface."""
        with warnings.catch_warnings():  # a limit that would have to give much is no slip of the pen
            warnings.simplefilter("ignore", SurveyWarning)
            return find_quarrel(self._rows)

    @property
    def conflicts(self) -> tuple[Any, ...]:
        """Every smallest set of demands that fight, the smallest first."""
        return self.quarrel.conflicts

    @cached_property
    def cures(self) -> tuple[Cure, ...]:
        """What the trade does about it, each tried; empty where there is a surface."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            return () if self.solved else try_cures(self, solve_finish)

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the demands that hold the surface: demand place limit saving (m³ for 1 mm or 1 mm/m) words."""
        lines = [(one.demand.title, one.place, one.limit, one.saving, one.words) for one in self.binding]
        return pd.DataFrame(lines, columns=["demand", "place", "limit", "saving", "words"])

    def sentence(self) -> str:
        """What was found, in words."""
        if not self.solved:
            return f"{self._none} {self.quarrel.sentence()}"
        left = (1 - self.covered) * self.brief.area.area
        beyond = f" {word_area(left)} lie outside the spots and are not counted." if left >= 0.05 else ""
        met = f" meeting {self._all}" if self._rows.demands else ", of which nothing is demanded"
        return (f"Found: {self.shape.words()}{met}. {word_volume(self.volume or 0.0)} are "
                f"moved, dig and fill together.{beyond}")

    @property
    def _none(self) -> str:
        return f"No surface does it: {self.shape.words()} cannot meet {self._all}."

    @property
    def _all(self) -> str:
        count = len(self._rows.demands)
        return f"all {count} demands" if count > 1 else "the only demand"

    def __repr__(self) -> str:
        return self.sentence()

    def _repr_html_(self) -> str:
        if not self.solved:
            cures = "".join(f"<li>{escape(cure.words)}</li>" for cure in self.cures)
            tried = f"<p>What the trade does about it, tried on this brief:</p><ul>{cures}</ul>" if cures else ""
            return f"<p>{escape(self._none)}</p>{self.quarrel._repr_html_()}{tried}"
        said = f"<p>{escape(self.sentence())}</p>"
        held = self.table[["demand", "place", "words"]].rename(columns={"words": "what relief would bring"})
        return said + (html_table(held, words=True) if len(held) else "<p>No demand holds it: the ground alone decides.</p>")


def solve_finish(brief: Brief, ground: Ground, *, shape: Shape | type[Plane] | None = None, aim: str = "target fall",
                 budget: None = None) -> Solution:
    """The finished surface that meets every demand of a brief, or which demands fight.

    Parameters
    ----------
    brief : Brief
    ground : Ground
    shape : None or Plane (one plane), Channel(line) or Outlet(point)
    aim : "target fall" or "least dig"
        What comes first: falls nearest to their targets (the sum of what they miss), or the least volume moved. Then the
        other, then the least fall along the walls, then the flattest surface, then the highest: so that there is one answer.
    budget : None
        The place for errors of the readings, which are not counted yet; anything but None is refused.

    Returns
    -------
    Solution
        `.finish` and `.binding`, or `.conflicts` with what each demand would have to give, and `.cures`.

    Raises
    ------
    SurveyError
        A shape that does not suit the area, spots that all lie outside it. Demands that fight are never refused.

    Notes
    -----
    A plane has three unknowns, a channel four, an outlet two; every demand is linear in them, a greatest gradient by 32
    tangents (at most 0.5 % cautious). The exact volume is convex: it is bounded from below by its tangents, one more at each
    step (Kelley, Journal of the Society for Industrial and Applied Mathematics, 1960, volume 8, pages 703-712; from memory),
    until the bound and the volume found agree to a hundred-millionth, or to a hundredth of a micrometre of mean depth.

    >>> from sitelevels import Brief, Clearance, FallAway, Ground, Wall
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.90, 9.90, 9.90, 9.90])
    >>> wall = Wall("wall", (0, 0), (6, 0), dpc=10.0)
    >>> brief = Brief(area, walls=[wall], demands=[Clearance("wall", 0.150), FallAway("wall", 1 / 80, target=1 / 60)])
    >>> found = solve_finish(brief, ground)
    >>> round(found.finish.level_at(0, 0), 3), round(found.finish.level_at(0, 3), 3)
    (9.85, 9.8)
    >>> [one.demand.title for one in found.binding]
    ['below the DPC']
    """
    must_be(brief, Brief, "the brief")
    must_be(ground, Ground, "the ground")
    if budget is not None:
        raise SurveyError("errors of the readings are not counted yet", rule="Limits are kept by the margin alone.",
                          remedy="Leave the budget out.")
    wanted = OnePlane() if shape is None or (isinstance(shape, type) and shape is Plane) else shape
    if not isinstance(wanted, (OnePlane, Channel, Outlet)):
        raise SurveyError(f"the shape is {shape!r}", rule="It is Plane, or a Channel(line), or an Outlet(point).")
    if aim not in AIMS:
        raise SurveyError(f"the aim is {aim!r}", rule=f"It is one of {', '.join(map(repr, AIMS))}.")
    rows = rows_of(brief, wanted, float(ground.level.mean()) + brief.build_up)
    pieces = cut_pieces(ground, [part.area for part in rows.parts])
    covered = min(float(pieces.plan.sum()) / brief.area.area, 1.0)
    missed, _ = rows.nearest(np.ones(len(rows.demands), dtype=bool))
    if missed > SAME:
        return Solution(brief, ground, wanted, aim, None, None, covered, None, pieces, rows, None)
    x, volume, off = _best(rows, aim, pieces)
    return Solution(brief, ground, wanted, aim, rows.finish(x), volume, covered, off, pieces, rows, x)


def _best(rows: Rows, aim: str, pieces: Pieces) -> tuple[Floats, float, float]:
    """The unknowns (n,) of the best surface, the volume moved in m³, and how far the targets are missed in m/m."""
    volume = Volume(rows, pieces, rows.brief.build_up)
    search = _Search(rows, volume)
    targets = [(row, condition.target) for row, condition in enumerate(rows.of) if condition.target is not None]
    a = rows.a[[row for row, _ in targets]]
    wanted = np.array([target for _, target in targets], dtype=float)

    def falls() -> None:
        if len(wanted):
            search.come_near(a, wanted)
    first, second = (falls, search.least_volume) if aim == AIMS[0] else (search.least_volume, falls)
    first()
    second()
    across = _across(rows)
    if len(across):
        search.come_near(across, np.zeros(len(across)))
    search.flattest(np.concatenate([tangents(part) for part in rows.parts]) / rows.scale)
    search.highest(np.mean([moved(part, *np.array(part.area.centroid.coords[0])) for part in rows.parts], axis=0) / rows.scale)
    x = search.x[:len(rows.base)]
    return x, volume(x)[0], float(np.abs(a @ x - wanted).sum())


def _across(rows: Rows) -> Floats:
    """Falls (k, n) along the walls from which the surface is to fall, on the facets beside them."""
    flat = rows.finish(np.zeros(len(rows.base)))
    found = []
    for demand in rows.demands:
        if isinstance(demand, FallAway):
            wall = rows.brief.wall(demand.wall)
            beside = Condition("", toward=wall.direction, wall=wall)
            parts = [rows.parts[flat.facets.index(facet)] for facet in facets_for(flat, rows.brief, beside, ())]
            found += [-(wall.direction[0] * part.basis[1] + wall.direction[1] * part.basis[2]) / rows.scale for part in parts]
    return np.array(found).reshape(-1, len(rows.base))


class _Search:
    """One aim after the other: each is brought to its least, and held there while the next one is.

    The unknowns `x` are those of the surface and, after them, how far each wish is missed.
    """

    def __init__(self, rows: Rows, volume: Volume) -> None:
        self.n = len(rows.base)
        self.volume = volume
        self.a, self.b = rows.upper(np.ones(len(rows.a), dtype=bool))
        self.cuts: list[tuple[Floats, float]] = []
        self.most: float | None = None
        missed, self.x = rows.nearest(np.ones(len(rows.demands), dtype=bool))
        self.b = self.b + missed + DIGITS

    def come_near(self, a: Floats, wanted: Floats) -> None:
        """The least sum of |a x − wanted|."""
        self._widen(len(wanted))
        missed = -np.eye(self.a.shape[1])[-len(wanted):]
        for sign in (1.0, -1.0):
            self._limit(sign * self._padded(a) + missed, sign * wanted)
        self._settle(-missed.sum(axis=0))

    def flattest(self, gradients: Floats) -> None:
        """The least of the greatest gradient (k, n)."""
        self._widen(1)
        steepest = np.eye(self.a.shape[1])[-1]
        self._limit(self._padded(gradients) - steepest, np.zeros(len(gradients)))
        self._settle(steepest)

    def highest(self, level: Floats) -> None:
        """The highest mean level, as a row (n,)."""
        self._settle(-self._padded(level[None, :])[0])

    def least_volume(self) -> None:
        """The least volume, between the tangents found so far and the best surface found so far."""
        reach = 1.0
        middle = self.x[:self.n]
        goal = np.append(np.zeros(self.a.shape[1]), 1.0)
        best = self._cut(middle)
        for _ in range(MOST_CUTS):
            a, b = self._with_cuts(np.column_stack([self.a, np.zeros(len(self.b))]), self.b, -1.0, 0.0)
            box = [*((one - reach, one + reach) for one in middle), *[(None, None)] * (len(goal) - self.n)]
            found = least(goal, a, b, box)
            if found is None:  # there is no room but for the surface that is there
                break
            moved_ = self._cut(found[:self.n])
            if moved_ < best:
                best, self.x = moved_, found[:-1]
            if best - found[-1] <= CLOSE * best + self._nothing:
                if np.abs(self.x[:self.n] - middle).max() < 0.999 * reach:
                    break
                middle, reach = self.x[:self.n], 4 * reach  # the least may lie farther out
        self.most = best

    @property
    def _nothing(self) -> float:
        return SHALLOW * float(self.volume.plan.sum())

    def _cut(self, x: Floats) -> float:
        """The volume at x; its tangent there is kept."""
        moved_, slope = self.volume(x)
        self.cuts.append((slope, moved_ - float(slope @ x)))
        return moved_

    def _with_cuts(self, a: Floats, b: Floats, last: float, most: float) -> tuple[Floats, Floats]:
        """Limits with those of all tangents: slope · x + start + last · (the last unknown) ≤ most."""
        slopes = np.zeros((len(self.cuts), a.shape[1]))
        slopes[:, :self.n] = [slope for slope, _ in self.cuts]
        slopes[:, -1] += last
        return np.vstack([a, slopes]), np.concatenate([b, [most - start for _, start in self.cuts]])

    def _widen(self, extra: int) -> None:
        self.a = np.column_stack([self.a, np.zeros((len(self.b), extra))])
        self.x = np.append(self.x, np.zeros(extra))

    def _padded(self, a: Floats) -> Floats:
        return np.column_stack([a, np.zeros((len(a), self.a.shape[1] - self.n))])

    def _limit(self, a: Floats, b: Floats) -> None:
        self.a, self.b = np.vstack([self.a, a]), np.concatenate([self.b, b])

    def _settle(self, cost: Floats) -> None:
        """Bring cost · x to its least without moving more than the least volume, if that is found yet, and hold it there.

        Of surfaces that serve the aim as well, one near the present is taken. Where no room is left, to the last digits or as
        far as some more tangents show, the present one stays.
        """
        width, n = self.a.shape[1], self.n
        near = np.block([[sign * np.eye(n, width), -np.eye(n)] for sign in (1.0, -1.0)])
        here = np.concatenate([self.x[:n], -self.x[:n]])
        goal = np.concatenate([cost, np.full(n, 0.0 if self.most is None else STAY)])
        for _ in range(TRIES):
            a, b = (self.a, self.b) if self.most is None else self._with_cuts(self.a, self.b, 0.0, self.most)
            found = least(goal, np.vstack([np.column_stack([a, np.zeros((len(b), n))]), near]), np.concatenate([b, here]))
            if found is None:
                return
            moved_ = 0.0 if self.most is None else self._cut(found[:n])
            if self.most is None or moved_ <= self.most * (1 + 10 * CLOSE) + 2 * self._nothing:
                self.x = found[:width]
                self.most = None if self.most is None else max(self.most, moved_)
                self._limit(cost[None, :], np.array([float(cost @ self.x) + DIGITS]))
                return
