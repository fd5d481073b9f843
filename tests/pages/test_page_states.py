"""Every state that a page must be honest about, over a site that has them all."""

import http.client
import json
import re
import urllib.request
from contextlib import suppress
from dataclasses import replace

import pytest
from support.pages import NOW_S, FakeQueries

from monitor.model.answers import SeriesPoint, SpoolAnswer, Spread, unknown
from web import charts, create_app, inside
from web.pages import live
from web.present import Presenter
from web.serve import PageServer

HOSTS = frozenset({"localhost"})


@pytest.fixture
def queries():
    return FakeQueries()


def client_of(queries, **more):
    options = {"look_only": False, "hosts": HOSTS, "zone": queries.zone()} | more
    return create_app(queries, None, **options).test_client()


def page_of(queries, path="/"):
    response = client_of(queries).get(path)
    assert response.status_code == 200
    return response.get_data(as_text=True)


def strip_of(page, key):
    return re.search(rf'<article id="box-{key}".*?</article>', page, re.S)[0]


@pytest.mark.parametrize(
    ("key", "state", "level", "word"),
    [
        ("anvil", "fresh", "dry", None),
        ("bobbin", "fresh", "near", None),
        ("chisel", "fresh", "over", None),
        ("file", "late", "dry", "late"),
        ("gauge", "stale", "unknown", "old"),
        ("hammer", "lost", "unknown", "lost"),
        ("inkstone", "never", "unknown", "not heard"),
    ],
)
def test_each_state_is_told_by_a_word_and_an_attribute(queries, key, state, level, word):
    """WCAG 1.4.1: colour never speaks alone, and an old reading is never shown as today's."""
    strip = strip_of(page_of(queries), key)
    assert f'data-state="{state}" data-level="{level}"' in strip
    assert (f'<b class="state">{word}</b>' in strip) == (word is not None)


def test_what_cannot_wait_is_the_headline_and_is_said_once(queries):
    """C-27: the first screen has no room to say a thing twice."""
    page = page_of(queries)
    assert re.search(r"<h1>Big kiln is hot inside: 64 °C.</h1>\s*<p class=\"act\">Let it cool", page)
    assert page.count("Big kiln is hot inside") == 1
    queries.hot = False
    assert "<h1>6 things to look at.</h1>" in page_of(queries)


def test_an_oven_that_fell_silent_may_be_hot(queries):
    """B-45: its last temperature is a thing of the past and says so."""
    page = page_of(queries)
    assert "was 22 °C" in page
    assert "it may be hot" in page


def test_the_room_and_the_way_it_came_stand_on_the_rule(queries):
    """The box is seen against its room and against where it was three hours ago."""
    strip = strip_of(page_of(queries), "chisel")
    assert 'class="outside"' in strip
    assert 'class="tail"' in strip
    assert 'class="tail"' not in strip_of(page_of(queries), "anvil")  # 0.1 %RH is the sensor's own wandering


def test_contents_that_do_not_care_have_no_limit_mark(queries):
    """A mark at the rule's end would claim that 64 %RH is a limit."""
    strip = strip_of(page_of(queries), "jig")
    assert 'class="limit"' not in strip
    assert "take up next to no water" in strip


def test_a_box_page_tells_the_air_from_the_plastic_and_what_to_do(queries):
    """P11: two separate gauges; P13: how full the desiccant is; the need stands where its box is."""
    page = page_of(queries, "/boxes/chisel")
    assert "Change the desiccant, or dry it in an oven" in page
    assert "All of these: not known whether dry enough to print. It was never weighed or dried." in page
    assert "Spent for what is inside: replace it or bake it." in page
    assert "about 92 % (81 to 100) of what is useful here" in page
    assert re.search(
        r"<b>Lid not shut\.</b> <span[^>]*>very likely, about 80\s%</span><p class=\"act\">Shut the lid\.",
        page_of(queries, "/boxes/dowel"),
    )


def test_a_wet_spool_is_named_with_how_well_it_is_known():
    """No figure without its band, and no finer than the band."""
    not_told = unknown("-")
    spool = SpoolAnswer(
        key="s", name="S", material="pa6", place="b", moisture_pct=Spread(p10=0.21, p50=0.34, p90=0.52),
        outer_pct=not_told, limit_pct=0.2, heading_for_pct=None, length_m=None, dry_length_m=not_told, verdict="dry_first",
    )  # fmt: skip
    words = inside.spool(spool).words
    assert words == "Dry it before printing. Water: about 0.34 % (0.21 to 0.52); above 0.2 % prints suffer."


