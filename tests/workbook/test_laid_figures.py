"""Pictures of what was laid, of standing water and of a screed, read back from what was drawn and held against sums by hand."""

import re
import warnings
from collections.abc import Callable
from functools import cache
from itertools import combinations
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure

from sitelevels import Brief, FallAway, Finish, Ground, Plane, Spot, Step, SurveyError, Wall, read_book, reduce_book
from sitelevels.design.laid import Laid, check_laid
from sitelevels.design.mending import Lift, Mending, where_to_lift
from sitelevels.design.puddles import StandingWater, standing_water
from sitelevels.errors import SurveyWarning
from sitelevels.surface.ponding import Ponding, ponding
from sitelevels.surface.shapes import Outlet
from sitelevels.surface.straightedge import Straightedge
from sitelevels.surface.straightedge import straightedge as laid_anywhere
from sitelevels.workbook.figures import in_words, style
from sitelevels.workbook.figures.laid import laid, straightedge
from sitelevels.workbook.figures.screed import screed
from sitelevels.workbook.figures.water import puddle_chance, puddles
from sitelevels.works.screed import Screed, base_to_screed

YARD = [(0, 0), (9, 0), (9, 6), (0, 6)]
WALL = Wall("house", (0, 0), (9, 0), dpc=10.0)
PLATE = Brief([(0, 0), (6, 0), (6, 6), (0, 6)])
ROOM = Brief([(0, 0), (3, 0), (3, 2), (0, 2)])
OFF = {"P1": 0.004, "P5": -0.008, "P9": 0.001}


@pytest.fixture(autouse=True)
def _closed() -> Any:
    yield
    plt.close("all")


def checked(spots: dict[str, tuple[float, float]], off: dict[str, float]) -> Laid:
    """Laid at 9.850 m along the wall and 1:60 away from it, but for what single spots lie off."""
    rows = [f"{point},,{11 - 9.85 + y / 60 - off.get(point, 0.0):.6f},,{x},{y}" for point, (x, y) in spots.items()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        book = reduce_book(read_book("point,bs,is,rl,x,y\nBM,1.0,,10.0,,\n" + "\n".join(rows)))
    brief = Brief(YARD, walls=[WALL], demands=[FallAway("house", 1 / 80)])
    return check_laid(book, Finish.plane(Plane(9.85, 0, -1 / 60), YARD), brief)


def grid(nx: int, ny: int) -> dict[str, tuple[float, float]]:
    places = [(float(x), float(y)) for y in np.linspace(0, 6, ny) for x in np.linspace(0, 9, nx)]
    return {f"P{number}": place for number, place in enumerate(places, start=1)}


@cache
def nine() -> Laid:
    return checked(grid(3, 3), OFF)


@cache
def bar(tilt: float = 0.0, hollow: float = 0.006) -> Straightedge:
    """A hollow in the middle of a floor of 4 m by 3 m: lines across it rest on spots 1 m from it on either side."""
    spots = [(x, y) for x in range(5) for y in range(4)]
    ground = Ground(*zip(*spots, strict=True), [10 - tilt * y - hollow * ((x, y) == (2, 2)) for x, y in spots])
    return laid_anywhere(ground, length=2.0)


def pit(depth: float = 0.09) -> Ponding:
    """A square pit 2 m wide, falling to its middle, in a level plate of 6 m."""
    x, y = np.array([0, 6, 6, 0, 2, 4, 4, 2, 3]), [0, 0, 6, 6, 2, 2, 4, 4, 3]
    return ponding(Ground(x, y, -depth * (np.arange(9) == 8)), PLATE.area)


@cache
def water(spread: float = 1e-5, depth: float = 0.09) -> StandingWater:
    return standing_water(pit(depth), covariance=spread**2 * np.eye(9), runs=60)


def ramp() -> Ground:
    """A base that rises from 0 at x = 0 to 6 mm at x = 3."""
    return Ground([0, 3, 3, 0], [0, 0, 2, 2], [0.0, 0.006, 0.006, 0.0])


def floor(base: Ground | None = None, brief: Brief = ROOM, **more: Any) -> Screed:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return base_to_screed(base or ramp(), brief, **{"least": 0.03, **more})


PICTURES: dict[str, Callable[..., Axes]] = {
    "laid": lambda **more: laid(nine(), mending=where_to_lift(nine()), **more),
    "straightedge": lambda **more: straightedge(bar(), **more),
    "puddles": lambda **more: puddles(pit(), brief=PLATE, **more),
    "no puddles": lambda **more: puddles(pit(0.0), brief=PLATE, **more),
    "chance": lambda **more: puddle_chance(water(), brief=PLATE, **more),
    "no chance": lambda **more: puddle_chance(water(depth=0.0), brief=PLATE, **more),
    "screed": lambda **more: screed(floor(to=Outlet((1.4, 1.0)), fall=1 / 80), brief=ROOM, **more),
}


def words(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts if text.get_text()]


def under(ax: Axes) -> str:
    (line,) = [text.get_text() for text in ax.texts if text.get_gid() == "under"]
    return line


def marks(ax: Axes, symbol: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for line in ax.lines if line.get_marker() == symbol
            for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)]


