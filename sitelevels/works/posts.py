"""Posts in or beside paving: what they stand on, how they cut the units, and how far apart they are by the tape."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, SurveyWarning, finite, finite_list, must_be
from ..surface.facet import polygon_of
from ..surface.plane import Floats
from ..wording import html_table, word_distance, word_mm, word_place
from .units import UnitLayout

NEAR = 1e-6  # m: nearer than this is touching


@dataclass(frozen=True, eq=False)
class Post:
    """A post of rectangular section, its sides along x and y.

    `at` is its middle (x, y) in plan, m; `size` a side or (along x, along y), m; `footing` the plan of what it stands on, a
    polygon or corners in m, None where that is not known.

    Refuses a name that is no text, a place that is no pair, a side under 5 mm or over 20 m, a footing that crosses itself; a
    side over 1 m is questioned.

    Reason: posts of paving stand square to it as a rule; one that is turned is given among the holes of `lay_out_units`.

    >>> Post("A", at=(1.0, 2.0), size=0.1).shape.bounds
    (0.95, 1.95, 1.05, 2.05)
    """

    name: str
    at: tuple[float, float]
    size: float | tuple[float, float] = 0.1
    footing: Any = None

    def __post_init__(self) -> None:
        must_be(self.name, str, "the name of a post")
        where = f"post {self.name}"
        x, y = finite_list(self.at, f"the place of {where}", "It must be (x, y) in m.", count=2)
        rule = "It must be a side, or (along x, along y), in m, each 5 mm to 20 m: 100 mm is 0.1."
        sides = [self.size, self.size] if isinstance(self.size, (int, float)) else self.size
        size = [finite(side, f"the size of {where}", rule, least=0.005, most=20.0)
                for side in finite_list(sides, f"the size of {where}", rule, count=2)]
        if max(size) > 1:
            warnings.warn(f"The {where} is {word_distance(max(size))} wide. Are those millimetres?", SurveyWarning, stacklevel=3)
        object.__setattr__(self, "at", (x, y))
        object.__setattr__(self, "size", (size[0], size[1]))
        if self.footing is not None:
            try:
                object.__setattr__(self, "footing", polygon_of(self.footing))
            except SurveyError as error:
                raise error.at(f"the footing of {where}") from None

    @property
    def shape(self) -> shapely.Polygon:
        """Its plan, m; a post can be given to `lay_out_units` among the holes, with `hole_joint` as the clearance round it."""
        (x, y), (wide, deep) = self.at, self.size  # type: ignore[misc]
        return shapely.box(x - wide / 2, y - deep / 2, x + wide / 2, y + deep / 2)


@dataclass(frozen=True, eq=False)
class PostCheck:
    """What was found about posts, in the order given. Made by `check_posts`; lengths in m.

    `found` has a dict for each post, the row of `.table`; `between` the row of `.pairs` for each post and the next.
    """

    posts: tuple[Post, ...]
    area: shapely.Polygon
    layout: UnitLayout | None
    found: tuple[dict[str, Any], ...]
    between: tuple[dict[str, Any], ...]

    @property
    def table(self) -> pd.DataFrame:
        """A new table: post x y within bears overhang edge_distance cuts leg; None where it was not asked or does not apply."""
        return pd.DataFrame(list(self.found), dtype=object).astype({"x": float, "y": float, "within": bool})

    @property
    def pairs(self) -> pd.DataFrame:
        """A new table in m, a row a post and the next: first second between_centres outside clear."""
        return pd.DataFrame(list(self.between), columns=["first", "second", "between_centres", "outside", "clear"])

    def sentence(self) -> str:
        """What a post fixer needs, in words."""
        said = []
        for row in self.found:
            words = [] if row["within"] else ["it stands partly over the edge of the area"]
            if row["bears"] is True:
                inside = word_mm(row["edge_distance"], never="more")
                words.append(f"its whole plan bears on its footing, {inside} inside its side")
            elif row["bears"] is False:
                words.append(f"it overhangs its footing by {word_mm(row['overhang'], never='less')}")
            if row["cuts"] is not None:
                leg = "" if row["leg"] is None else f", the least leg left beside it is {word_mm(row['leg'], never='more')}"
                words.append({"joint": "it stands in or over a joint", "across": "it cuts right across a unit"}.get(
                    row["cuts"], f"it cuts the {row['cuts']} of a unit") + leg)
            if words:
                said.append(f"Post {row['post']}: {'; '.join(words)}.")
        said += [f"From {row['first']} to {row['second']}: {word_mm(row['outside'])} outside to outside, "
                 f"{word_mm(row['clear'])} clear." for row in self.between]
        return " ".join(said) or f"Post {self.posts[0].name} stands in the area."

    def __repr__(self) -> str:
        return f"PostCheck: {self.sentence()}"

    def _repr_html_(self) -> str:
        pairs = html_table(self.pairs) if self.between else ""
        table = self.table.astype(object).map(lambda one: "" if pd.isna(one) else {True: "yes", False: "no"}[one]
                                              if isinstance(one, bool) else one)
        return f"<p>{escape(self.sentence())} Lengths in m.</p>{html_table(table)}{pairs}"


def check_posts(posts: Iterable[Post], area: Any, layout: UnitLayout | None = None) -> PostCheck:
    """Whether posts stand in the area and on their footings, how they cut the units, and their distances.

    Parameters
    ----------
    posts : iterable of Post
        In order along the fence or gate.
    area : list of corners (k, 2) or polygon
        Plan, m.
    layout : UnitLayout, optional
        Units laid over the area; the posts may be among its holes or not.

    Returns
    -------
    PostCheck
        `overhang` is the farthest that a corner of the post stands off its footing, `edge_distance` the least from the post to
        a side of the footing. `cuts` is "corner", "edge" or "middle" of one unit, "across" where it parts the unit, "joint" where
        the post with the joint round it stands in a joint or cuts several units; `leg` is the least width left beside it in the
        units that it cuts, None where there is none. Both are taken along the units. `outside` and `clear` are measured along
        the line through both centres: to where the outermost corners of both come square to it, and from face to face.

    Raises
    ------
    SurveyError
        A post outside the area; posts that overlap or share a name; no posts; an area that crosses itself.

    Notes
    -----
    Reason: a gate or a panel is bought by the clear width, and a fixer tapes along the line of the posts, so distances are taken
    along it and not along x or y.

    >>> check = check_posts([Post("A", at=(0.5, 0.5)), Post("B", at=(1.5, 0.5))], [(0, 0), (2, 0), (2, 1), (0, 1)])
    >>> check.sentence()
    'From A to B: 1100 mm outside to outside, 900 mm clear.'
    """
    must_be(posts, Iterable, "the list of posts")
    must_be(layout, (UnitLayout, type(None)), "the layout")
    listed, polygon = list(posts), polygon_of(area)
    faults = []
    for number, post in enumerate(listed):
        must_be(post, Post, "one of the posts")
        if post.shape.intersection(polygon).area < NEAR**2:
            faults.append(SurveyError(f"post outside the area, at {word_place(*post.at)}", where=f"post {post.name}",
                                      remedy="Correct its x and y, or leave it out."))
        for other in listed[:number]:
            if other.name == post.name:
                faults.append(SurveyError("there are two posts of this name", where=f"post {post.name}", remedy="Rename one."))
            elif other.shape.intersection(post.shape).area > NEAR**2:
                faults.append(SurveyError(f"it overlaps post {other.name}", where=f"post {post.name}",
                                          remedy="Correct the place or the size of one of them."))
    if faults:
        raise SurveyError.together(faults)
    if not listed:
        raise SurveyError("there are no posts", remedy="Give at least one.")
    found = tuple({"post": post.name, "x": post.at[0], "y": post.at[1], "within": bool(polygon.buffer(NEAR).covers(post.shape)),
                   **_bearing(post), **_cutting(post, layout)} for post in listed)
    return PostCheck(tuple(listed), polygon, layout, found, tuple(_apart(one, two) for one, two in pairwise(listed)))


def _bearing(post: Post) -> dict[str, Any]:
    """Whether all of the post bears on its footing."""
    if post.footing is None:
        return {"bears": None, "overhang": None, "edge_distance": None}
    if post.footing.buffer(NEAR).covers(post.shape):
        return {"bears": True, "overhang": None, "edge_distance": float(post.footing.boundary.distance(post.shape))}
    # the farthest place is a corner of what stands off; only beside a footing with bays may it lie between two
    off = shapely.segmentize(post.shape - post.footing, max(0.002, post.shape.length / 5000))
    places = shapely.points(shapely.get_coordinates(off))
    return {"bears": False, "overhang": float(shapely.distance(post.footing, places).max()), "edge_distance": None}


def _cutting(post: Post, layout: UnitLayout | None) -> dict[str, Any]:
    """Which part of its unit the post with the joint round it takes out, and the least leg left there."""
    if layout is None:
        return {"cuts": None, "leg": None}
    grid, side = layout.grid, layout.grid.side(layout.turned)
    taken = grid.into(shapely.get_coordinates(post.shape.buffer(layout.hole_joint, join_style="mitre")))
    low, high = taken.min(axis=0), taken.max(axis=0)
    hole, area = shapely.box(*low, *high), shapely.transform(layout.area, grid.into)
    corners = grid.corners(layout.bond, side, layout.tried.local)
    met = [corner for corner in corners[((corners < high - NEAR) & (corners + side > low + NEAR)).all(axis=1)]
           if shapely.box(*corner, *(corner + side)).intersection(area).intersection(hole).area > NEAR**2]
    legs = [_legs(corner, side, low, high, grid.area) for corner in met]
    least = min((leg for one in legs for leg in one if leg > NEAR), default=None)
    if len(met) != 1:
        return {"cuts": "joint", "leg": least}
    passed = tuple(number for number, leg in enumerate(legs[0]) if leg <= NEAR)
    part = {0: "middle", 1: "edge"}.get(len(passed), "corner" if len(passed) == 2 and sum(passed) % 2 else "across")
    return {"cuts": part, "leg": least}


def _legs(corner: Floats, side: Floats, low: Floats, high: Floats, area: Any) -> list[float]:
    """What is left of one unit left of, below, right of and above a hole, the least at three places of each face, m."""
    far = corner + side
    found = []
    for begin, end in ((corner, low), (far, high)):
        for axis in (0, 1):
            across = np.array([max(low[1 - axis], corner[1 - axis]), min(high[1 - axis], far[1 - axis])])
            rays = np.empty((3, 2, 2))
            rays[:, :, 1 - axis] = np.array([across[0] + NEAR, across.mean(), across[1] - NEAR])[:, None]
            rays[:, 0, axis], rays[:, 1, axis] = begin[axis], end[axis]
            inside = (end[axis] - begin[axis]) * (1 if begin is corner else -1) > 0
            found.append(float(shapely.length(shapely.intersection(shapely.linestrings(rays), area)).min()) if inside else 0.0)
    return found


def _apart(one: Post, two: Post) -> dict[str, Any]:
    """Distances along the line through both centres."""
    off = np.subtract(two.at, one.at)
    length = math.hypot(*off)
    way = np.abs(off / length)
    outer = sum(float(way @ np.array(post.size)) / 2 for post in (one, two))
    inner = sum(float((np.array(post.size) / np.maximum(way, 1e-12)).min()) / 2 for post in (one, two))
    return {"first": one.name, "second": two.name, "between_centres": length, "outside": length + outer, "clear": length - inner}
