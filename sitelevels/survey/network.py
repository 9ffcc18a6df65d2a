"""Least-squares adjustment of levelling observations between points."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from html import escape

import numpy as np
import pandas as pd

from ..errors import SurveyError, finite, must_be
from ..wording import html_table, word_number, word_share

WEIGHINGS = ("length_km", "sd", "weight")
SURE = 0.95  # of the global test and of the suspects together
MOST = 2000  # observations: what is adjusted at once


def adjust_network(observations: pd.DataFrame, known: Mapping[str, float], *,
                   sd_per_root_km: float | None = None) -> NetworkAdjustment:
    """Adjusted levels of a network of observed differences of level.

    Parameters
    ----------
    observations : DataFrame
        A row for each difference observed: columns `from`, `to`, `dh` (level of `to` minus level of `from`, m) and one of
        `length_km` (weight 1 / length), `sd` (m, weight 1 / sd²), `weight`.
    known : mapping
        Known levels in m by point; they are held.
    sd_per_root_km : float, optional
        With `length_km`: the standard deviation of one kilometre of levelling before adjustment, m, so that the weight is
        1 / (sd² × length) and the reference standard deviation is a plain number, near one if the figure is right.

    Returns
    -------
    NetworkAdjustment

    Raises
    ------
    SurveyError
        For every faulty row, all at once; for points that no observation links to a known level, by name.

    Notes
    -----
    Least squares on a level network as in Ghilani, Adjustment Computations, chapter 12; solved by the QR factors of the
    weighted equations, not by normal equations.

    >>> lines = pd.DataFrame({"from": ["A", "A", "B"], "to": ["B", "C", "C"], "dh": [1.0, 3.0, 2.003], "length_km": [1, 1, 1]})
    >>> adjust_network(lines, {"A": 10.0}).residuals.round(4).tolist()
    [-0.001, 0.001, -0.001]
    """
    must_be(observations, pd.DataFrame, "observations")
    must_be(known, Mapping, "known")
    levels = {str(point).strip(): finite(level, f"the known level of {point}") for point, level in known.items()}
    if len(levels) < len(known) or "" in levels:
        raise SurveyError(f"the known points are {', '.join(map(repr, known))}", rule="Each has a name and one level.")
    columns = [str(name) for name in observations.columns]
    weighing = [name for name in WEIGHINGS if name in columns]
    missing = [name for name in ("from", "to", "dh") if name not in columns]
    if missing or len(weighing) != 1:
        lacking = f"s {', '.join(missing)} are" if len(missing) > 1 else f" {''.join(missing)} is"
        wrong = f"the column{lacking} missing" if missing else f"{len(weighing)} columns give weights"
        raise SurveyError(wrong, where="observations", rule="They are from, to, dh and one of length_km, sd, weight.")
    if len(set(columns)) < len(columns):
        raise SurveyError("two columns have the same name", where="observations")
    if sd_per_root_km is not None:
        if weighing != ["length_km"]:
            raise SurveyError("sd_per_root_km is given without length_km", rule="It turns lengths into weights.")
        finite(sd_per_root_km, "sd_per_root_km", "It must be over nought, in m.", over=0)
    if not 0 < len(observations) <= MOST:
        raise SurveyError(f"there are {len(observations)} observations", rule=f"From 1 to {MOST} are adjusted at once.")
    faults: list[SurveyError] = []
    clean = []
    for number, (start, end, dh, given) in enumerate(observations[["from", "to", "dh", *weighing]].itertuples(index=False), 1):
        try:
            clean.append(_observation(start, end, dh, given, weighing[0]))
        except SurveyError as error:
            faults.append(error.at(f"observation {number}"))
    if faults:
        raise SurveyError.together(faults)
    table = pd.DataFrame(clean, columns=["from", "to", "dh", weighing[0]], index=observations.index)
    _refuse_loose(table, levels)
    adjustment = NetworkAdjustment(table, levels, sd_per_root_km)
    with np.errstate(all="ignore"):
        weights = adjustment.weights
    if weights.max() > 1e12 * weights.min():
        raise SurveyError("the weights differ by more than a million million times", where="observations",
                          rule="The levels would be rounding and nothing else.")
    if not ((weights > 1e-24) & (weights < 1e24)).all():
        worst = int(np.argmax(np.abs(np.log(np.clip(weights, 1e-300, 1e300)))))
        raise SurveyError(f"its {weighing[0]} makes a weight beyond all measure", where=f"observation {worst + 1}",
                          rule="Weights lie between 1e-24 and 1e24.")
    return adjustment


def _observation(start: object, end: object, dh: object, given: object, weighing: str) -> tuple[str, str, float, float]:
    names = [str(point).strip() if not pd.api.types.is_scalar(point) or not pd.isna(point) else ""  # type: ignore[call-overload]
             for point in (start, end)]
    if not all(names):
        raise SurveyError("one of its points has no name")
    if names[0] == names[1]:
        raise SurveyError(f"it goes from {names[0]} to the same point", remedy="Correct the name, or leave the line out.")
    return names[0], names[1], finite(dh, "dh"), finite(given, weighing, "It must be a number over nought, up to 1e12.", over=0)


def _refuse_loose(table: pd.DataFrame, known: Mapping[str, float]) -> None:
    """Name the points that nothing ties to a known level, one part of the network at a time."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    named = dict.fromkeys((*known, *table[["from", "to"]].to_numpy().flat))
    number = {point: place for place, point in enumerate(named)}
    lines = coo_array((np.ones(len(table)), [[*map(number.get, table[end])] for end in ("from", "to")]), shape=(len(named),) * 2)
    part = dict(zip(named, connected_components(lines, directed=False)[1].tolist(), strict=True))
    tied = {part[point] for point in known}
    loose: dict[int, list[str]] = {}
    for point in sorted(named, key=lambda point: (part[point], point)):
        if part[point] not in tied:
            loose.setdefault(part[point], []).append(point)
    if loose:
        raise SurveyError.together(
            SurveyError(f"no observation ties {', '.join(names[:12])}{' …' if len(names) > 12 else ''} to a known level",
                        rule="Every part of a network hangs on a known level.",
                        remedy="Give one of these points a level, or observe a line to them.") for names in loose.values())