def arrows(ax: Axes) -> list[Any]:
    return [text for text in ax.texts if not text.get_text() and getattr(text, "arrow_patch", None) is not None]


def contours(ax: Axes, *, filled: bool) -> list[ContourSet]:
    return [one for one in ax.findobj(ContourSet) if one.filled == filled]


def places_of(lines: ContourSet) -> dict[float, Any]:
    drawn = zip(lines.levels, lines.allsegs, strict=True)
    return {round(float(level), 6): np.concatenate(parts) for level, parts in drawn if parts}


def written_over(ax: Axes) -> list[tuple[str, str]]:
    ax.figure.canvas.draw()
    boxes = [(text.get_text(), text.get_window_extent()) for text in ax.texts if text.get_text()]
    return [(one, two) for (one, a), (two, b) in combinations(boxes, 2) if a.overlaps(b)]


@pytest.mark.parametrize("name", PICTURES)
class TestEveryPicture:
    def test_axes_given_are_used_and_returned(self, name: str) -> None:
        given = Figure(figsize=(7, 5)).add_subplot()
        assert PICTURES[name](ax=given) is given
        assert plt.get_fignums() == []

    def test_it_says_what_it_answers_and_can_be_read(self, name: str) -> None:
        ax = PICTURES[name]()
        assert plt.get_fignums() == [ax.figure.number]
        assert ax.get_title(loc="left").strip().endswith("?")
        assert in_words(ax).endswith(".")
        assert under(ax)
        assert written_over(ax) == []
        assert min(text.get_fontsize() for text in ax.texts + ax.get_xticklabels() + ax.get_yticklabels()) >= 9
        paper = ax.figure.bbox.padded(1)
        for text in ax.texts:
            box = text.get_window_extent()
            assert not text.get_text() or (paper.x0 <= box.x0 and box.x1 <= paper.x1 and paper.y0 <= box.y0 <= paper.y1)

    def test_drawing_again_moves_nothing(self, name: str) -> None:
        ax = PICTURES[name]()
        ax.figure.canvas.draw()
        before = ax.get_position().bounds
        ax.figure.canvas.draw()
        assert ax.get_position().bounds == pytest.approx(before, abs=1e-6)

    def test_equal_scales_in_plan_and_the_wall_at_the_top(self, name: str) -> None:
        ax = PICTURES[name]()
        ax.figure.canvas.draw()
        (x_0, y_0), (x_1, y_1) = ax.transData.transform([(0, 0), (1, 1)])
        # a plan without a wall is drawn as a map is, y up
        assert (y_1 < y_0) == (ax.get_ylabel() in ("out from the wall, m", "below the bar, mm"))
        if name != "straightedge":
            assert abs(y_0 - y_1) == pytest.approx(x_1 - x_0, rel=1e-6)
            assert {ax.get_xlabel()[-3:], ax.get_ylabel()[-3:]} == {", m"}


