"""Setting out: the staff reading to look for at each peg."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from ..design.brief import Brief
from ..errors import SurveyError
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..wording import html_table, word_level


@dataclass(frozen=True, eq=False)
class Peg:
    """One peg; lengths in m. `existing` is None where the ground there is not known."""

    point: str
    x: float
    y: float
    existing: float | None
    finished: float
    formation: float
    hpc: float

    @property
    def dig(self) -> float | None:
        """How deep to dig, m: nought where the ground already lies below the formation."""
        return None if self.existing is None else max(self.existing - self.formation, 0.0)

    @property
    def fill(self) -> float | None:
        """How much to fill, m: nought where there is digging."""
        return None if self.existing is None else max(self.formation - self.existing, 0.0)

    @property
    def reading_formation(self) -> float:
        """Staff reading in m with the foot of the staff on the formation."""
        return self.hpc - self.formation

    @property
    def reading_finished(self) -> float:
        """Staff reading in m with the foot of the staff on the finished surface."""
        return self.hpc - self.finished


@dataclass(frozen=True, eq=False)
class PegTable:
    """Pegs with what to look for on the staff. Made by `set_out`; `hpc` in m."""

    pegs: tuple[Peg, ...]
    hpc: float

    @property
    def table(self) -> pd.DataFrame:
        """A new table in m: point x y existing finished formation dig fill reading_formation reading_finished note."""
        names = ["point", "x", "y", "existing", "finished", "formation", "dig", "fill", "reading_formation", "reading_finished"]
        table = pd.DataFrame([[getattr(peg, name) for name in names] for peg in self.pegs], columns=names)
        return table.assign(note=[self._note(peg) for peg in self.pegs])

    def _note(self, peg: Peg) -> str:
        if peg.reading_finished < 0:
            return "above the line of sight: set the instrument higher"
        if peg.existing is None:
            return "ground not read here"
        return ""

    def _repr_html_(self) -> str:
        return (f"<p>Height of the plane of collimation {word_level(self.hpc)}.</p>"
                + html_table(self.table))


def set_out(finish: Finish, brief: Brief, pegs: pd.DataFrame | Iterable[Any], *, hpc: float | None = None,
            backsight: tuple[float, float] | None = None, ground: Ground | None = None) -> PegTable:
    """What the staff must read at each peg.

    Parameters
    ----------
    finish : Finish
    brief : Brief
        Its layers give the formation.
    pegs : DataFrame or sequence
        Columns point, x, y and, if the ground was read there, level (as `ReducedLevels.spots` gives); or tuples
        (point, x, y) or (point, x, y, level). Lengths in m.
    hpc : float
        Today's height of the plane of collimation, m; or instead
    backsight : (level, reading)
        level of the benchmark and today's reading on it, m.
    ground : Ground, optional
        Gives the existing level at pegs that come without one and lie within its spots.

    Returns
    -------
    PegTable

    Raises
    ------
    SurveyError
        Neither or both of hpc and backsight; a peg more than 300 mm outside the finished surface; no pegs.

    >>> from sitelevels import Brief, Finish, Layer, Plane
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.04), Layer("bed", 0.04), Layer("sub-base", 0.10)])
    >>> pegs = set_out(Finish.plane(Plane(9.80, 0, -1 / 80), area), brief, [("A", 0, 4, 9.80)], hpc=11.0).pegs
    >>> round(pegs[0].dig, 3), round(pegs[0].reading_formation, 3)
    (0.23, 1.43)
    """
    if (hpc is None) == (backsight is None):
        raise SurveyError("the height of the instrument is not clear", rule="Give hpc, or a backsight, not both.")
    height = hpc if hpc is not None else sum(backsight or ())
    if not math.isfinite(height):
        raise SurveyError(f"the height of the plane of collimation is {height}", rule="It must be a finite level in m.")
    formation = finish.lowered(brief.build_up)
    rows: Iterable[Any] = pegs
    if isinstance(pegs, pd.DataFrame):
        rows = pegs[["point", "x", "y", *(["level"] if "level" in pegs else [])]].itertuples(index=False, name=None)
    found = []
    for point, x, y, *level in rows:
        try:
            finished, bottom = finish.level_at(float(x), float(y)), formation.level_at(float(x), float(y))
        except SurveyError as error:
            raise SurveyError(error.problems[0].rstrip("."), where=f"peg {point}") from None
        existing = float(level[0]) if level and level[0] is not None and math.isfinite(level[0]) else None
        if existing is None and ground is not None and ground.covers(x, y)[0]:
            existing = ground.level_at(float(x), float(y))
        found.append(Peg(str(point), float(x), float(y), existing, finished, bottom, height))
    if not found:
        raise SurveyError("there are no pegs", remedy="Give at least one place to set out.")
    return PegTable(tuple(found), height)
