"""The way in and out: forms, cookies, and what is thrown at them."""

import re

import pytest
from support.sign_in import ADDRESS, HERE, OTHER, PASSWORD, csrf, gate, send

from monitor.errors import StoreError
from monitor.model.people import Role

COOKIE = "sorbwatch_session"
STRANGER = {"Origin": "https://stranger.example"}


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        yield made


def come_in(client, name="Mara", password=PASSWORD, headers=HERE, **more):
    data = {"name": name, "password": password} | more
    return client.post("/sign-in", data=data, headers=headers, environ_base={"REMOTE_ADDR": ADDRESS})


def cookie_of(response):
    return response.headers.get("Set-Cookie", "")


def text_of(response):
    return response.get_data(as_text=True)


def test_the_first_owner_comes_in_by_the_page_and_then_by_name_and_password(site):
    """Code, name, password; later name and password alone."""
    client, code = site.client(), site.sessions.first_code()
    page = text_of(client.get("/sign-in"))
    assert "Become the owner" in page
    assert 'autocomplete="new-password"' in page  # WCAG 3.3.8: a password manager may fill it in
    fields = {"code": code, "name": "Mara", "password": PASSWORD, "again": PASSWORD}
    response = client.post("/sign-in/code", data=fields, headers=HERE)
    assert (response.status_code, response.headers["Location"]) == (303, "/people?new=yes")
    assert "Mara" in text_of(client.get("/people"))
    later = site.client()
    page = text_of(later.get("/sign-in?next=/spools"))
    assert 'autocomplete="current-password"' in page
    assert 'name="next" value="/spools"' in page
    response = come_in(later, next="/spools")
    assert (response.status_code, response.headers["Location"]) == (303, "/spools")
    assert ">Mara</a>" in text_of(later.get("/spools"))
    assert later.get("/sign-in?next=/materials").headers["Location"] == "/materials"


@pytest.mark.parametrize(
    ("headers", "is_secure"),
    [(HERE, False), ({"Origin": "https://localhost"}, True)],
)
def test_the_cookie_is_for_the_browser_alone_and_for_https_alone_where_there_is_https(
    site, headers, is_secure
):
    """No script reads it, no stranger's page sends it, and it has an end."""
    site.make_owner()
    cookie = cookie_of(come_in(site.client(), headers=headers))
    assert re.match(rf"{COOKIE}=[A-Za-z0-9_-]{{43}};", cookie)
    for part in ("HttpOnly", "SameSite=Strict", "Path=/", f"Max-Age={90 * 86_400}"):
        assert part in cookie
    assert ("Secure" in cookie) is is_secure


@pytest.mark.parametrize(
    "to", ["//stranger.example", "https://stranger.example", "/\\stranger.example", "/\t/x", "x" * 600, ""]
)
def test_signing_in_leads_nowhere_else(site, to):
    """A link to us must not end on a stranger's page."""
    site.make_owner()
    assert come_in(site.client(), next=to).headers["Location"] == "/"


def test_a_wrong_name_and_a_wrong_password_give_the_same_page(site):
    """Not a word tells whether there is such a name; the password is never sent back."""
    site.make_owner()
    pages = []
    for name in ("Mara", "Nope"):
        response = come_in(site.client(), name=name, password="not the right one")
        assert response.status_code == 403
        assert cookie_of(response) == ""
        pages.append(text_of(response).replace(f'value="{name}"', ""))
    assert pages[0] == pages[1]
    assert "do not go together" in pages[0]
    assert "not the right one" not in pages[0]


def test_too_many_tries_are_told_how_long_to_wait(site):
    """429 with Retry-After, for page and program alike."""
    site.make_owner()
    client = site.client()
    answers = [come_in(client, password="wrong password") for _ in range(6)]
    assert [answer.status_code for answer in answers] == [403] * 5 + [429]
    assert answers[-1].headers["Retry-After"] == "2"
    assert "Wait 2 s, then try again." in text_of(answers[-1])
    response = client.post(
        "/api/v1/session", json={"name": "Mara", "password": PASSWORD}, environ_base={"REMOTE_ADDR": ADDRESS}
    )
    assert response.status_code == 429
    assert int(response.headers["Retry-After"]) >= 2
    site.pace_s += 2.0
    assert come_in(client).status_code == 303


