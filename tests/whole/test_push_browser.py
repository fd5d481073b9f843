"""Web Push in a real browser: from the button to the notification, and what the worker makes of bad data.

No push service can be reached from a test, so `PushManager.subscribe` is replaced in the page by one that hands out
a local endpoint with real keys; what that gets is decrypted here and handed to the real worker by the browser's
developer protocol, as the browser itself would after decrypting. Nothing else between the two is replaced.
"""

import json
import threading

import pytest
from playwright.sync_api import expect, sync_playwright
from support.alarm_site import BOX
from support.push import Browser, b64, claims_of, push_service, unb
from support.push_browser import READY, Worker, running, subscribed, visit
from werkzeug.serving import make_server

from monitor.edge import push_crypto, web_push
from monitor.model.delivery import Letter
from monitor.model.message import Priority

pytestmark = pytest.mark.browser

HUMID = f"humidity_high-{BOX}"
LAN = "192.0.2.5"  # a documentation address (RFC 5737), led to this machine: not a secure context without TLS
PRESS = "Tell me in this browser"
NEUTRAL = {"title": "A message of the monitor", "body": "Open the monitor to see it.", "tag": "unread"}


@pytest.fixture
def site(tmp_path):
    with running(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    """A site that no test changes."""
    with running(tmp_path_factory.mktemp("quiet")) as made:
        yield made


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=[
                "--no-sandbox", "--disable-gpu", "--disable-background-networking",
                f"--host-resolver-rules=MAP {LAN} 127.0.0.1",
            ],
        )  # fmt: skip
        yield browser
        browser.close()


def payload(**members):
    """As the service writes it for a browser."""
    letter = Letter(
        **{"title": "Crate is damp", "text": "Close its lid.", "priority": Priority.MEDIUM} | members
    )
    return web_push.payload(letter, push_crypto.PLAIN_MAX).decode()


def test_from_the_button_to_the_notification_and_the_tap(site, chromium):
    """A-40 in a browser: pressed, subscribed, kept, tested, sent, decrypted, shown, tapped, heard."""
    browser = Browser()
    with push_service() as (endpoint, posted), visit(chromium, site) as page:
        with subscribed(page, endpoint, browser) as asked:
            page.get_by_label("What you call this browser").fill("Mara's phone")
            page.get_by_role("button", name=PRESS).dblclick()
            expect(page.locator(".done")).to_contain_text("Send a test to see that it comes")
        (options,) = asked  # pressed twice in haste is asked once
        assert options["isShown"] is True
        assert b64(bytes(options["key"])) == site.ways.push_key()
        (channel,) = site.channels()
        assert (channel.person, channel.name, channel.shown) == (
            "mara",
            "Mara's phone",
            "browser, by 127.0.0.1",
        )
        expect(page.locator(".devices").first).to_contain_text("Mara's phone")
        assert b64(browser.auth) not in page.content()

        page.get_by_role("button", name="Test the whole way").click()
        expect(page.locator(".done")).to_contain_text("A test takes some seconds")
        site.send()
        ((headers, body),) = posted
        _, signer = claims_of(headers["Authorization"])
        assert unb(signer) == bytes(options["key"])  # else a push service would refuse it
        told = json.loads(browser.read(body))

        worker = Worker(page)
        (seen,) = worker.push(browser.read(body).decode())
        assert seen == told
        assert f"{site.url}{seen['path']}" in seen["body"]
        page.goto(site.url + seen["path"])
        page.get_by_role("button", name="It has come").click()
        expect(page.locator("main")).to_contain_text("from the start")
        page.goto(f"{site.url}/me/messages")
        expect(page.locator("main")).to_contain_text("heard after")
        assert page.faults == []


def test_an_alarms_end_takes_the_place_of_its_beginning(site, chromium):
    """C.9: what is over must not stand on a locked screen beside what was so before."""
    browser = Browser()
    with push_service() as (endpoint, posted), visit(chromium, site) as page:
        keys = b64(browser.point), b64(browser.auth)
        site.gate.delivery.add_push("Mara", "mara", "phone", endpoint, *keys)
        worker = Worker(page)
        site.alarms.settle()
        worker.push(payload(title="Another", topic="another"))
        for holds, value in ((True, 40.0), (False, 8.0)):
            site.humid(holds, value)
            site.send()
            (_, body) = posted.pop()
            assert posted == []
            told = json.loads(browser.read(body))
            shown = worker.push(browser.read(body).decode())
            assert [each for each in shown if each["title"] != "Another"] == [told]
            assert len(shown) == 2
            assert told["path"] == f"/alarms/{HUMID}"
            opened = page.goto(site.url + told["path"])
            assert opened.ok
            expect(page.locator("main")).to_contain_text(f"humidity_high at {BOX}.")
            if holds:
                begun = told
        assert told["tag"] == begun["tag"]
        assert told["title"] != begun["title"]
        assert page.faults == []


