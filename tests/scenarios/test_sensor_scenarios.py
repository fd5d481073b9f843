"""What shops ask about their hygrometers, each with the answer that they are shown."""

import pytest
from support.sensor_site import CRATE, LOFT, sensor_site
from support.spool_site import BOX, DAY_S, HOUR_S, OTHER_BOX, ROOM, spool

from monitor.errors import BadInputError
from monitor.model.sensor_answers import Due
from monitor.model.sensor_check import (
    Back,
    CheckNow,
    CompareNow,
    InJar,
    Installed,
    MapNow,
    Seated,
    Stay,
    Verdict,
)

CHEST = "n1/chest"
CORNERS = (("high", 2), ("hinge", 1))  # and the days ago when it was put there


def test_p16_of_three_in_the_open_the_one_that_is_off_is_named(tmp_path):
    """P16: two boxes are opened to the room for some hours; one of the three sensors reads 12 %RH more."""
    with sensor_site(tmp_path) as site:
        site.errors = {OTHER_BOX: (12.0, 1.0)}
        site.days(0.25, crate=45.0, chest=45.0, loft=45.0)
        answer = site.queries.sensors.side_by_side([CRATE, CHEST, LOFT], site.now - 3 * HOUR_S, site.now)
        assert [item.channel for item in answer.sensors if item.is_odd] == [CHEST]
        assert "Chest reads 12.0 %RH more than the others" in answer.sentence
        site.sense(CompareNow(others=(CRATE, LOFT), hours=3.0), channel=CHEST)
        assert site.queries.sensors.events(CHEST)[-1].what.is_odd


def test_p16_two_that_disagree_are_sent_to_the_salt(tmp_path):
    """P16: one reads 70, the other 40: which is right is not guessed; a salt tells, and tells to replace it."""
    with sensor_site(tmp_path) as site:
        site.errors = {BOX: (30.0, 1.0)}
        site.days(0.25, crate=40.0, loft=40.0)
        answer = site.queries.sensors.side_by_side([CRATE, LOFT], site.now - 3 * HOUR_S, site.now)
        assert "Which of the two is off cannot be told" in answer.sentence
        numbers = site.check("potassium_carbonate")
        guide = site.queries.sensors.guide(CRATE)
        assert guide.proposal.verdict is Verdict.REPLACE
        assert guide.points[0].error_pct == pytest.approx(30.0, abs=0.5)
        assert not guide.proposal.is_mendable
        assert "replace it" in guide.proposal.sentence
        assert numbers == [guide.points[0].event_id]


def test_p16_a_sensor_that_is_off_is_corrected_and_what_rested_on_it_is_listed(tmp_path):
    """P16, A-34, A-35: as found, as left, look-back, next check sooner; the raw reading stays beside it."""
    with sensor_site(tmp_path) as site:
        site.errors = {BOX: (-3.0, 1.03)}
        site.days(3, crate=15.0, loft=45.0)
        site.correct("lithium_chloride", "magnesium_chloride")
        site.days(1, crate=15.0, loft=45.0)
        air = site.box().air
        assert air.humidity_pct == pytest.approx(15.0, abs=0.3)
        assert air.raw_humidity_pct == pytest.approx(12.45, abs=0.01)
        sensor = site.queries.sensors.one(CRATE)
        assert sensor.check.verdict is Verdict.CORRECT
        assert sensor.check.is_corrected_since
        assert sensor.correction.gain == pytest.approx(1 / 1.03, abs=0.005)
        back = site.queries.sensors.look_back(CRATE)
        assert [(item.place, item.spools) for item in back.items] == [(BOX, ("grey",))]
        assert "taken for drier than it was" in back.sentence


def test_p17_a_box_at_15_percent_is_checked_at_11_and_33(tmp_path):
    """P17: is 75 % right for a box at 15 %? No, and it says why; low salts come first, at this temperature."""
    with sensor_site(tmp_path) as site:
        site.days(3, crate=15.0, loft=45.0)
        guide = site.queries.sensors.guide(CRATE)
        assert guide.works_at_pct == pytest.approx(15.0, abs=0.1)
        assert [salt.key for salt in guide.salts[:2]] == ["lithium_chloride", "magnesium_chloride"]
        by_key = {salt.key: salt for salt in guide.salts}
        assert "no better than the data sheet" in by_key["sodium_chloride"].tells
        assert "Tells ±1.0 %RH near 15 %RH" in by_key["lithium_chloride"].tells
        assert by_key["lithium_chloride"].humidity_pct == pytest.approx(11.30, abs=0.02)
        assert guide.temperature_c == 23.0


