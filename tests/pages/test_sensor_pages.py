"""Pages and API of sensors: a whole check by forms alone, hostile input, looking only."""

import datetime as dt
import json
import re
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from support.documents import check as check_document
from support.sensor_site import CRATE, sensor_site
from support.spool_site import BOX, DAY_S, HOUR_S

from monitor.library.salts import load_salts
from monitor.model.sensor_check import Back, CheckNow, Installed
from monitor.physics.salt import salt_humidity_pct
from web import create_app
from web.openapi import DOCUMENT

HERE = {"Origin": "http://localhost"}
PAGE = "/sensors/n1/crate"


@pytest.fixture
def site(tmp_path):
    with sensor_site(tmp_path) as made:
        made.errors = {BOX: (-3.0, 1.03)}
        made.days(1, crate=15.0, loft=45.0)
        yield made


def client_of(site, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": "Europe/Berlin"} | more
    return create_app(site.queries, site.changes, **options).test_client()


@pytest.fixture
def client(site):
    return client_of(site)


def tell(client, headers=HERE, path=PAGE, **fields):
    return client.post(f"{path}/events", data={"who": "Mira"} | fields, headers=headers)


def lie(site, salt, hours=5.0):
    """Time goes by in the jar."""
    true_pct = salt_humidity_pct(load_salts()[salt], 23.0)
    begin_s = site.now
    rows = [
        (begin_s + 300.0 * n, 23.0, site.read_as(BOX, true_pct + 20.0 * 0.05 ** (n / 12)) / 100.0)
        for n in range(1, round(hours * 12))
    ]
    site.now = begin_s + hours * HOUR_S
    site.hear(BOX, rows)


def text_of(response):
    return unescape(re.sub(r"<[^>]+>", " ", response.text))


def test_a_whole_check_by_forms_alone(site, client):
    """Without scripts: into the jar, wait, note, second salt, note, correct, back (A-34, A-35)."""
    for salt in ("lithium_chloride", "magnesium_chloride"):
        answer = tell(client, kind="in_jar", salt=salt)
        assert (answer.status_code, answer.headers["Location"]) == (303, f"{PAGE}#do")
        waiting = client.get(PAGE)
        assert 'http-equiv="refresh"' in waiting.text
        assert "Note this point" not in waiting.text
        lie(site, salt)
        settled = client.get(PAGE)
        assert "Settled: it reads" in text_of(settled)
        assert "Note this point" in settled.text
        assert tell(client, kind="checked").status_code == 303
        assert "This point is noted" in client.get(PAGE).text
    assert tell(client, kind="back").status_code == 303
    numbers = re.findall(r'name="checks" value="(\d+)"', client.get(PAGE).text)
    assert len(numbers) == 2
    assert tell(client, kind="correct", checks=numbers).status_code == 303
    page = text_of(client.get(PAGE))
    assert re.search(r"Corrected: as found it read 2\.[67] %RH too low", page)
    assert "What rested on it" in page
    assert "corrected from" in page
    assert tell(client, kind="uncorrect").status_code == 303
    assert "Correction ended" in text_of(client.get(PAGE))


def test_the_list_tells_what_is_due_first(site, client):
    """A-34: a notice before, a state when overdue."""
    site.sense(Installed(serial="A"), channel="n1/air", at_s=site.now - 380 * DAY_S)
    page = text_of(client.get("/sensors"))
    assert "1 sensor to check" in page
    assert page.index("Loft") < page.index("Crate")
    assert "check overdue since" in page
    assert "/sensors" in client.get("/health").text


def test_a_record_is_withdrawn_with_a_reason_and_stays_to_be_seen(site, client):
    """A-37: a record is never hidden by its correction."""
    number = site.sense(Installed(serial="A17"))
    asked = client.get(f"{PAGE}?withdraw={number}")
    assert "Why it is not true" in asked.text
    assert tell(client, kind="withdrawn", why="it was B18", replaces=str(number)).status_code == 303
    page = client.get(PAGE).text
    assert "<s>Sensor A17 fitted" in page
    assert "no longer holds" in page


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"kind": "in_jar", "salt": "sugar"}, "'sugar' is unknown"),
        ({"kind": "in_jar"}, "The salt must be text"),
        ({"kind": "in_jar", "salt": "lithium_chloride", "when": "tomorrow"}, "When is 'tomorrow'"),
        ({"kind": "in_jar", "salt": "lithium_chloride", "when": "2099-01-01T00:00"}, "When lies in the future"),
        ({"kind": "checked"}, "lies over no salt"),
        ({"kind": "levitate"}, "'levitate'; allowed are"),
        ({"kind": "back", "extra": "1"}, "does not go with the field 'extra'"),
        ({"kind": "correct", "checks": "1;2"}, "The points is '1;2'"),
        ({"kind": "correct"}, "The points must name one or two"),
        ({"kind": "installed", "serial": "x", "tolerance_pct": "1e999", "interval_months": "12"}, "Tolerance is '1e999'"),
        ({"kind": "installed", "serial": "x", "tolerance_pct": "1,0", "interval_months": "-1"}, "Months between checks is '-1'"),
        ({"kind": "installed", "serial": "", "tolerance_pct": "1", "interval_months": "1"}, "Serial number must be text"),
        ({"kind": "withdrawn", "why": "x", "replaces": "9" * 30}, "The record is"),
        ({"kind": "back", "who": "<script>alert(1)</script>" * 20}, "Who must be text"),
        ({"kind": "back", "who": "<b>x"}, "lies in no jar"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_answered_with_a_sentence_and_changes_nothing(site, client, fields, said):
    """Hostile or mistaken, a form ends in a page with one sentence, and markup stays text."""
    answer = tell(client, **fields)
    assert answer.status_code == 400
    assert said in unescape(answer.text)
    assert "<script>alert" not in answer.text
    assert site.reader.sensor_events() == {}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/sensors/n9/none", 404),
        ("/sensors/n1/%2e%2e", 404),
        ("/api/v1/sensors/n9/none", 404),
        ("/api/v1/sensors/n9/none/events", 404),
        ("/api/v1/sensors/compare", 400),
        ("/api/v1/sensors/compare?channel=n1/air", 400),
        ("/api/v1/sensors/compare?channel=n1/air&channel=n1/crate&hours=nan", 400),
        ("/api/v1/sensors/compare?channel=n1/air&channel=n1/crate&hours=1e9", 400),
        ("/api/v1/sensors/compare?channel=n1/air&channel=n1/crate&until=1e300", 400),
        ("/api/v1/sensors/compare?channel=n1/air&channel=x", 400),
        ("/sensors/compare?channel=n1/air&channel=x&hours=zz", 200),
        ("/sensors/placement?channel=x&name1=a&from1=2026-01-01T00:00&to1=9999-99-99", 200),
        ("/sensors/placement?name1=a", 200),
        (f"{PAGE}?withdraw=zz", 200),
    ],
)
def test_odd_addresses_are_answered(client, path, status):
    """No trace, and no fault of ours."""
    answer = client.get(path)
    assert answer.status_code == status
    if status == 200 and "?" in path and "withdraw" not in path:
        assert 'role="alert"' in answer.text


