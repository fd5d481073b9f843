"""An oven from a phone to the real controller and back, through the real store."""

import json

import pytest
from support.oven_learning import prove
from support.oven_site import HOUR_S, OVEN, oven_site, spool

from monitor.errors import BadInputError, RefusedError
from monitor.model.arrival import Arrival
from monitor.model.oven_fact import FactKind
from monitor.simulator.oven_faults import SensorFault

REEL = "pc"


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path, spool("grey", "petg", place=OVEN, reel=REEL)) as made:
        yield made


def started(site, **members):
    """Armed, confirmed, and on its way."""
    site.arm()
    problems = site.acts.start(OVEN, site.wish(**members), "mara")
    assert problems == ()
    return site


def test_a_confirmed_cycle_heats_dries_cools_and_ends(site):
    """B-18: from the button to done, the book telling each step."""
    started(site, duration_s=1.5 * HOUR_S)
    site.run(0.9 * HOUR_S)
    look = site.look()
    assert look.phase == "drying"
    assert 47.0 < look.hottest_c < look.cycle.ceiling_c
    assert 0.0 < look.permit_left_s <= 30.0
    assert look.left_s == pytest.approx(0.6 * HOUR_S, abs=60.0)
    site.run(2.5 * HOUR_S)
    look = site.look()
    assert look.phase in ("done", "idle")
    assert look.ended.ending == "time_up"
    assert not site.rig.is_heated
    kinds = site.kinds()
    assert kinds.index("cycle_started") < kinds.index("cycle_ended")


def test_nothing_heats_that_was_not_armed_at_the_oven(site):
    """B-10: a phone alone starts nothing hot or long."""
    problems = site.acts.start(OVEN, site.wish(setpoint_c=62.0, duration_s=10 * HOUR_S), "mara")
    assert problems
    site.run(120)
    assert not site.rig.is_heated
    assert site.look().phase == "idle"


def test_a_stop_is_obeyed_before_anything_is_written(site):
    """B-17: the message to the oven goes out first, even where the disk hangs."""
    started(site)
    site.run(600)
    assert site.look().phase in ("heating", "drying", "preheat_check")
    site.said.clear()
    site.acts.stop(OVEN, "mara", "smell")
    assert site.said[0][0].endswith("/stop")
    site.run(4)
    assert not site.rig.is_heated
    look = site.look()
    assert look.ended.ending == "stopped"
    assert "smell" in look.ended.why
    site.run(600)
    assert not site.rig.is_heated


def test_a_stop_takes_back_the_heat_that_waits_for_its_record(site):
    """H37, B-17: what was decided before a stop is not done after it, however long the disk took."""
    started(site)
    site.run(300)
    site.is_committing = False
    site.run(24)
    site.acts.stop(OVEN, "mara", "smell")
    site.said.clear()
    site.is_committing = True
    site.run(60)
    assert [topic for topic, _ in site.said if topic.endswith("/permit")] == []
    assert not site.rig.is_heated


def test_a_stop_that_cannot_be_sent_is_not_called_sent(site):
    """B-17: then only the plug is left, and the page has to say so."""
    started(site)
    site.world.publish = lambda *_: False
    with pytest.raises(RefusedError, match="pull the oven's plug"):
        site.acts.stop(OVEN, "mara", "smell")
    assert site.look().ended.ending == "stopped"


def test_a_stop_from_the_broker_is_obeyed_whatever_it_says(site):
    """Contract 1: a stop is always obeyed; one that cannot be read stops all."""
    started(site)
    site.run(300)
    arrival = Arrival(
        topic=f"sorbwatch/attic/oven/{OVEN}/stop",
        payload=b"\xff{not json",
        retain=True,
        wall_s=site.clock.wall,
        mono_s=site.clock.mono,
    )
    site.desk.arrived(arrival)
    site.run(4)
    assert site.look().ended.ending == "stopped"
    assert not site.rig.is_heated


def test_what_is_moved_in_lowers_what_is_allowed(site):
    """B-14: the least of all limits inside, also while it runs."""
    hot = site.look().load
    assert [item.key for item in hot] == ["grey"]
    site.load(spool("grey", "petg", place=OVEN, reel=REEL), spool("soft", "pla", place=OVEN, reel=REEL))
    problems = site.acts.start(OVEN, site.wish(load=("grey",), setpoint_c=60.0), "mara")
    assert problems  # another load than the person was shown
    site.desk.tell_site()
    refused = site.acts.start(OVEN, site.wish(setpoint_c=60.0), "mara")
    assert any(problem.limiting_item for problem in refused) or refused
    assert not site.rig.is_heated


