"""House rules: the numbers and choices that a room sets for itself, with a default and bounds for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

from app.domain.language import mark, say


def rule(default: int, low: int, high: int, words: str) -> Any:
    """One house rule in whole numbers."""
    return field(default=default, metadata={"low": low, "high": high, "words": words})


def choice(default: bool, words: str) -> Any:
    """One house rule that is either kept or not."""
    return field(default=default, metadata={"low": 0, "high": 1, "words": words})


@dataclass(frozen=True, slots=True)
class House:
    """The house rules in force, by version. Hours are elapsed hours; open days follow the room's calendar."""

    version: int = 0
    # Time under weight: a day for PVA and two for pastes is a defensible reading of what is published; the rest is
    # common practice, no source.
    press_pva_h: int = rule(24, 1, 336, mark("Hours under weight for PVA or EVA"))
    press_paste_h: int = rule(48, 1, 336, mark("Hours under weight for starch paste"))
    press_methyl_h: int = rule(48, 1, 336, mark("Hours under weight for methyl cellulose"))
    press_straps_h: int = rule(2, 1, 336, mark("Hours under weight for gummed straps or stitching only"))
    press_spot_h: int = rule(2, 1, 336, mark("Hours under weight for a single spot mended"))
    press_bulky_add_h: int = rule(24, 0, 336, mark("Hours added for a bulky sheet"))
    gap_without_weight_h: int = rule(2, 1, 48, mark("Hours without weights, before half its time, that mark a sheet"))
    stack_mass_kg: int = rule(25, 1, 60, mark("Kilograms on one stack, at most"))
    stack_piece_kg: int = rule(8, 1, 25, mark("Kilograms of one piece of weight, at most"))
    # An estimate, no source: 2 mm greyboard weighs about 1.25 kg/m2, and 0.12 m2 of it lies on a sheet.
    layer_g: int = rule(
        200, 0, 2000, mark("Grams that one layer of a stack weighs: sheet, release paper, foam and board")
    )
    dry_heated_days: int = rule(3, 1, 30, mark("Usual days of drying with heat"))
    dry_unheated_days: int = rule(7, 1, 60, mark("Usual days of drying without heat"))
    # Herbarium dryers at 35 to 45 °C: University of British Columbia, "Drying a specimen". Around 50 °C proteins denature
    # and waxy blooms are damaged: Hill, National Herbarium of NSW, Taxacom, 2 Nov 1994. How often it is read: no source.
    dry_cool_c: int = rule(35, 20, 60, mark("Degrees Celsius below which a dryer dries slowly"))
    dry_warm_c: int = rule(45, 25, 70, mark("Degrees Celsius above which a dryer is too warm"))
    dry_hot_c: int = rule(50, 30, 90, mark("Degrees Celsius above which a dryer is turned off at once"))
    dry_read_h: int = rule(
        24, 1, 240, mark("Hours after which the temperature of a dryer with plants in it is read again")
    )
    papers_heated_days: int = rule(2, 1, 14, mark("Days between changes of papers, with heat"))
    papers_unheated_days: int = rule(1, 1, 14, mark("Days between changes of papers, without heat"))
    label_before_glue: bool = choice(True, mark("The final label must be with the plant before it is taken up"))
    treat_before_mounting: bool = choice(False, mark("Freezer treatment is asked for before mounting"))
    treat_before_filing: bool = choice(False, mark("Freezer treatment is asked for before filing"))
    # What is published runs from 6 to 14 days at −20 °C (from memory).
    treat_cold_days: int = rule(7, 1, 60, mark("Days that a load stays cold in the freezer"))
    treat_c: int = rule(-20, -40, -15, mark("Degrees Celsius that it has to be as cold as, for those days"))
    # 72 hours at -30 C: Naturalis, NHCOLL-L, 30 April 2018.
    treat_deep_days: int = rule(3, 1, 60, mark("Days that are enough in a deeper cold"))
    treat_deep_c: int = rule(-30, -60, -20, mark("Degrees Celsius of the deeper cold"))
    treat_open_days: int = rule(1, 1, 30, mark("Open days in the open after which a treatment no longer counts"))
    # Mercury and arsenic went out of use at the Smithsonian in the mid-1980s (Collection Forum 30(1-2): 51, 2016).
    suspected_before_year: int = rule(
        1985, 1700, 2100, mark("Year before which what was collected starts as suspected of old poisons")
    )
    sign_offs: bool = choice(False, mark("Only workers signed off for a step may do it alone"))
    sign_off_stale_weeks: int = rule(
        12, 1, 260, mark("Weeks without doing a step, after which a sign-off is looked at again")
    )
    inspect_before_filing: bool = choice(True, mark("Sheets are inspected and passed before they are filed"))
    not_own_work: bool = choice(True, mark("Nobody passes a sheet that they mounted or mended themselves"))
    own_work_next_day: bool = choice(False, mark("Own work, where it may be passed at all, is passed on a later day"))
    limit_intake_fresh_h: int = rule(24, 1, 240, mark("Hours that fresh plants may wait at intake"))
    limit_intake_dry_days: int = rule(10, 1, 365, mark("Open days that dry plants may wait at intake"))
    limit_ready_days: int = rule(60, 1, 3650, mark("Open days that sheets may wait for mounting"))
    limit_mounted_h: int = rule(1, 1, 48, mark("Hours that a glued sheet may lie without weights"))
    limit_press_ready_days: int = rule(2, 1, 60, mark("Open days that a sheet may stay after it was ready"))
    limit_inspect_days: int = rule(5, 1, 365, mark("Open days that a dry sheet may wait for inspection"))
    limit_mend_days: int = rule(10, 1, 365, mark("Open days that a dry sheet may wait for mending"))
    limit_freeze_days: int = rule(5, 1, 365, mark("Open days that a passed sheet may wait for the freezer"))
    limit_file_days: int = rule(5, 1, 365, mark("Open days that a passed sheet may wait for filing"))
    check_open_days: int = rule(
        3, 1, 60, mark("Open days after which a cabinet check that was begun should be through")
    )
    limit_weights_off_h: int = rule(1, 1, 48, mark("Hours that a stack with sheets may stand without weights"))
    forecast_weeks: int = rule(8, 2, 52, mark("Weeks of open days that a forecast rests on"))
    forecast_least_days: int = rule(10, 5, 60, mark("Open days on record before anything is forecast"))
    left_behind_share: int = rule(
        90, 50, 99, mark("Per cent of a week's sheets that have gone on when the others are left behind")
    )
    left_behind_least: int = rule(
        10, 3, 1000, mark("Sheets that must have come in that week, before any is left behind")
    )
    wanted_days: int = rule(10, 1, 365, mark("Open days that a wanted sheet may wait, where no day was named"))
    hold_label_days: int = rule(60, 1, 365, mark("Open days that a sheet may wait for its label"))
    hold_label_query_days: int = rule(10, 1, 365, mark("Open days that a label query may stand"))
    hold_number_query_days: int = rule(5, 1, 365, mark("Open days that a number query may stand"))
    hold_name_days: int = rule(20, 1, 365, mark("Open days that a name query may stand"))
    hold_repair_days: int = rule(10, 1, 365, mark("Open days that a sheet may wait for its repair"))
    hold_rule_days: int = rule(
        5, 1, 365, mark("Open days that a sheet mounted against a rule may wait for the manager")
    )
    hold_quarantine_days: int = rule(10, 1, 365, mark("Open days that a sheet may lie in quarantine"))
    hold_missing_days: int = rule(10, 1, 365, mark("Open days that a sheet may be missing"))
    out_days: int = rule(20, 1, 365, mark("Open days that a sheet may be out, where no day was named"))
    usual_least: int = rule(20, 5, 1000, mark("Stays that must have ended before a limit is suggested"))
    rate_least_hours: int = rule(4, 1, 200, mark("Hours of own work in eight weeks, before sheets an hour are told"))
    first_pass_least: int = rule(20, 5, 1000, mark("First looks in eight weeks, before the share that passed is told"))
    # An estimate, no source: the counts of the room show how far it is off.
    adhesive_g_100: int = rule(300, 10, 10_000, mark("Grams of adhesive that a hundred gluings take: an estimate"))
    strap_cm: int = rule(20, 1, 500, mark("Centimetres of gummed linen that a sheet with straps takes: an estimate"))
    thread_cm: int = rule(40, 1, 1000, mark("Centimetres of thread that a sheet with thread takes: an estimate"))
    release_again: bool = choice(True, mark("Release paper is used again"))
    order_weeks: int = rule(26, 2, 104, mark("Weeks for which an order of supplies is to last"))
    backup_h: int = rule(36, 12, 720, mark("Hours since the last backup, after which the room needs one"))
    # Which are kept: common practice, no source.
    backup_hour: int = rule(16, 0, 23, mark("Hour of the day after which the room is backed up by itself"))
    backup_keep_days: int = rule(14, 1, 366, mark("Days of which every backup is kept"))
    backup_keep_weeks: int = rule(52, 1, 520, mark("Weeks of which the last backup is kept"))
    keep_refusals_months: int = rule(12, 1, 120, mark("Months for which refused scans are kept"))
    double_read_s: int = rule(20, 0, 120, mark("Seconds within which the same code again is a double read"))
    undo_weights_min: int = rule(2, 1, 30, mark("Minutes within which weights on or off can be undone"))
    seal_after_passing: bool = choice(
        True, mark("The seal is asked for once a sheet is passed, and missed when it is filed")
    )
    sheet_width_mm: int = rule(292, 150, 900, mark("Millimetres that a mounting sheet is wide"))
    sheet_height_mm: int = rule(419, 200, 1200, mark("Millimetres that a mounting sheet is high"))
    # Top left, else along an edge: Natural History Museum London, digitisation workflow, 2022.
    code_top_left: bool = choice(True, mark("The lasting code goes top left on a sheet; where not, along the top edge"))
    run_sheets: int = rule(6, 1, 30, mark("Sheets in a run that a table fetches"))
    # The Florida Museum budgets 6 sheets to a cover on average; 10 to 20 thin ones are quoted as a limit (from memory).
    folder_sheets: int = rule(15, 2, 200, mark("Sheets of one name in a folder, at most"))
    clock_ahead_min: int = rule(2, 1, 60, mark("Minutes by which the computer's clock may run ahead"))
    clock_gap_days: int = rule(14, 1, 400, mark("Days since the last sign of life after which the date is asked for"))
    pin_at_stations: bool = choice(False, mark("Signing in by name at a station asks for a PIN"))
    idle_sign_out_min: int = rule(
        120, 0, 720, mark("Minutes without a scan after which those at a station are signed out; 0 for never")
    )
    keep_hours_months: int = rule(12, 1, 120, mark("Months for which hours and sightings are kept by person"))
    hand_over_names: bool = choice(False, mark("Hand-overs to the catalogue say who mounted each sheet"))
    open_monday: bool = choice(True, mark("The room is open on Mondays"))
    open_tuesday: bool = choice(True, mark("The room is open on Tuesdays"))
    open_wednesday: bool = choice(True, mark("The room is open on Wednesdays"))
    open_thursday: bool = choice(True, mark("The room is open on Thursdays"))
    open_friday: bool = choice(True, mark("The room is open on Fridays"))
    open_saturday: bool = choice(False, mark("The room is open on Saturdays"))
    open_sunday: bool = choice(False, mark("The room is open on Sundays"))

    @property
    def open_weekdays(self) -> frozenset[int]:
        """The weekdays on which the room is open, Monday as 0."""
        days = (self.open_monday, self.open_tuesday, self.open_wednesday, self.open_thursday,
                self.open_friday, self.open_saturday, self.open_sunday)  # fmt: skip
        return frozenset(number for number, is_open in enumerate(days) if is_open)


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One house rule as it is shown: name, meaning, default and bounds."""

    name: str
    words: str
    default: int
    low: int
    high: int
    is_choice: bool


def with_values(values: Mapping[str, int], version: int) -> House:
    """The house rules with this room's own values in place of the defaults; unknown names are left aside."""
    known: dict[str, Any] = {row.name: bool(values[row.name]) if row.is_choice else values[row.name]
             for row in RULES.values() if row.name in values}  # fmt: skip
    return replace(House(version=version), **known)


def checked(name: str, value: int) -> int:
    """The value, if the rule exists and the value lies within its bounds; otherwise ValueError with a sentence."""
    row = RULES.get(name)
    if row is None:
        raise ValueError(say("There is no house rule called {name}.", name=name))
    if not row.low <= value <= row.high:
        raise ValueError(
            say(
                "{rule}: between {low} and {high}, not {value}.",
                rule=row.words,
                low=row.low,
                high=row.high,
                value=value,
            )
        )
    return value


def _row(name: str, default: object, metadata: Mapping[str, Any]) -> RuleRow:
    return RuleRow(name, metadata["words"], int(default), metadata["low"], metadata["high"], isinstance(default, bool))  # type: ignore[call-overload]


RULES: dict[str, RuleRow] = {
    item.name: _row(item.name, item.default, item.metadata) for item in fields(House) if item.metadata
}
# One preset: whoever is alone still inspects, looks at their own work on a later day, and asks nobody's leave.
ONE_PERSON: dict[str, int] = {"inspect_before_filing": 1, "not_own_work": 0, "own_work_next_day": 1, "sign_offs": 0}