class TestLaid:
    """Nine spots, of which the first lies 4 mm high, the middle one 8 mm low and the last 1 mm high."""

    def test_every_spot_has_a_cross_and_its_number(self) -> None:
        ax = laid(nine())
        assert sorted(marks(ax, "+")) == sorted(grid(3, 3).values())
        assert (sorted(marks(ax, "^")), marks(ax, "v")) == ([(0, 0), (9, 6)], [(4.5, 3)])
        shown = {tuple(text.xy): text.get_text() for text in ax.texts if re.fullmatch(r"[+−]?\d+", text.get_text())}
        assert len(shown) == 9
        assert (shown[0, 0], shown[4.5, 3], shown[9, 6], shown[9, 0]) == ("+4", "−8", "+1", "0")

    def test_marks_grow_with_the_amount(self) -> None:
        sizes = {(line.get_xdata()[0], line.get_ydata()[0]): line.get_markersize() for line in laid(nine()).lines
                 if line.get_marker() in ("^", "v")}
        assert sizes[9, 6] < sizes[0, 0] < sizes[4.5, 3]

    def test_what_to_lift_is_ringed_and_told(self) -> None:
        lifts = (Lift("P5", 4.5, 3.0, 0.008, "found outside its limit"), Lift("P1", 0.0, 0.0, -0.0041, "to be sure of it"))
        ax = laid(nine(), mending=Mending(nine(), lifts, nine(), nine()))
        assert sorted(marks(ax, "o")) == [(0, 0), (4.5, 3)]
        assert {"P5: raise 8.0 mm", "P1: lower 4.1 mm"} <= set(words(ax))
        assert "Ringed to lift: P5, raise 8.0 mm; P1, lower 4.1 mm." in in_words(ax)
        assert "the farthest is P5, 8.0 mm below the design" in in_words(ax)
        assert "ringed: lift" in under(ax)

    def test_without_a_lift_nothing_is_ringed(self) -> None:
        ax = laid(nine(), mending=Mending(nine(), (), nine(), nine()))
        assert marks(ax, "o") == []
        assert in_words(ax).endswith("No spot is ringed to be lifted.")
        assert "ringed" not in under(ax)

    def test_of_many_spots_the_farthest_have_numbers(self) -> None:
        """10 by 8 spots, every one but the first row off by its number in tenths of a millimetre."""
        off = {f"P{number}": number / 1e4 * (-1) ** number for number in range(11, 81)}
        ax = laid(checked(grid(10, 8), off))
        shown = {tuple(text.xy) for text in ax.texts if re.fullmatch(r"[+−]?\d+", text.get_text())}
        assert shown == {place for point, place in grid(10, 8).items() if int(point[1:]) > 55}
        assert len(marks(ax, "+")) == 80
        assert "80 spots" in under(ax)
        assert "the farthest numbered" in under(ax)
        assert written_over(ax) == []

    def test_spots_that_lie_on_the_design_can_be_drawn(self) -> None:
        ax = laid(checked(grid(3, 3), {}))
        assert {"0"} == {text for text in words(ax) if re.fullmatch(r"[+−]?\d+", text)}
        assert marks(ax, "^") == marks(ax, "v") == []

    def test_labels_of_crowded_rings_lie_apart(self) -> None:
        spots = grid(3, 3) | {f"Q{number}": (4.4 + 0.03 * number, 3.1) for number in range(6)}
        check = checked(spots, {point: -0.02 for point in spots if point.startswith("Q")})
        lifts = tuple(Lift(point, *place, 0.02, "found outside its limit") for point, place in spots.items() if point[0] == "Q")
        ax = laid(check, mending=Mending(check, lifts, check, check))
        assert {f"{lift.point}: raise 20.0 mm" for lift in lifts} <= set(words(ax))
        assert written_over(ax) == []


