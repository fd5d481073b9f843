"""A spool's water is a function of what is stored: order, lateness and restarts change nothing."""

import pytest
from support.spool_site import BOX, DAY_S, HOUR_S, OTHER_BOX, ROOM, START_S, spool, spool_site

from monitor.errors import BadInputError
from monitor.model.computed import Computed
from monitor.model.records import Withdrawn
from monitor.model.spool_event import Bagged, Dried, Moved, Opened, Used, Weighed
from monitor.service.queries import Queries


@pytest.fixture
def site(tmp_path):
    with spool_site(tmp_path, spool(start_pct=0.02)) as made:
        yield made


def figures(answer):
    return (answer.moisture_pct, answer.outer_pct, answer.dry_length_m, answer.exposure_h, answer.account)


def test_a_spool_in_damp_air_takes_up_water_outside_first(site):
    """P11: the air's figure and the filament's are two things."""
    site.pass_time(48, crate=50.0)
    answer = site.spool()
    assert 0.02 < answer.moisture_pct.p50 < answer.outer_pct.p50 < answer.heading_for_pct
    assert answer.heading_for_pct == pytest.approx(0.22, rel=0.02)  # the catalogue's figure at 50 %RH
    depths = [point.depth_m for point in answer.profile]
    wetness = [point.moisture_pct for point in answer.profile]
    assert depths == sorted(depths)
    assert wetness == sorted(wetness, reverse=True)


def test_another_process_says_the_same_to_the_digit(site):
    """A page and the command on the same database must not disagree."""
    site.pass_time(60, crate=35.0, loft=50.0)
    assert figures(site.spool()) == figures(site.spool(queries=site.fresh_queries()))


def test_a_restart_from_kept_states_changes_nothing(site):
    """Kept states are what goes on, not a copy of it."""
    site.pass_time(50, crate=35.0)
    site.spool()
    kept = site.queries.followers.spools.take_checkpoints()
    assert {row.at_ms % (6 * 3_600_000) for row in kept if row.content} == {0}
    assert len(kept) >= 8
    site.store.keep(Computed(spools=tuple(kept)))
    assert figures(site.spool(queries=site.fresh_queries())) == figures(site.spool())
    site.pass_time(20, crate=20.0)
    assert figures(site.spool(queries=site.fresh_queries())) == figures(site.spool())


def test_readings_that_come_days_late_end_in_the_same_state(site, tmp_path):
    """C.3: a node that was cut off sends its past later."""
    site.now += 96 * HOUR_S
    site.air(BOX, 24, 23.0, 30.0, from_s=START_S)
    site.air(BOX, 24, 23.0, 60.0, from_s=START_S + 3 * DAY_S)
    early = site.spool()
    site.store.keep(Computed(spools=tuple(site.queries.followers.spools.take_checkpoints())))
    site.air(BOX, 48, 23.0, 20.0, from_s=START_S + DAY_S)
    late = site.spool()
    (tmp_path / "b").mkdir()
    with spool_site(tmp_path / "b", spool(start_pct=0.02)) as other:
        other.now = site.now
        for day, humidity in enumerate((30.0, 20.0, 20.0, 60.0)):
            other.air(BOX, 24, 23.0, humidity, from_s=START_S + day * DAY_S)
        assert figures(late) == figures(other.spool())
    assert late.moisture_pct.p50 < early.moisture_pct.p50  # what was assumed was the damper air
    assert figures(site.spool(queries=site.fresh_queries())) == figures(late)


def test_a_gap_in_a_box_is_taken_for_the_rooms_air_and_said_so(site):
    """A-36: the worst case by default, and the answer states it."""
    site.now += 72 * HOUR_S
    site.air(ROOM, 72, 23.0, 55.0)
    site.air(BOX, 24, 23.0, 8.0, from_s=START_S)
    dark = site.spool()
    assert dark.account.assumed_h == pytest.approx(48.0, abs=1.0)
    assert "48 h nothing was measured" in dark.reasons["moisture_pct"]
    site.air(BOX, 48, 23.0, 8.0, from_s=START_S + DAY_S)
    known = site.spool()
    assert known.account.assumed_h == 0.0
    assert known.moisture_pct.p90 < dark.moisture_pct.p50
    assert dark.moisture_pct.p90 - dark.moisture_pct.p10 > known.moisture_pct.p90 - known.moisture_pct.p10


def test_moves_told_late_count_from_when_they_happened(site, tmp_path):
    """P39: the history belongs to the spool; a move entered a day late is as good as one entered at once."""
    site.pass_time(24, crate=10.0, chest=60.0)
    site.tell(Moved(place=OTHER_BOX), hours_ago=0.0)
    site.pass_time(24, crate=10.0, chest=60.0)
    at_once = site.spool()
    (tmp_path / "b").mkdir()
    with spool_site(tmp_path / "b", spool(start_pct=0.02)) as other:
        other.pass_time(48, crate=10.0, chest=60.0)
        other.spool()
        other.tell(Moved(place=OTHER_BOX), hours_ago=24.0)
        assert figures(other.spool()) == figures(at_once)
        assert other.spool().place == OTHER_BOX
    assert [stay.place for stay in at_once.account.stays] == [BOX, OTHER_BOX]


