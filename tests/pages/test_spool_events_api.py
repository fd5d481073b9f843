"""Events over the API: hostile or impossible ones are refused in one sentence and change nothing."""

import json

import pytest
from support.spool_site import spool, spool_site

from web import create_app

WHO = {"who": "mara"}


@pytest.fixture
def site(tmp_path):
    with spool_site(tmp_path, spool(start_pct=0.02, reel_g=200.0)) as made:
        made.pass_time(6, crate=30.0)
        yield made


@pytest.fixture
def client(site):
    app = create_app(site.queries, site.changes, look_only=False, hosts=frozenset(), zone="Europe/Berlin")
    return app.test_client()


def post(client, body, *, key="grey", content_type="application/json", **headers):
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.post(f"/api/v1/spools/{key}/events", data=data, content_type=content_type, headers=headers)


@pytest.mark.parametrize(
    ("body", "named"),
    [
        (b"", "cannot be read"),
        (b"{", "cannot be read"),
        ([], "cannot be read"),
        ({"kind": "moved", **WHO}, "`place`"),
        ({"kind": "moved", **WHO, "place": ["crate", "chest"]}, "$.place"),  # in two places
        ({"kind": "levitated", **WHO}, "$.kind"),
        ({"kind": "moved", "who": "a\nb", "place": None}, "who must be"),
        ({"kind": "moved", **WHO, "place": "x" * 300}, "place"),
        (b'{"kind":"used","who":"a","grams":1e999}', "$.grams"),
        ({"kind": "used", **WHO, "grams": -1}, "grams is -1"),
        ({"kind": "used", **WHO, "grams": 5, "extra": 1}, "`extra`"),
        ({"kind": "used", **WHO, "grams": 5, "at": "0001-01-01T00:00:00+14:00"}, "at must lie"),
        ({"kind": "used", **WHO, "grams": 5, "at": "9999-12-31T23:59:59-14:00"}, "at must lie"),
        ({"kind": "used", **WHO, "grams": 5, "replaces": 10**30}, "replaces is"),
        ({"kind": "weighed", **WHO, "mass_g": 150, "resolution_g": 1}, "mass_g is 150; allowed are 700"),
        ({"kind": "weighed", **WHO, "mass_g": 1200, "resolution_g": 1, "repeats": 10**9}, "repeats is"),
        ({"kind": "dried", **WHO, "temperature_c": 200, "hours": 4}, "temperature_c is 200"),
        ({"kind": "signs", **WHO, "seen": ["popping", "popping"]}, "seen must name"),
        ({"kind": "withdrawn", **WHO, "why": "slip"}, "replaces must name"),
        (b"x" * 9000, "at most 8192 bytes"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_nothing_is_written(site, client, body, named):
    """Input is bounded and validated at the edge."""
    before = site.spool()
    response = post(client, body)
    assert response.status_code == 400
    problem = response.get_json(force=True)
    assert named in problem["detail"]
    assert "\n" not in problem["detail"]
    assert site.queries.spool_history("grey").events == ()
    assert site.spool() == before


def test_an_event_is_written_once_and_its_text_is_no_markup(site, client):
    """Names are shown, never run."""
    response = post(client, {"kind": "moved", "who": "<script>alert(1)</script>", "place": "chest"})
    assert response.status_code == 201
    assert response.get_json()["event_id"] == 1
    assert site.spool().place == "chest"
    records = client.get("/api/v1/spools/grey/events").get_json()
    assert [record["kind"] for record in records] == ["moved"]
    page = client.get("/spools/grey").get_data(as_text=True)
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_strangers_pages_cannot_write(site, client):
    """A form of another origin, or one that says nothing of itself, is refused."""
    opened = {"kind": "opened", **WHO}
    assert post(client, opened, Origin="http://evil.example").status_code == 403
    assert post(client, opened, **{"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert post(client, b"kind=opened", content_type="application/x-www-form-urlencoded").status_code == 403
    assert site.queries.spool_history("grey").events == ()
