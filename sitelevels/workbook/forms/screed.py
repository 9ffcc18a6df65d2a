"""What is asked of a screed, and what it comes to."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ...design.asked import ROUNDING, corners_of
from ...design.brief_file import with_value
from ...design.workmanship import SCREEDS
from ...errors import SurveyError
from ...wording import word_mm
from ..job import Job
from ..pads_page import PAD_FILES, save_pads
from .base import button, listed, paragraphs, row
from .parts import PartsForm


class ScreedForm(PartsForm):
    """Kind, thickness, fall and outlet of a screed; the floor and what stands against it follow."""

    terms = ("base", "cure", "fall", "gradient", "governs", "line", "outlet", "pad", "quarrel", "scabble", "screed")

    groups = (
        ("The screed", (("screed", "kind", "Kind of screed", tuple(SCREEDS)), ("screed", "least_mm", "At least, mm", ()),
                        ("screed", "most_mm", "At most, mm", ()), ("screed", "higher_mm", "Lay it higher by, mm", ()),
                        ("screed", "on_top_mm", "Tile and bed on it, mm", ()),
                        ("screed", "mix", "Cement, sand (parts)", ()))),
        ("Where the water goes", (("screed", "outlet", "Outlet: point or x, y", ()),
                                  ("screed", "edge", "Or a side: two points", ()),
                                  ("screed", "fall", "Fall of the flattest part", ()),
                                  ("screed", "steepest", "Steepest that may be", ()))),
        ("Setting out", (("screed", "line_m", "Level of the line, m", ()), ("screed", "pads_m", "From pad to pad, m", ()))))

    def part_of(self, job: Job) -> Any:
        return job.screeding

    def outcome(self, job: Job) -> str:
        screed, found = job.screeding, job.screeding.found
        told = paragraphs(one for one in (found.sentence(), found.gained, screed.tried("higher_words"), screed.moved,
                                          *found.doubts) if one)
        fight = listed((*found.quarrel, *found.cures))
        return told + (f"<ul>{fight}</ul>" if fight else "")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.children = [*self.children[:-1], row(button("Save this floor as the finish", self.keep),
                                                  button("Write the pads to print", self.write))]

    def _unsaved(self) -> bool:
        """Whether something is typed that is not saved, and said so."""
        if self.attempt(self.typed) is self.needed():
            return False
        self.refuse(("What is typed is not saved yet, and this works on what is saved. Press Save first.",))
        return True

    def keep(self) -> None:
        """Write the floor into brief.toml as the finish that 6-laid holds the cured screed against."""
        if not self._unsaved() and self.change_brief(
                self._with_finish, "Saved as the finish: in 6-laid the cured screed is held against it."):
            self.told_again()

    def _with_finish(self) -> str:
        job = self.needed()
        text, floor = job.brief_text, job.screeding.found.finish
        for key, value in job.screeding.as_finish.items():
            text = with_value(text, "finish", 1, key, value)
        read = replace(job, brief_text=text).finish
        off = max(abs(float(read.level_at(x, y) - floor.level_at(x, y))) for x, y in corners_of(floor))
        if off > ROUNDING:
            raise SurveyError(f"read back, the floor would lie {word_mm(off, digits=1)} off this one",
                              rule="A finish is the floor that is poured.",
                              remedy="Nothing was saved: tell whoever looks after this workbook.")
        return text

    def write(self) -> None:
        """Write pads.pdf and pads.csv for what is saved."""
        if self._unsaved():
            return
        folder = self.attempt(lambda: save_pads(self.needed()))
        if folder is not None:
            self.say(f"{' and '.join(PAD_FILES)} are written into {folder.parent.name}/sheet.")
