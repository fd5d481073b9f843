"""What the pages of ovens show: states, plans, confirmation, hand-over, notice, jobs by their times."""

import re
from dataclasses import replace
from html import unescape

import pytest
from support.ovens import GREY, cycle, heating, idle, interrupted, oven_site, tripped
from support.pages import FakeQueries
from support.spool_site import HOUR_S, START_S

from monitor.model.cycle import Ending
from web import create_app
from web.ovens.view import Views
from web.ovens.words import B51, NO_CUTOUT
from web.present import Presenter

NOW_S = START_S + 6 * HOUR_S
OLD = idle(checklist_at_s=NOW_S - 91 * 86_400.0, is_cutout_confirmed=False, proof_tested_s=None, armed_s=None)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with oven_site(tmp_path_factory.mktemp("ovens")) as made:
        yield made


def text_of(page):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def shown(site, look, path="/ovens/kiln"):
    site.desk.now = look
    return site.page(path)


def test_the_list_shows_each_oven_in_plain_words_with_stop(site):
    """State, hot or not, what runs, time left, who started it, and a stop of its own."""
    page = shown(site, heating(NOW_S), "/ovens")
    text = text_of(page)
    for said in (
        "58 °C Hot: chamber and door burn",
        "Drying at 58 °C.",
        "Started by Mara",
        "4 h of 6 h left",
    ):
        assert said in text
    assert 'action="/ovens/kiln/stop"' in page


def test_what_has_tripped_comes_first():
    """A trip needs a person before anything that runs well."""

    class Two:
        def keys(self):
            return ("a", "b", "c")

        def looks(self):
            return (idle(key="a"), heating(key="b"), tripped(key="c"))

        desk = None

    assert [view.key for view in Views(Two(), Presenter("UTC")).all(NOW_S)] == ["c", "b", "a"]


@pytest.mark.parametrize(
    "path", ["/", "/ovens", "/ovens/kiln", "/spools", "/materials", "/health", "/nowhere"]
)
def test_stop_stands_on_every_page_while_an_oven_heats(site, path):
    """B-17: from any screen, even one that tells of an error; and not where nothing heats."""
    site.desk.now = heating(NOW_S)
    assert 'action="/ovens/stop"' in site.client.get(path).get_data(as_text=True)
    site.desk.now = idle()
    assert 'action="/ovens/stop"' not in site.client.get(path).get_data(as_text=True)


@pytest.mark.parametrize(
    "look",
    [
        heating(heater=0.0, power_w=0.0, permit_left_s=None, phase="hold"),
        idle(power_w=40.0),
        idle(heater=0.1),
        idle(permit_left_s=5.0),
        idle(stop_asked_s=2.0),
        tripped(power_w=60.0),
        heating(is_fresh=False, age_s=60.0),
    ],
)
def test_stop_is_offered_whenever_heat_may_be_on(site, look):
    """H01, H40: a switch that sticks heats in any state; what is not heard may heat."""
    assert 'action="/ovens/stop"' in shown(site, look, "/spools")


def test_a_stop_shows_its_effect_and_at_last_the_plug(site):
    """B-17: asked n s ago, not yet seen, the heater's power; pull the plug after 15 s; nothing once seen."""
    text = text_of(shown(site, heating(NOW_S, stop_asked_s=4.0)))
    assert "Stop asked. 4 s ago . Its effect is not yet seen." in text
    assert "Heater 35 %, 52 W when last heard." in text
    assert "Pull the plug" not in text
    assert "Pull the plug now." in text_of(shown(site, heating(NOW_S, stop_asked_s=15.0)))
    assert "Pull the plug now." in text_of(shown(site, heating(NOW_S, stop_asked_s=15.0), "/spools"))
    cooling = heating(NOW_S, phase="cooling", heater=0.0, power_w=0.0, permit_left_s=None)
    text = text_of(shown(site, cooling))
    assert "Stop asked" not in text
    assert "Cooling down, heat off." in text
    assert "Heater 0 %, 0 W" in text


def test_a_falling_temperature_is_told_from_what_was_watched(tmp_path):
    """B-17: confirmation of effect is the measured temperature, not that an order was sent."""
    with oven_site(tmp_path, heating(NOW_S, stop_asked_s=1.0)) as site:
        site.page("/ovens/kiln")
        site.site.now += 20.0
        site.desk.now = heating(NOW_S, stop_asked_s=21.0, hottest_c=57.0)
        assert "57.0 °C, falling, 1.2 °C" in text_of(site.page("/ovens/kiln"))


