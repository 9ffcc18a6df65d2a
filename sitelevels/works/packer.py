"""Packers: the block under the downhill end of a level with which its bubble stands in the middle."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence

import pandas as pd

from ..errors import SurveyError, SurveyWarning, finite, finite_list, must_be
from ..wording import parse_fall, word_distance, word_fall, word_mm, word_number

LONGEST = 5.0  # m: a level or straightedge longer than this is questioned; common practice, no source


def _fall(fall: float | str) -> float:
    """A downhill fall in m/m from a number or from words."""
    steep = parse_fall(fall) if isinstance(fall, str) else finite(fall, "the fall", "It is a number in m/m, or words as 1:60.")
    if not 0 <= steep <= 1:
        raise SurveyError(f"the fall {fall!r} is {'steeper than 1:1' if steep > 1 else 'uphill'}",
                          rule="It is in m/m, downhill to the end with the block: 1:60 is 0.0167.")
    return steep


def _length(length: float) -> float:
    """The length of a level in m."""
    long = finite(length, "the length of the level", "It is a length in m, nought or more.", least=0)
    if long > LONGEST:
        warnings.warn(f"The level is {word_distance(long)} long. Are those millimetres?", SurveyWarning, stacklevel=3)
    return long


def packer(fall: float | str, length: float) -> float:
    """How thick a block under the downhill end of a level brings its bubble to the middle, in m.

    `fall` in m/m downhill, or words as `parse_fall` reads them; `length` in m from the end that rests on the surface to the
    block.

    Refuses a fall that is steeper than 1:1 or uphill, a negative length, and what is no finite number; a level longer than 5 m
    is questioned.

    Reason: the block is the fall times the length, which is what a fall means.

    >>> word_mm(packer("1:60", 1.2))
    '20 mm'
    """
    return _fall(fall) * _length(length)


def fall_of_packer(block: float, length: float) -> float:
    """The fall in m/m of a surface on which a block of so many m under the downhill end levels the bubble.

    `block` and `length` in m, the length from the other end to the block.

    Refuses a negative block, a level of no length, and a block thicker than the level is long; a level longer than 5 m is
    questioned.

    Reason: the fall is the block over the length, the reverse of `packer`.

    >>> word_fall(fall_of_packer(0.05, 2.0))
    '1:40 (25.0 mm/m)'
    """
    thick = finite(block, "the thickness of the block", "It is a length in m, nought or more.", least=0)
    long = _length(length)
    if not 0 < long >= thick:
        raise SurveyError(f"a block of {word_mm(thick)} under a level of {word_distance(long)} gives no fall",
                          rule="The level has a length, and falls end at 1:1.", remedy="Give both in m: 50 mm is 0.05.")
    return thick / long


def packers(falls: float | str | Iterable[float | str], lengths: Sequence[float] = (1.0, 1.2, 1.8, 2.0)) -> pd.DataFrame:
    """Blocks for several falls and levels: a new table of fall, in words, and for each length the block in mm.

    `falls` in m/m or in words, one or more; `lengths` in m, else those of levels that are usual (common practice, no source).

    Refuses what `packer` refuses, and a length that comes twice.

    >>> packers(["1:40", "1:80"], lengths=[1.2, 2.0]).columns.tolist()
    ['fall', 'mm at 1.2 m', 'mm at 2 m']
    """
    listed = [falls] if isinstance(falls, (str, int, float)) else falls
    must_be(listed, Iterable, "the list of falls")
    longs = finite_list(lengths, "the list of lengths", "It is a list of lengths in m.")
    names = [f"mm at {word_number(long)} m" for long in longs]
    if len(set(names)) < len(names):
        raise SurveyError(f"a length comes twice in {longs}", remedy="Give each length once.")
    lines = [(word_fall(_fall(fall)), *(packer(fall, length) * 1000 for length in longs)) for fall in listed]
    return pd.DataFrame(lines, columns=["fall", *names])
