"""A word is looked up in a form of its own, and at the foot of every other form."""

import time
from typing import Any

import pytest
from messages import refused

from sitelevels import workbook
from sitelevels.teaching.glossary import GLOSSARY
from sitelevels.workbook import forms
from sitelevels.workbook.forms.base import Form, button
from sitelevels.workbook.forms.grid import Quiet
from sitelevels.workbook.forms.terms import Terms

OF_A_JOB = [forms.BookForm, forms.BriefForm, forms.BriefTextForm, forms.BudgetForm, forms.DigForm, forms.InstrumentForm,
            forms.JointsForm, forms.LaidBookForm, forms.MaterialsForm, forms.ScreedForm, forms.ShotPlanForm, forms.SolveForm,
            forms.SurfaceForm, forms.WaterForm]


def foot_of(form: Any) -> Terms:
    """The words at the foot of a form: one list, after all else but the keeper of keys."""
    found = [child for child in form.children if isinstance(child, Terms)]
    assert len(found) == 1
    assert form.children[-2] is found[0]
    assert isinstance(form.children[-1], Quiet)
    return found[0]


class TestWordsForm:
    def test_opens_with_every_word_and_nothing_said(self) -> None:
        form = forms.WordsForm()
        assert form.list.options == tuple(GLOSSARY)
        assert form.list.value is None
        assert form.said.value == form.message.value == ""
        assert not [child for child in form.children if isinstance(child, Terms)]  # it is that itself

    def test_a_word_that_is_typed(self) -> None:
        form = forms.WordsForm()
        form.word.value = "BS"
        assert form.list.value == "backsight"
        assert "<b>backsight</b>: First reading from a set-up, in m" in form.said.value
        form.word.value = "height of the plane of collimation"
        assert "<b>HPC</b>" in form.said.value

    def test_a_word_that_is_chosen(self) -> None:
        form = forms.WordsForm()
        form.list.value = "misclosure"
        assert "observed minus known" in form.said.value

    def test_the_start_of_a_word_lists_what_it_may_be(self) -> None:
        form = forms.WordsForm()
        form.word.value = "colli"
        assert form.list.options[0] == form.list.value == "collimation"
        assert "HPC" in form.list.options
        form.list.value = "HPC"
        assert "<b>HPC</b>" in form.said.value
        form.word.value = ""
        assert form.list.options == tuple(GLOSSARY)
        assert form.said.value == ""

    @pytest.mark.parametrize("typed", ["qqqqqq", "√", "x" * 5000, "((("])
    def test_what_is_no_word_is_refused_and_kept(self, typed: str) -> None:
        form = forms.WordsForm()
        form.word.value = typed
        assert "is not in the glossary" in refused(form)
        assert (form.word.value, form.list.options, form.said.value) == (typed, (), "")
        form.word.value = "lip"
        assert form.message.value == ""
        assert "<b>lip</b>" in form.said.value

    def test_what_is_typed_is_never_run(self) -> None:
        form = forms.WordsForm()
        form.word.value = "<img src=x onerror=alert(1)>"
        assert "<img" not in form.message.value + form.said.value


class TestFoot:
    @pytest.mark.parametrize("kind", OF_A_JOB, ids=lambda kind: kind.__name__)
    def test_every_form_of_a_job(self, demo: Any, kind: Any) -> None:
        foot = foot_of(kind(demo.open()))
        assert foot.said.value == ""  # folded away
        assert set(foot.list.options[1:]) == set(kind.terms)
        for word in kind.terms:
            foot.list.value = word
            assert f"<b>{word}</b>".replace("'", "&#x27;") in foot.said.value
        foot.list.value = foot.list.options[0]
        assert foot.said.value == ""

    def test_the_form_to_start_with(self, desk: Any) -> None:
        assert "level book" in foot_of(forms.StartForm()).list.options

    def test_it_stays_when_a_form_takes_other_controls(self) -> None:
        class Own(Form):
            terms = ("spot",)

        form = Own(None)
        form.children = [form.message]
        foot = foot_of(form)
        foot.list.value = "spot"
        form.children = [form.message, button("More", lambda: None)]
        assert foot_of(form) is foot
        assert isinstance(form.children[-1], Quiet)
        quiet = form.children[-1]
        form.children = [form.message]
        assert form.children[-1] is quiet  # making them anew takes the browser long
        assert "measured" in foot.said.value  # what was asked still stands there
        form.children = [*form.children[:-1], button("Most", lambda: None)]  # as a form does that adds to another's
        assert foot_of(form) is foot

    def test_a_form_that_names_no_words_has_those_of_a_book(self) -> None:
        form = Form(None)
        form.children = [form.message]
        assert foot_of(form).list.options == ("choose a word", "fall", "HPC", "level", "reading", "rise")

    def test_it_slows_no_form(self) -> None:
        began = time.perf_counter()
        for _ in range(20):
            Terms(forms.BookForm.terms)
        assert (time.perf_counter() - began) / 20 < 0.050  # s; some 2 ms were measured


def test_the_whole_glossary_as_a_table() -> None:
    shown = workbook.glossary_table()
    assert shown._repr_html_().count("<tr") == len(GLOSSARY) + 1
    assert repr(shown).splitlines()[0] == f"access cover: {GLOSSARY['access cover']}"
    assert all(said.replace("'", "&#x27;") in shown._repr_html_().replace("'", "&#x27;") for said in GLOSSARY.values())
