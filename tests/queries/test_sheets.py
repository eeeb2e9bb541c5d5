"""One sheet's page: where it is, since when, what may happen next, and its log as sentences."""

from __future__ import annotations

from datetime import timedelta

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.stages import Step
from app.queries.sheets import sheet_json, sheet_page
from app.services.desk import Desk, ScanRequest
from app.services.facts import sheet_by_number
from app.services.registering import renumber
from app.services.room import add_hazard
from app.services.scanning import once
from tests.queries.looking import label, page_of
from tests.room import Room


def _renumbered(desk: Desk, number: str, new: str) -> Answer:
    row = sheet_by_number(desk.session, number)
    assert row is not None
    return Answer("done", "Renumbered.", entry=renumber(desk, row, new))


def _sentences(room: Room, number: str, **more: object) -> list[str]:
    return [line.sentence for line in page_of(room, number, **more).log]


def test_the_page_says_what_the_sheet_is_and_where(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Geranium sylvaticum", collector="A. Brackwater", record_number="118", locality="Quillmoor Fells",
          is_sensitive=True, consignment="Fell meadow survey 2026", event_date="2026-07-03")  # fmt: skip
    room.wait(days=6)
    page = page_of(room, number)
    assert (page.shown, page.plant, page.collector, page.record_number) == (
        "TQX 000001·N", "Geranium sylvaticum", "A. Brackwater", "118")  # fmt: skip
    assert (page.stage_words, page.age, page.place) == ("Ready for mounting", "6 days", "M1, shelf 1")
    assert page.is_sensitive and page.locality == "Quillmoor Fells" and page.consignment == "Fell meadow survey 2026"


def test_a_number_that_is_not_there_has_no_page(room: Room) -> None:
    with reading(room.database) as session:
        assert sheet_page(session, "TQX 000001·N", room.now, room.zone) is None
        assert sheet_page(session, "'; drop table sheet; --", room.now, room.zone) is None


def test_a_number_is_read_as_it_is_written_on_the_slip(room: Room) -> None:
    number = room.sheet_ready()
    assert page_of(room, "tqx 000001-n").number == number


def test_a_former_number_still_finds_the_sheet(room: Room) -> None:
    number, new = room.sheet_ready(), room.new_number()
    request = ScanRequest(room.next_id(), "", worker_ids=(room.worker["hedda"],), reason="slip was torn")
    with transaction(room.database) as session:
        once(session, request, room.occasion, lambda desk: _renumbered(desk, number, new))
    page = page_of(room, number)
    assert page.number == new and page.former == ("TQX 000001·N",)
    assert page.log[-1].sentence == (
        "Wed 25 Nov 09:00 — given the number TQX 000002·L instead of TQX 000001·N by Hedda Brackwater. Reason: slip was torn."
    )


