"""Erasing: the person is nowhere any more, the chain verifies, and what was done is still told."""

import sqlite3
from io import BytesIO

import pytest
from sqlalchemy import func, select

from logbook.actions import backups, erasing, outputs, proofs, runs, trace, verifying
from logbook.records.audit import AuditEntry
from logbook.records.files import KeptFile, keep
from logbook.records.floor import Run, TravellerIssue
from logbook.records.manifest import DATABASE
from logbook.records.orders import Customer, Picture
from logbook.refusals import Refused
from support.backups import made_of, restored_and_verified
from support.small_shop import CUSTOMER, WORDS, job, one, prints

CONTACT, SAID_BY = "Quay 7, Pellworm", "Imke Brodersen"


@pytest.fixture
def served(shop):
    """A job of a customer, with everything personal that the logbook can hold."""
    code = shop.ready()

    def more(session, by):
        order = job(session, code).order
        order.customer.contact, order.note = CONTACT, f"for {SAID_BY}'s birthday"
        answer = {"verdict": "approved", "how": "telephone", "given_by": SAID_BY, "words": WORDS}
        proofs.record_answer(session, by, proof=job(session, code).proofs[-1], **answer)

    shop.act(more)
    shop.act(lambda session, by: _printed_traveller(shop, session, by, code))
    return code


def _printed_traveller(shop, session, by, code):
    """A paper that carries the name."""
    sha256, size = shop.shop.store.put(BytesIO(f"a traveller of {CUSTOMER}".encode()))
    file = keep(session, sha256=sha256, size=size, media_type="application/pdf", kind="record", now=by.now)
    more = {"revision": 1, "made_at": by.now, "person_id": by.person_id, "cards": "[]", "head_seq": 1}
    head = session.execute(select(AuditEntry.entry_hash).where(AuditEntry.id == 1)).scalar_one()
    session.add(TravellerIssue(job_id=job(session, code).id, file=file, head_hash=head, **more))


def _forget_customer(shop, reason="asked for by mail", **more):
    def work(session, by):
        wanted = one(session, Customer, code=more["code"]) if "code" in more else one(session, Customer, name=CUSTOMER)
        return erasing.forget_customer(session, by, customer=wanted, reason=reason)

    gone = shop.act(work, **{name: value for name, value in more.items() if name != "code"})
    for sha256 in gone:
        shop.shop.store.drop(sha256)
    return gone


def _forget_pictures(shop, code, reason="asked for by mail", **more):
    gone = shop.act(
        lambda session, by: erasing.forget_pictures(session, by, job=job(session, code), reason=reason), **more
    )
    for sha256 in gone:
        shop.shop.store.drop(sha256)
    return gone


def _sound(shop):
    told = verifying.verify(shop.shop.database, shop.shop.store)
    assert told["sound"], told["sentence"]


def _everywhere(shop):
    """Every byte of the data folder but the shop's lock files."""
    shop.shop.database.close()
    return b"".join(path.read_bytes() for path in shop.shop.settings.data.rglob("*") if path.is_file())


def test_a_forgotten_customer_is_nowhere_in_the_data_folder_and_the_chain_verifies(shop, served):
    before = _everywhere(shop)
    assert all(words.encode() in before for words in (CUSTOMER, CONTACT, SAID_BY, WORDS))
    _forget_customer(shop)
    _sound(shop)
    after = _everywhere(shop)
    for words in (CUSTOMER, CONTACT, SAID_BY, WORDS):
        assert words.encode() not in after, words
        assert words.lower().encode() not in after, words
    assert served


def test_what_was_done_for_a_forgotten_customer_is_still_told(shop, served):
    serial = shop.read(lambda session: prints(session, served)[0].serial)
    before = shop.read(lambda session: trace.find(session, serial))
    _forget_customer(shop)
    after = shop.read(lambda session: trace.find(session, serial))
    assert after["order"]["customer"].startswith("erased on 20")
    assert {**after, "order": None}["print"] == {**before, "order": None}["print"]
    assert after["order"]["number"] == before["order"]["number"]


def test_what_will_go_is_told_first(shop, served):
    going = shop.read(lambda session: erasing.of_customer(session, one(session, Customer, name=CUSTOMER)))
    told = " ".join(going.words)
    for words in ("the name", "how to reach them", "notes of 1 order", "2 answers", "keys", "1 printed"):
        assert words in told
    assert shop.read(lambda session: job(session, served).order.customer.name) == CUSTOMER, "nothing went yet"


