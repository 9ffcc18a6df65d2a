"""Places from a tape: against plain geometry, shapely, simulation and sums by hand."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LinearRing, LineString, Point
from shapely.affinity import rotate, translate

from sitelevels import SurveyError, from_offsets, from_ties, level_sd, ties_covariance

steady = settings(deadline=None, max_examples=120, derandomize=True)
near = st.floats(-50, 50).map(lambda value: round(value, 3))
places = st.tuples(near, near)
SIDES = ("left", "right")


def side_of(a: tuple[float, float], b: tuple[float, float], place: tuple[float, float]) -> str:
    """By shapely: a ring a, b, place that runs against the clock has the place on the left."""
    return "left" if LinearRing([a, b, place]).is_ccw else "right"


def height_over(a: tuple[float, float], b: tuple[float, float], place: tuple[float, float]) -> float:
    """How far a place is from the endless line through a and b: twice the area of the triangle over its base."""
    return abs((b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0])) / math.dist(a, b)


# Ties


@steady
@given(a=places, b=places, place=places)
def test_a_place_taped_from_two_others_is_found_again(a: tuple, b: tuple, place: tuple) -> None:
    """Lengths by Pythagoras (math.dist) from a place that is known to begin with."""
    assume(math.dist(a, b) > 0.5)
    assume(height_over(a, b, place) > 0.05)
    found = from_ties(a, b, math.dist(a, place), math.dist(b, place), side=side_of(a, b, place))
    assert found == pytest.approx(place, abs=1e-9)


@steady
@given(a=places, b=places, from_a=st.floats(0.5, 60), from_b=st.floats(0.5, 60), side=st.sampled_from(SIDES))
def test_the_place_has_the_taped_lengths_and_lies_on_the_side_asked_for(
    a: tuple, b: tuple, from_a: float, from_b: float, side: str
) -> None:
    """shapely's distance, and the way round of the ring; from b to a, left is right."""
    base = math.dist(a, b)
    assume(base > 0.5)
    assume(abs(from_a - from_b) + 0.01 < base < from_a + from_b - 0.01)
    found = from_ties(a, b, from_a, from_b, side=side)
    assert Point(found).distance(Point(a)) == pytest.approx(from_a, abs=1e-9)
    assert Point(found).distance(Point(b)) == pytest.approx(from_b, abs=1e-9)
    assert side_of(a, b, found) == side
    other = SIDES[1 - SIDES.index(side)]
    assert from_ties(b, a, from_b, from_a, side=other) == pytest.approx(found, abs=1e-8)


@pytest.mark.parametrize(
    ("a", "b", "lengths", "side", "place"),
    [
        ((0, 0), (4, 0), (3, 5), "left", (0, 3)),  # 3-4-5
        ((0, 0), (4, 0), (3, 5), "right", (0, -3)),
        ((4, 0), (0, 0), (5, 3), "left", (0, -3)),  # looking the other way
        ((1, 1), (1, 11), (13, math.hypot(5, 2)), "right", (6, 13)),  # 5-12-13, past b
        ((1, 1), (1, 11), (13, math.hypot(5, 2)), "left", (-4, 13)),
        ((0, 0), (6, 0), (5, 5), "left", (3, 4)),
        ((0, 0), (0.001, 0), (2, 2), "left", (0.0005, 2)),  # a base of a millimetre still answers
    ],
)
def test_places_by_hand(a: tuple, b: tuple, lengths: tuple, side: str, place: tuple) -> None:
    assert from_ties(a, b, *lengths, side=side) == pytest.approx(place, abs=1e-6)


