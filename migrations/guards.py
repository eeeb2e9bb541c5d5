"""The guards of the custody log: triggers that refuse to change or delete an entry, whichever program asks.

A batch migration on SQLite rebuilds a table and silently drops its triggers: call guard_entries(op) again after one.
"""

from __future__ import annotations

from typing import Any

# By table, the keys whose clash would let INSERT OR REPLACE write over a row.
GUARDED = {"entry": ("id", "corrects"), "entry_worker": (), "scan": ("id", "scan_id")}
GUARDED_CHECKS = {"check_expected": (), "check_seen": ("id",)}
GUARDED_HANDED = {"hand_over": ("id",), "handed_sheet": ()}
GUARDED_SUPPLIES = {"supply_entry": ("id", "corrects"), "lot_opening": ("id", "corrects")}
PAIRS = {"entry_worker": ("entry_id", "worker_id"), "check_expected": ("check_id", "sheet_id"),
         "handed_sheet": ("hand_over_id", "place")}  # fmt: skip


def guard_entries(op: Any) -> None:
    """Put the guards on every table of the log."""
    _guard(op, GUARDED)


def guard_checks(op: Any) -> None:
    """Put the guards on what a cabinet check expected and saw."""
    _guard(op, GUARDED_CHECKS)


def guard_handed(op: Any) -> None:
    """Put the guards on what was handed over to the catalogue."""
    _guard(op, GUARDED_HANDED)


def guard_supplies(op: Any) -> None:
    """Put the guards on what happened to supplies, and on which pot was open where."""
    _guard(op, GUARDED_SUPPLIES)


def _guard(op: Any, tables: dict[str, tuple[str, ...]]) -> None:
    make = _sqlite_guards if op.get_bind().dialect.name == "sqlite" else _postgres_guards
    for table, keys in tables.items():
        for statement in make(table, keys):
            op.execute(statement)


def _sqlite_guards(table: str, keys: tuple[str, ...]) -> list[str]:
    refuse = f"SELECT RAISE(ABORT, 'the log is never changed: {table}')"
    guards = [
        f"CREATE TRIGGER guard_{table}_{deed} BEFORE {deed.upper()} ON {table} BEGIN {refuse}; END"
        for deed in ("update", "delete")
    ]
    clash = _clash(table, keys)
    # INSERT OR REPLACE deletes the row it clashes with; the clash itself is refused first.
    insert = f"CREATE TRIGGER guard_{table}_replace BEFORE INSERT ON {table} WHEN {clash} BEGIN {refuse}; END"
    return [*guards, insert]


def _clash(table: str, keys: tuple[str, ...]) -> str:
    if table in PAIRS:
        one, other = PAIRS[table]
        return f"EXISTS (SELECT 1 FROM {table} WHERE {one} = NEW.{one} AND {other} = NEW.{other})"
    return " OR ".join(
        f"(NEW.{column} IS NOT NULL AND EXISTS (SELECT 1 FROM {table} WHERE {column} = NEW.{column}))"
        for column in keys
    )


def _postgres_guards(table: str, keys: tuple[str, ...]) -> list[str]:
    return [
        "CREATE OR REPLACE FUNCTION guard_log() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the log is never changed: %', TG_TABLE_NAME"
        " USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f"CREATE TRIGGER guard_{table} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_log()",
        f"CREATE TRIGGER guard_{table}_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION guard_log()",
    ]
