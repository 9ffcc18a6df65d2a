"""Shots that could still be taken, and what each would do to a verdict: the next one, and how many settle it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, must_be
from ..surface.plane import Floats
from ..survey.book import Row
from ..survey.reduction import ReducedLevels, reduce_book
from ..wording import html_table, word_place, word_share
from .certainty import Certainty, as_it_is, biggest_kind
from .check import MET, TOO_CLOSE, Verdicts, certainty_of
from .propagation import LevelErrors

SHOT = ("dpc", "threshold", "edge", "buried", "benchmark", "gully", "cover", "airbrick")
"""Features of the points that a verdict may hang on."""
AGAIN, FRESH = "again, from where the instrument stands", "from a fresh set-up on the benchmark"
MOST = 30  # further shots for one verdict: whoever needs more wants a better instrument
TRIED = 6  # of the candidates that help at all, that are tried again for each shot after the first
MOST_SPOTS = 60  # of such
GRID = 1.0  # m between the fresh shots that are thought of on a surface that exists


def with_shots(errors: LevelErrors, points: Sequence[str], *, fresh: bool = False, turned: bool = False) -> LevelErrors:
    """The errors of the book with further shots on points of it, that would find the levels it has.

    They are read from the last set-up, or from a `fresh` one on a known point: with the instrument `turned` half round against
    the last, as far as headings go.
    """
    reduced = errors.reduced
    rows, setups = list(reduced.book.rows), reduced.linkage.setups
    number = rows[-1].number
    headings = dict(errors.headings)
    if fresh:
        mark = _benchmark(reduced)
        hpc, number = reduced.book.known[mark] + 1.0, number + 1
        rows.append(Row(number, mark, bs=1.0, feature=reduced.about[mark]["feature"]))
        if turned:
            facing = headings.setdefault(len(setups), 0.0)
            headings[len(setups) + 1] = facing + 180.0
    else:
        hpc = setups[-1].hpc
    for point in points:
        number += 1
        about = reduced.about[point]
        rows.append(Row(number, point, is_=hpc - reduced.level(point), feature=about["feature"], x=about["x"], y=about["y"]))
    return _again(errors, rows, headings)


def turned_round(errors: LevelErrors) -> LevelErrors:
    """The errors of the book if every set-up were read again from the same place with the instrument turned half round."""
    reduced = errors.reduced
    rows, number = list(reduced.book.rows), reduced.book.rows[-1].number
    headings, instruments = dict(errors.headings), dict(errors.instruments)
    setups = reduced.linkage.setups
    for place, setup in enumerate(setups, start=1):
        facing = headings.setdefault(place, 0.0)
        headings[len(setups) + place] = facing + 180.0
        if place in instruments:
            instruments[len(setups) + place] = instruments[place]
        for sight in setup.sights:
            number += 1
            row = reduced.linkage.rows[sight.row]
            reading = {"bs": sight.reading} if sight.place == 0 else {"is_": sight.reading}
            rows.append(replace(row, number=number, **({"bs": None, "is_": None, "fs": None, "rl": None} | reading)))  # type: ignore[arg-type]
    return _again(errors, rows, headings, instruments)


def closed(errors: LevelErrors) -> LevelErrors:
    """The errors of the book if every set-up that has no check at its end had a shot back to where it began."""
    linkage = errors.reduced.linkage
    ending = {one.path[-1] for one in errors.reduced.adjustment.closures}
    rows: list[Row] = []
    lacking = {linkage.rows[setup.sights[-1].row].number: setup for number, setup in enumerate(linkage.setups)
               if number not in ending and not linkage.repeats(number) and len(setup.sights) > 1}
    for row in errors.reduced.book.rows:
        setup = lacking.get(row.number)
        if setup is not None:  # before the last shot, which may be a change point
            back = linkage.rows[setup.back.row]
            rows.append(replace(back, number=0, bs=None, is_=setup.back.reading, fs=None, rl=None))
        rows.append(row)
    return _again(errors, [replace(row, number=number) for number, row in enumerate(rows, start=1)], errors.headings)


def _again(errors: LevelErrors, rows: Iterable[Row], headings: object, instruments: object = None) -> LevelErrors:
    adjustment = errors.reduced.adjustment
    book = replace(errors.reduced.book, rows=tuple(replace(row, hand_level=None) for row in rows))
    reduced = reduce_book(book, adjust=adjustment.adjust, allowable=adjustment.allowable)
    return errors.budget.errors(reduced, instruments=errors.instruments if instruments is None else instruments,  # type: ignore[arg-type]
                                headings=headings)  # type: ignore[arg-type]


def _benchmark(reduced: ReducedLevels) -> str:
    return next(iter(reduced.book.known))


@dataclass(frozen=True, eq=False)
class NextShot:
    """Where one more shot would help a verdict most. Made by `next_shot`.

    `number` is that of the demand in the `verdicts`; `tried` holds (point, how, u) of each candidate, the best first, u the
    standard uncertainty that the number nearest to trouble would have, m or m/m. `shots` are those that settle it, one after the
    other, None where none will; `floor` is what u would come down to if nothing but the survey were perfect, `kind` and `share`
    what brings most of the variance now.
    """

    verdicts: Verdicts
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
        named = f"'{finding.demand.title}' ({finding.condition.place})"
        wide = finding.wide
        now = f"{named} is {verdict}: {finding.in_hand} in hand, where {wide(finding.give)} are needed to be sure."
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
            return (f"{more} Yet no number of shots will settle it: were the levels that it hangs on perfect, "
                    f"{wide(finding.k * self.floor)} would be left. {self._instead}")
        count = len(self.shots)
        each = ", ".join(f"{name} {how}" for name, how in self.shots[1:4])
        rest = f" ({count} in all{f': after it {each}' if count <= 4 else ''})" if count > 1 else ""
        return f"{more} If it finds the same level, that settles it{rest}."

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
        finding = self.verdicts.worst[self.number]
        table = pd.DataFrame([(point, how, finding.wide(finding.k * u)) for point, how, u in self.tried[:8]],
                             columns=["one more shot on", "how", "would leave a give or take of"])
        return f"<p>{escape(self.words)}</p>" + html_table(table, words=True)


def next_shot(verdicts: Verdicts, *, demand: int | None = None) -> NextShot:
    """The one more shot that would most reduce the uncertainty of the closest verdict.

    Parameters
    ----------
    verdicts : Verdicts
        Of `check_finish` with the errors of a book.
    demand : int, optional
        The number of a demand in `verdicts.table`; if not given, of those too close to call that levels can decide the one
        nearest to being sure, else the one that is nearest to trouble.

    Candidates are every point of the book that is a DPC, a threshold, an edge, buried, a benchmark or the like, or that the
    demand hangs on: read again from where the instrument stands, or from a fresh set-up on the first known point. On a surface
    that exists its own spots are candidates too, and fresh ones on a grid of GRID m.

    Raises SurveyError where errors are not counted, or the levels come from no book.
    """
    must_be(verdicts, Verdicts, "the verdicts")
    errors = verdicts.errors
    if errors is None or len(errors.points) < 2:
        raise SurveyError("the verdicts count no errors of a level book",
                          remedy="Give budget=ErrorBudget().errors(reduced) to check_finish.")
    if demand is None:
        demand = _closest(verdicts)
    elif isinstance(demand, bool) or not isinstance(demand, (int, np.integer)) or not 0 <= demand < len(verdicts.worst):
        raise SurveyError(f"there is no demand number {demand!r}", rule=f"They go from 0 to {len(verdicts.worst) - 1}.")
    rows = verdicts.places_of(demand)
    at = next(place for place, row in enumerate(rows) if verdicts.everywhere[row] is verdicts.worst[demand])
    finding = verdicts.worst[demand]
    hangs = [point for row in rows for point, _ in verdicts.everywhere[row].condition.on]
    names = [point for point in errors.points if errors.reduced.about[point]["feature"] in SHOT or point in hangs
             or point in verdicts.surveyed]
    candidates = [(point, how) for point in names for how in (AGAIN, FRESH)]

    def after(shots: Sequence[tuple[str, str]]) -> Certainty:
        """How sure the places of the demand would be after further shots."""
        more = errors
        for how in (AGAIN, FRESH):
            if points := [point for point, one in shots if one == how]:
                more = with_shots(more, points, fresh=how == FRESH)
        return _sure(verdicts, rows, more)
    tried = [(point, how, float(after([(point, how)]).u[at])) for point, how in candidates]
    tried += _grid(verdicts, rows[at])
    tried.sort(key=lambda one: one[2])
    helpful = [(point, how) for point, how, u in tried if u < (finding.u or 0.0) * (1 - 1e-6) and how in (AGAIN, FRESH)]
    now = verdicts.certainty
    assert now is not None
    floors = np.sqrt(now.effect[rows, now.survey:]**2 @ now.inputs.total[now.survey:])
    needs = np.array([verdicts.everywhere[row].margin / finding.k for row in rows])
    possible = verdicts.judged[demand][0] == TOO_CLOSE and bool((needs > floors).all())
    shots = _settling(after, helpful[:TRIED], needs) if possible else None
    turned = float(_sure(verdicts, rows, turned_round(errors)).u[at])
    kind, share = biggest_kind(np.array(finding.kinds))
    return NextShot(verdicts, demand, tuple(tried), shots, float(floors[at]), turned, kind, share)


def _closest(verdicts: Verdicts) -> int:
    """The demand to settle first: too close to call and nearest to being sure, or else the one nearest to trouble."""
    ratios = [one.margin / one.u if one.u else np.inf for one in verdicts.worst]
    open_ = [number for number, (verdict, _) in enumerate(verdicts.judged)
             if verdict == TOO_CLOSE and not verdicts.worst[number].beyond]
    if open_:
        return max(open_, key=lambda number: abs(ratios[number]))
    decided = [number for number, one in enumerate(verdicts.worst) if not one.beyond] or list(range(len(ratios)))
    return min(decided, key=lambda number: ratios[number])


def _sure(verdicts: Verdicts, rows: Sequence[int], errors: LevelErrors, extra: Sequence[str] = ()) -> Certainty:
    """How sure some numbers would be with other errors of the survey, the surface as uneven as it is found to be now."""
    asked = [(verdicts.everywhere[row].condition, verdicts.facets[row]) for row in rows]
    if not verdicts.surveyed:
        return certainty_of(asked, verdicts.finish, errors)
    assert verdicts.errors is not None
    return as_it_is(asked, errors, (*verdicts.surveyed, *extra), verdicts.errors.uneven(verdicts.surveyed))


def _grid(verdicts: Verdicts, row: int) -> list[tuple[str, str, float]]:
    """Fresh spots on a surface that exists: (where, how, u with it)."""
    errors = verdicts.errors
    if not verdicts.surveyed or errors is None:
        return []
    area = verdicts.brief.area
    step = max(GRID, np.sqrt(area.area / MOST_SPOTS))
    x_min, y_min, x_max, y_max = area.bounds
    found = []
    for x in np.arange(x_min + step / 2, x_max, step):
        for y in np.arange(y_min + step / 2, y_max, step):
            if area.covers(shapely.Point(x, y)):
                spot = f"a new spot at {word_place(float(x), float(y))}"
                level = float(verdicts.finish.level_at(float(x), float(y)))
                more = with_spot(errors, spot, float(x), float(y), level)
                found.append((spot, "from where the instrument stands", float(_sure(verdicts, [row], more, [spot]).u[0])))
    return found


def with_spot(errors: LevelErrors, point: str, x: float, y: float, level: float) -> LevelErrors:
    """The errors of the book with one more spot on the ground, at x, y and level in m, read from the last set-up."""
    rows = errors.reduced.book.rows
    reading = errors.reduced.linkage.setups[-1].hpc - level
    return _again(errors, [*rows, Row(rows[-1].number + 1, point, is_=reading, feature="ground", x=x, y=y)], errors.headings)


def _settling(after: Callable[[Sequence[tuple[str, str]]], Certainty], candidates: Sequence[tuple[str, str]],
              needs: Floats) -> tuple[tuple[str, str], ...] | None:
    """Shots, each the best at its turn, after which every u is as small as is needed (k,); None where MOST are too few."""
    shots: list[tuple[str, str]] = []
    while candidates and len(shots) < MOST:
        worst = [float((after([*shots, one]).u / needs).max()) for one in candidates]
        shots.append(candidates[int(np.argmin(worst))])
        if min(worst) <= 1:
            return tuple(shots)
    return None