def test_a_broker_that_is_away_is_the_headline_when_nothing_is_hot(queries):
    """All boxes well and no broker would be a contradiction on one screen."""
    queries.hot, queries.boxes = False, queries.boxes[:1]
    queries.health = {"ok": False, "broker": "away", "reasons": ("The broker cannot be reached.",)}
    page = page_of(queries)
    assert "<h1>The monitor itself needs you.</h1>" in page
    assert "The broker cannot be reached." in page


def test_a_trial_broker_is_labelled(queries):
    """It may lose readings, and nobody must find that out later."""
    queries.health = {"broker_kind": "trial"}
    assert "Trial broker: readings may be lost" in page_of(queries)


def test_parts_are_rendered_once_for_all_who_watch(queries):
    """Sixteen phones must cost a small board no more than one."""
    client = client_of(queries)
    for _ in range(5):
        client.get("/parts")
    assert queries.asked == 1
    queries.changed()
    client.get("/parts")
    assert queries.asked == 2


def test_the_stream_has_so_many_places_and_says_when_to_come_back(queries):
    """The page polls meanwhile; a stream that ends gives its place to the next."""
    client = client_of(queries)
    streams = [client.get("/events", buffered=False) for _ in range(live.STREAMS_MAX)]
    refused = client.get("/events")
    assert refused.status_code == 503
    assert refused.mimetype == "application/problem+json"
    assert refused.headers["Retry-After"] == "30"
    streams[0].close()
    again = client.get("/events", buffered=False)
    assert again.status_code == 200
    for stream in [*streams[1:], again]:
        stream.close()


def test_the_stream_gives_everything_first_and_then_what_changed(queries, monkeypatch):
    """On each reconnect the page is made whole; after that only what is new is sent."""
    monkeypatch.setattr(live, "LEAST_APART_S", 0.0)
    events = client_of(queries).get("/events", buffered=False)
    lines = events.iter_encoded()
    assert next(lines).startswith(b"retry:")
    first = document_of(next(lines))
    assert {"head", "needs", "notices", "oven-kiln", "room-loft", "box-anvil"} <= set(first["parts"])
    queries.humidity["anvil"] = 35.0
    queries.changed()
    second = document_of(next(lines))
    assert set(second["parts"]) == {"box-anvil", "head", "needs"} or set(second["parts"]) == {
        "box-anvil",
        "needs",
    }
    assert "35 %RH" in second["parts"]["box-anvil"]
    assert second["layout"] == first["layout"]
    queries.boxes = queries.boxes[1:]
    queries.changed()
    assert document_of(next(lines))["layout"] != first["layout"]
    events.close()


def test_a_stream_ends_after_a_while(queries, monkeypatch):
    """A listener that no longer reads must not hold its place for ever."""
    monkeypatch.setattr(live, "LIFE_S", 0.0)
    body = client_of(queries).get("/events").get_data(as_text=True)
    assert body == "retry: 3000\n\n"


def test_a_server_that_stops_ends_its_streams_first(queries, caplog):
    """Ctrl-C with a page open must not fill the terminal with tracebacks."""
    server = PageServer(queries, None, host="127.0.0.1", port=0, look_only=False)
    server.start()
    with urllib.request.urlopen(server.url + "/events", timeout=5) as stream:
        assert stream.readline() == b"retry: 3000\n"
        server.stop()
        with suppress(http.client.IncompleteRead):
            stream.read()  # it comes to an end
    assert [record for record in caplog.records if record.levelname == "ERROR"] == []


def document_of(event):
    return json.loads(event.decode().split("data: ", 1)[1])


@pytest.mark.parametrize(
    ("host", "status"),
    [("192.168.4.7:8484", 200), ("[fd00::7]:8484", 200), ("localhost", 200), ("rebound.example", 421)],
)
def test_an_address_passes_and_a_strangers_name_does_not(queries, host, status):
    """DNS rebinding needs a name; an address cannot be pointed elsewhere."""
    assert client_of(queries).get("/", headers={"Host": host}).status_code == status


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete", "options"])
def test_a_look_only_address_refuses_every_other_method(queries, method):
    """Until sign-in exists, nothing can be done from elsewhere."""
    response = getattr(client_of(queries, look_only=True), method)("/api/v1/status")
    assert response.status_code == 403
    assert response.get_json(force=True)["detail"].startswith("this address is for looking only")


