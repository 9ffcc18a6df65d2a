"""Setting out: the staff reading to look for at each peg, and the order in which to walk to them."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from ..design.brief import Brief
from ..design.layers import Layer
from ..errors import SurveyError, SurveyWarning, finite, finite_list, must_be, plainly
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.plane import FARTHEST
from ..survey.book import ALLOWANCES
from ..survey.faults import LONGEST_READING
from ..wording import html_table, word_level, word_mm
from .dig import old_floor
from .pegs import MOST, ON_THE_EDGE, read_pegs, standing

HIGHEST_STRING = 1.0  # m: a string higher above the finish is questioned; common practice, no source


@dataclass(frozen=True, eq=False)
class Peg:
    """One peg; lengths in m. `existing` is None where the ground there is not known; `layers` from the top down.

    `bottom` is the bottom of the dig where that is not the formation: the underside of an old floor, or the top of a footing.
    """

    point: str
    x: float
    y: float
    existing: float | None
    finished: float
    formation: float
    hpc: float
    layers: tuple[Layer, ...] = ()
    bottom: float | None = None

    @property
    def dig(self) -> float | None:
        """How deep to dig, m: to the formation or the bottom that is told; nought where the ground already lies below that."""
        bottom = self.formation if self.bottom is None else self.bottom
        return None if self.existing is None else max(self.existing - bottom, 0.0)

    @property
    def fill(self) -> float | None:
        """How much to fill up to the formation, m: from the ground or the bottom that is told, whichever is lower."""
        if self.existing is None:
            return None
        return max(self.formation - (self.existing if self.bottom is None else min(self.existing, self.bottom)), 0.0)

    @property
    def reading_formation(self) -> float:
        """Staff reading in m with the foot of the staff on the formation."""
        return self.hpc - self.formation

    @property
    def reading_finished(self) -> float:
        """Staff reading in m with the foot of the staff on the finished surface."""
        return self.hpc - self.finished

    @property
    def levels(self) -> dict[str, float]:
        """Levels in m from the top down: "finished", "top of …" for each layer below the top one, "formation"."""
        names = [str(layer.name).strip().casefold() for layer in self.layers]
        levels, level = {"finished": self.finished}, self.finished
        for number, (above, layer) in enumerate(pairwise(self.layers), start=2):
            level -= above.thickness
            top = f"top of {str(layer.name).strip() or 'layer'}"
            while top in levels or (names.count(names[number - 1]) > 1 and not top.endswith(f" {number}")):
                top += f", layer {number}"
            levels[top] = level
        return levels | {"formation": self.formation}

    @property
    def readings(self) -> dict[str, float]:
        """Staff readings in m by the names of `levels`, with the foot of the staff there."""
        return {surface: self.hpc - level for surface, level in self.levels.items()}

    def string_above(self, peg_top: float, *, height: float = 0.0) -> float:
        """How far up (+) or down (−) a string lies from the top of the peg, m; the finish, where no height above it is given.

        `peg_top` is today's staff reading on the top of the peg, `height` that of the string above the finish, both in m.
        """
        return self.finished + _string(height) - (self.hpc - _length(peg_top, f"the reading on peg {self.point}"))


@dataclass(frozen=True, eq=False)
class PegTable:
    """Pegs with what to look for on the staff. Made by `set_out`; `hpc` in m, `backsight` (level, reading) if given so.

    After `moved`, `check` is what the peg read again is lower (+) or higher (−) than it was set out, m, and `doubt` a sentence
    where that is too much.
    """

    pegs: tuple[Peg, ...]
    hpc: float
    backsight: tuple[float, float] | None = None
    finish: Finish = field(kw_only=True)
    brief: Brief = field(kw_only=True)
    ground: Ground | None = field(default=None, kw_only=True)
    check: float | None = field(default=None, kw_only=True)
    doubt: str = field(default="", kw_only=True)

    @property
    def table(self) -> pd.DataFrame:
        """A new table in m: point x y existing finished formation dig fill reading_formation reading_finished note."""
        names = ["point", "x", "y", "existing", "finished", "formation", "dig", "fill", "reading_formation", "reading_finished"]
        table = pd.DataFrame([[getattr(peg, name) for name in names] for peg in self.pegs], columns=names)
        return table.assign(note=[self.note(peg) for peg in self.pegs])

    @property
    def readings(self) -> pd.DataFrame:
        """A new table of staff readings in m: point, finished, the top of each layer below the top one, formation."""
        return pd.DataFrame([{"point": peg.point, **peg.readings} for peg in self.pegs])

    def note(self, peg: Peg) -> str:
        """What there is to say about a peg beside its numbers; mostly nothing."""
        said = []
        if peg.reading_finished < 0:
            said.append("above the line of sight: set the instrument higher")
        if peg.reading_formation > LONGEST_READING:
            said.append("longer than a 5 m staff: set the instrument lower")
        if peg.bottom is not None:
            off = word_mm(abs(peg.bottom - peg.formation))
            said.append(f"below the old floor fill {off}" if peg.bottom < peg.formation else
                        f"a footing stays {off} above the formation")
        return "; ".join([*said, *(["ground not read here"] if peg.existing is None else [])])

    def peg(self, name: str) -> Peg:
        """The peg of that name. Raises SurveyError if there is none, or more than one."""
        must_be(name, str, "the name of a peg")
        found = [peg for peg in self.pegs if peg.point == name]
        if len(found) != 1:
            raise SurveyError(f"{len(found) or 'no'} pegs are called {name!r}",
                              rule=f"Among the pegs are {', '.join(peg.point for peg in self.pegs[:20])}.")
        return found[0]

    def walked(self, start: Sequence[float] | None = None) -> PegTable:
        """The same pegs in `walking_order`, begun nearest to `start` (x, y) in m, else to the first wall's first end."""
        begin = self.brief.walls[0].first if start is None and self.brief.walls else start
        order = walking_order([(peg.point, peg.x, peg.y) for peg in self.pegs], begin)
        return replace(self, pegs=tuple(self.pegs[number] for number in order))

    def moved(self, backsight: tuple[float, float], *, check: Sequence[Any] | None = None) -> PegTable:
        """What the staff must read from another set-up with its `backsight`: level of the benchmark and reading on it, m.

        `check` is (peg, reading) or (peg, reading, surface): a peg set out before, the new set-up's reading on it in m, and on
        which of its `levels` the staff stands, "finished" if not told. It may be out by 5 mm × √2 set-ups, as in ALLOWANCES.
        Raises SurveyError for a backsight that is not two numbers, and for a peg or a surface that is not there.
        """
        height = _height(None, backsight)
        new = replace(self, pegs=tuple(replace(peg, hpc=height) for peg in self.pegs), hpc=height, backsight=backsight,
                      check=None, doubt="")
        if check is None:
            return new
        if isinstance(check, str) or not isinstance(check, Sequence) or len(check) not in (2, 3):
            raise SurveyError(f"the check is {check!r}", rule="It is a peg, the reading on it in m and, if need be, the surface.")
        name, surface = check[0], check[2] if len(check) == 3 else "finished"
        readings = new.peg(name).readings
        if not isinstance(surface, str) or surface not in readings:
            raise SurveyError(f"there is no surface {surface!r}", where=f"peg {name}",
                              rule=f"Its surfaces are {', '.join(readings)}.")
        read = _length(check[1], f"the reading on peg {name}")
        low, allowed = read - readings[surface], ALLOWANCES["ordinary"].of(2)
        doubt = "" if abs(low) <= allowed + 1e-9 else plainly(
            f"The laser or the benchmark has moved: peg {name}, {surface}, reads {word_level(read)} where "
            f"{word_level(readings[surface])} is due, {word_mm(abs(low), digits=1)} {'lower' if low > 0 else 'higher'} than it "
            f"was set out; {word_mm(allowed, digits=2)} is allowed (5 mm × √2 set-ups). It may also be the peg that was knocked: "
            "read the benchmark and a second peg before going on.")
        return replace(new, check=low, doubt=doubt)

    def strings(self, height: float = 0.1) -> pd.DataFrame:
        """How to set strings `height` m above the finish, and how far down to measure from them: a new table in m.

        It has point, string_level, reading_string, "down to …" each of the `levels`, and a note on where those distances hold:
        over one plane all along a string, for it is straight. Raises SurveyError for a height below nought.
        """
        above, facets, lines = _string(height), self.finish.facets, []
        for peg in self.pegs:
            level, place = peg.finished + above, shapely.Point(peg.x, peg.y)
            apart = [facet.area.distance(place) + abs(facet.plane.level_at(peg.x, peg.y) - peg.finished) for facet in facets]
            parts = [str(number) for number, far in enumerate(apart, start=1) if far <= min(apart) + ON_THE_EDGE]
            note = ("one plane: the same all along a string" if len(apart) == 1 else
                    f"facet {' or '.join(parts)}: the same all along a string that stays on it")
            sight = "string above the line of sight: set the instrument higher; " if level > self.hpc else ""
            lines.append({"point": peg.point, "string_level": level, "reading_string": self.hpc - level,
                          **{f"down to {name}": level - lower for name, lower in peg.levels.items()}, "note": sight + note})
        return pd.DataFrame(lines)

    def __repr__(self) -> str:
        return f"PegTable of {len(self.pegs)} pegs, plane of collimation {word_level(self.hpc)}"

    def _repr_html_(self) -> str:
        columns = ["point", "dig", "fill", "reading_formation", "reading_finished", "existing", "formation", "finished", "x", "y",
                   "note"]
        return (f"<p>{escape(self.doubt)}</p>" * bool(self.doubt)
                + f"<p>Height of the plane of collimation {word_level(self.hpc)}. All in m.</p>"
                + html_table(self.table[columns]))


