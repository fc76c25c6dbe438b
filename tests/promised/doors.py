"""Who comes in and what may be sent: S1, S6 to S9."""

import re
from base64 import urlsafe_b64decode
from contextlib import contextmanager
from unittest import mock

from argon2 import extract_parameters
from sqlalchemy import select, text

from logbook.actions import people, prooflinks
from logbook.records.people import Person, SignIn
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused
from logbook.web import app as web_app
from logbook.web import gate
from logbook.web.gate import COOKIE
from promised.ground import Ground, patched
from promised.rows import TABLE, Tally
from security import matrix
from support import prooflinks as links
from support.small_shop import SmallShop, job, one
from web import test_gate as gates

# --- S1


def _reopened(rows):
    return [*rows[1:], rows[0]._replace(verdict="open")]


def _one_is_open(_ground: Ground):
    real = matrix.requirements
    return mock.patch.object(matrix, "requirements", return_value=_reopened(real()))


@TABLE.row(
    "S1", "Every OWASP ASVS 5.0 level 1 row has a verdict and a test or a reason", "L1 open = 0", twin=_one_is_open,
)  # fmt: skip
def security_matrix(_ground: Ground, tally: Tally, _count: int) -> None:
    """The data file of tests/security; its own test checks that every test that it names is there."""
    rows = matrix.requirements()
    for row in rows:
        tally.tried(not matrix.fault(row), matrix.fault(row))
    counts = {verdict: sum(row.verdict == verdict for row in rows) for verdict in sorted({row.verdict for row in rows})}
    told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items())
    tally.figure = f"{len(rows)} rows, worded from memory: {told}"


# --- S6

def _kept_as_it_is(_ground: Ground):
    return mock.patch.object(prooflinks, "token_hash", lambda token: token)


@TABLE.row(
    "S6", "Proof links, when the owner turns them on: ≥ 128 bits, hash at rest, POST to decide, expiry, revocation, no "
    "token left in the address", "tests", quick=3, full=100, broken=1, twin=_kept_as_it_is,
)  # fmt: skip
def proof_links(ground: Ground, tally: Tally, count: int) -> None:
    """Off at first; then links that are opened, answered, withdrawn and too late. What lies in the file is searched."""
    with ground.shop() as (shop, _):
        code = shop.order()
        links.prove(shop, code)
        tally.tried(_cannot_be_made(shop, code), "a link was made while they are off")
        links.turn_on(shop)
        tokens = [links.link_to(shop, code) for _ in range(count)]
        bits = {8 * len(urlsafe_b64decode(f"{token.removeprefix('/p/')}=")) for token in tokens}
        tally.tried(len(set(tokens)) == count and min(bits) >= 128, f"{count} tokens of {bits} bits")
        held = shop.shop.settings.database_path.read_bytes()
        for token in tokens:
            tally.tried(token.removeprefix("/p/").encode() not in held, "the token itself lies in the database")
        for _ in range(count):
            _decided_by_post(shop, code, links.link_to(shop, code), tally)
        _ended(shop, code, tally)


def _cannot_be_made(shop: SmallShop, code: str) -> bool:
    try:
        links.link_to(shop, code)
    except Refused:
        return True
    return False


def _decided_by_post(shop: SmallShop, code: str, token: str, tally: Tally) -> None:
    visitor = links.customer(shop)
    path = visitor.get(token).headers["Location"]
    page, said = visitor.get(path), {"verdict": "approved", "given_by": "Anna"}
    told = page.get_data(as_text=True)
    tally.tried(token.removeprefix("/p/") not in path + told + str(page.headers), "the token is left in the address")
    before = _answers(shop, code)
    tally.tried(visitor.get(path, query_string=said).status_code == 200 and _answers(shop, code) == before, "by a GET")
    tally.tried(visitor.post(path, data=said).status_code == 400, "taken without its form")
    form = re.search(r'name="form_token" value="([^"]+)"', told)
    for _ in range(2):
        visitor.post(path, data={**said, "form_token": form[1] if form else ""})
    tally.tried(_answers(shop, code) == before + 1, f"{_answers(shop, code) - before} answers to one link")


def _answers(shop: SmallShop, code: str) -> int:
    return shop.read(lambda session: len(job(session, code).proofs[-1].answers))


def _ended(shop: SmallShop, code: str, tally: Tally) -> None:
    """Withdrawn, unknown and too late read alike."""
    withdrawn, late = links.link_to(shop, code), links.link_to(shop, code)

    def revoke(session, by):
        hashed = prooflinks.token_hash(withdrawn.removeprefix("/p/"))
        prooflinks.revoke(session, by, link=one(session, ProofLink, token_hash=hashed))

    shop.act(revoke)
    shop.wait(days=15)
    said = {links.customer(shop).get(path).get_data() for path in (withdrawn, late, "/p/never")}
    status = {links.customer(shop).get(path).status_code for path in (withdrawn, late, "/p/never")}
    tally.tried((len(said), status) == (1, {404}), f"{status}, {len(said)} answers")


