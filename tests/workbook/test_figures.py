"""Pictures of the ground and of the digging, read back from what was drawn and held against sums done by hand."""

import re
from collections.abc import Callable
from itertools import combinations
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.text import Annotation

from sitelevels import Brief, Wall
from sitelevels.workbook import figures
from sitelevels.workbook.figures import style

PICTURES: dict[str, Callable[..., Axes]] = {
    "plan": lambda job, ax=None: figures.plan(job, ax=ax),
    "plan with levels": lambda job, ax=None: figures.plan(job, ax=ax, levels=True),
    "residuals": lambda job, ax=None: figures.residuals(job.ground.plane_fit(), ax=ax, brief=job.brief),
    "residuals alone": lambda job, ax=None: figures.residuals(job.ground.plane_fit(), ax=ax),
    "section": lambda job, ax=None: figures.section(job.section(), ax=ax),
    "earthworks": lambda job, ax=None: figures.earthworks(job.earthworks, ax=ax, brief=job.brief),
}


def contours(ax: Axes, *, filled: bool = False) -> list[ContourSet]:
    return [one for one in ax.findobj(ContourSet) if one.filled == filled]


def level_of(words: str) -> float:
    """The number in a label, in m, whichever way it is written."""
    number = float(re.findall(r"[\d.]+", words)[0])
    return number / 1000 * (-1 if words.startswith("fill") else 1) if words.endswith("mm") else number


def marks(ax: Axes, *symbols: str) -> dict[tuple[float, float], str]:
    return {(float(x), float(y)): line.get_marker() for line in ax.lines if line.get_marker() in symbols
            for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)}


def test_a_sign_without_a_glyph_is_a_box(hand: Any) -> None:
    hand.write(brief=hand.brief.replace('"house"', '"Haus \u6771"'), book=hand.book.replace(",house,", ",Haus \u6771,"))
    ax = figures.plan(hand.open())
    ax.figure.canvas.draw()
    shown = {text.get_text() for text in ax.texts}
    assert "Haus □" in shown
    assert not any("\u6771" in text for text in shown)


@pytest.mark.parametrize("name", PICTURES)
class TestEveryPicture:
    def test_axes_given_are_used_and_returned(self, name: str, hand: Any) -> None:
        figure = Figure(figsize=(7, 5))
        given = figure.add_subplot()
        assert PICTURES[name](hand.open(), ax=given) is given
        assert figure.axes == [given]
        assert plt.get_fignums() == []

    def test_a_new_figure_is_made_where_none_is_given(self, name: str, hand: Any) -> None:
        ax = PICTURES[name](hand.open())
        assert plt.get_fignums() == [ax.figure.number]

    def test_words_and_units(self, name: str, demo: Any) -> None:
        ax = PICTURES[name](demo.open())
        for label in (ax.get_xlabel(), ax.get_ylabel()):
            assert label.endswith(", m")
        assert ax.get_title(loc="left").strip().endswith("?")
        sentence = figures.in_words(ax)
        assert sentence.endswith(".")
        assert re.search(r"\d (m|mm|m³)\b", sentence)

    def test_no_text_smaller_than_9_pt(self, name: str, demo: Any) -> None:
        ax = PICTURES[name](demo.open())
        ax.figure.canvas.draw()
        assert min(text.get_fontsize() for text in ax.texts + ax.get_xticklabels() + ax.get_yticklabels()) >= 9

    def test_equal_scales_in_plan_and_the_wall_at_the_top(self, name: str, hand: Any) -> None:
        ax = PICTURES[name](hand.open())
        ax.figure.canvas.draw()
        (x_0, y_0), (x_1, y_1) = ax.transData.transform([(0, 0), (1, 1)])
        if name != "section":
            assert abs(y_1 - y_0) == pytest.approx(x_1 - x_0, rel=1e-6)
            if name != "residuals alone":
                assert y_1 < y_0


