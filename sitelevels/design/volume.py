"""The exact volume between the ground and the formation of a shape, as a function of its unknowns."""

from __future__ import annotations

import numpy as np

from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces, shares_above
from ..surface.plane import Floats
from .rows import Rows, moved


class Volume:
    """The exact volume moved, ∫|ground − formation|, as a convex function of the scaled unknowns."""

    def __init__(self, rows: Rows, pieces: Pieces, build_up: float) -> None:
        self.plan = pieces.plan
        self.moves = np.empty((*pieces.level.shape, len(rows.base)))
        for number, part in enumerate(rows.parts):
            here = pieces.facet == number
            self.moves[here] = moved(part, pieces.corners[here, :, 0], pieces.corners[here, :, 1])
        self.depth = pieces.level + build_up - self.moves @ rows.base
        self.moves /= rows.scale

    def __call__(self, x: Floats) -> tuple[float, Floats]:
        """Volume in m³ and its gradient (n,)."""
        depth = self.depth - self.moves @ x
        share = 2 * shares_above(depth, self.plan) - self.plan[:, None] / 3
        return float((share * depth).sum()), -np.einsum("kc,kcn->n", share, self.moves)

    def many(self, x: Floats) -> Floats:
        """Volumes in m³ (q,) for many sets of unknowns (q, n)."""
        depth = (self.depth[None] - np.einsum("kcn,qn->qkc", self.moves, x)).reshape(-1, 3)
        share = 2 * shares_above(depth, np.tile(self.plan, len(x))) - np.tile(self.plan, len(x))[:, None] / 3
        return np.asarray((share * depth).reshape(len(x), -1).sum(axis=1))


def moved_to(ground: Ground, formation: Finish) -> float:
    """The exact volume between the ground and a formation, dig and fill together, m³."""
    _, depth, share = _between(ground, formation)
    return float((share * depth).sum())


def volume_slopes(ground: Ground, formation: Finish) -> Floats:
    """By how many m³ that volume changes for each m that a spot of the ground (n,) lies higher."""
    pieces, _, share = _between(ground, formation)
    places = np.column_stack([ground.x, ground.y])[ground.triangles[pieces.triangle]]  # (k, 3, 2)
    sides = places[:, 1:] - places[:, :1]
    from_first = np.linalg.solve(sides.transpose(0, 2, 1)[:, None], (pieces.corners - places[:, :1])[..., None])[..., 0]
    shares = np.concatenate([1 - from_first.sum(axis=2, keepdims=True), from_first], axis=2)  # of each corner in each spot
    slopes = np.zeros(len(ground.x))
    np.add.at(slopes, ground.triangles[pieces.triangle], np.einsum("kc,kcs->ks", share, shares))
    return slopes


def _between(ground: Ground, formation: Finish) -> tuple[Pieces, Floats, Floats]:
    """Pieces of the ground, how far each corner lies above the formation (k, 3), and what it adds to the volume (k, 3)."""
    pieces = cut_pieces(ground, [facet.area for facet in formation.facets])
    depth = pieces.level.copy()
    for number, facet in enumerate(formation.facets):
        here = pieces.facet == number
        depth[here] -= facet.plane.level_at(pieces.corners[here, :, 0], pieces.corners[here, :, 1])
    return pieces, depth, 2 * shares_above(depth, pieces.plan) - pieces.plan[:, None] / 3
