"""The page of a box in every state that it must be honest about: words, pictures, findings, dangers."""

import re
from dataclasses import replace
from html import unescape

import pytest
from support.boxes import BLUE, DARK, DAY_S, KEYS, RICH, FakeBoxes
from support.pages import NOW_S, spread

from monitor.estimate.box_diagnosis import Cause
from monitor.estimate.box_forecast import LONGEST_DAYS as FORECAST_DAYS
from monitor.model.answers import BoxCourse, BoxMark, BoxPoint, Diagnosis, unknown
from web import create_app
from web.boxes import course, figures, words
from web.inside import charge_briefly
from web.present import Presenter
from web.timeframe import Frame, across, cut, letters, lines, midnights


@pytest.fixture
def site():
    return FakeBoxes()


def client_of(site, changes=None, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": site.zone()} | more
    return create_app(site, changes or site, **options).test_client()


def page_of(site, path):
    response = client_of(site).get(path)
    assert response.status_code == 200, path
    return unescape(response.get_data(as_text=True))


def section_of(page, name):
    return re.search(rf'<section[^>]*aria-labelledby="{name}-title".*?</section>', page, re.S)[0]


def plain_text(html):
    text = re.sub(r"<(svg|script|style).*?</\1>", "", html, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))


def facts_of(html):
    return dict(re.findall(r"<dt>(.*?)</dt>\s*<dd>(.*?)</dd>", html))


@pytest.mark.parametrize("window", ["day", "week", "month"])
@pytest.mark.parametrize("key", KEYS)
def test_no_page_shows_a_hole_or_a_machines_number(site, key, window):
    """Every state: what is not known is said in words, and no figure is written with an exponent."""
    page = page_of(site, f"/boxes/{key}?window={window}")
    assert not re.search(r"\b(None|nan|inf|Undefined)\b|\d[eE][-+]\d", plain_text(page))
    assert not re.search(r'="[^"]*\b(None|nan|inf)\b', page)


@pytest.mark.parametrize(
    "path",
    [
        *("/boxes/anvil?window=month", "/boxes/anvil?act=recharged", "/boxes/anvil?act=took_out"),
        *("/boxes/anvil?act=put_in", "/boxes/dowel", "/rooms/loft"),
    ],
)
def test_pages_hold_no_inline_script_or_style_and_load_nothing_from_elsewhere(site, path):
    """The strict content policy forbids them, and a workshop may be off line."""
    response = client_of(site).get(path)
    page = response.get_data(as_text=True)
    assert " style=" not in page
    assert "<style" not in page
    assert not re.search(r"\son[a-z]+=", page)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", page))
    assert not re.search(r'(?:src|href)="(?:https?:)?//', page)
    assert "default-src 'none'" in response.headers["Content-Security-Policy"]


def test_desiccant_is_told_in_plain_words_first_then_in_figures(site):
    """P13: how full, how long; each figure with its range and no digit more than the range leaves."""
    told = section_of(page_of(site, "/boxes/anvil"), "desiccant")
    assert "Some of it is used. It lasts for about 20 days (10 to 40)." in told
    assert told.index("Some of it is used") < told.index("<dt>")
    facts = facts_of(told)
    assert facts["Inside"] == "Indicating silica gel, cobalt-free orange to green/colourless: 200 g dry"
    assert facts["Filled"] == "16 Oct 2026, from the oven"
    assert facts["Used up"] == "about 30 % (20 to 40) of what is useful here"
    assert facts["Water in it"] == "about 41 g (36 to 46)"
    assert facts["Loading"] == "about 21 % (18 to 23) of its dry mass"
    assert facts["Settles at"] == "about 11 %RH (9 to 14) at 25 °C, once it is even"
    assert facts["As last year"] == "about 60 days (30 to 90)"
    assert facts["For 30 days"] == "about 90 g (60 to 130) fresh"
    assert facts["For 90 days"] == "about 250 g (200 to 400) fresh"
    assert "Told from the humidity" in told


def test_a_lid_opening_has_its_price(site):
    """P34: water let in by each, and its share of the desiccant's life."""
    told = section_of(page_of(site, "/boxes/anvil"), "lid")
    assert facts_of(told) == {"One opening": "about 0.1 g of water, about 7 hours of the desiccant's life"}
    assert "Opened 4 times in the last 7 days: about 0.5 g of water in all, about 1 day of" in told
    told = section_of(page_of(site, "/boxes/chisel"), "lid")
    assert "Open since 25 Nov 08:46, 2 h ago: shut it." in told


