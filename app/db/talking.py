"""Talking to PostgreSQL: what was said waits here until an answer is needed; then all of it goes there, and comes back, at once.

This is the pipeline of PostgreSQL's own client library, through what psycopg offers of it. Every statement is prepared on its
line when it is first said there, and from then on only named.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any

TALK = "talk"
# After these psycopg has the line forget all that was prepared there, by whomever.
_FORGETS = ("ALTER", "DROP", "ROLLBACK", "DISCARD", "DEALLOCATE")
_UNDOES = "ROLLBACK TO"
_NO_SUCH_NAME = "26000"


@dataclass(eq=False, slots=True)
class Said:
    """A statement that was said; its answer is there once it was heard. `types` are given where it is to be prepared first."""

    text: str
    name: bytes
    values: Sequence[Any]
    formats: Sequence[Any]
    types: Sequence[int] | None
    answer: Any = None


class Talk:
    """What is said on one line to PostgreSQL, in its order. It needs a line that begins nothing by itself."""

    def __init__(self, driver: Any) -> None:
        from psycopg.adapt import PyFormat, Transformer

        self._driver = driver
        # Between things and what goes over the line, as the line was told to.
        self._between, self._as_fits = Transformer(driver), PyFormat.AUTO
        self._prepared: dict[str, list[tuple[Sequence[int], bytes]]] = {}
        self._numbers = count(1)
        self._unsent: list[Said] = []
        self._ahead: dict[tuple[Any, ...], Said] = {}
        self._is_glance = False

    def begin(self, words: str) -> None:
        """Begin, in these statements; they go out with the first question. Without any it is a glance: of prepared questions,
        each by itself.
        """
        self._ahead.clear()
        self._is_glance = not words
        for each in words.split("; ") if words else ():
            self.send_along(each)

    def write(self, text: str, values: Sequence[Any]) -> Said:
        """Say a statement that writes: what was asked ahead of it is to be asked again."""
        self._refuse_in_a_glance()
        self._ahead.clear()
        return self.send_along(text, values)

    def ask_ahead(self, text: str, values: Sequence[Any]) -> None:
        """Ask what will be asked in a moment; the answer is kept for that until anything is written."""
        self._ahead[text, *values] = self.send_along(text, values)

    def ask(self, text: str, values: Sequence[Any]) -> Said:
        """Ask now, where that was not done ahead."""
        said = self._ahead.pop((text, *values), None) if self._ahead else None
        return self.send_along(text, values) if said is None else said

    def send_along(self, text: str, values: Sequence[Any] = ()) -> Said:
        """Say a statement, its values called $1, $2 and so on; nothing goes out yet."""
        given = self._between.dump_sequence(values, [self._as_fits] * len(values))
        types = self._between.types or ()
        name = self._name(text, types)
        said = Said(
            text, name or self._new_name(text, types), given, self._between.formats or (), None if name else types
        )
        self._unsent.append(said)
        return said

    def hear(self, said: Said) -> Sequence[tuple[Any, ...]]:
        """The rows that were answered to this statement; whatever was said before goes out with it. psycopg's errors."""
        if said.answer is None:
            self.send()
        self._between.set_pgresult(said.answer)
        return self._between.load_rows(0, said.answer.ntuples, tuple)

    def send(self) -> None:
        """Send all that was said, and wait until it is done; raise psycopg's error of the first that failed: it and all
        that came after it did nothing.
        """
        if self._unsent:
            said, self._unsent = self._unsent, []
            self._take(said, self._there_and_back(said))

    def end(self) -> None:
        """End what was begun, and wait until it is on the disk."""
        self.send_along("COMMIT")
        self.send()

    def rollback(self) -> None:
        """Undo what was begun; what was said and not sent is not said.

        psycopg's own end would have the line forget, each time, all that was prepared there: it may name tables that are
        undone, too. Here only an upgrade makes tables, on lines of its own.
        """
        from psycopg.pq import TransactionStatus

        self._drop()
        self._is_glance = False
        if self._driver.pgconn.transaction_status in (TransactionStatus.INTRANS, TransactionStatus.INERROR):
            self.send_along("ROLLBACK")
            self.send()
        else:
            self._driver.rollback()

    def before(self, words: str) -> None:
        """Something else is about to be said on this line, in these words: what came before it goes out first."""
        self._refuse_in_a_glance()
        if (said := words.lstrip()).startswith(_UNDOES):
            # All of it came after what is gone back to.
            self._drop()
        if not said.startswith("SELECT"):
            self._ahead.clear()
        self.send()
        if said.startswith(_FORGETS):
            self._prepared.clear()

    def _refuse_in_a_glance(self) -> None:
        # Nothing was begun that could be undone, or that only reads.
        if self._is_glance:
            raise RuntimeError("In a glance only prepared questions are asked.")

    def _drop(self) -> None:
        self._forget(self._unsent)
        self._unsent = []

    def _name(self, text: str, types: Sequence[int]) -> bytes | None:
        for known, name in self._prepared.get(text, ()):
            # Nothing is of no type, and fits everywhere.
            if known == types or all(one in (0, other) for one, other in zip(types, known, strict=True)):
                return name
        return None

    def _new_name(self, text: str, types: Sequence[int]) -> bytes:
        name = b"said_%d" % next(self._numbers)
        self._prepared.setdefault(text, []).append((types, name))
        return name

    def _forget(self, said: Sequence[Said]) -> None:
        self._ahead.clear()
        for each in said:
            if each.types is not None:
                self._prepared.pop(each.text, None)

    def _there_and_back(self, said: Sequence[Said]) -> list[Any]:
        line = self._driver.pgconn
        try:
            line.enter_pipeline_mode()
            for each in said:
                if each.types is not None:
                    line.send_prepare(each.name, each.text.encode(), each.types)
                line.send_query_prepared(each.name, each.values, each.formats)
            line.pipeline_sync()
            heard: list[Any] = self._driver.wait(_heard(line, sum(1 if each.types is None else 2 for each in said)))
            line.exit_pipeline_mode()
        except BaseException:
            # Half of a talk is no talk: nobody takes it up again.
            self._driver.close()
            raise
        return heard

    def _take(self, said: Sequence[Said], heard: Sequence[Any]) -> None:
        from psycopg.errors import error_from_result
        from psycopg.pq import ExecStatus

        answers = iter(heard)
        for each in said:
            for _ in range(1 if each.types is None else 2):
                each.answer = next(answers)
                if each.answer.status == ExecStatus.FATAL_ERROR:
                    error = error_from_result(each.answer, encoding=self._driver.info.encoding)
                    self._forget(said)
                    if error.sqlstate == _NO_SUCH_NAME:
                        self._prepared.clear()
                    raise error


def _heard(line: Any, statements: int) -> Generator[Any, Any, list[Any]]:
    from psycopg.generators import fetch_many, send

    yield from send(line)
    found = []
    for _ in range(statements):
        found.append((yield from fetch_many(line))[0])
    # And that it was all.
    yield from fetch_many(line)
    return found
