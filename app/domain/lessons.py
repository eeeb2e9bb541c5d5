"""What a refusal shows to teach: each code of a refusal in words, and what helps whoever meets it again and again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from app.domain.language import mark
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
        mark("Already taken back"), mark("What was taken back once is not taken back again: look at the sheet’s log.")
    ),
    "bad-rows": Lesson(
        mark("Rows of a list could not be read"),
        mark("Let whoever makes the list look at it on the intake page before it is sent."),
    ),
    "cabinet-full": Lesson(
        mark("The shelf or cabinet is full"),
        mark(
            "Look at the card of the shelf before carrying sheets there; the cabinets’ page shows where there is room."
        ),
    ),
    "clock-behind": Lesson(
        mark("The computer’s clock stands behind"), mark("Nothing to teach: have the computer’s clock looked at.")
    ),
    "clock-doubtful": Lesson(
        mark("The clock is in doubt"),
        mark("Say whether date and time are right when the screen asks; until then nothing is taken out."),
    ),
    "damp": Lesson(
        mark("The plant was not dry"),
        mark("Practise the touch: brittle, not cool to the touch, not drooping. When in doubt, back to dry."),
    ),
    "practice-screen": Lesson(
        mark("Scanned at a practice screen"),
        mark("The band across the screen says practice: real sheets go to a real station."),
    ),
    "practice-slip": Lesson(
        mark("A practice slip at a real station"),
        mark("Keep practice slips at the practice screen, apart from the slips of sheets."),
    ),
    "wet-adhesive": Lesson(
        mark("Freshly glued sheets for the freezer"),
        mark("What is mounted or under press waits until it is out and dry."),
    ),
    "no-load": Lesson(
        mark("No load was named"),
        mark("The card of the bag or box first, then what goes in it."),
        frozenset({Step.FREEZE}),
    ),
    "load-closed": Lesson(
        mark("The bag was closed already"), mark("What is to be frozen besides goes in a bag of its own.")
    ),
    "load-empty": Lesson(mark("An empty load for the freezer"), mark("Scan what lies in the bag before it is closed.")),
    "not-cold": Lesson(
        mark("Read before it was cold"), mark("The days begin when the logger shows the house’s temperature.")
    ),
    "not-cold-long-enough": Lesson(
        mark("A load asked about before its time"), mark("Nothing to teach: they looked before they took it out.")
    ),
    "still-cold": Lesson(
        mark("A bag asked about before it was warm"), mark("Leave bags closed for a day: water settles outside then.")
    ),
    "manager-only": Lesson(
        mark("Only for the trainer or the manager"),
        mark("Say which deeds are the manager’s, and who to ask on which day."),
    ),
    "misread-number": Lesson(
        mark("A number could not be read"),
        mark(
            "Show how to hold the scanner, and to read the number off the slip in groups. Look for worn or wet labels."
        ),
    ),
    "no-cabinet": Lesson(
        mark("No shelf was named"), mark("The shelf’s card first, then the sheets that go on it."), EVERY
    ),
    "no-label": Lesson(
        mark("The label was not with the plant"),
        mark("Look for the label before a plant is taken up; what has none goes with those that wait for it."),
    ),
    "no-pattern": Lesson(
        mark("No pattern for such numbers"),
        mark("Nothing to teach: the manager sets up the pattern on the room’s page."),
    ),
    "no-stack": Lesson(
        mark("No stack was named"),
        mark("At the press: the card of the stack first, then the sheets."),
        frozenset({Step.PUT_UNDER_WEIGHT}),
    ),
    "not-named": Lesson(
        mark("A sheet suspected of old poisons"),
        mark("What the sign on the folder and the shelf means: closed, back to its place, and tell the manager."),
    ),
    "not-clean": Lesson(
        mark("Untreated sheets for a clean cabinet"),
        mark("Which cabinets are clean, and what comes through the freezer before it goes there."),
    ),
    "not-inspected": Lesson(
        mark("Not inspected and passed"),
        mark("A dry sheet goes on the inspection shelf first; filing takes only what was passed."),
        frozenset({Step.INSPECT}),
    ),
    "not-last": Lesson(
        mark("Something else happened since"),
        mark("Take back at once, before the sheet goes on; later it is the manager’s."),
    ),
    "not-signed-in": Lesson(
        mark("Nobody was signed in"),
        mark(
            "The badge first, then the sheet; and the badge again after a break. Is the badge at hand at this station?"
        ),
    ),
    "not-signed-off": Lesson(
        mark("Nobody there was signed off"),
        mark("Who is ready to be signed off for this step, and beside whom may they learn it meanwhile?"),
    ),
    "not-treated": Lesson(
        mark("Not through the freezer"),
        mark("What waits for the freezer has a shelf of its own; it does not go on before."),
    ),
    "number-taken": Lesson(
        mark("The number was in use already"),
        mark("A number is on one sheet only. Take slips off the roll in order, and lay aside double ones."),
    ),
    "on-another-table": Lesson(
        mark("Taken up at another table"),
        mark("Put back at the table where it was taken up, before it goes to another."),
    ),
    "on-hold": Lesson(
        mark("Held"), mark("Read the slip of the hold before the sheet is picked; show where held sheets lie.")
    ),
    "out-of-order": Lesson(
        mark("In the wrong order"), mark("The sheet first, then the card; and what happened first is scanned first.")
    ),
    "own-work": Lesson(
        mark("Passing one’s own work"),
        mark("Somebody else passes it: lay it on the inspection shelf, and say so to the next."),
    ),
    "reason-needed": Lesson(
        mark("A reason was asked for"),
        mark("A few words are enough: what is true, as one would tell a colleague."),
        EVERY,
    ),
    "retired-worker": Lesson(
        mark("The badge of somebody who left"),
        mark("Nothing to teach: collect the badge, and give its user one of their own."),
    ),
    "scan-id-reused": Lesson(
        mark("A script sent one id twice"), mark("Nothing to teach: tell whoever looks after the script.")
    ),
    "specimen-incomplete": Lesson(
        mark("Other sheets of the specimen are missing"),
        mark("Look for “sheet 1 of 3” on the label, and keep the sheets of a specimen together."),
    ),
    "stack-full": Lesson(
        mark("The stack is full"), mark("Count as you lay in, and begin another stack before the last place is taken.")
    ),
    "too-early": Lesson(
        mark("Before its time under weight was over"),
        mark(
            "Look at the press room’s page before weights are lifted: it says what is ready, and when the rest will be."
        ),
    ),
    "too-old": Lesson(
        mark("Told too late"),
        mark("Scan while the sheet is in the hand. What was written on paper goes to the manager as late entries."),
    ),
    "undo-too-late": Lesson(
        mark("Too late to take back"),
        mark("Take back at once; weights only within the few minutes that the house gives."),
    ),
    "unknown-adhesive": Lesson(
        mark("An adhesive that is not on the list"),
        mark("Which pots are in use, and what each is called on the screen."),
    ),
    "unknown-consignment": Lesson(
        mark("A consignment that is not here"),
        mark("The consignment is set up on the room’s page before its sheets come in."),
    ),
    "unknown-number": Lesson(
        mark("No sheet has this number"), mark("A sheet is taken in before anything else is done with it.")
    ),
    "unknown-station": Lesson(
        mark("No station was meant"),
        mark("Which screen is for which step; a browser that was moved has to be set up again."),
    ),
    "unknown-worker": Lesson(
        mark("A badge or name nobody has"),
        mark("Look for old badges still in use. Newcomers get theirs before their first sheet."),
    ),
    "weights-on": Lesson(
        mark("The weights were on"),
        mark("Off: scan the side that says so, then lift them one at a time. On again: scan the other side."),
    ),
    "withdrawn": Lesson(
        mark("The sheet is closed"), mark("What was closed is put aside for the manager; it does not go on.")
    ),
    "wrong-cabinet": Lesson(
        mark("The wrong cabinet for it"),
        mark("Walk the cabinets once together: which stage waits where, and how the doors are marked."),
    ),
    "wrong-stage": Lesson(
        mark("Not the turn of this step"),
        mark(
            "The way of a sheet from step to step; and to scan each step where it is done, not later at another screen."
        ),
    ),
}
