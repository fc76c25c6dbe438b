"""A shop that shows proofs by link: for tests of the acts, of the customer's pages and of the promise."""

from itertools import count
from typing import Any

from flask.testing import FlaskClient

from logbook.actions import prooflinks, proofs
from logbook.actions import shop as shop_actions
from logbook.lengths import parse_length
from logbook.web.proofsite import create_proof_app
from support.small_shop import SmallShop, job

PUBLIC = "https://proofs.example.org"


def turn_on(shop: SmallShop, address: str = PUBLIC) -> None:
    """The owner writes the public address down; an empty one turns links off."""
    shop.act(lambda session, by: shop_actions.set_facts(session, by, {prooflinks.FACT: address}))


def prove(shop: SmallShop, code: str) -> None:
    """The next proof of a job."""
    draft = shop.read(lambda session: proofs.drawing(shop.shop.store, job(session, code))())
    shop.act(lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft) and None)


def link_to(shop: SmallShop, code: str, **more: Any) -> str:
    """The path of a new link to a job's newest proof, with its token."""

    def make(session, by):
        _, address = prooflinks.make_link(session, by, proof=job(session, code).proofs[-1], **more)
        return address.removeprefix(prooflinks.public_address(session))

    return shop.act(make)


def enlarge(shop: SmallShop, code: str) -> None:
    """The job changes, so that what was shown is not what will be printed."""

    def change(session, _by):
        found = job(session, code)
        found.width = parse_length(f"{found.width.value + 1}mm")

    shop.act(change)


def customer(shop: SmallShop, **more: Any) -> FlaskClient:
    """Somebody with a browser at the proofs' own app, by the shop's clock; never too often unless asked for."""
    seconds = count(0, 1000).__next__
    return create_proof_app(shop.shop, clock=lambda: shop.now, **{"seconds": seconds, **more}).test_client()
