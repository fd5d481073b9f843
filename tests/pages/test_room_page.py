"""The page of a room: its air in words, when to open, airing and drying it, its seasons, and hostile questions."""

import json
import math
import re

import pytest
from support.documents import check as check_document
from support.room_site import DAY_S, RoomSite

from web import create_app
from web.openapi import DOCUMENT


def wave(_place, time_s):
    hour = time_s % DAY_S / 3600.0
    season = math.sin(2.0 * math.pi * (time_s / DAY_S - 110.0) / 365.25)
    return 21.0, 8.0 + 3.0 * season + 1.5 * math.cos(2.0 * math.pi * (hour - 17.0) / 24.0)


def client_of(site):
    app = create_app(site, None, look_only=True, hosts=frozenset(), zone="Europe/Berlin")
    return app.test_client()


def page_of(site, path="/rooms/loft", status=200):
    response = client_of(site).get(path)
    assert response.status_code == status
    return response.get_data(as_text=True)


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_p12_the_page_says_what_the_air_holds_and_what_the_words_mean():
    """P12: grams, dew point, and that heating a box takes no water out."""
    text = text_of(page_of(RoomSite()))
    assert "A cubic metre of this air holds 9.1 g of water. Its dew point is 10 °C" in text
    assert "Relative humidity is its share of what air at 22 °C can hold at most, 18.9 g: 48 %RH." in text
    assert "though no water leaves" in text
    assert "40 %RH is not the same everywhere: at 10 °C it is dry air, which shows 20 %RH" in text


@pytest.mark.parametrize(
    ("humidity", "dew", "said"),
    [
        (-6.0, 0.1, "fell by 6 %RH, but the dew point stayed: it got warmer, no water came or went"),
        (4.0, 0.0, "rose by 4 %RH, but the dew point stayed: it got cooler, no water came or went"),
        (3.0, 1.2, "the dew point rose by 1.2 °C: water came into the air"),
        (-3.0, 1.2, "water came into the air, though the relative humidity fell by 3 %RH, as it got warmer"),
        (-3.0, -1.2, "the dew point fell by 1.2 °C: water left the air"),
        (0.1, 0.1, "Neither humidity nor dew point has changed"),
    ],
)
def test_p12_a_trend_tells_water_from_warmth(humidity, dew, said):
    """P12: the relative humidity may fall while water comes in."""
    site = RoomSite()
    site.changes("loft", humidity, dew)
    assert said in text_of(page_of(site))


def test_the_hours_are_drawn_and_said():
    """The band of eight days in ten, the two hours, and what an opening then lets in."""
    page = page_of(RoomSite(wave))
    assert "If it can wait, open boxes from" in page
    figure = re.search(r"<figure.*?</figure>", page, re.S)[0]
    assert figure.count('class="hour"') == 2
    for points in re.findall(r' points="([^"]*)"', figure):
        places = [tuple(map(float, pair.split(","))) for pair in points.split()]
        assert all(0.0 <= x <= 1000.0 and 0.0 <= y <= 1000.0 for x, y in places)
    assert re.search(r"an opening lets in 0\.\d+ g", text_of(page))


def test_p25_the_months_are_bars_a_sentence_and_a_table():
    """P25: what the season does to boxes."""
    page = page_of(RoomSite(wave))
    assert re.search(r"In (?:July|August) 20\d\d this air held 2\.\d times the water of", page)
    assert page.count('<rect class="month"') == 24
    for x, y, width, height in re.findall(
        r'<rect class="month" x="([\d.]+)%" y="([\d.]+)%" width="([\d.]+)%" height="([\d.]+)%"', page
    ):
        assert float(x) + float(width) <= 100.0
        assert float(y) + float(height) == pytest.approx(100.0, abs=0.02)
    table = re.search(r">dew point °C</th><th scope=\"col\">%RH</th>.*?<tbody>(.*?)</tbody>", page, re.S)[1]
    assert table.count("<tr>") == 24


def test_where_little_is_stored_the_page_says_so():
    """Nothing is drawn of what nobody measured."""
    site = RoomSite()
    site.course = lambda _place, time_s: (21.0, 9.0) if time_s > site.now - 2 * DAY_S else None
    page = page_of(site)
    assert "Less than 3 months with 10 measured days each are stored of this room" in page
    assert "Fewer than 4 whole days of the last 14 are measured" in page
    assert "<rect" not in page


def test_a_room_without_a_sensor_says_what_is_assumed():
    """One sentence, and the forms still answer."""
    site = RoomSite()
    site.unplace("loft")
    text = text_of(page_of(site, "/rooms/loft?outside-temperature=30&outside-rh=80&target-rh=40"))
    assert "The humidity of Print loft is not known (no channel is placed here in the inventory)" in text
    assert "50 %RH at 23 °C is assumed" in text
    assert "A cubic metre" not in text
    assert "Keep the window shut" in text
    assert "With 40 %RH held all day" in text