def test_p17_the_salts_humidity_is_that_of_the_temperature_measured(tmp_path):
    """P17: magnesium chloride makes 33.3 % at 15 degrees and 32.5 % at 30, not always 33."""
    with sensor_site(tmp_path) as site:
        site.days(1, temperature_c=15.0, crate=15.0)
        site.in_jar("magnesium_chloride", 5.0, temperature_c=15.0)
        site.sense(CheckNow())
        what = site.queries.sensors.events(CRATE)[-1].what
        assert (what.temperature_c, what.reference_pct) == (15.0, 33.3)


def test_p37_the_corner_that_is_dampest_is_where_the_sensor_belongs(tmp_path):
    """P37, A-39: a day beside the desiccant, a day low by the hinge; the gradient and the place are told."""
    with sensor_site(tmp_path) as site:
        begin_s = site.now
        site.days(1, crate=11.0, loft=45.0)
        site.days(1, crate=15.5, loft=45.0)
        stays = [
            Stay(name="beside the desiccant", from_s=begin_s, to_s=begin_s + DAY_S),
            Stay(name="low, by the hinge", from_s=begin_s + DAY_S, to_s=site.now),
        ]
        answer = site.queries.sensors.placement(CRATE, stays)
        assert answer.spots[0].name == "low, by the hinge"
        assert answer.spread_pct == pytest.approx(4.5, abs=0.1)
        assert "Put the sensor there" in answer.sentence
        with pytest.raises(BadInputError, match="nothing was read"):
            site.queries.sensors.placement(
                CRATE, [Stay(name="too early", from_s=begin_s - DAY_S, to_s=begin_s - HOUR_S)]
            )


def test_p37_a_sensor_left_beside_the_desiccant_is_asked_to_be_moved(tmp_path):
    """P37, A-39: it stays where it reads too dry, and that is on the front page until somebody moved it."""
    with sensor_site(tmp_path) as site:
        begin_s = site.now
        site.days(1, crate=15.5, loft=45.0)
        site.days(1, crate=11.0, loft=45.0)
        stays = (
            Stay(name="low, by the hinge", from_s=begin_s, to_s=begin_s + DAY_S),
            Stay(name="beside the desiccant", from_s=begin_s + DAY_S, to_s=site.now),
        )
        site.sense(MapNow(stays=stays, sits_at="beside the desiccant"))

        def asked():
            return [need.act for need in site.queries.status().needs if "the sensor of" in need.what.lower()]

        assert asked() == [
            "Move the sensor to “low, by the hinge”, then say on the sensor's page that it sits there now."
        ]
        site.now += HOUR_S
        site.sense(Seated(sits_at="low, by the hinge"))
        assert asked() == []


def test_p37_what_the_box_did_meanwhile_is_taken_off_by_a_second_sensor(tmp_path):
    """A-39: two sensors; the second day was damper everywhere, and that is no gradient."""
    with sensor_site(tmp_path) as site:
        begin_s = site.now
        site.days(1, crate=11.0, chest=12.0)
        site.days(1, crate=15.0, chest=16.0)
        stays = [
            Stay(name="low", from_s=begin_s, to_s=begin_s + DAY_S),
            Stay(name="high", from_s=begin_s + DAY_S, to_s=site.now),
        ]
        answer = site.queries.sensors.placement(CRATE, stays, beside=CHEST)
        assert answer.spread_pct == pytest.approx(0.0, abs=0.1)
        assert site.queries.sensors.placement(CRATE, stays).spread_pct > 3.0


