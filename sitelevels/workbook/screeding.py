"""A screed on a base: what the part [screed] of a job asks for, worked out on the base as it was read."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd
import shapely

from ..design.asked import ROUNDING, corners_of
from ..design.conditions import AtSpots
from ..design.demands import Meet, Step, Thickness
from ..design.edges import KEPT_NEAR, Edge
from ..design.finish_file import floor_written
from ..design.flatness import Flatness, flatness
from ..design.parts import Reader, named
from ..design.propagation import LevelErrors
from ..design.verdicts import Verdicts
from ..design.workmanship import FLOOR_FALLS, PADS, SCREEDS
from ..errors import SurveyError
from ..surface.finish import Finish
from ..surface.shapes import Outlet
from ..wording import (
    true_minus,
    whole_cm,
    whole_mm,
    whole_up,
    word_distance,
    word_fall,
    word_level,
    word_mm,
    word_number,
    word_place,
)
from ..works.datum import Departure, departure_from_datum
from ..works.lift import spot_at
from ..works.pegs import pegs_at
from ..works.screed import Screed, base_to_screed
from .water import Worked

if TYPE_CHECKING:
    from .job import Job

PART = "screed"
SPARE = 0.15  # of the space from pad to pad: one that stands nearer than this to another is not needed
DOOR = 2.0  # m: places to be met that stand farther apart than a door is wide belong to two doors
SAME = 5e-4  # m: two levels of one line
ONE = 1e-3  # m: two floors no farther apart than this are one
SPOT_OFF = 0.05  # m: a pad that stands no farther from the edge of a part is on it
FLUSH = 0.003  # m: a rim farther from the floor than this is set anew (common practice, no source)
FAR = 6.0  # m: nobody measures down from a line that lies farther from the base


class WaysOut(NamedTuple):
    """Where water leaves a room: outlets, stretches of its sides, and both in a sentence."""

    outlets: list[tuple[float, float]]
    free: list[Edge]
    words: str


@dataclass(frozen=True, eq=False)
class Screeding(Worked):
    """What a job's base comes to under a screed. Any attribute may raise SurveyError."""

    PARTS = ("found", "line", "pads", "departure")

    @property
    def there(self) -> bool:
        """Whether the job asks for a screed."""
        return bool(self.job.told.get(PART))

    @cached_property
    def found(self) -> Screed:
        """The lowest floor that keeps the least thickness everywhere."""
        if not self.there:
            raise SurveyError("the job asks for no screed", where=f"brief.toml, [{PART}]",
                              remedy="Fill in the kind of screed and where it falls to, in notebook 7-screed.")
        job, ground, brief = self.job, self.job.ground, self.job.brief  # what is wrong in them is no fault of this part

        def read(reader: Reader) -> Screed:
            told, to = reader.entry, None
            if (on_top := reader.maybe("on_top_mm", 0.001)) and not any(isinstance(one, Meet) for one in brief.demands):
                self._doubts[f"{word_mm(on_top)} of tile and bed is told (on_top_mm) and no floor is to be met: it changes no "
                             "level. Where there is one at a door, add a demand of the kind meet to brief.toml."] = None
            more: dict[str, Any] = {"mix": tuple(told["mix"])} if told.get("mix") else {}
            leads = "outlet" in told or "edge" in told
            if leads != ("fall" in told):
                rule = "A floor with a fall has an outlet or a side to fall to, and a fall; a level one has neither."
                if leads:
                    raise SurveyError("where the floor falls to is told, and not how steeply", rule=rule,
                                      remedy="Fill in the fall of the flattest part, or empty outlet and side.")
                raise SurveyError("how steeply the floor falls is told, and not where to", rule=rule,
                                  remedy="Fill in an outlet or a side, or empty the fall and the steepest that may be.")
            if "outlet" in told:
                to = Outlet(reader.place("outlet", job.reduced.spots()))
            if "edge" in told:
                if to is not None:
                    raise SurveyError("both an outlet and an edge are named", rule="The floor falls to the one or to the other.")
                to = self._ends(told["edge"])
            found = base_to_screed(ground, brief, kind=told.get("kind", "bonded"), least=reader.maybe("least_mm", 0.001),
                                   most=reader.maybe("most_mm", 0.001), to=to,
                                   fall=reader.fall("fall") if "fall" in told else 0.0,
                                   steepest=reader.fall("steepest") if "steepest" in told else None,
                                   higher=reader.maybe("higher_mm", 0.001) or 0.0, **more)
            self._doubts.update(dict.fromkeys(_rims(job, found.finish, on_top or 0.0)))
            return found

        return self._read(PART, read)

    def _ends(self, edge: Any) -> Any:
        """Two places from the names of points, or from pairs x, y."""
        if isinstance(edge, list) and len(edge) == 2:
            return tuple((spot.x, spot.y) for spot in named(edge, self.job.reduced.spots())) if all(
                isinstance(one, str) for one in edge) else tuple(tuple(one) for one in edge if isinstance(one, list))
        told = ", ".join(map(str, edge)) if isinstance(edge, list) else str(edge)
        raise SurveyError(f"the side that the floor falls to is given as {told}",
                          rule="It is named by the two points at its ends, e.g. C1, C2.")

    @property
    def ways_out(self) -> WaysOut:
        """The outlet or the side that the floor falls to, gullies, sides marked free, and doors: where a floor is met, or a step.

        A door reaches from place to place that was read there.
        """
        to, brief, free, doors = self.found.to, self.found.brief, [], []
        outlets = list(dict.fromkeys([*([to.point] if isinstance(to, Outlet) else []), *gullies_on(self.job)]))
        told = [f"by the {'outlet' if isinstance(to, Outlet) and place == to.point else 'gully'} at {word_place(*place)}"
                for place in outlets]
        if to is not None and not isinstance(to, Outlet):
            free.append(to)
            told.append(f"over the side from {word_place(*to[0])} to {word_place(*to[1])}")
        free += brief.free
        told += [f"over the side from {word_place(*one)} to {word_place(*two)}" for one, two in brief.free]
        for side in map(shapely.LineString, pairwise(brief.area.exterior.coords)):
            for demand in brief.demands:
                spots = [(side.project(place), spot.point) for spot in demand.spots
                         if side.distance(place := shapely.Point(spot.x, spot.y)) <= KEPT_NEAR
                         ] if isinstance(demand, (Meet, Step)) else []
                spots.sort()
                doors += [point for _, point in spots]
                along = [at for at, _ in spots]
                for one, two in [*zip(along, along, strict=True), *pairwise(along)]:
                    if two - one <= DOOR:
                        ends = shapely.get_coordinates(side.interpolate([max(one - KEPT_NEAR, 0.0), two + KEPT_NEAR])).tolist()
                        free.append((tuple(ends[0]), tuple(ends[1])))
        told += [f"over the door at {', '.join(sorted(set(doors)))}"] if doors else []
        return WaysOut(outlets, free, f"The sides of the room keep water in: it leaves {', '.join(told)}, and nowhere else."
                       if told else "The sides of the room keep water in, and nothing lets it out.")

    @property
    def as_finish(self) -> dict[str, str]:
        """What [finish] holds for this floor. Raises SurveyError for one that does not fit."""
        found = self.found
        if not found.fits:
            raise SurveyError("this floor does not fit", rule="A finish is what you mean to lay.",
                              remedy="Mend what is told below first: the base, the fall, the kind of screed or a limit.")
        return floor_written(found.finish, found.brief, found.to, found.fall)

    @property
    def moved(self) -> str:
        """How far this floor lies from the finish that is saved, in a sentence; empty where it is that, or none is."""
        try:
            saved, now = self.job.finish, self.found.finish
            apart = [(float(now.level_at(x, y) - saved.level_at(x, y)), word_place(x, y))
                     for x, y in (*corners_of(now), *corners_of(saved))]
        except SurveyError:
            return ""
        by, where = max(apart, key=lambda one: abs(one[0]))
        return "" if abs(by) < ONE else (f"The floor that 7-screed finds now lies {word_mm(abs(by), digits=1)} "
                                         f"{'above' if by > 0 else 'below'} the finish that is saved, at {where}: save it as the "
                                         "finish if it is the one that was poured.")

    @cached_property
    def line(self) -> float:
        """Level in m of the line that is measured down from: line_m, or that of the point marked as line."""
        told = self.job.told.get(PART, {})
        lines = [row.rl for row in self.job.book.rows if row.feature == "line" and row.rl is not None]
        if "line_m" in told:
            line = self._read(PART, lambda reader: reader.number("line_m"))
            if lines and all(abs(line - booked) > SAME for booked in lines):
                apart = word_mm(abs(line - lines[0]), digits=1)
                self._doubts[f"The line lies at {word_level(line)} by the form (line_m), and at {word_level(lines[0])} by the "
                             f"book, {apart} apart: pads are measured down from the one, and the base was from the other. "
                             "Make them the same unless there are two lines."] = None
            return line
        if not lines:
            raise SurveyError("no line to measure down from is told", where=f"brief.toml, [{PART}]",
                              remedy="Give line_m, its level in m, or mark it in the book with the feature line.")
        return lines[0]

    @cached_property
    def pads(self) -> pd.DataFrame:
        """Pads with what to measure down to the base and to the screed: point x y base_reading screed_reading thickness, m."""
        job, to = self.job, self.found.to
        spaced = self._read(PART, lambda reader: reader.maybe("pads_m"))
        spaced = PADS.range.likely if spaced is None else spaced
        away = abs(self.line - float(self.found.base.level.mean()))
        if away > FAR:
            raise SurveyError(f"the line lies {word_distance(away)} from the base", where=f"brief.toml, [{PART}]",
                              rule="Nobody measures down so far.",
                              remedy="line_m is the level of the line in m, 1.0 for a line 1.000 m above finished floor.")
        corners = {tuple(place) for place in job.brief.area.exterior.coords[:-1]}
        own = [("outlet", *to.point)] if isinstance(to, Outlet) else []
        own += [(point, x, y) for point, x, y, _ in self.found.base.table.itertuples(index=False, name=None) if (x, y) in corners]
        apart = (1 - SPARE) * spaced  # so that none is missed where one that stands beside another is left out
        places = self._read(PART, lambda _: pegs_at(job.brief, edges=apart, grid=apart, points=own))
        kept: list[tuple[str, float, float]] = []
        named = {name for name, *_ in own}
        for point, x, y in places.itertuples(index=False, name=None):
            if point.startswith("g") and point not in named and (  # of the grid, where the side has pads of its own
                    job.brief.area.boundary.distance(shapely.Point(x, y)) < SPARE * spaced):
                continue
            if point in named or all(math.dist((x, y), one[1:]) > SPARE * spaced for one in kept):
                kept.append((point if point in named else f"pad {len(kept) + 1 - len(named)}", x, y))
        for facet in self.found.finish.facets:  # each part with a spot off its edges, so that it can be judged once it is laid
            inner = facet.area.buffer(0.0 - SPOT_OFF)
            if not inner.is_empty and not any(inner.covers(shapely.Point(x, y)) for _, x, y in kept):
                middle = shapely.maximum_inscribed_circle(inner).centroid
                kept.append((f"pad {len(kept) + 1 - len(named)}", whole_cm(middle.x), whole_cm(middle.y)))
        return self.found.pads(kept, self.line)

    @property
    def pads_words(self) -> pd.DataFrame:
        """The same for reading, in whole mm; where nobody read the base, it is taken from the spots about the pad."""
        table, base = self.pads, self.found.base
        to_base, to_screed = ([None if value != value else whole_mm(value) for value in table[name]]
                              for name in ("base_reading", "screed_reading"))
        return pd.DataFrame({
            "pad": table["point"], "place": [word_place(x, y) for x, y in zip(table["x"], table["y"], strict=True)],
            "down to the base": ["" if one is None else word_mm(one) + ("" if spot_at(base, x, y) else ", not read")
                                 for one, x, y in zip(to_base, table["x"], table["y"], strict=True)],
            "down to the screed": [word_mm(one or 0.0) for one in to_screed],
            "thick": ["" if one is None else word_mm(one - (two or 0.0)) for one, two in zip(to_base, to_screed, strict=True)]})

    @cached_property
    def errors(self) -> LevelErrors:
        """What the budget does to the levels: the staff stands on a hard base, not on worn ground."""
        budget = self.job.budget
        return replace(budget, placing_ground=budget.placing_hard).errors(self.job.reduced)

    @property
    def verdicts(self) -> Verdicts:
        """The floor held against the brief, errors counted."""
        return self.found.verdicts(self.errors)

    @property
    def higher_words(self) -> str:
        """How much higher the floor would have to lie for the thickness to be met, and whether it may, in a sentence.

        Empty where it is met, or nothing fits.
        """
        found = self.found
        short = max(((one.condition.low or 0.0) + one.give - one.found for one in self.verdicts.everywhere
                     if isinstance(one.demand, Thickness)), default=0.0)
        if not found.fits or short <= ROUNDING:
            return ""
        (left, why), more = found.room, whole_up((found.higher + short) * 1000)
        if more / 1000 - found.higher <= left + ROUNDING:
            return (f"Lay the floor {more} mm higher than need be (*Lay it higher by, mm*): the thickness is then met, errors "
                    f"counted. {why}")
        return (f"For the thickness to be met, errors counted, the floor would have to lie {more} mm higher than need be, and it "
                f"may not: {why} Take the rest off the base where it holds the floor up, or measure again, more finely.")

    @cached_property
    def departure(self) -> Departure:
        """How far the base as it is departs from its mean level, as a plain floor."""
        return departure_from_datum(self.job.ground, errors=self.errors)

    @cached_property
    def flatness(self) -> Flatness:
        """Straightedges over the base as it is."""
        errors = self.errors
        rows = [errors.where[point] for point in self.job.ground.points or ()]
        return flatness(self.job.ground, within=self.job.brief.area, covariance=errors.covariance[rows][:, rows],
                        sure=self.job.budget.sure)

    @property
    def by_hand(self) -> tuple[str, ...]:
        """The governing spot, the fixed floor and one pad as the sums that one would do on paper."""
        found, line = self.found, self.line
        thin = found.thinnest
        base = float(found.base.level_at(thin.x, thin.y))
        floor = float(found.finish.level_at(thin.x, thin.y))
        below = found.level - floor
        read = thin.point in set(found.base.table["point"])
        thick = word_mm(floor - base, digits=0 if floor - base < found.least + 1e-6 else 1)
        said = [f"{thin.point}: {word_level(line)} − {word_level(line - base)} "
                f"{'measured down' if read else '(worked out between the spots about it)'} = {word_level(base)} is the base. "
                f"With {thick} of screed the floor there lies at {word_level(base)} + {thick} = {word_level(floor)}, so the line "
                f"less that is what to measure down to: {word_level(line - floor)}."]
        if found.higher:
            said.append(f"The floor is laid {word_mm(found.higher, digits=1)} higher than need be.")
        elif floor - base > found.least + 1e-6:
            first = found.limits[found.limits["needs"] == "at least"].iloc[0]
            said.append(f"That is more than the {word_mm(found.least)} asked for: what holds the floor up is "
                        f"{first['demand']}, at {first['place']}.")
        if below > 1e-6:
            said.append(f"The floor has fallen {word_mm(below, digits=1)} by there, so where it is highest it lies at "
                        f"{word_level(floor, digits=4)} + {word_mm(below, digits=1)} = {word_level(found.level, digits=4)}.")
        fixed = [(spot, demand) for demand in self.job.brief.demands if isinstance(demand, AtSpots) for spot in demand.spots]
        for spot, demand in fixed[-1:]:
            there = float(found.finish.level_at(spot.x, spot.y))
            said.append(f"At {spot.point} ({demand.title}) the floor lies at {word_level(there, digits=4)}; {spot.point} lies at "
                        f"{word_level(spot.level, digits=4)}: {word_mm(abs(there - spot.level), digits=1)} "
                        f"{'above' if there > spot.level else 'below'} it.")
        said.append(f"Volume: {word_number(found.area, figures=4)} m² × {word_mm(found.mean, digits=1)} on average = "
                    f"{word_number(found.volume, figures=3)} m³.")
        return tuple(said)

    @staticmethod
    def kinds() -> pd.DataFrame:
        """Kinds of screed with their least thickness and its source, as words."""
        lines = [(kind.name, word_mm(kind.least.value), "" if kind.most is None else word_mm(kind.most.value), kind.least.source)
                 for kind in SCREEDS.values()]
        return pd.DataFrame(lines, columns=["kind", "least", "most", "source"])

    @staticmethod
    def falls() -> pd.DataFrame:
        """Published falls of floors to an outlet, as words."""
        lines = []
        for name, one in FLOOR_FALLS.items():
            low, high = word_fall(one.range.low), word_fall(one.range.high)
            lines.append((name, one.what, low if low == high else f"{low} to {high}", one.source))
        return pd.DataFrame(lines, columns=["floor", "what", "fall", "source"])


def _rims(job: Job, floor: Finish, on_top: float) -> Iterator[str]:
    """Gullies whose rim does not lie in the floor, with `on_top` m of tile and bed on it."""
    for point, x, y, level in job.reduced.spots("gully")[["point", "x", "y", "level"]].itertuples(index=False, name=None):
        if x == x and job.brief.area.distance(shapely.Point(x, y)) < KEPT_NEAR:
            over = float(floor.level_at(x, y)) + on_top - level
            if abs(over) > FLUSH:
                yield (f"The rim of {point} was read at {true_minus(word_level(level))}, {word_mm(abs(over), digits=1)} "
                       f"{'below' if over > 0 else 'above'} the floor there: set it {'higher' if over > 0 else 'lower'} by that, "
                       f"or {'water stands round it' if over > 0 else 'no water runs into it'}.")


def gullies_on(job: Job) -> list[tuple[float, float]]:
    """Places of the gullies of the book that stand on the area or beside it, m."""
    spots = job.reduced.spots("gully")
    return [(float(x), float(y)) for x, y in zip(spots["x"], spots["y"], strict=True)
            if x == x and job.brief.area.distance(shapely.Point(x, y)) < KEPT_NEAR]
