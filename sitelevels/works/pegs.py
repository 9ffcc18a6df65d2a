"""Where pegs go."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from ..design.brief import Brief
from ..errors import SurveyError, finite, must_be
from ..surface.plane import FARTHEST
from ..wording import word_mm

APART = 0.05  # m: pegs no farther from each other than this are one
MOST = 500  # pegs: more than anybody drives for one job
ON_THE_EDGE = 1e-6  # m: how far outside the area still counts as on its edge
_Peg = tuple[str, float, float]


def pegs_at(brief: Brief, *, corners: bool = True, edges: float | None = None, grid: float | None = None,
            points: pd.DataFrame | Iterable[Any] = ()) -> pd.DataFrame:
    """Places for pegs on the area of a brief.

    Parameters
    ----------
    brief : Brief
        The area, and the first wall for the way of the grid.
    corners : bool
        A peg at each corner of the area: C1, C2 … in the order of its outline.
    edges : float, optional
        Pegs along each side in equal spaces of at most so many m: e1.2 is the second on side 1, which runs from C1 to C2.
    grid : float, optional
        Pegs in squares of so many m, inside the area or on its edge: g2.1 is two squares along the first wall and one out from
        the corner nearest its first end; without a wall along x from the corner nearest the least x and y.
    points : DataFrame or sequence
        Named places of one's own: columns point, x, y, or tuples (point, x, y), m. They come first.

    Returns
    -------
    DataFrame
        point x y. No two stand within 50 mm: places of one's own go before corners, those before edges, those before the grid.

    Raises
    ------
    SurveyError
        Spaces of 50 mm or less; two places of one's own with one name, or within 50 mm; no pegs; more than 500; `corners` that
        is neither True nor False.

    Notes
    -----
    Two pegs nearer than 50 mm are one, and 500 are more than anybody drives: common practice, no source.

    >>> brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)])
    >>> pegs_at(brief, edges=2.5, points=[("gully", 6, 4)])["point"].tolist()[:5]
    ['gully', 'C1', 'C2', 'C4', 'e1.1']
    """
    must_be(brief, Brief, "the brief")
    must_be(corners, bool, "whether corners have pegs")
    must_be(points, Iterable, "the list of points")
    rule = f"It is a length in m, over {word_mm(APART)}."
    along = None if edges is None else finite(edges, "the space along the edges", rule, over=APART)
    square = None if grid is None else finite(grid, "the space of the grid", rule, over=APART)
    named = _own(points)
    rings = [np.array(ring.coords[:-1]) for ring in (brief.area.exterior, *brief.area.interiors)]
    likely = sum(brief.area.length / space for space in (along, square) if space) + (brief.area.area / square**2 if square else 0)
    if likely > 20 * MOST:
        raise _too_many(f"as many as {int(likely)}")
    wanted = [*named]
    if corners:
        wanted += [(f"C{number}", x, y) for number, (x, y) in enumerate(np.concatenate(rings).tolist(), start=1)]
    if along:
        wanted += _along(rings, along)
    if square:
        wanted += _squares(brief, rings[0], square)
    places = np.array([place for _, *place in wanted]).reshape(-1, 2)
    kept: list[int] = []
    for number, place in enumerate(places):
        if not (np.hypot(*(places[kept] - place).T) <= APART + 1e-9).any():
            kept.append(number)
    if not kept:
        raise SurveyError("no pegs are asked for", remedy="Ask for corners, edges, a grid or points.")
    if len(kept) > MOST:
        raise _too_many(str(len(kept)))
    names: dict[str, None] = {}
    for number in kept:
        name = wanted[number][0]
        while name in names:  # somebody's own C2 may stand elsewhere
            name += " of the area"
        names[name] = None
    return pd.DataFrame({"point": list(names), "x": places[kept, 0] + 0.0, "y": places[kept, 1] + 0.0})


def _too_many(count: str) -> SurveyError:
    return SurveyError(f"there would be {count} pegs", rule=f"At most {MOST} are set out at once.", remedy="Space them wider.")


def _own(points: pd.DataFrame | Iterable[Any]) -> list[_Peg]:
    """Named places, each with a name and a place of its own."""
    named = standing(points)
    if len(named) > MOST:
        raise _too_many(str(len(named)))
    for number, (name, *place) in enumerate(named):
        for other, *there in named[:number]:
            if name == other:
                raise SurveyError("two of the points have this name", where=f"peg {name}", remedy="Give each its own.")
            if math.dist(place, there) <= APART + 1e-9:
                raise SurveyError(f"they stand within {word_mm(APART)} of each other", where=f"pegs {other} and {name}",
                                  remedy="Leave one out.")
    return named


def _along(rings: Sequence[NDArray[np.float64]], space: float) -> Iterator[_Peg]:
    """Pegs along the sides in equal spaces, the corners left out."""
    sides = (ends for ring in rings for ends in pairwise([*ring, ring[0]]))
    for side, (first, second) in enumerate(sides, start=1):
        length = math.dist(first, second)
        count = int(length / space - 1e-9) + 1
        for number in range(1, count):
            x, y = (first + (second - first) * number / count).tolist()
            yield f"e{side}.{number}", x, y


def _squares(brief: Brief, corners: NDArray[np.float64], space: float) -> Iterator[_Peg]:
    """Pegs of a square grid, row by row."""
    wall = brief.walls[0] if brief.walls else None
    along = np.array(wall.direction if wall else (1.0, 0.0))
    origin = corners[np.hypot(*(corners - (wall.first if wall else brief.area.bounds[:2])).T).argmin()]
    out = np.array([-along[1], along[0]])
    middle = brief.area.centroid
    if (np.array([middle.x, middle.y]) - origin) @ out < 0:
        out = -out
    turn = np.column_stack([along, out])
    area = shapely.transform(brief.area, lambda places: (places - origin) @ turn).buffer(ON_THE_EDGE, join_style="mitre")
    left, low, right, high = area.bounds
    for row in range(math.ceil(low / space), math.floor(high / space) + 1):
        line = shapely.LineString([(left, row * space), (right, row * space)])
        for part in shapely.get_parts(area.intersection(line)):
            start, _, end, _ = part.bounds
            for column in range(math.ceil(start / space), math.floor(end / space) + 1):
                x, y = (origin + turn @ (column * space, row * space)).tolist()
                yield f"g{column}.{row}", x, y


def standing(pegs: pd.DataFrame | Iterable[Any]) -> list[_Peg]:
    """Name, x and y of each peg; those without a place are refused together."""
    found = [(name, x, y) for name, x, y, _ in read_pegs(pegs)]
    faults = [SurveyError("it has no x and y", where=f"peg {name}", remedy="Fill them in, or leave it out.")
              for name, x, y in found if not (abs(x) < FARTHEST and abs(y) < FARTHEST)]
    if faults:
        raise SurveyError.together(faults)
    return found


def read_pegs(pegs: pd.DataFrame | Iterable[Any]) -> Iterator[tuple[str, float, float, float | None]]:
    """Name, x, y and existing level (None if not given) of each peg."""
    rows: Iterable[Any] = pegs
    if isinstance(pegs, pd.DataFrame):
        missing = [name for name in ("point", "x", "y") if name not in pegs]
        if missing:
            raise SurveyError(f"the pegs have no column {', '.join(missing)}", rule="They need point, x, y and, if known, level.")
        rows = pegs[["point", "x", "y", *(["level"] if "level" in pegs else [])]].itertuples(index=False, name=None)
    for row in rows:
        try:
            point, x, y, *level = row
            existing = None if not level or pd.isna(level[0]) else float(level[0])
            yield str(point), float(x), float(y), existing
        except (TypeError, ValueError, OverflowError):
            raise SurveyError(f"the peg {row!r} cannot be read",
                              rule="A peg is point, x, y and, if known, level, in m.") from None
        if existing is not None and not abs(existing) < FARTHEST:
            raise SurveyError(f"the level of peg {point} is {existing}", rule="It must be a finite level in m.")
