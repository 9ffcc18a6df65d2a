"""The forms of the brief and of the surface, without a screen: what is set is checked, shown, and saved to the last digit."""

import re
from typing import Any

import pytest
from messages import refused, went_well

from sitelevels import workbook
from sitelevels.workbook import forms
from sitelevels.workbook.figures import style
from sitelevels.workbook.folders import of_the_example


class TestBriefForm:
    def test_shows_the_numbers_of_the_brief(self, demo: Any) -> None:
        form = forms.BriefForm(demo.open())
        assert form.fields["layer", 3, "thickness_mm"].value == 100
        assert form.fields["demand", 2, "least"].value == "1:80"
        assert form.fields["demand", 5, "most_mm"].value == 150

    def test_save(self, demo: Any) -> None:
        before = demo.brief
        form = forms.BriefForm(demo.open())
        form.fields["layer", 1, "thickness_mm"].value = 60
        form.fields["demand", 2, "least"].value = "1:70"
        form.save_brief()
        went_well(form)
        assert demo.brief == before.replace("thickness_mm = 50", "thickness_mm = 60").replace('least = "1:80"', 'least = "1:70"')
        assert demo.open().brief.build_up == pytest.approx(0.190)
        assert (demo.path / "brief-before.toml").read_text() == before

    def test_nothing_changed_writes_nothing(self, demo: Any) -> None:
        before = demo.files()
        forms.BriefForm(demo.open()).save_brief()
        assert demo.files() == before

    def test_every_digit_typed_is_kept(self, demo: Any) -> None:
        form = forms.BriefForm(demo.open())
        form.fields["layer", 1, "thickness_mm"].value = 152.4375
        form.save_brief()
        assert demo.open().told["layer"][0]["thickness_mm"] == 152.4375

    @pytest.mark.parametrize("typed", ["60", "", "steep", "1:0", "2:1", "1:80\"", "-"])
    def test_a_fall_that_is_none_is_refused_and_nothing_is_written(self, demo: Any, typed: str) -> None:
        before = demo.files()
        form = forms.BriefForm(demo.open())
        form.fields["demand", 2, "least"].value = typed
        form.save_brief()
        assert "fall" in refused(form)
        assert demo.files() == before

    @pytest.mark.parametrize(("field", "typed"), [
        (("demand", 5, "least_mm"), 200), (("demand", 2, "least"), "1:20"), (("demand", 2, "least"), "-1:80"),
        (("layer", 1, "thickness_mm"), -5), (("layer", 1, "thickness_mm"), float("nan")),
        (("layer", 1, "thickness_mm"), 1e12), (("demand", 1, "least_mm"), float("inf"))])
    def test_a_brief_that_would_not_hold_together_is_refused_and_nothing_is_written(self, demo: Any, field: Any,
                                                                                    typed: Any) -> None:
        before = demo.files()
        form = forms.BriefForm(demo.open())
        form.fields[field].value = typed
        form.save_brief()
        assert refused(form)
        assert demo.files() == before

    def test_a_fall_with_a_remark_behind_it_can_be_saved(self, demo: Any) -> None:
        form = forms.BriefForm(demo.open())
        form.fields["demand", 2, "least"].value = '1:70 (the "slow" side \\ door)'
        form.save_brief()
        went_well(form)
        assert demo.open().brief.demands[1].least == pytest.approx(1 / 70)


