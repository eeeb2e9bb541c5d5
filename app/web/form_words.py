"""What the library of forms says by itself of a field that is wrong, in the language of the moment."""

from __future__ import annotations

from typing import Any

from flask_wtf import FlaskForm

from app.domain.language import mark, say

# Those of its sentences that a form of the house can bring about, so that they stand in the catalogue.
OWN = (
    mark("This field is required."), mark("Not a valid choice."), mark("Not a valid integer value."),
    mark("Not a valid float value."), mark("Not a valid date value."), mark("Not a valid datetime value."),
    mark("Not a valid time value."), mark("Invalid Choice: could not coerce."),
    mark("'%(value)s' is not a valid choice for this field."), mark("'%(value)s' are not valid choices for this field."),
    mark("Number must be at least %(min)s."), mark("Number must be at most %(max)s."),
    mark("Number must be between %(min)s and %(max)s."), mark("Field cannot be longer than %(max)d character."),
    mark("Field cannot be longer than %(max)d characters."), mark("Field must be at least %(min)d character long."),
    mark("Field must be at least %(min)d characters long."),
    mark("Field must be between %(min)d and %(max)d characters long."),
)  # fmt: skip


class FormWords:
    """Its sentences, as `gettext.NullTranslations` gives them; it puts their parts in by itself."""

    def gettext(self, message: str) -> str:
        """The sentence in the language of the moment."""
        return say(message)

    def ngettext(self, one: str, several: str, number: int) -> str:
        """The one of the two that fits so many."""
        return say(one if number == 1 else several)


def set_up() -> None:
    """Let every form speak through the one door."""
    words = FormWords()

    def translations(_meta: Any, _form: Any) -> FormWords:
        return words

    FlaskForm.Meta.get_translations = translations
