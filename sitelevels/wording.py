"""Falls and lengths in and out of words. The only place that rounds."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from .errors import SurveyError

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = r"([-+−]?\d*\.?\d+(?:[eE][-+]?\d+)?)"
_RATIO = re.compile(rf"^{_NUMBER}\s*(?::|in|/)\s*{_NUMBER}$", re.IGNORECASE)
_WITH_UNIT = re.compile(rf"^{_NUMBER}\s*(mm/m|cm/m|mm per m|cm per m|%|per ?cent|°|deg|degrees?|in/ft|in per ft)$", re.I)
_PER_METRE = {"mm/m": 1e-3, "mm per m": 1e-3, "cm/m": 1e-2, "cm per m": 1e-2, "%": 1e-2, "per cent": 1e-2,
              "percent": 1e-2, "in/ft": 1 / 12, "in per ft": 1 / 12}
_HOW = "Write it as 1:60, 1 in 60, 16.7 mm/m, 1.67 % or 0.95°; 'level' for none."


def parse_fall(text: str) -> float:
    """A fall in m/m from words; positive is downhill in the direction that the fall is stated for.

    Parameters
    ----------
    text : str
        "1:60", "1 in 60", "16.7 mm/m", "1.67 %", "0.95°", "0.25 in/ft" or "level". A remark in brackets behind
        is passed over, so what `word_fall` writes can be read again.

    Raises
    ------
    SurveyError
        For anything else, a bare number included (60 could be 1:60 or 60 %), and for a fall steeper than 1:1.

    Notes
    -----
    A percentage is metres per hundred metres; degrees are from the level, so the fall is their tangent.

    >>> parse_fall("1:80"), parse_fall("12.5 mm/m"), parse_fall("1.25 %")
    (0.0125, 0.0125, 0.0125)
    """
    if not isinstance(text, str):
        raise SurveyError(f"the fall {text!r} is not in words", rule="A bare number could be 1:60 or 60 %.", remedy=_HOW)
    plain = re.sub(r"\(.*\)", "", text).strip().replace("−", "-")
    uphill = plain.lower().endswith("uphill")
    plain = plain[:-6].strip() if uphill else plain
    if plain.lower() in ("level", "flat", "none"):
        return 0.0
    if ratio := _RATIO.match(plain):
        rise, run = (float(part) for part in ratio.groups())
        if run == 0:
            raise SurveyError(f"the fall {text!r} has no length to fall over", remedy=_HOW)
        fall = rise / run
    elif measured := _WITH_UNIT.match(plain):
        number, unit = float(measured.group(1)), measured.group(2).lower()
        if unit in _PER_METRE:
            fall = number * _PER_METRE[unit]
        elif abs(number) < 90:
            fall = math.tan(math.radians(number))
        else:
            fall = math.inf
    else:
        raise SurveyError(f"the fall {text!r} was not understood", remedy=_HOW)
    if not abs(fall) <= 1:
        raise SurveyError(f"the fall {text!r} is steeper than 1:1", rule="No paving is laid so steep.", remedy=_HOW)
    return -fall if uphill else fall


def word_fall(fall: float) -> str:
    """A fall in m/m as "1:60 (16.7 mm/m)"; uphill is said in a word.

    >>> word_fall(1 / 60), word_fall(-0.0125), word_fall(0)
    ('1:60 (16.7 mm/m)', '1:80 uphill (12.5 mm/m)', 'level (0.0 mm/m)')
    """
    steep = abs(fall)
    if steep < 0.00005:
        return "level (0.0 mm/m)"
    run = 1 / steep
    digits = 1 if run < 100 else 0 if run < 1000 else -1
    length = f"{round(run, digits):.{max(digits, 0)}f}"
    length = length.removesuffix(".0")
    return f"1:{length}{' uphill' if fall < 0 else ''} ({steep * 1000:.1f} mm/m)"


def _signed(text: str) -> str:
    """No minus before a number that has rounded to nought."""
    return text[1:] if text.startswith("-") and not text.strip("-0. ") else text


def word_mm(metres: float, *, digits: int = 0) -> str:
    """A length in m as millimetres.

    >>> word_mm(0.1523), word_mm(0.1523, digits=1), word_mm(-0.0001)
    ('152 mm', '152.3 mm', '0 mm')
    """
    return f"{_signed(f'{metres * 1000:.{digits}f}')} mm"


def word_level(metres: float, *, digits: int = 3) -> str:
    """A level or a staff reading in m, to the millimetre unless told otherwise.

    >>> word_level(10), word_level(9.9996, digits=2)
    ('10.000 m', '10.00 m')
    """
    return f"{_signed(f'{metres:.{digits}f}')} m"


def word_volume(cubic_metres: float) -> str:
    """A volume in m³ to two places, the third place being less than a bucket.

    >>> word_volume(3.456)
    '3.46 m³'
    """
    return f"{_signed(f'{cubic_metres:.2f}')} m³"


def word_area(square_metres: float) -> str:
    """An area in m² to one place.

    >>> word_area(29.7)
    '29.7 m²'
    """
    return f"{_signed(f'{square_metres:.1f}')} m²"


def html_table(frame: pd.DataFrame, *, index: bool = False, digits: int = 3) -> str:
    """A table as escaped HTML, floats to `digits` places, empty cells empty."""
    return str(frame.to_html(index=index, na_rep="", float_format=lambda number: _signed(f"{number:.{digits}f}"), border=0))
