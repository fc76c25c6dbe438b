"""Several doubts about one print: the page asks which of them is settled, and lifts no other."""

import re

import pytest

from logbook.actions import materials, pitch
from logbook.records.materials import Lot
from logbook.records.pitch import PitchOnRecord
from support.small_shop import one, prints

DAMP, WITHDRAWN = "lot L-1: damp", "its pitch was withdrawn: wrong paper"


def _damp(session, by):
    materials.set_lot_aside(session, by, lot=one(session, Lot, label="L-1"), reason="damp")


def _withdraw(session, by):
    pitch.withdraw(session, by, pitch=one(session, PitchOnRecord, origin="carried over"), reason="wrong paper")


@pytest.fixture
def piece(office):
    """The code of a print that a damp lot holds back."""
    code = office.ready()
    office.act(_damp)
    return office.read(lambda session: prints(session, code)[0].code)


def _offered(page):
    """The reasons that can be chosen, and whether each is chosen already."""
    found = re.findall(r'<input[^>]*name="lifted"[^>]*>', page.get_data(as_text=True))
    return {re.search('value="(.*?)"', tag)[1]: "checked" in tag for tag in found}


def test_one_reason_is_chosen_already_and_two_are_not(desk, office, piece):
    assert _offered(desk.get(f"/print/{piece}")) == {DAMP: True}
    office.act(_withdraw)
    assert _offered(desk.get(f"/print/{piece}")) == {DAMP: False, WITHDRAWN: False}
    answer = desk.post(f"/print/{piece}/put-back", data={"reason": "looked again", "request_id": "a"})
    assert answer.status_code == 422
    assert "which of the reasons is settled" in answer.get_data(as_text=True)
    assert 'value="looked again"' in answer.get_data(as_text=True)


def test_what_came_after_the_page_was_shown_keeps_holding_the_print(desk, office, piece):
    office.act(_withdraw)  # the page of before knew the damp lot alone
    sent = {"reason": "dried", "lifted": DAMP, "request_id": "a"}
    assert desk.post(f"/print/{piece}/put-back", data=sent).status_code == 303
    assert _offered(desk.get(f"/print/{piece}")) == {WITHDRAWN: True}
    again = desk.post(f"/print/{piece}/put-back", data={**sent, "request_id": "b"})
    assert again.status_code == 422
    assert "not held for this reason any more" in again.get_data(as_text=True)
