"""Corrections laid over readings, their records, and what is refused."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.sensor_site import CRATE, LOFT, sensor_site
from support.spool_site import BOX, DAY_S, HOUR_S, OTHER_BOX, spool

from monitor.errors import BadInputError
from monitor.model.history import RollUp
from monitor.model.reading import Quantity
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import (
    Back,
    CheckNow,
    CompareNow,
    CorrectBy,
    Correction,
    CorrectionSet,
    InJar,
    Installed,
    SensorEvent,
    standing,
)
from monitor.service.corrections import Corrections
from monitor.service.engine import Engine

OFF = CorrectionSet(offset_pct=3.0, gain=1.0)


@pytest.fixture
def site(tmp_path):
    with sensor_site(tmp_path) as made:
        made.days(2, crate=15.0, loft=45.0)
        yield made


def record(what, at_s, number, replaces=None):
    return SensorEvent(
        channel="a/b", at_s=at_s, entered_s=at_s, who="m", what=what, event_id=number, replaces=replaces
    )


def test_a_correction_holds_from_its_time_on_and_the_past_stays(site):
    """A-35: offset changes never rewrite history: neither readings nor what was shown before."""
    then_s = site.now
    site.sense(OFF)
    site.days(1, crate=15.0, loft=45.0)
    before = site.queries.series(BOX, "humidity", then_s - 3 * HOUR_S, then_s, 300).points
    raw = site.reader.latest()
    assert site.box().air.humidity_pct == 18.0
    assert site.box().air.raw_humidity_pct == 15.0
    assert {point.mean for point in before} <= {15.0, None}
    assert {
        round(n.value) for n in raw if n.series.channel == "crate" and n.series.quantity is Quantity.HUMIDITY
    } == {15}


def test_the_chart_shows_what_the_figure_shows(site):
    """A page whose chart and figure disagree is believed in neither."""
    site.sense(OFF)
    site.days(1, crate=15.0, loft=45.0)
    site.store.roll_up(round(1000 * site.now) + 600_000)
    points = site.queries.series(BOX, "humidity", site.now - HOUR_S, site.now - 600, 300).points
    assert {(p.lowest, p.mean, p.highest) for p in points if p.mean is not None} == {(18.0, 18.0, 18.0)}


def test_no_correction_is_no_change_of_the_air(site):
    """The tendency over three hours is the air's: setting a correction is no jump in it."""
    site.sense(OFF)
    site.days(1 / 24, crate=15.0, loft=45.0)
    assert site.box().air.humidity_change_pct == 0.0


def test_spools_are_worked_out_anew_from_the_correction_on(tmp_path):
    """A sensor that read 10 %RH low hid water: kept states after the correction's time must not stay."""
    with sensor_site(tmp_path, spool(material="pa6", start_pct=0.2)) as site:
        site.days(5, crate=5.0, loft=45.0)
        site.follow()
        before = site.spool().moisture_pct.p50
        kept = len(site.reader.spool_course("grey", 0, 2**60))
        site.sense(CorrectionSet(offset_pct=6.0, gain=1.0), at_s=site.now - 4.5 * DAY_S)
        assert len(site.reader.spool_course("grey", 0, 2**60)) < kept / 2
        site.follow()
        after = site.spool().moisture_pct.p50
        assert after > before + 0.01
        assert site.spool(queries=site.fresh_queries()).moisture_pct.p50 == pytest.approx(after, rel=1e-6)


def test_a_withdrawn_correction_leaves_no_trace_in_the_figures(site):
    """It was never true: everything is again as if it had not been told."""
    before = site.spool().moisture_pct
    number = site.sense(OFF, at_s=site.now - DAY_S)
    assert site.box().air.humidity_pct == 18.0
    site.sense(Withdrawn(why="that was the other box"), replaces=number)
    assert site.box().air.humidity_pct == 15.0
    assert site.box().air.raw_humidity_pct is None
    assert site.spool().moisture_pct == before
    assert len(site.queries.sensors.events(CRATE)) == 2


def test_a_correction_belongs_to_the_sensor_and_moves_with_its_channel(site):
    """The box that the sensor left is not corrected by it."""
    site.errors = {OTHER_BOX: (0.0, 1.0)}
    site.sense(OFF)
    site.days(0.1, crate=15.0, chest=20.0)
    status = {box.key: box.air.humidity_pct for box in site.queries.status().boxes}
    assert status == {BOX: 18.0, OTHER_BOX: 20.0}


