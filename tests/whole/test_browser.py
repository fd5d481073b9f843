"""The pages in a real browser: live parts, gaps, the site's own time, reach by thumb and keyboard."""

import json
import time
from contextlib import closing, contextmanager

import pytest
from playwright.sync_api import expect, sync_playwright

from monitor.library import load_library
from monitor.model.arrival import Arrival
from monitor.model.inventory import Inventory
from monitor.service.engine import Engine
from monitor.service.queries import Queries, Surroundings
from monitor.store.reader import Reader
from monitor.store.store import Store
from monitor.wire.inventory import KnownKeys, parse_inventory
from web.serve import PageServer

pytestmark = pytest.mark.browser

INVENTORY = b"""
[[room]]
key = "hall"
name = "Hall"
channel = "n1/hall"
[[box]]
key = "b1"
name = "Box 1"
room = "hall"
volume_l = 10
channel = "n1/b1"
"""
# New York's clocks went back at 06:00 UTC on this day: it has 25 hours.
CHANGE_DAY_S = 1_793_505_600.0  # 2026-11-01 04:00 UTC, local midnight
AFTER_S = CHANGE_DAY_S + 25 * 3600


class Live:
    """A site on a real database behind the real web server; `hear` is what the worker would do."""

    def __init__(self, folder, now_s, zone):
        library = load_library()
        known = KnownKeys(materials=library.materials, desiccants=library.desiccants, reels=library.reels)
        self.now_s = now_s
        self.store = Store(folder / "live.db", "lab")
        self.engine = Engine("lab", self.store.load())
        self.engine.change_inventory(parse_inventory(INVENTORY, known, Inventory()), now_s - 1e6)
        self.reader = Reader(folder / "live.db", "lab")
        self.seq = 0
        self.commit()
        self.queries = Queries(
            self.reader,
            now_s=lambda: self.now_s,
            zone=zone,
            surroundings=lambda: Surroundings(broker="connected", broker_kind="own mosquitto"),
        )
        self.server = PageServer(self.queries, None, host="127.0.0.1", port=0, look_only=False)
        self.server.start()

    def hear(self, humidity, at_s=None, channel="b1"):
        at_s = self.now_s if at_s is None else at_s
        self.seq += 1
        records = [
            {"bn": f"{channel}/", "bt": at_s, "n": "temperature", "u": "Cel", "v": 21, "ut": 600},
            {"n": "humidity", "u": "%RH", "v": humidity},
            {"bn": "", "n": "seq", "v": self.seq},
            {"n": "boot", "vs": "1"},
        ]
        payload = json.dumps(records).encode()
        self.engine.handle(
            Arrival(topic="sorbwatch/lab/node/n1/senml", payload=payload, wall_s=at_s, mono_s=at_s)
        )

    def commit(self):
        self.store.apply(self.engine.take_batch())

    def roll_up(self):
        while self.store.roll_up(round(self.now_s * 1000)).more:
            pass

    def close(self):
        self.server.stop()
        self.reader.close()
        self.store.close()


@contextmanager
def page_of(live, width=360, height=800, zone="Europe/Paris", scheme="light"):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-quic"],
        )
        context = browser.new_context(
            viewport={"width": width, "height": height}, timezone_id=zone, color_scheme=scheme
        )
        page = context.new_page()
        page.faults = []
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
        page.goto(live.server.url)
        yield page
        browser.close()


@pytest.fixture
def live(tmp_path):
    site = Live(tmp_path, time.time(), "UTC")
    yield site
    site.close()


