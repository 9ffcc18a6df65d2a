"""The part [errors] of brief.toml, and the tests of the instrument that stand in for the usual figures."""

import math
from typing import Any

import pytest

from sitelevels import ErrorBudget, SurveyError
from sitelevels.design.brief_file import read_brief
from sitelevels.design.budget import TERMS
from sitelevels.design.budget_file import KEYS, budget_of, headings_of

REPEATS = ["1.412", "1.413", "1.411", "1.412"]  # squares about the mean 0, 1, 1, 0 mm²: sd √(2/3) mm
TURN = ["30", "1.503", "1.499", "1.497", "1.501"]  # 3 mm up in front, 1 mm down to the left, in 30 m
PEGS = ["1.283", "0.860", "25", "25", "1.612", "1.219", "55", "5"]  # printed: −0.03 m in 50 m (Uren and Price, as found quoted)


def told(text: str) -> dict[str, Any]:
    return read_brief(f"format = 1\n{text}")


class TestFigures:
    def test_without_the_part_they_are_the_usual_ones(self) -> None:
        assert budget_of(told("")) == ErrorBudget()

    def test_every_term_has_a_key_and_comes_in_in_its_unit(self) -> None:
        for name, term in TERMS.items():
            per = {"m": 0.001, "m/m": 0.001 / 10}[term.unit]
            budget = budget_of(told(f"[errors]\n{KEYS[name]} = 2.5\n"))
            assert getattr(budget, name) == pytest.approx(2.5 * per, rel=1e-12)
            assert budget.sources[name] == "your own figure, in brief.toml"
            others = set(TERMS) - {name}
            assert all(getattr(budget, other) == getattr(ErrorBudget(), other) for other in others)

    def test_how_sure(self) -> None:
        # 1 % with four degrees of freedom, 3.75; the documentation of a public source file on conformity (quoted by others)
        budget = budget_of(told("[errors]\nsure_percent = 99\n"))
        assert budget.k_of(1, 4) == pytest.approx(3.75, abs=0.005)
        assert budget.k == pytest.approx(2.33, abs=0.005)

    @pytest.mark.parametrize(("line", "said"), [
        ("reading_mm = -1", "reading_mm"), ("reading_mm = 200", "between 0 and 100 mm"), ('reading_mm = "1"', "a number"),
        ("reading_mm = true", "a number"), ("reading_mm = nan", "a number"), ("reading = 1", "is not known here"),
        ("sure_percent = 100", "between 50 and 99.9 %"), ("sure_percent = 5", "between 50 and 99.9 %"),
        ("headings = 180", "a list"), ("tilt_body_mm_in_10_m = [1]", "a number")])
    def test_what_cannot_be_is_refused_by_its_key(self, line: str, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            budget_of(told(f"[errors]\n{line}\n"))

    def test_all_that_is_wrong_is_told_at_once(self) -> None:
        with pytest.raises(SurveyError) as refused:
            budget_of(told("[errors]\nreading_mm = -1\nzero_mm = 900\nsure_percent = 20\n"))
        assert len(refused.value.problems) == 3

    def test_headings(self) -> None:
        assert headings_of(told('[errors]\nheadings = [0, "180", 90.5]\n')) == {1: 0.0, 2: 180.0, 3: 90.5}
        assert headings_of(told("")) == {}
        with pytest.raises(SurveyError, match="degrees"):
            headings_of(told('[errors]\nheadings = [0, "north"]\n'))


class TestOwnTests:
    def with_tests(self, **tests: list[str]) -> ErrorBudget:
        lines = "\n".join(f"{name} = {values!r}" for name, values in tests.items())
        return budget_of(told(f"[instrument]\n{lines}\n"))

    def test_repeats(self) -> None:
        budget = self.with_tests(repeats=REPEATS)
        assert (budget.reading, budget.backsight) == (pytest.approx(0.001 * math.sqrt(2 / 3)),) * 2
        assert budget.sources["reading"] == "your repeat readings"

    def test_repeats_all_alike_say_no_more_than_the_last_digit(self) -> None:
        """A figure read to 1 mm is anywhere within it: 1/√12 mm (JCGM 100:2008, F.2.2.1)."""
        assert self.with_tests(repeats=["1.412"] * 5).reading == pytest.approx(0.001 / math.sqrt(12))

    def test_turn(self) -> None:
        assert self.with_tests(turn=TURN).tilt_body == pytest.approx(math.hypot(0.003, 0.001) / 30 / math.sqrt(2))

    def test_pegs(self) -> None:
        budget = self.with_tests(pegs=PEGS)
        # four readings of 1 mm over a reach of 50 m, beside 30 mm in 50 m
        assert budget.collimation == pytest.approx(math.hypot(0.03 / 50, 0.001 * 2 / 50))

    def test_a_figure_of_ones_own_goes_before_a_test(self) -> None:
        text = f"[instrument]\nrepeats = {REPEATS!r}\n[errors]\nreading_mm = 2\n"
        budget = budget_of(told(text))
        assert budget.reading == pytest.approx(0.002)
        assert budget.backsight == pytest.approx(0.001 * math.sqrt(2 / 3))

    @pytest.mark.parametrize("unfinished", [
        {"repeats": ["1.412"]}, {"repeats": ["1.4", "x"]}, {"turn": TURN[:3]}, {"turn": [*TURN[:4], ""]}, {"pegs": PEGS[:7]}])
    def test_one_that_is_not_finished_counts_for_nothing(self, unfinished: dict[str, list[str]]) -> None:
        assert self.with_tests(**unfinished) == ErrorBudget()

    def test_one_that_cannot_be_is_told(self) -> None:
        with pytest.raises(SurveyError, match=r"\[instrument\], pegs"):
            self.with_tests(pegs=[*PEGS[:6], *PEGS[2:4]])
