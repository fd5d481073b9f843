"""A-25: what was recorded round a trip can be looked at, from the oven's page and from its book."""

import json
from dataclasses import asdict, replace

import pytest
from support.ovens import oven_site, tripped
from support.spool_site import OVEN, START_S

from monitor.model.cycle import Fired, FirstOut, OvenRecord, RecordKind, TraceSample
from monitor.service.oven_trace import from_text
from web.ovens import trips

TRIP = f"t{int(START_S):x}-1"
TRACE = tuple(
    TraceSample(
        after_ms=2000 * number,
        chamber_c=(50.0 + 0.02 * number, 49.0 if number < 50 else None),
        heater=0.4 if number <= 1 else 0.0,
        power_w=140.0,
        fan=True,
    )
    for number in range(-290, 290)
)
RECORD = FirstOut(
    oven=OVEN,
    trip=TRIP,
    at_wall_s=START_S,
    fired=(
        Fired(rule="R6", what="Rise <with> heat off", after_ms=0),
        Fired(rule="R8", what="Over", after_ms=4217),
    ),
    trace=TRACE,
    is_complete=True,
)


@pytest.fixture
def site(tmp_path):
    line = OvenRecord(kind=RecordKind.TRIPPED, oven=OVEN, at_wall_s=START_S + 0.4, what="It rose.", rule="R6")
    look = tripped(records=(line, replace(line, at_wall_s=START_S - 60.0)))
    with oven_site(tmp_path, replace(look, trip=replace(look.trip, id=TRIP))) as made:
        made.desk.kept[TRIP] = from_text(json.dumps(asdict(RECORD)))
        yield made


def test_the_oven_and_its_book_lead_to_the_record_that_was_kept(site):
    """A line of the book without a record leads nowhere."""
    page = site.page(f"/ovens/{OVEN}")
    assert page.count(f"/ovens/{OVEN}/trips/{TRIP}") == 2


def test_the_record_shows_rules_with_their_times_a_picture_and_a_table(site):
    """The cause first; text of rules is text."""
    page = site.page(f"/ovens/{OVEN}/trips/{TRIP}")
    assert page.index("R6") < page.index("4217 ms later")
    assert "Rise &lt;with&gt; heat off" in page
    assert page.count("<polyline") == 3  # two sensors and the heater
    assert "highest was 55.8 °C" in page
    assert "Heat was last seen 2 s after." in page
    assert '<th scope="row">+0 s</th><td>50.0, 49.0</td>' in page


def test_a_trip_of_which_nothing_was_kept_is_not_found(site):
    """Nor one of another oven."""
    site.page(f"/ovens/{OVEN}/trips/t1-1", 404)
    site.page(f"/ovens/{OVEN}/trips/{'x' * 300}", 404)
    site.page(f"/ovens/none/trips/{TRIP}", 404)


def test_a_silence_is_a_gap_of_the_lines():
    """Nothing is drawn over what was not heard."""
    quiet = replace(RECORD, trace=tuple(each for each in TRACE if not 100_000 < each.after_ms < 160_000))
    drawn = trips.figure(quiet)
    assert [len(sensor) for sensor in drawn.chambers] == [2, 1]
    assert trips.figure(replace(RECORD, trace=())) is None
