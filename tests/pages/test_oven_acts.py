"""What people do to ovens on the pages, with the desk that hears of it: stop first of all."""

import re
from dataclasses import replace
from html import unescape

import pytest
from support.ovens import ABS, GREY, HERE, NOT_ARMED, FakeDesk, heating, idle, oven_site, tripped
from support.sign_in import gate
from support.spool_site import HOUR_S, OVEN, START_S

from monitor.errors import StoreError
from monitor.model.cycle import Problem
from monitor.model.people import Role
from web import create_app

NOW_S = START_S + 6 * HOUR_S
PLAN = "/ovens/kiln/dry?spool=grey"


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    """For tests that move no spool."""
    with oven_site(tmp_path_factory.mktemp("ovens")) as made:
        yield made


@pytest.fixture
def calm(steady):
    steady.desk.now, steady.desk.asked, steady.site.now = idle(load=(GREY,)), [], NOW_S
    steady.desk.problems, steady.desk.problem, steady.desk.is_broken = (), None, False
    return steady


def fields_of(page, action):
    """The hidden fields of a form, as a browser sends them."""
    form = re.search(rf'<form method="post" action="{re.escape(action)}".*?</form>', page, re.S)[0]
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form)
    return {name: unescape(value) for name, value in found}


def text_of(response):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", response.get_data(as_text=True))))


@pytest.fixture(scope="module")
def as_shown(steady):
    """What the form of the plan brings back; a plan takes a while, so it is made once."""
    steady.desk.now, steady.site.now = idle(load=(GREY,)), NOW_S
    return to_start(steady)


def to_start(site, path=PLAN):
    return fields_of(site.page(path), "/ovens/kiln/start") | {"who": "Mira"}


# Stop.


def test_a_stop_is_passed_on_at_once_and_leads_to_its_effect(calm):
    """B-17: one tap, no confirmation, no sign-in; then the effect, which is not yet seen."""
    calm.desk.now = heating(NOW_S)
    response = calm.send("/ovens/kiln/stop")
    assert (response.status_code, response.headers["Location"]) == (303, "/ovens/kiln")
    assert calm.desk.asked == [("stop", OVEN, "somebody at 127.0.0.1", "stopped on a page")]
    assert "Its effect is not yet seen." in calm.page("/ovens/kiln")
    calm.desk.stopped(hottest_c=51.0)
    assert "Its effect" not in calm.page("/ovens/kiln")


@pytest.mark.parametrize(
    "look",
    [
        heating(NOW_S),
        idle(),
        tripped(),
        heating(NOW_S, is_fresh=False, age_s=90.0),
        heating(stop_asked_s=5.0),
    ],
)
def test_a_stop_is_obeyed_in_every_state_and_twice(calm, look):
    """B-17, B-28: also while stale, while nothing heats, and again and again."""
    calm.desk.now = look
    for _ in range(2):
        assert calm.send("/ovens/kiln/stop").status_code == 303
    assert [each[0] for each in calm.desk.asked] == ["stop", "stop"]


def test_a_stop_whose_form_is_too_large_to_be_read_is_obeyed(calm):
    """B-17: a limit on what may be sent keeps no heat on."""
    assert calm.send("/ovens/kiln/stop", {"why": "x" * 1_100_000}).status_code == 303
    assert [each[0] for each in calm.desk.asked] == ["stop"]


def test_stop_all_stops_each_and_says_which_could_not_be_told(calm):
    """B-17: one that fails does not keep the others hot, and nobody is told a comfortable lie."""
    calm.desk.now = heating(NOW_S)
    response = calm.send("/ovens/stop")
    assert (response.status_code, response.headers["Location"]) == (303, "/ovens")
    calm.desk.is_broken = True
    for path in ("/ovens/stop", "/ovens/kiln/stop", "/ovens/none/stop"):
        response = calm.send(path)
        assert response.status_code == 503
        assert "pull its plug now" in text_of(response)


