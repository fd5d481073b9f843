"""What people tell of a spool: each form gives its event or a sentence at its field; labels."""

import datetime as dt
import re
import zoneinfo
from html import unescape

import pytest
import segno
from support.pages import NOW_S
from support.spool_site import BOX, DAY_S, OTHER_BOX, spool, spool_site
from support.spools import KEYS, FakeSpools

from monitor.model.records import Withdrawn
from monitor.model.spool_event import Bagged, Dried, Moved, Opened, Signs, Spoiled, SpoolEvent, Used, Weighed
from web import create_app
from web.spools import form, label

HERE = {"Origin": "http://localhost"}
ZONE = zoneinfo.ZoneInfo("Europe/Berlin")


@pytest.fixture
def site():
    return FakeSpools()


def client_of(site, changes=None, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": site.zone()} | more
    return create_app(site, changes or site, **options).test_client()


def tell(client, fields, key="soaked", headers=HERE):
    return client.post(f"/spools/{key}/events", data={"who": "Mira"} | fields, headers=headers)


def local(*parts):
    return dt.datetime(*parts, tzinfo=ZONE).timestamp()


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        ({"kind": "moved", "place": "anvil"}, Moved(place="anvil")),
        ({"kind": "moved", "place": ""}, Moved(place=None)),
        ({"kind": "used", "amount": "12,5", "unit": "g"}, Used(grams=12.5)),
        (
            {"kind": "weighed", "mass_g": "1043.2", "resolution_g": "0.1", "repeats": "3", "is_warm": "yes"},
            Weighed(mass_g=1043.2, resolution_g=0.1, repeats=3, is_warm=True),
        ),
        ({"kind": "weighed", "mass_g": "1043", "resolution_g": "1", "repeats": "1"}, Weighed(mass_g=1043.0, resolution_g=1.0)),
        (
            {"kind": "dried", "temperature_c": "60", "hours": "6", "room_humidity_pct": "45"},
            Dried(temperature_c=60.0, hours=6.0, room_humidity_pct=45.0),
        ),
        ({"kind": "dried", "temperature_c": "60", "hours": "6", "room_humidity_pct": ""}, Dried(temperature_c=60.0, hours=6.0)),
        ({"kind": "signs", "seen": ["strings", "snaps"]}, Signs(seen=("strings", "snaps"))),
        ({"kind": "bagged"}, Bagged()),
        ({"kind": "opened"}, Opened()),
        ({"kind": "spoiled", "why": "one lump"}, Spoiled(why="one lump")),
    ],
)  # fmt: skip
def test_each_form_gives_its_event_and_leads_back_to_the_verdict(site, fields, what):
    """Plain forms, POST then 303 (house rule): a reload tells nothing twice."""
    response = tell(client_of(site), fields)
    assert response.status_code == 303
    assert response.headers["Location"] == "/spools/soaked?done=1"
    assert site.told == [
        SpoolEvent(spool="soaked", at_s=NOW_S, entered_s=NOW_S, who="Mira", what=what, event_id=1)
    ]
    page = client_of(site).get(response.headers["Location"]).get_data(as_text=True)
    assert "Written down:" in page
    assert "▲</b> Dry it before printing." in page


