"""The sentences of an answer that was kept, said anew: what the screen told, not what a sheet is recognised by."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Say = Callable[[str], str]
_PLAIN = ("word", "next", "already_done", "share_label")


def said_anew(answer: Mapping[str, Any], say: Say) -> dict[str, Any]:
    """The kept answer with each of its sentences and labels said by `say`.

    The description of the sheet, codes and numbers stay: a collector may bear a worker's name, and what a follow-up sends
    back has to fit.
    """
    told = dict(answer)
    for name in _PLAIN:
        if isinstance(told.get(name), str):
            told[name] = say(told[name])
    told["lines"] = [say(line) for line in told.get("lines", ())]
    for name, words in (("choices", "label"), ("refusals", ""), ("left", "why")):
        told[name] = [_part(part, words, say) for part in told.get(name, ())]
    if told.get("ask"):
        told["ask"] = _part(told["ask"], "label", say)
    return told


def sentences(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """The sentences and labels of a kept answer."""
    found: list[str] = []

    def hear(text: str) -> str:
        found.append(text)
        return text

    said_anew(answer, hear)
    return tuple(found)


def _part(part: Mapping[str, Any], words: str, say: Say) -> dict[str, Any]:
    """One part with its words said anew; of a refusal ("") every text but its code."""
    named = {words} if words else {name for name in part if name != "code"}
    return {name: say(value) if name in named and isinstance(value, str) else value for name, value in part.items()}
