"""The way from an empty shop to any stage, as fast as hands can go: for tests that begin in the middle."""

from support.shop_walk import Person

PATIENCE = "the customer waits and knows"
"""A reason that cuts a waiting time short; it prints."""
TOMORROW = "its page is filled in tomorrow"
"""Why something is printed before its printer was described; it prints."""


def _order(person: Person) -> None:
    person.take_an_order(size=("3in", "2in"))


def _ready(person: Person) -> None:
    person.make_a_proof()
    person.write_down_the_answer()
    person.take_the_nominal_pitch()


def _run(person: Person) -> None:
    person.interlace()


def _print(person: Person) -> None:
    person.accept()
    person.follow("26-0001-A-S1")


def _adhesive(person: Person) -> None:
    sheet = person.page.url
    person.sign(TOMORROW)
    person.sign(PATIENCE)
    person.set_up_a_laminator()
    person.page.goto(sheet)


def _dwell(person: Person) -> None:
    person.set_up_the_rollers("Jon looks in at three")
    person.sign()
    person.set_up_the_rollers()
    person.sign()


def _trim(person: Person) -> None:
    person.sign(PATIENCE)
    person.follow("26-0001-A1")


def _inspect(person: Person) -> None:
    person.sign()


def _pack(person: Person) -> None:
    person.choose("passed")
    person.sign()


_WAY = {
    "order": _order,
    "ready": _ready,
    "run": _run,
    "print": _print,
    "adhesive": _adhesive,
    "dwell": _dwell,
    "trim": _trim,
    "inspect": _inspect,
    "pack": _pack,
}


def bring_to(person: Person, place: str, *, after: str = "") -> None:
    """Walk from an empty shop until the first print stands before ``place``, on the page where that is done.

    ``order`` is the job's page, ``ready`` the same with nothing left but to interlace, ``run`` the run's page
    with its file; ``print``, ``adhesive``, ``dwell``, ``trim``, ``inspect`` and ``pack`` are stages of the bench.
    Somebody who stands ``after`` one of them already goes on from there.
    """
    names = list(_WAY)
    if not after:
        person.found_the_shop()
    for name in names[names.index(after) + 1 if after else 0 : names.index(place) + 1]:
        _WAY[name](person)
