"""The section at the wall, and whether any picture can be read: what is drawn stands at its level and nothing hides it."""

import io
import re
from itertools import combinations
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

from sitelevels import Brief, Finish, Ground, Plane, Wall
from sitelevels.design.section import cut_section
from sitelevels.workbook import figures
from sitelevels.workbook.figures import style


def stated(ax: Axes) -> float:
    (words,) = [text.get_text() for text in ax.texts if "too tall" in text.get_text()]
    return float(re.findall(r"[\d.]+", words)[0])


def measured(ax: Axes) -> float:
    """How many times taller than wide a square metre comes out on the finished picture."""
    ax.figure.canvas.draw()
    (x_0, y_0), (x_1, y_1) = ax.transData.transform([(0, 0), (1, 1)])
    return float((y_1 - y_0) / (x_1 - x_0))


class TestExaggeration:
    @pytest.mark.parametrize("name", ["demo", "starter", "hand"])
    def test_in_a_new_figure(self, name: str, request: pytest.FixtureRequest) -> None:
        ax = figures.section(request.getfixturevalue(name).open().section())
        assert stated(ax) == pytest.approx(measured(ax), rel=0.10)

    def test_as_a_notebook_shows_it(self, demo: Any) -> None:
        ax = figures.section(demo.open().section())
        ax.figure.savefig(io.BytesIO(), format="png", bbox_inches="tight", dpi=72)
        assert stated(ax) == pytest.approx(measured(ax), rel=0.10)

    @pytest.mark.parametrize("size", [(7.6, 3.9), (8, 8), (4, 6)])
    def test_on_axes_that_are_given(self, demo: Any, size: tuple[float, float]) -> None:
        ax = figures.section(demo.open().section(), ax=Figure(figsize=size, layout="constrained").add_subplot())
        assert stated(ax) == pytest.approx(measured(ax), rel=0.10)


class TestWhatIsDrawn:
    """The yard worked by hand at 2.00 m along: DPC 10.200 m, finish 10.000 m falling 25 mm/m to 9.925 m at 3 m out."""

    @pytest.fixture
    def ax(self, hand: Any) -> Axes:
        return figures.section(hand.open().section())

    def test_layers(self, ax: Axes) -> None:
        bands = [band for band in ax.findobj(PolyCollection) if band.get_hatch() is None]
        assert len(bands) == 3
        for band, top, bottom in zip(bands, (10.000, 9.960, 9.920), (9.960, 9.920, 9.820), strict=True):
            places = np.concatenate([path.vertices for path in band.get_paths()])
            assert (places[:, 0].min(), places[:, 0].max()) == (pytest.approx(0.0), pytest.approx(3.0))
            for out, fallen in ((0.0, 0.0), (3.0, 0.075)):
                here = places[np.abs(places[:, 0] - out) < 1e-9, 1]
                assert (here.max(), here.min()) == (pytest.approx(top - fallen), pytest.approx(bottom - fallen))

    def test_finish_and_ground(self, ax: Axes) -> None:
        finish = [line for line in ax.lines if line.get_color() == style.INK and len(line.get_xdata()) > 2]
        ground = [line for line in ax.lines if line.get_color() == style.EARTH]
        for (line,), ends in ((finish, (10.000, 9.925)), (ground, (9.880, 9.715))):
            assert (line.get_xdata()[0], line.get_xdata()[-1]) == (pytest.approx(0.0), pytest.approx(3.0))
            assert (line.get_ydata()[0], line.get_ydata()[-1]) == pytest.approx(ends)

    def test_dpc_line_and_clearance(self, ax: Axes) -> None:
        (dpc,) = [line for line in ax.lines if line.get_color() == "black"]
        assert list(dpc.get_ydata()) == pytest.approx([10.200, 10.200])
        words = {text.get_text(): text for text in ax.texts}
        assert words["200 mm below the DPC (150 mm asked)"].get_color() == style.MET
        assert words["DPC"].xy[1] == pytest.approx(10.200)
        (arrow,) = [text for text in ax.texts if text.get_text() == "" and abs(text.xy[0] - text.xyann[0]) < 1e-9]
        assert sorted([arrow.xy[1], arrow.xyann[1]]) == pytest.approx([10.000, 10.200])

    def test_the_wall_is_hatched_and_stands_behind_its_face(self, ax: Axes) -> None:
        (wall,) = [band for band in ax.findobj(PolyCollection) if band.get_hatch()]
        places = np.concatenate([path.vertices for path in wall.get_paths()])
        assert places[:, 0].max() == pytest.approx(0.0)
        assert places[:, 1].min() < 9.820
        assert places[:, 1].max() > 10.200

    def test_the_arrow_points_down_the_fall(self, ax: Axes) -> None:
        (arrow,) = [text for text in ax.texts if text.get_text() == "" and abs(text.xy[0] - text.xyann[0]) > 1e-9]
        assert (arrow.xy[1] - arrow.xyann[1]) / (arrow.xy[0] - arrow.xyann[0]) == pytest.approx(-0.025)
        assert arrow.xy[0] > arrow.xyann[0]
        assert "1:40 (25.0 mm/m)" in [text.get_text() for text in ax.texts]

    def test_in_words(self, ax: Axes) -> None:
        words = figures.in_words(ax)
        for part in ("At 2.00 m along the house", "200 mm below the DPC", "1:40 (25.0 mm/m)",
                     "deepest dig on this line is 60 mm"):
            assert part in words

    def test_thicknesses_are_named(self, ax: Axes) -> None:
        assert {"40 mm slabs", "40 mm bed", "100 mm hardcore"} <= {text.get_text() for text in ax.texts}

    def test_paving_above_the_dpc_is_not_called_below(self, hand: Any) -> None:
        ax = figures.section(hand.change("level_at_wall_m = 10.000", "level_at_wall_m = 10.230").open().section())
        shown = " ".join(text.get_text() for text in ax.texts) + figures.in_words(ax)
        assert "30 mm above the DPC" in shown
        assert "-30" not in shown

    def test_a_fall_towards_the_wall_is_not_called_away(self, hand: Any) -> None:
        ax = figures.section(hand.change('"25 mm/m"', '"-25 mm/m"').open().section())
        words = figures.in_words(ax)
        assert "uphill" in words or "towards" in words
        (arrow,) = [text for text in ax.texts if text.get_text() == "" and abs(text.xy[0] - text.xyann[0]) > 1e-9]
        assert arrow.xy[0] < arrow.xyann[0]

    def test_without_layers_and_where_the_ground_was_not_read(self, hand: Any) -> None:
        brief = re.sub(r"\[\[layer\]\]\n(.*\n){2}", "", hand.brief)
        brief = brief.replace('corners = ["C1", "C2", "C3", "C4"]', "corners_m = [[0, 0], [6, 0], [6, 3], [0, 3]]")
        hand.write(brief=brief.replace("second = [4.0, 0.0]", "second = [6.0, 0.0]"),
                   book=hand.book.replace("D2,,1.300,,,4.0", "D2,,1.300,,,6.0"))
        ax = figures.section(hand.open().section(along=5.0))
        ax.figure.canvas.draw()
        assert "dig" not in figures.in_words(ax)
        assert "ground today" not in [text.get_text() for text in ax.texts]

    @pytest.mark.parametrize("name", ["$x$ slabs", r"$\\oops$"])
    def test_dollar_signs_are_dollar_signs(self, hand: Any, name: str) -> None:
        ax = figures.section(hand.change("slabs", name).open().section())
        ax.figure.canvas.draw()
        shown = [text for text in ax.texts if "40 mm" in text.get_text() and "bed" not in text.get_text()]
        assert shown[0]._preprocess_math(shown[0].get_text()) == (f"40 mm {name}".replace("\\\\", "\\"), False)


