"""The answer to one scan: what happened, and what to do next with the thing in the hands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from app.domain.errors import AnswerKind
from app.domain.language import Marked, mark, say

WORDS: dict[str, str] = {"not-yet": mark("Not yet."), "stop": mark("Stop."), "which-one": mark("Which one?")}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that may be chosen: sent back as `name` = `value` with what the answer carries."""

    label: str
    name: str
    value: str
    plant: str = ""
    detail: str = ""
    needs_fact: bool = False


@dataclass(frozen=True, slots=True)
class Ask:
    """One question under an answer, with a field to fill in."""

    name: str
    label: str
    kind: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    submit: str = field(default_factory=lambda: say("Say so"))


@dataclass(frozen=True, slots=True)
class Described:
    """What a person recognises a sheet by, the cautions to read before its folder is opened, and where it stands.

    `since` is when it came into its stage, in ISO 8601.
    """

    number: str = ""
    shown: str = ""
    plant: str = ""
    family: str = ""
    detail: str = ""
    cautions: tuple[str, ...] = ()
    stage: str = ""
    since: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer. `entry` is the last entry written, `share` the part of the minimum time already lain (0 to 1).

    `carry` holds what a follow-up sends back unchanged; `already_done` names the deed that may be written after the
    fact, if any; `moved` and `left` list sheet numbers of a bundle; `slip` is the number whose slip is to be printed now.
    """

    kind: AnswerKind
    word: str
    lines: tuple[str, ...] = ()
    next: str = ""
    sheet: Described | None = None
    step: str = ""
    entry: int | None = None
    refusals: tuple[Mapping[str, Any], ...] = ()
    choices: tuple[Choice, ...] = ()
    ask: Ask | None = None
    carry: Mapping[str, str] = field(default_factory=dict)
    already_done: str = ""
    share: float | None = None
    share_label: str = ""
    moved: tuple[str, ...] = ()
    left: tuple[Mapping[str, str], ...] = ()
    slip: str = ""
    status: int = 200

    def kept(self) -> dict[str, Any]:
        """The answer as it is stored beside its scan, in the language in which it was given."""
        told = {name: getattr(self, name) for name in _FIELDS}
        told["sheet"], told["ask"] = self.sheet and asdict(self.sheet), self.ask and asdict(self.ask)
        told["choices"] = [asdict(choice) for choice in self.choices]
        said: dict[str, Any] = _said(told)
        return said


_FIELDS = tuple(each.name for each in fields(Answer))


def _said(value: Any) -> Any:
    """The same with every word of a table said."""
    if isinstance(value, Marked):
        return str(value)
    if isinstance(value, dict):
        return {name: _said(each) for name, each in value.items()}
    return type(value)(_said(each) for each in value) if isinstance(value, (list, tuple)) else value


def answer_from(kept: Mapping[str, Any]) -> Answer:
    """The answer that was stored."""
    values = dict(kept)
    values["sheet"] = _described(values["sheet"]) if values["sheet"] else None
    values["ask"] = _ask(values["ask"]) if values["ask"] else None
    values["choices"] = tuple(Choice(**each) for each in values["choices"])
    for name in ("lines", "refusals", "moved", "left"):
        values[name] = tuple(values[name])
    return Answer(**values)


def _described(kept: Mapping[str, Any]) -> Described:
    return Described(**{**kept, "cautions": tuple(kept["cautions"])})


def _ask(kept: Mapping[str, Any]) -> Ask:
    return Ask(**{**kept, "options": tuple((value, label) for value, label in kept["options"])})
