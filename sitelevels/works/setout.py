"""Setting out: the staff reading to look for at each peg."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from ..design.brief import Brief
from ..errors import SurveyError, must_be
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
    """Pegs with what to look for on the staff. Made by `set_out`; `hpc` in m, `backsight` (level, reading) if given so."""

    pegs: tuple[Peg, ...]
    hpc: float
    backsight: tuple[float, float] | None = None

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

    def __repr__(self) -> str:
        return f"PegTable of {len(self.pegs)} pegs, plane of collimation {word_level(self.hpc)}"

    def _repr_html_(self) -> str:
        columns = ["point", "dig", "fill", "reading_formation", "reading_finished", "existing", "formation", "finished", "x", "y",
                   "note"]
        return (f"<p>Height of the plane of collimation {word_level(self.hpc)}. All in m.</p>"
                + html_table(self.table[columns]))


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
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    must_be(ground, (Ground, type(None)), "the ground")
    must_be(pegs, Iterable, "the list of pegs")
    height = _height(hpc, backsight)
    formation = finish.lowered(brief.build_up)
    found, faults = [], []
    for point, x, y, existing in _places(pegs):
        try:
            if not (math.isfinite(x) and math.isfinite(y)):
                raise SurveyError("it has no x and y", remedy="Fill them in in the book, or leave the point out.")
            if existing is None and ground is not None and ground.covers(x, y)[0]:
                existing = ground.level_at(x, y)
            found.append(Peg(point, x, y, existing, finish.level_at(x, y), formation.level_at(x, y), height))
        except SurveyError as error:
            faults.append(error.at(f"peg {point}"))
    if faults:
        raise SurveyError.together(faults)
    if not found:
        raise SurveyError("there are no pegs", remedy="Give at least one place to set out.")
    return PegTable(tuple(found), height, backsight)


def _height(hpc: float | None, backsight: tuple[float, float] | None) -> float:
    """Today's height of the plane of collimation, m."""
    if (hpc is None) == (backsight is None):
        raise SurveyError("the height of the instrument is not clear", rule="Give hpc, or a backsight, not both.")
    try:
        if backsight is not None:
            level, reading = backsight
            height = level + reading
        else:
            height = float(hpc)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        height = math.nan
    if not math.isfinite(height):
        raise SurveyError(f"the instrument's height cannot be had from {hpc if backsight is None else backsight!r}",
                          rule="Give hpc as a level in m, or backsight as a pair: level of the benchmark, reading on it.")
    return float(height)


def _places(pegs: pd.DataFrame | Iterable[Any]) -> Iterator[tuple[str, float, float, float | None]]:
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
        if existing is not None and not math.isfinite(existing):
            raise SurveyError(f"the level of peg {point} is {existing}", rule="It must be a finite level in m.")
