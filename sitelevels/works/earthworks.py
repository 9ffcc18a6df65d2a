"""Cut and fill between triangulated ground and flat facets, in closed form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..errors import must_be
from ..surface.facet import Facet, polygon_of
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces, shares_above
from ..surface.plane import Floats, Plane
from ..wording import word_area, word_distance, word_mm, word_share, word_volume

SHOWN = 0.05  # m²: less would be shown as 0.0
LEVEL = 1e-9  # m: a depth below this is what the last binary digits leave of nought


@dataclass(frozen=True, eq=False)
class Earthworks:
    """Digging and filling between the ground and a formation. Made by `cut_and_fill`.

    `pieces` are the triangles into which ground, facets and area cut each other; `depth` (k, 3) is ground minus formation at
    their corners in m, positive where there is digging. `whole_area` is the plan area asked about, `surfaced_area` the part of
    it over which there is a formation, m².
    """

    ground: Ground
    formation: Finish
    pieces: Pieces
    depth: Floats
    whole_area: float
    surfaced_area: float

    @cached_property
    def _dug(self) -> Floats:
        return np.where(self.depth.max(axis=1, keepdims=True) > 0, shares_above(self.depth, self.pieces.plan), 0.0)

    @cached_property
    def _filled(self) -> Floats:
        return np.where(self.depth.min(axis=1, keepdims=True) < 0, shares_above(-self.depth, self.pieces.plan), 0.0)

    @property
    def cut(self) -> float:
        """Volume to dig out, m³."""
        return float((self._dug * self.depth).sum())

    @property
    def fill(self) -> float:
        """Volume to fill, m³."""
        return 0.0 - float((self._filled * self.depth).sum())

    @property
    def cut_area(self) -> float:
        """Plan area where there is digging, m²."""
        return float(self._dug.sum())

    @property
    def fill_area(self) -> float:
        """Plan area where there is filling, m²."""
        return float(self._filled.sum())

    @property
    def net(self) -> float:
        """Cut less fill in m³, by the other route: the mean depth of each piece times its area."""
        return float((self.depth.mean(axis=1) * self.pieces.plan).sum())

    @property
    def covered(self) -> float:
        """Plan area that the spots cover, m²."""
        return float(self.pieces.plan.sum())

    @property
    def uncovered(self) -> float:
        """Plan area in m² that no triangle of the ground, or no facet, covers; nothing is said about it."""
        return self._left(self.whole_area - self.covered)

    def _left(self, area: float) -> float:
        return area if area > 1e-9 * self.whole_area else 0.0

    @property
    def deepest(self) -> float:
        """Greatest depth to dig, m; nought where there is no digging."""
        return float(self.depth.max(initial=0.0))

    @property
    def deepest_at(self) -> tuple[float, float] | None:
        """Where that is (x, y in m); None where there is no digging."""
        if not self.deepest:
            return None
        piece, corner = np.unravel_index(int(self.depth.argmax()), self.depth.shape)
        x, y = self.pieces.corners[piece, corner]
        return float(x), float(y)

    @property
    def highest_fill(self) -> float:
        """Greatest depth to fill, m; nought where there is none."""
        return float((-self.depth).max(initial=0.0))

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
    return between(ground, finish, [facet.area.intersection(polygon) for facet in finish.facets], float(polygon.area))


def between(ground: Ground, finish: Finish, areas: Sequence[Any], whole: float) -> Earthworks:
    """The volumes over one area (plan, m) for each facet of a formation, out of a `whole` area in m²."""
    pieces = cut_pieces(ground, areas)
    depth = pieces.level - levels_over(finish.facets, pieces)
    depth[np.abs(depth) < LEVEL] = 0.0
    return Earthworks(ground, finish, pieces, depth, whole, float(sum(area.area for area in areas)))


def levels_over(facets: Sequence[Facet], pieces: Pieces) -> Floats:
    """Level of the facets (k, 3) in m at the corners of the pieces of a ground that is cut to them."""
    level = np.zeros_like(pieces.level)
    for number, facet in enumerate(facets):
        here = pieces.facet == number
        level[here] = facet.plane.level_at(pieces.corners[here, :, 0], pieces.corners[here, :, 1])
    return level
