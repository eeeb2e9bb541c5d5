"""What an answer's buttons send back: the fields by name, and the facts in them."""

from __future__ import annotations

import pytest

from app.domain.answer import Answer, Ask, Choice
from app.domain.errors import Refused
from app.domain.offers import asks, facts_in, offers, opened

BUNDLE = Answer(
    "which-one", "Which one?", choices=(Choice("Lay to dry: all 6", "choose", "step=lay-to-dry&facts.all=yes"),),
    carry={"code": "KB000017"},
)  # fmt: skip
TWO = Answer(
    "stop", "Stop.", choices=(Choice("The label is here", "choose", "step=lift-hold&facts.hold=label-to-come"),),
    carry={"code": "TQX0000019", "step": "mount"}, already_done="It is already glued",
)  # fmt: skip


def test_a_choice_sends_what_the_answer_carries_and_what_it_holds_together() -> None:
    (fields,) = offers(BUNDLE)
    assert {name: fields[name] for name in ("code", "step", "facts.all")} == {
        "code": "KB000017", "step": "lay-to-dry", "facts.all": "yes"
    }  # fmt: skip


def test_a_deed_that_was_done_already_is_an_offer_beside_the_choices() -> None:
    label, glued = offers(TWO)
    assert (label["step"], label["facts.hold"], "already_done" in label) == ("lift-hold", "label-to-come", False)
    assert glued == {"code": "TQX0000019", "step": "mount", "already_done": "1"}


def test_a_way_out_of_a_question_is_no_offer() -> None:
    leave = Answer(
        "which-one", "Which one?", choices=(Choice("Leave it", "facts.leave", "yes"),), carry={"code": "VC1"}
    )
    assert offers(leave) == () and asks(leave)


def test_nothing_is_offered_where_nothing_is_carried() -> None:
    assert offers(Answer("which-one", "Which one?", choices=(Choice("Yes", "step", "mount"),))) == ()


@pytest.mark.parametrize(
    ("answer", "waits"),
    [
        (BUNDLE, True),
        (TWO, True),
        (Answer("which-one", "Whose?"), True),
        (Answer("done", "Weights on.", ask=Ask("facts.counted", "Another number", "number")), True),
        (Answer("not-yet", "Not yet.", already_done="It is already out"), True),
        (Answer("done", "Taken up."), False),
        (Answer("stop", "Stop.", carry={"code": "TQX0000019"}), False),
    ],
)
def test_what_waits_for_something_is_a_question(answer: Answer, waits: bool) -> None:
    assert asks(answer) is waits


def test_facts_are_read_as_what_they_are() -> None:
    sent = {
        "facts.dryness": "yes",
        "facts.label": "no",
        "facts.counted": "0014",
        "facts.hold": "name-query",
        "step": "mount",
    }
    assert facts_in(sent) == {"dryness": True, "label": False, "counted": 14, "hold": "name-query"}


@pytest.mark.parametrize("count", ["", "-1", "1.5", "100000", "1234567890", "１４", "many"])
def test_a_count_that_is_none_is_refused(count: str) -> None:
    with pytest.raises(Refused) as caught:
        facts_in({"facts.counted": count})
    assert caught.value.refusals[0].code == "misread-number"


def test_what_is_chosen_wins_over_what_was_carried() -> None:
    assert opened({"code": "TQX0000019", "step": "take-up", "choose": "step=re-glue"})["step"] == "re-glue"
