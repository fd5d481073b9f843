"""Events and course of a box over the API: hostile or impossible ones are refused in one sentence."""

import json

import pytest
from support.boxes import FakeBoxes
from support.documents import check as check_document
from support.pages import NOW_S

from monitor.model.box_event import ColourSeen, Recharged
from web import create_app
from web.openapi import DOCUMENT

DAY_S = 86_400.0
WHO = {"who": "mara"}
CHARGE = {"kind": "recharged", **WHO, "desiccant": "silica_gel_orange", "dry_g": 200}


@pytest.fixture
def site():
    return FakeBoxes()


def client_of(site, changes=None, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": site.zone()} | more
    return create_app(site, changes or site, **options).test_client()


def post(client, body, *, key="anvil", content_type="application/json", **headers):
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.post(f"/api/v1/boxes/{key}/events", data=data, content_type=content_type, headers=headers)


def test_an_event_is_written_once_and_shown_as_the_document_says(site):
    """A refilling station or a script tells as a person does."""
    client = client_of(site)
    response = post(client, CHARGE | {"is_regenerated": True, "at": "2026-11-24T12:00:00+01:00"})
    assert response.status_code == 201
    assert response.get_json() == {"event_id": 1}
    assert site.noted[0].what == Recharged(desiccant="silica_gel_orange", dry_g=200.0, is_regenerated=True)
    assert site.noted[0].entered_s == NOW_S
    shown = client.get("/api/v1/boxes/anvil/events").get_json()
    schema = DOCUMENT["paths"]["/api/v1/boxes/{key}/events"]["get"]["responses"]["200"]
    check_document(shown, schema["content"]["application/json"]["schema"], DOCUMENT)
    assert shown[0]["at"] == "2026-11-24T11:00:00Z"
    assert client.get("/api/v1/boxes/bobbin/events").get_json() == []
    post(client, {"kind": "colour", **WHO, "colour": "turned", "replaces": 1})
    assert (site.noted[1].what, site.noted[1].replaces) == (ColourSeen(colour="turned"), 1)


@pytest.mark.parametrize(
    ("body", "named"),
    [
        (b"", "cannot be read"),
        (b"\xff\xfe", "cannot be read"),
        (b"x" * 9000, "at most 8192 bytes"),
        ([CHARGE], "cannot be read"),
        (CHARGE | {"dry_g": -5}, "$.dry_g"),
        (CHARGE | {"desiccant": "<script>"}, "$.desiccant"),
        (CHARGE | {"who": "x" * 300}, "$.who"),
        (CHARGE | {"replaces": "1; drop table"}, "$.replaces"),
        (CHARGE | {"box": "bobbin"}, "`box`"),
        ({"kind": "nothing_done", **WHO}, "at is missing"),
        ({"kind": "moved", **WHO, "place": "loft"}, "$.kind"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_nothing_is_written(site, body, named):
    """Input is bounded and validated at the edge."""
    response = post(client_of(site), body)
    assert response.status_code == 400
    assert response.mimetype == "application/problem+json"
    problem = response.get_json(force=True)
    check_document(problem, {"$ref": "#/components/schemas/Problem"}, DOCUMENT)
    assert named in problem["detail"]
    assert "\n" not in problem["detail"]
    assert site.noted == []


def test_what_the_service_refuses_is_told_as_it_says_it(site):
    """Whether it can be true is the service's to say."""
    site.refusal = "desiccant 'sand' is unknown"
    response = post(client_of(site), CHARGE | {"desiccant": "sand"})
    assert response.status_code == 400
    assert response.get_json(force=True)["detail"] == "desiccant 'sand' is unknown"


def test_strangers_pages_and_other_addresses_cannot_write(site):
    """A form of another origin, or one that says nothing of itself, is refused; so is an address for looking."""
    client = client_of(site)
    assert post(client, CHARGE, Origin="http://evil.example").status_code == 403
    assert post(client, CHARGE, **{"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert post(client, b"kind=colour", content_type="application/x-www-form-urlencoded").status_code == 403
    assert post(client_of(site, look_only=True), CHARGE).status_code == 403
    assert client_of(site, look_only=True).get("/api/v1/boxes/anvil/events").status_code == 200
    assert site.noted == []


def test_the_course_is_given_for_a_window(site):
    """Without one, a month back and a month ahead."""
    client = client_of(site)
    usual = client.get("/api/v1/boxes/anvil/course").get_json()
    check_document(usual, {"$ref": "#/components/schemas/BoxCourse"}, DOCUMENT)
    assert len(usual["past"]) == 120
    assert len(usual["ahead"]) == 121
    day = client.get(f"/api/v1/boxes/anvil/course?from={NOW_S - DAY_S}&to={NOW_S + DAY_S}").get_json()
    assert (len(day["past"]), len(day["ahead"])) == (4, 5)
    assert day["limit_loading_pct"] == 27.3


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("none/events", 404, "'none'"),
        ("none/course", 404, "'none'"),
        ("anvil/course?from=5&to=2", 400, "from must be before to"),
        ("anvil/course?from=0&to=3999999999", 400, "at most 800 days"),
        ("anvil/course?from=nan", 400, "from 'nan'"),
        ("anvil/course?to=tomorrow", 400, "to 'tomorrow'"),
    ],
)
def test_a_wrong_question_is_answered_with_what_is_wrong(site, path, status, said):
    """RFC 9457; the window is bounded."""
    response = client_of(site).get(f"/api/v1/boxes/{path}")
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    assert said in response.get_json(force=True)["detail"]


@pytest.mark.parametrize("key", ["anvil", "bobbin", "chisel", "dowel", "jig"])
def test_each_box_answers_as_its_description_says(site, key):
    """The richer answer is described, in every state."""
    shown = client_of(site).get(f"/api/v1/boxes/{key}").get_json()
    check_document(shown, {"$ref": "#/components/schemas/Box"}, DOCUMENT)
    described = DOCUMENT["components"]["schemas"]
    assert {name for name in shown if not name.endswith("_why")} == set(described["Box"]["required"])
    if shown["desiccant"] is not None:
        members = {name for name in shown["desiccant"] if not name.endswith("_why")}
        assert members == set(described["Desiccant"]["required"])
