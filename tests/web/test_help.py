"""Every field that somebody fills in says in one line what it means; and no line is left without its field."""

import importlib
import pkgutil

from wtforms import BooleanField, FieldList, Form, HiddenField
from wtforms.fields.core import UnboundField

from logbook.web import help as lines
from logbook.web import pages

SAID_ABOVE = {
    "leaks.TapsForm": "the sheet's page explains each row of patches above it",
    "steps.RowForm": "a row of the step list is a table of its own, explained above it",
    "shop_page.FactsForm": "the labels say it: they are the shop's facts themselves",
    "jobs.PitchChoiceForm": "drawn with the offers, whose sentences ask",
    "takeback.TakeBackForm": "a button; nothing is typed",
}
"""Forms whose page says it in another place, and where."""


def _forms(base):
    for form in base.__subclasses__():
        yield form
        yield from _forms(form)


def _fields():
    """Form and field of everything that is filled in; a tick is its own sentence."""
    for module in pkgutil.iter_modules(pages.__path__):
        importlib.import_module(f"{pages.__name__}.{module.name}")
    for form in set(_forms(Form)):
        if form.__module__.startswith("logbook."):
            for name, field in vars(form).items():
                if isinstance(field, UnboundField) and not issubclass(field.field_class, HiddenField):
                    yield form, name, field


def _called(form):
    return f"{form.__module__.rpartition('.')[2]}.{form.__name__}"


def test_every_field_has_its_line_and_every_line_its_field():
    found = list(_fields())
    assert len(found) > 200
    known = {f"{_called(form)}.{name}" for form, name, _ in found}
    assert set(lines.LINES) <= known
    silent = [
        f"{_called(form)}.{name}"
        for form, name, field in found
        if not field.kwargs.get("description")
        and not lines.line_for(form, name)
        and not issubclass(field.field_class, BooleanField | FieldList)
        and _called(form) not in SAID_ABOVE
    ]
    assert silent == []


def test_a_line_stands_beside_its_field_and_is_read_with_it(desk):
    page = desk.get("/orders/new").get_data(as_text=True)
    assert f'<p class="help" id="due-help">{lines.LINES["orders.OrderForm.due"]}</p>' in page
    assert 'aria-describedby="due-help"' in page
