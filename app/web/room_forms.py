"""The forms with which the manager furnishes the room, one for each kind of thing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from flask_wtf import FlaskForm
from wtforms import BooleanField, DateField, FloatField, HiddenField, IntegerField, SelectField, StringField
from wtforms.validators import InputRequired, Length, NumberRange, Optional, Regexp

from app.domain.language import mark
from app.domain.press import ADHESIVE_CLASSES
from app.domain.stages import STAGES, Stage
from app.services.room import add_adhesive, add_bundle, add_cabinet, add_consignment, add_pattern, add_stack
from app.web.forms import NAME

CODE = [
    InputRequired(mark("It needs a short code.")),
    Length(max=40),
    Regexp(r"^[A-Za-z0-9._-]+$", message=mark("Letters, digits, dots and hyphens only.")),
]
BUNDLE_KINDS = [
    ("press", mark("press")), ("tray", mark("tray")), ("bag", mark("bag")), ("box", mark("box")), ("parcel", mark("parcel")),
]  # fmt: skip
CONSIGNMENT_KINDS = [
    ("fieldwork", mark("fieldwork")), ("exchange", mark("exchange")), ("gift", mark("gift")), ("bequest", mark("bequest")),
    ("backlog", mark("backlog")),
]  # fmt: skip
ADHESIVE_WORDS = {
    "pva": "pva", "eva": "eva", "starch-paste": mark("starch paste"), "methyl-cellulose": mark("methyl cellulose"),
    "straps": mark("straps"), "spot": mark("spot"),
}  # fmt: skip


class CabinetForm(FlaskForm):  # type: ignore[misc]
    """A cabinet with its shelves."""

    what = HiddenField(default="cabinet")
    name = StringField(mark("Name, as on its door"), NAME)
    kind = SelectField(
        mark("Stage whose sheets wait in it"),
        choices=[("", mark("any")), *[(stage.value, row.words) for stage, row in STAGES.items()]],
    )
    many = IntegerField(
        mark("Shelves, counted from the top"),
        [InputRequired(mark("Say how many, 0 for none.")), NumberRange(0, 200)],
        default=8,
    )
    capacity = IntegerField(mark("Sheets that it holds, if there is a limit"), [Optional(), NumberRange(1, 1_000_000)])
    is_clean = BooleanField(mark("Only treated sheets go into it"))
    freezes = FloatField(mark("A freezer: as cold as this, in °C"), [Optional(), NumberRange(-90, 0)])
    is_dryer = BooleanField(mark("A dryer: plants dry in it with heat"))

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        stage = Stage(self.kind.data) if self.kind.data else None
        add_cabinet(session, str(self.name.data), stage, now, shelves=self.many.data or 0, capacity=self.capacity.data,
                    is_clean=self.is_clean.data, freezes_to_c=self.freezes.data, is_dryer=self.is_dryer.data, by=by)  # fmt: skip


class StackForm(FlaskForm):  # type: ignore[misc]
    """A stack with its two-sided card."""

    what = HiddenField(default="stack")
    name = StringField(mark("Name, as on its card"), NAME)
    many = IntegerField(
        mark("Sheets that it holds"), [InputRequired(mark("Say how many.")), NumberRange(1, 200)], default=20
    )
    mass = FloatField(
        mark("Weights in all, kg"), [InputRequired(mark("Weigh them once, in kg.")), NumberRange(0, 200)], default=12
    )
    pieces = IntegerField(
        mark("in how many pieces"), [InputRequired(mark("Say how many.")), NumberRange(1, 40)], default=4
    )

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        add_stack(
            session,
            str(self.name.data),
            now,
            capacity=self.many.data or 0,
            mass_kg=self.mass.data or 0.0,
            pieces=self.pieces.data or 0,
            by=by,
        )


class BundleForm(FlaskForm):  # type: ignore[misc]
    """A bundle with its card."""

    what = HiddenField(default="bundle")
    name = StringField(mark("Name, as on its card"), NAME)
    kind = SelectField(mark("Kind"), choices=BUNDLE_KINDS, default="tray")

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        add_bundle(session, str(self.name.data), self.kind.data)


class ConsignmentForm(FlaskForm):  # type: ignore[misc]
    """Sheets that arrived together."""

    what = HiddenField(default="consignment")
    name = StringField(mark("Name"), NAME)
    code = StringField(mark("Short code"), CODE)
    kind = SelectField(mark("Kind"), choices=CONSIGNMENT_KINDS)
    source = StringField(mark("Where from"), [Optional(), Length(max=200)])
    arrived_on = DateField(mark("Arrived on"), [Optional()])

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        add_consignment(session, str(self.code.data), str(self.name.data), source=self.source.data or "", kind=self.kind.data,
                        arrived_on=self.arrived_on.data)  # fmt: skip


class PatternForm(FlaskForm):  # type: ignore[misc]
    """A pattern of sheet numbers."""

    what = HiddenField(default="pattern")
    name = StringField(mark("Prefix, 1 to 8 capital letters"), NAME)
    many = IntegerField(mark("Digits"), [InputRequired(mark("Say how many.")), NumberRange(1, 12)], default=6)
    has_check = BooleanField(mark("A check character follows"), default=True)
    mints = BooleanField(mark("The room mints new numbers by it"))

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        prefix = str(self.name.data).strip().upper()
        add_pattern(
            session, prefix, self.many.data or 0, now, has_check=self.has_check.data, mints=self.mints.data, by=by
        )


class AdhesiveForm(FlaskForm):  # type: ignore[misc]
    """A line of the room's list of adhesives."""

    what = HiddenField(default="adhesive")
    name = StringField(mark("Name of the product"), NAME)
    code = StringField(mark("Short code"), CODE)
    kind = SelectField(
        mark("Class, which sets its time under weight"),
        choices=[(each, ADHESIVE_WORDS.get(each, each)) for each in ADHESIVE_CLASSES],
    )
    lot = StringField(mark("Lot"), [Optional(), Length(max=80)])
    dilution = StringField(mark("Dilution"), [Optional(), Length(max=80)])

    def write(self, session: Any, now: datetime, by: int | None) -> None:
        """Add it."""
        add_adhesive(session, str(self.code.data), str(self.name.data), self.kind.data, now, lot=self.lot.data or "",
                     dilution=self.dilution.data or "", by=by)  # fmt: skip


FORMS: dict[str, Callable[..., Any]] = {
    "cabinet": CabinetForm,
    "stack": StackForm,
    "bundle": BundleForm,
    "consignment": ConsignmentForm,
    "pattern": PatternForm,
    "adhesive": AdhesiveForm,
}
