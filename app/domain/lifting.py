"""What is lifted off in a stack to reach a sheet, and what of it must go back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    if len(staying) == len(above):
        back = "It must go back" if len(above) == 1 else "They must go back"
    else:
        back = f"{layers_said([each.layer for each in staying]).capitalize()} must go back"
    clock = "its clock stands" if len(staying) == 1 else "their clock stands"
    off = layers_said(above)
    return f"To reach {wanted.shown} (layer {wanted.layer}), lift off {off}. {back}, and {clock} while the weights are off."


def names_said(pile: Sequence[InLayer]) -> str:
    """A few of these sheets by number, and how many more: "TQX 1, TQX 2 and 4 more"."""
    named = [each.shown for each in pile[:NAMED]]
    more = len(pile) - len(named)
    return f"{', '.join(named)} and {more} more" if more else _listed(named)


def layers_said(layers: Sequence[int]) -> str:
    """Layers as they are spoken of: "layer 4", "layers 4 to 6", "layers 2, 4 and 5 to 7"."""
    runs: list[list[int]] = []
    for layer in sorted(layers):
        if runs and runs[-1][-1] == layer - 1:
            runs[-1].append(layer)
        else:
            runs.append([layer])
    said = [part for run in runs for part in _run(run)]
    return f"{'layer' if len(layers) == 1 else 'layers'} {_listed(said)}"


def _run(run: Sequence[int]) -> list[str]:
    return [str(each) for each in run] if len(run) < 3 else [f"{run[0]} to {run[-1]}"]


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)