@dataclass(frozen=True, eq=False)
class NetworkAdjustment:
    """A level network, adjusted. Made by `adjust_network`; `known` and all levels in m."""

    observations: pd.DataFrame
    known: Mapping[str, float]
    sd_per_root_km: float | None

    @cached_property
    def _solved(self) -> tuple[list[str], np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Points sought, their levels, cofactors of those, residuals, and redundancy numbers of the observations."""
        ends = [list(self.observations[name]) for name in ("from", "to")]
        named = dict.fromkeys(point for pair in zip(*ends, strict=True) for point in pair)
        sought = [point for point in named if point not in self.known]
        place = {point: column for column, point in enumerate(sought)}
        design = np.zeros((len(self.observations), len(sought)))
        base = min(self.known.values())  # levels are sought above this, so that a high datum costs no digits
        reduced = self.observations["dh"].to_numpy().copy()
        for row, (start, end) in enumerate(zip(*ends, strict=True)):
            for point, sign in ((start, -1.0), (end, 1.0)):
                if point in place:
                    design[row, place[point]] = sign
                else:
                    reduced[row] -= sign * (self.known[point] - base)
        root = np.sqrt(self.weights)
        q, r = np.linalg.qr(root[:, None] * design)
        above = np.linalg.solve(r, q.T @ (root * reduced))
        inverse = np.linalg.solve(r, np.eye(len(sought)))
        return sought, base + above, (inverse**2).sum(axis=1), design @ above - reduced, 1 - (q**2).sum(axis=1)

    @property
    def weights(self) -> np.ndarray:
        """The weight of each observation."""
        name = self.observations.columns[-1]
        given = self.observations[name].to_numpy()
        per_km = 1.0 if self.sd_per_root_km is None else self.sd_per_root_km**2
        return np.asarray({"length_km": 1 / (per_km * given), "sd": given**-2.0, "weight": given}[name])

    @property
    def levels(self) -> pd.Series:
        """Adjusted levels in m by point, known ones among them."""
        sought, levels, *_ = self._solved
        return pd.Series({**dict(zip(sought, levels, strict=True)), **self.known}, name="level", dtype=float)

    @property
    def residuals(self) -> pd.Series:
        """Adjusted minus observed difference of level, m, a value for each observation."""
        return pd.Series(self._solved[3], index=self.observations.index, name="residual")

    @property
    def redundancy(self) -> int:
        """Observations over and above those that the levels need."""
        return len(self.observations) - len(self._solved[0])

    @property
    def square_sum(self) -> float:
        """Σ weight × residual²."""
        return float((self.weights * self._solved[3]**2).sum())

    @property
    def reference_sd(self) -> float | None:
        """√(Σ weight × residual² / redundancy): the standard deviation of an observation of weight one, after adjustment.

        Plain with `sd` or `sd_per_root_km`, m per √km with `length_km`; None where nothing is redundant.
        """
        return math.sqrt(self.square_sum / self.redundancy) if self.redundancy else None

    @property
    def sd(self) -> pd.Series | None:
        """Standard deviations of the adjusted levels, m, after adjustment (reference_sd × √cofactor); nought for known ones.

        None where nothing is redundant.
        """
        if self.reference_sd is None:
            return None
        sought, _, cofactors, *_ = self._solved
        sds = dict(zip(sought, self.reference_sd * np.sqrt(cofactors), strict=True))
        return pd.Series({**sds, **dict.fromkeys(self.known, 0.0)}, name="sd", dtype=float)

    @property
    def redundancy_numbers(self) -> pd.Series:
        """How much of an error in each observation its own residual would show, from 0 (none of it) to 1."""
        return pd.Series(np.clip(self._solved[4], 0.0, 1.0), index=self.observations.index, name="redundancy_number")

    @property
    def global_probability(self) -> float | None:
        """Chance of residuals at least so large if the standard deviations given beforehand are right (chi-square).

        None without standard deviations, or where nothing is redundant.
        """
        told_before = self.sd_per_root_km is not None or self.observations.columns[-1] == "sd"
        if not told_before or not self.redundancy:
            return None
        from scipy import stats
        return float(stats.chi2.sf(self.square_sum, self.redundancy))

    @property
    def table(self) -> pd.DataFrame:
        """A new table: from to dh, weights as given, residual (m), redundancy_number, studentised residual, suspect.

        The studentised residual is external: against the other observations. It is empty where these cannot tell.
        """
        return self._table.copy()

    @cached_property
    def _table(self) -> pd.DataFrame:
        numbers, residuals = self.redundancy_numbers, self.residuals
        shown = (numbers > 1e-9).to_numpy()
        standard = np.full(len(numbers), np.nan)  # an empty cell, no level
        standard[shown] = (np.sqrt(self.weights) * residuals)[shown] / np.sqrt(numbers[shown])
        table = self.observations.assign(residual=residuals, redundancy_number=numbers, studentised=np.nan, suspect=False)
        if self.redundancy < 2:
            return table
        left = (self.square_sum - standard**2) / (self.redundancy - 1)  # reference variance without this one
        noise = (1e-9**2) * self.weights  # binary rounding of the residuals themselves
        table["studentised"] = standard / np.sqrt(np.maximum(left, noise))
        return table.assign(suspect=table["studentised"].abs() > self._critical)

    @property
    def _critical(self) -> float:
        """Student's t at the share of each observation (Bonferroni)."""
        from scipy import stats
        return float(stats.t.isf((1 - SURE) / (2 * len(self.observations)), self.redundancy - 1))

    @property
    def suspects(self) -> pd.DataFrame:
        """A new table: the rows of `.table` whose studentised residual is too large, the largest first."""
        suspects = self._table.query("suspect")
        return suspects.sort_values("studentised", key=abs, ascending=False)

    @property
    def words(self) -> str:
        """What the adjustment says, in sentences."""
        said = [f"{len(self.observations)} observations, {len(self._solved[0])} levels sought, redundancy {self.redundancy}."]
        if self.reference_sd is None:
            return said[0] + " Nothing is redundant: a slip in any line would not show."
        said.append(f"Reference standard deviation {word_number(self.reference_sd, figures=4)}.")
        if (chance := self.global_probability) is not None:
            fits = "fit" if chance >= 1 - SURE else "do NOT fit"
            share = "less than 1%" if chance < 0.01 else word_share(chance)
            said.append(f"The residuals {fits} the standard deviations given: by chance, residuals at least so large come "
                        f"{share} of the time.")
        blind = self.observations[(self.redundancy_numbers < 1e-9).to_numpy()]
        if not blind.empty:
            lines = ", ".join(f"{start} to {end}" for start, end in zip(blind["from"], blind["to"], strict=True))
            said.append(f"No other line checks {lines}.")
        if self.redundancy < 2:
            said.append("The redundancy is too small to tell which line is at fault.")
        elif self.suspects.empty:
            said.append("No line stands out.")
        else:
            size = self.suspects["studentised"].abs()
            first = self.suspects[size > size.max() * (1 - 1e-6)]  # lines that nothing tells apart are named together
            lines = " or ".join(f"{start} to {end}" for start, end in zip(first["from"], first["to"], strict=True))
            said.append(f"The line {lines} stands out: look there first.")
        return " ".join(said)

    def __repr__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        points = pd.DataFrame({"level, m": self.levels}).assign(**({} if self.sd is None else {"sd, m": self.sd}))
        return f"<p>{escape(self.words)}</p>" + html_table(points, index=True, digits=4) + html_table(self.table, digits=4)
