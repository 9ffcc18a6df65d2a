"""Forms without a screen: what is typed is checked, shown and saved as a script would do it."""

import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from messages import refused, went_well

from sitelevels import workbook
from sitelevels.workbook import forms
from sitelevels.workbook.forms.base import Form, button


class TestBookForm:
    def test_opens_reduced(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        assert "63 rows read and reduced" in went_well(form)
        assert "It closes" in form.levels.value
        assert form.offer.layout.display == "none"

    def test_points_that_no_check_sees_are_counted(self, hand: Any) -> None:
        """The two shots of the DPC and the four corners; the benchmark is read again at the end."""
        assert "6 points were read once, where no check sees a slip" in went_well(forms.BookForm(hand.open()))

    def test_every_fault_in_a_sentence_and_nothing_typed_is_lost(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        spoilt = form.text.value.replace("1.331", "l.331").replace("1.339", "1,339", 1)
        form.text.value = spoilt
        told = refused(form)
        assert "row 2, point C1" in told.replace("Row", "row")
        assert "l.331" in told
        assert form.levels.value == ""
        assert form.text.value == spoilt
        form.text.value = demo.book
        went_well(form)

    def test_a_doubtful_reading_is_questioned(self, hand: Any) -> None:
        form = forms.BookForm(hand.open())
        form.text.value = form.text.value.replace("1.785,,,4.0", "5.785,,,4.0")
        assert "longer than a 5 m staff" in form.message.value
        assert "point C3" in form.message.value
        assert form.levels.value

    def test_offer_to_call_the_first_point_ten(self, hand: Any) -> None:
        form = forms.BookForm(hand.open())
        form.text.value = form.text.value.replace("10.000", "")
        assert "no level is known" in refused(form).lower()
        assert form.offer.layout.display == ""
        assert form.offer.description == "Call BM 10.000 m"
        form.offer.click()
        assert "BM,1.500,,,10," in form.text.value
        went_well(form)
        assert form.offer.layout.display == "none"
        assert "9.880" in form.levels.value  # 10.000 + 1.500 - 1.620 m
        form.save_book()
        assert "BM,1.500,,,10," in hand.book

    def test_the_offer_is_in_the_unit_of_the_book(self, hand: Any) -> None:
        form = forms.BookForm(hand.change("[area]", '[survey]\nunit = "m"\n[area]').open())
        form.text.value = "point,bs,is\nA,1500,\nB,,1600\nA,,1500\n"
        form.unit.value = "mm"
        assert form.offer.description == "Call A 10.000 m"
        form.offer.click()
        went_well(form)
        assert "9.900" in form.levels.value  # 10.000 + 1.500 - 1.600 m
        assert form.text.value.splitlines()[1] == "A,1500,,10000"

    def test_no_offer_where_more_is_wrong(self, hand: Any) -> None:
        form = forms.BookForm(hand.open())
        form.text.value = form.text.value.replace("10.000", "").replace("1.785", "x")
        assert form.offer.layout.display == "none"

    def test_save(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        form.text.value = form.text.value.replace("1.331", "1.332")
        form.save_book()
        assert "Saved." in went_well(form)
        assert demo.book == form.text.value
        assert demo.open().reduced.level("C1") == pytest.approx(10.079, abs=1e-9)
        assert form.job.survey_text == form.text.value

    def test_a_book_that_cannot_be_reduced_is_saved_as_it_stands(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        form.text.value = "point,bs,is\nA,1.5"
        form.save_book()
        assert "cannot be reduced yet" in form.message.value
        assert demo.book == "point,bs,is\nA,1.5"

    def test_a_change_of_unit_is_saved_in_the_brief(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        form.unit.value = "cm"
        assert "0.1" in form.levels.value
        form.save_book()
        assert tomllib.loads(demo.brief)["survey"]["unit"] == "cm"
        assert demo.open().reduced.level("BM") == pytest.approx(0.1)
        form.unit.value = "m"
        form.save_book()
        assert tomllib.loads(demo.brief)["survey"]["unit"] == "m"

    def test_a_change_of_unit_where_the_brief_has_no_part_for_it(self, hand: Any) -> None:
        form = forms.BookForm(hand.open())
        form.unit.value = "cm"
        form.save_book()
        went_well(form)
        assert hand.open().told["survey"]["unit"] == "cm"

    def test_a_file_changed_by_another_is_not_written_over_and_what_was_typed_is_kept(self, demo: Any) -> None:
        form = forms.BookForm(demo.open())
        demo.write(book=demo.book + "# theirs\n")
        form.text.value += "# mine\n"
        form.save_book()
        assert "survey-not-saved.csv" in refused(form)
        assert demo.book.endswith("# theirs\n")
        assert form.text.value.endswith("# mine\n")


class TestDigForm:
    def test_follows_the_reading(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        assert form.backsight.value == 1.5
        assert "11.500 m" in form.shown.value
        form.backsight.value = 1.3
        assert "11.300 m" in form.shown.value
        assert "1.480" in form.shown.value  # 11.300 - 9.820 m

    def test_writes_the_sheet(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        form.backsight.value = 1.3
        form.write()
        assert "sheet.pdf" in went_well(form)
        assert sorted(place.name for place in (hand.path / "sheet").iterdir()) == [
            "cuts.csv", "levels.csv", "materials.csv", "pegs.csv", "sheet.pdf", "verdicts.csv"]
        assert "1.4800" in (hand.path / "sheet" / "pegs.csv").read_text(encoding="utf-8-sig")

    def test_readings_for_every_layer(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        assert "top of hardcore" in form.shown.value
        assert "1.580" in form.shown.value  # HPC 11.500 m; 10.000 m less 40 mm and 40 mm

    @pytest.mark.parametrize(("reading", "within"), [("1.500", "0.0 mm"), ("1,505", "5.0 mm"), (" 1.493 ", "7.0 mm")])
    def test_a_peg_that_was_set_before_reads_as_it_should(self, hand: Any, reading: str, within: str) -> None:
        form = forms.DigForm(hand.open())
        form.peg.value, form.reading.value = " C1 ", reading
        assert form.message.value == ""
        assert f"Peg C1 reads as it should, within {within}" in form.shown.value  # 1.500 m due; 5 mm x root 2 allowed

    @pytest.mark.parametrize(("reading", "how"), [("1.508", "8.0 mm lower"), ("1,400", "100.0 mm higher")])
    def test_a_peg_that_reads_otherwise_is_told(self, hand: Any, reading: str, how: str) -> None:
        form = forms.DigForm(hand.open())
        form.peg.value, form.reading.value = "C1", reading
        assert "The laser or the benchmark has moved" in form.shown.value
        assert how in form.shown.value
        assert "go on." not in form.shown.value

    def test_a_peg_may_be_checked_on_any_layer(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        assert form.surface.value == "finished"
        assert form.surface.options == ("finished", "top of bed", "top of hardcore", "formation")
        form.peg.value, form.reading.value = "C1", "1,680"  # HPC 11.500 m; the formation lies at 9.820 m
        assert "The laser or the benchmark has moved" in form.shown.value
        form.surface.value = "formation"
        assert "Peg C1 reads as it should, within 0.0 mm" in form.shown.value
        form.surface.value = "top of bed"  # at 9.960 m, due at 1.540 m
        assert "peg C1, top of bed, reads 1.680 m where 1.540 m is due, 140.0 mm lower" in form.shown.value

    def test_a_doubt_is_told_after_writing_too(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        form.peg.value, form.reading.value = "C1", "1.508"
        form.write()
        assert "Written: " in went_well(form)
        alert = form.message.value.partition("role='alert'")[2]
        assert "The laser or the benchmark has moved" in alert
        assert "Open the sheet" in alert

    def test_what_was_not_worked_out_is_told_after_writing(self, hand: Any) -> None:
        form = forms.DigForm(hand.write(brief=hand.brief + '[rain]\nintensity_mm_h = "heavy"\n').open())
        form.write()
        assert "Written: " in went_well(form)
        assert "Not worked out: brief.toml, [rain]" in form.message.value.partition("role='alert'")[2]
        assert (hand.path / "sheet" / "sheet.pdf").exists()

    def test_nothing_doubtful_is_no_alert(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        form.write()
        assert "role='alert'" not in form.message.value

    def test_after_a_move_the_peg_is_due_at_the_new_height(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        form.backsight.value = 1.300
        form.peg.value, form.reading.value = "C3", "1.375"  # HPC 11.300 m, finished 9.925 m
        assert "Peg C3 reads as it should, within 0.0 mm" in form.shown.value

    @pytest.mark.parametrize(("peg", "reading"), [("C9", "1.5"), ("C1", "<i>x</i>"), ("C1", "nan"), ("<b>C1</b>", "1.5")])
    def test_a_peg_or_a_reading_that_is_none_is_refused_and_kept(self, hand: Any, peg: str, reading: str) -> None:
        form = forms.DigForm(hand.open())
        form.peg.value, form.reading.value = peg, reading
        refused(form)
        assert "<b>" not in form.message.value
        assert "<i>" not in form.message.value
        assert (form.peg.value, form.reading.value, form.shown.value) == (peg, reading, "")
        form.write()
        assert not (hand.path / "sheet").exists()

    @pytest.mark.parametrize(("peg", "reading"), [("C1", ""), ("", "1.5"), (" ", " ")])
    def test_half_a_check_is_none(self, hand: Any, peg: str, reading: str) -> None:
        form = forms.DigForm(hand.open())
        form.peg.value, form.reading.value = peg, reading
        assert form.message.value == ""
        assert "11.500 m" in form.shown.value
        assert "reads as it should" not in form.shown.value

    def test_no_reading_in_the_brief_is_asked_for_and_never_taken_as_nought(self, hand: Any) -> None:
        form = forms.DigForm(hand.change("backsight_m = 1.500\n", "").open())
        assert "plane of collimation" not in form.shown.value
        form.write()
        assert not (hand.path / "sheet").exists()

    @pytest.mark.parametrize("typed", [1500.0, 1e300, float("nan"), float("inf"), -1e9])
    def test_a_reading_that_cannot_be_is_refused_or_questioned(self, hand: Any, typed: float) -> None:
        form = forms.DigForm(hand.open())
        form.backsight.value = typed
        assert "role='alert'" in form.message.value or "Doubtful" in form.message.value + form.shown.value

    def test_no_sheet_is_written_from_a_doubtful_reading_without_a_word(self, hand: Any) -> None:
        form = forms.DigForm(hand.open())
        form.backsight.value = 1500.0
        form.write()
        assert "Doubtful" in form.message.value or not (hand.path / "sheet").exists()


class TestStartForm:
    def test_choose(self, desk: Path) -> None:
        workbook.new_job(desk / "mine")
        form = forms.StartForm()
        assert form.pick.value == "pottery-yard"
        assert form.pick.options == ("mine", "pottery-yard")
        form.pick.value = "mine"
        form.use()
        assert "mine is chosen" in went_well(form)
        assert form.now.value == "<p>The job chosen now is <b>mine</b>, an invented job.</p>"
        assert workbook.current_job().folder.name == "mine"
        assert forms.StartForm().pick.value == "mine"

    @pytest.mark.parametrize("like", ["a small made-up example", "pottery-yard"])
    def test_start(self, desk: Path, like: str) -> None:
        form = forms.StartForm()
        form.name.value, form.like.value = " back yard ", like
        form.start()
        assert "data/back yard" in went_well(form)
        assert form.pick.value == "back yard"
        job = workbook.current_job()
        assert (job.folder, job.name) == (desk / "back yard", "back yard")

    @pytest.mark.parametrize("name", ["", " ", ".", "..", "../outside", "a/b", "/elsewhere/of-a-test", "pottery-yard", "x/.",
                                      "a\nb", "pottery-yard/sub", "a//", ".hidden", "~", "C:\\x", "\0"])
    def test_a_bad_name_is_refused_and_nothing_is_made_anywhere(self, desk: Path, name: str, tmp_path: Path) -> None:
        before = sorted(tmp_path.rglob("*"))
        form = forms.StartForm()
        form.name.value = name.replace("/elsewhere", f"{tmp_path}/elsewhere")
        form.start()
        assert refused(form)
        assert sorted(tmp_path.rglob("*")) == before

    def test_no_data_folder(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)
        form = forms.StartForm()
        assert "'data'" in refused(form)
        form.use()
        refused(form)
        form.name.value = "x"
        form.start()
        refused(form)

    def test_a_chosen_job_that_is_broken_is_told_and_another_can_be_chosen(self, desk: Path) -> None:
        workbook.new_job(desk / "mine")
        workbook.choose_job("mine")
        (desk / "mine" / "brief.toml").write_text("format = 1\n[job\n")
        form = forms.StartForm()
        assert "brief.toml" in refused(form)
        form.use()
        assert refused(form)
        form.pick.value = "pottery-yard"
        form.use()
        went_well(form)
        assert workbook.current_job().folder.name == "pottery-yard"


class TestInventedNumbers:
    OWN = "point,bs,is,fs,rl,x,y,feature\nBM,1.412,,,10,,,\nA,,1.533,,,0,0,corner\nB,,1.534,,,4,0,corner\nBM,,,1.413,,,,\n"

    def test_the_mark_goes_when_none_of_the_starters_readings_is_left(self, starter: Any) -> None:
        form = forms.BookForm(starter.open())
        form.text.value = starter.book.replace("1.310", "1.377")
        form.save_book()
        assert starter.open().invented
        form.text.value = self.OWN
        form.save_book()
        assert not starter.open().invented
        assert "invented" not in starter.brief

    def test_also_by_way_of_a_book_that_cannot_be_read(self, starter: Any) -> None:
        form = forms.BookForm(starter.open())
        for text in (self.OWN.replace("1.533", "1.5x3"), self.OWN):
            assert starter.open().invented
            form.text.value = text
            form.save_book()
        assert not starter.open().invented

    def test_a_mark_that_somebody_made_stays(self, hand: Any) -> None:
        hand.change('name = "Worked by hand"', 'name = "Worked by hand"\ninvented = true')
        form = forms.BookForm(hand.open())
        form.text.value = self.OWN
        form.save_book()
        assert hand.open().invented


class TestTurns:
    """Messages of a page may come in on two threads."""

    @pytest.mark.parametrize("start", [lambda form, act: form.attempt(act), lambda _, act: button("go", act).click()],
                             ids=["field", "button"])
    def test_what_one_thread_has_begun_it_ends_before_another_begins(self, start: Callable[[Form, Any], Any]) -> None:
        told: list[str] = []

        def act() -> None:
            told.append("begins")
            time.sleep(0.02)
            told.append("ends")
        threads = [Thread(target=start, args=(Form(None), act)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert told == ["begins", "ends"] * 4

    def test_a_form_may_act_within_what_it_does(self) -> None:
        form = Form(None)
        assert form.attempt(lambda: form.attempt(lambda: 7)) == 7
