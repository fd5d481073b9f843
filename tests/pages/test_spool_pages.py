"""The ranked list of spools and the page of each, in every state that they must be honest about."""

import re
from html import unescape

import pytest
from support.pages import NOW_S
from support.spool_site import BOX, OTHER_BOX, spool, spool_site
from support.spools import DAY_S, KEYS, SPOOLS, FakeSpools, answer

from monitor.model.spool_event import Bagged, Dried, Moved, Signs, SpoolEvent, Weighed
from web import create_app
from web.spools import ranking

PATHS = [f"/spools/{key}" for key in KEYS]
ACTS = ("moved", "used", "weighed", "dried", "signs", "bagged", "opened", "spoiled")


@pytest.fixture
def site():
    return FakeSpools()


def client_of(site, changes=None, **more):
    options = {"look_only": False, "hosts": frozenset(), "zone": site.zone()} | more
    return create_app(site, changes or site, **options).test_client()


def page_of(site, path):
    response = client_of(site).get(path)
    assert response.status_code == 200, path
    return unescape(response.get_data(as_text=True))


def told(site, what, *, days_ago=0.0, key="soaked", who="Mira", replaces=None):
    at_s = NOW_S - days_ago * DAY_S
    site.add_event(SpoolEvent(spool=key, at_s=at_s, entered_s=NOW_S, who=who, what=what, replaces=replaces))


def row_of(page, key):
    """The line of one spool in the list, its address included."""
    rows = re.findall(r'<li class="spool".*?</li>', page, re.S)
    return next(row for row in rows if f'href="/spools/{key}"' in row)


def test_one_list_begins_with_what_needs_attention_first(site):
    """P27: damaged, dry first, soon over, not sure, ready; among equals what was exposed longest."""
    page = page_of(site, "/spools")
    order = re.findall(r'<h2><a href="/spools/([\w-]+)"', page)
    wanted = "gone soaked weak wet-core sooner soon doubtful lost bare dark far-off bagged bone calm"
    assert order == wanted.split()
    assert "<h1>3 of 14 spools want drying before printing.</h1>" in page


def test_among_equals_what_was_exposed_longest_comes_first():
    """P27: the tie is broken by exposure, not by name."""
    twins = [answer("a", 0.3, "dry_first", exposure_h=3.0), answer("b", 0.3, "dry_first", exposure_h=90.0)]
    assert [each.key for each in ranking.ranked(twins, NOW_S)] == ["b", "a"]


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("soaked", ["▲</b> Dry first", "About 0.3 % (0.24 to 0.39), limit 0.04 %.", "heads for 0.31 % there"]),
        ("weak", ["▲</b> Dry for strength", "About 0.06 % (0.048 to 0.078)", "dries there, but very slowly"]),
        ("soon", ["●</b> Ready", "Use it before Thu 22:30 (26 Nov)."]),
        ("sooner", ["●</b> Ready", "Use it within the hour.", 'href="/rooms/loft">Print loft</a>']),
        ("far-off", ["●</b> Ready", "Use it before 4 Jan."]),
        ("calm", ["●</b> Ready", "Good for at least 90 days there.", "stays as it is there"]),
        ("bagged", ["●</b> Ready", "Good for as long as it stays sealed."]),
        ("doubtful", ["?</b> Not sure", "It may be over its limit already.", 'href="/boxes/hammer">Hammer</a>']),
        ("gone", ["✕</b> Damaged", "About 9 % (7.2 to 12)"]),
        ("lost", ["nobody knows where"]),
        ("bone", ["Under 0.001 %, limit 0.04 %.", "in kiln"]),
        ("dark", ["Its past is still being worked out.", "PA6"]),
    ],
)  # fmt: skip
def test_a_row_says_verdict_water_place_and_until_when(site, key, words):
    """D-01, P03 and WCAG 1.4.1: a mark and a word, the figure with its range and limit, local time."""
    row = row_of(page_of(site, "/spools"), key)
    for each in words:
        assert each in row


def test_the_rule_of_a_row_has_the_limit_in_the_middle(site):
    """Dozens of materials can be compared at a glance only against their own limits."""
    page = page_of(site, "/spools")
    low, high = map(
        float, re.search(r'class="span" x1="([\d.]+)%" x2="([\d.]+)%"', row_of(page, "doubtful")).groups()
    )
    assert low < 50.0 < high
    assert 'class="rule"' not in row_of(page, "dark")
    assert "M-9 -6" in row_of(page, "gone")  # an arrow: further out than the rule goes


