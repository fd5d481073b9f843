"""What people tell of a box: acts in two taps, questions answered, records corrected; refused at the field."""

import datetime as dt
import re
import zoneinfo
from html import unescape

import pytest
from support.boxes import ASKED_S, FakeBoxes
from support.pages import NOW_S

from monitor.model.box_event import (
    BoxEvent,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Recharged,
)
from monitor.model.records import Withdrawn
from monitor.model.spool_event import Moved
from monitor.service.air import rfc3339
from web import create_app

HERE = {"Origin": "http://localhost"}
ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
ORANGE = {"kind": "recharged", "desiccant": "silica_gel_orange", "dry_g": "200"}


@pytest.fixture
def site():
    return FakeBoxes()


def client_of(site, changes=None, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": site.zone()} | more
    return create_app(site, changes or site, **options).test_client()


def tell(client, fields, key="anvil", headers=HERE):
    return client.post(f"/boxes/{key}/events", data={"who": "Mira"} | fields, headers=headers)


def page_of(client, path):
    response = client.get(path)
    assert response.status_code == 200, path
    return unescape(response.get_data(as_text=True))


def fields_of(page):
    """What the open form would send as it stands, as a browser would."""
    form = re.search(r'<form method="post"[^>]*class="telling">.*?</form>', page, re.S)[0]
    sent = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name, value = re.search(r'name="(\w+)"', tag)[1], re.search(r'value="([^"]*)"', tag)
        if 'type="checkbox"' not in tag and 'type="radio"' not in tag or " checked" in tag:
            sent[name] = value[1] if value else ""
    for name, options in re.findall(r'<select name="(\w+)".*?>(<option.*?)</select>', form, re.S):
        sent[name] = re.search(r'value="([^"]*)" selected', options)[1]
    return sent


def standing_of(page):
    section = re.search(r'<section id="records".*?</section>', page, re.S)[0].partition("<details>")[0]
    return re.findall(r"<li><b>([^<]*)</b>", section)


def local(*parts):
    return dt.datetime(*parts, tzinfo=ZONE).timestamp()


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        (ORANGE, Recharged(desiccant="silica_gel_orange", dry_g=200.0)),
        (
            {**ORANGE, "dry_g": "150,5", "is_regenerated": "yes", "loading_pct": "1.5"},
            Recharged(desiccant="silica_gel_orange", dry_g=150.5, loading_pct=1.5, is_regenerated=True),
        ),
        ({"kind": "weighed", "mass_g": "241.3", "resolution_g": "0.1"}, ChargeWeighed(mass_g=241.3, resolution_g=0.1)),
        ({"kind": "colour", "colour": "turning"}, ColourSeen(colour=Colour.TURNING)),
        ({"kind": "nothing_done", "noticed": rfc3339(ASKED_S)}, NothingDone()),
    ],
)  # fmt: skip
def test_each_form_gives_its_event(site, fields, what):
    """What is written down is what was told, of that box, by that person."""
    response = tell(client_of(site), fields)
    assert response.status_code == 303
    assert response.headers["Location"] == "/boxes/anvil?done=1"
    assert [(event.box, event.who, event.what) for event in site.noted] == [("anvil", "Mira", what)]


def test_a_change_of_desiccant_is_two_taps(site):
    """The form opens filled in with the last charge and with now: the second tap writes it down."""
    client = client_of(site)
    client.set_cookie("who", "Mira")
    first = re.search(r'<a href="([^"]*act=recharged)#do"', page_of(client, "/boxes/anvil"))[1]
    form = page_of(client, first)
    assert "By Mira, just now" in form
    sent = fields_of(form)
    assert sent == {**ORANGE, "is_regenerated": "yes", "loading_pct": "", "who": "Mira", "when": ""}
    done = page_of(client, client.post("/boxes/anvil/events", data=sent, headers=HERE).headers["Location"])
    assert site.noted[0].at_s == NOW_S
    assert "Written down: Desiccant changed: Indicating silica gel" in done
    assert re.search(r'href="/boxes/anvil\?correct=1#do">Correct it', done)


def test_the_form_begins_with_what_was_put_in_last(site):
    """A workshop refills with what it has: the last record goes before the inventory."""
    client = client_of(site)
    tell(client, {"kind": "recharged", "desiccant": "mol_sieve_3a", "dry_g": "75", "is_regenerated": "yes"})
    sent = fields_of(page_of(client, "/boxes/anvil?act=recharged"))
    assert (sent["desiccant"], sent["dry_g"], sent["is_regenerated"]) == ("mol_sieve_3a", "75", "yes")
    bare = page_of(client, "/boxes/jig?act=recharged")  # nothing is known of its desiccant
    assert '<option value="">Choose one</option>' in bare


