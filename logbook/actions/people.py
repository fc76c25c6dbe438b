"""People: founding the shop, adding people, signing in and out."""

import hashlib
import secrets
import threading
from datetime import date, datetime, timedelta
from functools import lru_cache

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.manner import COMMA, POINT, Manner
from logbook.records.audit import Act, Actor, record
from logbook.records.people import ROLES, Person, ShopFact, SignIn, Throttle
from logbook.refusals import Refused

IDLE = timedelta(minutes=30)
LONGEST = timedelta(hours=12)
KNOWN_AFTERWARDS = timedelta(days=7)
"""How long a browser is known whose sign-in ran out: worth nothing but that a form of it is kept."""
PASSWORD_LEAST, PASSWORD_MOST = 8, 64
FIRST_BLOCK, LONGEST_BLOCK = timedelta(seconds=1), timedelta(minutes=5)
FREE_TRIES = 3

_hasher = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
# hashing is slow and memory-hungry on purpose: never more than two at a time
_hashing = threading.Semaphore(2)
_NOBODY = _hasher.hash(secrets.token_hex(16))


def anybody(session: Session) -> bool:
    """Whether the shop has an owner yet."""
    return session.execute(select(func.count(Person.id))).scalar_one() > 0


def found_shop(session: Session, by: Actor, *, shop_name: str, name: str, password: str) -> Person:
    """The first person, who owns the shop. Refused once there is one."""
    if anybody(session):
        raise Refused("This shop has its owner already; sign in.")
    owner = _new_person(session, name=name, password=password, role="owner", under_18_until=None)
    session.add(ShopFact(key="shop name", value=shop_name.strip() or f"{name.strip()}'s workshop"))
    record(session, _as(by, owner), Act("shop founded", [ref(owner)], new={"role": "owner"}))
    return owner


def _as(by: Actor, person: Person) -> Actor:
    return Actor(person.id, person.name, person.role, by.now, by.request_id, by.place)


def add_person(
    session: Session, by: Actor, *, name: str, password: str, role: str, under_18_until: date | None = None
) -> Person:
    """Someone new in the shop; only the owner adds people."""
    if role not in ROLES:
        raise Refused(f"The role {role!r} is not known; choose one of the list.", field="role")
    person = _new_person(session, name=name, password=password, role=role, under_18_until=under_18_until)
    owner = session.get(Person, by.person_id)
    if owner is not None:  # the shop's own manner, until the person chooses another
        person.units, person.decimal_mark = owner.units, owner.decimal_mark
    record(session, by, Act("person added", [ref(person)], new={"name": person.name, "role": role}))
    return person


def _new_person(session: Session, *, name: str, password: str, role: str, under_18_until: date | None) -> Person:
    name = " ".join(name.split())
    if not name:
        raise Refused("Write the name as it is to be printed beside a signature.", field="name")
    if _named(session, name) is not None:
        raise Refused(f"There is a {name} here already; add something that tells the two apart.", field="name")
    person = Person(
        name=name,
        initials=_initials(name),
        role=role,
        password_hash=hash_password(password),
        under_18_until=under_18_until,
    )
    session.add(person)
    session.flush()
    return person


def _named(session: Session, name: str) -> Person | None:
    # SQLite folds ASCII letters only, and a shop has few people
    everyone = session.execute(select(Person).order_by(Person.id)).scalars()
    return next((person for person in everyone if person.name.casefold() == name.casefold()), None)


def _initials(name: str) -> str:
    return "".join(part[0] for part in name.split())[:4].upper()


