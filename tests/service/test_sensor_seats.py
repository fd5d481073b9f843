"""In which corner a sensor sits: told with the corners or later, and by what it stops to hold."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from support.sensor_site import CRATE, sensor_site
from support.spool_site import BOX, DAY_S, HOUR_S, OTHER_BOX

from monitor.alarms.conditions import conditions
from monitor.errors import BadInputError
from monitor.model.around import Around
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import Back, InJar, Installed, MapNow, Seated, Stay
from monitor.service.places import placed_at, stays
from monitor.service.sensor_seats import seats

LOW, BAG = "low, by the hinge", "beside the bag"


@pytest.fixture
def site(tmp_path):
    """Two days went by: the sensor of the crate lay low, then beside the bag, 4.5 %RH drier."""
    with sensor_site(tmp_path) as made:
        made.days(1, crate=15.5, loft=45.0)
        made.days(1, crate=11.0, loft=45.0)
        yield made


def two_stays(site):
    middle_s = site.now - DAY_S
    return (
        Stay(name=LOW, from_s=middle_s - DAY_S, to_s=middle_s),
        Stay(name=BAG, from_s=middle_s, to_s=site.now),
    )


def map_corners(site, sits_at=None):
    number = site.sense(MapNow(stays=two_stays(site), sits_at=sits_at))
    site.now += HOUR_S
    return number


def misplaced(site, place=BOX):
    """As the alarms see it."""
    at_ms = round(1000.0 * site.now)
    here = placed_at(stays(site.reader.placements()), at_ms)
    around = Around(seats=seats(here, site.reader.sensor_events(), at_ms))
    found = conditions(site.queries.status(), around, site.now)
    return next(c for c in found if (c.type, c.place) == ("sensor_misplaced", place))


def needed(site):
    return [need for need in site.queries.status().needs if "sits “" in need.what]


def test_what_is_told_with_the_corners_holds(site):
    """P37, A-39: the figure is that of the two corners."""
    assert misplaced(site).holds is False
    map_corners(site, BAG)
    found = misplaced(site)
    assert found.holds is True
    assert found.value == pytest.approx(4.5, abs=0.05)
    assert f"sits “{BAG}”, where it reads 4.5 %RH drier than “{LOW}”" in found.what
    assert [need.place for need in needed(site)] == [BOX]


@pytest.mark.parametrize("sits_at", [LOW, None])
def test_at_the_dampest_corner_or_not_told_it_is_in_order(site, sits_at):
    map_corners(site, sits_at)
    assert site.queries.sensors.seat(CRATE).sits_at == sits_at
    assert misplaced(site).holds is False
    assert needed(site) == []


def test_whoever_moves_it_says_so_and_the_corners_stay(site):
    """One more record, append-only; there and back again."""
    first = map_corners(site, BAG)
    site.sense(Seated(sits_at=LOW))
    site.now += HOUR_S
    seat = site.queries.sensors.seat(CRATE)
    assert (seat.sits_at, seat.drier_pct) == (LOW, 0.0)
    assert misplaced(site).holds is False
    assert [e.event_id for e in site.queries.sensors.events(CRATE)] == [first, first + 1]
    site.sense(Seated(sits_at=BAG))
    site.now += HOUR_S
    assert misplaced(site).holds is True


def test_what_is_withdrawn_or_of_the_sensor_before_does_not_hold(site):
    number = map_corners(site, BAG)
    site.sense(Withdrawn(why="it was another box"), replaces=number)
    site.now += HOUR_S
    assert misplaced(site).holds is False
    assert site.queries.sensors.seat(CRATE) is None


def test_a_withdrawn_seat_gives_back_the_one_before(site):
    map_corners(site, BAG)
    number = site.sense(Seated(sits_at=LOW))
    site.now += HOUR_S
    assert misplaced(site).holds is False
    site.sense(Withdrawn(why="it was not moved after all"), replaces=number)
    site.now += HOUR_S
    assert misplaced(site).holds is True


def test_another_sensor_has_no_seat_yet(site):
    map_corners(site, BAG)
    site.sense(Installed(serial="B2"))
    site.now += HOUR_S
    assert misplaced(site).holds is False
    assert site.queries.sensors.seat(CRATE) is None


def test_newer_corners_hold_whatever_was_told_of_those_before(site):
    """A-39: looked at again after the desiccant moved; where it sits is asked anew."""
    map_corners(site, BAG)
    site.sense(MapNow(stays=tuple(replace(s, name=f"new {s.name}") for s in two_stays(site))))
    site.now += HOUR_S
    assert site.queries.sensors.seat(CRATE).sits_at is None
    assert misplaced(site).holds is False


def test_a_seat_told_of_corners_that_were_withdrawn_is_not_guessed(site):
    """Its name may be none of those that stand."""
    map_corners(site, BAG)
    renamed = tuple(replace(s, name=f"new {s.name}") for s in two_stays(site))
    number = site.sense(MapNow(stays=renamed, sits_at=f"new {LOW}"))
    site.now += HOUR_S
    site.sense(Seated(sits_at=f"new {BAG}"))
    site.now += HOUR_S
    assert misplaced(site).holds is True
    site.sense(Withdrawn(why="wrong names"), replaces=number)
    seat = site.queries.sensors.seat(CRATE)
    assert (seat.dampest, seat.sits_at, seat.drier_pct) == (LOW, None, None)


def test_corners_of_the_box_before_are_not_those_of_this_one(site):
    """The sensor is moved to another box in the inventory: nobody told of that one's corners."""
    map_corners(site, BAG)
    found = site.reader.inventory()
    chest = replace(found.boxes[OTHER_BOX], channel=CRATE)
    crate = replace(found.boxes[BOX], channel=None)
    site.engine.change_inventory(replace(found, boxes={BOX: crate, OTHER_BOX: chest}), site.now)
    site.commit()
    site.now += HOUR_S
    assert misplaced(site).holds is False
    assert misplaced(site, OTHER_BOX).holds is False
    with pytest.raises(BadInputError, match="no corners of its box are on record"):
        site.sense(Seated(sits_at=LOW))


