"""What a refusal shows to teach: each code of a refusal in words, and what helps whoever meets it again and again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from app.domain.stages import Step

EVERY = frozenset(Step)


@dataclass(frozen=True, slots=True)
class Lesson:
    """A kind of refusal: how it is said, what to teach about it, and the steps in which it is only a question.

    A question is an answer that the next scan completes ("Scan the card of the stack"): nobody did anything wrong.
    """

    words: str
    teach: str
    asked_in: frozenset[Step] = frozenset()


def lesson_of(code: str) -> Lesson:
    """The lesson of a code; a code that is not in the table is said as it is written, with nothing to teach."""
    return LESSONS.get(code) or Lesson(code.replace("-", " ").capitalize(), "")


def is_question(codes: Collection[str], step: str) -> bool:
    """Whether a refused scan was only a question: there is a code, and each is asked in this step ("" for none)."""
    return bool(codes) and all(step in lesson_of(code).asked_in for code in codes)


# The sentences are common practice in the room, no source.
LESSONS: dict[str, Lesson] = {
    "already-corrected": Lesson(
        "Already taken back", "What was taken back once is not taken back again: look at the sheet’s log."
    ),
    "bad-rows": Lesson(
        "Rows of a list could not be read",
        "Let whoever makes the list look at it on the intake page before it is sent.",
    ),
    "cabinet-full": Lesson(
        "The shelf or cabinet is full",
        "Look at the card of the shelf before carrying sheets there; the cabinets’ page shows where there is room.",
    ),
    "clock-behind": Lesson(
        "The computer’s clock stands behind", "Nothing to teach: have the computer’s clock looked at."
    ),
    "clock-doubtful": Lesson(
        "The clock is in doubt",
        "Say whether date and time are right when the screen asks; until then nothing is taken out.",
    ),
    "damp": Lesson(
        "The plant was not dry",
        "Practise the touch: brittle, not cool to the touch, not drooping. When in doubt, back to dry.",
    ),
    "practice-screen": Lesson(
        "Scanned at a practice screen", "The band across the screen says practice: real sheets go to a real station."
    ),
    "practice-slip": Lesson(
        "A practice slip at a real station",
        "Keep practice slips at the practice screen, apart from the slips of sheets.",
    ),
    "wet-adhesive": Lesson(
        "Freshly glued sheets for the freezer", "What is mounted or under press waits until it is out and dry."
    ),
    "no-load": Lesson(
        "No load was named", "The card of the bag or box first, then what goes in it.", frozenset({Step.FREEZE})
    ),
    "load-closed": Lesson("The bag was closed already", "What is to be frozen besides goes in a bag of its own."),
    "load-empty": Lesson("An empty load for the freezer", "Scan what lies in the bag before it is closed."),
    "not-cold": Lesson("Read before it was cold", "The days begin when the logger shows the house’s temperature."),
    "not-cold-long-enough": Lesson(
        "A load asked about before its time", "Nothing to teach: they looked before they took it out."
    ),
    "still-cold": Lesson(
        "A bag asked about before it was warm", "Leave bags closed for a day: water settles outside then."
    ),
    "manager-only": Lesson(
        "Only for the trainer or the manager", "Say which deeds are the manager’s, and who to ask on which day."
    ),
    "misread-number": Lesson(
        "A number could not be read",
        "Show how to hold the scanner, and to read the number off the slip in groups. Look for worn or wet labels.",
    ),
    "no-cabinet": Lesson("No shelf was named", "The shelf’s card first, then the sheets that go on it.", EVERY),
    "no-label": Lesson(
        "The label was not with the plant",
        "Look for the label before a plant is taken up; what has none goes with those that wait for it.",
    ),
    "no-pattern": Lesson(
        "No pattern for such numbers", "Nothing to teach: the manager sets up the pattern on the room’s page."
    ),
    "no-stack": Lesson(
        "No stack was named",
        "At the press: the card of the stack first, then the sheets.",
        frozenset({Step.PUT_UNDER_WEIGHT}),
    ),
    "not-named": Lesson(
        "A sheet suspected of old poisons",
        "What the sign on the folder and the shelf means: closed, back to its place, and tell the manager.",
    ),
    "not-clean": Lesson(
        "Untreated sheets for a clean cabinet",
        "Which cabinets are clean, and what comes through the freezer before it goes there.",
    ),
    "not-inspected": Lesson(
        "Not inspected and passed",
        "A dry sheet goes on the inspection shelf first; filing takes only what was passed.",
        frozenset({Step.INSPECT}),
    ),
    "not-last": Lesson(
        "Something else happened since", "Take back at once, before the sheet goes on; later it is the manager’s."
    ),
    "not-signed-in": Lesson(
        "Nobody was signed in",
        "The badge first, then the sheet; and the badge again after a break. Is the badge at hand at this station?",
    ),
    "not-signed-off": Lesson(
        "Nobody there was signed off",
        "Who is ready to be signed off for this step, and beside whom may they learn it meanwhile?",
    ),
    "not-treated": Lesson(
        "Not through the freezer", "What waits for the freezer has a shelf of its own; it does not go on before."
    ),
    "number-taken": Lesson(
        "The number was in use already",
        "A number is on one sheet only. Take slips off the roll in order, and lay aside double ones.",
    ),
    "on-another-table": Lesson(
        "Taken up at another table", "Put back at the table where it was taken up, before it goes to another."
    ),
    "on-hold": Lesson("Held", "Read the slip of the hold before the sheet is picked; show where held sheets lie."),
    "out-of-order": Lesson(
        "In the wrong order", "The sheet first, then the card; and what happened first is scanned first."
    ),
    "own-work": Lesson(
        "Passing one’s own work", "Somebody else passes it: lay it on the inspection shelf, and say so to the next."
    ),
    "reason-needed": Lesson(
        "A reason was asked for", "A few words are enough: what is true, as one would tell a colleague.", EVERY
    ),
    "retired-worker": Lesson(
        "The badge of somebody who left", "Nothing to teach: collect the badge, and give its user one of their own."
    ),
    "scan-id-reused": Lesson("A script sent one id twice", "Nothing to teach: tell whoever looks after the script."),
    "specimen-incomplete": Lesson(
        "Other sheets of the specimen are missing",
        "Look for “sheet 1 of 3” on the label, and keep the sheets of a specimen together.",
    ),
    "stack-full": Lesson(
        "The stack is full", "Count as you lay in, and begin another stack before the last place is taken."
    ),
    "too-early": Lesson(
        "Before its time under weight was over",
        "Look at the press room’s page before weights are lifted: it says what is ready, and when the rest will be.",
    ),
    "too-old": Lesson(
        "Told too late",
        "Scan while the sheet is in the hand. What was written on paper goes to the manager as late entries.",
    ),
    "undo-too-late": Lesson(
        "Too late to take back", "Take back at once; weights only within the few minutes that the house gives."
    ),
    "unknown-adhesive": Lesson(
        "An adhesive that is not on the list", "Which pots are in use, and what each is called on the screen."
    ),
    "unknown-consignment": Lesson(
        "A consignment that is not here", "The consignment is set up on the room’s page before its sheets come in."
    ),
    "unknown-number": Lesson("No sheet has this number", "A sheet is taken in before anything else is done with it."),
    "unknown-station": Lesson(
        "No station was meant", "Which screen is for which step; a browser that was moved has to be set up again."
    ),
    "unknown-worker": Lesson(
        "A badge or name nobody has", "Look for old badges still in use. Newcomers get theirs before their first sheet."
    ),
    "weights-on": Lesson(
        "The weights were on",
        "Off: scan the side that says so, then lift them one at a time. On again: scan the other side.",
    ),
    "withdrawn": Lesson("The sheet is closed", "What was closed is put aside for the manager; it does not go on."),
    "wrong-cabinet": Lesson(
        "The wrong cabinet for it",
        "Walk the cabinets once together: which stage waits where, and how the doors are marked.",
    ),
    "wrong-stage": Lesson(
        "Not the turn of this step",
        "The way of a sheet from step to step; and to scan each step where it is done, not later at another screen.",
    ),
}
