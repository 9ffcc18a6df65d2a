"""What an attack tried and what came back: counted, timed, and everything that was no sentence kept."""

from __future__ import annotations

import math
import re
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sitelevels import SurveyError, SurveyWarning

SHORTEST = 20  # signs: a refusal tells what, where, the rule and what to do, which takes more


class SlippedError(AssertionError):
    """Something was taken that should not have been, or lost."""


@dataclass
class Ledger:
    """The row of one attack."""

    attack: str
    seed: int | None = None
    tries: int = 0
    refused: int = 0
    warned: int = 0
    taken: int = 0
    unhandled: list[str] = field(default_factory=list)
    longest: float = 0.0
    slowest: str = ""
    note: str = ""

    def fail(self, what: str, how: str) -> None:
        """Keep a failure, each kind once, with the first input that showed it."""
        if not any(how == kept.partition(" <- ")[0] for kept in self.unhandled):
            self.unhandled.append(f"{how} <- {what[:300]}")

    def attempt(self, what: str, act: Callable[[], Any]) -> Any:
        """One try: what `act` gives, None where it is refused in sentences; anything else is kept as a failure."""
        self.tries += 1
        started = time.process_time()
        result = None
        with warnings.catch_warnings(record=True) as heard:
            warnings.simplefilter("always")
            try:
                result = act()
            except SurveyError as error:
                self.refused += 1
                for fault in unsaid(error):
                    self.fail(what, f"no sentence: {fault!r}")
            except SlippedError as error:
                self.fail(what, f"slipped through: {error}")
            except Exception as error:
                self.fail(what, f"{type(error).__name__} in {place_of(error)}: {str(error)[:120]}")
            else:
                self.taken += 1
        took = time.process_time() - started
        if took > self.longest:
            self.longest, self.slowest = took, what[:200]
        doubts = [one for one in heard if issubclass(one.category, SurveyWarning)]
        self.warned += bool(doubts)
        for one in heard:
            if one not in doubts and not issubclass(one.category, (DeprecationWarning, ResourceWarning)):
                self.fail(what, f"{one.category.__name__}: {str(one.message)[:120]}")
        return result


def unsaid(error: SurveyError) -> Iterator[str]:
    """The problems of a refusal that are no sentence that tells anything."""
    if not error.problems:
        yield ""
    for problem in error.problems:
        if not problem.endswith((".", "?", "!")) or len(problem) <= SHORTEST or re.search(r"Traceback", problem):
            yield problem[:300]


def place_of(error: BaseException) -> str:
    """The last line of the package that an exception went through."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "sitelevels/" in frame.filename and "/tests/" not in frame.filename]
    frame = (ours or frames)[-1]
    return f"{frame.filename.rpartition('sitelevels/')[2]}:{frame.lineno} {frame.name}"


def sound(value: Any, name: str = "result", *, depth: int = 4) -> None:
    """Refuse nan and infinity anywhere in a result: numbers, arrays, tables, lists and dataclasses."""
    import numpy as np
    import pandas as pd

    if depth < 0 or value is None or isinstance(value, (str, bytes, bool)):
        return
    if isinstance(value, (float, int, complex, np.number)):
        if isinstance(value, (complex, np.complexfloating)) or not math.isfinite(value):
            raise SlippedError(f"{name} is {value!r}")
    elif isinstance(value, np.ndarray):
        if value.dtype.kind == "c" or (value.dtype.kind == "f" and not np.isfinite(value).all()):
            raise SlippedError(f"{name} holds what is no finite number")
    elif isinstance(value, pd.DataFrame):
        numbers = value.select_dtypes("number").to_numpy(float)
        if np.isinf(numbers).any():
            raise SlippedError(f"{name} holds infinity")  # nan stands for an empty cell of a table
    elif isinstance(value, dict):
        for key, one in value.items():
            if key == "u":  # nan where nothing is said of errors
                continue
            sound(one, f"{name}[{key!r}]", depth=depth - 1)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for one in list(value)[:2000]:
            sound(one, name, depth=depth - 1)
    elif hasattr(value, "__dataclass_fields__"):
        for key in value.__dataclass_fields__:
            if key == "freedom":  # degrees of freedom: without end where nothing was estimated
                continue
            sound(getattr(value, key), f"{name}.{key}", depth=depth - 1)


@contextmanager
def quiet() -> Iterator[None]:
    """Doubts pass, any other warning is an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        yield
