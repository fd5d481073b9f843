"""The pages of alarms: four distinct verbs, what is refused, the health page; and the same over the API."""

import json
import re
from html import unescape

import pytest
from support.alarm_site import BOX, ROOM, alarm_site
from support.delivery import channel, recipients
from support.documents import check as check_document
from support.spool_site import OTHER_BOX, OVEN

from monitor.alarms.delivery import plan
from monitor.alarms.delivery_due import due, letter
from monitor.alarms.events import WHAT
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.service.alarm_desk import EVERY_S
from web import create_app
from web.alarms.view import HAPPENED
from web.openapi import DOCUMENT

HERE = {"Origin": "http://localhost"}
HUMID = f"humidity_high-{BOX}"
TRIP = "oven_trip-kiln"


@pytest.fixture
def site(tmp_path):
    with alarm_site(tmp_path / "site.db") as made:
        made.settle()
        yield made


def client_of(site, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": "UTC"} | more
    return create_app(site.queries, site.changes, alarms=site.acts, **options).test_client()


def text_of(response):
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.text)))


def send(client, path, **fields):
    return client.post(path, data={"who": "Mira"} | fields, headers=HERE)


def raised(site, kind="humidity_high", place=BOX, **more):
    """An alarm of this kind at a place, told."""
    site.set(kind, True, place, **({"value": 40.0, "limit": 14.0} if kind == "humidity_high" else {}) | more)
    site.look(90)
    return next(look for look in site.desk.looks() if look.alarm.type == kind)


def test_what_why_what_to_do_and_by_when(site):
    """A-30, A-31: four parts, the deadline in local time; nothing where all is well."""
    client = client_of(site)
    assert "No alarm" in text_of(client.get("/alarms"))
    look = raised(site, deadline_s=site.clock.wall + 5 * 3600.0)
    page = client.get("/alarms")
    text = text_of(page)
    for words in (look.alarm.what, look.alarm.why, look.alarm.act):
        assert words in text
    assert re.search(r"by \d\d:\d\d (today|tomorrow)", text)
    assert f'href="/boxes/{BOX}"' in page.text
    assert ">1</b>" in client.get("/").text  # the count on every page


def test_what_is_not_so_for_long_enough_is_named_with_when_it_is_told(site):
    """Whoever reads of it on the front page finds here why it is no alarm yet; it is gone once it is one, or over."""
    client = client_of(site)
    site.acts.set_figure("humidity_high", "on_delay_s", 1_800.0, "Mira", "a hand is in it often")
    site.set("humidity_high", True, value=40.0, limit=14.0)
    site.look(11)
    (waiting,) = site.desk.waiting()
    assert waiting.left_s == pytest.approx(1_800.0 - 10 * EVERY_S)
    text = text_of(client.get("/alarms"))
    assert "No alarm" in text
    assert re.search(rf"Not for long enough yet .*humidity_high at {BOX}\. Told in about 25 min", text)
    site.look(60)
    assert site.desk.waiting() == ()
    assert [look.alarm.key for look in site.desk.looks()] == [HUMID]
    assert "Not for long enough yet" not in text_of(client.get("/alarms"))


def test_just_started_nothing_is_listed_as_waiting(tmp_path):
    """A-23: until every sensor has been heard again all of them look silent."""
    with alarm_site(tmp_path / "fresh.db") as fresh:
        fresh.acts.set_figure("reading_stale", "on_delay_s", 1_800.0, "Mira", "radio is weak here")
        fresh.set("reading_stale", True)
        fresh.look(1)
        assert fresh.desk.is_settling()
        assert fresh.desk.waiting()
        text = text_of(client_of(fresh).get("/alarms"))
        assert "Just started" in text
        assert "Not for long enough yet" not in text


def test_what_passes_before_its_delay_is_waited_for_no_more(site):
    site.acts.set_figure("humidity_high", "on_delay_s", 1_800.0, "Mira", "a hand is in it often")
    site.set("humidity_high", True, value=40.0, limit=14.0)
    site.look(2)
    assert [each.key for each in site.desk.waiting()] == [HUMID]
    site.set("humidity_high", False, value=5.0, limit=14.0)
    site.look(1)
    assert site.desk.waiting() == ()


def test_what_is_pushed_leads_to_a_page_that_exists(site):
    """One alarm to its own page; many told as one to the list, since no alarm has their subject."""
    raised(site)
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        site.set("reading_stale", True, place)
    site.look(2)
    assert {message.subject for message in site.told} == {HUMID, "storm"}
    who, client, paths = recipients(channel(1)), client_of(site), set()
    for added in plan(site.told, who, site.clock.wall, "UTC"):
        (sending,) = due([added.row], (), who, added.row.not_before_ms)
        paths.add(letter(sending).path)
    assert paths == {f"/alarms/{HUMID}", "/alarms"}
    assert {client.get(path).status_code for path in paths} == {200}


