"""What becomes of a box's estimate when its sensor is corrected."""

import pytest
from support.sensor_site import CRATE, sensor_site
from support.spool_site import BOX, DAY_S, HOUR_S, ROOM

from monitor.model.inventory import Charge
from monitor.model.sensor_check import Back, CorrectionSet, InJar, Installed
from monitor.service.corrections import changes
from monitor.service.sensor_answer import overdue_ms

CHARGE = Charge(kind="silica_gel_orange", dry_g=200.0, loading_pct=9.0)


def followed(folder, error_pct, *, is_corrected):
    """A box at 13 %RH for six days and two more, its sensor off by so much; the site's answer and notices."""
    folder.mkdir()
    with sensor_site(folder, charge=CHARGE) as site:
        site.errors = {BOX: (error_pct, 1.0)}
        site.days(6, crate=13.0, loft=45.0)
        site.follow()
        if is_corrected:
            site.sense(CorrectionSet(offset_pct=-error_pct, gain=1.0, uncertainty_pct=1.0))
        site.days(2, crate=13.0, loft=45.0)
        site.follow()
        fresh = site.box(queries=site.fresh_queries())
        return site.box(), site.reader.noticed(0, 2**60), fresh


@pytest.mark.parametrize("error_pct", [-3.0, 2.0])
def test_a_correction_is_no_lid_no_step_and_no_new_desiccant(tmp_path, error_pct):
    """The reading jumps by what was corrected; nothing happened to the box, and nothing is told of it."""
    box, noticed, fresh = followed(tmp_path / "off", error_pct, is_corrected=True)
    true_box, _, _ = followed(tmp_path / "right", 0.0, is_corrected=False)
    assert noticed == ()
    assert "sensor_offset" not in [finding.cause for finding in box.diagnosis]
    # Corrected, the bed is believed to hold what it would with a sensor that was right from the start,
    # and a checked sensor tells it more closely.
    loading, true = box.desiccant.loading_pct, true_box.desiccant.loading_pct
    assert loading.p50 == pytest.approx(true.p50, abs=0.5)
    assert loading.p90 - loading.p10 < true.p90 - true.p10
    # another process that knows nothing but the database gives the same.
    assert fresh.desiccant.loading_pct.p50 == pytest.approx(loading.p50, rel=1e-3)


def test_a_jar_between_leaves_the_box_alone(tmp_path):
    """Half a day in a jar of 75 %RH is no lid left open."""
    with sensor_site(tmp_path, charge=CHARGE) as site:
        site.days(4, crate=13.0, loft=45.0)
        site.follow()
        site.in_jar("sodium_chloride", 12.0)
        site.sense(Back())
        site.days(1, crate=13.0, loft=45.0)
        site.follow()
        assert site.reader.noticed(0, 2**60) == ()
        assert site.box().lid_openings_7d == 0


def test_changes_are_those_of_corrections_only(tmp_path):
    """Neither a jar nor its end changes what a reading means."""
    with sensor_site(tmp_path) as site:
        site.days(1, crate=13.0)
        site.sense(InJar(salt="lithium_chloride"), at_s=site.now - 0.5 * DAY_S)
        site.sense(Back(), at_s=site.now - 0.4 * DAY_S)
        site.sense(CorrectionSet(offset_pct=2.0, gain=0.95), at_s=site.now - 0.3 * DAY_S)
        site.sense(CorrectionSet(offset_pct=0.0, gain=1.0))
        found = changes(site.queries.sensors.events(CRATE))
        assert len(found) == 2
        assert found[0].shift(0.20) == pytest.approx(0.01)
        assert found[1].shift(0.21) == pytest.approx(-0.01)
        assert found[0].known_sd == pytest.approx(0.009)


def test_an_overdue_check_widens_what_is_held_of_the_desiccant(tmp_path):
    """A-34: the readings count on, but less is known; a check that finds the sensor right mends that."""
    spread = {}
    for name, begun_days in (("due", -364.0), ("overdue", -366.5)):
        (tmp_path / name).mkdir()
        with sensor_site(tmp_path / name, charge=CHARGE) as site:
            site.days(6, crate=13.0, loft=45.0)
            installed_s = site.now + (begun_days + 0.75) * DAY_S
            site.sense(Installed(serial="a1"), at_s=installed_s)
            site.follow()
            loading = site.box().desiccant.loading_pct
            spread[name] = loading.p90 - loading.p10
            fresh = site.box(queries=site.fresh_queries()).desiccant.loading_pct
            assert fresh.p90 - fresh.p10 == pytest.approx(spread[name], rel=1e-3)
    assert spread["overdue"] > 1.03 * spread["due"]


def test_when_checks_become_overdue(tmp_path):
    """One moment for each check that none followed in time; another sensor begins anew."""
    with sensor_site(tmp_path) as site:
        site.days(2, crate=13.0, loft=45.0)
        begun_s = site.now - 1.5 * DAY_S
        site.sense(Installed(serial="a1", interval_months=1), at_s=begun_s)
        month_ms = round(1000.0 * (begun_s + 365.25 / 12.0 * DAY_S))
        assert overdue_ms(site.queries.sensors.events(CRATE)) == (month_ms,)
        site.sense(Installed(serial="a2", interval_months=60), at_s=begun_s + 0.5 * DAY_S)
        assert overdue_ms(site.queries.sensors.events(CRATE)) == (
            round(1000.0 * (begun_s + 0.5 * DAY_S + 60 * 365.25 / 12.0 * DAY_S)),
        )
        assert overdue_ms(()) == ()


def test_a_check_that_finds_it_right_is_known_and_shifts_nothing(tmp_path):
    """Its error is known to what the salt tells."""
    with sensor_site(tmp_path) as site:
        site.days(2, crate=13.0, loft=45.0)
        site.check("lithium_chloride")
        (found,) = changes(site.queries.sensors.events(CRATE))
        assert found.shift(0.13) == pytest.approx(0.0, abs=1e-12)
        assert 0.0 < found.known_sd < 0.012


@pytest.mark.parametrize(("fall_h", "is_lid"), [(0.3, True), (10.0, False)])
def test_air_of_a_wet_spool_is_not_offered_as_the_rooms_to_compare_sensors_in(tmp_path, fall_h, is_lid):
    """A-34: what was told as an open lid and sank over hours was never the room's air."""
    with sensor_site(tmp_path, charge=CHARGE) as site:
        site.days(4, crate=13.0, loft=45.0)
        begun_s, open_h, last_h = site.now, 4.0, 24.0
        hours = [number / 12.0 for number in range(1, round(12.0 * last_h))]
        site.now += last_h * HOUR_S
        for place, over in ((BOX, 29.0), (ROOM, None)):
            left = [min(max(1.0 - (hour - open_h) / fall_h, 0.0), 1.0) for hour in hours]
            true = [45.0 if over is None else 13.0 + over * share for share in left]
            site.hear(
                place, [(begun_s + h * HOUR_S, 23.0, t / 100.0) for h, t in zip(hours, true, strict=True)]
            )
        site.follow()
        told = [item.kind for item in site.reader.noticed(0, 2**60)]
        assert "lid_left_open" in told
        assert ("lid_shut" in told) is is_lid
        assert bool(site.queries.sensors.open_lids()) is is_lid