class TestPlan:
    def test_spots_stand_where_they_were_measured(self, demo: Any) -> None:
        job = demo.open()
        ax = figures.plan(job)
        places = set(marks(ax, "+"))
        assert {(0.0, 0.0), (6.3, 2.5), (7.2, 3.0), (4.5, 4.8)} <= places
        assert len(places) == 47
        assert {place for place, mark in marks(ax, "s").items()} == {(0.1, 4.85), (1.6, 4.85), (3.1, 4.85), (4.4, 4.85)}
        assert marks(ax, "D") == {(2.95, 0.0): "D"}
        assert marks(ax, "v") == {(5.6, 0.0): "v"}
        assert set(marks(ax, "X")) == {(1.35, 2.55), (1.75, 2.85)}

    def test_levels_at_the_spots(self, hand: Any) -> None:
        ax = figures.plan(hand.open(), levels=True)
        shown = {(*text.xy, text.get_text()) for text in ax.texts if isinstance(text, Annotation)}
        assert shown >= {(0.0, 0.0, "9.880"), (4.0, 0.0, "9.880"), (4.0, 3.0, "9.715"), (0.0, 3.0, "9.715")}

    @pytest.mark.parametrize(("name", "step"), [("demo", 0.050), ("starter", 0.005), ("hand", 0.020)])
    def test_contours_are_multiples_of_the_step_that_is_said(self, name: str, step: float,
                                                             request: pytest.FixtureRequest) -> None:
        ax = figures.plan(request.getfixturevalue(name).open())
        (lines,) = contours(ax)
        assert f"every {step * 1000:.0f} mm" in figures.in_words(ax)
        assert np.diff(lines.levels) == pytest.approx(step)
        assert lines.levels / step == pytest.approx(np.round(lines.levels / step))

    def test_contours_lie_where_the_ground_has_that_level(self, hand: Any) -> None:
        (lines,) = contours(figures.plan(hand.open()))
        drawn = {round(float(level), 3): np.concatenate(segments)
                 for level, segments in zip(lines.levels, lines.allsegs, strict=True)}
        assert sorted(drawn) == pytest.approx([9.72, 9.74, 9.76, 9.78, 9.80, 9.82, 9.84, 9.86, 9.88])
        for level, places in drawn.items():
            assert places[:, 1] == pytest.approx((9.880 - level) / 0.055, abs=1e-6)  # 55 mm down for each metre out
            if level < 9.88:
                assert (places[:, 0].min(), places[:, 0].max()) == (0, 4)

    @pytest.mark.parametrize("name", ["demo", "starter", "hand"])
    @pytest.mark.parametrize("picture", ["plan", "earthworks"])
    def test_a_contour_is_labelled_with_its_own_level_inside_the_area(self, name: str, picture: str,
                                                                     request: pytest.FixtureRequest) -> None:
        job = request.getfixturevalue(name).open()
        ax = PICTURES[picture](job)
        inside = {round(float(level), 4): shapely.union_all([shapely.LineString(part) for part in parts if len(part) > 1])
                  for lines in contours(ax) for level, parts in zip(lines.levels, lines.allsegs, strict=True)}
        labels = [text for text in ax.texts if re.fullmatch(r"(dig |fill )?[\d.]+ mm?", text.get_text())]
        assert labels
        for label in labels:
            place = shapely.Point(label.get_position())
            assert job.brief.area.contains(place)
            level = min(inside, key=lambda level: inside[level].distance(place))
            assert level_of(label.get_text()) == pytest.approx(level, abs=5.1e-4), f"{label.get_text()} stands on {level} m"

    def test_contours_are_cut_off_at_the_edge_of_the_area(self, demo: Any) -> None:
        ax = figures.plan(demo.open())
        (lines,) = contours(ax)
        assert lines.get_clip_path() is not None
        kept = lines.get_clip_path().get_fully_transformed_path()
        for place, inside in (((3.0, 1.0), True), ((6.0, 2.8), True), ((4.4, 4.7), True), ((4.6, 3.1), False),
                              ((5.5, 4.2), False)):
            assert kept.contains_point(ax.transData.transform(place)) == inside

    def test_the_range_is_said(self, hand: Any) -> None:
        words = figures.in_words(figures.plan(hand.open()))
        assert "between 9.715 m and 9.880 m at 4 spots" in words

    def test_level_ground_can_be_drawn(self, hand: Any) -> None:
        hand.change_book("1.785", "1.620")
        assert "9.880 m and 9.880 m" in figures.in_words(figures.plan(hand.open()))

    def test_level_ground_between_two_contours_can_be_drawn(self, hand: Any) -> None:
        hand.change_book("1.785", "1.6205").change_book("1.620,", "1.6205,")
        figures.plan(hand.open()).figure.canvas.draw()

    def test_residuals_of_three_spots_and_of_level_ground(self, hand: Any) -> None:
        hand.change_book("C4,,1.785,,,0.0,3.0,corner,,\n", "").change(', "C4"', "")
        assert "unchecked" in figures.in_words(figures.residuals(hand.open().ground.plane_fit()))


