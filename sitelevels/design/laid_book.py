"""Whether a level book is that of the surface that was laid: its spots, its datum, and the marks that both books hold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError
from ..surface.facet import REACH
from ..surface.finish import Finish
from ..surface.plane import Floats
from ..survey.book import GROUND_FEATURES
from ..survey.reduction import ReducedLevels
from ..wording import word_change, word_distance, word_level, word_mm
from .brief import Brief
from .conditions import AtSpots
from .demands import Thickness

SAME = 0.003  # m: a point that was read again lies this near its old level
SHIFTED = 0.010  # m: marks that all lie this far off tell of another datum
DIGIT = 0.0006  # m: what rounding to the millimetre leaves
DOUBTED = 0.005  # m: one that lies this far off is asked about
MOVED = 0.1  # m: a point of one name whose places lie farther apart is another point
UNIT = 20.0  # m: so far off lies what was read in another unit
OTHER = 0.1  # m: no surface is laid this far off its design by mistake: another datum, or another book
NEAR_DESIGN = 0.020  # m: paving that lies farther off its design on the whole than this was hardly laid to it
LEAST_COMMON = 5  # points that both books name, from which on the books are compared
ALIKE = 3.0  # a shift of more than this many times the scatter is common to all spots


@dataclass(frozen=True, eq=False)
class LaidSpots:
    """The spots of a laid surface: `table` point x y facet (number) level design deviation (m), and doubts in sentences.

    `again` holds the marks of the first survey that were read again, with by how much they lie higher now (m).
    """

    table: pd.DataFrame
    again: Mapping[str, float]
    doubts: tuple[str, ...]


def laid_spots(reduced: ReducedLevels, finish: Finish, brief: Brief, survey: ReducedLevels | None) -> LaidSpots:
    """The spots of a book that lie on the finish, where it is the book of that surface.

    Raises SurveyError where it is not: no spot or most of them off the area, marks that all lie higher or lower than in the
    first survey, spots that all lie off the design alike or wildly, or that repeat the first survey of the old ground.
    """
    spots = reduced.spots()
    spots = spots[spots["feature"].isin(GROUND_FEATURES)].reset_index(drop=True)
    marks = {*reduced.book.known, *marks_of(brief)}
    left = spots.loc[spots["point"].isin(marks), "point"].tolist()
    spots = spots[~spots["point"].isin(marks)].reset_index(drop=True)
    placed = spots[["x", "y"]].notna().all(axis=1)
    placeless = spots.loc[~placed, "point"].tolist()
    spots = spots[placed].reset_index(drop=True)
    if spots.empty:
        raise SurveyError("the book of the laid surface has no spot with a place", where="laid book",
                          rule="Spots of what was laid have x and y, and no feature, or the feature ground or corner.",
                          remedy="Fill in x and y.")
    mark, spot = ("a mark", "a spot") if len(left) == 1 else ("marks", "spots")
    doubts = [f"{', '.join(left)}: {mark} of the first survey, so not counted as {spot} of what was laid."] if left else []
    doubts += [f"{', '.join(placeless)}: no x and y, so not used."] if placeless else []
    again = read_again(reduced, brief)
    doubts += _known(reduced, brief, survey)
    places = spots[["x", "y"]].to_numpy()
    off = np.array([shapely.distance(facet.area, shapely.points(places)) for facet in finish.facets])
    inside = off.min(axis=0) <= REACH
    _in_the_area(spots, places, inside, finish)
    if not inside.all():
        doubts.append(f"{', '.join(spots['point'][~inside])}: more than {word_mm(REACH)} outside the area, so not used.")
    spots = spots[inside].reset_index(drop=True)
    spots["facet"] = off[:, inside].argmin(axis=0)
    spots["design"] = finish.level_at(spots["x"].to_numpy(), spots["y"].to_numpy())
    spots["deviation"] = spots["level"] - spots["design"]
    _unit(float(spots["deviation"].median()))
    doubts += _points(reduced, survey)
    _not_the_old_ground(spots, survey)
    doubts += _shift(reduced, survey, again, float(spots["deviation"].median()))
    doubts += _datum(spots["deviation"].to_numpy())
    return LaidSpots(spots[["point", "x", "y", "facet", "level", "design", "deviation"]], again, tuple(doubts))


def _in_the_area(spots: pd.DataFrame, places: Floats, inside: NDArray[np.bool_], finish: Finish) -> None:
    """Refuse a book most of whose spots lie elsewhere, or that lies right with x and y changed about."""
    turned = np.min([shapely.distance(facet.area, shapely.points(places[:, ::-1])) for facet in finish.facets], axis=0) <= REACH
    swapped = turned.mean() >= 0.8 and turned.sum() >= inside.sum() + max(3, 0.1 * len(inside))
    if inside.mean() >= 0.5 and not swapped:
        return
    out = ", ".join(spots["point"][~inside].head(3))
    raise SurveyError(f"{int((~inside).sum())} of {len(spots)} spots lie outside the area, {out} among them", where="laid book",
                      rule="The spots of a laid surface lie on it.",
                      remedy="With x and y changed about they lie inside: change the two columns about." if swapped else
                      "Is it the book of another job, or are the places measured from another corner?")


def marks_of(brief: Brief) -> dict[str, float]:
    """Levels of the marks that a brief names: DPC shots, thresholds, paving that stays; not of a base under a screed."""
    marks = {point: level for wall in brief.walls for point, (_, level) in zip(wall.points, wall.shots, strict=True)}
    return marks | {spot.point: spot.level for demand in brief.demands
                    if isinstance(demand, AtSpots) and not isinstance(demand, Thickness) for spot in demand.spots}


def read_again(reduced: ReducedLevels, brief: Brief) -> dict[str, float]:
    """The marks of a brief that a book holds too, with by how much they lie higher there, m."""
    before, now = marks_of(brief), reduced.spots()
    return {str(point): float(level) - before[point] for point, level in zip(now["point"], now["level"], strict=True)
            if point in before}


def _known(reduced: ReducedLevels, brief: Brief, survey: ReducedLevels | None) -> list[str]:
    """Doubts about a benchmark whose level is not quite that of the first survey; refuses another level."""
    before, doubts = marks_of(brief), []
    for point, level in reduced.book.known.items():
        old = before.get(point) if survey is None or point not in survey.about else survey.level(point)
        if old is not None and DIGIT < abs(level - old) <= DOUBTED:
            doubts.append(f"{point}: its level is given {word_change(abs(level - old), 'mm')} "
                          f"{'higher' if level > old else 'lower'} than in the first survey. Which is right?")
        if old is not None and abs(level - old) > DOUBTED:
            raise SurveyError(f"the level of {point} is given as {word_level(level)} and was {word_level(old)} in the first "
                              "survey", where="laid book", rule="Both books need one datum.",
                              remedy="Correct the level of the benchmark in the one or the other.")
    return doubts


def _points(reduced: ReducedLevels, survey: ReducedLevels | None) -> list[str]:
    """Doubts about points of one name that stand elsewhere; refuses a book most of whose points do."""
    if survey is None:
        return []
    told = survey.about
    places = {point: (one["x"], one["y"]) for point, one in told.items() if one["x"] is not None and one["y"] is not None}
    now = {point: (one["x"], one["y"]) for point, one in reduced.about.items()
           if point in places and one["x"] is not None and one["y"] is not None}
    moved = [point for point, place in now.items() if math.dist(places[point], place) > MOVED]
    if moved and len(moved) > len(now) / 2:
        raise SurveyError(f"{len(moved)} of the {len(now)} points that both books name stand elsewhere, "
                          f"{', '.join(moved[:3])} among them", where="laid book", rule="A point keeps its name and its place.",
                          remedy="Is it the book of another job? Else give new spots new names.")
    return [f"{point}: stands more than {word_mm(MOVED)} from where the first survey has it. Is it the same point?"
            for point in moved]


def _shift(reduced: ReducedLevels, survey: ReducedLevels | None, again: Mapping[str, float], laid: float) -> list[str]:
    """Doubts about marks that both books hold; refuses another datum. The spots lie `laid` m off their design on the whole."""
    marks = {point: by for point, by in again.items() if point not in reduced.book.known}
    if survey is not None:  # hard points that no demand names tell of the datum too
        marks |= {point: reduced.level(point) - survey.level(point) for point, told in reduced.about.items()
                  if point in survey.about and told["feature"] not in GROUND_FEATURES and point not in reduced.book.known
                  and survey.about[point]["feature"] not in GROUND_FEATURES and told["feature"] != "instrument"}
    if not marks:
        return ["No mark of the first survey was read again, so a shift of the datum would not show: read a DPC mark, the sill "
                "or, in a room, the floor at the door too."]
    shift = np.array(list(marks.values()))
    middle = float(np.median(shift))
    alike = np.abs(shift - middle).max() <= max(DOUBTED, 0.2 * abs(middle))
    if abs(middle) > SHIFTED and alike and (len(marks) > 1 or abs(laid - middle) <= max(DOUBTED, 0.2 * abs(middle))):
        raise SurveyError(f"the marks that were read again, {', '.join(marks)}, lie {word_change(abs(middle), 'mm')} "
                          f"{'higher' if middle > 0 else 'lower'} than in the first survey", where="laid book",
                          rule="Both books need one datum.",
                          remedy="Look at the level of the benchmark, at its backsight, and at whether it was moved.")
    alone = " It is the only mark that was read again: if it was not moved, the whole book may be out by as much. Look at the " \
            "benchmark and its backsight before you lift anything." if len(marks) == 1 else ""
    return [f"{point}: lies {word_change(abs(by), 'mm')} {'higher' if by > 0 else 'lower'} than in the first survey. "
            f"Was it moved, or read wrongly?{alone}" for point, by in marks.items() if abs(by) > DOUBTED]


def _not_the_old_ground(spots: pd.DataFrame, survey: ReducedLevels | None) -> None:
    """Refuse a book that repeats the first survey, or that was changed about with it."""
    if survey is None:
        return
    named = survey.spots()
    before = dict(zip(named["point"], named["level"], strict=True))
    both = spots[spots["point"].isin(before)]
    old = np.array([before[point] for point in both["point"]])
    if len(both) < LEAST_COMMON:
        return
    off, was_off = both["deviation"].abs().median(), np.median(np.abs(old - both["design"].to_numpy()))
    same = np.abs(both["level"].to_numpy() - old) <= SAME
    if same.mean() >= 0.8 and off > SAME:
        raise SurveyError(f"{same.sum()} of {len(same)} spots have the level that the old ground had there", where="laid book",
                          rule="It is the book of the finished surface, read after it was laid.",
                          remedy="Were the two books changed about?")
    if off > NEAR_DESIGN and was_off < off / ALIKE:
        raise SurveyError(f"at {len(both)} points that both books name the first survey lies nearer the design than this one: "
                          f"{word_change(float(was_off), 'mm')} off it, this one {word_change(float(off), 'mm')}",
                          where="laid book", rule="What was laid follows the design; the old ground did not.",
                          remedy="Were the two books changed about?")


def _unit(middle: float) -> None:
    """Refuse a book that was read in another unit."""
    if abs(middle) > UNIT:
        raise SurveyError(f"the spots lie about {word_distance(abs(middle))} off the design", where="laid book",
                          rule="Readings are in the unit that the book says.",
                          remedy="Are they in mm, and taken for m? Look at the level of the benchmark too.")


def _datum(deviation: Floats) -> list[str]:
    """Doubts about how far all spots lie off the design; refuses another datum, or another surface."""
    middle = float(np.median(deviation))
    scatter = 1.4826 * float(np.median(np.abs(deviation - middle)))  # of a normal distribution, its standard deviation
    way = "above" if middle > 0 else "below"
    if abs(middle) > OTHER and abs(middle) > ALIKE * scatter:
        raise SurveyError(f"every spot lies about {word_distance(abs(middle))} {way} the design, all alike within some "
                          f"{word_mm(max(scatter, 0.001))}", where="laid book",
                          rule="A surface is not laid so far off; this is another datum.",
                          remedy="Look at the level of the benchmark, its backsight, and which design it is held against.")
    if scatter > OTHER:
        raise SurveyError(f"the spots lie up to {word_distance(float(np.abs(deviation).max()))} off the design, this way and "
                          "that", where="laid book", rule="A laid surface follows its design.",
                          remedy="Is it the book of another surface, or was another design saved since?")
    if abs(middle) > OTHER / 4 and abs(middle) > ALIKE * scatter:
        return [f"Every spot lies about {word_change(abs(middle), 'mm')} {way} the design. Was it laid so, or is it another "
                "datum?"]
    return []
