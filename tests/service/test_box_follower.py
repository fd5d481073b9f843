"""A box's estimate is a function of what is stored: order, lateness and restarts change nothing."""

from dataclasses import replace

import pytest
from support.box_small import PLAIN, course_of
from support.spool_site import BOX, DAY_S, HOUR_S, OTHER_BOX, ROOM, START_S, resumed, spool, spool_site

from monitor.errors import BadInputError
from monitor.model.box_event import ChargeWeighed, Colour, ColourSeen, NothingDone, Recharged
from monitor.model.inventory import Charge
from monitor.model.records import Withdrawn
from monitor.model.spool_event import Moved

CHARGE = Charge(kind="silica_gel_a", dry_g=150.0, filled_s=START_S)
DAYS = 12.0
TRUTH = replace(PLAIN, volume_m3=0.012)


def rows(days=DAYS, truth=TRUTH):
    """(box, room) rows of a true box, its time beginning with the site's."""
    course = course_of(truth, days)
    time_s = START_S + course.time_s
    box = zip(
        time_s.tolist(), course.temperature_c[:, 0].tolist(), course.humidity[:, 0].tolist(), strict=True
    )
    room = zip(
        time_s.tolist(), course.room_c[:, 0].tolist(), course.room_humidity[:, 0].tolist(), strict=True
    )
    return list(box), list(room)


def dried(**members):
    return spool(net_g=800.0, start_pct=0.03, **members)


@pytest.fixture
def site(tmp_path):
    with spool_site(tmp_path, dried(), charge=CHARGE) as made:
        yield made


@pytest.fixture(scope="module")
def settled(tmp_path_factory):
    """A site whose box was measured for twelve days. Only read."""
    with spool_site(tmp_path_factory.mktemp("settled"), dried(), charge=CHARGE) as site:
        box, room = rows()
        site.now += DAYS * DAY_S
        site.hear(BOX, box)
        site.hear(ROOM, room)
        site.follow()
        yield site


@pytest.fixture
def lived(settled, tmp_path):
    """One like it, of the test's own."""
    with resumed(settled, tmp_path / "lived.db") as site:
        yield site


def test_a_measured_box_answers_all_that_its_humidity_tells(settled):
    """The purpose of the thing: days left with a range, tightness, openings."""
    answer = settled.box()
    desiccant = answer.desiccant
    assert 0.5 < desiccant.days_left.p10 < desiccant.days_left.p50 < desiccant.days_left.p90
    assert answer.tightness.air_changes_per_h.p10 < 0.05 < answer.tightness.air_changes_per_h.p90
    assert desiccant.spent is False
    assert desiccant.tells_by == "humidity"
    opened_s = course_of(TRUTH, DAYS).openings_s[0]
    assert answer.lid_openings_7d == sum(at_s > (DAYS - 7.0) * DAY_S for at_s in opened_s)
    found = [n.at_ms / 1000.0 for n in settled.queries.followers.boxes.noticed(0) if n.kind == "lid_opened"]
    assert found == pytest.approx([START_S + at_s for at_s in opened_s], abs=900.0)
    assert desiccant.water_g.p10 < desiccant.water_g.p50 < 25.0
    assert desiccant.fill_g_90_days.p50 > desiccant.fill_g_30_days.p50 > 0.0


def test_another_process_says_the_same_to_the_digit(settled):
    """A page and the command on the same database must not disagree."""
    assert settled.box(queries=settled.fresh_queries()) == settled.box()


def test_kept_states_and_none_give_the_same(lived):
    """A restart goes on from what was kept; a database without kept states is worked out from its readings."""
    kept = lived.box(queries=lived.fresh_queries())
    lived.store._db.execute("DELETE FROM box_checkpoint")
    lived.store._db.execute("DELETE FROM box_noticed")
    lived.store._db.execute("DELETE FROM spool_checkpoint")
    assert lived.box(queries=lived.fresh_queries()) == kept


def test_readings_that_come_days_late_end_in_the_same_state(settled, tmp_path):
    """C.3: a node that was cut off sends its past later."""
    box, room = rows()
    (tmp_path / "b").mkdir()
    with spool_site(tmp_path / "b", dried(), charge=CHARGE) as other:
        other.now = settled.now
        missing = [row for row in box if 3 * DAY_S < row[0] - START_S < 6 * DAY_S]
        other.hear(ROOM, room)
        other.hear(BOX, [row for row in box if row not in missing])
        other.follow()
        dark = other.box()
        other.hear(BOX, missing)
        other.follow()
        assert other.box() == settled.box()
        assert dark != settled.box()