def test_a_change_of_desiccant_warns_of_heat_and_of_its_kind(site):
    """Hot pots burn; cobalt and brine harm: said where somebody is about to pour."""
    page = page_of(client_of(site), "/boxes/chisel?act=recharged")
    assert "Hot desiccant and its pot burn." in page
    assert "It holds cobalt chloride, a carcinogen as dust" in page
    assert "Drips corrosive brine" in page


def test_a_spool_is_put_in_with_two_taps(site):
    """P39: choose from those that are not inside, what lies open first; its history stays with it."""
    client = client_of(site)
    client.set_cookie("who", "Mira")
    page = page_of(client, "/boxes/anvil?act=put_in")
    offered = re.findall(r'<button name="spool" value="([\w-]+)"', page)
    assert "bagged" not in offered  # it is inside
    assert set(offered) == {each.key for each in site.answers} - {"bagged"}
    assert offered.index("sooner") < offered.index("calm")  # lies in the loft; in another box
    assert re.search(r'value="soaked">Soaked <small>PETG · Chisel · ▲ dry first</small>', page)
    response = client.post("/boxes/anvil/events", data=fields_of(page) | {"spool": "soaked"}, headers=HERE)
    assert response.headers["Location"] == "/boxes/anvil?done=1&spool=soaked"
    assert [(event.spool, event.at_s, event.what) for event in site.told] == [
        ("soaked", NOW_S, Moved(place="anvil"))
    ]
    done = page_of(client, response.headers["Location"])
    assert "Written down: Soaked: Moved to Anvil, 25 Nov 2026 10:46." in done
    assert 'href="/spools/soaked?correct=1#do">Correct it' in done


def test_a_spool_is_taken_out_with_two_taps(site):
    """Its own link, or the only one inside, leaves the place alone to be chosen."""
    client = client_of(site)
    client.set_cookie("who", "Mira")
    link = re.search(r'href="([^"]*)#do" aria-label="Take out: Soaked"', page_of(client, "/boxes/chisel"))[1]
    page = page_of(client, link)
    sent = fields_of(page)
    assert sent["spool"] == "soaked"
    places = re.findall(r'<button name="place" value="([\w-]*)"', page)
    assert places[0] == "loft"  # the box's own room
    assert {"cellar", "kiln", "anvil", ""} <= set(places)
    assert "chisel" not in places
    client.post("/boxes/chisel/events", data=sent | {"place": "kiln"}, headers=HERE)
    client.post("/boxes/chisel/events", data=sent | {"place": ""}, headers=HERE)
    assert [event.what for event in site.told] == [Moved(place="kiln"), Moved(place=None)]
    assert fields_of(page_of(client, "/boxes/anvil?act=took_out"))["spool"] == "bagged"  # the only one
    assert "spool" not in fields_of(page_of(client, "/boxes/chisel?act=took_out"))


def test_what_there_is_not_is_not_offered(site):
    """Nothing to take out of an empty box, no colour of a molecular sieve, nothing to weigh without a charge."""
    client = client_of(site)
    acts = {
        key: re.findall(rf'href="/boxes/{key}\?act=(\w+)#do"', page_of(client, f"/boxes/{key}"))
        for key in ("anvil", "bobbin", "jig")
    }
    assert acts["bobbin"] == ["recharged", "put_in", "weighed"]
    assert acts["jig"] == ["recharged", "put_in"]
    assert set(acts["anvil"]) >= {"recharged", "put_in", "took_out", "weighed", "colour"}


def test_a_question_is_answered_with_its_own_moment(site):
    """Entered: the form opens with that date. Not so: one tap says that nobody changed anything then."""
    client = client_of(site)
    page = page_of(client, "/boxes/anvil")
    assert "Was it you, about 22 Nov" in page
    enter = re.search(r'href="([^"]*)#do">Enter it', page)[1]
    sent = fields_of(page_of(client, enter))
    assert sent["when"] == "2026-11-22T10:46:39"
    assert (sent["kind"], sent["desiccant"]) == ("recharged", "silica_gel_orange")
    client.post("/boxes/anvil/events", data=sent | {"who": "Mira"}, headers=HERE)
    assert site.noted[0].at_s == pytest.approx(ASKED_S, abs=1.0)
    # Who is not known yet: a form asks. Afterwards it is one tap.
    ask = re.search(r'<a class="button" href="([^"]*act=nothing_done[^"]*)#do"', page)[1]
    assert fields_of(page_of(client, ask))["kind"] == "nothing_done"
    client.set_cookie("who", "Mira")
    button = re.search(
        r'<form method="post"[^>]*>((?:(?!class="telling").)*?)<button class="button">Nobody',
        page_of(client, "/boxes/anvil"),
        re.S,
    )[1]
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', button))
    response = client.post("/boxes/anvil/events", data=sent, headers=HERE)
    assert 'href="/boxes/anvil?withdraw=2#do">Withdraw it' in page_of(client, response.headers["Location"])
    assert site.noted[1].what == NothingDone()
    assert site.noted[1].at_s == dt.datetime.fromisoformat(rfc3339(ASKED_S)).timestamp()