@pytest.mark.parametrize(
    ("fields", "status", "field", "said"),
    [
        ({"password": "short", "again": "short"}, 400, "password", "12 to 200 characters"),
        ({"again": OTHER}, 400, "again", "type the same one twice"),
        ({"name": ""}, 400, "name", "1 to 40 characters"),
        ({"name": "x" * 5_000}, 400, "name", "1 to 40 characters"),
        ({"name": "Console"}, 400, "name", "commands on the board"),
        ({"password": "x" * 5_000, "again": "x" * 5_000}, 400, "password", "12 to 200 characters"),
        ({"code": "0000-0000-0000"}, 403, "code", "code does not work"),
        ({"code": "y" * 100_000}, 403, "code", "code does not work"),
        ({"code": "<script>"}, 403, "code", "code does not work"),
    ],
)
def test_a_wrong_field_of_the_code_form_is_named_and_the_code_stays_good(site, fields, status, field, said):
    """One sentence at its field; what was typed is kept but the passwords."""
    client = site.client()
    good = {"code": site.sessions.first_code(), "name": "Mara", "password": PASSWORD, "again": PASSWORD}
    response = client.post("/sign-in/code", data=good | fields, headers=HERE)
    page = text_of(response)
    assert response.status_code == status
    fault = re.search(rf'id="fault-{field}"[^>]*>([^<]*)<', page)
    assert said in fault[1]
    assert PASSWORD not in page
    assert "<script>" not in page
    assert not site.sessions.has_owner()
    assert client.post("/sign-in/code", data=good, headers=HERE).status_code == 303
    assert (
        client.post("/sign-in/code", data=good | {"name": "Eve"}, headers=HERE).status_code == 403
    )  # replayed


@pytest.mark.parametrize("path", ["/sign-in", "/sign-in/code", "/api/v1/session"])
@pytest.mark.parametrize("headers", [STRANGER, {"Origin": "null"}, {}, {"Sec-Fetch-Site": "cross-site"}])
def test_a_strangers_page_signs_nobody_in(site, path, headers):
    """Login forgery: to be signed in as somebody else unawares makes one's acts theirs."""
    site.make_owner()
    response = site.client().post(path, data={"name": "Mara", "password": PASSWORD}, headers=headers)
    assert response.status_code == 403
    assert cookie_of(response) == ""


@pytest.mark.parametrize(
    "cookie", ["", "x", "A" * 43, "A" * 44, "A" * 5_000, '"', "a;b", "\x7f" * 43, "ä" * 43, "..%2f", "0" * 43]
)
def test_a_malformed_or_made_up_cookie_is_nobody(site, cookie):
    """Whatever is sent as a session, the answer is that of a stranger."""
    site.make_owner()
    client = site.client()
    headers = {"Cookie": f"{COOKIE}={cookie}"}
    assert client.get("/spools", headers=headers).status_code == 200
    assert client.get("/api/v1/session", headers=headers).get_json() == {
        "person": None,
        "role": None,
        "csrf": None,
    }
    response = client.post("/spools/grey/events", data={"kind": "bagged"}, headers=HERE | headers)
    assert response.status_code == 401
    assert site.site.queries.spool_history("grey").events == ()


def test_signing_in_gives_another_session_than_the_one_brought_along(site):
    """Session fixation, by the cookie."""
    client = site.client("F" * 43)
    site.make_owner()
    first = cookie_of(come_in(client)).split(";")[0]
    assert first != f"{COOKIE}={'F' * 43}"
    second = cookie_of(come_in(client)).split(";")[0]
    assert second not in (first, "")
    old = site.client(first.partition("=")[2])
    assert old.get("/api/v1/session").get_json()["person"] is None


def test_signing_out_ends_the_session_not_only_the_cookie(site):
    """A copy of the cookie is worth nothing afterwards."""
    token = site.make_owner()
    client = site.client(token)
    response = send(client, "/sign-out")
    assert response.status_code == 303
    assert f"{COOKIE}=;" in cookie_of(response)
    assert site.client(token).get("/api/v1/session").get_json()["person"] is None


def test_signing_out_needs_the_token_of_the_form(site):
    """A stranger's page must not even do that."""
    client = site.client(site.make_owner())
    assert client.post("/sign-out", headers=HERE).status_code == 403
    assert client.post("/sign-out", headers=STRANGER, data={"csrf": csrf(client)}).status_code == 403
    assert csrf(client) is not None


@pytest.mark.parametrize("forged", ["", "x", "0" * 64, "ä" * 64, "F" * 100_000, None])
def test_a_forged_token_changes_nothing(site, forged):
    """CSRF: another origin is one barrier, the session's own token the other."""
    client = site.client(site.make_owner())
    fields = {"kind": "bagged"} | ({} if forged is None else {"csrf": forged})
    response = client.post("/spools/grey/events", data=fields, headers=HERE)
    assert response.status_code == 403
    assert "token is missing or old" in text_of(response).replace("&#39;", "'")
    assert site.site.queries.spool_history("grey").events == ()


def test_the_token_of_one_session_is_none_of_another(site):
    """Bound to the session: a person's other phone has another one."""
    mara, ilse = site.client(site.make_owner()), site.client(site.add("Ilse", Role.OWNER))
    assert csrf(mara) != csrf(ilse)
    fields = {"kind": "bagged", "csrf": csrf(mara)}
    assert ilse.post("/spools/grey/events", data=fields, headers=HERE).status_code == 403
    assert (
        ilse.post("/spools/grey/events", data=fields | {"csrf": csrf(ilse)}, headers=HERE).status_code == 303
    )


