"""What more there is to know of a house rule than its one line: where it counts, and what it does not touch."""

from __future__ import annotations

_MINIMUM = "Counted when a sheet is laid in, and written on it then. Only hours with the weights on count."
_LONGEST = " A sheet whose adhesive nobody knows takes the longest of these times."
_OPEN = (
    "Open days count for what waits on a shelf, for the forecast and for closing. Single dates are set in the calendar."
)
_LIMIT = "Beyond it a sheet counts as stalled, on the board and under what needs a person. A cabinet's own limit comes first."

# Only for the rules whose one line does not say enough.
MORE: dict[str, str] = {
    "press_pva_h": _MINIMUM + _LONGEST,
    "press_paste_h": _MINIMUM + _LONGEST,
    "press_methyl_h": _MINIMUM + _LONGEST,
    "press_straps_h": _MINIMUM,
    "press_spot_h": _MINIMUM,
    "press_bulky_add_h": _MINIMUM + " It comes on top of the time for the adhesive.",
    "gap_without_weight_h": "Such a sheet comes out by the clock, and the inspection looks at it for lifting and cockling.",
    "layer_g": "An estimate until somebody weighs one: it counts only in the pressure on the lowest sheet of a stack.",
    "stack_mass_kg": "Said when the weights go on; nothing is refused. One piece is lifted at a time.",
    "dry_heated_days": "A plant that is called dry earlier is felt once more.",
    "dry_unheated_days": "A plant that is called dry earlier is felt once more.",
    "label_before_glue": "Asked when a sheet is taken up at a table.",
    "treat_before_mounting": "Asked when a sheet is taken up at a table.",
    "treat_before_filing": "Asked when a sheet is filed; one that was not treated waits for the freezer.",
    "sign_offs": "Beside somebody who is signed off, a learner may do the step too.",
    "inspect_before_filing": "Asked when a sheet is filed.",
    "not_own_work": "Asked at the inspection, when a sheet is passed. Where it is off, another rule may ask for a night between.",
    "own_work_next_day": "Counts only where people may pass their own work. A day is a day of the room; closed days count.",
    "limit_ready_days": _LIMIT,
    "limit_inspect_days": _LIMIT,
    "limit_mend_days": _LIMIT,
    "limit_freeze_days": _LIMIT,
    "limit_file_days": _LIMIT,
    "limit_intake_dry_days": _LIMIT,
    "limit_intake_fresh_h": "Fresh plants do not wait for the room to open: these are hours of the clock, closed days too.",
    "limit_mounted_h": "Wet glue does not wait for the room to open: these are hours of the clock.",
    "clock_ahead_min": "Further ahead, the date is asked for, and nothing is taken out until somebody has said that it is right.",
    "clock_gap_days": "Asked when Blotter starts. Nothing is taken out until somebody has said that the date is right.",
    "double_read_s": "Such a scan is answered as before and writes nothing. 0 takes every scan as a new one.",
    "undo_weights_min": "After that the card is scanned as it is found.",
    **dict.fromkeys(
        (
            "open_monday",
            "open_tuesday",
            "open_wednesday",
            "open_thursday",
            "open_friday",
            "open_saturday",
            "open_sunday",
        ),
        _OPEN,
    ),
}
