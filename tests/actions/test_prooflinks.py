"""Links to proofs: off by default, kept as hashes, ending, withdrawn, answered once, overtaken."""

import json
import shutil
from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import erasing, prooflinks, proofs
from logbook.actions import shop as shop_actions
from logbook.actions.people import token_hash
from logbook.records.audit import AuditEntry
from logbook.records.chain import first_bad
from logbook.records.opened import open_shop
from logbook.records.orders import Customer
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused
from logbook.settings import Settings
from support.prooflinks import enlarge, link_to, prove, turn_on
from support.small_shop import CUSTOMER, SmallShop, job, one, small_shop

NAME, WORDS = "Imke Brodersen", "a little more blue, please"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Made once, copied for each test: a job with its proof, links turned off."""
    told = small_shop(tmp_path_factory.mktemp("proved") / "data")
    code = told.order()
    prove(told, code)
    told.shop.database.close()
    return told, code


@pytest.fixture
def shop(made, tmp_path):
    folder = shutil.copytree(made[0].shop.settings.data, tmp_path / "data")
    copied = SmallShop(open_shop(Settings(data=folder)), made[0].now)
    yield copied
    copied.shop.database.close()


@pytest.fixture
def proved(made, shop):
    turn_on(shop)
    return made[1]


def _link(session):
    return session.execute(select(ProofLink).order_by(ProofLink.id.desc())).scalars().first()


def _answer(shop, *, by=None, **more):
    said = {"verdict": "approved", "given_by": NAME, "words": "", **more}
    shop.act(lambda session, actor: prooflinks.decide(session, by or actor, link=_link(session), **said) and None)


def _entries(shop, action):
    return shop.read(
        lambda session: [
            json.loads(one.body)
            for one in session.execute(select(AuditEntry).where(AuditEntry.action == action)).scalars()
        ]
    )


def test_nobody_makes_a_link_before_the_owner_turned_them_on(made, shop):
    code = made[1]
    with pytest.raises(Refused, match="Links are off"):
        link_to(shop, code)
    turn_on(shop)
    assert link_to(shop, code).startswith("/p/")


@pytest.mark.parametrize(
    "address",
    ["proofs.example.org", "ftp://proofs.example.org", "http://proofs.example.org", "https://", "https://a.example/b",
     "https://anna@a.example", "https://a.example?b", "https://a.example#b", "https://a.example:x", "https://[::1"],
)  # fmt: skip
def test_an_address_that_cannot_serve_is_refused_at_its_field(shop, address):
    with pytest.raises(Refused) as refused:
        turn_on(shop, address)
    assert refused.value.field == "proof_address"
    assert shop.read(prooflinks.public_address) == ""


@pytest.mark.parametrize("address", ["https://a.example:8443/", "http://127.0.0.1:8421", "http://localhost:8421/"])
def test_an_address_is_kept_without_its_last_slash(shop, address):
    turn_on(shop, f" {address} ")
    assert shop.read(prooflinks.public_address) == address.rstrip("/")


def test_a_token_has_256_bits_and_only_its_hash_is_kept(shop, proved):
    """43 characters of base 64 without padding are 32 bytes (RFC 4648, section 5): twice what was asked for."""
    tokens = {link_to(shop, proved).removeprefix("/p/") for _ in range(5)}
    assert len(tokens) == 5
    assert {len(token) for token in tokens} == {43}
    kept = shop.read(lambda session: set(session.execute(select(ProofLink.token_hash)).scalars()))
    assert kept == set(map(token_hash, tokens))
    held = shop.shop.settings.database_path.read_bytes()
    assert not any(token.encode() in held for token in tokens)


def test_a_link_serves_fourteen_days_unless_told_otherwise(shop, proved):
    link_to(shop, proved)
    assert shop.read(lambda session: _link(session).until - _link(session).made_at) == timedelta(days=14)
    link_to(shop, proved, days=3)
    assert shop.read(lambda session: _link(session).until - _link(session).made_at) == timedelta(days=3)
    for days in (0, -1, 91):
        with pytest.raises(Refused) as refused:
            link_to(shop, proved, days=days)
        assert refused.value.field == "days"


def test_a_link_opens_until_it_ends_and_not_a_moment_longer(shop, proved):
    token = link_to(shop, proved).removeprefix("/p/")

    def opens(**after):
        return shop.read(lambda session: prooflinks.of_token(session, token, shop.now + timedelta(**after))) is not None

    assert opens(days=14, microseconds=-1)
    assert not opens(days=14)
    turn_on(shop, "")
    assert not opens()


def test_an_answer_stands_in_the_same_record_as_one_that_staff_write_down(shop, proved):
    link_to(shop, proved)
    _answer(shop, verdict="change", words=WORDS)
    answer = shop.read(lambda session: job(session, proved).proofs[-1].answers[-1])
    assert (answer.verdict, answer.how, answer.given_by, answer.words) == ("change", "link", NAME, WORDS)
    assert shop.read(lambda session: proofs.state(job(session, proved))) == ("change", True)
    told = _entries(shop, "customer answered")
    assert len(told) == 1, "one entry"
    assert {one.partition(":")[0] for one in told[0]["objects"]} == {"job", "proof", "prooflink"}
    assert told[0]["new"]["how"] == "link"
    assert told[0]["new"]["given_by"].startswith("hmac-sha256:")
    assert NAME not in json.dumps(told)
    assert WORDS not in json.dumps(told)
    assert shop.read(first_bad) is None


def test_a_link_takes_one_answer(shop, proved):
    link_to(shop, proved)
    _answer(shop)
    with pytest.raises(Refused, match="answered already"):
        _answer(shop, verdict="change", words=WORDS)
    assert len(shop.read(lambda session: job(session, proved).proofs[-1].answers)) == 1


def test_what_staff_wrote_down_since_closes_a_link_and_what_stood_before_does_not(shop, proved):
    link_to(shop, proved)

    def by_telephone(session, by):
        proofs.record_answer(session, by, proof=job(session, proved).proofs[-1], verdict="approved", how="telephone")

    shop.act(by_telephone)
    with pytest.raises(Refused, match="answered already"):
        _answer(shop)
    link_to(shop, proved)
    _answer(shop)


@pytest.mark.parametrize("happens", [enlarge, prove], ids=["the job changed", "a newer proof"])
def test_a_proof_that_was_overtaken_takes_no_answer_and_gets_no_link(shop, proved, happens):
    link_to(shop, proved)
    old = shop.read(lambda session: job(session, proved).proofs[-1].id)
    happens(shop, proved)
    with pytest.raises(Refused, match="overtaken"):
        _answer(shop)

    def make(session, by):
        wanted = next(proof for proof in job(session, proved).proofs if proof.id == old)
        prooflinks.make_link(session, by, proof=wanted)

    with pytest.raises(Refused, match="Something changed"):
        shop.act(make)


@pytest.mark.parametrize(
    ("said", "field"),
    [({"verdict": "perhaps"}, "verdict"), ({"given_by": "  "}, "given_by"), ({"given_by": "x" * 121}, "given_by"),
     ({"verdict": "change", "words": " "}, "words"), ({"words": "x" * 2001}, "words")],
)  # fmt: skip
def test_a_bad_answer_is_said_at_its_field_and_leaves_nothing(shop, proved, said, field):
    link_to(shop, proved)
    with pytest.raises(Refused) as refused:
        _answer(shop, **said)
    assert refused.value.field == field
    assert shop.read(lambda session: job(session, proved).proofs[-1].answers) == []
    assert _entries(shop, "customer answered") == []


def test_a_withdrawn_link_takes_no_answer_and_is_withdrawn_once(shop, proved):
    link_to(shop, proved)
    shop.act(lambda session, by: prooflinks.revoke(session, by, link=_link(session)))
    with pytest.raises(Refused, match="serves no more"):
        _answer(shop)
    with pytest.raises(Refused, match="already"):
        shop.act(lambda session, by: prooflinks.revoke(session, by, link=_link(session)))
    assert len(_entries(shop, "proof link withdrawn")) == 1


def test_forgetting_the_customer_ends_their_links_and_forgets_who_answered(shop, proved):
    token = link_to(shop, proved).removeprefix("/p/")
    _answer(shop, verdict="change", words=WORDS)
    told = shop.read(lambda session: erasing.of_customer(session, one(session, Customer, name=CUSTOMER)).words)
    assert "1 link to proofs, of no more use then" in told

    def forget(session, by):
        erasing.forget_customer(session, by, customer=one(session, Customer, name=CUSTOMER), reason="asked for")

    shop.act(forget)
    assert shop.read(lambda session: prooflinks.of_token(session, token, shop.now)) is None
    answer = shop.read(lambda session: job(session, proved).proofs[-1].answers[-1])
    assert (answer.given_by, answer.words, answer.hash_key) == (None, None, None)
    assert shop.read(first_bad) is None


def test_forgetting_the_pictures_ends_the_links_that_show_them(shop, proved):
    token = link_to(shop, proved).removeprefix("/p/")
    shop.act(
        lambda session, by: (
            erasing.forget_pictures(session, by, job=job(session, proved), reason="asked for") and None
        )
    )
    assert shop.read(lambda session: prooflinks.of_token(session, token, shop.now)) is None


def test_answers_stand_on_the_first_page_for_some_days(shop, proved):
    link_to(shop, proved)
    _answer(shop)

    def shown(since):
        return len(shop.read(lambda session: prooflinks.answers_since(session, since)))

    assert shown(shop.now - prooflinks.NEWS_FOR) == 1
    assert shown(shop.now + timedelta(seconds=1)) == 0


def test_links_are_off_in_a_new_shop(shop):
    assert shop.read(shop_actions.facts)[prooflinks.FACT] == ""
