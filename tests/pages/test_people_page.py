"""The page for people: own devices and password for each, everybody for an owner."""

import re
from html import unescape

import pytest
from support.sign_in import ADDRESS, HERE, OTHER, PASSWORD, csrf, gate, send

from monitor.model.people import Role
from monitor.service.sessions import Where


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        made.mara = made.client(made.make_owner())
        yield made


def page_of(client, path="/people"):
    return unescape(client.get(path).get_data(as_text=True))


def test_an_owner_lets_somebody_in_by_a_code_that_is_shown_once(site):
    """Invitation: name, role, code; the code is on no later page."""
    response = send(site.mara, "/people", {"name": "Ilse <b>", "role": "do"})
    assert response.status_code == 201
    page = response.get_data(as_text=True)
    code = re.search(r'<p class="code">([0-9A-Z-]{14})</p>', page)[1]
    assert "Ilse <b>" not in page
    later = page_of(site.mara)
    assert code not in later
    assert "did not come yet" in later
    phone = site.client()
    fields = {"code": code, "password": PASSWORD, "again": PASSWORD}
    assert phone.post("/sign-in/code", data=fields, headers=HERE).status_code == 303
    assert phone.get("/api/v1/session").get_json()["role"] == "do"
    assert page_of(phone).count("<h1>") == 1


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": "", "role": "do"}, "The name must be a name"),
        ({"name": "Mara", "role": "do"}, "is taken"),
        ({"name": "Ilse", "role": "king"}, "is unknown; allowed are look, do, owner"),
        ({"name": "Ilse"}, "is unknown; allowed are look, do, owner"),
        ({"name": "x" * 100_000, "role": "do"}, "1 to 40 characters"),
    ],
)
def test_a_wrong_invitation_is_one_sentence_and_invites_nobody(site, fields, said):
    """At its field, with what was typed."""
    response = send(site.mara, "/people", fields)
    assert response.status_code == 400
    assert said in unescape(response.get_data(as_text=True))
    assert [person.name for person in site.people.roster().people] == ["Mara"]


def test_each_session_is_listed_with_device_since_and_last_seen_and_can_be_ended(site):
    """Device, since, last seen; a click ends it."""
    phone = "Mozilla/5.0 (some system; Mobile) something"
    client = site.client()
    client.post(
        "/sign-in",
        data={"name": "Mara", "password": PASSWORD},
        headers=HERE | {"User-Agent": phone},
        environ_base={"REMOTE_ADDR": "192.0.2.44"},
    )
    page = page_of(site.mara)
    assert "Phone at 192.0.2.44" in page
    assert len(re.findall(r"Since \d\d \w{3} \d{4} \d\d:\d\d, last seen \d\d \w{3} \d{4}", page)) == 2
    assert page.count(">this one<") == 1
    number = re.search(r'name="session" value="(\d+)"', page)[1]
    path = f"/people/{site.number('Mara')}/sign-out"
    assert send(site.mara, path, {"session": number}).status_code == 303
    assert csrf(client) is None
    assert csrf(site.mara) is not None


def test_a_persons_own_devices_are_theirs_and_other_peoples_the_owners(site):
    """Who is no owner signs out nobody else, and sees nobody else."""
    ilse = site.client(site.add("Ilse", Role.DO))
    second = site.sessions.sign_in("Ilse", PASSWORD, Where(address=ADDRESS)).token
    page = page_of(ilse)
    assert "Mara" not in page
    assert "Let somebody in" not in page
    assert send(ilse, f"/people/{site.number('Mara')}/sign-out").status_code == 403
    assert csrf(site.mara) is not None
    assert send(ilse, f"/people/{site.number('Ilse')}/sign-out").status_code == 303  # all but this one
    assert site.sessions.find(second) is None
    assert csrf(ilse) is not None
    assert send(site.mara, f"/people/{site.number('Ilse')}/sign-out").status_code == 303
    assert csrf(ilse) is None