def test_the_list_can_be_narrowed_by_plain_links(site):
    """No script is needed to see one box or one material alone."""
    page = page_of(site, "/spools?place=file")
    assert re.findall(r'<h2><a href="/spools/([\w-]+)"', page) == ["weak"]
    assert "Only: <b>File</b>" in page
    assert re.findall(r'<h2><a href="/spools/([\w-]+)"', page_of(site, "/spools?material=pa6")) == ["dark"]
    assert re.findall(r'<h2><a href="/spools/([\w-]+)"', page_of(site, "/spools?place=")) == ["lost"]


def test_dozens_of_spools_make_a_page_that_a_phone_can_load():
    """Page weight is a feature."""
    spools = tuple(answer(f"spool-{number}", 0.03, "not_sure") for number in range(60))
    assert len(client_of(FakeSpools(spools)).get("/spools").get_data()) < 90_000


def test_without_a_spool_the_list_says_what_to_do():
    """An empty page must not look like a fault."""
    page = page_of(FakeSpools(()), "/spools")
    assert "No spool is in the inventory yet." in page
    assert "load it" in page


@pytest.mark.parametrize(
    "path", ["/spools", "/", "/boxes/chisel", *PATHS, *(f"{path}/label" for path in PATHS)]
)
def test_no_page_shows_a_hole_or_a_machines_number(site, path):
    """Every state: what is not known is said in words, and no figure is written with an exponent."""
    page = page_of(site, path)
    text = re.sub(r"<(svg|script|style).*?</\1>", "", page, flags=re.S)
    text = re.sub(r"<[^>]*>", " ", text)
    assert not re.search(r"\b(None|nan|inf|Undefined)\b|\d[eE][-+]\d", text), path
    assert not re.search(r'="[^"]*\b(None|nan|inf)\b', page)


@pytest.mark.parametrize(
    "path", ["/spools", "/spools/soaked", "/spools/soaked?act=signs", "/spools/soaked/label"]
)
def test_pages_hold_no_inline_script_or_style_and_load_nothing_from_elsewhere(site, path):
    """The strict content policy forbids them, and a workshop may be off line."""
    response = client_of(site).get(path)
    page = response.get_data(as_text=True)
    assert " style=" not in page
    assert "<style" not in page
    assert not re.search(r"\son[a-z]+=", page)
    assert not re.search(r'(?:src|href)="(?:https?:)?//', page)
    assert "default-src 'none'" in response.headers["Content-Security-Policy"]


def test_names_are_written_as_text(site):
    """A name typed by a person must not become markup."""
    for path in ("/spools", "/spools/dark", "/spools/dark/label"):
        page = client_of(site).get(path).get_data(as_text=True)
        assert "<b>horse" not in page
        assert "&lt;b&gt;horse" in page


@pytest.mark.parametrize(
    ("key", "verdict"),
    [
        ("soaked", "▲</b> Dry it before printing."),
        ("calm", "●</b> Dry enough to print."),
        ("doubtful", "?</b> Not known whether dry enough to print."),
        ("gone", "✕</b> Beyond saving: do not print with it."),
    ],
)
def test_the_page_of_a_spool_begins_with_its_verdict_and_the_reason(site, key, verdict):
    """The first thing a thumb sees: what to do, and why, in one sentence."""
    page = page_of(site, f"/spools/{key}")
    assert verdict in page
    assert f'<p class="why">Why {key} is' in page
    assert page.index(verdict) < page.index("Air now")


def test_air_and_filament_are_two_gauges(site):
    """P11: dry air is not yet dry plastic."""
    page = page_of(site, "/spools/soaked")
    air, water = (re.search(rf"<h2>{name}.*?</div>", page, re.S)[0] for name in ("Air now", "Filament now"))
    assert "27 %RH" in air
    assert "Below 11 %RH the air keeps it under its limit." in air
    assert "0.3 %" not in air
    assert '<p class="figure">0.3 %</p>' in water
    assert "Outer windings about 0.3 % (0.24 to 0.39)" in water
    assert "Whole spool about 0.3 % (0.24 to 0.39)" in water


def test_two_limits_are_shown_where_two_are_known(site):
    """P03: prints may look right and still be weak."""
    page = page_of(site, "/spools/weak")
    assert "full strength below 0.04 %, good looks below 0.1 %" in page
    assert page.count('class="bound looks"') == 1
    assert "good looks" not in page_of(site, "/spools/gone")


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("bagged", "sealed off"),
        ("lost", "Nobody said where it is"),
        ("dark", "Nothing was heard from its channel."),
        ("bone", "In the chamber of Big kiln."),
        ("doubtful", "An old reading: what it is now is not known."),
        ("bare", "Its place has no sensor."),
    ],
)
def test_air_that_is_not_known_is_not_shown_as_air(site, key, said):
    """An old or a missing reading never looks like today's."""
    assert said in page_of(site, f"/spools/{key}")


