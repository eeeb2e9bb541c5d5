"""Lines about the dryers: too warm by their last reading, or not read for longer than the house allows."""

from __future__ import annotations

from datetime import datetime

from app.domain.freezing import celsius
from app.domain.language import say
from app.queries.dryers import DryerView, dryers
from app.queries.need import Asked, Need, NeedKind


def dryer_hot(asked: Asked, kind: NeedKind) -> list[Need]:
    """Dryers so hot by their last reading that they are turned off at once, whether or not anything lies in them."""
    return [_read(kind, each) for each in _dryers(asked) if _state(each) == "hot"]


def dryer_warm(asked: Asked, kind: NeedKind) -> list[Need]:
    """Dryers too warm by their last reading, while plants lie in them."""
    return [_read(kind, each) for each in _dryers(asked) if _state(each) == "warm" and each.sheets]


def dryer_unread(asked: Asked, kind: NeedKind) -> list[Need]:
    """Dryers with plants in them whose temperature nobody has read for longer than the house allows."""
    return [
        _about(kind, each, say(kind.words), each.unread_since)
        for each in _dryers(asked)
        if each.unread_since is not None
    ]


def _dryers(asked: Asked) -> tuple[DryerView, ...]:
    return dryers(asked.session, asked.judged.now, asked.judged.house)


def _state(each: DryerView) -> str:
    return each.last.warmth.state if each.last is not None else ""


def _read(kind: NeedKind, each: DryerView) -> Need:
    assert each.last is not None
    return _about(
        kind, each, say("{what}: {temperature}", what=kind.words, temperature=celsius(each.last.celsius)), each.last.at
    )


def _about(kind: NeedKind, each: DryerView, what: str, since: datetime | None) -> Need:
    return Need(kind.name, each.name, what, since, say(kind.do), "dryer", each.name, "drying", many=max(each.sheets, 1),
                about=f"cabinet {each.name}", is_grave=kind.is_grave)  # fmt: skip