@pytest.mark.parametrize(
    ("lengths", "told"),
    [
        # from places 4 m apart
        ((1, 2), r"two ties are 1\.0+ m too short to meet"),  # 4 - 1 - 2
        ((0, 3.5), r"two ties are 0\.50+ m too short to meet"),
        ((1, 6.25), r"ne tie is 1\.250* m too long for the other"),  # 6.25 - 1 - 4
        ((9, 2), r"ne tie is 3\.0+ m too long for the other"),
        ((0, 0), r"two ties are 4\.0+ m too short to meet"),
    ],
)
@pytest.mark.parametrize("side", SIDES)
def test_ties_that_make_no_triangle_say_by_how_much(lengths: tuple, told: str, side: str) -> None:
    with pytest.raises(SurveyError, match=told) as caught:
        from_ties((10, 20), (10, 24), *lengths, side=side)
    assert re.search(rf"{lengths[0]:.2f}0* m and {lengths[1]:.2f}0* m from places 4\.0+ m apart", str(caught.value))
    assert "Tape them again" in str(caught.value)


@steady
@given(first=st.integers(1, 200_000), second=st.integers(1, 200_000), inside=st.booleans(),
       corner=st.sampled_from([(0.0, 0.0), (450_000.0, 120_000.0)]))
def test_ties_that_just_meet_are_accepted(first: int, second: int, inside: bool, corner: tuple) -> None:
    """Tenths of a millimetre: circles that touch from outside or inside, which decimals in binary would tear apart."""
    apart = abs(first - second) if inside else first + second
    assume(apart > 100)
    a, b = corner, (round(corner[0] + apart / 10_000, 4), corner[1])
    found = from_ties(a, b, first / 10_000, second / 10_000, side="left")
    along = first if not inside or first > second else -first
    assert found[0] - corner[0] == pytest.approx(along / 10_000, abs=0.001)
    assert found[1] - corner[1] == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize("gap", [0.0001, -0.0001])
def test_ties_that_fall_short_by_a_tenth_of_a_millimetre_are_no_triangle(gap: float) -> None:
    lengths = (2.0, 3.0 - gap) if gap > 0 else (8.0 - gap, 3.0)  # short; or too long by as much
    with pytest.raises(SurveyError):
        from_ties((0, 0), (5, 0), *lengths, side="left")


@pytest.mark.parametrize("corner", [(450_000.0, 120_000.0), (450_000.0, 5_200_000.0), (-450_000.0, 0.0)])
@pytest.mark.parametrize("side", SIDES)
def test_coordinates_of_a_national_grid_cost_no_millimetre(corner: tuple, side: str) -> None:
    """The triangle of 7.5, 6.25 and 5 m: cosine rule, and the same place beside the far corner."""
    along = (7.5**2 + 6.25**2 - 5**2) / (2 * 6.25)
    out = math.sqrt(7.5**2 - along**2) * (1 if side == "left" else -1)
    x, y = from_ties(corner, (corner[0] + 6.25, corner[1]), 7.5, 5, side=side)
    assert (x - corner[0], y - corner[1]) == pytest.approx((along, out), abs=5e-9)
    x, y = from_offsets(corner, (corner[0], corner[1] + 6.25), 2.5, 1.5, side=side)
    assert (x - corner[0], y - corner[1]) == pytest.approx((-1.5 if side == "left" else 1.5, 2.5), abs=5e-9)


# Offsets


@steady
@given(first=places, second=places, along=st.floats(-40, 40), out=st.floats(0, 40), side=st.sampled_from(SIDES))
def test_an_offset_is_the_point_that_shapely_turns_into_place(
    first: tuple, second: tuple, along: float, out: float, side: str
) -> None:
    """shapely.affinity: a point along x and out along y, turned to the bearing of the wall and moved to its first end."""
    assume(math.dist(first, second) > 0.5)
    flat = Point(along, out if side == "left" else -out)
    bearing = math.atan2(second[1] - first[1], second[0] - first[0])
    theirs = translate(rotate(flat, bearing, origin=(0, 0), use_radians=True), *first)
    assert from_offsets(first, second, along, out, side=side) == pytest.approx((theirs.x, theirs.y), abs=1e-9)


