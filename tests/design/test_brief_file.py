"""brief.toml: what it says becomes a Brief; what it says wrongly is told in sentences, all at once."""

from typing import Any

import pytest

from sitelevels import reduce_book
from sitelevels.design.brief import Brief
from sitelevels.design.brief_file import brief_of, read_brief
from sitelevels.design.demands import Clearance, Cover, FallAlong, FallAway, Gully, KeepBelow, MaxGradient, Meet, Step
from sitelevels.errors import SurveyError
from sitelevels.survey.reading import read_book

MM = 0.001

# HPC 10.000 + 1.500 = 11.500 m
BOOK = """point,bs,is,fs,rl,x,y,feature,wall
BM,1.500,,,10.000,,,benchmark,
D1,,1.300,,,1.0,2.0,dpc,house
D2,,1.310,,,5.0,2.0,dpc,house
D3,,1.290,,,5.0,9.0,dpc,shed
C1,,1.600,,,1.0,2.0,corner,
C2,,1.600,,,5.0,2.0,corner,
C3,,1.650,,,5.0,5.0,corner,
C4,,1.650,,,1.0,5.0,corner,
E1,,1.700,,,2.0,5.1,edge,
E2,,1.710,,,3.0,5.1,edge,
T1,,1.400,,,3.0,2.0,threshold,
B1,,1.900,,,3.0,3.0,buried,
G1,,1.640,,,4.0,4.0,gully,
A1,,1.350,,,4.5,2.0,airbrick,
N1,,1.500,,,,,edge2,
"""
SITE = """format = 1
[area]
corners = ["C1", "C2", "C3", "C4"]
[[wall]]
name = "house"
first = [1.0, 2.0]
second = [5.0, 2.0]
"""

# the book of these tests has a shot on a wall that most of the briefs do not name
pytestmark = pytest.mark.filterwarnings("ignore:.*this DPC shot is not used")


@pytest.fixture(scope="module")
def reduced() -> Any:
    with pytest.warns(UserWarning, match="edge2"):
        book = read_book(BOOK)
    return reduce_book(book)


def problems(text: str, reduced: Any) -> str:
    with pytest.raises(SurveyError) as caught:
        brief_of(read_brief(text), reduced)
    for problem in caught.value.problems:
        assert problem.strip().endswith((".", "?", "!")), problem
    return "\n".join(caught.value.problems)


class TestDemonstration:
    """Levels by hand: the book comes back 2 mm high over two set-ups, so shots of the first lose 1 mm, of the second 2 mm."""

    @pytest.fixture
    def brief(self, demo: Any) -> Brief:
        return demo.open().brief

    def test_area(self, brief: Brief) -> None:
        assert list(brief.area.exterior.coords)[:-1] == [(0, 0), (7.2, 0), (7.2, 3), (4.5, 3), (4.5, 4.8), (0, 4.8)]

    def test_wall_and_its_dpc(self, brief: Brief) -> None:
        (wall,) = brief.walls
        assert (wall.name, wall.first, wall.second) == ("studio wall", (0, 0), (7.2, 0))
        assert [along for along, _ in wall.shots] == [0.1, 2.0, 4.6, 7.1]
        assert [level for _, level in wall.shots] == pytest.approx([10.218, 10.218, 10.213, 10.213], abs=1e-9)

    def test_layers(self, brief: Brief) -> None:
        assert [(layer.name, layer.thickness) for layer in brief.layers] == [
            ("clay pavers", pytest.approx(0.050)), ("laying course", pytest.approx(0.030)), ("sub-base", pytest.approx(0.100))]

    def test_demands(self, brief: Brief) -> None:
        below, away, along, meet, step, keep, cover, gradient = brief.demands
        assert (type(below), below.wall, below.least) == (Clearance, "studio wall", pytest.approx(0.150))
        assert (type(away), away.wall, away.least, away.target, away.most) == (FallAway, "studio wall", 1 / 80, 1 / 60, None)
        assert (type(along), along.wall, along.most) == (FallAlong, "studio wall", 1 / 100)
        assert (type(gradient), gradient.most) == (MaxGradient, 1 / 20)
        assert (type(meet), meet.within) == (Meet, pytest.approx(0.006))
        assert (type(step), step.least, step.most) == (Step, pytest.approx(0.075), pytest.approx(0.150))
        assert (type(keep), keep.by) == (KeepBelow, pytest.approx(0.075))
        assert (type(cover), cover.least) == (Cover, pytest.approx(0.180))
        for demand, expected in ((meet, {"E1": 9.966, "E2": 9.962, "E3": 9.964, "E4": 9.958}), (step, {"T1": 10.165}),
                                 (keep, {"A1": 10.202}), (cover, {"F1": 9.813, "F2": 9.816})):
            assert {spot.point: spot.level for spot in demand.spots} == pytest.approx(expected, abs=1e-9)
        assert [spot[1:3] for spot in cover.spots] == [(1.35, 2.55), (1.75, 2.85)]


