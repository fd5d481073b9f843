"""Pages and API over a real database, without a browser."""

import json
import re
from contextlib import closing

import pytest
from support.documents import check as check_document

from monitor.library import load_library
from monitor.model.arrival import Arrival
from monitor.model.inventory import Inventory
from monitor.service.engine import Engine
from monitor.service.queries import Queries, Surroundings
from monitor.service.report import Reports
from monitor.store.reader import Reader
from monitor.store.store import Store
from monitor.wire.inventory import KnownKeys, parse_inventory
from web import create_app
from web.openapi import DOCUMENT

NOW_S = 1_795_600_000.0
LIBRARY = load_library()
INVENTORY = """
[[room]]
key = "hall"
name = "Hall <b>"
channel = "n1/hall"
[[box]]
key = "b1"
name = "Box 1"
room = "hall"
volume_l = 10
channel = "n1/b1"
desiccant = {kind = "silica_gel_orange", dry_g = 200}
[[box]]
key = "b2"
name = "Box 2"
room = "hall"
volume_l = 10
channel = "n1/b2"
[[box]]
key = "b3"
name = "Box 3"
room = "hall"
volume_l = 10
[[spool]]
key = "s1"
name = "Nylon"
material = "pa6"
diameter_mm = 1.75
net_g = 750
place = "b1"
[[oven]]
key = "o1"
name = "Oven"
room = "hall"
max_c = 90
"""
OVEN = {
    "boot": "a91c", "uptime_s": 1234.5, "seq": 88, "state": "cooling", "chamber_c": [61.2, 60.1], "sample_seq": [9, 8],
    "humidity_pct": 12.1, "heater": 0, "power_w": 0, "fan": True, "door_open": False, "cutout_ok": True,
    "armed_s": 0, "permit": None, "refused": None, "trip": None,
}  # fmt: skip


def pack(seq, at_s, channel, humidity, temperature=21.0):
    records = [
        {"bn": f"{channel}/", "bt": at_s, "n": "temperature", "u": "Cel", "v": temperature, "ut": 120},
        {"n": "humidity", "u": "%RH", "v": humidity},
        {"bn": "", "n": "seq", "v": seq},
        {"n": "boot", "vs": "7f3a"},
    ]
    return json.dumps(records).encode()


def arrival(topic, payload, at_s):
    return Arrival(topic=f"sorbwatch/lab/{topic}", payload=payload, wall_s=at_s, mono_s=at_s)


# What only whoever minds the ovens can tell.
_MINDED = ("/planned", "/commissioning", "/proof")


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    path = tmp_path_factory.mktemp("pages") / "test.db"
    known = KnownKeys(materials=LIBRARY.materials, desiccants=LIBRARY.desiccants, reels=LIBRARY.reels)
    with closing(Store(path, "lab")) as store:
        engine = Engine("lab", store.load())
        engine.change_inventory(parse_inventory(INVENTORY.encode(), known, Inventory()), NOW_S - 90_000)
        for seq in range(300):
            at_s = NOW_S - 300 * (300 - seq)
            if not 150 <= seq < 170:  # b1 was silent for an hour and forty minutes
                engine.handle(arrival("node/n1/senml", pack(seq, at_s, "b1", 30 - 0.05 * seq), at_s))
            engine.handle(arrival("node/n1/senml", pack(1000 + seq, at_s, "hall", 48), at_s))
        engine.handle(arrival("node/n1/senml", pack(2000, NOW_S - 30, "b1", 14.96), NOW_S))
        engine.handle(arrival("node/n1/senml", pack(2001, NOW_S - 30, "hall", 48), NOW_S))
        engine.handle(arrival("node/n1/senml", pack(2002, NOW_S - 50_000, "b2", 9), NOW_S))
        engine.handle(arrival("node/n1/senml", pack(2003, NOW_S - 30, "stray", 9), NOW_S))
        engine.handle(arrival("node/n1/senml", b"[", NOW_S))
        engine.handle(arrival("oven/o1/state", json.dumps(OVEN).encode(), NOW_S - 5))
        store.apply(engine.take_batch())
        while store.roll_up(round(NOW_S * 1000)).more:
            pass
    return path


