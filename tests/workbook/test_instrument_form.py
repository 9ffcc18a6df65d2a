"""The tests of the instrument typed into the form: said at once, kept finished or not, each figure in its own field."""

from __future__ import annotations

from html import unescape
from typing import Any

import pytest
from messages import went_well

from sitelevels.workbook import forms

PEGS = ["1.283", "0.860", "25", "25", "1.612", "1.219", "55", "5"]
"""A test worked in a textbook: 30 mm down in 50 m (TP01 of tests/reference)."""


@pytest.fixture
def form(hand: Any) -> Any:
    return forms.InstrumentForm(hand.open())


def typed(form: Any, key: str, values: list[str]) -> str:
    for field, value in zip(form.fields[key], values, strict=True):
        field.value = value
    return unescape(form.results[key].value)


def test_two_pegs(form: Any) -> None:
    assert "points down by 30.0 mm in 50 m; 3.0 mm in 50 m is allowed, so it does NOT pass" in typed(form, "pegs", PEGS)


def test_a_turned_laser(form: Any) -> None:
    """3 mm over 30 m towards the front, 1 mm to the right: √(3² + 1²) mm in 30 m are 1.05 mm in 10 m."""
    assert "tilted by 1.05 mm in 10 m" in typed(form, "turn", ["30", "1.503", "1.499", "1.497", "1.501"])


@pytest.mark.parametrize("readings", ["1.412 1.413 1.411 1.412", "1.412, 1.413, 1.411, 1.412", "1,412 1,413 1,411 1,412"])
def test_repeats(form: Any, readings: str) -> None:
    assert "standard deviation of 0.82 mm (3 degrees of freedom" in typed(form, "repeats", [readings])  # √(2 / 3) mm


def test_what_is_still_to_type_is_named(form: Any) -> None:
    told = typed(form, "pegs", [*PEGS[:5], "", *PEGS[6:]])
    assert "Still to type: second set-up: reading on B, m." in told


@pytest.mark.parametrize(("value", "told"), [
    ("1462", "first set-up: reading on A, m: 1462.000 m is longer than a 5 m staff. Type metres."),
    ("1.2 1.3", "'1.2 1.3' is not a number"), ("1.2 m", "'1.2 m' is not a number"), ("9" * 400, "longer than a 5 m staff")])
def test_what_cannot_be_is_told_under_the_test(form: Any, value: str, told: str) -> None:
    assert told.lower() in typed(form, "pegs", [value, *PEGS[1:]]).lower()
    assert form.message.value == ""


@pytest.mark.parametrize("values", [PEGS, ["", "", "", "", *PEGS[4:]], [*PEGS[:5], "", *PEGS[6:]], ["l.283", *PEGS[1:]]])
def test_it_is_kept_as_typed_each_figure_in_its_own_field(form: Any, hand: Any, values: list[str]) -> None:
    typed(form, "pegs", values)
    typed(form, "repeats", ["1.412 1.413"])
    form.save_tests()
    assert went_well(form) == "Saved."
    again = forms.InstrumentForm(hand.open())
    assert [field.value for field in again.fields["pegs"]] == values
    assert again.fields["repeats"][0].value == "1.412 1.413"
    assert [field.value for field in again.fields["turn"]] == [""] * 5
    assert hand.open().reduced.closes


def test_numbers_written_by_hand_into_the_brief_are_read(hand: Any) -> None:
    hand.change("[area]", "[instrument]\nrepeats = [1.412, 1.413, 1.411]\n[area]")
    form = forms.InstrumentForm(hand.open())
    assert form.fields["repeats"][0].value == "1.412 1.413 1.411"
    assert "2 degrees of freedom" in form.results["repeats"].value


def test_a_list_too_long_is_told_and_not_cut(hand: Any) -> None:
    hand.change("[area]", f"[instrument]\npegs = {[*map(float, PEGS), 77.5]}\n[area]")
    form = forms.InstrumentForm(hand.open())
    assert "pegs holds more figures than the test has" in form.message.value
    form.save_tests()
    assert "77.5" in hand.brief


def test_two_forms_do_not_wipe_each_others_tests(hand: Any) -> None:
    one, two = forms.InstrumentForm(hand.open()), forms.InstrumentForm(hand.open())
    typed(two, "repeats", ["1.234 1.235 1.236"])
    two.save_tests()
    typed(one, "turn", ["10", "", "", "", ""])
    one.save_tests()
    went_well(one)
    assert forms.InstrumentForm(hand.open()).fields["repeats"][0].value == "1.234 1.235 1.236"
    typed(one, "repeats", ["9 9"])
    typed(one, "repeats", ["1 1"])
    one.save_tests()
    assert "was saved by another form meanwhile" in one.message.value
    assert "1.234" in hand.brief
