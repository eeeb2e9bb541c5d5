"""The catalogue of words is whole: every message of the program is in every language, with the same parts, and compiled."""

from __future__ import annotations

import gettext
import io

import pytest
from babel import Locale
from babel.messages.catalog import Catalog
from hypothesis import given
from hypothesis import strategies as st

from app.domain.language import ENGLISH, Language, mark, mark_in, number, say, say_in, say_n, speaking
from app.web.languages import CATALOGUES, DOMAIN, FOR_SCRIPTS, available, language_of
from app.web.template_words import spoken_source
from tests.catalogue import catalogue_of, codes, compiled, faults, for_scripts, messages, parts_of, place_of, updated


@pytest.mark.parametrize("code", codes())
def test_every_message_is_in_the_catalogue_translated_and_with_its_parts(code: str) -> None:
    catalogue = catalogue_of(code)
    kept = {
        (message.context or "", message.id[0] if isinstance(message.id, tuple) else message.id)
        for message in catalogue
        if message.id
    }
    assert set(messages()) - kept == set(), "run python -m tests.catalogue, and translate"
    assert kept - set(messages()) == set(), "run python -m tests.catalogue"
    assert list(faults(catalogue)) == []


@pytest.mark.parametrize("code", codes())
def test_what_is_read_at_run_time_is_made_from_the_catalogue(code: str) -> None:
    # By gettext's own reader, so that the order in which a file was written does not matter.
    kept = gettext.GNUTranslations(io.BytesIO(place_of(code).with_suffix(".mo").read_bytes()))
    made = gettext.GNUTranslations(io.BytesIO(compiled(catalogue_of(code))))
    assert kept._catalog == made._catalog  # type: ignore[attr-defined]
    assert (CATALOGUES / code / FOR_SCRIPTS).read_text("utf-8") == for_scripts(catalogue_of(code))


def test_there_are_the_languages_that_there_are_catalogues_for() -> None:
    assert set(available()) == {"en", *codes()} and len(codes()) >= 1
    assert language_of("en") is ENGLISH and language_of("tlh") is None and language_of(None) is None


@pytest.mark.parametrize("code", codes())
def test_days_months_and_signs_are_those_of_unicodes_cldr(code: str) -> None:
    spoken, locale = language_of(code), Locale.parse(code)
    assert spoken is not None and spoken.weekdays == tuple(locale.days["format"]["wide"][day] for day in range(7))
    assert spoken.months == tuple(locale.months["format"]["wide"][month] for month in range(1, 13))
    with speaking(spoken):
        assert number(1234567.5, ",.1f") == "1.234.567,5"  # as the Netherlands write it


def test_english_is_what_stands_in_the_code() -> None:
    assert say("{name} went at {hour}.", name="Piet", hour="14:05") == "Piet went at 14:05."
    assert say("Half of {these} stays as it is.") == "Half of {these} stays as it is."
    assert (
        say_n("{n} sheet", "{n} sheets", 1) == "1 sheet"
        and say_n("{n:,} sheet", "{n:,} sheets", 2000) == "2,000 sheets"
    )
    with pytest.raises(KeyError):
        say("{name} went.", hour="14:05")


class Shouted:
    """A catalogue that shouts."""

    def gettext(self, message: str) -> str:
        return message.upper().replace("{NAME}", "{name}").replace("{WHAT}", "{what}")

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return (msgid1 if n == 1 else msgid2).upper().replace("{N}", "{n}")

    def pgettext(self, context: str, message: str) -> str:
        return self.gettext(message) + "!" * (context == "order")


LOUD = Language(
    "xx", "Loud", Shouted(), ENGLISH.weekdays, ENGLISH.short_weekdays, ENGLISH.months, ENGLISH.short_months, ".", ","
)


