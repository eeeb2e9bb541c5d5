"""What scripts are answered: JSON where it went well, problem details (RFC 9457) where it did not."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import parse_qsl

from flask import Response, request
from werkzeug.exceptions import HTTPException

from app.domain.answer import WORDS, Answer, Choice, Described
from app.domain.errors import Refusal, gravest
from app.domain.language import mark, say

PROBLEM = "application/problem+json"


def json_response(body: Mapping[str, Any], status: int = 200, kind: str = "application/json") -> Response:
    """A body as JSON; the same body gives the same bytes."""
    return Response(json.dumps(body, ensure_ascii=False) + "\n", status, mimetype=kind)


def problem(status: int, detail: str, **more: Any) -> Response:
    """A problem: what kind it is, and in `detail` what is true and what to do."""
    name, title = KINDS.get(status, KINDS[500])
    body = {"type": f"/problems/{name}", "title": say(title), "status": status, "detail": detail, **more}
    return json_response(body, status, PROBLEM)


def is_for_scripts() -> bool:
    """Whether this request came to the interface for scripts."""
    return request.path == "/api" or request.path.startswith("/api/")


def problem_of(error: HTTPException) -> Response:
    """The problem that an error of HTTP is to a script."""
    status = error.code or 500
    response = problem(status, say(DETAILS.get(status, mark("Look at the request once more."))))
    for name, value in error.get_headers(request.environ):
        if name in ("Allow", "Retry-After"):
            response.headers[name] = value
    return response


def answer_response(answer: Answer) -> Response:
    """An answer of the room. What was not written, and what was only asked, is a problem of status 422."""
    asks = answer.kind == "which-one" and answer.entry is None
    if answer.status == 200 and not asks:
        # Part of it was written, and the rest was refused: a glued sheet that finds no stack.
        left = {"refusals": [dict(each) for each in answer.refusals]} if answer.refusals else {}
        return json_response({"answer": answer.kind, **left, **_told(answer)})
    told = {"answer": answer.kind, "refusals": [dict(each) for each in answer.refusals], **_told(answer)}
    detail = " ".join(answer.lines) or answer.word
    return json_response({**_refused(answer.word, detail), **told}, 422, PROBLEM)


def refused_response(refusals: Sequence[Refusal], tell: Callable[[object], str]) -> Response:
    """A refusal that is kept nowhere: a scan id used twice, or what was refused after something was written."""
    plain = [{"code": each.code, "words": each.said(tell)} for each in refusals]
    if refusals[0].code == "scan-id-reused":
        return problem(409, f"{refusals[0].words} {refusals[0].next}", refusals=plain)
    kind = gravest(refusals)
    detail = " ".join(refusal.said(tell) for refusal in refusals)
    next_ = " ".join(refusal.next_said(tell) for refusal in refusals)
    told = {"answer": kind, "refusals": plain, "words": detail, "next": next_}
    return json_response({**_refused(say(WORDS[kind]), detail), **told}, 422, PROBLEM)


def _refused(title: str, detail: str) -> dict[str, Any]:
    return {"type": "/problems/refused", "title": title, "status": 422, "detail": detail}


def _told(answer: Answer) -> dict[str, Any]:
    told: dict[str, Any] = {
        "entry": answer.entry, "sheet": _sheet(answer.sheet), "words": " ".join((answer.word, *answer.lines)),
        "next": answer.next,
    }  # fmt: skip
    if answer.step:
        told["step"] = answer.step
    if answer.moved or answer.left:
        told |= {"moved": list(answer.moved), "left": [dict(each) for each in answer.left]}
    return told | _questions(answer)


def _questions(answer: Answer) -> dict[str, Any]:
    """What may be sent next, as the fields of the next request."""
    asked: dict[str, Any] = {}
    if answer.choices:
        asked["choices"] = [_choice(choice, answer.carry) for choice in answer.choices]
    if answer.ask is not None:
        asked["ask"] = {"field": answer.ask.name, "words": answer.ask.label, "send": _fields(answer.carry)}
    if answer.already_done:
        asked["already_done"] = {"words": answer.already_done, "send": _fields({**answer.carry, "already_done": "1"})}
    return asked


def _choice(choice: Choice, carry: Mapping[str, str]) -> dict[str, Any]:
    chosen = dict(parse_qsl(choice.value)) if choice.name == "choose" else {choice.name: choice.value}
    shown = {"words": choice.label, "plant": choice.plant, "detail": choice.detail}
    return {**{name: words for name, words in shown.items() if words}, "send": _fields({**carry, **chosen})}


def _fields(sent: Mapping[str, str]) -> dict[str, Any]:
    """The fields of a form as the fields of a body."""
    body: dict[str, Any] = {}
    facts: dict[str, Any] = {}
    for name, value in sent.items():
        if name.startswith("facts."):
            facts[name[6:]] = _fact(name[6:], value)
        else:
            body[name] = True if name == "already_done" else value
    return {**body, "facts": facts} if facts else body


def _fact(name: str, value: str) -> Any:
    if name == "counted":
        return int(value)
    return {"yes": True, "no": False}.get(value, value)


def _sheet(sheet: Described | None) -> dict[str, Any] | None:
    if sheet is None:
        return None
    return {
        "number": sheet.number, "shown": sheet.shown, "plant": sheet.plant, "family": sheet.family, "detail": sheet.detail,
        "cautions": list(sheet.cautions), "stage": sheet.stage or None, "since": sheet.since or None,
    }  # fmt: skip


KINDS: dict[int, tuple[str, str]] = {
    400: ("malformed", mark("The request cannot be read")),
    401: ("no-key", mark("A key is needed")),
    403: ("not-allowed", mark("This key is not for that")),
    404: ("not-here", mark("There is no such thing here")),
    405: ("wrong-method", mark("This address is not used like that")),
    409: ("conflict", mark("Two things cannot both be true")),
    413: ("too-much", mark("That is more than is read")),
    415: ("not-json", mark("Only JSON is read")),
    422: ("refused", mark("Stop.")),
    429: ("too-many-tries", mark("Too many tries")),
    500: ("failed", mark("Something went wrong in the program")),
    503: ("not-well", mark("The room's database does not answer")),
}
DETAILS: dict[int, str] = {
    400: mark("The request cannot be read. Nothing was written."),
    404: mark("There is no such address, number, entry or stack here. Look it up and ask again."),
    405: mark("This address does not take this method. Allow names those that it takes."),
    409: mark("Two things met here that cannot both be true. Send it once more."),
    413: mark("Send less at once. Nothing was written."),
    500: mark(
        "Something went wrong in the program. What was not answered was not written: send it again with the same id."
    ),
}
