"""Whatever is typed, and however broken the job: a form opens, answers in sentences, and lets no exception out."""

import re
from pathlib import Path
from typing import Any

import matplotlib.pyplot as plt
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sitelevels import workbook
from sitelevels.errors import SurveyError
from sitelevels.workbook import forms

KINDS = [forms.BookForm, forms.BriefForm, forms.SurfaceForm, forms.DigForm]
ODD = ["1:80", "1 in 0", "١:٨٠", "1:80 (\\u00)", '"', "'", "\\", "#", "nan", "-", "%", "\ud800", "1:1e999", "1e308:1e-308",
       "9" * 400 + ":1"]
TYPED = st.one_of(st.text(max_size=30), st.sampled_from(ODD))
FEW = settings(max_examples=12, phases=[Phase.explicit, Phase.generate], deadline=None, derandomize=True,
               suppress_health_check=[HealthCheck.function_scoped_fixture])


def answers(form: Any) -> None:
    """What a form says is sentences; an unforeseen failure of ours is none of them."""
    said = form.message.value
    assert "Traceback" not in said
    assert "workbook itself has failed" not in said, said
    assert not re.search(r"<script|<img", said)


@given(TYPED)
@FEW
def test_any_text_as_a_fall(hand: Any, typed: str) -> None:
    before = hand.brief
    form = forms.BriefForm(hand.open())
    form.fields["demand", 2, "least"].value = typed
    form.save_brief()
    answers(form)
    hand.open().brief  # noqa: B018 - what was saved holds together
    hand.write(brief=before)


@given(st.floats())
@FEW
def test_any_number_as_a_thickness(hand: Any, typed: float) -> None:
    before = hand.brief
    form = forms.BriefForm(hand.open())
    form.fields["layer", 2, "thickness_mm"].value = typed
    form.save_brief()
    answers(form)
    hand.open().brief  # noqa: B018 - what was saved holds together
    hand.write(brief=before)


@given(st.one_of(TYPED, st.text("0123456789.,;\t\n#\"-", max_size=40).map("point,bs,is,fs\n".__add__)))
@FEW
def test_any_text_as_a_level_book(hand: Any, typed: str) -> None:
    before = hand.book
    form = forms.BookForm(hand.open())
    form.text.value = typed
    answers(form)
    if form.offer.layout.display != "none":
        form.call_it_ten()
        answers(form)
    kept = form.text.value
    form.save_book()
    assert form.text.value == kept
    if "\ud800" not in kept:
        assert hand.book == kept
        answers(form)
    hand.write(book=before)


@given(TYPED)
@FEW
def test_any_text_as_the_name_of_a_new_job(desk: Path, typed: str) -> None:
    form = forms.StartForm()
    form.name.value = typed
    form.start()
    answers(form)
    assert {place.parent for place in desk.parent.rglob("brief.toml")} == {desk / name for name in workbook.job_names()}


@given(st.floats())
@FEW
def test_any_number_as_the_reading_on_the_benchmark(hand: Any, typed: float) -> None:
    form = forms.DigForm(hand.open())
    form.backsight.value = typed
    answers(form)
    assert ("plane of collimation" in form.shown.value) != ("role='alert'" in form.message.value)


@given(st.floats(9.8, 10.2), st.floats(-10, 60), st.floats(-25, 25), st.floats(0, 4))
@settings(parent=FEW, max_examples=3)
def test_any_place_of_the_sliders(hand: Any, level: float, away: float, along: float, place: float) -> None:
    before = hand.brief
    form = forms.SurfaceForm(hand.open())
    form.level.value, form.away.value, form.along.value, form.place.value = level, away, along, place
    form.save_surface()
    answers(form)
    assert hand.open().choice == pytest.approx((level, away / 1000, along / 1000), abs=6e-4)
    hand.write(brief=before)


def test_the_sliders_carry_the_offers_of_the_smallest_and_the_largest(hand: Any) -> None:
    form = forms.SurfaceForm(hand.open())
    for slider in (form.level, form.away, form.along, form.place):
        for end in (slider.min, slider.max):
            slider.value = end
            answers(form)