class TestStraightedge:
    def surface(self, ax: Axes) -> Any:
        (line,) = [line for line in ax.lines if len(line.get_xdata()) > 100]
        return np.array(line.get_data())

    @pytest.mark.parametrize("tilt", [0.0, 1 / 60])
    def test_the_surface_hangs_6_mm_below_the_bar_whatever_it_falls(self, tilt: float) -> None:
        ax = straightedge(bar(tilt))
        along, below = self.surface(ax)
        assert below.max() == pytest.approx(6.0, abs=1e-6)
        assert below.min() >= -1e-6  # the bar rests on it
        assert (along[0], along[-1]) == (0, 2)
        assert "gap 6.0 mm" in words(ax)
        assert "greatest gap under a 2.00 m straightedge is 6.0 mm" in in_words(ax)
        (arrow,) = arrows(ax)
        assert (arrow.xy[1], arrow.xyann[1]) == pytest.approx((6.0, 0.0), abs=1e-6)
        assert arrow.xy[0] == pytest.approx(along[below.argmax()], abs=1e-6)

    def test_it_rests_where_the_surface_touches(self) -> None:
        ax = straightedge(bar())
        along, below = self.surface(ax)
        for place, height in marks(ax, "o"):
            assert height == 0
            assert np.interp(place, along, below) == pytest.approx(0.0, abs=1e-6)
        assert words(ax).count("rests here") == 2

    def test_no_gap_is_said(self) -> None:
        ax = straightedge(bar(1 / 60, 0.0))
        assert arrows(ax) == []
        assert any(text.startswith("no gap") for text in words(ax))
        assert "gap 0" not in " ".join(words(ax))

    @pytest.mark.parametrize("size", [(7.6, 3.6), (6, 6)])
    def test_the_exaggeration_is_said(self, size: tuple[float, float]) -> None:
        ax = straightedge(bar(), ax=Figure(figsize=size, layout="constrained").add_subplot())
        ax.figure.canvas.draw()
        (x_0, y_0), (x_1, y_1) = ax.transData.transform([(0, 0), (1, 1000)])
        (said,) = re.findall(r"about ([\d.]+) times", under(ax))
        assert float(said) == pytest.approx(abs(y_1 - y_0) / (x_1 - x_0), rel=0.05)