def test_a_stop_needs_no_role_no_token_and_no_database(tmp_path, monkeypatch):
    """B-17: signed in, signed out, an old form, a look-only address, a full disk."""
    desk = FakeDesk(heating(NOW_S))
    with gate(tmp_path) as made:
        made.make_owner()
        shut = create_app(
            made.site.queries, made.site.changes, look_only=True, hosts=frozenset(), zone="UTC",
            door=made.door, desk=desk,
        )  # fmt: skip
        client = shut.test_client()
        assert client.get("/ovens").status_code == 200  # from here on the keys are known
        for data in ({}, {"csrf": "old"}, {"why": "x" * 5000}):
            assert client.post("/ovens/kiln/stop", data=data, headers=HERE).status_code == 303
        assert client.post("/api/v1/ovens/kiln/stop").status_code == 200

        def fails(*_):
            raise StoreError("the disk is full")

        for name in ("session", "people", "inventory"):
            monkeypatch.setattr(made.site.reader, name, fails)
        assert client.post("/ovens/kiln/stop", headers=HERE).status_code == 303
        assert client.post("/ovens/stop", headers=HERE).status_code == 303
    assert [each[0] for each in desk.asked] == ["stop"] * 6


def test_stop_is_offered_even_where_the_database_does_not_answer(calm, monkeypatch):
    """B-17: the page of the fault itself carries it."""
    calm.desk.now = heating(NOW_S)
    calm.page("/ovens")

    def fails(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(calm.site.reader, "inventory", fails)
    response = calm.client.get("/spools")
    assert response.status_code == 503
    assert 'action="/ovens/stop"' in response.get_data(as_text=True)


@pytest.mark.parametrize(
    "headers", [{"Origin": "https://stranger.example"}, {"Sec-Fetch-Site": "cross-site"}]
)
def test_a_strangers_page_stops_nothing(calm, headers):
    """A page on the internet is nobody of this site."""
    for path in ("/ovens/kiln/stop", "/ovens/stop", "/api/v1/ovens/kiln/stop"):
        assert calm.client.post(path, headers=headers).status_code == 403
    assert calm.desk.asked == []


def test_smell_or_smoke_stops_first_and_opens_a_check_list(calm):
    """P32, B-43: ends the cycle, then what to do, and what the material gives off."""
    calm.desk.now = heating(NOW_S)
    response = calm.send("/ovens/kiln/stop", {"why": "smell"})
    assert calm.desk.asked == [("stop", OVEN, "somebody at 127.0.0.1", "smell or smoke")]
    assert response.headers["Location"] == "/ovens/kiln/smell"
    text = text_of(calm.client.get("/ovens/kiln/smell"))
    for said in (
        "call the fire brigade",
        "Do not open the oven",
        "Open the windows",
        "PETG:",
        "not a fire alarm",
    ):
        assert said in text, said
    assert "Its effect is not yet seen." in text


# Start.


def test_what_was_shown_is_what_is_asked_for(calm, as_shown):
    """B-10: the wish is the page in numbers; then the oven's page."""
    fields = as_shown
    response = calm.send("/ovens/kiln/start", fields)
    assert (response.status_code, response.headers["Location"]) == (303, "/ovens/kiln")
    (_, oven, wish, who), *more = calm.desk.asked
    assert (oven, who, more) == (OVEN, "Mira", [])
    assert wish.load == ("grey",)
    assert (wish.setpoint_c, wish.limited_by, wish.unattended, wish.version) == (58.0, "grey", True, 7)
    assert wish.duration_s == float(fields["duration_s"])
    assert wish.shown_s == NOW_S


def test_the_target_that_was_planned_goes_with_the_start(calm, as_shown):
    """D-13: the end goes by what the plan on the page was made for."""
    assert calm.send("/ovens/kiln/start", to_start(calm, f"{PLAN}&target_pct=0.03")).status_code == 303
    calm.send("/ovens/kiln/start", as_shown)
    assert [asked[2].target_pct for asked in calm.desk.asked] == [0.03, None]


def test_a_second_press_does_nothing(calm, as_shown):
    """B-16: the order's id is drawn when the page is made."""
    for _ in range(2):
        calm.send("/ovens/kiln/start", as_shown)
    assert [each[0] for each in calm.desk.asked] == ["start"]
    calm.desk.now = idle(load=(GREY,))
    assert to_start(calm)["order"] != as_shown["order"]


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("setpoint_c", "75", "The temperature is 58 °C now; 75 °C was sent."),
        ("setpoint_c", "57", "The temperature is 58 °C now; 57 °C was sent."),
        ("duration_s", "172800", "It takes"),
        ("limited_by", "the oven itself", "What limits it is grey now"),
        ("shown_s", str(NOW_S - 3600), "The page is too old."),
        ("shown_s", str(NOW_S + 3600), "The page is too old."),
        ("setpoint_c", "nan", "no number"),
        ("duration_s", "-1e999", "no number"),
        ("version", "x", "no number"),
        ("order", "", "is missing"),
        ("order", "a\nb", "no line of text"),
        ("spool", "none", "is not in the inventory"),
        ("who", "", "Who must be text"),
    ],
)
def test_what_differs_from_the_plan_as_of_now_is_not_asked_for(calm, as_shown, field, value, said):
    """B-10, H17, H18: computed again on the server; a changed or forged figure never reaches the oven."""
    response = calm.send("/ovens/kiln/start", as_shown | {field: value})
    assert response.status_code == 409
    assert said in text_of(response)
    assert calm.desk.asked == []


