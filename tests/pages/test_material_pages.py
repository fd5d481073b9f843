"""The table of materials, the care cards and the form for a site's own figures."""

import contextlib
import re
import threading
from html import unescape
from wsgiref.simple_server import WSGIRequestHandler, make_server

import pytest
from support.pages import NOW_S, FakeQueries

from monitor.library import UNKNOWN, load_library
from monitor.library.own_figures import check_own_figure, site_library
from monitor.model.catalogue import FIGURES, OwnFigure, figure_value
from web import create_app

LIBRARY = load_library()
KEYS = sorted(LIBRARY.materials)
ZONE = "Europe/Berlin"


class Site(FakeQueries):
    """A site with its own figures, as queries and changes will serve it."""

    def __init__(self, *in_settings):
        super().__init__(ZONE)
        self.in_settings = in_settings
        self.stored = []

    def library(self):
        return site_library(self.in_settings, self.stored)

    def own_figures(self):
        return tuple(self.stored)

    def set_figure(self, figure):
        check_own_figure(self.library(), figure)
        self.stored.append(figure)


def app_of(site, *, can_change=True):
    return create_app(site, site, look_only=not can_change, hosts=frozenset(), zone=ZONE)


@pytest.fixture
def site():
    return Site()


@pytest.fixture
def client(site):
    return app_of(site).test_client()


def page_of(client, path):
    response = client.get(path)
    assert response.status_code == 200, path
    return unescape(response.get_data(as_text=True))


def words_of(page):
    """The card as a customer reads it: no markup, no form, no list of sources."""
    card = page[page.index('<article class="card">') : page.index("</article>")]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", card))


def post(client, path, form):
    """As a browser sends the form of one of our own pages."""
    return client.post(path, data=form, headers={"Origin": "http://localhost"})


def typed(figure="dry_c", value="55", who="Ana", why="the maker's sheet", **more):
    return {"figure": figure, "value": value, "who": who, "why": why} | more


@pytest.mark.parametrize("key", KEYS)
def test_every_card_is_complete(client, key):
    """No hole where a figure is missing, no program's number, all parts of the card."""
    page = page_of(client, f"/materials/{key}")
    words = words_of(page)
    assert not re.search(r"\bNone\b|\bnan\b|\binf\b|\d[eE][+-]?\d|\{|\}", words), words
    for title in (
        "How thirsty",
        "How fast",
        "How to keep it",
        "How to dry it",
        "Printed wet",
        "Fumes and food",
    ):
        assert title in words
    assert page.count('role="img" aria-label="') == 2
    for name in FIGURES:
        has_it = figure_value(LIBRARY.material(key), name) is not None
        assert (f"<code>{name}</code>" in page) == has_it


@pytest.mark.parametrize("key", KEYS)
def test_no_card_names_a_temperature_to_dry_at_that_is_above_the_highest_safe_one(client, key):
    """P06: only the softening point, which is the reason, may stand there above it."""
    material = LIBRARY.material(key)
    words = words_of(page_of(client, f"/materials/{key}"))
    named = {float(number) for number in re.findall(r"(-?\d+(?:\.\d+)?) °C", words)}
    assert {material.dry_c, material.max_safe_c} <= named
    assert {value for value in named if value > material.max_safe_c} <= {material.softening_c}
    assert f"Never above {material.max_safe_c:g} °C" in words


@pytest.mark.parametrize("key", KEYS)
def test_every_card_says_what_is_owed_about_fumes_food_and_codes(client, key):
    """B-42 and B-43, whatever the material."""
    words = words_of(page_of(client, f"/materials/{key}"))
    assert "never used for food again" in words
    assert "Dry with the window open or under an extractor" in words
    assert "The maker's data sheet and your local codes go before this card." in words


@pytest.mark.parametrize(
    ("key", "said"),
    [("abs", "styrene"), ("asa", "styrene"), ("tpu_ether", "isocyanates"), ("pom", "formaldehyde")],
)
def test_what_is_known_of_fumes_is_said(client, key, said):
    """B-43."""
    assert said in words_of(page_of(client, f"/materials/{key}"))


def test_a_card_tells_what_heated_room_air_leaves_and_what_to_do_about_it(client):
    """D-12: PLA cannot meet its limit in merely heated air; PETG can."""
    pla, petg = (words_of(page_of(client, f"/materials/{key}")) for key in ("pla", "petg"))
    assert "leaves 0.11 % however long it takes: above the limit of 0.025 %" in pla
    assert "It takes dried air, or desiccant in the chamber." in pla
    assert "leaves 0.026 % however long it takes: under the limit of 0.04 %" in petg


def test_pva_wet_is_said_to_be_lost_and_to_be_cooled_before_use(client):
    """P21: wet windings stick together; low heat; cool before feeding."""
    words = words_of(page_of(client, "/materials/pva"))
    assert "stick together, and such a spool is lost" in words
    assert "begin low" in words
    assert "Let it cool in a closed dry box" in words


@pytest.mark.parametrize("key", KEYS)
def test_a_card_says_whether_the_damage_of_wet_printing_lasts(client, key):
    words = words_of(page_of(client, f"/materials/{key}"))
    assert ("That damage is for good" in words) == LIBRARY.material(key).is_excess_permanent


