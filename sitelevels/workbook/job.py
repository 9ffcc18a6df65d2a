"""Job folders: opening, starting and saving them without losing anything."""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ..design.brief import Brief
from ..design.brief_file import brief_of, read_brief
from ..design.budget import ErrorBudget
from ..design.budget_file import budget_of, headings_of
from ..design.check import SurfaceVerdicts, check_finish
from ..design.choice import Choice, Choosing
from ..design.edges import AGAINST
from ..design.finish_file import chosen_by_hand, chosen_finish, chosen_shape, words_of
from ..design.propagation import LevelErrors
from ..design.published import LIMITS
from ..design.section import Section, cut_section
from ..design.sensitivity import Sensitivity, sensitivity
from ..design.solve import Solution
from ..design.unasked import Unasked, unasked
from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.shapes import OnePlane, Shape
from ..survey.book import GROUND_FEATURES, LevelBook, Row
from ..survey.reading import read_book
from ..survey.reduction import ReducedLevels, reduce_book
from ..survey.tape import places_from_ties
from ..wording import word_fall, word_level, word_place, word_volume
from ..works.earthworks import Earthworks, cut_and_fill
from ..works.setout import PegTable
from .as_built import AsBuilt
from .outdoor import Outdoor
from .saving import as_written, save_texts
from .screeding import Screeding

DEMONSTRATION, SCREEDED = "pottery-yard", "seed-store"
DEMONSTRATIONS = (DEMONSTRATION, SCREEDED)


