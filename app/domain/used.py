"""What a sheet is mounted with besides its adhesive: its packet, straps or thread, as a table takes them."""

from __future__ import annotations

from collections.abc import Mapping

from app.domain.language import mark, say

# Florida Museum, "Specimen Preparation Guide (Fragment Packets)": a packet on every sheet, folded from 4.25 by 5.5 in or from
# 8.5 by 5.5 in of paper. Straps of gummed linen and thread for what is heavy: Royal Botanic Garden Edinburgh.
USES: dict[str, dict[str, str]] = {
    "packet": {"none": mark("no packet"), "small": mark("small packet"), "large": mark("large packet")},
    "straps": {
        "none": mark("no straps"),
        "straps": mark("straps"),
        "thread": mark("thread"),
        "both": mark("straps and thread"),
    },
}
# What each choice takes out of the room's supplies, by name; what takes nothing is left out.
TAKES: dict[str, dict[str, tuple[str, ...]]] = {
    "packet": {"small": ("small",), "large": ("large",)},
    "straps": {"straps": ("straps",), "thread": ("thread",), "both": ("straps", "thread")},
}


def checked_uses(uses: Mapping[str, str]) -> dict[str, str]:
    """What a table is to take, if there is such a thing; otherwise ValueError with a sentence."""
    for name, value in uses.items():
        if value not in USES.get(name, {}):
            raise ValueError(
                say("A table takes no {name} called {value}. Load the page again.", name=name, value=value)
            )
    return dict(uses)


def used_of(said: Mapping[str, object], takes: Mapping[str, str]) -> dict[str, str]:
    """What a sheet was mounted with: what was said of it, else what its table takes; what nobody knows is left out."""
    found = {name: said[name] if said.get(name) in known else takes.get(name) for name, known in USES.items()}
    return {name: str(value) for name, value in found.items() if value in USES[name]}


def used_words(used: Mapping[str, str]) -> str:
    """What was used, in words: "small packet, straps"; empty where nobody said."""
    return ", ".join(say(known[used[name]]) for name, known in USES.items() if used.get(name) in known)
