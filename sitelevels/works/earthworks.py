"""Cut and fill between triangulated ground and flat facets, in closed form."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError, must_be
from ..surface.finish import Finish, polygon_of
from ..surface.ground import Ground
from ..surface.plane import Plane
from ..wording import word_area, word_distance, word_mm, word_share, word_volume

Floats = NDArray[np.float64]

SHOWN = 0.05  # m²: less would be shown as 0.0
LEVEL = 1e-9  # m: a depth below this is what the last binary digits leave of nought


@dataclass(frozen=True, eq=False)
class Earthworks:
    """Digging and filling between the ground and a formation. Made by `cut_and_fill`.

    `corners` (k, 3, 2) are the pieces, all triangles, into which ground, facets and area cut each other (plan, m);
    `depth` (k, 3) is ground minus formation at their corners in m, positive where there is digging. `whole_area` is the plan
    area asked about, `surfaced_area` the part of it over which there is a formation, m².
    """

    ground: Ground
    formation: Finish
    corners: Floats
    depth: Floats
    whole_area: float
    surfaced_area: float

    @cached_property
    def _plan(self) -> Floats:
        """Plan area of each piece, m²."""
        (ax, ay), (bx, by) = (self.corners[:, 1] - self.corners[:, 0]).T, (self.corners[:, 2] - self.corners[:, 0]).T
        return np.asarray(np.abs(ax * by - ay * bx) / 2)

    @property
    def cut(self) -> float:
        """Volume to dig out, m³."""
        return float(_above(self.depth, self._plan)[0])

    @property
    def fill(self) -> float:
        """Volume to fill, m³."""
        return float(_above(-self.depth, self._plan)[0])

    @property
    def cut_area(self) -> float:
        """Plan area where there is digging, m²."""
        return float(_above(self.depth, self._plan)[1])

    @property
    def fill_area(self) -> float:
        """Plan area where there is filling, m²."""
        return float(_above(-self.depth, self._plan)[1])

    @property
    def net(self) -> float:
        """Cut less fill in m³, by the other route: the mean depth of each piece times its area."""
        return float((self.depth.mean(axis=1) * self._plan).sum())

    @property
    def covered(self) -> float:
        """Plan area that the spots cover, m²."""
        return float(self._plan.sum())

    @property
    def uncovered(self) -> float:
        """Plan area in m² that no triangle of the ground, or no facet, covers; nothing is said about it."""
        return self._left(self.whole_area - self.covered)

    def _left(self, area: float) -> float:
        return area if area > 1e-9 * self.whole_area else 0.0

    @property
    def uncovered_share(self) -> float:
        """The same as a share of the whole area."""
        return self.uncovered / self.whole_area

    @property
    def deepest(self) -> float:
        """Greatest depth to dig, m; nought where there is no digging."""
        return max(float(self.depth.max(initial=0.0)), 0.0)

    @property
    def deepest_at(self) -> tuple[float, float] | None:
        """Where that is (x, y in m); None where there is no digging."""
        return self._where(self.depth)

    @property
    def highest_fill(self) -> float:
        """Greatest depth to fill, m; nought where there is none."""
        return max(float((-self.depth).max(initial=0.0)), 0.0)

    def _where(self, depth: Floats) -> tuple[float, float] | None:
        if not depth.size or depth.max() <= 0:
            return None
        piece, corner = np.unravel_index(int(depth.argmax()), depth.shape)
        return (float(self.corners[piece, corner, 0]), float(self.corners[piece, corner, 1]))

    def sentence(self) -> str:
        """The totals in words."""
        left = ""
        for area, of_what in ((self._left(self.surfaced_area - self.covered), "the spots"),
                              (self._left(self.whole_area - self.surfaced_area), "the finished surface")):
            if area >= SHOWN:
                left += f" {word_area(area)} ({word_share(area / self.whole_area)}) lie outside {of_what} and are not counted."
        at = self.deepest_at
        deep = "" if at is None else (f" The deepest dig is {word_mm(self.deepest)}, at x {word_distance(at[0])}, "
                                      f"y {word_distance(at[1])}.")
        return (f"Dig {word_volume(self.cut)} over {word_area(self.cut_area)}, fill {word_volume(self.fill)} over "
                f"{word_area(self.fill_area)}, measured in the ground.{deep}{left}")

    def _repr_html_(self) -> str:
        return f"<p>{self.sentence()}</p>"


def _above(depth: Floats, plan: Floats) -> tuple[float, float]:
    """Volume (m³) and plan area (m²) of the parts of triangles where a linear depth is above nought.

    With corner depths sorted so that a ≥ b ≥ c: all above, the mean times the area; only a above, the part is a triangle
    similar by a/(a−b) and a/(a−c); only c below, the whole less the triangle at c.
    """
    if not len(depth):
        return 0.0, 0.0
    low, middle, high = np.sort(depth, axis=1).T
    total = (low + middle + high) / 3 * plan
    with np.errstate(divide="ignore", invalid="ignore"):
        tip = np.where((high > 0) & (middle <= 0) & (low < high), high / (high - middle) * high / (high - low), 0.0)
        missing = np.where((low < 0) & (middle > 0), low / (low - middle) * low / (low - high), 0.0)
    wholly = low >= 0
    one_above = (high > 0) & (middle <= 0) & ~wholly
    two_above = (middle > 0) & ~wholly
    volume = np.where(wholly, total, np.where(one_above, plan * tip * high / 3,
                                              np.where(two_above, total - plan * missing * low / 3, 0.0)))
    area = np.where(wholly & (high > 0), plan, np.where(one_above, plan * tip, np.where(two_above, plan * (1 - missing), 0.0)))
    return float(volume.sum()), float(area.sum())


def cut_and_fill(ground: Ground, formation: Plane | Finish, area: Any) -> Earthworks:
    """Exact volumes between triangulated ground and a formation inside an area.

    Parameters
    ----------
    ground : Ground
    formation : Plane or Finish
        The underside of all layers; what lies above it is dug. A Plane reaches everywhere, a Finish over its facets.
    area : list of corners (k, 2) or polygon
        Plan, m; may be L-shaped, notched or have holes.

    Returns
    -------
    Earthworks
        Volumes in the ground, not loosened. The part of the area that no triangle covers is reported, never guessed at.

    Raises
    ------
    SurveyError
        For an area that crosses itself or has none; spots that all lie outside the area.

    Notes
    -----
    Ground and facets are flat over each piece, so the depth is linear there and its integral closed: no grid.

    >>> ground = Ground([0, 2, 2, 0], [0, 0, 1, 1], [10.1, 10.3, 10.3, 10.1])
    >>> works = cut_and_fill(ground, Plane(10.0, 0.0, 0.0), [(0, 0), (2, 0), (2, 1), (0, 1)])
    >>> round(works.cut, 6), round(works.fill, 6)
    (0.4, 0.0)
    """
    must_be(ground, Ground, "the ground")
    must_be(formation, (Plane, Finish), "the formation")
    polygon = polygon_of(area)
    finish = formation if isinstance(formation, Finish) else Finish.plane(formation, polygon)
    middle = np.array([ground.x.mean(), ground.y.mean()])
    triangles = np.stack([ground.x - middle[0], ground.y - middle[1]], axis=1)[ground.triangles]
    gradients, base = ground.facet_gradients()
    corners, depths = [], []
    surfaced = 0.0
    for facet in finish.facets:
        shape = shapely.transform(facet.area.intersection(polygon), lambda places: places - middle)
        surfaced += shape.area
        pieces, owner = _clipped(triangles, shape)
        origin = triangles[owner, 0]
        rise = gradients[owner][:, None, :] * (pieces - origin[:, None, :])
        plane = facet.plane.level_at(pieces[..., 0] + middle[0], pieces[..., 1] + middle[1])
        corners.append(pieces + middle)
        depths.append(base[owner][:, None] + rise.sum(axis=2) - plane)
    depth = np.concatenate(depths)
    if not len(depth):
        raise SurveyError("all spots lie outside the area, or outside the finished surface",
                          rule="Only between spots is the ground known.",
                          remedy="Check the corners of the area, or read spots in it.")
    depth[np.abs(depth) < LEVEL] = 0.0
    return Earthworks(ground, finish, np.concatenate(corners), depth, float(polygon.area), float(surfaced))


def _clipped(triangles: Floats, shape: Any) -> tuple[Floats, NDArray[np.intp]]:
    """The parts of triangles (m, 3, 2) inside a shape, as triangles (k, 3, 2), and the number of the triangle of each."""
    outlines = shapely.polygons(np.concatenate([triangles, triangles[:, :1]], axis=1))
    shapely.prepare(shape)
    inside = shapely.contains_properly(shape, outlines)
    cut = np.flatnonzero(~inside & shapely.intersects(shape, outlines))
    parts, part_of = shapely.get_parts(shapely.intersection(outlines[cut], shape), return_index=True)
    flat = shapely.area(parts) > 0
    pieces, piece_of = shapely.get_parts(shapely.constrained_delaunay_triangles(parts[flat]), return_index=True)
    rings = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    whole = np.flatnonzero(inside)
    return np.concatenate([triangles[whole], rings]), np.concatenate([whole, cut[part_of[flat][piece_of]]])
