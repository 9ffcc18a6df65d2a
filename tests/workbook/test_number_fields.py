"""Fields for a number: what the browser sends is text, a comma is a point, and what is no number is kept as typed."""

import math
import tomllib
from typing import Any

import pytest
from messages import refused, went_well

from sitelevels.workbook import forms
from sitelevels.workbook.forms.base import Number
from sitelevels.workbook.forms.parts import _number
from sitelevels.workbook.forms.solve import CHANNEL


def send(field: Number, text: str) -> None:
    """What the browser does when somebody types."""
    field.set_state({"value": text})


class TestField:
    @pytest.mark.parametrize(("text", "number"), [
        ("0,4", 0.4), ("0.4", 0.4), (" 1,405 ", 1.405), ("-0,1", -0.1), ("−0,1", -0.1), ("12", 12.0), (",5", 0.5), ("5,", 5.0)])
    def test_a_point_or_a_comma(self, text: str, number: float) -> None:
        field = Number(1.0)
        send(field, text)
        assert field.value == number
        assert field.typed == text

    @pytest.mark.parametrize("text", ["", "abc", "1,234.5", "1.234,5", "1 405", "1.4 m", "--1", "<b>1</b>", "1_5", "inf", "1e400",
                                      "nan", "١٢", "9" * 400])
    def test_what_is_no_number_is_kept_and_shown_as_it_was_typed(self, text: str) -> None:
        field = Number(1.0)
        send(field, text)
        assert math.isnan(field.value)
        assert field.typed == text
        assert field.get_state()["value"] == text

    @pytest.mark.parametrize(("number", "text"), [
        (1.5, "1.5"), (0.1, "0.1"), (100.0, "100"), (0.0, "0"), (-0.364, "-0.364"), (1234.5678, "1234.5678"),
        (2.5e-5, "0.000025"), (1e6, "1000000")])
    def test_a_number_is_shown_without_superfluous_noughts(self, number: float, text: str) -> None:
        assert Number(number).get_state()["value"] == text

    def test_in_python_it_is_a_float(self) -> None:
        field = Number(3)
        assert field.value == 3.0
        seen: list[float] = []
        field.observe(lambda change: seen.append(change["new"]), "value")
        field.value = 4.5
        send(field, "5,5")
        assert seen == [4.5, 5.5]


class TestForms:
    def test_a_thickness(self, hand: Any) -> None:
        form = forms.BriefForm(hand.open())
        send(form.fields["layer", 1, "thickness_mm"], "62,5")
        form.save_brief()
        went_well(form)
        assert tomllib.loads(hand.brief)["layer"][0]["thickness_mm"] == 62.5

    @pytest.mark.parametrize("text", ["abc", "", "6 cm"])
    def test_a_thickness_that_is_none_is_refused_and_kept(self, hand: Any, text: str) -> None:
        before = hand.files()
        form = forms.BriefForm(hand.open())
        send(form.fields["layer", 1, "thickness_mm"], text)
        form.save_brief()
        said = refused(form)
        assert "[[layer]] number 1" in said
        assert f"{text!r} in the field 'thick, mm' is not a number" in said
        assert hand.files() == before
        assert form.fields["layer", 1, "thickness_mm"].typed == text

    def test_it_is_not_saved_in_a_job_that_cannot_be_worked_out_either(self, hand: Any) -> None:
        hand.write(book=hand.book.replace("bs", "b", 1))
        before = hand.files()
        form = forms.BriefForm(hand.open())
        send(form.fields["layer", 1, "thickness_mm"], "abc")
        form.save_brief()
        refused(form)
        assert hand.files() == before

    def test_the_reading_on_the_benchmark(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        send(form.backsight, "1,300")
        assert "11.300 m" in form.shown.value  # 10.000 + 1.300
        form.write()
        went_well(form)
        assert tomllib.loads(hand.brief)["setting_out"]["backsight_m"] == 1.3

    @pytest.mark.parametrize("text", ["1,3 m", "abc", "", "1,234.5"])
    def test_a_reading_that_is_none(self, hand: Any, text: str) -> None:
        form = forms.DigForm(hand.open())
        send(form.backsight, text)
        assert f"Today's reading is {text!r}. It is a number in m." in refused(form)
        assert form.shown.value == ""
        form.write()
        assert not (hand.path / "sheet").exists()
        send(form.backsight, "1,5")
        assert form.message.value == ""

    @pytest.mark.parametrize("text", ["1_5", "1_500 ", "abc", "1,2,3"])
    def test_a_reading_on_a_peg_that_is_none(self, hand: Any, text: str) -> None:
        form = forms.DigForm(hand.open())
        send(form.backsight, "1,300")
        form.peg.value, form.reading.value = "C1", text
        assert f"The reading on peg C1 is {text!r}. It is a number in m." in refused(form)

    @pytest.mark.parametrize(("text", "told"), [("110", 110), ("110,5", 110.5), ("1.1e2", 110), ("−3", -3), ("1_10", "1_10"),
                                                ("١١٠", "١١٠"), ("inf", "inf")])
    def test_a_number_among_the_parts_of_the_brief(self, text: str, told: object) -> None:
        assert tomllib.loads(f"x = {_number(text)}")["x"] == told

    def test_how_far_a_channel_lies_from_the_wall(self, hand: Any) -> None:
        form = forms.SolveForm(hand.open())
        form.shape.value = CHANNEL
        send(form.away, "0,6")
        assert {end[1] for shape in form.shapes() for end in shape.line} == {0.6}
        send(form.away, "near")
        form.find()
        assert "The channel lies 'near' m from the wall" in refused(form)

    def test_an_error_of_the_readings(self, hand: Any) -> None:
        form = forms.BudgetForm(hand.open())
        send(form.fields["reading"], "0,5")
        assert form.typed().reading == pytest.approx(0.0005, rel=1e-12)
        send(form.fields["reading"], "half")
        assert "'half' in the field 'reading, mm' is not a number" in refused(form)
        form.save_budget()
        refused(form)
        assert "errors" not in tomllib.loads(hand.brief)

    def test_a_margin_of_the_shot_plan(self, hand: Any) -> None:
        form = forms.ShotPlanForm(hand.open())
        send(form.margin, "wide")
        assert "'wide' in the field 'margin of a level, mm' is not a number" in refused(form)
        send(form.margin, "7,5")
        assert form.message.value == ""
        assert form.margin.value == 7.5
