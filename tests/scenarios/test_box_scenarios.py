"""What people ask about their boxes, each as given data and the answer shown (D-30)."""

import math
from dataclasses import replace

import pytest
from support.box_small import PLAIN, course_of, with_fault
from support.spool_site import BOX, DAY_S, ROOM, START_S, spool, spool_site

from monitor.model.inventory import Charge
from monitor.model.spool_event import Moved

TRUTH = replace(PLAIN, volume_m3=0.012)
CHARGE = Charge(kind="silica_gel_a", dry_g=150.0, loading_pct=2.5, filled_s=START_S)


def lived(site, truth, days, begin_s=START_S, seed=1):
    """The site's box and room measured for so many days, as a truth has them."""
    course = course_of(truth, days, seed)
    time_s = (begin_s + course.time_s).tolist()
    for place, warmth, humidity in (
        (BOX, course.temperature_c, course.humidity),
        (ROOM, course.room_c, course.room_humidity),
    ):
        site.hear(place, zip(time_s, warmth[:, 0].tolist(), humidity[:, 0].tolist(), strict=True))
    site.now = max(site.now, begin_s + days * DAY_S)
    site.follow()
    return course


def dried(**members):
    return spool(net_g=800.0, start_pct=0.03, **members)


@pytest.mark.parametrize(
    ("fault", "cause", "word"),
    [("leak", "leak", "seal"), ("wet", "wet_contents", "spool"), ("charge", "charge_too_small", "desiccant")],
)
def test_p10_humidity_will_not_drop_and_the_cause_is_named(tmp_path, fault, cause, word):
    """P10: leak, wet contents and too small a charge are told apart from the curve, with the act."""
    with spool_site(tmp_path, dried(), charge=CHARGE) as site:
        lived(site, replace(with_fault(fault, 14.0), volume_m3=0.012), 24.0, seed=2)
        first = site.box().diagnosis[0]
        assert (first.cause, first.probability > 0.5) == (cause, True)
        assert word in first.advice.lower()
        assert first.evidence.endswith(".")


def test_p13_how_full_the_packet_is_and_for_how_long_it_lasts(tmp_path):
    """P13: water taken up, share used and days left, each with its range; the truth lies inside."""
    with spool_site(tmp_path, dried(), charge=CHARGE) as site:
        course = lived(site, TRUTH, 20.0)
        answer = site.box().desiccant
        settled_pct = 100.0 * float(course.settled_humidity[-1, 0])
        assert answer.settled_pct.p10 < settled_pct < answer.settled_pct.p90
        assert 0.0 < answer.used.p10 < answer.used.p90 < 1.0
        assert answer.water_g.p50 == pytest.approx(150.0 * answer.loading_pct.p50 / 100.0, rel=0.15)


def test_p25_the_season_ahead_counts_where_a_year_is_stored(tmp_path):
    """P25: after a dry winter a damp spring shortens what is left."""
    with spool_site(tmp_path, dried(since_s=START_S + 353 * DAY_S), charge=CHARGE) as site:
        year = [START_S + n * DAY_S / 4 for n in range(4 * 353)]
        # Damp at both ends of the year, dry in between: the twelve days that are measured now are dry.
        damp = [0.45 + 0.25 * math.cos(2.0 * math.pi * (at_s - START_S) / (353 * DAY_S)) for at_s in year]
        site.hear(ROOM, [(at_s, 22.0, humidity) for at_s, humidity in zip(year, damp, strict=True)])
        lived(site, TRUTH, 12.5, begin_s=START_S + 353 * DAY_S)
        answer = site.box().desiccant
        assert answer.days_left_season.p50 < answer.days_left.p50
        assert answer.fill_g_90_days.p50 > 2.0 * answer.fill_g_30_days.p50


def test_p34_what_each_opening_costs(tmp_path):
    """P34: openings counted, the water each let in, and its share of the desiccant's life."""
    with spool_site(tmp_path, dried(), charge=CHARGE) as site:
        course = lived(site, TRUTH, 12.0)
        answer = site.box()
        air_g = 0.012 * 1000.0 * 0.009  # one change of 12 litres of room air with 9 g/m3
        assert 0.7 * air_g < answer.desiccant.opening_g < 3.0 * air_g
        assert 0.05 < answer.desiccant.opening_days < 3.0
        marks = site.queries.box_course(BOX, START_S, site.now).marks
        opened = [mark for mark in marks if mark.kind == "lid_opened"]
        assert len(opened) == len(course.openings_s[0])
        assert all("g of water came in" in mark.words for mark in opened)


def test_a_wet_spool_put_in_is_not_taken_for_a_leak(tmp_path):
    """Told moves are used: the water that a wet spool gives off is expected."""
    wet = spool("wet", "petg", net_g=800.0, start_pct=0.30, place=ROOM)
    with spool_site(tmp_path, dried(), wet, charge=CHARGE) as site:
        lived(site, TRUTH, 14.0, seed=2)
        before = site.box().tightness.air_changes_per_h
        truth = with_fault("wet", 14.0, volume_m3=0.012)
        site.tell(Moved(place=BOX), spool="wet")
        course = course_of(truth, 18.0, 2)
        later = course.time_s > 14.0 * DAY_S
        time_s = (START_S + course.time_s[later]).tolist()
        site.now = START_S + 18.0 * DAY_S
        site.hear(
            BOX,
            zip(
                time_s,
                course.temperature_c[later, 0].tolist(),
                course.humidity[later, 0].tolist(),
                strict=True,
            ),
        )
        site.hear(
            ROOM,
            zip(
                time_s, course.room_c[later, 0].tolist(), course.room_humidity[later, 0].tolist(), strict=True
            ),
        )
        site.follow()
        answer = site.box()
        assert [item.cause for item in answer.diagnosis if item.cause == "leak"] == []
        assert answer.tightness.air_changes_per_h.p50 < 2.0 * before.p90
        assert answer.questions == ()
