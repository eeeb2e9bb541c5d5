"""Putting the web application together: the room's pages, its doors and its interface for scripts."""

from __future__ import annotations

from datetime import timedelta

from flask import Flask
from flask_wtf.csrf import CSRFProtect

from app.config import HOME
from app.web import (
    ahead,
    api,
    aside,
    backups,
    board,
    cabinets,
    calendar,
    checks,
    consignments,
    day,
    doors,
    drying,
    enrolling,
    exchange,
    files,
    filing,
    form_words,
    freezer,
    hazards,
    holds,
    house_rules,
    inspecting,
    intake,
    labels,
    languages,
    leaving,
    line,
    not_now,
    numberless,
    order,
    out,
    own,
    paper,
    people,
    pests,
    practice,
    practising,
    press,
    printing,
    refusals,
    render,
    request_log,
    room,
    scanner,
    search,
    security,
    sheets,
    spoken,
    supplies,
    taking_in,
    teaching,
    usual,
    week,
    work_tables,
)
from app.web.frame import frame_context
from app.web.hosts import only_by_name

LARGEST_BODY = 8 * 1024 * 1024


def put_together(running: render.House) -> Flask:
    """Make the web application of one running room. Nothing is read from the database yet."""
    app = Flask("app", template_folder=str(HOME / "templates"), static_folder=str(HOME / "static"))
    _configure(app, running)
    app.extensions["blotter"] = running
    request_log.set_up(app)
    languages.set_up(app)
    not_now.set_up(app)
    form_words.set_up()
    csrf = CSRFProtect(app)
    render.set_up(app)
    security.set_up(app)
    practising.set_up(app)
    app.context_processor(frame_context)
    for module in (doors, enrolling, line, sheets, work_tables, numberless, search, board, aside, ahead, usual, order,
                   practice, press, cabinets, checks, freezer, calendar, day, paper, scanner, week, intake, files, people, own,
                   inspecting, teaching, room, refusals, house_rules, printing, pests, holds, hazards, filing, leaving, taking_in,
                   drying, consignments, labels, exchange, spoken, out, backups, supplies):  # fmt: skip
        app.register_blueprint(module.bp)
    # Scripts carry a key of their own instead of a cookie, so there is nothing to forge.
    csrf.exempt(api.bp)
    app.register_blueprint(api.bp)
    app.wsgi_app = only_by_name(app.wsgi_app, running.config.trusted_hosts)  # type: ignore[method-assign,assignment]
    return app


def _configure(app: Flask, running: render.House) -> None:
    config = running.config
    app.config.update(
        SECRET_KEY=config.secret_key,
        SESSION_COOKIE_NAME="blotter",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=config.secure_cookies,
        PERMANENT_SESSION_LIFETIME=timedelta(days=14),
        # A station stays open for days: its forms must not go stale.
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=LARGEST_BODY,
        MAX_FORM_MEMORY_SIZE=1024 * 1024,
        MAX_FORM_PARTS=200,
        SEND_FILE_MAX_AGE_DEFAULT=timedelta(hours=1),
    )
