"""A site with people and alarms, Mara's browser on its pages, and the worker that the browser set up for them."""

from contextlib import contextmanager

from support.alarm_site import alarm_site
from support.push import b64
from support.sign_in import Gate

from monitor.edge.ways import Ways
from monitor.service.sender import Sender
from web.serve import PageServer

SUBSCRIBE = """
PushManager.prototype.subscribe = async function (options) {
  const given = await window.subscribed({
    isShown: options.userVisibleOnly, key: Array.from(options.applicationServerKey), scope: location.origin,
  });
  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
  return { endpoint: given.endpoint, getKey: (name) => bytes(given[name]) };
};
"""
READY = """Promise.race([
  navigator.serviceWorker.ready.then((made) => made.scope),
  new Promise((_, reject) => setTimeout(() => reject(new Error("no worker was set up")), 10_000)),
])"""
NOTIFICATIONS = """async () => {
  const registration = await navigator.serviceWorker.ready;
  return (await registration.getNotifications()).map((each) => ({
    title: each.title, body: each.body, tag: each.tag, path: each.data.path, urgent: each.requireInteraction,
  }));
}"""


class Site:
    """Alarms, people and messages behind the real web server; Mara, an owner, is signed in."""

    def __init__(self, alarms, folder):
        self.alarms, self.now_s = alarms, lambda: alarms.clock.wall
        self.ways = Ways(folder / "ways.db", contact="", now_s=self.now_s, may_push_inside=True)
        self.gate = Gate(alarms, ways=self.ways)
        self.token = self.gate.make_owner()
        self.sender = Sender(
            alarms.reader, self.gate.ask, send=self.ways.send, now_s=self.now_s, pace_s=self.now_s
        )
        self.told = 0
        self.server = PageServer(
            alarms.queries,
            alarms.changes,
            host="127.0.0.1",
            port=0,
            look_only=False,
            door=self.gate.door,
            alarms=alarms.acts,
        )
        self.server.start()
        self.url = self.server.url

    def humid(self, holds, value):
        """The rule sees damp air, or dry air again, for long enough that people are told."""
        self.alarms.set("humidity_high", holds, value=value, limit=14.0)
        self.alarms.look(90)

    def send(self):
        """What was told since, and all else that is due, goes out as the service sends it."""
        fresh, self.told = self.alarms.told[self.told :], len(self.alarms.told)
        self.gate.ask(lambda engine: self.gate.delivery.teller(engine)(fresh))
        self.gate.now_s = self.now_s()
        self.sender.turn()
        for attempt in self.sender._attempts.values():
            assert attempt.done.result(timeout=20)
        self.sender.turn()

    def channels(self):
        return self.gate.delivery.recipients().channels


@contextmanager
def running(folder):
    with alarm_site(folder / "site.db") as alarms:
        made = Site(alarms, folder)
        try:
            yield made
        finally:
            made.server.stop()


@contextmanager
def visit(chromium, site, url=None, *, may_show=True, path="/me/messages", **options):
    """Mara's own browser on the page of her messages."""
    url = url or site.url
    context = chromium.new_context(**({"viewport": {"width": 360, "height": 800}} | options))
    try:
        context.set_default_timeout(10_000)
        context.add_cookies([{"name": "sorbwatch_session", "value": site.token, "url": url}])
        if may_show is not None:
            context.grant_permissions(["notifications"] if may_show else [], origin=url)
        page = context.new_page()
        page.faults = []
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
        page.goto(url + path)
        yield page
    finally:
        context.close()


class Worker:
    """The worker that the page has set up, what is pushed to it, and what the browser notes of that."""

    def __init__(self, page):
        self.page, self.heard, self.noted = page, [], []
        self.tools = page.context.new_cdp_session(page)
        self.tools.on("ServiceWorker.workerRegistrationUpdated", lambda told: self.heard.append(told))
        self.tools.on("BackgroundService.backgroundServiceEventReceived", self._note)
        self.tools.send("ServiceWorker.enable")
        for service in ("notifications", "pushMessaging"):
            self.tools.send("BackgroundService.startObserving", {"service": service})
            self.tools.send("BackgroundService.setRecording", {"service": service, "shouldRecord": True})
        page.evaluate(READY)
        self.origin = page.evaluate("location.origin")

    def _note(self, told):
        event = told["backgroundServiceEvent"]
        found = {each["key"]: each["value"] for each in event["eventMetadata"]}
        self.noted.append((event["eventName"], found.get("Title") or found.get("Status")))

    def push(self, data):
        """Handed to the worker, and its work waited for; returns all notifications that then stand."""
        found = [each for told in self.heard for each in told["registrations"] if not each["isDeleted"]]
        assert {each["scopeURL"] for each in found} == {f"{self.origin}/"}
        self.noted.clear()
        number = found[-1]["registrationId"]
        self.tools.send(
            "ServiceWorker.deliverPushMessage",
            {"origin": self.origin, "registrationId": number, "data": data},
        )
        for _ in range(500):
            if any(name == "Push event completed" for name, _ in self.noted):
                break
            self.page.wait_for_timeout(10)
        assert ("Push event completed", "Success") in self.noted
        assert [name for name, _ in self.noted].count("Notification displayed") == 1
        return self.page.evaluate(NOTIFICATIONS)


@contextmanager
def subscribed(page, endpoint, browser):
    """A push service that the page can subscribe at; yields what it was asked for."""
    asked = []

    def give(_, options):
        asked.append(options)
        point, auth = (
            b64(each).replace("-", "+").replace("_", "/") for each in (browser.point, browser.auth)
        )
        padded = {"p256dh": point + "=" * (-len(point) % 4), "auth": auth + "=" * (-len(auth) % 4)}
        return {"endpoint": endpoint} | padded

    page.context.expose_binding("subscribed", give)
    page.add_init_script(SUBSCRIBE)
    page.reload()
    yield asked