KINDS = [
    ('kind = "below the DPC"\nwall = "house"\nleast_mm = 140', Clearance, {"wall": "house", "least": 0.140}),
    ('kind = "fall away"\nwall = "house"\nleast = "1:100"\ntarget = "1 in 50"\nmost = "4 %"', FallAway,
     {"wall": "house", "least": 0.01, "target": 0.02, "most": 0.04}),
    ('kind = "fall along"\nwall = "house"\nmost = "8 mm/m"', FallAlong, {"wall": "house", "most": 0.008}),
    ('kind = "meet"\npoints = "edge"\nwithin_mm = 5', Meet, {"within": 0.005, "points": (("E1", 2.0, 5.1, 9.800),
                                                                                       ("E2", 3.0, 5.1, 9.790))}),
    ('kind = "meet"\npoints = ["E2"]\nwithin_mm = 5.5', Meet, {"within": 0.0055, "points": (("E2", 3.0, 5.1, 9.790),)}),
    ('kind = "step"\npoints = "threshold"\nleast_mm = 80\nmost_mm = 140', Step,
     {"at": (("T1", 3.0, 2.0, 10.100),), "least": 0.080, "most": 0.140}),
    ('kind = "cover"\npoints = ["B1"]\nleast_mm = 200', Cover, {"points": (("B1", 3.0, 3.0, 9.600),), "least": 0.200}),
    ('kind = "keep below"\npoint = "A1"\nby_mm = 70', KeepBelow, {"point": ("A1", 4.5, 2.0, 10.150), "by": 0.070}),
    ('kind = "gully"\npoint = "G1"\nproud_mm = [4, 9]', Gully, {"point": ("G1", 4.0, 4.0, 9.860), "proud": (0.004, 0.009)}),
    ('kind = "gradient"\nmost = "1:25"', MaxGradient, {"most": 0.04}),
]


def flat(value: Any) -> Any:
    """Nested tuples in one row, so that numbers can be compared nearly."""
    return [part for item in value for part in flat(item)] if isinstance(value, tuple) else [value]


@pytest.mark.parametrize(("text", "kind", "expected"), KINDS, ids=lambda value: value.__name__ if isinstance(value, type) else "")
def test_every_kind_of_demand(text: str, kind: type, expected: dict[str, Any], reduced: Any) -> None:
    (demand,) = brief_of(read_brief(f"{SITE}[[demand]]\n{text}\n"), reduced).demands
    assert type(demand) is kind
    for name, value in expected.items():
        for found, wanted in zip(flat(getattr(demand, name)), flat(value), strict=True):
            assert found == (pytest.approx(wanted, abs=1e-9) if isinstance(wanted, float) else wanted)


def test_shots_of_another_wall_are_left_out_and_distances_run_from_the_first_end(reduced: Any) -> None:
    (wall,) = brief_of(read_brief(SITE), reduced).walls
    assert [part for shot in wall.shots for part in shot] == pytest.approx([0.0, 10.200, 4.0, 10.190], abs=1e-9)


def test_dpc_m_stands_before_the_shots(reduced: Any) -> None:
    (wall,) = brief_of(read_brief(SITE + "dpc_m = 10.3\n"), reduced).walls
    assert wall.dpc_at(2.0) == 10.3


def test_corners_in_m(reduced: Any) -> None:
    text = SITE.replace('corners = ["C1", "C2", "C3", "C4"]', "corners_m = [[1, 2], [5, 2], [5, 4]]")
    assert brief_of(read_brief(text), reduced).area.area == pytest.approx(4.0)