def test_on_an_address_for_looking_only_nothing_can_be_told(site):
    """The jar's state may be seen by all; told only on the board's own address."""
    client = client_of(site, look_only=True)
    assert tell(client, kind="in_jar", salt="lithium_chloride").status_code == 403
    page = client.get(PAGE)
    assert page.status_code == 200
    assert "<form" not in page.text
    assert tell(client_of(site), headers={"Origin": "http://elsewhere"}, kind="back").status_code == 403


def test_the_api_tells_the_same_and_takes_records(site, client):
    """Each answer is as the document says; a check over the API takes its figures from the readings."""
    post = {"path": "/api/v1/sensors/n1/crate/events", "content_type": "application/json"}

    def told(**body):
        return client.post(**post, data=json.dumps({"who": "mara"} | body))

    assert told(kind="in_jar", salt="lithium_chloride").status_code == 201
    early = told(kind="checked")
    assert early.status_code == 400
    assert "Too few readings" in early.get_json()["detail"]
    lie(site, "lithium_chloride")
    check_answers(client)
    assert told(kind="checked").status_code == 201
    assert told(kind="back").status_code == 201
    assert told(kind="correction_set", checks=[2]).status_code == 201
    check_answers(client)
    kinds = [row["kind"] for row in client.get(post["path"]).get_json()]
    assert kinds == ["in_jar", "checked", "back", "correction_set"]


def check_answers(client):
    schema = DOCUMENT["components"]["schemas"]
    for path, name in (
        ("/api/v1/sensors", "Sensor"),
        ("/api/v1/sensors/n1/crate", "SensorGuide"),
        ("/api/v1/sensors/n1/crate/events", "SensorRecord"),
        ("/api/v1/sensors/compare?channel=n1/crate&channel=n1/air", "SideBySide"),
        ("/api/v1/boxes", "Box"),
    ):
        answer = client.get(path).get_json()
        for each in answer if isinstance(answer, list) else [answer]:
            check_document(each, schema[name], DOCUMENT)