def test_a_change_of_contents_is_asked_about_as_such(site):
    """A spool was moved, or nobody did anything: no form for a desiccant."""
    page = page_of(client_of(site), "/boxes/dowel")
    question = re.search(r'<div class="asked-about".*?</div>\s*</div>', page, re.S)[0]
    assert re.findall(r"act=(\w+)&", question) == ["put_in", "took_out", "nothing_done"]


def test_a_hostile_moment_opens_a_plain_form(site):
    """A link may carry anything; it must not break the page."""
    client = client_of(site)
    for at in ("<script>", "9" * 500, "2026-13-45T99:99", "2026-11-22T10:46", "0001-01-01T00:00:00+00:00"):
        page = page_of(client, f"/boxes/anvil?act=recharged&at={at}")
        assert fields_of(page)["when"] == ""
        assert "noticed" not in fields_of(page)
    assert client.get("/boxes/anvil?act=eaten").status_code == 400
    assert client.get("/boxes/anvil?correct=99").status_code == 404
    assert client.get("/boxes/anvil?done=99&spool=none").status_code == 200


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"kind": "recharged", "dry_g": "200"}, "desiccant", "Kind is missing: choose what was put in."),
        ({**ORANGE, "dry_g": ""}, "dry_g", "How much is missing; allowed are grams, dry."),
        ({**ORANGE, "dry_g": "a handful"}, "dry_g", "'a handful', which is no number"),
        ({**ORANGE, "loading_pct": "nan"}, "loading_pct", "no number"),
        ({**ORANGE, "is_regenerated": "perhaps"}, "is_regenerated", "allowed is yes"),
        ({**ORANGE, "when": "yesterday"}, "when", "write a date and a time"),
        ({**ORANGE, "who": ""}, "who", "text of 1 to 200 characters"),
        ({**ORANGE, "mass_g": "1"}, "kind", "does not go with the field 'mass_g'"),
        ({**ORANGE, "noticed": "soon"}, "noticed", "which is no moment"),
        ({**ORANGE, "replaces": "x"}, "replaces", "no number of a record"),
        ({"kind": "weighed", "mass_g": "", "resolution_g": "1"}, "mass_g", "Weight is missing"),
        ({"kind": "colour", "colour": "mauve"}, "colour", "choose one of dry, turning, turned"),
        ({"kind": "put_in"}, "spool", "Which spool is missing: choose one of them."),
        ({"kind": "put_in", "spool": "bagged"}, "spool", "is not one that lies elsewhere"),
        ({"kind": "put_in", "spool": "<b>"}, "spool", "is not one that lies elsewhere"),
        ({"kind": "took_out", "spool": "calm", "place": "loft"}, "spool", "is not one that lies in this box"),
        ({"kind": "took_out", "spool": "bagged"}, "place", "Where to is missing"),
        ({"kind": "took_out", "spool": "bagged", "place": "anvil"}, "place", "is this box"),
        ({"kind": "nothing_done"}, "noticed", "say it beside the question"),
    ],
)
def test_a_wrong_field_is_named_in_one_sentence_and_nothing_is_written(site, fields, field, said):
    """One sentence at the field, what was typed is kept, nothing else changes."""
    response = tell(client_of(site), fields)
    page = unescape(response.get_data(as_text=True))
    assert response.status_code == 400
    assert site.noted == []
    assert site.told == []
    assert "Nothing was written down." in page
    fault = re.search(rf'id="fault-{field}"[^>]*>([^<]*)<', page)
    assert fault, field
    assert said in fault[1]
    for name in ("dry_g", "loading_pct", "when"):
        if fields.get(name):
            assert re.search(rf'name="{name}"[^>]*value="{re.escape(fields[name])}"', page), name


@pytest.mark.parametrize("fields", [{}, {"kind": "eaten"}, {"kind": "withdrawn", "why": "", "replaces": "1"}])
def test_what_is_no_form_is_refused(site, fields):
    """Whatever is sent, the page answers in a sentence."""
    response = tell(client_of(site), fields)
    assert response.status_code == 400
    assert "Nothing was written down." in response.get_data(as_text=True)
    assert site.noted == []