def test_the_winding_is_drawn_with_its_limit_and_the_end_of_the_dry_length(site):
    """Where the water sits: a picture, and the same as a sentence and as a table."""
    page = page_of(site, "/spools/wet-core")
    picture = re.search(r'<svg class="curve winding".*?</figure>', page, re.S)[0]
    assert "dry: 120 m" in picture
    assert "limit 0.04 %" in picture
    assert "0.02 % of water at the surface, 0.074 % at the hub." in picture
    assert "Of its 310 m the outer about 120 m (90 to 160) are under the limit." in picture
    assert picture.count('class="ring"') == 10
    assert picture.count('fill="url(#over)"') == 6  # rings over the limit are striped, not only coloured
    assert '<th scope="row">37.0</th><td>0.074</td>' in page
    end_x = float(re.search(r'class="end-line" x1="([\d.]+)%"', picture)[1])
    assert end_x == pytest.approx(100.0 * (0.001 + 0.004 * (0.02 / 0.006)) / 0.039, abs=0.5)
    assert "No part of its 310 m is under the limit." in page_of(site, "/spools/soaked")
    assert "All of its 310 m are under the limit." in page_of(site, "/spools/calm")
    assert "curve winding" not in page_of(site, "/spools/dark")


def test_the_past_of_its_water_is_drawn_with_its_band_limit_events_and_stays(site):
    """P29: is it still dry since it was dried? The history answers, also as sentence and table."""
    told(site, Weighed(mass_g=1100.0, resolution_g=1.0), days_ago=8.0)
    told(site, Moved(place="file"), days_ago=2.0)
    page = page_of(site, "/spools/soaked")
    picture = re.search(r"How its water went.*?</section>", page, re.S)[0]
    assert picture.count("<polygon") == 2
    assert re.findall(r'class="told-words"[^>]*>(\w)<', picture) == ["W", "M"]
    assert re.findall(r'class="shade" data-kind="(\w+)"', picture) == ["heat", "sealed", "heat"]
    assert "from 0.21 % to 0.3 %; they were over the limit for all of that time." in picture
    assert "<td>0.3 (0.24 to 0.39)</td>" in picture
    assert len(re.findall('<tr><th scope="row">', picture)) == 15  # a row a day
    week = re.search(r"How its water went.*?</section>", page_of(site, "/spools/soaked?window=week"), re.S)[0]
    assert re.findall(r'class="told-words"[^>]*>(\w)<', week) == ["M"]
    assert "Nothing is kept of it in this time." in page_of(site, "/spools/dark")


def test_the_account_keeps_its_verbs_apart_and_lists_the_stays(site):
    """D-01, D-02, D-04, D-06: run, pause, recover, reset; dryings and heat; what each stay did."""
    page = page_of(site, "/spools/soaked")
    account = re.search(r"Its account.*?</section>", page, re.S)[0]
    assert re.findall(r"<b>(\w+)</b>(?: <em>now</em>)?", account)[:4] == ["Run", "Pause", "Recover", "Reset"]
    assert re.findall(r"<b>(\w+)</b> <em>now</em>", account) == ["Run"]
    assert "32 h in air that takes it over its limit, since it was dried" in account
    assert "without proof that it got dry" in account
    assert "3 dryings, 18 h in heat" in account
    assert "7.0 h, for which damper air was assumed" in account
    stays = re.findall(r'<tr><th scope="row">(.*?)</tr>', account)
    assert [re.sub("<.*", "", each).strip() for each in stays] == [
        "File",
        "kiln",
        "Anvil",
        "a dryer elsewhere",
        "Print loft",
    ]
    assert "2 days so far" in stays[0]
    assert "−1.42 g" in stays[3]
    assert "21 %RH" in stays[4]
    assert "+0.31 g" in stays[4]
    for key, verb in (("calm", "Pause"), ("bagged", "Pause"), ("weak", "Recover")):
        found = re.findall(r"<b>(\w+)</b> <em>now</em>", page_of(site, f"/spools/{key}"))
        assert found == [verb]


def test_every_figure_can_be_asked_where_it_comes_from(site):
    """No figure without its reason, the limit's source included."""
    page = page_of(site, "/spools/soaked")
    asked = page[page.index("Where these figures come from") :]
    assert "<dt>Whole spool</dt><dd>Followed through the air of its places.</dd>" in asked
    assert "<dt>Limit</dt>" in asked