def test_a_time_in_a_jar_moves_no_seat(site):
    """It comes back to where it sat, unless somebody says otherwise."""
    map_corners(site, BAG)
    site.sense(InJar(salt="lithium_chloride"))
    site.now += HOUR_S
    site.sense(Back())
    assert misplaced(site).holds is True


@pytest.mark.parametrize("wish", ["mapped", "seated"])
def test_a_corner_that_there_is_not_is_refused(site, wish):
    """One sentence with the field and the allowed names; nothing is kept."""
    words = f"sits_at is 'top'; allowed are '{LOW}', '{BAG}'"
    if wish == "seated":
        map_corners(site, BAG)
        told, before = Seated(sits_at="top"), 1
    else:
        told, before = MapNow(stays=two_stays(site), sits_at="top"), 0
    with pytest.raises(BadInputError) as refused:
        site.sense(told)
    assert str(refused.value) == words
    assert len(site.queries.sensors.events(CRATE)) == before


def test_a_seat_without_corners_is_refused(site):
    with pytest.raises(BadInputError, match="kind is seated, and no corners of its box are on record"):
        site.sense(Seated(sits_at=LOW))
    assert site.queries.sensors.events(CRATE) == ()


def test_two_corners_of_one_name_are_refused(site):
    """The seat is told by its name."""
    same = tuple(replace(stay, name=LOW) for stay in two_stays(site))
    with pytest.raises(BadInputError, match=f"corners: '{LOW}' is the name of two of them"):
        site.sense(MapNow(stays=same))


def test_a_record_from_before_seats_were_asked_still_loads(site, tmp_path):
    """As it lies in the databases that there are: without the member."""
    map_corners(site, BAG)
    with closing(sqlite3.connect(tmp_path / "site.db")) as db, db:
        (body,) = db.execute("SELECT body FROM sensor_event").fetchone()
        members = json.loads(body)
        assert members.pop("sits_at") == BAG
        db.execute("DROP TRIGGER IF EXISTS sensor_event_is_never_changed")
        db.execute("UPDATE sensor_event SET body = ?", (json.dumps(members),))
    seat = site.queries.sensors.seat(CRATE)
    assert (seat.dampest, seat.sits_at) == (LOW, None)
    assert misplaced(site).holds is False
