"""What moves each verdict, what would flip it, and how often a survey like this one would say the same."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, must_be, whole
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..wording import html_table, word_chance, word_mm, word_number, word_share, word_twenty, word_volume
from .brief import Wall
from .budget import ErrorBudget
from .check import SurfaceVerdicts, check_finish
from .conditions import AtSpots, Demand
from .further import closed, turned_round
from .propagation import KINDS, MOSTLY, LevelErrors
from .simulation import TRIALS, Trials, simulate
from .verdicts import MET, NOT_MET, TOO_CLOSE, Finding
from .volume import moved_to, volume_slopes

CHANGES = ("as it is", "a better instrument", "every reading twice", "closing shots", "read again, turned half round")
MOST_TRIALS = 10_000_000
UNLIKELY = 5.0  # standard deviations: nobody waits for such an error
AT_LIMIT = 5e-5  # m or m/m: a margin that is shown as 0.0
SHOWN = 8  # inputs by name in a table or picture; the rest together


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """What moves each verdict, told in mm or mm/m. Made by `sensitivity`."""

    verdicts: SurfaceVerdicts
    ground: Ground | None
    count: int
    seed: int

    @property
    def errors(self) -> LevelErrors:
        """The errors that are counted."""
        assert self.verdicts.errors is not None
        return self.verdicts.errors

    def inputs(self, demand: int) -> pd.DataFrame:
        """A new table of what moves one demand's margin where it is nearest to trouble, what moves it most first.

        Columns: input; kind, the one that brings most of it; sd of the input and moves, by how much a standard deviation of it
        moves the margin, both ways; flips, the size of error in it alone at which the margin would be nought, NaN where it
        moves nothing. In mm (sd and flips in mm or mm/m), moves in the demand's unit.

        Raises SurveyError for a demand that is not there.
        """
        row = self.verdicts.worst_row(demand)
        finding, certainty = self.verdicts.worst[demand], self.verdicts.certainty
        assert certainty is not None
        effect, inputs = certainty.effect[row], certainty.inputs
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

    @property
    def kinds_words(self) -> pd.DataFrame:
        """`kinds` as a new table of words, shares in per cent."""
        table = self.kinds
        return table.assign(**{kind: table[kind].map(word_share) for kind in table.columns[2:]})

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

    def inputs_words(self, demand: int) -> pd.DataFrame:
        """The first SHOWN of `inputs` as a new table of words: input, what it moves, what would flip the verdict."""
        table = self.inputs(demand).head(SHOWN)
        finding = self.verdicts.worst[demand]
        flips = ["it is at the limit already" if abs(finding.margin) < AT_LIMIT else
                 "no likely error of it alone" if size > UNLIKELY * sd else
                 word_number(size, figures=2) + (" mm/m" if name.startswith(("tilt", "collimation")) else " mm")
                 for name, sd, size in zip(table["input"], table["sd"], table["flips"], strict=True)]
        moves = [finding.wide(abs(one) / 1000) for one in table["moves"]]
        return pd.DataFrame({"input": table["input"], "usually moves the margin by": moves,
                             "an error that brings it to the limit": flips})

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

    @cached_property
    def _formation(self) -> Finish:
        return self.verdicts.finish.lowered(self.verdicts.brief.build_up)

    def _volumes(self) -> list[tuple[str, str, float, float, str, str]]:
        """The volume moved without each spot of the ground that lies inside it."""
        ground = self.ground
        if ground is None or ground.points is None or len(ground.points) < 4:
            return []
        whole = moved_to(ground, self._formation)
        lines = []
        for number, point in enumerate(ground.points):
            keep = np.arange(len(ground.points)) != number
            try:
                other = Ground(ground.x[keep], ground.y[keep], ground.level[keep])
                lines.append((point, "volume moved", whole, moved_to(other, self._formation), "m³", ""))
            except SurveyError:
                continue
        return lines

    @property
    def what_if(self) -> pd.DataFrame:
        """A new table of what another way of measuring would do: change demand place u unit probability verdict.

        The changes are those of CHANGES: nothing; an instrument with half the reading error, tilt and collimation; every reading
        taken twice, the staff lifted between; a shot back to where it began at the end of each set-up that has no check there;
        every set-up read again with the instrument turned half round.
        """
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
        return list(zip(CHANGES, (errors, under(better), under(twice), closed(errors), turned_round(errors)), strict=True))

    @property
    def left_out_words(self) -> pd.DataFrame:
        """`left_out` as a new table of words, where something changes: the demands, and the SHOWN spots that move most volume."""
        table = self.left_out
        demands = table[(table["unit"] != "m³") & ~(table["margin"] == table["without"])]
        volumes = table[table["unit"] == "m³"]
        most = (volumes["without"] - volumes["margin"]).abs().sort_values(ascending=False, kind="stable").index[:SHOWN]
        lines = []
        for point, demand, margin, without, unit, verdict in pd.concat([demands, volumes.loc[most]]).itertuples(index=False):
            words = (word_volume if unit == "m³" else lambda one, unit=unit: word_mm(one / 1000, digits=1) + unit[2:])
            lines.append((point, demand, words(margin), "" if np.isnan(without) else words(without), verdict))
        return pd.DataFrame(lines, columns=["without", "demand", "in hand now", "in hand without it", "verdict without it"])

    @property
    def what_if_words(self) -> pd.DataFrame:
        """`what_if` as a new table of words: a row a demand, a column each change, the give or take and the verdict in it."""
        table = self.what_if
        k = self.errors.budget.k
        cells = [f"± {word_mm(k * u / 1000, digits=1)}{unit[2:]}, {verdict}"
                 for u, unit, verdict in zip(table["u"], table["unit"], table["verdict"], strict=True)]
        count = len(self.verdicts.worst)
        columns = {change: cells[start:start + count] for change, start in zip(CHANGES, range(0, len(cells), count), strict=True)}
        return pd.DataFrame({"demand": [one.demand.title for one in self.verdicts.worst], **columns})

    @property
    def volume_words(self) -> str:
        """The volume moved and how sure it is, in a sentence."""
        u = self.volume_u()
        if u is None or self.ground is None:
            return "There is no ground to count a volume from."
        return (f"{word_volume(moved_to(self.ground, self._formation))} are moved between the spots that were read; done 20 "
                f"times, the survey would find that within {word_volume(MOSTLY * u)} about 19 times (by linear propagation; "
                "what the ground does between spots is not counted).")

    def volume_u(self) -> float | None:
        """Standard uncertainty of the volume moved in m³ from the errors of the ground's spots; None where no book tells these.

        Linear: what each spot's level adds to the exact volume, JCGM 100:2008, 5.1.
        """
        where, points = self.errors.where, self.ground.points if self.ground else None
        known = [(number, where[point]) for number, point in enumerate(points or ()) if point in where]
        if self.ground is None or not known:
            return None
        slopes = volume_slopes(self.ground, self._formation)
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


def sensitivity(verdicts: SurfaceVerdicts, *, ground: Ground | None = None, trials: int = TRIALS, seed: int = 1) -> Sensitivity:
    """What moves each verdict, from verdicts with errors counted.

    Parameters
    ----------
    verdicts : SurfaceVerdicts
        Of `check_finish` with a budget.
    ground : Ground, optional
        The ground today, for what each of its spots does to the volume.
    trials : int
        Simulated surveys.
    seed : int
        Of the random numbers: the same seed gives the same trials.

    Refuses verdicts that count no errors or hold no demand, and no trials. Tables are in mm or mm/m.

    Source: JCGM 100:2008, 5.1, for what moves a margin; JCGM 101:2008 (from memory) for the simulated surveys.

    >>> import sitelevels as sl
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = sl.Brief(area, walls=[sl.Wall("wall", (0, 0), (6, 0), dpc=10.0)], demands=[sl.Clearance("wall", 0.150)])
    >>> finish = sl.Finish.plane(sl.Plane(9.848, 0.0, -1 / 60), area)  # 152 mm below the DPC
    >>> found = sensitivity(check_finish(finish, brief, budget=ErrorBudget(laying=0.020)))
    >>> found.inputs(0)["kind"][0], round(float(found.inputs(0)["flips"][0]), 3)  # mm
    ('laying', 2.0)
    """
    must_be(verdicts, SurfaceVerdicts, "the verdicts")
    must_be(ground, (Ground, type(None)), "the ground")
    if verdicts.errors is None:
        raise SurveyError("the verdicts count no errors", remedy="Give check_finish a budget.")
    if not verdicts.worst:
        raise SurveyError("nothing is demanded of the surface", remedy="Put demands into the brief.")
    return Sensitivity(verdicts, ground, whole(trials, "trials", 1, MOST_TRIALS), whole(seed, "seed", 0, MOST_TRIALS))


def check_again(verdicts: SurfaceVerdicts, errors: LevelErrors) -> SurfaceVerdicts:
    """The same surface against the same brief with other errors."""
    finish = verdicts.finish
    if verdicts.surveyed:
        finish = Finish.plane(errors.plane_fit(verdicts.surveyed).plane, verdicts.brief.area)
    return check_finish(finish, verdicts.brief, budget=errors, surveyed=verdicts.surveyed)


def _wall_without(wall: Wall, point: str) -> Wall:
    """A wall without one of its DPC shots. Raises SurveyError where it has no other."""
    kept = [(shot, name) for shot, name in zip(wall.shots, wall.points, strict=True) if name != point]
    if len(kept) == len(wall.shots):
        return wall
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return Wall(wall.name, wall.first, wall.second, dpc=[shot for shot, _ in kept], points=[name for _, name in kept])

