"""Falls and lengths in and out of words. The only place that rounds."""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable
from decimal import Decimal
from html import escape
from typing import TYPE_CHECKING, Literal

from .errors import SurveyError, finite

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = r"([-+−]?\d*\.?\d+(?:[eE][-+]?\d+)?)"
_RATIO = re.compile(rf"^{_NUMBER}\s*(?::|in|/)\s*{_NUMBER}$", re.IGNORECASE)
_WITH_UNIT = re.compile(rf"^{_NUMBER}\s*(mm/m|cm/m|mm per m|cm per m|%|per ?cent|°|deg|degrees?|in/ft|in per ft)$", re.I)
_HYPHEN = re.compile(r"(?<![\w-])-(?=\d)")
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
    if not isinstance(text, str) or len(text) > 100:
        raise SurveyError(f"the fall {text!r:.60} is not in words", rule="A bare number could be 1:60 or 60 %.", remedy=_HOW)
    plain = re.sub(r"\(.*\)", "", text).strip().replace("−", "-")
    uphill = plain.lower().endswith("uphill")
    plain = plain[:-6].strip() if uphill else plain
    if uphill and re.search(r"(?<![eE])-", plain):
        raise SurveyError(f"the fall {text!r} has both a minus and 'uphill'", remedy="Use the one or the other.")
    if not uphill and "uphill" in text.lower():
        raise SurveyError(f"the fall {text!r} says 'uphill' in a remark", remedy="Write it behind the number, as in 1:60 uphill.")
    if plain.lower() in ("level", "flat", "none") and not uphill:
        return 0.0
    if ratio := _RATIO.match(plain):
        rise, run = (float(part) for part in ratio.groups())
        if not 0 < abs(run) < math.inf:
            raise SurveyError(f"the fall {text!r} has no length to fall over", remedy=_HOW)
        fall = rise / run
    elif measured := _WITH_UNIT.match(plain):
        number, unit = float(measured[1]), measured[2].lower()
        upright = unit not in _PER_METRE and abs(number) >= 90
        fall = math.inf if upright else number * _PER_METRE[unit] if unit in _PER_METRE else math.tan(math.radians(number))
    else:
        raise SurveyError(f"the fall {text!r} was not understood", remedy=_HOW)
    if not abs(fall) <= 1:
        raise SurveyError(f"the fall {text!r} is steeper than 1:1", rule="No paving is laid so steep.", remedy=_HOW)
    return -fall if uphill else fall


def word_fall(fall: float, *, never: Literal["flatter", "steeper"] | None = None) -> str:
    """A fall in m/m as "1:60 (16.7 mm/m)"; uphill is said in a word.

    `never` says to which side neither number must be rounded, where somebody is going to build to it. Refuses a `fall` that is
    not a finite number.

    Reason: three figures of a ratio and a tenth of a millimetre in a metre are as fine as paving can be laid.

    >>> word_fall(1 / 60), word_fall(-0.0125), word_fall(0)
    ('1:60 (16.7 mm/m)', '1:80 uphill (12.5 mm/m)', 'level (0.0 mm/m)')
    """
    fall = finite(fall, "the fall", "It must be a finite number in m/m.")
    steep = abs(fall)
    if steep < 0.00005 and (never != "flatter" or steep < 1e-9):
        return "level (0.0 mm/m)"
    run = 1 / steep
    digits = 1 if run < 100 else 0 if run < 1000 else -1 if run < 100_000 else -3
    scaled = run * 10**digits
    whole = round(scaled) if never is None else _down(scaled) if never == "flatter" else _up(scaled)
    length = f"{whole / 10**digits:.{max(digits, 0)}f}".removesuffix(".0")
    tenths = steep * 1e4
    tenths = tenths if never is None else _up(tenths) if never == "flatter" else _down(tenths)
    return f"1:{length}{' uphill' if fall < 0 else ''} ({_fixed(tenths / 10, 1)} mm/m)"


def word_change(size: float, unit: Literal["mm", "mm/m"]) -> str:
    """A change of a level (m) or of a fall (m/m) that somebody is going to make, rounded up to a tenth so that it is enough.

    >>> word_change(0.01234, "mm")
    '12.4 mm'
    """
    return f"{_up(size * 1e4) / 10:.1f} {unit}"


def _up(number: float) -> int:
    """The next whole number up, but for what the last digits add."""
    return math.ceil(number - 1e-6)


def _down(number: float) -> int:
    """The next whole number down, but for what the last digits take."""
    return math.floor(number + 1e-6)


def _fixed(number: float, digits: int) -> str:
    """A number to so many places, halves away from nought, with no minus where it has rounded to nought."""
    text = f"{number + math.copysign(1e-9, number):.{digits}f}"  # its last binary digits would send a half either way
    return text[1:] if text.startswith("-") and not text.strip("-0. ") else text


