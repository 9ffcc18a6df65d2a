"""The finished surface that meets every demand with the least digging."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, must_be
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces
from ..surface.plane import Floats, Plane
from ..surface.shapes import Channel, OnePlane, Outlet, Shape
from ..wording import html_table, word_area, word_change, word_fall, word_mm, word_volume
from .asked import facets_for
from .brief import Brief
from .budget import ErrorBudget
from .certainty import nothing_read
from .check import check_finish
from .conditions import Condition, Demand
from .conflict import Conflict, Quarrel, find_quarrel
from .cures import Cure, try_cures
from .demands import FallAway
from .propagation import LevelErrors
from .published import LIMITS
from .rows import SAME, STEEP, Rows, moved, rows_of, tangents
from .search import Search
from .verdicts import TOO_CLOSE
from .volume import Volume

AIMS = ("target fall", "least dig")
AT_LIMIT = 1e-6  # m or m/m: a condition as near to its limit is at it
RELIEF = 0.001  # m or m/m: what `Binding.saving` is told for
WORTH = 1e-4  # m³: a saving below this is none
MOST_HELD = 12  # limits at once that are asked whether they hold the surface together
STEEPEST = 1.0  # m/m: no paving is laid so steep


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
    sum over all target falls of how far they are missed, m/m; `unproved` says of each demand whose verdict is too close to call
    on the surface found what would make it sure, where errors are counted.
    """

    brief: Brief
    ground: Ground
    shape: Shape
    aim: str
    finish: Finish | None
    volume: float | None
    covered: float
    off_target: float | None
    unproved: tuple[str, ...]
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
                if len(every) > MOST_HELD:
                    continue
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
    def conflicts(self) -> tuple[Conflict, ...]:
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

    @property
    def doubts(self) -> tuple[str, ...]:
        """What nothing in the brief forbids and yet wants a second look, in sentences."""
        if self.finish is None:
            return ()
        found = []
        steep, usual = max(facet.plane.fall for facet in self.finish.facets), LIMITS["gradient"].value
        if steep > usual + AT_LIMIT:
            found.append(f"part of it is as steep as {word_fall(steep)}, where {word_fall(usual)} is the steepest that is no "
                         "ramp; put a greatest gradient into the brief.")
        for wall in self.brief.walls:
            dpc = min(level for _, level in wall.shots)
            above = max(facet.plane.level_at(x, y) for facet in self.finish.facets for x, y in facet.area.exterior.coords) - dpc
            if above > AT_LIMIT:
                found.append(f"part of it lies {word_mm(above, never='less')} above the DPC of the {wall.name}: whatever "
                             "happens to the drain, no water may reach the wall from there.")
        return tuple(found)

    def sentence(self) -> str:
        """What was found, in words."""
        if not self.solved:
            return f"{self._none} {self.quarrel.sentence()}"
        left = (1 - self.covered) * self.brief.area.area
        beyond = f" {word_area(left)} lie outside the spots and are not counted." if left >= 0.05 else ""
        met = f" meeting {self._all}" if self._rows.demands else ", of which nothing is demanded"
        met += f", {len(self.unproved)} of them not proved" if self.unproved else ""
        unproved = "".join(f" NOT PROVED: {told}" for told in self.unproved)
        return (f"Found: {self.shape.words()}{met}. {word_volume(self.volume or 0.0)} are "
                f"moved, dig and fill together.{beyond}{unproved}{''.join(f' MIND: {doubt}' for doubt in self.doubts)}")

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
                 budget: ErrorBudget | LevelErrors | None = None) -> Solution:
    """The finished surface that meets every demand of a brief, or which demands fight.

    Parameters
    ----------
    brief : Brief
    ground : Ground
    shape : None or Plane (one plane), Channel(line) or Outlet(point)
    aim : "target fall" or "least dig"
        What comes first: falls nearest to their targets (the sum of what they miss), or the least volume moved. Then the
        other, then the least fall along the walls, then the flattest surface (to 0.5 %), then the highest, so that there is one
        answer.
    budget : LevelErrors or ErrorBudget, optional
        Errors to count, as in `check_finish`: the surface then keeps k·u inside every limit, a limit finer than that excepted. If
        that leaves no surface, limits are kept by the margin alone. `Solution.unproved` says which demands cannot be proved.

    Returns
    -------
    Solution
        `.finish` and `.binding`, or `.conflicts` with what each demand would have to give, and `.cures`.

    Raises
    ------
    SurveyError
        A shape that does not suit the area, spots that all lie outside it, surfaces all steeper than 1:1. Demands that fight
        are never refused.

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
    must_be(budget, (ErrorBudget, LevelErrors, type(None)), "the budget")
    wanted = OnePlane() if shape is None or shape is Plane else shape
    if not isinstance(wanted, (OnePlane, Channel, Outlet)):
        raise SurveyError(f"the shape is {shape!r}", rule="It is Plane, or a Channel(line), or an Outlet(point).")
    if aim not in AIMS:
        raise SurveyError(f"the aim is {aim!r}", rule=f"It is one of {', '.join(map(repr, AIMS))}.")
    rows = rows_of(brief, wanted, float(ground.level.mean()) + brief.build_up)
    pieces = cut_pieces(ground, [part.area for part in rows.parts])
    covered = min(float(pieces.plan.sum()) / brief.area.area, 1.0)
    every = np.ones(len(rows.demands), dtype=bool)
    if rows.nearest(every)[0] > SAME:
        return Solution(brief, ground, wanted, aim, None, None, covered, None, (), pieces, rows, None)
    errors = nothing_read(budget) if isinstance(budget, ErrorBudget) else budget
    kept, steep = rows, STEEP
    for _ in range(2):  # again where the surface turns out steeper than was reckoned with
        if errors is not None:
            guarded = rows.guarded(errors, steep)
            kept = guarded if guarded.nearest(every)[0] <= SAME else rows
        x, volume, off = _best(kept, aim, pieces)
        finish = kept.finish(x)
        steep, before = max(facet.plane.fall for facet in finish.facets), steep
        if errors is None or kept is rows or steep <= before:
            break
    rows = kept
    if max(facet.plane.fall for facet in finish.facets) > STEEPEST:
        raise SurveyError("the surfaces that meet these demands are steeper than 1:1", rule="No paving is laid so steep.",
                          remedy="Look for two points close together whose levels differ, or a point at the wrong place.")
    return Solution(brief, ground, wanted, aim, finish, volume, covered, off, _unproved(finish, brief, budget), pieces, rows, x)


def _unproved(finish: Finish, brief: Brief, budget: ErrorBudget | LevelErrors | None) -> tuple[str, ...]:
    """A sentence on each demand whose verdict is too close to call."""
    if budget is None:
        return ()
    verdicts = check_finish(finish, brief, budget=budget)
    return tuple(f"{one.demand.words()} ({one.condition.place}). {one.aim}"
                 for one, (verdict, _) in zip(verdicts.worst, verdicts.judged, strict=True) if verdict == TOO_CLOSE)


def _best(rows: Rows, aim: str, pieces: Pieces) -> tuple[Floats, float, float]:
    """The unknowns (n,) of the best surface, the volume moved in m³, and how far the targets are missed in m/m."""
    volume = Volume(rows, pieces, rows.brief.build_up)
    search = Search(rows, volume)
    targets = [(row, condition.target) for row, condition in enumerate(rows.of) if condition.target is not None]
    a = rows.a[[row for row, _ in targets]]
    wanted = np.array([target for _, target in targets], dtype=float)
    steps = [lambda: search.come_near(a, wanted), search.least_volume]
    for step in steps if aim == AIMS[0] else reversed(steps):
        step()
    across = _across(rows)
    search.come_near(across, np.zeros(len(across)))
    search.flattest(np.concatenate([tangents(part) for part in rows.parts]) / rows.scale)
    slopes = np.concatenate([part.basis[1:] for part in rows.parts]) / rows.scale
    search.come_near(slopes, np.zeros(len(slopes)))  # of those that are as flat by the tangents
    levels = [moved(part, *np.array(part.area.centroid.coords[0])) for part in rows.parts]
    search.highest(np.average(levels, axis=0, weights=[part.area.area for part in rows.parts]) / rows.scale)
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
