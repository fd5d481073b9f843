"""Who may reach which route: every route, every role, open and closed, on the board and from elsewhere."""

import re
from pathlib import Path

import pytest
from support.sign_in import HERE, csrf, gate

from monitor.errors import StoreError
from monitor.model.people import Role
from web.sign_in.roles import Open, asked_by, needs, open_to_all

TEMPLATES = Path(__file__).resolve().parents[2] / "web" / "templates"
# What each change asks for. A route that is not here must declare a role; these must declare this one.
CHANGES = {
    ("POST", "/spools/<key>/events"): Role.DO,
    ("POST", "/api/v1/spools/<key>/events"): Role.DO,
    ("POST", "/ovens/stop"): Open.ALL,
    ("POST", "/ovens/<key>/stop"): Open.ALL,
    ("POST", "/api/v1/ovens/<key>/stop"): Open.ALL,
    ("POST", "/ovens/<key>/start"): Role.DO,
    ("POST", "/ovens/<key>/extend"): Role.DO,
    ("POST", "/ovens/<key>/later"): Role.DO,
    ("POST", "/ready/<int:number>/withdraw"): Role.DO,
    ("POST", "/ovens/<key>/reset"): Role.DO,
    ("POST", "/ovens/<key>/checklist"): Role.DO,
    ("POST", "/ovens/<key>/cutout"): Role.DO,
    ("POST", "/ovens/<key>/proof"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/start"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/extend"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/reset"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/planned"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/planned/<int:number>/withdraw"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/commissioning"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/commissioning/accept"): Role.OWNER,
    ("POST", "/api/v1/ovens/<key>/commissioning/take-back"): Role.OWNER,
    ("POST", "/api/v1/ovens/<key>/proof"): Role.DO,
    ("POST", "/api/v1/ovens/<key>/proof/<step>"): Role.DO,
    ("POST", "/materials/<key>/figure"): Role.OWNER,
    ("POST", "/sign-in"): Open.DOOR,
    ("POST", "/sign-in/code"): Open.DOOR,
    ("POST", "/sign-out"): Role.LOOK,
    ("POST", "/people"): Role.OWNER,
    ("POST", "/people/<int:number>/code"): Role.OWNER,
    ("POST", "/people/<int:number>/role"): Role.OWNER,
    ("POST", "/people/<int:number>/remove"): Role.OWNER,
    ("POST", "/people/<int:number>/sign-out"): Role.LOOK,
    ("POST", "/people/password"): Role.LOOK,
    ("POST", "/api/v1/session"): Open.DOOR,
    ("DELETE", "/api/v1/session"): Role.LOOK,
}
LOOKING = ("GET", "HEAD")


def routes(app):
    """(method, rule, what it asks for), OPTIONS of Flask's own left out."""
    for rule in app.url_map.iter_rules():
        for method in sorted(rule.methods - {"OPTIONS"}):
            yield method, rule, asked_by(app.view_functions[rule.endpoint])


def undeclared(app):
    return [
        f"{method} {rule}" for method, rule, asks in routes(app) if method not in LOOKING and asks is None
    ]


def stub(view):
    """Says that it was reached, and asks for what the real one asks for."""

    def reached(**_):
        return "reached"

    asks = asked_by(view)
    if isinstance(asks, Role):
        return needs(asks)(reached)
    if asks is not None:
        reached._asks = asks
    return reached


def path_of(rule):
    return re.sub(r"<int:\w+>", "1", re.sub(r"<(?:path:)?\w+>", "x", rule.rule))


@pytest.fixture(scope="module", params=[True, False], ids=["open", "closed"])
def site(request, tmp_path_factory):
    with gate(tmp_path_factory.mktemp("roles"), is_open_to_look=request.param) as made:
        made.tokens = {None: None, Role.OWNER: made.make_owner()}
        made.tokens[Role.LOOK] = made.add("Lena", Role.LOOK)
        made.tokens[Role.DO] = made.add("Dora", Role.DO)
        app = made.app
        app.view_functions = {name: stub(view) for name, view in app.view_functions.items()}
        yield made


def test_every_change_declares_who_may_make_it(site):
    """A new route that changes something without saying who may is a hole: so nobody may, and this fails."""
    assert undeclared(site.app) == []
    found = {(method, rule.rule): asks for method, rule, asks in routes(site.app) if method not in LOOKING}
    assert {key: found.get(key) for key in CHANGES} == CHANGES


@pytest.mark.parametrize("role", [None, *Role])
def test_the_matrix_of_routes_and_roles_holds(site, role):
    """Every route of the map, asked as a stranger and in each role, with a good token."""
    client = site.client(site.tokens[role])
    headers = dict(HERE)
    if role is not None:  # the door itself gives the token, not the stubs
        from web.sign_in.visitor import csrf_of

        headers["X-Csrf-Token"] = csrf_of(site.tokens[role])
    checked = 0
    for method, rule, asks in routes(site.app):
        response = client.open(path_of(rule), method=method, headers=headers)
        is_in = response.status_code == 200
        assert is_in is _may(site, method, rule, asks, role), (method, rule.rule, response.status_code)
        if not is_in:
            assert response.status_code in ((303, 401) if role is None else (403,)), (method, rule.rule)
        checked += 1
    assert checked > 40


def _may(site, method, rule, asks, role):
    """The rules in this test's own words."""
    if isinstance(asks, Open) or rule.endpoint == "static":
        return True
    if method in LOOKING and asks is None:
        return site.door.is_open_to_look or role is not None
    return role is not None and list(Role).index(role) >= list(Role).index(asks)


@pytest.mark.parametrize("role", [*Role])
def test_no_route_takes_a_change_without_the_token(site, role):
    """Every changing route, not only those that somebody thought of."""
    client = site.client(site.tokens[role])
    for method, rule, asks in routes(site.app):
        if method not in LOOKING and isinstance(asks, Role):
            assert client.open(path_of(rule), method=method, headers=HERE).status_code == 403, rule.rule


def test_every_form_of_the_templates_carries_the_token(site):
    """A form without it is refused, and nobody would know why."""
    found = 0
    for file in TEMPLATES.rglob("*.html"):
        for form in re.findall(r'<form method="post".*?</form>', file.read_text(), re.DOTALL):
            found += 1
            is_way_in = "entry.sign_in" in form or "entry.use_code" in form
            assert is_way_in or "{{ csrf() }}" in form, f"{file.name}: {form[:120]}"
    assert found >= 12
    assert site.app.jinja_env.globals["csrf"]


# From here on with the views as they are.


@pytest.fixture
def small(tmp_path):
    with gate(tmp_path) as made:
        yield made


@pytest.fixture
def shut(tmp_path):
    with gate(tmp_path, is_open_to_look=False) as made:
        made.make_owner()
        yield made


@pytest.fixture
def board(tmp_path):
    with gate(tmp_path, is_board_only=True) as made:
        yield made


def test_a_view_that_declares_nothing_is_shut_to_everybody(small):
    """Forgetting must fail safe, also for an owner."""
    small.app.add_url_rule("/forgotten", "forgotten", lambda: "changed", methods=["POST"])
    assert undeclared(small.app) == ["POST /forgotten"]
    client = small.client(small.make_owner())
    response = client.post("/forgotten", data={"csrf": csrf(client)}, headers=HERE)
    assert response.status_code == 403
    assert "does not say who may" in response.get_data(as_text=True)


class Stops:
    """A view such as that which stops heat."""

    def __init__(self, app):
        self.count = 0

        @open_to_all
        def stop():
            self.count += 1
            return "stopped"

        app.add_url_rule("/ovens/kiln/stop", "stop", stop, methods=["POST"])


@pytest.mark.parametrize(
    "headers", [{}, HERE, {"Content-Type": "text/plain"}, {"Sec-Fetch-Site": "same-origin"}]
)
def test_stopping_heat_needs_nobody(shut, headers):
    """B-17: accepted from anyone, any time, unauthenticated inside the LAN: page, program or a bare command."""
    stops = Stops(shut.app)
    response = shut.client().post(
        "/ovens/kiln/stop", headers=headers, environ_base={"REMOTE_ADDR": "192.0.2.99"}
    )
    assert (response.status_code, stops.count) == (200, 1)


def test_stopping_heat_works_with_an_old_page_an_old_session_and_no_database(shut, monkeypatch):
    """B-17: nothing that can go wrong with a session may stand in its way."""
    stops = Stops(shut.app)
    token = shut.add("Lena", Role.LOOK)
    client = shut.client(token)
    assert client.post("/ovens/kiln/stop", data={"csrf": "old"}, headers=HERE).status_code == 200
    shut.people.sign_out("Mara", shut.number("Lena"))
    assert client.post("/ovens/kiln/stop", headers=HERE).status_code == 200

    def fails(*_):
        raise StoreError("the disk is full")

    for name in ("session", "people"):
        monkeypatch.setattr(shut.site.reader, name, fails)
    assert client.post("/ovens/kiln/stop", headers=HERE).status_code == 200
    assert stops.count == 3


@pytest.mark.parametrize(
    "headers", [{"Origin": "https://stranger.example"}, {"Sec-Fetch-Site": "cross-site"}]
)
def test_a_strangers_page_does_not_even_stop_heat(shut, headers):
    """A page on the internet is not inside the site; it could spoil every drying."""
    stops = Stops(shut.app)
    assert shut.client().post("/ovens/kiln/stop", headers=headers).status_code == 403
    assert stops.count == 0


def test_where_looking_is_shut_a_page_leads_to_the_sign_in_and_back(shut):
    """Pages redirect, programs get a problem that says what to do; health stays to be asked."""
    client = shut.client()
    response = client.get("/spools?place=crate")
    assert (response.status_code, response.headers["Location"]) == (
        303,
        "/sign-in?next=/spools?place%3Dcrate",
    )
    for path in ("/api/v1/status", "/metrics", "/events", "/parts"):
        assert client.get(path).status_code in (401, 303), path
    answer = client.get("/api/v1/status")
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].lower().startswith("session")
    assert "sign in first" in answer.get_json(force=True)["detail"]
    assert client.get("/healthz").status_code in (200, 503)
    assert client.get("/sign-in").status_code == 200
    with client.get("/static/page.css") as response:
        assert response.status_code == 200
    assert shut.client(shut.add("Lena", Role.LOOK)).get("/spools").status_code == 200