@pytest.mark.parametrize("jarred", [CRATE, CHEST])
def test_p37_a_day_in_a_jar_is_none_in_a_corner(tmp_path, jarred):
    """A-39: of the sensor that was moved, and of the one that stayed."""
    with sensor_site(tmp_path) as site:
        begin_s = site.now
        site.days(1, crate=11.0, chest=12.0)
        site.sense(InJar(salt="lithium_chloride"), channel=jarred, at_s=begin_s + 6 * HOUR_S)
        site.sense(Back(), channel=jarred, at_s=begin_s + 12 * HOUR_S)
        site.days(2, crate=15.0, chest=16.0)
        in_jar = Stay(name="low", from_s=begin_s, to_s=begin_s + DAY_S)
        stays = [
            Stay(name=n, from_s=site.now - d * DAY_S, to_s=site.now - (d - 1) * DAY_S) for n, d in CORNERS
        ]
        assert len(site.queries.sensors.placement(CRATE, stays, beside=CHEST).spots) == 2
        with pytest.raises(BadInputError, match=f"{jarred} lay in a jar for some of the time at 'low'"):
            site.queries.sensors.placement(CRATE, [in_jar, stays[1]], beside=CHEST)


def test_p37_a_sensor_is_no_measure_of_itself(tmp_path):
    """A-39: beside itself every corner would agree."""
    with sensor_site(tmp_path) as site:
        site.days(2, crate=15.0, chest=16.0)
        stays = [
            Stay(name=n, from_s=site.now - d * DAY_S, to_s=site.now - (d - 1) * DAY_S) for n, d in CORNERS
        ]
        with pytest.raises(BadInputError, match="beside must be another sensor"):
            site.queries.sensors.placement(CRATE, stays, beside=CRATE)


def test_a34_a_check_is_due_after_a_year_and_after_half_a_year_when_it_failed(tmp_path):
    """A-34, A-35: 12 months by default, 6 after a failed one, notice 30 days before, overdue after."""
    with sensor_site(tmp_path) as site:
        site.errors = {BOX: (3.0, 1.0)}
        site.days(1, crate=15.0, loft=45.0)
        site.sense(Installed(serial="A17"), channel=LOFT)
        site.check("lithium_chloride")
        site.check("magnesium_chloride", place=ROOM)
        begin_s = site.now
        states = {}
        for months in (0, 5.5, 6.5, 11.5, 12.5):
            site.now = begin_s + months * 30.4 * DAY_S
            states[months] = tuple(site.queries.sensors.one(key).due_state for key in (CRATE, LOFT))
        assert states == {
            0: (Due.GOOD, Due.GOOD),
            5.5: (Due.SOON, Due.GOOD),
            6.5: (Due.OVERDUE, Due.GOOD),
            11.5: (Due.OVERDUE, Due.SOON),
            12.5: (Due.OVERDUE, Due.OVERDUE),
        }


def evening(site, *, in_jar):
    """Two dry days, then half a day with the box's sensor over table salt, or not; the spool's water."""
    site.days(2, crate=10.0, loft=10.0)
    if in_jar:
        site.in_jar("sodium_chloride", 12.0)
        assert site.box().air.humidity_pct is None
        assert "in a jar" in site.box().air.why
        site.air(ROOM, 12.0, 23.0, 10.0)
        site.sense(Back())
    else:
        site.days(0.5, crate=10.0, loft=10.0)
    site.days(0.5, crate=10.0, loft=10.0)
    assert site.box().air.humidity_pct == 10.0
    return site.spool().moisture_pct.p50


def test_a_spool_does_not_take_the_jars_air_for_its_boxs(tmp_path):
    """The jar's 75 % are not the box's: an evening of checking would have wetted nylon on paper."""
    dry = spool(material="pa6", start_pct=0.1)
    found = []
    for name, in_jar in (("one", True), ("two", False)):
        (tmp_path / name).mkdir()
        with sensor_site(tmp_path / name, dry) as site:
            found.append(evening(site, in_jar=in_jar))
    assert found[0] == pytest.approx(found[1], abs=0.01)


def test_a_salt_that_is_not_fit_or_not_settled_is_refused(tmp_path):
    """Lye is not for a workshop, and a point before its time is no point."""
    with sensor_site(tmp_path) as site:
        site.days(1, crate=15.0, loft=45.0)
        with pytest.raises(BadInputError, match="a splash blinds"):
            site.sense(InJar(salt="sodium_hydroxide"))
        site.in_jar("lithium_chloride", 1.0)
        with pytest.raises(BadInputError, match="at least two hours"):
            site.sense(CheckNow())