def test_an_expired_or_revoked_session_changes_nothing_and_says_so(site):
    """Revoked on another device it is over with the next click."""
    site.make_owner()
    client = site.client(site.add("Ilse"))
    token = csrf(client)
    site.people.sign_out("Mara", site.number("Ilse"))
    response = client.post("/spools/grey/events", data={"kind": "bagged", "csrf": token}, headers=HERE)
    assert response.status_code == 401
    assert "sign in first" in text_of(response)
    assert ">Sign in</a>" in text_of(client.get("/spools"))
    assert site.site.queries.spool_history("grey").events == ()


def test_what_is_told_bears_the_name_of_who_is_signed_in_and_no_other(site):
    """The field is gone; a name sent all the same is not believed."""
    client = site.client(site.add("Ilse", by=site.make_owner() and "Mara"))
    page = text_of(client.get("/spools/grey"))
    assert 'name="who"' not in page
    assert "By Ilse, just now" in page
    response = send(client, "/spools/grey/events", {"kind": "bagged", "who": "Mara"})
    assert response.status_code == 303
    assert "who=" not in cookie_of(response)
    answer = client.post(
        "/api/v1/spools/grey/events",
        json={"kind": "opened", "who": "Mara"},
        headers={"X-Csrf-Token": csrf(client)},
    )
    assert answer.status_code == 201
    answer = client.post(
        "/api/v1/spools/grey/events", json={"kind": "bagged"}, headers={"X-Csrf-Token": csrf(client)}
    )
    assert answer.status_code == 201
    assert [event.who for event in site.site.queries.spool_history("grey").events] == ["Ilse"] * 3
    assert ("Ilse", "bagged", "grey") in site.acts()


def test_own_figures_bear_the_name_of_the_owner(site):
    """Settings are the owner's, with the name that was proven."""
    client = site.client(site.make_owner())
    page = text_of(client.get("/materials/petg"))
    assert 'name="why"' in page
    assert 'name="who"' not in page
    response = send(
        client, "/materials/petg/figure", {"figure": "dry_c", "value": "55", "why": "label", "who": "Eve"}
    )
    assert response.status_code == 303
    assert [figure.who for figure in site.site.queries.own_figures()] == ["Mara"]


def test_a_program_writes_with_cookie_and_header(site):
    """API: sign in, write, sign out; without the header nothing."""
    site.make_owner()
    client = site.client()
    answer = client.post("/api/v1/session", json={"name": "Mara", "password": PASSWORD})
    assert answer.status_code == 201
    said = answer.get_json()
    assert (said["person"], said["role"]) == ("Mara", "owner")
    opened = {"kind": "opened"}
    assert client.post("/api/v1/spools/grey/events", json=opened).status_code == 403
    headers = {"X-Csrf-Token": said["csrf"]}
    assert client.post("/api/v1/spools/grey/events", json=opened, headers=headers).status_code == 201
    assert client.delete("/api/v1/session", headers={"Origin": "http://localhost"}).status_code == 403
    assert client.delete("/api/v1/session", headers=headers | HERE).get_json()["person"] is None
    assert client.get("/api/v1/session").get_json()["person"] is None


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'{"name":"Mara"}', b'{"name":1,"password":2}', b'{"name":"a","password":"b","x":1}',
     b"[" * 4_000, b"x" * 100_000, b'{"name":["a"],"password":"b"}', b"\xff\xfe"],
)  # fmt: skip
def test_a_malformed_sign_in_of_a_program_is_a_problem_in_one_sentence(site, body):
    """C-23: never an HTML page or a fault for a program."""
    response = site.client().post("/api/v1/session", data=body, content_type="application/json")
    assert response.status_code == 400
    assert response.mimetype == "application/problem+json"
    assert response.get_json(force=True)["detail"].startswith("body must")


def test_a_lone_surrogate_is_a_wrong_name_like_any_other(site):
    """JSON may carry what no text is."""
    site.make_owner()
    for name, password in (("\\ud800", "\\ud800"), ("Mara", "\\udfff\\ud800")):
        body = f'{{"name": "{name}", "password": "{password}"}}'.encode()
        assert (
            site.client().post("/api/v1/session", data=body, content_type="application/json").status_code
            == 403
        )


def test_pages_with_secrets_are_never_kept(site):
    """A code on the page must not come back from the browser's store."""
    client = site.client(site.make_owner())
    response = send(client, "/people", {"name": "Ilse", "role": "do"})
    assert response.headers["Cache-Control"] == "no-store"
    assert "'unsafe-inline'" not in response.headers["Content-Security-Policy"]


def test_a_database_that_fails_lets_nobody_in(site, monkeypatch):
    """Not knowing who asks is no reason to believe them."""
    client = site.client(site.make_owner())

    def fails(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(site.site.reader, "session", fails)
    response = client.post("/spools/grey/events", data={"kind": "bagged"}, headers=HERE)
    assert response.status_code == 503
    assert site.site.queries.spool_history("grey").events == ()
