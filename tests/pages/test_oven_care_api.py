"""Planned starts, commissioning and proof test for programs, on the real desk, store and controller."""

import datetime as dt
import json

import pytest
from support.documents import check as check_document
from support.oven_learning import PASSING
from support.oven_site import HOUR_S, OVEN, spool
from support.planned_site import planned_site

from monitor.oven.proof import STEPS
from web import create_app
from web.openapi import DOCUMENT
from web.openapi_parts import ref

BASE = f"/api/v1/ovens/{OVEN}"


@pytest.fixture
def made(tmp_path):
    with planned_site(tmp_path, spool("grey", "petg", place=OVEN, reel="pc")) as site:
        site.client = client_of(site)
        yield site


def client_of(made, *, look_only=False):
    site = made.site
    changes = None if look_only else site.changes
    return create_app(
        site.queries, changes, look_only=look_only, hosts=frozenset(), zone="UTC", desk=site.acts,
        planned=made.starts,
    ).test_client()  # fmt: skip


def send(made, path, body, client=None):
    return (client or made.client).post(
        f"{BASE}/{path}", data=json.dumps(body), content_type="application/json"
    )


def get(made, path, schema):
    response = made.client.get(f"{BASE}/{path}")
    assert response.status_code == 200, response.get_data(as_text=True)
    check_document(response.get_json(), ref(schema), DOCUMENT)
    return response.get_json()


def problem(response, status):
    assert (response.status_code, response.mimetype) == (status, "application/problem+json")
    found = response.get_json(force=True)
    check_document(found, ref("Problem"), DOCUMENT)
    return found


def later(made, hours=3.0, **members):
    wish = made.wish(hours)
    start_at = dt.datetime.fromtimestamp(wish.start_s, dt.UTC).isoformat()
    usual = {
        "load": list(wish.load), "setpoint_c": wish.setpoint_c, "duration_s": wish.duration_s,
        "limited_by": wish.limited_by, "unattended": True, "start_at": start_at, "who": "Mira",
    }  # fmt: skip
    return usual | members


# Planned starts.


def test_a_start_is_planned_listed_and_withdrawn(made):
    """D-11: the same rows as the page's; nobody is heated by them."""
    assert get(made, "planned", "PlannedStarts") == {"planned": []}
    response = send(made, "planned", later(made, target_pct=0.03))
    assert response.status_code == 201
    check_document(response.get_json(), ref("PlannedStart"), DOCUMENT)
    planned = response.get_json()
    assert (planned["state"], planned["who"], planned["load"]) == ("planned", "Mira", ["grey"])
    assert (planned["setpoint_c"], planned["target_pct"]) == (55.0, 0.03)
    assert get(made, "planned", "PlannedStarts")["planned"] == [planned]
    number = planned["number"]
    assert send(made, f"planned/{number}/withdraw", {"who": "Ada"}).get_json() == {"withdrawn": number}
    assert get(made, "planned", "PlannedStarts") == {"planned": []}
    assert (
        f"number {number}" in problem(send(made, f"planned/{number}/withdraw", {"who": "Ada"}), 409)["detail"]
    )
    assert made.site.look().cycle is None


def test_it_begins_by_the_same_road_only_where_the_oven_was_armed(made):
    """B-13: not armed it asks; what confirms it is a start like any other."""
    number = send(made, "planned", later(made)).get_json()["number"]
    made.until(number)
    made.site.run(10.0)
    made.starts.look()
    assert get(made, "planned", "PlannedStarts")["planned"][0]["state"] == "asked"
    assert made.site.look().cycle is None
    body = {
        "order": "o1", "version": made.site.look().version, "load": ["grey"], "setpoint_c": 55.0,
        "duration_s": 2 * HOUR_S, "limited_by": "grey", "unattended": True, "who": "Mira",
    }  # fmt: skip
    assert problem(send(made, "start", body), 409)["problems"][0]["rule"] == "B-10"
    made.site.arm()
    assert send(made, "start", body | {"order": "o2", "version": made.site.look().version}).status_code == 200
    made.starts.look()
    assert get(made, "planned", "PlannedStarts") == {"planned": []}


