"""Lists brought in from CSV: looked at first, faults named by line, nothing there twice. All data is invented."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from logbook.actions import arriving, materials, takingin
from logbook.background import arrivals
from logbook.background.arrivals import take_in_asked
from logbook.records.audit import AuditEntry, keyed_hash
from logbook.records.materials import Lot
from logbook.records.orders import Customer
from logbook.refusals import Refused
from support.small_shop import one

PEOPLE = "name,contact\nHarbour Café,hello@harbour.example\n  Ines   Vrba ,\n"
STOCK = (
    "Kind;Material;Lines per inch;Lot;Count;Place;Width;Height;Price;Use before;Order more at\n"
    "lens;40 fine;40;F-7;12;shelf 2;300 mm;16in;9,80;2027-01-31;4\n"
    "paper;paper;;P-9;;;;;;;\n"
)


def _look(shop, what, text):
    return shop.read(lambda session: arriving.look(session, what, text))


def _ask(shop, what, text, **changes):
    seen = arriving.seal(_look(shop, what, text))
    return shop.act(lambda session, by: takingin.ask_for(session, by, what=what, text=text, seen=seen), **changes)


def _take(shop, what, text):
    _ask(shop, what, text)
    assert take_in_asked(shop.shop)
    return _newest(shop).taken


def _newest(shop):
    return shop.read(takingin.newest)


def _many(shop, table):
    return shop.read(lambda session: session.execute(select(func.count(table.id))).scalar_one())


def test_looking_says_what_would_happen_and_writes_nothing(shop):
    before = _many(shop, AuditEntry)
    assert [(line.number, line.words) for line in _look(shop, "customers", PEOPLE)] == [
        (2, "new customer Harbour Café"),
        (3, "new customer Ines Vrba"),
    ]
    assert [line.words for line in _look(shop, "stock", STOCK)] == [
        "new lens 40 fine, lot F-7: 12 sheets",
        "paper, lot P-9: not counted",
    ]
    assert (_many(shop, Customer), _many(shop, AuditEntry)) == (0, before)


def test_customers_are_taken_in_with_one_entry_that_names_them_by_hash_alone(shop):
    before = _many(shop, AuditEntry)
    assert _take(shop, "customers", PEOPLE) == 2
    assert _many(shop, AuditEntry) == before + 3, "asked for, taken in, ended"
    entry, cafe = shop.read(
        lambda s: (
            s.execute(select(AuditEntry).where(AuditEntry.action == "customers brought in")).scalars().one(),
            one(s, Customer, name="Harbour Café"),
        )
    )
    assert cafe.contact == "hello@harbour.example"
    assert keyed_hash(cafe.hash_key, "Harbour Café") in entry.body
    assert keyed_hash(cafe.hash_key, "hello@harbour.example") in entry.body
    assert "Harbour" not in entry.body
    assert "harbour.example" not in entry.body


def test_stock_is_taken_in_as_if_it_had_been_typed(shop):
    _take(shop, "stock", STOCK)
    lot, left, lens = shop.read(
        lambda s: (
            one(s, Lot, label="F-7"),
            materials.left(s, one(s, Lot, label="F-7")),
            one(s, Lot, label="F-7").material.nominal_lpi,
        )
    )
    assert (left, lens, lot.price, lot.place, lot.reorder_level) == (12, 40, Decimal("9.80"), "shelf 2", 4)
    assert (str(lot.sheet_width), str(lot.sheet_height), lot.expires_on.isoformat()) == ("300mm", "16in", "2027-01-31")
    assert shop.read(lambda s: materials.left(s, one(s, Lot, label="P-9"))) is None


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("between", [",", ";"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_marks_separators_and_line_ends_of_every_office_are_read(shop, mark, between, end):
    text = arriving.text_of(mark + f'name{between}contact{end}"Vrba{between} Ines"{between}á{end}'.encode())
    assert [line.words for line in _look(shop, "customers", text)] == [f"new customer Vrba{between} Ines"]


def test_who_is_here_stays_as_he_is_and_gets_only_what_was_missing(shop):
    _take(shop, "customers", PEOPLE)
    again = "name,contact\nHarbour Café,other@harbour.example\nInes Vrba,12 34 56\n"
    assert [line.words for line in _look(shop, "customers", again)] == [
        "Harbour Café is here already; how to reach them stays as it is here",
        "Ines Vrba is here; how to reach them is added",
    ]
    assert _take(shop, "customers", again) == 1
    contacts = shop.read(lambda s: dict(s.execute(select(Customer.name, Customer.contact)).all()))
    assert contacts == {"Harbour Café": "hello@harbour.example", "Ines Vrba": "12 34 56"}
    with pytest.raises(Refused, match="here already"):
        _take(shop, "customers", again)


FAULTS = {
    "kind: 'glue' is none of": "glue,x,L,",
    "material: this is needed": "lens,,L,",
    "lot: this is needed": "paper,paper,,",
    "material: paper is paper here, not lens": "lens,paper,L,",
    "lot: paper, Good stands in the file twice": "paper,paper,Good,",
    "A lens has between": "lens,unknown sheet,L,",
    "count: '1.5' is no whole number": "paper,paper,L,1.5",
    "count: '-1' is no whole number": "paper,paper,L,-1",
    "count: '٣' is no whole number": "paper,paper,L,٣",
    "This line has more cells": "paper,paper,L,1,2",
    "lot: longer than 80": f"paper,paper,{'L' * 81},",
}


def test_a_lens_that_is_here_with_other_lines_per_inch_is_a_fault(shop):
    _take(shop, "stock", STOCK)
    text = "kind,material,lines per inch,lot\nlens,40 fine,41,F-8\nlens,40 fine,40.0,F-9\nlens,40 fine,,F-10\n"
    lines = _look(shop, "stock", text)
    assert [line.number for line in lines if line.fault] == [2]
    assert lines[0].words.startswith("lines per inch: 40 fine has 40, not 41")


@pytest.mark.parametrize(("sentence", "line"), FAULTS.items())
def test_a_fault_is_named_by_its_line_and_nothing_of_the_file_is_taken_in(shop, sentence, line):
    text = f"kind,material,lot,count\npaper,paper,good,5\n{line}\n"
    lines = _look(shop, "stock", text)
    assert [one.number for one in lines if one.fault] == [3]
    assert lines[1].words.startswith(sentence)
    with pytest.raises(Refused, match="mend the file"):
        _take(shop, "stock", text)
    assert shop.read(lambda s: s.execute(select(Lot).where(Lot.label == "good")).first()) is None


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("price", "much"),
        ("price", "-1"),
        ("price", "1_0"),
        ("width", "wide"),
        ("use before", "31.1.27"),
        ("price", "NaN"),
        ("price", '"1,234"'),
        ("width", '"1,234 mm"'),
    ],
)
def test_a_cell_that_cannot_be_read_names_its_column(shop, column, value):
    (line,) = _look(shop, "stock", f"kind,material,lot,{column}\npaper,paper,L,{value}\n")
    assert line.fault
    assert line.words.startswith(f"{column}: ")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "'name' is missing"),
        ("contact\nx\n", "'name' is missing"),
        ("name,shoe size\nx,42\n", "The column 'shoe size' is not known"),
        ("name,name\nx,y\n", "twice"),
        ("name\n", "no line below"),
        ('name\n"open\n', "cannot be read as CSV"),
        ("name\n" + "x\n" * 20_001, "more than 20000"),
    ],
)
def test_a_file_that_is_no_such_list_is_refused_in_one_sentence(shop, text, sentence):
    with pytest.raises(Refused, match=sentence):
        _look(shop, "customers", text)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [(b"name\n\xff\n", "not UTF-8"), (b"name\n\x00\n", "no plain text"), (b"x" * 4_000_001, "larger")],
)
def test_bytes_that_are_no_text_are_refused(data, sentence):
    with pytest.raises(Refused, match=sentence):
        arriving.text_of(data)


def test_a_name_twice_in_the_file_is_a_fault_of_the_second(shop):
    lines = _look(shop, "customers", "name\nInes\n Ines \n")
    assert [(line.number, line.fault) for line in lines] == [(2, False), (3, True)]


def test_what_changed_since_the_look_is_looked_at_again(shop):
    seen = arriving.seal(_look(shop, "customers", PEOPLE))
    _take(shop, "customers", "name\nInes Vrba\n")
    with pytest.raises(Refused, match="choose the file again"):
        shop.act(lambda s, by: takingin.ask_for(s, by, what="customers", text=PEOPLE, seen=seen))
    assert _many(shop, Customer) == 1


def test_only_the_owner_brings_lists_in(shop):
    with pytest.raises(Refused, match="owner"):
        _ask(shop, "customers", PEOPLE, who="Otto")


def _always(monkeypatch, lines):
    """So many lines in every transaction, however long that takes."""
    monkeypatch.setattr(arrivals, "MOST", lines)
    monkeypatch.setattr(arrivals, "HOLD_S", 10**6)
    monkeypatch.setattr(arrivals, "BREATH_S", 0)


LONG = "name\n" + "".join(f"Person {number:03}\n" for number in range(25))


def test_a_list_that_was_stopped_is_chosen_again_for_the_rest_and_nothing_is_there_twice(shop, monkeypatch):
    _always(monkeypatch, 10)
    real = takingin.take_some

    def stopped_after_ten(session, by, arrival_id, rows):
        goes_on = real(session, by, arrival_id, rows)
        takingin.stop(session, by, arrival=takingin.at_work(session))
        return goes_on

    monkeypatch.setattr(takingin, "take_some", stopped_after_ten)
    _ask(shop, "customers", LONG)
    with pytest.raises(Refused, match="Another list"):
        _ask(shop, "stock", STOCK)
    assert take_in_asked(shop.shop)
    told = _newest(shop)
    assert (told.state, told.progress, told.taken, told.text) == ("stopped", 40, 10, "")
    assert "same file again" in told.sentence
    monkeypatch.undo()
    assert _take(shop, "customers", LONG) == 15
    assert takingin.in_words(_newest(shop)) == "15 lines of 25 taken in; 10 were here already"
    assert (_many(shop, Customer), _newest(shop).state) == (25, "done")


def test_a_worker_that_died_goes_on_where_it_was(shop, monkeypatch):
    _always(monkeypatch, 10)
    real, calls = takingin.take_some, []

    def dies_at_the_second(session, by, arrival_id, rows):
        calls.append(rows)
        if len(calls) == 2:
            raise SystemExit("power cut")
        return real(session, by, arrival_id, rows)

    monkeypatch.setattr(takingin, "take_some", dies_at_the_second)
    _ask(shop, "customers", LONG)
    with pytest.raises(SystemExit):
        take_in_asked(shop.shop)
    assert _many(shop, Customer) == 10
    assert take_in_asked(shop.shop)
    assert (_many(shop, Customer), _newest(shop).state, _newest(shop).taken) == (25, "done", 25)


def test_a_line_that_became_a_fault_meanwhile_ends_it_with_its_number(shop, monkeypatch):
    _always(monkeypatch, 2)
    real = takingin.take_some

    def somebody_comes_between(session, by, arrival_id, rows):
        goes_on = real(session, by, arrival_id, rows)
        materials.add_material(session, by, kind="paper", name="new one")
        return goes_on

    monkeypatch.setattr(takingin, "take_some", somebody_comes_between)
    text = "kind,material,lines per inch,lot\npaper,satin,,S-1\npaper,satin,,S-2\npaper,satin,,S-3\nlens,new one,40,N\n"
    _ask(shop, "stock", text)
    assert take_in_asked(shop.shop)
    told = _newest(shop)
    assert (told.state, told.taken) == ("failed", 2)
    assert told.sentence.startswith("Line 5: material: new one is paper here, not lens;")
    assert "same file again" in told.sentence
    labels = shop.read(lambda s: set(s.execute(select(Lot.label).where(Lot.label.startswith("S-"))).scalars()))
    assert labels == {"S-1", "S-2"}, "what stands with the fault is not in"


def test_a_lot_that_is_here_stays_as_it_is(shop):
    _take(shop, "stock", STOCK)
    again = "kind,material,lot,count\npaper,paper,p-9,500\npaper,paper,P-10,5\n"
    assert _look(shop, "stock", again)[0].words == "paper, lot p-9 is here already; it stays as it is"
    assert _take(shop, "stock", again) == 1
    assert shop.read(lambda s: materials.left(s, one(s, Lot, label="P-9"))) is None


@given(st.text(max_size=300))
def test_no_text_breaks_the_reader(text):
    try:
        rows = arriving.rows_of("customers", text)
    except Refused:
        return
    assert all("name" in row for _, row in rows)