def test_metres_are_counted_in_grams(site):
    """A slicer says metres: 10 m of PETG (1270 kg/m3) of 1.75 mm weigh 30.5 g."""
    tell(client_of(site), {"kind": "used", "amount": "10", "unit": "m"})
    assert site.told[0].what.grams == pytest.approx(30.5, abs=0.3)
    assert form.grams_of(10.0, 1.75, 1000.0) == pytest.approx(24.05, abs=0.01)


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"kind": "moved"}, "place", "is missing"),
        ({"kind": "used", "amount": "much", "unit": "g"}, "amount", "Amount is 'much', which is no number"),
        ({"kind": "used", "amount": "", "unit": "g"}, "amount", "is missing"),
        ({"kind": "used", "amount": "-3", "unit": "m"}, "amount", "allowed are metres above 0"),
        ({"kind": "used", "amount": "3", "unit": "lb"}, "unit", "allowed are g and m"),
        ({"kind": "weighed", "mass_g": "nan", "resolution_g": "1", "repeats": "1"}, "mass_g", "no number"),
        ({"kind": "weighed", "mass_g": "900", "resolution_g": "", "repeats": "1"}, "resolution_g", "0.001 to 100 g"),
        ({"kind": "weighed", "mass_g": "900", "resolution_g": "1", "repeats": "x"}, "repeats", "1 to 20"),
        ({"kind": "dried", "temperature_c": "", "hours": "6"}, "temperature_c", "is missing"),
        ({"kind": "dried", "temperature_c": "60", "hours": "1e999"}, "hours", "no number"),
        ({"kind": "signs"}, "seen", "tick at least one line"),
        ({"kind": "signs", "seen": "ghosts"}, "seen", "may name only: popping"),
        ({"kind": "spoiled", "why": " "}, "why", "text of 1 to 200 characters"),
        ({"kind": "bagged", "who": ""}, "who", "text of 1 to 200 characters"),
        ({"kind": "bagged", "who": "x" * 201}, "who", "text of 1 to 200 characters"),
        ({"kind": "bagged", "when": "yesterday"}, "when", "write a date and a time"),
        ({"kind": "bagged", "when": "2026-11-25T12:00+02:00"}, "when", "write a date and a time"),
        ({"kind": "bagged", "replaces": "x"}, "replaces", "no number of a record"),
        ({"kind": "bagged", "mass_g": "900"}, "kind", "does not go with the field 'mass_g'"),
        ({"kind": "eaten"}, "kind", "allowed are moved"),
        ({}, "kind", "allowed are moved"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_named_in_one_sentence_and_nothing_is_written(site, fields, field, said):
    """One sentence at the field, what was typed is kept, nothing else changes."""
    response = tell(client_of(site), fields)
    page = unescape(response.get_data(as_text=True))
    assert response.status_code == 400
    assert site.told == []
    assert "Nothing was written down." in page
    fault = re.search(rf'id="fault-{field}"[^>]*>([^<]*)<', page)
    assert fault, field
    assert said in fault[1]
    if field in (
        "amount",
        "mass_g",
        "resolution_g",
        "repeats",
        "temperature_c",
        "hours",
        "why",
        "who",
        "when",
    ):
        assert f'aria-describedby="fault-{field}"' in page
    for name, typed in fields.items():
        if (
            name in ("amount", "mass_g", "repeats", "temperature_c", "hours", "when")
            and fields["kind"] != "bagged"
        ):
            assert f'name="{name}"' in page
            assert f'value="{typed}"' in page


def test_what_the_service_refuses_stands_at_the_pages_own_field(site):
    """The service's words for a field become the page's."""
    site.refusal = "grams is 5000; allowed are 0.01 to 620 g, which is what is left on it"
    page = unescape(
        tell(client_of(site), {"kind": "used", "amount": "5000", "unit": "g"}).get_data(as_text=True)
    )
    assert (
        'id="fault-amount" role="alert">Amount is 5000; allowed are 0.01 to 620 g, which is what is left on it.<'
        in page
    )
    assert 'value="5000"' in page


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "https://stranger.example"}, 403),
        ({"Origin": "null"}, 403),
        ({}, 403),
        ({"Origin": "http://localhost"}, 303),
    ],
)
def test_only_our_own_pages_may_tell_anything(site, headers, status):
    """A stranger's page can send a form to a workshop's address; it must change nothing."""
    response = tell(client_of(site), {"kind": "bagged"}, headers=headers)
    assert response.status_code == status
    assert len(site.told) == (status == 303)


def test_our_pages_let_the_browser_say_where_a_form_comes_from(site):
    """Fetch standard: under the policy no-referrer a browser says Origin null even of our own forms."""
    assert client_of(site).get("/spools").headers["Referrer-Policy"] == "same-origin"


