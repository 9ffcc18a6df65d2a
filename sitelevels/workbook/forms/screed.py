"""What is asked of a screed, and what it comes to."""

from __future__ import annotations

from typing import Any

from ...design.workmanship import SCREEDS
from ..job import Job
from ..pads_page import PAD_FILES, save_pads
from .base import button, listed, paragraphs
from .parts import PartsForm


class ScreedForm(PartsForm):
    """Kind, thickness, fall and outlet of a screed; the floor and what stands against it follow."""

    terms = ("base", "cure", "fall", "gradient", "governs", "line", "outlet", "pad", "quarrel", "scabble", "screed")

    groups = (
        ("The screed", (("screed", "kind", "Kind of screed", tuple(SCREEDS)), ("screed", "least_mm", "At least, mm", ()),
                        ("screed", "most_mm", "At most, mm", ()), ("screed", "mix", "Cement, sand (parts)", ()))),
        ("Where the water goes", (("screed", "outlet", "Outlet: point or x, y", ()),
                                  ("screed", "edge", "Or a side: two points", ()),
                                  ("screed", "fall", "Fall of the flattest part", ()),
                                  ("screed", "steepest", "Steepest that may be", ()))),
        ("Setting out", (("screed", "line_m", "Level of the line, m", ()), ("screed", "pads_m", "From pad to pad, m", ()))))

    def part_of(self, job: Job) -> Any:
        return job.screeding

    def outcome(self, job: Job) -> str:
        found = job.screeding.found
        told = paragraphs(one for one in (found.sentence(), found.gained, *found.doubts) if one)
        fight = listed((*found.quarrel, *found.cures))
        return told + (f"<ul>{fight}</ul>" if fight else "")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.children = [*self.children[:-1], button("Write the pads to print", self.write)]

    def write(self) -> None:
        """Write pads.pdf and pads.csv for what is saved."""
        if self.attempt(self.typed) is not self.needed():
            self.refuse(("What is typed is not saved yet, and pads are written of what is saved. Press Save first.",))
            return
        folder = self.attempt(lambda: save_pads(self.needed()))
        if folder is not None:
            self.say(f"{' and '.join(PAD_FILES)} are written into {folder.parent.name}/sheet.")
