"""C-22: the secret address of the calendar, from the form to what a calendar program reads."""

import re

import pytest
import vobject
from support.sign_in import ADDRESS, csrf, gate, send

from monitor.model.people import Role
from monitor.model.sensor_check import Installed, SensorTold


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        made.site.air("crate", 48.0, 23.0, 12.0)
        made.site.follow()
        yield made


def address_of(page):
    return re.search(r"http://localhost(/calendar/[\w-]+\.ics)", page.text)[1]


def told_sensor(site, serial):
    told = SensorTold(channel="n1/crate", at_s=site.site.now, who="Mara", wish=Installed(serial=serial))
    site.site.changes.add_sensor_event(told)


def read(site, path):
    answer = site.client().get(path)
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "text/calendar; charset=utf-8"
    return {event.uid.value: event for event in vobject.readOne(answer.text).contents.get("vevent", [])}


def test_an_address_is_made_read_without_signing_in_and_ended(site):
    told_sensor(site, "a1")
    client = site.client(site.make_owner())
    made = send(client, "/calendar")
    assert made.status_code == 201
    path = address_of(made)
    assert path not in client.get("/calendar").text  # it is shown once
    events = read(site, path)
    (check,) = [event for uid, event in events.items() if uid.startswith("check-n1.crate@")]
    assert "Check the sensor in" in check.summary.value
    assert "not an alarm" in check.description.value
    assert read(site, path)[check.uid.value].sequence.value == "0"
    assert send(client, "/calendar/1/end").status_code == 200
    assert site.client().get(path).status_code == 404
    assert ("Mara", "made", "calendar address") in site.acts()
    assert ("Mara", "ended", "calendar address") in site.acts()


def test_a_date_that_moved_comes_with_the_next_number(site):
    told_sensor(site, "a1")
    path = address_of(send(site.client(site.make_owner()), "/calendar"))
    uid = next(uid for uid in read(site, path) if uid.startswith("check-"))
    told = SensorTold(
        channel="n1/crate",
        at_s=site.site.now,
        who="Mara",
        wish=Installed(serial="a2", interval_months=3),
    )
    site.site.changes.add_sensor_event(told)
    assert read(site, path)[uid].sequence.value == "1"


def test_nobody_else_ends_it_and_it_goes_with_its_person(site):
    owner = site.client(site.make_owner())
    other = site.client(site.add("Ilka", Role.LOOK))
    path = address_of(send(other, "/calendar"))
    send(owner, "/calendar/1/end")
    read(site, path)
    site.people.remove("Mara", site.number("Ilka"))
    assert site.client().get(path).status_code == 404


def test_five_addresses_are_enough(site):
    client = site.client(site.make_owner())
    for _ in range(5):
        assert send(client, "/calendar").status_code == 201
    refused = send(client, "/calendar")
    assert refused.status_code == 400
    assert "end one first" in refused.text


@pytest.mark.parametrize("secret", ["x", "a" * 400, "..%2f..%2fetc", "%00", "é"])
def test_a_guessed_address_tells_nothing(site, secret):
    assert site.client().get(f"/calendar/{secret}.ics").status_code == 404


def test_a_form_without_its_token_makes_no_address(site):
    client = site.client(site.make_owner())
    assert csrf(client)
    assert send(client, "/calendar", with_csrf=False).status_code == 403
    assert site.calendar.feeds("Mara") == ()
    assert site.client().post("/calendar", environ_base={"REMOTE_ADDR": ADDRESS}).status_code == 403


def test_the_database_keeps_no_secret(site, tmp_path):
    path = address_of(send(site.client(site.make_owner()), "/calendar"))
    secret = path.removeprefix("/calendar/").removesuffix(".ics").encode()
    content = b"".join(each.read_bytes() for each in tmp_path.glob("site.db*"))
    assert b"calendar_feed" in content
    assert secret not in content
