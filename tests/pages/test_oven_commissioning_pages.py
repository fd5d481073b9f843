"""Pages of the commissioning run and of the proof test, on the real desk (A-39, B-50, P07)."""

import re

import pytest
from support.oven_learning import GOOD, KITCHEN, PASSING, Thermostat, commissioned, fit_cutout
from support.oven_site import HOUR_S, OVEN, oven_site, spool
from support.ovens import HERE

from monitor.model.oven_fact import OvenChanges
from monitor.model.plan import Goal, When
from monitor.oven.fitness import DISAGREE_MOST_C
from monitor.service.oven_runs import measured
from monitor.service.planning import RoomWish, plan_in_oven
from web import create_app

PAGE, PROOF = "/ovens/kiln/commissioning", "/ovens/kiln/proof"


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path, spool("grey", "pla", reel="pc")) as made:
        made.rig.oven.skin_c, made.rig.oven.core_c = [], []
        fit_cutout(made)
        made.client = create_app(
            made.queries, made.changes, look_only=False, hosts=frozenset(), zone="UTC", desk=made.acts
        ).test_client()
        yield made


def text_of(response):
    assert response.status_code in (200, 400, 409), response.status_code
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.get_data(as_text=True)))


def send(site, path, fields):
    return site.client.post(path, data=fields, headers=HERE)


def fields_of(site):
    html = site.client.get(PAGE).get_data(as_text=True)
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', html))
    return hidden | {"kind": "empty", "prepared": "yes", "stays": "yes", "who": "Mira"}


def test_from_the_page_to_a_run_to_the_rules_figures(site):
    """Guided: what to prepare, ticks, the run, before and after, accept, take back."""
    text = text_of(site.client.get(PAGE))
    assert "No thermal cut-out is confirmed" in text
    assert "Start heat" not in text
    site.acts.confirm_cutout(OVEN, "mara")
    site.arm()
    text = text_of(site.client.get(PAGE))
    for said in ("Take everything out", "never used for food", "No run yet", "Start heat: 50 °C for 1 h"):
        assert said in text
    fields = fields_of(site)
    assert "Not ticked: I stay with it" in text_of(send(site, PAGE, fields | {"stays": ""}))
    for change in ({"kind": "hot"}, {"version": "-1"}, {"version": "x"}, {"who": ""}):
        assert send(site, PAGE, fields | change).status_code == 409
    assert site.look().cycle is None
    assert send(site, PAGE, fields).status_code == 303
    site.run(600)
    assert "A run is under way" in text_of(site.client.get(PAGE))
    site.run(1.2 * HOUR_S)
    text = text_of(site.client.get(PAGE))
    assert "Fit for every material of the catalogue." in text
    assert "A run is under way" not in text
    run = site.reader.oven_runs(OVEN)[0].run
    assert send(site, PAGE + "/accept", {"run": "c0", "who": "Mira"}).status_code == 409
    assert send(site, PAGE + "/accept", {"run": run, "who": "Mira"}).status_code == 303
    text = text_of(site.client.get(PAGE))
    assert "The rules go by this run." in text
    assert "Mira accepted a run" in text
    assert send(site, PAGE + "/take-back", {"who": "Ada"}).status_code == 303
    assert "Ada took it back" in text_of(site.client.get(PAGE))
    assert send(site, PAGE + "/take-back", {"who": "Ada"}).status_code == 409


def test_p07_the_page_names_each_material_that_a_swinging_oven_is_unfit_for(site):
    """P07: PLA and PVA with the reason in numbers; ABS among those it is fit for."""
    run = commissioned(KITCHEN, control=Thermostat(50.0), oven=OVEN, at_s=site.clock.wall)
    fact = measured(run, site.queries.inventory().ovens[OVEN], site.clock.wall)
    site.world.note(OvenChanges(runs={(OVEN, run.run): run}, facts=[fact]))
    site.run(30)
    text = text_of(site.client.get(PAGE))
    unfit, fit = text.partition("Unfit for")[2].split("Fit for", 1)
    assert "PLA" in unfit
    assert "PVA" in unfit
    assert "guard" in unfit
    assert "ABS" in fit
    assert "ABS" not in unfit


def test_p07_a_plan_for_an_oven_that_is_unfit_for_all_says_so(site):
    """Whoever plans hears it, not only whoever starts."""
    run = commissioned(GOOD, offset_c=DISAGREE_MOST_C + 1.0, oven=OVEN, at_s=site.clock.wall)
    fact = measured(run, site.queries.inventory().ovens[OVEN], site.clock.wall)
    air, when = RoomWish(temperature_c=21.0, humidity_pct=40.0), When(now_s=site.clock.wall)
    before = plan_in_oven(site.queries, OVEN, ("grey",), Goal(), when, air)
    site.world.note(OvenChanges(runs={(OVEN, run.run): run}, facts=[fact]))
    site.run(30)
    plan = plan_in_oven(site.queries, OVEN, ("grey",), Goal(), when, air)
    assert "apart" in plan.cautions[0]
    assert "take another oven" in plan.cautions[0]
    assert not any("take another oven" in caution for caution in before.cautions)


def test_the_proof_test_is_told_step_by_step_and_concluded(site):
    """Each step with what is allowed; a wrong entry is named; the history shows the numbers."""
    text = text_of(site.client.get(PROOF))
    for said in ("1. Cut-out", "5. Stop", "Allowed: 90 to 100 °C", "open no cover", "licensed person"):
        assert said in text
    wrong = text_of(send(site, PROOF + "/lease", {"gone_s": "soon", "who": "Mira"}))
    assert "gone_s" in wrong
    assert "0 to 600 s" in wrong
    assert send(site, PROOF + "/prayer", {"who": "Mira"}).status_code == 400
    assert "still to be done" in text_of(send(site, PROOF, {"passed": "yes", "who": "Mira"}))
    for key, (numbers, ticks) in PASSING.items():
        fields = {name: str(value) for name, value in numbers.items()} | {"ticks": list(ticks), "who": "Mira"}
        assert send(site, f"{PROOF}/{key}", fields).status_code == 303
        site.run(2)
    assert send(site, PROOF, {"passed": "yes", "who": "Mira"}).status_code == 303
    text = text_of(site.client.get(PROOF))
    assert "Passed on" in text
    assert "Cut-out: current vanished at 94 °C" in text
    failed = {"page_s": "9", "ticks": ["button", "plug"], "who": "Mira"}
    assert send(site, PROOF + "/stop", failed).status_code == 303
    assert "Out of service" in text_of(site.client.get(PROOF))