def test_reels_that_would_give_way_first_are_named(client):
    """P06: the least of everything in the oven; PA6 at 80 °C is too hot for most reels, PLA at 45 °C for none."""
    pa6, pla = (words_of(page_of(client, f"/materials/{key}")) for key in ("pa6", "pla"))
    assert "polystyrene / HIPS reel, polypropylene reel (70 °C)" in pa6
    assert "ABS reel (80 °C)" in pa6
    assert "polycarbonate" not in pa6
    assert "Every usual reel stands that." in pla


@pytest.mark.parametrize("key", KEYS)
def test_pictures_stay_inside_their_frame_and_rise(client, key):
    """The curves are drawn from dry to wet, from the first hour to the last; the limit lies in the frame."""
    page = page_of(client, f"/materials/{key}")
    lines = re.findall(r'<polyline class="\w+" points="([^"]+)"', page)
    assert len(lines) == 3
    for line in lines:
        points = [tuple(map(float, point.split(","))) for point in line.split()]
        assert all(38.0 <= x <= 308.0 and 14.0 <= y <= 150.0 for x, y in points)
        assert points == sorted(points)
        heights = [y for _, y in points]
        assert heights == sorted(heights, reverse=True)
    limits = re.findall(r'class="bound"[^>]*y1="([^"]+)"', page)
    assert len(limits) == 2
    assert all(14.0 <= float(y) <= 150.0 for y in limits)


def test_the_limit_is_marked_where_the_curve_reaches_it(client):
    """PC reaches 0.02 % at 7.5 %RH: k a / (1 - b a) = 0.02 by hand."""
    page = page_of(client, "/materials/pc")
    a = 0.02 / (0.2625 + 0.25 * 0.02)
    drop = float(re.search(r'class="drop" x1="([^"]+)"', page)[1])
    assert drop == pytest.approx(38.0 + 270.0 * a, abs=0.1)
    assert f"at {100 * a:.2g} %RH" in page


def test_the_table_has_all_materials_reels_and_desiccants_with_their_dangers(client):
    page = page_of(client, "/materials")
    for key, material in LIBRARY.materials.items():
        assert f'href="/materials/{key}"' in page
        assert material.name in page
    for item in (*LIBRARY.reels.values(), *LIBRARY.desiccants.values()):
        assert item.name in page
    for danger in ("Hot desiccant and its pot burn", "cobalt", "brine", "boils"):
        assert danger in page
    assert page.index("Unknown material") > page.index("PEBA")
    assert not re.search(r"\bNone\b|\bnan\b|\binf\b|\d[eE][+-]?\d", re.sub(r"<[^>]+>", " ", page))


@pytest.mark.parametrize("path", ["/materials", "/materials/petg", "/materials/unknown"])
def test_they_hold_no_inline_script_or_style_and_load_nothing_from_elsewhere(client, path):
    """The content policy forbids it, and a workshop may be off line."""
    page = page_of(client, path)
    assert " style=" not in page
    assert "<style" not in page
    assert "<script" not in page
    assert not re.search(r'(?:src|href)="(?:https?:)?//', page)


def test_the_header_leads_to_them(client):
    assert '<a class="plain" href="/materials">Materials</a>' in page_of(client, "/")


def test_an_unknown_key_is_answered_with_a_page(client):
    response = client.get("/materials/plaa")
    assert response.status_code == 404
    assert "no material in the catalogue has the key" in response.get_data(as_text=True)
    assert post(client, "/materials/plaa/figure", typed()).status_code == 404


def test_a_figure_that_is_typed_in_holds_from_the_next_look_on(site, client):
    """POST, then 303 to the card; who and why stand beside the figure and in its source."""
    response = post(client, "/materials/petg/figure", typed(value="55,5"))
    assert response.status_code == 303
    assert response.headers["Location"] == "/materials/petg#own"
    assert site.stored == [
        OwnFigure(material="petg", figure="dry_c", value=55.5, who="Ana", why="the maker's sheet", at_s=NOW_S)
    ]
    page = page_of(client, "/materials/petg")
    assert "At 55.5 °C." in words_of(page)
    assert "Set here by Ana: the maker's sheet" in page
    assert "own figures" in page_of(client, "/materials")


