"""Classes of surface regularity on surfaces whose gaps are known by hand, and what errors of readings alone show by chance.

A trough across a strip 3 m long, d deep in its middle: under a bar of length L along the strip its sides fall by 2 d / 3 m, so
the gap is d L / 3 m, and at an angle less. On a ridge of height d the bar rests on the ridge: no gap under it, but an equal
offset of d L / 3 m.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from sitelevels import Brief, ErrorBudget, Finish, Ground, Plane, SurveyError
from sitelevels.design.flatness import RUNS, Flatness, flatness
from sitelevels.design.laid import Laid, check_laid
from sitelevels.design.workmanship import REGULARITY
from sitelevels.surface.draws import drawn
from sitelevels.surface.straightedge import BETWEEN, straightedge
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import ReducedLevels, reduce_book

MM = 1e-3
MET, CLOSE, NOT = "met", "too close to call", "not met"
NONE = dict.fromkeys(("reading", "placing_hard", "placing_ground", "placing_buried", "backsight", "zero", "tilt_body",
                      "tilt_level", "collimation", "tape", "laying"), 0.0)

CLASSES = {"SR1": (2, 3, False), "SR2": (2, 5, False), "SR3": (2, 10, False), "flags and natural stone": (3, 3, False),
           "block paving": (3, 10, False), "accessible paving": (1, 3, False), "drives, paths and terraces": (2, 10, True),
           "floors of new homes": (2, 5, True), "interlocking paving": (3, 10, True), "compacted base": (3, 10, True),
           "external tiles on a screed": (2, 3, False)}
"""Length of the straightedge in m, limit in mm, ends held off equally; as published, typed anew."""

X, Y = (np.array(one) for one in ([0, 1.5, 3, 0, 1.5, 3], [0, 0, 0, 0.5, 0.5, 0.5]))
MIDDLE = (X == 1.5).astype(float)


def profile(up: float) -> Ground:
    """A strip with its middle `up` m above (a ridge) or below (a trough) its ends, on a slope, which has no part in it."""
    return Ground(X, Y, 10 + 0.02 * X - 0.013 * Y + up * MIDDLE)


def under(length: float, surface: Any, **options: Any) -> Flatness:
    """Under a straightedge of one length alone, for speed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sitelevels.design.flatness.LENGTHS", (length,))
        return flatness(surface, **options)


@cache
def held(up: float, of: float = 0.0) -> Flatness:
    """The strip; with errors of the middle alone, `of` m, the same on both sides."""
    return flatness(profile(up), covariance=of**2 * np.outer(MIDDLE, MIDDLE) if of else None)


@cache
def read_strip() -> Flatness:
    """A trough just as deep as class SR1 lets it be, every spot read to 1 mm."""
    return flatness(profile(-4.5 * MM), covariance=MM)


def middle_errors(of: float) -> Any:
    """The same errors without a root: σ m (m · ε) / |m| of the same standard normal numbers."""
    return of * (MIDDLE @ np.random.default_rng(1).standard_normal((6, RUNS))) / np.sqrt(2)