class TestRefusals:
    @pytest.mark.parametrize(("text", "told"), [
        ("[job]\n", "format None"), ("format = 2\n", "up to date"), ("format = 0\n", "format = 1"),
        ('format = "1"\n', "format '1'"), ("format = true\n", "format True"), ("format = 1\n[job\n", "line 2"),
        ("format = 1\nx =\n", "line 2"), ("format = 1\n[job]\nname = " + "9" * 5000, "digit")],
        ids=lambda text: text[:30].replace("\n", " "))
    def test_format_and_toml(self, text: str, told: str) -> None:
        with pytest.raises(SurveyError, match=r"brief\.toml") as caught:
            read_brief(text)
        assert told in str(caught.value)

    def test_unknown_parts_keys_and_kinds_all_at_once(self) -> None:
        text = ("format = 1\ncolour = 3\n[jobb]\nname = 1\n[job]\nnam = 2\n[[layer]]\nthick = 3\n[[layer]]\n[[wall]]\nwide = 1\n"
                "[[demand]]\nkind = \"shiny\"\n[[demand]]\nkind = \"meet\"\nby_mm = 3\n[[demand]]\n[finish]\nslope = 1\n")
        with pytest.raises(SurveyError) as caught:
            read_brief(text)
        told = str(caught.value)
        assert len(caught.value.problems) == 9
        for words in ("colour", "[jobb]", "[job]: the key 'nam'", "[[layer]] number 1: the key 'thick'", "[[wall]] number 1",
                      "[[demand]] number 1: the kind of demand is 'shiny'", "[[demand]] number 2: the key 'by_mm'",
                      "[[demand]] number 3: the kind of demand is None", "[finish]: the key 'slope'"):
            assert words in told

    @pytest.mark.parametrize(("text", "part"), [("layer = 3", "layer"), ("[layer]\nname = 'a'", "layer"), ("[[job]]", "job"),
                                                ("job = 'x'", "job"), ("demand = [1, 2]", "demand")])
    def test_a_part_of_the_wrong_shape(self, text: str, part: str) -> None:
        with pytest.raises(SurveyError, match=f"{part} is not a part"):
            read_brief(f"format = 1\n{text}\n")

    @pytest.mark.parametrize("kind", ["[1]", "{}", "7", "true"])
    def test_a_kind_that_is_no_text(self, kind: str) -> None:
        with pytest.raises(SurveyError, match=r"\[\[demand\]\] number 1.*kind"):
            read_brief(f"format = 1\n[[demand]]\nkind = {kind}\n")

    @pytest.mark.parametrize(("bad", "part", "named"), [
        ('[[layer]]\nname = "a"\nthickness_mm = "40"', "[[layer]] number 1", "thickness_mm is '40'"),
        ('[[layer]]\nname = "a"\nthickness_mm = true', "[[layer]] number 1", "thickness_mm is True"),
        ('[[layer]]\nname = "a"\nthickness_mm = nan', "[[layer]] number 1", "nan"),
        ('[[layer]]\nname = "a"\nthickness_mm = -4', "[[layer]] number 1", "-"),
        ('[[layer]]\nname = "a"', "[[layer]] number 1", "thickness_mm"),
        ('[[layer]]\nname = " "\nthickness_mm = 4', "[[layer]] number 1", "name"),
        ('[[wall]]\nname = "w"\nfirst = [0]\nsecond = [1, 1]', "[[wall]] number 2", "first"),
        ('[[wall]]\nname = "w"\nfirst = [0, "a"]\nsecond = [1, 1]', "[[wall]] number 2", "first"),
        ('[[wall]]\nname = "w"\nfirst = [0, 0]\nsecond = [0, 0]\ndpc_m = 3', "[[wall]] number 2", "cannot run"),
        ('[[wall]]\nname = "barn"\nfirst = [1, 5]\nsecond = [5, 5]', "[[wall]] number 2", "barn"),
        ('[[demand]]\nkind = "below the DPC"\nleast_mm = 3', "[[demand]] number 1", "wall"),
        ('[[demand]]\nkind = "below the DPC"\nwall = "barn"', "[[demand]] number 1", "barn"),
        ('[[demand]]\nkind = "fall away"\nwall = "house"\nleast = 80', "[[demand]] number 1", "80"),
        ('[[demand]]\nkind = "fall away"\nwall = "house"\nleast = "steep"', "[[demand]] number 1", "steep"),
        ('[[demand]]\nkind = "step"\npoints = "T9"', "[[demand]] number 1", "T9"),
        ('[[demand]]\nkind = "step"\npoints = ["T9", "T1", "T8"]', "[[demand]] number 1", "T9"),
        ('[[demand]]\nkind = "step"\npoints = []', "[[demand]] number 1", "points"),
        ('[[demand]]\nkind = "step"\npoints = 5', "[[demand]] number 1", "5"),
        ('[[demand]]\nkind = "step"\npoints = [["T1"]]', "[[demand]] number 1", "T1"),
        ('[[demand]]\nkind = "keep below"\npoint = ["A1"]', "[[demand]] number 1", "A1"),
        ('[[demand]]\nkind = "keep below"', "[[demand]] number 1", "point"),
        ('[[demand]]\nkind = "meet"\npoints = ["N1"]', "[[demand]] number 1", "N1"),
        ('[[demand]]\nkind = "gully"\npoint = "G1"\nproud_mm = 3', "[[demand]] number 1", "proud_mm"),
        ('[[demand]]\nkind = "gully"\npoint = "G1"\nproud_mm = [3, "b"]', "[[demand]] number 1", "proud_mm"),
        ('[[demand]]\nkind = "step"\npoints = "threshold"\nleast_mm = 200\nmost_mm = 100', "[[demand]] number 1", "contradicts"),
    ])
    def test_a_wrong_value_is_told_with_its_part_and_its_key(self, bad: str, part: str, named: str, reduced: Any) -> None:
        told = problems(f"{SITE}{bad}\n", reduced)
        assert part in told
        assert named.lower() in told.lower()

    @pytest.mark.parametrize("corners", ["5", '[["C1"]]', '["C1", 2, "C3"]', '["C1", "C2"]', '"nothing"', "[]",
                                         '["C1", "C9", "C3"]', '["C1", "C3", "C2", "C4"]'])
    def test_wrong_corners(self, corners: str, reduced: Any) -> None:
        told = problems(SITE.replace('["C1", "C2", "C3", "C4"]', corners), reduced)
        assert "area" in told

    def test_every_part_that_is_wrong_is_told_at_once(self, reduced: Any) -> None:
        bad = ('[[layer]]\nname = "a"\n[[layer]]\nthickness_mm = 3\n[[demand]]\nkind = "meet"\npoints = ["X1"]\n'
               '[[demand]]\nkind = "cover"\npoints = "buried"\nleast_mm = "x"\n[[demand]]\nkind = "gradient"\nmost = "1:20"\n')
        told = problems(SITE.replace('"C4"', '"C7"').replace("[5.0, 2.0]", "[5.0]") + bad, reduced)
        for part in ("[area]", "[[wall]] number 1", "[[layer]] number 1", "[[layer]] number 2", "[[demand]] number 1",
                     "[[demand]] number 2"):
            assert part in told
        assert "[[demand]] number 3" not in told

    def test_two_wrong_values_in_one_demand_are_both_told(self, reduced: Any) -> None:
        told = problems(f'{SITE}[[demand]]\nkind = "step"\npoints = "threshold"\nleast_mm = "a"\nmost_mm = "b"\n', reduced)
        assert "'a'" in told
        assert "'b'" in told

    def test_two_demands_on_walls_that_are_not_there_are_both_told(self, reduced: Any) -> None:
        told = problems(f'{SITE}[[demand]]\nkind = "fall away"\nwall = "barn"\n[[demand]]\nkind = "fall along"\nwall = "byre"\n',
                        reduced)
        assert "barn" in told
        assert "byre" in told


