"""Pictures of results. Each takes a result, draws it, says in one line what it shows, and returns its Axes."""

from .choice import choice
from .earth import earthworks
from .falls import falls
from .ground import plan, residuals
from .section import section
from .sensitivity import sensitivity, shot_plan
from .style import in_words

__all__ = ["choice", "earthworks", "falls", "in_words", "plan", "residuals", "section", "sensitivity", "shot_plan"]
