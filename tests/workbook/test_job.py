"""Job folders: opening, starting, choosing."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sitelevels import check_finish, workbook
from sitelevels.errors import SurveyError


def refused(act: Callable[[], Any]) -> str:
    with pytest.raises(SurveyError) as caught:
        act()
    assert all(problem.endswith((".", "?", "!")) for problem in caught.value.problems)
    return str(caught.value)


class TestOpening:
    def test_demonstration(self, demo: Any) -> None:
        job = demo.open()
        assert (job.name, job.invented, job.benchmark, job.wall_name) == ("Pottery yard", True, "BM", "studio wall")
        assert job.brief_text == demo.brief
        assert job.survey_text == demo.book
        assert job.choice == (10.060, 1 / 52, 1 / 900)
        # the corners C1 to C6 and the spots S1 to S41
        assert len(job.ground_spots) == 47
        # by the margin alone all are met; with the errors of its [errors] the old paving and the flue are too close to call
        assert check_finish(job.finish, job.brief).all_met
        assert (job.verdicts.failed, job.verdicts.too_close) == (0, 2)

    def test_starter_opens_and_meets_its_own_brief(self, starter: Any) -> None:
        job = starter.open()
        assert job.invented
        assert job.verdicts.all_met
        assert job.reduced.closes
        assert len(job.pegs(1.4).pegs) == 4

    def test_hand_job(self, hand: Any) -> None:
        job = hand.open()
        assert (job.earthworks.cut, job.earthworks.fill) == (pytest.approx(0.24), pytest.approx(0.06))
        assert job.section().clearance == pytest.approx(0.200)
        assert job.section().along == pytest.approx(2.0)
        pegs = {peg.point: peg for peg in job.pegs().pegs}
        assert set(pegs) == {"C1", "C2", "C3", "C4"}
        # HPC 11.500 m: formation 9.820 m at the wall and 9.745 m at 3 m out, finished 180 mm above
        assert [pegs[name].reading_formation for name in ("C1", "C3")] == pytest.approx([1.680, 1.755])
        assert [pegs[name].reading_finished for name in ("C1", "C3")] == pytest.approx([1.500, 1.575])
        assert [pegs[name].dig for name in ("C1", "C3")] == pytest.approx([0.060, 0.0])
        assert [pegs[name].fill for name in ("C1", "C3")] == pytest.approx([0.0, 0.030])
        assert job.pegs(1.400).pegs[0].reading_formation == pytest.approx(1.580)

    def test_a_section_where_there_is_no_paving_is_refused(self, hand: Any) -> None:
        assert "4.00 m long" in refused(lambda: hand.open().section(along=4.5))

    def test_missing_folder_and_files(self, demo: Any, tmp_path: Path) -> None:
        assert "nowhere" in refused(lambda: workbook.open_job(tmp_path / "nowhere"))
        for name in ("survey.csv", "brief.toml"):
            (demo.path / name).unlink()
            assert name in refused(demo.open)

    def test_a_folder_called_like_a_file(self, demo: Any) -> None:
        (demo.path / "survey.csv").unlink()
        (demo.path / "survey.csv").mkdir()
        assert "survey.csv" in refused(demo.open)

    @pytest.mark.parametrize("name", ["brief.toml", "survey.csv"])
    def test_not_utf_8(self, demo: Any, name: str) -> None:
        (demo.path / name).write_bytes((demo.path / name).read_bytes() + "# 0.95°\n".encode("latin-1"))
        assert f"{name} is not plain text" in refused(demo.open)

    def test_a_byte_order_mark_does_no_harm(self, demo: Any) -> None:
        for name in ("brief.toml", "survey.csv"):
            (demo.path / name).write_bytes(b"\xef\xbb\xbf" + (demo.path / name).read_bytes())
        assert demo.open().verdicts.failed == 0

    def test_a_later_format_is_refused_when_opened(self, demo: Any) -> None:
        assert "format 2" in refused(demo.change("format = 1", "format = 2").open)

    def test_the_unit_of_the_book_is_the_one_in_the_brief(self, make_job: Any) -> None:
        folder = make_job().change("[area]", '[survey]\nunit = "cm"\n[area]')
        assert folder.open().reduced.level("C1") == pytest.approx(0.0988)  # 9.880 cm


@pytest.mark.parametrize(("old", "new", "reach"), [
    ("[area]", "[survey]\nunit = [\"m\"]\n[area]", "reduced"), ("[area]", "[survey]\nunit = 3\n[area]", "reduced"),
    ("[area]", "[survey]\nadjust = [1]\n[area]", "reduced"), ("[area]", "[survey]\nallowable_mm = -3\n[area]", "reduced"),
    ("[area]", "[survey]\nallowable_mm = [3]\n[area]", "reduced"), ("[area]", "[survey]\nallowable_mm = true\n[area]", "reduced"),
    ("[area]", "[survey]\nbreaks = 5\n[area]", "ground"), ("[area]", "[survey]\nbreaks = [5]\n[area]", "ground"),
    ("[area]", '[survey]\nbreaks = [["C1", "X"]]\n[area]', "ground"),
    ("= 10.000", '= "10"', "finish"), ("= 10.000", "= nan", "finish"), ("= 10.000", "= true", "finish"),
    ('"25 mm/m"', "25", "finish"), ('"25 mm/m"', '"steep"', "finish"), ('"level"', "[]", "finish"),
    ('[finish]\nwall = "house"', '[finish]\nwall = "barn"', "finish"),
    ('[finish]\nwall = "house"', "[finish]\nwall = 4", "finish"),
    ("backsight_m = 1.500", 'backsight_m = "1,5"', "pegs"), ("backsight_m = 1.500", "backsight_m = nan", "pegs"),
    ("backsight_m = 1.500", "backsight_m = 1.5\npegs = 5", "pegs"),
    ("backsight_m = 1.500", 'backsight_m = 1.5\npegs = ["C9"]', "pegs"),
    ("backsight_m = 1.500", 'backsight_m = 1.5\npegs = [["C1"]]', "pegs"), ('benchmark = "BM"', "benchmark = 5", "pegs"),
    ('name = "Worked by hand"', "name = [1]", "name"), ('name = "Worked by hand"', 'name = "x"\ninvented = "no"', "invented"),
])
def test_wrong_values_elsewhere_in_the_brief_are_refused_in_sentences(make_job: Any, old: str, new: str, reach: str) -> None:
    def use() -> None:
        found = getattr(make_job(make_job().change(old, new).brief).open(), reach)
        if callable(found):
            found()
    refused(use)


def test_no_reading_no_benchmark_and_no_known_level_is_told(hand: Any) -> None:
    hand.write(brief=hand.brief[:hand.brief.index("[setting_out]")], book=hand.book.replace("10.000", ""))
    refused(lambda: hand.open().benchmark)
    refused(lambda: hand.open().pegs())
    refused(lambda: hand.open().pegs(1.5))


@pytest.mark.parametrize("folder", ["a\0b", "\ud800", "x" * 5000, None, 3])
def test_what_can_be_no_folder_is_refused(folder: Any) -> None:
    with pytest.raises(SurveyError, match="job folder"):
        workbook.open_job(folder)


class TestNewJob:
    def test_blank(self, tmp_path: Path) -> None:
        job = workbook.new_job(tmp_path / "Mine")
        assert (job.folder, job.name) == (tmp_path / "Mine", "Mine")
        assert job.verdicts.all_met
        assert sorted(place.name for place in job.folder.iterdir()) == ["brief.toml", "survey.csv"]

    def test_like_another(self, demo: Any, tmp_path: Path) -> None:
        for number, like in enumerate((demo.path, str(demo.path), demo.open())):
            made = workbook.new_job(tmp_path / f"copy {number}", like=like)
            assert (made.brief_text, made.survey_text) == (demo.brief.replace('"Pottery yard"', f'"copy {number}"'), demo.book)

    def test_like_one_that_is_not_there_leaves_nothing(self, tmp_path: Path) -> None:
        refused(lambda: workbook.new_job(tmp_path / "new", like=tmp_path / "old"))
        assert not (tmp_path / "new").exists()

    def test_a_folder_that_is_there_is_left_alone(self, demo: Any) -> None:
        before = demo.files()
        assert "already" in refused(lambda: workbook.new_job(demo.path))
        assert demo.files() == before

    def test_an_empty_folder_and_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "empty").mkdir()
        assert workbook.new_job(tmp_path / "empty").invented
        (tmp_path / "file").write_text("x")
        assert "already" in refused(lambda: workbook.new_job(tmp_path / "file"))

    @pytest.mark.parametrize("name", ["..", ".x", "-x", "a\nb", "a\n", "a\0b", "=cmd", "a:b", "a*", "a" * 62, " a",
                                      "<b>", "$HOME", "~", "a\\b", "learning", "LEARNING", "Class-Set", "CON", "nul",
                                      "nul.txt", "Com1"])
    def test_bad_names(self, tmp_path: Path, name: str) -> None:
        place = tmp_path / "inside"
        place.mkdir()
        assert "cannot be the name" in refused(lambda: workbook.new_job(place / name))
        assert list(place.iterdir()) == []

    @pytest.mark.parametrize("name", ["Grünhof 2", "console", "no. 7", "a", "a" * 61, "Nº_4-b"])
    def test_good_names(self, tmp_path: Path, name: str) -> None:
        assert workbook.new_job(tmp_path / name).folder.name == name

    @pytest.mark.parametrize("name", ["trailing.", "trailing "])
    def test_names_that_another_system_would_change_are_refused(self, tmp_path: Path, name: str) -> None:
        refused(lambda: workbook.new_job(tmp_path / name))


class TestChoosing:
    def test_the_demonstration_where_none_was_chosen(self, desk: Path) -> None:
        assert workbook.current_job().folder == desk / "pottery-yard"

    def test_data_is_found_from_a_folder_below(self, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (desk.parent / "notebooks").mkdir()
        monkeypatch.chdir(desk.parent / "notebooks")
        assert workbook.data_folder() == desk

    def test_no_data_folder(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)
        assert "'data'" in refused(workbook.current_job)

    def test_a_chosen_job_is_remembered(self, desk: Path) -> None:
        workbook.new_job(desk / "mine")
        assert workbook.choose_job("mine").folder == desk / "mine"
        assert workbook.current_job().folder == desk / "mine"
        assert workbook.job_names() == ["mine", "pottery-yard"]

    def test_one_that_is_gone_falls_back(self, desk: Path) -> None:
        (desk / ".chosen").write_text("gone", encoding="utf-8")
        assert workbook.current_job().folder == desk / "pottery-yard"

    def test_the_environment_names_another(self, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        workbook.new_job(desk / "mine")
        workbook.new_job(desk / "theirs")
        workbook.choose_job("mine")
        monkeypatch.setenv("SITELEVELS_JOB", "theirs")
        assert workbook.current_job().folder.name == "theirs"

    def test_a_job_that_cannot_be_opened_is_not_remembered(self, desk: Path) -> None:
        refused(lambda: workbook.choose_job("gone"))
        assert not (desk / ".chosen").exists()

    @pytest.mark.parametrize("said", ["../..", "../outside", "/", "", "pottery-yard/../../outside", "."])
    def test_a_choice_that_leads_out_of_data_is_passed_over(self, desk: Path, said: str) -> None:
        workbook.new_job(desk.parent / "outside")
        (desk / ".chosen").write_text(said, encoding="utf-8")
        assert workbook.current_job().folder == desk / "pottery-yard"

    def test_a_choice_that_is_not_text_is_passed_over(self, desk: Path) -> None:
        (desk / ".chosen").write_bytes(b"\xff\xfe\x00")
        assert workbook.current_job().folder == desk / "pottery-yard"

    def test_a_job_outside_data_cannot_be_chosen(self, desk: Path) -> None:
        workbook.new_job(desk.parent / "outside")
        refused(lambda: workbook.choose_job("../outside"))
        assert not (desk / ".chosen").exists()

    def test_chosen_is_never_written_through_a_link(self, desk: Path, tmp_path: Path) -> None:
        (tmp_path / "precious").write_text("keep")
        (desk / ".chosen").symlink_to(tmp_path / "precious")
        workbook.choose_job("pottery-yard")
        assert (tmp_path / "precious").read_text() == "keep"
