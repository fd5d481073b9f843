"""Loads, ovens and rooms as the tests of plans ask for them."""

from dataclasses import replace

from monitor.estimate.plan_drying import plan_drying
from monitor.estimate.plan_load import described
from monitor.library import load_library
from monitor.model.inventory import Oven, Spool
from monitor.model.plan import Goal, RoomAir, When

LIBRARY = load_library()
NOW_S = 1_790_000_000.0
HOUR_S = 3600.0
ROOM = RoomAir(temperature_c=23.0, humidity_pct=50.0)
KILN = Oven(key="kiln", name="Kiln", room="loft", max_c=100.0)
VENTED = replace(KILN, volume_l=30.0, vent_m3_h=0.6)


def load_spool(material, *, key=None, reel="pc", net_g=1000.0, account=None, **members):
    """A spool known by its inventory line; `account` goes to LoadSpool."""
    key = key or material
    spool = Spool(
        key=key, name=key.title(), material=material, diameter_mm=1.75, net_g=net_g, reel=reel, **members
    )
    return replace(described(spool, LIBRARY.material(material), LIBRARY.reel(reel)), **(account or {}))


def plan_of(*load, oven=KILN, room=ROOM, ready_by_h=None, **goal):
    ready_by_s = None if ready_by_h is None else NOW_S + ready_by_h * HOUR_S
    return plan_drying(list(load), oven, room, Goal(**goal), When(now_s=NOW_S, ready_by_s=ready_by_s))