class TestByHand:
    @pytest.mark.parametrize("deep", [3.0, 4.5, 7.5, 9.0, 10.0, 15.0])
    def test_a_trough(self, deep: float) -> None:
        """A class of length L and limit l holds up to d = 3 l / L, and holds there: 3, 4.5, 7.5, 9, 10 and 15 mm."""
        table = held(-deep * MM).table.set_index("name")
        assert set(table.index) == set(CLASSES)
        for name, (length, limit, offset) in CLASSES.items():
            row = table.loc[name]
            assert (row["length"], row["limit"], row["offset"]) == (length, pytest.approx(limit * MM, rel=1e-12), offset)
            assert row["found"] == pytest.approx(deep * length / 3 * MM, abs=2e-7)
            assert row["verdict"] == (MET if deep * length <= 3 * limit else NOT)

    @pytest.mark.parametrize("deep", [3.0, 4.5, 7.5, 9.0, 10.0, 15.0])
    def test_just_deeper_it_is_not_met(self, deep: float) -> None:
        """Ten thousandths of a millimetre more under the bar of a class whose limit was just kept."""
        found = held(-deep * MM)
        for name, (length, limit, _) in CLASSES.items():
            if deep * length == 3 * limit:
                bar = found.bar(length)
                assert bar is not None
                more = replace(bar, found=replace(bar.found, gap=bar.found.gap + 1e-5),
                               offset=replace(bar.offset, equal_offset=bar.offset.equal_offset + 1e-5))
                assert found.verdict(REGULARITY[name]) == MET
                assert replace(found, bars=(more,)).verdict(REGULARITY[name]) == NOT

    @pytest.mark.parametrize("high", [7.5, 10.0, 16.0])
    def test_a_ridge_counts_where_the_ends_are_held_off_equally(self, high: float) -> None:
        table = held(high * MM).table.set_index("name")
        for name, (length, limit, offset) in CLASSES.items():
            found = high * length / 3 * MM if offset else 0.0
            assert table.loc[name, "found"] == pytest.approx(found, abs=2e-7)
            assert table.loc[name, "verdict"] == (MET if not offset or high * length <= 3 * limit else NOT)

    def test_a_ridge_is_called_a_hump_and_a_trough_a_hollow(self) -> None:
        ridge, trough = held(16 * MM).bars_words, held(-15 * MM).bars_words
        assert ridge["ends held off equally"].tolist() == ["5.3 mm hump", "10.7 mm hump", "16.0 mm hump"]
        assert trough["ends held off equally"].tolist() == ["5.0 mm hollow", "10.0 mm hollow", "15.0 mm hollow"]
        assert trough["greatest gap"].tolist() == ["5.0 mm", "10.0 mm", "15.0 mm"]
        assert ridge["greatest gap"].tolist() == ["0.0 mm"] * 3
        assert trough["straightedge"].tolist() == ["1.00 m", "2.00 m", "3.00 m"]

    def test_a_dip_in_a_grid(self) -> None:
        """A spot 6 mm low among spots at every metre: 6 mm under 2 m and under 3 m, the ends resting on level ground."""
        spots = np.array([(x, y) for x in range(4) for y in range(3)], float)
        table = flatness(Ground(*spots.T, np.where((spots == (1, 1)).all(axis=1), -6 * MM, 0.0))).table.set_index("name")
        assert table.loc[["SR1", "SR2", "SR3", "block paving"], "found"].tolist() == pytest.approx([6 * MM] * 4, abs=1e-7)
        assert table.loc[["SR1", "SR2", "SR3", "block paving"], "verdict"].tolist() == [NOT, NOT, MET, MET]

    def test_without_errors_nothing_is_too_close(self) -> None:
        found = held(-3.0 * MM)
        assert found.table["alone"].isna().all()
        assert (found.words["readings alone would show"] == "").all()
        assert {bar.gap_alone for bar in found.bars} == {bar.offset_alone for bar in found.bars} == {None}
        assert "readings alone" not in found.sentence()
        assert CLOSE not in set(found.table["verdict"])

    def test_a_plane_keeps_every_class(self) -> None:
        table = held(0.0).table
        assert (table["verdict"] == MET).all()
        assert table["found"].max() < 1e-9