def test_a_new_sensor_begins_without_the_old_ones_correction(site):
    """A-34: what was found of one piece does not hold for the next."""
    site.sense(OFF)
    site.now += 60.0
    site.sense(Installed(serial="B2", tolerance_pct=1.0, interval_months=6))
    site.days(0.1, crate=15.0)
    assert site.box().air.humidity_pct == 15.0
    sensor = site.queries.sensors.one(CRATE)
    assert (sensor.serial, sensor.tolerance_pct, sensor.interval_months) == ("B2", 1.0, 6)


def test_a_correction_by_two_checks_is_theirs_and_names_them(site):
    """What was written down must say what it rests on."""
    site.errors = {BOX: (2.5, 1.02)}
    numbers = site.correct("lithium_chloride", "magnesium_chloride")
    what = site.queries.sensors.events(CRATE)[-1].what
    assert what.checks == tuple(numbers)
    assert what.gain == pytest.approx(1 / 1.02, abs=0.01)
    assert 0.5 < what.uncertainty_pct < 1.5


def test_a_second_check_is_judged_as_it_is_shown_and_passes(site):
    """As found the second time is with the correction that stands."""
    site.errors = {BOX: (3.0, 1.0)}
    site.correct("lithium_chloride")
    site.now += DAY_S
    site.check("lithium_chloride")
    sensor = site.queries.sensors.one(CRATE)
    assert sensor.check.verdict == "within"
    assert abs(sensor.check.error_pct) < 0.5
    # What was told before the first check may be wrong all the same.
    assert site.queries.sensors.look_back(CRATE).error_pct == pytest.approx(3.0, abs=0.3)


def refused(site, wish, match, **more):
    before = site.reader.sensor_events()
    with pytest.raises(BadInputError, match=match) as caught:
        site.sense(wish, **more)
    assert site.reader.sensor_events() == before
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("wish", "match", "more"),
    [
        (CheckNow(), "lies over no salt", {}),
        (Back(), "lies in no jar", {}),
        (InJar(salt="sugar"), "salt 'sugar' is unknown", {}),
        (InJar(salt="calcium_chloride"), "not for a workshop", {}),
        (OFF, "no sensor that was heard", {"channel": "n9/none"}),
        (OFF, "no sensor that was heard", {"channel": "../../etc"}),
        (OFF, "lies in the future", {"ahead_s": 3600.0}),
        (OFF, "before 2020", {"at_s": 1.0}),
        (OFF, "who must be", {"who": ""}),
        (OFF, "who must be", {"who": "a\nb"}),
        (OFF, "no standing record", {"replaces": 99}),
        (replace(OFF, offset_pct=6.5), "offset_pct is 6.5", {}),
        (replace(OFF, offset_pct=float("nan")), "offset_pct is nan", {}),
        (replace(OFF, gain=1.2), "gain is 1.2", {}),
        (replace(OFF, gain=-1.0), "gain is -1", {}),
        (replace(OFF, checks=(1,)), "go without offset_pct", {}),
        (CorrectBy(checks=()), "one or two", {}),
        (CorrectBy(checks=(1, 1)), "one or two", {}),
        (CorrectBy(checks=(7,)), "names 7", {}),
        (CompareNow(others=(), hours=1.0), "others must name", {}),
        (CompareNow(others=(CRATE,), hours=1.0), "others must name", {}),
        (CompareNow(others=("n9/none",), hours=1.0), "no sensor", {}),
        (CompareNow(others=(LOFT,), hours=0.0), "hours is 0", {}),
        (CompareNow(others=(LOFT,), hours=float("inf")), "hours is inf", {}),
        (CompareNow(others=("n1/kiln",), hours=1.0), "Too few readings", {}),
        (Installed(serial=" "), "serial must be", {}),
        (Installed(serial="x", tolerance_pct=0.0), "tolerance_pct is 0", {}),
        (Installed(serial="x", interval_months=0), "interval_months is 0", {}),
        (Withdrawn(why="no"), "replaces must name", {}),
    ],
)  # fmt: skip
def test_what_cannot_be_true_is_refused_in_one_sentence_and_changes_nothing(site, wish, match, more):
    """A record is for ever: what is impossible must not become one."""
    more = dict(more)
    if "ahead_s" in more:
        more["at_s"] = site.now + more.pop("ahead_s")
    refused(site, wish, match, **more)


