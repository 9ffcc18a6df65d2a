"""Lips between units: measured at the joint, held against limits; and what two level shots can say of one."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from numbers import Real
from typing import Any, ClassVar

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import REACH
from ..surface.finish import Finish
from ..wording import word_mm
from .budget import ErrorBudget
from .certainty import Certainty
from .check import concluded
from .conditions import Condition, Corners, Demand
from .propagation import LEAST, MOSTLY, LevelErrors, inputs_of, names_of
from .verdicts import Finding, Verdicts
from .workmanship import LIPPING, one_of

MEASURES = {"rule": 0.0005 / math.sqrt(3), "feeler": 0.00005 / math.sqrt(3)}
"""Standard deviation in m of a lip by what measures it: read to half a mm, to a twentieth; common practice, no source."""
NO_LIP = 0.05  # m: what stands higher than this is a step
ACROSS = 0.15  # m: two spots no farther apart than this may stand on either side of one joint


@dataclass(frozen=True)
class Lip(Demand):
    """Let no unit stand more than `most` m above the next at a joint; `paving` is a kind in LIPPING."""

    paving: str
    most: float
    title = "lip at a joint"
    shown_by: ClassVar = "a steel rule on edge across the joint, and a feeler gauge beneath it"
    to_mend: ClassVar = "Lift the unit that stands proud ({place}) and bed it again."

    def words(self) -> str:
        return f"no lip over {word_mm(self.most, digits=1)} at a joint of {self.paving}"

    def conditions(self, brief: Any, corners: Corners = ()) -> list[Condition]:
        return []


def lipping(joints: Any, *, paving: str = "flags and natural stone", most: float | None = None, by: str = "rule",
            budget: ErrorBudget | None = None) -> Verdicts:
    """Hold lips that were measured at joints against the limit for a kind of paving.

    Parameters
    ----------
    joints : mapping or list of pairs (joint, lip), or DataFrame with the columns joint and lip_mm
        How far one unit stands above the next at each joint: in m, in the column lip_mm in mm.
    paving : str
        A kind in LIPPING, which has the limits and their sources.
    most : float, optional
        Another limit, m.
    by : "rule" or "feeler"
        What it was measured with: see MEASURES for how sure that is.
    budget : ErrorBudget, optional
        How sure a verdict must be; as usual if not given.

    Returns
    -------
    Verdicts
        A row a joint, each in three verdicts.

    Raises
    ------
    SurveyError
        No joint, a lip that is no number or higher than 50 mm, a kind that is not there.

    Source: LIPPING for the limits; how sure a rule is, common practice, no source.

    >>> found = lipping([("by the door", 0.001), ("at the gully", 0.0042)])
    >>> found.words.loc[1, ["place", "found", "verdict"]].tolist()
    ['at the gully', '4.2 mm', 'not met']
    """
    limit = one_of(LIPPING, paving, "kind of paving").value if most is None else finite(most, "the greatest lip", over=0.0)
    must_be(budget, (ErrorBudget, type(None)), "the budget")
    sd = one_of(MEASURES, by, "way to measure a lip")
    measured = _measured(joints)
    demand = Lip(paving, limit)
    findings = [Finding(demand, Condition(name, high=limit), lip, limit - lip) for name, lip in measured]
    inputs = inputs_of([(f"reading the {by} at {name}", {"reading": sd}) for name, _ in measured])
    return Verdicts(**concluded(findings, range(len(findings)), Certainty(np.eye(len(findings)), inputs, 0),
                                budget or ErrorBudget()))


def _measured(joints: Any) -> list[tuple[str, float]]:
    """Names and lips in m."""
    rule = "Joints are pairs of a name and how far one unit stands above the next, in m."
    if isinstance(joints, pd.DataFrame):
        missing = [name for name in ("joint", "lip_mm") if name not in joints]
        if missing:
            raise SurveyError(f"the table of joints has no column {' or '.join(missing)}", rule="It has joint and lip_mm.")
        pairs: Any = [(name, lip * 0.001 if isinstance(lip, Real) and not isinstance(lip, bool) else lip)
                      for name, lip in zip(joints["joint"], joints["lip_mm"].tolist(), strict=True)]
    else:
        must_be(joints, Iterable, "the joints")
        pairs = list(joints.items()) if isinstance(joints, Mapping) else list(joints)
    measured = []
    for one in pairs:
        if isinstance(one, str) or not isinstance(one, (tuple, list)) or len(one) != 2:
            raise SurveyError(f"the joint {one!r} is no pair", rule=rule)
        name = str(one[0])
        lip = finite(one[1], f"the lip at {name}", rule)
        if not 0 <= lip <= NO_LIP:
            raise SurveyError(f"the lip is {word_mm(lip)}", where=f"joint {name}", remedy="Look at the sign and the unit.",
                              rule=f"It is how far one unit stands above the next, not negative; over {word_mm(NO_LIP)} it is a "
                              "step.")
        measured.append((name, lip))
    if not measured:
        raise SurveyError("no joint was measured", remedy="Name at least one.")
    return measured


def lips_by_levels(errors: LevelErrors, points: Iterable[str], finish: Finish, *,
                   paving: str = "flags and natural stone") -> Verdicts | None:
    """Differences of level between spots on either side of a joint, less the fall of the finish, as if they were lips.

    Parameters
    ----------
    errors : LevelErrors
        Those of the book of what was laid.
    points : names of its spots
        Pairs no more than 150 mm apart are taken; None is given back where there are none.
    finish : Finish
        The design.
    paving : str
        A kind in LIPPING.

    Refuses a kind that is not there, and what are no names. Warns (SurveyWarning) that levels cannot show a lip: a difference of
    two readings is less sure than the limit is wide.

    Source: LIPPING for the limits; JCGM 100:2008, 5.2, for a difference of two readings.

    >>> import sitelevels as sl
    >>> rows = "A,,1.150,,,1.00,1\\nB,,1.154,,,1.10,1\\nBM,,,1.000,,,"
    >>> reduced = sl.reduce_book(sl.read_book(f"point,bs,is,fs,rl,x,y\\nBM,1.000,,,10.000,,\\n{rows}"))
    >>> level = sl.Finish.plane(sl.Plane(9.850, 0, 0), [(0, 0), (4, 0), (4, 2), (0, 2)])
    >>> with warnings.catch_warnings():
    ...     warnings.simplefilter("ignore", SurveyWarning)
    ...     lips_by_levels(ErrorBudget().errors(reduced), ["A", "B"], level).words.loc[0, ["found", "verdict"]].tolist()
    ['4.0 mm', 'too close to call']
    """
    must_be(errors, LevelErrors, "the errors")
    must_be(finish, Finish, "the design")
    limit = one_of(LIPPING, paving, "kind of paving")
    names = [name for name in dict.fromkeys(names_of(points)) if name in errors.where]
    places = [errors.place(name) or (math.inf, math.inf) for name in names]
    on = [math.isfinite(place[0]) and min(facet.area.distance(shapely.Point(place)) for facet in finish.facets) <= REACH
          for place in places]
    pairs = [(one, other) for one in range(len(names)) for other in range(one)
             if on[one] and on[other] and math.dist(places[one], places[other]) <= ACROSS]
    if not pairs:
        return None
    rows = [[errors.where[names[end]] for end in pair] for pair in pairs]
    steps = [abs(errors.reduced.level(names[one]) - errors.reduced.level(names[other])
                 - float(np.subtract(*finish.level_at(*np.array([places[one], places[other]]).T)))) for one, other in pairs]
    slope = max(facet.plane.fall for facet in finish.facets)
    tape = inputs_of([(f"place of {name}", {"tape": errors.budget.tape * slope}) for name in names])
    taped = np.array([np.eye(len(names))[one] - np.eye(len(names))[other] for one, other in pairs])
    demand = Lip(paving, limit.value)
    findings = [Finding(demand, Condition(f"{names[other]} to {names[one]}", high=limit.value), step, limit.value - step)
                for (one, other), step in zip(pairs, steps, strict=True)]
    effect = np.array([errors.effect[one] - errors.effect[other] for one, other in rows])
    certainty = Certainty(np.concatenate([effect, taped], axis=1), errors.inputs.joined(tape), len(errors.inputs.names))
    found = Verdicts(**concluded(findings, range(len(findings)), certainty, errors.budget))
    widest = max(max(one.u or 0.0, LEAST) for one in found.everywhere)
    warnings.warn(f"Levels cannot show a lip of {word_mm(limit.value)}: two readings, one on each side of a joint, differ by "
                  f"chance by up to {word_mm(MOSTLY * widest, digits=1)} 19 times of 20. Lay a steel rule on edge across the "
                  "joint and measure.", SurveyWarning, stacklevel=2)
    return found
