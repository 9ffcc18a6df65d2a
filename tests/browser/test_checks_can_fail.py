"""What the tests in a browser lean on: each check finds what it is for, and leaves alone what is well."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from lab import LIGHT, Desk, hindrance
from looks import cut_off, faint, over_each_other, problems_of

OUTSIDE = "https://outside.invalid/one.png"
WELL = """<label style='width:9em;overflow:hidden;text-overflow:ellipsis;white-space:nowrap'>At least, mm</label>
<input value='1.234' style='width:8em'><select style='width:14em'><option>one</option><option>two planes</option></select>
<button style='color:#222;background:#eee'>Save it</button><p style='color:#595959'>Grey that can be read.</p>
<p style='background:#222'><span style='color:#ddd'>Pale on dark.</span></p><button disabled style='color:#ccc'>Not now</button>
<div style='width:100px;height:60px;overflow:auto;white-space:nowrap'>A wide table that scrolls in a box of its own</div>
<details><summary>More</summary><p style='color:#eee'>Not to be seen before it is opened.</p></details>"""


class TestWhoRuns:
    def test_not_asked_for_is_skipped_and_says_how(self) -> None:
        why, failed = hindrance("", True, True)
        assert "SITELEVELS_BROWSER=yes pytest tests/browser" in why
        assert not failed

    @pytest.mark.parametrize(("asked", "failed"), [("yes", False), ("must", True)])
    def test_what_is_missing_is_named_with_its_cure(self, asked: str, failed: bool) -> None:
        assert hindrance(asked, False, True) == (
            'the tests in a browser want playwright (`pip install -e ".[browser]"`)', failed)
        why, fails = hindrance(asked, False, False)
        assert "playwright" in why
        assert "apt-get install chromium" in why
        assert fails == failed

    @pytest.mark.parametrize("asked", ["yes", "must"])
    def test_nothing_missing_hinders_nothing(self, asked: str) -> None:
        assert hindrance(asked, True, True) == ("", False)


@pytest.fixture(scope="module")
def page(browser: Any) -> Iterator[Any]:
    context = browser.new_context()
    yield context.new_page()
    context.close()


def shown(page: Any, inside: str, widget: str = "jupyter-widgets") -> Any:
    """A page with a form in the place where JupyterLab puts one."""
    page.set_content("<style>body { margin: 0; font: 13px/20px sans-serif } body > div { width: 600px; overflow: auto }</style>"
                     f"<div class='jp-OutputArea-output'><div class='{widget}'>{inside}</div></div>")
    return page


class TestLooks:
    def test_what_is_well_is_left_alone(self, page: Any) -> None:
        page = shown(page, WELL)
        assert (cut_off(page), over_each_other(page), faint(page)) == ([], [], [])

    @pytest.mark.parametrize(("inside", "said"), [
        ("<div style='width:60px;overflow:hidden;text-overflow:ellipsis;white-space:nowrap'>tolerance, mm of it</div>",
         "px cut off: tolerance, mm of it"),
        ("<button style='width:50px;padding:0;overflow:hidden;white-space:nowrap'><b>Find the best surface</b></button>",
         "px cut off: Find the best surface"),
        ("<div style='height:12px;overflow:hidden'>first line<br>and a second, hidden</div>", "cut off: first line and a second"),
        ("<input value='[[10, 12.7], [15, 15.5], [30, 19.8]]' style='width:80px'>", "[[10, 12.7], [15, 15.5], [30, 19.8]]"),
        ("<input placeholder='a name for its folder, please' style='width:80px'>", "a name for its folder, please"),
        ("<select style='width:70px'><option>no</option><option>a floor to an outlet</option></select>", "a floor to an outlet"),
        ("<p style='width:800px'>A form wider than its place</p>", "the form is 800 px wide in 600 px"),
    ])
    def test_words_that_are_cut_off(self, page: Any, inside: str, said: str) -> None:
        found = cut_off(shown(page, inside))
        assert len(found) == 1
        assert said in found[0]

    def test_a_table_may_be_wider_than_its_place_for_it_scrolls(self, page: Any) -> None:
        assert cut_off(shown(page, "<p style='width:800px'>A wide table</p>", widget="jp-RenderedHTMLCommon")) == []

    def test_a_list_may_be_longer_than_the_whole_width(self, page: Any) -> None:
        listed = ", ".join(f"[{minutes}, 12.5]" for minutes in range(10, 200, 10))
        assert cut_off(shown(page, f"<div class='widget-text'><input value='{listed}' style='width:590px'></div>")) == []
        assert len(cut_off(shown(page, f"<div class='widget-text' style='width:300px'><input value='{listed}'></div>"))) == 1

    def test_words_over_words(self, page: Any) -> None:
        over = "<p>Level at the wall</p><p style='margin-top:-28px'>10.060 m</p>"
        assert over_each_other(shown(page, over)) == ["Level at the wall | 10.060 m"]

    @pytest.mark.parametrize(("style", "ratio"), [
        ("color:#999", "2.85:1"), ("color:#777;background:#fff", "4.48:1"), ("color:#000;opacity:0.3", "2.11:1"),
        ("color:#333;background:#222", "1.26:1"), ("color:rgba(0,0,0,.38)", "2.6"), ("color:#969696;font-size:24px", "2.96:1")])
    def test_grey_on_grey(self, page: Any, style: str, ratio: str) -> None:
        found = faint(shown(page, f"<p style='{style}'>Can this be read?</p>"))
        assert len(found) == 1
        assert found[0].startswith(ratio)
        assert found[0].endswith("Can this be read?")

    @pytest.mark.parametrize("style", ["color:#767676", "color:#949494;font-size:24px", "color:#949494;font:bold 19px serif"])
    def test_just_dark_enough(self, page: Any, style: str) -> None:
        assert faint(shown(page, f"<p style='{style}'>This can be read.</p>")) == []

    def test_a_hint_in_an_empty_field_must_be_read_too(self, page: Any) -> None:
        found = faint(shown(page, "<style>::placeholder { color: #aaa }</style><input placeholder='1:60'>"))
        assert [one.endswith("1:60") for one in found] == [True]


def cell(source: str) -> dict[str, Any]:
    return {"cell_type": "code", "id": f"c{abs(hash(source)) % 10**8}", "metadata": {}, "source": source, "outputs": [],
            "execution_count": None}


def test_a_notebook_that_goes_wrong_is_found_out(desk: Desk) -> None:
    cells = [cell("1 + 1"), cell("import sys; print('a warning', file=sys.stderr)"),
             cell(f"from IPython.display import HTML\nHTML('<img src={OUTSIDE}><p style=\"color:#ccc\">faint</p>')"),
             cell("1 / 0"), cell("2 + 2")]
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    wrong = {"nbformat": 4, "nbformat_minor": 5, "metadata": {"kernelspec": kernel}, "cells": cells}
    (desk.root / "notebooks" / "wrong.ipynb").write_text(json.dumps(wrong))
    found = problems_of(desk, "wrong")
    for said in ("the cells are numbered [1, 2, 3, 4, None]", "ZeroDivisionError", "a warning", f"asked for outside: {OUTSIDE}"):
        assert any(said in one for one in found)
    at = [one.partition(" px")[0] for one in found if one.endswith(": faint")]
    assert at == [f"{LIGHT}, 1280", f"{LIGHT}, 1024"]  # #ccc on black is well
