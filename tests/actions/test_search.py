"""The search box: accents, last characters, notes; kept by the same transaction, erased with what is erased."""

import sqlite3
from datetime import date

import pytest
from sqlalchemy import text

from logbook.actions import erasing, machines, materials, orders, quotes, search
from logbook.actions.finding import ref
from logbook.lengths import parse_length
from logbook.records import search as index
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.orders import Customer
from logbook.records.pitch import PitchOnRecord
from logbook.records.upgrade import upgrade
from logbook.refusals import Refused
from support.small_shop import job, one, prints

pytestmark = pytest.mark.both_databases


def _found(shop, words):
    """Title of each group to what its hits lead to."""
    groups = shop.read(lambda session: search.seek(session, words))
    return {group.title: [hit.leads_to for hit in group.hits] for group in groups}


def _ref(shop, work):
    return shop.read(lambda session: ref(work(session)))


def _order(shop, *, customer="Jörg Ångström", note="", artwork="Two Gulls"):
    own = shop.shop.settings.own_safety_path
    size = parse_length("70mm")
    wish = orders.JobWish(width=size, height=size, flip="left-right", artwork=artwork)
    return shop.act(
        lambda session, by: orders.place_order(session, by, own, customer_name=customer, wish=wish, note=note).code
    )


@pytest.mark.parametrize("words", ["jorg", "Jörg", "ANGSTROM", "ang jo", "Ångström Jörg"])
def test_a_name_is_found_whatever_its_accents_and_capitals(shop, words):
    code = _order(shop)
    assert _found(shop, words) == {
        "Customers and their newest orders": [_ref(shop, lambda session: job(session, code).order)]
    }


def test_letters_of_their_own_are_found_as_people_type_them_who_lack_the_key(shop):
    code = _order(shop, customer="Łódź & Nørrebro", artwork="Bjørk an der Straße")
    wanted = _ref(shop, lambda session: job(session, code).order)
    for words in ("lodz", "Łódź", "norrebro", "NØRREBRO"):
        assert _found(shop, words) == {"Customers and their newest orders": [wanted]}, words
    assert all("Jobs" in _found(shop, words) for words in ("bjork", "strasse", "Straße"))


@pytest.mark.parametrize("words", ["471", "4471", "20-44", "r204", "R20-4471", "R20 4471"])
def test_a_lot_is_found_by_its_last_characters_or_any_three(shop, words):
    shop.act(
        lambda session, by: (
            materials.add_lot(
                session, by, material=one(session, Material, kind="lens"), label="R20-4471", place="rack 9"
            ).code
        )
    )
    assert _found(shop, words)["Lots"] == [_ref(shop, lambda session: one(session, Lot, label="R20-4471"))]


def test_a_serial_is_found_whole_run_together_and_by_its_end(shop):
    code = shop.ready()
    serial, leads_to = shop.read(lambda session: (prints(session, code)[0].serial, ref(prints(session, code)[0])))
    for words in (serial, serial.replace("-", ""), serial[-4:], serial[-4:].replace("-", "")):
        assert _found(shop, words)["Prints"] == [leads_to], words


def test_an_order_is_found_by_its_number_and_note_and_a_job_by_its_artwork(shop):
    code = _order(shop, note="hangs beside the stove", artwork="Brass kettle")
    order, made = _ref(shop, lambda session: job(session, code).order), _ref(shop, lambda session: job(session, code))
    number = shop.read(lambda session: job(session, code).order.number)
    assert _found(shop, number)["Orders"] == [order]
    assert _found(shop, "stove") == {"Orders": [order]}
    assert _found(shop, "kett") == {"Jobs": [made]}


def test_machines_pitches_quotes_and_places_are_found(shop):
    shop.act(
        lambda session, by: quotes.give_quote(
            session,
            by,
            customer_name="Pellworm Kites",
            valid_until=date(2026, 12, 1),
            note="in three weeks",
            line=quotes.LineWish("Comet", *[parse_length("2in")] * 2, "left-right", 1, one(session, Lot, label="L-1")),
        )
    )
    assert list(_found(shop, "rollers")) == ["Machines"]
    assert list(_found(shop, "notebook")) == ["Pitches"]
    assert list(_found(shop, "weeks")) == ["Quotes"]
    assert list(_found(shop, "comet")) == ["Lines of quotes"]


def test_every_word_counts(shop):
    _order(shop, artwork="Brass kettle")
    assert _found(shop, "brass kettle")
    assert _found(shop, "brass teapot") == {}


def test_words_of_a_customer_an_order_a_job_and_a_lot_find_the_job_that_has_all_of_them(shop):
    code = shop.order(customer="Łódź Sextants")
    own = _ref(shop, lambda session: job(session, code))

    def reword(session, by):
        orders.change_job(session, by, job=job(session, code), changes={"artwork": "Menu card"})

    shop.act(reword)
    _order(shop, customer="Sextants of Hull", artwork="Poster")
    for words in ("sextant menu", "menu lodz", "lodz P-1", "menu L-1", "card P1 sext", "sext men"):
        assert _found(shop, words) == {"Jobs with all of these words": [own]}, words
    assert _found(shop, "sextant teapot") == {}
    shop.act(lambda session, by: erasing.forget_customer(
            session, by, customer=job(session, code).order.customer, reason="asked"
        )
    )
    assert _found(shop, "sextant menu") == {}
    assert _found(shop, "menu L-1") == {"Jobs with all of these words": [own]}