@steady
@given(first=places, second=places, share=st.floats(0.01, 0.99), out=st.floats(0.01, 40), side=st.sampled_from(SIDES))
def test_an_offset_measured_again_with_shapely_is_the_one_taped(
    first: tuple, second: tuple, share: float, out: float, side: str
) -> None:
    assume(math.dist(first, second) > 0.5)
    wall = LineString([first, second])
    found = from_offsets(first, second, share * wall.length, out, side=side)
    assert wall.project(Point(found)) == pytest.approx(share * wall.length, abs=1e-9)
    assert wall.distance(Point(found)) == pytest.approx(out, abs=1e-9)
    assert side_of(first, second, found) == side


def test_offsets_by_hand() -> None:
    assert from_offsets((0, 0), (0, 5), 2, 1.5, side="right") == pytest.approx((1.5, 2.0), abs=1e-12)
    assert from_offsets((0, 0), (0, 5), 2, 1.5) == pytest.approx((-1.5, 2.0), abs=1e-12)  # left unless told otherwise
    assert from_offsets((1, 1), (4, 5), 5, 0) == pytest.approx((4, 5), abs=1e-12)  # 3-4-5: at the far end
    assert from_offsets((1, 1), (4, 5), 10, 5) == pytest.approx((1 + 6 - 4, 1 + 8 + 3), abs=1e-12)
    assert from_offsets((1, 1), (4, 5), -5, 0) == pytest.approx((-2, -3), abs=1e-12)  # before the first end


# How sure


def drawn(a: tuple, b: tuple, place: tuple, sds: tuple[float, float]) -> np.ndarray:
    """20,000 places from lengths with normal errors: variances come out within 1 % (one standard deviation)."""
    rng, side = np.random.default_rng(17), side_of(a, b, place)
    lengths = np.array([math.dist(a, place), math.dist(b, place)]) + rng.normal(0, 1, (20_000, 2)) * sds
    return np.array([from_ties(a, b, first, second, side=side) for first, second in lengths])


@pytest.mark.parametrize(
    ("a", "b", "place", "sd"),
    [
        ((0.0, 0.0), (6.0, 0.0), (2.0, 5.0), 0.005),
        ((0.0, 0.0), (6.0, 0.0), (2.0, 5.0), (0.003, 0.012)),
        ((0.0, 0.0), (6.0, 0.0), (3.0, 0.9), 0.002),  # flat: unsure across
        ((0.0, 0.0), (1.0, 0.5), (9.0, -7.0), (0.002, 0.002)),  # both ties much alike
    ],
)
def test_covariance_of_a_taped_place_agrees_with_simulation(a: tuple, b: tuple, place: tuple, sd: Any) -> None:
    sds = sd if isinstance(sd, tuple) else (sd, sd)
    stated = ties_covariance(a, b, place, sd=sd)
    found = np.cov(drawn(a, b, place, sds).T)
    scale = np.sqrt(np.outer(np.diag(found), np.diag(found)))
    np.testing.assert_allclose(stated / scale, found / scale, rtol=0, atol=0.03)


@pytest.mark.parametrize("gradient", [(0.05, 0.0), (0.02, -0.04), (-0.1, 0.3)])
def test_the_level_of_a_taped_place_is_as_sure_as_simulation_says(gradient: tuple) -> None:
    a, b, place = (0.0, 0.0), (6.0, 0.0), (2.0, 5.0)
    stated = level_sd(ties_covariance(a, b, place, sd=(0.004, 0.010)), *gradient)
    levels = drawn(a, b, place, (0.004, 0.010)) @ gradient
    assert stated == pytest.approx(np.std(levels, ddof=1), rel=0.02)  # 0.5 % is one standard deviation


def test_covariances_by_hand() -> None:
    """Ties that meet square, along x and along y: each axis is as sure as its own tape."""
    np.testing.assert_allclose(ties_covariance((0, 2), (3, 0), (3, 2), sd=(0.004, 0.007)),
                               [[0.004**2, 0], [0, 0.007**2]], rtol=0, atol=1e-15)
    # from (0, 0) and (4, 0) to (2, 2): square again but at 45°, so alike in both axes
    np.testing.assert_allclose(ties_covariance((0, 0), (4, 0), (2, 2), sd=0.005), 0.005**2 * np.eye(2), rtol=0, atol=1e-15)
    assert not ties_covariance((0, 0), (4, 0), (2, 2), sd=0).any()


