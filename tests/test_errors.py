"""What a refusal says."""

from __future__ import annotations

import copy
import pickle

import pytest

from sitelevels import SurveyError, SurveyWarning
from sitelevels.errors import rows_named


def test_a_refusal_says_where_what_the_rule_and_what_to_do_in_sentences() -> None:
    error = SurveyError("the reading is empty", where="row 3, point A", rule="It must be a number.", remedy="Fill it in.")
    assert str(error) == "Row 3, point A: the reading is empty. It must be a number. Fill it in."
    assert error.problems == (str(error),)


def test_without_a_place_the_sentence_starts_with_what_is_wrong() -> None:
    assert str(SurveyError("the book is empty")) == "The book is empty."


@pytest.mark.parametrize("end", [".", "!", "?"])
def test_no_second_full_stop_is_put(end: str) -> None:
    assert str(SurveyError(f"is it so{end}", remedy="Look.")) == f"Is it so{end} Look."


def test_a_name_inside_the_sentence_keeps_its_capitals() -> None:
    assert str(SurveyError("the DPC of North Wall is missing")) == "The DPC of North Wall is missing."


def test_several_refusals_become_one_that_tells_each_once_and_in_order() -> None:
    first, second = SurveyError("the first", where="row 1"), SurveyError("the second", where="row 2")
    whole = SurveyError.together([first, second, first])
    assert whole.problems == ("Row 1: the first.", "Row 2: the second.")
    assert str(whole) == "Row 1: the first.\nRow 2: the second."


def test_refusals_already_joined_join_again() -> None:
    pair = SurveyError.together([SurveyError("one"), SurveyError("two")])
    assert SurveyError.together([pair, SurveyError("three")]).problems == ("One.", "Two.", "Three.")


def test_a_refusal_is_a_value_error_and_a_doubt_a_user_warning() -> None:
    assert issubclass(SurveyError, ValueError)
    assert issubclass(SurveyWarning, UserWarning)


@pytest.mark.parametrize("twin", [copy.copy, lambda error: pickle.loads(pickle.dumps(error))])
def test_a_refusal_survives_being_copied_and_sent_between_processes(twin) -> None:  # type: ignore[no-untyped-def]
    error = SurveyError.together([SurveyError("one", where="row 1"), SurveyError("two", remedy="Look.")])
    assert twin(error).problems == error.problems
    assert str(twin(error)) == str(error)


@pytest.mark.parametrize(("numbers", "words"), [([3], "row 3"), ([3, 7], "rows 3 and 7"), ([3, 7, 9], "rows 3, 7 and 9")])
def test_rows_are_named(numbers: list[int], words: str) -> None:
    assert rows_named(numbers) == words
