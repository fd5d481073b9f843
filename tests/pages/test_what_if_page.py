"""The page for advising a customer: the form, the answer in words, the curve, and what is refused."""

import json
import re

import pytest
from support.documents import check as check_document
from support.pages import FakeQueries

from monitor.library import load_library
from web import create_app
from web.axes import steps
from web.openapi import DOCUMENT
from web.what_if.words import lasting, two_digits

WEEKEND = (
    "/what-if?material=pa6&reel=unknown&net-g=1000&start=dried&start-pct=&air=weekend:loft&rh=50&hours=24"
)
STEADY = "/what-if?material=petg&air=steady&rh=50&temperature=23&hours=24"


class Site(FakeQueries):
    def library(self):
        return load_library()


@pytest.fixture(scope="module")
def client():
    app = create_app(Site(), None, look_only=True, hosts=frozenset(), zone="Europe/Berlin")
    return app.test_client()


def page_of(client, path, status=200):
    response = client.get(path)
    assert response.status_code == status
    return response.get_data(as_text=True).replace("\u00a0", " ")


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_a_first_visit_shows_the_form_with_its_defaults_and_no_answer(client):
    """Nothing is computed that nobody asked for."""
    page = page_of(client, "/what-if")
    assert '<form id="ask"' in page
    assert 'method="get"' in page
    for material in load_library().materials:
        assert f'<option value="{material}"' in page
    for choice in ("now:loft", "week:loft", "weekend:cellar"):
        assert f'value="{choice}"' in page
    assert re.search(r'name="rh" value="50"', page)
    assert "<polyline" not in page
    assert 'class="fault"' not in page


def test_a_link_that_names_only_the_material_fills_the_form_in(client):
    """As from a care card: what is missing is a question, not a fault."""
    page = page_of(client, "/what-if?material=pva")
    assert '<option value="pva" selected>' in page
    assert "<polyline" not in page


def test_nylon_left_out_over_the_weekend_is_answered_in_one_sentence(client):
    """P24: what it holds, with its range, and since when that is too much."""
    page = page_of(client, WEEKEND)
    headline = re.search(r"<h1>(.*?)</h1>", page, re.S)[1]
    assert re.fullmatch(
        r"After the weekend in Print loft the outer windings of PA6 hold about [\d.]+ % \([\d.]+ to [\d.]+\): "
        r"over its limit of 0\.2 % after about [\d.]+ (?:min|h)\.",
        headline,
    )
    assert "Dry it before printing." in page
    assert "Never above 50 °C: the reel is not known" in page
    assert "data sheet goes before" in page


def test_no_line_ends_between_a_figure_and_its_unit(client):
    """On a phone "0.2" and "%" would else stand on two lines."""
    page = client.get(WEEKEND).get_data(as_text=True)
    headline = re.search(r"<h1>(.*?)</h1>", page, re.S)[1]
    assert "limit of 0.2\u00a0%" in headline
    assert not re.search(r"\d (%|(°C|h|min)\b)", headline)


def test_the_form_beside_the_answer_holds_what_was_asked(client):
    """The next question changes one thing only."""
    page = page_of(client, f"{STEADY}&flanges=open&start=pct&start-pct=0,03&diameter-mm=2.85")
    for chosen in ("petg", "steady", "open", "pct", "2.85"):
        assert f'<option value="{chosen}" selected>' in page
    assert 'name="start-pct" value="0,03"' in page
    assert "0.03 % of water at first" in text_of(page)
    assert re.search(r"<details open><summary>Diameter", page)


def test_the_curve_is_drawn_without_styles_or_scripts_and_said_in_words(client):
    """The content policy forbids inline style; some people listen to a page."""
    page = page_of(client, STEADY)
    assert " style=" not in page
    figure = re.search(r"<figure.*?</figure>", page, re.S)[0]
    assert figure.count("<polyline") == figure.count("<polygon") == 2
    for points in re.findall(r' points="([^"]*)"', figure):
        places = [tuple(map(float, pair.split(","))) for pair in points.split()]
        assert all(-0.01 <= x <= 1000.01 and -0.01 <= y <= 1000.01 for x, y in places)
    assert "limit 0.04 %" in figure
    assert 'class="cross"' in figure
    assert re.search(r'aria-label="The outer windings go from [\d.]+ to [\d.]+ %', figure)
    rows = re.search(r"<tbody>(.*?)</tbody>", page, re.S)[1]
    assert 8 <= rows.count("<tr>") <= 11


def test_the_limit_is_passed_on_the_drawing_where_the_answer_says(client):
    """The ring's place is its hour over all hours."""
    answer = client.get(STEADY.replace("/what-if", "/api/v1/what-if")).get_json()
    x = float(re.search(r'<svg x="([\d.]+)%"[^>]*><circle class="cross"', page_of(client, STEADY))[1])
    assert x == pytest.approx(100 * answer["outer_over_limit_after_h"]["p50"] / 24, abs=0.02)


def test_p35_a_room_too_humid_to_dry_in_is_told_with_what_would_help(client):
    """D-12 and P35: no hours are promised that cannot be kept."""
    text = text_of(page_of(client, "/what-if?material=pla&air=steady&rh=60&temperature=24&hours=12"))
    assert "heated to 45 °C, it does not get dry enough." in text
    assert "however long it takes; its limit is 0.025 %" in text
    assert "Dry desiccant in the chamber" in text
    wetter = text_of(
        page_of(client, "/what-if?material=pva&air=steady&rh=75&temperature=25&hours=0.1&start-pct=0.8")
    )
    assert "it would get wetter, not drier" in wetter


