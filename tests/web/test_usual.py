"""The page of what is usual: figures with their curve and words, and limits made of them by the manager only."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from app.db.engine import Database, reading, transaction
from app.domain.stages import Step
from app.queries.cabinets import cabinets
from app.queries.furniture import house_rules
from app.queries.people import ChangeLine, changes
from app.queries.usual import usual
from app.services.room import set_cabinet_limit
from app.web.usual import curve_of
from tests.queries.looking import own_limit, stage_of
from tests.room import Room
from tests.services.days import done
from tests.web.conftest import ClientAs, send, words
from tests.web.test_every_page import Reading

MONDAY = datetime(2026, 8, 31, 9, 0, tzinfo=UTC)
FOUR_OPEN_DAYS = {"stage": "ready-for-mounting", "value": "4"}
M1 = 2  # the second cabinet of the cast


@pytest.fixture
def room(database: Database) -> Room:
    """A room after eight weeks: 24 sheets, each mounted 100 hours after it came, and one that waits."""
    room = Room(database, MONDAY)
    for week in range(8):
        room.now = MONDAY + timedelta(weeks=week)
        numbers = [room.sheet_ready() for _ in range(3)]
        room.wait(hours=100)
        for number in numbers:
            done(room.scans(number, "table-1", step=Step.TAKE_UP))
            done(room.scans(number, "table-1", step=Step.MOUNT))
    room.wait(hours=1)
    room.sheet_ready()
    return room


def rule_and_why(room: Room, name: str) -> tuple[int, str]:
    """A house rule's value, and the reason of its last change."""
    with reading(room.database) as session:
        found = next(rule for rule in house_rules(session) if rule.name == name)
    return found.value, found.history[0].reason if found.history else ""


def own_days(room: Room, name: str = "M1") -> int | None:
    with reading(room.database) as session:
        return next(each.limit_open_days for each in cabinets(session) if each.name == name)


def last_change(room: Room) -> ChangeLine:
    with reading(room.database) as session:
        return changes(session, limit=1)[0]


def test_the_page_says_what_is_usual_beside_each_limit(client_as: ClientAs) -> None:
    said = words(client_as("reader").get("/usual"))
    assert "Half within 5 days, nine in ten within 5 days." in said
    # The whole stage, then M1, which has the stage's limit.
    assert "The whole stage 60 open days 5 days 5 days 24 1 4 open days" in said
    assert "M1 60 open days as the stage 5 days 5 days 24 1 4 open days" in said
    assert "8 weeks on record" in said
    assert "None: its limits are for what a sheet waits for" in said
    assert "No stay has ended here yet, and nothing waits." in said


def test_the_curve_has_a_name_a_description_and_its_axes_in_words(client_as: ClientAs) -> None:
    text = client_as("reader").get("/usual").text
    svg = re.search(r'<svg class="usual-curve"[^>]*aria-labelledby="ready-for-mounting.*?</svg>', text, re.S)
    assert svg
    assert "<title" in svg[0] and "Ready for mounting: the share of sheets still there" in svg[0]
    assert re.findall(r"<text[^>]*>(.*?)</text>", svg[0]) == ["all", "half", "1 in 10", "0", "5 days"]
    page = Reading(text)
    assert page.pointed_at <= set(page.ids) and not page.inline
    # All are there until they all go after 100 hours: the quarters before say so.
    assert "Still there after 25 hours 100 %, after 3 days 100 %, after 4 days 100 %." in text


def test_a_curve_is_drawn_between_its_edges_and_never_rises(room: Room) -> None:
    with reading(room.database) as session:
        line = next(each for each in usual(session, room.now, room.zone) if each.stage == "ready-for-mounting")
    drawn = curve_of(line)
    assert drawn
    across = [float(x) for x in re.findall(r"H([\d.]+)", drawn.line)]
    down = [float(y) for y in re.findall(r"V([\d.]+)", drawn.line)]
    assert across == sorted(across) and 52 <= min(across) <= max(across) == 340
    assert down == sorted(down) and min(down) == 10 and max(down) <= 110
    assert drawn.dots == ((across[1], 60.0), (across[1], 100.0))


@pytest.mark.parametrize("role", ["reader", "volunteer", "trainer"])
def test_only_the_manager_finds_a_form_there(client_as: ClientAs, role: str) -> None:
    assert "Make it the limit" in client_as("manager").get("/usual").text
    browser = client_as(role)
    assert "Make it the limit" not in browser.get("/usual").text
    assert send(browser, "/usual", **FOUR_OPEN_DAYS).status_code == 403


