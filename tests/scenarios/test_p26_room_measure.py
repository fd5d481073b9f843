"""P26: a damp room and its dehumidifier: what that does to the boxes in it (D-30)."""

import pytest
from support.spool_site import BOX, DAY_S, ROOM, spool_site

from monitor.model.room_air import RoomWish
from monitor.service.room_advice import room_advice


def measure(site, **wish):
    while site.store.roll_up(round(1000.0 * site.now)).more:
        pass
    status = site.queries.status()
    return room_advice(site.queries, status, status.rooms[0], RoomWish(**wish)).measure


def crate_of(measure_answer):
    return next(box for box in measure_answer.boxes if box.key == BOX)


def test_p26_from_78_to_55_percent_and_back_at_night(tmp_path):
    """P26: held all day a box takes in two thirds; with the machine off at night it is five sixths."""
    with spool_site(tmp_path) as site:
        site.now += 3 * DAY_S
        site.air(ROOM, 72, 23.0, 78.0)
        site.air(BOX, 72, 23.0, 10.0)
        all_day = measure(site, target_pct=55.0)
        box = crate_of(all_day)
        assert box.leak_share == pytest.approx((55.0 - 10.0) / (78.0 - 10.0), rel=0.01)
        assert "desiccant would last about 1.4 times as long" in all_day.advice
        by_day = measure(site, target_pct=55.0, target_hours=12.0)
        assert crate_of(by_day).leak_share == pytest.approx(0.5 * (1.0 + box.leak_share), rel=0.01)


def test_p26_a_room_that_is_dry_already_gains_nothing(tmp_path):
    """An honest answer saves the money."""
    with spool_site(tmp_path) as site:
        site.now += 3 * DAY_S
        site.air(ROOM, 72, 21.0, 35.0)
        site.air(BOX, 72, 21.0, 10.0)
        assert (
            measure(site, target_pct=40.0).advice
            == "Nothing to gain: the room is at 35 %RH in the mean already."
        )
        assert "Hardly worth it" in measure(site, target_pct=34.0).advice