def seen(ax: Axes) -> list[tuple[str, Any]]:
    """Every text that comes out on the picture, with its box in pixels; blank lines of a title are not in the box."""
    figure = ax.figure
    figure.canvas.draw()
    ticks = {label for axis, (low, high) in ((ax.xaxis, sorted(ax.get_xlim())), (ax.yaxis, sorted(ax.get_ylim())))
             for tick in axis.get_major_ticks() if not low <= tick.get_loc() <= high for label in (tick.label1, tick.label2)}
    found = []
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip() and text not in ticks:
            box = text.get_window_extent()
            lines = text.get_text().count("\n") + 1
            filled = len(text.get_text().rstrip("\n").split("\n"))
            top = box.y1
            found.append((text.get_text().strip(), matplotlib.transforms.Bbox([[box.x0, top - box.height * filled / lines],
                                                                              [box.x1, top]])))
    return found


PICTURES = {
    "plan": lambda job: figures.plan(job), "plan with levels": lambda job: figures.plan(job, levels=True),
    "residuals": lambda job: figures.residuals(job.ground.plane_fit(), brief=job.brief),
    "residuals alone": lambda job: figures.residuals(job.ground.plane_fit()),
    "section": lambda job: figures.section(job.section()),
    "section at the end": lambda job: figures.section(job.section(along=0.0)),
    "earthworks": lambda job: figures.earthworks(job.earthworks, brief=job.brief),
}


@pytest.mark.parametrize("name", ["demo", "starter", "hand"])
@pytest.mark.parametrize("picture", PICTURES)
def test_no_text_hides_another_or_runs_off_the_picture(name: str, picture: str, request: pytest.FixtureRequest) -> None:
    ax = PICTURES[picture](request.getfixturevalue(name).open())
    texts = seen(ax)
    over = [(one, two) for (one, a), (two, b) in combinations(texts, 2)
            if min(a.x1, b.x1) - max(a.x0, b.x0) > 3 and min(a.y1, b.y1) - max(a.y0, b.y0) > 3]
    assert over == []
    whole = ax.figure.bbox
    assert [text for text, box in texts if box.x0 < whole.x0 - 1 or box.x1 > whole.x1 + 1 or box.y0 < whole.y0 - 1
            or box.y1 > whole.y1 + 1] == []


@pytest.mark.parametrize("level", ["9.700", "9.900", "10.150"])
def test_a_section_can_be_read_wherever_the_surface_is_put(hand: Any, level: str) -> None:
    texts = seen(figures.section(hand.change("level_at_wall_m = 10.000", f"level_at_wall_m = {level}").open().section()))
    assert [(one, two) for (one, a), (two, b) in combinations(texts, 2)
            if min(a.x1, b.x1) - max(a.x0, b.x0) > 3 and min(a.y1, b.y1) - max(a.y0, b.y0) > 3] == []


def test_the_guard_sees_text_over_text(hand: Any) -> None:
    ax = figures.section(hand.open().section())
    ax.text(2.0, 10.1, "one over another")
    ax.text(2.01, 10.1, "another over one")
    boxes = dict(seen(ax))
    assert boxes["one over another"].overlaps(boxes["another over one"])


def test_a_wall_whose_name_is_endless_leaves_room_for_the_section() -> None:
    area = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
    name = "y" * 10_000
    brief = Brief(area, walls=[Wall(name, (0, 0), (6, 0), dpc=10.0)])
    ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9] * 4)
    ax = figures.section(cut_section(brief, Finish.plane(Plane(9.84, 0.0, -0.02), area), ground, name, 3.0))
    assert ax.get_xlabel() == f"out from the {'y' * 47}…"
    assert name in figures.in_words(ax)
    plt.close("all")
