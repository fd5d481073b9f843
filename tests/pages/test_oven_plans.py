"""What is shown before heat: plans, what limits them, their confirmation, and jobs by their times."""

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from support.ovens import GREY, heating, idle, interrupted, oven_site
from support.spool_site import HOUR_S, START_S, spool, spool_site

from monitor.model.cycle import Ending
from monitor.model.inventory import Oven
from monitor.model.spool_event import Moved
from web import create_app
from web.ovens.words import B51, NO_CUTOUT

NOW_S = START_S + 6 * HOUR_S
TEMPLATES = Path(__file__).resolve().parents[2] / "web" / "templates"


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with oven_site(tmp_path_factory.mktemp("ovens")) as made:
        yield made


def text_of(page):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def shown(site, look, path="/ovens/kiln"):
    site.desk.now = look
    return site.page(path)


def test_the_plan_says_how_hot_how_long_and_what_limits_it_with_its_source(site):
    """P05, P06, B-14: the weakest item with the source, time with range, floor, energy, who is done when."""
    page = shown(site, idle(load=(GREY,)), "/ovens/kiln/dry?spool=grey")
    text = text_of(page)
    for said in (
        "58 °C for about", "PETG (grey): 65 °C. Source:", "Lowest it can get", "Energy about", "grey (PETG): done after",
        "Fumes of PETG:", "An oven used for plastics is never used for food again.", "chamber and door burn",
    ):  # fmt: skip
        assert said in text, said
    assert '<svg class="curve"' in page
    assert "<table>" in page


def test_the_confirmation_shows_every_line_before_heat(site):
    """B-10: materials, temperature, duration, end time, limit basis, mode, arming; one button."""
    page = shown(site, idle(load=(GREY,)), "/ovens/kiln/dry?spool=grey")
    part = re.search(r'<section id="start".*?</section>', page, re.S)[0]
    text = text_of(part)
    for said in (
        "Inside grey (PETG)",
        "Temperature 58 °C",
        "For ",
        "Ends ",
        "PETG (grey) stands 65 °C",
        "Unattended",
    ):
        assert said in text, said
    assert "Armed at the oven: a start from here is possible for 20 min." in text
    assert part.count("<button") == 1
    assert B51 in text


@pytest.mark.parametrize(
    ("look", "path"),
    [
        (idle(load=(GREY,)), "/ovens/kiln/dry?spool=grey"),
        (idle(load=(GREY,)), "/ovens/kiln/dry?spool=grey&people=stay&at_c=50&hours=4"),
        (idle(load=(GREY,), armed_s=None), "/ovens/kiln/dry?spool=grey"),
        (idle(), "/ovens/kiln/dry?desiccant=silica_gel_orange&dry_g=300"),
        (interrupted(NOW_S, Ending.LINK_LOST), "/ovens/kiln/dry?spool=grey&resume=c1"),
        (heating(NOW_S), "/ovens/kiln/longer"),
    ],
)
def test_wherever_heat_is_started_the_sentence_of_class_a_stands(site, look, path):
    """B-51: word for word, beside every button that asks for heat."""
    page = site_page_with(site, look, path)
    assert re.search(r'action="/ovens/kiln/(start|extend)"', page)
    assert B51 == "Software here is class A; it lowers risk, the thermal cut-out is what makes it safe."
    assert B51 in page


def site_page_with(site, look, path):
    site.desk.now = look
    if "desiccant" in path:
        site.site.tell(Moved(place="crate"))
        try:
            return site.page(path)
        finally:
            site.site.tell(Moved(place="kiln"))
    return site.page(path)


def test_no_template_can_ask_for_heat_without_the_sentence():
    """B-51: also one that somebody adds later."""
    found = 0
    for file in TEMPLATES.rglob("*.html"):
        text = file.read_text()
        if "'ovens.start'" in text or "'ovens.extend'" in text:
            found += 1
            assert "{{ b51 }}" in text, file.name
    assert found == 2


def test_without_a_confirmed_cutout_it_is_attended_only(site):
    """B-51, B-40: no cut-out, no list, no proof test: each named, and the mode is attended."""
    look = idle(load=(GREY,), is_cutout_confirmed=False, proof_tested_s=None)
    text = text_of(shown(site, look, "/ovens/kiln/dry?spool=grey"))
    assert f"{B51} {NO_CUTOUT}" in text
    assert "Attended: somebody stays with it" in text
    assert 'name="unattended"' not in site.page("/ovens/kiln/dry?spool=grey")


def test_without_an_arming_input_it_is_cooler_shorter_and_says_so(site):
    """B-11: at most 60 °C and 8 h, attended, and the page says that it will not be done by then."""
    text = text_of(shown(site, idle(load=(GREY,), armed_s=None), "/ovens/kiln/dry?spool=grey"))
    assert "Start heat: 58 °C for 8 h" in text
    assert "it will not be done" in text
    assert "not locally armed" in text
    assert "Attended: somebody stays with it" in text