def test_the_sheets_of_one_specimen_name_each_other(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    page = page_of(room, number)
    assert page.part_words == "1 of 2" and [other.part for other in page.others] == [2]
    other = page_of(room, page.others[0].number)
    assert other.part_words == "2 of 2" and other.others[0].number == number


def test_the_log_is_told_in_sentences(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(hours=5, minutes=6)
    room.scans(number, "table-1")
    room.wait(minutes=20)
    room.scans(number, "table-1")
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.scans(number, "press")
    assert _sentences(room, number)[1:] == [
        "Wed 25 Nov 09:00 — arrived dry by Rosamund Ashgill at Intake, to M1, shelf 1.",
        "Wed 25 Nov 14:06 — taken up by Olwen Tarrant at Mounting table 1.",
        "Wed 25 Nov 14:26 — mounted by Olwen Tarrant at Mounting table 1.",
        "Wed 25 Nov 14:27 — put under weight in P1 by Olwen Tarrant at Press, to lie 24 h.",
    ]


def test_an_early_release_says_by_how_much_and_why(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=20, minutes=50)
    room.weights("off", "P1")
    room.takes_out(number, who="hedda", early=True, reason="wanted for a visit")
    last = page_of(room, number).log[-1]
    assert last.early_by_s == 3 * 3600 + 600
    assert last.sentence == (
        "Thu 26 Nov 05:50 — let out 3 h 10 min early: taken out of P1 after 20 h 50 min under weight by Hedda Brackwater at Press. "
        "Reason: wanted for a visit."
    )


def test_what_was_taken_back_stays_and_says_by_whom(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(minutes=5)
    entry = room.scans(number, "table-1").entry
    assert entry is not None
    room.wait(minutes=4)
    room.undoes(entry)
    log = page_of(room, number).log
    assert log[-2].taken_back == "Taken back by Olwen Tarrant, Wed 25 Nov 09:09: wrong sheet."
    assert (
        log[-1].sentence
        == "Wed 25 Nov 09:09 — “taken up” of Wed 25 Nov 09:05 taken back by Olwen Tarrant: wrong sheet."
    )
    assert [line.is_last for line in log] == [False, True, False, False]
    assert page_of(room, number).hands == ("Rosamund Ashgill",)


def test_a_deed_written_after_the_fact_says_which_rule_it_broke(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(number, "table-1", step=Step.MOUNT, already_done=True)
    last = page_of(room, number).log[-1]
    assert last.after_the_fact
    assert (
        "Written as already done. Against a rule:" in last.sentence and "Held: mounted against a rule." in last.sentence
    )


def test_a_late_entry_says_when_it_was_recorded(room: Room) -> None:
    number = room.sheet_ready()
    happened = room.now + timedelta(hours=1)
    room.wait(days=1)
    room.scans(number, "table-1", step=Step.TAKE_UP, who="hedda", manages=True, happened_at=happened)
    last = page_of(room, number).log[-1]
    assert last.is_late and last.sentence.endswith("Late entry, recorded Thu 26 Nov 09:00.")


def test_at_a_station_only_the_own_name_is_shown(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1")
    own = page_of(room, number, by_names=False, worker_ids=(room.worker["olwen"],))
    assert "Olwen Tarrant" in own.log[-1].sentence and not any("Rosamund" in line.sentence for line in own.log)
    other = page_of(room, number, by_names=False, worker_ids=(room.worker["piet"],))
    told = repr(other)
    assert not any(name in told for name in ("Olwen", "Rosamund", "Hedda"))


def test_last_seen_is_the_later_of_entry_and_refused_scan(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(hours=1)
    assert page_of(room, number).seen_where == "Intake"
    room.scans(number, "filing", step=Step.FILE)
    page = page_of(room, number)
    assert (page.seen_at, page.seen_where, page.seen_by) == (room.now, "Filing", ("Piet Lindqvist",))
    assert page.hands == ("Rosamund Ashgill",)
    room.wait(minutes=1)
    room.scans(number, "table-1")
    assert page_of(room, number).seen_where == "Mounting table 1"


def test_a_hold_says_since_when_why_and_what_it_stops(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "label-query"}, reason="two labels")
    page = page_of(room, number)
    hold = page.holds[0]
    assert (hold.words, hold.since, hold.why, hold.by) == ("label query", room.now, "two labels", ("Hedda Brackwater",))
    assert hold.stops == ("take up", "file")
    take_up = next(step for step in page.next_steps if step.step == "take-up")
    assert take_up.stopped_by == ("label query",)


def test_cautions_of_sheet_and_consignment_are_shown_once(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, consignment="Bequest of 1931")
    with transaction(room.database) as session:
        add_hazard(session, "irritant", room.now, sheet_id=1)
        add_hazard(session, "irritant", room.now, consignment_id=1)
        add_hazard(session, "pins", room.now, consignment_id=1)
    assert page_of(room, number).hazards == ("irritant", "pins")
    assert page_of(room, number).cautions[1] == "Sharp pins in the folder."


def test_what_may_happen_next_follows_the_workflow(room: Room) -> None:
    number = room.sheet_ready()
    assert [step.step for step in page_of(room, number).next_steps] == ["lay-to-dry", "take-up", "goes-unmounted"]
    room.scans(number, "table-1")
    assert [step.step for step in page_of(room, number).next_steps] == ["put-back", "mount", "another-sheet"]
    room.wait(minutes=15)
    room.scans(number, "table-1")
    assert [step.step for step in page_of(room, number).next_steps] == ["put-under-weight"]


def test_a_withdrawn_sheet_goes_nowhere(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    page = page_of(room, number)
    assert (page.stage_words, page.closed_as, page.next_steps) == ("Withdrawn", "sent in exchange", ())


def test_the_json_of_a_sheet_has_the_names_of_the_contract(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=1)
    with reading(room.database) as session:
        found = sheet_json(session, number, room.now, room.zone)
    assert found is not None
    assert {"number", "stage", "since", "cabinet", "shelf", "stack", "holds", "hazards", "adhesive", "bulk", "under_weight_minutes",
            "needs_minutes", "ready_at", "treated", "stalled", "log"} <= set(found)  # fmt: skip
    assert (found["stage"], found["stack"]) == ("under-press", "P1")
    assert (found["under_weight_minutes"], found["needs_minutes"]) == (60, 1440)
    assert found["ready_at"] == "2026-11-26T09:00:00+00:00"
    assert [line["step"] for line in found["log"]] == ["take-in", "arrive-dry", "take-up", "mount", "put-under-weight"]