def test_a_change_told_late_counts_from_when_it_was_made(lived, tmp_path):
    """An entry a day late is as good as one at once."""
    box, room = rows()
    told = Recharged(desiccant="silica_gel_a", dry_g=150.0)
    lived.tell_box(told, hours_ago=48.0)
    lived.follow()
    late = lived.box()
    (tmp_path / "b").mkdir()
    with spool_site(tmp_path / "b", dried(), charge=CHARGE) as other:
        end = lived.now
        other.now = end - 2 * DAY_S
        other.hear(ROOM, [row for row in room if row[0] < other.now])
        other.hear(BOX, [row for row in box if row[0] < other.now])
        other.follow()
        other.tell_box(told)
        other.now = end
        other.hear(ROOM, [row for row in room if row[0] >= end - 2 * DAY_S])
        other.hear(BOX, [row for row in box if row[0] >= end - 2 * DAY_S])
        other.follow()
        assert other.box() == late
    assert late.desiccant.filled is not None
    assert late.desiccant.filled > lived.box(at_s=lived.now).estimate_at[:4]


def test_boxes_are_followed_from_the_very_first_reading_of_a_site(site):
    """A fresh site: the service runs, with its inventory, before any sensor has said anything."""
    site.follow()
    assert site.box().estimate_at is None
    box, room = rows(2.0)
    site.now += 2 * DAY_S
    site.hear(BOX, box)
    site.hear(ROOM, room)
    site.follow()
    assert site.box().estimate_at is not None
    assert site.box() == site.box(queries=site.fresh_queries())


def test_a_withdrawn_change_leaves_no_trace(lived):
    """A wrong entry must leave no trace in the figures."""
    before = lived.box()
    number = lived.tell_box(Recharged(desiccant="mol_sieve_3a", dry_g=300.0), hours_ago=30.0)
    lived.follow()
    assert lived.box().desiccant.kind == "mol_sieve_3a"
    assert lived.box() != before
    lived.tell_box(Withdrawn(why="was the other box"), replaces=number)
    lived.follow()
    assert lived.box() == before


def test_a_new_charge_is_fresh_and_the_seal_as_it_was(lived):
    """Restarts just the states that a change touches."""
    before = lived.box()
    lived.tell_box(Recharged(desiccant="silica_gel_a", dry_g=150.0, is_regenerated=True))
    lived.now += 2 * HOUR_S
    last = rows()[0][-1]
    lived.hear(BOX, [(lived.now - 7200.0 + 300.0 * n, last[1], 0.03) for n in range(24)])
    lived.follow()
    after = lived.box()
    assert after.desiccant.loading_pct.p50 < before.desiccant.loading_pct.p50
    assert after.desiccant.regenerated
    changes = before.tightness.air_changes_per_h.p50
    assert after.tightness.air_changes_per_h.p50 == pytest.approx(changes, rel=0.1)


def test_a_change_counts_at_once_not_at_the_next_half_hour(lived):
    """Whoever changed the desiccant must not be told that it is half used up."""
    before = lived.box().desiccant
    lived.tell_box(Recharged(desiccant="silica_gel_a", dry_g=300.0))
    after = lived.box().desiccant
    assert after.dry_g == 300.0
    assert after.used.p50 < 0.5 * before.used.p50
    assert after.days_left.p50 > 1.5 * before.days_left.p50


def test_a_spool_put_in_changes_what_the_box_has_to_hold(lived):
    """The most demanding material inside sets the limit."""
    lived.load(dried(), spool("wet", material="pa6", place=ROOM, start_pct=3.0))
    lived.follow()
    before = lived.box()
    lived.tell(Moved(place=BOX), spool="wet", hours_ago=1.0)
    lived.follow()
    after = lived.box()
    assert set(after.spools) == {"grey", "wet"}
    assert after.limit_humidity_pct < before.limit_humidity_pct
    assert after.desiccant.days_left != before.desiccant.days_left


def test_a_weighing_pulls_the_loading_and_narrows_it(lived):
    """One weighing tells what a batch really holds."""
    before = lived.box().desiccant.water_g
    shown_g = 150.0 + before.p90
    lived.tell_box(ChargeWeighed(mass_g=shown_g, resolution_g=0.1), hours_ago=2.0)
    lived.follow()
    after = lived.box().desiccant.water_g
    assert before.p50 < after.p50 <= before.p90
    assert after.p90 - after.p10 < before.p90 - before.p10


