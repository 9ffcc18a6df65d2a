"""Screeds on random bases against samples, a linear programme, a scan of falls and sums done anew; floors against a datum."""

from __future__ import annotations

import math
from io import StringIO
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Brief, ErrorBudget, Finish, Meet, Plane, Step, SurveyError, cut_and_fill, read_book, reduce_book
from sitelevels.surface.ground import Ground
from sitelevels.surface.shapes import Outlet
from sitelevels.works.datum import departure_from_datum
from sitelevels.works.lift import sinking
from sitelevels.works.screed import Screed, base_to_screed

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
RECTANGLE = [(0, 0), (4, 0), (4, 3), (0, 3)]
ELL = [(0, 0), (4, 0), (4, 1.6), (2.2, 1.6), (2.2, 3), (0, 3)]
SKEW = [(0.3, 0.1), (3.8, 0.4), (3.5, 2.9), (0.2, 2.5)]
SEEDS = range(15)


def mm(values: Any) -> Any:
    return np.asarray(values, dtype=float) * 1000


def drawn(seed: int) -> tuple[Ground, list[tuple[float, float]], Any]:
    """A base of a few mm and 25 spots, an outline, and where its floor falls to."""
    draw = np.random.default_rng(seed)
    x, y = np.concatenate([[[-0.1, 4.1, 4.1, -0.1], [-0.1, -0.1, 3.1, 3.1]], draw.uniform((0, 0), (4, 3), (21, 2)).T], axis=1)
    level = draw.uniform(-0.008, 0.008, len(x)) + draw.uniform(-0.01, 0.01) * x
    area = [RECTANGLE, ELL, SKEW][seed % 3]
    inside = (float(draw.uniform(0.7, 1.8)), float(draw.uniform(0.6, 1.3)))  # from where every side of each is seen
    to = [Outlet(inside), None, (area[1], area[2]) if area is not ELL else (area[5], area[0]), Outlet(inside)][(seed // 3) % 4]
    return Ground(x, y, level), area, to


def screed_of(seed: int, **options: Any) -> Screed:
    base, area, to = drawn(seed)
    return base_to_screed(base, Brief(area), **{"to": to, "fall": 1 / 70 if to else 0.0, "most": 0.3, **options})


def samples(area: Any, step: float) -> np.ndarray[Any, Any]:
    """Middles of squares whose own middles lie in the area."""
    west, south, east, north = shapely.Polygon(area).bounds
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step))
    inside = shapely.contains_xy(shapely.Polygon(area), x.ravel(), y.ravel())
    return np.column_stack([x.ravel(), y.ravel()])[inside]


def depth_at(screed: Screed, places: np.ndarray[Any, Any]) -> Any:
    return np.asarray(screed.finish.level_at(*places.T)) - np.asarray(screed.base.level_at(*places.T))


@pytest.mark.parametrize("seed", SEEDS)
def test_volume_and_lift_against_samples(seed: int) -> None:
    screed = screed_of(seed)
    step = 0.02
    places = samples(screed.brief.area, step)
    depth = depth_at(screed, places)
    assert screed.volume == pytest.approx(depth.mean() * screed.area, rel=1e-3)
    steep = np.hypot(*screed.base.facet_gradients()[0].T).max() + max(facet.plane.fall for facet in screed.finish.facets)
    assert screed.least - 1e-9 <= depth.min() <= screed.least + steep * 2 * step  # no lower and, but for the spacing, no higher
    assert screed.thinnest.level == pytest.approx(screed.least, abs=1e-12)
    assert screed.thickest.level >= depth.max() - 1e-9
    edges = np.array([[float(x), float(y)] for x, y in shapely.segmentize(screed.brief.area.boundary, 0.02).coords])
    assert depth_at(screed, edges).min() >= screed.least - 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_volume_against_fill(seed: int) -> None:
    screed = screed_of(seed)
    works = cut_and_fill(screed.base, screed.finish, screed.brief.area)
    assert works.cut == 0
    assert works.fill == pytest.approx(screed.volume, abs=1e-9)
    assert screed.uncovered == 0


