"""Pictures of results. Each takes a result, draws it, says in one line what it shows, and returns its Axes.

`ax` is where it is drawn: axes of a page, or None for a figure of its own. `in_words` gives the line.
"""

from .catchment import catchments
from .choice import choice
from .earth import earthworks
from .falls import falls
from .ground import plan, residuals
from .laid import laid, straightedge
from .lesson import staffs
from .screed import screed
from .section import section
from .sensitivity import sensitivity, shot_plan
from .style import in_words
from .units import units
from .water import puddle_chance, puddles

__all__ = ["catchments", "choice", "earthworks", "falls", "in_words", "laid", "plan", "puddle_chance", "puddles", "residuals",
           "screed", "section", "sensitivity", "shot_plan", "staffs", "straightedge", "units"]