def test_tightness_is_a_word_and_its_figures(site):
    """Changes of air an hour and a day, and grams a day."""
    told = section_of(page_of(site, "/boxes/anvil"), "tight")
    assert ">Tight.<" in told
    assert facts_of(told) == {
        "Air changed": "about 0.5 times (0.2 to 1.2) a day, about 0.02 (0.01 to 0.05) an hour",
        "Water let in": "about 0.5 g (0.2 to 1.1) a day",
    }
    assert "How tight it is cannot be told: its room has no sensor." in page_of(site, "/boxes/dowel")


def test_what_cannot_be_told_is_said_with_its_reason(site):
    """Never nothing, never a made-up figure."""
    told = section_of(page_of(site, "/boxes/dowel"), "desiccant")
    assert "How full it is cannot be told: its room has no sensor." in told
    assert set(facts_of(told)) == {"Inside"}
    page = page_of(site, "/boxes/anvil")
    assert "The volume of the box is assumed: measure it." in section_of(page, "missing")
    assert "No desiccant is entered in the inventory." in section_of(page_of(site, "/boxes/jig"), "desiccant")
    assert "missing-title" not in page_of(site, "/boxes/jig")


def test_a_molecular_sieve_is_explained(site):
    """It shows nothing until it is nearly full: who does not know that trusts a dry reading."""
    told = section_of(page_of(site, "/boxes/bobbin"), "desiccant")
    assert (
        "keeps the air equally dry until it is nearly full, so the humidity shows nothing until then" in told
    )
    assert "Whether it is spent cannot be told" in told
    assert "<b>Mind:</b> Water on dry molecular sieve boils." in told


def test_nobody_is_sent_to_an_oven_with_cobalt(site):
    """Safety before every feature: a spent blue gel is replaced, never baked, whatever the answer's act says."""
    advice = "Replace the desiccant or dry it in the oven."
    full = Diagnosis(cause="desiccant_saturated", probability=0.97, advice=advice)
    site.states["chisel"] = site.states["chisel"] | {"diagnosis": (full,)}
    page = page_of(site, "/boxes/chisel")
    assert "Spent for what is inside since 19 Nov" not in page  # a clause, after a comma
    assert "Spent for what is inside, since 19 Nov: replace it, and do not bake it." in page
    assert advice not in page
    assert "almost certainly, over 95 %" in plain_text(page)
    assert "Replace it. It holds cobalt chloride, a carcinogen as dust: it does not go into an oven" in page
    assert "<b>Mind:</b> It holds cobalt chloride" in section_of(page, "desiccant")
    site.states["chisel"] = {"desiccant": replace(BLUE, kind="silica_gel_orange"), "diagnosis": (full,)}
    assert advice in page_of(site, "/boxes/chisel")


def test_colour_is_weak_evidence(site):
    """P14: it turns gradually, and above the humidity that filament asks for."""
    told = section_of(page_of(site, "/boxes/anvil"), "desiccant")
    assert facts_of(told)["Colour seen"] == "On 20 Nov the beads were turning."
    assert "Colour alone decides nothing" in told
    assert "Colour alone" not in page_of(site, "/boxes/bobbin")


def test_causes_are_plain_words_with_their_likelihood_evidence_and_act(site):
    """What is wrong, how sure, what shows it, what to do; the likeliest first as the answer has it."""
    found = section_of(page_of(site, "/boxes/anvil"), "wrong")
    text = plain_text(found)
    assert (
        "The box lets in more of the room's air than a shut box should. very likely, about 85 % "
        "Its air changes 4 times a day. Check the seal." in text
    )
    assert text.index("lets in more") < text.index("The desiccant is full")
    assert "wrong-title" not in page_of(site, "/boxes/bobbin")


def test_every_cause_of_the_estimate_has_words():
    """A key of the program on a page would be a hole."""
    assert set(words.CAUSES) == set(Cause)
    assert figures.LONGEST_DAYS == FORECAST_DAYS


def test_pictures_say_the_same_in_words_and_as_a_table(site):
    """WCAG 1.1.1: each picture has a sentence, a name and a table that a keyboard reaches."""
    page = page_of(site, "/boxes/anvil?window=week")
    for name in ("past", "loading"):
        section = section_of(page, name)
        label = re.search(r'role="img" aria-label="([^"]+)"', section)[1]
        assert len(label.split()) > 10
        assert label.strip() in plain_text(section)
        assert "<details><summary>The same as a table</summary>" in section
        assert re.search(r"<caption>Forecast</caption>.*?<tbody>\s*<tr>", section, re.S)
        assert re.search(r"<caption>What happened</caption>.*?lid opened, 0.1 g let in", section, re.S | re.I)
        assert section.count('class="line ahead"') == 1
        assert section.count('class="band ahead"') == 1
        assert section.count('class="now-line"') >= 1
        assert section.count("limit-line") == 1


