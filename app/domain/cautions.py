"""The usual cautions of the whole work, one page to hang up. They defer: local rules and licensed practice come first."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import mark


@dataclass(frozen=True, slots=True)
class Caution:
    """One part of the work that can hurt, and what is usually done about it."""

    head: str
    lines: tuple[str, ...]


# What is published is named in each comment; the rest is common practice, no source.
CAUTIONS_OF_THE_WORK: tuple[Caution, ...] = (
    # HSE, INDG143 (2020), gives filters for lifting and not limits: no figure is printed here.
    Caution(mark("Weights, boxes, presses"), (
        mark("One piece at a time, close to the body, between knee and shoulder; two people for what is heavy "
             "for one."),
        mark("Never move a stack with its weights on. Set weights down, do not drop them; feet clear."))),
    Caution(mark("Blades, needles, scissors"), (
        mark("Cut away from yourself, on a mat, with a sharp blade. Cap it or lay it in its tray before you "
             "turn round."),
        mark("Used blades and broken needles go in the sharps box, never in a folder or a bin."))),
    # Pairs and gloves: University of Alberta, EAS safety, and general cold-store sheets.
    Caution(mark("Freezer"), (
        mark("Insulated gloves; hold the lid, it falls. Never climb in or lean in with your whole weight."),
        mark("Say that you go to it, if it stands where nobody passes. Leave a bag closed until it may be "
             "opened."))),
    # Meise Botanic Garden: step back after opening and wait a minute; gloves, coat, wash hands (De Smedt & Bogaerts, 2022).
    Caution(mark("Old sheets: mercury and arsenic"), (
        mark("Only who is named, only at a station that is named. Step back after opening a cabinet, and wait "
             "a minute."),
        mark("Gloves and a coat that stay there; no food or drink; wash your hands after. Do not brush, blow "
             "or sniff."))),
    # Met in loans and exchange as late as 2003 (Wendt, NHCOLL-L).
    Caution(mark("Smell of mothballs: naphthalene, PDB"), (
        mark("Close the folder. Gloves, open window; air it where nobody works. Tell the manager."),)),
    # UK National Archives, mould guidance: nitrile gloves, FFP2 or FFP3, waste bagged apart, hand washing.
    Caution(mark("Mould"), (
        mark("Close it and keep it apart. Nitrile gloves and a mask that fits (FFP2 or better); waste bagged "
             "apart; wash your hands."),)),
    # Urushiol in dead plants stays active a year or more (Conover 2013).
    Caution(mark("Irritant plants, hairs, latex"), (
        mark("Gloves; sleeves down; nothing near eyes. Dead plants irritate as well, for years. Wash skin "
             "with soap at once."),)),
    Caution(mark("Spines and sharp pins"), (
        mark("Thick gloves. Open the folder flat, from the far edge. Pins go in the sharps box, not back in "
             "the folder."),)),
    # HEPA vacuuming and personal protection are the controls (Hawks & Makos, AIC, 2014).
    Caution(mark("Dust"), (
        mark("Sponge or a vacuum with a HEPA filter, not a brush or breath. A mask where it is dusty for long."),)),
    Caution(mark("Glue, solvents, warm dryers"), (
        mark("Read the product's own sheet first. Solvents only where the institution allows it, with its "
             "ventilation, lids on."),
        mark("No improvised heat by paper, and none left alone. Know where the extinguisher and the way out "
             "are."))),
    Caution(mark("A pest is seen"), (
        mark("Close it in a bag where you are. Do not carry it open through the room. Scan the card “pest”. "
             "Tell the manager."),)),
)  # fmt: skip
STOP_AND_ASK = mark(
    "If a sheet is old, dusty, smells of mothballs or is marked as suspected: stop, keep it closed, and ask."
)
