"""Posts: hand-worked bearings, cuts and distances; refusals; distances by walking along the line."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels.errors import SurveyError, SurveyWarning
from sitelevels.works.posts import Post, check_posts
from sitelevels.works.units import UnitLayout, lay_out_units

steady = settings(deadline=None, max_examples=60, derandomize=True)
YARD = [(0, 0), (3, 0), (3, 2), (0, 2)]


def slabs(posts: list[Post], *, given: bool) -> UnitLayout:
    """Slabs of 490 with joints of 10 from the corner: joints at 490 to 500, 990 to 1000 and so on."""
    return lay_out_units(YARD, (0.49, 0.49), joint=0.01, start=(0, 0), bonds=("stack",), holes=posts if given else ())


def row(post: Post, **more: Any) -> dict[str, Any]:
    return dict(check_posts([post], YARD, **more).table.iloc[0])


class TestBearing:
    def test_all_of_it_on_the_footing(self) -> None:
        """A post of 100 in the middle of a footing of 400 by 300: 100 to the nearer side."""
        found = row(Post("A", at=(1, 1), footing=shapely.box(0.8, 0.85, 1.2, 1.15)))
        assert (found["bears"], found["overhang"]) == (True, None)
        assert found["edge_distance"] == pytest.approx(0.1, abs=1e-12)

    def test_flush_with_the_side_it_still_bears(self) -> None:
        found = row(Post("A", at=(1, 1), footing=shapely.box(0.95, 0.8, 1.2, 1.2)))
        assert found["bears"] is True
        assert found["edge_distance"] == pytest.approx(0, abs=1e-9)

    @pytest.mark.parametrize(("footing", "overhang"), [
        (shapely.box(0.98, 0.8, 1.3, 1.2), 0.03),  # over one side
        (shapely.box(0.98, 0.99, 1.3, 1.3), 0.05),  # over two: the corner stands off by 30 and 40
        (shapely.box(1.15, 0.8, 1.4, 1.2), 0.2),  # not on it at all
        (shapely.box(0.5, 0.5, 1.5, 1.5) - shapely.box(0.97, 0.5, 1.03, 1.5), 0.03),  # across a slot of 60
    ])
    def test_overhang(self, footing: Any, overhang: float) -> None:
        if footing.geom_type == "MultiPolygon":
            footing = footing | shapely.box(0.5, 0.5, 1.5, 0.6)
        found = row(Post("A", at=(1, 1), footing=footing))
        assert (found["bears"], found["edge_distance"]) == (False, None)
        assert found["overhang"] == pytest.approx(overhang, abs=1e-3)

    def test_a_footing_not_given_is_not_guessed_at(self) -> None:
        found = row(Post("A", at=(1, 1)))
        assert [found[name] for name in ("bears", "overhang", "edge_distance", "cuts", "leg")] == [None] * 5

    def test_over_the_edge(self) -> None:
        check = check_posts([Post("A", at=(0, 1))], YARD)
        assert not check.table.within[0]
        assert check.sentence() == "Post A: it stands partly over the edge of the area."
        assert check_posts([Post("A", at=(0.05, 1))], YARD).table.within[0]


class TestCutting:
    @pytest.mark.parametrize("given", [True, False], ids=["among the holes", "not among them"])
    @pytest.mark.parametrize(("at", "cuts", "leg"), [
        ((0.745, 0.745), "middle", 0.245 - 0.06),  # the slab from 500 to 990
        ((0.56, 0.745), "edge", 0.245 - 0.06),  # its joint reaches the slab's side at 500; 370 beyond it, 185 above and below
        ((0.56, 0.70), "edge", 0.2 - 0.06),
        ((0.56, 0.56), "corner", 0.49 - 0.12),
        ((0.5, 0.745), "joint", 0.245 - 0.06),  # 55 into either slab, so 55 less the joint of 10 is not left: 490 − 55 is
        ((0.745, 0.06), "edge", 0.245 - 0.06),  # at the edge of the yard
    ])
    def test_by_hand(self, at: tuple[float, float], cuts: str, leg: float, given: bool) -> None:
        post = Post("A", at=at)
        found = row(post, layout=slabs([post], given=given))
        assert found["cuts"] == cuts
        assert found["leg"] == pytest.approx(leg, abs=1e-5)

    def test_a_post_as_wide_as_the_unit_parts_it(self) -> None:
        post = Post("A", at=(0.745, 0.745), size=(0.49, 0.1))
        found = row(post, layout=slabs([post], given=True))
        assert found["cuts"] == "across"
        assert found["leg"] == pytest.approx(0.245 - 0.06, abs=1e-5)

    def test_material_ends_where_the_area_ends(self) -> None:
        """The last column starts at 2500 and is cut at 2900: beyond a post from 2700 to 2800 and its joint, 90 are left."""
        yard = [(0, 0), (2.9, 0), (2.9, 2), (0, 2)]
        post = Post("A", at=(2.75, 0.745))
        layout = lay_out_units(yard, (0.49, 0.49), joint=0.01, start=(0, 0), bonds=("stack",))
        found = dict(check_posts([post], yard, layout).table.iloc[0])
        assert (found["cuts"], found["leg"]) == ("middle", pytest.approx(0.09, abs=1e-9))

    def test_turned_with_the_units(self) -> None:
        c, s = math.cos(0.5), math.sin(0.5)
        turned = np.array(YARD) @ np.array([[c, s], [-s, c]])
        layout = lay_out_units(turned, (0.49, 0.49), joint=0.01, start=(0, 0), bonds=("stack",), along=(c, s))
        x, y = 0.745 * c - 0.745 * s, 0.745 * s + 0.745 * c
        found = dict(check_posts([Post("A", at=(x, y))], turned, layout).table.iloc[0])
        reach = 0.06 * (c + s)  # half of the post and its joint, seen along the units
        assert (found["cuts"], found["leg"]) == ("middle", pytest.approx(0.245 - reach, abs=1e-5))


class TestDistances:
    def test_as_a_tape_measures_along_x(self) -> None:
        """Gateposts of 100 with centres 1100 apart: 1200 outside to outside, 1000 clear."""
        check = check_posts([Post("left", at=(0.5, 1)), Post("right", at=(1.6, 1)), Post("end", at=(1.6, 1.8), size=(0.1, 0.2))],
                            YARD)
        pairs = check.pairs
        assert list(pairs) == ["first", "second", "between_centres", "outside", "clear"]
        assert pairs.iloc[0].tolist() == ["left", "right", pytest.approx(1.1), pytest.approx(1.2), pytest.approx(1.0)]
        assert pairs.iloc[1].tolist() == ["right", "end", pytest.approx(0.8), pytest.approx(0.95), pytest.approx(0.65)]
        assert "left to right: 1200 mm outside to outside, 1000 mm clear." in check.sentence()

    def test_at_45_degrees(self) -> None:
        """Centres 1 m apart each way: the corners stand half a diagonal out, and the line leaves through them."""
        pairs = check_posts([Post("a", at=(0.5, 0.5)), Post("b", at=(1.5, 1.5))], YARD).pairs
        assert pairs.outside[0] == pytest.approx(math.sqrt(2) * 1.1, abs=1e-12)
        assert pairs.clear[0] == pytest.approx(math.sqrt(2) * 0.9, abs=1e-12)

    @steady
    @given(st.floats(-3, 3), st.floats(-3, 3), st.tuples(*[st.floats(0.05, 0.4)] * 4))
    def test_by_another_way(self, dx: float, dy: float, size: tuple[float, float, float, float]) -> None:
        one, two = Post("a", at=(5, 5), size=size[:2]), Post("b", at=(5 + dx, 5 + dy), size=size[2:])
        if one.shape.buffer(1e-3).intersects(two.shape):
            return
        found = check_posts([one, two], shapely.box(0, 0, 10, 10)).pairs.iloc[0]
        line = shapely.LineString([one.at, two.at])
        assert found.clear == pytest.approx(line.length - (line & one.shape).length - (line & two.shape).length, abs=1e-9)
        way = np.array([dx, dy]) / math.hypot(dx, dy)
        along = np.concatenate([shapely.get_coordinates(post.shape) for post in (one, two)]) @ way
        assert found.outside == pytest.approx(np.ptp(along), abs=1e-9)


class TestRefusals:
    @pytest.mark.parametrize(("posts", "words"), [
        ([Post("gate", at=(5, 5))], "Post gate: post outside the area, at x 5 y 5"),
        ([Post("gate", at=(3.05, 1))], "Post gate: post outside the area"),  # only touches the edge
        ([Post("a", at=(1, 1)), Post("b", at=(1.09, 1))], "Post b: it overlaps post a"),
        ([Post("a", at=(1, 1)), Post("a", at=(2, 1))], "Post a: there are two posts of this name"),
        ([], "There are no posts"),
        (["gate"], "one of the posts is a str"),
        (5, "the list of posts is an int"),
    ])
    def test_of_a_list(self, posts: Any, words: str) -> None:
        with pytest.raises(SurveyError, match=f"(?i){words}"):
            check_posts(posts, YARD)

    def test_every_fault_is_told_at_once(self) -> None:
        with pytest.raises(SurveyError) as told:
            check_posts([Post("a", at=(5, 5)), Post("b", at=(1, 1)), Post("c", at=(1, 1))], YARD)
        assert len(told.value.problems) == 2

    def test_posts_side_by_side_touch_and_do_not_overlap(self) -> None:
        pairs = check_posts([Post("a", at=(1, 1)), Post("b", at=(1.1, 1))], YARD).pairs
        assert pairs.clear[0] == pytest.approx(0, abs=1e-9)

    @pytest.mark.parametrize("changes", [{"at": (1,)}, {"at": (math.nan, 1)}, {"size": 0}, {"size": (0.1, -0.1)}, {"size": "big"},
                                         {"size": math.inf}, {"size": True}, {"footing": [(0, 0), (1, 1)]}, {"name": 3},
                                         {"size": None}, {"at": None}])
    def test_of_a_post(self, changes: dict[str, Any]) -> None:
        with pytest.raises(SurveyError):
            Post(**{"name": "A", "at": (1, 1), **changes})

    @pytest.mark.parametrize("size", [100, 20.001, (0.1, 25), 0.0049, (0.1, 0.004)])
    def test_a_size_typed_in_another_unit_is_refused(self, size: Any) -> None:
        with pytest.raises(SurveyError, match=r"The size of post A is [\d.]+\. .* each 5 mm to 20 m: 100 mm is 0\.1"):
            Post("A", at=(1, 1), size=size)

    @pytest.mark.parametrize("size", [1.01, (0.1, 2.5), 20.0])
    def test_a_post_over_a_metre_is_questioned(self, size: Any) -> None:
        with pytest.warns(SurveyWarning, match=r"post A is [\d.]+ m wide\. Are those millimetres"):
            Post("A", at=(1, 1), size=size)

    @pytest.mark.parametrize("size", [0.005, 1.0])
    def test_the_ends_are_neither(self, size: float) -> None:
        assert Post("A", at=(1, 1), size=size).shape.area == pytest.approx(size**2, rel=1e-9)

    def test_shown_in_a_notebook(self) -> None:
        check = check_posts([Post("<b>", at=(1, 1)), Post("c", at=(2, 1))], YARD)
        assert "<b>" not in check._repr_html_().replace("<body>", "")
        assert repr(check).startswith("PostCheck: From <b> to c: 1100 mm")