class TestPuddles:
    def test_the_deepest_place_and_the_contours_of_a_pit(self) -> None:
        """90 mm deep in the middle and nought 1 m from it: 20 mm deep at 7/9 of a metre, 60 mm at 3/9; 4 m² × 90 mm / 3."""
        ax = puddles(pit(), brief=PLATE)
        assert marks(ax, "x") == [(pytest.approx(3), pytest.approx(3))]
        assert "90.0 mm" in words(ax)
        assert "4.0 m², 120 l; lines every 20 mm" in under(ax)
        assert "90.0 mm" in in_words(ax)
        drawn = {depth: places for lines in contours(ax, filled=False) for depth, places in places_of(lines).items()}
        assert sorted(drawn) == pytest.approx([0, 0.02, 0.04, 0.06, 0.08])
        for depth, places in drawn.items():
            assert np.abs(places - 3).max(axis=1) == pytest.approx(1 - depth / 0.09, abs=1e-5)

    def test_part_wet_triangles_end_where_the_water_does(self) -> None:
        """A trough 60 mm deep to the one side, 100 mm to the other, full to the lower: wet from 0.4 m on."""
        x, y = [0, 6, 0, 6, 0, 6], [0, 0, 1, 1, 2, 2]
        strip = Brief([(0, 0), (6, 0), (6, 2), (0, 2)])
        pond = ponding(Ground(x, y, [0.1, 0.1, 0, 0, 0.06, 0.06], breaks=[(2, 3)]), strip.area, walls=[((0, 0), (0, 2)),
                                                                                                     ((6, 0), (6, 2))])
        (filled,) = contours(puddles(pond, brief=strip), filled=True)
        wet = np.concatenate([path.vertices for path in filled.get_paths()])
        assert (wet[:, 1].min(), wet[:, 1].max()) == pytest.approx((0.4, 2.0), abs=1e-5)

    def test_it_runs_over_the_rim_and_a_little_on(self) -> None:
        """6 % of the diagonal of 6 m by 6 m beyond the rim, or as far as the edge if that is nearer."""
        pond = pit()
        ax = puddles(pond, brief=PLATE)
        (arrow,) = arrows(ax)
        (way,) = [line for line in ax.lines if len(line.get_xdata()) > 1]
        drawn = np.array(way.get_data()).T
        assert drawn[0] == pytest.approx(pond.basins[0].place)
        assert arrow.xy == pytest.approx(tuple(drawn[-1]))
        rim = np.hypot(*(drawn - pond.basins[0].spill).T).argmin()
        assert drawn[rim] == pytest.approx(pond.basins[0].spill)
        beyond = np.hypot(*np.diff(drawn[rim:], axis=0).T).sum()
        assert 0 < beyond <= 0.06 * np.hypot(6, 6) + 1e-9

    def test_five_of_seven_basins_are_marked_and_the_rest_told(self) -> None:
        """Pits of 10, 20 … 70 mm along a strip."""
        middles = [2 * number + 1.5 for number in range(7)]
        x = np.concatenate([[0, 16, 16, 0], *([m - 0.5, m + 0.5, m + 0.5, m - 0.5, m] for m in middles)])
        y = np.concatenate([[0, 0, 2, 2], *([0.5, 0.5, 1.5, 1.5, 1] for _ in middles)])
        level = np.concatenate([np.zeros(4), *([0, 0, 0, 0, -0.01 * (number + 1)] for number in range(7))])
        strip = Brief([(0, 0), (16, 0), (16, 2), (0, 2)])
        ax = puddles(ponding(Ground(x, y, level), strip.area), brief=strip)
        assert [place[0] for place in marks(ax, "x")] == pytest.approx([13.5, 11.5, 9.5, 7.5, 5.5])
        assert {f"{depth}.0 mm" for depth in (70, 60, 50, 40, 30)} <= set(words(ax))
        assert "2 shallower not marked" in under(ax)
        assert "Next deepest: 60.0 mm, 50.0 mm, 40.0 mm, 30.0 mm." in in_words(ax)
        assert written_over(ax) == []

    def test_nothing_stands(self) -> None:
        ax = puddles(pit(0.0), brief=PLATE)
        assert "no water stands:\nall rain can run off" in words(ax)
        assert in_words(ax) == "No water stands: all rain can run off."
        assert contours(ax, filled=True) == []

    @pytest.mark.parametrize(("depth", "said"), [(2e-4, "0.2 mm"), (2e-5, "under 0.1 mm"), (2e-6, "under 0.1 mm"),
                                                 (1.2, "1200.0 mm")])
    def test_a_film_and_a_shaft_can_be_drawn(self, depth: float, said: str) -> None:
        ax = puddles(pit(depth), brief=PLATE)
        assert said in words(ax)
        assert contours(ax, filled=True)


