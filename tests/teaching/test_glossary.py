"""The glossary holds every word that a user meets, says it plainly, and finds it however it is spelt."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from sitelevels import SurveyError
from sitelevels.teaching import glossary
from sitelevels.teaching.glossary import GLOSSARY, meaning, words_like
from sitelevels.workbook import forms

ROOT = Path(__file__).parents[2]
FOR_PROGRAMMERS = {
    "gx": "a field of a plane; a user is told the falls away from the wall and along it",
    "gy": "as gx",
    "unknowns": "the numbers that fix a shape, inside the solver",
    "term": "one figure of the error budget, by its name in a script",
}
"""Words of the table that no user meets, each with the reason why."""


def table_words() -> list[str]:
    """The words of the table 'Words and signs', what stands in brackets apart."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.partition("## Words and signs")[2].partition("\n\nInside:")[0]
    cells = [line.split("|")[1] for line in table.splitlines() if line.startswith("| ") and "| word |" not in line]
    return [word.strip() for cell in cells for word in re.sub(r"\(.*?\)", "", cell).split(",")]


def shown_texts() -> str:
    """The texts of the notebooks, what they show, and the package, the glossary and its own notebook apart."""
    notebooks = [path for path in (ROOT / "notebooks").glob("*.ipynb") if path.stem != "9-words"]
    cells = [cell for path in notebooks for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]]
    shown = [output.get("data", {}).get("text/plain", []) for cell in cells for output in cell.get("outputs", [])]
    modules = [path for path in (ROOT / "sitelevels").rglob("*.py") if path.name != "glossary.py"]
    starter = ROOT / "sitelevels" / "workbook" / "starter" / "brief.toml"
    return "\n".join([*("".join(cell["source"]) for cell in cells), *map("".join, shown),
                      *(path.read_text(encoding="utf-8") for path in (*modules, starter))])


def sentences(said: str) -> list[str]:
    return re.split(r"(?<=\.) (?=[A-Z])", said)


def pattern_of(word: str) -> str:
    """The word in the singular or plural, its parts joined by a space, a hyphen or an underscore; parted by new lines too."""
    parts = r"[\s_-]+".join(re.escape(part) for part in re.split(r"[ -]", word))
    return rf"(?<![A-Za-z]){parts}(s|es|ing|ed)?(?![A-Za-z])"


FORMS = [getattr(forms, name) for name in forms.__all__]


class TestWhatItHolds:
    def test_the_table_was_read(self) -> None:
        words = table_words()
        assert {"level", "HPC", "cut", "fill", "bare side", "too close to call", "determination"} <= set(words)
        assert len(words) > 70  # counted in the file

    @pytest.mark.parametrize("word", [word for word in table_words() if word not in FOR_PROGRAMMERS])
    def test_every_word_of_the_table(self, word: str) -> None:
        assert meaning(word) in GLOSSARY.values()

    def test_the_words_left_out_are_words_of_the_table(self) -> None:
        assert set(FOR_PROGRAMMERS) <= set(table_words())
        assert not set(FOR_PROGRAMMERS) & set(GLOSSARY)

    @pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
    def test_every_word_at_the_foot_of_a_form(self, form: Any) -> None:
        assert len(set(form.terms)) == len(form.terms)
        for word in form.terms:
            assert meaning(word) in GLOSSARY.values()

    def test_every_word_is_used_somewhere(self) -> None:
        texts = shown_texts()
        assert [word for word in GLOSSARY if not re.search(pattern_of(word), texts, re.IGNORECASE)] == []
        assert not re.search(pattern_of("theodolite"), texts, re.IGNORECASE)  # the search can fail

    def test_in_the_order_of_the_alphabet(self) -> None:
        assert list(GLOSSARY) == sorted(GLOSSARY, key=str.casefold)

    def test_it_cannot_be_changed(self) -> None:
        with pytest.raises(TypeError):
            GLOSSARY["level"] = "Another."  # type: ignore[index]


def told_by_itself(word: str, said: str) -> bool:
    """Whether a sentence begins with the word that it explains, or has little in it but that word."""
    left = set(re.findall(r"[a-z]{3,}", said.casefold())) - set(re.findall(r"[a-z]+", word.casefold()))
    return len(left) < 4 or bool(re.match(rf"(an? |the )?{re.escape(word)}\b", said, re.IGNORECASE))