@dataclass(frozen=True, eq=False)
class Job:
    """A job folder as it was when opened; what it leads to (in m, m², m³) is worked out when asked for.

    `brief_text`, `survey_text` and, where they are there, `ties_text` and `laid_text` are its files as read. Every other
    attribute may raise SurveyError.
    """

    folder: Path
    brief_text: str
    survey_text: str
    ties_text: str = ""
    laid_text: str = ""

    @cached_property
    def told(self) -> dict[str, Any]:
        """The parts of brief.toml."""
        return read_brief(self.brief_text)

    @property
    def name(self) -> str:
        """What the job is called."""
        return str(self._part("job").get("name") or self.folder.name)

    @property
    def invented(self) -> bool:
        """Whether the job is marked as a made-up example."""
        return bool(self._part("job").get("invented", False))

    def _part(self, name: str) -> dict[str, Any]:
        return dict(self.told.get(name, {}))

    def read(self, text: str, part: str = "survey") -> LevelBook:
        """A text of a book in the unit that a part of the brief names, else in that of the first survey."""
        unit = self._part(part).get("unit", self._part("survey").get("unit", "m"))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)  # they are kept as book.doubts, and shown by the forms
            return read_book(text + "\n", unit=unit)

    def reduce(self, book: LevelBook, allowable: Any = None) -> ReducedLevels:
        """A book reduced, a misclosure shared out as the brief says."""
        adjust = self._part("survey").get("adjust", "setups")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)  # kept as reduced.doubts
            return reduce_book(book, adjust=None if adjust == "none" else adjust, allowable=allowable)

    @cached_property
    def book(self) -> LevelBook:
        """The level book."""
        book = self.read(self.survey_text)
        if not self.ties_text.strip():
            return book
        places = {row.point: (row.x, row.y) for row in book.rows if row.x is not None and row.y is not None}
        return book.with_places(places_from_ties(self.ties_text, places))

    @cached_property
    def reduced(self) -> ReducedLevels:
        """Its reduced levels."""
        survey = self._part("survey")
        return self.reduce(self.book, survey["allowable_mm"] / 1000 if "allowable_mm" in survey else survey.get("allowance"))

    @cached_property
    def ground_spots(self) -> pd.DataFrame:
        """The spots that make the ground: those with a place that are ground, corners or not marked otherwise."""
        spots = self.reduced.spots()
        return spots[spots["feature"].isin(GROUND_FEATURES) & spots["x"].notna()].reset_index(drop=True)

    @cached_property
    def ground(self) -> Ground:
        """The ground as it is."""
        spots = self.ground_spots
        breaks = self._part("survey").get("breaks", ())
        return Ground(spots["x"], spots["y"], spots["level"], points=spots["point"], breaks=breaks)

    @cached_property
    def _briefed(self) -> tuple[Brief, tuple[str, ...]]:
        with warnings.catch_warnings(record=True) as doubts:
            warnings.simplefilter("always", SurveyWarning)
            brief = brief_of(self.told, self.reduced)
        return brief, tuple(dict.fromkeys(str(doubt.message) for doubt in doubts))

    @property
    def brief(self) -> Brief:
        """What the finished surface must do."""
        return self._briefed[0]

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences on what is possible but questionable in the book and the brief."""
        return (*self.reduced.doubts, *self.book.doubts, *self.brief_doubts)

    @property
    def unasked(self) -> tuple[Unasked, ...]:
        """Marks that were read and that no demand speaks of; a screed has its demands elsewhere."""
        return () if self.screeding.there else unasked(self.brief, self.reduced.spots())

    @property
    def brief_doubts(self) -> tuple[str, ...]:
        """Sentences on what is possible but questionable in the brief, marks that no demand speaks of among them."""
        return (*self._briefed[1], *(one.words for one in self.unasked))

    @property
    def wall_name(self) -> str:
        """The wall that the surface chosen by hand is measured from: the one named in [finish], else the first."""
        if not self.brief.walls:
            raise SurveyError("the brief has no wall", remedy="This job is a screed: go on in notebook 7-screed."
                              if self.screeding.there else "Add one under [[wall]] in brief.toml.")
        return str(self._part("finish").get("wall", self.brief.walls[0].name))

    @property
    def choice(self) -> tuple[float, float, float]:
        """The surface chosen by hand: level at the wall's first end (m), fall away from it and along it (m/m)."""
        if "level_at_wall_m" not in (finish := self._part("finish")) and self.screeding.there:
            raise SurveyError("no finish is saved", remedy="Press *Save this floor as the finish* in 7-screed first.")
        return chosen_by_hand(finish)

    @property
    def start(self) -> tuple[float, float, float]:
        """The surface chosen by hand, or one to begin from: 150 mm below the DPC at the wall, falling 1:60."""
        if "level_at_wall_m" in self._part("finish"):
            return self.choice
        wall = self.brief.wall(self.wall_name)
        return wall.dpc_at(self.brief.stations(wall)[0]) - LIMITS["clearance"].value, 1 / 60, 0.0

    def laid_open(self) -> Choice:
        """The choice of one plane with the fall along the wall of `start`."""
        level, away, along = self.start
        return Choosing(self.brief, self.ground, self.wall_name).about(along, [(level, away)])

    def compared(self, solution: Solution) -> str:
        """A solved surface against the one that was chosen, in a sentence."""
        if self.screeding.there:
            return "This job is a screed: its floor is set in notebook 7-screed, and this one knows nothing of the base."
        if solution.volume is None:
            return "There is no such surface to compare with the one that is saved."
        try:
            saved, failed, close = self.earthworks.cut + self.earthworks.fill, self.verdicts.failed, self.verdicts.too_close
        except SurveyError:
            return "No surface is saved yet."
        met = f"breaks {failed} of the demands" if failed else f"leaves {close} of the demands too close to call" if close else \
            "meets every demand"
        less = saved - solution.volume
        return (f"The surface that is saved {met} and moves {word_volume(saved)}; this one moves {word_volume(solution.volume)}, "
                f"which is {word_volume(abs(less))} {'less' if less >= 0 else 'more'}.")

    def finish_of(self, level: float, away: float, along: float) -> Finish:
        """The plane with that level (m) at the first end of the wall and those falls away from and along it (m/m)."""
        return Finish.plane(self.brief.plane_from(self.wall_name, level, away=away, along=along), self.brief.area)

    @cached_property
    def shape(self) -> Shape:
        """The shape of the surface that was chosen."""
        return chosen_shape(self._part("finish"), self.place_of)

    @property
    def by_hand(self) -> bool:
        """Whether that is one plane set by the sliders."""
        return isinstance(self.shape, OnePlane) and self._part("finish").get("shape") != "side"

    @cached_property
    def finish(self) -> Finish:
        """The finished surface that was chosen."""
        return self.finish_of(*self.choice) if self.by_hand else chosen_finish(self._part("finish"), self.brief, self.place_of)

    @property
    def finish_words(self) -> str:
        """The finished surface that was chosen, in a sentence."""
        if self.by_hand:
            level, away, along = self.choice
            return f"{word_level(level)} at the first end of the {self.wall_name}; it {self.falls_words(away, along)}."
        return words_of(self.shape, self.finish, self._part("finish"), self.name_of)

    def falls_words(self, away: float, along: float) -> str:
        """How one plane falls (m/m) away from its wall and along it, the wall's ends by name."""
        wall, said = self.brief.wall(self.wall_name), [word_fall(abs(fall)) for fall in (away, along)]
        ways = [f"{'lies' if words.startswith('level') else 'rises' if fall < 0 else 'falls'} {words}"
                for fall, words in zip((away, along), said, strict=True)]
        return f"{ways[0]} away from the wall and {ways[1]} along it, from {self.name_of(*wall.first)} towards " \
               f"{self.name_of(*wall.second)}"

    def name_of(self, x: float, y: float) -> str:
        """The point that was read at a place (m), a corner rather than another; the place itself if none was within 50 mm."""
        spots = self.reduced.spots().dropna(subset=["x", "y"])
        near = spots[np.hypot(spots["x"] - x, spots["y"] - y) <= AGAINST]
        near = near.sort_values("feature", key=lambda feature: feature != "corner", kind="stable")
        return word_place(x, y) if near.empty else str(near["point"].iloc[0])

    def place_of(self, point: str) -> tuple[float, float]:
        """Where a named point stands."""
        spots = self.reduced.spots()
        here = spots[(spots["point"] == point) & spots["x"].notna()]
        if here.empty:
            raise SurveyError(f"the point {point!r} was not read, or has no x and y", rule="Points are named as in the book.")
        return float(here["x"].iloc[0]), float(here["y"].iloc[0])

    def variant(self, name: str) -> Brief:
        """The brief with the demands of a [[variant]] of brief.toml in place of those of the same kind."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)  # kept as doubts of the brief itself
            must_be(name, str, "the name of the variant")
            return brief_of(self.told, self.reduced, name)

    @cached_property
    def budget(self) -> ErrorBudget:
        """How far anything may be out: what [errors] says, else the tests of the instrument, else the usual figures."""
        return budget_of(self.told)

    @cached_property
    def errors(self) -> LevelErrors:
        """What the budget does to the levels of the book."""
        return self.budget.errors(self.reduced, headings=headings_of(self.told))

    @property
    def ground_fall(self) -> str:
        """The fall of the plane that fits the ground best, away from the first wall, and how sure it is, in a sentence."""
        fit = self.errors.plane_fit()
        way = self.brief.outward(self.brief.walls[0]) if self.brief.walls else fit.plane.direction
        from scipy.special import stdtrit
        fall, give = fit.plane.fall_towards(*way), float(stdtrit(max(len(fit.x) - 3, 1), 0.975)) * fit.fall_sd(*way)
        where = f"Away from the {self.brief.walls[0].name}" if self.brief.walls else "The steepest way"
        return (f"{where} the ground as a whole falls {word_fall(fall)}; "
                f"19 times of 20 it lies between {word_fall(fall - give)} and {word_fall(fall + give)}.")

    @property
    def counted(self) -> LevelErrors | None:
        """The errors that verdicts count: None where brief.toml has no part [errors]."""
        return self.errors if "errors" in self.told else None

    @cached_property
    def verdicts(self) -> SurfaceVerdicts:
        """Whether it does what the brief demands, errors counted where the job has an error budget."""
        return check_finish(self.finish, self.brief, budget=self.counted)

    @cached_property
    def sensitivity(self) -> Sensitivity:
        """What moves each verdict, with the job's own errors or the usual ones."""
        return sensitivity(check_finish(self.finish, self.brief, budget=self.errors), ground=self.ground)

    def reread(self, point: str, reading: float) -> Job:
        """The job as it would be with one more reading (m) on a point, from the last set-up; nothing is written."""
        must_be(point, str, "the point")
        about, rows = self.reduced.about.get(point), list(self.book.rows)
        if about is None:
            raise SurveyError(f"the point {point!r} was not read", rule="It is a point of the book that is read again.")
        row = Row(0, point, is_=finite(reading, "the reading", "It is in m."), **about)
        rows.insert(len(rows) - (rows[-1].fs is not None), row)  # before a closing foresight, after which the set-up is over
        again = tuple(replace(one, number=number) for number, one in enumerate(rows, start=1))
        return replace(self, survey_text=replace(self.book, rows=again).text)

    @cached_property
    def earthworks(self) -> Earthworks:
        """Cut and fill down to the formation of the surface chosen by hand."""
        return self.earthworks_of(self.finish)

    @cached_property
    def outdoor(self) -> Outdoor:
        """Digging, materials, units and water of the surface that was chosen."""
        return Outdoor(self)

    @cached_property
    def as_built(self) -> AsBuilt:
        """What was laid, held against what was asked."""
        return AsBuilt(self)

    @cached_property
    def screeding(self) -> Screeding:
        """A screed on its ground as the base."""
        return Screeding(self)

    def earthworks_of(self, finish: Finish) -> Earthworks:
        """Cut and fill down to the formation of any finished surface."""
        return cut_and_fill(self.ground, finish.lowered(self.brief.build_up), self.brief.area)

    def section(self, finish: Finish | None = None, along: float | None = None) -> Section:
        """The section square to the wall, at the middle of the paving that lies against it unless told where (m)."""
        stations = self.brief.stations(self.brief.wall(self.wall_name))
        middle = (stations[0] + stations[-1]) / 2
        return cut_section(self.brief, finish or self.finish, self.ground, self.wall_name, middle if along is None else along)

    @property
    def benchmark(self) -> str:
        """The point that the instrument is set up on for setting out: the one in the brief, else the first known point."""
        told = self._part("setting_out").get("benchmark")
        if not told and not self.book.known:
            raise SurveyError("no benchmark is named and no level is known", where="brief.toml, [setting_out]")
        return str(told or next(iter(self.book.known)))

    def pegs(self, backsight: float | None = None) -> PegTable:
        """Peg readings for a backsight in m on the benchmark; the one in the brief if not given."""
        return self.outdoor.pegs(backsight)

    def is_as_on_disk(self) -> bool:
        """Whether the files that a form changes are still as they were read."""
        return all((self.folder / name).is_file() and (self.folder / name).read_bytes() in as_written(text)
                   for name, text in (("brief.toml", self.brief_text), ("survey.csv", self.survey_text),
                                      *([("laid.csv", self.laid_text)] if self.laid_text else [])))

    def saved(self, *, brief_text: str | None = None, survey_text: str | None = None, laid_text: str | None = None) -> Job:
        """Write changed files into the folder and open it again; the versions before are kept beside them.

        Raises SurveyError, overwriting nothing, if a file has changed since this job was opened; the new versions are then
        kept beside it. All of them are written or none is; a process that is killed on the way may leave one new and one old.
        """
        if brief_text is not None:
            read_brief(brief_text)
        save_texts([(self.folder / name, before, text) for name, before, text in (
            ("brief.toml", self.brief_text, brief_text), ("survey.csv", self.survey_text, survey_text),
            ("laid.csv", self.laid_text, laid_text))
            if text is not None and text != before])
        return open_job(self.folder)


