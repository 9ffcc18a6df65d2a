"""How to run the exercise outdoors with twelve people and one instrument, on a page, and the field book to take along."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from ..survey.book import ALLOWANCES
from ..survey.reduction import SAME_SPOT
from ..wording import word_mm
from .exercise_page import book_columns, checks_to_fill
from .figures import style
from .paper import BY_HAND, LEFT, RIGHT, RULED, TALL, WIDE, Column, Paper

_ORDINARY = ALLOWANCES["ordinary"]
FOOT = "The yard is invented. Local rules, the rules of the site and the tutor's own risk assessment decide."

_BRING = ("A level, or a laser with its detector, on a tripod; one staff with a bubble; a tape; chalk; pencils; a board to "
          "clip the field book on.", "Boots, gloves, bright vests; cones or barriers; a big umbrella and a dry "
          "cloth for the instrument; a phone and the first-aid box.", "Printed: the field book "
          "(page 2) twice for each group; the two exercises behind it, for those who wait, once for each; answers.pdf has them "
          "last.")

_TIMES = ("160 min in all: 20 min to look round, say the cautions, chalk the benchmark and the spots, and show one set-up; four "
          "rounds of 30 min; 20 min to compare. Beginners need longer (a rule of thumb, no source).")

_ROUNDS = (("A", "reads", "checks", "knock", "two pegs"), ("B", "two pegs", "reads", "checks", "knock"),
           ("C", "knock", "two pegs", "reads", "checks"), ("D", "checks", "knock", "two pegs", "reads"))
_GROUPS = (Column("0", "group of 3\n", 22.0, words=True),
           *(Column(str(number), f"round {number}\nfrom {30 * number - 10} min", 40.0, words=True) for number in range(1, 5)))

_JOBS = ("reads: one at the instrument, one holds the staff, one books. They change over at each of the three set-ups, so that "
         "each does each job once.",
         "checks: one books a second time beside the instrument and says where the two books differ; one watches the staff "
         "(upright, foot clean, same spot); one reduces the book as it grows, and adds up.",
         "knock: on paper, the exercise that ends in 901. The instrument was knocked on the way: which check shows it?",
         "two pegs: on paper, the exercise that ends in 902. May this instrument be used for sights of unequal length?")

_LOOP = ("On the plan circles are set-ups, full lines backsights, dashed lines foresights. Set-up 1: backsight BM, "
         "intermediate sights S1 and S2, foresight CP1. Set-up 2: backsight CP1, S3 and S4, CP1 once more before the instrument "
         "moves, foresight CP2. Set-up 3: backsight CP2, S5 and S6, foresight BM. Keep the "
         "backsight and the foresight of a set-up about equally long. Each group sets up anew.",
         "A planted knock: in one round, after S3, the tutor shortens a leg of the tripod until, levelled again, the "
         "instrument reads 20 to 40 mm less on one spot; a foot screw alone would be levelled out. "
         "That loop does not close, and the second reading of CP1 shows in which set-up. Tell them once they have found it.")

_COMPARE = (f"BM is 10.000 m for all. Each loop may miss BM by 5 mm × √3 = {word_mm(_ORDINARY.of(3), digits=1)} "
            f"({_ORDINARY.source.partition(':')[0]}). Share it out, then write the levels of S1 to S6 of all groups side by "
            f"side: HPCs differ, levels must agree. Where one spot differs by more than {word_mm(SAME_SPOT)} (common practice, "
            "no source), look in the books first, then read it again. Type one book into notebook 1-survey.",)

_RAIN = ("Drizzle: umbrella over the instrument, wipe the lens with the dry cloth, dry the instrument in its open case "
         "afterwards. Steady rain, ice or strong wind: all do pages indoors, or three set-ups along a corridor. Thunder: staff "
         "down, tripod left standing, everyone indoors.",)

CAUTIONS = (
    "Laser: never look into the beam, nor at it through a level or a glass; keep it above or below eye height; keep to the "
    "maker's instructions and the class on its label.",
    "Overhead lines: a staff conducts. Wires over the yard or near it: choose another yard.",
    "Traffic and vehicles: a yard that is shut, barriers up; nobody reads from a roadway, or walks backwards.",
    "Trips: the legs of the tripod. Keep paths clear of them, mark them, never leave the tripod alone; its points pierce.",
    "Lifting: the tripod is carried upright, the instrument in its case; two people lift what is heavy.",
    "Buried services: chalk, no pegs. Before anything is driven into the ground, ask for the drawings and use a locator.",
    "Weather: heat, cold and wet slopes count too; stop in good time. The exercise is supervised all the while.",
)

# The invented yard, m: x along the workshop, y out from it.
_SPOTS = {"S1": (5.6, 2.2), "S2": (8.6, 8.8), "S3": (13.6, 3.0), "S4": (19.8, 3.2), "S5": (15.6, 10.2), "S6": (8.4, 11.0)}
_MARKS = {"BM": (2.0, 4.4), "CP1": (11.2, 5.2), "CP2": (20.6, 9.0)}
_SETUPS = (("1", (6.6, 5.6), "BM", "CP1"), ("2", (16.4, 6.2), "CP1", "CP2"), ("3", (11.3, 8.0), "CP2", "BM"))


def outdoor_pages() -> list[Paper]:
    """The page for the tutor, and the field book that each group takes along."""
    page = Paper("The outdoor exercise", "for the tutor: twelve people, one instrument", FOOT)
    top = page.down
    across, tall = 97.0, 49.0
    _plan(page.figure.add_axes(((LEFT + 11) / WIDE, 1 - (top + tall) / TALL, across / WIDE, tall / TALL)))
    page.down += 1.0
    _beside(page, "Bring", _BRING, LEFT + across + 18)
    page.down = top + tall + 11
    _section(page, "Times", _TIMES)
    page.heading(_GROUPS)
    for row in _ROUNDS:
        page.row(_GROUPS, {str(place): words for place, words in enumerate(row)}, least=5.2, bold=["0"])
    page.down += 1.5
    for job in _JOBS:
        _point(page, job)
    page.down += 1.0
    for heading, told in (("What each group reads", _LOOP), ("How results are compared", _COMPARE), ("Rain", _RAIN)):
        _section(page, heading, *told)
    page.down += page.write("Cautions, to be said before anyone goes out", bold=True, colour=style.NOT_MET)
    for caution in CAUTIONS:
        _point(page, caution)
    return [page, _book()]


def _section(page: Paper, heading: str, *told: str) -> None:
    page.down += page.write(heading, bold=True)
    for one in told:
        page.down += page.write(one)
    page.down += 1.3


def _point(page: Paper, told: str) -> None:
    page.put("–", LEFT, page.down)
    page.down += page.write(told, left=LEFT + 3, width=RIGHT - LEFT - 3)


def _beside(page: Paper, heading: str, told: Sequence[str], left: float) -> None:
    """Paragraphs in what is left of the width."""
    page.down += page.write(heading, left=left, width=RIGHT - left, bold=True) + 0.6
    for one in told:
        page.down += page.write(one, left=left, width=RIGHT - left) + 1.0


def _plan(ax: Axes) -> None:
    """An invented yard with its benchmark, change points, spots, and the sights of each set-up."""
    style.axes(ax, (4.4, 2.5))
    ax.set_xlim(0, 24)
    ax.set_ylim(12.6, -1.2)
    ax.set_xticks(range(0, 25, 4))
    ax.set_yticks(range(0, 13, 4))
    ax.set_aspect("equal", anchor="W")
    ax.set_xlabel("x, m", fontsize=style.TEXT, color=style.INK)
    ax.set_ylabel("y, m", fontsize=style.TEXT, color=style.INK)
    ax.add_patch(Rectangle((0, -1.0), 24, 1.0, facecolor=style.WALL, edgecolor=style.INK, hatch="///", linewidth=0.8))
    ax.text(12, 0.3, "workshop (invented)", fontsize=style.TEXT, color=style.INK, ha="center", va="top")
    ax.plot([24, 24, 20.0], [0, 12.4, 12.4], color=style.INK, linewidth=1.4, clip_on=False)
    ax.plot([0, 0, 16.0], [0, 12.4, 12.4], color=style.INK, linewidth=1.4, clip_on=False)
    ax.plot([16.0, 20.0], [12.4, 12.4], color=style.NOT_MET, linewidth=2.2, linestyle=":", clip_on=False)
    ax.text(18.0, 12.1, "gate, shut", fontsize=style.TEXT, color=style.NOT_MET, ha="center", va="bottom")
    for number, (x, y), back, fore in _SETUPS:
        for mark, look in ((back, "-"), (fore, "--")):
            ax.plot([x, _MARKS[mark][0]], [y, _MARKS[mark][1]], color=RULED, linewidth=0.9, linestyle=look, zorder=1)
        ax.plot([x], [y], marker="o", markersize=13, markerfacecolor="white", markeredgecolor=style.INK, zorder=3)
        ax.text(x, y, number, fontsize=style.TEXT, color=style.INK, ha="center", va="center", zorder=4, fontweight="bold")
    for name, (x, y) in _MARKS.items():
        ax.plot([x], [y], marker="^" if name == "BM" else "s", markersize=6, color=style.WATER, zorder=3)
        ax.text(x, y - 0.45, name, fontsize=style.TEXT, color=style.INK, ha="center", va="bottom", fontweight="bold", zorder=4)
    for name, (x, y) in _SPOTS.items():
        ax.plot([x], [y], marker="+", markersize=7, color=style.EARTH, zorder=3)
        ax.text(x + 0.4, y, name, fontsize=style.TEXT, color=style.INK, ha="left", va="center", zorder=4)


_READ = (("BM", "BS; known: 10.000 m"), ("S1", "IS"), ("S2", "IS"), ("CP1", "FS, then BS"), ("S3", "IS"), ("S4", "IS"),
         ("CP1", "IS, once more"), ("CP2", "FS, then BS"), ("S5", "IS"), ("S6", "IS"), ("BM", "FS"))
"""The points of the loop, and what is read at each."""


def _book() -> Paper:
    """A field book with the points of the loop, to be filled in outdoors."""
    page = Paper("Field book", "group ______  round ______  date ____________", FOOT)
    page.told("One row a point. A reading to the millimetre, said aloud and said back before it is written. A slip is struck out "
              "and written anew beside it, never rubbed out. A staff held upside down is booked with a minus.")
    page.down += 2.0
    columns = book_columns()
    page.heading(columns)
    for number, (point, booked) in enumerate(_READ, start=1):
        page.row(columns, {"row": str(number), "point": point, "remarks": booked}, least=BY_HAND + 1)
    page.row(columns, {"point": "sums"}, least=BY_HAND + 1, bold=["point"], thick=1.0)
    checks_to_fill(page)
    return page
