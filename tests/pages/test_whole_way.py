"""A-40 from the button to the tap, by a browser and by a web hook at once, with nothing in between replaced."""

import json
import re
from html import unescape

import pytest
from support.push import Browser, b64, claims_of, push_service
from support.sign_in import gate, send

from monitor.edge.ways import Ways
from monitor.service.sender import Sender

pytestmark = pytest.mark.filterwarnings("default")  # the library's own warnings are not ours to mend


def test_the_whole_way(tmp_path):
    """Condition, message, ways, links, taps: the time of each is kept and shown."""
    ways = Ways(
        tmp_path / "ways.db", contact="mailto:m@example.org", now_s=lambda: site.now_s, may_push_inside=True
    )
    browser = Browser()
    with (
        gate(tmp_path, ways=ways) as site,
        push_service() as (endpoint, pushed),
        push_service() as (hook, posted),
    ):
        mara = site.client(site.make_owner())
        key = mara.get("/messages/push-key").get_data(as_text=True)
        keys = {"p256dh": b64(browser.point), "auth": b64(browser.auth)}
        assert (
            send(mara, "/messages/me/push", {"name": "phone", "endpoint": endpoint, **keys}).status_code
            == 303
        )
        address = hook.replace("http://", "json://").partition("?")[0]
        assert send(mara, "/messages/me/ways", {"name": "hook", "address": address}).status_code == 303
        sender = Sender(
            site.site.reader, site.ask, send=ways.send, now_s=lambda: site.now_s, pace_s=lambda: site.pace_s
        )
        assert send(mara, "/messages/me/test").status_code == 303
        sender.turn()
        for attempt in sender._attempts.values():
            assert attempt.done.result(timeout=20)
        sender.turn()
        ((headers, body),), ((_, hooked),) = pushed, posted
        assert claims_of(headers["Authorization"])[1] == key
        told = json.loads(browser.read(body))
        by_hook = re.search(r"http://localhost(/me/messages/test/[\w-]{32})", json.loads(hooked)["message"])[
            1
        ]
        assert told["path"] in told["body"]
        assert by_hook != told["path"]
        phone, after_s = site.client(), (7.0, 11.0)
        for path, seconds in zip((told["path"], by_hook), after_s, strict=True):
            site.now_s += seconds
            assert "It has come" in phone.get(path).get_data(as_text=True)
            assert phone.post(path, headers={"Origin": "http://localhost"}).status_code == 303
        page = unescape(mara.get("/me/messages").get_data(as_text=True))
    assert "by phone: sent in" in page
    assert "heard after 7 s" in page
    assert "heard after 18 s" in page
    assert "No test has been heard" not in page