def test_a_suggested_limit_is_made_the_limit_and_says_why_by_itself(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    answer = send(browser, "/usual", **FOUR_OPEN_DAYS)
    assert answer.status_code == 302 and answer.location == "/usual#ready-for-mounting"
    assert rule_and_why(room, "limit_ready_days") == (4, "nine in ten took no longer, of 24 stays")
    said = words(browser.get("/usual"))
    assert "The whole stage 4 open days 5 days 5 days 24 1 4 open days it is that already" in said
    assert "Ready for mounting: the limit is changed." in said


def test_a_reason_that_is_typed_stands_instead(room: Room, client_as: ClientAs) -> None:
    assert send(client_as("manager"), "/usual", **FOUR_OPEN_DAYS, reason="agreed on Monday").status_code == 302
    assert rule_and_why(room, "limit_ready_days") == (4, "agreed on Monday")


WRONG: list[tuple[dict[str, str], str, str]] = [
    ({"stage": "ready-for-mounting", "value": "7"}, "Say why; it stays with what was changed.", "reason"),
    ({"stage": "ready-for-mounting", "value": ""}, "Give a whole number.", "value"),
    ({"stage": "ready-for-mounting", "value": "a week", "reason": "why not"}, "Give a whole number.", "value"),
    ({"stage": "ready-for-mounting", "value": "0", "reason": "why not"}, "between 1 and 3650, not 0.", "value"),
    ({"stage": "ready-for-mounting", "value": "3651", "reason": "why not"}, "between 1 and 3650, not 3651.", "value"),
    ({"stage": "ready-for-mounting", "cabinet": "2", "value": ""}, "Give a whole number.", "value"),
    (
        {"stage": "ready-for-mounting", "cabinet": "2", "value": "0", "reason": "x"},
        "between 1 and 3650 open days, not 0.",
        "value",
    ),
    (
        {"stage": "ready-for-mounting", "cabinet": "2", "value": "9"},
        "Say why; it stays with what was changed.",
        "reason",
    ),
    ({"stage": "ready-for-mounting", "cabinet": "2", "value": "4", "reason": "x" * 501}, "longer than 500", "reason"),
]


@pytest.mark.parametrize(("form", "said", "field"), WRONG)
def test_what_is_wrong_is_told_beside_its_field_and_what_was_typed_is_kept(
    room: Room, client_as: ClientAs, form: dict[str, str], said: str, field: str
) -> None:
    answer = send(client_as("manager"), "/usual", **form)
    key = form["stage"] + (f"-{form['cabinet']}" if "cabinet" in form else "")
    page = Reading(answer.text)
    assert answer.status_code == 422 and f'id="{key}-{field}-error"' in answer.text and said in words(answer)
    assert f'id="{key}-value" name="value" type="number" min="1"' in answer.text
    assert re.search(rf'id="{key}-value"[^>]* value="{form["value"]}"', answer.text)
    assert re.search(rf'id="{key}-reason"[^>]* value="{form.get("reason", "")}"', answer.text)
    assert page.pointed_at <= set(page.ids) and len(page.ids) == len(set(page.ids))
    assert rule_and_why(room, "limit_ready_days") == (60, "") and own_days(room) is None


@pytest.mark.parametrize(
    "form",
    [{"stage": "drying", "value": "4"}, {"stage": "attic", "value": "4"}, {"stage": "filed", "value": "4"}, {"value": "4"},
     {"stage": "ready-for-mounting", "cabinet": "99", "value": "4"}, {"stage": "ready-for-mounting", "cabinet": "M1", "value": "4"},
     {"stage": "ready-for-mounting", "cabinet": "1", "value": "4"}],
)  # fmt: skip
def test_a_limit_that_is_not_set_here_is_a_wrong_request(client_as: ClientAs, form: dict[str, str]) -> None:
    assert send(client_as("manager"), "/usual", **form, reason="why not").status_code == 400


def test_a_cabinet_gets_a_limit_of_its_own_and_loses_it_again(room: Room, client_as: ClientAs) -> None:
    browser, mine = client_as("manager"), {"stage": "ready-for-mounting", "cabinet": str(M1)}
    answer = send(browser, "/usual", **mine, value="4")
    assert answer.status_code == 302 and answer.location == f"/usual#ready-for-mounting-{M1}"
    assert own_days(room) == 4 and rule_and_why(room, "limit_ready_days")[0] == 60
    change = last_change(room)
    assert (change.subject, change.what, change.old, change.new, change.by) == ("cabinet", "limit of M1", "", "4 open days",
                                                                                 "Hedda Brackwater")  # fmt: skip
    assert change.why == "nine in ten took no longer, of 24 stays"
    assert "M1 4 open days 5 days 5 days 24 1 4 open days it is that already" in words(browser.get("/usual"))
    # Without a reason it is not taken away, with one it is.
    assert send(browser, "/usual", **mine, value="").status_code == 422 and own_days(room) == 4
    assert send(browser, "/usual", **mine, value="", reason="the stage's is enough").status_code == 302
    assert own_days(room) is None
    assert (last_change(room).old, last_change(room).new) == ("4 open days", "")
    assert "M1: the limit of its own is gone; that of the stage holds." in words(browser.get("/usual"))


def test_any_cabinet_on_shelves_may_be_given_one_whatever_is_on_record(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert send(browser, "/usual", stage="dry", cabinet="3", value="1", reason="visitors wait").status_code == 302
    assert own_days(room, "D1") == 1
    assert "D1 1 open day" in words(browser.get("/usual"))


def test_the_board_judges_by_the_limit_that_was_accepted(room: Room, client_as: ClientAs) -> None:
    room.wait(days=8)
    browser = client_as("manager")
    before = stage_of(room, "ready-for-mounting").stalled
    assert send(browser, "/usual", **FOUR_OPEN_DAYS).status_code == 302
    assert (before, stage_of(room, "ready-for-mounting").stalled) == (0, 1)


def test_a_limit_of_a_cabinet_wants_a_reason_a_cabinet_and_a_number_that_can_be(room: Room) -> None:
    own_limit(room, "M1", 9)
    with transaction(room.database) as session:
        for cabinet_id, days, reason, said in ((M1, 4, " ", "Say why"), (99, 4, "x", "no such cabinet"), (M1, 0, "x", "between 1 and"),
                                               (M1, 3651, "x", "not 3651")):  # fmt: skip
            with pytest.raises(ValueError, match=said):
                set_cabinet_limit(session, cabinet_id, days, reason, room.now)
    assert own_days(room) == 9