def test_a_correction_replaces_and_a_withdrawal_undoes(site):
    """A wrong entry must leave no trace in the figures, and every trace in the records."""
    site.pass_time(24, crate=10.0, chest=60.0)
    before = figures(site.spool())
    number = site.tell(Moved(place=OTHER_BOX), hours_ago=20.0)
    moved = figures(site.spool())
    assert moved != before
    second = site.tell(Moved(place=BOX), hours_ago=20.0, replaces=number)
    assert site.spool().moisture_pct == before[0]
    site.tell(Withdrawn(why="never happened"), replaces=second)
    assert figures(site.spool()) == before
    history = site.queries.spool_history("grey")
    assert [event.what.kind for event in history.events] == ["moved", "moved", "withdrawn"]
    with pytest.raises(BadInputError, match="no standing record"):
        site.tell(Moved(place=ROOM), replaces=number)


def test_a_bag_stops_the_clock_and_opening_it_starts_it(site):
    """D-01: sealed is a state of its own."""
    site.tell(Bagged())
    site.pass_time(100, crate=60.0)
    assert site.spool().moisture_pct.p50 == pytest.approx(0.02, rel=0.01)
    assert site.spool().trend == "sealed"
    assert site.spool().exposure_h == 0.0
    site.tell(Opened())
    site.pass_time(24, crate=60.0)
    assert site.spool().moisture_pct.p50 > 0.03
    assert site.spool().trend == "run"
    assert site.spool().exposure_h == pytest.approx(24.0, abs=0.1)


def test_used_filament_leaves_the_rest_where_it_was(site):
    """Printing takes the wet outer windings: what is left is drier on average, and shorter."""
    site.pass_time(48, crate=60.0)
    whole = site.spool()
    site.tell(Used(grams=300.0))
    left = site.spool()
    assert left.length_m == pytest.approx(0.7 * whole.length_m, rel=0.01)
    assert left.moisture_pct.p50 < whole.moisture_pct.p50
    assert left.left_g == pytest.approx(700.0, abs=1.0)


def test_loading_the_same_file_again_moves_and_uses_nothing(site):
    """Loading is idempotent, also after a move on a page."""
    site.pass_time(24, crate=10.0, chest=60.0)
    site.tell(Moved(place=OTHER_BOX))
    site.tell(Used(grams=100.0))
    site.pass_time(6, crate=10.0, chest=60.0)
    before = figures(site.spool())
    site.load(spool(start_pct=0.02))
    assert figures(site.spool()) == before
    assert site.spool().place == OTHER_BOX
    site.load(spool(start_pct=0.02, used_g=250.0))
    site.pass_time(1, chest=60.0)
    assert site.spool().left_g == pytest.approx(750.0, abs=1.0)  # a total, not another 250 g


def test_drying_elsewhere_is_believed_but_is_no_reset(site):
    """D-04: without a record of the oven it is only partly reset."""
    site.pass_time(24, crate=60.0, loft=50.0)
    wet = site.spool()
    site.pass_time(10, crate=60.0, loft=50.0)
    site.tell(Dried(temperature_c=60.0, hours=8.0))
    dry = site.spool()
    assert dry.moisture_pct.p50 < wet.moisture_pct.p50
    site.pass_time(2, crate=5.0, loft=50.0)
    account = site.spool().account
    assert account.dryings == 1
    assert account.hot_h == pytest.approx(8.0, abs=0.1)
    assert account.reset is None
    assert account.partly_reset is not None


def test_status_of_an_earlier_time_knows_what_is_known_now_of_that_time(site):
    """`--at` answers from the same states."""
    site.pass_time(24, crate=50.0)
    then_s, then = site.now, site.spool()
    site.pass_time(24, crate=50.0)
    again = site.spool(queries=site.fresh_queries(), at_s=then_s)
    assert again.moisture_pct == then.moisture_pct
    assert again.place == BOX


def test_a_spool_that_nobody_can_place_is_followed_through_the_rooms_widened(tmp_path):
    """An unknown place is the room, with more doubt."""
    with spool_site(
        tmp_path, spool("lost", place=None, start_pct=0.02), spool("here", place=ROOM, start_pct=0.02)
    ) as site:
        site.pass_time(72, loft=40.0)
        lost, here = site.spool("lost"), site.spool("here")
        assert lost.moisture_pct.p50 == pytest.approx(here.moisture_pct.p50, rel=0.02)
        assert lost.moisture_pct.p90 - lost.moisture_pct.p10 > here.moisture_pct.p90 - here.moisture_pct.p10
        assert "Nobody said where it is" in lost.reasons["heading_for_pct"]