BROKEN = [
    "", "xx", "null", "true", "7", '"words"', "[]", "[null]", "{", "{}", "\ufeff{}", "\x00", '{"title":null}',
    '{"title":{"a":1},"body":[1],"tag":{},"path":{},"urgent":"yes"}', '{"__proto__":{"title":"x"}}',
    '{"title":"","body":"","tag":"","path":""}', "[" * 3_000,
]  # fmt: skip


def test_data_that_is_none_is_shown_as_a_message_to_look_for(quiet, chromium):
    """A browser takes leave away from pages that show nothing for a push; and the next good one still comes."""
    with visit(chromium, quiet) as page:
        worker = Worker(page)
        for data in BROKEN:
            assert worker.push(data) == [NEUTRAL | {"path": "", "urgent": False}], data
        good = payload(topic="t", path=f"/alarms/{HUMID}", priority=Priority.HIGH)
        shown = {each["title"]: each for each in worker.push(good)}
        assert set(shown) == {NEUTRAL["title"], "Crate is damp"}  # none piles up, none is taken away
        assert shown["Crate is damp"] == {
            "title": "Crate is damp", "body": "Close its lid.", "tag": "t", "path": f"/alarms/{HUMID}", "urgent": True,
        }  # fmt: skip
        assert page.faults == []


def test_what_bears_no_tag_takes_nobodys_place_and_is_no_markup(quiet, chromium):
    """Several put together have no tag; words are shown as they are."""
    hostile = "<img src=x onerror=alert(1)> \u202e\U0001f525"
    with visit(chromium, quiet) as page:
        worker = Worker(page)
        for title in ("2 messages: a", "3 messages: b", hostile):
            shown = worker.push(payload(title=title, text=hostile * 200))
        assert len(shown) == 3
        assert {each["title"] for each in shown} == {"2 messages: a", "3 messages: b", hostile}
        assert all(each["body"].startswith(hostile) for each in shown)


TAPS = {
    f"/alarms/{HUMID}": f"/alarms/{HUMID}",
    "/me/messages/test/abc": "/me/messages/test/abc",
    "": "/",
    "//elsewhere.example/x": "/",
    "https://elsewhere.example/x": "/",
    "javascript:alert(1)": "/",
    "http://[": "/",
    "/\\elsewhere.example": "/",
    7: "/",
}
TAP = """async () => {
  const [notification] = await self.registration.getNotifications();
  const asked = [], waits = [];
  self.clients.openWindow = async (url) => { asked.push(url); return null; };
  const tap = new NotificationEvent("notificationclick", { notification });
  tap.waitUntil = (promise) => waits.push(promise);
  self.dispatchEvent(tap);
  await Promise.all(waits);
  return [waits.length, asked, (await self.registration.getNotifications()).length];
}"""


def test_a_tap_leads_to_the_messages_page_and_nowhere_else(quiet, chromium):
    """The worker's own handler, on notifications that it showed itself.

    Chromium lets nothing but a finger on a notification open a window ("Not allowed to open a window"), so the
    event is dispatched within the worker, and `openWindow` notes what it was asked for.
    """
    with visit(chromium, quiet) as page:
        worker = Worker(page)
        (inside,) = page.context.service_workers
        for number, (path, opened) in enumerate(TAPS.items()):
            tapped = {"title": "Tap", "body": "b", "tag": f"t{number}", "path": path}
            assert len(worker.push(json.dumps(tapped))) == 1
            assert inside.evaluate(TAP) == [1, [quiet.url + opened], 0], path


def why(page):
    return page.locator("[data-push-why]")


def test_a_push_service_that_cannot_be_reached_is_told_beside_the_button(quiet, chromium):
    """The browser's own refusal, nothing replaced: a private window has no push service. And C-26: it fits."""
    with visit(chromium, quiet) as page:
        button = page.get_by_role("button", name=PRESS)
        button.click()
        said = "This browser could not be set up: Registration failed - permission denied. It needs"
        expect(why(page)).to_contain_text(said)
        expect(button).to_be_enabled()
        assert quiet.channels() == ()
        for width, scheme in ((320, "light"), (360, "dark"), (1280, "light")):
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme=scheme)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            for control in (button, page.get_by_label("What you call this browser")):
                assert control.bounding_box()["height"] >= 43.5
            said, pressed = why(page).bounding_box(), button.bounding_box()
            assert 0 <= said["y"] - pressed["y"] - pressed["height"] < 40
            assert said["width"] <= 450


