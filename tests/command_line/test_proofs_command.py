"""The listener for proofs by link, started as an owner would beside the HTTPS of her own."""

import http.client
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

import pytest

from support.programs import serving
from support.prooflinks import PUBLIC, link_to, prove, turn_on
from support.small_shop import new_shop


@pytest.fixture
def shop(tmp_path):
    made = new_shop(tmp_path / "data", now=datetime.now(UTC) - timedelta(hours=3))
    yield made
    made.shop.database.close()


def _command(shop, *words):
    return [sys.executable, "-m", "logbook", "proofs", "--data", str(shop.shop.settings.data), *words]


def _asked(address, path, visitor):
    """As HTTPS in front asks for somebody."""
    connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=30)
    connection.request("GET", path, headers={"X-Forwarded-For": visitor})
    status = connection.getresponse().status
    connection.close()
    return status


def test_it_does_not_start_before_the_owner_turned_links_on(shop):
    told = subprocess.run(_command(shop, "--port", "0"), capture_output=True, text=True, check=False)
    assert (told.returncode, told.stdout) == (2, "")
    assert told.stderr.startswith("logbook: Links to proofs are off")


def test_it_listens_on_this_machine_and_slows_each_visitor_down_alone(shop, tmp_path):
    turn_on(shop)
    code = shop.order()
    prove(shop, code)
    link, log = link_to(shop, code), tmp_path / "log"
    with serving(_command(shop, "--port", "0"), log=log) as address:
        assert _asked(address, link, "192.0.2.1") == 303
        said = [_asked(address, f"/p/{number}", "192.0.2.2") for number in range(9)]
        assert (said[0], said[-1]) == (404, 429)
        assert _asked(address, link, "192.0.2.3") == 303
        assert _asked(address, "/sign-in", "192.0.2.3") == 404
    told = log.read_text(encoding="utf-8")
    assert address.startswith("http://127.0.0.1:")
    assert PUBLIC in told
    assert link.removeprefix("/p/") not in told