@pytest.mark.parametrize(
    "words", ["", "  ", '"', "***", '" OR "', "NEAR(a b)", "words:", "-", "'; --", "\x00", "a" * 5000]
)
def test_nothing_that_is_typed_is_a_command(shop, words):
    _order(shop)
    assert isinstance(shop.read(lambda session: search.seek(session, words)), list)


def test_a_long_list_says_that_there_are_more(shop):
    for _ in range(search.MOST + 1):
        _order(shop, customer="", artwork="Wave")
    group = shop.read(lambda session: search.seek(session, "wave"))[0]
    assert (len(group.hits), group.more) == (search.MOST, True)


def test_what_changes_is_found_anew_in_the_same_transaction(shop):
    code = _order(shop, artwork="Brass kettle")

    def change(session, by):
        orders.change_job(session, by, job=job(session, code), changes={"artwork": "Copper pan"})
        session.flush()
        assert [group.title for group in search.seek(session, "copper")] == ["Jobs"]
        assert search.seek(session, "kettle") == []

    shop.act(change)


def test_what_was_refused_is_not_found(shop):
    def refused(session, by):
        machines.add_machine(session, by, kind="trimmer", name="Guillotine Gerda", drive="hand", cutting="guillotine")
        raise Refused("no")

    with pytest.raises(Refused):
        shop.act(refused)
    assert _found(shop, "gerda") == {}


@pytest.mark.in_a_file
def test_what_is_erased_is_erased_from_the_index_and_its_files(shop):
    _order(shop, customer="Zwirbelmann")
    for _ in range(20):
        _order(shop, customer="")
    path = shop.shop.settings.database_path
    assert _found(shop, "zwirbelmann")
    with shop.shop.database.writing() as session:
        customer = one(session, Customer)
        customer.name = customer.contact = None
    assert _found(shop, "zwirbelmann") == {}
    shop.shop.database.close()
    with sqlite3.connect(path) as connection:
        for table in (f"search_{name}_{part}" for name in ("words", "together") for part in ("data", "content")):
            rows = connection.execute(f"SELECT * FROM {table}").fetchall()
            assert not [row for row in rows for value in row if b"zwirbel" in _bytes(value).lower()]
    connection.close()


def _bytes(value):
    return value if isinstance(value, bytes) else str(value).encode()


def test_a_row_that_goes_is_found_no_more(shop):
    with shop.shop.database.writing() as session:
        session.execute(
            text(
                "INSERT INTO machine (code, kind, name, drive, heated, cutting, manual, freeing_procedure,"
                " stop_position, isolator, competent_role, last_inspection)"
                " VALUES ('ZZZZZZZZ', 'trimmer', 'Gerda', 'hand', false, '', '', '', '', '', '', '')"
            )
        )
    assert _found(shop, "gerda")
    with shop.shop.database.writing() as session:
        session.execute(text("DELETE FROM machine WHERE name = 'Gerda'"))
    assert _found(shop, "gerda") == {}


@pytest.mark.parametrize("damage", ["TRIGGER search_lot_changed", "TABLE search_words"])
def test_an_index_that_lost_something_is_made_anew_at_the_next_start(shop, damage):
    _order(shop)
    on = " ON lot" if damage.startswith("TRIGGER") and shop.shop.database.path is None else ""
    with shop.shop.database.writing() as session:
        session.execute(text(f"DROP {damage}{on}"))
    upgrade(shop.shop.database)
    assert _found(shop, "jorg")
    assert _found(shop, "rollers")
    with shop.shop.database.engine.connect() as connection:
        assert index.is_kept(connection)


def test_every_kind_is_a_table_with_these_columns_and_leads_to_a_page(shop):
    with shop.shop.database.reading() as session:
        for kind in index.KINDS.values():
            for column in kind.columns:
                session.execute(text(f"SELECT {column} FROM {kind.table} LIMIT 1"))
    assert shop.read(lambda session: one(session, Machine, name="Rollers").name) == "Rollers"


def test_the_number_of_a_pitch_finds_it_and_what_was_interlaced_at_it(shop):
    code = shop.ready()
    run = shop.read(lambda session: prints(session, code)[0].sheet.run)
    known = shop.read(lambda session: one(session, PitchOnRecord, origin="carried over"))
    for words in (f"{run.lpi}", f"{run.lpi}".replace(".", ","), f" {run.lpi.normalize()} "):
        assert _found(shop, words)["Interlaced at this pitch"] == [f"run:{run.code}"], words
    assert _found(shop, f"{known.lpi}0")["Pitches of this number"] == [f"pitchonrecord:{known.code}"]
    assert not {"Interlaced at this pitch", "Pitches of this number"} & _found(shop, f"{run.lpi + 1}").keys()
    told = shop.read(lambda session: search.seek(session, str(run.lpi)))[-1].hits[0].title
    assert shop.read(lambda session: job(session, code).number) in told
