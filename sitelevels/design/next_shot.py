"""The shot that would help a verdict most, and how many settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, must_be
from ..surface.plane import Floats
from ..wording import html_table, word_place, word_share
from .asked import ROUNDING
from .certainty import Certainty, as_it_is, biggest_kind
from .check import SurfaceVerdicts, certainty_of
from .further import turned_round, with_shots, with_spots
from .propagation import LevelErrors
from .verdicts import MET, TOO_CLOSE

SHOT = ("dpc", "threshold", "edge", "buried", "benchmark", "gully", "cover", "airbrick")
"""Features of the points that a verdict may hang on."""
AGAIN, FRESH = "again, from where the instrument stands", "from a fresh set-up on the benchmark"
NEW = "from where the instrument stands"
MOST = 30  # further shots for one verdict: whoever needs more wants a better instrument
TRIED = 5  # of the candidates that help a place most, that are tried again for each shot after the first
GRID = 1.0  # m between the fresh spots that are thought of on a surface that exists
MOST_SPOTS = 60  # of such
FEW = 8  # of either kind, where there are more spots than that already: each try takes its time


class Candidate(NamedTuple):
    """A shot that could be taken: a point of the book and how, or a new spot at a place (m)."""

    point: str
    how: str
    place: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class NextShot:
    """Where one more shot would help a verdict most. Made by `next_shot`.

    `number` is that of the demand in the `verdicts`; `tried` holds (point, how, u) of each candidate, the best first, u the
    standard uncertainty that the number nearest to trouble would have, m or m/m. `shots` are those that settle it, one after the
    other, None where MOST do not; `floor` is what u would come down to if everything were perfect that shots can better, `turned`
    what it would be after turning the instrument, `kind` and `share` what brings most of the variance now.
    """

    verdicts: SurfaceVerdicts
    number: int
    tried: tuple[tuple[str, str, float], ...]
    shots: tuple[tuple[str, str], ...] | None
    floor: float
    turned: float
    kind: str
    share: float

    @property
    def u(self) -> float:
        """Standard uncertainty now, m or m/m."""
        return self.verdicts.worst[self.number].u or 0.0

    @property
    def best(self) -> tuple[str, str, float] | None:
        """The candidate that would help most: point, how, u; None where none helps."""
        return self.tried[0] if self.tried and self.tried[0][2] < self.u * (1 - 1e-6) else None

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the candidates, the best first: point how u (mm or mm/m)."""
        return pd.DataFrame([(point, how, u * 1000) for point, how, u in self.tried], columns=["point", "how", "u"])

    @property
    def words(self) -> str:
        """What to do next, in sentences."""
        finding, (verdict, _) = self.verdicts.worst[self.number], self.verdicts.judged[self.number]
        named, wide = f"'{finding.demand.title}' ({finding.condition.place})", finding.wide
        now = (f"{named} is {verdict}: {finding.in_hand} in hand, where {wide(finding.give)} are needed to be sure."
               if finding.margin >= 0 else f"{named} is {verdict}: {wide(-finding.margin)} outside its limit.")
        if verdict == MET:
            now = f"The verdict nearest to trouble is {named}, met with {finding.in_hand} in hand."
        if self.best is None:
            return f"{now} No further shot makes it surer. {self._instead}"
        point, how, u = self.best
        more = (f"{now} The shot that helps most is one on {point}, {how}: it would bring the give or take from "
                f"{wide(finding.give)} to {wide(finding.k * u)}.")
        if verdict != TOO_CLOSE:
            return more
        if self.shots is None:
            left, tilt = finding.k * self.floor, finding.give * self.share**0.5 if self.kind == "tilt" else 0.0
            why = (f"no number of shots will settle it: were the levels that it hangs on perfect, {wide(left)} would be left"
                   if left > abs(finding.margin) else
                   "no number of shots will settle it from where the instrument stands: of its tilt alone "
                   f"{wide(tilt)} would be left" if tilt > abs(finding.margin) else f"{MOST} more shots would not settle it")
            return f"{more} Yet {why}. {self._instead}"
        count = len(self.shots)
        each = ", ".join(f"{name} {how}" for name, how in self.shots[1:4])
        rest = f", after {count} in all{f': next {each}' if count <= 4 else ''}" if count > 1 else ""
        word = "" if finding.margin >= 0 else ": not met"
        return f"{more} If what is read again finds the same level, that settles it{rest}{word}."

    @property
    def _instead(self) -> str:
        finding = self.verdicts.worst[self.number]
        most = f"{word_share(self.share)} of the variance is {self.kind}."
        if self.kind == "tilt":
            return (f"{most} Turn the laser half round and shoot the same points again: that cancels the tilt that turns with "
                    f"the instrument, not what each levelling brings anew, and not the cone. Here it would leave a give or take "
                    f"of {finding.wide(finding.k * self.turned)}.")
        if self.kind in ("laying", "setting out"):
            return f"{most} That is no matter of the survey. Check it as it is laid: what shows it is {finding.demand.shown_by}."
        if self.kind == "unevenness":
            return f"{most} The surface itself is uneven: more spots on it help, the same ones again do not."
        return f"{most} A better instrument or a firmer place for the staff helps; or {finding.demand.shown_by}."

    def __repr__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        if self.best is None:
            return f"<p>{escape(self.words)}</p>"
        finding = self.verdicts.worst[self.number]
        table = pd.DataFrame([(point, how, finding.wide(finding.k * u)) for point, how, u in self.tried[:8]],
                             columns=["one more shot on", "how", "would leave a give or take of"])
        return f"<p>{escape(self.words)}</p>" + html_table(table, words=True)


