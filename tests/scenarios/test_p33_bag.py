"""P33: a vacuum bag without a sensor: has it leaked, and until when does it keep (D-30)."""

import re

from support.spool_site import DAY_S, ROOM, spool_site

from web import create_app

PETG = "?film=foil&width-cm=30&length-cm=40&dry-g=30&desiccant=silica_gel_a&material=petg"


def client_of(site):
    while site.store.roll_up(round(1000.0 * site.now)).more:
        pass
    app = create_app(site.queries, None, look_only=True, hosts=frozenset(), zone="UTC")
    return app.test_client()


def test_p33_a_bag_is_reckoned_with_the_air_of_its_own_room(tmp_path):
    """P33: the last month of the room it lies in; a damper room spends it sooner."""
    days = {}
    for humidity in (35.0, 70.0):
        (tmp_path / f"{humidity:g}").mkdir()
        with spool_site(tmp_path / f"{humidity:g}") as site:
            site.now += 10 * DAY_S
            site.air(ROOM, 240, 21.0, humidity)
            answer = (
                client_of(site)
                .get(f"/api/v1/bag{PETG.replace('foil', 'ldpe_100')}&air=month:{ROOM}")
                .get_json()
            )
            assert abs(answer["room_humidity_pct"] - humidity) < 0.5
            days[humidity] = answer["days_worst"]
    assert days[35.0] > 1.8 * days[70.0]


def test_p33_a_card_read_after_a_month_says_whether_the_bag_has_leaked(tmp_path):
    """P33: a barrier bag whose card shows 30 % has leaked; one at 5 % has not; after a day nobody can tell."""
    with spool_site(tmp_path) as site:
        site.now += 10 * DAY_S
        site.air(ROOM, 240, 22.0, 55.0)
        client = client_of(site)
        air = f"&air=month:{ROOM}"

        def leaked(card):
            return client.get(f"/api/v1/bag{PETG}{air}{card}").get_json()["card"]["leaked"]

        assert leaked("&first-unturned=5&sealed-days=30&turned=30&unturned=40") == "likely"
        assert leaked("&first-unturned=5&sealed-days=30&unturned=10") == "unlikely"
        assert leaked("&first-unturned=5&sealed-days=1&unturned=10") == "cannot_tell"


def test_p33_the_page_reminds_when_to_look_and_when_to_seal_anew(tmp_path):
    """P33: a thin bag is a store of weeks, and its dates are those of the site."""
    with spool_site(tmp_path) as site:
        site.now += 10 * DAY_S
        site.air(ROOM, 240, 22.0, 50.0)
        page = (
            client_of(site)
            .get(f"/bags{PETG.replace('foil', 'ldpe_50')}&air=now:{ROOM}")
            .get_data(as_text=True)
        )
        assert re.search(
            r"Read its card by \d+ \w+ 20\d\d, and change the desiccant and seal it anew by \d+ \w+ 20\d\d\.",
            page,
        )
        assert "For PETG this bag is a store of weeks: for months take a barrier bag, welded." in page
