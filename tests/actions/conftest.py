"""A small shop, fresh for each test: copied from one that is equipped once."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from logbook.records.opened import open_shop
from logbook.settings import Settings
from support.small_shop import SmallShop, small_shop


@pytest.fixture(scope="session")
def equipped(tmp_path_factory: pytest.TempPathFactory) -> SmallShop:
    """The shop that every test gets a copy of; its database is closed."""
    made = small_shop(tmp_path_factory.mktemp("equipped") / "data")
    made.shop.database.close()
    return made


@pytest.fixture
def shop(tmp_path: Path, equipped: SmallShop) -> Iterator[SmallShop]:
    folder = tmp_path / "data"
    shutil.copytree(equipped.shop.settings.data, folder)
    made = SmallShop(open_shop(Settings(data=folder)), equipped.now)
    yield made
    made.shop.database.close()
