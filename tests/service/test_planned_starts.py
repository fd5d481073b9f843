"""Starts planned for later, through the real desk, store and controller: begun, asked about, or missed."""

import json
import sqlite3
from contextlib import closing

import pytest
from support.oven_site import HOUR_S, OVEN, spool
from support.planned_site import planned_site
from support.spool_site import BOX

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.oven_fact import FactKind, OvenChanges, OvenFact
from monitor.model.planned_start import UnreadableStart
from monitor.model.spool_event import Moved
from monitor.oven.fitness import Learned
from monitor.oven.load_limit import allowed
from monitor.service.oven_figures import mark_of, to_text


@pytest.fixture
def made(tmp_path):
    with planned_site(tmp_path) as site:
        yield site


def test_what_was_planned_begins_at_its_time_when_armed_and_as_seen(made):
    """B-13: fresh arming, and everything as the person saw it; the book says that it was planned."""
    number = made.plan()
    made.until(number, before_s=300.0)
    made.site.arm()
    made.starts.look()
    assert made.state(number) == "planned"
    made.site.run(made.row(number).start_s - made.site.clock.wall + 4.0)
    made.starts.look()
    row = made.row(number)
    assert row.state == "started", row.why
    assert row.cycle == made.site.look().cycle.id
    assert made.site.look().cycle.who == "mara"
    made.site.run(600)
    assert made.site.look().phase in ("heating", "drying")
    started = next(each for each in made.site.look().records if each.kind == "cycle_started")
    assert "begun as planned" in started.what
    assert made.told == []


def test_a_planned_start_keeps_the_target_of_its_plan(made):
    """D-13: the cycle that comes of it ends by that."""
    number = made.plan(target_pct=0.03)
    made.until(number, before_s=300.0)
    made.site.arm()
    made.site.run(made.row(number).start_s - made.site.clock.wall + 4.0)
    made.starts.look()
    assert made.row(number).state == "started", made.row(number).why
    assert made.site.look().cycle.target_pct == 0.03


def test_a_stored_plan_alone_starts_nothing(made):
    """B-13: not armed at its time, it is a notice, told once, and no heat."""
    number = made.plan()
    made.until(number)
    for _ in range(3):
        made.starts.look()
        made.site.run(60)
    assert made.state(number) == "asked"
    assert not made.site.rig.is_heated
    (message,) = made.told
    assert (message.type, message.place) == ("start_now", OVEN)
    assert "waits: confirm now" in message.what
    assert "not armed" in message.why


def test_arming_after_it_was_asked_does_not_start_it(made):
    """What was asked is a person's to confirm: a press of the button that came late means anything."""
    number = made.plan()
    made.until(number)
    made.starts.look()
    made.site.arm()
    made.starts.look()
    made.site.run(300)
    assert not made.site.rig.is_heated
    assert made.state(number) == "asked"


def test_somebody_who_confirms_it_has_started_it(made):
    """The same load, started on the page: the plan is done and asks no more."""
    number = made.plan()
    made.until(number)
    made.starts.look()
    made.site.arm()
    assert made.site.acts.start(OVEN, made.site.wish(setpoint_c=55.0), "jo") == ()
    made.starts.look()
    assert (made.state(number), made.row(number).cycle) == ("started", made.site.look().cycle.id)
    assert not [need for need in made.site.queries.status().needs if "planned" in need.what]


def test_one_that_somebody_must_stay_with_is_asked_although_armed(made):
    """B-11, B-40: who armed it twenty minutes ago may have left."""
    number = made.plan(unattended=False)
    made.until(number, before_s=120.0)
    made.site.arm()
    made.site.run(130)
    made.starts.look()
    assert made.state(number) == "asked"
    assert "stay with it" in made.row(number).why
    assert not made.site.rig.is_heated


