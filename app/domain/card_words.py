"""What stands on the cards of the room: what each kind is called, each command in a word, and in a line what it does."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import mark, say

# A sign on a cabinet may be long; a label shows this much of it and says that there is more.
LONGEST_SIGN = 120


@dataclass(frozen=True, slots=True)
class CardKind:
    """One kind of what is printed: its name, what one of them is called, and what it is for."""

    words: str
    one: str
    many: str
    use: str


@dataclass(frozen=True, slots=True)
class CommandWords:
    """What a command card says: its word, and in a line what happens when it is scanned."""

    word: str
    does: str


CARD_KINDS: dict[str, CardKind] = {
    "slips": CardKind(
        mark("Travelling slips"),
        mark("slip"),
        mark("slips"),
        mark("One lies in the fold with each plant until it is mounted."),
    ),
    "shelves": CardKind(
        mark("Shelf labels"),
        mark("label"),
        mark("labels"),
        mark("One for each cabinet, and one for each of its shelves."),
    ),
    "stacks": CardKind(
        mark("Stack cards"),
        mark("card"),
        mark("cards"),
        mark("Fold each along the dashes: one side says on, the other off. It lies on the lid."),
    ),
    "badges": CardKind(
        mark("Badges"), mark("badge"), mark("badges"), mark("Whoever scans one works as the person named on it.")
    ),
    "cards": CardKind(
        mark("Command cards"), mark("card"), mark("cards"), mark("For hands full of glue: a scan instead of a button.")
    ),
    "bundles": CardKind(
        mark("Bundle cards"),
        mark("card"),
        mark("cards"),
        mark("One is tied to each press, tray, bag or box: one scan moves all in it."),
    ),
    "stations": CardKind(
        mark("Station cards"), mark("card"), mark("cards"), mark("One hangs at each screen and says which one it is.")
    ),
    "lots": CardKind(
        mark("Cards of lots"),
        mark("card"),
        mark("cards"),
        mark("One hangs at each pot of adhesive: its scan opens it at a table."),
    ),
    "loads": CardKind(
        mark("Cards of loads"),
        mark("card"),
        mark("cards"),
        mark("One lies in each bag or box for the freezer, where it can be scanned."),
    ),
}

COMMAND_WORDS: dict[str, CommandWords] = {
    "undo": CommandWords(mark("Undo"), mark("Takes back the last thing scanned at this station.")),
    "done": CommandWords(mark("Done"), mark("Signs everybody out here.")),
    "help": CommandWords(mark("Help"), mark("Says what is done at this place, and what comes next.")),
    "no-number": CommandWords(mark("No number"), mark("For a sheet without a number: asks what its label says.")),
    "another-sheet": CommandWords(mark("Another sheet"), mark("The plant in your hands needs one more sheet.")),
    "already-done": CommandWords(mark("Already done"), mark("What was asked about has been done: write it down now.")),
    "yes": CommandWords(mark("Yes"), mark("Takes the one choice that is offered.")),
    "no": CommandWords(mark("No"), mark("Drops the question. Nothing is changed.")),
    "closing": CommandWords(mark("Closing"), mark("What to see to before the room is closed.")),
    "pest": CommandWords(mark("Pest"), mark("Something living was found: stop, and tell the manager.")),
    "round": CommandWords(
        mark("Press round"), mark("Begins the round, and ends it. In between, scan every stack's card as it lies.")
    ),
    "unmounted": CommandWords(mark("Unmounted"), mark("The sheet last scanned stays in a packet or a box.")),
    "morning": CommandWords(mark("Morning"), mark("What was left overnight, and what the day asks for.")),
    "whole-shelf": CommandWords(
        mark("Whole shelf"), mark("Moves all that lies on a shelf: scan it, then where it goes.")
    ),
    "check": CommandWords(
        mark("Check"), mark("Begins a cabinet check, or goes on with it: scan the cabinet or shelf next.")
    ),
    "cannot-be-read": CommandWords(
        mark("Cannot be read"), mark("In a cabinet check: the number of this sheet cannot be read.")
    ),
    "new-load": CommandWords(mark("New load"), mark("Begins a bag or box for the freezer: then scan what goes in it.")),
    "same-number": CommandWords(
        mark("Same number"), mark("Two sheets bear one number: the other gets one of its own.")
    ),
    "two-plants": CommandWords(mark("Two plants"), mark("Two plants lie in one fold, or are glued on one sheet.")),
    "same-specimen": CommandWords(
        mark("Same specimen"), mark("The sheet last scanned and the next one are one specimen.")
    ),
    "damp": CommandWords(mark("Damp"), mark("The sheet last scanned is damp after all: it goes back to dry.")),
    "danger": CommandWords(mark("Danger"), mark("The sheet last scanned carries a danger: choose which one.")),
    "label-here": CommandWords(
        mark("Label here"), mark("The labels are here: scan each sheet that has got its own, then “done”.")
    ),
}


def sign_for_label(sign: str) -> str:
    """A cabinet's sign as a label holds it: whole, or its beginning and the word that there is more to read."""
    plain = " ".join(sign.split())
    if len(plain) <= LONGEST_SIGN:
        return plain
    # The end is left off at a word, unless it is one word without an end.
    begun = plain[:LONGEST_SIGN].rsplit(" ", 1)[0]
    return say("{begun} … Ask what more the sign says before you open it.", begun=begun)
