"""Every page of the URL map, at three sizes and in both themes: usable, nothing sticks out, nothing cries."""

import subprocess
import sys

import pytest

from support.every_page import BENCH_PAGES, OWNER, OWNER_PASSWORD, PAPERS, SIZES, THEMES, every_page

LEAST_TARGET = 24
"""WCAG 2.2, 2.5.8 (target size, minimum): 24 by 24 CSS pixels."""
LEAST_BENCH_TARGET = 44
"""WCAG 2.2, 2.5.5 (target size, enhanced): 44 by 44 CSS pixels, for hands that are inky or gloved."""


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory, project_root):
    folder = tmp_path_factory.mktemp("every-page") / "data"
    subprocess.run(
        [sys.executable, "demo/scenario.py", "--data", folder], cwd=project_root, check=True, capture_output=True
    )
    return folder


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", SIZES)
def test_every_page_is_usable(demo_folder, serve_logbook, new_page, assert_accessible, watches, size, theme):
    shop = serve_logbook(data=demo_folder)
    wide, high = SIZES[size]
    page = new_page(viewport={"width": wide, "height": high}, color_scheme=theme, reduced_motion="reduce")
    _sign_in(page, shop.address)
    faults = []
    for name, path in every_page(demo_folder).items():
        answer = page.goto(shop.address + path.lstrip("/"))
        if answer.status != 200:
            faults.append(f"{name}: status {answer.status}")
            continue
        _collect(faults, name, assert_accessible, page)
        sideways = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if sideways > 0 and name.partition("-")[0] not in PAPERS:
            faults.append(f"{name}: sticks out by {sideways} px")
        if name.partition("-")[0] in BENCH_PAGES:
            faults += [f"{name}: {small}" for small in _small_targets(page)]
    assert not faults, "\n".join(faults)
    assert watches[page].problems == []


def _sign_in(page, address):
    page.goto(address)
    page.get_by_label("Name").fill(OWNER)
    page.get_by_label("Password").fill(OWNER_PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Today").wait_for()


def _collect(faults, name, assert_accessible, page):
    try:
        assert_accessible(page)
    except AssertionError as finding:
        faults.append(f"{name}: {finding}")


def _small_targets(page):
    """Buttons and fields of the bench that a hand would miss; a box counts with the label around it."""
    return page.evaluate(
        """least => [...document.querySelectorAll('main button, main input, main select, main summary')]
            .filter(field => field.type !== 'hidden').map(field => field.closest('label') || field)
            .filter(field => field.offsetParent !== null)
            .map(field => [field.getBoundingClientRect(), field.outerHTML.slice(0, 120)])
            .filter(([box]) => box.height > 0 && box.height < least)
            .map(([box, html]) => `${Math.round(box.height)} px high: ${html}`)""",
        LEAST_BENCH_TARGET,
    )
