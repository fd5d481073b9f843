"""The page of bags: the form, the answer in words, the card, the sources, and hostile questions."""

import html
import json
import re

import pytest
from support.documents import check as check_document
from support.room_site import RoomSite

from monitor.library import load_library
from monitor.library.enclosures import load_enclosures
from web import create_app
from web.bags.words import lasting
from web.openapi import DOCUMENT
from web.rooms.words import grams

BAG = "/bags?film=ldpe_100&width-cm=30&length-cm=40&dry-g=100&rh=50&temperature=23"


@pytest.fixture(scope="module")
def client():
    app = create_app(RoomSite(), None, look_only=True, hosts=frozenset(), zone="Europe/Berlin")
    return app.test_client()


def page_of(client, path, status=200):
    response = client.get(path)
    assert response.status_code == status
    return response.get_data(as_text=True)


def text_of(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_a_first_visit_shows_the_form_and_no_answer(client):
    """Nothing is computed that nobody asked for."""
    page = page_of(client, "/bags")
    assert "How long does a bag keep?" in page
    for key in (*load_enclosures().films, *load_library().desiccants, *load_library().materials):
        assert f'<option value="{key}"' in page
    assert 'value="month:loft"' in page
    assert "at the worst," not in page


def test_the_header_leads_there(client):
    """One place, as for every page."""
    assert 'href="/bags">Bags</a>' in page_of(client, "/")


def test_p33_the_answer_says_how_long_and_by_when(client):
    """P33: worst and usual, a date to check and one to renew."""
    page = page_of(client, BAG)
    headline = re.search(r"<h1>(.*?)</h1>", page, re.S)[1]
    assert re.fullmatch(
        r"This bag keeps PETG printable for \d+ days? at the worst, \d weeks as usual\.", headline
    )
    assert re.search(
        r"Read its card by \d+ \w+ 20\d\d, and change the desiccant and seal it anew by \d+ \w+ 20\d\d\.",
        page,
    )
    text = text_of(page)
    assert "The film lets in 0.26 g a day at the worst, 0.16 g as usual" in text
    assert "For 12 months at the worst" in text
    assert "A bag drawn flat has little air in it, but the film lets vapour through all the same." in text


def test_the_form_beside_the_answer_holds_what_was_asked(client):
    """The next question changes one thing only."""
    page = page_of(
        client,
        BAG + "&material=pla&closure=zip&air=month:cellar&openings=2,5&contents=room&sealed-days=3&turned=10",
    )
    for chosen in ("ldpe_100", "pla", "zip", "month:cellar", "room"):
        assert f'<option value="{chosen}" selected>' in page
    assert 'name="openings" value="2,5"' in page
    assert re.search(r"<details open><summary>It is shut already", page)
    assert "opened 2.5 times a week" in page


def test_p33_a_card_is_judged_at_the_top(client):
    """P33: has it leaked beyond its film?"""
    page = page_of(client, BAG.replace("ldpe_100", "foil") + "&sealed-days=30&turned=30&unturned=40")
    assert "Has it leaked?" in page
    assert "The bag has probably leaked: the card shows 25 to 45 %RH" in page
    assert 'class="headline advice" data-level="over"' in page
    assert "Open it, weigh or dry the filament" in page


def test_what_needs_no_desiccant_is_told_so(client):
    """No grams for nothing."""
    text = text_of(page_of(client, BAG + "&material=pp"))
    assert (
        f"{load_library().material('pp').short_name} stays printable in this air: it needs no desiccant."
        in text
    )
    assert "For 6 months" not in text


def test_a_hopeless_charge_is_not_given_a_date(client):
    """Wet nylon beside 10 g of gel."""
    text = text_of(page_of(client, BAG.replace("dry-g=100", "dry-g=10") + "&material=pa6&contents=room"))
    assert "This desiccant cannot keep PA6 below the 4.2 %RH it asks for, not even at first." in text
    assert "Dry the filament" in text
    assert "dry it first rather than feed the desiccant" in text


def test_every_source_can_be_read(client):
    """Films and boxes with figure, sureness and source."""
    text = text_of(page_of(client, "/bags"))
    for item in (*load_enclosures().films.values(), *load_enclosures().boxes.values()):
        assert item.name in text
        assert item.source.text[:40] in text


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("width-cm=0", "width-cm", "Width is 0; allowed are 5 to 150 cm."),
        ("length-cm=", "length-cm", "Length is missing"),
        ("dry-g=much", "dry-g", "Amount of desiccant is &#39;much&#39;, which is no number"),
        ("dry-g=nan", "dry-g", "which is no number"),
        ("rh=", "rh", "Humidity is missing"),
        ("film=paper", "film", "Bag is &#39;paper&#39;; allowed are"),
        ("desiccant=rice", "desiccant", "Desiccant &#39;rice&#39; is not in the catalogue"),
        ("material=wood", "material", "Material &#39;wood&#39; is not in the catalogue"),
        ("closure=tape", "closure", "Closed is &#39;tape&#39;; allowed are welded, zip."),
        ("state=loaded", "loading-pct", "Water already in it is missing"),
        ("contents=soup", "contents", "allowed are dried, room"),
        ("air=moon:loft", "air", "Air is &#39;moon&#39;; allowed are steady, now, month."),
        ("air=now:attic", "air", "Air names room &#39;attic&#39;; allowed are: cellar, loft."),
        ("turned=20&unturned=10", "turned", "the card is spoilt or was read wrongly"),
        ("first-turned=300", "first-turned", "names a spot of 300"),
        ("sealed-days=-1", "sealed-days", "Shut for is -1"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_what_was_entered_is_kept(client, query, field, said):
    """One sentence with the field and its range."""
    asked = {"width-cm": "30", "length-cm": "40", "dry-g": "77.5", "rh": "50"}
    asked |= dict(pair.split("=") for pair in query.split("&"))
    page = page_of(client, "/bags?" + "&".join(f"{name}={value}" for name, value in asked.items()), 400)
    assert said in page
    assert f'id="fault-{field}"' in page
    assert page.count('aria-invalid="true"') == 1
    assert f'name="dry-g" value="{asked["dry-g"]}"' in page
    assert "at the worst," not in page


@pytest.mark.parametrize(
    "name",
    ["film", "width-cm", "desiccant", "material", "air", "turned", "closure", "loading-pct", "openings"],
)
@pytest.mark.parametrize(
    "hostile", ['"><script>x</script>', "{{7*7}}", "a:b:c", "9" * 400, "\x00\ud7ff", "１２", "-inf"]
)
def test_hostile_questions_stay_text_and_never_break(client, name, hostile):
    """A link from a stranger cannot bring markup along, nor a fault."""
    asked = {
        "width-cm": "30",
        "length-cm": "40",
        "dry-g": "50",
        "rh": "50",
        "state": "loaded",
        "loading-pct": "2",
    }
    response = client.get("/bags", query_string=asked | {name: hostile})
    page = response.get_data(as_text=True)
    assert response.status_code in (200, 400)
    assert "<script>x" not in page
    assert len(page) < 40_000
    assert client.get("/api/v1/bag", query_string=asked | {name: hostile}).status_code == response.status_code


def test_the_api_answers_as_described_and_names_what_is_wrong(client):
    """One answer in two places; a program reads what is wrong, too."""
    path = BAG.replace("/bags", "/api/v1/bag")
    answer = client.get(path + "&sealed-days=10&turned=5&unturned=10").get_json()
    check_document(answer, {"$ref": "#/components/schemas/Bag"}, DOCUMENT)
    assert answer["days_worst"] < answer["days_usual"]
    assert answer["card"]["leaked"] == "cannot_tell"
    bare = client.get(path + "&material=pp").get_json()
    check_document(bare, {"$ref": "#/components/schemas/Bag"}, DOCUMENT)
    assert bare["days_worst"] is None
    assert bare["days_worst_why"]
    for query, said in (
        ("", "width-cm is missing"),
        ("?width-cm=30&length-cm=40&dry-g=0&rh=50", "dry-g is 0; allowed are 1 to 5000 g"),
    ):
        response = client.get(f"/api/v1/bag{query}")
        assert response.status_code == 400
        assert response.mimetype == "application/problem+json"
        assert said in json.loads(response.get_data())["detail"]


def test_every_parameter_of_the_api_is_a_field_of_the_form(client):
    """What a program may ask a person may ask."""
    page = page_of(client, "/bags")
    names = {each["name"] for each in DOCUMENT["paths"]["/api/v1/bag"]["get"]["parameters"]}
    assert names == set(re.findall(r'<(?:input|select)[^>]* name="([^"]+)"', page))


@pytest.mark.parametrize(
    ("days", "words"),
    [(0.4, "less than a day"), (1.2, "1 day"), (12.4, "12 days"), (30.0, "4 weeks"), (200.0, "7 months"), (730.0, "two years or more")],
)  # fmt: skip
def test_a_time_known_within_a_factor_has_no_false_days(days, words):
    """163 days would be believed to the day."""
    assert lasting(days) == words


@pytest.mark.parametrize(("value", "words"), [(0.0, "0 g"), (0.003, "under 0.01 g"), (0.0763, "0.076 g"), (12.34, "12 g"), (456.0, "460 g")])  # fmt: skip
def test_grams_have_the_two_digits_that_are_known(value, words):
    """Never '0 g' for something."""
    assert grams(value) == words
