"""What every test would make anew, made once for a whole run: compiled templates, addresses and statements.

All of them depend on nothing but the text that they are made of, and take more time than most tests do. A room in a file is not
synced here either: whoever asks what outlives a cut of the power starts a program of its own.
"""

from __future__ import annotations

from types import CodeType
from typing import Any

from flask import Flask
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from sqlalchemy import event
from werkzeug.routing import Rule

from app.db.engine import Database


class Compiled(BytecodeCache):
    """Templates by their name, their place and the checksum of their text."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], CodeType] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Give the template's code, where the same text was compiled before."""
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the template's code."""
        if bucket.code is not None:
            self._codes[bucket.key, bucket.checksum] = bucket.code


def make_once() -> None:
    """Let all applications of this process share their templates and addresses."""
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": Compiled()}
    compile_anew = Rule.compile
    kept: dict[tuple[Any, ...], dict[str, Any]] = {}

    def compile_once(rule: Rule) -> None:
        key = (rule.rule, rule.subdomain, rule.host, repr(rule.defaults), rule.merge_slashes)
        if key not in kept:
            compile_anew(rule)
            kept[key] = {name: vars(rule)[name] for name in ("_parts", "_trace", "_converters", "arguments")}
            kept[key] |= {name: vars(rule)[name].__func__ for name in ("_build", "_build_unknown")}
            return
        for name, made in kept[key].items():
            setattr(rule, name, made.__get__(rule) if name.startswith("_build") else made.copy())

    Rule.compile = compile_once  # type: ignore[method-assign]


_SHARED: dict[str, tuple[Any, Any]] = {}


def share_statements(database: Database) -> None:
    """Let this room use the statements that others have compiled; one in a file writes without waiting for the disk."""
    if database.is_sqlite:
        event.listen(database.engine, "connect", lambda line, _: line.execute("PRAGMA synchronous = OFF").close())
    kind = database.engine.dialect.name
    if kind not in _SHARED:
        # Its first line teaches a dialect what the database can do.
        with database.engine.connect():
            _SHARED[kind] = (database.engine.dialect, database.engine._compiled_cache)
    for engine in (database.engine, database.writing, database.looking, database.glancing):
        engine.dialect, engine._compiled_cache = _SHARED[kind]