def test_late_is_never_begun(made):
    """Two minutes after its time the person is asked, armed or not."""
    number = made.plan()
    made.until(number, before_s=60.0)
    made.site.arm()
    made.skip(230.0)
    made.starts.look()
    assert made.state(number) == "missed"
    assert made.kinds() == ["start_missed"]
    assert not made.site.rig.is_heated


def test_one_that_became_due_while_the_program_was_away_is_asked_about(made):
    """kill -9 leaves the row; the time that went by unseen is not made up for, however short."""
    number = made.plan()
    other = made.plan(hours=9.0)
    made.until(number, before_s=20.0)
    made.site.arm()
    made.site.run(30, monitor=False)
    made.start_program(is_new=True)
    made.site.run(20)
    made.starts.look()
    assert (made.state(number), made.state(other)) == ("missed", "planned")
    assert "not running" in made.row(number).why
    assert not made.site.rig.is_heated


def test_a_clock_that_is_set_past_a_start_makes_nothing_begin(made):
    """B-25: due because of the jump alone, armed and all, it is asked about."""
    number = made.plan()
    made.site.arm()
    made.starts.look()
    made.set_clock(made.row(number).start_s - made.site.clock.wall + 10.0)
    made.site.run(10)
    made.starts.look()
    assert made.state(number) == "missed"
    assert "The clock was set" in made.row(number).why
    made.site.run(300)
    assert not made.site.rig.is_heated


def test_shortly_after_the_clock_was_set_a_start_is_asked_about(made):
    """B-25: set to half a minute before its time, it is as much the jump's doing."""
    number = made.plan()
    made.site.arm()
    made.starts.look()
    made.set_clock(made.row(number).start_s - made.site.clock.wall - 60.0)
    made.starts.look()
    made.site.run(80)
    made.starts.look()
    assert made.state(number) == "asked"
    assert "a moment ago" in made.row(number).why
    assert not made.site.rig.is_heated


def test_slow_tuning_of_the_clock_is_no_jump(made):
    """A time server slews a little all the time, here 6 s in four minutes: what was planned still begins."""
    number = made.plan()
    made.until(number, before_s=240.0)
    made.site.arm()
    while made.site.clock.wall < made.row(number).start_s:
        made.site.run(4)
        made.site.clock.wall += 0.1
        made.starts.watch.look()
    made.starts.look()
    assert made.state(number) == "started"


def test_a_board_that_does_not_know_the_time_begins_nothing(made):
    """Before the floor of the clock there is no due and no missed: it waits, and then is asked about."""
    number = made.plan()
    made.site.arm()
    made.is_clock_known = False
    made.skip(1.5 * HOUR_S)
    made.starts.look()
    assert made.state(number) == "planned"
    made.is_clock_known = True
    made.starts.look()
    assert made.state(number) in ("missed", "asked")
    assert not made.site.rig.is_heated


@pytest.mark.parametrize(
    ("what", "why"),
    [
        (lambda site: site.tell(Moved(place=BOX)), None),
        (lambda site: site.load(), "not in the inventory any more"),
        (
            lambda site: site.load(spool("grey", "petg", place=OVEN, reel="pc", used_g=600.0)),
            "has 400 g on it now",
        ),
        (lambda site: site.load(spool("grey", "pla", place=OVEN, reel="pc")), "is the most now"),
    ],
)
def test_what_is_no_longer_as_seen_is_said_before_its_time(made, what, why):
    """D-11: moved, gone, used, another material: the plan says so and asks, and begins nothing else."""
    number = made.plan()
    made.starts.look()
    what(made.site)
    made.skip(HOUR_S)
    made.starts.look()
    if why is None:  # a spool out of the oven may be put back: it is asked at its time
        assert "was moved" in made.row(number).why
    else:
        assert why in made.row(number).why
    assert made.state(number) == "asked"
    assert made.kinds() == ["start_changed"]
    made.until(number)
    made.starts.look()
    assert made.kinds() == ["start_changed", "start_now"]
    assert not made.site.rig.is_heated


