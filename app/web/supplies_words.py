"""What is said of a supply on its pages: how much there is, how long it lasts, by when it is ordered; and files for others."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from fractions import Fraction

from flask import Response
from markupsafe import Markup

from app.domain.cells import BOM
from app.domain.language import say, say_n
from app.domain.supplies import amount_said, with_unit
from app.domain.words import date_said
from app.queries.supplies import SupplyLine
from app.web.render import house, now

# What an amount is said to is a tenth: less than half of one would be said as nothing.
LEAST_SAID = Fraction(1, 20)
ALIGNED = '<span class="supply-amount">{} <span class="supply-unit">{}</span></span>'


def there_is(line: SupplyLine, *, aligned: bool = False) -> str:
    """How much there is: "2.6 pots"; that nobody has counted it, or that the log used more than there was.

    `aligned` for a column in which the figures stand below each other: the unit has a width of its own.
    """
    if line.now is None:
        return say("not counted yet")
    if line.now.on_hand < 0:
        return say(
            "nothing by the log, and {more} too much used: count it", more=with_unit(-line.now.on_hand, line.unit)
        )
    words = with_unit(line.now.on_hand, line.unit)
    amount = amount_said(line.now.on_hand)
    if not aligned or not words.startswith(amount):
        return words
    return Markup(ALIGNED).format(amount, words.removeprefix(amount).strip())


def used(line: SupplyLine) -> str:
    """How much the log used since the count: "74", "0.2"; a dash where nobody has counted."""
    if line.now is None:
        return "–"
    if 0 < line.now.used < LEAST_SAID:
        return say("under {least}", least=amount_said(LEAST_SAID * 2))
    return amount_said(line.now.used)


def where_it_is(line: SupplyLine) -> str:
    """Of what is used again, how much of it lies in the stacks; empty for the rest."""
    if line.now is None or not line.is_lent:
        return ""
    cupboard, stacks = amount_said(max(line.now.cupboard, Fraction(0))), amount_said(Fraction(line.now.in_stacks))
    return say("{stacks} in the stacks now, {cupboard} in the cupboard", stacks=stacks, cupboard=cupboard)


def lasts(line: SupplyLine, today: date) -> str:
    """How long it lasts at the pace of the last eight weeks, and by when it is ordered."""
    ahead = line.outlook
    if line.is_below:
        last = ahead.lasts_until
        return (
            say("order it now")
            if last is None or last <= today
            else say("order it now; it lasts until {day}", day=date_said(last))
        )
    if line.is_lent:
        return say("used again")
    if line.now is None or ahead.per_week is None:
        return say("too little on record to say")
    if ahead.lasts_until is None:
        return say("longer than ten years") if ahead.per_week else say("nothing of it was used in the last eight weeks")
    if ahead.order_by is not None and ahead.order_by <= today:
        return say("order it now, to have it before {day}", day=date_said(ahead.lasts_until))
    assert ahead.order_by is not None
    return say("order by {by}; it lasts until {day}", by=date_said(ahead.order_by), day=date_said(ahead.lasts_until))


def to_order(line: SupplyLine) -> str:
    """How much an order asks for, in packs: "3 packs, 300 sheets"."""
    whole = with_unit(Fraction(line.packs * line.pack), line.unit)
    return say_n("{n} pack, {whole}", "{n} packs, {whole}", line.packs, whole=whole) if line.pack > 1 else whole


def is_pressing(line: SupplyLine, today: date) -> bool:
    """Whether it is ordered now: below its line, or else it would be used up before it came."""
    by = line.outlook.order_by
    return line.is_below or (line.now is not None and by is not None and by <= today and line.packs > 0)


def differs(counted: Fraction, reckoned: Fraction, unit: str) -> str:
    """A count beside what was reckoned: "counted 3 pots, reckoned 2.6"."""
    return say(
        "counted {counted}, reckoned {reckoned}", counted=with_unit(counted, unit), reckoned=amount_said(reckoned)
    )


def csv_file(lines: Iterable[str], name: str) -> Response:
    """A CSV file with today's date in its name."""
    response = Response(BOM + "".join(lines), mimetype="text/csv")
    told = re.sub("[^a-z0-9]+", "-", f"{name} {now().astimezone(house().zone):%Y %m %d}".casefold())
    response.headers["Content-Disposition"] = f'attachment; filename="{told}.csv"'
    return response