def test_a_look_at_the_beads_is_weak_evidence_and_told_as_such(lived):
    """P14: the colour turns above the humidity that filament asks for."""
    days = lived.box().desiccant.days_left
    lived.tell_box(ColourSeen(colour=Colour.TURNED))
    lived.follow()
    answer = lived.box()
    assert answer.desiccant.days_left == days
    assert "weak evidence" in answer.desiccant.colour
    lived.tell_box(Recharged(desiccant="silica_gel_orange", dry_g=150.0))
    assert lived.box().desiccant.colour is None  # that was the old charge


def test_an_unannounced_change_is_asked_about_until_somebody_answers(site):
    """5: a charge that nobody entered is noticed and asked about."""
    box, room = rows(8.0)
    site.now += 8.5 * DAY_S
    site.hear(ROOM, room)
    site.hear(BOX, box)
    # A wet spool was put in: within hours the air stands far above all that the bed could give.
    last = box[-1]
    site.hear(BOX, [(last[0] + 300.0 * n, last[1], min(last[2] + 0.01 * n, 0.20)) for n in range(1, 140)])
    site.follow()
    questions = site.box().questions
    assert [question.kind for question in questions] == ["contents_changed"]
    assert "was a spool put in" in questions[0].words
    hours_ago = (site.now - START_S) / HOUR_S - 8 * 24.0
    site.tell_box(NothingDone(), hours_ago=hours_ago)
    site.follow()
    assert site.box().questions == ()


def test_what_is_missing_is_said_and_the_rest_goes_on(tmp_path):
    """Bad input: the estimate goes on with what is known."""
    with spool_site(tmp_path, dried(place=None), charge=CHARGE) as site:
        box, _ = rows(3.0)
        site.now += 3 * DAY_S
        site.hear(BOX, box)
        site.follow()
        empty = site.box()
        assert empty.desiccant.days_left.why == "no spool is inside: nothing says how dry it has to be"
        assert empty.desiccant.loading_pct.p50 is not None
        assert any("No spool is inside" in sentence for sentence in empty.missing)
        unmeasured = site.box(OTHER_BOX)
        assert unmeasured.desiccant.loading_pct.why


def test_a_room_without_a_sensor_is_assumed_and_said_so(tmp_path):
    """Bad input: a room without a sensor; the estimate goes on with what is known."""
    with spool_site(tmp_path, dried(), charge=CHARGE) as site:
        bare = site.engine.inventory
        room = replace(bare.rooms[ROOM], channel=None)
        site.engine.change_inventory(replace(bare, rooms={ROOM: room}), site.now)
        site.commit()
        box, _ = rows(6.0)
        site.now += 6 * DAY_S
        site.hear(BOX, box)
        site.follow()
        answer = site.box()
        assert any("no sensor: 50 %RH at 23 °C is assumed" in sentence for sentence in answer.missing)
        assert answer.desiccant.days_left.p10 < answer.desiccant.days_left.p50
        changes = answer.tightness.air_changes_per_h
        assert changes.p10 < 0.05 < 3.0 * changes.p90


@pytest.mark.parametrize(
    ("what", "hours_ago", "match"),
    [
        (Recharged(desiccant="silica_gel_a", dry_g=100.0), -2.0, "future"),
        (Recharged(desiccant="silica_gell", dry_g=100.0), 0.0, "near it"),
        (Recharged(desiccant="silica_gel_a", dry_g=0.0), 0.0, "dry_g is 0; allowed are 0.1"),
        (Recharged(desiccant="silica_gel_a", dry_g=float("nan")), 0.0, "dry_g"),
        (Recharged(desiccant="silica_gel_a", dry_g=9.0, loading_pct=-1.0), 0.0, "loading_pct"),
        (ChargeWeighed(mass_g=20.0, resolution_g=0.1), 0.0, "mass_g is 20; allowed are"),
        (ChargeWeighed(mass_g=160.0, resolution_g=0.0), 0.0, "resolution_g"),
        (Withdrawn(why="no"), 0.0, "replaces must name"),
    ],
)
def test_what_cannot_be_true_is_refused_in_one_sentence(site, what, hours_ago, match):
    """Bad input: field and allowed range, and nothing is written."""
    site.now += DAY_S
    with pytest.raises(BadInputError, match=match) as refusal:
        site.tell_box(what, hours_ago=hours_ago)
    assert "\n" not in str(refusal.value)
    assert site.queries.box_history(BOX).events == ()


def test_the_same_charge_twice_is_refused(site):
    """Bad input: a charge dated twice."""
    site.now += DAY_S
    site.tell_box(Recharged(desiccant="silica_gel_a", dry_g=100.0), hours_ago=1.0)
    with pytest.raises(BadInputError, match="entered for that minute already"):
        site.tell_box(Recharged(desiccant="silica_gel_a", dry_g=120.0), hours_ago=1.0)
    assert len(site.queries.box_history(BOX).events) == 1
