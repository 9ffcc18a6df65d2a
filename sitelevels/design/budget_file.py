"""The part [errors] of brief.toml: one's own figures for the error budget, over one's own tests, over the usual ones."""

from __future__ import annotations

from typing import Any

from ..errors import SurveyError
from ..survey.cells import number_of
from ..survey.instrument import PegSetup, repeat_readings, turn_test, two_peg_test
from ..wording import word_number
from .budget import TERMS, ErrorBudget

PER = {"_mm": 0.001, "_mm_in_10_m": 0.0001}
KEYS = {name: name + ("_mm" if term.unit == "m" else "_mm_in_10_m") for name, term in TERMS.items()}
"""The key in [errors] for each term of the budget."""


def budget_of(told: dict[str, Any]) -> ErrorBudget:
    """The error budget of a job from its file: [errors] first, then the complete tests of [instrument], then the usual figures.

    Raises SurveyError, all at once, for figures that cannot be.
    """
    part = dict(told.get("errors", {}))
    faults: list[SurveyError] = []
    budget = ErrorBudget()
    for name, test in _tests(told.get("instrument", {}), faults).items():
        budget = budget.measured(**{name: test})
    own: dict[str, Any] = {}
    for name, key in KEYS.items():
        if key in part:
            own[name] = part[key] * PER[key.removeprefix(name)]
    if "sure_percent" in part:
        own["sure"] = part["sure_percent"] / 100
    found = [(key, fault_of(name, part[key])) for name, key in {**KEYS, "sure": "sure_percent"}.items() if key in part]
    faults += [fault.at(f"brief.toml, [errors], {key}") for key, fault in found if fault is not None]
    if faults:
        raise SurveyError.together(faults)
    sources = {name: "your own figure, in brief.toml" for name in own if name in TERMS}
    return ErrorBudget(**({name: getattr(budget, name) for name in TERMS} | own), sources={**budget.sources, **sources})


def fault_of(name: str, value: float) -> SurveyError | None:
    """What is wrong with a figure as it is typed: in mm, in mm in 10 m, or in per cent for `sure`; None where nothing is."""
    unit, most = ("%", 99.9) if name == "sure" else ("mm", 100.0) if TERMS[name].unit == "m" else ("mm in 10 m", 1000.0)
    least = 50.0 if name == "sure" else 0.0
    if least <= value <= most:
        return None
    return SurveyError(f"{name.replace('_', ' ')} is {word_number(value)} {unit}",
                       rule=f"It lies between {word_number(least)} and {word_number(most)} {unit}.")


def headings_of(told: dict[str, Any]) -> dict[int, float]:
    """How far the instrument was turned at each set-up, degrees, as far as [errors] says."""
    given = told.get("errors", {}).get("headings", [])
    numbers = [number_of(str(one)) for one in given]
    if None in numbers:
        raise SurveyError(f"headings are {given!r}", where="brief.toml, [errors]",
                          rule="They are degrees in [ ], one for each set-up in turn, e.g. [0, 180].")
    return {place: float(number) for place, number in enumerate(numbers, start=1) if number is not None}


def _tests(part: dict[str, Any], faults: list[SurveyError]) -> dict[str, Any]:
    """The tests of the instrument that are complete, by the names that `ErrorBudget.measured` gives them."""
    found: dict[str, Any] = {}
    for name, count in (("repeats", 2), ("turn", 5), ("pegs", 8)):
        given = [str(one).strip() for one in part.get(name, [])]
        numbers = [number_of(one) for one in given if one]
        if None in numbers or len(numbers) < count or (name != "repeats" and len(numbers) > count):
            continue  # not finished: the form says what is missing
        read = [float(number) for number in numbers if number is not None]
        try:
            if name == "repeats":
                found[name] = repeat_readings(read)
            elif name == "turn":
                found[name] = turn_test(dict(zip((0, 90, 180, 270), read[1:], strict=True)), read[0])
            else:
                found[name] = two_peg_test(PegSetup(*read[:4]), PegSetup(*read[4:]))
        except SurveyError as error:
            faults.append(error.at(f"brief.toml, [instrument], {name}"))
    return found