@pytest.mark.parametrize("seed", range(6))
def test_a_level_floor_from_levels_and_area_alone(seed: int) -> None:
    """Over a whole hull the highest spot holds a level floor up, and the base's own volume is that of its triangles."""
    base, _, _ = drawn(seed)
    screed = base_to_screed(base, Brief(base.hull), most=0.3)
    assert screed.level == pytest.approx(float(base.level.max()) + 0.025, abs=1e-12)
    corners = np.stack([base.x, base.y], axis=1)[base.triangles]
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    under = (np.abs(ax * by - ay * bx) / 2 * base.level[base.triangles].mean(axis=1)).sum()
    assert screed.volume == pytest.approx(screed.level * screed.area - under, abs=1e-9)
    first = int(base.level.argmax())
    second = np.sort(base.level)[-2]
    low = base.level.copy()
    low[first] = second
    anew = cut_and_fill(Ground(base.x, base.y, low), Plane(float(second) + 0.025, 0, 0), base.hull)
    row = screed.high_spots.iloc[0]
    assert row["spot"] == str(first + 1)
    assert row["scabble"] == pytest.approx(base.level[first] - second, abs=1e-12)
    assert row["saves"] == pytest.approx(screed.volume - anew.fill, abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_lowest_floor_by_a_linear_programme(seed: int) -> None:
    """One unknown, the lift; a row for each place of a dense grid, and a sill and a floor that stays besides."""
    from scipy.optimize import linprog
    draw = np.random.default_rng(100 + seed)
    plain = screed_of(seed)
    corner = plain.brief.area.exterior.coords[0]
    there = float(plain.finish.level_at(*corner))
    demands = [Meet(("room", *corner, there + float(draw.uniform(-0.01, 0.02))), 0.004)]
    base, area, to = drawn(seed)
    screed = base_to_screed(base, Brief(area, demands=demands), to=to, fall=1 / 70 if to else 0.0, most=0.3)
    places = np.concatenate([samples(area, 0.04), shapely.get_coordinates(shapely.Polygon(area))])
    shape = np.asarray(plain.finish.level_at(*places.T)) - there  # the floor for nought at the corner
    need = np.asarray(base.level_at(*places.T)) + 0.025 - shape
    low, high = demands[0].points[0].level - 0.004, demands[0].points[0].level + 0.004
    found = linprog([1.0], A_ub=-np.ones((len(need), 1)), b_ub=-need, bounds=[(low, high)], method="highs")
    steep = np.hypot(*base.facet_gradients()[0].T).max() + max(facet.plane.fall for facet in plain.finish.facets)
    mine = float(screed.finish.level_at(*corner))
    if found.x is None:
        assert not screed.fits
        assert mine == pytest.approx(there, abs=1e-9)
    elif screed.fits:
        assert found.x[0] - 1e-9 <= mine <= found.x[0] + steep * 0.08
    else:  # what the samples missed between them
        assert need.max() > high - steep * 0.08
    assert screed.fits == (there <= high + 1e-6)


@pytest.mark.parametrize("seed", [0, 2, 7, 9])
def test_the_best_fall_against_a_scan(seed: int) -> None:
    best = screed_of(seed, fall=1 / 80, steepest=1 / 25)
    falls = np.linspace(1 / 80, 1 / 25, 25)
    scanned = [screed_of(seed, fall=float(fall)).volume for fall in falls]
    assert best.volume <= min(scanned) + 1e-9
    again = screed_of(seed, fall=best.fall)  # the fall itself gives it
    assert again.volume == pytest.approx(best.volume, abs=1e-12)
    kinks = np.diff(scanned, 2)
    assert kinks.min() >= -1e-9  # convex, as the search takes for granted
    assert best.volume >= min(scanned) - np.abs(np.diff(scanned)).max()


@pytest.mark.parametrize("seed", SEEDS)
def test_scabbling_done_anew(seed: int) -> None:
    """The ranked places made spots of the base, lowered as the table says, and the screed worked out again."""
    screed = screed_of(seed)
    ranks = screed.high_spots
    assert len(ranks) > 1
    assert (np.diff(ranks["sinks"]) >= -1e-12).all()
    for rank in (0, 1, len(ranks) - 1):
        part = ranks.head(rank + 1)
        more = screed.base.with_corners(part["x"], part["y"])
        low, beside = more.level.copy(), 0.0
        for _, row in part.iterrows():
            off = np.hypot(more.x - row["x"], more.y - row["y"])
            spot = int(off.argmin())
            beside = max(beside, float(off[spot]))  # a place within a millimetre of a spot is scabbled at that spot
            low[spot] = screed.base.level_at(row["x"], row["y"]) - row["scabble"] - (part["sinks"].iloc[-1] - row["sinks"])
        anew = base_to_screed(more.with_levels(low), screed.brief, to=screed.to, fall=screed.fall, most=0.3)
        assert screed.level - anew.level == pytest.approx(part["sinks"].iloc[-1], abs=1e-9 + 0.02 * beside)
        assert screed.volume - anew.volume == pytest.approx(part["saves"].iloc[-1], abs=1e-9 + 0.2 * beside)
        if rank + 1 < len(ranks):  # the next place, which may have gone down a little itself, now holds the floor up as well
            x, y = ranks.loc[rank + 1, ["x", "y"]]
            assert anew.finish.level_at(x, y) - anew.base.level_at(x, y) == pytest.approx(0.025, abs=1e-9 + 0.02 * beside)


def test_a_place_beside_a_spot_goes_down_by_that_spot() -> None:
    """An outlet half a millimetre beside the spot in the middle, 5 mm above those about it: exact at every step."""
    base = Ground([0, 2, 2, 0, 1], [0, 0, 2, 2, 1], [0, 0, 0, 0, 0.005])
    screed = base_to_screed(base, Brief([(0, 0), (2, 0), (2, 2), (0, 2)]), to=Outlet((1.0005, 1.0)), fall=1 / 80, most=0.3)
    steps = list(sinking(base, screed.unit, screed.level, screed.fall, screed.least, -1.0, 3))
    assert steps[0].level < screed.level - 0.01
    for one in steps:
        anew = base_to_screed(one.ground, screed.brief, to=screed.to, fall=screed.fall, most=0.3)
        assert anew.level == pytest.approx(one.level, abs=1e-12)
        assert screed.volume - anew.volume == pytest.approx(one.saves, abs=1e-12)


def test_a_base_that_would_go_down_as_a_whole_has_no_more_high_spots() -> None:
    """Three spots at 5, 2 and 0 mm: 3 mm off the first, then 2 off both. All three together would only move the base."""
    triangle = [(0, 0), (3, 0), (0, 2)]
    ranks = base_to_screed(Ground([0, 3, 0], [0, 0, 2], [0.005, 0.002, 0.0]), Brief(triangle), most=0.3).high_spots
    assert ranks["spot"].tolist() == ["1", "2"]
    assert ranks["sinks"].tolist() == pytest.approx([0.003, 0.005], abs=1e-12)
    assert ranks["saves"].tolist() == pytest.approx([3 * 0.003 * 2 / 3, 3 * 0.005 - 1 * 0.007], abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_cure_holds(seed: int) -> None:
    """Drawn quarrels with a floor that stays: the amounts by hand from the limits, and the flatter fall tried."""
    base, area, to = drawn(seed)
    if to is None:
        return
    plain = screed_of(seed)
    corner = plain.brief.area.exterior.coords[0]
    there = float(plain.finish.level_at(*corner))
    brief = Brief(area, demands=[Meet(("room", *corner, there - 0.010), 0.006)])
    screed = base_to_screed(base, brief, to=to, fall=1 / 70, most=0.3)
    assert not screed.fits
    assert "4.0 mm apart" in screed.quarrel[0]  # 10 below what the screed wants, 6 allowed
    assert "as thin as 21.0 mm" in screed.quarrel[0]
    assert "stand 10.0 mm proud of the old at room instead of 6 mm" in screed.quarrel[0]
    thinner = base_to_screed(base, screed.brief, to=to, fall=1 / 70, least=0.021, most=0.3)
    assert thinner.fits
    tight = base_to_screed(base, screed.brief, to=to, fall=1 / 70, least=0.0211, most=0.3)
    assert not tight.fits


def test_what_a_step_would_give() -> None:
    base = Ground([0, 2, 2, 0], [0, 0, 2, 2], [0.0] * 4)
    for sill in np.linspace(0.041, 0.060, 9):
        brief = Brief([(0, 0), (2, 0), (2, 2), (0, 2)], demands=[Step(("sill", 0, 1, float(sill)), 0.0, 0.015)])
        screed = base_to_screed(base, brief)  # 25 to 40 mm
        gap = sill - 0.015 - 0.040
        assert screed.fits == (gap <= 1e-9)
        if gap > 1e-6:
            assert f"{math.ceil(gap * 1e4 - 1e-6) / 10 + 15:.1f} mm instead of 15 mm" in screed.quarrel[0]


def test_a_finish_of_my_own_has_the_same_thickness() -> None:
    _, area, to = drawn(0)
    screed = screed_of(0)
    assert isinstance(to, Outlet)
    own = Finish.outlet(to.point, area, level=screed.outlet_level, perimeter=screed.level)
    places = samples(area, 0.1)
    assert np.abs(np.asarray(own.level_at(*places.T)) - np.asarray(screed.finish.level_at(*places.T))).max() < 1e-9
    assert min(facet.plane.fall for facet in own.facets) == pytest.approx(1 / 70, abs=1e-12)


FLOOR = Ground([0, 3, 6, 0, 3, 6], [0, 0, 0, 3, 3, 3], [0.004, -0.002, 0.011, 0.0, -0.016, 0.003], points="ABCDEF")


class TestDeparture:
    def test_by_hand(self) -> None:
        found = departure_from_datum(FLOOR, 0.0)
        assert found.table["verdict"].tolist() == ["met"] * 4 + ["not met", "met"]
        assert mm(found.table["margin"]) == pytest.approx([11, 13, 4, 15, -1, 12], abs=1e-9)
        assert found.verdict == "not met"
        greatest, furthest = found.out_of_level.to_dict("records")
        # C and E: 27 mm over √(3² + 3²) m, three times that allowed; A and F: 1 mm over √(6² + 3²) m, over 6 m, so 20 mm
        assert (greatest["first"], greatest["second"], greatest["verdict"]) == ("C", "E", "not met")
        assert mm(greatest["difference"]) == pytest.approx(27)
        assert mm(greatest["allowed"]) == pytest.approx(3 * 18**0.5)
        assert mm(furthest["difference"]) == pytest.approx(11)  # C to D; A to F, equally far, differ by 1
        assert mm(furthest["allowed"]) == pytest.approx(20)
        assert not found.wide  # a grid of 3 m

    def test_the_mean_where_no_datum_is_given(self) -> None:
        found = departure_from_datum(FLOOR, most=0.020)
        assert found.datum == pytest.approx(0.0)
        assert found.verdict == "met"
        assert "the mean of its spots" in found.sentence()

    def test_spots_far_apart_are_said(self) -> None:
        wide = departure_from_datum(Ground([0, 4, 4, 0], [0, 0, 3, 3], [0.0, 0.001, 0.0, 0.002]), 0.0)
        assert wide.wide == pytest.approx(4.0)
        assert "stand 4.00 m apart; usual is a grid of 3.00 m" in wide.sentence()
        assert departure_from_datum(Ground([0, 3, 3, 0], [0, 0, 3, 3], [0.0] * 4), 0.0).wide == 0.0

    @pytest.mark.parametrize("datum", [9.0, None])
    def test_three_verdicts(self, datum: float | None) -> None:
        """One set-up: u of each spot comes from the book's covariance, by hand from the variances of the sum."""
        rows = [("BM", 1.0, "", 10.0, 5, 9)] + [(name, "", 2.0 - up, "", x, y) for name, x, y, up in
                                                (("A", 0, 0, 0.030), ("B", 3, 0, 0.0), ("C", 3, 3, -0.030), ("D", 0, 3, 0.0))]
        text = "point,bs,is,rl,x,y\n" + "\n".join(",".join(map(str, row)) for row in rows)
        reduced = reduce_book(read_book(StringIO(text)))
        errors = ErrorBudget().errors(reduced)
        floor = Ground([0, 3, 3, 0], [0, 0, 3, 3], [9.030, 9.0, 8.970, 9.0], points="ABCD")
        share = errors.covariance[np.ix_([errors.where[one] for one in "ABCD"], [errors.where[one] for one in "ABCD"])]
        var = share[0, 0] if datum is not None else share[0, 0] - 2 * share[0].mean() + share.mean()
        give = NormalDist().inv_cdf(0.95) * var**0.5
        for most, verdict in ((0.030 + 1.001 * give, "met"), (0.030 + 0.999 * give, "too close to call"),
                              (0.030 - 0.999 * give, "too close to call"), (0.030 - 1.001 * give, "not met")):
            found = departure_from_datum(floor, datum, most=most, errors=errors)
            assert found.each[0] == verdict
            assert found.u is not None
            assert found.u[0] == pytest.approx(var**0.5, rel=1e-9)
        # all four together: A and C, 30 mm off, are out for sure by Šidák's share of four places only
        spare = NormalDist().inv_cdf(0.95**0.25) * var**0.5
        for most, verdict in ((0.030 - 1.01 * spare, "not met"), (0.030 - 0.5 * (give + spare), "too close to call")):
            assert departure_from_datum(floor, datum, most=most, errors=errors).verdict == verdict
        assert departure_from_datum(floor, datum, most=0.2, errors=errors).verdict == "met"

    def test_odd(self) -> None:
        for given in ({"most": 0.0}, {"datum": float("nan")}, {"errors": ErrorBudget()}):
            with pytest.raises(SurveyError):
                departure_from_datum(FLOOR, **given)  # type: ignore[arg-type]
        with pytest.raises(SurveyError):
            departure_from_datum(Plane(0, 0, 0), 0.0)  # type: ignore[arg-type]
        book = reduce_book(read_book(StringIO("point,bs,is,rl\nBM,1,,10\nA,,1.2,\n")))
        with pytest.raises(SurveyError, match="holds no spot B"):
            departure_from_datum(FLOOR, errors=ErrorBudget().errors(book))
        odd = departure_from_datum(Ground([0, 3, 3], [0, 0, 3], [0.0, 0.0, 0.001], points=["<i>", "b", "c"]))
        assert "<i>" not in odd._repr_html_()
        assert any("NHBC" in one for one in odd.sources)
