"""One grown shop for every test of this folder, and for every worker: to make it takes longer than to look at it."""

import fcntl
from pathlib import Path

import pytest

from ten_years.grow import grow

JOBS, SEED = 120, 7


@pytest.fixture(scope="session")
def grown_folder(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """The folder of a shop of JOBS jobs in one year; look at it, write nothing."""
    base = tmp_path_factory.getbasetemp()
    shared = (base if worker_id == "master" else base.parent) / "grown"
    shared.mkdir(exist_ok=True)
    folder, done = shared / "data", shared / "done"
    with (shared / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            grow(folder, jobs=JOBS, years=1, seed=SEED).shop.database.close()
            done.touch()
    return folder