def test_the_monitor_dies_and_the_oven_is_off_within_one_lease(site):
    """R20, B-22: nobody renews, so nothing heats; B-21: after a restart it stays so."""
    started(site)
    site.run(900)
    site.run(32, monitor=False)
    assert not site.rig.is_heated
    site.run(20, monitor=False)
    site.start_monitor()
    site.run(120)
    look = site.look()
    assert not site.rig.is_heated
    assert look.ended.ending == "restarted"
    assert look.ended.duration_s == pytest.approx(2.0 * HOUR_S)
    assert look.cycle is None or look.phase not in ("heating", "drying")


def test_after_a_restart_a_new_cycle_is_taken_by_the_controller(site):
    """Permit numbers go on rising over restarts: the controller refuses any that does not."""
    started(site)
    site.run(600)
    site.start_monitor()
    site.run(400)
    started(site)
    site.run(600)
    assert site.look().phase in ("heating", "drying", "preheat_check")
    assert site.rig.controller.book.living is not None


def test_a_disk_that_does_not_write_starts_nothing(site):
    """B-26: no audit, no heat."""
    site.can_write = False
    site.desk.tell_site()
    site.arm()
    assert site.acts.start(OVEN, site.wish(), "mara")
    site.run(60)
    assert not site.rig.is_heated


def test_the_same_order_twice_is_one_cycle(site):
    """B-16: a second press of the button does nothing."""
    site.arm()
    wish = site.wish()
    assert site.acts.start(OVEN, wish, "mara") == ()
    cycle = site.look().cycle.id
    assert site.acts.start(OVEN, wish, "mara") == ()
    assert site.look().cycle.id == cycle
    assert site.kinds().count("cycle_started") == 1


def test_the_checklist_and_the_proof_are_kept_over_a_restart(site):
    """B-40, B-50, B-51: stated by a person, with name and date, in the book."""
    site.acts.tick_off(OVEN, ("limiter", "ventilation"), "mara")
    site.acts.confirm_cutout(OVEN, "mara")
    prove(site)
    site.start_monitor()
    site.desk.tell_site()
    look = site.look()
    assert {item.key for item in look.checklist if item.is_ticked} == {"limiter", "ventilation"}
    assert look.is_cutout_confirmed
    assert look.proof_tested_s is not None
    assert site.reader.oven_facts()[(OVEN, FactKind.CUTOUT)].who == "mara"
    with pytest.raises(BadInputError, match="no item of the checklist"):
        site.acts.tick_off(OVEN, ("luck",), "mara")


def test_a_trip_is_latched_over_a_restart_with_its_first_out(site):
    """B-03, A-25: a sensor that dies locks the heat, and what led to it is kept."""
    started(site)
    site.run(900)
    site.rig.faults.sensors[0] = SensorFault.SHORT
    site.run(120)
    look = site.look()
    assert look.phase == "tripped"
    assert not site.rig.is_heated
    site.run(660)
    kept = json.loads(site.reader.oven_first_out(OVEN, look.trip.id))
    assert kept["fired"][0]["rule"]
    assert len(kept["trace"]) > 50
    site.start_monitor()
    site.run(20)
    assert site.look().phase == "tripped"
    assert site.acts.start(OVEN, site.wish(), "mara")


def test_unknown_ovens_are_refused_by_name(site):
    with pytest.raises(BadInputError, match="is not in the inventory"):
        site.acts.look("nowhere")
    with pytest.raises(BadInputError):
        site.acts.stop("nowhere", "mara", "x")


def test_desiccant_is_a_load_of_its_own_with_its_own_limit(tmp_path):
    """P15: a tray of beads is limited by what destroys them or their dye."""
    with oven_site(tmp_path, spool("grey", "petg", place="loft")) as site:
        assert site.look().load == ()
        site.arm()
        wish = site.wish(load=("silica_gel_orange",), setpoint_c=70.0, duration_s=2 * HOUR_S)
        assert site.acts.start(OVEN, wish, "mara") == ()
        site.run(600)
        look = site.look()
        assert [item.key for item in look.load] == ["desiccant:silica_gel_orange"]
        assert look.cycle.ceiling_c < 90.0
        assert site.rig.controller.book.living is not None


def test_a_lost_link_may_be_gone_on_with_for_five_minutes(site):
    """B-22: from the phone, without going to the oven; never by itself."""
    started(site)
    site.run(900)
    site.is_linked = False
    site.run(60)
    assert not site.rig.is_heated
    site.is_linked = True
    site.run(40)
    look = site.look()
    assert look.ended.ending == "link_lost"
    assert not site.rig.is_heated
    assert site.acts.start(OVEN, site.wish(duration_s=HOUR_S), "mara") == ()
    site.run(120)
    assert site.look().phase in ("heating", "drying", "preheat_check")
