"""What to teach: first looks by whose gluing it was, before a lesson and since, with honest intervals."""

from __future__ import annotations

import random
from typing import Any

import pytest
from statsmodels.stats.proportion import proportion_confint

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.findings import findings_by_worker
from app.queries.first_looks import FirstLooks, first_looks_of, passed_first_by_worker, share
from tests.queries.weeks import rules
from tests.room import Room
from tests.services.days import done
from tests.services.test_inspecting import dry, looks
from tests.services.test_sign_offs import signs


def taught(room: Room, who: str) -> FirstLooks:
    with reading(room.database) as session:
        return first_looks_of(session, room.worker[who], room.now, room.zone)


def told(each: Any) -> tuple[int, int]:
    return each.count, each.cases


def kinds(found: FirstLooks) -> list[tuple[str, int, int, int]]:
    return [(line.kind, *told(line.share), line.learning) for line in found.kinds]


# Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3: Wilson's without correction, to four digits.
@pytest.mark.parametrize(
    ("count", "cases", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_range_of_a_share_is_the_published_one(count: int, cases: int, low: float, high: float) -> None:
    found = share(count, cases, 20).interval
    assert found is not None
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


def test_the_range_is_another_librarys_too() -> None:
    dice = random.Random(8)
    for cases in [*range(1, 40), 500, 20_000]:
        count = dice.randint(0, cases)
        found = share(count, cases, 1).interval
        assert found is not None
        assert (found.low, found.high) == pytest.approx(proportion_confint(count, cases, method="wilson"), abs=1e-12)


def test_a_share_of_too_few_has_no_range() -> None:
    assert share(19, 19, 20).interval is None and share(20, 20, 20).interval is not None
    assert share(0, 0, 0).interval is None


def test_a_worked_example_by_hand(room: Room) -> None:
    """Olwen mounts four: one passes, one fails with two findings, one is mended here, one is glued again by Rosamund and passes."""
    well, two, mended, again = (dry(room) for _ in range(4))
    done(looks(room, well, "passed"))
    done(looks(room, two, "to-be-mended", ["loose-part@400,300", "label-crooked@810,900"]))
    done(looks(room, mended, "mended-here", ["loose-part@100,300", "loose-part@500,300"]))
    done(room.scans(again, "inspection", step=Step.RE_GLUE, facts={"adhesive": "pva", "findings": ["lifting@400,300"]}))
    dry(room, number=again)
    room.signs_in("hedda", "inspection")
    done(looks(room, again, "passed"))
    done(looks(room, two, "passed"))  # no first look any more
    olwen, rosamund = taught(room, "olwen"), taught(room, "rosamund")
    assert told(olwen.passed) == (1, 4) and told(olwen.learning) == (0, 0)
    # Two loose parts on one sheet are one gluing that had it.
    assert kinds(olwen) == [("loose-part", 2, 4, 0), ("label-crooked", 1, 4, 0), ("lifting", 1, 4, 0)]
    assert told(rosamund.passed) == (1, 1) and rosamund.kinds == ()
    assert olwen.kinds[0].words == "loose part"


def test_glued_again_is_no_finding_of_whoever_glued_it_again(room: Room) -> None:
    number = dry(room)
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"adhesive": "pva", "findings": ["lifting"]}))
    with reading(room.database) as session:
        found = findings_by_worker(session, room.now.replace(year=2025), room.now)
    assert {worker: [each.kind for each in seen.found] for worker, seen in found.items()} == {
        room.worker["olwen"]: ["lifting"]
    }


def test_what_came_mounted_and_was_glued_anew_at_once_is_nobodys_finding(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    done(room.scans(number, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True}))
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"findings": ["loose-part"], "adhesive": "pva"}))
    assert all(not taught(room, who).passed.cases for who in ("olwen", "rosamund"))
    with reading(room.database) as session:
        assert findings_by_worker(session, room.now.replace(year=2025), room.now) == {}


def test_what_was_learned_is_apart(room: Room) -> None:
    own = dry(room)
    room.signs_in("olwen", "table-1")
    room.signs_in("piet", "table-1", "beside")
    number = room.sheet_mounted()
    room.signs_in("rosamund", "press")
    learned = dry(room, number=number)
    room.signs_in("rosamund", "inspection")
    done(looks(room, own, "passed"))
    done(looks(room, learned, "to-be-mended", ["label-crooked"]))
    learner = taught(room, "piet")
    assert told(taught(room, "olwen").passed) == (1, 1)
    assert told(learner.passed) == (0, 0) and told(learner.learning) == (0, 1)
    assert kinds(learner) == [("label-crooked", 0, 0, 1)]


def test_before_a_lesson_and_since_by_when_it_was_glued(room: Room) -> None:
    first, second = dry(room), dry(room)
    room.wait(days=1)
    signs(room, "olwen")
    done(looks(room, first, "to-be-mended", ["lifting"]))
    done(looks(room, second, "passed"))
    room.wait(days=7)
    done(looks(room, dry(room), "passed"))
    (lesson,) = taught(room, "olwen").lessons
    assert (lesson.words, lesson.by) == ("ordinary sheets", "Rosamund Ashgill")
    assert (told(lesson.before), told(lesson.since)) == ((1, 2), (1, 1))
    weeks = taught(room, "olwen").weeks
    # Glued on Wednesday 25 November 2026, and nine or more days on.
    assert [(week.name, told(week.share), week.found) for week in weeks] == [
        ("2026-W49", (1, 1), ""), ("2026-W48", (1, 2), "lifting or cockled")]  # fmt: skip


def test_enough_cases_is_a_house_rule(room: Room) -> None:
    rules(room, "first_pass_least", 5)
    for _ in range(5):
        assert taught(room, "olwen").passed.interval is None
        done(looks(room, dry(room), "passed"))
    found = taught(room, "olwen").passed
    assert found.interval is not None
    # Wilson of 5 of 5: n / (n + z²) to 1 (from the formula, z = 1.959964).
    assert (found.interval.low, found.interval.high) == pytest.approx((5 / (5 + 1.959964**2), 1.0), abs=1e-6)


def test_a_look_taken_back_and_one_long_ago_count_for_nothing(room: Room) -> None:
    number = dry(room)
    answer = done(looks(room, number, "to-be-mended", ["lifting"]))
    done(room.undoes(answer.entry, "inspection"))
    assert told(taught(room, "olwen").passed) == (0, 0)
    done(looks(room, number, "passed"))
    with reading(room.database) as session:
        found = passed_first_by_worker(session, room.now.replace(year=2025), room.now)
    assert {worker: told(each) for worker, each in found.items()} == {room.worker["olwen"]: (1, 1)}
    room.wait(weeks=26, minutes=1)
    assert told(taught(room, "olwen").passed) == (0, 0)