def test_a_look_only_address_takes_nothing(site):
    """Whatever is sent: nothing can be done from elsewhere."""
    assert tell(client_of(site, look_only=True), {"kind": "bagged"}).status_code == 403
    app = create_app(site, None, look_only=False, hosts=frozenset(), zone="UTC")
    assert tell(app.test_client(), {"kind": "bagged"}).status_code == 403
    assert site.told == []


def test_an_unknown_spool_takes_nothing(site):
    """The address of a spool that is not there is no way in."""
    assert tell(client_of(site), {"kind": "bagged"}, key="none").status_code == 404
    assert site.told == []


def test_who_is_remembered_and_a_move_is_then_one_tap(site):
    """P39: move = one tap. The name is asked once and kept where no stranger's page can send it."""
    client = client_of(site)
    page = client.get("/spools/soaked").get_data(as_text=True)
    places = re.findall(r'<button name="place" value="([\w-]*)"( disabled)?', page)
    assert {key for key, _ in places} >= {"anvil", "chisel", "loft", "cellar", "kiln", "tray", ""}
    assert [key for key, is_here in places if is_here] == ["chisel"]
    cookie = tell(client, {"kind": "moved", "place": "anvil"}).headers["Set-Cookie"]
    assert "who=Mira" in cookie
    assert "SameSite=Strict" in cookie
    page = client.get("/spools/soaked").get_data(as_text=True)
    assert 'name="who" maxlength="200" required autocomplete="name" value="Mira"' in page
    assert "By Mira, just now" in page


def test_a_place_to_move_to_says_whether_its_air_will_do(site):
    """Of ten boxes a thumb should hit one that keeps the spool under its limit."""
    page = client_of(site).get("/spools/soaked").get_data(as_text=True)
    assert re.search(r'value="bobbin">Bobbin <small>✓ 8.2 %RH</small>', page)
    assert re.search(r'value="dowel">Dowel <small>47 %RH</small>', page)
    assert re.search(r'value="hammer">Hammer</button>', page)  # an old reading promises nothing


def test_times_are_those_of_the_site(site):
    """A phone abroad must not shift a drying; when clocks go back, the first of two hours is meant."""
    client = client_of(site)
    tell(client, {"kind": "bagged", "when": "2026-11-24T18:30"})
    tell(client, {"kind": "opened", "when": "2026-10-25T02:30"})
    assert [event.at_s for event in site.told] == [local(2026, 11, 24, 18, 30), local(2026, 10, 25, 2, 30)]


def test_a_record_is_corrected_in_its_own_form_at_its_own_time(site):
    """Records are never changed: a correction is a new one that names what it replaces."""
    client = client_of(site)
    at_s = local(2026, 10, 25, 2, 30) + 3600.25  # in the second of two hours
    what = Weighed(mass_g=1043.25, resolution_g=0.5, repeats=3, is_warm=True)
    site.add_event(SpoolEvent(spool="soaked", at_s=at_s, entered_s=NOW_S, who="Ole", what=what))
    page = unescape(client.get("/spools/soaked?correct=1").get_data(as_text=True))
    for field in (
        'name="mass_g"',
        'value="1043.25"',
        '<option value="0.5" selected',
        'value="2026-10-25T02:30:00"',
    ):
        assert field in page
    assert re.search(r'name="is_warm" value="yes" checked', page)
    assert re.search(r'name="replaces" value="1"', page)
    fields = {"kind": "weighed", "mass_g": "1034.25", "resolution_g": "0.5", "repeats": "3", "is_warm": "yes"}
    tell(client, fields | {"when": "2026-10-25T02:30:00", "replaces": "1"})
    assert site.told[1].replaces == 1
    assert site.told[1].at_s == at_s
    page = unescape(client.get("/spools/soaked").get_data(as_text=True))
    standing = re.search(r'<ul class="inside records">(.*?)</ul>', page, re.S)[1]
    assert "Weighed 1034.25 g on a scale of 0.5 g, mean of 3, still warm" in standing
    assert "1043.25" not in standing
    assert re.search(r"<s>Weighed 1043.25 g.*?</s>.*?Corrected by Mira", page, re.S)


