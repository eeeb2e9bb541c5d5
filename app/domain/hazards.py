"""Dangers that travel with a sheet, each with the usual caution; local rules and licensed practice come first."""

from __future__ import annotations

from app.domain.language import mark

DEFERS = mark(
    "General cautions only. Your institution's safety rules, its risk assessment and licensed practice come first."
)

CAUTIONS: dict[str, str] = {
    "historic": mark("May have been treated with mercury or arsenic. Do not open it here; ask the manager."),
    "irritant": mark("Sap or hairs irritate the skin: gloves on."),
    "spines": mark("Spines: thick gloves."),
    "mould": mark("Mould: gloves and mask, away from the others."),
    "naphthalene": mark("Smells of mothballs: air it, gloves on."),
    "pins": mark("Sharp pins in the folder."),
}

# What each is called, in a word or two: on pages and in the history. The sign stands on a cabinet's label.
HAZARD_WORDS: dict[str, str] = {
    "historic": mark("mercury or arsenic suspected"),
    "irritant": mark("irritant plant"),
    "spines": mark("spines"),
    "mould": mark("mould"),
    "naphthalene": mark("naphthalene or PDB smell"),
    "pins": mark("sharp pins"),
}
SIGN = mark("Suspected sheets: mercury or arsenic. Ask the manager before you open it.")
