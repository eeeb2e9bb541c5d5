"""A sheet's brief in sentences: what is out of the ordinary always, the ordinary where all of it is wanted."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from app.domain.brief import Before, BriefFacts, OtherSheet, Query, brief_lines

PLAIN = BriefFacts(True, "ordinary", 1, "", 1, 1, (), (), (), None)
GLUED = datetime(2026, 11, 12, 14, 5, tzinfo=UTC)


def said(facts: BriefFacts, *, whole: bool = False) -> list[str]:
    return list(brief_lines(facts, lambda moment: f"on {moment:%d %b}", whole=whole))


def test_of_an_ordinary_sheet_there_is_nothing_to_say_unless_all_is_asked() -> None:
    assert said(PLAIN) == []
    assert said(PLAIN, whole=True) == ["Its label is with it.", "Not bulky."]
    assert said(replace(PLAIN, bulk="thin")) == [] and said(replace(PLAIN, bulk="thin"), whole=True)[1] == "Thin."


def test_what_is_missing_or_thick_or_in_pieces_is_said() -> None:
    lines = said(replace(PLAIN, has_label=False, bulk="bulky", pieces=3, notes="rhizome in a bag"))
    assert lines == ["Its label is still to come: keep its place free, bottom right.",
                     "Bulky: straps or thread for the thick parts, and on top in the stack.",
                     "3 parts lie in the folder: all of them go on the sheet.", "The collector's notes: rhizome in a bag"]  # fmt: skip


def test_where_the_other_sheets_are_and_what_to_pencil() -> None:
    others = (OtherSheet(1, "TQX 000001·N", "in F1, shelf 2"), OtherSheet(3, "TQX 000009·7", "at Mounting table 2"))
    # Pencilled just above the label: Royal Botanic Garden Edinburgh, "Mounting herbarium specimens".
    assert said(replace(PLAIN, part=2, parts=3, others=others)) == [
        "Sheet 2 of 3 of this specimen.",
        "The others: sheet 1, TQX 000001·N, in F1, shelf 2; sheet 3, TQX 000009·7, at Mounting table 2.",
        "Pencil “Sheet 2 of 3” just above the label.",
    ]


def test_what_is_in_question_and_what_was_decided() -> None:
    facts = replace(PLAIN, queries=(Query("name query", "cf. repens"), Query("label query", "two dates?"), Query("number query", "")),
                    decided=("Of its consignment: no glue on the mosses",))  # fmt: skip
    assert said(facts) == ["Name query: cf. repens.", "Label query: two dates?", "Number query.",
                           "Of its consignment: no glue on the mosses"]  # fmt: skip


def test_a_sheet_that_came_back_says_what_was_wrong() -> None:
    before = Before(GLUED, "PVA", ("loose part", "label crooked"), ("the lowest leaf",))
    assert said(replace(PLAIN, before=before)) == [
        "It was glued before, on 12 Nov with PVA. Found wrong: loose part, label crooked.",
        "The inspection noted: the lowest leaf.",
    ]
    assert said(replace(PLAIN, before=Before(GLUED, "", (), ()))) == ["It was glued before, on 12 Nov."]