def test_a_form_for_unattended_heat_is_refused_where_that_is_not_allowed(calm, as_shown):
    """B-40: the mode is the page's word, not the sender's."""
    calm.desk.now = idle(load=(GREY,), is_cutout_confirmed=False)
    response = calm.send("/ovens/kiln/start", as_shown | {"unattended": "yes"})
    assert response.status_code == 409
    assert "It may not be left alone now." in text_of(response)
    assert calm.desk.asked == []


def test_refusals_are_sentences_and_the_page_is_made_anew(calm, as_shown):
    """B-14: what limits it is said; the next press is another order."""
    limit = Problem(
        rule="B-14", title="Too hot", detail="It is.", limiting_item="the reel of grey", limit_c=58.0
    )
    calm.desk.problems = (NOT_ARMED, limit)
    response = calm.send("/ovens/kiln/start", as_shown)
    text = text_of(response)
    assert response.status_code == 409
    assert "The oven is not armed. Go to the oven and press its button. (B-10)" in text
    assert "What limits it: the reel of grey, 58.0 °C." in text
    again = fields_of(response.get_data(as_text=True), "/ovens/kiln/start")
    assert again["order"] != as_shown["order"]


def test_less_than_the_plan_may_be_asked_for_more_may_not(calm):
    """B-14, B-46: cooler and shorter, said to be less; the form brings it back as shown."""
    fields = to_start(calm, f"{PLAN}&at_c=50&hours=4&people=stay")
    assert calm.send("/ovens/kiln/start", fields).status_code == 303
    wish = calm.desk.asked[0][2]
    assert (wish.setpoint_c, wish.duration_s, wish.unattended) == (50.0, 4 * HOUR_S, False)


def test_a_looker_and_a_form_without_token_start_nothing(tmp_path):
    """A-roles: heat needs the role, and the page's own token."""
    desk = FakeDesk(idle(load=(GREY,)))
    with gate(tmp_path) as made:
        made.make_owner()
        app = create_app(
            made.site.queries, made.site.changes, look_only=False, hosts=frozenset(), zone="UTC",
            door=made.door, desk=desk,
        )  # fmt: skip
        for role in (None, Role.LOOK, Role.DO):
            client = app.test_client()
            if role is not None:
                client.set_cookie("sorbwatch_session", made.add(f"P{role}", role))
            for name in ("start", "extend", "reset", "checklist", "cutout", "proof", "in", "out"):
                response = client.post(f"/ovens/kiln/{name}", data={"who": "x"}, headers=HERE)
                assert response.status_code in (401, 403), name
    assert desk.asked == []


# While it runs, and afterwards.


def test_longer_is_a_new_confirmed_order(calm):
    """B-15: with the version and the cycle that were shown; never beyond what the desk grants."""
    calm.desk.now = heating(NOW_S)
    fields = fields_of(calm.page("/ovens/kiln/longer"), "/ovens/kiln/extend") | {"who": "Mira"}
    assert calm.send("/ovens/kiln/extend", fields | {"extra_s": "7200"}).status_code == 303
    assert calm.desk.asked == [("extend", OVEN, fields["order"], 12, "c1", 7200.0, "Mira")]
    calm.desk.problem = Problem(rule="B-15", title="Too long", detail="24 h are the most.")
    response = calm.send("/ovens/kiln/extend", fields | {"extra_s": "7200"})
    assert (response.status_code, "Too long. 24 h are the most." in text_of(response)) == (409, True)
    for extra in ("inf", "nan", "-5", "1e9", ""):
        assert calm.send("/ovens/kiln/extend", fields | {"extra_s": extra}).status_code == 409
    assert len(calm.desk.asked) == 2


