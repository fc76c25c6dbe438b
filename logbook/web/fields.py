"""Form fields that read what people type at a bench: decimal commas, lengths with or without a unit."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from flask import request
from flask_wtf import FlaskForm
from wtforms import Field, FieldList, FormField, HiddenField, TextAreaField, ValidationError
from wtforms.validators import InputRequired, Optional
from wtforms.widgets import TextInput

from logbook.lengths import Length
from logbook.refusals import Refused
from logbook.rules.signing import MARK
from logbook.web.gate import own_manner
from logbook.web.help import lay_beside

NEEDED = InputRequired(message="This is needed.")
MAYBE = Optional()


_NO_CHARACTER = "A character stands in this form that no keyboard writes (its number is 0); write those words anew."
_OWN_WORDS = {
    "Not a valid integer value.": "Write a whole number.",
    "Not a valid date value.": "Write a day like 2026-05-31.",
    "Not a valid choice.": "Choose one of these.",
    "Invalid Choice: could not coerce.": "Choose one of these.",
    "Number must be between %(min)s and %(max)s.": "From %(min)s to %(max)s.",
    "Number must be at least %(min)s.": "At least %(min)s.",
    "Number must be at most %(max)s.": "At most %(max)s.",
    "Field cannot be longer than %(max)d characters.": "At most %(max)d characters.",
    "Field must be at least %(min)d characters long.": "At least %(min)d characters.",
}
"""What the form library would say of a field, in words for people at a bench."""


class _Words:
    """Stands where the form library looks for translations."""

    def gettext(self, words: str) -> str:
        """Ours, else its own."""
        return _OWN_WORDS.get(words, words)

    def ngettext(self, one: str, many: str, count: int) -> str:
        """Ours for any number, else its own."""
        return _OWN_WORDS.get(many) or _OWN_WORDS.get(one) or (one if count == 1 else many)


class SaysOwnWords:
    """Part of a form's ``Meta``: what is wrong with a field is said in our words."""

    def get_translations(self, form: object) -> _Words:
        """The same for everybody: screens are in English."""
        return _Words()


class BenchForm(FlaskForm):
    """A form with a request id, so that sending it twice makes one record.

    ``has_steps``: the steps of a stage stand in it as plain fields, and reasons; what was wrong with one of them
    is kept in ``beside`` by the field's name. ``signs``: what PIN its act asks for at a bench tablet.
    ``about``, ``changed_by``, ``names``, ``seen``: what it changes, and up to where that is known, see ``meanwhile``.
    """

    class Meta(SaysOwnWords, FlaskForm.Meta):
        """As every form, in our words."""

    has_steps = False
    signs = ""
    about = ""
    changed_by: Sequence[str] = ()
    request_id = HiddenField()
    seen = HiddenField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lay_beside(type(self), self._fields)
        self.beside: dict[str, str] = {}
        self.names: Mapping[str, str] = {}

    def holds(self, *names: str) -> bool:
        """Whether a folded part with these fields is to stand open: an error, or anything but their usual values."""
        return bool(self.form_errors) or any(_is_unusual(self._fields[name]) for name in names)

    def validate(self, *args: Any, **kwargs: Any) -> bool:
        """Of a value that could not be read only that is said: no limit of it."""
        good = bool(super().validate(*args, **kwargs))
        for field in self:
            if field.errors and field.process_errors and not isinstance(field, FormField | FieldList):
                field.errors = list(field.process_errors)
        if any("\0" in word for words in request.form.listvalues() for word in words):
            self.form_errors.append(_NO_CHARACTER)
            return False
        return good


def _is_unusual(field: Field) -> bool:
    usual = field.default() if callable(field.default) else field.default
    found, usual = (one.mm if isinstance(one, Length) else one for one in (field.data, usual))
    return bool(field.errors) or (found != usual and found not in (None, ""))


LEAST_BARE_MM = 25
"""A finished piece is rarely smaller than an inch (shop default, no source); 8 by 10 are inches then."""


class LengthField(Field):
    """A length; without a unit it is in the person's own units."""

    widget = TextInput()
    data: Any  # Length, or None where nothing was typed

    def process_formdata(self, valuelist: Sequence[str]) -> None:
        """Text to Length; the sentence of a refusal becomes the field's error."""
        self.raw = valuelist[0].strip() if valuelist else ""
        self.data = None
        if not self.raw:
            return
        try:
            self.data = own_manner().read_length(self.raw, bare=own_units())
        except Refused as refusal:
            raise ValidationError(refusal.sentence.removeprefix("a length: ")) from None

    def _value(self) -> str:
        raw = getattr(self, "raw", None)
        if raw is not None or not self.data:
            return raw or ""
        return f"{own_manner().number(self.data.value)} {self.data.unit}"


class SizeField(LengthField):
    """The size of a finished piece. A number alone that would make it tiny may be meant in the other unit: it asks."""

    def process_formdata(self, valuelist: Sequence[str]) -> None:
        """As a length; refuses a bare number below ``LEAST_BARE_MM``."""
        super().process_formdata(valuelist)
        if self.data is not None and self.data.mm < LEAST_BARE_MM and not self.raw[-1:].isalpha():
            raise ValidationError(f"{self.raw} alone would be {self.data}: write the unit behind it, "
                                  f"{self.raw}mm or {self.raw}in.")


def own_units() -> str:
    """The signed-in person's units."""
    return own_manner().units


class WrappedField(TextAreaField):
    """One line of words that may be long: shown whole, kept without the ends of lines that somebody pressed."""

    def __init__(self, *told: Any, **more: Any) -> None:
        super().__init__(*told, render_kw={"rows": "2"}, **more)

    def process_formdata(self, valuelist: list[Any]) -> None:
        """As one line."""
        if valuelist:
            self.data = " ".join(str(valuelist[0]).split())


class NumberField(Field):
    """A decimal number, with comma or point, within limits."""

    widget = TextInput()
    data: Any  # Decimal, or None where nothing was typed

    def __init__(
        self,
        label: str = "",
        validators: Any = None,
        *,
        low: Decimal | None = None,
        high: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(label, validators, **kwargs)
        self.low, self.high = low, high

    def process_formdata(self, valuelist: Sequence[str]) -> None:
        """Text to Decimal."""
        self.raw = valuelist[0].strip() if valuelist else ""
        self.data = None
        if not self.raw:
            return
        try:
            value = own_manner().read(self.raw)
        except Refused as refusal:
            raise ValidationError(refusal.sentence) from None
        if value is None:
            raise ValidationError(f"{self.raw!r} is not a number; write it in digits.")
        if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
            raise ValidationError(f"{self.raw}: {_limits(self.low, self.high)}.")
        self.data = value

    def _value(self) -> str:
        raw = getattr(self, "raw", None)
        return raw if raw is not None else own_manner().number(self.data) if self.data is not None else ""


def _limits(low: Decimal | None, high: Decimal | None) -> str:
    write = own_manner().number
    if low is None or high is None:
        return f"at most {write(high)}" if low is None else f"at least {write(low)}"
    return f"between {write(low)} and {write(high)}"


def typed_values() -> dict[str, str]:
    """What stands in the plain fields of steps and check lines, with the decimal mark of whoever typed it."""
    return request.form.to_dict() | {MARK: own_manner().mark}