def test_a_record_is_withdrawn_with_a_reason(site):
    """What never was stays readable, with who said so and why."""
    client = client_of(site)
    tell(client, {"kind": "spoiled", "why": "one lump"})
    page = client.get("/spools/soaked?withdraw=1").get_data(as_text=True)
    assert "Withdraw a record" in page
    tell(client, {"kind": "withdrawn", "replaces": "1", "why": "another spool"})
    assert site.told[1].what == Withdrawn(why="another spool")
    page = unescape(client.get("/spools/soaked").get_data(as_text=True))
    assert "Nothing yet" in page
    assert re.search(
        r"<s>Judged beyond saving: one lump</s>.*?Withdrawn by Mira.*?Another spool\.", page, re.S
    )
    assert client.get("/spools/soaked?correct=1").status_code == 404


def test_the_bag_is_offered_as_it_is(site):
    """A bag is either closed or opened."""
    client = client_of(site)
    assert "Into a bag" in client.get("/spools/soaked").get_data(as_text=True)
    tell(client, {"kind": "bagged"})
    page = client.get("/spools/soaked").get_data(as_text=True)
    assert "Bag opened" in page
    assert "Into a bag" not in page


def test_a_scale_is_asked_for_once(site):
    """D-20: the step decides what a weighing can tell; a workshop has one scale."""
    client = client_of(site)
    tell(client, {"kind": "weighed", "mass_g": "1043", "resolution_g": "0.1", "repeats": "1"})
    page = client.get("/spools/soaked?act=weighed").get_data(as_text=True)
    assert '<option value="0.1" selected' in page


def test_over_the_real_service_a_wrong_weighing_is_corrected(tmp_path):
    """D-20, D-22 and P39 in one walk: moved, weighed twice, the second mended; the history stays with it."""
    with spool_site(tmp_path, spool(place=BOX, reel_g=200.0)) as real:
        real.pass_time(48.0, loft=55.0, crate=48.0, chest=5.0)
        client = client_of(real.queries, real.changes)
        assert tell(client, {"kind": "moved", "place": OTHER_BOX}, "grey").status_code == 303
        first = tell(
            client, {"kind": "weighed", "mass_g": "1204", "resolution_g": "1", "repeats": "1"}, "grey"
        )
        page = client.get(first.headers["Location"]).get_data(as_text=True)
        assert "The first weighing is what later ones are compared with." in page
        refused = tell(
            client, {"kind": "weighed", "mass_g": "120.3", "resolution_g": "1", "repeats": "1"}, "grey"
        )
        assert refused.status_code == 400
        assert "Weight with its reel is 120.3" in refused.get_data(as_text=True)
        real.pass_time(24.0, loft=55.0, crate=48.0, chest=5.0)
        second = {"kind": "weighed", "mass_g": "1230", "resolution_g": "1", "repeats": "1"}
        number = re.search(r"done=(\d+)", tell(client, second, "grey").headers["Location"])[1]
        mended = tell(client, second | {"mass_g": "1203", "replaces": number}, "grey")
        assert mended.status_code == 303
        page = unescape(client.get(mended.headers["Location"]).get_data(as_text=True))
        assert "It holds about" in page
        standing = re.search(r'<ul class="inside records">(.*?)</ul>', page, re.S)[1]
        assert re.findall(r"<b>([^<]*)</b>", standing) == [
            "Weighed 1203 g on a scale of 1 g",
            "Weighed 1204 g on a scale of 1 g",
            "Moved to Chest",
        ]
        assert ">Chest</th>" in page
        assert ">Crate</th>" in page


