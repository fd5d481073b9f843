"""Ovens for programs: the same answers and orders as JSON, problems with their reasons."""

import json

import pytest
from support.documents import check as check_document
from support.ovens import GREY, NOT_ARMED, heating, idle, interrupted, oven_site, tripped
from support.spool_site import HOUR_S, OVEN, START_S

from monitor.model.cycle import Problem
from web.openapi import DOCUMENT

NOW_S = START_S + 6 * HOUR_S
START = {
    "order": "o-1", "version": 7, "load": ["grey"], "setpoint_c": 55.0, "duration_s": 3600.0, "limited_by": "grey",
    "unattended": False, "who": "Mira",
}  # fmt: skip
EXTEND = {"order": "o-2", "version": 12, "cycle": "c1", "extra_s": 3600.0, "who": "Mira"}
RESET = {
    "order": "o-3",
    "version": 20,
    "trip": "t1",
    "checked": ["inside"],
    "text": "It was dust.",
    "who": "Mira",
}
BASE = "/api/v1/ovens/kiln"


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    with oven_site(tmp_path_factory.mktemp("ovens")) as made:
        yield made


@pytest.fixture
def site(steady):
    steady.desk.now, steady.desk.asked = idle(load=(GREY,)), []
    steady.desk.problems, steady.desk.problem, steady.desk.is_broken = (), None, False
    return steady


def send(site, name, body):
    return site.client.post(f"{BASE}/{name}", data=json.dumps(body), content_type="application/json")


@pytest.mark.parametrize("look", [idle(), heating(NOW_S), tripped(), interrupted(NOW_S)])
def test_the_look_is_as_described_with_times_as_the_contract_has_them(site, look):
    """Contract 5: RFC 3339 outside; clocks of this process stay inside."""
    site.desk.now = look
    found = site.client.get(f"{BASE}/look").get_json()
    check_document(found, {"$ref": "#/components/schemas/OvenLook"}, DOCUMENT)
    assert not [
        name for name in json.dumps(found).split('"') if name.endswith(("_mono_s", "_wall_s", "_at_s"))
    ]
    assert found["checklist_at"] == "2026-09-21T14:00:00Z"


def test_the_plan_is_that_of_the_page(site):
    """Contract 5, and what limits it; a wish that is none names the field."""
    found = site.client.get(f"{BASE}/plan?spool=grey").get_json()
    check_document(found, {"$ref": "#/components/schemas/Plan"}, DOCUMENT)
    assert found["limited_by"]["item"] == "PETG (grey)"
    for query in (
        "",
        "spool=none",
        "spool=grey&colour=red",
        "spool=grey&target_pct=x",
        "desiccant=none&dry_g=100",
    ):
        response = site.client.get(f"{BASE}/plan?{query}")
        assert response.status_code == 400, query
        check_document(response.get_json(force=True), {"$ref": "#/components/schemas/Problem"}, DOCUMENT)


def test_a_refused_plan_is_a_problem_that_holds_the_refusal(site):
    """Contract 5: title, detail, limiting item and its limit."""
    response = site.client.get(f"{BASE}/plan?desiccant=calcium_chloride&dry_g=100")
    assert (response.status_code, response.mimetype) == (409, "application/problem+json")
    found = response.get_json(force=True)
    assert set(found["refused"]) == {"title", "detail", "limiting_item", "limit_c"}
    assert found["detail"] == found["refused"]["detail"]


def test_orders_reach_the_desk_as_they_were_sent(site):
    """B-15, B-16, B-30: id, version, and who."""
    assert send(site, "start", START).status_code == 200
    site.desk.now = heating(NOW_S)
    assert send(site, "extend", EXTEND).status_code == 200
    site.desk.now = tripped()
    assert send(site, "reset", RESET).status_code == 200
    (_, oven, wish, who), extended, reset = site.desk.asked
    assert (oven, who, wish.order, wish.load, wish.setpoint_c) == (OVEN, "Mira", "o-1", ("grey",), 55.0)
    assert (wish.duration_s, wish.limited_by, wish.unattended, wish.version) == (3600.0, "grey", False, 7)
    assert (wish.target_pct, wish.first_m) == (None, None)
    assert extended == ("extend", OVEN, "o-2", 12, "c1", 3600.0, "Mira")
    assert reset == ("reset", OVEN, "o-3", 20, "t1", ("inside",), "It was dust.", "Mira")