class TestChance:
    def test_half_as_likely_where_it_is_just_as_deep(self) -> None:
        """Without errors to speak of the pit is 3 mm deep 3/90 m inside its rim: lines there, as finely as the map is."""
        ax = puddle_chance(water(), brief=PLATE)
        (lines,) = contours(ax, filled=False)
        drawn = places_of(lines)
        assert sorted(drawn) == pytest.approx([0.05, 0.50, 0.95])
        assert np.abs(drawn[0.5] - 3).max(axis=1) == pytest.approx(1 - 3 / 90, abs=0.13)
        assert "over 99% here" in words(ax)
        ((x, y),) = marks(ax, "x")  # of many places as likely the deepest
        assert max(abs(x - 3), abs(y - 3)) < 0.07
        assert "over 99%" in in_words(ax)
        assert len({"5%", "50%", "95%"} & set(words(ax))) >= 2  # the lines run a hair apart: not all find room

    def test_the_chance_at_the_likeliest_place_is_that_of_the_runs(self) -> None:
        """Errors of 3 mm where the pit is 2 mm deep."""
        found = water(0.003, 0.002)
        ax = puddle_chance(found, brief=PLATE)
        ((x, y),) = marks(ax, "x")
        assert found.again is not None
        share = float(found.again.chance(x, y, 0.003))
        assert 0.05 < share < 0.95
        assert f"{share:.0%} here" in words(ax)
        assert f"{share:.0%}" in in_words(ax)

    def test_under_5_per_cent_everywhere(self) -> None:
        ax = puddle_chance(water(depth=0.0), brief=PLATE, depth=0.005)
        assert "under 5% everywhere" in words(ax)
        assert "deeper than 5 mm" in ax.get_title(loc="left")
        assert contours(ax, filled=True) == []
        assert "deeper than 5 mm is under 5% everywhere" in in_words(ax)

    def test_nothing_is_drawn_outside_an_l(self) -> None:
        corners = [(0, 0), (6, 0), (6, 2), (2.5, 2), (2.5, 6), (0, 6)]
        brief = Brief(corners)
        x, y = [0, 6, 6, 2.5, 2.5, 0, 1.2, 4.5], [0, 0, 2, 2, 6, 6, 4, 1]
        pond = ponding(Ground(x, y, [0, 0, 0, 0, 0, 0, -0.03, -0.03]), brief.area)
        ax = puddle_chance(standing_water(pond, covariance=1e-8 * np.eye(8), runs=20), brief=brief)
        (filled,) = contours(ax, filled=True)
        for path in filled.get_paths():
            assert not path.contains_points([(4, 4), (5, 3), (3, 5)]).any()
        assert filled.get_clip_path() is not None

    def test_another_depth_and_uncounted_errors_are_refused(self) -> None:
        with pytest.raises(SurveyError, match="1 mm, 3 mm, 5 mm"):
            puddle_chance(water(), brief=PLATE, depth=0.002)
        with pytest.raises(SurveyError, match="Errors are not counted"):
            puddle_chance(standing_water(pit()), brief=PLATE)


