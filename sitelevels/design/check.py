"""Does a finished surface do what the brief demands, where does it fail, and what would mend it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from ..errors import SurveyError, must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from .asked import ROUNDING, asked_of, corners_of
from .brief import Brief
from .budget import ErrorBudget
from .certainty import Certainty, as_it_is, chance, nothing_read, to_be_built
from .conditions import Condition
from .propagation import LevelErrors, names_of
from .verdicts import MET, NOT_MET, TOO_CLOSE, Finding, Verdicts


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class SurfaceVerdicts(Verdicts):
    """What was found for each demand on a finished surface. Made by `check_finish`.

    `facets` of each finding in `everywhere`; `errors` and `certainty` of `everywhere` are those that are counted; `surveyed`
    names points on a surface that exists.
    """

    finish: Finish
    brief: Brief
    facets: tuple[Facet, ...]
    errors: LevelErrors | None = None
    certainty: Certainty | None = None
    surveyed: tuple[str, ...] = ()


def check_finish(finish: Finish, brief: Brief, *, budget: ErrorBudget | LevelErrors | None = None,
                 surveyed: Sequence[str] = ()) -> SurfaceVerdicts:
    """Hold a finished surface against every demand of a brief.

    Parameters
    ----------
    finish : Finish
    brief : Brief
    budget : LevelErrors or ErrorBudget, optional
        The errors to count: those of the level book that the brief was made from (`ErrorBudget.errors`), or a budget alone,
        where each point is taken to have been read once. Without it a verdict goes by the margin.
    surveyed : sequence of str, optional
        Points of that book on a surface that exists: `finish` is then the plane that was fitted through them
        (`LevelErrors.plane_fit`). Without it the surface is still to be built, and is as uncertain as setting it out on another
        day and laying it makes it.

    Returns
    -------
    Verdicts
        Each demand "met" or "not met" by its least margin, with the place and what would mend it. Where errors are counted:
        "met" if every margin is at least k·u, "not met" if some margin is −k_m·u or less, k_m from the Šidák share over m
        places, else "too close to call" (guard bands: JCGM 106:2012).

    Raises
    ------
    SurveyError
        A point of a demand more than 300 mm outside the surface; a surface that is not the plane through the points surveyed.

    Notes
    -----
    Guard bands are those of JCGM 106:2012, 9.5.2, as quoted by others; Šidák's share makes all places of a demand together as
    sure as one.

    >>> from sitelevels import Brief, Clearance, Finish, Plane, Wall
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, walls=[Wall("wall", (0, 0), (6, 0), dpc=10.0)], demands=[Clearance("wall", 0.150)])
    >>> check_finish(Finish.plane(Plane(9.848, 0.0, -1 / 60), area), brief).words.loc[0, ["found", "verdict"]].tolist()
    ['152.0 mm', 'met']
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    must_be(budget, (ErrorBudget, LevelErrors, type(None)), "the budget")
    surveyed = names_of(surveyed)
    demands, asked = asked_of(finish, brief)
    errors = nothing_read(budget) if isinstance(budget, ErrorBudget) else budget
    certainty = None if errors is None else certainty_of([one[1:] for one in asked], finish, errors, surveyed)
    if surveyed and errors is None:
        raise SurveyError("points surveyed are named and no errors are to be counted", remedy="Give the errors of the book too.")
    findings = [Finding(demands[number], condition, found := condition.found(facet), condition.margin(found))
                for number, condition, facet in asked]
    return SurfaceVerdicts(
        **concluded(findings, [number for number, _, _ in asked], certainty, errors.budget if errors else None),
        few=bool(surveyed), finish=finish, brief=brief, facets=tuple(facet for _, _, facet in asked), errors=errors,
        certainty=certainty, surveyed=tuple(surveyed))


def concluded(findings: Sequence[Finding], owners: Sequence[int], certainty: Certainty | None,
              budget: ErrorBudget | None) -> dict[str, Any]:
    """What is judged over all places of each demand, as fields of Verdicts; `owners` are the numbers of the demands."""
    if certainty is not None and budget is not None:
        findings = [replace(one, u=float(u), k=budget.k_of(1, freedom), sure=budget.sure, kinds=tuple(map(float, kinds)),
                            freedom=float(freedom))
                    for one, u, freedom, kinds in zip(findings, certainty.u, certainty.freedom, certainty.by_kind, strict=True)]
    worst, judged = [], []
    for number in dict.fromkeys(owners):
        rows = [row for row, owner in enumerate(owners) if owner == number]
        mine = [findings[row] for row in rows]
        worst.append(min(mine, key=lambda one: one.margin / one.u if one.u else one.margin * 1e12))
        judged.append(_judged(mine, rows, certainty, budget))
    return {"worst": tuple(worst), "everywhere": tuple(findings), "owners": tuple(owners), "judged": tuple(judged),
            "budget": budget}


def certainty_of(asked: Sequence[tuple[Condition, Facet]], finish: Finish, errors: LevelErrors,
                 surveyed: Sequence[str] = ()) -> Certainty:
    """How sure the numbers are: of a surface to be built, or of one that was surveyed."""
    if not surveyed:
        middle = shapely.union_all([facet.area for facet in finish.facets]).centroid
        return to_be_built(asked, errors, (middle.x, middle.y))
    plane = errors.plane_fit(surveyed).plane
    corners = np.array(corners_of(finish))
    if np.abs(plane.level_at(*corners.T) - [finish.level_at(x, y) for x, y in corners]).max() > ROUNDING:
        raise SurveyError("the surface is not the plane through the points surveyed",
                          remedy="Give Finish.plane(errors.plane_fit(points).plane, area).")
    return as_it_is(asked, errors, surveyed)


def _judged(findings: Sequence[Finding], rows: Sequence[int], certainty: Certainty | None,
            budget: ErrorBudget | None) -> tuple[str, float | None]:
    """Verdict on a demand over all its places, and the chance that it is met."""
    if certainty is None or budget is None:
        return (MET if all(one.met for one in findings) else NOT_MET), None
    far = [budget.k_of(len(rows), freedom) for freedom in certainty.freedom[rows]]
    verdict = MET if all(one.verdict == MET for one in findings) else NOT_MET if any(
        one.margin <= -sure_not * (one.u or 0.0) for one, sure_not in zip(findings, far, strict=True)) else TOO_CLOSE
    mine = certainty.of(rows)
    rooms = np.array([one.condition.room(one.found) for one in findings])
    rooms[mine.u < ROUNDING] += ROUNDING  # what is known exactly is inside where its verdict says so
    return verdict, chance(rooms, mine)