# --- S7


@TABLE.row(
    "S7", "Sign-in is throttled, guesses no names, hashes with Argon2id, and ends on the server",
    "old cookie dead after sign-out", quick=3, full=25, broken=1,
    twin=patched(people, "end_sign_in", lambda *_words, **_more: None),
)  # fmt: skip
def signing_in(ground: Ground, tally: Tally, count: int) -> None:
    """A wrong name and a wrong password read alike, the fifth try waits, and a cookie that was kept opens nothing."""
    with ground.desk() as (_desk, shop, _code):
        hashed = shop.read(lambda session: session.execute(select(Person.password_hash)).scalars().first())
        kind = extract_parameters(hashed)
        strong = (kind.type.name, kind.memory_cost >= 19 * 1024, kind.time_cost >= 2) == ("ID", True, True)
        tally.tried(strong, f"the password hash is {kind}")
        for _ in range(count):
            tally.tried(*_says_the_same(ground, shop))
            tally.tried(*_dead_after_signing_out(ground, shop))


def _says_the_same(ground: Ground, shop: SmallShop) -> tuple[bool, str]:
    shop.act(lambda session, _by: session.execute(text("DELETE FROM throttle")))
    nobody, said = ground.seat(shop, None), []
    for name in ("Otto", "Nobody", "Otto", "Otto", "Otto"):
        page = nobody.post("/sign-in", data={"name": name, "password": "wrong-password"}).get_data(as_text=True)
        said.append(re.sub(r'value="[^"]*"', "", page))
    return said[0] == said[1] and "wait" in said[-1], "a wrong name reads otherwise, or nobody is slowed down"


def _dead_after_signing_out(ground: Ground, shop: SmallShop) -> tuple[bool, str]:
    token = ground.cookie(shop)
    client = ground.seat(shop, None)
    client.set_cookie(COOKIE, token)
    lived = client.get("/").status_code == 200
    client.post("/sign-out")
    client.set_cookie(COOKIE, token)
    hashed = shop.read(lambda session: session.execute(select(SignIn.token_hash)).scalars().all())
    return lived and client.get("/").status_code == 303 and token not in hashed, "the old cookie still opens the shop"


# --- S8


@TABLE.row(
    "S8", "Every state change asks for the form's own token and the right role", "url_map × roles, table-driven",
    twin=patched(gate, "_may_look", lambda _endpoint: True),
)  # fmt: skip
def every_address(ground: Ground, tally: Tally, _count: int) -> None:
    """A stranger, a viewer, an operator and an owner without a token, at every address that writes."""
    with ground.shop() as (shop, _code):
        shop.act(lambda session, by: people.add_person(
            session, by, name="Vera", password="ridge-and-valley", role="viewer"))  # fmt: skip
        own = {"entry.sign_out", "shop.units", "shop.password", "tracing.by_file"} | gates.PUBLIC
        seats = {name: ground.seat(shop, name, csrf=csrf) for name, csrf in
                 (("Olga", True), ("Vera", False), ("Otto", False), (None, False))}  # fmt: skip
        for endpoint, path in gates._addresses(seats["Olga"].application, "POST"):
            if endpoint in own:
                continue
            expected = {"Olga": 400, "Vera": 403, None: 303}
            expected |= {"Otto": 403} if endpoint in gates.FOR_OWNERS else {}
            for name, status in expected.items():
                told = seats[name].post(path, data={"reason": "x"}).status_code
                tally.tried(told == status, f"{name} at {path}: {told} instead of {status}")


# --- S9


@contextmanager
def _without_a_policy(_ground: Ground):
    with mock.patch.dict(web_app.HEADERS):
        del web_app.HEADERS["Content-Security-Policy"]
        yield


EXPECTED = {
    "Content-Security-Policy": "default-src 'none'", "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer", "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}  # fmt: skip


@TABLE.row("S9", "CSP and headers on every response, errors too", "100 %", twin=_without_a_policy)
def headers(ground: Ground, tally: Tally, _count: int) -> None:
    """Every address of the map by GET and POST, and some that lead nowhere; nothing inline is allowed."""
    with ground.desk("ready") as (desk, _shop, _code):
        app = desk.application
        asked = [(method, path) for method in ("GET", "POST") for _, path in gates._addresses(app, method)]
        for method, path in [*asked, ("GET", "/no-such-page"), ("DELETE", "/"), ("GET", "/static/style.css")]:
            with desk.open(path, method=method) as answer:
                missing = [name for name, value in EXPECTED.items() if value not in answer.headers.get(name, "")]
                policy = answer.headers.get("Content-Security-Policy", "")
                tally.tried(not missing and "unsafe" not in policy, f"{method} {path}: {missing}")
