"""P07, P31, P32 on the pages: an oven that lies, one left alone overnight, a smell."""

import re

import pytest
from support.oven_learning import KITCHEN, Thermostat, commissioned, prove
from support.oven_site import OVEN, oven_site, spool
from support.ovens import HERE

from monitor.model.oven_fact import OvenChanges
from monitor.oven.site import Tick
from monitor.service.oven_runs import measured
from web import create_app


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path, spool("black", "abs", place=OVEN, reel="pc")) as made:
        made.client = create_app(
            made.queries, made.changes, look_only=False, hosts=frozenset(), zone="UTC", desk=made.acts
        ).test_client()
        yield made


def text_of(site, path):
    html = site.client.get(path).get_data(as_text=True)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_p07_once_measured_a_kitchen_oven_dries_abs_but_neither_pla_nor_pva(site):
    """P07: by the oven that was measured, whatever the inventory's overshoot says."""
    run = commissioned(KITCHEN, control=Thermostat(50.0), oven=OVEN, at_s=site.clock.wall)
    fact = measured(run, site.queries.inventory().ovens[OVEN], site.clock.wall)
    site.world.note(OvenChanges(runs={(OVEN, run.run): run}, facts=[fact]))
    site.run(30)
    for material, is_unfit in (("pla", True), ("pva", True), ("abs", False)):
        site.load(spool("black", material, place=OVEN, reel="pc"))
        site.desk.tell_site()
        site.arm()
        problems = site.acts.start(OVEN, site.wish(setpoint_c=36.0), "mara")
        assert [problem.rule for problem in problems[:1]] == (["H19"] if is_unfit else []), material


def test_p31_overnight_is_a_no_with_reasons_until_everything_is_there(site):
    """P31: yes only with cut-out, checklist and a proof test with its numbers."""
    text = text_of(site, "/ovens/kiln/safety")
    assert "No. Somebody stays with it" in text
    assert "It was never proof-tested." in text
    site.acts.tick_off(OVEN, tuple(Tick), "mara")
    site.acts.confirm_cutout(OVEN, "mara")
    site.run(30)
    assert "It was never proof-tested." in text_of(site, "/ovens/kiln/safety")
    prove(site)
    site.run(30)
    assert "Yes: everything that unattended use asks for is there." in text_of(site, "/ovens/kiln/safety")
    site.acts.proof.tell(OVEN, "lease", {"gone_s": 300.0}, ("stays_off",), "mara")
    site.run(30)
    text = text_of(site, "/ovens/kiln/safety")
    assert "No. Somebody stays with it" in text
    assert "out of service" in text


def test_p32_a_smell_ends_the_cycle_and_opens_the_list_with_what_the_material_gives_off(site):
    """P32, B-43: one press, no name asked; styrene for ABS."""
    site.arm()
    assert site.acts.start(OVEN, site.wish(), "mara") == ()
    site.run(900)
    assert site.look().heater > 0.0
    answer = site.client.post("/ovens/kiln/stop", data={"why": "smell"}, headers=HERE)
    assert answer.headers["Location"].endswith("/ovens/kiln/smell")
    site.run(10)
    assert site.look().heater == 0.0
    assert "smell" in site.look().ended.why
    text = text_of(site, "/ovens/kiln/smell")
    assert "call the fire brigade" in text
    assert "tyrene" in text