def test_marked_words_are_said_where_they_are_put_in_and_equal_what_was_written() -> None:
    held = mark("Held")
    assert held == "Held" and {held: 1}["Held"] == 1 and f"{held}" == str(held) == "Held"
    with speaking(LOUD):
        assert say("It is {what}.", what=held) == "IT IS HELD." and f"{held}" == str(held) == "HELD"
        assert (
            held == "Held" and say_n("{n} sheet", "{n} sheets", 2) == "2 SHEETS" and number(1234.5, ",.1f") == "1.234,5"
        )
    assert say("It is {what}.", what=held) == "It is Held."


def test_words_in_a_sense_of_their_own_are_read_apart_from_the_same_words() -> None:
    back = mark_in("order", "Back")
    assert back == "Back" and say(back) == say_in("order", "Back") == "Back"
    with speaking(LOUD):
        assert f"{back}" == say_in("order", "Back") == "BACK!" and say("Back") == "BACK"
        assert say_in("order", "To {what}", what=back) == "TO BACK!!"
    found = messages()
    assert found["order", "put back"].context == "order" and found["", "put back"].text == ("put back",)
    assert {text for context, text in found if context == "of a stage"} == {"Out"}, "a template's words, too"


def test_a_catalogue_keeps_and_compiles_both_senses() -> None:
    kept = Catalog(locale="nl")
    kept.add("put back", "teruggelegd")
    kept.add("put back", "terugleggen", context="order")
    fresh = updated(kept, "nl")
    assert (fresh.get("put back").string, fresh.get("put back", "order").string) == ("teruggelegd", "terugleggen")  # type: ignore[union-attr]
    read = gettext.GNUTranslations(io.BytesIO(compiled(kept)))
    assert read.gettext("put back") == "teruggelegd" and read.pgettext("order", "put back") == "terugleggen"


@pytest.mark.parametrize("many, wrong", [("Eén keer gebruikt.", 1), ("{n:,} keer gebruikt.", 0)])
def test_many_that_are_said_without_their_number_are_a_fault(many: str, wrong: int) -> None:
    kept = Catalog(locale="nl")
    kept.add(("It was used once.", "It was used {n:,} times."), ("Eén keer gebruikt.", many))
    assert len(list(faults(kept))) == wrong


def test_names_are_never_taken_for_messages() -> None:
    with speaking(LOUD):
        assert say("{name} went.", name="press {what}") == "press {what} WENT."


@given(st.text(alphabet="aB <>/{}%#\"'=&;.éß\n", max_size=60))
def test_text_between_tags_keeps_every_sign(text: str) -> None:
    assert spoken_source(text.replace("{", "").replace("<", "")).count("said_markup") <= 1


@pytest.mark.parametrize(
    ("source", "made"),
    [
        ("<p>Put aside</p>", '<p>{{ said_markup("Put aside") }}</p>'),
        ("<p> by {{ worker.name }}. </p>", '<p> {{ said_markup("by {name}.", name=(worker.name)) }} </p>'),
        ("<b>{{ count }}</b>", "<b>{{ count }}</b>"),
        ("<i>– · 3</i>", "<i>– · 3</i>"),
        ('<a title="Go on" href="Go on">x</a>', '<a title="{{ said_markup("Go on") }}" href="Go on">x</a>'),
        ('<a title="{% if x %}Go{% endif %}">', '<a title="{% if x %}Go{% endif %}">'),
        ("<script>let words = 1</script>", "<script>let words = 1</script>"),
        ("{{ a.b }} of {{ c.b }} here", '{{ said_markup("{b} of {b_2} here", b=(a.b), b_2=(c.b)) }}'),
        ('Say "no"', '{{ said_markup("Say \\"no\\"") }}'),
        ("{# A note #}{{- x -}} sheets", '{# A note #}{{- x -}} {{ said_markup("sheets") }}'),
    ],
)
def test_a_template_is_said_run_by_run(source: str, made: str) -> None:
    assert spoken_source(source) == made


def test_the_parts_of_a_message_are_found() -> None:
    assert parts_of("{n:,} of {name} {{left}}") == {"n", "name"} and DOMAIN == "blotter"
