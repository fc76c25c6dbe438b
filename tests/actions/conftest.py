"""A small shop, fresh for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from support.small_shop import SmallShop, small_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SmallShop]:
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()
