"""The exact volume between the ground and the formation of a shape, as a function of its unknowns."""

from __future__ import annotations

import numpy as np

from ..surface.pieces import Pieces, shares_above
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
