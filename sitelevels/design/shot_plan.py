"""Before going out: where to put the staff, and how often, so that each verdict can be proved."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape
from itertools import pairwise

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, SurveyWarning, finite, finite_list, must_be
from ..surface.finish import Finish
from ..surface.plane import Plane
from ..survey.book import LevelBook, Row
from ..survey.reduction import reduce_book
from ..wording import html_table, whole_cm, word_distance, word_level, word_mm, word_place
from .brief import Brief, Wall
from .budget import ErrorBudget
from .check import SurfaceVerdicts, check_finish
from .conditions import AtSpots
from .demands import AccessCover, Cover, FallAway, FallToDrain, Gully, KeepBelow, Step
from .further import turned_round
from .propagation import LevelErrors
from .verdicts import Finding

MARGIN, FALL_MARGIN = 0.010, 0.002  # m and m/m: how far inside its limit the ground is taken to turn out
MOST_ROWS = 34  # of a booking page on A4
OFF_EDGE = 0.1  # m: the staff is put no nearer to an edge
LEAST_GROUND = 12  # points of the ground that repeats do not crowd out
MOST_TIMES = 4  # readings of one point; more wants a better instrument
BENCHMARK = "BM"
FARTHEST_MARK = 200.0  # m: no staff is read farther off (common practice, no source)
_FEATURES = ((Step, "threshold"), (Cover, "buried"), (KeepBelow, "airbrick"), (Gully, "gully"), (AccessCover, "cover"))


@dataclass(frozen=True)
class Shot:
    """One reading to take: its number on the plan, the point, the column it is booked in, and its place in m."""

    number: int
    point: str
    column: str
    feature: str
    wall: str = ""
    x: float | None = None
    y: float | None = None


@dataclass(frozen=True, eq=False)
class ShotPlan:
    """Where to put the staff. Made by `shot_plan`.

    `shots` in the order in which they are read and booked; `verdicts` are those of a survey by that plan on a surface in the
    middle of what is asked, from which only the standard uncertainties count; `margin` (m) and `fall_margin` (m/m) are those by
    which the ground is taken to turn out inside its limits; `setups` is 1, or 2 with the instrument turned half round.
    """

    brief: Brief
    budget: ErrorBudget
    shots: tuple[Shot, ...]
    verdicts: SurfaceVerdicts
    margin: float
    fall_margin: float
    setups: int

    @property
    def provable(self) -> tuple[bool, ...]:
        """Whether each verdict could be proved."""
        return _provable(self.verdicts, self.margin, self.fall_margin)

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the shots in the order of booking: number point column feature wall x y (m)."""
        return pd.DataFrame([vars(shot) for shot in self.shots])

    @property
    def words(self) -> tuple[str, ...]:
        """What the plan comes to, in sentences."""
        points = len({shot.point for shot in self.shots})
        how = "one set-up" if self.setups == 1 else ("two set-ups at about the same place, the instrument turned half round "
                                                     "between them")
        told = [f"{len(self.shots)} readings on {points} points from {how}, each set-up ending on {self.shots[0].point} again. "
                f"Turning out {word_mm(self.margin)} inside a limit, or in the middle of two that lie nearer together, or "
                f"{word_mm(self.fall_margin, digits=1)}/m inside that of a fall, "
                f"{sum(self.provable)} of {len(self.provable)} demands could be proved."]
        for number, proved in enumerate(self.provable):
            if not proved:
                rows = self.verdicts.places_of(number)
                finding = max((self.verdicts.everywhere[row] for row in rows), key=lambda one: one.give)
                told.append(f"'{finding.demand.title}' ({finding.condition.place}) could not: the give or take would be "
                            f"{finding.wide(finding.give)}. What shows it is {finding.demand.shown_by}.")
        return tuple(told)

    def __repr__(self) -> str:
        return self.words[0]

    def _repr_html_(self) -> str:
        shown = self.table.assign(**{name: ["" if value is None or np.isnan(value) else word_level(value, digits=2)
                                            for value in self.table[name]] for name in ("x", "y")})
        return "".join(f"<p>{escape(told)}</p>" for told in self.words) + html_table(shown, words=True)


