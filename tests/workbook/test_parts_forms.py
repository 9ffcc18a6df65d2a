"""Forms for parts of brief.toml: what is typed is kept, checked by its field's name, and saved without losing a note."""

import tomllib
from typing import Any

import pytest
from messages import refused, went_well

from sitelevels.workbook import forms

UNITS = {("units", "length_mm"): "500", ("units", "width_mm"): "500", ("units", "joint_mm"): "0"}  # 8 x 6 on 4 x 3 m
SOAKAWAY = {("soakaway", "size_m"): "[1, 1, 1]", ("soakaway", "rate_m_s"): "5e-5",
            ("soakaway", "factor"): "1",
            ("soakaway", "storms"): "[[5, 5], [10, 20], [20, 20.5]]"}


def typed(form: Any, given: dict[tuple[str, str], str]) -> Any:
    for key, value in given.items():
        form.fields[key].value = value
    return form


def told(folder: Any) -> dict[str, Any]:
    return tomllib.loads(folder.brief)


class TestOpening:
    @pytest.mark.parametrize("form", [forms.MaterialsForm, forms.WaterForm])
    def test_the_fields_hold_what_the_brief_says_and_nothing_is_changed(self, demo: Any, form: type) -> None:
        before = demo.files()
        made = form(demo.open())
        said = tomllib.loads(demo.brief)
        for (part, key), field in made.fields.items():
            value = said.get(part, {}).get(key)
            if isinstance(value, str):
                assert field.value == value
            else:
                assert (tomllib.loads(f"x = {field.value}")["x"] if field.value else None) == value
        assert made.message.value == ""
        assert "Not saved" not in made.shown.value
        assert demo.files() == before

    def test_what_lies_in_the_brief_is_shown_as_sums(self, hand: Any) -> None:
        shown = forms.MaterialsForm(hand.change("[[wall]]", "beyond_edge_mm = 0\n[[wall]]").open()).shown.value
        for words in ("Dig 0.24 m³ of soil", "fill 0.06 m³", "0.31 m³ (0.29 to 0.35 m³)", "13.2 m²"):  # 0.24 x 1.30; 12 x 1.1
            assert words in shown

    def test_markup_in_names_is_shown_as_written(self, hand: Any) -> None:
        hand.write(brief=hand.brief.replace('"slabs"', '"<b>slabs</b>"') + '[[post]]\nname = "<i>P</i>"\nat = [2.0, 2.0]\n'
                   "size_mm = 90\n")
        shown = forms.MaterialsForm(hand.open()).shown.value
        assert "&lt;b&gt;slabs" in shown
        assert "&lt;i&gt;P" in shown
        assert "<b>slabs" not in shown
        assert "<i>P" not in shown