def true_minus(words: str) -> str:
    """Words with a true minus before their numbers, as a page of sums is set; the hyphens of words stay.

    >>> true_minus("-3 mm at CP-2")
    '−3 mm at CP-2'
    """
    return _HYPHEN.sub("−", words)


def word_mm(metres: float, *, digits: int = 0, never: Literal["more", "less"] | None = None) -> str:
    """A length in m as millimetres; `never` says to which side it must not be rounded.

    >>> word_mm(0.1523), word_mm(0.1523, digits=1), word_mm(-0.0001), word_mm(0.1523, never="less")
    ('152 mm', '152.3 mm', '0 mm', '153 mm')
    """
    scaled = metres * 1000 * 10**digits
    whole = scaled if never is None else _down(scaled) if never == "more" else _up(scaled)
    return f"{_fixed(whole / 10**digits, digits)} mm"


def word_distance(metres: float, *, never: Literal["less"] | None = None) -> str:
    """A distance in plan, in m to the centimetre; `never` less, where somebody is going to build that long.

    >>> word_distance(2.4), word_distance(2.401, never="less")
    ('2.40 m', '2.41 m')
    """
    return f"{_fixed(_up(metres * 100) / 100 if never == 'less' else metres, 2)} m"


def word_place(x: float, y: float) -> str:
    """A place in plan, in m, to the millimetre where that is needed.

    >>> word_place(450000.25, 3.0)
    'x 450000.25 y 3'
    """
    plain = [_fixed(value, 3).rstrip("0").rstrip(".") for value in (x, y)]
    return f"x {plain[0]} y {plain[1]}"


def word_number(value: float, *, figures: int = 6) -> str:
    """A plain number of so many significant figures, without superfluous noughts.

    >>> word_number(150.0), word_number(1 / 80)
    ('150', '0.0125')
    """
    text = f"{value:.{figures}g}"
    return f"{float(text):.12f}".rstrip("0").rstrip(".") if "e" in text else text


def tidy(value: float) -> float:
    """A figure to three significant digits, as somebody would type it: 0.577 for 0.57735."""
    return float(f"{value:.3g}")


def word_exactly(metres: float, per: float, *, digit: float = 0.0) -> str:
    """A length in m as a file holds it, in the unit that is `per` m long, so that reading it back gives the same number.

    `digit`, in m, is the last digit that is to be shown, if only as a nought.

    >>> word_exactly(0.3048 * 4.2, 0.3048), word_exactly(10.1, 1.0, digit=0.01)
    ('4.2', '10.10')
    """
    number = metres / per
    short = next((near for places in range(13) if (near := round(number, places)) * per == metres), number)
    places = max(len(repr(short).partition(".")[2]) if short % 1 else 0, round(-math.log10(digit / per)) if digit else 0)
    return f"{short:.{places}f}" if "e" not in repr(short) else f"{Decimal(repr(short)):f}"


def as_booked(metres: float, per: float) -> float:
    """A length in m without the binary digits that a sum has added to it: as read from a book whose unit is `per` m long."""
    return round(metres / per, 9) * per


def last_digit(lengths: Iterable[float], per: float) -> float:
    """The last digit in m to which lengths in m are written in a unit that is `per` m long, 0.001 of it at the coarsest.

    >>> last_digit([1.25, 1.364], 1.0)
    0.001
    """
    numbers = [length / per for length in lengths]
    places = next((places for places in range(3, 7) if all(abs(one - round(one, places)) < 1e-9 for one in numbers)), 6)
    return per * 10.0**-places if per in (1.0, 0.3048) else 0.001


def digits_of(length: float, digit: float) -> str:
    """The digits of a length, its sign apart, down to `digit`, both in the same unit; a nought before them if it is short.

    >>> digits_of(-0.364, 0.001), digits_of(12.5, 0.01)
    ('0364', '1250')
    """
    return f"{abs(length) / digit:.0f}".zfill(4)


def word_share(share: float, *, never: Literal["less"] | None = None) -> str:
    """A share of one as whole per cent; `never` less, where it is said to be the most.

    >>> word_share(0.123), word_share(0.123, never="less")
    ('12%', '13%')
    """
    return f"{_up(share * 100) if never == 'less' else share * 100:.0f}%"


def word_chance(chance: float) -> str:
    """A chance in per cent, never said to be sure.

    >>> word_chance(0.5), word_chance(0.9996), word_chance(0.0)
    ('50%', 'over 99%', 'under 1%')
    """
    return "under 1%" if chance < 0.01 else "over 99%" if chance > 0.99 else f"{chance * 100:.0f}%"


