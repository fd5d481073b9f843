"""Spools in a real browser: told by thumb without a script, reached by keyboard, fit for a phone."""

from contextlib import contextmanager

import pytest
from playwright.sync_api import expect, sync_playwright
from support.spool_site import BOX, spool, spool_site

from web.serve import PageServer

pytestmark = pytest.mark.browser


@pytest.fixture
def address(tmp_path):
    with spool_site(tmp_path, spool(place=BOX, name="Grey PETG")) as site:
        site.pass_time(72.0, loft=55.0, crate=48.0, chest=5.0)
        server = PageServer(site.queries, site.changes, host="127.0.0.1", port=0, look_only=False)
        server.start()
        yield server.url
        server.stop()


@contextmanager
def page_of(**options):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_context(**({"viewport": {"width": 360, "height": 800}} | options)).new_page()
        page.faults = []
        page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
        yield page
        browser.close()


def test_a_spool_is_moved_and_weighed_by_thumb_with_scripts_off(address):
    """P39 and D-20: the forms are plain, and a browser's own Origin passes the guard."""
    with page_of(java_script_enabled=False) as page:
        page.goto(f"{address}/spools")
        page.get_by_role("link", name="Grey PETG").click()
        page.get_by_label("Who", exact=True).fill("Mira")
        page.get_by_role("button", name="Chest").click()
        expect(page.locator(".done")).to_contain_text("Moved to Chest")
        page.get_by_role("link", name="Weigh", exact=True).click()
        page.get_by_label("Weight with its reel").fill("1204")
        page.get_by_role("button", name="Note the weight").click()
        expect(page.locator(".done")).to_contain_text("Weighed 1204 g")
        expect(page.locator(".spool-head")).to_be_in_viewport()
        page.get_by_role("link", name="Correct it").click()
        page.get_by_label("Weight with its reel").fill("1203")
        page.get_by_role("button", name="Note the weight").click()
        expect(page.locator(".records").first).to_contain_text("Weighed 1203 g")
        expect(page.locator(".records").first).not_to_contain_text("1204")


def test_once_a_name_is_known_a_move_is_one_tap(address):
    """P39: nobody tells what costs more than a tap."""
    with page_of() as page:
        page.goto(f"{address}/spools/grey")
        page.get_by_label("Who", exact=True).fill("Mira")
        page.get_by_role("button", name="Chest").click()
        page.goto(f"{address}/spools/grey")
        page.get_by_role("button", name="Crate").click()
        expect(page.locator(".done")).to_contain_text("Moved to Crate")
        assert page.faults == []


@pytest.mark.parametrize(("width", "scheme"), [(320, "light"), (360, "dark"), (1280, "light")])
def test_the_pages_of_spools_fit_and_can_be_reached(address, width, scheme):
    """C-26: no sideways scroll, controls of 44 px, names for all; nothing that the content policy refuses."""
    acts = ("used", "weighed", "dried", "signs", "bagged", "spoiled")
    paths = ["/spools", "/spools/grey", *(f"/spools/grey?act={act}" for act in acts)]
    with page_of(viewport={"width": width, "height": 568}, color_scheme=scheme) as page:
        for path in paths:
            page.goto(address + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            controls = page.locator(
                "nav a:visible, .do button:visible, summary:visible, .do input:visible:not([type=checkbox]), "
                ".do select:visible, label.check:visible, .records a:visible, .onwards a:visible"
            )
            for number in range(controls.count()):
                box = controls.nth(number).bounding_box()
                assert box["height"] >= 43.5, (path, controls.nth(number).inner_text())
            nameless = page.evaluate(
                """[...document.querySelectorAll("a, button, [role=img]")].filter(
                    (e) => !(e.textContent.trim() || e.getAttribute("aria-label"))).length"""
            )
            assert nameless == 0
        assert page.faults == []


def test_a_label_prints_on_one_sheet_of_its_size_with_everything_on_it(address):
    """D-05: 62 by 29 mm, or A7; nothing runs out of it, however long the name."""
    with page_of(viewport={"width": 1000, "height": 800}) as page:
        for size, width_mm, height_mm in (("small", 62, 29), ("a7", 105, 74)):
            page.goto(f"{address}/spools/grey/label?size={size}")
            page.locator("h1").evaluate(
                "(e) => e.textContent = 'PETG of a very long and hardly known colour'"
            )
            sheet, text = page.locator(".label").bounding_box(), page.locator(".text").bounding_box()
            assert sheet["width"] == pytest.approx(width_mm * 96 / 25.4, abs=1.0)
            assert sheet["height"] == pytest.approx(height_mm * 96 / 25.4, abs=1.0)
            assert text["y"] >= sheet["y"]
            assert text["y"] + text["height"] <= sheet["y"] + sheet["height"]
            assert page.pdf(prefer_css_page_size=True).count(b"/Type /Page\n") == 1