@pytest.mark.parametrize(
    ("body", "named"),
    [
        (b"", "cannot be read"),
        (b"[]", "cannot be read"),
        (b'{"kind":"checked"}', "`who`"),
        (b'{"kind":"back","who":"a","extra":1}', "`extra`"),
        (b'{"kind":"melt","who":"a"}', "$.kind"),
        (b'{"kind":"correction_set","who":"a"}', "either checks"),
        (b'{"kind":"correction_set","who":"a","offset_pct":1e999,"gain":1}', "offset_pct"),
        (b'{"kind":"correction_set","who":"a","checks":[1],"gain":1}', "either checks"),
        (b'{"kind":"compared","who":"a","others":["n1/air"],"hours":-1}', "hours is -1"),
        (b'{"kind":"installed","who":"a","serial":"x","interval_months":1.5}', "interval_months"),
        (b'{"kind":"back","who":"a","at":"0001-01-01T00:00:00Z"}', "before 2020"),
        (b'{"kind":"back","who":"' + b"a" * 9000 + b'"}', "at most"),
    ],
)
def test_hostile_json_is_refused_in_one_sentence(site, client, body, named):
    """Over the API as over the form."""
    answer = client.post("/api/v1/sensors/n1/crate/events", data=body, content_type="application/json")
    assert answer.status_code == 400
    assert named in answer.get_json()["detail"]
    assert site.reader.sensor_events() == {}


def test_a_look_at_the_guide_moves_nothing(site, client):
    """A page that is reloaded every minute must not write."""
    site.in_jar("lithium_chloride", 5.0)
    before = site.reader.sensor_events()
    client.get(PAGE)
    client.get("/api/v1/sensors/n1/crate")
    assert site.reader.sensor_events() == before
    site.sense(CheckNow(), channel=CRATE)
    site.sense(Back(), channel=CRATE)


def corners(site, **more):
    """Two corners of two days as the form sends them; the first half of the stay was damper."""
    zone = ZoneInfo("Europe/Berlin")

    def text(days_ago):
        return dt.datetime.fromtimestamp(site.now - days_ago * DAY_S, zone).strftime("%Y-%m-%dT%H:%M")

    return {
        "channel": "n1/crate",
        "name1": "low, by the hinge",
        "from1": text(4),
        "to1": text(2),
        "name2": "beside the bag",
        "from2": text(2),
        "to2": text(0),
    } | more


def test_where_a_sensor_belongs_is_asked_seen_and_written_down(site, client):
    """A-39, P37: the spread is stored and shown with the sensor; nothing is stored by looking."""
    site.days(2, crate=18.0, loft=45.0)
    site.days(2, crate=12.0, loft=45.0)
    asked = client.get("/sensors/placement", query_string=corners(site))
    assert "low, by the hinge is the dampest" in text_of(asked)
    assert "Write this down" in asked.text
    assert site.queries.sensors.events("n1/crate") == ()
    answer = client.post("/sensors/placement", data=corners(site, who="Mira"), headers=HERE)
    assert answer.status_code == 303
    (event,) = site.queries.sensors.events("n1/crate")
    assert [corner.name for corner in event.what.corners] == ["low, by the hinge", "beside the bag"]
    assert event.what.spread_pct == pytest.approx(6.0 * 1.03, abs=0.2)
    page = text_of(client.get(PAGE))
    assert "Where it sits" in page
    assert "6.2 %RH over beside the bag" in page
    check_answers(client)


def test_where_it_sits_is_asked_with_the_corners_and_told_anew_in_one_step(site, client):
    """A-39: the dampest is chosen already; left beside the bag it asks to be moved; then one form says it was."""
    site.days(2, crate=18.0, loft=45.0)
    site.days(2, crate=12.0, loft=45.0)
    asked = client.get("/sensors/placement", query_string=corners(site)).text
    assert '<option value="low, by the hinge" selected>' in asked
    assert '<option value="">not decided yet</option>' in asked
    assert "It sits there now" not in client.get(PAGE).text  # no corners are on record
    told = corners(site, who="Mira", sits_at="beside the bag")
    assert client.post("/sensors/placement", data=told, headers=HERE).status_code == 303
    page = client.get(PAGE)
    assert "“beside the bag”" in text_of(page)
    assert "6.2 %RH drier than in the dampest corner: move it to “low, by the hinge”." in text_of(page)
    assert '<details id="seat" class="by" open>' in page.text
    assert "sits “beside the bag”" in text_of(client.get("/"))
    assert f'href="{PAGE}">Its sensor</a>' in client.get(f"/boxes/{BOX}").text
    assert tell(client, kind="seated", sits_at="low, by the hinge").headers["Location"] == f"{PAGE}#facts"
    page = client.get(PAGE)
    assert "the dampest corner, where it belongs" in text_of(page)
    assert '<details id="seat" class="by">' in page.text
    assert "It sits at “low, by the hinge” from then on" in text_of(page)
    site.queries.changed()  # as the worker says after a commit
    assert "sits “beside the bag”" not in text_of(client.get("/"))
    check_answers(client)