def test_a_wrong_method_is_told_the_right_one(queries):
    """RFC 9110: 405 names what is allowed."""
    response = client_of(queries).post("/api/v1/status", json={})
    assert response.status_code == 405
    assert "GET" in response.headers["Allow"]


def test_files_are_asked_after_so_that_an_upgrade_is_seen(queries):
    """A page of the new version must not run with a script of the old one."""
    client = client_of(queries)
    with client.get("/static/live.js") as first:
        assert first.headers["Cache-Control"] == "no-cache"
    with client.get("/static/live.js", headers={"If-None-Match": first.headers["ETag"]}) as again:
        assert again.status_code == 304


def test_the_older_exposition_format_is_what_it_claims_to_be(queries):
    """C-20, by Accept: format 0.0.4 knows neither UNIT, EOF nor the type info."""
    response = client_of(queries).get("/metrics")
    text = response.get_data(as_text=True)
    assert response.content_type.startswith("text/plain; version=0.0.4")
    assert "# EOF" not in text
    assert "# UNIT" not in text
    assert "# TYPE sorbwatch_readings_total counter" in text
    assert "# TYPE sorbwatch_build_info gauge" in text


@pytest.mark.parametrize(
    ("change", "fits"), [(0.0, "0.3 to 9.4"), (11.0, "11 to 12")]
)  # fmt: skip
def test_a_chart_says_no_more_digits_than_the_sensor_knows(queries, monkeypatch, change, fits):
    """A sensor of 1.8 %RH: whole percent, and tenths only where it is so dry that they are compared."""
    low, high = (0.3, 9.4) if change == 0.0 else (11.2, 12.3)
    points = (SeriesPoint(start_s=NOW_S - 600, lowest=low, mean=low, highest=high, covered=1.0),)
    answer = queries.series("anvil", "humidity", NOW_S - 600, NOW_S, 300)
    monkeypatch.setattr(queries, "series", lambda *_: replace(answer, points=points))
    chart = charts.chart(queries, Presenter("UTC"), "anvil", None, "day", NOW_S)
    assert fits.replace(" to ", " and ") in chart.sentence


def test_a_slow_sensor_is_a_line_and_not_a_row_of_gaps(queries, monkeypatch):
    """A-36: between two readings that are on time there is no gap, however short the spans of the chart."""
    start_s = NOW_S // 300 * 300 - 3600
    points = tuple(
        SeriesPoint(
            start_s=start_s + 300 * number,
            lowest=12.0 if number % 3 == 0 else None,
            mean=12.0 if number % 3 == 0 else None,
            highest=12.0 if number % 3 == 0 else None,
            covered=1.0,
        )
        for number in range(12)
    )
    answer = queries.series("anvil", "humidity", NOW_S - 600, NOW_S, 300)
    monkeypatch.setattr(queries, "series", lambda *_: replace(answer, points=points))
    columns = charts.chart(queries, Presenter("UTC"), "anvil", "loft", "day", NOW_S).columns
    assert columns["mean"] == [12.0] * 4
    assert columns["room"] == [12.0] * 4
    assert columns["dew_point"] == [12.0] * 4


def test_the_table_goes_by_the_days_of_the_site(queries):
    """A row of the week is a day in New York, not one in Greenwich."""
    chart = charts.chart(queries, Presenter("America/New_York"), "anvil", "loft", "week", NOW_S)
    assert len(chart.rows) == 8  # seven whole days, begun and ended within one
    assert chart.rows[0].when == "25 Nov"
    assert chart.rows[-1].when == "18 Nov"


def test_the_first_page_stays_small_with_ten_boxes(queries):
    """Page weight is a feature: page, style and scripts together."""
    client = client_of(queries)
    page = page_of(queries)
    files = re.findall(r'(?:href|src)="(/static/[^"#]+)', page) + ["/static/ages.js"]
    total = len(page.encode())
    for path in set(files):
        with client.get(path) as response:
            total += len(response.get_data())
    assert total < 60_000
