"""A job folder may come from a stranger: names in it are text, wherever they are shown, and never run."""

import csv
import io
from html.parser import HTMLParser
from typing import Any

import pytest

from sitelevels import workbook
from sitelevels.workbook import forms

NASTY = "<img src=x onerror=alert(1)>&'b'"
FORMULAS = ("=cmd|' /C calc'!A0", "+1+2", "-2+3", "@SUM(A1:A9)")


class Tags(HTMLParser):
    """Which tags a piece of HTML opens, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self.text = ""
        self.handlers: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.found.append(tag)
        self.handlers += [name for name, _ in attributes if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.text += data


def harmless(html: str) -> Tags:
    tags = Tags(html)
    assert not {"img", "script", "iframe", "svg", "a"} & set(tags.found), html
    assert not tags.handlers
    return tags


def html_of(widget: Any) -> list[str]:
    """Every piece of HTML that a form shows."""
    shown = [widget.value] if type(widget).__name__ in ("HTML", "HTMLMath") else []
    return shown + [html for child in getattr(widget, "children", ()) for html in html_of(child)]


@pytest.fixture
def strange(hand: Any) -> Any:
    """Every name in the job is a piece of HTML."""
    book = hand.book.replace("C1", NASTY).replace(",house,", f",{NASTY},").replace("BM", f"BM{NASTY}")
    rows = [line + (f"{NASTY}" if number else "") for number, line in enumerate(book.splitlines())]
    brief = hand.brief.replace('"C1"', f'"{NASTY}"').replace("house", NASTY).replace("slabs", f"slabs {NASTY}")
    brief = brief.replace("Worked by hand", f"Job {NASTY}").replace('"BM"', f'"BM{NASTY}"')
    return hand.write(brief=brief, book="\n".join(rows) + "\n")


class TestHtml:
    def test_the_guard_sees_a_tag(self) -> None:
        with pytest.raises(AssertionError):
            harmless(f"<p>{NASTY}</p>")

    @pytest.mark.parametrize("part", ["book", "reduced", "ground", "brief", "finish", "verdicts", "earthworks", "pegs"])
    def test_results(self, strange: Any, part: str) -> None:
        found = getattr(strange.open(), part)
        tags = harmless((found() if callable(found) else found)._repr_html_())
        if part in ("book", "reduced", "brief", "verdicts", "pegs"):
            assert NASTY in tags.text

    def test_plane_fit(self, strange: Any) -> None:
        harmless(strange.open().ground.plane_fit()._repr_html_())

    @pytest.mark.parametrize("kind", [forms.BookForm, forms.BriefForm, forms.SurfaceForm, forms.DigForm])
    def test_forms(self, strange: Any, kind: Any) -> None:
        pieces = html_of(kind(strange.open()))
        assert pieces
        assert NASTY in "".join(harmless(piece).text for piece in pieces)

    def test_refusals_in_forms(self, strange: Any) -> None:
        form = forms.BookForm(strange.open())
        form.text.value = form.text.value.replace("1.785", NASTY, 1)
        assert NASTY in harmless(form.message.value).text
        form.text.value = f"point,bs,is,fs\n{NASTY},1,,\nB,,1,\n"
        assert NASTY in harmless(form.message.value).text
        assert form.offer.description == f"Call {NASTY} 10.000 m"  # a button's words are text, never HTML
        assert "description_allow_html" not in form.offer.traits() or not form.offer.description_allow_html

    def test_starting_a_job(self, desk: Any) -> None:
        form = forms.StartForm()
        form.name.value = NASTY
        form.start()
        assert NASTY in harmless(form.message.value).text
        assert [place.name for place in desk.iterdir()] == ["pottery-yard"]

    def test_saying_a_chosen_job(self, desk: Any, strange: Any) -> None:
        job = workbook.new_job(desk / "mine", like=strange.open())
        (job.folder / "brief.toml").write_bytes(strange.brief.encode())  # a new job takes the name of its folder
        form = forms.StartForm()
        form.pick.value = job.folder.name
        form.use()
        assert NASTY in harmless(form.message.value).text

    def test_sentences_and_tables_of_words(self, strange: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        shown: list[Any] = []
        monkeypatch.setattr("IPython.display.display", shown.append)
        workbook.say(f"one {NASTY}", "two")
        assert NASTY in harmless(shown[0]._repr_html_()).text
        assert repr(shown[0]) == f"one {NASTY}\ntwo"
        assert NASTY in harmless(workbook.words_table(strange.open().verdicts.words)._repr_html_()).text

    def test_the_sheet_and_the_pictures_are_made(self, strange: Any) -> None:
        workbook.save_sheet(strange.open())
        assert NASTY in workbook.figures.in_words(workbook.figures.section(strange.open().section()))


def cells(path: Any) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"))))


class TestFormulas:
    @pytest.mark.parametrize("formula", FORMULAS)
    def test_a_name_that_a_spreadsheet_would_work_out_is_guarded(self, hand: Any, formula: str) -> None:
        hand.write(brief=hand.brief.replace('"C1"', f'"{formula}"').replace('"house"', f'"{formula}"'),
                   book=hand.book.replace("C1", formula).replace(",house,", f",{formula},{formula}"))
        folder = workbook.save_sheet(hand.open())
        for name in ("pegs", "levels", "verdicts"):
            texts = [cell for row in cells(folder / f"{name}.csv") for cell in row]
            assert not [cell for cell in texts if cell.startswith(("=", "@", "\t", "\r"))]
            assert not [cell for cell in texts if cell.startswith(("+", "-")) and not cell[1:].replace(".", "").isdigit()]
        assert cells(folder / "pegs.csv")[1][0] == f"'{formula}"
        assert f"'{formula}" in [row[-1] for row in cells(folder / "levels.csv")]

    def test_a_margin_below_nought_is_a_number_and_not_a_formula(self, hand: Any) -> None:
        # 200 mm below the DPC where 250 mm are asked: 50 mm short
        folder = workbook.save_sheet(hand.change("least_mm = 150", "least_mm = 250").open())
        row = dict(zip(*cells(folder / "verdicts.csv")[:2], strict=True))
        assert row["verdict"] == "not met"
        assert row["margin"].lstrip("'") == "−50.0 mm"

    def test_numbers_below_nought_stay_numbers(self, hand: Any) -> None:
        hand.change("level_at_wall_m = 10.000", "level_at_wall_m = 11.600")  # 100 mm above the line of sight at 11.500 m
        folder = workbook.save_sheet(hand.open())
        row = dict(zip(*cells(folder / "pegs.csv")[:2], strict=True))
        assert float(row["reading_finished"]) == pytest.approx(-0.100, abs=1e-4)
        assert "above the line of sight" in row["note"]


def test_nothing_in_a_folder_is_run(hand: Any) -> None:
    for name in ("sitecustomize.py", "conftest.py", "__init__.py", "brief.py", "matplotlibrc", "tomllib.py"):
        (hand.path / name).write_text("raise SystemExit('run')\n")
    job = hand.open()
    workbook.save_sheet(job)
    assert job.verdicts.all_met


def test_a_layer_gives_its_name_to_a_heading_that_is_no_formula(hand: Any) -> None:
    hand.write(brief=hand.brief.replace('"bed"', '"a;=1+1"'))
    heads = cells(workbook.save_sheet(hand.open()) / "pegs.csv")[0]
    assert [head for head in heads if "=1+1" in head] == ["reading_top of a;'=1+1"]
