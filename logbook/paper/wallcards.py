"""Safety cards for the wall and, smaller, to lie beside a traveller; the first-aid card with the shop's own facts."""

from collections.abc import Iterable, Mapping
from typing import Literal

from logbook.paper.render import Address, asset_address, render
from logbook.paper.rows import Caution, caution
from logbook.paper.shelf import signs
from logbook.refusals import Refused
from logbook.rules.cards import SIGNAL_WORDS, Card, FirstAid

Size = Literal["wall", "traveller"]
_PER_PAGE = {"wall": 1, "traveller": 2}


def cards_html(cards: Iterable[Card], *, size: Size = "wall", shop: str = "", local_rule: str = "",
               traits: Iterable[str] = (), page: str = "A4", address: Address = asset_address) -> str:
    """Safety cards: one a page for the wall, two a page in traveller size (cut or fold in the middle)."""
    if size not in _PER_PAGE:
        raise Refused(f"A safety card has the size wall or traveller, not {size!r}.", field="size")
    items = [caution(card, traits) for card in cards]
    return render("cards.html", title="Safety cards", page=page, address=address, pages=_pages(items, _PER_PAGE[size]),
                  size=size, shop=shop, local_rule=local_rule, meanings=SIGNAL_WORDS)


def first_aid_html(card: FirstAid, *, facts: Mapping[str, str] | None = None, shop: str = "", local_rule: str = "",
                   freeing: Mapping[str, str] | None = None, page: str = "A4",
                   address: Address = asset_address) -> str:
    """The first-aid card; ``facts`` fill the shop's lines, ``freeing`` is each machine's own procedure by its name.

    A fact that is not given prints a line to write on.
    """
    known = {fact: (facts or {}).get(fact, "") for fact in card.facts}
    drawings = tuple(signs()[code] for code in card.signs if code in signs())
    return render("first-aid.html", title=card.title, page=page, address=address, card=card, facts=known, shop=shop,
                  local_rule=local_rule, freeing=freeing or {}, drawn=drawings)


def _pages(items: list[Caution], few: int) -> list[list[Caution]]:
    return [items[start:start + few] for start in range(0, len(items), few)]