def test_the_picture_of_the_loading_reaches_to_the_day_it_is_spent(site):
    """Forecast as long as the window or to that day, at most 120 days; the line of the limit is named."""
    page = page_of(site, "/boxes/anvil")
    section = section_of(page, "loading")
    assert "spent for what is inside</text>" in section
    assert "Spent for what is inside it is at 27 %, which comes between 7 Dec and 4 Jan 2027." in section
    box = next(box for box in site.status().boxes if box.key == "anvil")
    wanted = course.window(box, DAY_S)
    assert wanted.ahead_s == pytest.approx(1.1 * 21 * DAY_S)
    assert wanted.back_s == pytest.approx(0.2 * wanted.ahead_s)  # a day of past would not be seen
    endless = replace(box, desiccant=replace(RICH, days_left=spread(700.0, 730.0, 730.0)))
    assert course.window(endless, DAY_S).ahead_s == 120 * DAY_S
    unknown_end = replace(box, desiccant=DARK)
    assert course.window(unknown_end, 7 * DAY_S) == course.Window(back_s=7 * DAY_S, ahead_s=7 * DAY_S)


def test_the_humidity_is_told_ahead_only_as_far_as_back(site):
    """A forecast of months would press a measured day to nothing."""
    day, week = (section_of(page_of(site, f"/boxes/anvil?window={w}"), "past") for w in ("day", "week"))
    assert "If nothing changes, it comes to 11 to 13 %RH by 26 Nov, under its limit." in day
    assert "by 2 Dec" in week
    assert "If nothing changes" not in page_of(site, "/boxes/bobbin")


def test_marks_stand_over_the_pictures_with_their_meaning(site):
    """A step in the line is explained where it is seen; told and noticed are kept apart in words."""
    section = section_of(page_of(site, "/boxes/anvil?window=month"), "loading")
    assert re.findall(r'class="told-words"[^>]*text-anchor[^>]*>([^<]+)<', section) == ["C", "?", "O"]
    assert "<b>C</b> desiccant changed" in section
    assert re.search(r"Desiccant changed</td><td>entered<", section)
    assert re.search(r"The desiccant was changed</td><td>seen in the readings<", section)
    # Another charge is another line: nothing is drawn from the old one down to the new one.
    assert section.count('<polyline class="line" data-line="here"') == 2


def test_a_gap_in_the_kept_states_is_a_gap_in_the_picture(site):
    """Two states of six hours missing: nothing is drawn between."""
    box = next(box for box in site.status().boxes if box.key == "anvil")
    hours = [n for n in range(2, 96, 6) if not 30 < n < 54]
    points = tuple(
        BoxPoint(at_s=NOW_S - 3600.0 * n, loading_pct=spread(18.0, 20.0, 22.0)) for n in reversed(hours)
    )
    lone = BoxCourse(past=points, ahead=(), marks=(), limit_loading_pct=None)
    drawn = course.figure(box, lone, course.Window(back_s=4 * DAY_S, ahead_s=0.0), Presenter("UTC"), NOW_S)
    assert len(drawn.past) == 2
    assert drawn.limit_y is None
    assert drawn.ahead == ""


def test_unknown_states_are_not_drawn(site):
    """What cannot be told has no place in a picture."""
    box = next(box for box in site.status().boxes if box.key == "dowel")
    points = tuple(BoxPoint(at_s=NOW_S - 3600.0 * n, loading_pct=unknown("no sensor")) for n in (12, 6))
    dark = BoxCourse(past=points, ahead=points, marks=(), limit_loading_pct=20.0)
    wanted = course.window(box, DAY_S)
    assert course.figure(box, dark, wanted, Presenter("UTC"), NOW_S) is None
    assert "loading-title" not in page_of(site, "/boxes/dowel")


def test_more_marks_than_can_be_read_are_counted(site):
    """A box that is opened forty times a week must not make a list without end."""
    marks = tuple(
        BoxMark(at_s=NOW_S - 3600.0 * n, kind="lid_opened", words=f"lid opened {n}", is_told=False)
        for n in range(1, 61)
    )
    site.box_course = lambda *_: BoxCourse(past=(), ahead=(), marks=marks, limit_loading_pct=None)
    section = section_of(page_of(site, "/boxes/bobbin?window=week"), "past")
    assert section.count("Lid opened") == 40
    assert "And 20 earlier ones." in section


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (spread(5.0, 9.0, 16.0), "desiccant for 5 to 16 more days"),
        (spread(0.1, 0.3, 0.8), "desiccant for less than a day"),
        (spread(12.0, 12.0, 12.0), "desiccant for about 12 more days"),
        (spread(90.0, 300.0, 730.0), "desiccant for at least 90 more days"),
        (spread(730.0, 730.0, 730.0), "desiccant for two years or more"),
        (unknown("no sensor"), ""),
    ],
)
def test_the_strip_tells_days_as_a_range_and_only_when_known(left, said):
    """A single number of days would be believed."""
    assert charge_briefly(replace(RICH, days_left=left)) == said
    assert charge_briefly(replace(RICH, days_left=left, spent=True)) == "desiccant spent"


