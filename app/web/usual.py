"""What is usual here, beside each limit; and the limit that follows from it, made the limit by the manager."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import HiddenField, IntegerField, StringField
from wtforms.validators import Length, Optional

from app.db.engine import reading, transaction
from app.domain.language import mark, say
from app.domain.limits import ON_SHELVES
from app.domain.usual import RULE_OF, hours_words, reason_of, within
from app.queries.usual import Usual, usual
from app.services.room import set_cabinet_limit, set_house_rule
from app.web.permissions import MANAGE
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("usual", __name__)
# The picture's own measures: where the time begins and ends, and where all are there and none.
LEFT, RIGHT, TOP, BOTTOM = 52, 340, 10, 110
MARKS = ((1.0, mark("all")), (0.5, mark("half")), (0.1, mark("1 in 10")))


class LimitForm(FlaskForm):  # type: ignore[misc]
    """A limit that follows from what is usual, or one of a cabinet's own."""

    stage = HiddenField()
    cabinet = HiddenField()
    value = IntegerField(mark("Limit"), [Optional()])
    reason = StringField(mark("Why?"), [Optional(), Length(max=500)])


@dataclass(frozen=True, slots=True)
class DrawnCurve:
    """The curve of one stage in the units of its drawing: its line and the ground under it as paths, its marks on both axes, each a
    place with its words, and the whole said in words.
    """

    line: str
    ground: str
    marks: tuple[tuple[float, str], ...]
    ends: tuple[tuple[float, str], ...]
    dots: tuple[tuple[float, float], ...]
    words: str


@bp.get("/usual")
def show() -> Response:
    """What is usual in each stage and each cabinet."""
    return _usual({})


@bp.post("/usual")
def set_limit() -> AnyResponse:
    """Make a number the limit of a stage or of a cabinet, or take a cabinet's own limit away."""
    form = LimitForm()
    line = _line_of(str(form.stage.data), str(form.cabinet.data or ""))
    reason = (form.reason.data or "").strip() or _reason(line, form.value.data)
    form.validate()
    if not _is_whole(form, line, reason):
        return _usual({key_of(line): form}, 422)
    try:
        with transaction(house().database) as session:
            _write(session, line, form.value.data, reason)
    except ValueError as error:
        form.value.errors = [str(error)]
        return _usual({key_of(line): form}, 422)
    flash(_told(line, form.value.data))
    return redirect(url_for("usual.show", _anchor=key_of(line)))


def key_of(line: Usual) -> str:
    """What a line of the page is called in its address and its fields."""
    return line.stage.value if line.cabinet_id is None else f"{line.stage.value}-{line.cabinet_id}"


def may_be_set(line: Usual) -> bool:
    """Whether a limit of this line is set here: a cabinet's own on shelves, a stage's only as it is suggested."""
    if line.cabinet_id is not None:
        return line.stage in ON_SHELVES
    return line.suggestion.value not in (None, line.limit_now)


def curve_of(line: Usual) -> DrawnCurve | None:
    """The curve of a stage; None where nothing has ended, and there is only a straight line to draw."""
    if not line.ended:
        return None
    corners = [(_x(hours, line.until_h), _y(share)) for hours, share in line.points]
    path = f"M{LEFT} {_y(1.0):g}" + "".join(f"H{x:g}V{y:g}" for x, y in corners) + f"H{RIGHT}"
    dots = tuple((_x(hours, line.until_h), _y(share)) for hours, share in ((line.median_h, 0.5), (line.ninety_h, 0.1))
                 if hours is not None)  # fmt: skip
    ends = ((LEFT, "0"), (RIGHT, hours_words(line.until_h)))
    return DrawnCurve(path, f"{path}V{BOTTOM}H{LEFT}Z", tuple((_y(share), words) for share, words in MARKS), ends, dots,
                      _in_words(line))  # fmt: skip


def _usual(sent: dict[str, Any], status: int = 200) -> Response:
    with reading(house().database) as session:
        found = usual(session, now(), house().zone)
    stages = [(stage, curve_of(stage)) for stage in found]
    return page("board/usual.html", status, stages=stages, sent=sent, key_of=key_of, within=within, may_be_set=may_be_set,
                may_manage=bool(visitor().roles & MANAGE))  # fmt: skip


def _line_of(slug: str, cabinet: str) -> Usual:
    """The line that a form speaks of, if a limit can be set there; the request is wrong otherwise."""
    with reading(house().database) as session:
        found = usual(session, now(), house().zone)
    lines = [line for stage in found for line in (stage, *stage.cabinets) if stage.stage == slug]
    line = next((each for each in lines if str(each.cabinet_id or "") == cabinet), None)
    if line is None or line.stage not in (RULE_OF if line.cabinet_id is None else ON_SHELVES):
        abort(400)
    return line


def _reason(line: Usual, value: int | None) -> str:
    """Why, where nobody says: only the limit that was suggested speaks for itself."""
    return reason_of(line.ended) if value is not None and value == line.suggestion.value else ""


def _is_whole(form: LimitForm, line: Usual, reason: str) -> bool:
    """Whether there is a number where one is needed, and a reason; what is wanting is said beside its field."""
    lacks = form.value.data is None and (line.cabinet_id is None or line.limit_now is None)
    if lacks or form.value.errors:
        form.value.errors = [say("Give a whole number.")]
    elif not reason:
        form.reason.errors = [say("Say why; it stays with what was changed.")]
    return not form.value.errors and not form.reason.errors


def _write(session: Any, line: Usual, value: int | None, reason: str) -> None:
    if line.cabinet_id is None:
        set_house_rule(session, RULE_OF[line.stage], value or 0, reason, now(), by=visitor().worker_id)
    else:
        set_cabinet_limit(session, line.cabinet_id, value, reason, now(), by=visitor().worker_id)


def _told(line: Usual, value: int | None) -> str:
    if value is None:
        return say("{name}: the limit of its own is gone; that of the stage holds.", name=line.name)
    return say("{name}: the limit is changed. It holds from now on.", name=line.name)


def _in_words(line: Usual) -> str:
    """The corners of the curve at its quarters: "Still there after 6 days 62 %, after 12 days 30 %"."""
    quarters = [line.until_h * part // 4 for part in (1, 2, 3) if line.until_h * part // 4]
    shares = [next((share for at, share in reversed(line.points) if at < hours), 1.0) for hours in quarters]
    said = [
        say("after {hours} {share:.0%}", hours=hours_words(hours), share=share).replace("%", " %")
        for hours, share in zip(quarters, shares, strict=True)
    ]
    return say("Still there {said}.", said=", ".join(said)) if said else ""


def _x(hours: int, until_h: int) -> float:
    return round(LEFT + (RIGHT - LEFT) * hours / until_h, 1)


def _y(share: float) -> float:
    return round(BOTTOM - (BOTTOM - TOP) * share, 1)