@pytest.mark.parametrize(
    ("form", "field", "said"),
    [
        (typed(value="warm"), "value", "Value 'warm' is no number"),
        (typed(value=""), "value", "is no number"),
        (typed(value="nan"), "value", "Drying temperature is nan; for PETG"),
        (typed(value="64"), "value", "allowed are 25 to 60 °C, as 5 °C stay between it and highest safe temperature."),
        (typed(who="  "), "who", "Who must be 1 to 200 characters"),
        (typed(why="x" * 201), "why", "Why must be 1 to 200 characters"),
        (typed(figure="colour"), "figure", "Figure 'colour' is unknown"),
        ({}, "value", "is no number"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_told_beside_it_and_what_was_typed_is_kept(site, client, form, field, said):
    """One sentence, status 400, nothing changed, nothing to type again."""
    response = post(client, "/materials/petg/figure", form)
    page = unescape(response.get_data(as_text=True))
    assert response.status_code == 400
    assert site.stored == []
    fault = re.search(r'<p class="fault" id="fault-(\w+)" role="alert">([^<]+)</p>', page)
    assert fault[1] == field
    assert said in fault[2]
    assert page.count('role="alert"') == 1
    assert f'aria-describedby="fault-{field}"' in page
    for name in ("value", "who", "why"):
        assert f'name="{name}"' in page
        assert f'value="{form.get(name, "").strip()}"' in page


def test_what_is_typed_is_written_as_text(client):
    """A reason must not become markup."""
    post(client, "/materials/petg/figure", typed(why="<b>mine</b>"))
    raw = client.get("/materials/petg").get_data(as_text=True)
    assert "&lt;b&gt;mine" in raw
    assert "<b>mine" not in raw


def test_a_figure_is_withdrawn_with_who_and_why(client):
    """The catalogue's figure holds again; what was set before stays readable."""
    post(client, "/materials/petg/figure", typed())
    assert page_of(client, "/materials/petg").count("Withdraw it") == 1
    response = post(client, "/materials/petg/figure", typed(value="", withdraw="yes", why="too slow"))
    assert response.status_code == 303
    page = page_of(client, "/materials/petg")
    assert "At 60 °C." in words_of(page)
    assert "Withdraw it" not in page
    assert "withdrawn" in page
    assert "too slow" in page


def test_a_withdrawal_that_is_refused_is_told_in_its_own_form(client):
    post(client, "/materials/petg/figure", typed())
    response = post(client, "/materials/petg/figure", typed(value="", withdraw="yes", who=""))
    page = response.get_data(as_text=True)
    assert response.status_code == 400
    assert page.index("Who must be") < page.index("Use our own figure")
    assert "<details open>" in page


def test_a_figure_of_the_settings_is_shown_and_cannot_be_withdrawn_here():
    """What stands in a file is changed in that file."""
    in_settings = OwnFigure(
        material="petg", figure="max_safe_c", value=55.0, who="Lead", why="a fire", at_s=None
    )
    page = page_of(app_of(Site(in_settings)).test_client(), "/materials/petg")
    assert "Lead, in the settings" in page
    assert "Withdraw it" not in page
    assert "Never above 55 °C" in words_of(page)


def test_a_figure_that_no_longer_holds_is_shown_with_the_reason():
    in_settings = OwnFigure(
        material="petg", figure="max_safe_c", value=55.0, who="Lead", why="a fire", at_s=None
    )
    site = Site(in_settings)
    site.stored = [OwnFigure(material="petg", figure="dry_c", value=58.0, who="Ana", why="old", at_s=NOW_S)]
    page = page_of(app_of(site).test_client(), "/materials/petg")
    assert "It no longer holds. Drying temperature is 58" in page


def test_where_nothing_can_be_changed_there_is_no_form():
    """A look-only address shows the cards, and refuses what is sent all the same."""
    client = app_of(Site(), can_change=False).test_client()
    page = page_of(client, "/materials/petg")
    assert "<form" not in page
    assert post(client, "/materials/petg/figure", typed()).status_code == 403


def test_the_unknown_material_has_a_card_but_no_form(client):
    """It stands for what nobody named, and stays the most cautious."""
    assert "<form" not in page_of(client, f"/materials/{UNKNOWN}")
    assert post(client, f"/materials/{UNKNOWN}/figure", typed()).status_code == 400


class _Quiet(WSGIRequestHandler):
    def log_message(self, *_):
        """Nothing: the test's output is its own."""


@contextlib.contextmanager
def served(app):
    server = make_server("127.0.0.1", 0, app, handler_class=_Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        yield chromium
        chromium.close()


@pytest.mark.browser
def test_every_card_prints_on_one_page_and_nothing_is_wider_than_a_phone(site, browser):
    """Handed over at a counter: one sheet A4 or A5 each; 360 px without a sideways scroll."""
    with served(app_of(site)) as address, browser.new_page(viewport={"width": 360, "height": 800}) as page:
        for path in ["/materials", *(f"/materials/{key}" for key in KEYS)]:
            page.goto(address + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= 360, path
            if path == "/materials":
                continue
            for paper in ("A4", "A5"):
                sheets = re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))
                assert len(sheets) == 1, (path, paper)


@pytest.mark.browser
def test_a_person_sets_a_figure_with_the_form_of_the_card(site, browser):
    """What a browser really sends passes the guard, and comes back to the card."""
    with served(app_of(site)) as address, browser.new_page() as page:
        page.goto(f"{address}/materials/petg")
        form = page.locator("form.own-form").last
        form.locator("[name=figure]").select_option("limit_pct")
        for name, text in (("value", "0.05"), ("who", "Ana"), ("why", "trial prints")):
            form.locator(f"[name={name}]").fill(text)
        form.locator("button").click()
        page.wait_for_url("**/materials/petg#own")
        assert "Printing limit 0.05 %" in page.locator("#own").inner_text()
    assert [figure.value for figure in site.stored] == [0.05]