class TestErrors:
    OF = 0.6 * MM

    def alone(self, length: float, offset: bool, sure: float = 0.95) -> float:
        """Only errors downwards make a gap, all make an offset."""
        errors = middle_errors(self.OF)
        return float(np.quantile(np.abs(errors) if offset else np.maximum(-errors, 0), sure)) * length / 3

    def test_what_they_show_alone(self) -> None:
        for name, alone in held(-15 * MM, self.OF).table.set_index("name")["alone"].items():
            length, _, offset = CLASSES[str(name)]
            assert alone == pytest.approx(self.alone(length, offset), rel=1e-4), name

    def test_as_the_normal_distribution_has_it(self) -> None:
        """95 of 100 lie under 1.645 σ, and within 1.960 σ; of 200 runs those scatter by 0.15 σ and 0.13 σ; three of them."""
        bar = held(-15 * MM, self.OF).bar(3.0)
        assert bar is not None
        assert bar.gap_alone == pytest.approx(1.645 * self.OF, abs=0.45 * self.OF)
        assert bar.offset_alone == pytest.approx(1.960 * self.OF, abs=0.40 * self.OF)

    @pytest.mark.parametrize("name", CLASSES)
    def test_three_verdicts(self, name: str) -> None:
        """The found gap less the limit against what errors show alone: 2 % of that to either side of each end."""
        length, limit, offset = CLASSES[name]
        give = self.alone(length, offset)
        found = held(-15 * MM, self.OF)
        bar = found.bar(length)
        assert bar is not None
        for beyond, verdict in ((-3, MET), (-1.02, MET), (-0.98, CLOSE), (0, CLOSE), (0.98, CLOSE), (1.02, NOT), (3, NOT)):
            shown = limit * MM + beyond * give
            other = replace(bar, offset=replace(bar.offset, equal_offset=shown)) if offset else \
                replace(bar, found=replace(bar.found, gap=shown))
            assert replace(found, bars=(other,)).verdict(REGULARITY[name]) == verdict

    @pytest.mark.parametrize(("share", "verdict"), [(-1.05, MET), (-0.95, CLOSE), (0.95, CLOSE), (1.05, NOT)])
    def test_from_end_to_end(self, share: float, verdict: str) -> None:
        """Class SR2 on a trough whose gap under 2 m is so many times what errors show alone beyond 5 mm."""
        deep = (5 * MM + share * self.alone(2, offset=False)) * 1.5
        found = under(2.0, profile(-deep), covariance=self.OF**2 * np.outer(MIDDLE, MIDDLE))
        assert found.verdict(REGULARITY["SR2"]) == verdict

    def test_how_sure_is_a_choice(self) -> None:
        covariance = self.OF**2 * np.outer(MIDDLE, MIDDLE)
        found = flatness(profile(-5 * MM), covariance=covariance, sure=0.8)
        assert found.sure == 0.8
        assert found.table["alone"].tolist() == pytest.approx(
            [self.alone(length, offset, sure=0.8) for length, _, offset in CLASSES.values()], rel=1e-4)
        assert "in 80% of surveys" in found.sentence()

    def test_common_errors_add_nothing(self) -> None:
        """To errors of each spot, alike for all, so that their part square to the common ones stays."""
        common = np.ones(6) + 2 * X - Y  # backsight and tilt
        both = flatness(profile(-4.5 * MM), covariance=MM**2 * (np.eye(6) + 25 * np.outer(common, common)))
        assert read_strip().table["alone"].min() > 0.3 * MM
        assert both.table["alone"].tolist() == pytest.approx(read_strip().table["alone"].tolist(), rel=1e-5)

    def test_common_errors_alone_have_no_effect(self) -> None:
        covariance = (5 * MM) ** 2 * (np.ones((6, 6)) + np.outer(X, X) + np.outer(Y, Y))
        found = flatness(profile(-4.5 * MM), covariance=covariance).table
        assert found["alone"].max() < 1e-7
        assert found["verdict"].tolist() == held(-4.5 * MM).table["verdict"].tolist()  # of which two are just met

    def test_a_deviation_is_its_covariance(self) -> None:
        one, two = under(3.0, profile(-4.5 * MM), covariance=MM**2 * np.eye(6)).bars[0], read_strip().bars[2]
        assert (one.gap_alone, one.offset_alone) == pytest.approx((two.gap_alone, two.offset_alone), rel=1e-12)


def book(spots: dict[str, tuple[float, float, float]]) -> ReducedLevels:
    """Every spot read once, from one set-up on the benchmark."""
    rows = [Row(1, "BM", bs=1.5, rl=9.5, feature="benchmark", x=2.0, y=-3.0)]
    rows += [Row(number, name, is_=11.0 - level, x=x, y=y) for number, (name, (x, y, level)) in enumerate(spots.items(), start=2)]
    return reduce_book(LevelBook(tuple(rows)))


def channelled(xs: Any, ys: Any, off: Any = 0.0, budget: ErrorBudget | None = None, at: float = 0.5, side: float = 0.025,
               **more: float) -> Laid:
    """A yard falling to a channel along y = `at` from both sides, laid `off` m above its design, a row of spots for each y."""
    x, y = (one.ravel() for one in np.meshgrid(xs, ys))
    area = [(min(xs), min(ys)), (max(xs), min(ys)), (max(xs), max(ys)), (min(xs), max(ys))]
    finish = Finish.channel(((min(xs), at), (max(xs), at)), area, level=9.8, fall=0.01, left=side, right=side)
    levels = 9.8 - 0.01 * x + side * np.abs(y - at) + np.ravel(off)
    laid = book({f"P{number}": spot for number, spot in enumerate(zip(x.tolist(), y.tolist(), levels.tolist(), strict=True))})
    errors = None if budget is None else replace(budget, **more).errors(laid, instruments={1: (4.0, -1.0)})
    return check_laid(laid, finish, Brief(area), budget=errors)


