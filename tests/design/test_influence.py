"""What each reading does to each level, against finite differences of the reduction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drawn_books import drawn

from sitelevels import LevelBook, ReducedLevels, read_book, reduce_book

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # what is doubtful has tests of its own

ODD_BOOKS = {
    "known at the end": "A,1.500,,,,20/20\nB,,1.250,,,15/15\nT,0.900,,1.800,,30/10\nC,,1.000,,,12/12\nBM,,,0.598,10.000,8/8",
    "known in the middle too": "BM,1.500,,,10.000,9/9\nA,,1.250,,,8/8\nT,0.900,,1.800,,7/6\nM,,0.999,,9.600,5/5\nB,,1.100,,,4/4\n"
                               "U,1.200,,1.300,,3/9\nC,,1.111,,,7/7\nN,,,1.002,9.500,6/6",
    "known under a foresight": "BM,1.500,,,10.000,9/9\nT,0.900,,1.801,,7/6\nM,1.200,,1.001,9.600,5/5\nB,,1.100,,,4/4\n"
                               "U,1.000,,1.300,,3/9\nBM,,,0.502,10.000,6/6",
    "out of its allowance": "BM,1.500,,,10.000,9/9\nA,,1.250,,,8/8\nT,0.900,,1.800,,7/6\nC,,1.000,,,4/4\nBM,,,0.650,10.000,6/6",
    "unsteady": "BM,1.500,,,10.000,9/9\nT,0.900,,1.800,,7/6\nC,,1.000,,,4/4\nT,,0.909,,,6/6\nBM,,,0.601,10.000,6/6",
    "read three times": "BM,1.500,,,10.000,9/9\nT,,1.801,,,7/7\nA,,1.250,,,8/8\nBM,,1.502,,,9/9\nT,0.900,,1.800,,7/6\n"
                        "A,,0.352,,,4/4\nA,,0.353,,,4/4\nBM,,,0.601,10.000,6/6",
    "a spur off the run": "BM,1.500,,,10.000,9/9\nA,,1.250,,,8/8\nT,0.900,,1.800,,7/6\nC,,1.000,,,4/4\nBM,,,0.602,10.000,6/6\n"
                          "C,1.700,,,,5/5\nD,,0.400,,,9/9\nA,,,1.053,,3/3",
}


def levels_of(result: ReducedLevels, points: Sequence[str]) -> Any:
    return np.array([result.level(point) for point in points])


@pytest.mark.parametrize("adjust", ["setups", "distance", None])
class TestInfluence:
    """Central differences of reduce_book, exact but for rounding, since levels are linear in the readings."""

    STEP = 1e-4

    def check(self, book: LevelBook, adjust: Any, allowable: float | None = None) -> None:
        points, sights, moves = reduce_book(book, adjust=adjust, allowable=allowable).influence()
        assert moves.shape == (len(points), len(sights)) == (len(points), sum(len(row.readings()) for row in book.rows))
        read = [row for row in book.rows if row.readings()]
        for number, sight in enumerate(sights):
            row = read[sight.row]
            cell = "bs" if sight.place == 0 else "is_" if row.is_ is not None else "fs"
            found = []
            for step in (self.STEP, -self.STEP):
                rows = (replace(one, **{cell: getattr(one, cell) + step}) if one is row else one for one in book.rows)
                found.append(levels_of(reduce_book(replace(book, rows=tuple(rows)), adjust=adjust, allowable=allowable), points))
            assert moves[:, number] == pytest.approx((found[0] - found[1]) / (2 * self.STEP), abs=1e-8)
        assert moves.sum(axis=1) == pytest.approx(np.zeros(len(points)), abs=1e-9)  # an instrument put higher changes nothing

    def test_of_random_books(self, adjust: Any) -> None:
        for seed in range(24):
            self.check(drawn(seed).book(), adjust, 1.0)

    @pytest.mark.parametrize("name", ODD_BOOKS)
    def test_of_odd_books(self, adjust: Any, name: str) -> None:
        self.check(read_book(f"point,bs,is,fs,rl,sight\n{ODD_BOOKS[name]}\n"), adjust)