def test_seen_is_of_this_occurrence(site):
    """A-04: an old page cannot silence what began since."""
    client = client_of(site)
    first = raised(site).alarm.activation
    assert send(client, f"/alarms/{HUMID}/seen", activation=first).status_code == 303
    assert site.shown() == {HUMID: "acked"}
    site.set("humidity_high", False, value=10.0, limit=14.0)
    site.look(90)
    second = raised(site).alarm.activation
    assert second != first
    refused = send(client, f"/alarms/{HUMID}/seen", activation=first)
    assert refused.status_code == 409
    assert "Nothing was changed" in text_of(refused)
    assert site.shown() == {HUMID: "unack"}


def test_all_that_were_on_the_screen_at_once(site):
    client = client_of(site)
    raised(site)
    raised(site, place="chest")
    page = client.get("/alarms").text
    pairs = re.findall(r'name="alarm" value="([^"]+)"', page)
    assert len(pairs) == 2
    site.set("reading_stale", True)
    site.look(90)  # came after the page was made: it is not seen by its button
    assert send(client, "/alarms/seen", alarm=pairs).status_code == 303
    assert sorted(site.shown().values()) == ["acked", "acked", "unack"]


def test_put_aside_needs_a_reason_and_an_end(site):
    """A-06: bounded, with who and why, counted on every page, taken back at any time."""
    client = client_of(site)
    raised(site)
    for fields in (
        {"until": "1"},
        {"why": "printing"},
        {"until": "forever", "why": "x"},
        {"until": "1", "why": ""},
    ):
        assert send(client, f"/alarms/{HUMID}/aside", **fields).status_code == 409
    assert site.shown() == {HUMID: "unack"}
    assert send(client, f"/alarms/{HUMID}/aside", until="1", why="printing until noon").status_code == 303
    assert site.shown() == {HUMID: "shlvd"}
    text = text_of(client.get("/alarms"))
    assert "printing until noon" in text
    assert "By Mira until" in text
    assert "1 aside" in text_of(client.get("/materials"))
    assert send(client, f"/alarms/{HUMID}/back").status_code == 303
    assert site.shown() == {HUMID: "unack"}


def test_what_is_dangerous_is_not_offered_to_be_put_aside_and_refuses(site):
    client = client_of(site)
    look = raised(site, "oven_trip", "kiln")
    page = client.get("/alarms").text
    assert "Put it aside" not in page
    assert "Danger" in page
    refused = send(client, f"/alarms/{look.alarm.key}/aside", until="1", why="no time")
    assert refused.status_code == 409
    assert site.shown()[look.alarm.key] == "unack"


def test_quiet_is_not_seen_and_reset_is_neither(site):
    """A-05, A-11: three different verbs; a reset is refused while it is so."""
    client = client_of(site)
    look = raised(site, "oven_trip", "kiln")
    key = look.alarm.key
    assert send(client, "/alarms/quiet", minutes="15").status_code == 303
    assert "Quiet until" in text_of(client.get("/alarms"))
    assert site.shown()[key] == "unack"
    assert send(client, f"/alarms/{key}/reset").status_code == 409
    send(client, f"/alarms/{key}/seen", activation=look.alarm.activation)
    assert send(client, f"/alarms/{key}/reset").status_code == 409
    site.set("oven_trip", False, "kiln")
    site.look(90)
    assert site.shown()[key] == "latchd"
    assert "Locked until it is reset" in text_of(client.get("/alarms"))
    assert send(client, f"/alarms/{key}/reset").status_code == 303
    assert key not in site.shown()
    for minutes in ("0", "61", "x", "nan", ""):
        assert send(client, "/alarms/quiet", minutes=minutes).status_code == 409


def test_out_of_service_and_back(site):
    client = client_of(site)
    raised(site)
    assert send(client, f"/alarms/{HUMID}/out", why="").status_code == 409
    assert send(client, f"/alarms/{HUMID}/out", why="box taken apart").status_code == 303
    assert site.shown() == {HUMID: "oosrv"}
    assert "box taken apart" in text_of(client.get("/alarms"))
    assert send(client, f"/alarms/{HUMID}/in").status_code == 303
    assert site.shown() == {HUMID: "unack"}


def test_one_alarm_tells_why_there_is_such_a_one_and_what_became_of_it(site):
    client = client_of(site)
    raised(site)
    send(client, f"/alarms/{HUMID}/aside", until="4", why="printing")
    page = text_of(client.get(f"/alarms/{HUMID}"))
    row = site.desk.row("humidity_high")
    for words in (row.set_point, row.basis, *row.causes):
        assert words in page
    assert "put aside" in page
    assert "Mira" in page
    assert client.get("/alarms/nothing").status_code == 404