def test_a_later_backup_does_not_bring_them_back_and_older_ones_are_named(shop, served, tmp_path):
    old = made_of(shop.shop, tmp_path / "stick")
    wanted = backups.Setup(tmp_path / "stick")
    shop.act(lambda session, by: backups.set_up(session, by, data=shop.shop.settings.data, wanted=wanted))
    gone = [*_forget_pictures(shop, served), *_forget_customer(shop)]
    assert shop.read(erasing.still_holding) == [old.backup.name]
    new = made_of(shop.shop, tmp_path / "stick", keep=1)
    assert old.backup.name in new.removed
    assert CUSTOMER.encode() not in (new.backup / DATABASE).read_bytes()
    lying = {path.name for path in (tmp_path / "stick").rglob("*")}
    assert not lying & set(gone), "with the last backup that needs them they go from the stick, too"
    assert restored_and_verified(new.backup, tmp_path / "new")["sound"]


def test_the_pictures_of_a_job_go_with_all_that_was_made_of_them(shop, served):
    hashes = shop.read(
        lambda session: {
            *(one.file.sha256 for one in job(session, served).pictures),
            *(one.preview.sha256 for one in job(session, served).pictures),
            job(session, served).proofs[-1].animation.sha256,
            one(session, Run).output.sha256,
        }
    )
    assert set(_forget_pictures(shop, served)) == hashes
    assert not shop.shop.store.hashes() & hashes
    _sound(shop)
    assert b"china.jpg" not in _everywhere(shop)
    names = shop.read(lambda session: set(session.execute(select(Picture.original_name)).scalars()))
    assert names == {"erased"}
    assert '"name":"erased"' in shop.read(lambda session: one(session, Run).recipe)


def test_what_was_made_of_erased_pictures_is_not_made_anew(shop, served):
    _forget_pictures(shop, served)
    with pytest.raises(Refused, match="pictures were erased"):
        shop.act(lambda session, by: outputs.make_anew(session, by, run=one(session, Run)))
    with pytest.raises(Refused):
        shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, served)))
    with pytest.raises(Refused, match="erased already"):
        _forget_pictures(shop, served)


def test_pictures_that_another_job_holds_stay(shop, served):
    shop.order(customer="Orchard School")
    _forget_pictures(shop, served)
    assert shop.read(
        lambda session: {picture.file.dropped_at for picture in session.execute(select(Picture)).scalars()}
    ) == {None}
    going = shop.read(lambda session: erasing.of_pictures(session, job(session, served)))
    assert going.files == ()
    _sound(shop)


def test_pictures_handed_in_again_are_kept_again(shop, served):
    _forget_pictures(shop, served)
    again = shop.order(customer="Orchard School")
    assert shop.read(lambda session: all(one.file.dropped_at is None for one in job(session, again).pictures))
    _sound(shop)


def test_a_run_at_work_is_stopped_first(shop, served):
    assert shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, served)).id)
    with pytest.raises(Refused, match="stop it first"):
        _forget_pictures(shop, served)


@pytest.mark.parametrize("forget", ["customer", "pictures"])
def test_only_an_owner_erases_and_says_why(shop, served, forget):
    work = (lambda **more: _forget_customer(shop, **more)) if forget == "customer" else (
        lambda **more: _forget_pictures(shop, served, **more))  # fmt: skip
    with pytest.raises(Refused, match="Only an owner"):
        work(who="Otto")
    with pytest.raises(Refused) as refused:
        work(reason=" ")
    assert refused.value.field == "reason"
    assert shop.read(lambda session: one(session, Customer, name=CUSTOMER)).erased_at is None
    dropped = select(func.count(KeptFile.id)).where(KeptFile.dropped_at.is_not(None))
    assert shop.read(lambda session: session.execute(dropped).scalar_one()) == 0


def test_somebody_is_forgotten_once_and_a_namesake_is_somebody_new(shop, served):
    code = shop.read(lambda session: job(session, served).order.customer.code)
    _forget_customer(shop)
    with pytest.raises(Refused, match=r"erased on \d{4}-\d\d-\d\d already"):
        _forget_customer(shop, code=code)
    shop.order()
    assert shop.read(lambda session: session.execute(select(func.count(Customer.id))).scalar_one()) == 2


def test_the_search_finds_a_forgotten_customer_no_more(shop, served):
    assert served
    _forget_customer(shop)
    shop.shop.database.close()
    connection = sqlite3.connect(shop.shop.settings.database_path)
    words = CUSTOMER.split()[0].lower()
    found = connection.execute("SELECT count(*) FROM search_words WHERE search_words MATCH ?", (words,)).fetchone()
    connection.close()
    assert found == (0,)
