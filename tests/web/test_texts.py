"""Texts on their pages: editable before copying, worded by the owner."""


def _text(answer):
    return answer.get_data(as_text=True)


def test_every_kind_of_text_stands_in_a_box_that_can_be_changed(office, desk):
    page = _text(desk.get(f"/job/{office.order()}/texts"))
    assert page.count("<textarea") == 5
    assert "Quillon &amp; Daughters" in page


def test_a_new_wording_serves_at_once_and_a_wrong_one_keeps_what_was_typed(office, desk):
    code = office.order()
    known = {"request_id": "t", "small": "", "proof": "", "collect": "", "sent": "", "late": "Later, {customer}."}
    assert desk.post("/shop/texts", data=known).status_code == 303
    assert "Later, Quillon &amp; Daughters." in _text(desk.get(f"/job/{code}/texts"))
    answer = desk.post("/shop/texts", data={**known, "request_id": "u", "sent": "For {nobody}"})
    assert answer.status_code == 422
    assert 'id="sent-fault"' in _text(answer)
    assert "For {nobody}" in _text(answer)
