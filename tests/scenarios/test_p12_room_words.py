"""P12: relative humidity misleads; the page of a room tells the water itself (D-30)."""

import re

from support.spool_site import DAY_S, HOUR_S, ROOM, spool_site

from web import create_app


def rolled_up(site):
    while site.store.roll_up(round(1000.0 * site.now)).more:
        pass


def page_of(site, query=""):
    app = create_app(site.queries, None, look_only=True, hosts=frozenset(), zone="UTC")
    response = app.test_client().get(f"/rooms/{ROOM}{query}")
    assert response.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.get_data(as_text=True)))


def test_p12_a_room_that_warms_up_loses_no_water(tmp_path):
    """P12: from 20 to 25 °C with the same water the humidity falls from 50 to 37 %RH, and the page says why."""
    with spool_site(tmp_path) as site:
        site.now += 6 * HOUR_S
        site.air(ROOM, 3.5, 20.0, 50.0, from_s=site.now - 5.5 * HOUR_S)
        site.air(ROOM, 2.0, 25.0, 36.9)
        rolled_up(site)
        page = page_of(site)
        assert (
            "the relative humidity fell by 13 %RH, but the dew point stayed: it got warmer, no water came or went"
            in page
        )


def test_p12_a_cool_cellar_at_40_percent_is_dry(tmp_path):
    """P12: 40 %RH at 10 °C is air that shows 19 %RH at 22 °C."""
    with spool_site(tmp_path) as site:
        site.now += 2 * DAY_S
        site.air(ROOM, 48, 10.0, 40.0)
        rolled_up(site)
        page = page_of(site)
        assert "A cubic metre of this air holds 3.8 g of water. Its dew point is −3 °C" in page
        assert "dew or frost forms" in page
        assert "at 10 °C it is dry air" in page


def test_p12_outside_air_is_converted_to_inside(tmp_path):
    """P12: 95 %RH in a winter's fog dries a room at 45 %RH; a summer's 50 %RH dampens it."""
    with spool_site(tmp_path) as site:
        site.now += 2 * DAY_S
        site.air(ROOM, 48, 21.0, 45.0)
        rolled_up(site)
        winter = page_of(site, "?outside-temperature=2&outside-rh=95")
        assert (
            "Airing helps: come to 21 °C that air is at 27 %RH, drier than the room, which is at 45 %RH."
            in winter
        )
        summer = page_of(site, "?outside-temperature=27&outside-rh=50")
        assert "Airing makes it damper: come to 21 °C that air is at 72 %RH" in summer
