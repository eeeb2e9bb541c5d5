"""The words of the rules in another language: names of days and months, numbers, typed dates, refusals and tables."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.consigned import Fate, why_closed
from app.domain.dates import MOST_DAYS, Span, read_dates, span_words
from app.domain.errors import Refusal
from app.domain.language import ENGLISH, Language, say, say_in, speaking
from app.domain.leaving import back_reason, withdrawn_reason
from app.domain.stages import STAGES, STEP_WORDS, Stage, Step
from app.domain.weights import mass_words
from app.domain.words import age, date_said, dated, day_said, duration, said, sheets_said

WORDS = {
    "{day} {month} {year}": "{day}. {month} {year}",
    "{day} {month}": "{day}. {month}",
    "{day} – {date}": "{day}. – {date}",
    "{day} {hour}": "{day}, {hour} Uhr",
    "{weekday} {date}": "{weekday} {date}",
    "{hours} h {minutes} min": "{hours} Std. {minutes} Min.",
    "{hours} h": "{hours} Std.",
    "today": "heute",
    "It needs {remaining} more under weight, and may come out {ready_at}.": "Ab {ready_at}: noch {remaining}.",
    "Scan the next one.": "Scanne den nächsten.",
    "Filed": "Eingeordnet",
    "take up": "aufnehmen",
    "put back": "zurückgelegt",
    "To {step} takes more than a scan.": "Um es {step} zu können, reicht kein Scan.",
    "being mounted": "wird aufgezogen",
    "sent in exchange to {name}": "im Tausch an {name}",
    "destroyed": "vernichtet",
}
SENSES = {("order", "put back"): "zurücklegen"}
SEVERAL = {"{n} day": ("{n} Tag", "{n} Tage"), "{n:,} sheet": ("{n:,} Bogen", "{n:,} Bögen"),
           "{n} day {hours} h": ("{n} Tag {hours} Std.", "{n} Tage {hours} Std."),
           "{mass:g} kg in {n} piece, {each:.3g} kg each": ("", "{mass:g} kg in {n} Stücken zu {each:.3g} kg")}  # fmt: skip


class Words:
    """A catalogue of a few sentences."""

    def gettext(self, message: str) -> str:
        return WORDS.get(message, message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return SEVERAL.get(msgid1, (msgid1, msgid2))[n != 1]

    def pgettext(self, context: str, message: str) -> str:
        return SENSES.get((context, message), message)


# Unicode CLDR, German: days wide and abbreviated, months wide and abbreviated, decimal and grouping sign.
GERMAN = Language(
    "de", "Deutsch", Words(),
    ("Montag", "Dienstag", "Mittwoch", "Donnerstag", "Freitag", "Samstag", "Sonntag"),
    ("Mo.", "Di.", "Mi.", "Do.", "Fr.", "Sa.", "So."),
    ("Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"),
    ("Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez."),
    group=".", point=",",
)  # fmt: skip
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)  # a Wednesday


@pytest.fixture(autouse=True)
def in_german() -> Iterator[None]:
    with speaking(GERMAN):
        yield


def test_moments_and_days_have_the_names_and_the_order_of_the_language() -> None:
    assert said(NOW + timedelta(days=1), LONDON, NOW) == "Donnerstag, 09:00 Uhr"
    assert said(NOW + timedelta(days=30), LONDON, NOW) == "25. Dez., 09:00 Uhr"
    assert dated(NOW - timedelta(days=400), LONDON, NOW) == "Di. 21. Okt. 2025, 10:00 Uhr"
    assert day_said(date(2026, 11, 25), date(2026, 11, 25)) == "heute"
    assert day_said(date(2026, 11, 30), date(2026, 11, 25)) == "Montag"
    assert date_said(date(2027, 3, 1)) == "1. März 2027" and date_said(date(2027, 3, 1), with_year=False) == "1. März"


def test_spans_and_counts_take_the_form_for_their_number() -> None:
    assert duration(3 * 86400) == "3 Tage" and duration(4 * 86400 + 3600) == "4 Tage 1 Std."
    assert duration(5 * 3600 + 600) == "5 Std. 10 Min." and age(NOW - timedelta(days=9), NOW) == "9 Tage"
    assert sheets_said(1) == "1 Bogen" and sheets_said(12345) == "12.345 Bögen"
    assert mass_words(12.5, 4) == "12,5 kg in 4 Stücken zu 3,12 kg"


@pytest.mark.parametrize(
    "text",
    ["24. Dezember 2026", "24 dez 2026", "24. Dez. 2026", "24 December 2026", "24 Dec 2026", "Do. 24. Dez. 2026",
     "Donnerstag 24 Dez 2026", "Thursday 24 Dec 2026", "2026-12-24"],
)  # fmt: skip
def test_a_typed_date_is_read_in_the_language_and_in_english(text: str) -> None:
    assert read_dates(text, 2030).days == (date(2026, 12, 24),) and read_dates(text, 2030).wrong == ()


def test_names_with_letters_beyond_english_are_read_and_a_hyphen_joins_them() -> None:
    assert len(read_dates("28. Feb.-2. März 2027", 2026).days) == 3
    assert read_dates("1 mär 2027, 1 mai 2027", 2026).days == (date(2027, 3, 1), date(2027, 5, 1))


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("24 Ma 2026", "cannot be read"),  # too few letters for a name that is not whole
        ("24 Ju 2026", "cannot be read"),
        ("24.12.2026", "cannot be read"),  # which number is the month is a guess in some languages
        ("24 juny 2026", "there is no month called juny"),
        ("Th 24 Dec 2026", "there is no weekday called Th"),
        ("Freitag 24. Dez. 2026", "24. Dez. 2026 is a Donnerstag, not a Freitag."),
        ("31. Feb. 2027", "there is no 31 Feb. 2027."),
    ],
)
def test_what_is_no_date_in_either_language_is_refused(text: str, wrong: str) -> None:
    found = read_dates(text, 2026)
    assert found.days == () and wrong in found.wrong[0]


def test_a_name_that_means_two_months_is_refused_and_a_whole_one_is_not() -> None:
    # Finnish (Unicode CLDR): "marraskuu" is November, where English "Mar" is March; "tammi" is whole for January.
    months = ("tammikuu", "helmikuu", "maaliskuu", "huhtikuu", "toukokuu", "kesäkuu",
              "heinäkuu", "elokuu", "syyskuu", "lokakuu", "marraskuu", "joulukuu")  # fmt: skip
    finnish = Language(
        "fi", "suomi", None, GERMAN.weekdays, GERMAN.short_weekdays, months, tuple(m[:-3] for m in months)
    )
    with speaking(finnish):
        assert "no month called Mar" in read_dates("3 Mar 2027", 2026).wrong[0]
        assert read_dates("3 marras 2027, 3 March 2027", 2026).days == (date(2027, 3, 3), date(2027, 11, 3))


@given(st.dates(date(1990, 1, 1), date(2060, 12, 31)), st.integers(0, MOST_DAYS - 1))
def test_a_span_said_in_the_language_is_read_back(first: date, more: int) -> None:
    span = Span(first, first + timedelta(days=more))
    with speaking(GERMAN):
        assert read_dates(span_words(span), 2000).days == span.days()


def test_a_refusal_says_its_template_in_the_language_of_the_moment() -> None:
    words = "It needs {remaining} more under weight, and may come out {ready_at}."
    refusal = Refusal(
        "too-early", words, "Scan the next one.", facts={"remaining": timedelta(hours=2), "ready_at": "bald"}
    )
    assert refusal.said(str) == "Ab bald: noch 2:00:00." and refusal.next_said(str) == "Scanne den nächsten."


def test_tables_say_themselves_and_are_english_where_they_are_kept() -> None:
    assert f"{STAGES[Stage.FILED].words}" == "Eingeordnet" and STAGES[Stage.FILED].words == "Filed"
    assert say(STEP_WORDS[Step.TAKE_UP][0]) == "aufnehmen"
    assert f"{Fate.AT_WORK}" == str(Fate.AT_WORK) == "wird aufgezogen" and Fate.AT_WORK == "being mounted"


def test_an_order_and_a_deed_with_one_english_form_are_told_apart() -> None:
    order, deed = STEP_WORDS[Step.PUT_BACK]
    assert order == deed == "put back" and {deed: 1}[order] == 1
    assert (
        say(order) == f"{order}" == str(order) == "zurücklegen"
        and say(deed) == f"{deed}" == str(deed) == "zurückgelegt"
    )
    assert say("To {step} takes more than a scan.", step=order) == "Um es zurücklegen zu können, reicht kein Scan."
    assert say_in("order", "put back") == "zurücklegen" and say_in("weather", "put back") == "put back"
    with speaking(ENGLISH):
        assert say(order) == say(deed) == say_in("order", "put back") == "put back"


def test_every_step_says_its_order_and_its_deed_apart() -> None:
    alike = [step for step, (order, deed) in STEP_WORDS.items() if order == deed]
    assert alike and all(STEP_WORDS[step][0].context == "order" != STEP_WORDS[step][1].context for step in alike)  # type: ignore[attr-defined]
    copied = pickle.loads(pickle.dumps(STEP_WORDS[alike[0]][0]))
    assert copied == STEP_WORDS[alike[0]][0] and copied.context == "order"


def test_a_reason_is_kept_in_english_and_said_in_the_language() -> None:
    kept = withdrawn_reason("exchange", "Herbarium Nordvik")
    assert kept == "sent in exchange to Herbarium Nordvik"
    assert why_closed(kept) == "im Tausch an Herbarium Nordvik" and why_closed("destroyed") == "vernichtet"
    assert (
        why_closed("eaten by mice") == "eaten by mice" and withdrawn_reason("destroyed", "mould") == "destroyed: mould"
    )
    assert back_reason("loan", "to Nordvik") == "It goes on loan: to Nordvik"