class TestScreed:
    def test_a_sloping_base_under_a_level_floor(self) -> None:
        """30 mm over the high side, so 36 mm over the low one: 33 mm in the middle, and 6 m² × 33 mm = 0.198 m³."""
        ax = screed(floor(), brief=ROOM)
        (lines,) = contours(ax, filled=False)
        drawn = places_of(lines)
        assert sorted(drawn) == pytest.approx([0.031, 0.032, 0.033, 0.034, 0.035])
        for thick, places in drawn.items():
            assert places[:, 0] == pytest.approx((0.036 - thick) / 0.002, abs=1e-4)
        assert {"thinnest 30.0 mm", "thickest 36.0 mm", "33 mm"} <= set(words(ax))
        assert sorted(marks(ax, "o")) == [(3, 0), (3, 2)]
        assert "0.20 m³, level; ringed: the base holds it up" in under(ax)
        assert "30.0 mm" in in_words(ax)
        assert "36.0 mm" in in_words(ax)

    def test_an_even_screed(self) -> None:
        ax = screed(floor(Ground([0, 3, 3, 0], [0, 0, 2, 2], [0.0] * 4)), brief=ROOM)
        assert "30.0 mm everywhere" in words(ax)
        assert contours(ax, filled=True) == []
        assert marks(ax, "o") == []
        assert "the base holds it up at many places" in under(ax)

    def test_arrows_point_to_the_outlet(self) -> None:
        """1:80 over 1.6 m to the left; 20 mm over 1.4 m to the right is 1:70, over 1 m 1:50."""
        ax = screed(floor(to=Outlet((1.6, 1.0)), fall=1 / 80), brief=ROOM)
        found = arrows(ax)
        assert len(found) == 4
        for arrow in found:
            way = np.subtract(arrow.xy, arrow.xyann)
            assert way @ np.subtract((1.6, 1.0), arrow.xyann) > 0
        assert "outlet" in words(ax)
        assert (1.6, 1.0) in marks(ax, "o")
        assert {"1:80", "1:70", "1:50"} <= set(words(ax))
        assert "falls 1:80 where flattest" in under(ax)

    def test_a_floor_that_falls_to_its_lower_side(self) -> None:
        ax = screed(floor(to=((0, 2), (3, 2)), fall=1 / 80), brief=ROOM)
        (arrow,) = arrows(ax)
        assert arrow.xy[1] > arrow.xyann[1]
        assert arrow.xy[0] == pytest.approx(arrow.xyann[0])
        assert {"1:80", "lower side"} <= set(words(ax))

    def test_pads_stand_at_their_places(self) -> None:
        found = floor()
        pads = [("P1", 0.5, 0.5), ("P2 $x$", 2.4, 0.5), ("\u6771", 1.0, 1.5)]
        for given in (pads, found.pads(pads, 1.0)):
            ax = screed(found, brief=ROOM, pads=given)
            assert marks(ax, "s") == [(0.5, 0.5), (2.4, 0.5), (1.0, 1.5)]
            assert {"P1", "P2 $x$", style.NO_GLYPH} <= set(words(ax))
            assert written_over(ax) == []

    def test_no_label_lies_on_a_pad_where_there_is_room(self) -> None:
        ax = screed(floor(), brief=ROOM, pads=[("P1", 2.7, 0.2), ("P2", 0.4, 1.8)])
        ax.figure.canvas.draw()
        for x, y in marks(ax, "s"):
            at = ax.transData.transform((x, y))
            assert not any(text.get_window_extent().contains(*at) for text in ax.texts if text.get_text())

    def test_what_does_not_fit_is_said_first(self) -> None:
        ax = screed(floor(most=0.033), brief=ROOM)
        assert under(ax).startswith("DOES NOT FIT")
        assert in_words(ax).startswith("It does not fit")

    def test_a_sill_that_holds_it_up(self) -> None:
        """A sill at 150 mm with a step of at most 20 mm: the floor lies at 130 mm, 124 mm and more above the base."""
        brief = Brief(ROOM.area, demands=[Step([Spot("sill", 1.5, 0.0, 0.150)], least=0.0, most=0.020)])
        ax = screed(floor(brief=brief, kind="unbonded", least=0.05), brief=brief)
        assert marks(ax, "o") == []
        assert "thinnest 124.0 mm" in words(ax)
        assert "at sill, not by the base" in under(ax)

    def test_a_base_that_was_read_in_part(self) -> None:
        """Spots on the left two metres alone."""
        ax = screed(floor(Ground([0, 2, 2, 0], [0, 0, 2, 2], [0.0, 0.006, 0.006, 0.0])), brief=ROOM)
        assert "blank: base not read" in under(ax)
        for filled in contours(ax, filled=True):
            assert max(path.vertices[:, 0].max() for path in filled.get_paths() if len(path.vertices)) <= 2 + 1e-6


@pytest.mark.parametrize(("low", "high", "expected"), [
    (0.0, 0.0004, [0]), (0.0, 0.006, [0, 1, 2, 3, 4, 5, 6]), (0.0, 0.013, [0, 5, 10]), (0.0305, 0.0345, [31, 32, 33, 34])])
def test_steps_are_round(low: float, high: float, expected: list[float]) -> None:
    assert 1000 * style.round_steps(low, high, least=0.001, most=6) == pytest.approx(np.array(expected), abs=1e-9)