def word_times(ratio: float) -> str:
    """How many times, to a whole number from 10 up and to one place below.

    >>> word_times(6.04), word_times(24.4)
    ('6', '24')
    """
    return f"{ratio:.{0 if ratio >= 10 else 1}f}".removesuffix(".0")


def word_angle(degrees: float) -> str:
    """An angle in whole degrees.

    >>> word_angle(44.7)
    '45°'
    """
    return f"{degrees:.0f}°"


def word_level(metres: float, *, digits: int = 3) -> str:
    """A level or a staff reading in m, to the millimetre unless told otherwise.

    >>> word_level(10), word_level(9.9996, digits=2)
    ('10.000 m', '10.00 m')
    """
    return f"{_fixed(metres, digits)} m"


def whole_mm(metres: float) -> float:
    """A level or length in m moved to the nearest whole millimetre.

    >>> whole_mm(10.0694999)
    10.069
    """
    return round(metres * 1000) / 1000


def whole_cm(metres: float) -> float:
    """A place in m moved to the nearest centimetre, as a tape is read.

    >>> whole_cm(1.2345)
    1.23
    """
    return round(metres * 100) / 100


def word_twenty(share: float) -> str:
    """A share of one as so many of twenty.

    >>> word_twenty(0.94)
    '19'
    """
    return f"{share * 20:.0f}"


def word_volume(cubic_metres: float) -> str:
    """A volume in m³ to two places, the third place being less than a bucket.

    >>> word_volume(3.456)
    '3.46 m³'
    """
    return f"{_fixed(cubic_metres, 2)} m³"


def word_area(square_metres: float) -> str:
    """An area in m² to one place.

    >>> word_area(29.7)
    '29.7 m²'
    """
    return f"{_fixed(square_metres, 1)} m²"


def whole_up(number: float) -> int:
    """Whole things to fetch or buy: rounded up, but for what the last binary digits add.

    >>> whole_up(3.2), whole_up(3.0000000001)
    (4, 3)
    """
    return math.ceil(number - 1e-9 * max(1.0, abs(number)))


def word_flow(cubic_metres_a_second: float) -> str:
    """A flow in m³/s as litres a second.

    >>> word_flow(0.00056)
    '0.56 l/s'
    """
    return f"{_fixed(cubic_metres_a_second * 1000, 2)} l/s"


def word_rate(metres_a_second: float) -> str:
    """How fast ground takes water, m/s, as mm/h with the same in m/s beside it.

    >>> word_rate(2.5e-5)
    '90 mm/h (2.5e-05 m/s)'
    """
    return f"{word_number(metres_a_second * 3.6e6, figures=2)} mm/h ({metres_a_second:.1e} m/s)"


def word_time(seconds: float) -> str:
    """A time in s as minutes, below two minutes in s, from two hours up as hours.

    >>> word_time(2220), word_time(18720)
    ('37 min', '5.2 h')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def word_mass(kilograms: float) -> str:
    """A mass in kg as tonnes, below a tenth of one in kg.

    >>> word_mass(4280), word_mass(25)
    ('4.28 t', '25 kg')
    """
    return f"{kilograms / 1000:.2f} t" if kilograms >= 100 else f"{kilograms:.0f} kg"


def word_money(amount: float) -> str:
    """An amount of money, whatever the money is.

    >>> word_money(1234.5)
    '1234.50'
    """
    return f"{amount:.2f}"


def word_between(low: float, likely: float, high: float, word: Callable[[float], str]) -> str:
    """The likeliest value in words, with its ends in brackets where they differ as shown.

    >>> word_between(1.5, 2.0, 2.5, word_volume), word_between(2.0, 2.0, 2.0, word_volume)
    ('2.00 m³ (1.50 to 2.50 m³)', '2.00 m³')
    """
    least, middle, most = word(low), word(likely), word(high)
    unit = most.rpartition(" ")[2]
    return middle if least == most else f"{middle} ({least.removesuffix(f' {unit}')} to {most})"


class InWords(ABC):
    """A result that is shown by its `words`."""

    @property
    @abstractmethod
    def words(self) -> str:
        """What the result says, in sentences."""

    def __repr__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.words)}</p>"


def html_table(frame: pd.DataFrame, *, index: bool = False, digits: int = 3, words: bool = False) -> str:
    """A table as escaped HTML, floats to `digits` places, empty cells empty; `words` ranges it left."""
    html = str(frame.to_html(index=index, na_rep="", float_format=lambda number: _fixed(number, digits), border=0))
    style = f"style='padding:1px 8px;text-align:{'left' if words else 'right'}'"
    return html.replace("<td>", f"<td {style}>").replace("<th>", f"<th {style}>")


def text_table(frame: pd.DataFrame, *, digits: int = 3) -> str:
    """A table as plain text, floats to `digits` places."""
    return str(frame.to_string(index=False, float_format=lambda number: _fixed(number, digits)))