def test_an_old_state_is_greyed_with_words_and_never_called_off(site):
    """H40: a frozen page must not be believed."""
    page = shown(site, idle(is_fresh=False, age_s=45.0, is_hot=False))
    assert '<div id="look-kiln" class="look" data-state="stale"' in page
    text = text_of(page)
    assert "Not heard for 45 s: what it does now is not known." in text
    assert "May be hot" in text
    assert "Not hot" not in text
    assert "This is old:" in text
    assert 'data-hot="unknown"' in page
    assert "Never heard" in text_of(
        shown(site, idle(age_s=None, is_fresh=False, is_hot=None, hottest_c=None))
    )


def test_the_live_parts_are_never_older_than_the_page(site):
    """B-17, H40: the stream must not put back what was before a stop."""
    site.desk.now = heating(NOW_S)
    site.client.get("/parts")
    site.desk.now = heating(NOW_S, stop_asked_s=3.0)
    parts = site.client.get("/parts").get_json()["parts"]
    assert "Its effect is not yet seen" in parts["look-kiln"]
    assert "effect not yet seen" in parts["heat-bar"]
    assert "<form" not in parts["look-kiln"] + parts["facts-kiln"]


def test_the_page_tells_the_cycle_its_limits_and_the_water_left(site):
    """Permit, phase, set-point, ceiling and what limits it, water with its range, door, fan, arming."""
    text = text_of(shown(site, heating(NOW_S)))
    for said in (
        "58.2 °C, 57.6 °C", "Set-point 58 °C", "Cut at 63 °C: grey stands 65 °C", "runs out in 22 s unless renewed",
        "Fan turns", "Door shut", "33 % of its time", "Water still to go: about", "Its controller spoke",
    ):  # fmt: skip
        assert said in text, said
    lowered = heating(NOW_S, cycle=cycle(setpoint_c=55.0))
    assert "55 °C, lowered from 58 °C" in text_of(shown(site, lowered))


def test_an_interrupted_cycle_is_told_with_how_far_it_got_and_starts_nothing(site):
    """P38, B-21: "interrupted at 2 h 10 of 6 h", what the spools hold now, and only a new confirmed start."""
    page = shown(site, interrupted(NOW_S))
    text = text_of(page)
    assert "Interrupted at 2 h 10 of 6 h" in text
    assert "Heat stays off." in text
    assert re.search(r"grey PETG Dry it before printing. Water: about 0\.\d+ % \(0\.\d+ to", text)
    assert "Go on with the rest of it" not in text
    assert "/start" not in page


def test_after_a_lost_link_the_rest_is_offered_for_five_minutes(site):
    """B-22: a new start of what was left, no hotter; not after five minutes, nor with another load."""
    look = interrupted(NOW_S, Ending.LINK_LOST)
    page = shown(site, look)
    link = unescape(re.search(r'href="([^"]+resume=c1[^"]*)"', page)[1]).partition("#")[0]
    text = text_of(site.page(link))
    assert "Start heat: 58 °C for 3 h 50" in text
    late = interrupted(NOW_S - 250.0, Ending.LINK_LOST)
    assert "resume=c1" not in shown(site, late)
    assert "can no longer be gone on with" in text_of(site.page(link))
    site.desk.now = replace(interrupted(NOW_S, Ending.LINK_LOST), load=())
    assert "resume=c1" not in site.page("/ovens/kiln")


def test_may_it_be_left_alone_is_answered_with_reasons(site):
    """P31, B-40, B-50: yes or no, and each reason, also that a list is older than 90 days."""
    text = text_of(shown(site, idle(checklist_at_s=NOW_S, proof_tested_s=NOW_S)))
    assert "Yes: everything that unattended use asks for is there." in text
    text = text_of(shown(site, OLD))
    assert "No. Somebody stays with it for as long as it heats." in text
    for why in (
        "no button to arm", NO_CUTOUT, "The checklist is more than 90 days old.", "It was never proof-tested.",
    ):  # fmt: skip
        assert why in text
    attended = heating(NOW_S, cycle=cycle(is_unattended=False))
    assert "What runs was started with somebody staying with it." in text_of(shown(site, attended))