def test_a_record_is_replaced_by_its_own_kind_only(site):
    """Else a comparison could become a correction of the air in secret."""
    number = site.sense(OFF)
    refused(site, Installed(serial="x"), "another kind", replaces=number)
    refused(site, CheckNow(), "withdraw that one", replaces=number)
    other = site.sense(replace(OFF, offset_pct=1.0), replaces=number)
    site.days(0.1, crate=15.0)
    assert site.box().air.humidity_pct == 16.0
    refused(site, replace(OFF, offset_pct=2.0), "no standing record", replaces=number)
    assert other == number + 1


def test_a_salt_outside_its_range_is_refused_at_the_door_and_in_the_jar(site):
    """Potassium acetate is known for 10 to 30 degrees: at 40 its humidity would be a guess."""
    site.in_jar("potassium_acetate", 4.0, temperature_c=23.0)
    site.hear(BOX, [(site.now + 60 + n * 300, 40.0, 0.22) for n in range(36)])
    site.now += 3.2 * HOUR_S
    refused(site, CheckNow(), "known for 10 to 30 °C")
    site.sense(Back())
    site.now += 60.0
    refused(site, InJar(salt="potassium_acetate"), "known for 10 to 30 °C")


def test_checks_too_near_each_other_make_no_gain(site):
    """LiBr and LiCl are 5 %RH apart: a gain from them would be noise."""
    numbers = site.check("lithium_chloride", "lithium_bromide")
    refused(site, CorrectBy(checks=tuple(numbers)), "15 %RH or more")


def test_a_restart_goes_on_with_the_same_numbers(site):
    """A record's number is its name for ever."""
    first = site.sense(OFF)
    engine = Engine("attic", site.store.load())
    event = record(OFF, site.now, 0)
    assert engine.add_sensor_event(event) == first + 1


@given(
    moves=st.lists(
        st.tuples(
            st.sampled_from(
                [OFF, InJar(salt="x"), Back(), Installed(serial="s"), CorrectionSet(offset_pct=0.0, gain=1.0)]
            ),
            st.integers(0, 50),
        ),
        max_size=12,
    ),
    at_s=st.integers(-1, 60),
)
def test_what_holds_at_a_time_is_what_was_told_up_to_it(moves, at_s):
    """What is told of later times changes nothing of earlier ones."""
    events = [record(what, float(when), number) for number, (what, when) in enumerate(moves, start=1)]
    held = Corrections({"a/b": events}).at("a/b", 1000 * at_s)
    before = [event for event in events if event.at_s <= at_s]
    assert held == Corrections({"a/b": before}).at("a/b", 10**12)
    assert standing(events) == tuple(sorted(standing(events), key=lambda item: item[0]))


def test_a_span_in_which_the_sensor_was_away_tells_nothing():
    """Half a span of a jar is no air of a box."""
    events = [record(InJar(salt="x"), 400.0, 1), record(Back(), 500.0, 2)]
    held = Corrections({"a/b": events})
    means = [held.mean("a/b", Quantity.TEMPERATURE, 20.0, at, at + 300_000) for at in (0, 300_000, 600_000)]
    assert means == [20.0, None, 20.0]
    row = RollUp(start_ms=300_000, n=3, lowest=1.0, highest=3.0, mean=2.0, covered_ms=300_000)
    assert held.roll_up("a/b", Quantity.HUMIDITY, row, 300_000) is None
    assert held.roll_up("other/one", Quantity.HUMIDITY, row, 300_000) == row


def test_a_raw_value_at_the_rail_stays_suspect_when_it_is_corrected(site):
    """A driver clamps at 0: corrected to 3 it looks like air, and is not known to be."""
    site.sense(OFF)
    site.days(0.1, crate=0.0)
    air = site.box().air
    assert (air.humidity_pct, air.raw_humidity_pct) == (3.0, 0.0)
    assert "end of its range" in air.suspect


def test_a_correction_says_what_it_does():
    """offset + gain x reading, and no further than air goes."""
    assert Correction(offset_pct=2.0, gain=0.9).corrected(50.0) == pytest.approx(47.0)
    assert Correction(offset_pct=6.0).corrected(98.0) == 100.0
    assert Correction(offset_pct=-6.0).corrected(3.0) == 0.0
