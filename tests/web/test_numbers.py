"""The owner's page and its CSV files: read back by the standard library's reader, and never run by a spreadsheet."""

import csv
import io
import re
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.actions import people
from logbook.records import cells
from logbook.web import csvs, plots
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from logbook.web.pages.numbers import TABLES
from support.small_shop import small_shop


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    from datetime import UTC, datetime

    shop = small_shop(tmp_path_factory.mktemp("numbers") / "data")
    code = shop.ready(customer="=HYPERLINK(evil)")
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    first = shop.now.date()
    shop.now = datetime.now(UTC)
    made = create_app(shop.shop, ring=lambda _: None).test_client()
    owner = shop.act(
        lambda session, by: people.start_sign_in(session, by, person=people.by_id(session, by.person_id), keys=[])
    )
    made.set_cookie(COOKIE, owner)
    yield made, f"first={first.replace(day=1)}&last={first}"
    shop.shop.database.close()


def _rows(client, table):
    asked, span = client
    answer = asked.get(f"/shop/numbers/{table}.csv?{span}")
    assert answer.status_code == 200
    assert answer.mimetype == "text/csv"
    assert f"{table}-" in answer.headers["Content-Disposition"]
    return list(csv.reader(io.StringIO(answer.get_data(as_text=True), newline="")))


@pytest.mark.parametrize("table", list(TABLES))
def test_every_table_is_a_file_whose_rows_have_its_columns(client, table):
    head, *rows = _rows(client, table)
    assert tuple(head) == TABLES[table][0]
    assert all(len(row) == len(head) for row in rows)
    assert rows or table == "losses"


def test_a_customer_s_name_that_looks_like_a_formula_stays_words(client):
    assert [row[3] for row in _rows(client, "shipped")[1:]] == ["'=HYPERLINK(evil)"]


def test_the_page_shows_what_was_good_and_leads_to_every_file(client):
    asked, span = client
    page = asked.get(f"/shop/numbers?{span}").get_data(as_text=True)
    assert "<b>100.0 %</b> of 1 print was good" in page
    assert all(f"/shop/numbers/{table}.csv" in page for table in TABLES)


@pytest.mark.parametrize(
    "asked", ["first=yesterday", "last=2026-13-01", "tax=much", "first=2026-05-02&last=2026-05-01"]
)
def test_a_day_or_a_tax_that_is_none_is_said_in_one_sentence_and_files_nothing(client, asked):
    answer = client[0].get(f"/shop/numbers?{asked}")
    assert answer.status_code == 422
    assert 'role="alert"' in answer.get_data(as_text=True)
    assert client[0].get(f"/shop/numbers/shipped.csv?{asked}").status_code == 422


def test_a_table_that_there_is_not_is_not_here(client):
    assert client[0].get("/shop/numbers/secrets.csv").status_code == 404


@given(st.text(alphabet=st.characters(exclude_characters="\x00", codec="utf-8")), st.sampled_from("=+-@\t\r"))
def test_no_cell_begins_as_a_formula_and_what_it_said_comes_back(text, lead):
    # OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return are run by spreadsheets
    for value in (text, lead + text):
        (found,) = list(csv.reader(io.StringIO(csvs.told([], [[value, "x"]]), newline="")))[1:]
        assert found[0] in (value, f"'{value}")
        assert not found[0].startswith(("=", "+", "@", "\t", "\r"))


@pytest.mark.parametrize(("least", "most"), [("20.0000", "20.0810"), ("9.5", "123456.78")])
def test_no_number_beside_a_plot_loses_a_digit(least, most):
    day, tick = date(2026, 3, 1), re.compile(r'<text x="([0-9.]+)"[^>]*text-anchor="end" class="tick">([0-9.]+)<')
    drawn = [plots.dots([(day, Decimal(one), one) for one in (least, most)], label="pitches")]
    drawn.append(plots.bars([("2026-03", Decimal(most))], label="money"))
    for x, words in tick.findall("".join(map(str, drawn))):
        # 13 px on a screen, 22 px on a telephone (style.css); a digit is at most 0.64 of that wide (DejaVu Sans, 0.636)
        assert float(x) >= 0.64 * 22 * len(words)


@pytest.mark.parametrize("value", ["-1.5", "-3", "12.00"])
def test_plain_numbers_stay_numbers(value):
    assert cells.shown(value) == value


@pytest.mark.parametrize("value", ["-1+cmd", "-2e5", "\x00=1", "+4", "@x"])
def test_what_only_looks_like_a_number_is_words(value):
    assert cells.shown(value) == f"'{value}"