class TestSurfaceForm:
    def test_moves_change_the_verdicts_and_the_picture(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        assert "every demand met" in (form.said.value + form.shown.value)
        assert style.MET in (form.said.value + form.shown.value)
        first = bytes(form.picture.value)
        assert first.startswith(b"\x89PNG")
        form.level.value = 10.060  # 140 mm below the DPC where 150 mm are asked
        assert "1 of 3 demands not met" in (form.said.value + form.shown.value)
        assert "140.0 mm" in (form.said.value + form.shown.value)
        assert "Lower the finished surface by 10.0 mm" in (form.said.value + form.shown.value)
        assert bytes(form.picture.value) != first
        form.away.value = 10.0
        assert "2 of 3 demands not met" in (form.said.value + form.shown.value)  # 10.0 mm/m is less than 1:80
        form.level.value, form.away.value = 10.0, 25.0
        assert "every demand met" in (form.said.value + form.shown.value)
        assert bytes(form.picture.value) == first

    def test_a_surface_that_nobody_chose_is_said_to_be_the_examples(self, demo: Any, starter: Any, hand: Any) -> None:
        said = "No surface of your own is chosen yet: this is the example's."
        form = forms.SurfaceForm(starter.open())
        assert said in form.said.value
        form.level.value += 0.01
        assert said not in form.said.value
        form.save_surface()
        assert said not in forms.SurfaceForm(starter.open()).said.value
        assert "chosen yet" not in forms.SurfaceForm(hand.open()).said.value
        hand.change('level_at_wall_m = 10.000\n', "")
        assert "No surface is chosen yet: the sliders start" in forms.SurfaceForm(hand.open()).said.value

    def test_an_example_without_a_finish_is_passed_over(self, desk: Any, hand: Any) -> None:
        place = desk / "pottery-yard" / "brief.toml"
        place.write_text(place.read_text().partition("[finish]")[0])
        assert "10.000 m at the wall; it falls 1:40" in forms.SurfaceForm(hand.open()).said.value
        hand.write(brief=hand.brief.partition("[finish]")[0])  # two that have none are not alike
        assert not of_the_example(hand.open())

    def test_a_fall_along_is_told_from_one_end_of_the_wall_to_the_other(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        level = "falls 1:40 (25.0 mm/m) away from the wall and lies level (0.0 mm/m) along it, from C1 towards C2"
        assert level in form.said.value
        form.along.value = -5.0
        assert "and rises 1:200 (5.0 mm/m) along it, from C1 towards C2" in form.said.value

    def test_volumes_follow(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        assert "Dig 0.24 m³ over 8.0 m², fill 0.06 m³" in (form.said.value + form.shown.value)
        form.level.value = 9.900  # 100 mm lower: depth 160 mm to 70 mm over 12 m²
        assert "Dig 1.38 m³ over 12.0 m², fill 0.00 m³" in (form.said.value + form.shown.value)

    def test_the_section_moves_along_the_wall(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        assert (form.place.min, form.place.max, form.place.value) == (0, 4, 2)
        first = bytes(form.picture.value)
        form.place.value = 0.5
        assert bytes(form.picture.value) != first

    def test_values_that_were_not_touched_are_those_of_the_file_to_the_last_digit(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        assert form.chosen() == (10.060, 1 / 52, 1 / 900)
        form.level.value = 10.055
        assert form.chosen() == (10.055, 1 / 52, 1 / 900)

    def test_save_and_open_again(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        form.level.value, form.away.value, form.along.value = 10.052, 18.0, -2.5
        form.save_surface()
        went_well(form)
        assert demo.open().choice == pytest.approx((10.052, 0.018, -0.0025), abs=1e-12)
        form.level.value = 10.053
        form.save_surface()
        assert demo.open().choice == pytest.approx((10.053, 0.018, -0.0025), abs=1e-12)

    def test_saving_one_value_leaves_the_others_as_they_were_written(self, demo: Any) -> None:
        before = demo.brief
        form = forms.SurfaceForm(demo.open())
        form.level.value = 10.055
        form.save_surface()
        assert demo.brief == before.replace("level_at_wall_m = 10.060", "level_at_wall_m = 10.055")

    def test_saving_an_untouched_surface_changes_no_verdict(self, hand: Any) -> None:
        hand.change('"25 mm/m"', '"1:90"').change('least = "1:80"', 'least = "1:90"')
        assert hand.open().verdicts.all_met  # exactly on its limit
        form = forms.SurfaceForm(hand.open())
        form.save_surface()
        assert hand.open().verdicts.all_met

    def test_saving_after_the_brief_was_saved_keeps_both(self, demo: Any) -> None:
        job = demo.open()
        brief, surface = forms.BriefForm(job), forms.SurfaceForm(job)
        brief.fields["layer", 1, "thickness_mm"].value = 60
        brief.save_brief()
        surface.level.value = 10.050
        surface.save_surface()
        went_well(surface)
        brief.fields["layer", 2, "thickness_mm"].value = 40
        brief.save_brief()
        went_well(brief)
        again = demo.open()
        assert again.choice[0] == 10.050
        assert [round(layer.thickness, 6) for layer in again.brief.layers] == [0.060, 0.040, 0.100]

    def test_a_job_without_a_surface_can_be_given_one(self, hand: Any) -> None:
        hand.write(brief=re.sub(r"\[finish\]\n(.*=.*\n)*", "", hand.brief))
        form = forms.SurfaceForm(hand.open())
        assert hasattr(form, "level"), form.message.value
        form.level.value = 10.010
        form.save_surface()
        assert hand.open().choice[0] == 10.010

    def test_a_refusal_is_taken_back_once_the_slider_is_moved_on(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        form.refuse(("Something was wrong.",))
        form.level.value = 10.001
        assert "Something was wrong" not in form.message.value

    def test_saved_is_not_said_of_what_was_moved_afterwards(self, hand: Any) -> None:
        form = forms.SurfaceForm(hand.open())
        form.level.value = 10.001
        form.save_surface()
        assert "Saved" in went_well(form)
        form.level.value = 10.002
        assert "Saved" not in form.message.value

    def test_a_fall_can_be_typed_in_words_and_is_kept_exactly(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        form.away_words.value = "1:70"
        assert form.chosen()[1] == 1 / 70
        assert form.away.value == pytest.approx(14.3, abs=0.051)  # the slider stands at its nearest step, mm/m
        assert "1:70 (14.3 mm/m) away" in form.said.value
        form.save_surface()
        assert demo.open().choice[1] == pytest.approx(1 / 70, rel=1e-9)

    @pytest.mark.parametrize(("words", "fall", "said"), [("1:10", 0.1, "falls 1:10 "), ("1:25 uphill", -0.04, "rises 1:25 ")])
    def test_a_fall_beyond_the_slider_is_taken_as_typed(self, demo: Any, words: str, fall: float, said: str) -> None:
        form = forms.SurfaceForm(demo.open())
        form.away_words.value = words
        assert form.chosen()[1] == pytest.approx(fall, rel=1e-12)
        assert said in form.said.value

    def test_a_fall_typed_wrongly_is_refused_and_the_surface_stays(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        form.away_words.value = "steep"
        assert "was not understood" in refused(form)
        assert form.chosen()[1] == 1 / 52


class TestBriefTextForm:
    def test_it_says_what_the_brief_comes_to(self, demo: Any) -> None:
        assert "29.7 m² against studio wall" in went_well(forms.BriefTextForm(demo.open()))

    def test_a_fault_is_told_with_its_line_and_nothing_typed_is_lost(self, demo: Any) -> None:
        form = forms.BriefTextForm(demo.open())
        form.text.value = form.text.value.replace('least = "1:80"', "least = 1:80")
        assert "line" in refused(form)
        assert "least = 1:80" in refused(form)
        number = form.text.value.splitlines().index("least = 1:80") + 1
        assert f"{number}  least = 1:80  &lt;" in form.near.value  # the box numbers no lines
        assert f"{number - 1}  " in form.near.value
        form.save_text()
        assert 'least = "1:80"' in demo.brief
        assert "least = 1:80" in form.text.value
        form.text.value = form.text.value.replace("least = 1:80", 'least = "1:80"')
        assert form.near.value == ""

    def test_a_new_demand_can_be_added(self, demo: Any) -> None:
        form = forms.BriefTextForm(demo.open())
        form.text.value += '\n[[demand]]\nkind = "keep below"\npoint = "T1"\nby_mm = 50\n'
        assert "Not saved yet" in went_well(form)
        form.save_text()
        assert len(demo.open().brief.demands) == 9

    @pytest.mark.parametrize(("more", "words"), [
        ('[rain]\nintensity_mm_h = "heavy"\n', "'heavy' is not in the handbook"),
        ('[taking_up]\nsoil = "moon"\n', "moon"), ("[units]\nlength_mm = 500\n", "width_mm is missing"),
        ("[soakaway]\nsize_m = [1, 1, 1]\n", "how fast the ground takes water"),
        ('[[post]]\nname = "P"\nat = [1, 1]\n', "size_mm is missing")])
    def test_faults_of_the_outdoor_parts_are_told_and_may_be_saved(self, hand: Any, more: str, words: str) -> None:
        form = forms.BriefTextForm(hand.open())
        form.text.value += more
        assert words in refused(form)
        assert "holds together" not in form.message.value
        form.save_text()
        assert "Saved as it stands" in form.message.value
        assert words in refused(form)
        assert hand.brief.endswith(more)

    def test_outdoor_parts_that_are_right_are_no_fault(self, hand: Any) -> None:
        form = forms.BriefTextForm(hand.open())
        form.text.value += "[rain]\nintensity_mm_h = 36\n[units]\nlength_mm = 500\nwidth_mm = 500\njoint_mm = 0\n"
        assert "The brief holds together" in went_well(form)

    def test_what_another_form_wrote_meanwhile_is_not_written_over(self, demo: Any) -> None:
        job = demo.open()
        brief, text = forms.BriefForm(job), forms.BriefTextForm(job)
        next(iter(brief.fields.values())).value += 5
        brief.save_brief()
        kept = demo.brief
        text.text.value = f"{text.text.value}# mine\n"
        text.save_text()
        assert "Your version is kept as brief-not-saved.toml" in refused(text)
        assert demo.brief == kept
        assert (demo.path / "brief-not-saved.toml").read_text().endswith("# mine\n")
        text = forms.BriefTextForm(demo.open())
        for note in ("# one\n", "# two\n"):  # its own saving is no conflict
            text.text.value += note
            text.save_text()
        assert demo.brief == f"{kept}# one\n# two\n"

    def test_the_demonstration_itself_is_never_changed(self, demo: Any) -> None:
        folder = demo.path.rename(demo.path.parent / "pottery-yard")
        form = forms.BriefTextForm(workbook.open_job(folder))
        before = (folder / "brief.toml").read_bytes()
        form.text.value = form.text.value.replace("thickness_mm = 50", "thickness_mm = 60")
        form.save_text()
        assert "the demonstration stays as it is" in refused(form)
        assert (folder / "brief.toml").read_bytes() == before
