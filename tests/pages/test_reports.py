"""A-38: the report on a box and on a spool, as a page, as JSON and as PDF, against what was put in."""

import datetime as dt
import io
import re
from dataclasses import replace
from html import unescape

import pypdf
import pytest
from support.documents import check as check_document
from support.spool_site import BOX, DAY_S, HOUR_S, ROOM, resumed, spool, spool_site

from monitor.library import limit_relative_humidity
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.model.spool_event import Moved, SpoolEvent
from monitor.service.report import Reports
from web import create_app
from web.openapi import DOCUMENT

HERE = {"Origin": "http://localhost"}


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Nine days in a dry box, but for five hours of the last week at 45 %RH; then a gap of six hours."""
    with spool_site(tmp_path_factory.mktemp("written"), spool(start_pct=0.02, place=BOX)) as made:
        begin_s = made.now
        made.now += 9 * DAY_S
        made.air(ROOM, 9 * 24.0, 23.0, 50.0)
        made.air(BOX, 6 * 24.0, 23.0, 2.0, from_s=begin_s)
        made.air(BOX, 5.0, 23.0, 45.0, from_s=begin_s + 6 * DAY_S)
        made.air(BOX, 24.0, 23.0, 2.0, from_s=begin_s + 6 * DAY_S + 5 * HOUR_S)
        made.air(BOX, 3 * 24.0 - 35.0, 23.0, 2.0, from_s=begin_s + 6 * DAY_S + 35 * HOUR_S)
        while made.store.roll_up(round(made.now * 1000)).more:
            pass
        made.follow()
        yield made


@pytest.fixture
def site(written, tmp_path):
    with resumed(written, tmp_path / "site.db") as made:
        yield made


def client_of(site, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": "UTC"} | more
    reports = Reports(site.queries)
    return create_app(site.queries, site.changes, reports=reports, **options).test_client()


def text_of(response):
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.text)))


def report_of(site, kind="boxes", key=BOX, **asked):
    answer = client_of(site).get(f"/api/v1/{kind}/{key}/report", query_string=asked)
    assert answer.status_code == 200, answer.text
    found = answer.get_json()
    check_document(found, DOCUMENT["components"]["schemas"]["Report"], DOCUMENT)
    return found


def test_an_excursion_with_its_duration_and_area_and_the_gap(site):
    """An excursion without its duration means nothing; what was not measured is no part of it."""
    found = report_of(site)
    limit_pct = 100.0 * limit_relative_humidity(site.queries.library().material("petg"))
    assert found["limit_pct"] == pytest.approx(limit_pct)
    (excursion,) = found["excursions"]
    hours = (excursion["to_s"] - excursion["from_s"]) / HOUR_S
    assert hours == pytest.approx(5.0, abs=0.2)
    assert excursion["highest_pct"] == pytest.approx(45.0)
    assert excursion["area_pct_h"] == pytest.approx(hours * (45.0 - limit_pct), rel=0.03)
    assert not excursion["is_under_way"]
    assert found["coverage"] == pytest.approx(1.0 - 6.0 / 168.0, abs=0.003)
    (gap,) = found["gaps"]
    assert (gap["to_s"] - gap["from_s"]) / HOUR_S == pytest.approx(6.0, abs=0.3)
    assert "own node's clock" in found["worst_time"]
    assert found["lowest_pct"] == pytest.approx(2.0)
    assert found["highest_pct"] == pytest.approx(45.0)
    measured_h = 168.0 - 6.0
    assert found["mean_pct"] == pytest.approx((5.0 * 45.0 + (measured_h - 5.0) * 2.0) / measured_h, rel=0.05)


def test_what_it_did_to_the_spool_stands_with_its_range(site):
    found = report_of(site)
    (gain,) = found["gains"]
    assert gain["name"] == site.queries.inventory().spools[gain["key"]].name
    gained = gain["gained_g"]
    assert gained["p10"] <= gained["p50"] <= gained["p90"]
    assert gained["p50"] == pytest.approx(
        (gain["after_pct"]["p50"] - gain["before_pct"]["p50"]) / 100.0 * 1000.0, rel=0.05, abs=0.05
    )
    assert (
        found["verdict"]
        == {"ready": "as is", "dry_first": "dry first", "not_sure": "not sure"}[gain["verdict"]]
    )
    (dose,) = found["doses"]
    assert 2.0 <= dose["equivalent_low_pct"] <= 45.0
    assert dose["worst_hour_pct"] == pytest.approx(45.0, abs=0.1)
    assert dose["dose_low"] > 0.0


def test_a_window_before_the_excursion_has_none(site):
    begin, end = (site.now - 9 * DAY_S, site.now - 4 * DAY_S)
    asked = {"from": iso(begin), "to": iso(end)}
    found = report_of(site, **asked)
    assert found["excursions"] == []
    assert found["doses"][0]["dose_high"] == 0.0
    assert found["doses"][0]["equivalent_low_pct"] == pytest.approx(2.0, abs=0.05)


def iso(time_s):
    return dt.datetime.fromtimestamp(time_s, dt.UTC).strftime("%Y-%m-%dT%H:%M")


def test_a_spools_report_follows_it_from_place_to_place(site):
    """P29: dried last week and stored: its own way counts, not the box's."""
    key = next(iter(site.queries.inventory().spools))
    at_s = site.now - 2 * DAY_S
    moved = SpoolEvent(spool=key, at_s=at_s, entered_s=site.now, who="mara", what=Moved(place=ROOM))
    site.changes.add_event(moved)
    site.follow()
    found = report_of(site, "spools", key)
    over = [each for each in found["excursions"] if each["place"] == ROOM]
    assert over
    assert over[-1]["is_under_way"]
    assert any(line["who"] == "mara" and "moved" in line["words"] for line in found["lines"])
    page = text_of(client_of(site).get(f"/spools/{key}/report"))
    assert "Loft" in page
    assert "goes on" in page


