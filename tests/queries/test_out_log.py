"""The log as XES: read by readers that know nothing of the room, it gives the room's own durations, and tells nobody's name."""

from __future__ import annotations

import io
from collections import Counter, defaultdict
from datetime import UTC, date, datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import pandas as pd
import pytest
from sqlalchemy import select

from app.db.engine import reading
from app.db.models import Entry, table_of
from app.domain import xes
from app.domain.stages import Step
from app.domain.stays import dwell_bucket_h
from app.queries.stays import stage_counts
from tests.queries.looking import brought_dry, label
from tests.room import LONDON, Room
from tests.services.going_out import log_of
from tests.services.parcels import consign

# The night in which London's clocks go back: 2026-10-25 at 01:00 UTC (nidirect.gov.uk).
SATURDAY = datetime(2026, 10, 24, 14, 0, tzinfo=UTC)
ENTRY = table_of(Entry)


def events_of(text: str) -> pd.DataFrame:
    """Every event as a row, by the keys of its attributes, as any reader of XML and of tables finds them."""
    found = []
    for _, element in ElementTree.iterparse(io.BytesIO(text.encode())):
        if element.tag == "trace":
            name = next(each.get("value") for each in element if each.get("key") == "concept:name")
            found += [
                {"case": name, **{each.get("key"): each.get("value") for each in event}}
                for event in element.iter("event")
            ]
    table = pd.DataFrame(found)
    table["at"] = pd.to_datetime(table["time:timestamp"], utc=True, format="ISO8601")
    return table


def stays_in(events: pd.DataFrame) -> dict[tuple[str, str], list[float]]:
    """The seconds of every stay that ended, by sheet and stage: from the first event in a stage to the first in another."""
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    for case, mine in events.groupby("case", sort=False):
        runs = (mine["stage"] != mine["stage"].shift()).cumsum()
        begins = mine.groupby(runs).agg(stage=("stage", "first"), at=("at", "first"))
        for stage, since, until in zip(begins["stage"], begins["at"], begins["at"].shift(-1), strict=True):
            if pd.notna(until):
                found[str(case), stage].append((until - since).total_seconds())
    return dict(found)


def rooms_own(room: Room) -> dict[tuple[str, str], list[float]]:
    """The same by the room: each entry that leaves a stage says since when the sheet was in it."""
    from tests.services.going_out import SHEET

    later = ENTRY.alias()
    stands = (ENTRY.c.step != Step.CORRECT, ~select(later.c.id).where(later.c.corrects == ENTRY.c.id).exists())
    left = (
        select(SHEET.c.number, ENTRY.c.from_stage, ENTRY.c.came_at, ENTRY.c.happened_at)
        .join(SHEET, SHEET.c.id == ENTRY.c.subject_id)
        .where(
            ENTRY.c.subject_kind == "sheet",
            ENTRY.c.from_stage.is_not(None),
            ENTRY.c.from_stage != ENTRY.c.to_stage,
            *stands,
        )
        .order_by(ENTRY.c.happened_at, ENTRY.c.id)
    )
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    with reading(room.database) as session:
        for row in session.execute(left):
            found[row.number, row.from_stage].append((row.happened_at - row.came_at).total_seconds())
    return dict(found)


@pytest.fixture
def worked(database: Any) -> Room:
    """A room over the night in which the clocks go back: sheets glued, pressed over the night, looked at, filed, and undone."""
    room = Room(database, SATURDAY)
    consign(room)
    lain = [room.sheet_in("P1") for _ in range(3)]
    room.weights("on", "P1")
    slow = room.sheet_ready()
    room.wait(hours=7, minutes=13, seconds=17)
    undone = brought_dry(room)
    room.undoes(room.log(undone)[-1]["id"], "intake")
    room.wait(hours=16, minutes=47)
    room.scans(undone, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True}, cabinet="M1", shelf="1")
    room.wait(hours=1)
    room.weights("off", "P1")
    for number in lain:
        assert room.takes_out(number).kind == "done"
    room.wait(days=3, microseconds=250_000)
    for number in lain[:2]:
        room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
        room.wait(minutes=4)
        assert room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1").kind == "done"
    room.scans(lain[0], step=Step.BRING_BACK, who="hedda", reason="damage was seen", manages=True)
    room.scans(slow, "table-1", step=Step.TAKE_UP)
    room.wait(minutes=20)
    room.scans(slow, "table-1", step=Step.MOUNT)
    label(room, lain[0], consignment="Gale parcel")
    return room


def test_a_reader_that_knows_nothing_of_the_room_finds_its_durations(worked: Room) -> None:
    events = events_of(log_of(worked))
    found, own = stays_in(events), rooms_own(worked)
    assert found == own and len(own) >= 15
    # Over the night: 25 hours by the sun, 24 by the clock on the wall.
    assert {stays[0] for (_, stage), stays in found.items() if stage == "under-press"} == {25 * 3600 + 17}
    pressed = events[(events["concept:name"] == "take-out") | (events["concept:name"] == "put-under-weight")][
        "time:timestamp"
    ]
    assert {text[-6:] for text in pressed} == {"+01:00", "+00:00"}


