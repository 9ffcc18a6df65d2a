"""Changing one value of brief.toml from a form: every other byte of what a person wrote stays."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels.design.brief_file import with_value
from sitelevels.errors import SurveyError

TEXT = (Path(__file__).parents[2] / "data" / "pottery-yard" / "brief.toml").read_text(encoding="utf-8")

# part, number, key, the value as it stands in the demonstration, and the text that follows it on the line
VALUES = [
    ("job", 1, "name", '"Pottery yard"'), ("job", 1, "invented", "true"), ("survey", 1, "unit", '"m"'),
    ("survey", 1, "adjust", '"setups"'), ("wall", 1, "name", '"studio wall"'), ("layer", 1, "thickness_mm", "50"),
    ("layer", 2, "thickness_mm", "30"), ("layer", 3, "thickness_mm", "100"), ("layer", 3, "name", '"sub-base"'),
    ("demand", 1, "least_mm", "150"), ("demand", 2, "least", '"1:80"'), ("demand", 2, "target", '"1:60"'),
    ("demand", 4, "within_mm", "6"), ("demand", 4, "points", '"edge"'), ("demand", 5, "most_mm", "150"),
    ("demand", 5, "least_mm", "75"), ("demand", 7, "least_mm", "180"), ("demand", 8, "most", '"1:20"'),
    ("finish", 1, "level_at_wall_m", "10.060"), ("finish", 1, "fall_away", '"1:52"'), ("setting_out", 1, "backsight_m", "1.405"),
]
LETTERS = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp"), exclude_characters='"\\\x85')
WORDS = st.text(LETTERS, max_size=12).map('"{}"'.format)
NUMBERS = st.one_of(st.integers(-10**6, 10**6).map(str), st.decimals(-99, 99, places=3).map(str))


@st.composite
def changes(draw: st.DrawFn) -> tuple[tuple[str, int, str, str], str]:
    """A value of the demonstration, and another of its kind."""
    where = draw(st.sampled_from(VALUES))
    old = where[3]
    return where, draw(WORDS if old.startswith('"') else st.sampled_from(["true", "false"]) if old == "true" else NUMBERS)


def expected(text: str, part: str, number: int, key: str, old: str, new: str) -> str:
    """The same change by splitting at headings instead of reading lines."""
    heading = f"\n[[{part}]]" if f"\n[[{part}]]" in text else f"\n[{part}]"
    pieces = text.split(heading)
    pieces[number] = pieces[number].replace(f"\n{key} = {old}", f"\n{key} = {new}", 1)
    return heading.join(pieces)


@given(changes())
@settings(deadline=None, derandomize=True, max_examples=80)
def test_one_value_changes_and_every_other_byte_stays(change: tuple[tuple[str, int, str, str], str]) -> None:
    where, new = change
    changed = with_value(TEXT, *where[:3], new)
    assert changed == expected(TEXT, *where, new)
    assert with_value(changed, *where[:3], where[3]) == TEXT


@given(st.lists(changes(), min_size=2, max_size=5))
@settings(deadline=None, derandomize=True, max_examples=15)
def test_changes_one_after_another_read_back_as_the_last_of_each(made: list[tuple[tuple[str, int, str, str], str]]) -> None:
    text = TEXT
    last: dict[tuple[str, int, str], str] = {}
    for where, new in made:
        text = with_value(text, *where[:3], new)
        last[where[:3]] = new
    told = tomllib.loads(text)
    for (part, number, key), new in last.items():
        table = told[part][number - 1] if isinstance(told[part], list) else told[part]
        assert table[key] == tomllib.loads(f"x = {new}")["x"]
    assert text.count("#") - "".join(last.values()).count("#") == TEXT.count("#")


def test_the_comment_behind_a_value_stays() -> None:
    changed = with_value(TEXT, "demand", 7, "least_mm", "200")
    assert "least_mm = 200         # pavers, laying course and sub-base\n" in changed


class TestMissing:
    def test_a_key_that_is_not_there_is_added_to_its_own_part(self) -> None:
        changed = with_value(TEXT, "demand", 2, "most", '"1:40"')
        told = tomllib.loads(changed)
        assert told["demand"][1]["most"] == "1:40"
        assert [line for line in changed.splitlines() if line not in TEXT.splitlines()] == ['most = "1:40"']
        assert "most" not in told["demand"][0]

    @pytest.mark.parametrize(("part", "number"), [("lawn", 1), ("layer", 4), ("demand", 9)])
    def test_a_part_that_is_not_there_is_refused(self, part: str, number: int) -> None:
        with pytest.raises(SurveyError, match=rf"\[{part}\] number {number}"):
            with_value(TEXT, part, number, "name", '"x"')

    def test_a_value_that_is_no_toml_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="cannot be read"):
            with_value(TEXT, "job", 1, "name", '"half')


class TestLeavingOut:
    @pytest.mark.parametrize(("part", "number", "key", "value"), VALUES)
    def test_the_line_goes_and_every_other_byte_stays(self, part: str, number: int, key: str, value: str) -> None:
        left = with_value(TEXT, part, number, key, None)
        lines, others = TEXT.splitlines(), left.splitlines()
        gone = next(place for place, line in enumerate(lines) if place >= len(others) or line != others[place])
        assert lines[gone].startswith(f"{key} = {value}")
        assert lines[:gone] + lines[gone + 1:] == others
        table = tomllib.loads(left)[part]
        assert key not in (table[number - 1] if isinstance(table, list) else table)

    def test_a_key_that_is_not_there_changes_nothing(self) -> None:
        assert with_value(TEXT, "demand", 2, "most", None) == TEXT

    def test_put_in_and_left_out_again(self) -> None:
        assert with_value(with_value(TEXT, "demand", 2, "most", '"1:40"'), "demand", 2, "most", None) == TEXT

    def test_the_first_of_a_part_and_the_only_one(self) -> None:
        text = 'format = 1\n[job]\nname = "x"\n[taking_up] # mine\n# a note\nsoil = "clay"\n# another\n'
        assert with_value(text, "taking_up", 1, "soil", None) == text.replace('soil = "clay"\n', "")

    def test_a_list_over_several_lines(self) -> None:
        text = 'format = 1\n[survey]\nbreaks = [\n  ["A", "B"],\n  ["C", "D"],\n]\nunit = "m"\n'
        assert with_value(text, "survey", 1, "breaks", None) == 'format = 1\n[survey]\nunit = "m"\n'

    def test_line_ends_of_windows_stay(self) -> None:
        text = TEXT.replace("\n", "\r\n")
        assert with_value(text, "setting_out", 1, "grid_m", None).count("\r\n") == text.count("\r\n") - 1

    @pytest.mark.parametrize(("part", "number"), [("layer", 4), ("lawn", 1), ("demand", 9)])
    def test_of_a_part_that_is_not_there_is_refused(self, part: str, number: int) -> None:
        with pytest.raises(SurveyError, match=rf"\[{part}\] number {number}"):
            with_value(TEXT, part, number, "name", None)


SMALL = "format = 1\n[job]\n{line}\ninvented = true\n[setting_out]\npegs = [\"A\", \"B\"] # two\nbacksight_m = 1.4 # m\n"


@pytest.mark.parametrize(("line", "new", "after"), [
    ('name = "yard #4" # a #note', '"b"', 'name = "b" # a #note'),
    (r'name = "say \"hi\" # no" # n', '"b"', 'name = "b" # n'),
    ("name = 'yard'", '"b"', 'name = "b"'),
    ("name = 'the back yard' # note", '"b"', 'name = "b" # note'),
    ("name='x'#n", '"b"', 'name="b"#n'),
    ("  name   =   \"x\"", '"b"', '  name   =   "b"'),
    ('name = "x"\t# tab', '"# b"', 'name = "# b"\t# tab'),
    ('"name" = "x"', '"b"', '"name" = "b"'),
])
def test_ways_of_writing_a_value(line: str, new: str, after: str) -> None:
    assert with_value(SMALL.format(line=line), "job", 1, "name", new) == SMALL.format(line=after)


def test_a_list_is_replaced_whole() -> None:
    changed = with_value(SMALL.format(line='name = "x"'), "setting_out", 1, "pegs", '["C"]')
    assert changed == SMALL.format(line='name = "x"').replace('["A", "B"]', '["C"]')


def test_a_pair_is_replaced_whole() -> None:
    text = 'format = 1\n[[demand]]\nkind = "gully"\npoint = "G"\nproud_mm = [3, 10] # mm\n'
    assert with_value(text, "demand", 1, "proud_mm", "[4, 9]") == text.replace("[3, 10]", "[4, 9]")


def test_a_list_over_several_lines_ends_no_part() -> None:
    text = 'format = 1\n[survey]\nbreaks = [\n  ["A", "B"],\n  ["C", "D"],\n]\nunit = "m"\n[job]\nname = "x"\n'
    assert with_value(text, "survey", 1, "unit", '"mm"') == text.replace('"m"', '"mm"')


def test_a_heading_inside_a_note_or_a_text_is_no_heading() -> None:
    text = 'format = 1\n# [job]\n[job]\nnote = "[finish]"\nname = "x"\n[finish]\nfall_away = "level"\n'
    assert with_value(text, "job", 1, "name", '"y"') == text.replace('"x"', '"y"')


@pytest.mark.parametrize("text", [TEXT.replace("\n", "\r\n"), TEXT.rstrip("\n"), TEXT.replace("by hand;", "by hand;\u2028")],
                         ids=["line ends of Windows", "no line end at the last line", "a line separator pasted into a note"])
def test_odd_files_keep_every_other_byte(text: str) -> None:
    assert with_value(text, "layer", 1, "thickness_mm", "60") == text.replace("thickness_mm = 50", "thickness_mm = 60")