XS, YS = (0.0, 1.5, 3.0), (0.0, 0.5, 1.0)
READ = ErrorBudget(**{**NONE, "reading": MM})


@cache
def read(sure: float = 0.95) -> tuple[Laid, Flatness]:
    """Laid to its design, with errors of the readings alone."""
    laid = channelled(XS, YS, budget=READ, sure=sure)
    return laid, under(3.0, laid)


def sags() -> Any:
    """Of each of the three rows (3, runs), m: z₀ / 2 + z₂ / 2 − z₁, the errors drawn once for all facets."""
    errors = read()[0].errors
    assert errors is not None
    spots = drawn(MM * np.diag([0.0] + [MM] * 9), 10, runs=RUNS, seed=1)[1:]  # the benchmark first, which is sure
    assert errors.points == ("BM", *(f"P{number}" for number in range(9)))
    z = spots.reshape(3, 3, RUNS)
    return z[:, 0] / 2 + z[:, 2] / 2 - z[:, 1]


class TestFacets:

    def test_a_fold_is_no_hollow(self) -> None:
        """25 mm/m to the channel from both sides: a bar of 1 m across it, half on either side, would stand 12.5 mm off."""
        laid = channelled(XS, YS)
        assert under(1.0, laid).table["found"].max() < 1e-7
        assert under(1.0, laid.ground, within=laid.design).table["found"].max() < 1e-7
        assert straightedge(laid.ground, length=1.0).gap == pytest.approx(12.5 * MM, abs=1e-6)

    @pytest.mark.parametrize("row", [0, 2])
    def test_the_greatest_of_all_facets(self, row: int) -> None:
        """6 mm deep in the outer row of one facet, and 2 mm high in that of the other."""
        off = np.zeros((3, 3))
        off[row, 1], off[2 - row, 1] = -6 * MM, 2 * MM
        found = flatness(channelled(XS, YS, off))
        assert [bar.found.gap for bar in found.bars[1:]] == pytest.approx([4 * MM, 6 * MM], abs=2e-7)
        assert [bar.offset.equal_offset for bar in found.bars[1:]] == pytest.approx([4 * MM, 6 * MM], abs=2e-7)
        assert 2 * MM - 1e-9 < found.bars[0].found.gap < 3 * MM  # 2 mm along the row; aslant the dip may end sooner
        assert found.bars[2].found.where == pytest.approx((1.5, YS[row]), abs=1e-3)
        assert not any(bar.offset.hump for bar in found.bars[1:])

    def test_gap_and_offset_may_be_worst_on_different_facets(self) -> None:
        off = np.zeros((3, 3))
        off[0, 1], off[2, 1] = -3 * MM, 8 * MM
        bar = under(3.0, channelled(XS, YS, off)).bar(3.0)
        assert bar is not None
        assert (bar.found.gap, bar.offset.equal_offset) == pytest.approx((3 * MM, 8 * MM), abs=2e-7)
        assert (bar.found.where[1], bar.offset.offset_where[1]) == pytest.approx((0.0, 1.0), abs=5e-3)
        assert bar.offset.hump

    def test_readings_alone_are_the_greatest_of_all_facets_run_by_run(self) -> None:
        """A bar as long as the yard lies along a row, or hardly aslant, which adds a little to the greatest of three rows.

        The row on the fold counts on both sides. The greatest of each run, then the quantile.
        """
        bar = read()[1].bar(3.0)
        gap, offset = (float(np.quantile(each.max(axis=0), 0.95)) for each in (np.maximum(sags(), 0), np.abs(sags())))
        assert bar is not None
        assert 1 - 1e-9 <= (bar.gap_alone or 0.0) / gap <= 1.05
        assert 1 - 1e-9 <= (bar.offset_alone or 0.0) / offset <= 1.05

    def test_readings_alone_by_draws_of_its_own(self) -> None:
        """Three sags of variance 1.5 σ²: of 20,000 draws; 200 runs scatter by 6 %."""
        bar = read()[1].bar(3.0)
        own = np.random.default_rng(31).normal(0, np.sqrt(1.5) * MM, (20_000, 3))
        assert bar is not None
        assert bar.gap_alone == pytest.approx(np.quantile(own.max(axis=1), 0.95), rel=0.18)
        assert bar.offset_alone == pytest.approx(np.quantile(np.abs(own).max(axis=1), 0.95), rel=0.18)

    def test_readings_alone_by_the_full_straightedge(self) -> None:
        """The whole search on 32 surfaces with errors alone, facet by facet, the greater of both.

        Half of them and one of twenty show more than is said for that chance: within four standard deviations of that count,
        4 √(32 × ½ × ½) = 11.3 and 4 √(32 × 0.05 × 0.95) = 4.9.
        """
        laid, random, shown = read()[0], np.random.default_rng(32), []
        names = laid.spots["point"].tolist()
        for _ in range(32):
            errors = random.normal(0, MM, len(names))
            found = [straightedge(part.ground.with_levels(errors[[names.index(point) for point in part.ground.points or ()]]),
                                  length=3.0, within=facet.area)
                     for part, facet in zip(laid.parts, laid.design.facets, strict=True)]
            shown.append((max(one.gap for one in found), max(one.equal_offset for one in found)))
        for sure, far in ((0.5, 11.3), (0.95, 4.9)):
            bar = read(sure)[1].bar(3.0)
            assert bar is not None
            more = (np.array(shown) > (bar.gap_alone, bar.offset_alone)).sum(axis=0)
            assert (np.abs(more - 32 * (1 - sure)) <= far).all()
        usual = read()[1].bar(3.0)
        assert usual is not None
        assert (usual.gap_alone, usual.offset_alone) == pytest.approx(tuple(np.quantile(shown, 0.95, axis=0)), rel=0.4)

    def test_common_errors_of_the_book_have_no_effect(self) -> None:
        """A trough just as deep as class SR1 lets it be under 2 m stays met."""
        common = ErrorBudget(**{**NONE, "backsight": 5 * MM, "zero": 3 * MM, "tilt_body": 0.3 * MM, "tilt_level": 0.2 * MM})
        off = np.zeros((3, 3))
        off[0, 1] = -4.5 * MM
        shared = flatness(channelled(XS, YS, off, common))
        assert shared.table["alone"].max() < 1e-7
        assert shared.verdict(REGULARITY["SR1"]) == MET
        assert shared.verdict(REGULARITY["flags and natural stone"]) == NOT

    def test_common_errors_add_nothing_to_the_readings(self) -> None:
        """Other draws, since the cause of each differs: 200 runs scatter by 6 %."""
        common = ErrorBudget(**{**NONE, "reading": MM, "backsight": 5 * MM, "tilt_body": 0.3 * MM})
        found, alone = under(3.0, channelled(XS, YS, budget=common)).bar(3.0), read()[1].bar(3.0)
        assert found is not None
        assert alone is not None
        assert (found.gap_alone, found.offset_alone) == pytest.approx((alone.gap_alone, alone.offset_alone), rel=0.25)

    def test_how_sure_is_that_of_the_budget(self) -> None:
        laid, found = read(0.8)
        gap = float(np.quantile(np.maximum(sags().max(axis=0), 0), 0.8))
        bar = found.bar(3.0)
        assert (laid.budget or ErrorBudget()).sure == found.sure == 0.8
        assert bar is not None
        assert 1 - 1e-9 <= (bar.gap_alone or 0.0) / gap <= 1.10

    def test_without_errors_what_was_found_decides(self) -> None:
        off = np.zeros((3, 3))
        off[0, 1] = -4.5 * MM
        table = flatness(channelled(XS, YS, off)).table.set_index("name")
        assert table["alone"].isna().all()
        assert table.loc["SR1", "verdict"] == MET  # 3 mm under 2 m
        assert table.loc["flags and natural stone", "verdict"] == NOT  # 4.5 mm under 3 m

    def test_one_plane(self) -> None:
        area = [(0.0, 0.0), (3.0, 0.0), (3.0, 0.5), (0.0, 0.5)]
        finish = Finish.plane(Plane(9.8, 0.02, 0.0), area)
        spots = {f"P{number}": (x, y, 9.8 + 0.02 * x - 6 * MM * here)
                 for number, (x, y, here) in enumerate(zip(X.tolist(), Y.tolist(), MIDDLE.tolist(), strict=True))}
        found = flatness(check_laid(book(spots), finish, Brief(area)))
        assert [bar.found.gap for bar in found.bars] == pytest.approx([2 * MM, 4 * MM, 6 * MM], abs=2e-7)
        assert found.area == pytest.approx(1.5)