def test_over_the_real_service_what_cannot_be_is_refused_at_its_field(tmp_path):
    """Refused by the service's own checks, shown at the page's fields; nothing is written."""
    with spool_site(tmp_path, spool(place=BOX)) as real:
        real.pass_time(12.0, crate=48.0)
        client = client_of(real.queries, real.changes)
        for fields, field in (
            ({"kind": "moved", "place": "nowhere-land"}, "place"),
            ({"kind": "used", "amount": "5000", "unit": "g"}, "amount"),
            ({"kind": "weighed", "mass_g": "90000", "resolution_g": "1", "repeats": "1"}, "mass_g"),
            ({"kind": "weighed", "mass_g": "1200", "resolution_g": "1", "repeats": "40"}, "repeats"),
            ({"kind": "dried", "temperature_c": "300", "hours": "5"}, "temperature_c"),
            ({"kind": "dried", "temperature_c": "60", "hours": "500"}, "hours"),
            ({"kind": "bagged", "when": "2035-01-01T00:00"}, "when"),
            ({"kind": "withdrawn", "why": "no", "replaces": "77"}, "replaces"),
        ):
            response = tell(client, fields, "grey")
            assert response.status_code == 400, fields
            assert f'id="fault-{field}"' in response.get_data(as_text=True), fields
        assert real.queries.spool_history("grey").events == ()


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("size", ["small", "a7"])
def test_each_spool_has_a_label(site, key, size):
    """D-05: material, opened, dried, use-before, reel, last weight and a code, in every state."""
    page = unescape(client_of(site).get(f"/spools/{key}/label?size={size}").get_data(as_text=True))
    assert re.findall("<dt>(.*?)</dt>", page) == [
        "Opened",
        "Dried",
        "Use before",
        "Reel",
        "Weighed",
    ]
    assert f'data-size="{size}"' in page


def test_a_label_says_what_was_told(site):
    """D-05, in the site's own dates: what is written on paper cannot follow the clock."""
    client = client_of(site)
    page = unescape(client.get("/spools/calm/label").get_data(as_text=True))
    assert "<dd>good until 23 Feb 2027 at least</dd>" in page
    assert "<dt>Reel</dt> <dd>182 g</dd>" in page
    assert "<dt>Opened</dt> <dd>by 26 Oct 2026</dd>" in page
    assert "a phone cannot follow it" in page
    for what, days_ago in (
        (Opened(), 5.0),
        (Dried(temperature_c=60.0, hours=6.0), 4.0),
        (Weighed(mass_g=1100.5, resolution_g=0.1), 3.0),
    ):
        site.add_event(
            SpoolEvent(spool="calm", at_s=NOW_S - days_ago * DAY_S, entered_s=NOW_S, who="Mira", what=what)
        )
    page = unescape(client.get("/spools/calm/label", base_url="http://shop.lan:8484").get_data(as_text=True))
    assert "<dt>Opened</dt> <dd>20 Nov 2026</dd>" in page
    assert "<dt>Dried</dt> <dd>21 Nov 2026, 6 h 60 °C</dd>" in page
    assert "<dt>Weighed</dt> <dd>1100.5 g, 22 Nov 2026</dd>" in page
    assert "Code that leads to http://shop.lan:8484/spools/calm" in page
    assert "a phone cannot follow it" not in page


def test_the_code_of_a_label_is_drawn_run_by_run():
    """Each dark module is covered once, none else: what a phone reads is what the library made."""
    url = "http://shop.lan:8484/spools/calm"
    path, side = label.code(url)
    drawn = set()
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path):
        cells = {(int(x) + number, int(y)) for number in range(int(length))}
        assert not cells & drawn
        drawn |= cells
    matrix = [list(row) for row in segno.make(url, error="m", micro=False).matrix_iter(border=2)]
    assert side == len(matrix)
    assert drawn == {(x, y) for y, row in enumerate(matrix) for x, module in enumerate(row) if module}