def set_out(finish: Finish, brief: Brief, pegs: pd.DataFrame | Iterable[Any], *, hpc: float | None = None,
            backsight: tuple[float, float] | None = None, ground: Ground | None = None) -> PegTable:
    """What the staff must read at each peg.

    Parameters
    ----------
    finish : Finish
        The finished surface, m.
    brief : Brief
        Its layers give the formation.
    pegs : DataFrame or sequence
        Columns point, x, y and, if the ground was read there, level (as `ReducedLevels.spots` gives); or tuples
        (point, x, y) or (point, x, y, level). Lengths in m.
    hpc : float
        Today's height of the plane of collimation, m; or instead
    backsight : (level, reading)
        Level of the benchmark and today's reading on it, m.
    ground : Ground, optional
        Gives the existing level at pegs that come without one and lie within its spots.

    Returns
    -------
    PegTable

    Raises
    ------
    SurveyError
        Neither or both of hpc and backsight; a peg without a place, or more than 300 mm outside the finished surface; no pegs. A
        SurveyWarning for a backsight longer than a 5 m staff.

    Notes
    -----
    Reading = HPC − level, the height of collimation of any survey textbook. How deep to dig is the existing level less the
    bottom of the dig, vertical.

    >>> from sitelevels import Brief, Finish, Layer, Plane
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.04), Layer("bed", 0.04), Layer("sub-base", 0.10)])
    >>> pegs = set_out(Finish.plane(Plane(9.80, 0, -1 / 80), area), brief, [("A", 0, 4, 9.80)], hpc=11.0).pegs
    >>> round(pegs[0].dig, 3), round(pegs[0].reading_formation, 3)  # m; the finish lies at 9.75, the formation at 9.57
    (0.23, 1.43)
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    must_be(ground, (Ground, type(None)), "the ground")
    must_be(pegs, Iterable, "the list of pegs")
    height = _height(hpc, backsight)
    formation = finish.lowered(brief.build_up)
    floors = None if ground is None or brief.underside is None else old_floor(ground, brief)
    found, faults = [], []
    for point, x, y, existing in read_pegs(pegs):
        try:
            if not (abs(x) < FARTHEST and abs(y) < FARTHEST):
                raise SurveyError("it has no x and y", remedy="Fill them in in the book, or leave the point out.")
            if existing is None and ground is not None and ground.covers(x, y)[0]:
                existing = ground.level_at(x, y)
            found.append(Peg(point, x, y, existing, finish.level_at(x, y), formation.level_at(x, y), height, brief.layers,
                             _bottom(brief, floors, x, y, existing, formation.level_at(x, y))))
        except SurveyError as error:
            faults.append(error.at(f"peg {point}"))
    if faults:
        raise SurveyError.together(faults)
    if not found:
        raise SurveyError("there are no pegs", remedy="Give at least one place to set out.")
    return PegTable(tuple(found), height, backsight, finish=finish, brief=brief, ground=ground)


def _bottom(brief: Brief, floors: tuple[Ground, Ground] | None, x: float, y: float, existing: float | None,
            formation: float) -> float | None:
    """The bottom of the dig where an old floor reaches below the formation or a footing stays above that, else None."""
    bottom, floor = formation, brief.underside
    if floor is not None and existing is not None and shapely.intersects_xy(floor.area or brief.area, x, y):
        known = floors is not None and floors[0].covers(x, y)[0]
        thick = floors[0].level_at(x, y) - floors[1].level_at(x, y) if known and floors else floor.thickness_at([x], [y])[0]
        bottom = min(formation, existing - float(thick))
    tops = [footing.top for footing in brief.footings if shapely.intersects_xy(footing.area, x, y)]
    bottom = max([bottom, *tops])
    return None if bottom == formation else bottom


def _height(hpc: float | None, backsight: tuple[float, float] | None) -> float:
    """Today's height of the plane of collimation, m."""
    if (hpc is None) == (backsight is None):
        raise SurveyError("the height of the instrument is not clear", rule="Give hpc, or a backsight, not both.")
    try:
        height = finite(hpc, "") if backsight is None else sum(finite_list(backsight, "", "", count=2))
    except SurveyError:
        said = f"the instrument's height cannot be had from {hpc if backsight is None else backsight!r}"
        rule = "Give hpc as a level in m, or backsight as a pair: level of the benchmark, reading on it."
        raise SurveyError(said, rule=rule) from None
    if backsight is not None:
        _length(backsight[1], "the backsight")
    return height