def test_an_oven_that_runs_beyond_that_time_asks(tmp_path):
    """D-11, B-18: another drying was begun meanwhile; and none is planned into one that runs."""
    inside, elsewhere = spool("blue", "petg", place=OVEN, reel="pc"), spool("grey", "petg", reel="pc")
    with planned_site(tmp_path, inside, elsewhere) as made:
        number = made.plan(hours=1.0)
        made.site.arm()
        assert made.site.acts.start(OVEN, made.site.wish(duration_s=6.0 * HOUR_S), "jo") == ()
        made.starts.look()
        assert made.state(number) == "asked"
        assert "Another drying runs" in made.row(number).why
        with pytest.raises(RefusedError, match="ends later than that"):
            made.plan(hours=2.0)


def test_a_sensor_that_is_silent_for_a_while_changes_no_plan_before_its_time(made):
    """The room's air is not known for an hour: it is told at the start, if it still is so."""
    number = made.plan()
    made.site.run(HOUR_S, monitor=False)
    made.site.run(20)
    made.starts.look()
    assert made.state(number) == "planned"
    made.site.run(made.row(number).start_s - made.site.clock.wall + 4.0, monitor=False)
    made.site.run(20)
    made.starts.look()
    assert "Its plan cannot be worked out now." in made.row(number).why


def test_a_spool_that_lies_elsewhere_may_be_planned_and_must_be_put_in(tmp_path):
    """P28: planned from the box; at its time it is missing in the oven, so it is asked."""
    with planned_site(tmp_path, spool("grey", "petg", reel="pc")) as made:
        number = made.plan()
        made.starts.look()
        assert made.state(number) == "planned"
        made.until(number)
        made.starts.look()
        assert "Not in the oven: grey." in made.row(number).why


def test_what_is_wrong_is_refused_in_a_sentence_and_nothing_is_written(made):
    """Every bound, by its field."""
    for members, fault in (
        ({"hours": -1.0}, "start_at must lie ahead"),
        ({"hours": 24.0 * 61}, "within 60 days"),
        ({"setpoint_c": 70.0}, "58 °C is the most: grey limits it"),
        ({"setpoint_c": float("nan")}, "setpoint_c"),
        ({"duration_s": 10.0}, "60 s to 24 h"),
        ({"load": ("grey", "grey")}, "each once"),
        ({"load": ("nobody",)}, "of the inventory"),
        ({"load": ()}, "1 to 40"),
        ({"due_s": 1.0}, "before the drying is over"),
        ({"target_pct": 99.0}, "0 to 20"),
        ({"limited_by": "the door"}, "What limits it is grey now"),
    ):
        with pytest.raises((FieldError, RefusedError), match=fault):
            made.plan(**members)
    with pytest.raises(BadInputError, match="not in the inventory"):
        made.starts.plan("nowhere", made.wish(), "mara")
    assert made.starts.listed() == ()


def test_the_limit_of_a_plan_is_by_what_the_oven_was_found_to_overshoot(made):
    """B-14, H19: as the supervision will ask at its time, and as the page showed it."""
    site = made.site
    entry = site.queries.inventory().ovens[OVEN]
    known = Learned(run="c1", overshoot_c=entry.overshoot_c + 8.0, oven=mark_of(entry))
    fact = OvenFact(oven=OVEN, at_s=site.clock.wall, kind=FactKind.LEARNED, value=to_text(known), who="mara")
    site.world.note(OvenChanges(facts=[fact]))
    site.run(30)
    state = site.desk.now(OVEN)
    most_c = allowed(state.site.load, state.parameters).setpoint_c
    assert most_c < 55.0
    with pytest.raises(FieldError, match=f"{most_c:g} °C is the most"):
        made.plan(setpoint_c=most_c + 1.0)
    made.plan(setpoint_c=most_c)