def test_a_push_service_that_never_answers_is_not_waited_for_for_ever(quiet, chromium):
    """Behind some networks nothing is refused and nothing comes."""
    with visit(chromium, quiet) as page:
        page.clock.install()
        page.add_init_script(
            """PushManager.prototype.subscribe = () => {
              document.body.dataset.asked = "";
              return new Promise(() => {});
            };"""
        )
        page.reload()
        page.get_by_role("button", name=PRESS).click()
        expect(page.locator("body[data-asked]")).to_be_visible()
        expect(why(page)).to_contain_text("push service…")
        expect(page.get_by_role("button", name=PRESS)).to_be_disabled()
        page.clock.run_for(61_000)
        expect(why(page)).to_contain_text("nothing answered")
        expect(page.get_by_role("button", name=PRESS)).to_be_enabled()


def test_without_leave_it_says_where_to_give_it(quiet, chromium):
    """The person said no, or the browser did for them."""
    with visit(chromium, quiet, may_show=False) as page:
        page.get_by_role("button", name=PRESS).click()
        expect(why(page)).to_contain_text(
            "Allow it in the browser's settings for this page, then press again"
        )
        expect(page.get_by_role("button", name=PRESS)).to_be_enabled()
        assert quiet.channels() == ()


def test_over_plain_http_the_button_is_not_offered(quiet, chromium):
    """As most reach the board: by its address in the local network."""
    with visit(chromium, quiet, quiet.url.replace("127.0.0.1", LAN), may_show=None) as page:
        assert page.evaluate("window.isSecureContext") is False
        expect(why(page)).to_contain_text("need these pages over HTTPS")
        expect(page.get_by_role("button", name=PRESS)).to_be_hidden()
        expect(page.locator("summary", has_text="Add a way")).to_be_visible()


def test_a_certificate_that_was_only_clicked_through_is_named_as_the_cause(quiet, chromium):
    """Browsers set no worker up behind one, though the page itself is shown and called secure."""
    front = make_server("127.0.0.1", 0, quiet.gate.app, threaded=True, ssl_context="adhoc")
    thread = threading.Thread(target=front.serve_forever, daemon=True)
    thread.start()
    try:
        url = f"https://127.0.0.1:{front.server_port}"
        with visit(chromium, quiet, url, ignore_https_errors=True) as page:
            assert page.evaluate("window.isSecureContext") is True
            expect(why(page)).to_contain_text("does not trust the board's certificate")
            expect(why(page)).not_to_contain_text(
                "push-worker.js"
            )  # of what the browser says, the end is for people
            expect(page.get_by_role("button", name=PRESS)).to_be_hidden()
    finally:
        front.shutdown()
        thread.join()
        front.server_close()


def test_whoever_is_not_signed_in_any_more_is_told_that(quiet, chromium):
    """A page left open for weeks: the key's address leads to the sign-in, which is no key."""
    with visit(chromium, quiet) as page:
        page.context.clear_cookies()
        page.get_by_role("button", name=PRESS).click()
        expect(why(page)).to_contain_text("not signed in any more. Reload this page")
        expect(page.get_by_role("button", name=PRESS)).to_be_enabled()


def test_a_browser_that_was_set_up_before_says_so_and_lets_go_of_the_old(site, chromium):
    """Pressed again it is a second way, and the first one ends: nobody should do that unknowing."""
    before = "PushManager.prototype.getSubscription = async () => ({ unsubscribe: () => window.letGo() });"
    browser, order = Browser(), []
    with push_service() as (endpoint, _), visit(chromium, site) as page:
        page.context.expose_function("letGo", lambda: order.append("let go"))
        page.add_init_script(before)
        with subscribed(page, endpoint, browser) as asked:
            expect(why(page)).to_contain_text("This browser was set up before")
            page.get_by_role("button", name=PRESS).click()
            expect(page.locator(".done")).to_be_visible()
        assert (order, len(asked), len(site.channels())) == (["let go"], 1, 1)


def test_when_the_board_is_away_a_page_says_how_to_stop_heat(site, chromium):
    """The same worker: what it kept must be whole, and must not be an old page that looks alive."""
    with visit(chromium, site) as page:
        page.evaluate(READY)
        site.server.stop()
        page.goto(f"{site.url}/ovens")
        expect(page.locator("h1")).to_have_text("No connection to the monitor")
        expect(page.locator(".act")).to_contain_text("pull its plug")
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") != "rgba(0, 0, 0, 0)"
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
