"""What the log used up of the supplies: how many sheets took each, of standing entries only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, Layer, table_of
from app.db.standing import STANDS
from app.domain.lots import GLUES, Gluing
from app.domain.stages import Stage, Step
from app.domain.supplies import ADHESIVE
from app.domain.used import TAKES
from app.queries.gluings import gluings_by_sheet

ENTRY, LAYER = table_of(Entry), table_of(Layer)
GLUED = (Step.MOUNT.value, Step.RE_GLUE.value)
SPENT = (*GLUED, Step.PUT_UNDER_WEIGHT.value, Step.GOES_UNMOUNTED.value)
# What a choice of a table takes, as a kind of supply.
TAKEN_AS = {"small": "packet-small", "large": "packet-large", "straps": "straps", "thread": "thread"}
# Asking for the steps and not for the kind of subject leaves the index of moments and steps to be used.
_SPENT = (
    select(
        ENTRY.c.step, ENTRY.c.from_stage,
        ENTRY.c.facts[("used", "packet")].as_string().label("packet"),
        ENTRY.c.facts[("used", "straps")].as_string().label("straps"),
        ENTRY.c.facts[("sets", "adhesive_id")].as_integer().label("adhesive"),
        ENTRY.c.facts[("sets", "unmounted")].as_string().label("unmounted"),
        func.count().label("sheets"),
    )
    .where(ENTRY.c.step.in_(SPENT), STANDS)
    .group_by(ENTRY.c.step, ENTRY.c.from_stage, "packet", "straps", "adhesive", "unmounted")
)  # fmt: skip


def use_key(kind: str, adhesive_id: int | None) -> str:
    """Under what the uses of a supply are counted: its kind, and of adhesives which one."""
    return f"{ADHESIVE} {adhesive_id}" if kind == ADHESIVE else kind


def uses_between(session: Session, after: datetime, until: datetime) -> Mapping[str, int]:
    """How many sheets took each supply after one moment and up to another, by `use_key`.

    A mounting takes one mounting sheet; a mounting or re-gluing its adhesive (as it was put right since), packet and straps;
    laying in a release paper, unless the sheet came from another stack and brought its own; what stays unmounted its
    packet or box.
    """
    counted = Counter[str]()
    for row in session.execute(_SPENT.where(ENTRY.c.happened_at > after, ENTRY.c.happened_at <= until)):
        for key in _taken_by(row):
            counted[key] += row.sheets
    for gluing in _put_right(session, after):
        if after < gluing.at <= until and gluing.deed in GLUES:
            counted[use_key(ADHESIVE, gluing.named_id)] -= 1
            counted[use_key(ADHESIVE, gluing.adhesive_id)] += 1
    return counted


def lying_at(session: Session, at: datetime) -> int:
    """How many sheets lay in stacks at a moment, each under its own release paper, foam and board."""
    there = (LAYER.c.laid_at <= at, (LAYER.c.out_at.is_(None)) | (LAYER.c.out_at > at))
    return int(session.execute(select(func.count()).select_from(LAYER).where(*there)).scalar_one())


def _taken_by(row: Any) -> list[str]:
    if row.step == Step.PUT_UNDER_WEIGHT:
        return ["release-paper"] if row.from_stage != Stage.UNDER_PRESS else []
    if row.step == Step.GOES_UNMOUNTED:
        return [f"kept-{row.unmounted}"]
    found = ["mounting-sheet"] if row.step == Step.MOUNT else []
    taken = [what for name in TAKES for what in TAKES[name].get(getattr(row, name) or "", ())]
    return [*found, *(TAKEN_AS[what] for what in taken), use_key(ADHESIVE, row.adhesive)]


def _put_right(session: Session, after: datetime) -> list[Gluing]:
    """The gluings of which the adhesive was put right since a moment: few, so each sheet's log is read whole."""
    restated = select(ENTRY.c.subject_id).where(ENTRY.c.step == Step.RESTATE, ENTRY.c.happened_at > after, STANDS)
    sheets = sorted(set(session.execute(restated).scalars()))
    found = gluings_by_sheet(session, sheets).values()
    return [gluing for mine in found for gluing in mine if gluing.adhesive_id != gluing.named_id]