@pytest.mark.parametrize(
    ("changes", "status", "said"),
    [
        ({"setpoint_c": 400.0}, 400, "setpoint_c"),
        ({"setpoint_c": 90.0}, 400, "grey"),
        ({"duration_s": 1.0}, 400, "duration_s"),
        ({"start_at": "soon"}, 400, "start_at"),
        ({"start_at": "2020-01-01T00:00:00Z"}, 400, "start_at"),
        ({"load": []}, 400, "load"),
        ({"load": ["grey", "grey"]}, 400, "twice"),
        ({"load": ["nobody"]}, 400, "load"),
        ({"target_pct": 50.0}, 400, "target_pct"),
        ({"who": None}, 400, "who"),
        ({"armed": True}, 400, "armed"),
    ],
)
def test_a_wish_that_is_none_is_refused_by_its_name_and_nothing_is_written(made, changes, status, said):
    """H17, H18: bounded at the door."""
    assert said in problem(send(made, "planned", later(made, **changes)), status)["detail"]
    assert get(made, "planned", "PlannedStarts") == {"planned": []}


def test_one_of_another_oven_is_not_withdrawn_here(made):
    """The number belongs to the oven of the address."""
    send(made, "planned", later(made))
    assert problem(send(made, "planned/999/withdraw", {"who": "Ada"}), 409)
    elsewhere = made.client.post(
        "/api/v1/ovens/none/planned/1/withdraw", data=b"{}", content_type="application/json"
    )
    assert problem(elsewhere, 404)
    assert len(get(made, "planned", "PlannedStarts")["planned"]) == 1


# Commissioning.


def run_body(made, **members):
    look = made.site.look()
    usual = {
        "order": f"o{made.site.clock.mono:.0f}", "version": look.version, "kind": "empty",
        "prepared": "yes", "stays": "yes", "who": "Mira",
    }  # fmt: skip
    return usual | members


def test_a_run_from_start_to_accept_and_back(made):
    """A-39, P07: through the start of every other cycle, so it needs the arming and an empty oven."""
    site = made.site
    known = get(made, "commissioning", "Commissioning")
    assert (known["runs"], known["accepted_run"], known["inside"]) == ([], None, ["grey"])
    assert "No commissioning run" in known["due"]
    assert problem(send(made, "commissioning", run_body(made)), 409)["problems"][0]["rule"] == "A-39"
    site.load(spool("grey", "petg", reel="pc"))
    site.rig.oven.skin_c, site.rig.oven.core_c = [], []
    site.desk.tell_site()
    assert problem(send(made, "commissioning", run_body(made)), 409)["problems"][0]["rule"] == "B-10"
    site.arm()
    for wrong in (
        {"stays": "no"},
        {"prepared": True},
        {"kind": "hot"},
        {"version": -1},
        {"setpoint_c": 90.0},
    ):
        assert problem(send(made, "commissioning", run_body(made) | wrong), 400)
    assert site.look().cycle is None
    response = send(made, "commissioning", run_body(made))
    assert response.status_code == 200
    check_document(response.get_json(), ref("OvenLook"), DOCUMENT)
    assert response.get_json()["cycle"]["setpoint_c"] == 50.0
    site.run(1.2 * HOUR_S)
    (run,) = get(made, "commissioning", "Commissioning")["runs"]
    assert (run["ending"], run["problems"], run["can_accept"]) == ("time_up", [], True)
    assert run["found"]["overshoot_c"]["value"] < 5.0
    assert problem(send(made, "commissioning/accept", {"run": "c0", "who": "Ada"}), 400)
    accepted = send(made, "commissioning/accept", {"run": run["run"], "who": "Ada"}).get_json()
    check_document(accepted, ref("Commissioning"), DOCUMENT)
    assert (accepted["accepted_run"], accepted["due"]) == (run["run"], "")
    assert accepted["accepted"][0]["who"] == "Ada"
    assert send(made, "commissioning/take-back", {"who": "Ada"}).get_json()["accepted_run"] is None
    assert (
        "nothing was accepted"
        in problem(send(made, "commissioning/take-back", {"who": "Ada"}), 409)["detail"]
    )