def next_shot(verdicts: SurfaceVerdicts, *, demand: int | None = None) -> NextShot:
    """The one more shot that would most reduce the uncertainty of the closest verdict.

    Parameters
    ----------
    verdicts : SurfaceVerdicts
        Of `check_finish` with the errors of a book.
    demand : int, optional
        The number of a demand in `verdicts.table`; if not given, of those too close to call that levels can decide the one
        nearest to being sure, else the one that is nearest to trouble.

    Candidates are every point of the book that is a DPC, a threshold, an edge, buried, a benchmark or the like, or that the
    demand hangs on: read again from where the instrument stands, or from a fresh set-up on the first known point. On a surface
    that exists its own spots are candidates too, and fresh ones on a grid of GRID m.

    Refuses verdicts that count no errors, whose levels come from no book, or that hold no such demand. Uncertainties are in m or
    m/m.

    Reason: each candidate is put into the book and the errors are worked out anew, so that what shots have in common counts.

    >>> import sitelevels as sl
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> book = sl.read_book("point,bs,is,fs,rl,feature\\nBM,1.0,,,10.0,benchmark\\nD1,,0.95,,,dpc\\nD2,,0.95,,,dpc\\nBM,,,1.0,,")
    >>> wall = sl.Wall("wall", (0, 0), (6, 0), dpc=[(0, 10.050), (6, 10.050)], points=["D1", "D2"])
    >>> brief = sl.Brief(area, walls=[wall], demands=[sl.Clearance("wall", 0.150)])
    >>> finish = sl.Finish.plane(sl.Plane(9.893, 0.001, -1 / 60), area)  # 157 mm below D1, 151 mm below D2
    >>> verdicts = sl.check_finish(finish, brief, budget=sl.ErrorBudget().errors(sl.reduce_book(book)))
    >>> next_shot(verdicts).best[0]
    'D2'
    """
    must_be(verdicts, SurfaceVerdicts, "the verdicts")
    if verdicts.errors is None or len(verdicts.errors.points) < 2:
        raise SurveyError("the verdicts count no errors of a level book",
                          remedy="Give budget=ErrorBudget().errors(reduced) to check_finish.")
    if not verdicts.worst:
        raise SurveyError("nothing is demanded of the surface", remedy="Put demands into the brief.")
    if demand is None:
        demand = _closest(verdicts)
    verdicts.worst_row(demand)
    return _Further(verdicts, int(demand), verdicts.errors).found()


def _closest(verdicts: SurfaceVerdicts) -> int:
    """The demand to settle first: too close to call and nearest to being sure, or else the one nearest to trouble."""
    ratios = [one.margin / one.u if one.u else np.inf for one in verdicts.worst]
    open_ = [number for number, (verdict, _) in enumerate(verdicts.judged)
             if verdict == TOO_CLOSE and not verdicts.worst[number].beyond]
    if open_:
        return max(open_, key=lambda number: abs(ratios[number]))
    decided = [number for number, one in enumerate(verdicts.worst) if not one.beyond] or list(range(len(ratios)))
    return min(decided, key=lambda number: ratios[number])