def test_a_seat_that_is_no_corner_is_refused(site, client):
    """On both pages one sentence with the allowed names; what was chosen stays chosen, nothing is kept."""
    site.days(2, crate=18.0, loft=45.0)
    site.days(2, crate=12.0, loft=45.0)
    refused = tell(client, kind="seated", sits_at="top")
    assert refused.status_code == 400
    assert "no corners of its box are on record" in text_of(refused)
    told = corners(site, who="Mira", sits_at="top")
    refused = client.post("/sensors/placement", data=told, headers=HERE)
    assert refused.status_code == 400
    assert "allowed are 'low, by the hinge', 'beside the bag'" in text_of(refused)
    told = corners(site, who="", sits_at="beside the bag")
    refused = client.post("/sensors/placement", data=told, headers=HERE)
    assert '<option value="beside the bag" selected>' in refused.text
    assert site.queries.sensors.events("n1/crate") == ()
    assert client.post("/sensors/placement", data=told | {"who": "Mira"}, headers=HERE).status_code == 303
    refused = tell(client, kind="seated", sits_at="top")
    assert refused.status_code == 400
    assert "Where it sits is 'top'; allowed are 'low, by the hinge', 'beside the bag'" in text_of(refused)
    assert len(site.queries.sensors.events("n1/crate")) == 1


def test_not_decided_yet_is_no_seat(site, client):
    site.days(2, crate=18.0, loft=45.0)
    site.days(2, crate=12.0, loft=45.0)
    told = corners(site, who="Mira", sits_at="")
    assert client.post("/sensors/placement", data=told, headers=HERE).status_code == 303
    assert site.queries.sensors.events("n1/crate")[0].what.sits_at is None
    assert "Not told yet. It belongs at “low, by the hinge”" in text_of(client.get(PAGE))
    looking = client_of(site, look_only=True).get(PAGE)
    assert "It sits there now" not in looking.text


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"channel": "n1/nowhere"}, "no sensor"),
        ({"who": ""}, "Who "),
        ({"name2": "", "from2": "", "to2": ""}, "2 to 8"),
        ({"to1": "2020-01-01T00:00"}, "must end after it began"),
        ({"beside": "n9/x"}, "no sensor"),
    ],
)
def test_corners_that_cannot_be_are_refused(site, client, wrong, words):
    """One sentence, what was typed stands there, nothing is kept."""
    site.days(4, crate=15.0, loft=45.0)
    answer = client.post("/sensors/placement", data=corners(site, who="Mira") | wrong, headers=HERE)
    assert answer.status_code == 400
    assert words in text_of(answer)
    assert "low, by the hinge" in answer.text
    assert site.queries.sensors.events("n1/crate") == ()


def test_a_sensor_lay_in_one_corner_at_a_time(site, client):
    """Stays that overlap are refused, over the API, too."""
    site.days(4, crate=15.0, loft=45.0)
    zone = dt.UTC

    def stay(name, begin, end):
        return {
            "name": name,
            "begin": dt.datetime.fromtimestamp(site.now - begin * DAY_S, zone).isoformat(),
            "end": dt.datetime.fromtimestamp(site.now - end * DAY_S, zone).isoformat(),
        }

    def told(*stays, **more):
        body = {"who": "mara", "kind": "mapped", "corners": list(stays)} | more
        return client.post("/api/v1/sensors/n1/crate/events", data=json.dumps(body), headers=HERE)

    refused = told(stay("a", 3, 1), stay("b", 2, 0))
    assert refused.status_code == 400
    assert "at one time" in refused.get_json()["detail"]
    assert told(stay("a", 3, 2), stay("b", 2, 1)).status_code == 201
    refused = told(stay("a", 3, 2), stay("b", 2, 1), sits_at="c")
    assert (refused.status_code, refused.get_json()["detail"]) == (
        400,
        "sits_at is 'c'; allowed are 'a', 'b'",
    )
    assert told(stay("a", 3, 2), stay("b", 2, 1), sits_at="b").status_code == 201
    body = json.dumps({"who": "mara", "kind": "seated", "sits_at": "a"})
    assert client.post("/api/v1/sensors/n1/crate/events", data=body, headers=HERE).status_code == 201
    assert [event.what.sits_at for event in site.queries.sensors.events("n1/crate")] == [None, "b", "a"]
    check_answers(client)