def test_level_sd_by_hand() -> None:
    """√(0.03² × 4 + 2 × 0.03 × 0.04 × 1 + 0.04² × 9) mm with variances 4 and 9 mm² and covariance 1 mm²."""
    covariance = np.array([[4e-6, 1e-6], [1e-6, 9e-6]])
    expected = math.sqrt(0.0009 * 4 + 0.0024 * 1 + 0.0016 * 9) / 1000
    assert level_sd(covariance, 0.03, 0.04) == pytest.approx(expected, rel=1e-12)
    assert level_sd(covariance, 0.0, 0.0) == 0.0


def test_grid_coordinates_leave_the_covariance_as_it_is() -> None:
    here = ties_covariance((0, 0), (6, 0), (2, 5), sd=0.005)
    far = ties_covariance((450_000, 120_000), (450_006, 120_000), (450_002, 120_005), sd=0.005)
    np.testing.assert_allclose(far, here, rtol=1e-9)


# Refusals

TIES = {"a": (0, 0), "b": (4, 0), "from_a": 3, "from_b": 5, "side": "left"}
WALL = {"first": (0, 0), "second": (4, 0), "along": 1, "out": 2, "side": "left"}
SURE = {"a": (0, 0), "b": (4, 0), "place": (2, 2), "sd": 0.005}

REFUSED: list[tuple[Any, dict, str]] = [
    (from_ties, {"b": (0, 0)}, "one and the same"),
    (from_ties, {"b": (1e-7, 0)}, "one and the same"),
    (from_ties, {"from_a": -3}, "From_a is -3. It must be a length in m."),
    (from_ties, {"from_b": math.nan}, "From_b is nan"),
    (from_ties, {"from_b": math.inf}, "From_b is inf"),
    (from_ties, {"from_a": "3 m"}, "From_a is '3 m'"),
    (from_ties, {"from_a": None}, "From_a is None"),
    (from_ties, {"from_a": True}, "From_a is True"),
    (from_ties, {"side": "up"}, "The side is 'up'. It is 'left' or 'right'"),
    (from_ties, {"side": None}, "The side is None"),
    (from_ties, {"side": "Left"}, "The side is 'Left'"),
    (from_ties, {"a": (0, 0, 0)}, r"A is \(0, 0, 0\). A place is a pair"),
    (from_ties, {"a": "00"}, "A is '00'. A place is a pair"),
    (from_ties, {"b": 4}, "B is 4. A place is a pair"),
    (from_ties, {"b": (4, None)}, "B is None"),
    (from_ties, {"b": (math.nan, 0)}, "B is nan"),
    (from_offsets, {"second": (0, 0)}, "one and the same"),
    (from_offsets, {"out": -2}, "Out is -2. It must be a length in m."),
    (from_offsets, {"out": "2"}, "Out is '2'"),
    (from_offsets, {"along": math.nan}, "Along is nan"),
    (from_offsets, {"along": None}, "Along is None"),
    (from_offsets, {"side": "north"}, "The side is 'north'"),
    (from_offsets, {"first": None}, "First is None. A place is a pair"),
    (from_offsets, {"second": {"x": 1, "y": 2}}, "Second is .* A place is a pair"),
    (ties_covariance, {"place": (2, 0)}, "meet in line"),
    (ties_covariance, {"place": (9, 0)}, "meet in line"),
    (ties_covariance, {"place": (0, 0)}, "meet in line"),
    (ties_covariance, {"b": (0, 0)}, "meet in line"),
    (ties_covariance, {"sd": -0.005}, "Sd is -0.005"),
    (ties_covariance, {"sd": (0.005, -0.001)}, "Sd is -0.001"),
    (ties_covariance, {"sd": math.nan}, "Sd is nan"),
    (ties_covariance, {"sd": "5 mm"}, "Sd is '5 mm'"),
    (ties_covariance, {"sd": None}, "Sd is None"),
    (ties_covariance, {"place": 3}, "Place is 3. A place is a pair"),
]