# Proof test.


def test_the_proof_test_is_told_step_by_step(made):
    """B-50: numbers and ticks by name; the whole only when every step stands; a failed one locks."""
    test = get(made, "proof", "ProofTest")
    assert [step["step"] for step in test["steps"]] == [step.key for step in STEPS]
    assert test["passed"] is not None
    assert "still to be done" in problem(send(made, "proof", {"passed": "yes", "who": "Ada"}), 409)["detail"]
    for name, (numbers, ticks) in PASSING.items():
        body = {"numbers": numbers, "ticks": list(ticks), "who": "Ada"}
        response = send(made, f"proof/{name}", body)
        assert response.status_code == 200
        made.site.run(2)
    check_document(response.get_json(), ref("ProofTest"), DOCUMENT)
    assert response.get_json()["is_complete"]
    assert send(made, "proof", {"passed": "yes", "who": "Ada"}).get_json()["history"][0]["who"] == "Ada"
    made.site.run(2)
    failed = send(made, "proof/lease", {"numbers": {"gone_s": 300.0}, "ticks": ["stays_off"], "who": "Ada"})
    assert failed.get_json()["is_out_of_service"]


@pytest.mark.parametrize(
    ("step", "body", "said"),
    [
        ("prayer", {"numbers": {}}, "no step"),
        ("lease", {"numbers": {}}, "gone_s"),
        ("lease", {"numbers": {"gone_s": 1e9}}, "gone_s"),
        ("lease", {"numbers": {"gone_s": "soon"}}, "numbers"),
        ("lease", {"numbers": {"gone_s": 20.0, "more": 1.0}}, "more"),
        ("lease", {}, "numbers"),
    ],
)
def test_a_step_that_was_not_measured_so_is_refused(made, step, body, said):
    """What is wrong is named; the test that counts stays as it was."""
    before = get(made, "proof", "ProofTest")
    assert said in problem(send(made, f"proof/{step}", body | {"who": "Ada"}), 400)["detail"]
    assert get(made, "proof", "ProofTest") == before


# For all of them.

CHANGING = (
    "planned", "planned/1/withdraw", "commissioning", "commissioning/accept", "commissioning/take-back", "proof",
    "proof/lease",
)  # fmt: skip


@pytest.mark.parametrize("path", CHANGING)
def test_an_address_for_looking_changes_nothing(made, path):
    """403 before anything is read; looking goes on."""
    client = client_of(made, look_only=True)
    assert problem(send(made, path, {"who": "Ada"}, client), 403)
    for shown in ("planned", "commissioning", "proof"):
        assert client.get(f"{BASE}/{shown}").status_code == 200


@pytest.mark.parametrize("path", CHANGING)
def test_a_strangers_page_changes_nothing(made, path):
    """The rule of all that changes something: same site."""
    response = made.client.post(f"{BASE}/{path}", data=b"{}", headers={"Sec-Fetch-Site": "cross-site"})
    assert problem(response, 403)


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe", b"[" * 5000, b'"x"', b"x" * 100_000])
@pytest.mark.parametrize("path", CHANGING)
def test_what_cannot_be_read_is_refused(made, path, content):
    """Hostile input never gets through, nor does it break anything."""
    response = made.client.post(f"{BASE}/{path}", data=content, content_type="application/json")
    assert response.status_code in (400, 413)
    assert get(made, "planned", "PlannedStarts") == {"planned": []}