def read_file(path: Path) -> str:
    """The text of a job's file. Raises SurveyError where it is a link, missing, or no text in UTF-8."""
    if path.is_symlink() or not (path.is_file() or not path.exists()):
        raise SurveyError(f"{path.name} is a link to elsewhere, or no file", where=path.parent.name,
                          rule="A job folder holds its files itself.")
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SurveyError(f"{path.name} is not plain text in UTF-8", where=path.parent.name,
                          remedy="Save it as 'CSV UTF-8' or as plain text.") from None
    except OSError:
        raise SurveyError(f"the file {path.name} is missing or cannot be opened", where=f"job folder {path.parent.name}",
                          rule="A job folder holds brief.toml and survey.csv.",
                          remedy="Check the folder, or start a job in notebook 0-start.") from None


def open_job(folder: str | Path) -> Job:
    """A job from its `folder`. Its files are read at once, what they lead to (in m, m², m³) when it is asked for.

    Raises SurveyError where the folder, brief.toml or survey.csv is missing, is a link, or cannot be read.

    >>> open_job("data/nowhere")
    Traceback (most recent call last):
    sitelevels.errors.SurveyError: There is no job folder 'nowhere'. Check the spelling, or start a job in notebook 0-start.
    """
    must_be(folder, (str, Path), "the job folder")
    try:
        place = Path(folder).resolve()
        there = place.is_dir()
    except (OSError, ValueError, RuntimeError):  # a name that no file can have, or a link that leads to itself
        there, place = False, Path(str(folder).encode(errors="replace").decode())
    if not there:
        raise SurveyError(f"there is no job folder {place.name!r}",
                          remedy="Check the spelling, or start a job in notebook 0-start.")
    ties, laid = (read_file(path) if os.path.lexists(path) else "" for path in (place / "ties.csv", place / "laid.csv"))
    job = Job(place, read_file(place / "brief.toml"), read_file(place / "survey.csv"), ties, laid)
    job.told  # noqa: B018 - a brief that cannot be read is refused now
    return job
