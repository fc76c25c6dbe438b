"""The owner edits the step list in rows; jobs that run keep theirs; what protected somebody prints."""

import html
import re

import pytest

from logbook.actions.shop import step_list
from logbook.paper.traveller import traveller_html
from logbook.records import audit
from support.small_shop import job


def _form(desk, stage):
    """The form of a stage as a browser would send it back."""
    page = desk.get(f"/shop/steps/{stage}").get_data(as_text=True)
    fields = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name, kind = re.search(r'name="([^"]*)"', tag), re.search(r'type="([^"]*)"', tag)
        if name and name[1].startswith("rows-") and (kind is None or kind[1] != "checkbox" or " checked" in tag):
            value = re.search(r'value="([^"]*)"', tag)
            fields[name[1]] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select[^>]*name="(rows-[^"]*)"[^>]*>(.*?)</select>', page, re.DOTALL):
        fields[name] = re.search(r'selected value="([^"]*)"', options)[1]
    return {**fields, "request_id": f"steps-{stage}", "reason": ""}


def _named(form, text):
    return next(name.rsplit("-", 1)[0] for name, value in form.items() if name.endswith("-text") and value == text)


def test_a_form_that_is_sent_back_unchanged_changes_nothing(desk, office):
    for stage in ("trim", "adhesive", "inspect"):
        answer = desk.post(f"/shop/steps/{stage}", data=_form(desk, stage))
        assert answer.status_code == 422
        assert "Nothing was changed" in answer.get_data(as_text=True)
    assert not (office.shop.settings.own_safety_path / "steps.toml").exists()


def test_a_changed_step_counts_for_the_next_job_and_not_for_this_one(desk, office):
    before = office.order(customer="")
    form = _form(desk, "print")
    row = _named(form, "Measure the printed scale bar.")
    form[f"{row}-text"] = "Measure the scale bar with the long rule."
    assert desk.post("/shop/steps/print", data=form).status_code == 303
    after = office.order(customer="")

    def words(code):
        return office.read(lambda session: step_list(job(session, code).step_list).step("print-scale").text)

    assert words(before) == "Measure the printed scale bar."
    assert words(after) == "Measure the scale bar with the long rule."
    told = office.read(lambda session: [entry.action for entry in audit.newest(session, before=None, count=20)])
    assert told.count("step list changed") == 1
    assert "Measure the scale bar with the long rule." in desk.get("/shop/steps").get_data(as_text=True)


def test_taking_out_a_safety_step_needs_a_reason_keeps_what_was_typed_and_prints(desk, office):
    form = _form(desk, "trim")
    page = desk.get("/shop/steps/trim").get_data(as_text=True)
    number = int(re.search(r"Step (\d+) <span class=\"of\">protects somebody: C", page)[1])
    row = f"rows-{number - 1}"
    form[f"{row}-gone"] = "y"
    answer = desk.post("/shop/steps/trim", data=form)
    assert answer.status_code == 422
    assert "protects somebody" in answer.get_data(as_text=True)
    assert re.search(rf'checked[^>]*name="{row}-gone"', answer.get_data(as_text=True))
    form["reason"] = "the blade is behind a fixed guard"
    assert desk.post("/shop/steps/trim", data=form).status_code == 303
    code = office.order(customer="")

    paper = html.unescape(traveller_html(office.traveller(code).view))
    assert "the blade is behind a fixed guard" in paper
    assert "Changed by the owner" in paper


@pytest.mark.parametrize("typed", ["abc", "1e999x"])
def test_a_limit_that_is_no_number_is_refused_and_nothing_is_written(desk, office, typed):
    form = _form(desk, "trim")
    row = next(name.rsplit("-", 1)[0] for name, value in form.items() if name.endswith("-record") and value == "number")
    form[f"{row}-low"] = typed
    answer = desk.post("/shop/steps/trim", data=form)
    assert answer.status_code == 422
    assert "is no number" in html.unescape(answer.get_data(as_text=True))
    assert not (office.shop.settings.own_safety_path / "steps.toml").exists()



def test_a_step_of_too_many_words_is_named_at_its_row_and_never_by_a_key(desk):
    form = _form(desk, "trim")
    row = _named(form, "Clamp the rule or the sheet.")
    number = int(row.rpartition("-")[2]) + 1
    form[f"{row}-text"] = "one two three four five six seven eight nine ten eleven twelve thirteen"
    page = html.unescape(desk.post("/shop/steps/trim", data=form).get_data(as_text=True))
    assert f"Step {number}: " in page
    assert re.search(rf'id="{row}-text-fault">[^<]* has more than 12 words', page)
    assert "trim-clamp:" not in page