def test_the_two_forms_keep_each_others_answer():
    """Asking one does not take the other away."""
    page = page_of(
        RoomSite(),
        "/rooms/loft?outside-temperature=-3,5&outside-rh=90&target-rh=30&target-hours=12&window=week",
    )
    assert "Airing helps" in page
    assert "With 30 %RH held for 12 h a day" in page
    assert page.count('type="hidden" name="window" value="week"') == 2
    assert 'type="hidden" name="outside-temperature" value="-3,5"' in page
    assert 'type="hidden" name="target-rh" value="30"' in page
    assert 'name="outside-temperature" value="-3,5"' in page


def test_p26_the_boxes_of_a_drier_room_stand_in_a_table():
    """P26: each box's leak then, over now."""
    page = page_of(RoomSite(), "/rooms/loft?target-rh=30")
    rows = dict(re.findall(r'<a class="inline" href="[^"]*">([^<]+)</a></th><td>([^<]+)</td>', page))
    assert set(rows) == {"Anvil", "Bobbin", "Chisel", "Dowel", "Easel"}
    assert rows["Easel"].endswith(" %")
    assert rows["Dowel"] == "it is about as moist as the room: nothing leaks in"


def test_p16_two_meters_that_disagree_are_told_how_to_be_settled():
    """P16 and P18, in words: nothing is computed of a second meter."""
    text = text_of(page_of(RoomSite()))
    assert "Two meters that disagree" in text
    assert "A battery that is nearly empty makes a meter lie" in text


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        (
            "outside-temperature=warm&outside-rh=50",
            "outside-temperature",
            "Temperature outside is &#39;warm&#39;, which is no number",
        ),
        ("outside-temperature=5", "outside-rh", "Humidity outside is missing."),
        ("outside-temperature=1e300&outside-rh=50", "outside-temperature", "allowed are -40 to 50 °C"),
        ("outside-temperature=5&outside-rh=101", "outside-rh", "allowed are 1 to 100 %RH"),
        ("target-rh=nan", "target-rh", "which is no number"),
        ("target-rh=inf", "target-rh", "which is no number"),
        ("target-rh=40&target-hours=-1", "target-hours", "Hours a day is -1"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_the_page_stays(query, field, said):
    """The room is still shown; nobody types it all again."""
    page = page_of(RoomSite(), f"/rooms/loft?{query}", 400)
    assert said in page
    assert f'id="fault-{field}"' in page
    assert page.count('aria-invalid="true"') == 1
    assert "Boxes here" in page
    first = query.split("&")[0].split("=")
    assert f'name="{first[0]}" value="{first[1]}"' in page


@pytest.mark.parametrize(
    "hostile", ['"><script>x</script>', "{{7*7}}", "<img src=x>", "x" * 5000, "\x00", "٣٠", "1_0" * 3]
)
def test_hostile_questions_stay_text(hostile):
    """A link from a stranger cannot bring markup along, nor a fault."""
    response = client_of(RoomSite()).get(
        "/rooms/loft", query_string={"target-rh": hostile, "outside-rh": hostile}
    )
    page = response.get_data(as_text=True)
    assert response.status_code == 400
    assert "<script>x" not in page
    assert "<img" not in page
    assert "49" not in re.search(r'name="target-rh" value="([^"]*)"', page)[1]


def test_an_unknown_room_or_window_is_a_page_with_a_way_back():
    """404 and 400, never a fault of ours."""
    site = RoomSite()
    assert "To the first page" in page_of(site, "/rooms/attic", 404)
    assert "To the first page" in page_of(site, "/rooms/loft?window=year", 400)
    assert "no room in the inventory" in page_of(site, "/rooms/anvil", 404)  # a box is no room


def test_the_api_answers_as_described_and_names_what_is_wrong():
    """One answer in two places."""
    client = client_of(RoomSite(wave))
    path = "/api/v1/rooms/loft/advice"
    answer = client.get(f"{path}?outside-temperature=5&outside-rh=90&target-rh=40").get_json()
    check_document(answer, {"$ref": "#/components/schemas/RoomAdvice"}, DOCUMENT)
    assert answer["airing"]["verdict"] == "drier"
    assert answer["day"]["worth_waiting"] is True
    plain = client.get(path).get_json()
    assert plain["airing"] is None
    assert plain["airing_why"] == "no outside air was asked about"
    for query, status, said in (
        ("?target-rh=5", 400, "target-rh is 5; allowed are 20 to 80 %RH"),
        ("?outside-rh=5", 400, "outside-temperature is missing"),
    ):
        response = client.get(path + query)
        assert response.status_code == status
        assert response.mimetype == "application/problem+json"
        assert said in json.loads(response.get_data())["detail"]
    assert client.get("/api/v1/rooms/attic/advice").status_code == 404


def test_the_page_holds_no_inline_style_or_script():
    """The content policy forbids them."""
    page = page_of(RoomSite(wave), "/rooms/loft?outside-temperature=5&outside-rh=90&target-rh=40")
    assert " style=" not in page
    assert "<style" not in page
    for tag in re.findall(r"<script[^>]*>", page):
        assert "src=" in tag or 'type="application/json"' in tag
