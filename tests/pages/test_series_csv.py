"""Any series as CSV: what was read beside what is held of it, and gaps as gaps."""

import csv
import io

import pytest
from support.sensor_site import sensor_site

from monitor.model.batch import Batch
from monitor.model.inventory import Inventory, Oven
from monitor.model.oven_air import OvenAir
from monitor.model.oven_fact import OvenChanges
from monitor.model.sensor_check import Back, CorrectionSet
from web import create_app

DAY_S = 86_400


def client_of(site):
    return create_app(site.queries, None, look_only=True, hosts=frozenset(), zone="UTC").test_client()


def rows_of(site, path, **args):
    answer = client_of(site).get(path, query_string=args)
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


@pytest.fixture
def site(tmp_path):
    """Two days at 13 %RH, corrected by +2 before the second, then half a day in a jar of 75 %RH."""
    with sensor_site(tmp_path) as made:
        made.begin_s = made.now
        made.days(1, crate=13.0, loft=45.0)
        made.sense(CorrectionSet(offset_pct=2.0, gain=1.0, uncertainty_pct=1.0))
        made.days(1, crate=13.0, loft=45.0)
        made.in_jar("sodium_chloride", 12.0)
        made.sense(Back())
        made.now += DAY_S / 2
        while made.store.roll_up(round(made.now * 1000)).more:
            pass
        yield made


def test_raw_and_corrected_stand_beside_each_other(site):
    """A-35: readings stay as they came."""
    rows = rows_of(
        site, "/api/v1/series/crate/humidity.csv", **{"from": site.begin_s, "to": site.now, "span": 3600}
    )
    assert list(rows[0]) == [
        "start [UTC]",
        "lowest humidity as read [%RH]",
        "mean humidity as read [%RH]",
        "highest humidity as read [%RH]",
        "lowest humidity corrected [%RH]",
        "mean humidity corrected [%RH]",
        "highest humidity corrected [%RH]",
        "covered [0 to 1]",
    ]
    before, after, jar, gap = rows[12], rows[36], rows[56], rows[-6]
    assert (before["mean humidity as read [%RH]"], before["mean humidity corrected [%RH]"]) == ("13.000",) * 2
    assert after["mean humidity as read [%RH]"] == "13.000"
    assert after["mean humidity corrected [%RH]"] == "15.000"
    assert float(jar["mean humidity as read [%RH]"]) > 70.0
    assert jar["mean humidity corrected [%RH]"] == ""  # it was not the air of its place
    assert set(list(gap.values())[1:]) == {"", "0.000"}
    assert all(row["start [UTC]"].endswith(":00:00Z") for row in rows)


def test_other_quantities_have_their_unit(site):
    warm = rows_of(site, "/api/v1/series/crate/temperature.csv")
    dew = rows_of(site, "/api/v1/series/crate/dew_point.csv", to=site.begin_s + DAY_S, span=86400)
    assert "mean temperature as read [°C]" in warm[0]
    assert float(dew[-1]["mean dew point corrected [°C]"]) == pytest.approx(-7.0, abs=1.0)
    assert len(warm) in (720, 721)


def test_the_chamber_of_an_oven_is_what_its_controller_told(site):
    minute = round(site.begin_s / 60)
    change = Inventory(
        rooms=site.queries.inventory().rooms, ovens={"o1": Oven(key="o1", name="O", room="loft", max_c=120.0)}
    )
    site._ask(lambda engine: engine.change_inventory(change, site.now))
    air = [OvenAir(oven="o1", minute=minute, temperature_c=61.5, humidity_pct=None, heater=0.3)]
    site.store.apply(Batch(ovens=OvenChanges(air=air), newest_ms=round(site.now * 1000)))
    window = {"from": minute * 60 - 3600, "to": minute * 60 + 7200}
    rows = rows_of(site, "/api/v1/series/o1/temperature.csv", **window)
    means = [row["mean temperature as read [°C]"] for row in rows]
    assert [mean for mean in means if mean] == ["61.500"]
    refused = client_of(site).get("/api/v1/series/o1/dew_point.csv")
    assert refused.status_code == 400
    assert "temperature or humidity" in refused.get_json(force=True)["detail"]


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("nowhere/humidity.csv", 404, "no room, box or oven 'nowhere'"),
        ("crate/mood.csv", 400, "quantity 'mood' is unknown"),
        ("crate/humidity.csv?span=7", 400, "span must be one of"),
        ("crate/humidity.csv?from=0&span=300", 400, "points at once"),
        ("crate/humidity.csv?from=x", 400, "from 'x'"),
    ],
)
def test_what_cannot_be_asked_is_said(site, path, status, said):
    answer = client_of(site).get(f"/api/v1/series/{path}")
    assert answer.status_code == status
    assert said in answer.get_json(force=True)["detail"]


def test_pages_lead_to_it_with_what_they_show(site):
    page = client_of(site).get("/boxes/crate").text
    assert "/api/v1/series/crate/humidity.csv?span=" in page
    assert "Dew point as CSV" in page
