"""Random books made from levels that are known to begin with: the reduction must find those levels again."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from sitelevels import read_book, reduce_book

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # short books; doubts have tests of their own

steady = settings(deadline=None, max_examples=80, derandomize=True)


@dataclass
class Block:
    """A set-up: its line of sight, the point it backsights and those it shoots, levels in tenths of a millimetre."""

    collimation: int
    back: str
    shots: list[str]
    foresight: bool


@dataclass
class Truth:
    levels: dict[str, int]
    known: str
    rows: list[str]

    @property
    def text(self) -> str:
        return "point,bs,is,fs,rl\n" + "\n".join(self.rows) + "\n"


def metres(tenths: int) -> str:
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10000}.{abs(tenths) % 10000:04d}"


@st.composite
def books(draw: st.DrawFn) -> Truth:
    """Set-ups that hang together, booked in any order; lines of sight below a point give staffs held upside down."""
    level = st.integers(80_000, 120_000)
    levels = {"P0": draw(level)}
    blocks: list[Block] = []
    for _ in range(draw(st.integers(1, 5))):
        names = list(levels)
        back = blocks[-1].shots[-1] if blocks and draw(st.booleans()) else draw(st.sampled_from(names))
        shots = []
        for _ in range(draw(st.integers(1, 4))):
            if draw(st.integers(0, 4)) == 0:
                shots.append(draw(st.sampled_from(list(levels))))  # a repeat
            else:
                shots.append(f"P{len(levels)}")
                levels[shots[-1]] = draw(level)
        blocks.append(Block(draw(st.integers(90_000, 110_000)), back, shots, draw(st.booleans())))
    if draw(st.booleans()):
        blocks = draw(st.permutations(blocks))
    known = draw(st.sampled_from(list(levels)))
    rows: list[str] = []
    for number, block in enumerate(blocks):
        back = metres(block.collimation - levels[block.back])
        before = blocks[number - 1] if number else None
        if before and before.foresight and before.shots[-1] == block.back and draw(st.booleans()):
            point, _, _, fore, known_level = rows.pop().split(",")
            rows.append(f"{point},{back},,{fore},{known_level}")
        else:
            rows.append(f"{block.back},{back},,,")
        for place, point in enumerate(block.shots):
            reading = metres(block.collimation - levels[point])
            last = block.foresight and place == len(block.shots) - 1
            rows.append(f"{point},,,{reading}," if last else f"{point},,{reading},,")
    at = draw(st.sampled_from([index for index, row in enumerate(rows) if row.split(",")[0] == known]))
    rows[at] += metres(levels[known])
    event(f"{len(blocks)} set-ups")
    return Truth(levels, known, rows)


@steady
@given(books())
def test_every_level_is_found_again(truth: Truth) -> None:
    result = reduce_book(read_book(truth.text))
    wanted = {point: level / 10_000 for point, level in truth.levels.items()}
    spots = result.spots()
    read = {row.split(",")[0] for row in truth.rows}
    assert set(spots["point"]) == read
    for point, found, spread in spots[["point", "level", "spread"]].itertuples(index=False):
        assert found == pytest.approx(wanted[point], abs=1e-9)
        assert spread <= 1e-9
    for point, found, kept in result.table[["point", "level", "adjusted_level"]].itertuples(index=False):
        assert found == pytest.approx(wanted[point], abs=1e-9)
        assert kept == pytest.approx(wanted[point], abs=1e-9)


@steady
@given(books())
def test_the_two_routes_and_the_arithmetic_agree_and_every_closure_is_nought(truth: Truth) -> None:
    result = reduce_book(read_book(truth.text))
    assert result.arithmetic["agrees"].all()
    assert len(result.arithmetic) == 3 * len(result.sums)
    assert result.closures["misclosure"].abs().max() <= 1e-9 or result.closures.empty
    assert result.stability["difference"].abs().max() <= 1e-9 or result.stability.empty
    table = result.table
    shots = table[table["is"].notna() | table["fs"].notna()]
    steps = shots["rise"].fillna(0) - shots["fall"].fillna(0)
    opened = table["bs"].notna().cumsum() - table["bs"].notna()  # a change point's own shot belongs to the set-up before
    for number in shots.groupby(opened[shots.index]).groups.values():
        back = table.loc[:number[0] - 1].query("bs == bs").iloc[-1]  # the row that opened the set-up
        level = back["hpc"] - back["bs"]
        for index in number:
            level += steps[index]
            assert table.loc[index, "level"] == pytest.approx(level, abs=1e-9)


@steady
@given(st.integers(1, 6), st.data())
def test_an_error_in_one_reading_on_the_way_is_the_misclosure(setups: int, data: st.DataObject) -> None:
    """A closed run: a backsight too great lifts all that follows, a foresight too great sinks it."""
    level = st.integers(80_000, 120_000)
    points = ["BM", *(f"T{number}" for number in range(1, setups)), "BM"]
    levels = {"BM": data.draw(level), **{point: data.draw(level) for point in points[1:-1]}}
    sights = [data.draw(st.integers(90_000, 110_000)) for _ in range(setups)]
    back = [sights[number] - levels[points[number]] for number in range(setups)]
    fore = [sights[number] - levels[points[number + 1]] for number in range(setups)]
    error = data.draw(st.integers(-100, 100))
    at, forward = data.draw(st.integers(0, setups - 1)), data.draw(st.booleans())
    (fore if forward else back)[at] += error
    rows = [f"BM,{metres(back[0])},,,{metres(levels['BM'])}"]
    for number in range(1, setups):
        rows.append(f"{points[number]},{metres(back[number])},,{metres(fore[number - 1])},")
    rows.append(f"BM,,,{metres(fore[-1])},")
    result = reduce_book(read_book("point,bs,is,fs,rl\n" + "\n".join(rows) + "\n"))
    misclosure = (-error if forward else error) / 10_000
    assert result.misclosure == pytest.approx(misclosure, abs=1e-9)
    assert result.closes is (abs(error) <= 50 * setups**0.5)
    for number in range(1, setups):  # each change point: the error if it lies before, less its share if the run closes
        wrong = misclosure if at < number or (forward and at == number - 1) else 0.0
        share = misclosure * number / setups if result.closes else 0.0
        found = result.table["adjusted_level"].iloc[number]
        assert found == pytest.approx(levels[points[number]] / 10_000 + wrong - share, abs=1e-9)


@steady
@given(st.integers(-500, 500))
def test_an_error_in_an_intermediate_sight_closes_and_is_in_that_level_alone(error: int) -> None:
    reading = metres(12_500 + error)
    result = reduce_book(read_book(f"point,bs,is,fs,rl\nBM,1.5000,,,10.0000\nA,,{reading},,\nB,,1.3000,,\nBM,,,1.5000,\n"))
    assert result.misclosure == pytest.approx(0.0, abs=1e-9)
    assert result.level("A") == pytest.approx(10.25 - error / 10_000, abs=1e-9)
    assert result.level("B") == pytest.approx(10.2, abs=1e-9)


@steady
@given(books(), st.sampled_from([("cm", 100), ("mm", 1000)]))
def test_the_unit_changes_nothing(truth: Truth, unit: tuple[str, int]) -> None:
    name, factor = unit
    head, *rows = truth.text.splitlines()
    scaled = [",".join([cells[0], *(f"{float(cell) * factor:.3f}" if cell else "" for cell in cells[1:])])
              for cells in (row.split(",") for row in rows)]
    result = reduce_book(read_book("\n".join([head, *scaled]) + "\n", unit=name))
    for point, found in result.table[["point", "level"]].itertuples(index=False):
        assert found == pytest.approx(truth.levels[point] / 10_000, abs=1e-9)