@pytest.mark.parametrize(
    ("band", "unit", "times", "said"),
    [
        ((180.0, 250.0, 400.0), " g", 1.0, "about 250 g (200 to 400)"),
        ((36.0, 41.0, 46.0), " g", 1.0, "about 41 g (36 to 46)"),
        ((0.2, 0.5, 1.1), " g", 1.0, "about 0.5 g (0.2 to 1.1)"),
        ((0.01, 0.02, 0.05), "", 1.0, "about 0.02 (0.01 to 0.05)"),
        ((0.81, 0.92, 1.0), " %", 100.0, "about 92 % (81 to 100)"),
        ((27.3, 27.3, 27.3), " %", 1.0, "about 27 %"),
        ((0.0, 0.0, 0.0), " g", 1.0, "under 0.001 g"),
        ((1234.0, 1567.0, 1999.0), " g", 1.0, "about 1600 g (1200 to 2000)"),
        ((0.0, 0.0004, 0.003), " g", 1.0, "up to 0.003 g"),
    ],
)
def test_a_figure_has_no_digit_more_than_its_range_leaves(band, unit, times, said):
    """Digits are a claim."""
    assert figures.known(spread(*band), unit, times) == said


def test_a_room_and_a_box_have_one_look(site):
    """The same picture, without what only a box has; no chart library is needed any more."""
    page = page_of(site, "/rooms/loft?window=month")
    section = section_of(page, "past")
    assert 'class="curve air"' in section
    assert "forecast" not in section
    points = re.findall(r'data-line="here"[^>]*points="([^"]*)"', section)
    assert 200 < sum(len(line.split()) for line in points) <= 300


def test_a_page_of_a_box_stays_small(site):
    """Page weight is a feature: page, styles and scripts together, with both pictures and a month of past."""
    client = client_of(site)
    page = page_of(site, "/boxes/anvil?window=month")
    files = {*re.findall(r'(?:href|src)="(/static/[^"#]+)', page), "/static/ages.js"}
    total = len(page.encode())
    for path in files:
        with client.get(path) as response:
            total += len(response.get_data())
    assert total < 85_000
    assert len(files) <= 7


def test_a_day_of_25_hours_has_its_marks_25_hours_apart():
    """Report 15: when clocks go back, midnights are that far apart; between them round local hours."""
    present = Presenter("America/New_York")
    begin_s = 1_793_505_600.0  # 2026-11-01 00:00 in New York: this day has 25 hours
    marks = {tick.words: float(tick.at) for tick in across(present, begin_s - 3600.0, begin_s + 26 * 3600.0)}
    assert 27 * (marks["2 Nov"] - marks["1 Nov"]) / 100.0 == pytest.approx(25.0, abs=0.01)
    assert 27 * (marks["06:00"] - marks["1 Nov"]) / 100.0 == pytest.approx(7.0, abs=0.01)


def test_words_at_the_edge_of_a_phone_do_not_touch_the_ones_beside_them():
    """What stands on one side of its mark needs more room; the mark itself stays."""
    present = Presenter("UTC")
    end_s = 1_795_824_000.0 + 16 * 3600.0  # 2026-11-28 16:00
    month = midnights(present, end_s - 30 * 86_400.0, end_s)
    assert [tick.words for tick in month] == ["3 Nov", "8 Nov", "13 Nov", "18 Nov", "23 Nov", ""]
    week = midnights(present, end_s - 7 * 86_400.0, end_s)
    places = [(float(tick.at), tick.anchor) for tick in week if tick.words]
    for (left, left_anchor), (right, right_anchor) in zip(places, places[1:], strict=False):
        assert right - left >= (14.0 if left_anchor == right_anchor == "middle" else 20.0)


def test_lines_break_and_courses_are_cut_between_their_points():
    """No line bridges a gap; a forecast ends where the picture ends."""
    frame = Frame(from_s=0.0, to_s=10.0, top=10.0)
    assert lines(frame, [0.0, 1.0, 2.0, 3.0], [1.0, None, 3.0, 4.0]) == ("0,900 0,900", "200,700 300,600")
    bands = [(0.0, 1.0, 2.0, 3.0), (10.0, 11.0, 12.0, 13.0)]
    assert cut(bands, 2.0, 5.0) == [(2.0, 3.0, 4.0, 5.0), (5.0, 6.0, 7.0, 8.0)]
    assert cut([], 0.0, 1.0) == []
    assert [tick.words for tick in letters([(1.0, "O"), (1.1, "C"), (9.0, "O"), (99.0, "W")], frame)] == [
        "OC",
        "O",
    ]