def shot_plan(brief: Brief, *, budget: ErrorBudget | None = None, margin: float = MARGIN, fall_margin: float = FALL_MARGIN,
              benchmark: Sequence[float] | None = None) -> ShotPlan:
    """Where to put the staff and how often, from the brief alone.

    Parameters
    ----------
    brief : Brief
        Its area, walls and demands; levels in it do not matter.
    budget : ErrorBudget, optional
        The instrument; the usual figures if not given.
    margin, fall_margin : float
        By how much inside its limit the ground is taken to turn out, m and m/m: the smaller, the more readings.
    benchmark : (x, y), optional
        Where it stands, m.

    Returns
    -------
    ShotPlan
        One reading of each DPC end, threshold, edge and so on, and a grid on the ground, from one set-up; points of a demand that
        could not be proved so are read up to MOST_TIMES; if that is not enough, everything is read again with the instrument
        turned half round, where that helps.

    Raises
    ------
    SurveyError
        Margins that are no lengths; more named points than a booking page holds.

    Notes
    -----
    That a survey ends where it began, and a plan fits one booking page: common practice, no source.

    >>> import sitelevels as sl
    >>> wall = sl.Wall("wall", (0, 0), (6, 0), dpc=10.0)
    >>> brief = sl.Brief([(0, 0), (6, 0), (6, 4), (0, 4)], walls=[wall], demands=[sl.Clearance("wall")])
    >>> [(shot.point, shot.column) for shot in shot_plan(brief).shots if shot.feature in ("benchmark", "dpc")]
    [('BM', 'bs'), ('D1', 'is'), ('D2', 'is'), ('BM', 'fs')]
    """
    must_be(brief, Brief, "the brief")
    must_be(budget, (ErrorBudget, type(None)), "the budget")
    budget = ErrorBudget() if budget is None else budget
    margin = finite(margin, "the margin", "It is a length in m.", over=0)
    fall_margin = finite(fall_margin, "the margin of a fall", "It is a fall in m/m.", over=0)
    place = None if benchmark is None else finite_list(benchmark, "the place of the benchmark", "It is (x, y) in m.", count=2)
    if place is not None and brief.area.distance(shapely.Point(place)) > FARTHEST_MARK:
        raise SurveyError(f"the benchmark stands {word_distance(brief.area.distance(shapely.Point(place)))} from the area",
                          rule=f"A sight is no longer than {word_distance(FARTHEST_MARK)}.", remedy="Check its x and y, in m.")
    brief = _with_planned_walls(replace(brief, demands=tuple(one for one in brief.demands if not isinstance(one, FallToDrain))))
    named, mark = _named_points(brief), _prefix(BENCHMARK, brief)
    if len(named) + 2 > MOST_ROWS:
        raise SurveyError(f"the demands name {len(named)} points", rule=f"A booking page holds {MOST_ROWS} readings.",
                          remedy="Plan for fewer points at a time.")
    ground = _ground_points(brief, MOST_ROWS - 2 - len(named))
    times = dict.fromkeys((point for point, *_ in named), 1)
    while True:
        errors = _read(budget, named, ground, times, mark, place)
        verdicts = _judged(brief, errors)
        wanting = [number for number, proved in enumerate(_provable(verdicts, margin, fall_margin)) if not proved]
        more = {point for number in wanting for row in verdicts.places_of(number) if _floor(verdicts, row) < margin
                for point, _ in verdicts.everywhere[row].condition.on if times.get(point, MOST_TIMES) < MOST_TIMES}
        room = MOST_ROWS - 2 - sum(times.values()) - len(more)
        if not more or room < min(len(ground), LEAST_GROUND):
            break
        times.update({point: times[point] + 1 for point in more})
        ground = _ground_points(brief, min(room, len(ground)))
    setups = 1
    if wanting:
        twice = _judged(brief, turned_round(errors))
        if sum(_provable(twice, margin, fall_margin)) > len(verdicts.worst) - len(wanting):
            verdicts, setups = twice, 2
    shots = _in_order(named, ground, times, mark, place)
    if setups == 2:
        shots += [replace(shot, number=len(shots) + shot.number) for shot in shots]
    return ShotPlan(brief, budget, tuple(shots), verdicts, margin, fall_margin, setups)


Named = tuple[str, str, str, float, float]  # point, feature, wall, x, y


def _with_planned_walls(brief: Brief) -> Brief:
    """The brief with a DPC shot where each stretch of paving against a wall begins and ends, and two where the DPC steps."""
    walls = []
    for number, wall in enumerate(brief.walls):
        name = _prefix("D" if len(brief.walls) == 1 else f"D{chr(65 + number)}", brief)
        ends = brief.stations(Wall(wall.name, wall.first, wall.second, dpc=wall.shots[0][1]))
        steps = [one for one, after in pairwise(wall.shots) if one[0] == after[0]]
        stepped = {along for along, _ in steps}
        shots = sorted([*((along, wall.dpc_at(along)) for along in ends if along not in stepped),
                        *(shot for shot in wall.shots if shot[0] in stepped)], key=lambda shot: shot[0])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            walls.append(Wall(wall.name, wall.first, wall.second, dpc=shots,
                              points=[f"{name}{place}" for place in range(1, len(shots) + 1)]))
    return replace(brief, walls=tuple(walls))


def _prefix(letters: str, brief: Brief) -> str:
    """Letters with which no name of a point of the demands begins, to number other points by, or to call one."""
    taken = [spot.point for demand in brief.demands if isinstance(demand, AtSpots) for spot in demand.spots]
    while any(name.startswith(letters) and (name[len(letters):] or "0").isdigit() for name in taken):
        letters += "P"
    return letters