def test_without_arming_there_is_nothing_to_press(site):
    """B-10, B-12: the page says to press the button at the oven."""
    page = shown(site, idle(load=(GREY,), armed_s=0.0), "/ovens/kiln/dry?spool=grey")
    assert "Press the arm button at the oven; it lapses in 30 min" in text_of(page)
    assert "heat-on" not in page


def test_a_spool_that_lies_elsewhere_must_be_put_in_first(site):
    """B-10: what is confirmed is what is inside, and what is inside counts (B-14)."""
    page = shown(site, idle(load=(GREY,)), "/ovens/kiln/dry?spool=black")
    text = text_of(page)
    assert "black lies elsewhere" in text
    assert "Inside, too grey" in text
    assert 'action="/ovens/kiln/start"' not in page
    both = site.page("/ovens/kiln/dry?spool=grey&spool=black")
    assert "black lies elsewhere" in text_of(both)
    assert 'action="/ovens/kiln/in"' in both


def test_a_refused_plan_says_what_limits_it(tmp_path):
    """B-14, P06: refused, not turned down silently; the limiting item and its limit."""
    with spool_site(tmp_path, spool(place="kiln", reel="pla", material="pla")) as site:
        inventory = site.queries.inventory()
        hot = Oven(key="kiln", name="Kiln", room="loft", max_c=90.0, overshoot_c=14.0, channel="n1/kiln")
        site.engine.change_inventory(replace(inventory, ovens={"kiln": hot}), site.now)
        site.commit()
        site.pass_time(2.0, loft=45.0)
        app = create_app(site.queries, site.changes, look_only=False, hosts=frozenset(), zone="UTC")
        text = text_of(app.test_client().get("/ovens/kiln/dry?spool=grey").get_data(as_text=True))
    assert "What limits it:" in text
    assert "it stands 50 °C" in text


def test_desiccant_comes_with_its_dangers_and_alone(site):
    """P15: burns, packets that soften, no spools beside it; what must not be heated is not offered."""
    site.desk.now = idle(load=(GREY,))
    page = site.page("/ovens/kiln/dry?desiccant=silica_gel_orange&dry_g=300")
    assert "Hot beads burn" in text_of(page)
    assert "Inside, too grey" in text_of(page)
    assert 'action="/ovens/kiln/start"' not in page
    assert "calcium_chloride" not in page
    both = text_of(site.page("/ovens/kiln/dry?desiccant=silica_gel_orange&dry_g=300&spool=grey"))
    assert "never beside spools" in both


def test_jobs_by_their_times_say_what_to_start_when(site):
    """P28, D-11: start times, slack, earliest possible; nothing is started from it."""
    site.desk.now = idle()
    asked = len(site.desk.asked)
    page = site.page("/ready?spool1=grey&due1=2026-09-26T20:00&spool2=black&due2=2026-09-23T10:00")
    text = text_of(page)
    assert "All of it is ready in time." in text
    assert "of slack" in text
    soon = text_of(site.page("/ready?spool1=grey&due1=2026-09-21T23:00"))
    assert "1 of 1 will be late" in soon
    assert "if it went first" in soon
    assert 'method="post"' not in page
    assert len(site.desk.asked) == asked


@pytest.mark.parametrize(
    "query",
    [
        "spool1=none&due1=2026-09-26T20:00", "spool1=grey", "spool1=grey&due1=yesterday", "due1=2026-09-26T20:00",
        "spool1=grey&due1=2020-01-01T00:00", "spool1=grey&due1=2026-09-26T20:00&from=25:00&to=9",
        "spool1=grey&due1=2026-09-26T20:00&spool2=grey&due2=2026-09-26T20:00", "spool1=%00&due1=%ff",
    ],
)  # fmt: skip
def test_what_is_typed_wrong_is_answered_in_a_sentence(site, query):
    """No stack trace, no silence: the page says which line."""
    assert 'role="alert"' in site.page(f"/ready?{query}")


@pytest.mark.parametrize(
    "query",
    [
        "spool=none", "spool=grey&spool=grey", "spool=grey&target_pct=-1", "spool=grey&target_pct=nan",
        "spool=grey&ready_by=2020-01-01T00:00", "spool=grey&ready_by=x", "desiccant=none&dry_g=3", "desiccant=x",
        "spool=grey&at_c=500", "spool=grey&at_c=59", "spool=grey&hours=47.9", "spool=grey&hours=0", "spool=grey&people=all",
        "spool=grey&resume=c9", "spool=%3Cscript%3E", "spool=" + "a" * 3000, "spool=grey&hours=1e400",
        "desiccant=calcium_chloride&dry_g=100",
    ],
)  # fmt: skip
def test_a_wish_that_is_none_is_refused_in_a_sentence_and_offers_no_heat(site, query):
    """Hostile or mistyped: nothing to press, nothing echoed raw."""
    site.desk.now = idle(load=(GREY,))
    page = site.page(f"/ovens/kiln/dry?{query}")
    assert 'role="alert"' in page or 'data-level="now"' in page
    assert "heat-on" not in page
    assert "<script>" not in page