class TestSmallAreas:
    BOOK = "point,bs,is,fs,rl,x,y,feature\nBM,1500,,,10000,,,\nC1,,1600,,,0,0,corner\nC2,,1600,,,{0},0,corner\n" \
           "C3,,1650,,,{0},{1},corner\nC4,,1650,,,0,{1},corner\nBM,,,1500,,,,\n"

    @pytest.mark.filterwarnings("ignore:All places lie within")
    def test_metres_in_a_book_of_millimetres_are_no_area(self) -> None:
        told = problems("format = 1\n", reduce_book(read_book(self.BOOK.format(4.2, 3.1), unit="mm")))
        assert told == ("brief.toml, [area]: the corners span 4.2 mm by 3.1 mm. An area is 0.25 m² at the least. x and y are in "
                        "the unit of the book, mm: for 4.2 m write 4200, or say the unit in the headings, x (m) and y (m).")

    def test_a_quarter_of_a_square_metre_is(self) -> None:
        reduced = reduce_book(read_book(self.BOOK.format(501, 500), unit="mm"))
        assert brief_of(read_brief("format = 1\n"), reduced).area.area == pytest.approx(0.2505)
        text = "format = 1\n[area]\ncorners_m = [[0, 0], [0.49, 0], [0.49, 0.5], [0, 0.5]]\n"
        assert problems(text, reduced).endswith("An area is 0.25 m² at the least. Correct x and y of the corners.")


class TestNamesOfPoints:
    def test_both_ends_of_a_wall_are_told_at_once_with_what_is_booked(self, reduced: Any) -> None:
        told = problems(SITE.replace("[1.0, 2.0]", '"W1"').replace("[5.0, 2.0]", '"W2"'), reduced)
        assert told == ("brief.toml, [[wall]] number 1: the points W1, W2 were not read. Points are named as in the book. Write "
                        "your own names here, in 3-finish: booked as corners are C1, C2, C3, C4.")

    def test_one_is_told_as_one(self, reduced: Any) -> None:
        assert "the point W1 was not read." in problems(SITE.replace("[1.0, 2.0]", '"W1"'), reduced)
        assert "the point N1 has no x and y." in problems(SITE.replace("[1.0, 2.0]", '"N1"'), reduced)