@pytest.mark.parametrize("picture", ["plan", "residuals", "earthworks", "section"])
def test_places_on_a_national_grid_are_written_out(hand: Any, picture: str) -> None:
    book, brief = hand.book, hand.brief
    for x, y in (("0.0", "0.0"), ("4.0", "0.0"), ("4.0", "3.0"), ("0.0", "3.0")):
        book = book.replace(f",{x},{y},", f",{412000 + float(x):.1f},{258000 + float(y):.1f},")
        brief = brief.replace(f"[{x}, {y}]", f"[{412000 + float(x):.1f}, {258000 + float(y):.1f}]")
    ax = PICTURES[picture](hand.write(brief=brief, book=book).open())
    ax.figure.canvas.draw()
    assert ax.xaxis.get_offset_text().get_text() == ax.yaxis.get_offset_text().get_text() == ""
    assert "Dig 0.24 m³" in hand.open().earthworks.sentence()


def test_residuals_stand_at_their_spots_with_their_sign(hand: Any) -> None:
    # one corner 4 mm high: least squares leaves +1, -1, +1, -1 mm at the corners of a rectangle
    hand.change_book("C3,,1.785", "C3,,1.781")
    job = hand.open()
    ax = figures.residuals(job.ground.plane_fit(), brief=job.brief)
    assert marks(ax, "^", "v") == {(0.0, 0.0): "^", (4.0, 0.0): "v", (4.0, 3.0): "^", (0.0, 3.0): "v"}
    assert {(*text.xy, text.get_text()) for text in ax.texts if text.get_text()[1:].isdigit()} == {
        (0.0, 0.0, "+1"), (4.0, 0.0, "−1"), (4.0, 3.0, "+1"), (0.0, 3.0, "−1")}
    assert "1 mm" in figures.in_words(ax)