def test_the_safety_page_holds_the_list_the_cutout_and_the_proof_test(site):
    """B-40, B-50: dates, what is due, and the steps in short; never bridge a safety part."""
    text = text_of(shown(site, idle(), "/ovens/kiln/safety"))
    for said in (
        "nothing that burns is within 50 cm", "Gone through by Mara", "Proof-tested on", "Never bridge a safety part",
        "current gone within one lease", B51, "not a fire alarm",
    ):  # fmt: skip
        assert said in text, said


def test_a_trip_shows_its_first_out_and_why_it_cannot_be_reset_from_afar(site):
    """B-30: the order of the rules, local arming for a safety trip, below 45 °C; a plain one may be."""
    text = text_of(shown(site, tripped(hottest_c=51.0), "/ovens/kiln/reset"))
    assert "R6 Rise with heat off first R8 Over the limit 4 s later" in text
    assert "cannot be reset from afar" in text
    assert "It is at 51 °C: wait until it is below 45 °C." in text
    assert "It starts nothing" in text  # B-31
    assert "from afar" not in text_of(shown(site, tripped(is_safety=False), "/ovens/kiln/reset"))
    assert "from afar" not in text_of(shown(site, tripped(armed_s=600.0), "/ovens/kiln/reset"))
    assert "nothing to reset" in text_of(shown(site, idle(), "/ovens/kiln/reset"))


def test_take_out_says_to_cool_first_and_until_when_it_stays_good(site):
    """B-45, D-14: hot means wait; each spool with its time in the open."""
    hot = heating(NOW_S, phase="cooling", heater=0.0, power_w=0.0, permit_left_s=None)
    text = text_of(shown(site, hot, "/ovens/kiln/out"))
    assert "Let it cool first" in text
    assert "It is out already" in text
    cold = text_of(shown(site, idle(phase="done", load=(GREY,)), "/ovens/kiln/out"))
    assert "Let it cool first" not in cold
    assert "it takes up water from the first minute" in cold
    assert "stop it before you open the door" in text_of(shown(site, heating(NOW_S), "/ovens/kiln/out"))


def test_the_notice_tells_what_runs_until_when_and_how_to_shut_it_off(site):
    """B-41, B-42: with a code, a line for the plug, whom to call, never food."""
    page = shown(site, heating(NOW_S), "/ovens/kiln/notice?size=a5&contact=Mara+0123")
    text = text_of(page)
    for said in (
        "What is inside grey", "58 °C, cut at 63 °C", "4 h left", "Call Mara 0123", "pull its plug", "Its plug or switch:",
        "An oven used for plastics is never used for food again.",
    ):  # fmt: skip
        assert said in text, said
    assert 'data-size="a5"' in page
    assert '<path class="dark" d="M' in page
    assert site.client.get("/ovens/kiln/notice?size=a0").status_code == 400
    assert site.client.get("/ovens/kiln/notice?contact=" + "x" * 81).status_code == 400


@pytest.mark.parametrize("name", ["", "/dry", "/out", "/longer", "/reset", "/safety", "/smell", "/notice"])
def test_an_oven_that_is_not_there_is_not_found(site, name):
    """Not a fault of the program."""
    assert site.client.get(f"/ovens/none{name}").status_code == 404


def test_without_a_desk_the_pages_show_what_was_heard_and_offer_nothing():
    """Nothing that looks like a stop where nobody could pass it on."""
    app = create_app(FakeQueries(), None, look_only=False, hosts=frozenset(), zone="UTC")
    client = app.test_client()
    for path in ("/ovens", "/ovens/kiln"):
        page = client.get(path).get_data(as_text=True)
        assert "64 °C" in page
        assert "Stop at the oven itself." in page
        assert 'method="post"' not in page
    assert client.post("/ovens/kiln/stop", headers={"Origin": "http://localhost"}).status_code == 503


def test_a_looker_is_offered_stop_and_nothing_else(site):
    """B-17 against A-roles: stop is anybody's, the rest is not."""
    site.desk.now = heating(NOW_S)
    client = site.made(look_only=True).test_client()
    for path in ("/ovens/kiln", "/ovens/kiln/longer", "/ovens/kiln/safety", "/ovens/kiln/out"):
        page = client.get(path).get_data(as_text=True)
        forms = set(re.findall(r'<form method="post" action="([^"]+)"', page))
        assert forms <= {"/ovens/stop", "/ovens/kiln/stop"}, path
        assert "/ovens/stop" in forms
