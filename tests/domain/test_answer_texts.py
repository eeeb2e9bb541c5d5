"""The sentences of a kept answer, said anew; what a sheet is recognised by and what is sent back stay as they are."""

from __future__ import annotations

from app.domain.answer import Answer, Ask, Choice, Described, answer_from
from app.domain.answer_texts import said_anew, sentences
from app.domain.named_text import NamedText

ANSWER = Answer(
    "which-one", "Hello, Piet.", ("Piet glued it.", "All is well."), "Ask Piet.",
    Described(number="TQX0000014", plant="Rosa canina", detail="Piet no. 12"), "mount", 7,
    refusals=({"code": "own-work", "words": "Piet did it.", "with": "Piet", "minutes": 4},),
    choices=(Choice("Piet", "facts.glued_by", "Piet", plant="Piet", detail="Piet"),), ask=Ask("who", "Is it Piet?"),
    carry={"code": "Piet"}, left=({"number": "Piet", "why": "Piet has it."},), moved=("Piet",), status=422,
)  # fmt: skip


def test_every_sentence_is_heard_and_nothing_else() -> None:
    assert set(sentences(ANSWER.kept())) == {
        "Hello, Piet.", "Piet glued it.", "All is well.", "Ask Piet.", "", "Piet did it.", "Piet", "Is it Piet?", "Piet has it."
    }  # fmt: skip


def test_an_answer_said_anew_is_still_an_answer_and_only_its_sentences_differ() -> None:
    anew = answer_from(said_anew(ANSWER.kept(), lambda text: text.replace("Piet", "W03")))
    assert (anew.word, anew.lines, anew.next) == ("Hello, W03.", ("W03 glued it.", "All is well."), "Ask W03.")
    assert anew.refusals == ({"code": "own-work", "words": "W03 did it.", "with": "W03", "minutes": 4},)
    assert anew.choices == (Choice("W03", "facts.glued_by", "Piet", plant="Piet", detail="Piet"),)
    assert anew.ask is not None and anew.ask.label == "Is it W03?"
    assert anew.left == ({"number": "Piet", "why": "W03 has it."},)
    assert (anew.sheet, anew.carry, anew.moved) == (ANSWER.sheet, ANSWER.carry, ANSWER.moved)


def test_an_answer_in_which_nothing_changes_is_the_same() -> None:
    assert answer_from(said_anew(ANSWER.kept(), str)) == ANSWER
    plain = Answer("done", "Taken up.")
    assert answer_from(said_anew(plain.kept(), str)) == plain


def test_a_text_has_one_mark_wherever_its_rows_are() -> None:
    first = NamedText("entry.reason", "why", "Piet", True, True, (1, 2))
    assert first.mark == NamedText("entry.reason", "why", "Piet", True, True, (3,)).mark
    assert first.mark != NamedText("hold.why", "why", "Piet", True, True, (1, 2)).mark
    assert first.mark != NamedText("entry.reason", "why", "Piet!", True, True, (1, 2)).mark
