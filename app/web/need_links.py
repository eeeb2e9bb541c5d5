"""Where the link of a line of what needs a person leads."""

from __future__ import annotations

from collections.abc import Callable

from flask import url_for

from app.queries.need import Need


def href_of(need: Need) -> str:
    """The address at which something can be done about it."""
    return HREFS[need.href_kind](need)


def aside_of(need: Need) -> str:
    """The address at which a line is put aside; empty for one that cannot be."""
    return url_for("aside.page", key=need.key) if need.key else ""


def _cabinet(need: Need) -> str:
    return url_for("cabinets.one", name=need.href_id, shelf=need.shelf or None, stage=need.stage, stalled="1")


def _picks(need: Need) -> str:
    return url_for("cabinets.picks", name=need.href_id, shelf=need.shelf or None, stage=need.stage, left_behind="1")


# One for each kind of end that a line may have.
HREFS: dict[str, Callable[[Need], str]] = {
    "sheet": lambda need: url_for("sheets.one", number=need.href_id),
    "stack": lambda need: url_for("press.one", name=need.href_id),
    "stage": lambda need: url_for("sheets.every", stage=need.href_id),
    "stalled": lambda need: url_for("sheets.every", stage=need.href_id, stalled="1"),
    "left-behind": lambda need: url_for("sheets.every", stage=need.href_id, left_behind="1"),
    "cabinet": _cabinet,
    "picks": _picks,
    "holds": lambda need: url_for("holds.show", kind=need.href_id, late="1"),
    "check": lambda need: url_for("checks.one", check_id=int(need.href_id)),
    "pest": lambda need: url_for("pests.one", pest_id=int(need.href_id)),
    "load": lambda need: url_for("freezer.one", code=need.href_id),
    "freezer": lambda need: url_for("freezer.show"),
    "clean": lambda need: url_for("freezer.clean", name=need.href_id),
    "dryer": lambda need: url_for("drying.show", _anchor="dryers"),
    "supply": lambda need: url_for("supplies.one", supply_id=int(need.href_id)),
    "backup": lambda need: url_for("room.show", _anchor="backup"),
}
