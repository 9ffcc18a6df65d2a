"""Finding a surface with the forms, without a screen: what is found, told, saved and carried on facet by facet."""

import re
from typing import Any

import pytest
from messages import refused, went_well

from sitelevels import Channel, Finish, Outlet, check_finish, solve_finish, workbook
from sitelevels.workbook import forms
from sitelevels.workbook.forms.solve import CHANNEL, OUTLET, PLANE


class TestSolveForm:
    def test_finds_and_saves_one_plane(self, demo: Any) -> None:
        form = forms.SolveForm(demo.open())
        form.find()
        best = solve_finish(demo.open().brief, demo.open().ground, budget=demo.open().counted)
        assert f"{best.volume:.2f} m³" in form.shown.value
        form.save_found()
        went_well(form)
        job = demo.open()
        assert job.finish.level_at([0, 7, 4], [0, 2, 4]) == pytest.approx(best.finish.level_at([0, 7, 4], [0, 2, 4]), abs=1e-9)
        assert (job.verdicts.failed, job.verdicts.too_close) == (0, 1)  # 6 mm at the old paving is finer than levels show
        assert "NOT PROVED: within 6 mm of the paving that stays" in form.shown.value

    def test_the_two_aims(self, demo: Any) -> None:
        form = forms.SolveForm(demo.open())
        form.aim.value = "least dig"
        form.find()
        least = form.solution
        form.aim.value = "target fall"
        form.find()
        assert least.volume < form.solution.volume - 0.05

    def test_a_quarrel_is_told_and_cannot_be_saved(self, demo: Any) -> None:
        before = demo.files()
        form = forms.SolveForm(demo.change("most_mm = 150", "most_mm = 76").change("least_mm = 180", "least_mm = 195").open())
        before = demo.files()
        form.find()
        for words in ("cannot all be met", "the least change to it alone", "Or share it", "tried on this brief"):
            assert words in form.shown.value
        form.save_found()
        assert "no surface to save" in refused(form)
        assert demo.files() == before

    @pytest.mark.parametrize("aim", ["target fall", "least dig"])
    def test_a_channel_is_found_saved_and_carried_on(self, hand: Any, aim: str) -> None:
        """By hand: the strip of 0.5 m falls 1:80 to the channel, and the rest falls back to it."""
        form = forms.SolveForm(hand.open())
        form.shape.value, form.aim.value = CHANNEL, aim
        form.find()
        assert "channel" in form.shown.value
        form.save_found()
        went_well(form)
        job = hand.open()
        assert isinstance(job.shape, Channel)
        assert job.verdicts.all_met
        assert len(job.finish.facets) == 2
        assert all(facet.plane.fall_towards(*facet.towards) >= 1 / 80 - 1e-9 for facet in job.finish.facets)
        found = form.solution.finish
        for x, y in ((0.0, 0.0), (4.0, 3.0), (2.0, 0.5), (3.3, 0.2)):
            assert job.finish.level_at(x, y) == pytest.approx(found.level_at(x, y), abs=1e-9)
        assert job.earthworks.cut + job.earthworks.fill == pytest.approx(form.solution.volume, abs=1e-6)
        for peg in job.pegs().pegs:
            assert peg.formation == pytest.approx(found.level_at(peg.x, peg.y) - 0.180, abs=1e-9)
        workbook.save_sheet(job)
        assert (hand.path / "sheet" / "sheet.pdf").read_bytes().startswith(b"%PDF")
        assert "channel" in job.finish_words

    def test_an_outlet_from_all_sides_and_from_one(self, hand: Any) -> None:
        text = hand.book.replace("C4,,1.785,,,0.0,3.0,corner,,\n", "C4,,1.785,,,0.0,3.0,corner,,\nG1,,1.700,,,2.0,2.0,gully,,\n"
                                                                   "G2,,1.790,,,2.0,3.0,gully,,\n")
        hand.write(book=text)
        form = forms.SolveForm(hand.open())
        form.shape.value, form.outlet.value = OUTLET, "G1"
        form.find()
        assert len(form.solution.finish.facets) == 4
        form.outlet.value = "G2"
        form.sides.value = (form.sides.options[0][1],)
        form.find()
        form.save_found()
        went_well(form)
        job = hand.open()
        assert isinstance(job.shape, Outlet)
        assert job.shape.sides is not None
        assert check_finish(job.finish, job.brief).all_met
        form.shape.value = PLANE
        form.find()
        form.save_found()
        assert hand.open().told["finish"]["shape"] == "plane"

    def test_all_sides_after_chosen_ones_is_what_is_loaded(self, hand: Any) -> None:
        hand.write(book=hand.book.replace("C4,,1.785,,,0.0,3.0,corner,,\n", "C4,,1.785,,,0.0,3.0,corner,,\n"
                                                                            "G2,,1.790,,,2.0,3.0,gully,,\n"))
        form = forms.SolveForm(hand.open())
        form.shape.value, form.outlet.value = OUTLET, "G2"
        for sides in ((form.sides.options[0][1],), ()):
            form.sides.value = sides
            form.find()
            form.save_found()
            loaded = hand.open().finish
            for x, y in ((0.5, 1.0), (3.9, 2.0), (2.0, 0.1)):
                assert loaded.level_at(x, y) == pytest.approx(form.solution.finish.level_at(x, y), abs=1e-9)

    def test_the_drain_is_set_out_with_the_rest(self, hand: Any) -> None:
        form = forms.SolveForm(hand.open())
        form.shape.value = CHANNEL
        form.find()
        form.save_found()
        pegs = {peg.point: peg for peg in hand.open().pegs().pegs}
        start, end = pegs["channel start"], pegs["channel end"]
        assert {(start.x, start.y), (end.x, end.y)} == {(0.0, 0.5), (4.0, 0.5)}
        assert start.finished == pytest.approx(form.solution.finish.level_at(start.x, start.y))
        assert start.reading_finished == pytest.approx(11.5 - start.finished)

    def test_what_nothing_forbids_and_wants_a_second_look_is_told(self, hand: Any) -> None:
        """Without a greatest gradient the far side of a channel may follow the ground as steeply as it likes."""
        form = forms.SolveForm(hand.open())
        form.shape.value, form.away.value = CHANNEL, 2.5
        form.find()
        steep = max(facet.plane.fall for facet in form.solution.finish.facets)
        assert ("put a greatest gradient into the brief" in form.shown.value) == (steep > 0.05)

    def test_it_compares_with_the_surface_that_is_saved(self, demo: Any) -> None:
        form = forms.SolveForm(demo.open())
        form.find()
        works = demo.open().earthworks
        assert f"moves {works.cut + works.fill:.2f} m³" in form.shown.value