def _named_points(brief: Brief) -> list[Named]:
    """The points that demands hang on, in the order of a walk: along the walls, then those of each demand."""
    found: dict[str, Named] = {}
    for wall in brief.walls:
        for (along, _), point in zip(wall.shots, wall.points, strict=True):
            found[point] = (point, "dpc", wall.name, *wall.place(along))
    for demand in brief.every_demand:
        if isinstance(demand, AtSpots):
            feature = next((name for kind, name in _FEATURES if isinstance(demand, kind)), "edge")
            for spot in demand.spots:
                known = found.setdefault(spot.point, (spot.point, feature, "", spot.x, spot.y))
                if known[3:] != (spot.x, spot.y):
                    raise SurveyError(f"the name {spot.point!r} stands at {word_place(*known[3:])} and at "
                                      f"{word_place(spot.x, spot.y)}", remedy="Give each place a name of its own.")
    return list(found.values())


def _ground_points(brief: Brief, room: int) -> list[Named]:
    """The corners of the area and a grid inside it, as many as there is room for, the corners first."""
    corners = [(float(x), float(y)) for x, y in brief.area.exterior.coords[:-1]]
    corners = corners[::-(-len(corners) // max(room // 2, 1))]  # of a rounded outline, some all the way round
    corner, spot = _prefix("C", brief), _prefix("S", brief)
    found = [(f"{corner}{number}", "corner", "", x, y) for number, (x, y) in enumerate(corners, start=1)][:max(room, 0)]
    left = room - len(found)
    x_min, y_min, x_max, y_max = brief.area.bounds
    inside = brief.area.buffer(-OFF_EDGE)
    for step in np.sqrt(brief.area.area / max(left, 1)) * np.array([1.0, 1.15, 1.3, 1.5, 1.75, 2.0, 2.5, 3.0]):
        across, down = (max(int(reach / step), 1) for reach in (x_max - x_min, y_max - y_min))
        grid = [(x, y) for y in (y_min + (y_max - y_min) * (row + 0.5) / down for row in range(down))
                for x in (x_min + (x_max - x_min) * (column + 0.5) / across for column in range(across))
                if inside.covers(shapely.Point(x, y))]
        if len(grid) <= left:
            return [*found, *((f"{spot}{number}", "ground", "", whole_cm(x), whole_cm(y))
                              for number, (x, y) in enumerate(grid, start=1))]
    return found


def _in_order(named: Sequence[Named], ground: Sequence[Named], times: dict[str, int], mark: str,
              benchmark: Sequence[float] | None) -> list[Shot]:
    """The readings of one set-up: the benchmark, the ground, the walls and the rest, second readings in rounds, the benchmark."""
    x, y = (None, None) if benchmark is None else benchmark
    rounds = [point for count in range(1, MOST_TIMES + 1) for point in named if times[point[0]] >= count]
    each = [Shot(number, point, "is", feature, wall, x_, y_)
            for number, (point, feature, wall, x_, y_) in enumerate([*ground, *rounds], start=2)]
    return [Shot(1, mark, "bs", "benchmark", "", x, y), *each, Shot(len(each) + 2, mark, "fs", "benchmark", "", x, y)]


def _read(budget: ErrorBudget, named: Sequence[Named], ground: Sequence[Named], times: dict[str, int], mark: str,
          benchmark: Sequence[float] | None) -> LevelErrors:
    """What the budget does to a book of those readings; all its levels are nought."""
    rows = [Row(shot.number, shot.point, 1.0 if shot.column == "bs" else None, 1.0 if shot.column == "is" else None,
                1.0 if shot.column == "fs" else None, shot.x, shot.y, 0.0 if shot.column == "bs" else None, feature=shot.feature)
            for shot in _in_order(named, ground, times, mark, benchmark)]
    return budget.errors(reduce_book(LevelBook(tuple(rows))))


def _judged(brief: Brief, errors: LevelErrors) -> SurfaceVerdicts:
    """The demands held against a plane that falls as they would have it; only its uncertainties count."""
    fall = next((one.target or one.least for one in brief.demands if isinstance(one, FallAway)), 1 / 60)
    x, y = brief.outward(brief.walls[0]) if brief.walls else (0.0, 1.0)
    return check_finish(Finish.plane(Plane(0.0, -fall * x, -fall * y), brief.area), brief, budget=errors)


def _floor(verdicts: SurfaceVerdicts, row: int) -> float:
    """What the give or take at a place would be after a perfect survey, m or m/m."""
    sure = verdicts.certainty
    assert sure is not None
    return float(verdicts.everywhere[row].k * np.sqrt(sure.effect[row, sure.survey:]**2 @ sure.inputs.total[sure.survey:]))


def _provable(verdicts: SurfaceVerdicts, margin: float, fall_margin: float) -> tuple[bool, ...]:
    """Whether k·u leaves room inside the margins, and inside both limits where there are two, at every place of a demand."""
    def enough(one: Finding) -> bool:
        return one.give <= (margin if one.demand.unit == "mm" else fall_margin) and not one.beyond
    return tuple(all(enough(verdicts.everywhere[row]) for row in verdicts.places_of(number))
                 for number in range(len(verdicts.worst)))