@lru_cache(maxsize=1)
def common_passwords() -> frozenset[str]:
    """Long enough and among the 30,000 commonest of a public list (of the zxcvbn library): some 11,600."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # large, and asked for when somebody takes a password

    return frozenset(word for word in FREQUENCY_LISTS["passwords"] if len(word) >= PASSWORD_LEAST)


def hash_password(password: str) -> str:
    """Argon2id; Refused for a password that is too short, too long or among the commonest."""
    if not PASSWORD_LEAST <= len(password) <= PASSWORD_MOST:
        raise Refused(f"A password has {PASSWORD_LEAST} to {PASSWORD_MOST} characters.", field="password")
    if password.lower() in common_passwords():
        raise Refused("That password is among the first that anybody would try; take another.", field="password")
    return hashed(password)


def hashed(secret: str) -> str:
    """The Argon2id hash of a password or a PIN."""
    with _hashing:
        return _hasher.hash(secret)


def matches(kept: str, secret: str) -> bool:
    """Whether a secret is the one whose hash was kept."""
    try:
        with _hashing:
            return _hasher.verify(kept, secret)
    except VerifyMismatchError:
        return False


def change_password(
    session: Session, by: Actor, *, person: Person, password: str, current: str | None = None
) -> None:
    """A new password; every sign-in of that person ends.

    ``current`` is asked of whoever changes an own one on a page; at the machine, a lost one is replaced without.
    """
    if current is not None and verify_password(session, name=person.name, password=current) is None:
        raise Refused("That is not your password until now; type the one that you signed in with.", field="current")
    person.password_hash = hash_password(password)
    for open_one in session.execute(
        select(SignIn).where(SignIn.person_id == person.id, SignIn.ended_at.is_(None))
    ).scalars():
        open_one.ended_at = by.now
    record(session, by, Act("password changed", [ref(person)]))


def person_named(session: Session, name: str) -> Person:
    """A person by name; Refused where there is none."""
    person = _named(session, " ".join(name.split()))
    if person is None:
        raise Refused(f"Nobody here is called {name!r}; write the name as it stands under Shop.", field="name")
    return person


def check_throttle(session: Session, keys: list[str], now: datetime) -> None:
    """Refuse while a name or address is slowed down."""
    blocked = session.execute(
        select(func.max(Throttle.blocked_until)).where(Throttle.key.in_(keys))
    ).scalar_one_or_none()
    until = datetime.fromisoformat(blocked) if isinstance(blocked, str) else blocked
    if until is not None and until > now:
        raise Refused(f"Too many tries; wait {max(1, round((until - now).total_seconds()))} seconds and try again.")


def count_failure(session: Session, keys: list[str], now: datetime) -> None:
    """One more failed try for each key: 1 s after the free ones, doubling to 5 minutes, never for good."""
    for key in keys:
        row = session.execute(select(Throttle).where(Throttle.key == key)).scalar_one_or_none()
        if row is None:
            row = Throttle(key=key, failures=0, blocked_until=now)
            session.add(row)
        row.failures += 1
        over = row.failures - FREE_TRIES
        row.blocked_until = now + min(LONGEST_BLOCK, FIRST_BLOCK * 2 ** min(over, 12)) if over >= 0 else now
        session.flush()


def verify_password(session: Session, *, name: str, password: str) -> Person | None:
    """The active person with this name and password; takes the same time whether or not the name exists."""
    person = _named(session, " ".join(name.split()))
    if not matches(person.password_hash if person else _NOBODY, password):
        return None
    return person if person is not None and person.active else None


def start_sign_in(session: Session, by: Actor, *, person: Person, keys: list[str]) -> str:
    """A new server-side session; returns the token for the cookie, of which only a hash is kept."""
    token = secrets.token_urlsafe(32)
    session.add(SignIn(token_hash=token_hash(token), person_id=person.id, started_at=by.now, seen_at=by.now))
    for row in session.execute(select(Throttle).where(Throttle.key.in_(keys))).scalars():
        row.failures, row.blocked_until = 0, by.now
    record(session, _as(by, person), Act("signed in", [ref(person)]))
    return token


def signed_in(session: Session, token: str, now: datetime) -> SignIn | None:
    """The living session for a cookie's token; None when ended, idle too long or too old."""
    found = session.execute(select(SignIn).where(SignIn.token_hash == token_hash(token))).scalar_one_or_none()
    if found is None or found.ended_at is not None or not found.person.active:
        return None
    return None if _is_over(found, now) else found


def _is_over(found: SignIn, now: datetime) -> bool:
    return now - found.seen_at > IDLE or now - found.started_at > LONGEST


def ran_out(session: Session, token: str, now: datetime) -> str | None:
    """Who was signed in with a cookie whose time ran out, and not long ago; None for any other cookie."""
    found = session.execute(select(SignIn).where(SignIn.token_hash == token_hash(token))).scalar_one_or_none()
    if found is None or found.ended_at is not None or not found.person.active:
        return None
    return found.person.name if _is_over(found, now) and now - found.started_at <= KNOWN_AFTERWARDS else None


def end_sign_in(session: Session, by: Actor, *, token: str) -> None:
    """Sign out: the token is dead from now on."""
    found = session.execute(select(SignIn).where(SignIn.token_hash == token_hash(token))).scalar_one_or_none()
    if found is not None and found.ended_at is None:
        found.ended_at = by.now
        record(session, by, Act("signed out", [ref(found.person)]))


def token_hash(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def touch(session: Session, token: str, now: datetime) -> None:
    """Remember that a signed-in browser is still in use."""
    found = session.execute(select(SignIn).where(SignIn.token_hash == token_hash(token))).scalar_one_or_none()
    if found is not None:
        found.seen_at = now


def set_manner(session: Session, by: Actor, *, person: Person, manner: Manner) -> None:
    """How this person reads numbers, on screen and on what this person prints."""
    if manner.units not in ("mm", "in"):
        raise Refused("Units are mm or in.", field="units")
    if manner.mark not in (POINT, COMMA):
        raise Refused("The decimal mark is a point or a comma.", field="mark")
    person.units, person.decimal_mark = manner.units, manner.mark
    record(session, by, Act("units chosen", [ref(person)], new={"units": manner.units, "decimal mark": manner.mark}))


def manner_of(person: Person) -> Manner:
    """How a person reads numbers."""
    return Manner(person.units, person.decimal_mark or POINT)


def manner_of_shop(session: Session) -> Manner:
    """Where nobody is signed in: as the shop's first owner reads them."""
    owners = select(Person).where(Person.role == "owner", Person.active).order_by(Person.id).limit(1)
    owner = session.execute(owners).scalar_one_or_none()
    return manner_of(owner) if owner else Manner()


def everybody(session: Session) -> list[Person]:
    """Everyone who works here, by name."""
    return list(session.execute(select(Person).where(Person.active).order_by(Person.name)).scalars())


def by_id(session: Session, person_id: int) -> Person:
    """A person by row id, for the sign-in that just checked it."""
    return session.get_one(Person, person_id)