def test_a_weighing_survives_a_restart(site):
    """What a weighing taught is part of the state."""
    site.pass_time(24, crate=50.0)
    site.tell(Weighed(mass_g=1230.00, resolution_g=0.01))
    site.pass_time(48, crate=50.0)
    site.tell(Weighed(mass_g=1230.45, resolution_g=0.01))
    site.pass_time(12, crate=50.0)
    told = site.spool()
    assert told.account.weighing is not None
    assert figures(site.spool(queries=site.fresh_queries())) == figures(told)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (
            Moved(place="nowhere"),
            "place 'nowhere' is no room, box or oven of the inventory; allowed are chest, cr",
        ),
        (Used(grams=-5.0), "grams is -5; allowed are 0.01 to 1000"),
        (Used(grams=2000.0), "grams is 2000; allowed are 0.01 to 1000"),
        (Weighed(mass_g=150.0, resolution_g=1.0), "mass_g is 150; allowed are 710 to"),
        (Weighed(mass_g=float("nan"), resolution_g=1.0), "mass_g is nan"),
        (Weighed(mass_g=1200.0, resolution_g=0.0), "resolution_g is 0; allowed are 0.001 to 100"),
        (Dried(temperature_c=95.0, hours=4.0), "temperature_c is 95; allowed are 25 to 72"),
        (Dried(temperature_c=60.0, hours=400.0), "hours is 400; allowed are 0.1 to 168"),
    ],
)
def test_what_cannot_be_true_is_refused_in_one_sentence(tmp_path, what, words):
    """Bad input names the field and the range, and changes nothing."""
    with spool_site(tmp_path, spool(reel_g=210.0)) as site:
        site.pass_time(12, crate=50.0)
        before = figures(site.spool())
        with pytest.raises(BadInputError, match=words) as caught:
            site.tell(what)
        assert "\n" not in str(caught.value)
        assert figures(site.spool()) == before
        assert site.queries.spool_history("grey").events == ()


def test_an_event_outside_the_spools_time_is_refused(site):
    """A date in the future, or before its beginning, is a slip of the hand."""
    site.pass_time(5, crate=50.0)
    for hours_ago in (-2.0, 6.0):
        with pytest.raises(BadInputError, match="at must lie between .* 20[0-9-]*T[0-9:]*Z to 20"):
            site.tell(Used(grams=5.0), hours_ago=hours_ago)


def test_readings_that_come_in_while_the_past_is_worked_out_are_not_overlooked(site):
    """What was read of a day before its last readings came in must not be used for them."""
    site.now += 20 * HOUR_S
    site.air(BOX, 10, 23.0, 60.0, from_s=START_S)
    site.queries.followers.spools.advance(
        round(site.now * 1000), 4
    )  # two hours in, with the day's air in hand
    site.air(BOX, 10, 23.0, 5.0, from_s=START_S + 10 * HOUR_S)
    assert figures(site.spool()) == figures(site.spool(queries=site.fresh_queries()))


def test_a_story_that_begins_between_two_half_hours_reads_no_air_that_is_not_all_in_yet(tmp_path):
    """The first, shorter step must not keep half a half hour's readings for the next one."""
    begins_s = START_S + 17 * 60
    with spool_site(tmp_path, spool(start_pct=0.02, since_s=begins_s)) as site:
        site.now = START_S + 40 * 60
        site.air(BOX, 40 / 60, 23.0, 10.0, from_s=START_S)
        site.spool()
        site.air(BOX, 50 / 60, 23.0, 80.0, from_s=START_S + 40 * 60)
        site.now = START_S + 2 * HOUR_S
        assert figures(site.spool()) == figures(site.spool(queries=site.fresh_queries()))


def test_an_answer_is_looked_for_again_while_its_past_is_worked_out(site):
    """Live: what is not there yet must not be remembered for a minute as not there."""
    site.pass_time(24, crate=50.0)
    live = Queries(site.reader, now_s=lambda: site.now, zone="UTC", is_live=True)
    assert site.spool(queries=live).moisture_pct.p50 is None
    live.catch_up()
    assert site.spool(queries=live).moisture_pct == site.spool().moisture_pct


def test_however_often_it_is_asked_the_steps_are_the_same(tmp_path):
    """Long before the first reading, through a dark day, asked every three hours or only at the end."""
    begins_s = START_S - 9 * DAY_S + 17 * 60
    with spool_site(tmp_path, spool(start_pct=0.02, since_s=begins_s)) as site:
        for hours, humidity in ((20, 12.0), (30, None), (22, 45.0)):
            for _ in range(0, hours, 2):
                site.now += 2 * HOUR_S
                if humidity is not None:
                    site.air(BOX, 2, 23.0, humidity)
                site.spool()
                site.store.keep(Computed(spools=tuple(site.queries.followers.spools.take_checkpoints())))
        asked_often = site.spool()
        assert figures(site.spool(queries=site.fresh_queries())) == figures(asked_often)
        site.load(spool(start_pct=0.02, since_s=begins_s, net_g=1001.0))  # all that was kept is void
        site.load(spool(start_pct=0.02, since_s=begins_s))
        assert figures(site.spool(queries=site.fresh_queries())) == figures(asked_often)
        assert site.spool().account.assumed_h == pytest.approx(9 * 24 + 30, abs=1.0)
