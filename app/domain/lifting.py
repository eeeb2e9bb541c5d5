"""What is lifted off in a stack to reach a sheet, and what of it must go back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.language import say, say_n

# As many are named as somebody keeps in mind while their hands are full; the picture of the stack shows them all.
NAMED = 3


@dataclass(frozen=True, slots=True)
class InLayer:
    """One sheet in a stack: its number as people read it, its layer from the bottom, and whether it may come out now."""

    shown: str
    layer: int
    is_ready: bool


def lowest_ready(pile: Sequence[InLayer]) -> InLayer | None:
    """The lowest sheet that may come out now; None where none may."""
    return min((each for each in pile if each.is_ready), key=lambda each: each.layer, default=None)


def must_go_back(pile: Sequence[InLayer], layer: int) -> tuple[InLayer, ...]:
    """The sheets above this layer that must stay in the stack, from the bottom."""
    staying = [each for each in pile if each.layer > layer and not each.is_ready]
    return tuple(sorted(staying, key=lambda each: each.layer))


def to_reach(pile: Sequence[InLayer], wanted: InLayer) -> str:
    """What is lifted off to reach a sheet and what of it goes back, in a sentence; empty where nothing need go back."""
    staying = must_go_back(pile, wanted.layer)
    if not staying:
        return ""
    above = [each.layer for each in pile if each.layer > wanted.layer]
    off = say(
        "To reach {sheet} (layer {layer}), lift off {layers}.",
        sheet=wanted.shown,
        layer=wanted.layer,
        layers=layers_said(above),
    )
    if len(staying) == len(above):
        return f"{off} {_all_back(len(above))}"
    back = say_n(
        "{layers} must go back, and its clock stands while the weights are off.",
        "{layers} must go back, and their clock stands while the weights are off.",
        len(staying), layers=layers_said([each.layer for each in staying]).capitalize(),
    )  # fmt: skip
    return f"{off} {back}"


def _all_back(sheets: int) -> str:
    return say_n(
        "It must go back, and its clock stands while the weights are off.",
        "They must go back, and their clock stands while the weights are off.",
        sheets,
    )


def names_said(pile: Sequence[InLayer]) -> str:
    """A few of these sheets by number, and how many more: "TQX 1, TQX 2 and 4 more"."""
    named = [each.shown for each in pile[:NAMED]]
    more = len(pile) - len(named)
    return say("{names} and {n} more", names=", ".join(named), n=more) if more else _listed(named)


def layers_said(layers: Sequence[int]) -> str:
    """Layers as they are spoken of: "layer 4", "layers 4 to 6", "layers 2, 4 and 5 to 7"."""
    runs: list[list[int]] = []
    for layer in sorted(layers):
        if runs and runs[-1][-1] == layer - 1:
            runs[-1].append(layer)
        else:
            runs.append([layer])
    said = [part for run in runs for part in _run(run)]
    return say_n("layer {layers}", "layers {layers}", len(layers), layers=_listed(said))


def _run(run: Sequence[int]) -> list[str]:
    if len(run) < 3:
        return [str(each) for each in run]
    return [say("{first} to {last}", first=run[0], last=run[-1])]


def _listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return say("{first} and {last}", first=", ".join(words[:-1]), last=words[-1])
