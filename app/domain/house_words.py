"""What more there is to know of a house rule than its one line: where it counts, and what it does not touch."""

from __future__ import annotations

from app.domain.language import mark

_MINIMUM = mark("Counted when a sheet is laid in, and written on it then. Only hours with the weights on count.")
_LONGEST = mark(
    "Counted when a sheet is laid in, and written on it then. Only hours with the weights on count. "
    "A sheet whose adhesive nobody knows takes the longest of these times."
)
_OPEN = mark(
    "Open days count for what waits on a shelf, for the forecast and for closing. Single dates are set in the calendar."
)
_LIMIT = mark(
    "Beyond it a sheet counts as stalled, on the board and under what needs a person. A cabinet's "
    "own limit comes first."
)

# Only for the rules whose one line does not say enough.
MORE: dict[str, str] = {
    "press_pva_h": _LONGEST,
    "press_paste_h": _LONGEST,
    "press_methyl_h": _LONGEST,
    "press_straps_h": _MINIMUM,
    "press_spot_h": _MINIMUM,
    "press_bulky_add_h": mark(
        "Counted when a sheet is laid in, and written on it then. Only hours with the weights on count. "
        "It comes on top of the time for the adhesive."
    ),
    "gap_without_weight_h": mark(
        "Such a sheet comes out by the clock, and the inspection looks at it for lifting and cockling."
    ),
    "layer_g": mark(
        "An estimate until somebody weighs one: it counts only in the pressure on the lowest sheet of a stack."
    ),
    "stack_piece_kg": mark(
        "Common practice, no source. Said when the weights go on; nothing is refused. Two lift a heavier one."
    ),
    "stack_mass_kg": mark("Said when the weights go on; nothing is refused. One piece is lifted at a time."),
    "dry_heated_days": mark("A plant that is called dry earlier is felt once more."),
    "dry_unheated_days": mark("A plant that is called dry earlier is felt once more."),
    "dry_cool_c": mark("Said beside what was read; nothing is refused."),
    "dry_warm_c": mark(
        "A line under what needs a person until it is read cooler, while plants lie in it. Nothing is refused."
    ),
    "dry_hot_c": mark(
        "A grave line under what needs a person until it is read cooler, whether or not anything lies in it."
    ),
    "dry_read_h": mark("Common practice, no source. Hours of the clock, closed days too, while plants lie in it."),
    "label_before_glue": mark("Asked when a sheet is taken up at a table."),
    "treat_before_mounting": mark("Asked when a sheet is taken up at a table."),
    "treat_before_filing": mark("Asked when a sheet is filed; one that was not treated waits for the freezer."),
    "treat_cold_days": mark(
        "Without a break, from when the load is cold: by its logger, or reckoned as a day after it was "
        "put in. Whatever warms the freezer begins them again. Counts for loads that are put in from now "
        "on."
    ),
    "treat_c": mark("A load is reckoned cold only in a freezer that gets as cold as this."),
    "treat_deep_days": mark("Only in a freezer that gets as cold as the deeper cold."),
    "treat_open_days": mark(
        "Time in a closed bag and in a clean cabinet does not count. Closed days do not count either."
    ),
    "suspected_before_year": mark(
        "Asked when a sheet is taken in, of the date on its label. Bequests and finds in the backlog "
        "start so whatever their year. Somebody who looked clears them, with a reason."
    ),
    "sign_offs": mark("Beside somebody who is signed off, a learner may do the step too."),
    "sheet_width_mm": mark(
        "292 by 419 is 11.5 by 16.5 in, usual in the United States; 260 by 425 is a sheet of Edinburgh. "
        "Only the drawings at the table and at the inspection follow it."
    ),
    "code_top_left": mark("The drawings and the order of work follow it."),
    "inspect_before_filing": mark("Asked when a sheet is filed."),
    "not_own_work": mark(
        "Asked at the inspection, when a sheet is passed. Where it is off, another rule may ask for a night between."
    ),
    "own_work_next_day": mark(
        "Counts only where people may pass their own work. A day is a day of the room; closed days count."
    ),
    "limit_ready_days": _LIMIT,
    "limit_inspect_days": _LIMIT,
    "limit_mend_days": _LIMIT,
    "limit_freeze_days": _LIMIT,
    "limit_file_days": _LIMIT,
    "limit_intake_dry_days": _LIMIT,
    "limit_intake_fresh_h": mark(
        "Fresh plants do not wait for the room to open: these are hours of the clock, closed days too."
    ),
    "limit_mounted_h": mark("Wet glue does not wait for the room to open: these are hours of the clock."),
    "adhesive_g_100": mark(
        "An estimate, no source, for reckoning what is on hand; every count puts it right. The page of each "
        "adhesive says what its counts make of it. It holds for all adhesives, and for all since the last count."
    ),
    "strap_cm": mark("An estimate, no source; every count puts it right."),
    "thread_cm": mark("An estimate, no source; every count puts it right."),
    "release_again": mark(
        "Where it is, part of it lies in the stacks, as foam and boards do. Where not, each sheet laid in takes one."
    ),
    "order_weeks": mark("The order list asks for so much that a supply lasts so long, and is at its line then."),
    "folder_sheets": mark(
        "By the log: filed sheets of one name on one shelf. The filing round and the scan of filing say "
        "when a new folder is begun. Nothing is refused. The default is quoted, from memory; bulky "
        "sheets fill one sooner."
    ),
    "clock_ahead_min": mark(
        "Further ahead, the date is asked for, and nothing is taken out until somebody has said that it is right."
    ),
    "clock_gap_days": mark(
        "Asked when Blotter starts. Nothing is taken out until somebody has said that the date is right."
    ),
    "double_read_s": mark("Such a scan is answered as before and writes nothing. 0 takes every scan as a new one."),
    "undo_weights_min": mark("After that the card is scanned as it is found."),
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
