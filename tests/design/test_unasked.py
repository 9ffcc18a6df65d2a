"""Marks that were read and that no demand speaks of: told, and given their usual demands in brief.toml."""

from typing import Any

import pytest

from sitelevels import SurveyError, workbook
from sitelevels.design.brief_file import read_brief, with_demands
from sitelevels.design.conditions import Spot
from sitelevels.design.demands import Gully
from sitelevels.workbook import forms

MARKS = """T,,1.350,,,2.0,0.0,threshold,,
E1,,1.569,,,0.0,3.0,edge,,
E2,,1.570,,,4.0,3.0,edge,,
P,,1.800,,,1.0,1.0,buried,,
G,,1.577,,,3.0,2.8,gully,,
A,,1.400,,,1.0,0.0,airbrick,,
K,,1.540,,,2.0,2.0,cover,,
FAR,,1.540,,,2.0,5.0,edge,,
"""


@pytest.fixture
def marked(hand: Any) -> Any:
    return hand.change_book("C1,,1.620", f"{MARKS}C1,,1.620")


def test_each_mark_is_told_once_with_its_usual_demand(marked: Any) -> None:
    told = marked.open().brief_doubts
    assert [said.partition(" booked")[0] for said in told] == ["T is", "E1, E2 are", "P is", "G is", "K is", "A is"]
    for said, usual in zip(told, ("a step of 75 mm to 150 mm down from T", "within 6 mm of the paving that stays at E1, E2",
                                  "at least 150 mm of cover over P", "3 mm to 10 mm proud of the gully G",
                                  "within 6 mm of the cover at K", "at least 75 mm below A"), strict=True):
        assert said.endswith(f"Usual is {usual}.")
    assert set(told) <= set(marked.open().doubts)  # so the printed sheet tells them too


def test_a_demand_on_one_of_two_leaves_the_other_to_be_told(marked: Any) -> None:
    marked.change("[finish]", '[[demand]]\nkind = "meet"\npoints = ["E1"]\n[finish]')
    assert "E2 is booked as paving that stays, and no demand speaks of it. Usual is within 6 mm of the paving that stays at E2." \
        in marked.open().brief_doubts


def test_a_mark_without_a_place_is_told_to_need_one(hand: Any) -> None:
    hand.change_book("C1,,1.620", "T,,1.350,,,,,threshold,,\nC1,,1.620")
    assert hand.open().brief_doubts == (
        "T is booked as a threshold without x and y, so no demand can speak of it. Fill them in in 1-survey.",)


def test_the_demonstrations_have_a_demand_for_every_mark(demo: Any) -> None:
    assert demo.open().unasked == ()
    screed = workbook.open_job("data/seed-store")
    assert screed.unasked == ()  # its gully and edges belong to the screed, which has its demands elsewhere


def test_the_button_adds_them_with_numbers_that_the_form_then_shows(marked: Any) -> None:
    before = marked.brief
    form = forms.BriefForm(marked.open())
    assert "T is booked as a threshold" in form.unasked.children[0].value
    form.add_usual()
    assert "Added with their usual limits" in form.message.value
    assert len(form.unasked.children) == 0
    job = marked.open()
    assert marked.brief.startswith(before.partition("[finish]")[0])
    assert job.unasked == ()
    assert job.told["demand"][3:] == [
        {"kind": "step", "points": ["T"], "least_mm": 75, "most_mm": 150},
        {"kind": "meet", "points": ["E1", "E2"], "within_mm": 6},
        {"kind": "cover", "points": ["P"], "least_mm": 150},
        {"kind": "gully", "point": "G", "proud_mm": [3, 10]},
        {"kind": "access cover", "points": ["K"], "within_mm": 6, "lower_mm": 0, "higher_mm": 0},
        {"kind": "keep below", "point": "A", "by_mm": 75}]
    # finish 10.000 m at the wall, 25 mm/m: 9.925 m at E1 (9.931 m), 9.930 m at G (9.923 m), 150 mm below T
    found = job.verdicts.words.set_index("demand")["found"]
    assert found["meet the old paving"] == "6.0 mm below the old paving"
    assert found["proud of the gully"] == "7.0 mm proud of the grating"
    assert found["step"] == "150.0 mm"
    assert "Met with nothing in hand: step (T), meet the old paving (E1)." in job.verdicts.html()
    assert "met, with nothing in hand" in job.verdicts.html()


def test_how_proud_of_a_gully_can_be_typed(marked: Any) -> None:
    forms.BriefForm(marked.open()).add_usual()
    form = forms.BriefForm(marked.open())
    field = form.fields["demand", 7, "proud_mm"]
    assert field.value == "3, 10"
    for typed, taken in (("2,5; 8", [2.5, 8]), ("4,9", [4, 9]), ("2,5 8.5", [2.5, 8.5]), ("2, 8", [2, 8])):
        field.value = typed
        form.save_brief()
        assert marked.open().told["demand"][6]["proud_mm"] == taken
    field.value = "much"
    form.save_brief()
    assert "proud_mm" in form.message.value
    assert marked.open().told["demand"][6]["proud_mm"] == [2, 8]


def test_a_demonstration_stays_as_it_is(demo: Any) -> None:
    assert forms.BriefForm(demo.open()).unasked.children == ()


def test_demands_that_stand_in_one_list_are_left_alone() -> None:
    with pytest.raises(SurveyError, match=r"stand in one list.*\[\[demand\]\]"):
        with_demands('format = 1\ndemand = [{kind = "gradient"}]\n', ())


@pytest.mark.parametrize("demand", ["", '[[demand]]\nkind = "gradient"', '[[demand]]\nkind = "gradient" # note'])
def test_a_brief_without_a_last_new_line(demand: str) -> None:
    text = f'format = 1\n[job]\nname = "x"\n{demand}'.rstrip("\n")
    added = with_demands(text, [Gully(Spot("G", 1.0, 1.0, 9.9), (0.003, 0.010))])
    assert added.startswith(f"{text}\n")
    assert read_brief(added)["demand"][-1] == {"kind": "gully", "point": "G", "proud_mm": [3, 10]}


SECOND = """[[wall]]
name = "garage"
first = [4.0, 0.0]
second = [4.0, 3.0]
dpc_m = 9.9

[finish]"""


def test_a_second_wall_that_no_demand_speaks_of_is_told_and_given_the_usual_ones(hand: Any) -> None:
    """Its DPC would be bridged without a word, and rain stand against it."""
    hand.change("[finish]", SECOND)
    told = hand.open().brief_doubts
    assert told == (
        "No demand keeps the paving below the DPC of the garage. Usual is at least 150 mm below the DPC of the garage.",
        "No demand lets the paving fall away from the garage. Usual is a fall of at least 1:80 (12.5 mm/m) away from the garage.")
    form = forms.BriefForm(hand.open())
    form.add_usual()
    added = read_brief(hand.brief)["demand"][-2:]
    assert [(one["kind"], one["wall"], one.get("least_mm")) for one in added] == [("below the DPC", "garage", 150),
                                                                               ("fall away", "garage", None)]
    assert hand.open().brief_doubts == ()
    assert "below the DPC" in {one.demand.title for one in hand.open().verdicts.worst if "garage" in one.condition.place}
