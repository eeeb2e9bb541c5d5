"""House rules, each on a page of its own, and what a raised time under weight asks about the sheets lying there."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from functools import partial
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.house import RULES
from app.domain.language import say, say_n
from app.domain.press import MINIMUM_RULES
from app.queries.house import house_now
from app.queries.house_rules import count_lying, lying_page, one_person_lines, rule_page
from app.services.presets import set_one_person_room
from app.services.raising import hold_for_lying, keep_as_laid
from app.services.room import set_house_rule
from app.web.asking import asked, done_once
from app.web.forms import LyingForm, ReasonForm, RuleForm, YesNoRuleForm
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("rules", __name__)


@bp.get("/room/rules/<name>")
def one(name: str) -> Response:
    """One house rule."""
    return _drawn(name, _form(name, fresh=True))


@bp.post("/room/rules/<name>")
def change(name: str) -> AnyResponse:
    """Change a house rule from now on, with a reason."""
    form = _form(name)
    if not form.validate():
        return _drawn(name, form, 422)
    try:
        lying = _set(name, form.value.data or 0, str(form.reason.data))
    except ValueError as error:
        form.value.errors = [str(error)]
        return _drawn(name, form, 422)
    flash(
        say(
            "{rule}: changed. It holds from now on; a sheet keeps the rule under which it was laid down.",
            rule=RULES[name].words,
        )
    )
    return redirect(url_for("rules.lying" if lying else "rules.one", name=name))


@bp.get("/room/rules/<name>/lying")
def lying(name: str) -> Response:
    """Whether a raised time under weight holds for the sheets that lie there already."""
    return _question(name, LyingForm(formdata=None))


@bp.post("/room/rules/<name>/lying")
def answer(name: str) -> AnyResponse:
    """The answer: it holds for them too, or they stay as they were laid in."""
    form = LyingForm()
    if request.form.get("answer") == "no":
        return _kept(name, form)
    if not form.validate():
        return _question(name, form, 422)
    version, wanted = int(form.version.data or 0), asked(name, form.reason.data)
    try:
        said = done_once(wanted, partial(hold_for_lying, name=name, version=version), f"longer {name} {version}")
    except ValueError as error:
        form.reason.errors = [str(error)]
        return _question(name, form, 422)
    if said.kind != "done":
        form.reason.errors = [*said.lines, said.next]
        return _question(name, form, 422)
    flash(" ".join((said.word, *said.lines, said.next)))
    return redirect(url_for("rules.one", name=name))


@bp.get("/room/one-person")
def one_person() -> Response:
    """What the rules of a one-person room are."""
    return _preset(ReasonForm(formdata=None))


@bp.post("/room/one-person")
def set_one_person() -> AnyResponse:
    """Set the rules of a one-person room."""
    form = ReasonForm()
    if not form.validate():
        return _preset(form, 422)
    with transaction(house().database) as session:
        many = set_one_person_room(session, str(form.reason.data), now(), by=visitor().worker_id)
    changed = say_n("One-person room: {n} rule was changed.", "One-person room: {n} rules were changed.", many)
    flash(changed if many else say("The rules were like that already."))
    return redirect(url_for("rules.one_person"))


def _set(name: str, value: int, reason: str) -> bool:
    """Set the rule; whether it was raised and sheets lie by a shorter minimum now."""
    with transaction(house().database) as session:
        was = int(getattr(house_now(session), name))
        set_house_rule(session, name, value, reason, now(), by=visitor().worker_id)
        return value > was and count_lying(session, name) > 0


def _kept(name: str, form: LyingForm) -> AnyResponse:
    _minimum_only(name)
    if len(form.reason.data or "") > MOST_SAID:
        form.validate()
        return _question(name, form, 422)
    with transaction(house().database) as session:
        many = keep_as_laid(session, name, form.reason.data or "", now(), by=visitor().worker_id)
    flash(say("They keep the minimum they were laid in by. That it was asked is written down.") if many
          else say("No sheet lies by a shorter minimum any more."))  # fmt: skip
    return redirect(url_for("rules.one", name=name))


def _form(name: str, *, fresh: bool = False) -> Any:
    row = RULES.get(name)
    if row is None:
        abort(404)
    made: Callable[..., Any] = YesNoRuleForm if row.is_choice else RuleForm
    form = made(formdata=None) if fresh else made()
    for field in (form.value, form.reason):
        field.id = field.label.field_id = f"{name}-{field.short_name}"
    if not row.is_choice:
        form.value.render_kw = {"min": row.low, "max": row.high, "type": "number"}
    return form


def _drawn(name: str, form: Any, status: int = 200) -> Response:
    with reading(house().database) as session:
        rule = rule_page(session, name)
    if form.value.data is None and not form.value.raw_data:
        form.value.data = rule.line.value
    return page("room/rule.html", status, rule=rule, line=rule.line, form=form)


def _question(name: str, form: LyingForm, status: int = 200) -> Response:
    _minimum_only(name)
    with reading(house().database) as session:
        found = lying_page(session, name, now(), house().zone)
    # The answer is given to the list that is shown now.
    form.version.data = str(found.version)
    if not form.is_submitted():
        form.reason.data = found.reason
    return page("room/lying.html", status, name=name, lying=found, form=form, fresh_id=secrets.token_urlsafe(16))


def _preset(form: ReasonForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        lines = one_person_lines(session)
    return page("room/one_person.html", status, lines=lines, form=form)


def _minimum_only(name: str) -> None:
    if name not in MINIMUM_RULES:
        abort(404)


MOST_SAID = 500
