"""The buttons of a station's screen: which command each sends, how it is called, and the step that it belongs to ("" for any)."""

from __future__ import annotations

from app.domain.language import mark

BUTTONS = (
    ("no-number", mark("No number"), ""),
    ("another-sheet", mark("It needs another sheet"), "another-sheet"),
    ("same-number", mark("Two with one number"), ""),
    ("two-plants", mark("Two plants in it"), ""),
    ("same-specimen", mark("Same specimen as the next"), ""),
    ("unmounted", mark("It stays unmounted"), "goes-unmounted"),
    ("damp", mark("It is damp after all"), "pass-as-dry"),
    ("round", mark("Press round"), "put-under-weight"),
    ("whole-shelf", mark("Move a whole shelf"), "shelve"),
    ("pest", mark("A pest was seen"), ""),
    ("danger", mark("It carries a danger"), ""),
    ("check", mark("Cabinet check"), ""),
    ("morning", mark("The morning list"), ""),
    ("closing", mark("Closing the room"), ""),
    ("help", mark("Help"), ""),
)