def test_a_time_where_nobody_measures_bounds_the_dose_too(site):
    """A-41: half of the time it lay in a box without a sensor: that is a gap, not nothing."""
    inventory = site.queries.inventory()
    unmeasured = replace(inventory.boxes[BOX], key="shelf", name="Shelf", channel=None)
    boxes = {**inventory.boxes, "shelf": unmeasured}
    site.engine.change_inventory(replace(inventory, boxes=boxes), site.now - 8 * DAY_S)
    site.commit()
    key = next(iter(site.queries.inventory().spools))
    at_s = site.now - 3.5 * DAY_S
    moved = SpoolEvent(spool=key, at_s=at_s, entered_s=site.now, who="mara", what=Moved(place="shelf"))
    site.changes.add_event(moved)
    site.follow()
    found = report_of(site, "spools", key)
    assert found["coverage"] == pytest.approx(0.5, abs=0.05)
    (dose,) = found["doses"]
    assert dose["coverage"] == pytest.approx(found["coverage"], abs=0.01)
    assert dose["dose_low"] < dose["dose_high"]


def test_readings_of_a_doubtful_clock_are_said_to_be(site):
    site.engine._batch.readings.append(
        Reading(
            node="n1",
            channel=BOX,
            quantity=Quantity.HUMIDITY,
            time_ms=round(1000 * (site.now - 5 * HOUR_S)) + 7,
            value=2.0,
            quality=TimeQuality.SUSPECT,
        )
    )
    site.commit()
    assert "in doubt" in report_of(site)["worst_time"]


def test_page_and_pdf_say_the_same(site):
    """Every heading and every figure of the tables is in the PDF, read by another library."""
    client = client_of(site)
    page = client.get(f"/boxes/{BOX}/report")
    assert page.status_code == 200
    answer = client.get(f"/boxes/{BOX}/report.pdf")
    assert answer.mimetype == "application/pdf"
    text = " ".join(each.extract_text() for each in pypdf.PdfReader(io.BytesIO(answer.data)).pages)
    text = re.sub(r"\s+", " ", text)
    headings = re.findall(r"<h2>(.*?)</h2>", page.text)[:7]
    assert len(headings) == 7
    cells = [unescape(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", page.text)]
    assert len(cells) > 12
    squeezed = text.replace(" ", "")
    for words in (*headings, *cells):
        assert unescape(words).replace(" ", "") in squeezed, words


def test_who_decided_what_stands_in_the_report(site):
    client = client_of(site)
    sent = {"decision": "dry", "why": "prints tomorrow", "who": "Mira"}
    answer = client.post(f"/boxes/{BOX}/report?days=30", data=sent, headers=HERE)
    assert answer.status_code == 303
    assert "days=30" in answer.location
    (decision,) = report_of(site)["decisions"]
    assert (decision["who"], decision["words"]) == ("Mira", "dry first: prints tomorrow")
    assert "prints tomorrow" in text_of(client.get(answer.location))


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"decision": "burn", "who": "Mira"}, "is unknown"),
        ({"decision": "dry", "who": ""}, "Who"),
        ({"decision": "dry", "who": "Mira", "why": "x" * 300}, "one line"),
    ],
)
def test_a_decision_that_is_none_is_refused(site, sent, words):
    answer = client_of(site).post(f"/boxes/{BOX}/report", data=sent, headers=HERE)
    assert answer.status_code == 400
    assert words in text_of(answer)
    assert report_of(site)["decisions"] == []


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/boxes/nowhere/report", 404),
        ("/spools/nowhere/report.pdf", 404),
        (f"/boxes/{BOX}/report?days=8", 400),
        (f"/boxes/{BOX}/report?days=é", 400),
        (f"/boxes/{BOX}/report?from=2026-01-01T00:00", 400),
        (f"/boxes/{BOX}/report?from=2000-01-01T00:00&to=2026-01-01T00:00", 400),
        (f"/boxes/{BOX}/report.pdf?from=2026-01-02T00:00&to=2026-01-01T00:00", 400),
    ],
)
def test_odd_questions_are_refused_in_a_sentence(site, path, status):
    assert client_of(site).get(path).status_code == status


def test_where_nothing_can_be_changed_nothing_can_be_decided(site):
    client = client_of(site, look_only=True)
    assert "What becomes of it" not in client.get(f"/boxes/{BOX}/report").text
    sent = {"decision": "dry", "who": "Mira"}
    assert client.post(f"/boxes/{BOX}/report", data=sent, headers=HERE).status_code == 403