def test_a_live_stream_ends_with_its_session(shut):
    """Revoked means no more to see, not in ten minutes."""
    shut.app.add_url_rule(
        "/ticks", "ticks", lambda: shut.app.response_class(iter("abc"), mimetype="text/event-stream")
    )
    token = shut.add("Lena", Role.LOOK)
    stream = iter(shut.client(token).get("/ticks").response)
    assert next(stream) in ("a", b"a")
    shut.people.sign_out("Mara", shut.number("Lena"))
    assert list(stream) == []


def test_on_another_address_nobody_changes_anything_before_there_is_an_owner(small):
    """Open to look; the way to an owner is told."""
    client = small.client()
    page = client.get("/spools/grey").get_data(as_text=True)
    assert 'class="telling"' not in page
    assert "Sign in to tell what happened to it" in page
    response = client.post("/spools/grey/events", data={"kind": "bagged", "who": "Mara"}, headers=HERE)
    assert response.status_code == 401
    assert "one-time code that the board printed" in response.get_data(as_text=True)


def test_at_the_boards_own_screen_things_work_as_ever_until_there_is_an_owner(board):
    """The name is typed then; with an owner it must be proven here, too."""
    client = board.client()
    page = client.get("/spools/grey").get_data(as_text=True)
    assert 'name="who"' in page
    fields = {"kind": "bagged", "who": "Mara"}
    assert client.post("/spools/grey/events", data=fields, headers=HERE).status_code == 303
    assert [event.who for event in board.site.queries.spool_history("grey").events] == ["Mara"]
    assert ("Mara", "bagged", "grey") in board.acts()
    assert "Nobody is set up yet" in client.get("/people").get_data(as_text=True)
    assert client.post("/people", data={"name": "Eve", "role": "owner"}, headers=HERE).status_code == 403
    board.make_owner()
    response = client.post("/spools/grey/events", data=fields, headers=HERE)
    assert response.status_code == 401
    assert 'class="telling"' not in client.get("/spools/grey").get_data(as_text=True)


