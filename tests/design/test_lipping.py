"""Lips at joints: published limits typed in, verdicts by rule and feeler by hand, and what two level shots can say of one."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import ErrorBudget, Finish, Plane
from sitelevels.design.lipping import lipping, lips_by_levels
from sitelevels.design.workmanship import LIPPING
from sitelevels.errors import SurveyError, SurveyWarning
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import reduce_book

steady = settings(deadline=None, max_examples=60, derandomize=True)
MET, CLOSE, NOT_MET = "met", "too close to call", "not met"

PUBLISHED = {
    "flags and natural stone": (2.0, "BS 7533", "635"),
    "block paving": (2.0, "BS 7533", "635"),
    "interlocking paving": (3.0, "ICPI construction tolerances guide", ""),
    "accessible paving, flush joint": (5.0, "BS 8300", "637"),
    "accessible paving, open joint": (2.0, "BS 8300", "637"),
}
"""Greatest lip in mm, document and clause: of BS 7533 and BS 8300 as a national specification clause in a project specification
has them (quoted; the standards were not seen), of the ICPI guide as its text says (1/8 in; text read)."""

K = 1.6448536  # of a normal distribution: 5 of 100 lie above
RULE, FEELER = 0.5 / math.sqrt(3), 0.05 / math.sqrt(3)  # mm: half a mm, a twentieth either way, any value as likely


class TestLimits:
    def test_kinds(self) -> None:
        assert set(LIPPING) == set(PUBLISHED)

    @pytest.mark.parametrize("kind", PUBLISHED)
    def test_as_published(self, kind: str) -> None:
        most, document, clause = PUBLISHED[kind]
        told = LIPPING[kind]
        assert told.value * 1000 == pytest.approx(most, abs=1e-12)
        assert told.unit == "m"
        assert document in told.document
        assert clause in told.clause
        assert told.confidence.startswith("text read" if "ICPI" in document else "quoted by others")

    @pytest.mark.parametrize("kind", PUBLISHED)
    @pytest.mark.parametrize("by", ["rule", "feeler"])
    def test_three_verdicts(self, kind: str, by: str) -> None:
        """u is that of the rule or the feeler, alone; met from k·u inside on, not met from k·u outside on."""
        most = PUBLISHED[kind][0]
        u = {"rule": RULE, "feeler": FEELER}[by]
        for inside, verdict in ((1.05, MET), (0.95, CLOSE), (-0.95, CLOSE), (-1.05, NOT_MET)):
            lip = most - inside * K * u
            found = lipping([("door", lip / 1000)], paving=kind, by=by)
            assert found.judged[0][0] == verdict
            assert found.worst[0].margin * 1000 == pytest.approx(most - lip, abs=1e-9)
            assert (found.worst[0].u or 0.0) * 1000 == pytest.approx(u, rel=1e-9)

    def test_in_whole_numbers(self) -> None:
        """Flags by the rule, k·u = 0.475 mm: 1.5 mm is met, 2.0 is not to be told, 2.5 is not met."""
        verdicts = [lipping({"a": lip}).judged[0][0] for lip in (0.0015, 0.002, 0.0025)]
        assert verdicts == [MET, CLOSE, NOT_MET]

    def test_another_limit(self) -> None:
        assert lipping({"a": 0.0035}, most=0.005).judged[0][0] == MET
        assert lipping({"a": 0.0035}).judged[0][0] == NOT_MET

    def test_how_sure_is_the_budgets(self) -> None:
        """99 of 100: k = 2.3263, 0.672 mm; half and half: k = 0."""
        assert lipping({"a": 0.0014}, budget=ErrorBudget(sure=0.99)).judged[0][0] == CLOSE
        assert lipping({"a": 0.0014}).judged[0][0] == MET
        assert lipping({"a": 0.00199}, budget=ErrorBudget(sure=0.5)).judged[0][0] == MET


class TestManyJoints:
    def test_every_joint_has_its_row_and_its_verdict(self) -> None:
        lips = {"a": 0.0004, "b": 0.0042, "c": 0.0016}
        found = lipping(lips)
        assert [one.condition.place for one in found.worst] == ["a", "b", "c"]
        assert found.table["place"].tolist() == ["a", "b", "c"]
        assert found.table["found"].tolist() == pytest.approx([0.4, 4.2, 1.6])
        assert found.table["margin"].tolist() == pytest.approx([1.6, -2.2, 0.4])
        assert found.table["verdict"].tolist() == [MET, NOT_MET, CLOSE]
        assert "4.2 mm" in found.html()

    def test_each_is_judged_by_itself(self) -> None:
        """2.6 mm is 2.078 u over the limit, more than 1.645, however many other joints were measured."""
        rest = {f"j{number}": 0.0 for number in range(9)}
        assert lipping({**rest, "x": 0.0026}).judged[-1][0] == lipping({"x": 0.0026}).judged[0][0] == NOT_MET

    def test_the_chance_of_each(self) -> None:
        """Two apart from each other, each just at the limit: a half each."""
        assert [chance for _, chance in lipping({"a": 0.002, "b": 0.002}).judged] == pytest.approx([0.5, 0.5], abs=1e-9)


class TestUnits:
    @pytest.mark.parametrize("joints", [[("a", 0.0042)], {"a": 0.0042}, [["a", 0.0042]], {"a": np.float64(0.0042)},
                                        pd.DataFrame({"joint": ["a"], "lip_mm": [4.2]}),
                                        pd.DataFrame({"joint": ["a"], "lip_mm": [4.2], "who": ["x"]})])
    def test_metres_or_the_column_in_mm(self, joints: Any) -> None:
        found = lipping(joints)
        assert found.worst[0].found == pytest.approx(0.0042, abs=1e-12)
        assert found.words.loc[0, "found"] == "4.2 mm"

    def test_a_column_of_whole_numbers(self) -> None:
        assert lipping(pd.DataFrame({"joint": ["a", "b"], "lip_mm": [1, 3]})).places["found"].tolist() == pytest.approx([1, 3])

    def test_millimetres_for_metres(self) -> None:
        with pytest.raises(SurveyError, match=r"Joint a: the lip is 3000 mm.*over 50 mm it is a step.*the unit"):
            lipping([("a", 3.0)])

    def test_what_is_a_step(self) -> None:
        assert lipping([("a", 0.05)]).judged[0][0] == NOT_MET
        with pytest.raises(SurveyError, match="it is a step"):
            lipping([("a", 0.051)])
        with pytest.raises(SurveyError, match="not negative"):
            lipping([("a", -0.003)])


class TestRefused:
    @pytest.mark.parametrize("joints", [
        None, 3, "door", [], {}, ["door"], [("a",)], [("a", 0.001, 2)], [("a", None)], [("a", "x")], [("a", math.nan)],
        [("a", math.inf)], [("a", True)], [3], [None], {"a": [0.001]}, pd.DataFrame({"joint": ["a"]}),
        pd.DataFrame({"lip_mm": [3.0]}), pd.DataFrame(), pd.DataFrame({"joint": ["a"], "lip_mm": [math.nan]}),
        pd.DataFrame({"joint": ["a"], "lip_mm": [None]}), pd.DataFrame({"joint": ["a"], "lip_mm": ["three"]})],
        ids=lambda odd: type(odd).__name__)
    def test_odd_joints(self, joints: Any) -> None:
        with pytest.raises(SurveyError):
            lipping(joints)

    def test_yes_and_no_in_the_column(self) -> None:
        with pytest.raises(SurveyError):
            lipping(pd.DataFrame({"joint": ["a"], "lip_mm": [True]}))

    def test_a_kind_that_is_not_there_lists_those_that_are(self) -> None:
        with pytest.raises(SurveyError, match=r"no kind of paving called 'slate'.*flags and natural stone.*interlocking paving"):
            lipping([("a", 0.001)], paving="slate")

    @pytest.mark.parametrize("by", ["eye", None, 3])
    def test_a_way_to_measure_that_is_not_there(self, by: Any) -> None:
        with pytest.raises(SurveyError, match="'rule', 'feeler'"):
            lipping([("a", 0.001)], by=by)

    @pytest.mark.parametrize("most", [0.0, -0.002, math.nan, "2", True])
    def test_another_limit_is_above_nought(self, most: Any) -> None:
        with pytest.raises(SurveyError, match="greatest lip"):
            lipping([("a", 0.001)], most=most)

    @pytest.mark.parametrize("kind", [None, 3, ["flags and natural stone"]])
    def test_kinds_that_are_no_name(self, kind: Any) -> None:
        with pytest.raises(SurveyError, match="kind of paving"):
            lipping([("a", 0.001)], paving=kind)

    @pytest.mark.parametrize("budget", ["usual", 0, {}])
    def test_a_budget_that_is_none(self, budget: Any) -> None:
        with pytest.raises(SurveyError):
            lipping([("a", 0.001)], budget=budget)

    @steady
    @given(st.one_of(st.none(), st.text(), st.integers(), st.lists(st.one_of(
        st.none(), st.text(), st.floats(), st.tuples(st.text(), st.one_of(st.floats(), st.none(), st.text(), st.booleans()))))))
    def test_nothing_but_sentences_and_no_nan(self, joints: Any) -> None:
        try:
            found = lipping(joints)
        except SurveyError:
            return
        assert np.isfinite(found.places[["found", "margin", "u"]].to_numpy(dtype=float)).all()


# No two figures are alike. Lengths in m, slopes in m/m.
READING, SOFT, TILT_BODY, TILT_SELF, CONE, TAPE = 0.0011, 0.0023, 0.00012, 0.00005, 0.00009, 0.012
OWN = ErrorBudget(READING, 0.0007, SOFT, 0.0031, 0.0013, 0.0005, TILT_BODY, TILT_SELF, CONE, TAPE, 0.0029)
AREA = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
FALL = 0.02
FINISH = Finish.plane(Plane(9.84, 0.0, -FALL), AREA)
STOOD = (4.0, -1.0)


def errors(spots: dict[str, tuple[float, float, float]], budget: ErrorBudget = OWN) -> Any:
    """One set-up, from which every spot is read once."""
    rows = [Row(1, "BM", bs=1.5, rl=9.5, feature="benchmark", x=2.0, y=-3.0)]
    rows += [Row(number, name, is_=11.0 - level, x=x, y=y) for number, (name, (x, y, level)) in enumerate(spots.items(), start=2)]
    return budget.errors(reduce_book(LevelBook(tuple(rows))), instruments={1: STOOD})


def by_levels(spots: dict[str, tuple[float, float, float]], points: Any = None, **options: Any) -> Any:
    with pytest.warns(SurveyWarning, match="Levels cannot show a lip of"):
        return lips_by_levels(errors(spots), list(spots) if points is None else points, FINISH, **options)


PAIR = {"A": (2.0, 2.0, 9.800), "B": (2.0, 2.1, 9.800)}
"""Either side of a joint, 0.1 m apart down the fall of 20 mm/m: read alike, so B stands 2 mm above where it should beside A."""


class TestByLevels:
    def test_the_fall_between_them_is_taken_off(self) -> None:
        found = by_levels(PAIR)
        assert found.worst[0].found == pytest.approx(0.002, abs=1e-9)
        level = by_levels({"A": (2.0, 2.0, 9.800), "B": (2.0, 2.1, 9.798)})
        assert level.worst[0].found == pytest.approx(0.0, abs=1e-9)
        both_high = by_levels({"A": (2.0, 2.0, 9.805), "B": (2.0, 2.1, 9.804)})  # 5 and 6 mm above the finish
        assert both_high.worst[0].found == pytest.approx(0.001, abs=1e-9)
        along = by_levels({"A": (2.0, 2.0, 9.800), "B": (2.1, 2.0, 9.803)})
        assert along.worst[0].found == pytest.approx(0.003, abs=1e-9)

    def test_it_names_the_two(self) -> None:
        assert by_levels(PAIR).worst[0].condition.place == "A to B"

    def test_uncertainty_by_hand(self) -> None:
        """Two readings and two places of the staff, the tilt over 0.1 m, the cone, two taped places."""
        cone = CONE * (math.dist((2.0, 2.1), STOOD) - math.dist((2.0, 2.0), STOOD))
        u2 = 2 * (READING**2 + SOFT**2) + (TILT_BODY**2 + TILT_SELF**2) * 0.1**2 + cone**2 + 2 * (TAPE * FALL)**2
        assert by_levels(PAIR).worst[0].u == pytest.approx(math.sqrt(u2), rel=1e-9)

    def test_the_warning_has_both_numbers(self) -> None:
        """1.96 · 3.62 mm = 7.1 mm of chance against a limit of 3 mm."""
        u = math.sqrt(2 * (READING**2 + SOFT**2) + 2 * (TAPE * FALL)**2)  # the rest is far below a tenth of a mm
        assert 1000 * 1.96 * u == pytest.approx(7.10, abs=0.02)
        with pytest.warns(SurveyWarning, match=r"lip of 3 mm.*up to 7\.1 mm 19 times of 20.*steel rule"):
            lips_by_levels(errors(PAIR), ["A", "B"], FINISH, paving="interlocking paving")

    def test_finer_than_levels_can_show(self) -> None:
        """2 mm of limit against k·u = 6 mm: nothing is met."""
        found = by_levels({"A": (2.0, 2.0, 9.800), "B": (2.0, 2.1, 9.798)})
        assert found.judged[0][0] == CLOSE

    def test_none_where_no_two_stand_together(self) -> None:
        apart = {"A": (2.0, 2.0, 9.8), "B": (2.0, 2.2, 9.796), "C": (5.0, 1.0, 9.82)}
        assert lips_by_levels(errors(apart), list(apart), FINISH) is None
        assert lips_by_levels(errors(apart), [], FINISH) is None

    def test_only_pairs_that_stand_together(self) -> None:
        four = {**PAIR, "C": (5.0, 1.0, 9.82), "D": (5.14, 1.0, 9.825)}
        found = by_levels(four)
        assert sorted(one.condition.place for one in found.everywhere) == ["A to B", "C to D"]
        assert sorted(one.found for one in found.everywhere) == pytest.approx([0.002, 0.005], abs=1e-9)

    def test_points_that_are_not_in_the_book_make_no_pair(self) -> None:
        assert len(by_levels(PAIR, ["A", "B", "nowhere", "elsewhere"]).everywhere) == 1

    def test_a_kind_that_is_not_there(self) -> None:
        with pytest.raises(SurveyError, match="no kind of paving"):
            lips_by_levels(errors(PAIR), ["A", "B"], FINISH, paving="slate")

    def test_a_point_named_twice_is_no_pair(self) -> None:
        try:
            found = lips_by_levels(errors(PAIR), ["A", "A"], FINISH)
        except SurveyError:
            return
        assert found is None

    @pytest.mark.parametrize("told", [(None, ["A"], FINISH), ("book", ["A"], FINISH), (errors(PAIR), 3, FINISH),
                                        (errors(PAIR), ["A", "B"], None)], ids=["none", "book", "points", "finish"])
    def test_other_kinds_are_refused(self, told: Any) -> None:
        with pytest.raises(SurveyError):
            lips_by_levels(*told)

    def test_a_spot_off_the_area_is_passed_by(self) -> None:
        assert len(by_levels({**PAIR, "far": (2.0, 9.0, 9.8)}).everywhere) == 1
