"""What refusals teach: every code that the program can refuse with has its words, and a question is told from a mistake."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.domain.lessons import LESSONS, is_question, lesson_of
from app.domain.stages import Step

APP = Path(__file__).resolve().parent.parent.parent / "app"


def codes_in(path: Path) -> Iterator[str]:
    """The codes that a source refuses with."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Refusal" and node.args:
            code = node.args[0]
            assert isinstance(code, ast.Constant), f"{path}:{node.lineno} refuses with a code that is not written out"
            yield str(code.value)


def test_every_code_that_is_refused_with_has_its_lesson_and_no_lesson_is_idle() -> None:
    refused_with = {code for path in APP.rglob("*.py") for code in codes_in(path)}
    assert len(refused_with) > 30
    assert refused_with == set(LESSONS)


def test_lessons_are_sentences_as_the_pages_want_them() -> None:
    for code, lesson in LESSONS.items():
        assert lesson.words[0].isupper() and not lesson.words.endswith("."), code
        assert lesson.teach.endswith((".", "?")) and len(lesson.teach) < 140, code
    assert len({lesson.words for lesson in LESSONS.values()}) == len(LESSONS)


def test_a_code_that_is_not_in_the_table_is_said_as_it_is_written() -> None:
    # A room may keep refusals of an older version, whose code is no longer given.
    assert (lesson_of("too-warm").words, lesson_of("too-warm").teach) == ("Too warm", "")


@pytest.mark.parametrize(
    ("codes", "step", "asks"),
    [
        (("no-stack",), Step.PUT_UNDER_WEIGHT, True),
        (("no-stack",), "", False),  # a stack's card that is unknown
        (("not-inspected",), Step.INSPECT, True),
        (("not-inspected",), Step.FILE, False),
        (("reason-needed",), Step.RENUMBER, True),
        (("no-stack", "reason-needed"), Step.PUT_UNDER_WEIGHT, True),
        (("no-stack", "on-hold"), Step.PUT_UNDER_WEIGHT, False),
        ((), Step.INSPECT, False),
        (("too-warm",), Step.INSPECT, False),
    ],
)
def test_a_scan_that_the_next_one_completes_is_a_question(codes: tuple[str, ...], step: str, asks: bool) -> None:
    assert is_question(codes, step) is asks
