"""What stands on the cards of the room: what each kind is called, each command in a word, and in a line what it does."""

from __future__ import annotations

from dataclasses import dataclass

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
    "slips": CardKind("Travelling slips", "slip", "slips", "One lies in the fold with each plant until it is mounted."),
    "shelves": CardKind("Shelf labels", "label", "labels", "One for each cabinet, and one for each of its shelves."),
    "stacks": CardKind(
        "Stack cards", "card", "cards", "Fold each along the dashes: one side says on, the other off. It lies on the lid."
    ),
    "badges": CardKind("Badges", "badge", "badges", "Whoever scans one works as the person named on it."),
    "cards": CardKind("Command cards", "card", "cards", "For hands full of glue: a scan instead of a button."),
    "bundles": CardKind("Bundle cards", "card", "cards", "One is tied to each press, tray, bag or box: one scan moves all in it."),
    "stations": CardKind("Station cards", "card", "cards", "One hangs at each screen and says which one it is."),
    "loads": CardKind("Cards of loads", "card", "cards", "One lies in each bag or box for the freezer, where it can be scanned."),
}  # fmt: skip

COMMAND_WORDS: dict[str, CommandWords] = {
    "undo": CommandWords("Undo", "Takes back the last thing scanned at this station."),
    "done": CommandWords("Done", "Signs everybody out here."),
    "help": CommandWords("Help", "Says what is done at this place, and what comes next."),
    "no-number": CommandWords("No number", "For a sheet without a number: asks what its label says."),
    "another-sheet": CommandWords("Another sheet", "The plant in your hands needs one more sheet."),
    "already-done": CommandWords("Already done", "What was asked about has been done: write it down now."),
    "yes": CommandWords("Yes", "Takes the one choice that is offered."),
    "no": CommandWords("No", "Drops the question. Nothing is changed."),
    "closing": CommandWords("Closing", "What to see to before the room is closed."),
    "pest": CommandWords("Pest", "Something living was found: stop, and tell the manager."),
    "round": CommandWords("Press round", "Begins the round, and ends it. In between, scan every stack's card as it lies."),
    "unmounted": CommandWords("Unmounted", "The sheet last scanned stays in a packet or a box."),
    "morning": CommandWords("Morning", "What was left overnight, and what the day asks for."),
    "whole-shelf": CommandWords("Whole shelf", "Moves all that lies on a shelf: scan it, then where it goes."),
    "check": CommandWords("Check", "Begins a cabinet check, or goes on with it: scan the cabinet or shelf next."),
    "cannot-be-read": CommandWords("Cannot be read", "In a cabinet check: the number of this sheet cannot be read."),
    "new-load": CommandWords("New load", "Begins a bag or box for the freezer: then scan what goes in it."),
    "same-number": CommandWords("Same number", "Two sheets bear one number: the other gets one of its own."),
    "two-plants": CommandWords("Two plants", "Two plants lie in one fold, or are glued on one sheet."),
    "same-specimen": CommandWords("Same specimen", "The sheet last scanned and the next one are one specimen."),
    "damp": CommandWords("Damp", "The sheet last scanned is damp after all: it goes back to dry."),
    "danger": CommandWords("Danger", "The sheet last scanned carries a danger: choose which one."),
    "label-here": CommandWords("Label here", "The labels are here: scan each sheet that has got its own, then “done”."),
}  # fmt: skip


def sign_for_label(sign: str) -> str:
    """A cabinet's sign as a label holds it: whole, or its beginning and the word that there is more to read."""
    plain = " ".join(sign.split())
    if len(plain) <= LONGEST_SIGN:
        return plain
    # The end is left off at a word, unless it is one word without an end.
    begun = plain[:LONGEST_SIGN].rsplit(" ", 1)[0]
    return f"{begun} … Ask what more the sign says before you open it."
