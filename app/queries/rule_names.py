"""The rules as the log names those that an entry was written against."""

from __future__ import annotations

from app.domain.language import mark, say


def rule_said(code: str) -> str:
    """A rule by its code, in words: "too early"; a code that is not in the table is said as it is written."""
    return say(RULE_NAMES.get(code, code.replace("-", " ")))


RULE_NAMES: dict[str, str] = {
    "already-corrected": mark("already corrected"),
    "bad-rows": mark("bad rows"),
    "cabinet-full": mark("cabinet full"),
    "clock-behind": mark("clock behind"),
    "clock-doubtful": mark("clock doubtful"),
    "damp": mark("damp"),
    "load-closed": mark("load closed"),
    "load-empty": mark("load empty"),
    "manager-only": mark("manager only"),
    "misread-number": mark("misread number"),
    "no-cabinet": mark("no cabinet"),
    "no-label": mark("no label"),
    "no-load": mark("no load"),
    "no-pattern": mark("no pattern"),
    "no-stack": mark("no stack"),
    "not-clean": mark("not clean"),
    "not-cold": mark("not cold"),
    "not-cold-long-enough": mark("not cold long enough"),
    "not-inspected": mark("not inspected"),
    "not-last": mark("not last"),
    "not-named": mark("not named"),
    "not-signed-in": mark("not signed in"),
    "not-signed-off": mark("not signed off"),
    "not-treated": mark("not treated"),
    "number-taken": mark("number taken"),
    "on-another-table": mark("on another table"),
    "on-hold": mark("on hold"),
    "out-of-order": mark("out of order"),
    "own-work": mark("own work"),
    "practice-screen": mark("practice screen"),
    "practice-slip": mark("practice slip"),
    "reason-needed": mark("reason needed"),
    "retired-worker": mark("retired worker"),
    "scan-id-reused": mark("scan id reused"),
    "specimen-incomplete": mark("specimen incomplete"),
    "stack-full": mark("stack full"),
    "still-cold": mark("still cold"),
    "too-early": mark("too early"),
    "too-old": mark("too old"),
    "undo-too-late": mark("undo too late"),
    "unknown-adhesive": mark("unknown adhesive"),
    "unknown-consignment": mark("unknown consignment"),
    "unknown-number": mark("unknown number"),
    "unknown-station": mark("unknown station"),
    "unknown-worker": mark("unknown worker"),
    "weights-on": mark("weights on"),
    "wet-adhesive": mark("wet adhesive"),
    "withdrawn": mark("withdrawn"),
    "wrong-cabinet": mark("wrong cabinet"),
    "wrong-stage": mark("wrong stage"),
}