def test_planning_the_same_anew_takes_the_old_ones_place_and_another_is_refused(made):
    """One oven, one drying at a time; who plans again means instead."""
    made.site.load(spool("grey", "petg", place=OVEN, reel="pc"), spool("blue", "petg", reel="pc"))
    first = made.plan(hours=3.0)
    second = made.plan(hours=4.0)
    assert (made.state(first), made.state(second)) == ("withdrawn", "planned")
    with pytest.raises(RefusedError, match="Another start is planned"):
        made.plan(hours=5.0, load=("blue",), limited_by="blue")
    made.plan(hours=7.0, load=("blue",), limited_by="blue")
    assert len(made.starts.listed()) == 2


def test_a_withdrawn_start_is_over(made):
    """Nothing is begun, nothing asked; a second time it is said that it is over."""
    number = made.plan()
    made.starts.withdraw(number, "jo")
    made.until(number)
    made.site.arm()
    made.starts.look()
    assert made.state(number) == "withdrawn"
    assert made.told == []
    for gone in (number, 4711):
        with pytest.raises(BadInputError, match="does not wait"):
            made.starts.withdraw(gone, "jo")
    assert [act.what for act in made.site.reader.acts(2)] == ["withdrew a planned start", "planned a start"]


@pytest.mark.parametrize(
    "content", ["{", "[]", "{}", '{"load": []}', json.dumps({"load": ["grey"], "setpoint_c": "hot"})]
)
def test_a_row_that_cannot_be_read_is_listed_and_never_begun(made, content):
    """Report 11: what an upgrade or a fault made unreadable is told, not dropped."""
    number, other = made.plan(), made.plan(hours=7.5)
    with closing(sqlite3.connect(made.site.store._db.execute("PRAGMA database_list").fetchone()[2])) as db:
        db.execute("UPDATE planned_start SET content = ? WHERE number = ?", (content, number))
        db.commit()
    unread, kept = made.starts.listed()
    assert isinstance(unread, UnreadableStart)
    assert (unread.number, unread.oven, kept.number) == (number, OVEN, other)
    made.until(other, before_s=5.9 * HOUR_S)
    made.site.arm()
    made.starts.look()
    assert not made.site.rig.is_heated
    needs = [need.what for need in made.site.queries.status().needs]
    assert any("could not be read" in what for what in needs)
    made.starts.withdraw(number, "jo")
    assert [row.number for row in made.starts.listed()] == [other]


def test_a_state_of_a_later_version_is_listed_too(made):
    """Report 11: after going back to an earlier release."""
    number = made.plan()
    with closing(sqlite3.connect(made.site.store._db.execute("PRAGMA database_list").fetchone()[2])) as db:
        db.execute("UPDATE planned_start SET state = 'deferred' WHERE number = ?", (number,))
        db.commit()
    (row,) = made.starts.listed()
    assert isinstance(row, UnreadableStart)
    assert "deferred" in row.why


def test_a_clock_set_back_during_a_cycle_changes_nothing_of_it(made):
    """Report 9, B-25: the control loop never pauses for two seconds, and it lasts its time by the monotonic clock."""
    site = made.site
    number = made.plan(hours=20.0)
    site.arm()
    assert site.acts.start(OVEN, site.wish(duration_s=900.0), "jo") == ()
    begun_s = site.desk.now(OVEN).cycle.started_mono_s
    ended_s, longest_s = None, 0.0
    for step in range(600):
        for _ in range(4):
            site.clock.wall += 0.5
            site.clock.mono += 0.5
            site.desk.tick()
            site._settle()
            longest_s = max(longest_s, site.clock.mono - site.desk.now(OVEN).stepped_mono_s)
            if ended_s is None and site.desk.now(OVEN).ended is not None:
                ended_s = site.clock.mono
        site.rig.step()
        if step == 150:
            site.clock.wall -= 2.0 * HOUR_S
            made.starts.look()
    assert longest_s <= 2.0
    assert ended_s - begun_s == pytest.approx(900.0, abs=1.0)
    assert str(site.desk.now(OVEN).ended.ending) == "time_up"
    assert made.state(number) == "planned"
    assert made.starts.times() == ((number, made.row(number).start_s),)