class TestBarsThatFit:
    def test_on_one_facet_only(self) -> None:
        """2.2 m by 0.4 m has no room for 3 m, 2.2 m by 2.3 m has (3.18 m): one trough along x, one in the narrow part."""
        off = np.zeros((3, 3))
        off[0, 1] = -6 * MM
        laid = channelled((0.0, 1.1, 2.2), (0.0, 0.4, 2.7), off, at=0.4)
        found = flatness(laid)
        assert [bar.length for bar in found.bars] == [1.0, 2.0, 3.0]
        assert [bar.found.gap for bar in found.bars[1:]] == pytest.approx([12 * MM / 2.2, 0.0], abs=1e-6)
        assert 6 * MM / 2.2 < found.bars[0].found.gap < 6.2 * MM / 2.2  # along the row; hardly more aslant
        assert found.verdict(REGULARITY["flags and natural stone"]) == MET  # nothing is said of the narrow part
        assert found.verdict(REGULARITY["SR2"]) == NOT

    def test_errors_are_those_of_the_facets_on_which_it_fits(self) -> None:
        """The corner to corner bar of 3 m: errors in the narrow part alone show under 1 m and 2 m only."""
        laid = channelled((0.0, 1.1, 2.2), (0.0, 0.4, 2.7), at=0.4)
        only = np.zeros(9)
        only[1] = MM  # in the outer row of the narrow part
        found = flatness(laid.ground, within=laid.design, covariance=np.diag(only**2))
        assert [(bar.gap_alone or 0.0) > 0.5 * MM for bar in found.bars] == [True, True, False]
        assert found.bars[-1].gap_alone == 0.0

    def test_a_length_that_fits_nowhere_is_left_out(self) -> None:
        """2.5 m by 0.5 m: 2.55 m from corner to corner."""
        found = flatness(Ground(X * 2.5 / 3, Y, -6 * MM * MIDDLE))
        assert [bar.length for bar in found.bars] == [1.0, 2.0]
        assert found.bar(3.0) is None
        assert found.verdict(REGULARITY["block paving"]) == ""
        table = found.table.set_index("name")
        assert len(table) == len(CLASSES)
        assert np.isnan(table.loc["block paving", "found"])
        assert table.loc["block paving", "verdict"] == ""
        assert set(found.words["class"]) == {name for name, (length, _, _) in CLASSES.items() if length < 3}
        assert "Under 2.00 m the greatest gap is 4.8 mm" in found.sentence()  # 6 mm × 2 / 2.5

    def test_a_bar_exactly_as_long_as_the_area_fits(self) -> None:
        assert [bar.length for bar in flatness(Ground([0, 1, 1, 0], [0, 0, 0.01, 0.01], [0] * 4)).bars] == [1.0]

    def test_a_sentence_without_the_usual_length(self) -> None:
        """1.5 m by 0.5 m: 6 mm × 1 / 1.5."""
        found = flatness(Ground(X / 2, Y, -6 * MM * MIDDLE))
        assert "Under 1.00 m the greatest gap is 4.0 mm" in found.sentence()

    def test_nowhere(self) -> None:
        found = flatness(Ground([0, 0.6, 0.6, 0], [0, 0, 0.6, 0.6], [0, 0, 0, 0.01]), covariance=MM)
        assert found.bars == ()
        assert (found.table["verdict"] == "").all()
        assert found.table[["found", "alone"]].isna().all(axis=None)
        assert len(found.words) == len(found.bars_words) == 0
        assert found.sentence() == f"No straightedge of 1.00 m fits on any flat part. {BETWEEN}"
        assert found.sentence() in found._repr_html_()