class TestEarthworks:
    def test_the_line_of_no_digging_lies_two_metres_out(self, hand: Any) -> None:
        job = hand.open()
        heavy = [lines for lines in contours(figures.earthworks(job.earthworks, brief=job.brief)) if list(lines.levels) == [0.0]]
        (zero,) = heavy
        places = np.concatenate(zero.allsegs[0])
        assert places[:, 1] == pytest.approx(2.0, abs=1e-6)
        assert (places[:, 0].min(), places[:, 0].max()) == (0, 4)
        others = [lines for lines in contours(figures.earthworks(job.earthworks, brief=job.brief)) if list(lines.levels) != [0.0]]
        assert zero.get_linewidth()[0] > 2 * others[0].get_linewidth()[0]

    def test_digging_is_brown_and_filling_is_teal_and_dotted(self, hand: Any) -> None:
        job = hand.open()
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        coloured, dotted = contours(ax, filled=True)
        assert (coloured.cvalues > 0).any()
        assert coloured.get_cmap()(0.0)[2] > coloured.get_cmap()(0.0)[0]  # fill end: more blue than red
        assert coloured.get_cmap()(1.0)[0] > coloured.get_cmap()(1.0)[2]
        assert dotted.hatches == ["..."]
        assert to_hex(dotted.get_edgecolor()[0]) == style.WATER
        places = np.concatenate([path.vertices for path in dotted.get_paths()])
        assert (places[:, 1].min(), places[:, 1].max()) == (pytest.approx(2.0, abs=1e-6), pytest.approx(3.0))

    def test_no_fill_no_dots_and_no_heavy_line(self, hand: Any) -> None:
        job = hand.change("level_at_wall_m = 10.000", "level_at_wall_m = 9.900").open()  # 100 mm lower: all digging
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        assert len(contours(ax, filled=True)) == 1
        assert [0.0] not in [list(lines.levels) for lines in contours(ax)]

    def test_all_fill_can_be_drawn(self, hand: Any) -> None:
        job = hand.change("level_at_wall_m = 10.000", "level_at_wall_m = 10.100").open()  # 40 mm fill at the wall, 130 mm below
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        assert "Dig 0.00 m³" in figures.in_words(ax)
        assert "fill 1.02 m³" in figures.in_words(ax)  # 4 x 3 x 0.085
        assert "deepest" not in " ".join(text.get_text() for text in ax.texts)

    def test_an_even_depth_can_be_drawn(self, hand: Any) -> None:
        job = hand.change('"25 mm/m"', '"55 mm/m"').open()
        figures.earthworks(job.earthworks, brief=job.brief).figure.canvas.draw()

    def test_no_label_lies_on_another_or_over_the_edge(self, hand: Any) -> None:
        """Deepest in the corner at C2, where a contour ends as well."""
        job = hand.change_book("C2,,1.620", "C2,,1.575").open()
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        ax.figure.draw_without_rendering()
        labels = {text.get_text(): text.get_window_extent() for text in ax.texts
                  if re.match("dig [0-9]+ mm|fill|deepest", text.get_text())}
        assert "deepest 105 mm" in labels  # 11.500 − 1.575 − 9.820 m
        assert len(labels) > 3
        assert not any(one.overlaps(two) for one, two in combinations(labels.values(), 2))
        area = ax.transData.transform([(0, 0), (4, 3)])
        for box in labels.values():
            assert area[:, 0].min() <= box.x0
            assert box.x1 <= area[:, 0].max()

    def test_the_deepest_dig_is_ringed(self, demo: Any) -> None:
        job = demo.open()
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        # S1: 10.083 m; formation there 10.060 - 0.9 / 900 - 0.180 = 9.879 m
        assert [(round(x, 6), round(y, 6)) for x, y in marks(ax, "o")] == [(0.9, 0.0)]
        assert "deepest 204 mm" in [text.get_text() for text in ax.texts]
        assert "deepest dig is 204 mm" in figures.in_words(ax)

    def test_totals(self, hand: Any) -> None:
        job = hand.open()
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        said = " ".join(text.get_text() for text in ax.texts)
        assert "dig 0.24 m³ over 8.0 m² (brown), fill 0.06 m³ over 4.0 m² (teal, dotted)" in said
        assert "Dig 0.24 m³ over 8.0 m², fill 0.06 m³ over 4.0 m²" in figures.in_words(ax)

    def test_nothing_is_coloured_outside_the_area(self, demo: Any) -> None:
        job = demo.open()
        ax = figures.earthworks(job.earthworks, brief=job.brief)
        corner = shapely.box(4.6, 3.1, 7.2, 4.8)  # outside the L
        for filled in contours(ax, filled=True):
            assert isinstance(filled, ContourSet)
            for path in filled.get_paths():
                assert not path.contains_points([(corner.centroid.x, corner.centroid.y), (5, 4), (7, 4.5)]).any()
        assert not ax.findobj(PathCollection)

    def test_spots_that_all_lie_outside_the_area_are_told(self, hand: Any) -> None:
        from sitelevels.errors import SurveyError
        hand.change('corners = ["C1", "C2", "C3", "C4"]', "corners_m = [[0, 0], [4, 0], [4, -3], [0, -3]]")
        job = hand.open()
        with pytest.raises(SurveyError):
            figures.earthworks(job.earthworks, brief=job.brief)


@pytest.mark.parametrize(("turn", "up"), [(0, False), (33, True), (180, True), (90, True)])
def test_a_grid_that_is_not_laid_along_the_wall_is_drawn_as_a_map_is(turn: float, up: bool) -> None:
    """A right-handed grid drawn with y down would be its own mirror image."""
    angle = np.radians(turn)
    across = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = [tuple(map(float, across @ corner)) for corner in [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]]
    ax = style.plan(None, Brief(corners, walls=[Wall("wall", corners[0], corners[1], dpc=10.0)]))
    assert ax.yaxis_inverted() != up
    assert (ax.get_xlabel(), ax.get_ylabel()) == (("x, m", "y, m") if up else ("along, m", "out from the wall, m"))
    two = Brief(corners, walls=[Wall("wall", corners[0], corners[1], dpc=10.0), Wall("side", corners[1], corners[2], dpc=10.0)])
    assert not style.plan(None, two).yaxis_inverted()
    plt.close("all")