class TestWhatIf:
    def test_the_button_puts_the_sliders_at_the_solved_surface(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        form.go_to_best()
        best = solve_finish(demo.open().brief, demo.open().ground, budget=demo.open().counted).finish.facets[0].plane
        assert form.chosen() == pytest.approx((best.level_at(0, 0), -best.gy, -best.gx), abs=1e-9)
        assert "1 of 8 demands too close to call" in form.said.value
        assert "To be 95% sure of at least 150 mm, aim for 157 mm." in form.shown.value

    def test_by_the_margin_alone_a_demand_may_be_met_at_its_limit(self, demo: Any) -> None:
        start, end = demo.brief.index("[errors]"), demo.brief.index("[setting_out]")
        form = forms.SurfaceForm(demo.change(demo.brief[start:end], "").open())
        form.go_to_best()
        assert "every demand met" in form.said.value
        assert "met, with nothing in hand" in form.shown.value
        assert "aim for" not in form.shown.value

    def test_a_clearance_asked_for_changes_the_verdict_and_the_picture_and_not_the_file(self, demo: Any) -> None:
        before = demo.files()
        form = forms.SurfaceForm(demo.open())
        picture = bytes(form.map.value)
        form.clearance.value = 170.0
        assert "What if 170 mm of clearance" in form.said.value
        assert "not met" in form.said.value
        assert bytes(form.map.value) != picture
        form.clearance.value = 150.0
        assert "What if" not in form.said.value
        assert demo.files() == before

    def test_where_no_plane_does_it_the_button_says_why(self, demo: Any) -> None:
        form = forms.SurfaceForm(demo.open())
        form.clearance.value = 290.0
        form.go_to_best()
        assert "cannot all be met" in refused(form)
        assert "No plane meets every demand" in form.said.value

    def test_saving_a_plane_after_a_channel_puts_the_plane_in_its_place(self, hand: Any) -> None:
        solve = forms.SolveForm(hand.open())
        solve.shape.value = CHANNEL
        solve.find()
        solve.save_found()
        form = forms.SurfaceForm(hand.open())
        assert "Not saved yet" in form.said.value
        form.save_surface()
        went_well(form)
        assert hand.open().finish_words.startswith("10.000 m at the first end")


class TestTheChoice:
    def test_what_is_allowed_is_what_the_verdicts_say(self, demo: Any) -> None:
        """Every place of a grid over the picture, against `check_finish`."""
        import shapely
        job = demo.open()
        laid_open = job.laid_open()
        assert not laid_open.allowed.is_empty
        agreed = 0
        for level in laid_open.levels:
            for fall in laid_open.falls:
                place = shapely.Point(level, fall)
                if laid_open.allowed.exterior.distance(place) < 1e-5:
                    continue
                met = check_finish(job.finish_of(level, fall, laid_open.along), job.brief).all_met
                assert met == laid_open.allowed.contains(place)
                agreed += 1
        assert agreed > 100

    LONE = '[[demand]]\nkind = "meet"\npoints = ["M1"]\nwithin_mm = 0\n[[demand]]\nkind = "gradient"'

    def test_one_surface_with_nothing_in_hand_is_a_choice(self, hand: Any) -> None:
        hand.change('[[demand]]\nkind = "gradient"', self.LONE).change('"1:80"', '"25 mm/m"\nmost = "25 mm/m"')
        hand.change_book("C1,,", "M1,,1.500,,,2.0,0.0,edge,,\nC1,,")
        job = hand.open()
        assert job.verdicts.all_met
        assert job.laid_open().sentence() == (
            "With a fall of level (0.0 mm/m) along the house one level and fall away alone meet every demand, with nothing in "
            "hand: 10.000 m at its first end and 1:40 (25.0 mm/m) away from it.")
        shown = " ".join(text.get_text() for text in workbook.figures.choice(job.laid_open()).texts)
        assert "white: every demand met" in shown
        none = hand.change("least_mm = 150", "least_mm = 201").open()  # 200 mm is what there is
        assert "no level and fall away meet every demand" in none.laid_open().sentence()

    def test_volumes_are_those_of_the_earthworks(self, demo: Any) -> None:
        job = demo.open()
        laid_open = job.laid_open()
        for row, column in ((0, 0), (3, 7), (14, 14)):
            works = job.earthworks_of(job.finish_of(laid_open.levels[column], laid_open.falls[row], laid_open.along))
            assert laid_open.volume[row, column] == pytest.approx(works.cut + works.fill, rel=1e-9)

    def test_the_picture_names_the_demands_at_its_edges(self, demo: Any) -> None:
        job = demo.open()
        ax = workbook.figures.choice(job.laid_open(), solved=(10.051, 1 / 60))
        drawn = " ".join(text.get_text() for text in ax.texts)
        for words in ("below the DPC", "meet the old paving", "best"):
            assert words in drawn
        assert re.search(r"from 10\.\d+ m to 10\.068 m", workbook.figures.in_words(ax))


class TestVariant:
    def test_its_demands_stand_in_place_of_those_of_the_same_kind(self, demo: Any) -> None:
        job = demo.open()
        usual, varied = job.brief, job.variant("level access")
        assert len(varied.demands) == len(usual.demands)
        assert [step.most for step in varied.demands if step.title == "step"] == [0.015]
        assert solve_finish(varied, job.ground).quarrel.level_access

    @pytest.mark.parametrize(("old", "new", "words"), [
        ('name = "level access"', "name = 3", "the variant has no name"), ('kind = "step"\npoints = "threshold"\nleast_mm = 0',
         'kind = "hop"\npoints = "threshold"\nleast_mm = 0', "the kind of demand is 'hop'"),
        ("least_mm = 0\n", "least_mm = 0\nup_mm = 3\n", "the key 'up_mm' is not known here")])
    def test_a_fault_in_it_is_told_with_its_place(self, demo: Any, old: str, new: str, words: str) -> None:
        from sitelevels import SurveyError
        with pytest.raises(SurveyError, match=re.escape(words)) as caught:
            demo.change(old, new).open()
        assert "[[variant]] number 1" in str(caught.value)

    def test_one_that_is_not_there(self, demo: Any) -> None:
        from sitelevels import SurveyError
        with pytest.raises(SurveyError, match=r"no variant 'gold taps'.*level access"):
            demo.open().variant("gold taps")


class TestFalls:
    def test_an_arrow_down_each_facet_with_its_fall(self, hand: Any) -> None:
        """By hand: 25 mm from each side to a channel 1 m from the wall, over 1 m and 2 m."""
        finish = Finish.channel(((0, 1), (4, 1)), hand.open().brief.area, level=9.9, left=0.0125, right=0.025)
        ax = workbook.figures.falls(finish, hand.open().brief)
        labels = {text.get_text(): text.xy for text in ax.texts if text.get_text().startswith("1:")}
        assert {words: (round(x, 6), round(y, 6)) for words, (x, y) in labels.items()} == {"1:40": (2.0, 0.5), "1:80": (2.0, 2.0)}
        arrows = [(text.xyann, text.xy) for text in ax.texts if getattr(text, "arrowprops", None)]
        assert sorted(float(end[1] - start[1]) > 0 for start, end in arrows) == [False, True]
        assert "2, with true falls of 1:80 (12.5 mm/m), 1:40 (25.0 mm/m)" in workbook.figures.in_words(ax)