@pytest.fixture(scope="module")
def queries(database):
    """At one moment and only read: what was followed for one test holds for all."""
    reader = Reader(database, "lab")
    yield Queries(
        reader,
        now_s=lambda: NOW_S,
        zone="Europe/Berlin",
        surroundings=lambda: Surroundings(broker="connected", broker_kind="own mosquitto"),
    )
    reader.close()


def client_of(queries, **more):
    options = {"look_only": False, "hosts": frozenset({"localhost"}), "zone": "Europe/Berlin"} | more
    reports = Reports(queries)
    return create_app(queries, None, reports=reports, **options).test_client()


@pytest.fixture(scope="module")
def app(queries):
    return client_of(queries).application


@pytest.fixture
def client(app):
    return app.test_client()


def test_the_first_page_says_what_needs_a_person_and_what_is_hot(client):
    """C-27: is anything wrong, is anything hot, what next, how old is this."""
    page = client.get("/").get_data(as_text=True)
    assert "Oven is hot inside: 61 °C." in page
    assert "Let it cool before you reach in." in page
    assert "Box 2: no reading for 14 h. What is shown is old." in page
    assert "Box 3 has never been heard." in page
    assert "n1/stray" in page
    assert re.search(r'<time[^>]*data-at="1795599970.0"[^>]*>30 s ago', page)
    assert page.index("What else needs you") < page.index("Box 1</a>")


def test_a_stale_reading_is_never_shown_as_current(client):
    """P11 and the honesty of the page: Box 2's last word is marked lost and as not known now."""
    page = client.get("/boxes/b2").get_data(as_text=True)
    assert 'data-state="lost" data-level="unknown"' in page
    assert "what it is now is not known" in page


def test_names_are_written_as_text(client):
    """A name typed by a person must not become markup."""
    page = client.get("/").get_data(as_text=True)
    assert "Hall &lt;b&gt;" in page
    assert "<b>Hall" not in page


@pytest.mark.parametrize(
    "path", ["/", "/boxes/b1?window=week", "/boxes/b3", "/rooms/hall?window=month", "/health"]
)
def test_pages_load_nothing_from_elsewhere_and_hold_no_inline_script_or_style(client, path):
    """A strict content policy forbids them, and a workshop may be off line."""
    response = client.get(path)
    page = response.get_data(as_text=True)
    assert response.status_code == 200
    assert " style=" not in page
    assert "<style" not in page
    assert not re.search(r"\son[a-z]+=", page)
    for tag in re.findall(r"<script[^>]*>", page):
        assert "src=" in tag or 'type="application/json"' in tag
    assert not re.search(r'(?:src|href)="(?:https?:)?//', page)
    assert "default-src 'none'" in response.headers["Content-Security-Policy"]


def test_a_gap_is_a_gap_in_the_chart_and_told_in_its_sentence(client):
    """Report 15 and A-36: nothing is drawn over an hour and forty minutes without a reading."""
    page = client.get("/boxes/b1").get_data(as_text=True)
    air = page.partition("loading-title")[0]  # the desiccant has a picture of its own below
    lines = re.findall(r'<polyline class="line" data-line="here"[^>]*points="([^"]*)"', air)
    assert len(lines) == 2
    ends = [[float(point.split(",")[0]) for point in line.split()] for line in lines]
    silent = 48 * (ends[1][0] - ends[0][-1]) / 1000.0  # a day back and a day ahead
    assert 1.5 < silent < 1.9
    assert "of the time nothing was measured" in page