def test_a_reset_says_who_looked_at_what_and_starts_nothing(calm):
    """B-30, B-31: trip, ticks, text and person; nothing ticked, nothing done."""
    calm.desk.now = tripped()
    fields = fields_of(calm.page("/ovens/kiln/reset"), "/ovens/kiln/reset")
    fields |= {"who": "Mira", "text": "The switch had welded.", "checked": ["inside", "wiring"]}
    assert calm.send("/ovens/kiln/reset", fields).status_code == 303
    asked = ("reset", OVEN, fields["order"], 20, "t1", ("inside", "wiring"), "The switch had welded.", "Mira")
    assert calm.desk.asked == [asked]
    for change in ({"checked": []}, {"checked": ["everything"]}, {"text": ""}, {"text": "a\x00b"}):
        assert calm.send("/ovens/kiln/reset", fields | change).status_code == 409
    calm.desk.problem = Problem(rule="B-30", title="Still hot", detail="Below 45 °C.")
    assert "Still hot. Below 45 °C. (B-30)" in text_of(calm.send("/ovens/kiln/reset", fields))
    assert [each[0] for each in calm.desk.asked] == ["reset", "reset"]


def test_checklist_cutout_and_proof_test_are_told_by_somebody(calm):
    """B-40, B-50, B-51: all at once; a cut-out and a test are ticked as seen before they count."""
    sent = [
        ("checklist", {"ticked": ["limiter", "ventilation"]}),
        ("cutout", {"seen": "yes"}),
        ("proof", {"passed": "yes"}),
    ]
    for name, fields in sent:
        assert calm.send(f"/ovens/kiln/{name}", fields | {"who": "Mira"}).status_code == 303
    assert calm.desk.asked == [
        ("tick_off", OVEN, ("limiter", "ventilation"), "Mira"),
        ("confirm_cutout", OVEN, "Mira"),
        ("proof_tested", OVEN, "Mira"),
    ]
    for name, fields in (
        ("checklist", {"ticked": "roof"}),
        ("cutout", {}),
        ("proof", {}),
        ("proof", {"passed": "no"}),
    ):
        assert calm.send(f"/ovens/kiln/{name}", fields | {"who": "Mira"}).status_code == 400
        assert calm.send(f"/ovens/kiln/{name}", {"seen": "yes", "passed": "yes"}).status_code == 400  # nobody
    assert len(calm.desk.asked) == 3


def test_putting_in_and_taking_out_move_the_spool_in_two_taps(site):
    """P39, D-14: the history belongs to the spool; out into a box."""
    both = "/ovens/kiln/dry?spool=grey&spool=black"
    form = re.search(r'action="/ovens/kiln/in".*?</form>', site.page(both), re.S)[0]
    assert form.count('name="spool"') == 2
    response = site.send("/ovens/kiln/in", {"spool": ["grey", "black"], "who": "Mira"})
    assert response.status_code == 303
    assert response.headers["Location"] == "/ovens/kiln/dry?spool=grey&spool=black#start"
    assert site.site.queries.inventory().spools["black"].place == OVEN
    site.desk.now = replace(site.desk.now, load=(GREY, ABS))
    assert 'action="/ovens/kiln/start"' in site.page(both)
    site.site.now += 60.0
    response = site.send("/ovens/kiln/out", {"spool": "black", "place": "chest", "who": "Mira"})
    assert response.headers["Location"] == "/ovens/kiln/out?to=chest"
    assert "now in Chest" in site.page("/ovens/kiln/out?to=chest")
    assert site.site.queries.inventory().spools["black"].place == "chest"


@pytest.mark.parametrize(
    "fields",
    [{"spool": "black", "place": "chest"}, {"spool": "grey", "place": "moon"}, {"spool": "grey"}, {"place": "chest"},
     {"spool": "<script>", "place": "chest"}],
)  # fmt: skip
def test_nothing_is_moved_that_is_not_there(calm, fields):
    """A page that is old, or a forged one."""
    response = calm.send("/ovens/kiln/out", fields | {"who": "Mira"})
    assert response.status_code == 400
    assert "<script>" not in response.get_data(as_text=True)
    assert calm.site.queries.inventory().spools["black"].place == "crate"


def test_heat_is_asked_for_by_post_only(calm):
    """A link, a prefetch or a crawler must never heat."""
    for name in ("start", "extend", "stop", "in"):
        assert calm.client.get(f"/ovens/kiln/{name}").status_code == 405
    calm.page(PLAN)
    calm.page("/ovens/kiln/longer")
    assert calm.desk.asked == []
