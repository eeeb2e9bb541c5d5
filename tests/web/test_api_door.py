"""The door for scripts: which keys open what, and what a body may not be."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.db.engine import reading, transaction
from app.queries.people import tokens
from app.services.people import holder_of, retire_worker, revoke_token
from app.web.api_door import WITHIN, WRONG_KEYS
from app.web.api_fields import FACTS, SCAN, STEPS
from app.web.api_reading import LONGEST_NUMBER
from app.web.security import TOKEN_SCOPES
from tests.room import Room
from tests.web.api_client import STRANGE, Scripts, bearer, problem

# The addresses of the contract, each with its method.
ADDRESSES = {
    "api.scans": ("POST", "/api/scans"), "api.weights": ("POST", "/api/stacks/P1/weights"),
    "api.add_sheets": ("POST", "/api/sheets"),
    "api.correction": ("POST", "/api/entries/1/correction"), "api.sheet": ("GET", "/api/sheets/TQX0000012"),
    "api.sheets": ("GET", "/api/sheets"), "api.board": ("GET", "/api/board"),
    "api.week": ("GET", "/api/weeks/2026-W48"), "api.holds": ("POST", "/api/holds"),
}  # fmt: skip
# What each scope opens, written down by hand.
OPENS = {
    "read": {"api.sheet", "api.sheets", "api.board", "api.week"},
    "scan": {"api.scans", "api.weights", "api.correction", "api.sheet", "api.sheets", "api.board", "api.week"},
    "manage": set(ADDRESSES),
}


@pytest.fixture
def scripts(room: Room, tmp_path: Path) -> Scripts:
    return Scripts(room, tmp_path)


@pytest.mark.parametrize("scope", OPENS)
def test_each_key_opens_what_its_scope_names_and_nothing_else(scripts: Scripts, scope: str) -> None:
    assert set(TOKEN_SCOPES) == set(ADDRESSES)
    key = scripts.key(at="press") if scope == "scan" else scripts.key(scope)
    for endpoint, (method, address) in ADDRESSES.items():
        response = scripts.client.open(
            address, method=method, headers=bearer(key), json={} if method == "POST" else None
        )
        assert (response.status_code == 403) == (endpoint not in OPENS[scope]), (endpoint, response.status_code)
        if response.status_code == 403:
            assert scope in problem(response, 403)["detail"]


@pytest.mark.parametrize("address", ADDRESSES.values(), ids=lambda each: " ".join(each))
def test_without_a_key_nothing_opens(scripts: Scripts, address: tuple[str, str]) -> None:
    method, path = address
    for headers in ({}, {"Authorization": "Basic aGVkZGE6aGVkZGE="}, bearer("guessed"), bearer(""), bearer("ü")):
        response = scripts.client.open(path, method=method, headers=headers, json={} if method == "POST" else None)
        problem(response, 401)
        assert response.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_key_that_has_run_out_or_was_revoked_opens_nothing(scripts: Scripts) -> None:
    short, revoked = scripts.key(days=1), scripts.key()
    with transaction(scripts.room.database) as session:
        found = holder_of(session, revoked, scripts.room.now)
        assert found is not None
        revoke_token(session, found.token_id, scripts.room.now, by=None)
    problem(scripts.get("/board", revoked), 401)
    scripts.room.wait(days=1, seconds=-1)
    assert scripts.get("/sheets", short).status_code == 200
    scripts.room.wait(seconds=1)
    problem(scripts.get("/sheets", short), 401)
    scripts.room.wait(seconds=1)
    problem(scripts.get("/sheets", short), 401)


def test_a_manager_s_key_ends_with_its_manager(scripts: Scripts) -> None:
    key, never = scripts.key(), scripts.key(who="olwen")
    problem(scripts.get("/sheets", never), 401)
    assert scripts.get("/sheets", key).status_code == 200
    with transaction(scripts.room.database) as session:
        retire_worker(session, scripts.room.worker["hedda"], scripts.room.now, by=None)
    problem(scripts.get("/sheets", key), 401)


def test_whoever_guesses_is_told_to_wait_and_a_right_key_still_opens(scripts: Scripts) -> None:
    right = scripts.key("read")
    for guess in range(WRONG_KEYS):
        problem(scripts.get("/sheets", f"guess-{guess}"), 401)
    response = scripts.get("/sheets", "guess-more")
    problem(response, 429)
    assert int(response.headers["Retry-After"]) == WITHIN.total_seconds()
    assert scripts.get("/sheets", right).status_code == 200
    elsewhere = scripts.client.get("/api/sheets", headers=bearer("guess"), environ_base={"REMOTE_ADDR": "192.0.2.7"})
    problem(elsewhere, 401)
    scripts.room.now += WITHIN
    problem(scripts.get("/sheets", "guess-again"), 401)


def test_the_last_use_of_a_key_is_written_once_a_minute(scripts: Scripts) -> None:
    key, room = scripts.key("read"), scripts.room
    first = room.now
    for seconds, written in ((0, first), (59, first), (60, first + timedelta(seconds=60))):
        room.now = first + timedelta(seconds=seconds)
        scripts.get("/sheets", key)
        with reading(room.database) as session:
            assert [line.used_at for line in tokens(session)] == [written]


def test_nobody_who_is_signed_in_as_a_person_gets_in_without_a_key(scripts: Scripts) -> None:
    with scripts.client.session_transaction() as session:
        session["worker"], session["since"] = scripts.room.worker["hedda"], ""
    problem(scripts.get("/board"), 401)


@pytest.mark.parametrize(
    ("field", "sentence"),
    [
        ({"stap": "mount"}, "stap is not a field here"),
        ({"facts": {"dryness": True, "dry": True}}, "facts.dry is not a field here"),
        ({"happened_at": "2026-11-25T14:07:00"}, "has no offset"),
        ({"happened_at": "yesterday"}, "has to be a moment such as"),
        ({"happened_at": "0001-01-01T00:00:00+14:00"}, "outside of all"),
        ({"happened_at": "9999-12-31T23:59:59-14:00"}, "outside of all"),
        ({"workers": "W02"}, "workers has to be a list"),
        ({"workers": []}, "workers has to be a list of 1 to 2"),
        ({"workers": ["W01", "W02", "W03"]}, "workers has to be a list of 1 to 2"),
        ({"step": "glue"}, "step has to be one of"),
        ({"step": "put-together"}, "step has to be one of"),
        ({"early": "yes"}, "early has to be true or false"),
        ({"early": 1}, "early has to be true or false"),
        ({"held": -1}, "held has to be a whole number"),
        ({"held": 1.0}, "held has to be a whole number"),
        ({"held": True}, "held has to be a whole number"),
        ({"code": 4217}, "code has to be text"),
        ({"code": None}, "code has to be text"),
        ({"code": "TQX\ud800"}, "holds a character that no text has"),
        ({"reason": "a\0b"}, "holds a character that no text has"),
        ({"shelf": "3"}, "cabinet is missing"),
        ({"facts": []}, "facts has to be an object"),
        ({"facts": {"bulk": "huge"}}, "facts.bulk has to be one of: thin, ordinary, bulky"),
        ({"facts": {"hazards": ["dragons"]}}, "facts.hazards has to be one of"),
        ({"facts": {"layer": 0}}, "facts.layer has to be a whole number"),
        ({"facts": {"outcome": "fine"}}, "facts.outcome has to be one of"),
        ({"step": "put-hold"}, "facts.hold is missing"),
        ({"step": "count"}, "facts.counted is missing"),
    ],
    ids=lambda each: json.dumps(each)[:50] if isinstance(each, dict) else None,
)
def test_a_field_that_is_not_right_is_refused_by_its_name(
    scripts: Scripts, field: dict[str, Any], sentence: str
) -> None:
    number = scripts.room.sheet_ready()
    response = scripts.scan(scripts.key(at="table-1"), **{"code": number, **field})
    assert sentence in problem(response, 400)["detail"]
    assert len(scripts.room.log(number)) == 2


@pytest.mark.parametrize("missing", ["scan_id", "code"])
def test_a_field_that_is_missing_is_named(scripts: Scripts, missing: str) -> None:
    body = {"scan_id": "a", "code": "TQX"}
    del body[missing]
    assert problem(scripts.post("/scans", scripts.key(), body), 400)["detail"] == f"{missing} is missing."


@pytest.mark.parametrize(
    "data",
    [
        b"", b"{", b"[]", b"null", b'"scan"', b"7", b"\xff\xfe", b"\xef\xbb\xbf", "{}".encode("utf-16"), b'{"code": NaN}',
        b'{"held": Infinity}',
        b'{"held": 1e999}', b'{"held": ' + b"9" * (LONGEST_NUMBER + 1) + b"}", b'{"held": ' + b"9" * 10_000 + b"}",
        b'{"code": "a", "code": "b"}', b"[" * 100_000, b'{"facts": ' * 10_000, b'{"code": "\\ud83d"',
    ],
    ids=lambda each: repr(each[:20]),
)  # fmt: skip
def test_a_body_that_is_no_json_object_is_refused_in_a_sentence(scripts: Scripts, data: bytes) -> None:
    response = scripts.client.post(
        "/api/scans", data=data, headers=bearer(scripts.key()), content_type="application/json"
    )
    assert problem(response, 400)["detail"].startswith("The body ")


def test_a_body_that_is_too_large_is_not_read(scripts: Scripts) -> None:
    key = scripts.key()
    for address in ("/scans", "/sheets"):
        problem(scripts.post(address, key, {"reason": "x" * 10_000_000}), 413)
    problem(scripts.post("/scans", key, {"reason": "x" * 300_000}), 413)


def test_only_json_is_read(scripts: Scripts) -> None:
    key = bearer(scripts.key())
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        problem(scripts.client.post("/api/scans", data="code=TQX", headers=key, content_type=kind), 415)
    problem(scripts.client.post("/api/scans", data=b"{}", headers=key), 415)


def test_what_is_not_there_is_a_problem_and_not_a_page(scripts: Scripts) -> None:
    key = scripts.key()
    for address in ("/nothing", "/weeks", "", "/sheets/TQX0000012", "/sheets/%00", "/sheets/" + "9" * 300):
        problem(scripts.get(address, key), 404)
    for entry in ("1", "0", "-1", "x", "9" * 18, "9" * 6000, "1.0", "%C2%B2"):
        problem(scripts.post(f"/entries/{entry}/correction", key, reason="wrong"), 404)
    problem(scripts.post("/stacks/P9/weights", key, on=True), 404)
    response = scripts.client.delete("/api/scans", headers=bearer(key))
    problem(response, 405)
    assert set(response.headers["Allow"].replace(" ", "").split(",")) == {"POST", "OPTIONS"}
    assert scripts.client.get("/nothing").mimetype == "text/html"


def test_a_fault_of_the_program_is_a_problem_too_and_tells_nothing_of_its_inside(
    scripts: Scripts, monkeypatch: pytest.MonkeyPatch
) -> None:
    scripts.app.config["PROPAGATE_EXCEPTIONS"] = False
    key = scripts.key()
    monkeypatch.setattr("app.web.api.list_sheets", lambda *_, **__: 1 // 0)
    body = problem(scripts.get("/sheets", key), 500)
    assert "Zero" not in json.dumps(body)


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4), max_leaves=12,
)  # fmt: skip
FACT = st.sampled_from(
    [*STRANGE, "W02", "pva", "passed", "quarantine", "heated", "bulky", ["W02"], ["irritant"], ["TQX0000012"]]
)
FIELD = (
    FACT
    | ANY_JSON
    | st.sampled_from([*STEPS, "P1", "M1", "1", "press", "2026-11-25T09:00:00+00:00", ["W02", "W03"], ["W99"]])
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    fields=st.dictionaries(st.sampled_from(sorted(SCAN)), FIELD, max_size=6),
    facts=st.dictionaries(st.sampled_from(sorted(FACTS)), FACT, max_size=4),
    which=st.sampled_from(["sheet", "glued", "on", "off", "shelf", "bundle", "badge", "nonsense"]),
    at=st.sampled_from(["table-1", "press", "intake", "inspection", "", "", ""]),
)
def test_whatever_is_sent_is_answered(
    scripts: Scripts, fields: dict[str, Any], facts: dict[str, Any], which: str, at: str
) -> None:
    body = {"code": _code(scripts, which), "facts": facts, **fields, "scan_id": scripts.next_id()}
    response = scripts.post("/scans", _kept_key(scripts, at), body)
    assert response.status_code in (200, 400, 422), (response.status_code, body)
    again = scripts.post("/scans", _kept_key(scripts, at), body)
    assert (again.status_code, again.data) == (response.status_code, response.data)


PLAUSIBLE = {
    "step": st.sampled_from(STEPS), "stack": st.sampled_from(["P1", "P2", "P9"]), "cabinet": st.sampled_from(["M1", "F1", "Z9"]),
    "early": st.booleans(), "already_done": st.booleans(), "reason": st.sampled_from(["", "it is so"]), "held": st.integers(0, 3),
    "station": st.sampled_from(["table-1", "press", "intake", "inspection", "filing", "nowhere"]),
    "workers": st.lists(st.sampled_from(["W01", "W02", "W04", "W99"]), min_size=1, max_size=2),
    "happened_at": st.sampled_from(["2026-11-25T08:59:59+00:00", "2026-11-25T10:00:00+01:00", "2026-11-25T09:00:01+00:00",
                                     "1999-01-01T00:00Z"]),
}  # fmt: skip
FACTS_SAID = {
    "dryness": st.booleans(),
    "felt_again": st.booleans(), "label": st.booleans(), "all": st.booleans(), "found": st.booleans(),
    "drying": st.sampled_from(["heated", "unheated"]), "adhesive": st.sampled_from(["pva", "paste", "no"]),
    "bulk": st.sampled_from(["thin", "bulky"]), "hazards": st.sampled_from([[], ["pins"], ["pins", "mould"]]),
    "layer": st.integers(1, 9),
    "beside": st.sampled_from(["W02", "W04", "W99"]), "outcome": st.sampled_from(["passed", "to-be-mended", "mended-here"]),
    "findings": st.sampled_from([[], ["loose-part"]]), "glued_by": st.sampled_from(["W02", "w99"]), "counted": st.integers(0, 9),
    "mass_kg": st.sampled_from([0, 12.5, 90]), "hold": st.sampled_from(["quarantine", "label-to-come", "not-found"]),
    "new_number": st.sampled_from(["", "TQX 000099", "TQX0000998"]), "unmounted": st.sampled_from(["box", "packet"]),
    "second": st.just("x"),
    "read_as": st.just("TQX0000012"), "all_but": st.just([]),
}  # fmt: skip


@settings(max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    fields=st.fixed_dictionaries({}, optional=PLAUSIBLE),
    facts=st.fixed_dictionaries({}, optional=FACTS_SAID),
    which=st.sampled_from(["sheet", "glued", "new", "on", "off", "shelf", "bundle", "badge", "misread"]),
    at=st.sampled_from(["table-1", "press", "intake", "inspection", "", "", ""]),
)
def test_whatever_can_be_meant_is_answered_and_answered_the_same_again(
    scripts: Scripts, fields: dict[str, Any], facts: dict[str, Any], which: str, at: str
) -> None:
    body = {"scan_id": scripts.next_id(), "code": _code(scripts, which), "facts": facts, **fields}
    response = scripts.post("/scans", _kept_key(scripts, at), body)
    assert response.status_code in (200, 400, 422), (response.status_code, body)
    again = scripts.post("/scans", _kept_key(scripts, at), body)
    assert (again.status_code, again.data) == (response.status_code, response.data)


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(body=ANY_JSON, address=st.sampled_from(["/scans", "/stacks/P1/weights", "/sheets", "/entries/1/correction"]))
def test_any_json_at_all_is_answered_on_every_address(scripts: Scripts, body: Any, address: str) -> None:
    scripts.room.scans(scripts.room.new_number(), "intake")
    response = scripts.post(address, _kept_key(scripts, ""), body)
    assert response.status_code in (400, 422), response.status_code


def _kept_key(scripts: Scripts, at: str) -> str:
    kept = scripts.__dict__.setdefault("kept", {})
    if at not in kept:
        kept[at] = scripts.key(at=at)
    return str(kept[at])


def _code(scripts: Scripts, which: str) -> str:
    room = scripts.room
    made: dict[str, str] = scripts.__dict__.setdefault("codes", {})
    if not made:
        from app.services.room import add_bundle

        with transaction(room.database) as session:
            add_bundle(session, "Tray 1")
        made.update(sheet=room.sheet_ready(), glued=room.sheet_mounted(), on=room.code("on", "P1"), off=room.code("off", "P1"),
                    shelf=room.code("shelf", "M1/2"), bundle=room.code("bundle", "Tray 1"), badge=room.code("badge", "piet"),
                    nonsense="??", new="TQX0000505", misread="TQX0000013")  # fmt: skip
    return made[which]