class TestTyping:
    @pytest.mark.parametrize(("value", "meant"), [("80", 80), ("80.5", 80.5), ("80,5", 80.5), (" 80 ", 80), ("1,5", 1.5)])
    def test_numbers_with_a_point_or_a_comma(self, hand: Any, value: str, meant: float) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "barrow_litres"): value})
        form.save_parts()
        assert "Saved." in went_well(form)
        assert told(hand)["taking_up"] == {"barrow_litres": meant}

    def test_the_sums_follow_before_anything_is_saved(self, hand: Any) -> None:
        before = hand.files()
        form = typed(forms.MaterialsForm(hand.open()), {("area", "beyond_edge_mm"): "0"})
        assert form.message.value == ""
        assert "Not saved yet." in form.shown.value
        assert "Dig 0.24 m³" in form.shown.value
        assert hand.files() == before

    def test_units(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), UNITS)
        assert "48 whole units and 0 cut" in form.shown.value  # 4 m / 500 mm by 3 m / 500 mm
        form.save_parts()
        went_well(form)
        assert told(hand)["units"] == {"length_mm": 500, "width_mm": 500, "joint_mm": 0}

    def test_lists_and_names(self, hand: Any) -> None:
        form = typed(forms.WaterForm(hand.open()), {
            ("rain", "intensity_mm_h"): "36", ("rain", "coefficient"): "1,0", ("rain", "channel_mm"): "[100, 50]",
            ("rain", "fall"): "1:100", ("rain", "roughness"): "0,01", ("rain", "roofs"): '[[6.0, "C1"], [2, 1.5, 0.5]]'})
        # 12 m² x 36 mm/h = 0.12 l/s; 8 m² of roof at 0.9 of it 0.072 l/s; the channel 4.27 l/s by Manning (n = 0.01)
        assert "0.19 l/s" in form.shown.value
        assert "4.27 l/s" in form.shown.value
        form.save_parts()
        went_well(form)
        assert told(hand)["rain"] == {"intensity_mm_h": 36, "coefficient": 1, "channel_mm": [100, 50], "fall": "1:100",
                                      "roughness": 0.01, "roofs": [[6.0, "C1"], [2, 1.5, 0.5]]}
        again = forms.WaterForm(hand.open())
        assert again.shown.value == form.shown.value

    @pytest.mark.parametrize(("key", "value", "meant"), [
        (("rain", "channel_mm"), "100 x 75", [100, 75]), (("rain", "channel_mm"), "100×75", [100, 75]),
        (("rain", "channel_mm"), "100; 75", [100, 75]), (("rain", "channel_mm"), "100, 75", [100, 75]),
        (("rain", "channel_mm"), " 100  75 ", [100, 75]), (("rain", "channel_mm"), "[100, 75]", [100, 75]),
        (("soakaway", "size_m"), "1,2 x 0,8 x 1", [1.2, 0.8, 1]),
        (("soakaway", "hole_seconds"), "1500, 1700, 1800", [1500, 1700, 1800])])
    def test_lists_typed_without_brackets(self, hand: Any, key: tuple[str, str], value: str, meant: list[float]) -> None:
        given = {("rain", "fall"): "1:100"} if key[0] == "rain" else SOAKAWAY
        form = typed(forms.WaterForm(hand.open()), {**given, key: value})
        form.save_parts()
        went_well(form)
        assert told(hand)[key[0]][key[1]] == meant

    @pytest.mark.parametrize(("value", "meant"), [("2 1.5", [2, 1.5]), ("2, 1.5", [2, 1.5]), ("2,0 1,5", [2, 1.5]),
                                                  ("[2, 1.5]", [2, 1.5]), ("C3", "C3")])
    def test_places(self, hand: Any, value: str, meant: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {**UNITS, ("units", "start"): value})
        form.save_parts()
        went_well(form)
        assert told(hand)["units"]["start"] == meant

    def test_a_name_of_two_words_is_a_name(self, hand: Any) -> None:
        hand.write(book=hand.book.replace("C3", "far corner"), brief=hand.brief.replace("C3", "far corner"))
        form = typed(forms.MaterialsForm(hand.open()), {**UNITS, ("units", "start"): "far corner"})
        form.save_parts()
        went_well(form)
        assert told(hand)["units"]["start"] == "far corner"

    def test_empty_fields_show_an_example_that_will_do(self, hand: Any) -> None:
        form = forms.WaterForm(hand.open())
        examples = {key: field.placeholder for key, field in form.fields.items() if field.placeholder.strip("\u200b")}
        for key in (("rain", "channel_mm"), ("rain", "roofs"), ("rain", "fall"), ("rain", "pipe_fall"), ("soakaway", "size_m"),
                    ("soakaway", "hole_seconds"), ("soakaway", "storms")):
            assert examples[key]
        typed(form, {**examples, ("soakaway", "void_percent"): "30"})
        assert "the field" not in form.message.value.lower()
        assert form.typed().outdoor.faults == ()

    def test_a_named_rain(self, hand: Any) -> None:
        form = typed(forms.WaterForm(hand.open()), {("rain", "intensity_mm_h"): "paved areas", ("rain", "coefficient"): "roof"})
        form.save_parts()
        went_well(form)
        assert told(hand)["rain"] == {"intensity_mm_h": "paved areas", "coefficient": "roof"}

    def test_a_soakaway(self, hand: Any) -> None:
        form = typed(forms.WaterForm(hand.open()), SOAKAWAY)
        # 12 m² x 20 mm = 0.24 m³; half the sides, 2 m², x 0.05 mm/s x 600 s = 0.06 m³; 30 % of 1 m³
        for words in ("0.24 m³", "0.06 m³ soaks away", "0.18 m³ to be stored", "0.30 m³ of room"):
            assert words in form.shown.value


