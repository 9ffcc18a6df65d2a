"""Staffs and lines of sight, read back from what was drawn and held against sums done by hand."""

from itertools import combinations

import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sitelevels import ReducedLevels, read_book, reduce_book
from sitelevels.workbook import figures

ONE = "point,bs,is,fs,rl\nBM,1.384,,,10.000\nstep,,0.912,,\ngully,,1.655,,\nsoffit,,-0.845,,\nBM,,,1.384,"
TWO = "point,bs,is,fs,rl\nBM,1.120,,,10.000\nA,,1.480,,\nCP,0.870,,1.655,\nB,,1.240,,\nBM2,,,0.515,"


def reduced(text: str) -> ReducedLevels:
    return reduce_book(read_book(text))


def lines_of_sight(ax: Axes) -> list[float]:
    return [float(line.get_ydata()[0]) for line in ax.lines if line.is_dashed()]


def staffs(ax: Axes) -> list[tuple[float, float]]:
    """Bottom and top of each."""
    boxes = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    return [(box.get_y(), box.get_y() + box.get_height()) for box in boxes]


def test_each_staff_stands_on_its_level_and_passes_the_line_of_sight() -> None:
    """HPC 10.000 + 1.384 m; levels are that less the reading; the inverted staff hangs from 12.229 m."""
    ax = figures.staffs(reduced(ONE))
    assert lines_of_sight(ax) == pytest.approx([11.384])
    *upright, hanging, last = staffs(ax)
    assert [low for low, _ in (*upright, last)] == pytest.approx([10.000, 10.472, 9.729, 10.000])
    assert all(top > 11.384 for _, top in (*upright, last))
    assert hanging[1] == pytest.approx(12.229)
    assert hanging[0] < 11.384


def test_a_change_point_has_two_staffs_on_one_level() -> None:
    """HPC 11.120 m, CP 11.120 − 1.655 = 9.465 m, second HPC 9.465 + 0.870 = 10.335 m."""
    ax = figures.staffs(reduced(TWO))
    assert lines_of_sight(ax) == pytest.approx([11.120, 10.335])
    assert [low for low, _ in staffs(ax)].count(pytest.approx(9.465)) == 2
    assert sum("CP" in text.get_text() for text in ax.texts) == 1


@pytest.mark.parametrize("text", [ONE, TWO])
def test_its_sentence_names_every_reading_and_level(text: str) -> None:
    told = figures.in_words(figures.staffs(reduced(text)))
    for number, line in enumerate(text.splitlines()[1:], start=1):
        cells = line.split(",")
        assert all(f"{cell} m" in told for cell in cells[1:] if cell), number
    assert told.endswith(".")


@pytest.mark.parametrize("text", [ONE, TWO])
def test_no_words_lie_on_others_and_all_are_inside(text: str) -> None:
    figure = Figure(figsize=(7.6, 4.2), layout="constrained")
    ax = figures.staffs(reduced(text), ax=figure.add_subplot())
    figure.draw_without_rendering()
    boxes = [(one.get_text(), one.get_window_extent().padded(-1)) for one in ax.texts if one.get_text()]
    assert [(one, two) for (one, box), (two, other) in combinations(boxes, 2) if box.overlaps(other)] == []
    assert all(figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1 for _, box in boxes)
