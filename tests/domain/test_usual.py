"""What is usual in words, and the limit that follows from it, at each edge."""

from __future__ import annotations

from fractions import Fraction

import pytest

from app.domain.house import House
from app.domain.stages import Stage
from app.domain.usual import RULE_OF, Figures, bucket_end_h, reason_of, short_words, suggested, usual_words, within

WEEK_OF_FIVE = Fraction(5, 7)


@pytest.mark.parametrize(
    ("hours", "said"),
    [(None, "not reached"), (0, "1 hour"), (1, "2 hours"), (46, "47 hours"), (47, "2 days"), (48, "3 days"), (71, "3 days"),
     (72, "4 days"), (335, "14 days"), (336, "15 days"), (360, "16 days")],
)  # fmt: skip
def test_a_time_is_never_said_too_short(hours: int | None, said: str) -> None:
    assert within(hours) == said


@pytest.mark.parametrize(("hours", "end"), [(0, 1), (335, 336), (336, 360), (360, 384)])
def test_a_bucket_ends_where_the_next_begins(hours: int, end: int) -> None:
    assert bucket_end_h(hours) == end


def test_both_figures_in_a_sentence_and_in_few_words() -> None:
    assert usual_words(71, 263) == "half within 3 days, nine in ten within 11 days"
    assert usual_words(71, None) == "half within 3 days, nine in ten not reached"
    assert usual_words(None, None) == "half not reached, nine in ten not reached"
    assert short_words(71, 263) == "usually 3 days, nine in ten 11"
    assert short_words(4, 9) == "usually 5 hours, nine in ten 10"
    assert short_words(4, 71) == "usually 5 hours, nine in ten 3 days"
    assert short_words(4, None) == "usually 5 hours, nine in ten not reached"
    assert short_words(None, None) == "usual time not reached"
    # Nine in ten are over within the same span as half.
    assert short_words(60, 70) == "nearly always 3 days" and short_words(0, 0) == "nearly always 1 hour"


def ready(ninety_h: int | None = 240, ended: int = 143, weeks: int = 8, *, least: int = 20,
          open_share: Fraction = WEEK_OF_FIVE) -> tuple[int | None, str]:  # fmt: skip
    found = suggested(Stage.READY, Figures(ninety_h, ended, weeks), least=least, open_share=open_share)
    return found.value, found.words


@pytest.mark.parametrize(
    ("ninety_h", "days"),
    # Hours to the end of the bucket, in days, times 5/7, up to the next whole: 241 h are 7.17, 360 h 10.7, 168 h exactly 5.
    [(240, 8), (336, 11), (167, 5), (168, 6), (0, 1), (23, 1), (32, 1), (33, 2)],
)
def test_on_shelves_it_is_the_nine_in_ten_in_open_days_rounded_up(ninety_h: int, days: int) -> None:
    assert ready(ninety_h) == (days, f"{days} open day" + ("s" if days > 1 else ""))


def test_once_mounted_it_is_in_hours() -> None:
    found = suggested(Stage.MOUNTED, Figures(1, 30, 9), least=20, open_share=WEEK_OF_FIVE)
    assert (found.value, found.words) == (2, "2 hours")


def test_a_room_that_never_closes_counts_every_day_and_one_that_never_opens_at_least_one() -> None:
    assert ready(240, open_share=Fraction(1))[0] == 11
    assert ready(240, open_share=Fraction(0))[0] == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"weeks": 7}, "Not yet: 7 of 8 weeks are on record."),
        ({"ended": 19}, "Not yet: 19 of 20 stays have ended."),
        ({"ended": 143, "least": 200}, "Not yet: 143 of 200 stays have ended."),
        ({"ninety_h": None}, "None: nine in ten is not reached while so many still wait."),
        ({"ninety_h": 24 * 5200}, "None: 3715 open days lie outside the 1 to 3650 that the rule allows."),
    ],
)
def test_nothing_is_suggested_before_there_is_enough_to_go_by(more: dict[str, int | None], said: str) -> None:
    assert ready(**more) == (None, said)  # type: ignore[arg-type]
    assert ready(ended=20)[0] == 8 and ready(weeks=8)[0] == 8


def test_an_hour_outside_the_rule_is_not_suggested() -> None:
    inside, outside = (
        suggested(Stage.MOUNTED, Figures(hours, 30, 9), least=20, open_share=WEEK_OF_FIVE) for hours in (47, 48)
    )
    assert (
        inside.value == 48
        and outside.value is None
        and outside.words.startswith("None: 49 hours lie outside the 1 to 48")
    )


@pytest.mark.parametrize("stage", [Stage.DRYING, Stage.UNDER_PRESS, Stage.DRY])
def test_what_spoils_and_what_waits_for_several_things_gets_no_suggestion_but_a_reason(stage: Stage) -> None:
    found = suggested(stage, Figures(240, 143, 8), least=20, open_share=WEEK_OF_FIVE)
    assert found.value is None and found.words.startswith("None: ")


def test_no_limit_follows_from_fresh_and_dry_plants_together() -> None:
    mixed, dry = (
        suggested(Stage.INTAKE, Figures(240, 143, 8, fresh), least=20, open_share=WEEK_OF_FIVE)
        for fresh in (True, False)
    )
    assert mixed.value is None and "fresh plants are among these" in mixed.words
    assert dry.value == 8


def test_a_cabinet_has_a_limit_of_its_own_on_shelves_only() -> None:
    found = {stage: suggested(stage, Figures(5, 143, 8), least=20, open_share=WEEK_OF_FIVE, in_cabinet=True).value
             for stage in Stage}  # fmt: skip
    assert {stage for stage, value in found.items() if value is not None} == {Stage.INTAKE, Stage.READY}


def test_each_rule_that_a_suggestion_replaces_is_there() -> None:
    assert {getattr(House(), name) for name in RULE_OF.values()} == {10, 60, 1}
    assert reason_of(1143) == "nine in ten took no longer, of 1,143 stays"