def test_the_health_page_counts_from_the_log_and_an_owner_sets_a_number(site):
    """A-18, A-19, A-32: figures, then a change with old, new, who and why, taken back by one tap."""
    client = client_of(site)
    for _ in range(3):
        raised(site)
        site.set("humidity_high", False, value=10.0, limit=14.0)
        site.look(90)
    page = client.get("/alarms/health")
    assert page.status_code == 200
    assert "3 began" in text_of(page)
    assert "3 times, when it had held for 0 s on average" in text_of(page)
    before = site.desk.row("humidity_high").deadband
    fields = {"type": "humidity_high", "name": "deadband", "value": "3.5", "why": "noisy"}
    assert send(client, "/alarms/figures", **fields).status_code == 303
    assert site.desk.row("humidity_high").deadband == 3.5
    assert "noisy" in text_of(client.get("/alarms/health"))
    revert = {"type": "humidity_high", "name": "deadband"}
    assert send(client, "/alarms/figures/revert", **revert).status_code == 303
    assert site.desk.row("humidity_high").deadband == before
    for wrong in (
        {"value": "-1"},
        {"value": "x"},
        {"name": "k"},
        {"type": "no"},
        {"why": ""},
        {"type": "oven_trip"},
    ):
        assert send(client, "/alarms/figures", **fields | wrong).status_code == 409
    assert site.desk.row("humidity_high").deadband == before


def test_a_better_deadband_is_proposed_from_the_sensors_own_noise(site):
    """A-18: three times the noise of the last day; only where the alarm chatters, and a person approves."""
    client = client_of(site)
    now_s = site.clock.wall
    wiggle = [1.2, -1.2, 0.9, -1.1]
    site.engine._batch.readings += [
        Reading(
            node="n1",
            channel=BOX,
            quantity=Quantity.HUMIDITY,
            time_ms=round(1000.0 * (now_s - 60.0 * number)),
            value=14.0 + wiggle[number % 4],
            quality=TimeQuality.SYNCED,
        )
        for number in range(200)
    ]
    site.commit()
    assert site.acts.proposals(site.acts.health()) == ()  # nothing chatters
    for _ in range(4):
        site.set("humidity_high", True, value=40.0, limit=14.0)
        site.look(24)
        site.set("humidity_high", False, value=5.0, limit=14.0)
        site.look(32)
    found = site.acts.health(sample_s=120.0)
    (proposal,) = site.acts.proposals(found)
    assert proposal.type == "humidity_high"
    assert 4.0 < proposal.deadband < 6.5
    assert f"{proposal.deadband:g}" in proposal.words
    page = client.get("/alarms/health")
    assert page.status_code == 200


def test_the_api_asks_the_same(site):
    client = client_of(site)
    look = raised(site)

    def ask(path, **body):
        return client.post(f"/api/v1/alarms/{path}", json={"who": "mara"} | body, headers=HERE)

    answer = ask(f"{HUMID}/acknowledge", activation=look.alarm.activation)
    assert answer.status_code == 200
    check_document(answer.get_json(), DOCUMENT["components"]["schemas"]["Alarm"], DOCUMENT)
    assert answer.get_json()["state"] == "acked"
    until_s = site.clock.wall + 3600.0
    assert ask(f"{HUMID}/shelve", until_s=until_s, why="printing").get_json()["state"] == "shlvd"
    assert ask(f"{HUMID}/unshelve").get_json()["state"] == "acked"
    assert ask(f"{HUMID}/out-of-service", why="apart").get_json()["state"] == "oosrv"
    assert ask(f"{HUMID}/return").get_json()["state"] == "acked"
    assert ask("silence", minutes=5).get_json()["until_s"] == pytest.approx(site.clock.wall + 300.0)
    for path, body, status in (
        (f"{HUMID}/acknowledge", {}, 400),
        (f"{HUMID}/acknowledge", {"activation": "old"}, 409),
        (f"{HUMID}/shelve", {"why": "no end"}, 400),
        (f"{HUMID}/shelve", {"until_s": until_s}, 400),
        (f"{HUMID}/shelve", {"until_s": 1e99, "why": "x"}, 400),
        (f"{HUMID}/reset", {"extra": 1}, 400),
        ("nothing/acknowledge", {"activation": "x"}, 400),
        ("silence", {"minutes": "many"}, 400),
    ):
        refused = ask(path, **body)
        assert refused.status_code == status, (path, body, refused.text)
        assert refused.mimetype == "application/problem+json"
    listed = client.get("/api/v1/alarms").get_json()
    assert [alarm["key"] for alarm in listed] == [HUMID]


def test_everything_that_the_log_says_has_words_for_people():
    assert set(HAPPENED) == set(WHAT)


def test_refusals_are_written_down_with_who(site):
    """Bad input: one sentence, nothing changed, logged with who."""
    client = client_of(site)
    raised(site)
    send(client, f"/alarms/{HUMID}/seen", activation="of long ago")
    assert any(line.who == "Mira" and "refused" in line.what for line in site.audited)


def test_where_nothing_can_be_changed_alarms_are_only_looked_at(site):
    client = client_of(site, look_only=True)
    look = raised(site)
    page = client.get("/alarms").text
    assert look.alarm.what in unescape(page)
    assert "<form" not in page
    assert send(client, f"/alarms/{HUMID}/seen", activation=look.alarm.activation).status_code == 403
    assert (
        json.loads(client.post(f"/api/v1/alarms/{HUMID}/reset", json={}, headers=HERE).text)["status"] == 403
    )