def test_a_page_whose_figures_are_being_worked_out_looks_again_by_itself(site):
    """After an event the past is computed anew; nobody should have to press reload."""
    assert 'http-equiv="refresh"' in page_of(site, "/spools/dark")
    assert 'http-equiv="refresh"' not in page_of(site, "/spools/soaked")
    assert 'http-equiv="refresh"' not in page_of(site, "/spools/dark?act=weighed")  # would empty a form


@pytest.mark.parametrize("act", ["", *(f"?act={act}" for act in ACTS)])
def test_a_look_only_address_shows_everything_but_no_form(site, act):
    """What cannot be done is not offered."""
    told(site, Bagged())
    page = client_of(site, look_only=True).get(f"/spools/soaked{act}").get_data(as_text=True)
    for tag in ("<form", "<button name", "<input", "Correct", "Withdraw"):
        assert tag not in page
    assert "Sealed in a bag" in page
    assert "Dry it before printing." in page


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/spools/none", 404),
        ("/spools/none/label", 404),
        ("/spools/soaked?act=withdrawn", 400),
        ("/spools/soaked?act=eaten", 400),
        ("/spools/soaked?window=hour", 400),
        ("/spools/soaked?correct=7", 404),
        ("/spools/soaked?withdraw=x", 404),
        ("/spools/soaked/label?size=huge", 400),
        ("/spools/soaked?done=99", 200),
    ],
)
def test_a_wrong_address_is_a_page_that_says_so(site, path, status):
    """No address gives a traceback."""
    response = client_of(site).get(path)
    assert response.status_code == status
    assert response.mimetype == "text/html"


def test_the_first_page_and_the_box_lead_to_the_spools(site):
    """From the box to what is in it in one tap; the first page says how many wait."""
    page = page_of(site, "/")
    assert '<a class="entrance" href="/spools">Spools: 1 damaged, 3 to dry first, 4 not sure</a>' in page
    assert '<a class="plain" href="/spools">Spools</a>' in page
    assert 'href="/spools/soaked"><b>Soaked</b></a>' in page_of(site, "/boxes/chisel")
    calm = FakeSpools((SPOOLS[0],))
    assert '<p id="spools"></p>' in page_of(calm, "/")


def test_signs_name_what_drying_will_not_cure(site):
    """P02, P22, P23: the look-alikes stand beside what is asked, and in the answer."""
    page = page_of(site, "/spools/soaked?act=signs")
    assert page.count('name="seen"') == 8
    assert "drying repairs neither" in page
    told(site, Signs(seen=("snaps",)))
    assert "Snapping comes from ageing: drying does not repair it." in page_of(site, "/spools/soaked?done=1")


def test_the_words_of_the_last_weighing_are_not_put_to_an_older_one(site):
    """D-20: a weighing entered late is not the one that the account tells of."""
    told(site, Weighed(mass_g=1100.0, resolution_g=1.0))
    told(site, Weighed(mass_g=1101.0, resolution_g=1.0), days_ago=3.0)
    said = "give or take 1.2 g: this cannot tell."
    newest, late = (
        re.search(r'class="notice done".*?</p>', page_of(site, f"/spools/soaked?done={number}"), re.S)[0]
        for number in (1, 2)
    )
    assert said in newest
    assert said not in late


def test_heat_comes_with_its_cautions(site):
    """P06 and the contract's cautions: the weakest thing decides, air, and the maker's word first."""
    page = page_of(site, "/spools/soaked?act=dried")
    assert "Never above 65 °C" in page
    assert "Ventilate." in page
    assert "data sheet" in page
    assert "never use one for food again" in page


def test_the_real_service_answers_the_page(tmp_path):
    """The same page over a real database: figures, course, stays."""
    with spool_site(tmp_path, spool(place=BOX)) as real:
        real.pass_time(72.0, loft=55.0, crate=48.0, chest=5.0)
        page = page_of(real.queries, "/spools/grey")
        assert "Dry it before printing." in page or "Not known whether" in page
        assert '<svg class="curve winding"' in page
        assert "Crate" in page
        real.tell(Moved(place=OTHER_BOX))
        real.tell(Dried(temperature_c=60.0, hours=6.0), hours_ago=1.0)
        page = page_of(real.queries, "/spools/grey")
        assert "Dried elsewhere for 6 h at 60 °C" in page
        assert "a dryer elsewhere" in page
        assert "Moved to Chest" in page