def test_a_new_reading_arrives_without_a_reload_and_holding_still_stops_it(live):
    """The page is live by server-sent events, and can be paused (WCAG 2.2.2)."""
    live.hear(11)
    live.commit()
    live.queries.changed()
    with page_of(live) as page:
        expect(page.locator("#box-b1 .figure")).to_contain_text("11 %RH")
        live.hear(33, live.now_s + 1)
        live.commit()
        live.queries.changed()
        expect(page.locator("#box-b1 .figure")).to_contain_text("33 %RH")
        page.get_by_role("button", name="Hold still").click()
        live.hear(44, live.now_s + 2)
        live.commit()
        live.queries.changed()
        page.wait_for_timeout(1500)
        assert "33 %RH" in page.locator("#box-b1 .figure").inner_text()
        page.get_by_role("button", name="Go on").click()
        expect(page.locator("#box-b1 .figure")).to_contain_text("44 %RH")
        assert page.faults == []


def test_who_is_on_a_strip_by_keyboard_stays_there_and_still_sees_it_change(live):
    """WCAG 2.4.3 and P11: a part under the focus must neither lose it nor be left old."""
    live.hear(11)
    live.commit()
    with page_of(live) as page:
        page.locator("#box-b1 h3 a").focus()
        live.hear(33, live.now_s + 1)
        live.commit()
        live.queries.changed()
        expect(page.locator("#box-b1 .figure")).to_contain_text("33 %RH")
        assert page.evaluate("document.activeElement.textContent") == "Box 1"
        assert page.faults == []


def test_a_box_that_comes_new_appears_on_a_page_that_was_open(live):
    """A wall tablet is never reloaded by hand."""
    with page_of(live) as page:
        library = load_library()
        known = KnownKeys(materials=library.materials, desiccants=library.desiccants, reels=library.reels)
        more = INVENTORY.replace(b'"b1"', b'"b2"').replace(b"Box 1", b"Box 2").replace(b"n1/b1", b"n1/b2")
        live.engine.change_inventory(
            parse_inventory(INVENTORY + more[more.index(b"[[box]]") :], known, Inventory()), live.now_s
        )
        live.commit()
        live.queries.changed()
        expect(page.locator("#box-b2")).to_be_visible()


def test_a_reading_turns_old_before_the_eyes_when_nothing_comes_any_more(live):
    """C-25: the page itself marks what is past its time; no monitor is needed for that."""
    live.hear(11)
    live.commit()
    with page_of(live) as page:
        live.server.stop()
        page.clock.install()
        page.clock.run_for(1_000)
        page.clock.fast_forward(21 * 60_000)  # its sensor promised a reading within 10 minutes
        expect(page.locator("#box-b1")).to_have_attribute("data-state", "stale")
        expect(page.locator("#box-b1 .figure")).to_contain_text("old 11 %RH")


def test_a_page_whose_monitor_is_gone_says_that_it_is_old(live):
    """C-25 and H40: a frozen page must not look alive."""
    live.hear(11)
    live.commit()
    with page_of(live) as page:
        page.clock.install()
        live.server.stop()
        page.clock.run_for(40_000)
        expect(page.locator("[data-lost]")).to_be_visible(timeout=10_000)
        assert "What you see is old" in page.locator("[data-lost]").inner_text()


