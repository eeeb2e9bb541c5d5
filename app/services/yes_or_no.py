"""The cards yes and no: they answer the question on the station's screen, as its buttons do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, select

from app.db.models import Scan, table_of
from app.db.prepared import prepared
from app.domain.answer import WORDS, Answer, answer_from
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.offers import asks, facts_in, offers
from app.domain.stages import Step
from app.services import saying
from app.services.custody import standing_of
from app.services.desk import QUESTION_STANDS, Desk, ScanRequest
from app.services.facts import place_words, sheet_by_number

SCAN = table_of(Scan)
_LAST = prepared(
    select(SCAN.c.answer, SCAN.c.received_at)
    .where(SCAN.c.station_id == bindparam("station"))
    .order_by(SCAN.c.id.desc())
    .limit(1)
)


def take_offer(desk: Desk) -> Answer | None:
    """Yes: the request becomes what the one button of the open question sends, to be acted on; then there is no answer yet.

    Where several things are offered, or a name or a place is wanted, the question is put again. Refused: unknown-station
    away from a station, out-of-order where nothing is asked on the screen or the card was scanned before the question.
    """
    _at_a_station(desk)
    asked = _on_the_screen(desk)
    if asked is None or not asks(asked):
        raise Refused(_nothing_asked())
    offered = offers(asked)
    if len(offered) != 1:
        return _once_more(asked, say("Yes fits more than one of these.") if offered else say("Yes is not enough here."))
    desk.request = _as_sent(desk.request, offered[0])
    return None


def drop_question(desk: Desk) -> Answer:
    """No: the open question is dropped, and whatever waited for its answer. Refused as `take_offer` is."""
    _at_a_station(desk)
    asked, pending = _on_the_screen(desk), _waiting(desk)
    if not pending and (asked is None or not asks(asked)):
        raise Refused(_nothing_asked())
    # A bundle that is not to be moved was the wrong one: what is scanned next does not go in it either.
    desk.keep(pending=None, **({"bundle_id": None} if "bundle" in pending else {}))
    stays = asked is not None and asked.entry is not None
    line = say("What was scanned before stays written.") if stays else say("Nothing was changed.")
    return Answer("done", say("Left as it is."), (line,), _where_to(desk, asked), asked.sheet if asked else None)


def _at_a_station(desk: Desk) -> None:
    if desk.station_id is None:
        raise Refused(
            Refusal(
                "unknown-station", say("A card is scanned at a station."), say("Send what is chosen with the sheet.")
            )
        )


def _on_the_screen(desk: Desk) -> Answer | None:
    """The last answer given here, while it may be meant: it is fresh, and whoever scanned the card could have read it."""
    found = desk.session.execute(_LAST, {"station": desk.station_id}).one_or_none()
    if found is None or not found.received_at <= desk.happened_at <= found.received_at + QUESTION_STANDS:
        return None
    return answer_from(found.answer)


def _waiting(desk: Desk) -> Mapping[str, Any]:
    pending: Mapping[str, Any] = desk.in_hand("pending") or {}
    return pending


def _nothing_asked() -> Refusal:
    return Refusal(
        "out-of-order",
        say("Nothing is asked on this screen."),
        say("Scan the sheet in your hands; then answer what it asks."),
    )


def _once_more(asked: Answer, why: str) -> Answer:
    lines = tuple(dict.fromkeys((why, *asked.lines)))
    next_ = asked.next or say("Choose on the screen; or scan the card “no”, and nothing is changed.")
    return replace(asked, kind="which-one", word=WORDS["which-one"], lines=lines, next=next_, entry=None, refusals=(),
                   share=None, share_label="", status=200)  # fmt: skip


def _as_sent(request: ScanRequest, fields: Mapping[str, str]) -> ScanRequest:
    step = fields.get("step")
    return replace(
        request, code=fields["code"], step=Step(step) if step else None, stack=fields.get("stack", ""),
        facts=facts_in(fields), already_done=fields.get("already_done") == "1",
    )  # fmt: skip


def _where_to(desk: Desk, asked: Answer | None) -> str:
    row = sheet_by_number(desk.session, asked.sheet.number) if asked is not None and asked.sheet is not None else None
    if row is None:
        return say("Scan a sheet, a shelf or a card.")
    standing = standing_of(row)
    return saying.belongs(standing, place_words(desk.session, standing.place))
