"""Pictures over HTTP: damaged files never break the app and leave nothing; the owner's limit counts at once."""

import gc
import mmap
from io import BytesIO
from pathlib import Path

from PIL import Image

from support.mutants import damaged

MOST_GROWTH = 50 * 2**20
"""Bytes by which the web's own process may grow: files are opened elsewhere."""


def _sent(desk, code, name, content, number):
    files = {"request_id": f"up-{number}", "pictures": (BytesIO(content), name)}
    return desk.post(f"/job/{code}/pictures", data=files, content_type="multipart/form-data")


def _lying_about(office):
    return sorted(path for path in office.shop.settings.data.rglob("*") if path.is_file() and "incoming" in path.parts)


def _resident_bytes():
    """What this process holds in memory now, without what earlier tests let go; 0 where the system does not tell."""
    gc.collect()
    told = Path("/proc/self/statm")
    return int(told.read_text().split()[1]) * mmap.PAGESIZE if told.exists() else 0


def test_damaged_files_are_taken_or_refused_and_never_break_the_app(office, desk, pytestconfig):
    code = office.order()
    for number, (name, content) in enumerate(damaged(12, seed=12)):  # what is loaded once is no growth
        _sent(desk, code, name, content, f"warm-{number}")
    before, held = _lying_about(office), _resident_bytes()
    seen = set()
    for number, (name, content) in enumerate(damaged(pytestconfig.getoption("damaged"), seed=11)):
        answer = _sent(desk, code, name, content, number)
        seen.add(answer.status_code)
        assert answer.status_code in (303, 422), (name, answer.status_code)
        if answer.status_code == 422:
            assert name in answer.get_data(as_text=True)
    assert 422 in seen
    assert _lying_about(office) == before
    assert _resident_bytes() - held <= MOST_GROWTH


def test_a_part_without_a_name_is_no_file_and_is_told_so(office, desk):
    answer = desk.post(f"/job/{office.order()}/pictures", data={"request_id": "w1", "pictures": "only words"})
    assert answer.status_code == 422


def test_the_owners_limit_of_pixels_counts_for_the_next_picture(office, desk):
    code, out = office.order(), BytesIO()
    Image.new("RGB", (1200, 1200)).save(out, "PNG")
    facts = {"request_id": "f1", "largest_picture": "1"}
    for name in ("forecast_lens", "forecast_scale", "forecast_mode_or_paper"):  # each is refused at its own field
        refused = desk.post("/shop/facts", data={**facts, "request_id": f"r-{name}", name: "500"})
        assert f'id="{name}-fault"' in refused.get_data(as_text=True)
    assert desk.post("/shop/facts", data=facts).status_code == 303
    refused = _sent(desk, code, "large.png", out.getvalue(), "a")
    assert refused.status_code == 422
    assert "limit of 1 million" in refused.get_data(as_text=True)
    assert desk.post("/shop/facts", data={**facts, "request_id": "f2", "largest_picture": "2"}).status_code == 303
    assert _sent(desk, code, "large.png", out.getvalue(), "b").status_code == 303


def test_a_limit_that_is_no_number_is_refused_at_its_field(desk):
    answer = desk.post("/shop/facts", data={"request_id": "f3", "largest_picture": "many"})
    assert answer.status_code == 422
    assert 'id="largest_picture-fault"' in answer.get_data(as_text=True)
