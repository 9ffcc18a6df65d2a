"""What moves each verdict, what would flip it, and how often a survey like this one would say the same."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, must_be
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.plane import Floats
from ..wording import html_table, word_chance, word_twenty
from .brief import Wall
from .budget import ErrorBudget
from .certainty import as_it_is
from .check import MET, NOT_MET, TOO_CLOSE, Finding, Verdicts, certainty_of, check_finish
from .conditions import AtSpots, Demand
from .further import closed, turned_round
from .propagation import KINDS, LevelErrors
from .volume import moved_to, volume_slopes

TRIALS = 100_000
BLOCK = 4_096  # trials at once, so that memory is bounded
SHOWN = 8  # inputs by name in a table or picture; the rest together


@dataclass(frozen=True, eq=False)
class Trials:
    """What many simulated surveys say of each demand (k,). Made by `simulate`.

    `met`, `not_met`, `too_close` are the shares of the trials in which the survey, done again, would give that verdict, were
    everything as it was found; `inside` the share in which the surface meets the demand in truth, building errors included.
    `count` trials from the seed `seed`.
    """

    count: int
    seed: int
    met: Floats
    not_met: Floats
    too_close: Floats
    inside: Floats


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """What moves each verdict. Made by `sensitivity`."""

    verdicts: Verdicts
    ground: Ground | None
    count: int
    seed: int

    @property
    def errors(self) -> LevelErrors:
        """The errors that are counted."""
        assert self.verdicts.errors is not None
        return self.verdicts.errors

    def _row(self, demand: int) -> int:
        """The row of `everywhere` that is nearest to trouble for a demand."""
        worst = self.verdicts.worst[demand]
        return next(row for row in self.verdicts.places_of(demand) if self.verdicts.everywhere[row] is worst)

    def inputs(self, demand: int) -> pd.DataFrame:
        """A new table of what moves one demand's margin where it is nearest to trouble, what moves it most first.

        Columns: input; kind, the one that brings most of it; sd of the input and moves, by how much a standard deviation of it
        moves the margin, both ways; flips, the size of error in it alone at which the margin would be nought, NaN where it
        moves nothing. In mm (sd and flips in mm or mm/m), moves in the demand's unit.

        Raises SurveyError for a demand that is not there.
        """
        if isinstance(demand, bool) or not isinstance(demand, (int, np.integer)) or not 0 <= demand < len(self.verdicts.worst):
            raise SurveyError(f"there is no demand number {demand!r}", rule=f"They go from 0 to {len(self.verdicts.worst) - 1}.")
        finding, certainty = self.verdicts.worst[demand], self.verdicts.certainty
        assert certainty is not None
        effect, inputs = certainty.effect[self._row(demand)], certainty.inputs
        sign = 1.0 if finding.margin == finding.condition.room(finding.found)[0] else -1.0
        sd = inputs.sd
        moved = np.flatnonzero((effect != 0) & (sd > 0))
        table = pd.DataFrame({
            "input": [inputs.names[column] for column in moved],
            "kind": [KINDS[int(inputs.variance[:, column].argmax())] for column in moved],
            "sd": sd[moved] * 1000, "moves": sign * effect[moved] * sd[moved] * 1000,
            "flips": np.abs(finding.margin / effect[moved]) * 1000})
        return table.sort_values("moves", key=lambda moves: -moves.abs(), kind="stable", ignore_index=True)

    @property
    def kinds(self) -> pd.DataFrame:
        """A new table, a row a demand: demand place, and the share of the variance of its margin from each kind of error."""
        shares = np.array([one.kinds for one in self.verdicts.worst])
        shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-30)
        table = pd.DataFrame({"demand": [one.demand.title for one in self.verdicts.worst],
                              "place": [one.condition.place for one in self.verdicts.worst]})
        return table.assign(**{kind: share for kind, share in zip(KINDS, shares.T, strict=True) if share.any()})

    @cached_property
    def trials(self) -> Trials:
        """The whole survey and building done again and again; worked out when asked for."""
        return simulate(self.verdicts, count=self.count, seed=self.seed)

    @property
    def words(self) -> pd.DataFrame:
        """A new table for a person who has never heard of a standard deviation: demand place, in words."""
        lines = [(one.demand.title, one.condition.place, self._told(number)) for number, one in enumerate(self.verdicts.worst)]
        return pd.DataFrame(lines, columns=["demand", "place", "if you did it all again"])

    def _told(self, number: int) -> str:
        trials = self.trials
        counts = {MET: trials.met[number], TOO_CLOSE: trials.too_close[number], NOT_MET: trials.not_met[number]}
        told = [f"about {word_twenty(share)} would say '{verdict}'" for verdict, share in counts.items() if share >= 0.5 / 20]
        once = "" if self.verdicts.surveyed else ", once laid,"
        return (f"If you did this whole survey 20 times, {', '.join(told)}. The chance that the surface{once} meets the "
                f"demand is {word_chance(float(trials.inside[number]))}.")

    @property
    def left_out(self) -> pd.DataFrame:
        """A new table of what leaving out each point would do: point demand margin without unit verdict.

        `margin` and `without` are those nearest to trouble in `unit`; where nothing else tells the demand, `without` is NaN and
        the verdict says so. With a ground the volume between it and the finished surface less all layers is a row too, in m³,
        its verdict empty.
        """
        lines = []
        for point in self.errors.points:
            for number, finding in enumerate(self.verdicts.worst):
                if self._hangs_on(number, point):
                    found = self._without(point, finding.demand)
                    margin = np.nan if found is None else found[0].margin * 1000
                    lines.append((point, finding.demand.title, finding.margin * 1000, margin, finding.demand.unit,
                                  "nothing else tells it" if found is None else found[1]))
        columns = ["point", "demand", "margin", "without", "unit", "verdict"]
        return pd.DataFrame([*lines, *self._volumes()], columns=columns)

    def _hangs_on(self, number: int, point: str) -> bool:
        if point in self.verdicts.surveyed:
            return True
        return any(name == point for row in self.verdicts.places_of(number)
                   for name, _ in self.verdicts.everywhere[row].condition.on)

    def _without(self, point: str, demand: Demand) -> tuple[Finding, str] | None:
        """The finding nearest to trouble and the verdict without a point; None where nothing else tells the demand."""
        verdicts, only = self.verdicts, demand
        finish, surveyed = verdicts.finish, tuple(name for name in verdicts.surveyed if name != point)
        try:
            if isinstance(demand, AtSpots):
                only = demand.without(point)
            walls = [_wall_without(wall, point) for wall in verdicts.brief.walls]
            brief = replace(verdicts.brief, walls=tuple(walls), demands=(only,), closed=(), free=())
            if len(surveyed) < len(verdicts.surveyed):
                finish = Finish.plane(self.errors.plane_fit(surveyed).plane, verdicts.brief.area)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SurveyWarning)
                found = check_finish(finish, brief, budget=self.errors, surveyed=surveyed)
        except SurveyError:
            return None
        place = [one.demand for one in found.worst].index(only)
        return found.worst[place], found.judged[place][0]

    def _volumes(self) -> list[tuple[str, str, float, float, str, str]]:
        """The volume moved without each spot of the ground that lies inside it."""
        ground = self.ground
        if ground is None or ground.points is None or len(ground.points) < 4:
            return []
        formation = self.verdicts.finish.lowered(self.verdicts.brief.build_up)
        whole = moved_to(ground, formation)
        lines = []
        for number, point in enumerate(ground.points):
            keep = np.arange(len(ground.points)) != number
            try:
                other = Ground(ground.x[keep], ground.y[keep], ground.level[keep])
                lines.append((point, "volume moved", whole, moved_to(other, formation), "m³", ""))
            except SurveyError:
                continue
        return lines

    @property
    def what_if(self) -> pd.DataFrame:
        """A new table of what another way of measuring would do: change demand place u unit probability verdict."""
        lines = []
        for change, errors in self._changes():
            found = check_again(self.verdicts, errors)
            lines += [(change, one.demand.title, one.condition.place, (one.u or 0.0) * 1000, one.demand.unit, chance, verdict)
                      for one, (verdict, chance) in zip(found.worst, found.judged, strict=True)]
        return pd.DataFrame(lines, columns=["change", "demand", "place", "u", "unit", "probability", "verdict"])

    def _changes(self) -> list[tuple[str, LevelErrors]]:
        budget, errors = self.errors.budget, self.errors
        better = replace(budget, reading=budget.reading / 2, backsight=budget.backsight / 2, tilt_body=budget.tilt_body / 2,
                         tilt_level=budget.tilt_level / 2, collimation=budget.collimation / 2)
        half = 0.5**0.5
        twice = replace(budget, **{name: getattr(budget, name) * half for name in (
            "reading", "backsight", "placing_hard", "placing_ground", "placing_buried")})

        def under(other: ErrorBudget) -> LevelErrors:
            return other.errors(errors.reduced, instruments=errors.instruments, headings=errors.headings)
        return [("as it is", errors), ("a better instrument: half the reading, tilt and collimation", under(better)),
                ("every staff reading taken twice, the staff lifted between", under(twice)),
                ("a shot back to where it began at the end of each set-up", closed(errors)),
                ("every set-up read again with the instrument turned half round", turned_round(errors))]

    def volume_u(self) -> float | None:
        """Standard uncertainty of the volume moved in m³ from the errors of the ground's spots alone; None without a ground.

        Linear: what each spot's level adds to the exact volume, JCGM 100:2008, 5.1.
        """
        if self.ground is None or self.ground.points is None:
            return None
        where = self.errors.where
        known = [(number, where[point]) for number, point in enumerate(self.ground.points) if point in where]
        slopes = volume_slopes(self.ground, self.verdicts.finish.lowered(self.verdicts.brief.build_up))
        numbers, rows = (list(each) for each in zip(*known, strict=True))
        tape = self.errors.budget.tape * self.ground.plane_fit().plane.fall
        return float(np.sqrt(slopes[numbers] @ self.errors.covariance[np.ix_(rows, rows)] @ slopes[numbers]
                             + tape**2 * (slopes**2).sum()))

    def __repr__(self) -> str:
        return f"Sensitivity of {len(self.verdicts.worst)} verdicts, {self.verdicts.too_close} too close to call"

    def _repr_html_(self) -> str:
        most = [self.inputs(number).head(1) for number in range(len(self.verdicts.worst))]
        lines = [(one.demand.title, one.condition.place, verdict, f"{first['input'].iloc[0]}: "
                  f"{one.wide(abs(float(first['moves'].iloc[0])) / 1000)} either way" if len(first) else "")
                 for one, (verdict, _), first in zip(self.verdicts.worst, self.verdicts.judged, most, strict=True)]
        table = pd.DataFrame(lines, columns=["demand", "place", "verdict", "what moves it most, by its standard deviation"])
        return f"<p>{escape(self.verdicts.basis)}</p>" + html_table(table, words=True)


def sensitivity(verdicts: Verdicts, *, ground: Ground | None = None, trials: int = TRIALS, seed: int = 1) -> Sensitivity:
    """What moves each verdict, from verdicts with errors counted.

    Parameters
    ----------
    verdicts : Verdicts
        Of `check_finish` with a budget.
    ground : Ground, optional
        The ground today, for what each of its spots does to the volume.
    trials : int
        Simulated surveys.
    seed : int
        Of the random numbers: the same seed gives the same trials.

    Raises SurveyError for verdicts that count no errors, and for no trials.
    """
    must_be(verdicts, Verdicts, "the verdicts")
    must_be(ground, (Ground, type(None)), "the ground")
    if verdicts.errors is None:
        raise SurveyError("the verdicts count no errors", remedy="Give check_finish a budget.")
    for name, value, least in (("trials", trials, 1), ("seed", seed, 0)):
        if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
            raise SurveyError(f"{name} is {value!r}", rule=f"It is a whole number, {least} or more.")
    return Sensitivity(verdicts, ground, int(trials), int(seed))


def check_again(verdicts: Verdicts, errors: LevelErrors) -> Verdicts:
    """The same surface against the same brief with other errors."""
    finish = verdicts.finish
    if verdicts.surveyed:
        finish = Finish.plane(errors.plane_fit(verdicts.surveyed).plane, verdicts.brief.area)
    return check_finish(finish, verdicts.brief, budget=errors, surveyed=verdicts.surveyed)


def simulate(verdicts: Verdicts, *, count: int = TRIALS, seed: int = 1) -> Trials:
    """The chain from readings to verdicts, again and again, the surface held fixed.

    Each trial draws every input that bears on a demand, from a normal distribution, and judges what is then found; the true
    fall is that of both its parts, not of a straight line through them.
    """
    errors, budget = verdicts.errors, verdicts.budget
    assert errors is not None
    assert budget is not None
    draw = _drawn(verdicts)
    numbers = [verdicts.places_of(number) for number in range(len(verdicts.worst))]
    low, high = np.array([[one.condition.low if one.condition.low is not None else -np.inf,
                           one.condition.high if one.condition.high is not None else np.inf] for one in verdicts.everywhere]).T
    found = np.array([one.found for one in verdicts.everywhere])
    u = np.maximum([one.u or 0.0 for one in verdicts.everywhere], 1e-12)
    far = np.array([budget.k_of(len(rows)) for rows in numbers])
    totals = np.zeros((4, len(numbers)))
    random = np.random.default_rng(seed)
    for start in range(0, count, BLOCK):
        seen, true = draw(random, min(BLOCK, count - start), found)
        margin = np.minimum(seen - low, high - seen) / u
        inside = (true >= low) & (true <= high)
        for number, rows in enumerate(numbers):
            least = margin[:, rows].min(axis=1)
            met, failed = least >= budget.k, least <= -far[number]
            totals[:, number] += met.sum(), (failed & ~met).sum(), (~met & ~failed).sum(), inside[:, rows].all(axis=1).sum()
    return Trials(count, seed, *(totals / count))


def _drawn(verdicts: Verdicts) -> Callable[[np.random.Generator, int, Floats], tuple[Floats, Floats]]:
    """A function that draws so many trials: the numbers that would be found, and those that would be true, (trials, places)."""
    errors = verdicts.errors
    assert errors is not None
    asked = [(one.condition, facet) for one, facet in zip(verdicts.everywhere, verdicts.facets, strict=True)]
    steep = [row for row, (condition, facet) in enumerate(asked) if condition.at is None and condition.way_on(facet) is None]
    for row in steep:  # the true fall has a part square to the steepest way too
        condition, facet = asked[row]
        x, y = facet.plane.direction
        asked.append((replace(condition, toward=(-y, x) if x or y else (0.0, 1.0)), facet))
    sure = as_it_is(asked, errors, verdicts.surveyed) if verdicts.surveyed else certainty_of(asked, verdicts.finish, errors)
    effect = sure.effect * sure.inputs.sd
    moves = np.asarray(effect.any(axis=0))  # what moves nothing is not drawn
    effect, survey = effect[:, moves], int(moves[:sure.survey].sum())

    def draw(random: np.random.Generator, count: int, found: Floats) -> tuple[Floats, Floats]:
        drawn, places = random.standard_normal((count, effect.shape[1])), len(found)
        again = drawn[:, :survey] @ effect[:, :survey].T
        error = again + drawn[:, survey:] @ effect[:, survey:].T
        seen, true = found + again[:, :places], found - error[:, :places]
        for place, row in enumerate(steep, start=places):
            seen[:, row], true[:, row] = np.hypot(seen[:, row], again[:, place]), np.hypot(true[:, row], error[:, place])
        return seen, true
    return draw


def _wall_without(wall: Wall, point: str) -> Wall:
    """A wall without one of its DPC shots. Raises SurveyError where it has no other."""
    kept = [(shot, name) for shot, name in zip(wall.shots, wall.points, strict=True) if name != point]
    if len(kept) == len(wall.shots):
        return wall
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return Wall(wall.name, wall.first, wall.second, dpc=[shot for shot, _ in kept], points=[name for _, name in kept])

