"""What is typed into fields for a number: the number that anybody would read there, or a sentence; never another number."""

from __future__ import annotations

import math
import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from ledger import Ledger, SlippedError
from readers import DATA, scratch

from sitelevels.design.parts import NAMED, NUMBER, NUMBERS, RANGE, SECTIONS
from sitelevels.workbook import Job, forms, open_job
from sitelevels.workbook.forms.base import Number
from sitelevels.workbook.forms.parts import PartsForm

# What may be read out of each text: these numbers and no other. A refusal is always right.
TEXTS: dict[str, tuple[float, ...]] = {
    "1_5": (),
    "1__5": (),
    "１２": (12.0,),
    "１２_０": (),
    "١٢": (12.0,),
    "१२": (12.0,),
    "1e5": (1e5,),
    "1E-3": (0.001,),
    "1e400": (),
    "--1": (),
    "+-1": (),
    "0x10": (),
    "0b1": (),
    "1e": (),
    "": (),
    " ": (),
    "nan": (),
    "NaN": (),
    "inf": (),
    "-inf": (),
    "infinity": (),
    "½": (0.5,),
    "1½": (1.5,),
    "²": (),
    "1.2.3": (),
    "1,2,3": (),
    "1.234,5": (),
    "1,234.5": (1234.5,),
    "1'234": (),
    "1 234": (1234.0,),
    "12mm": (),
    "1/2": (0.5,),
    "l2": (),
    "1O": (),
    "−7": (-7.0,),
    "–7": (-7.0,),
    "+7": (7.0,),
    "7.": (7.0,),
    ".5": (0.5,),
    "7,5": (7.5,),
    "9" * 400: (),
    "1e308": (1e308,),
    "True": (),
    "None": (),
    "1j": (),
    "<b>1</b>": (),
    "=1+1": (),
    "1\u202e2": (),
    "1\u00002": (),
    "1\u00a0": (1.0,),
    "\u200b1": (1.0,),
    "0.1e1": (1.0,),
    "1d5": (),
    "1f": (),
    "1L": (),
    "1;5": (),
}


def number_fields(widget: Any, seen: set[int] | None = None) -> Iterator[Number]:
    """Every field for a number in a form."""
    seen = set() if seen is None else seen
    if id(widget) in seen:
        return
    seen.add(id(widget))
    if isinstance(widget, Number):
        yield widget
    for child in getattr(widget, "children", ()):
        yield from number_fields(child, seen)


def said(form: Any) -> None:
    if "workbook itself has failed" in form.message.value or "Traceback" in form.message.value:
        raise SlippedError(form.message.value[:300])


def allowed(value: Any, text: str) -> bool:
    """Whether a number is one that the text may mean; what is no finite number was not read."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return True
    return any(math.isclose(value, one, rel_tol=1e-12) for one in TEXTS[text])


KINDS: list[tuple[str, Callable[[Job], Any], tuple[str, ...]]] = [
    ("BriefForm", forms.BriefForm, ("save_brief",)),
    ("BudgetForm", forms.BudgetForm, ("save_budget",)),
    ("ShotPlanForm", forms.ShotPlanForm, ()),
    ("DigForm", forms.DigForm, ("follow",)),
    ("SolveForm", forms.SolveForm, ()),
    ("MaterialsForm", forms.MaterialsForm, ("save_parts",)),
    ("WaterForm", forms.WaterForm, ("save_parts",)),
    ("ScreedForm", forms.ScreedForm, ("save_parts",)),
    ("ClassSetForm", lambda job: forms.ClassSetForm(), ()),
]


def fresh(place: Path, source: str, number: int, *, broken: bool) -> Path:
    """A job folder of its own, its book broken so that no levels come of it if that is asked."""
    folder = place / f"job{number}"
    folder.mkdir()
    for name in ("brief.toml", "survey.csv"):
        shutil.copy(DATA / source / name, folder / name)
    if broken:
        (folder / "survey.csv").write_text("point,bs,is,fs\nA,1,,\nB,,x,\n", encoding="utf-8")
    return folder


def attack_fields(tries: int, seed: int) -> Ledger:
    """Every field for a number of every form, with everything that looks like one and is none; also saved."""
    ledger, rng = Ledger("number fields of forms", seed), random.Random(seed)
    with scratch() as place:
        number = 0
        while ledger.tries < tries:
            name, kind, acts = rng.choice(KINDS)
            source = "seed-store" if name == "ScreedForm" else rng.choice(("pottery-yard", "pottery-yard", "seed-store"))
            folder = fresh(place, source, number := number + 1, broken=rng.random() < 0.3)
            job = open_job(folder)
            form = ledger.attempt(f"{name} opens", lambda kind=kind, job=job: kind(job))
            if form is None:
                continue
            for text in rng.sample(list(TEXTS), 6):
                ledger.attempt(
                    f"{name}: {text[:40]!r}",
                    lambda form=form, text=text, acts=acts, folder=folder: type_in(form, text, acts, folder, rng),
                )
            shutil.rmtree(folder)
    return ledger


def type_in(form: Any, text: str, acts: tuple[str, ...], folder: Path, rng: random.Random) -> None:
    """Type one text into one field of a form and save; what is on the disk afterwards must be what may be read in the text."""
    before = open_job(folder).told
    plain = list(number_fields(form))
    written = [
        (key, field)
        for key, field in getattr(form, "fields", {}).items()
        if isinstance(form, PartsForm) and SECTIONS[key[0]][key[1]] in (NUMBER, NAMED, NUMBERS, RANGE)
    ]
    if plain:
        field = rng.choice(plain)
        field.set_state({"value": text})
        if not allowed(field.value, text):
            raise SlippedError("what is no number is read as one in a field for a number")
        if math.isinf(field.value):
            raise SlippedError("read as infinity in a field for a number")
    elif written:
        (part, key), field = rng.choice(written)
        field.set_state({"value": text})
        job = form.attempt(form.typed)
        value = None if job is None else job.told.get(part, {}).get(key)
        if value != before.get(part, {}).get(key):
            for one in value if isinstance(value, list) else [value]:
                if not allowed(one, text) and not (isinstance(value, list) and len(value) > 1):
                    raise SlippedError("what is no number is read as one in a field of a part")
    said(form)
    for act in acts:
        getattr(form, act)()
        said(form)
    if any(no_numbers(open_job(folder).told)):
        raise SlippedError("nan or infinity was saved into brief.toml")
    if isinstance(form, forms.DigForm):
        form.peg.value, form.reading.value = "C1", text
        said(form)
        try:
            read = form._read()
        except ValueError:
            read = math.nan
        if not allowed(read, text) or (math.isnan(read) and "alert" not in form.message.value and text.strip()):
            raise SlippedError("what is no number is read as the reading on a peg")


def no_numbers(told: Any) -> Iterator[str]:
    """Values of a brief that are nan or infinity."""
    for one in told.values() if isinstance(told, dict) else told if isinstance(told, list) else ():
        if isinstance(one, float) and not math.isfinite(one):
            yield repr(one)
        yield from no_numbers(one)