def test_a_day_of_25_hours_is_drawn_as_25_hours_with_its_gap(tmp_path):
    """Report 15: the viewer sits in Paris, the site in New York, and its clocks go back in this night."""
    site = Live(tmp_path, AFTER_S, "America/New_York")
    try:
        for number in range(25 * 12 + 1):
            at_s = CHANGE_DAY_S + 300 * number
            if not CHANGE_DAY_S + 4 * 3600 < at_s < CHANGE_DAY_S + 7 * 3600:
                site.hear(20 + number / 30, at_s)
        site.commit()
        site.roll_up()
        with page_of(site) as page:
            site.now_s = AFTER_S + 36 * 3600.0
            site.queries.changed()
            page.goto(site.server.url + "/boxes/b1?window=week")
            # Marks two days apart, by where they are drawn; the picture is 168 hours wide.
            marks = _marks(page)
            width = page.locator("svg.air").bounding_box()["width"]
            assert 168 * (marks["2 Nov"] - marks["31 Oct"]) / width == pytest.approx(49.0, abs=0.5)
            assert 168 * (marks["31 Oct"] - marks["29 Oct"]) / width == pytest.approx(48.0, abs=0.5)
            site.now_s = AFTER_S
            site.queries.changed()
            page.goto(site.server.url + "/boxes/b1")
            # Nothing is drawn over the gap: one line ends at its begin, the next begins at its end.
            lines = page.locator('svg.air polyline[data-line="here"]')
            assert lines.count() == 2
            ends = [
                [float(point.split(",")[0]) for point in lines.nth(n).get_attribute("points").split()]
                for n in (0, 1)
            ]
            begin_s, end_s = (AFTER_S - 86_400.0 + 86.4 * x for x in (ends[0][-1], ends[1][0]))
            assert CHANGE_DAY_S + 3.8 * 3600 < begin_s < CHANGE_DAY_S + 4.4 * 3600
            assert CHANGE_DAY_S + 6.7 * 3600 < end_s < CHANGE_DAY_S + 7.2 * 3600
            assert all(lines.nth(n).is_visible() for n in (0, 1))
            assert page.faults == []
    finally:
        site.close()


def _marks(page):
    """Where the marks under a picture of the air stand [px], by their words."""
    found = page.locator("svg.air > text")
    boxes = [(found.nth(n).text_content(), found.nth(n).bounding_box()) for n in range(found.count())]
    return {words: box["x"] + box["width"] / 2.0 for words, box in boxes}


@pytest.mark.parametrize(("width", "scheme"), [(320, "light"), (360, "dark"), (1280, "light")])
def test_pages_fit_and_can_be_reached(live, width, scheme):
    """C-26: no sideways scroll, controls of 44 px, everything by keyboard, names for all."""
    live.hear(11)
    live.hear(48, channel="hall")
    live.commit()
    live.roll_up()
    with page_of(live, width=width, height=568, scheme=scheme) as page:
        for path in ("/", "/boxes/b1", "/rooms/hall", "/bags", "/health"):
            page.goto(live.server.url + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            controls = page.locator(
                "header a:visible, header button:visible, h2 a:visible, .strip, nav a, summary"
            )
            for number in range(controls.count()):
                box = controls.nth(number).bounding_box()
                assert box["height"] >= 43.5, (path, controls.nth(number).inner_text())
            nameless = page.evaluate(
                """[...document.querySelectorAll("a, button, [role=img]")].filter(
                    (e) => !(e.textContent.trim() || e.getAttribute("aria-label"))).length"""
            )
            assert nameless == 0
        page.goto(live.server.url)
        reached = []
        for _ in range(10):
            page.keyboard.press("Tab")
            reached.append(page.evaluate("document.activeElement.textContent.trim()"))
        assert reached[0] == "To the content"
        assert {"sorbwatch", "Hold still", "Monitor"} <= set(reached)
        assert page.faults == []


def test_the_first_screen_is_light(live):
    """Page weight is a feature: everything of the first page together."""
    live.hear(11)
    live.commit()
    with page_of(live) as page:
        sizes = []
        page.on("response", lambda r: sizes.append(len(r.body())) if "/events" not in r.url else None)
        page.goto(live.server.url)
        page.wait_for_load_state("load")
        assert sum(sizes) < 60_000
        assert len(sizes) <= 8


def test_with_scripts_off_everything_can_still_be_read(live):
    """HTML first: the page and its figures need no script."""
    live.hear(11)
    live.commit()
    live.roll_up()
    with (
        sync_playwright() as playwright,
        closing(
            playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
            )
        ) as browser,
    ):
        page = browser.new_context(java_script_enabled=False).new_page()
        page.goto(live.server.url)
        assert "11 %RH" in page.locator("#box-b1").inner_text()
        page.goto(live.server.url + "/boxes/b1")
        page.locator("summary").click()
        assert page.locator("tbody tr").count() >= 12
