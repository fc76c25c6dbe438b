"""The page before the rollers: only whoever is named for the machine is offered as a helper."""

import re

from logbook.actions import people
from support.small_shop import prints


def test_helpers_are_offered_among_those_who_are_named_for_the_laminator(desk, office):
    office.act(
        lambda session, by: people.add_person(session, by, name="Ute", password="ridge-and-valley", role="operator")
    )
    code = office.ready()
    office.sign(code, "print")
    office.wait(hours=25)
    office.sign(code, "dry")
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    offered = re.search(r'<select[^>]*id="helper".*?</select>', page, re.DOTALL)[0]
    # only people who are named for a machine take part at it: common practice, no source
    assert re.findall(r">([^<>]+)</option>", offered) == [
        "choose: who helps, or nobody",
        "nobody: I work alone",
        "Otto",
    ]