class TestFaults:
    @pytest.mark.parametrize(("key", "value"), [
        (("taking_up", "barrow_litres"), "eighty"), (("taking_up", "barrow_litres"), "80 l"),
        (("taking_up", "barrow_litres"), "1,234.5"), (("taking_up", "barrow_litres"), "nan"),
        (("taking_up", "barrow_litres"), "inf"), (("taking_up", "barrow_litres"), "[80]"),
        (("taking_up", "soil"), "[1]"), (("area", "beyond_edge_mm"), "<b>"),
        (("old_floor", "thickness_mm"), '[["C1" 95]'), (("old_floor", "thickness_mm"), "[1] # x"),
        (("units", "start"), '[0, 0]\n[job]\nname = "x"'), (("units", "start"), "[0]")])
    def test_a_sentence_names_the_field_and_nothing_typed_is_lost(self, hand: Any, key: tuple[str, str], value: str) -> None:
        before = hand.files()
        form = typed(forms.MaterialsForm(hand.open()), {key: value, ("taking_up", "skip_m3"): "4"})
        assert f"the field {form.fields[key].description!r}" in refused(form).replace("The field", "the field")
        assert "<b>" not in form.message.value
        form.save_parts()
        refused(form)
        assert hand.files() == before
        assert (form.fields[key].value, form.fields["taking_up", "skip_m3"].value) == (value, "4")
        form.fields[key].value = ""
        assert form.message.value == ""

    @pytest.mark.parametrize(("key", "value"), [(("rain", "channel_mm"), "100 by 50"), (("rain", "channel_mm"), '["a", "b"]'),
                                                (("rain", "roofs"), '[6.0, "C1"]'), (("soakaway", "storms"), "[10, 20]"),
                                                (("rain", "pipe_mm"), "wide"), (("soakaway", "size_m"), "1 x 1 x deep"),
                                                (("soakaway", "hole_seconds"), "25 min, 30 min, 31 min")])
    def test_of_water(self, hand: Any, key: tuple[str, str], value: str) -> None:
        form = typed(forms.WaterForm(hand.open()), {key: value})
        assert form.fields[key].description in refused(form)
        assert form.fields[key].value == value

    def test_what_is_missing_is_said_to_be(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("units", "length_mm"): "500"})
        assert "width_mm is missing" in refused(form)
        assert "None" not in form.message.value

    def test_a_share_over_a_hundred(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "reuse_percent"): "150"})
        assert "reuse_percent is 150" in refused(form).replace("150.0", "150")
        assert "It is per cent: nought to 100." in refused(form)

    def test_a_fault_of_another_part_stands_in_the_message_and_hides_nothing(self, hand: Any) -> None:
        hand.write(brief=hand.brief + '[rain]\nintensity_mm_h = "heavy"\n')
        form = typed(forms.MaterialsForm(hand.open()), UNITS)
        assert "'heavy' is not in the handbook" in refused(form)
        assert "48 whole units" in form.shown.value

    def test_a_doubt_is_told_and_hides_nothing(self, hand: Any) -> None:
        given = {key: value for key, value in SOAKAWAY.items() if key[1] != "rate_m_s"}
        form = typed(forms.WaterForm(hand.open()), {**given, ("soakaway", "hole_seconds"): "[1000]"})
        assert "The hole was filled once" in refused(form)
        assert "0.18 m³ to be stored" in form.shown.value  # 1e-3 / 3 / (1000 / 150) = 5e-5 m/s
        form.save_parts()
        assert "Saved." in went_well(form)
        assert "The hole was filled once" in refused(form)

    def test_every_fault_at_once(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "barrow_litres"): "x", ("area", "beyond_edge_mm"): "y"})
        assert form.message.value.count("<li>") == 2

    @pytest.mark.parametrize(("given", "words"), [
        ({("taking_up", "soil"): "<b>moon</b>"}, "<b>moon</b>"), ({("taking_up", "barrow_litres"): "-5"}, "0.001 at the least"),
        ({**UNITS, ("units", "start"): "C9"}, "C9"), ({**UNITS, ("units", "bond"): "herringbone"}, "stack, running, either"),
        ({("units", "length_mm"): "5", ("units", "width_mm"): "5", ("units", "joint_mm"): "0"}, "200,000")])
    def test_what_the_sums_refuse_is_a_sentence_that_names_the_part(self, hand: Any, given: dict[tuple[str, str], str],
                                                                    words: str) -> None:
        form = typed(forms.MaterialsForm(hand.open()), given)
        assert words in refused(form)
        assert f"[{next(iter(given))[0]}]" in refused(form)
        assert "<b>moon" not in form.message.value
        assert "Dig 0.2" in form.shown.value  # what can be worked out all the same
        assert "whole units" not in form.shown.value