def _length(value: float, name: str, longest: float = LONGEST_READING, why: str = "longer than a 5 m staff",
            least: float = -math.inf) -> float:
    """A reading or a height in m; one that is longer than it is likely to be is questioned."""
    number = finite(value, name, "It is in m." if least < 0 else "It is in m, nought or more.", least=least)
    if abs(number) > longest:
        warnings.warn(f"{name[:1].upper()}{name[1:]} is {word_level(number)}, {why}. Is it in m?", SurveyWarning, stacklevel=3)
    return number


def _string(height: float) -> float:
    return _length(height, "the height of the string above the finish", HIGHEST_STRING, "higher than is usual", 0.0)


def walking_order(pegs: pd.DataFrame | Iterable[Any], start: Sequence[float] | None = None) -> list[int]:
    """The order in which to walk to pegs so that the way from the first to the last is short, as row numbers from 0.

    Parameters
    ----------
    pegs : DataFrame or sequence
        Columns or tuples of point, x, y, m.
    start : (x, y), optional
        The walk begins at the peg nearest to it, m; else at the first of them.

    Returns
    -------
    list of int
        Never a longer way than the order given with the first peg of the walk moved to its front.

    Raises
    ------
    SurveyError
        No pegs, more than 500, and a peg or a start without a place.

    Notes
    -----
    From one to the nearest left, the order given, and sweeps across the site are each shortened by turning stretches round (2-opt
    of any textbook on shortest tours); the shortest is taken. Not every order is tried.

    >>> walking_order([("A", 0, 0), ("B", 6, 0), ("C", 1, 0), ("D", 6, 4)])
    [0, 2, 1, 3]
    """
    must_be(pegs, Iterable, "the list of pegs")
    begin = None if start is None else finite_list(start, "the start", "It is a place (x, y) in m.", count=2)
    places = np.array([place for _, *place in standing(pegs)]).reshape(-1, 2)
    if not 0 < len(places) <= MOST:
        raise SurveyError(f"there are {len(places)} pegs", rule=f"An order is sought among 1 to {MOST}; walk more in parts.")
    apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))
    first = 0 if begin is None else int(np.hypot(*(places - begin).T).argmin())
    nearest, left = [first], [number for number in range(len(places)) if number != first]
    while left:
        nearest.append(left.pop(int(apart[nearest[-1], left].argmin())))
    sweeps = [np.argsort(key, kind="stable").tolist() for key in (*places.T, *-places.T, apart[first])]
    orders = [nearest, *([first, *(one for one in order if one != first)] for order in (range(len(places)), *sweeps))]
    return min((_shortened(order, apart) for order in orders), key=lambda order: float(apart[order[:-1], order[1:]].sum()))


def _shortened(order: list[int], apart: NDArray[np.float64]) -> list[int]:
    """The order with stretches turned round as long as that saves way; the first peg stays."""
    walk, least = np.array(order), 1e-9 * float(apart.max())
    better = len(walk) > 2
    while better:
        better = False
        for before in range(len(walk) - 2):
            ends, after = walk[before + 2:], walk[before + 3:]  # a stretch runs from before + 1 to one of the ends
            saved = apart[walk[before], walk[before + 1]] - apart[walk[before], ends]
            saved[:-1] += apart[ends[:-1], after] - apart[walk[before + 1], after]
            best = int(saved.argmax())
            if saved[best] > least:
                walk[before + 1:before + 3 + best] = walk[before + 1:before + 3 + best][::-1].copy()
                better = True
    return [int(one) for one in walk]
