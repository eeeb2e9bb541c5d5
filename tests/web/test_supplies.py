"""The pages of the supplies: kept, counted, come in, taken and put right; the order list; a lot from either end."""

from __future__ import annotations

import csv
import html
import io
import re

import pytest

from app.domain.practice import Start
from tests.room import Room
from tests.services.days import done
from tests.services.supplied import PVA, came, card_of, counted, kept, line, lot, on_hand, openings
from tests.web.conftest import ClientAs, send, words
from tests.web.test_practice import Screen, numbers, practises

HOSTILE = "<script>alert('x')</script>\"'&{{7*7}}"


@pytest.fixture
def pots(room: Room) -> int:
    """Three pots of PVA that somebody counted, and two lots of it: B 117 is open at the first table."""
    pva = kept(
        room,
        "adhesive",
        "PVA, acid-free",
        adhesive_id=PVA,
        holds=1000,
        order_below=2,
        lead_weeks=3,
        supplier="Glue & Sons",
    )
    counted(room, pva, 3)
    for number in ("B 117", "B 118"):
        lot(room, pva, number)
    done(room.scans(card_of(room, 1), "table-1"))
    room.wait(minutes=1)
    return pva


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.lstrip("\ufeff"))))


def test_a_supply_is_kept_counted_and_used_up_without_anything_typed(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert "No supply is kept yet." in words(browser.get("/supplies"))
    answer = send(browser, "/supplies", kind="mounting-sheet", name="Mounting sheets", unit="", pack="100", order_below="150",
                  lead_weeks="3", supplier="Paperhouse", adhesive="", holds="")  # fmt: skip
    assert answer.status_code == 302 and answer.location == "/supplies/1"
    said = words(browser.get("/supplies/1"))
    assert "It is kept from now on." in said and "not counted yet" in said and "packs of 100 sheets" in said
    assert send(browser, "/supplies/1", deed="count", amount="160", why="", happened_at="", hour="").status_code == 302
    room.wait(minutes=1)
    room.sheet_mounted()
    said = words(browser.get("/supplies/1"))
    assert "159 sheets" in said and "by Hedda Brackwater" in said and "Used since, by the log: once" in said
    assert "159 sheets" in words(browser.get("/supplies"))
    assert (
        send(browser, "/supplies/1", deed="taken", amount="10", why="a wet shelf", happened_at="", hour="").status_code
        == 302
    )
    # Below its line it stands on the board, and its link leads here.
    board = browser.get("/board")
    assert "149 sheets on hand, ordered below 150" in words(board) and 'href="/supplies/1"' in board.text
    assert (
        send(
            browser, "/supplies/1", deed="came", amount="200", lot="", supplier="Paperhouse", happened_at="", hour=""
        ).status_code
        == 302
    )
    room.wait(seconds=2)  # the board is read at most once a second
    assert on_hand(room, 1) == 349 and "ordered below" not in words(browser.get("/board"))


def test_a_delivery_with_a_lot_makes_its_card(room: Room, client_as: ClientAs, pots: int) -> None:
    browser = client_as("manager")
    sent = {
        "deed": "came",
        "amount": "4",
        "lot": "B 119",
        "label_on": "2028-03-01",
        "supplier": "",
        "happened_at": "",
        "hour": "",
    }
    assert send(browser, f"/supplies/{pots}", **sent).status_code == 302
    said = words(browser.get(f"/supplies/{pots}"))
    assert "Print the card of its lot" in said and "came in 4 pots" in said and "lot B 119" in said
    card = browser.get(f"/print/lots?lot={card_of(room, 3)}")
    assert card.status_code == 200 and "B 119" in words(card) and "2028-03-01" in words(card)
    assert browser.get("/print/lots").text.count('class="printed-number"') == 3
    assert browser.get("/print/lots?lot=VG9999").status_code == 422


@pytest.mark.parametrize(
    ("sent", "said", "kept_text"),
    [
        ({"deed": "count", "amount": "some"}, "Type a number from 0", 'value="some"'),
        ({"deed": "count", "amount": ""}, "Say how many.", ""),
        (
            {"deed": "count", "amount": "3", "happened_at": "2026-11-26T09:00"},
            "That time has not come yet.",
            'value="2026-11-26T09:00',
        ),
        ({"deed": "count", "amount": "3", "happened_at": "2026-03-29T01:30"}, "the clocks went forward", ""),
        ({"deed": "taken", "amount": "1", "why": ""}, "Say why", 'value="1"'),
        ({"deed": "came", "amount": "0", "lot": "B 9"}, "Say how many came in.", 'value="B 9"'),
        ({"deed": "change", "name": "", "pack": "1", "order_below": "2", "lead_weeks": "3"}, "It needs a name.", ""),
        (
            {"deed": "change", "name": "PVA", "pack": "0", "order_below": "2", "lead_weeks": "3"},
            "Give a whole number",
            'value="0"',
        ),
        ({"deed": "right", "line": "1", "amount": "5", "why": ""}, "Say why", 'value="5"'),
        ({"deed": "right", "line": "99", "amount": "5", "why": "miscounted"}, "", ""),
        ({"deed": "lot", "lot": " "}, "Type its number.", ""),
        ({"deed": "close", "why": ""}, "Say why", ""),
        ({"deed": "dance"}, "", ""),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_is_kept(
    client_as: ClientAs, pots: int, sent: dict[str, str], said: str, kept_text: str
) -> None:
    answer = send(client_as("manager"), f"/supplies/{pots}", **{"happened_at": "", "hour": "", **sent})
    assert answer.status_code == 422 and said in words(answer)
    assert kept_text in answer.text


def test_a_new_supply_that_makes_no_sense_is_refused_with_what_was_typed(client_as: ClientAs, pots: int) -> None:
    sent = {"kind": "adhesive", "name": "More glue", "unit": "", "pack": "6", "order_below": "2", "lead_weeks": "3", "holds": "500",
            "adhesive": str(PVA), "supplier": ""}  # fmt: skip
    answer = send(client_as("manager"), "/supplies", **sent)
    assert answer.status_code == 422 and "The log cannot tell it from PVA, acid-free." in words(answer)
    assert 'value="More glue"' in answer.text and 'value="6"' in answer.text


def test_a_line_is_put_right_and_the_old_one_stays_struck_out(room: Room, client_as: ClientAs, pots: int) -> None:
    browser = client_as("manager")
    assert (
        send(browser, f"/supplies/{pots}", deed="right", line="1", amount="2.5", why="half a pot was glass").status_code
        == 302
    )
    page = browser.get(f"/supplies/{pots}")
    assert "2.5 pots" in words(page) and 'class="supply-gone"' in page.text and "half a pot was glass" in words(page)
    assert (
        send(browser, f"/supplies/{pots}", deed="right", line="2", amount="", why="it was another cupboard").status_code
        == 302
    )
    assert "struck out" in words(browser.get(f"/supplies/{pots}")) and line(room, pots).now is None


def test_counted_and_reckoned_stand_side_by_side(room: Room, client_as: ClientAs, pots: int) -> None:
    for _ in range(20):
        room.sheet_mounted()
    room.wait(minutes=1)
    counted(room, pots, "2.9")
    said = words(client_as("trainer").get(f"/supplies/{pots}"))
    # 20 gluings at the house's 3 g are 60 g of 1,000; by the counts they took 100 g: 500 g a hundred.
    assert "counted 2.9 pots, reckoned 2.9" in said and "a hundred gluings took 500 g" in said
    assert "An estimate: 300 g for a hundred gluings, and 1,000 g in one." in said


def test_the_trainer_reads_and_others_do_not(client_as: ClientAs, station_client: ClientAs, pots: int) -> None:
    page = client_as("trainer").get(f"/supplies/{pots}")
    assert page.status_code == 200 and "Put it right" not in words(page) and 'name="deed"' not in page.text
    assert "Keep one more" not in words(client_as("trainer").get("/supplies"))
    for browser in (client_as("volunteer"), client_as("reader"), station_client("table-1")):
        for path in (
            "/supplies",
            f"/supplies/{pots}",
            "/supplies/order",
            "/supplies.csv",
            "/supplies/lots/1",
            "/supplies/lots/1.csv",
        ):
            assert browser.get(path).status_code == 403, path


def test_what_is_not_there_is_not_found(client_as: ClientAs) -> None:
    browser = client_as("manager")
    for path in ("/supplies/7", "/supplies/lots/7", "/supplies/lots/7.csv"):
        assert browser.get(path).status_code == 404
    for path in ("/supplies/7", "/supplies/lots/7"):
        assert send(browser, path, deed="count", amount="1").status_code == 404


def test_the_order_list_says_how_much_and_when_what_presses_first(room: Room, client_as: ClientAs, pots: int) -> None:
    browser = client_as("manager")
    sheets = kept(room, name="Mounting sheets", pack=25, order_below=10, lead_weeks=2, supplier="Paperhouse")
    kept(room, "foam", "Foam")
    counted(room, sheets, 30)
    room.wait(minutes=1)
    for _ in range(4):
        room.sheet_mounted()
    room.wait(days=55)
    said = words(browser.get("/supplies/order"))
    # Half a sheet a week is 13 in 26 weeks: 10 + 13 - 26 is nothing to order; of the pots there are 2.988, and the line is 2.
    assert "Nothing is to be ordered." in said and "Not counted yet, so nothing can be said of them: Foam." in said
    counted(room, sheets, 12)
    counted(room, pots, 1)
    said = words(browser.get("/supplies/order"))
    # 10 + 13 - 12 sheets are one pack of 25; of the pots there are fewer than their line, so they come first.
    assert "1 pack, 25 sheets" in said and "Paperhouse" in said and "2 pots" in said and "order it now" in said
    assert said.index("PVA, acid-free") < said.index("Mounting sheets")
    table = rows_of(browser.get("/supplies.csv").text)
    assert [(row["name"], row["on hand"], row["order below"], row["packs to order"]) for row in table][0] == (
        "Mounting sheets",
        "12",
        "10",
        "1",
    )


def test_from_the_sheet_to_its_lot_and_from_the_lot_to_its_sheets(room: Room, client_as: ClientAs, pots: int) -> None:
    number, other = room.sheet_mounted(), room.sheet_mounted("table-2")
    browser = client_as("trainer")
    page = browser.get(f"/sheets/{number}")
    assert "PVA, acid-free: lot B 117" in words(page) and 'href="/supplies/lots/1"' in page.text
    assert "PVA, acid-free: lot not known" in words(browser.get(f"/sheets/{other}"))
    # Others read which lot it is; only the page of the lot is not theirs.
    theirs = client_as("reader").get(f"/sheets/{number}")
    assert "lot B 117" in words(theirs) and "/supplies/lots" not in theirs.text
    found = browser.get("/supplies/lots/1")
    assert number[3:9] in words(found) and other[3:9] not in words(found) and "open now" in words(found)
    assert "too few to tell" in words(found) and f'href="/sheets/{number}"' in found.text
    answer = browser.get("/supplies/lots/1.csv")
    assert [(row["number"], row["deed"], row["station"]) for row in rows_of(answer.text)] == [
        (number, "mounted", "Mounting table 1")
    ]
    assert answer.headers["Content-Disposition"] == 'attachment; filename="lot-b-117-2026-11-25.csv"'


def test_the_manager_puts_right_what_was_open(room: Room, client_as: ClientAs, pots: int) -> None:
    number, browser = room.sheet_mounted(), client_as("manager")
    assert (
        send(browser, "/supplies/lots/1", deed="other", line="1", lot="2", why="looked at the pot").status_code == 302
    )
    assert (
        "lot B 118" in words(browser.get(f"/sheets/{number}"))
        and 'class="supply-gone"' in browser.get("/supplies/lots/1").text
    )
    assert send(browser, "/supplies/lots/2", deed="other", line="2", lot="", why="no pot was").status_code == 302
    assert "lot not known" in words(browser.get(f"/sheets/{number}"))
    sent = {
        "deed": "opened",
        "what": "opened",
        "station": str(room.station["table-1"]),
        "happened_at": "2026-11-25T08:30",
        "hour": "",
        "why": "the notebook",
    }
    assert send(browser, "/supplies/lots/1", **sent).status_code == 302
    assert "lot B 117" in words(browser.get(f"/sheets/{number}"))
    assert (
        send(
            browser, "/supplies/lots/1", deed="label", lot="B 117a", label_on="2027-01-01", why="read again"
        ).status_code
        == 302
    )
    assert send(browser, "/supplies/lots/1", deed="end", why="it lifts").status_code == 302
    said = words(browser.get("/supplies/lots/1"))
    assert "Lot B 117a" in said and "out of use since" in said and "whoever scans its card is told so" in said
    assert send(browser, "/supplies/lots/1", deed="end", again="1", why="it was the humidity").status_code == 302
    assert "out of use since" not in words(browser.get("/supplies/lots/1"))


@pytest.mark.parametrize(
    ("sent", "said"),
    [({"deed": "other", "line": "1", "lot": "2", "why": ""}, "Say why"), ({"deed": "other", "line": "9", "lot": "2", "why": "x"}, ""),
     ({"deed": "label", "lot": "B118", "why": "x"}, "another lot with this number"), ({"deed": "end", "why": " "}, "Say why"),
     ({"deed": "opened", "station": "1", "what": "opened", "why": ""}, "Say why"),
     ({"deed": "opened", "station": "99", "what": "opened", "why": "x"}, ""), ({"deed": "dance"}, "")],
)  # fmt: skip
def test_what_is_refused_of_a_lot_is_said(
    room: Room, client_as: ClientAs, pots: int, sent: dict[str, str], said: str
) -> None:
    answer = send(client_as("manager"), "/supplies/lots/1", **{"happened_at": "", "hour": "", "label_on": "", **sent})
    assert answer.status_code == 422 and said in words(answer) and len(openings(room)) == 1


def test_a_table_opens_a_pot_by_one_touch(room: Room, station_client: ClientAs, pots: int) -> None:
    browser = station_client("table-1")
    page = browser.get("/station").text
    assert re.search(r'value="VG00012?[0-9A-Z]" aria-pressed="true">PVA, acid-free, lot B 117', page)
    answer = browser.post(
        "/station/scan", data={"csrf_token": _token(page), "code": card_of(room, 2), "room": _room(page)}
    )
    assert answer.status_code == 200 and "lot B 118." in words(answer)
    side = browser.get("/station/side").text
    assert re.search(r'aria-pressed="true">PVA, acid-free, lot B 118', side) and re.search(
        r'"false">PVA, acid-free, lot B 117', side
    )
    for other in ("press", "intake"):
        assert "Pots of adhesive" not in station_client(other).get("/station").text
    assert "No known lot is open here." in words(station_client("inspection").get("/station"))


def _token(page: str) -> str:
    return re.findall(r'name="csrf_token" value="([^"]+)"', page)[0]


def _room(page: str) -> str:
    return html.unescape(re.findall(r'name="room" value="([^"]*)"', page)[0])


def test_hostile_text_stays_text(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    pva = kept(room, "adhesive", HOSTILE, adhesive_id=PVA, holds=1000, order_below=9, supplier=HOSTILE)
    counted(room, pva, 3)
    came(room, pva, 1, lot_id=lot(room, pva, HOSTILE), supplier=HOSTILE)
    done(room.scans(card_of(room, 1), "table-1"))
    number = room.sheet_mounted()
    for path in (
        "/supplies",
        "/supplies/1",
        "/supplies/order",
        "/supplies/lots/1",
        "/print/lots",
        "/board",
        f"/sheets/{number}",
    ):
        text = browser.get(path).text
        assert "<script>alert" not in text and "&lt;script&gt;alert" in text, path


def test_where_people_practise_nothing_is_used_up(room: Room, station_client: ClientAs, pots: int) -> None:
    sheets = kept(room)
    counted(room, sheets, 100)
    practises(room, "table-2")
    screen = Screen(station_client("table-2"), room)
    answer = screen.scan(card_of(room, 2))
    assert answer.status_code == 422 and "practice uses nothing up" in words(answer)
    assert "Pots of adhesive" not in screen.load()
    screen.scan(room.code("badge", "piet"))
    for word in ("Taken up.", "Mounted."):
        assert word in words(screen.scan(numbers(Start.READY)[0]))
    room.wait(minutes=1)
    assert on_hand(room, sheets) == 100 and len(openings(room)) == 1


def test_a_supply_that_is_on_order_is_put_aside_until_it_comes(room: Room, client_as: ClientAs, pots: int) -> None:
    counted(room, pots, 1)
    browser = client_as("manager")
    assert "1 pot on hand, ordered below 2" in words(browser.get("/board"))
    key = f"supply-low supply {pots}"
    assert browser.get("/board/aside", query_string={"key": key}).status_code == 200
    assert send(browser, "/board/aside", key=key, until="2026-12-11", why="ordered on Monday").status_code == 302
    room.wait(seconds=2)
    said = words(browser.get("/board"))
    assert "PVA, acid-free: put aside until" in said and "ordered on Monday" in said