BROKEN = {
    "a demand on a wall that is not there": ('kind = "fall away"\nwall = "house"', 'kind = "fall away"\nwall = "barn"'),
    "a thickness in quotation marks": ("thickness_mm = 40", 'thickness_mm = "40 mm"'),
    "a fall without quotation marks": ('least = "1:80"', "least = 80"),
    "a list where a text belongs": ('least = "1:80"', 'least = ["1:80"]'),
    "a list of numbers as points": ('kind = "gradient"\nmost = "1:20"', 'kind = "meet"\npoints = [1, 2]'),
    "a list of lists as points": ('kind = "gradient"\nmost = "1:20"', 'kind = "meet"\npoints = [["C1"]]'),
    "points as a number": ('kind = "gradient"\nmost = "1:20"', 'kind = "meet"\npoints = 3'),
    "corners as a number": ('corners = ["C1", "C2", "C3", "C4"]', "corners = 4"),
    "corners that cross": ('"C2", "C3"', '"C3", "C2"'),
    "no corners": ('corners = ["C1", "C2", "C3", "C4"]\n', 'corners = ["Z1", "Z2", "Z3"]\n'),
    "a unit that is a list": ("[area]", '[survey]\nunit = ["m"]\n[area]'),
    "a unit that is not known": ("[area]", '[survey]\nunit = "yd"\n[area]'),
    "breaks as a number": ("[area]", "[survey]\nbreaks = 3\n[area]"),
    "a reading in words": ("backsight_m = 1.500", 'backsight_m = "1,500"'),
    "a reading that is a list": ("backsight_m = 1.500", "backsight_m = [1.5]"),
    "a benchmark that was not read": ('benchmark = "BM"', 'benchmark = "B"'),
    "pegs as a number": ("backsight_m = 1.500", "backsight_m = 1.5\npegs = 3"),
    "a level in words": ("level_at_wall_m = 10.000", 'level_at_wall_m = "10"'),
    "a fall in figures": ('fall_away = "25 mm/m"', "fall_away = 25"),
    "a wall of no length": ("second = [4.0, 0.0]", "second = [0.0, 0.0]"),
    "no wall": ('[[wall]]\nname = "house"\nfirst = [0.0, 0.0]\nsecond = [4.0, 0.0]\n', ""),
}
REFUSED_WHEN_OPENED = {"corners as a number", "a unit that is a list", "breaks as a number", "a reading in words",
                       "a reading that is a list", "pegs as a number", "a level in words", "a fall in figures"}


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_brief_opens_every_form_with_a_sentence(hand: Any, how: str) -> None:
    """Or is refused when it is opened, in sentences too."""
    hand.change(*BROKEN[how])
    if how in REFUSED_WHEN_OPENED:
        with pytest.raises(SurveyError, match=r"brief\.toml, \[.*\.$"):
            hand.open()
        return
    job = hand.open()
    said = []
    for kind in KINDS:
        form = kind(job)
        answers(form)
        said.append("role='alert'" in form.message.value)
    assert any(said)


BOOKS = {
    "empty": "", "only notes": "# none yet\n", "headings alone": "point,bs,is,fs\n", "no table": "hello",
    "a quote": 'point,bs\n"A,1\n', "no known level": "point,bs,is\nA,1,\nB,,2\n", "a letter": "point,bs,is,rl\nA,l.5,,10\n",
    "one point": "point,bs,rl,x,y\nA,1,10,0,0\n",
    "spots in a line": "point,bs,is,rl,x,y\nA,1,,10,,\nC1,,1,,0,0\nC2,,1,,4,0\nC3,,1,,8,0\nC4,,1,,9,0\n",
    "two levels at one place": "point,bs,is,rl,x,y\nA,1,,10,,\nC1,,1,,0,0\nC2,,1,,4,0\nC3,,1,,4,3\nC4,,1,,0,3\nC5,,1.1,,0,3\n",
}


@pytest.mark.parametrize("how", BOOKS)
def test_a_broken_book_opens_every_form_with_a_sentence(hand: Any, how: str) -> None:
    job = hand.write(book=BOOKS[how]).open()
    for kind in KINDS:
        form = kind(job)
        answers(form)
        if kind in (forms.SurfaceForm, forms.DigForm):
            assert "role='alert'" in form.message.value
    book = forms.BookForm(job)
    book.text.value = hand.book + "# x\n"
    book.save_book()
    answers(book)


def test_buttons_of_every_form_of_a_broken_job_answer_too(hand: Any) -> None:
    job = hand.change('[finish]\nwall = "house"', '[finish]\nwall = "barn"').change("backsight_m = 1.500", "").open()
    for form, act in ((forms.SurfaceForm(job), "save_surface"), (forms.DigForm(job), "write"), (forms.BookForm(job), "save_book"),
                      (forms.BriefForm(job), "save_brief"), (forms.SurfaceForm(job), "go_to_best"),
                      (forms.SolveForm(job), "find"), (forms.SolveForm(job), "save_found")):
        getattr(form, act)()
        answers(form)


def test_a_folder_that_vanished_is_told(hand: Any) -> None:
    job = hand.open()
    every = [forms.BookForm(job), forms.BriefForm(job), forms.SurfaceForm(job), forms.DigForm(job)]
    for place in hand.path.iterdir():
        place.unlink()
    hand.path.rmdir()
    every[0].text.value += "# x\n"
    every[1].fields["layer", 1, "thickness_mm"].value = 41
    every[2].level.value = 10.002
    for form, act in zip(every, ("save_book", "save_brief", "save_surface", "write"), strict=True):
        getattr(form, act)()
        assert "role='alert'" in form.message.value
        answers(form)


def test_no_form_leaves_a_figure_open(demo: Any, desk: Path) -> None:
    job = demo.open()
    for kind in KINDS:
        kind(job)
    forms.StartForm()
    form = forms.SurfaceForm(job)
    form.level.value = 10.051
    forms.DigForm(job).write()
    assert plt.get_fignums() == []


def test_a_form_says_which_job_it_is_for(hand: Any) -> None:
    for kind in KINDS:
        assert repr(kind(hand.open())) == f"{kind.__name__} for hand"


def test_the_guard_sees_a_failure_of_ours(hand: Any) -> None:
    form = forms.DigForm(hand.open())

    def fail() -> None:
        raise ZeroDivisionError("<b>ours</b>")
    assert form.attempt(fail) is None
    with pytest.raises(AssertionError):
        answers(form)
    assert "&lt;b&gt;ours" in form.message.value
    assert form.attempt(lambda: 3) == 3
    form.refuse(SurveyError("it is wrong").problems)
    answers(form)
