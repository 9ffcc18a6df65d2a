"""Copies of job folders to spoil, and a small job whose every number was worked out by hand."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import matplotlib
import pytest

import sitelevels
from sitelevels import workbook

matplotlib.use("Agg")
# notebooks are compared on the demonstration job, whichever job somebody has chosen for themselves
os.environ["SITELEVELS_JOB"] = "pottery-yard"

ROOT = Path(__file__).parents[1]
DEMONSTRATION = ROOT / "data" / "pottery-yard"
STARTER = Path(sitelevels.__file__).parent / "workbook" / "starter"

# Yard 4 m along the wall and 3 m out from it. Benchmark 10.000 m, backsight 1.500 m: HPC 11.500 m.
# Ground 9.880 m at the wall (11.500 - 1.620) and 9.715 m at 3 m out (11.500 - 1.785). DPC 10.200 m (11.500 - 1.300).
# Finish 10.000 m at the wall, 25 mm/m away: 9.925 m at 3 m. Layers 40 + 40 + 100 = 180 mm: formation 9.820 m and 9.745 m.
# Depth to dig 60 mm at the wall, -30 mm at 3 m: nought at 2 m out.
# Dig 4 x 2 x 0.060 / 2 = 0.24 m³, fill 4 x 1 x 0.030 / 2 = 0.06 m³.
HAND_BOOK = """point,bs,is,fs,rl,x,y,feature,wall,remarks
BM,1.500,,,10.000,,,benchmark,,
D1,,1.300,,,0.0,0.0,dpc,house,
D2,,1.300,,,4.0,0.0,dpc,house,
C1,,1.620,,,0.0,0.0,corner,,
C2,,1.620,,,4.0,0.0,corner,,
C3,,1.785,,,4.0,3.0,corner,,
C4,,1.785,,,0.0,3.0,corner,,
BM,,,1.500,,,,benchmark,,
"""
HAND_BRIEF = """format = 1
[job]
name = "Worked by hand"
[area]
corners = ["C1", "C2", "C3", "C4"]
[[wall]]
name = "house"
first = [0.0, 0.0]
second = [4.0, 0.0]
[[layer]]
name = "slabs"
thickness_mm = 40
[[layer]]
name = "bed"
thickness_mm = 40
[[layer]]
name = "hardcore"
thickness_mm = 100
[[demand]]
kind = "below the DPC"
wall = "house"
least_mm = 150
[[demand]]
kind = "fall away"
wall = "house"
least = "1:80"
[[demand]]
kind = "gradient"
most = "1:20"
[finish]
wall = "house"
level_at_wall_m = 10.000
fall_away = "25 mm/m"
fall_along = "level"
[setting_out]
benchmark = "BM"
backsight_m = 1.500
"""


class Folder:
    """A copy of a job folder, to be changed at will."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @property
    def brief(self) -> str:
        return (self.path / "brief.toml").read_bytes().decode()

    @property
    def book(self) -> str:
        return (self.path / "survey.csv").read_bytes().decode()

    def write(self, *, brief: str | None = None, book: str | None = None) -> "Folder":
        for name, text in (("brief.toml", brief), ("survey.csv", book)):
            if text is not None:
                (self.path / name).write_bytes(text.encode())
        return self

    def change(self, old: str, new: str) -> "Folder":
        """Change brief.toml by hand."""
        assert self.brief.count(old) >= 1, old
        return self.write(brief=self.brief.replace(old, new, 1))

    def change_book(self, old: str, new: str) -> "Folder":
        assert self.book.count(old) >= 1, old
        return self.write(book=self.book.replace(old, new))

    def open(self) -> workbook.Job:
        return workbook.open_job(self.path)

    def files(self) -> dict[str, bytes]:
        every = sorted(place for place in self.path.rglob("*") if place.is_file())
        return {place.relative_to(self.path).as_posix(): place.read_bytes() for place in every}


def copied(source: Path, to: Path) -> Folder:
    to.mkdir(parents=True)
    for name in ("brief.toml", "survey.csv"):
        shutil.copy(source / name, to / name)
    return Folder(to)


@pytest.fixture
def demo(tmp_path: Path) -> Folder:
    return copied(DEMONSTRATION, tmp_path / "yard")


@pytest.fixture
def starter(tmp_path: Path) -> Folder:
    return copied(STARTER, tmp_path / "started")


@pytest.fixture
def hand(tmp_path: Path) -> Folder:
    (tmp_path / "hand").mkdir()
    return Folder(tmp_path / "hand").write(brief=HAND_BRIEF, book=HAND_BOOK)


@pytest.fixture
def make_job(tmp_path: Path) -> Callable[..., Folder]:
    """Fresh folders for tests that need several."""
    made: list[Folder] = []

    def make(brief: str = HAND_BRIEF, book: str = HAND_BOOK) -> Folder:
        place = tmp_path / f"made {len(made)}"
        place.mkdir()
        made.append(Folder(place).write(brief=brief, book=book))
        return made[-1]
    return make


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A workbook's own folder in use: `data` with the demonstration job in it; returns `data`."""
    copied(DEMONSTRATION, tmp_path / "desk" / "data" / "pottery-yard")
    monkeypatch.chdir(tmp_path / "desk")
    monkeypatch.delenv("SITELEVELS_JOB", raising=False)
    return tmp_path / "desk" / "data"


@pytest.fixture(autouse=True)
def _close_figures() -> Iterator[None]:
    yield
    import matplotlib.pyplot as plt
    plt.close("all")
