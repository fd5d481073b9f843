"""The proof test assistant: numbers, what is allowed, what follows (B-50)."""

import pytest
from support.oven_learning import PASSING, fit_cutout, prove
from support.oven_site import HOUR_S, OVEN, oven_site, spool

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.calendar import EntryKind
from monitor.service.calendar_entries import entries
from monitor.simulator.oven_faults import SensorFault


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path, spool("grey", "petg", place=OVEN, reel="pc")) as made:
        fit_cutout(made)
        yield made


def look(site):
    return site.acts.proof.look(OVEN)


def test_five_passed_steps_and_a_persons_word_make_a_test(site):
    """Nothing is concluded while a step is missing; the numbers, who and the next date are kept."""
    for key in list(PASSING)[:4]:
        site.acts.proof.tell(OVEN, key, *PASSING[key], "mara")
    with pytest.raises(RefusedError, match="Stop"):
        site.acts.proof_tested(OVEN, "mara")
    assert site.look().proof_tested_s is None
    prove(site, who="ada")
    site.run(30)
    done = look(site)
    assert done.due_s == done.passed_s + 365 * 86_400.0
    assert (done.history[0].who, done.history[0].is_passed) == ("ada", True)
    assert ("Cut-out: current vanished at", "94 °C") in done.history[0].numbers
    assert site.look().proof_tested_s == pytest.approx(done.passed_s)
    assert not done.is_complete  # the next test begins anew


def test_the_calendar_names_the_day_of_a_test_that_was_passed_and_no_day_after_one_that_failed(site):
    """C-22, B-50: a failed test is no test; the next one has no day a year ahead."""

    def due_s():
        found = entries(site.queries.status(), (), site.reader.oven_facts(), site.clock.wall)
        return [entry.begins_s for entry in found if entry.kind is EntryKind.PROOF_TEST]

    assert due_s() == []
    prove(site)
    assert due_s() == [look(site).due_s]
    site.run(2)
    site.acts.proof.tell(OVEN, "power", {"waited_s": 12.0}, ("stays_off",), "mara")
    assert look(site).due_s is None
    assert due_s() == []


@pytest.mark.parametrize(
    ("key", "numbers", "ticks", "said"),
    [
        ("cutout", {"gone_c": 101.0}, ("stays_off", "own_button"), "allowed: 90 to 100 °C"),
        ("cutout", {"gone_c": 94.0}, ("stays_off",), "only by its own button"),
        ("sensor", {"off_s": 3.0, "trip_s": 10.5}, (), "allowed: at most 10 s"),
        ("lease", {"gone_s": 31.0}, ("stays_off",), "allowed: at most 30 s"),
        ("power", {"waited_s": 12.0}, ("stays_off",), "it was not armed"),
        ("stop", {"page_s": 3.2}, ("button", "plug"), "allowed: at most 3 s"),
    ],
)
def test_a_failed_step_takes_the_oven_out_of_service_until_all_are_passed(site, key, numbers, ticks, said):
    """B-50: also over a restart; the steps before it count no more."""
    site.acts.proof.tell(OVEN, "power", *PASSING["power"], "mara")
    site.run(2)
    result = site.acts.proof.tell(OVEN, key, numbers, ticks, "mara")
    assert said in " ".join(result.faults)
    site.start_monitor()
    site.run(30)
    assert site.look().is_out_of_service
    assert not any(each.result for each in look(site).steps)
    assert not look(site).history[0].is_passed
    site.arm()
    assert "a proof test that failed" in site.acts.start(OVEN, site.wish(), "mara")[0].detail
    prove(site)
    assert not site.look().is_out_of_service


def test_a_failure_while_it_heats_stops_it(site):
    """The step is done on a heating oven: it must not go on."""
    site.arm()
    assert site.acts.start(OVEN, site.wish(), "mara") == ()
    site.run(900)
    site.acts.proof.tell(OVEN, "stop", {"page_s": 9.0}, (), "mara")
    site.run(10)
    assert site.look().heater == 0.0
    assert site.look().ended.ending == "stopped"


@pytest.mark.parametrize(
    ("key", "numbers", "ticks", "error"),
    [
        ("cutout", {}, (), FieldError),
        ("cutout", {"gone_c": float("nan")}, (), FieldError),
        ("cutout", {"gone_c": 9999.0}, (), FieldError),
        ("power", {"waited_s": 5.0}, (), FieldError),
        ("stop", {"page_s": 1.0}, ("luck",), FieldError),
        ("prayer", {}, (), BadInputError),
    ],
)
def test_what_cannot_have_been_measured_is_refused_and_changes_nothing(site, key, numbers, ticks, error):
    """A typing error is no failed oven."""
    with pytest.raises(error):
        site.acts.proof.tell(OVEN, key, numbers, ticks, "mara")
    site.run(10)
    assert not site.look().is_out_of_service
    assert look(site).history == ()


def test_steps_older_than_a_week_are_no_part_of_the_test(site):
    """All five are one test."""
    for key in PASSING:
        site.acts.proof.tell(OVEN, key, *PASSING[key], "mara")
    assert look(site).is_complete
    site.clock.wall += 8 * 86_400.0
    assert not look(site).is_complete
    with pytest.raises(RefusedError):
        site.acts.proof_tested(OVEN, "mara")


def test_a_cutout_without_a_rating_cannot_pass(site):
    """What it should be is not known, so no reading is right."""
    fit_cutout(site, cutout_c=None)
    assert not site.acts.proof.tell(OVEN, "cutout", *PASSING["cutout"], "mara").is_passed


def test_the_monitor_offers_what_it_saw_itself(site):
    """Trip time after a sensor died, and how long a stop from a page took."""
    assert look(site).seen.trip_s is None
    site.arm()
    assert site.acts.start(OVEN, site.wish(), "mara") == ()
    site.run(900)
    assert 0.0 < look(site).seen.lease_told_s <= 30.0
    site.acts.stop(OVEN, "mara", "test")
    site.run(10)
    assert 0.0 <= look(site).seen.page_s <= 3.0
    site.run(HOUR_S)
    site.arm()
    assert site.acts.start(OVEN, site.wish(), "mara") == ()
    site.run(900)
    site.rig.faults.sensors[1] = SensorFault.DEAD
    site.run(60)
    seen = look(site).seen
    assert 0.0 < seen.off_s <= 4.0
    assert 0.0 < seen.trip_s <= 12.0