def test_what_the_service_refuses_stands_at_the_pages_own_field(site):
    """The service's words for a field become the page's; a hostile kind is shown as text."""
    site.refusal = "dry_g is 90000; allowed are 1 to 20000 g"
    page = unescape(tell(client_of(site), ORANGE | {"dry_g": "90000"}).get_data(as_text=True))
    assert 'id="fault-dry_g" role="alert">How much is 90000; allowed are 1 to 20000 g.<' in page
    assert 'value="90000"' in page
    site.refusal = "desiccant '<script>' is unknown"
    page = tell(client_of(site), ORANGE | {"desiccant": "<script>"}).get_data(as_text=True)
    assert "<script>'" not in page
    site.refusal = "at must lie between the box's beginning and now"
    page = unescape(tell(client_of(site), ORANGE).get_data(as_text=True))
    assert 'id="fault-when" role="alert">When must lie between' in page


def test_a_record_is_corrected_in_its_own_form_at_its_own_time(site):
    """Records are never changed: a correction is a new one that names what it replaces."""
    client = client_of(site)
    at_s = local(2026, 10, 25, 2, 30) + 3600.25  # in the second of two hours
    what = Recharged(desiccant="silica_gel_orange", dry_g=200.0, loading_pct=2.5, is_regenerated=True)
    site.add_box_event(BoxEvent(box="anvil", at_s=at_s, entered_s=NOW_S, who="Ole", what=what))
    sent = fields_of(page_of(client, "/boxes/anvil?correct=1"))
    assert sent["when"] == "2026-10-25T02:30:00"
    assert (sent["loading_pct"], sent["is_regenerated"], sent["replaces"]) == ("2.5", "yes", "1")
    client.post("/boxes/anvil/events", data=sent | {"who": "Mira", "dry_g": "210"}, headers=HERE)
    assert (site.noted[1].replaces, site.noted[1].at_s, site.noted[1].what.dry_g) == (1, at_s, 210.0)
    page = page_of(client, "/boxes/anvil")
    assert len(standing_of(page)) == 1
    assert "210 g, from the oven, 2.5 % water in it" in standing_of(page)[0]
    assert re.search(r"<s>Desiccant changed:.*?200 g.*?</s>.*?Corrected by Mira", page, re.S)


def test_a_record_is_withdrawn_with_a_reason(site):
    """What never was stays readable, with who said so and why."""
    client = client_of(site)
    tell(client, {"kind": "colour", "colour": "turned"})
    page = page_of(client, "/boxes/anvil?withdraw=1")
    assert "Withdraw a record" in page
    tell(client, {"kind": "withdrawn", "replaces": "1", "why": "another box"})
    assert site.noted[1].what == Withdrawn(why="another box")
    page = page_of(client, "/boxes/anvil")
    assert standing_of(page) == []
    assert re.search(
        r"<s>Colour of the beads: turned all through</s>.*?Withdrawn by Mira.*?Another box\.", page, re.S
    )
    assert client.get("/boxes/anvil?correct=1").status_code == 404


def test_records_of_one_box_stay_with_it(site):
    """The neighbour's desiccant is no business of this one."""
    client = client_of(site)
    tell(client, ORANGE, key="bobbin")
    assert standing_of(page_of(client, "/boxes/anvil")) == []
    assert len(standing_of(page_of(client, "/boxes/bobbin"))) == 1
    assert tell(client, ORANGE, key="none").status_code == 404


def test_names_are_written_as_text(site):
    """A name typed by a person must not become markup."""
    client = client_of(site)
    tell(client, ORANGE | {"who": "<script>alert(1)</script>"})
    page = client.get("/boxes/anvil").get_data(as_text=True)
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


@pytest.mark.parametrize(
    ("headers", "status"),
    [({"Origin": "https://stranger.example"}, 403), ({"Origin": "null"}, 403), ({}, 403), (HERE, 303)],
)
def test_only_our_own_pages_may_tell_anything(site, headers, status):
    """A stranger's page can send a form to a workshop's address; it must change nothing."""
    assert tell(client_of(site), ORANGE, headers=headers).status_code == status
    assert len(site.noted) == (status == 303)


def test_a_look_only_address_takes_and_offers_nothing(site):
    """Whatever is sent: nothing can be done from elsewhere, and no button pretends that it can."""
    assert tell(client_of(site, look_only=True), ORANGE).status_code == 403
    app = create_app(site, None, look_only=False, hosts=frozenset(), zone="UTC")
    assert tell(app.test_client(), ORANGE).status_code == 403
    page = page_of(client_of(site, look_only=True), "/boxes/anvil")
    assert "act=" not in page
    assert "<form" not in page
    assert "nobody entered it" in page  # the question itself may be read
    assert site.noted == []


def test_a_form_needs_no_script(site):
    """HTML first: every act is a plain link and a plain form; the marked field is where the fault is."""
    page = unescape(tell(client_of(site), {**ORANGE, "dry_g": "x"}).get_data(as_text=True))
    assert re.search(r'name="dry_g"[^>]*aria-invalid="true" aria-describedby="fault-dry_g"', page)
    assert 'href="#do">How much is' in page