@pytest.mark.parametrize(("name", "item"), list(DOCUMENT["paths"].items()))
def test_each_route_of_the_api_answers_as_its_description_says(client, name, item):
    """C-23 and the OpenAPI document: one document is the contract of the API."""
    path = name.replace("{place}", "b1").replace("{quantity}", "dew_point")
    path = path.replace("/boxes/{key}", "/boxes/b1").replace("/rooms/{key}", "/rooms/hall")
    path = path.replace("/spools/{key}", "/spools/s1").replace("/ovens/{key}", "/ovens/o1")
    path = path.replace("/sensors/{node}/{channel}", "/sensors/n1/b1")
    if path.endswith("/sensors/compare"):
        path += "?channel=n1/b1&channel=n1/hall"
    if "series" in path:
        path += f"?from={NOW_S - 7200}&to={NOW_S}&span=300"
    if "what-if" in path:
        path += "?material=pa6&rh=50&hours=12"
    if path.endswith("/bag"):
        path += "?width-cm=30&length-cm=40&dry-g=100&rh=50"
    if path.endswith("/plan"):
        path += "?spool=s1"
    response = client.get(path)
    if "get" not in item:  # an order: never by a link, a prefetch or a crawler
        assert response.status_code in (404, 405)
        return
    content = item["get"]["responses"]["200"]["content"]
    if "application/json" not in content:
        assert response.status_code == 200, response.get_data(as_text=True)
        assert response.mimetype in content
        return
    schema = content["application/json"]["schema"]
    if "/alarms/{key}" in path or "{cycle}" in path:  # none was there; `test_oven_course.py` has a cycle
        assert response.status_code == 404
        check_document(response.get_json(force=True), {"$ref": "#/components/schemas/Problem"}, DOCUMENT)
        return
    if path.endswith(_MINDED):  # nobody minds the ovens here; `test_oven_care_api.py` has somebody
        assert response.status_code == 503
        check_document(response.get_json(force=True), {"$ref": "#/components/schemas/Problem"}, DOCUMENT)
        return
    assert response.status_code == 200
    check_document(response.get_json(), schema, DOCUMENT)


def test_every_route_of_the_api_stands_in_the_document(queries):
    """Nothing is served that is not described."""
    app = create_app(queries, None, look_only=False, hosts=frozenset(), zone="UTC")
    served = {re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule) for rule in app.url_map.iter_rules()}
    api = {rule for rule in served if rule.startswith("/api/")} - {"/api/v1/openapi.json"}
    assert api == set(DOCUMENT["paths"])


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("/api/v1/nothing", 404, ""),
        ("/api/v1/boxes/none", 404, "'none'"),
        ("/api/v1/series/b1/humidity", 400, "from is missing"),
        ("/api/v1/series/b1/humidity?from=a&to=2&span=300", 400, "from 'a'"),
        ("/api/v1/series/b1/humidity?from=5&to=2&span=300", 400, "before"),
        ("/api/v1/series/b1/humidity?from=1&to=2&span=7", 400, "span"),
        ("/api/v1/series/b1/colour?from=1&to=2&span=300", 400, "'colour'"),
        ("/api/v1/series/none/humidity?from=1&to=2&span=300", 404, "'none'"),
        ("/api/v1/series/b1/humidity?from=0&to=3999999999&span=300", 400, "at most"),
        ("/api/v1/series/b1/humidity?from=nan&to=2&span=300", 400, "from 'nan'"),
    ],
)
def test_errors_of_the_api_are_problems_that_name_what_is_wrong(client, path, status, said):
    """RFC 9457; no route gives a page or a bare string to a program."""
    response = client.get(path)
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    problem = response.get_json(force=True)
    check_document(problem, {"$ref": "#/components/schemas/Problem"}, DOCUMENT)
    assert said in problem["detail"]


def test_errors_of_pages_are_pages(client):
    """A person gets a sentence and a way back."""
    for path, status in (("/boxes/none", 404), ("/boxes/b1?window=year", 400), ("/nowhere", 404)):
        response = client.get(path)
        assert response.status_code == status
        assert "To the first page" in response.get_data(as_text=True)


def test_a_look_only_address_changes_nothing_and_a_strange_host_gets_nothing(queries):
    """Until sign-in exists, other addresses only look; a stranger's page must not reach us by a name of its own."""
    client = client_of(queries, look_only=True)
    assert client.post("/api/v1/status").status_code == 403
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 421
    assert client.get("/", headers={"Host": "localhost:8484"}).status_code == 200


