"""Where promises are tried: fresh copies of small shops, somebody at a desk, and ways to break the program."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any
from unittest import mock

from flask.testing import FlaskClient

from logbook.actions import people
from logbook.background.opening import PictureOpener
from logbook.records.database import Database
from logbook.records.files import FileStore
from logbook.records.opened import Shop, open_shop
from logbook.settings import Settings
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.small_shop import SmallShop, small_shop


def _plain(_shop: SmallShop) -> str:
    return ""


def _waiting(shop: SmallShop) -> str:
    from logbook.actions import runs
    from support.small_shop import job

    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.now = datetime.now(UTC)
    return str(shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)).id))


def _ready(shop: SmallShop) -> str:
    return shop.ready()


def _many(shop: SmallShop) -> str:
    return shop.ready(quantity=24)


def _mounted(shop: SmallShop) -> str:
    code = shop.ready(quantity=2)
    shop.mount(code)
    return code


def _life(shop: SmallShop) -> str:
    """An order and its sample wait to be printed; beside it, in a folder called far, they wait for inspection."""
    code = shop.order(quantity=2)
    shop.choose_pitch(code)
    shop.run(code, sample=True)
    shop.approve(code)
    shop.run(code)
    data = shop.shop.settings.data
    shop.shop.database.close()
    far = SmallShop(open_shop(Settings(data=Path(shutil.copytree(data, data.with_name("far"))))), shop.now)
    far.mount(code)
    far.wait(hours=80)
    far.shop.database.close()
    return f"{code} {far.now.isoformat()}"


KINDS: dict[str, Callable[[SmallShop], str]] = {
    "plain": _plain, "waiting": _waiting, "ready": _ready, "many": _many, "mounted": _mounted, "life": _life,
}  # fmt: skip
"""An equipped shop; one with a run that waits (named by its id); sheets before the printer (by the job's code), one
or 24; two pieces before their inspection."""


def opened(data: Path) -> Shop:
    """A shop whose database is known to be of this version: looking that up takes longer than most trials."""
    settings = Settings(data=data)
    return Shop(settings, Database(settings.database_path), FileStore(settings.files_path))


class Ground:
    """One run of the table: its folders, shops and dice. Close it in the end."""

    def __init__(self, full: bool = False, years: Path | None = None, part: float = 1) -> None:
        self.full, self.years, self.dice, self.part = full, years, Random(20261125), part
        self.sabotage = ""
        """Python that a child program runs first; set by a twin."""
        self._kept = ExitStack()
        self._base = Path(self._kept.enter_context(tempfile.TemporaryDirectory(prefix="promises-")))
        self._made: dict[str, tuple[SmallShop, str]] = {}
        self._opener: PictureOpener | None = None

    def close(self) -> None:
        """Leave nothing behind."""
        if self._opener is not None:
            self._opener.close()
        self._kept.close()

    @contextmanager
    def folder(self) -> Iterator[Path]:
        """A new folder, gone afterwards."""
        with tempfile.TemporaryDirectory(dir=self._base) as name:
            yield Path(name)

    def kind(self, name: str) -> tuple[SmallShop, str]:
        """The shop of a kind that copies are made of, closed; and what names its work."""
        if name not in self._made:
            made = small_shop(self._base / f"made-{name}" / "data")
            code = KINDS[name](made)
            made.shop.database.close()
            self._made[name] = made, code
        return self._made[name]

    @contextmanager
    def shop(self, kind: str = "plain") -> Iterator[tuple[SmallShop, str]]:
        """A copy of a shop that may be spoiled, opened; and what names its work."""
        made, code = self.kind(kind)
        with self.folder() as folder:
            shutil.copytree(made.shop.settings.data, folder / "data")
            shop = SmallShop(opened(folder / "data"), made.now)
            try:
                yield shop, code
            finally:
                shop.shop.database.close()

    @contextmanager
    def desk(self, kind: str = "plain") -> Iterator[tuple[FlaskClient, SmallShop, str]]:
        """The owner at a desk of such a shop, without the token that a browser would send."""
        with self.shop(kind) as (shop, code):
            yield self.seat(shop), shop, code

    def seat(self, shop: SmallShop, who: str | None = "Olga", *, csrf: bool = False) -> FlaskClient:
        """Somebody signed in (or nobody) at the pages of a shop."""
        app = create_app(shop.shop, ring=lambda _: None)
        app.config["WTF_CSRF_ENABLED"] = csrf
        self._kept.callback(app.extensions["pdf"].close)
        self._kept.callback(app.extensions["pictures"].close)
        client = app.test_client()
        if who is not None:
            client.set_cookie(COOKIE, self.cookie(shop, who))
        return client

    def cookie(self, shop: SmallShop, who: str = "Olga") -> str:
        """The token of a new sign-in."""
        shop.now = datetime.now(UTC)
        return shop.act(
            lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, who), keys=[])
        )

    @property
    def opener(self) -> PictureOpener:
        """What opens strangers' files, kept warm."""
        if self._opener is None:
            self._opener = PictureOpener()
        return self._opener

    # --- breaking the program

    @contextmanager
    def sabotaged(self, code: str) -> Iterator[None]:
        """Child programs are broken by this code until the block ends."""
        before, self.sabotage = self.sabotage, code
        try:
            yield
        finally:
            self.sabotage = before


def saboteur(code: str) -> Callable[[Ground], Any]:
    """A twin whose child programs run this code first."""
    return lambda ground: ground.sabotaged(code)


def patched(target: Any, name: str, value: Any) -> Callable[[Ground], Any]:
    """A twin with something else in this place; ``value`` may be a function of what stood there, if it says so."""
    return lambda _ground: mock.patch.object(target, name, value)