@pytest.mark.parametrize(
    ("host", "address", "header"),
    [
        ("localhost", "192.0.2.7", {}),
        ("192.0.2.1", "127.0.0.1", {}),
        ("localhost", "127.0.0.1", {"X-Forwarded-For": "192.0.2.7"}),
        ("localhost", "127.0.0.1", {"Forwarded": "for=192.0.2.7"}),
    ],
)
def test_only_the_board_itself_counts_as_its_own_screen(board, host, address, header):
    """A server in front of ours hands on who knows whose requests from loopback."""
    response = board.client().post(
        "/spools/grey/events",
        data={"kind": "bagged", "who": "Mara"},
        headers={"Origin": f"http://{host}", "Host": host} | header,
        environ_base={"REMOTE_ADDR": address},
    )
    assert response.status_code == 401


def test_a_looker_sees_everything_and_no_form(small):
    """What one may not do is not offered."""
    small.make_owner()
    client = small.client(small.add("Lena", Role.LOOK))
    page = client.get("/spools/grey").get_data(as_text=True)
    assert 'class="telling"' not in page
    assert "Sign in to tell" not in page
    assert 'class="own-form"' not in client.get("/materials/petg").get_data(as_text=True)
    response = client.post("/spools/grey/events", data={"kind": "bagged", "csrf": csrf(client)}, headers=HERE)
    assert response.status_code == 403
    assert "needs the role" in response.get_data(as_text=True)


def test_a_role_that_is_changed_holds_from_the_next_click_on(small):
    """No session carries yesterday's rights."""
    small.make_owner()
    client = small.client(small.add("Lena", Role.DO))
    token = csrf(client)
    small.people.set_role("Mara", small.number("Lena"), Role.LOOK)
    fields = {"kind": "bagged", "csrf": token}
    assert client.post("/spools/grey/events", data=fields, headers=HERE).status_code == 403