@dataclass(frozen=True, eq=False)
class _Further:
    """What further shots would do to one demand, by its number."""

    verdicts: SurfaceVerdicts
    number: int
    errors: LevelErrors

    @cached_property
    def rows(self) -> list[int]:
        """The places of the demand, as rows of `everywhere`."""
        return self.verdicts.places_of(self.number)

    @property
    def at(self) -> int:
        """Which of them is nearest to trouble."""
        return self.rows.index(self.verdicts.worst_row(self.number))

    def sure(self, errors: LevelErrors, extra: Sequence[str] = ()) -> Certainty:
        """How sure the places would be with other errors, and `extra` spots on the surface, which is as uneven as it is now."""
        verdicts = self.verdicts
        asked = [(verdicts.everywhere[row].condition, verdicts.facets[row]) for row in self.rows]
        if not verdicts.surveyed:
            return certainty_of(asked, verdicts.finish, errors)
        return as_it_is(asked, errors, (*verdicts.surveyed, *extra), self.uneven)

    @cached_property
    def uneven(self) -> float:
        """How uneven a surface that exists is found to be, m."""
        return self.errors.uneven(self.verdicts.surveyed)

    def after(self, shots: Sequence[Candidate]) -> Certainty:
        """How sure the places would be after further shots."""
        more = with_spots(self.errors, spots := [
            (f"{one.point}, {number}", *one.place, float(self.verdicts.finish.level_at(*one.place)))
            for number, one in enumerate(shots) if one.place is not None])
        for how in (AGAIN, FRESH):
            if points := [one.point for one in shots if one.how == how]:
                more = with_shots(more, points, fresh=how == FRESH)
        return self.sure(more, [spot[0] for spot in spots])

    def candidates(self) -> list[Candidate]:
        """Every shot that is thought of."""
        everywhere, about = self.verdicts.everywhere, self.errors.reduced.about
        surveyed = self.verdicts.surveyed
        hangs = {point for row in self.rows for point, _ in everywhere[row].condition.on} | set(self._telling())
        named = [point for point in self.errors.points if about[point]["feature"] in SHOT or point in hangs]
        found = [Candidate(point, how) for point in named for how in (AGAIN, FRESH)]
        if surveyed:
            area, most = self.verdicts.brief.area, MOST_SPOTS if len(surveyed) <= MOST_SPOTS else FEW
            step = max(GRID, float(np.sqrt(area.area / most)))
            x_min, y_min, x_max, y_max = area.bounds
            found += [Candidate(f"a new spot at {word_place(float(x), float(y))}", NEW, (float(x), float(y)))
                      for x in np.arange(x_min + step / 2, x_max, step) for y in np.arange(y_min + step / 2, y_max, step)
                      if area.covers(shapely.Point(x, y))]
        return found

    def _telling(self) -> Sequence[str]:
        """Spots of a surface that exists that are worth reading again: of very many the FEW that weigh most."""
        surveyed, now = self.verdicts.surveyed, self.verdicts.certainty
        if len(surveyed) <= MOST_SPOTS or now is None:
            return surveyed
        weights = np.abs(now.effect[self.rows[self.at], now.survey:now.survey + len(surveyed)])
        return [surveyed[place] for place in np.argsort(-weights, kind="stable")[:FEW]]

    def needed(self, sure: Certainty) -> Floats:
        """By how much each u (k,) is too wide to settle the verdict, as a share of what is needed: 1 or less settles it.

        Met needs room at every place, not met at the one nearest to trouble.
        """
        budget, at = self.errors.budget, self.at
        margins = np.array([self.verdicts.everywhere[row].margin for row in self.rows]) + ROUNDING
        if margins.min() > 0:
            near = np.array([budget.k_of(1, freedom) for freedom in sure.freedom])
            return np.asarray(near * sure.u / margins)
        found = np.zeros(len(margins))
        if margins[at] < 0:
            found[at] = budget.k_of(len(margins), sure.freedom[at]) * sure.u[at] / -margins[at]
        return found if margins[at] < 0 else found + np.inf

    def found(self) -> NextShot:
        """The best candidate, and the shots that settle it."""
        verdicts, finding = self.verdicts, self.verdicts.worst[self.number]
        ways = self.candidates()
        sure = [self.after([one]) for one in ways]
        order = np.argsort([float(one.u[self.at]) for one in sure], kind="stable")
        tried = tuple((ways[place].point, ways[place].how, float(sure[place].u[self.at])) for place in order)
        floor = self._floor()
        shots = None
        if verdicts.judged[self.number][0] == TOO_CLOSE and (self.needed(floor) <= 1).all():
            helpful = [[ways[place] for place in np.argsort([float(one.u[number]) for one in sure], kind="stable")[:TRIED]]
                       for number in range(len(self.rows))]
            shots = self._settling(helpful)
        kind, share = biggest_kind(np.array(finding.kinds))
        return NextShot(verdicts, self.number, tried, shots, float(floor.u[self.at]),
                        float(self.sure(turned_round(self.errors)).u[self.at]), kind, share)

    def _floor(self) -> Certainty:
        """How sure the places would be if everything were perfect that further shots can better."""
        now = self.verdicts.certainty
        assert now is not None
        left = now.effect[self.rows].copy()
        left[:, :now.survey + len(self.verdicts.surveyed)] = 0.0  # the spots of a surface that exists come first of the others
        return Certainty(left, now.inputs, now.survey)

    def _settling(self, helpful: Sequence[Sequence[Candidate]]) -> tuple[tuple[str, str], ...] | None:
        """Shots, each the best for the place that lacks most, after which the verdict is settled; None where MOST are too few."""
        shots: list[Candidate] = []
        lacking = self.needed(self.after(()))
        while len(shots) < MOST:
            place = int(lacking.argmax())
            after = [self.after([*shots, one]) for one in helpful[place]]
            best = int(np.argmin([float(one.u[place]) for one in after]))
            shots.append(helpful[place][best])
            lacking = self.needed(after[best])
            if lacking.max() <= 1:
                return tuple((one.point, one.how) for one in shots)
        return None
