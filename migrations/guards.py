"""The guards of the custody log: triggers that refuse to change or delete an entry, whichever program asks.

A batch migration on SQLite rebuilds a table and silently drops its triggers: call guard_entries(op) again after one.
"""

from __future__ import annotations

from typing import Any

GUARDED = {"entry": ("id", "corrects"), "entry_worker": (), "scan": ("id", "scan_id")}


def guard_entries(op: Any) -> None:
    """Put the guards on every table of the log."""
    for table in GUARDED:
        make = _sqlite_guards if op.get_bind().dialect.name == "sqlite" else _postgres_guards
        for statement in make(table):
            op.execute(statement)


def _sqlite_guards(table: str) -> list[str]:
    refuse = f"SELECT RAISE(ABORT, 'the log is never changed: {table}')"
    guards = [
        f"CREATE TRIGGER guard_{table}_{deed} BEFORE {deed.upper()} ON {table} BEGIN {refuse}; END"
        for deed in ("update", "delete")
    ]
    clash = _clash(table)
    # INSERT OR REPLACE deletes the row it clashes with; the clash itself is refused first.
    insert = f"CREATE TRIGGER guard_{table}_replace BEFORE INSERT ON {table} WHEN {clash} BEGIN {refuse}; END"
    return [*guards, insert]


def _clash(table: str) -> str:
    if table == "entry_worker":
        return "EXISTS (SELECT 1 FROM entry_worker WHERE entry_id = NEW.entry_id AND worker_id = NEW.worker_id)"
    return " OR ".join(
        f"(NEW.{column} IS NOT NULL AND EXISTS (SELECT 1 FROM {table} WHERE {column} = NEW.{column}))"
        for column in GUARDED[table]
    )


def _postgres_guards(table: str) -> list[str]:
    return [
        "CREATE OR REPLACE FUNCTION guard_log() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the log is never changed: %', TG_TABLE_NAME; END $$",
        f"CREATE TRIGGER guard_{table} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_log()",
        f"CREATE TRIGGER guard_{table}_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION guard_log()",
    ]