def test_what_stays_good_is_said_to_be_printable(client):
    """Polypropylene: no drying, no metre lost."""
    text = text_of(page_of(client, "/what-if?material=pp&air=now:loft&hours=100"))
    assert "under its limit of 0.05 %" in text
    assert "It can be printed as it is." in text
    assert "None: it is under 0.05 % throughout." in text
    assert "None of its 460 m is over the limit then." in text


def test_loose_filament_has_no_windings_and_no_reel(client):
    """Nothing is said of a reel that is not there."""
    text = text_of(page_of(client, f"{STEADY}&form=strand"))
    answer = text[: text.index("Change the question")]
    assert "loose PETG holds about" in answer
    assert "windings" not in answer
    assert "the reel is not known" not in text


def test_a_gap_in_the_rooms_readings_is_told(client):
    """A-36: what stood in for it is said where the answer is."""
    assert "For 2 h of that time nothing was measured" in page_of(
        client, "/what-if?material=pa6&air=week:loft"
    )


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("rh=150", "rh", "Humidity is 150; for PLA allowed are 0 to 100 %RH."),
        ("rh=wet", "rh", "Humidity is &#39;wet&#39;, which is no number; allowed are 0 to 100 %."),
        ("rh=", "rh", "Humidity is missing; allowed is 0 to 100 %."),
        ("temperature=80", "temperature", "Temperature is 80; for PLA allowed are 0 to 50 °C."),
        ("hours=0", "hours", "How long is 0; for PLA allowed are 0.01 to 20000 h."),
        ("hours=nan", "hours", "How long is &#39;nan&#39;, which is no number"),
        ("net-g=-5", "net-g", "Amount is -5; for PLA allowed are 10 to 50000 g."),
        ("diameter-mm=9", "diameter-mm", "Diameter is 9; for PLA allowed are 1 to 4 mm."),
        ("start=pct&start-pct=40", "start-pct", "Water at the start is 40; for PLA allowed are 0 to 0.9 %."),
        ("start=pct&start-pct=", "start-pct", "Water at the start is missing"),
        ("start=damp", "start", "At the start is &#39;damp&#39;; allowed are dried, sold, week, pct."),
        ("air=moon:loft", "air", "Air is &#39;moon&#39;; allowed are steady, now, week, weekend."),
        ("air=week:attic", "air", "Air names room &#39;attic&#39;; allowed are: cellar, loft."),
        ("material=plaa", "material", "Material &#39;plaa&#39; is not in the catalogue; near it: pla"),
        ("reel=wood", "reel", "Reel &#39;wood&#39; is not in the catalogue"),
        ("form=ball", "form", "Form is &#39;ball&#39;; allowed are spool, strand."),
        ("flanges=none", "flanges", "Flanges is &#39;none&#39;; allowed are closed, open."),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_what_was_entered_is_kept(client, query, field, said):
    """One sentence with the field and its range; nobody types it all again."""
    asked = {"material": "pla", "air": "steady", "rh": "50", "temperature": "23", "hours": "7.5"}
    asked |= dict(pair.split("=") for pair in query.split("&"))
    page = page_of(client, "/what-if?" + "&".join(f"{name}={value}" for name, value in asked.items()), 400)
    assert said in page
    assert f'id="fault-{field}"' in page
    assert f'aria-describedby="fault-{field}"' in page
    assert page.count('aria-invalid="true"') == 1
    assert re.search(rf'name="hours" value="{asked["hours"]}"', page)
    assert "<polyline" not in page


def test_what_was_entered_is_written_as_text(client):
    """A link from a stranger cannot bring markup along."""
    page = page_of(client, '/what-if?material=pla&air=steady&rh="><script>x</script>&hours=1', 400)
    assert "<script>x" not in page


def test_the_api_gives_the_commands_answer_and_problems_with_field_and_range(client):
    """One answer in three places; a program reads what is wrong, too."""
    answer = client.get("/api/v1/what-if?material=pa6&rh=50&hours=24&start-pct=0.1").get_json()
    check_document(answer, {"$ref": "#/components/schemas/WhatIf"}, DOCUMENT)
    assert answer["start_pct"]["p50"] == 0.1
    for query, said in (
        ("", "material is missing"),
        ("?material=pa6&hours=4", "rh is missing; allowed is 0 to 100 %"),
        ("?material=pa6&rh=101&hours=4", "rh is 101; for PA6 allowed are 0 to 100 %RH"),
        ("?material=nylon&rh=50&hours=4", "near it"),
    ):
        response = client.get(f"/api/v1/what-if{query}")
        assert response.status_code == 400
        assert response.mimetype == "application/problem+json"
        assert said in json.loads(response.get_data())["detail"]


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0.02, "1 min"), (0.11, "7 min"), (0.4, "25 min"), (0.98, "1 h"), (1.6, "1.5 h"), (31.4, "31 h"), (60.0, "2 days")],
)  # fmt: skip
def test_a_time_known_within_a_factor_has_no_false_minutes(hours, words):
    """59 min would be believed to the minute."""
    assert lasting(hours) == words


@pytest.mark.parametrize(
    ("value", "text"), [(0.01253, "0.013"), (0.3, "0.3"), (1.24, "1.2"), (12.5, "12"), (368.0, "370"), (-0.012, "−0.012")]
)  # fmt: skip
def test_figures_have_two_digits_and_no_powers_of_ten(value, text):
    """Never a digit more than is known."""
    assert two_digits(value) == text


@pytest.mark.parametrize("end", [0.011, 0.05, 0.3, 1.7, 9.9, 64.0])
def test_the_axis_has_a_few_round_figures(end):
    """Three to five of them, from 0."""
    marks = steps(end)
    assert 3 <= len(marks) <= 5
    assert marks[0] == 0.0
    assert marks[-1] <= end