class TestRefusals:
    @pytest.mark.parametrize("surface", [None, "yard", [(0, 0, 0)], Plane(0, 0, 0)], ids=str)
    def test_no_surface(self, surface: Any) -> None:
        with pytest.raises(SurveyError, match=r"surface is (a|None)"):
            flatness(surface)

    def test_an_area_without_spots(self) -> None:
        with pytest.raises(SurveyError, match="outside the area"):
            flatness(profile(0.0), within=[(20, 20), (24, 20), (24, 24)])

    def test_one_facet_without_spots(self) -> None:
        """Nothing can be said of it, so nothing is said of the whole."""
        wide = [(0.0, 0.0), (3.0, 0.0), (3.0, 5.0), (0.0, 5.0)]
        finish = Finish.channel(((0, 2), (3, 2)), wide, level=10.0, left=0.02, right=0.02)
        with pytest.raises(SurveyError, match="outside the area"):
            flatness(profile(0.0), within=finish)

    @pytest.mark.parametrize("within", ["area", [(0, 0), (1, 0)], [(0, 0), (1, 1), (1, 0), (0, 1)], 3.0], ids=str)
    def test_no_area(self, within: Any) -> None:
        with pytest.raises(SurveyError):
            flatness(profile(0.0), within=within)

    @pytest.mark.parametrize("covariance", ["1", -MM, np.eye(5), np.diag([1e-6] * 5 + [-1e-6]), np.full((6, 6), np.nan)], ids=str)
    def test_no_covariance(self, covariance: Any) -> None:
        with pytest.raises(SurveyError, match=r"covariance of the levels|standard deviation of the levels"):
            flatness(profile(0.0), covariance=covariance)

    @pytest.mark.parametrize("sure", [1.5, -0.1, 0.0, 1.0, float("nan"), "0.95", None, True], ids=str)
    def test_how_sure_is_no_chance(self, sure: Any) -> None:
        with pytest.raises(SurveyError, match="sure"):
            flatness(profile(0.0), covariance=MM, sure=sure)

    @pytest.mark.parametrize("option", [{"covariance": 0.1}, {"within": [(0, 0), (1, 0), (0, 1)]}], ids=["covariance", "within"])
    def test_what_belongs_to_a_ground_is_refused_for_a_laid_surface(self, option: dict[str, Any]) -> None:
        with pytest.raises(SurveyError):
            under(3.0, read()[0], **option)