def test_a_start_may_name_the_target_of_its_plan(site):
    """D-13: what the end goes by; out of bounds it is refused by its name."""
    assert send(site, "start", START | {"target_pct": 0.02, "first_m": 30.0}).status_code == 200
    wish = site.desk.asked[0][2]
    assert (wish.target_pct, wish.first_m) == (0.02, 30.0)
    for wrong in ({"target_pct": 21.0}, {"target_pct": -0.1}, {"first_m": 0.0}, {"first_m": 1e9}):
        response = send(site, "start", START | wrong)
        assert response.status_code == 400
        assert next(iter(wrong)) in response.get_json(force=True)["detail"]
    assert len(site.desk.asked) == 1


def test_a_refused_order_is_a_problem_with_every_reason(site):
    """B-14: the weightiest first, each with its rule and what limits it."""
    limit = Problem(rule="B-14", title="Too hot", detail="It is.", limiting_item="grey", limit_c=58.0)
    site.desk.problems = (NOT_ARMED, limit)
    response = send(site, "start", START)
    assert (response.status_code, response.mimetype) == (409, "application/problem+json")
    found = response.get_json(force=True)
    assert (found["title"], found["status"]) == ("The oven is not armed", 409)
    assert [each["rule"] for each in found["problems"]] == ["B-10", "B-14"]
    assert found["problems"][1]["limit_c"] == 58.0
    site.desk.problem = limit
    for name, body in (("extend", EXTEND), ("reset", RESET)):
        assert send(site, name, body).get_json(force=True)["problems"][0]["limiting_item"] == "grey"


@pytest.mark.parametrize(
    "body", [b"", b"{}", b'{"why":"fumes"}', b"{", b"\xff\xfe", b"[" * 9000, b'{"why":7}', b"x" * 100_000]
)
def test_stop_is_obeyed_whatever_is_sent_with_it(site, body):
    """B-17: nothing of the message decides."""
    response = site.client.post(f"{BASE}/stop", data=body)
    assert (response.status_code, response.get_json()) == (200, {"asked": OVEN})
    assert [each[:2] for each in site.desk.asked] == [("stop", OVEN)]
    assert site.desk.asked[0][3] == ("fumes" if b"fumes" in body else "stopped by a program")


def test_a_stop_that_is_too_large_to_be_read_is_obeyed(site):
    """B-17: a limit on what may be sent keeps no heat on."""
    assert site.client.post(f"{BASE}/stop", data=b"x" * 1_100_000).status_code == 200
    assert site.desk.asked[0][3] == "stopped by a program"


def test_a_stop_that_could_not_be_passed_on_says_so(site):
    """B-17: nobody is told that it stopped when it did not."""
    site.desk.is_broken = True
    response = site.client.post(f"{BASE}/stop")
    assert response.status_code == 503
    assert "pull its plug" in response.get_json(force=True)["detail"]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("start", {"setpoint_c": 500}), ("start", {"setpoint_c": "55"}), ("start", {"duration_s": 1e9}), ("start", {"load": []}),
        ("start", {"load": ["grey", "grey"]}), ("start", {"who": None}), ("start", {"version": -1}), ("start", {"heat": True}),
        ("start", {"unattended": "yes"}), ("extend", {"extra_s": 0}), ("reset", {"checked": []}), ("reset", {"text": "a\nb"}),
    ],
)  # fmt: skip
def test_an_order_that_is_none_is_refused_and_names_the_member(site, name, change):
    """Bounded parsing: it never reaches the desk."""
    body = {"start": START, "extend": EXTEND, "reset": RESET}[name] | change
    response = send(site, name, body)
    assert (response.status_code, response.mimetype) == (400, "application/problem+json")
    assert next(iter(change)) in response.get_json(force=True)["detail"]
    assert site.desk.asked == []


def test_a_look_only_address_gives_no_orders_but_stop(site):
    """What may be reached from elsewhere without people behind it can only make things cooler."""
    client = site.made(look_only=True).test_client()
    for name, body in (("start", START), ("extend", EXTEND), ("reset", RESET)):
        assert client.post(f"{BASE}/{name}", json=body).status_code == 403
    assert client.post(f"{BASE}/stop").status_code == 200
    assert [each[0] for each in site.desk.asked] == ["stop"]


@pytest.mark.parametrize("path", ["/api/v1/ovens/none/look", "/api/v1/ovens/none/plan?spool=grey"])
def test_an_oven_that_is_not_there_is_a_problem(site, path):
    """RFC 9457."""
    response = site.client.get(path)
    assert (response.status_code, response.mimetype) == (404, "application/problem+json")