def test_the_same_answer_is_not_sent_twice(client):
    """A page that polls costs a header."""
    first = client.get("/api/v1/status")
    again = client.get("/api/v1/status", headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    assert first.headers["Cache-Control"] == "no-store"


def test_metrics_leave_stale_samples_out_and_end_as_openmetrics_must(client):
    """C-20: a stale sensor is omitted, not repeated; its last time is told."""
    response = client.get("/metrics", headers={"Accept": "application/openmetrics-text"})
    text = response.get_data(as_text=True)
    assert response.content_type.startswith("application/openmetrics-text; version=1.0.0")
    assert text.endswith("# EOF\n")
    assert 'sorbwatch_air_relative_humidity_ratio{kind="box",place="b1"} 0.1496' in text
    assert 'celsius{kind="box",place="b2"}' not in text
    assert 'sorbwatch_last_sample_timestamp_seconds{kind="box",place="b2"} 1795550000.000' in text
    families = re.findall(r"# TYPE (\S+) (\S+)", text)
    assert len({name for name, _ in families}) == len(families)
    for line in text.splitlines():
        if not line.startswith("#"):
            name = re.match(r"[a-z_]+", line)[0]
            kinds = [
                kind for family, kind in families if name in (family, f"{family}_total", f"{family}_info")
            ]
            assert kinds, line
            assert not (kinds == ["counter"] and not name.endswith("_total"))


def test_healthz_tells_a_service_manager(queries, database):
    """200 when readings flow, else 503 with the reason."""
    assert client_of(queries).get("/healthz").status_code == 200
    reader = Reader(database, "lab")
    away = Queries(
        reader, now_s=lambda: NOW_S, zone="UTC",
        surroundings=lambda: Surroundings(broker="away", reasons=("The database is busy.",)),
    )  # fmt: skip
    response = client_of(away).get("/healthz")
    assert response.status_code == 503
    assert "The database is busy." in response.get_json(force=True)["detail"]
    reader.close()


def test_a_database_that_fails_is_a_problem_not_a_crash(queries, monkeypatch):
    """The page says so; the readings wait at the broker."""
    from monitor.errors import StoreError

    def fails(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(queries, "status", fails)
    response = client_of(queries).get("/api/v1/status")
    assert response.status_code == 503
    assert "the disk is full" in response.get_json(force=True)["detail"]


def test_a_contrast_of_text_and_marks_is_kept_in_both_themes():
    """WCAG 1.4.3 and 1.4.11, computed from the colour table."""
    from pathlib import Path

    text = (Path(__file__).resolve().parents[2] / "web/static/tokens.css").read_text()
    light, dark = text.split("@media")
    for theme in (light, light + dark):
        colours = dict(re.findall(r"--(\w[\w-]*): (#[0-9a-f]{6});", theme))
        for ground in ("paper", "card"):
            for name in ("ink", "soft", "over", "alarm", "calm", "room", "dew", "allowed", "tick"):
                least = 4.5 if name in ("ink", "soft", "over", "alarm") else 3.0
                assert _contrast(colours[name], colours[ground]) >= least, (name, ground, colours[name])
        assert _contrast(colours["on-alarm"], colours["alarm"]) >= 4.5


def _contrast(one, other):
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_while_the_past_is_still_being_read_nothing_is_asked_of_anybody(database):
    """A-23: everything looks old then; needs come with the present."""
    reader = Reader(database, "lab")
    settling = Queries(
        reader,
        now_s=lambda: NOW_S + 86_400,
        zone="UTC",
        surroundings=lambda: Surroundings(broker="connected", history_share=0.4),
    )
    page = client_of(settling).get("/").get_data(as_text=True)
    assert "Reading the last weeks: 40 %." in page
    assert "told once the past is read" in page
    assert settling.status().health.ok
    reader.close()