@pytest.mark.parametrize(("call", "wrong", "told"), REFUSED,
                         ids=[f"{call.__name__}: {wrong}" for call, wrong, _ in REFUSED])
def test_what_no_tape_can_give_is_refused_in_words(call: Any, wrong: dict, told: str) -> None:
    good = {from_ties: TIES, from_offsets: WALL, ties_covariance: SURE}[call]
    call(**good)
    with pytest.raises(SurveyError, match=told):
        call(**good | wrong)


ODD = st.one_of(
    st.sampled_from([None, "left", "right", "1", math.nan, math.inf, True, 1 + 2j, (), {}, object(), (0, 0), [4, 0], (1, None),
                     np.array([1.0, 2.0]), np.array([[1, 2], [3, 4]]), {1, 2}, range(2), (1e11, -1e11)]),
    st.floats(-1e13, 1e13), st.integers(-(10**13), 10**13), st.text(max_size=2),
)


@settings(deadline=None, max_examples=300, derandomize=True)
@given(wrong=st.dictionaries(st.sampled_from(["a", "b", "from_a", "from_b", "first", "second", "along", "out", "place", "sd",
                                              "side"]), ODD, max_size=5))
def test_odd_input_gives_a_place_or_a_sentence(wrong: dict) -> None:
    for call, good in ((from_ties, TIES), (from_offsets, WALL), (ties_covariance, SURE)):
        given_now = good | {name: value for name, value in wrong.items() if name in good}
        if call is ties_covariance and isinstance(given_now["sd"], tuple) and len(given_now["sd"]) != 2:
            continue  # see below
        if isinstance(given_now.get("side"), np.ndarray):
            continue  # see below
        try:
            found = call(**given_now)
        except SurveyError as error:
            told = str(error)
            assert told.endswith(".")
        else:
            assert np.isfinite(found).all()


# Odd input: each is right, or a sentence


@pytest.mark.parametrize("call", [
    lambda: from_ties(**TIES | {"a": np.array(1.5)}),
    lambda: from_ties(**TIES | {"a": b"ab", "from_a": 100, "from_b": 100}),
    lambda: from_ties(**TIES | {"from_a": 10**400}),
    lambda: from_ties(**TIES | {"side": np.array(["left", "right"])}),
    lambda: ties_covariance(**SURE | {"sd": (0.005, 0.005, 0.005)}),
    lambda: ties_covariance(**SURE | {"sd": (0.005,)}),
    lambda: ties_covariance(**SURE | {"sd": ()}),
    lambda: level_sd("x", 0.1, 0.1),
    lambda: level_sd(None, 0.1, 0.1),
    lambda: level_sd([[1e-4, [0]], [0, 1e-4]], 0.1, 0.1),
    lambda: level_sd([[[1e-4]], [0, 1e-4]], 0.1, 0.1),
    lambda: level_sd(np.eye(3), 0.1, 0.1),
    lambda: level_sd(-np.eye(2), 0.1, 0.1),
    lambda: level_sd(np.diag([math.nan, 0]), 0.1, 0.1),
    lambda: level_sd(np.eye(2), "0.1", 0.1),
    lambda: level_sd(np.eye(2), "steep", 0.1),
    lambda: level_sd(np.eye(2), math.nan, 0.1),
], ids=["array without length", "bytes", "endless number", "two sides", "three sds", "sd of one tie", "no sd",
        "covariance word", "covariance None", "list for a variance", "list in a row", "3 × 3", "negative variance",
        "variance nan", "gradient word", "gradient words", "gradient nan"])
def test_nonsense_is_refused_in_words(call: Any) -> None:
    with pytest.raises(SurveyError):
        call()


@pytest.mark.parametrize(("lengths", "told"), [((1.999, 1.998), "3 mm too short|0.003 m too short"),
                                               ((6.004, 2.0), "4 mm too long|0.004 m too long")])
def test_ties_that_miss_by_millimetres_say_how_many(lengths: tuple, told: str) -> None:
    with pytest.raises(SurveyError, match=told):
        from_ties((0, 0), (4, 0), *lengths, side="left")
