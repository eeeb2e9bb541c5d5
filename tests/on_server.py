"""The tests' rooms on a server of PostgreSQL: few databases, emptied again and again."""

from __future__ import annotations

import secrets
from collections import Counter, deque
from contextlib import suppress
from pathlib import Path

import psycopg
from sqlalchemy import URL
from sqlalchemy.engine import make_url

from app.db.engine import Database
from app.db.postgres import with_driver
from app.db.upgrade import upgrade
from tests.databases import Rooms

# What changes in the catalogue with whatever changes a table, an index, a guard or a column, and what the planner was told.
TABLES = """
SELECT md5(string_agg(said, ',' ORDER BY said)) FROM (
  SELECT oid || ':' || xmin AS said FROM pg_class WHERE relnamespace = 'public'::regnamespace
  UNION ALL SELECT oid || ':' || xmin FROM pg_trigger
  UNION ALL SELECT oid || ':' || xmin FROM pg_constraint WHERE oid >= 16384
  UNION ALL SELECT oid || ':' || xmin FROM pg_proc WHERE oid >= 16384
  UNION ALL SELECT oid || ':' || xmin FROM pg_namespace WHERE oid >= 16384 OR nspname = 'public'
  UNION ALL SELECT attrelid || '.' || attnum || ':' || xmin FROM pg_attribute WHERE attrelid >= 16384
  UNION ALL SELECT starelid || '.' || staattnum FROM pg_statistic WHERE starelid >= 16384
) AS all_of_it"""
# A table into which nobody ever wrote has no pages.
EMPTY = """
SET session_replication_role = replica;
DO $$
DECLARE written regclass;
BEGIN
  FOR written IN
    SELECT oid::regclass FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace
    AND pg_relation_size(oid) > 0
  LOOP EXECUTE 'DELETE FROM ' || written; END LOOP;
  PERFORM setval(seqrelid, 1, false) FROM pg_sequence;
END $$;
INSERT INTO alembic_version VALUES ('{}')"""
SEND_AWAY = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'"
# While fewer are free, another is made: the one that is lent next was left a while ago, and nobody is in it any more.
FEW = 3
# What was deleted lies about in a database; after so many tests there is a new one.
OFTEN = 50


class RoomsOnServer(Rooms):
    """Empty rooms on a server of PostgreSQL; each is a copy of one that was migrated there.

    To copy one takes longer than most tests do. So what a test leaves is emptied for another one, under another name: whoever
    was left over from a test does not find it. It is thrown away where its tables are not as they were made.
    """

    def __init__(self, migrated: Path, server: str) -> None:
        super().__init__(migrated)
        self._server = with_driver(server)
        self._line = self._to(str(self._server.database))
        self._name, self._made = f"blotter_test_{secrets.token_hex(4)}", 0
        self._here: list[str] = []
        self._left: deque[str] = deque()
        self._lent: Counter[str] = Counter()
        self._make(self._name, "template0")
        self._empty = EMPTY.format(upgrade(self._url(self._name)))
        with self._to(self._name) as line:
            self._tables = line.execute(TABLES).fetchone()

    def url(self, path: Path) -> str:
        """The address of another empty room; `path` says nothing here."""
        name = self._another()
        if len(self._left) < FEW or not self._emptied(self._left.popleft(), name):
            self._make(name, self._name)
        return self._url(name)

    def empty_url(self, path: Path) -> str:
        """The address of a database without a table."""
        self._make(name := self._another(), "template0")
        return self._url(name)

    def drop(self, database: Database) -> None:
        """Take a room back, and send away whoever is still in it."""
        self._left.append(str(database.engine.url.database))
        self._line.execute(SEND_AWAY.format(self._left[-1]))

    def close(self) -> None:
        """Throw all of them away."""
        for name in list(self._here):
            self._drop(name)
        self._line.close()

    def _emptied(self, left: str, name: str) -> bool:
        """Whether the one that was left has been emptied, and has this name; else it is gone."""
        if self._lent[left] < OFTEN:
            with suppress(psycopg.errors.ObjectInUse):
                self._line.execute(f'ALTER DATABASE "{left}" RENAME TO "{name}"')
                self._here[self._here.index(left)], self._lent[name] = name, self._lent[left] + 1
                left = name
                with self._to(name) as line:
                    if line.execute(TABLES).fetchone() == self._tables:
                        line.execute(self._empty)
                        return True
        self._drop(left)
        return False

    def _another(self) -> str:
        self._made += 1
        return f"{self._name}_{self._made}"

    def _make(self, name: str, template: str) -> None:
        self._line.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        self._here.append(name)

    def _drop(self, name: str) -> None:
        self._line.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
        self._here.remove(name)

    def _url(self, name: str) -> str:
        url: URL = self._server.set(database=name)
        return url.render_as_string(hide_password=False)

    def _to(self, name: str) -> psycopg.Connection[tuple[object, ...]]:
        plain = make_url(self._url(name)).set(drivername="postgresql")
        return psycopg.connect(plain.render_as_string(hide_password=False), autocommit=True)