def test_the_same_durations_are_in_the_sums_that_the_room_keeps(worked: Room) -> None:
    found: dict[str, Counter[int]] = defaultdict(Counter)
    for (_, stage), stays in stays_in(events_of(log_of(worked))).items():
        found[stage].update(dwell_bucket_h(seconds) for seconds in stays)
    with reading(worked.database) as session:
        kept = {stage: count.ended for stage, count in stage_counts(session, worked.now, worked.zone).items()}
    assert {stage: count for stage, count in kept.items() if count} == found


def test_the_file_is_built_as_the_standard_says(worked: Room) -> None:
    root = ElementTree.fromstring(log_of(worked, workers=True))
    # IEEE 1849-2016 and its schema: the order of a log's elements, what it declares, and keys that are names.
    order = [each.tag for each in root]
    assert (
        order == sorted(order, key=["extension", "global", "classifier", "string", "trace"].index) and root.tag == "log"
    )
    assert float(root.get("xes.version", "")) > 0
    declared = {each.get("prefix"): each.get("uri") for each in root.iter("extension")}
    assert declared == {
        name: f"http://www.xes-standard.org/{name}.xesext" for name in ("concept", "time", "lifecycle", "org")
    }
    keys = {each.get("key") for each in root.iter() if each.get("key")}
    assert {key.partition(":")[0] for key in keys if ":" in key} <= set(declared) and not any(
        " " in key for key in keys
    )
    always = [{each.get("key") for each in event} for event in root.iter("event")]
    told = {each.get("key") for each in root.find("./global[@scope='event']")}
    assert told == {"concept:name", "time:timestamp", "lifecycle:transition", "org:resource"} and all(
        told <= each for each in always
    )
    named = set(root.find("classifier").get("keys").split())
    assert named <= told
    assert {each.get("value") for each in root.iter() if each.get("key") == "lifecycle:transition"} == {"complete"}


def test_no_name_is_in_it_and_no_number_of_a_worker_unless_it_is_asked_for(worked: Room) -> None:
    plain, numbered = log_of(worked), log_of(worked, workers=True, everything=True)
    for text in (plain, numbered):
        assert not [name for name in ("Olwen", "Rosamund", "Hedda", "damage was seen", "wrong sheet") if name in text]
    assert "org:resource" not in plain.replace("org.xesext", "")
    assert set(events_of(numbered)["org:resource"]) >= {"W02", "W04"}


def test_what_was_taken_back_is_told_only_where_everything_is(worked: Room) -> None:
    plain, whole = events_of(log_of(worked)), events_of(log_of(worked, everything=True))
    assert "corrects" not in plain and "correct" not in set(plain["concept:name"])
    taken_back = whole[whole["taken-back"] == "true"]
    corrections = whole[whole["corrects"].notna()]
    assert len(taken_back) == len(corrections) == 1 and set(corrections["corrects"]) == set(taken_back["entry"])
    assert len(whole) == len(plain) + 2
    assert stays_in(whole[whole["taken-back"].isna() & whole["corrects"].isna()]) == stays_in(plain)


def test_a_span_of_days_gives_whole_logs_of_what_moved_in_it(worked: Room) -> None:
    moved = events_of(log_of(worked, since=date(2026, 10, 28), until=date(2026, 10, 28)))
    every = events_of(log_of(worked))
    in_span = set(every[every["at"].dt.tz_convert(LONDON).dt.date == date(2026, 10, 28)]["case"])
    assert set(moved["case"]) == in_span and 0 < len(in_span) < every["case"].nunique()
    assert len(moved) == len(every[every["case"].isin(in_span)])
    # Half an hour past midnight by the room's clock is the next day, not the one of UTC.
    assert set(events_of(log_of(worked, until=date(2026, 10, 24)))["case"]) == set(
        every[every["at"] < "2026-10-24T23:00:00Z"]["case"]
    )


def test_one_consignment_is_told_alone_and_what_is_not_there_is_said(worked: Room) -> None:
    found = ElementTree.fromstring(log_of(worked, consignment="GAL"))
    assert [each.find("string[@key='consignment']").get("value") for each in found.iter("trace")] == ["GAL"]
    for asked, words in (({"consignment": "NONE"}, "no consignment called NONE"), ({"since": date.max}, "as far as that day"),
                         ({"since": date(2026, 10, 2), "until": date(2026, 10, 1)}, "before the first")):  # fmt: skip
        with pytest.raises(ValueError, match=words):
            log_of(worked, **asked)
    assert ElementTree.fromstring(log_of(worked, since=date(2030, 1, 1))).find("trace") is None


def test_what_no_xml_may_hold_does_not_break_the_file() -> None:
    event = xes.Event(
        1, "take-in", SATURDAY + timedelta(microseconds=7), station='Table "1" <&>\x00\x0b', workers=("W01", "W02")
    )
    text = (
        xes.head("a & b", with_workers=True) + xes.trace("X", [("consignment", "é\ufffe")], [event], LONDON) + xes.END
    )
    (found,) = ElementTree.fromstring(text).iter("event")
    told = {each.get("key"): each.get("value") for each in found}
    assert told["station"] == 'Table "1" <&>\ufffd\ufffd' and told["org:resource"] == "W01 & W02"
    assert told["time:timestamp"] == "2026-10-24T15:00:00.000007+01:00"