def test_an_owner_changes_a_role_makes_a_code_and_removes(site):
    """POST, then 303 to the page; each in the log on the page."""
    site.add("Ilse", Role.LOOK)
    number = site.number("Ilse")
    assert send(site.mara, f"/people/{number}/role", {"role": "do"}).status_code == 303
    assert site.people.roster().people[0].role is Role.DO
    response = send(site.mara, f"/people/{number}/code")
    assert response.status_code == 201
    assert re.search(r'<p class="code">[0-9A-Z-]{14}</p>', response.get_data(as_text=True))
    assert send(site.mara, f"/people/{number}/remove").status_code == 303
    page = page_of(site.mara)
    for told in ("Mara set a role: Ilse (do)", "Mara made a code: Ilse", "Mara removed: Ilse"):
        assert told in page
    assert [person.name for person in site.people.roster().people] == ["Mara"]


def test_the_only_owner_is_told_why_they_cannot_go(site):
    """A refusal is a sentence."""
    response = send(site.mara, f"/people/{site.number('Mara')}/remove")
    assert response.status_code == 400
    assert "Mara is the only owner: make somebody else an owner first." in response.get_data(as_text=True)


@pytest.mark.parametrize(
    "path", ["/people/99/remove", "/people/99/code", "/people/99/role", "/people/99/sign-out"]
)
def test_somebody_who_is_not_there_is_not_found(site, path):
    """An old page's form, after somebody else was faster."""
    assert send(site.mara, path, {"role": "do"}).status_code == 404


@pytest.mark.parametrize("session", ["x", "-1", "9" * 40, "1 OR 1=1", "²"])
def test_a_session_that_is_no_number_ends_nothing(site, session):
    """Refused, and nobody is signed out."""
    response = send(site.mara, f"/people/{site.number('Mara')}/sign-out", {"session": session})
    assert response.status_code == 400
    assert len(site.people.roster().sessions) == 1


def test_the_password_is_changed_on_the_page(site):
    """With the one that holds; the other devices are out."""
    other = site.client(site.sessions.sign_in("Mara", PASSWORD, Where(address=ADDRESS)).token)
    fields = {"current": PASSWORD, "password": OTHER, "again": OTHER}
    for wrong, said in (
        ({"again": PASSWORD}, "type the same one twice"),
        ({"current": OTHER}, "is another one"),
        ({"password": "short", "again": "short"}, "must have 12 to 200"),
    ):
        response = send(site.mara, "/people/password", fields | wrong)
        assert response.status_code == 400
        assert said in unescape(response.get_data(as_text=True))
    response = send(site.mara, "/people/password", fields)
    assert (response.status_code, response.headers["Location"]) == (303, "/people?changed=password")
    assert csrf(other) is None
    assert site.sessions.sign_in("Mara", OTHER, Where(address=ADDRESS)).name == "Mara"


def test_names_are_shown_never_run(site):
    """Whoever invites chooses what stands on the page of others."""
    site.people.invite("Mara", "<img src=x>", Role.DO)
    page = site.mara.get("/people").get_data(as_text=True)
    assert "<img" not in page
    assert "&lt;img src=x&gt;" in page


def test_every_field_of_the_page_has_its_name_and_every_button_its_words(site):
    """WCAG 4.1.2: what somebody who listens to the page is told."""
    site.add("Ilse", Role.DO)
    for client, path in (
        (site.mara, "/people"),
        (site.client(), "/sign-in"),
        (site.client(), "/sign-in?code"),
    ):
        page = client.get(path).get_data(as_text=True)
        for field in re.findall(r"<(?:input|select)[^>]*>", page):
            if 'type="hidden"' not in field:
                before = page[: page.index(field)]
                assert before.rfind("<label") > before.rfind("</label>"), field
        assert not re.findall(r"<button[^>]*></button>", page)
        names = re.findall(r'<button aria-label="([^"]*)"', page)
        assert len(names) == len(set(names))
