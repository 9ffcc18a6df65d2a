"""What the message of a form says, for the tests of forms."""

import re
from html import unescape
from typing import Any


def sentences(form: Any) -> list[str]:
    """The sentences of the message, without tags."""
    return [unescape(part) for part in re.split(r"<[^>]*>", form.message.value) if part.strip()]


def refused(form: Any) -> str:
    assert "role='alert'" in form.message.value
    assert "Traceback" not in form.message.value
    assert "workbook itself has failed" not in form.message.value
    assert all(sentence.rstrip().endswith((".", "?", "!")) for sentence in sentences(form))
    return " ".join(sentences(form))


def went_well(form: Any) -> str:
    assert "role='status'" in form.message.value, form.message.value
    return " ".join(sentences(form))
