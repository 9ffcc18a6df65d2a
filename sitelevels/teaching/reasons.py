"""Why a number may have come out wrong: ways of working, each with the number that it gives."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ..survey.book import METRES_PER
from ..survey.linking import EXACT
from ..wording import digits_of, word_level, word_mm

# Two slips may give one number. What has too few decimals and fits is surely rounded. A wrong way of working with what stands
# beside the cell gives one or two numbers out of thousands, so that a match is hardly chance: it goes next. Then slips of the
# pen: digits of the result swapped (about three numbers), digits of a reading swapped (three), a figure carried wrongly (eight),
# one digit misread (36; what is out by one in one figure is likelier carried wrongly than misread). Last the numbers from
# elsewhere on the page: there are many, and few take them. The order is the judgement of those who wrote this, no source.
SURE, WAY, PEN, FAR, LAST = -1, 0, 1, 2, 3


@dataclass(frozen=True)
class Guess:
    """A slip of a kind, the number in m that it gives, and what is said of it.

    Slips with one `same` are one slip made again; "" is never the same. `rank` says how soon it is believed, 0 first; `reading`
    that the reading of this row was taken for another number, which the next row would show too.
    """

    kind: str
    value: float
    said: str
    same: str = ""
    rank: int = WAY
    reading: bool = False


@dataclass(frozen=True)
class Given:
    """A number in m that went into a sum, or stands beside it: what it is called, and the kind of slip that using it would be.

    `relation` says how it stands to the cell; `far` that it stands elsewhere on the page.
    """

    named: str
    value: float
    kind: str = ""
    relation: str = ""
    far: bool = False


@dataclass(frozen=True)
class Figures:
    """How numbers in m are written on a page in `unit`, and compared: to half of `digit`, in m."""

    unit: str = "m"
    digit: float = 0.001

    @property
    def places(self) -> int:
        """Digits behind the decimal point."""
        return next((places for places in range(7) if METRES_PER[self.unit] * 10.0**-places <= self.digit * 1.001), 7)

    @property
    def last(self) -> float:
        """The last digit that is written, in m."""
        return METRES_PER[self.unit] * 10.0**-self.places

    def near(self, one: float, other: float) -> bool:
        """Whether two numbers are the same as far as they are judged."""
        return abs(one - other) <= self.digit / 2 + EXACT

    def meant(self, wrote: float, rights: Sequence[float]) -> float:
        """The number as it was meant: in m where it is about one of these in mm, or the reverse in a book in mm."""
        other = {"m": wrote / 1000, "mm": wrote * 1000}.get(self.unit, wrote)
        about = (abs(other - right) <= abs(right) / (2 if abs(right) > 0.02 else 100) for right in rights if right)
        return other if any(about) and not any(self.near(wrote, right) for right in rights) else wrote

    def bare(self, value: float) -> str:
        """A number without its unit."""
        return word_level(value / METRES_PER[self.unit], digits=self.places).removesuffix(" m").replace("-", "−")

    def full(self, value: float) -> str:
        """A number with its unit."""
        return f"{self.bare(value)} {self.unit}"

    def amount(self, size: float) -> str:
        """A length of which the last digit matters, in words."""
        return self.full(size) if self.unit == "ft" or size >= 1 else word_mm(size, digits=0 if self.digit >= 0.001 else 1)

    def sum(self, one: float, other: float, *, minus: bool) -> str:
        """Two numbers with a + or a − between them."""
        return f"{self.bare(one)} {'−' if minus else '+'} {f'({self.bare(other)})' if other < 0 else self.bare(other)}"

    def swapped(self, result: float, wrote: float) -> bool:
        """Whether two neighbouring digits changed places."""
        apart = self._apart(result, wrote)
        return self._crossed(apart) and apart[1][0] == apart[0][0] + 1

    def copied(self, reading: float, taken: float) -> str:
        """How one reading was taken for another: "swapped", "misread", or "" where no single slip of the pen does it."""
        apart = self._apart(reading, taken)
        return "swapped" if self._crossed(apart) else "misread" if len(apart) == 1 else ""

    @staticmethod
    def _crossed(apart: list[tuple[int, str, str]]) -> bool:
        return len(apart) == 2 and apart[0][1:] == apart[1][:0:-1]

    def _apart(self, one: float, other: float) -> list[tuple[int, str, str]]:
        """Where the digits of two numbers of one sign differ, and those digits; none where either ends on no digit written."""
        first, second = (digits_of(value, self.last) for value in (one, other))
        loose = any(abs(abs(value) - int(digits) * self.last) > self.digit / 10
                    for value, digits in ((one, first), (other, second)))
        if loose or len(first) != len(second) or (one < 0) != (other < 0):
            return []
        return [(place, *pair) for place, pair in enumerate(zip(first, second, strict=True)) if pair[0] != pair[1]]


def of_sum(word: Figures, wrote: float, left: Given, right: Given, turned: Guess | None, *, minus: bool = False,
           lefts: Sequence[Given] = (), rights: Sequence[Given] = ()) -> Iterator[Guess]:
    """Ways to a wrong left + right, or left − right if `minus`: the sign `turned`, another number on either side, the pen."""
    side = -1 if minus else 1
    result = left.value + side * right.value
    if turned is not None:
        yield turned
    for first, second, one in (*((one, right, one) for one in lefts), *((left, one, one) for one in rights)):
        value = first.value + side * second.value
        if word.near(value, wrote):  # most are not, and wording them takes the time
            yield Guess(one.kind, value, f"you used {one.named}: {word.sum(first.value, second.value, minus=minus)}",
                        f"{one.kind} {one.relation}", FAR if one.far else WAY, second is one)
    if word.swapped(result, wrote):
        yield Guess("digits swapped", wrote, f"two digits changed places: the sum gives {word.full(result)}", rank=PEN)
    taken = [(right, side * (wrote - left.value), True), (left, wrote - side * right.value, False)]
    copies = [(word.copied(given.value, other),
               Guess("reading miscopied", wrote, f"you read {given.named} {word.bare(given.value)} as {word.bare(other)}",
                     rank=PEN, reading=here))
              for given, other, here in taken if given.kind == "reading"]
    yield from (guess for how, guess in copies if how == "swapped")
    whole = METRES_PER["ft"] if word.unit == "ft" else 1.0
    for size in (whole, whole / 10, whole / 100, whole / 1000):
        yield from (Guess("carry", result + step, f"it is out by exactly {word.amount(size)}: a figure carried wrongly", rank=PEN)
                    for step in (size, -size))
    yield from (guess for how, guess in copies if how == "misread")


def no_reason(word: Figures, wrote: float, result: float) -> Guess:
    """What is said where no simple slip gives the number written."""
    side = "high" if wrote > result else "low"
    return Guess("arithmetic", wrote, f"it is {word.amount(abs(wrote - result))} too {side}, which no simple slip gives")


def in_another_unit(unit: str, wrote: float, right: float) -> Iterator[Guess]:
    """A number in mm where one in m is asked for, or the reverse."""
    times, said = (1000, "mm") if unit == "m" else (0.001, "m")
    if unit in ("m", "mm") and abs(wrote / times - right) <= min(0.0005, abs(right) / 100) + EXACT:
        yield Guess("unit", wrote, f"that is in {said}, and {unit} are asked for", "unit")


def with_a_sign(text: str) -> Guess | None:
    """A minus before what stands under fall."""
    return Guess("column", 0.0, "a fall is written without a sign: its column says that it goes down",
                 "column") if text.strip().startswith(("-", "−")) else None


def of_any(word: Figures, wrote: float, right: float, text: str) -> Iterator[Guess]:
    """Ways to a wrong number whatever it is: rounded, surely so where too few decimals are written, or the other sign."""
    digits = digits_of(wrote, word.last)
    if digits.endswith("0") and abs(abs(wrote) - int(digits) * word.last) < word.last / 100 and (
            abs(wrote - right) <= 5 * word.last + EXACT):
        decimals = re.search(r"[.,](\d*)|$", text.strip())
        few = decimals is not None and len(decimals[1] or "") < word.places
        whole = word.unit != "ft" and 0.0009 < word.last < 0.0011
        said = ("to the centimetre: the millimetre is asked for" if whole else
                f"to {word.amount(10 * word.last)}: {word.amount(word.last)} is asked for")
        amount = word.amount(abs(wrote - right))
        yield (Guess("rounded", wrote, f"you rounded {said}", "rounded", SURE) if few else
               Guess("rounded", wrote, f"it is {amount} out, as if rounded {said}", "rounded"))
    yield Guess("sign", -right, "you lost the minus" if right < 0 else "there is a minus too much", "other sign")


def lost_sign(word: Figures, left: Given, right: Given, *, minus: bool) -> Guess:
    """The minus of a reading upside down, on the right of a sum, left out."""
    return Guess("sign", left.value + (right.value if minus else -right.value),
                 f"the staff was upside down, and you lost the minus: {word.sum(left.value, -right.value, minus=minus)}",
                 "sign", reading=True)


def of_hpc(word: Figures, wrote: float, level: Given, sight: Given, readings: Sequence[Given], levels: Sequence[Given],
           planes: Sequence[Given]) -> Iterator[Guess]:
    """Ways to a wrong HPC: other readings, levels, and HPCs of other set-ups in place of its own."""
    taken = Guess("backsight subtracted", level.value - sight.value,
                  f"you took {sight.named} off: {word.sum(level.value, sight.value, minus=True)}", "backsight subtracted")
    yield from of_sum(word, wrote, level, sight, lost_sign(word, level, sight, minus=False) if sight.value < 0 else taken,
                      lefts=[*planes, *levels], rights=readings)
    if sight.value < 0:
        yield taken  # a learner who takes every backsight off takes this one off
    yield from (Guess("other set-up", one.value, f"that is {one.named}: the instrument has been moved since", "other set-up ")
                for one in planes)


def of_level(word: Figures, wrote: float, plane: Given, sight: Given, readings: Sequence[Given],
             planes: Sequence[Given]) -> Iterator[Guess]:
    """Ways to a wrong level by height of collimation: other readings, HPCs of other set-ups."""
    added = Guess("added", plane.value + sight.value,
                  f"you added {sight.named}: {word.sum(plane.value, sight.value, minus=False)}", "added")
    yield from of_sum(word, wrote, plane, sight, lost_sign(word, plane, sight, minus=True) if sight.value < 0 else added,
                      minus=True, lefts=planes, rights=readings)
    if sight.value < 0:
        yield added  # a learner who adds every reading adds this one


def of_level_by_step(word: Figures, wrote: float, before: Given, step: float, levels: Sequence[Given]) -> Iterator[Guess]:
    """Ways to a wrong level by rise and fall, a fall being less than nought: other levels to begin from."""
    said = "took the rise off" if step > 0 else "added the fall"
    turned = Guess("wrong way", before.value - step,
                   f"you {said}: {word.sum(before.value, abs(step), minus=step > 0)}", "wrong way")
    move = Given("the rise" if step > 0 else "the fall", abs(step))
    yield from of_sum(word, wrote, before, move, turned if step else None, minus=step < 0, lefts=levels)


def of_step(word: Figures, wrote: float, before: Given, sight: Given, befores: Sequence[Given],
            readings: Sequence[Given]) -> Iterator[Guess]:
    """Ways to a wrong rise, or fall (less than nought): what may stand in place of the reading before, or of this one."""
    first, second = before.value, sight.value
    too_much = Guess("sign", first + second, f"you added the two readings: {word.sum(first, second, minus=False)}", "added both")
    lost = [lost_sign(word, before, sight, minus=True)] if second < 0 else []
    if first < 0:
        lost.append(Guess("sign", -first - second, "the staff was upside down in the row before, and you lost that minus: "
                          f"{word.sum(-first, second, minus=True)}", "sign"))
    turned = Guess("rise for fall", second - first, f"it is a {'rise' if first > second else 'fall'}: "
                   f"{word.sum(first, second, minus=True)} = {word.bare(first - second)}", "rise for fall")
    yield from lost
    if first != second:
        yield turned
    if lost:
        yield from (Guess("sign", value, "you left out the minus of readings upside down", "sign") for value in
                    (abs(first) - abs(second), abs(second) - abs(first)))
    yield from of_sum(word, wrote, before, sight, None if lost else too_much, minus=True, lefts=befores, rights=readings)
    if wrote * (first - second) > 0:  # a size, of which high and low are not said
        out = abs(wrote) - abs(first - second)
        yield Guess("arithmetic", wrote, f"it is {word.amount(abs(out))} too {'great' if out > 0 else 'small'}, "
                    "which no simple slip gives", rank=LAST)


def of_adjusted(word: Figures, wrote: float, level: Given, correction: float, others: Sequence[float],
                by_rows: float) -> Iterator[Guess]:
    """Ways to a wrong adjusted level: the level found, what it is corrected by, the corrections of other set-ups, or by rows."""
    if by_rows != correction:
        yield Guess("correction", level.value + by_rows, "the misclosure is shared out by set-ups, and you shared it by rows",
                    "correction other share")  # one way of working with that, where both give one number in a row
    turned = Guess("correction", level.value - correction,
                   f"the correction has the wrong sign: {word.sum(level.value, correction, minus=True)}", "wrong sign")
    shares = [Given("no correction", 0.0, "correction", "left out")]
    named = "the correction of another set-up" if correction else "a correction where none is due"
    shares += [Given(named, other, "correction", "other share") for other in others]
    yield from of_sum(word, wrote, level, Given("the correction", correction), turned if correction else None,
                      rights=[one for one in shares if one.value != correction])


def of_answer(unit: str, wrote: float, right: float) -> Iterator[Guess]:
    """Ways to a wrong length that a question asks for in `unit`, beside those that the question knows of."""
    yield Guess("sign", -right, "the sign is the other way round", "sign of an answer")
    yield from in_another_unit(unit, wrote, right)
    yield from of_sum(Figures(), wrote, Given("", right), Given("", 0.0), None)
