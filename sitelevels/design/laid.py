"""Does what was laid do what was asked? A second level book held against the design and against every demand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from itertools import pairwise

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.plane import Floats, PlaneFit, fit_plane, frozen
from ..survey.reduction import ReducedLevels
from ..wording import html_table, word_fall, word_level, word_mm, word_place
from .asked import asked_of
from .brief import Brief
from .budget import ErrorBudget
from .certainty import Certainty, fall_way, mostly, nothing_read, with_missing
from .check import concluded
from .conditions import Condition
from .laid_book import LaidSpots, laid_spots
from .propagation import LEAST, LevelErrors, inputs_of, unevenness
from .verdicts import Finding, Verdicts

ON_FOLD = 0.02  # m: a spot no farther than this from a facet lies on it, so that one on a fold lies on both sides of it
NEAR = 0.003  # m: a spot no farther off the design than this is not told to be read again (common practice, no source)
Asked = tuple[int, Condition, int]  # number of the demand, what it asks, number of the facet


@dataclass(frozen=True, eq=False)
class Part:
    """The laid spots of one facet, triangulated, and the plane through them.

    `uneven` is by how much (m, standard deviation) the surface lies off that plane beyond what errors of the readings leave,
    `seen` the variance (m²) that they alone would leave; `odd` names spots that lie farther off than chance allows.
    """

    ground: Ground
    fit: PlaneFit
    uneven: float
    seen: float
    odd: tuple[str, ...] = ()

    def freedom(self, dx: float, dy: float) -> float:
        """Effective degrees of freedom of the uncertainty of its fall that way, as in `Certainty.freedom`."""
        share = (dx * self.fit.weights[1] + dy * self.fit.weights[2]) / math.hypot(dx, dy)
        told = float(share @ share) * (self.uneven**2 + self.seen)
        return (len(self.fit.x) - 3) * self.fit.fall_sd(dx, dy)**4 / told**2 if told else math.inf


@dataclass(frozen=True, eq=False, kw_only=True)
class Laid(Verdicts):
    """Verdicts on a surface that was laid. Made by `check_laid`.

    `design` and `brief` are what was to be laid; `spots` the table point x y facet level design deviation (m, positive where it
    lies too high) of what was read; `built` the planes that fit it and `parts` their spots, facet by facet; `errors` those that
    are counted of the book, `marks` of the survey that the marks come from; `leans` (k, n) says by how much each number in
    `everywhere` changes with the level of each spot; `doubts` say what is questionable.
    """

    design: Finish
    brief: Brief
    reduced: ReducedLevels
    found: LaidSpots
    spots: pd.DataFrame
    built: Finish
    parts: tuple[Part, ...]
    leans: Floats
    errors: LevelErrors | None = None
    marks: LevelErrors | None = None
    doubts: tuple[str, ...] = ()

    @cached_property
    def ground(self) -> Ground:
        """All spots triangulated, with breaks between spots that stand one after the other along a fold."""
        return ground_of(self.built, self.spots)

    @property
    def covariance(self) -> Floats | None:
        """Covariance of the levels of the spots of `ground` (n, n), m²; None where errors are not counted."""
        if self.errors is None:
            return None
        rows = [self.errors.where[point] for point in self.ground.points or ()]
        return np.asarray(self.errors.covariance[np.ix_(rows, rows)])

    @property
    def falls(self) -> pd.DataFrame:
        """A new table, a row a facet and direction: facet direction spots design laid u (m/m) freedom.

        `u` and the degrees of freedom that it rests on are empty where errors are not counted.
        """
        lines = []
        for number, (part, facet) in enumerate(zip(self.parts, self.design.facets, strict=True), start=1):
            fit = part.fit
            for way, (dx, dy) in self._ways(facet).items():
                u = None if self.errors is None else fit.fall_sd(dx, dy)
                lines.append((number, way, len(fit.x), facet.plane.fall_towards(dx, dy), fit.plane.fall_towards(dx, dy), u,
                              None if u is None else part.freedom(dx, dy)))
        return pd.DataFrame(lines, columns=["facet", "direction", "spots", "design", "laid", "u", "freedom"])

    def _ways(self, facet: Facet) -> dict[str, tuple[float, float]]:
        if facet.towards is not None:
            return {"to its drain": facet.towards, **({"along the channel": facet.along} if facet.along else {})}
        if self.brief.walls:
            wall = self.brief.walls[0]
            return {f"away from the {wall.name}": self.brief.outward(wall), f"along the {wall.name}": wall.direction}
        if not facet.plane.fall:
            return {"along x": (1.0, 0.0), "along y": (0.0, 1.0)}
        return {"the steepest way of the design": facet.plane.direction}

    @property
    def falls_words(self) -> pd.DataFrame:
        """`falls` for reading, with how far out each may be 19 times of 20."""
        table = self.falls
        table["design"], table["laid"] = table["design"].map(word_fall), table["laid"].map(word_fall)
        sure = zip(table.pop("u").astype(float), table.pop("freedom").astype(float), strict=True)
        table["19 of 20 times within"] = ["" if math.isnan(u) else f"{word_mm(mostly(freedom) * u, digits=1)}/m"
                                          for u, freedom in sure]
        return table.rename(columns={"facet": "part"})

    @property
    def spots_words(self) -> pd.DataFrame:
        """The spots for reading, the farthest off the design first."""
        return spots_in_words(self.spots)

    def sentence(self) -> str:
        """How the laid surface lies about the design, in words."""
        off = self.spots["deviation"].to_numpy()
        far = int(np.abs(off).argmax())
        mean, most = (_off(by, "above the design", "below the design") for by in (float(off.mean()), float(off[far])))
        return (f"{len(off)} spots: on the mean they lie {mean}; the farthest is {self.spots['point'].iloc[far]}, {most}. "
                + (f"{self.counted}." if self.counted else "Every demand is met."))

    def __repr__(self) -> str:
        return f"Laid: {self.sentence()}"

    def _repr_html_(self) -> str:
        doubts = "".join(f"<p>{escape(doubt)}</p>" for doubt in self.doubts)
        return f"<p>{escape(self.sentence())}</p>{doubts}{html_table(self.falls_words, words=True)}{self.html()}"


def ground_of(finish: Finish, spots: pd.DataFrame) -> Ground:
    """Spots of `LaidSpots.table` triangulated, with breaks between those that stand one after the other along a fold; m."""
    return Ground(spots["x"], spots["y"], spots["level"], points=spots["point"], breaks=_folds(finish, spots))


def spots_in_words(spots: pd.DataFrame) -> pd.DataFrame:
    """Spots of `LaidSpots.table` for reading, the farthest off the design first."""
    table = spots.loc[spots["deviation"].abs().sort_values(ascending=False, kind="stable").index]
    return pd.DataFrame({"point": table["point"], "laid": table["level"].map(word_level),
                         "design": table["design"].map(word_level),
                         "off the design": [_off(by, "high", "low") for by in table["deviation"]]})


def _off(by: float, up: str, down: str) -> str:
    """How far off the design, in words."""
    said = word_mm(abs(by), digits=1)
    return "on the design" if said == word_mm(0.0, digits=1) else f"{said} {up if by > 0 else down}"


def check_laid(reduced: ReducedLevels, finish: Finish, brief: Brief, *, budget: ErrorBudget | LevelErrors | None = None,
               survey: ReducedLevels | LevelErrors | None = None) -> Laid:
    """Hold a surface that was laid, as a second level book has it, against its design and every demand.

    Parameters
    ----------
    reduced : ReducedLevels
        The book of what was laid: spots of the paving with x and y, from the same datum as the first survey. Marks of the first
        survey (DPC, sill) that are read again show whether the datum is the same.
    finish : Finish
        The design.
    brief : Brief
    budget : LevelErrors or ErrorBudget, optional
        The errors to count, of this book (`ErrorBudget.errors(reduced)`), or a budget to work them out from. Without it a
        verdict goes by the margin.
    survey : LevelErrors or ReducedLevels, optional
        The first survey, that the marks of the brief come from: shows points that stand elsewhere, a book of the old ground, and
        another datum; with its errors the marks are as sure as they were read. A mark that was read again counts as it was now.

    Returns
    -------
    Laid
        A level is judged between the spots round its place, a fall by the plane through the spots of its facet. What the surface
        may do between spots is counted as its unevenness, by a variogram that rises in proportion to distance up to the usual
        distance of spots (a textbook model of geostatistics, here by common practice).

    Raises
    ------
    SurveyError
        The book is another one: points that do not match, another datum, spots off the area (each is named); a facet with fewer
        than three spots, or four where errors are counted.

    >>> import sitelevels as sl
    >>> area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    >>> brief = sl.Brief(area, walls=[sl.Wall("wall", (0, 0), (4, 0), dpc=10.0)], demands=[sl.FallAway("wall", 1 / 80)])
    >>> book = sl.read_book("point,bs,is,rl,x,y\\nBM,1.0,,10.0,,\\nA,,1.150,,0,0\\nB,,1.152,,4,0\\nC,,1.200,,4,3\\nD,,1.199,,0,3")
    >>> laid = check_laid(sl.reduce_book(book), sl.Finish.plane(sl.Plane(9.85, 0, -1 / 60), area), brief)
    >>> laid.words.loc[0, ["found", "verdict"]].tolist()
    ['1:61.9 (16.2 mm/m)', 'met']
    """
    must_be(reduced, ReducedLevels, "the levels of what was laid")
    must_be(finish, Finish, "the design")
    must_be(brief, Brief, "the brief")
    must_be(budget, (ErrorBudget, LevelErrors, type(None)), "the budget")
    must_be(survey, (ReducedLevels, LevelErrors, type(None)), "the first survey")
    errors = budget if not isinstance(budget, ErrorBudget) else replace(
        budget, placing_ground=budget.placing_hard).errors(reduced)  # new paving is no worn ground
    if errors is not None and errors.reduced is not reduced:
        raise SurveyError("the errors are those of another book", remedy="Give budget.errors(reduced) of the laid book.")
    first = survey.reduced if isinstance(survey, LevelErrors) else survey
    found = laid_spots(reduced, finish, brief, first)
    terms = budget.budget if isinstance(budget, LevelErrors) else budget
    marks = survey if isinstance(survey, LevelErrors) else None if terms is None else \
        nothing_read(terms) if survey is None else terms.errors(survey)
    return judged(found, found.table["level"].to_numpy(), finish, brief, reduced, errors, marks if errors is not None else None)


def judged(found: LaidSpots, levels: Floats, finish: Finish, brief: Brief, reduced: ReducedLevels, errors: LevelErrors | None,
           marks: LevelErrors | None) -> Laid:
    """Verdicts on spots at such levels (m): those that were read, or those that they would have once mended."""
    spots = found.table.assign(level=levels, deviation=levels - found.table["design"].to_numpy())
    parts = [_part(number, facet, spots, errors) for number, facet in enumerate(finish.facets, start=1)]
    built = Finish(tuple(Facet(part.fit.plane, facet.area, facet.towards, facet.along)
                         for part, facet in zip(parts, finish.facets, strict=True)))
    demands, on_design = asked_of(finish, brief)
    asked = [(number, condition, finish.facets.index(facet)) for number, condition, facet in on_design]
    weights = [_weights(condition, parts[facet], built.facets[facet]) for _, condition, facet in asked]
    values = [condition.found(built.facets[facet]) if condition.at is None else
              condition.constant + condition.sign * float(share @ parts[facet].fit.observed)
              + sum(of * found.again.get(point, 0.0) for point, of in condition.on)
              for (_, condition, facet), (share, _) in zip(asked, weights, strict=True)]
    findings = [Finding(demands[number], condition, value, condition.margin(value))
                for (number, condition, _), value in zip(asked, values, strict=True)]
    certainty = None if errors is None or marks is None else _certainty(asked, weights, parts, built, errors, marks, found.again)
    return Laid(**concluded(findings, [number for number, _, _ in asked], certainty, errors.budget if errors else None),
                few=True, design=finish, brief=brief, reduced=reduced, found=found, spots=spots, built=built, parts=tuple(parts),
                leans=_leans(asked, weights, parts, spots["point"].tolist()),
                errors=errors, marks=marks, doubts=(*found.doubts, *_odd(parts, spots)))


def _odd(parts: Sequence[Part], spots: pd.DataFrame) -> list[str]:
    """Doubts about spots that stand out: a slip of the staff makes a surface look uneven, and verdicts unsure."""
    off = dict(zip(spots["point"], spots["deviation"], strict=True))
    return [f"{point}: lies {_off(off[point], 'above the design', 'below the design')}, farther off the rest than chance allows. "
            "Read it again before you lift anything: are two figures changed about?" for part in parts for point in part.odd
            if abs(off[point]) >= NEAR]


def _leans(asked: Sequence[Asked], weights: Sequence[tuple[Floats, float]], parts: Sequence[Part],
           points: list[str]) -> Floats:
    """By how much each number changes with the level of each spot (k, n)."""
    found = np.zeros((len(asked), len(points)))
    for row, ((_, condition, facet), (share, _)) in enumerate(zip(asked, weights, strict=True)):
        columns = [points.index(point) for point in parts[facet].fit.points or ()]
        found[row, columns] = share * (1.0 if condition.at is None else condition.sign)
    return frozen(found)


def _part(number: int, facet: Facet, spots: pd.DataFrame, errors: LevelErrors | None) -> Part:
    """The laid spots of a facet and the plane through them; as sure as the readings are, where errors are counted."""
    off = shapely.distance(facet.area, shapely.points(spots[["x", "y"]].to_numpy()))
    mine = spots[(off <= ON_FOLD) | (spots["facet"].to_numpy() == number - 1)]
    least = 3 if errors is None else 4
    corners = [word_place(*place) for place in facet.area.exterior.coords[:-1]]
    about = f"the part of the surface between {', '.join(corners[:-1])} and {corners[-1]}"
    if len(mine) < least:
        raise SurveyError(f"{about} has {len(mine)} laid spot{'s' * (len(mine) != 1)}",
                          where="laid book", remedy="Read more spots there.",
                          rule=f"Each flat part needs {least} that are not in a line: three fit any plane, and say nothing of "
                          "how uneven it is.")
    points = mine["point"].tolist()
    try:
        ground = Ground(mine["x"], mine["y"], mine["level"], points=points)
    except SurveyError as error:
        raise error.at(f"laid book, {about}") from None
    plain = fit_plane(mine["x"], mine["y"], mine["level"], points=points)
    odd = _outstanding(plain, mine["deviation"].to_numpy())
    if errors is None:
        return Part(ground, plain, plain.sd or 0.0, 0.0, odd)
    rows = [errors.where[point] for point in points]
    measured = errors.covariance[np.ix_(rows, rows)] + (errors.budget.tape * plain.plane.fall)**2 * np.eye(len(rows))
    known = errors.budget.k * np.sqrt(np.diag(measured))  # what the readings leave is no slip
    odd = tuple(point for point in odd if abs(plain.residuals[points.index(point)]) > known[points.index(point)])
    own, seen = unevenness(plain, measured)
    whole = measured + (own + LEAST**2) * np.eye(len(rows))
    fit = fit_plane(mine["x"], mine["y"], mine["level"], covariance=whole, points=points)
    return Part(ground, fit, math.sqrt(own), seen, odd)


def _outstanding(fit: PlaneFit, off: Floats) -> tuple[str, ...]:
    """Spots farther from the plane than chance allows; where it is several, the one that is most `off` (m) the design with them.

    The others are named only if they stand out without it as well: one slip drags the plane away from spots that are right.
    """
    named, suspects = list(fit.points or ()), list(fit.suspects["point"])
    if len(suspects) < 2:
        return tuple(suspects)
    astray = np.abs(off - np.median(off))
    worst = max(suspects, key=lambda point: astray[named.index(point)])
    keep = np.array([point != worst for point in named])
    again = fit_plane(fit.x[keep], fit.y[keep], fit.observed[keep], points=[point for point in named if point != worst]).suspects
    return (worst, *(point for point in suspects if point in set(again["point"])))


def _weights(condition: Condition, part: Part, facet: Facet) -> tuple[Floats, float]:
    """What each spot of a facet adds to a number, and the variance of the surface at its place beside what its spots show.

    The variance is in units of that of the unevenness.
    """
    fit, ground = part.fit, part.ground
    if condition.at is None:
        dx, dy = fall_way(condition, facet)
        return np.asarray(-(dx * fit.weights[1] + dy * fit.weights[2])), 0.0
    x, y = condition.at
    corners, shares, (near_x, near_y) = ground.shares_at(x, y)
    weights = (x - near_x) * fit.weights[1] + (y - near_y) * fit.weights[2]  # carried on by the fall of the facet
    named = fit.points or ()
    weights[[named.index(ground.points[corner]) for corner in corners if ground.points]] += shares
    places = np.column_stack([ground.x, ground.y])[corners]
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    far = np.hypot(*(places - (x, y)).T)
    rising, between = (np.minimum(distance / ground.spacing, 1.0) for distance in (far, apart))
    return weights, max(2 * float(shares @ rising) - float(shares @ between @ shares), 0.0)


def _certainty(asked: Sequence[Asked], weights: Sequence[tuple[Floats, float]], parts: Sequence[Part], built: Finish,
               errors: LevelErrors, marks: LevelErrors, again: Mapping[str, float]) -> Certainty:
    """How sure the numbers are: the laid book, the survey of the marks, and what the surface does between its spots."""
    marks = with_missing(marks, [(condition, built.facets[facet]) for _, condition, facet in asked])
    lines: list[tuple[str, dict[str, float]]] = []
    starts: list[int] = []
    for part in parts:
        starts.append(len(lines))
        taped = errors.budget.tape * part.fit.plane.fall
        lines += [(f"the surface at {point}", {"unevenness": part.uneven, "tape": taped}) for point in part.fit.points or ()]
    first = len(lines)
    lines += [(f"the surface at {condition.place}", {"unevenness": parts[facet].uneven * math.sqrt(between),
                                                     "tape": errors.budget.tape * parts[facet].fit.plane.fall
                                                     * math.sqrt(1 + float(share @ share))})  # of the place and of its spots
              for (_, condition, facet), (share, between) in zip(asked, weights, strict=True)]
    effect, own = np.zeros((len(asked), errors.effect.shape[1])), np.zeros((len(asked), len(lines)))
    hangs, scatter, spare = np.zeros((len(asked), len(marks.points))), np.zeros(len(asked)), np.ones(len(asked))
    for row, ((_, condition, facet), (share, between)) in enumerate(zip(asked, weights, strict=True)):
        part = parts[facet]
        level = condition.at is not None
        effect[row] = (condition.sign if level else 1.0) * share @ errors.effect[[errors.where[point]
                                                                                 for point in part.fit.points or ()]]
        for point, of in condition.on:
            if point in again:
                effect[row] += of * errors.effect[errors.where[point]]
            else:
                hangs[row, marks.where[point]] += of
        spare[row] = max(len(part.fit.x) - 3, 1)
        if level:
            own[row, first + row], told = 1.0, between
        else:
            own[row, starts[facet]:starts[facet] + len(share)], told = share, float(share @ share)
        scatter[row] = told * (part.uneven**2 + part.seen)
    inputs = errors.inputs.joined(marks.inputs).joined(inputs_of(lines))
    return Certainty(np.concatenate([effect, hangs @ marks.effect, own], axis=1), inputs,
                     len(errors.inputs.names) + len(marks.inputs.names), scatter, spare)


def _folds(finish: Finish, spots: pd.DataFrame) -> list[tuple[str, str]]:
    """Pairs of spots that stand one after the other along the line where two facets meet."""
    found = []
    places = spots[["x", "y"]].to_numpy()
    for number, one in enumerate(finish.facets):
        for other in finish.facets[:number]:
            line = shapely.intersection(one.area.buffer(ON_FOLD / 10), other.area.buffer(ON_FOLD / 10))
            if line.is_empty or line.length < 8 * ON_FOLD:  # round a strip, so twice as long as the fold
                continue
            on = np.flatnonzero(shapely.distance(line, shapely.points(places)) <= ON_FOLD)
            if len(on) < 2:
                continue
            spread = places[on] - places[on].mean(axis=0)
            along = spread @ np.linalg.svd(spread, full_matrices=False)[2][0]
            order = on[np.argsort(along)]
            found += [(str(spots["point"].iloc[a]), str(spots["point"].iloc[b])) for a, b in pairwise(order)]
    return found
