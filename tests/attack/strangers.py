"""A job folder from a stranger runs nothing, writes and reads nothing outside itself, makes nobody wait; its words stay words."""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from ledger import Ledger, SlippedError
from readers import DATA, scratch

import sitelevels
from sitelevels import workbook
from sitelevels.workbook import forms, saving

PACKAGE = Path(sitelevels.__file__).parent
PATIENCE = 5.0  # s: a folder that makes somebody wait longer than this, with the lock's own patience put down to 0.3 s

# Folders with links and other things in place of files


def linked(name: str, target: str) -> Callable[[Path, Path], None]:
    def make(folder: Path, outside: Path) -> None:
        if (folder / name).is_file():
            shutil.copy(folder / name, outside / "secret")
            (folder / name).unlink()
        (folder / name).symlink_to(target.replace("OUT", str(outside)))

    return make


def piped(name: str) -> Callable[[Path, Path], None]:
    def make(folder: Path, outside: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        os.mkfifo(folder / name)

    return make


def foldered(name: str) -> Callable[[Path, Path], None]:
    def make(folder: Path, outside: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        (folder / name).mkdir()
        (folder / name / "within").write_text("keep")

    return make


def hard(name: str) -> Callable[[Path, Path], None]:
    def make(folder: Path, outside: Path) -> None:
        shutil.copy(folder / name, outside / "secret") if (folder / name).is_file() else None
        (folder / name).unlink(missing_ok=True)
        os.link(outside / "secret", folder / name)

    return make


def dated(name: str, ahead: float) -> Callable[[Path, Path], None]:
    def make(folder: Path, outside: Path) -> None:
        (folder / name).write_text("0")
        os.utime(folder / name, (time.time() + ahead, time.time() + ahead))

    return make


READ = ("brief.toml", "survey.csv", "ties.csv", "laid.csv")
WRITTEN = (
    "brief-before.toml",
    "survey-before.csv",
    "survey-not-saved.csv",
    "brief-not-saved.toml",
    ".saving",
    "sheet",
    "survey-draft-0123abcd.txt",
    "survey-thrown-away.txt",
    "laid-before.csv",
)
TRAPS: dict[str, Callable[[Path, Path], None]] = {
    **{
        f"{name} is a link to {target}": linked(name, target)
        for name in (*READ, *WRITTEN)
        for target in ("OUT/secret", name, "nowhere", "../outside/secret", "/dev/zero", "OUT")
    },
    **{f"{name} is a pipe": piped(name) for name in (*READ, *WRITTEN)},
    **{f"{name} is a folder": foldered(name) for name in (*READ, *WRITTEN) if name != "sheet"},
    **{f"{name} is a hard link": hard(name) for name in (*READ, *WRITTEN) if name != "sheet"},
    **{f".saving is dated {ahead} s ahead": dated(".saving", ahead) for ahead in (-1e8, 0.0, 1e3, 1e8)},
}


def used(folder: Path) -> None:
    """What a person does with a job: open, look, save both files, be too late once, keep and take up a draft, write a sheet."""
    told: list[str] = []
    job = workbook.open_job(folder)
    form = forms.BookForm(job)
    form.grid.typed(3, 9, "typed")
    told.append(form.message.value)
    if form.again.layout.display == "":
        form.take_up()
    form.throw_away()
    later = workbook.open_job(folder)
    job.saved(brief_text=job.brief_text + "# mine\n", survey_text=job.survey_text + "# mine\n")
    try:
        later.saved(survey_text=later.survey_text + "# too late\n", brief_text=later.brief_text + "# too late\n")
    except sitelevels.SurveyError:
        kept = [path.read_text("utf-8") for path in folder.glob("*not-saved*") if path.is_file() and not path.is_symlink()]
        if not any("# too late" in text for text in kept):
            raise
    else:
        raise SlippedError("what was saved too late was saved over the other")
    saving.write_whole(workbook.sheet.sheet_folder(job) / "levels.csv", b"x")  # type: ignore[attr-defined]
    if any("workbook itself has failed" in one for one in told):
        raise SlippedError(told[0][:200])


def attack_folders(tries: int | None, seed: int) -> Ledger:
    """Every trap in a folder of its own; what lies outside must stay, unread, and nobody waits."""
    ledger = Ledger("traps in a stranger's folder", seed)
    names = list(TRAPS) if tries is None else random.Random(seed).sample(list(TRAPS), min(tries, len(TRAPS)))
    patience, saving._PATIENCE = saving._PATIENCE, 0.3
    try:
        for name in names:
            with scratch() as place:
                folder, outside = place.resolve() / "job", place.resolve() / "outside"
                outside.mkdir()
                (outside / "secret").write_text("SECRET\n")
                shutil.copytree(DATA / "pottery-yard", folder)
                try:
                    TRAPS[name](folder, outside)
                except OSError:
                    continue
                before = contents(outside)
                found: list[BaseException] = []
                done = threading.Event()

                def run(folder: Path = folder, found: list[BaseException] = found, done: threading.Event = done) -> None:
                    try:
                        used(folder)
                    except BaseException as error:
                        found.append(error)
                    done.set()

                def act(
                    name: str = name,
                    run: Any = run,
                    found: Any = found,
                    done: Any = done,
                    before: Any = before,
                    outside: Path = outside,
                    folder: Path = folder,
                ) -> None:
                    threading.Thread(target=run, daemon=True).start()
                    ended = done.wait(PATIENCE + 25 * (os.getloadavg()[0] > 4))
                    if contents(outside) != before:
                        raise SlippedError("something outside the folder was changed")
                    if not ended:
                        free(folder)
                        raise SlippedError("whoever opens and saves it waits for ever")
                    if found:
                        raise found[0]
                    if "secret" in name and "hard" not in name and name.startswith(READ):
                        raise SlippedError("a file outside the folder was read")

                ledger.attempt(name, act)
    finally:
        saving._PATIENCE = patience
    return ledger


def free(folder: Path) -> None:
    """Let go whoever still waits at the folder."""
    for path in folder.iterdir():
        if path.is_symlink() or not (path.is_dir() or path.is_file()):
            with open(os.open(path, os.O_RDWR | os.O_NONBLOCK), "rb") if path.is_fifo() else io.BytesIO():
                time.sleep(0.05)
            path.unlink(missing_ok=True)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


# What is run, opened and connected to

WATCHED = """
import json, os, sys
from pathlib import Path
folder, log = os.path.realpath(sys.argv[1]), []
from sitelevels import workbook
import matplotlib; matplotlib.use("Agg")
import matplotlib.pyplot, matplotlib.backends.backend_pdf, scipy.spatial, scipy.optimize, scipy.stats, shapely, tomlkit
from sitelevels.workbook import forms
warm = workbook.open_job(sys.argv[2])
workbook.save_sheet(warm)  # whatever is loaded late is loaded now
forms.BookForm(warm)

def hook(event, given):
    if event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "socket.connect", "socket.bind",
                 "pickle.find_class", "ctypes.dlopen", "shutil.rmtree", "code.__new__"):
        log.append([event, str(given)[:200]])
    elif event == "open" and isinstance(given[0], str):
        flags = given[2] if isinstance(given[2], int) else 0
        writes = bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
        log.append(["write" if writes else "read", os.path.realpath(given[0])])
    elif event in ("os.rename", "os.link", "os.symlink"):
        log.append([event, os.path.realpath(str(given[1]))])
    elif event in ("os.remove", "os.mkdir", "os.chmod"):
        log.append([event, os.path.realpath(str(given[0]))])
    elif event == "import" and os.path.realpath(str(given[1] or "")).startswith(folder):
        log.append(["import", str(given[1])])
    elif event == "exec" and folder in str(getattr(given[0], "co_filename", "")):
        log.append(["exec", given[0].co_filename])
sys.addaudithook(hook)
job = workbook.open_job(folder)
workbook.save_sheet(job)
forms.BookForm(job); forms.BriefForm(job); forms.SurfaceForm(job); forms.DigForm(job)
job.saved(brief_text=job.brief_text + "# x\\n", survey_text=job.survey_text + "# x\\n")
found, log = log, []
print(json.dumps(found))
"""
BAIT = (
    "sitecustomize.py",
    "usercustomize.py",
    "conftest.py",
    "__init__.py",
    "brief.py",
    "matplotlibrc",
    "tomllib.py",
    "numpy.py",
    "csv.py",
    "pandas.py",
    "survey.pkl",
    "brief.yaml",
    ".env",
    "setup.py",
    "pyproject.toml",
    "jupyter_config.py",
    "startup.ipy",
    "fonts/DejaVuSans.ttf",
)


def attack_runs(seed: int = 0) -> Ledger:
    """A folder full of bait: what its opening, saving and printing runs, reads, writes and connects to."""
    ledger = Ledger("what a stranger's folder makes run", seed)
    with scratch() as place:
        folder = place.resolve() / "job"
        shutil.copytree(DATA / "pottery-yard", folder)
        for name in BAIT:
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_text("raise SystemExit('run')\n")
        book = (
            (folder / "survey.csv")
            .read_text("utf-8")
            .replace("gate pier", "gate pier __import__('os').system('true') {7*7} %(x)s {0.__class__}")
        )
        (folder / "survey.csv").write_text(book, "utf-8")

        def act() -> None:
            done = subprocess.run(
                [sys.executable, "-c", WATCHED, str(folder), str(DATA / "pottery-yard")],
                capture_output=True,
                text=True,
                cwd=tempfile.gettempdir(),
                check=False,
                timeout=900,
            )
            if done.returncode:
                raise SlippedError(f"it failed: {done.stderr[-300:]}")
            for event, what in json.loads(done.stdout.splitlines()[-1]):
                for fault in outside(event, what, folder):
                    raise SlippedError(fault)

        shutil.rmtree(folder / "sheet", ignore_errors=True)
        with sheet_kept():
            ledger.attempt("a folder full of bait", act)
    return ledger


@contextmanager
def sheet_kept() -> Iterator[None]:
    """The demonstration has no sheet afterwards if it had none before."""
    there = (DATA / "pottery-yard" / "sheet").exists()
    yield
    if not there:
        shutil.rmtree(DATA / "pottery-yard" / "sheet", ignore_errors=True)


def outside(event: str, what: str, folder: Path) -> Iterator[str]:
    """What is wrong with something that was done."""
    within = what.startswith(str(folder) + os.sep)
    if event in ("read",):
        if within and Path(what).name in BAIT:
            yield f"{Path(what).name} of the folder was read"
    elif event in ("write", "os.rename", "os.remove", "os.mkdir", "os.chmod", "os.link", "os.symlink"):
        if not within and what not in ("/dev/null",) and not re.search(r"matplotlib|fontconfig|__pycache__|/proc/", what):
            yield f"{event} outside the folder: {what}"
    else:
        yield f"{event}: {what}"


BANNED = {"eval", "exec", "compile", "__import__", "execfile", "input"}
BANNED_MODULES = {
    "pickle",
    "marshal",
    "shelve",
    "yaml",
    "subprocess",
    "socket",
    "urllib",
    "http",
    "requests",
    "ctypes",
    "importlib",
    "runpy",
    "dill",
    "cloudpickle",
    "joblib",
    "code",
}
BANNED_ATTRIBUTES = {
    "system",
    "popen",
    "read_pickle",
    "literal_eval",
    "load_module",
    "exec_module",
    "spawnv",
    "execv",
    "read_html",
}


def code_that_could_run() -> list[str]:
    """Calls in the package that could run what stands in a file."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in BANNED:
                found.append(f"{path.name}:{node.lineno} {node.func.id}")
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in BANNED_ATTRIBUTES:
                found.append(f"{path.name}:{node.lineno} .{node.func.attr}")
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("query", "eval")
                and any(isinstance(one, (ast.JoinedStr, ast.BinOp)) for one in node.args)
            ):
                found.append(f"{path.name}:{node.lineno} .{node.func.attr} of a text that is put together")
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom) and not node.level
                else []
            )
            found += [
                f"{path.name}:{node.lineno} import {name}"
                for name in names
                if name.partition(".")[0] in BANNED_MODULES
                and name != "urllib.parse"  # which only takes addresses apart
                and (name, path) != ("importlib", PACKAGE / "workbook" / "__init__.py")  # which loads our own forms late
            ]
    return found


# Words that stay words

NAMES = {
    "html": "<img src=x onerror=alert(1)>",
    "closing": "</style></div></td><script>alert(1)</script>",
    "attribute": "' onmouseover='alert(1)",
    "quote": '" onmouseover="alert(1)',
    "entity": "&lt;b&gt;&#60;i&#62;",
    "mathtext": "$x^{$",
    "mathtext2": "$\\frac{a}{b}$ $\\alpha$ 5$ to 6$",
    "tex": "\\input{/etc/passwd}",
    "percent": "%s %d %(x)s {0} {x!r}",
    "right to left": "peg\u202egnp",
    "zero width": "a\u200bb\u200db",
    "emoji": "👷🏽\u200d♀️",
    "combining": "é" * 40 + "\u0301" * 40,
    "long": "y" * 10_000,
    "words": "long word " * 300,
    "slash": "../../etc/passwd",
    "backslash": "..\\..\\windows",
    "dot": ".",
    "dots": "..",
    "device": "CON",
    "trailing": "name. ",
    "quoted": 'o\'clock "two"',
    "formula": "=cmd|'/C calc'!A0",
    "formula plus": "+1+2",
    "formula minus": "-2+3",
    "formula at": "@SUM(A1)",
    "tab formula": "=1\t=2",
    "wide formula": "＝1+1",
    "inner formula": "a;=1+1",
    "number": "-1.5",
    "newline": "a\\nb",
    "cjk": "測點",
    "arabic": "نقطة",
    "surrogate": "\U0001f477",
    "space": "\u00a0x\u2003",
    "separator": "a\u2028b",
    "nul word": "nul\\0",
    "dollar": "cost 5$",
}


class Tags(HTMLParser):
    """Which tags and handlers a piece of HTML opens."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.handlers: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.handlers += [
            name for name, value in attributes if name.startswith("on") or str(value).strip().lower().startswith("javascript:")
        ]


def harmless(html: str, where: str) -> None:
    tags = Tags(html)
    if tags.handlers or tags.tags & {
        "img",
        "script",
        "iframe",
        "svg",
        "object",
        "embed",
        "link",
        "base",
        "form",
        "input",
        "meta",
    }:
        raise SlippedError(f"{where} opens {sorted(tags.tags)} {tags.handlers}")


def named_everywhere(folder: Path, name: str) -> None:
    """A job in which every name is one and the same kind of nasty thing."""
    quoted = json.dumps(name, ensure_ascii=False)
    brief = (folder / "brief.toml").read_text("utf-8")
    brief = re.sub(r'(?m)^(name|wall|footing) = "([^"]*)"', lambda found: f'{found[1]} = {quoted[:-1]} {found[2]}"', brief)
    brief = brief.replace('"C1"', quoted)
    lines = (folder / "survey.csv").read_text("utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    for number, row in enumerate(rows[1:]):
        cells = dict(zip(rows[0], row, strict=True))
        cells["point"] = name if cells["point"] == "C1" else cells["point"]
        cells["wall"] = f"{name} {cells['wall']}" if cells["wall"] else ""
        cells["remarks"] = name if number % 2 else f"{cells['remarks']} {name}"
        row[:] = cells.values()
    text = io.StringIO()
    csv.writer(text, quoting=csv.QUOTE_ALL).writerows(rows)
    (folder / "survey.csv").write_bytes(text.getvalue().encode())
    (folder / "brief.toml").write_bytes(brief.encode())


SHOWN = ("book", "reduced", "ground", "brief", "finish", "verdicts", "earthworks", "budget", "errors", "sensitivity")
DUG = ("fit", "dig", "materials", "units", "catchments", "soakaway", "post_check")


def htmls(widget: Any) -> Iterator[str]:
    if type(widget).__name__ in ("HTML", "HTMLMath"):
        yield widget.value
    for child in getattr(widget, "children", ()):
        yield from htmls(child)


def shown_and_written(folder: Path, *, dear: bool) -> None:
    """All that a job shows and writes, looked at for markup, sums and pictures that read names as mathematics."""
    job = workbook.open_job(folder)
    for whole, names in ((job, SHOWN), (job.outdoor, DUG if dear else ("fit", "dig", "catchments"))):
        for name in names:
            try:
                found = getattr(whole, name)
            except sitelevels.SurveyError as error:
                harmless("".join(error._render_traceback_()) if "<" not in str(error) else "", name)
                continue
            if hasattr(found, "_repr_html_"):
                harmless(found._repr_html_(), name)
    kinds = [
        forms.BookForm,
        forms.BriefForm,
        forms.BriefTextForm,
        forms.SurfaceForm,
        forms.DigForm,
        forms.BudgetForm,
        forms.InstrumentForm,
    ]
    for kind in kinds if dear else kinds[:3]:
        form = kind(job)
        for html in htmls(form):
            harmless(html, kind.__name__)
        if "workbook itself has failed" in form.message.value:
            raise SlippedError(f"{kind.__name__}: {form.message.value[:300]}")
    if dear:
        workbook.save_sheet(job)
        for path in sorted((folder / "sheet").glob("*.csv")):
            for row in csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"))):
                for cell in row:
                    if re.match(r"[=@\t\r＝＋－＠]|[+-](?![\d.,]+$)", cell):
                        raise SlippedError(f"a spreadsheet would work out {cell[:40]!r} of {path.name}")
                    if re.search(r"[,;\t\r\n]\s*(?:[=@＝＠]|[+-](?!\d))", cell):
                        raise SlippedError(f"a spreadsheet may part and work out {cell[:40]!r} of {path.name}")
    from matplotlib import pyplot as plt

    axes = workbook.figures.section(job.section())
    for text in axes.figure.findobj(lambda one: hasattr(one, "get_parse_math")):
        if text.get_text().count("$") > 1 and text.get_parse_math():
            raise SlippedError(f"a picture reads {text.get_text()[:40]!r} as mathematics")
    axes.figure.canvas.draw()
    plt.close("all")


def attack_words(names: list[str] | None = None, *, dear: bool = True) -> Ledger:
    """Nasty names in every place of a job, through everything that shows or writes them."""
    ledger = Ledger("names through pages, pictures, tables")
    for name in names or list(NAMES):
        with scratch() as place:
            folder = place.resolve() / "job"
            shutil.copytree(DATA / "pottery-yard", folder)
            named_everywhere(folder, NAMES[name])
            ledger.attempt(name, lambda folder=folder: shown_and_written(folder, dear=dear))
    return ledger