class TestSaving:
    NOTED = ("# mine\n[taking_up]   # of the yard\nsoil = \"clay\"  # dug once\nbarrow_litres = 80 # own barrow\n# last\n"
             "skip_m3 = 4.0 # the small one\n")

    def test_one_value_changes_and_every_note_stays(self, hand: Any) -> None:
        hand.write(brief=hand.brief + self.NOTED)
        before = hand.brief
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "barrow_litres"): "90"})
        form.save_parts()
        went_well(form)
        assert hand.brief == before.replace("barrow_litres = 80 #", "barrow_litres = 90 #")

    def test_an_empty_field_leaves_its_key_out(self, hand: Any) -> None:
        hand.write(brief=hand.brief + self.NOTED)
        before = hand.brief
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "barrow_litres"): " "})
        form.save_parts()
        went_well(form)
        assert hand.brief == before.replace("barrow_litres = 80 # own barrow\n", "")

    def test_fields_that_are_left_alone_are_left_alone(self, demo: Any) -> None:
        before = demo.brief
        form = typed(forms.MaterialsForm(demo.open()), {("taking_up", "soil"): "clay"})
        form.save_parts()
        went_well(form)
        assert demo.brief == before.replace('soil = "loam"', 'soil = "clay"')

    def test_a_fault_that_was_there_before_may_be_saved_with_the_rest(self, hand: Any) -> None:
        hand.write(brief=hand.brief + '[rain]\nintensity_mm_h = "heavy"\n')
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "soil"): "clay"})
        form.save_parts()
        assert "Saved." in went_well(form)
        assert "'heavy' is not in the handbook" in refused(form)
        assert told(hand)["taking_up"] == {"soil": "clay"}

    def test_a_new_fault_is_not_saved(self, hand: Any) -> None:
        hand.write(brief=hand.brief + '[rain]\nintensity_mm_h = "heavy"\n')
        before = hand.files()
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "soil"): "moon"})
        form.save_parts()
        said = refused(form)
        assert said.startswith("Nothing was saved")
        assert "moon" in said
        assert "heavy" not in said
        assert hand.files() == before

    def test_nothing_to_save(self, hand: Any) -> None:
        before = hand.files()
        form = forms.MaterialsForm(hand.open())
        form.save_parts()
        went_well(form)
        assert hand.files() == before

    def test_twice(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "skip_m3"): "4"})
        form.save_parts()
        typed(form, {("taking_up", "skip_m3"): "6", ("taking_up", "soil"): "loam"}).save_parts()
        went_well(form)
        assert told(hand)["taking_up"] == {"skip_m3": 6, "soil": "loam"}
        assert "Not saved" not in form.shown.value

    def test_two_forms_change_one_file(self, hand: Any) -> None:
        job = hand.open()
        materials, water = forms.MaterialsForm(job), forms.WaterForm(job)
        typed(materials, {("taking_up", "soil"): "clay"}).save_parts()
        typed(water, {("rain", "intensity_mm_h"): "36"}).save_parts()
        went_well(water)
        assert (told(hand)["taking_up"], told(hand)["rain"]) == ({"soil": "clay"}, {"intensity_mm_h": 36})

    def test_a_file_changed_by_another_is_not_written_over(self, hand: Any) -> None:
        form = typed(forms.MaterialsForm(hand.open()), {("taking_up", "soil"): "clay"})
        hand.write(brief=hand.brief + "# theirs\n")
        form.save_parts()
        assert "brief-not-saved" in refused(form)
        assert hand.brief.endswith("# theirs\n")
        assert form.fields["taking_up", "soil"].value == "clay"

    @pytest.mark.parametrize(("form", "key", "value"), [(forms.MaterialsForm, ("taking_up", "soil"), "clay"),
                                                        (forms.WaterForm, ("rain", "intensity_mm_h"), "36")])
    def test_the_demonstration_is_not_written(self, desk: Any, form: type, key: tuple[str, str], value: str) -> None:
        from sitelevels import workbook
        folder = desk / "pottery-yard"
        before = {place.name: place.read_bytes() for place in folder.rglob("*") if place.is_file()}
        made = typed(form(workbook.open_job(folder)), {key: value})
        made.save_parts()
        assert "the demonstration stays as it is" in refused(made)
        assert {place.name: place.read_bytes() for place in folder.rglob("*") if place.is_file()} == before
        assert made.fields[key].value == value