class TestWords:
    def test_the_table(self) -> None:
        table = held(-6 * MM, 0.5 * MM).table
        assert table.columns.tolist() == ["name", "length", "limit", "found", "alone", "offset", "verdict", "source"]
        assert (table["source"].str.len() > 5).all()
        assert table is not held(-6 * MM, 0.5 * MM).table
        assert table["source"][table["name"] == "drives, paths and terraces"].item() == "NHBC Standards, 9.1.11, 2018 (text read)"

    def test_the_words(self) -> None:
        words = held(-6 * MM, 0.5 * MM).words.set_index("class")
        assert words.loc["SR1", "limit"] == "at most 3 mm of gap under 2.00 m"
        assert words.loc["SR1", "found"] == "4.0 mm"
        assert words.loc["floors of new homes", "limit"] == "at most 5 mm either way, ends held off equally, under 2.00 m"
        assert words["readings alone would show"].str.fullmatch(r"\d+\.\d mm").all()
        assert words["source"].tolist() == held(-6 * MM, 0.5 * MM).table["source"].tolist()

    def test_the_sentence(self) -> None:
        said = held(-6 * MM, 0.5 * MM).sentence()
        assert "Under 2.00 m the greatest gap is 4.0 mm, at x 1.5 y 0" in said
        assert "in 95% of surveys" in said
        assert BETWEEN in said
        assert repr(held(-6 * MM, 0.5 * MM)) == f"Flatness: {said}"

    def test_the_page(self) -> None:
        page = held(-6 * MM, 0.5 * MM)._repr_html_()
        assert "The classes" in page
        assert "accessible paving" in page
        assert "4.0 mm" in page

    def test_the_paving_that_was_named_comes_first(self) -> None:
        usual = held(-6 * MM, 0.5 * MM)
        page = replace(usual, paving=("interlocking paving",))._repr_html_()
        assert page.index("interlocking paving") < page.index("Other classes") < page.index("SR1")
        assert page.count("interlocking paving") == 1
        assert "Other classes" not in usual._repr_html_()

    @pytest.mark.parametrize(("area", "tests"), [(1.5, "1 test "), (20.0, "1 test "), (20.01, "2 tests "), (39.9, "2 tests "),
                                                 (100.0, "5 tests "), (101.0, "6 tests ")])
    def test_how_many_tests(self, area: float, tests: str) -> None:
        """One for every 20 m², begun ones too."""
        assert f"at least {tests}for this area" in replace(held(-6 * MM, 0.5 * MM), area=area).sentence()

    def test_the_area_is_that_of_all_facets(self) -> None:
        assert read()[1].area == pytest.approx(3.0)
        assert held(0.0).area == pytest.approx(1.5)
        assert under(3.0, profile(0.0), within=[(0, 0), (3, 0), (3, 0.2), (0, 0.2)]).area == pytest.approx(0.6)
