"""The files that the demo's parcels came with, as the page of files shows them."""

from __future__ import annotations

from app.services.files import Sent, keep_whole
from app.services.intake import digest
from seed_demo.hands import Hands


def keep_list(hands: Hands, text: str, code: str, who: str, sheets: int) -> None:
    """Write down that a parcel's list was taken in, by whom and when."""
    sent = Sent(f"{code.lower()}.csv", digest(text.encode()), code, by=hands.room.workers[who].worker_id)
    keep_whole(hands.session, sent, hands.occasion, sheets)