class TestEachEntry:
    def test_one_sentence_or_two(self) -> None:
        for word, said in GLOSSARY.items():
            parts = sentences(said)
            assert 1 <= len(parts) <= 2, word
            assert all(one[0].isupper() and one.endswith(".") for one in parts), word
            assert len(said) <= 230, word  # nobody reads more standing in the rain

    def test_none_is_told_by_itself_alone(self) -> None:
        assert [word for word, said in GLOSSARY.items() if told_by_itself(word, said)] == []
        assert told_by_itself("level", "A level is a height above the datum, in m.")
        assert told_by_itself("draft", "It is the draft.")

    def test_it_finds_itself(self) -> None:
        for word, said in GLOSSARY.items():
            assert meaning(word) == meaning(word.upper()) == meaning(f"  {word}s ") == said
            assert words_like(word, most=1) == (word,)

    def test_plain_words(self) -> None:
        jargon = r"\b(function|class of|array|tuple|boolean|dataframe|parameter|widget|kernel|float|string of)\b"
        assert [word for word, said in GLOSSARY.items() if re.search(jargon, said)] == []


class TestTwoMeanings:
    def test_a_fall_of_a_surface_and_in_a_book(self) -> None:
        assert "1:60" in meaning("fall")
        assert "from one reading to the next" in meaning("fall")

    def test_where_150_mm_come_from(self) -> None:
        assert "150 mm" in meaning("DPC")  # NHBC Standards 10.2.6, 2021 edition, read
        assert "NHBC Standards, 10.2.6, 2021 (text read)" in meaning("DPC")

    @pytest.mark.parametrize("word", ["HPC", "backsight", "fall", "clearance", "cut", "formation", "lip", "gap", "misclosure",
                                      "residual", "reading", "rise", "station", "bulking", "margin", "tilt", "runoff"])
    def test_a_number_has_its_unit(self, word: str) -> None:
        assert re.search(r"(?<!\w)(m|mm|mm/m|m³|%|share)(?![a-z])", meaning(word))


class TestLookingUp:
    @pytest.mark.parametrize(("typed", "word"), [
        ("hpc", "HPC"), ("height of the plane of collimation", "HPC"), ("Height of Collimation", "HPC"), ("BS", "backsight"),
        ("F.S.", "foresight"), ("i.s.", "intermediate sight"), ("back sight", "backsight"), ("setup", "set-up"),
        ("Set Ups", "set-up"), ("subbase", "sub-base"), ("damp proof course", "DPC"), ("DPCs", "DPC"),
        ("turning point", "change point"), ("reduced levels", "level"), ("hand_level", "hand level"),
        ("two pegs", "two-peg test"), ("in hand", "margin"),
        ("Manning’s n", "Manning's n"), ("not met", "verdict"), ("u", "standard uncertainty"), ("boundaries", ""),
        ("da", ""), ("", ""), ("RL", "rl"), ("ＨＰＣ", "HPC"), ("on the day", "day of setting out")])
    def test_spellings(self, typed: str, word: str) -> None:
        if word:
            assert meaning(typed) == GLOSSARY[word]
        else:
            with pytest.raises(SurveyError):
                meaning(typed)

    def test_no_spelling_stands_for_two_words(self) -> None:
        told: dict[str, str] = {}
        for word in GLOSSARY:
            for spelling in (word, *filter(None, glossary._ALSO.get(word, "").split(","))):
                key = glossary._key(spelling)
                assert key
                assert told.setdefault(key, word) == word, spelling
        assert set(glossary._ALSO) <= set(GLOSSARY)

    @pytest.mark.parametrize(("typed", "near"), [
        ("bakcsight", "backsight"), ("hcp", "HPC"), ("misclosur", "misclosure"), ("soakway", "soakaway"), ("tresh", "threshold"),
        ("sub base layer", "sub-base"), ("lintel", "soffit")])
    def test_near_words_are_offered(self, typed: str, near: str) -> None:
        with pytest.raises(SurveyError, match=f"Near it: .*{near}"):
            meaning(typed)
        assert near in words_like(typed)

    @pytest.mark.parametrize("garbage", ["qqqqqq", "12345", "√√", "%%%", "x" * 10_000, "((((", "[a-z]*", "\\", "\n", "\0",
                                         "<b>qq</b>"])
    def test_garbage_is_refused_in_a_sentence(self, garbage: str) -> None:
        with pytest.raises(SurveyError) as caught:
            meaning(garbage)
        told = str(caught.value)
        assert told.endswith(".")
        assert len(told) < 400
        assert words_like(garbage) == () or garbage.strip() == ""

    @pytest.mark.parametrize("kind", [None, 7, 1.5, b"HPC", ["HPC"], True])
    def test_what_is_no_text_is_refused(self, kind: Any) -> None:
        for asked in (meaning, words_like):
            with pytest.raises(SurveyError, match=r"The word is (a |an |None)"):
                asked(kind)

    def test_like_words(self) -> None:
        assert words_like("") == words_like("  ") == tuple(GLOSSARY)
        assert words_like("", most=2) == ("access cover", "adjusted level")
        assert words_like("level")[0] == "level"
        assert {"level book", "level access", "adjusted level", "known level"} <= set(words_like("level"))
        assert words_like("drai")[0] == "drain"
        assert len(words_like("level", most=3)) == 3
        assert len(set(words_like("level"))) == len(words_like("level"))
