"""The site of the wired alarms: what there is, and the past of its boxes as a simulated truth has it."""

from dataclasses import replace

import numpy as np
from support.alarm_wire import START_S
from support.box_small import PLAIN, STEP_S
from support.box_truth import DAY_S, TrueSpool, Truth

from monitor.model.inventory import Box, Charge, Inventory, Oven, Room, Spool

DAYS = 6.0  # of the past that boxes bring with them
SEED = 4
PACK_ROWS = 288


# --- the site ---

CHARGED = ("sieve", "soaked", "skewed", "full", "small", "ajar")  # each with a room of its own
PLAIN_BOXES = ("damp", "shelf", "mute", "far")
OVENS = ("kiln", "range", "grill", "stove")
_NODES = {"far": "n9", "shelf": "n8"}
_CHARGES = {"full": {"dry_g": 600.0, "loading_pct": 13.0}, "small": {"dry_g": 60.0, "loading_pct": 4.0}}


def channel(key):
    """The boxes `far` and `shelf` hang on nodes of their own."""
    return f"{_NODES.get(key, 'n1')}/{key}"


def inventory():
    rooms = {f"{key}-room": Room(key=f"{key}-room", name=f"Room of {key}", channel=f"n1/{key}-room")
             for key in CHARGED}  # fmt: skip
    for key in ("hall", "loft"):
        rooms[key] = Room(key=key, name=key.title(), channel=f"n1/{key}")
    boxes = {
        key: Box(
            key=key,
            name=f"{key.title()} box",
            room=f"{key}-room",
            volume_l=15.0,
            channel=channel(key),
            desiccant=_charge(**_CHARGES.get(key, {})),
        )
        for key in CHARGED
    } | {
        key: Box(key=key, name=f"{key.title()} box", room="hall", volume_l=12.0, channel=channel(key))
        for key in PLAIN_BOXES
    }
    spools = {f"in-{key}": spool(f"in-{key}", key, start_pct=0.03) for key in CHARGED}
    spools["in-damp"] = spool("in-damp", "damp", start_pct=0.03)
    ovens = {key: Oven(key=key, name=f"The {key}", room="hall", max_c=80.0, heater_w=300.0, fan=True)
             for key in OVENS}  # fmt: skip
    return Inventory(rooms=rooms, boxes=boxes, spools=spools, ovens=ovens)


def _charge(dry_g=150.0, loading_pct=2.5):
    return Charge(kind="silica_gel_a", dry_g=dry_g, loading_pct=loading_pct, filled_s=START_S)


def spool(key, place, **members):
    usual = {"name": f"Spool {key}", "material": "petg", "diameter_mm": 1.75, "net_g": 800.0}
    return Spool(key=key, place=place, **(usual | members))


def calm(site):
    """Every sensor has been heard, and none is due again for a week."""
    found = site.inventory
    rows = {room.channel: [(site.now_s, air(40.0))] for room in found.rooms.values()}
    rows |= {box.channel: [(site.now_s, air(5.0))] for box in found.boxes.values()}
    for node in ("n1", *_NODES.values()):
        site.pack({name: row for name, row in rows.items() if name.startswith(f"{node}/")})


def air(humidity_pct, temperature_c=22.0):
    return {"temperature": temperature_c, "humidity": humidity_pct}


def two_zones(room_pct, bed_pct):
    """Humidity round the spools and beside the bag of one box [%RH], steady and at one temperature.

    Water comes in at the lid, to the spools; it goes from there to the bag, and into it. What flows is the same
    on all three ways, which are in exchanges of the box's air an hour.
    """
    leak, between, into_bag = 0.1, 0.9, 4.0
    flow = (room_pct - bed_pct) / (1.0 / leak + 1.0 / between + 1.0 / into_bag)
    beside = bed_pct + flow / into_bag
    return beside + flow / between, beside


# --- boxes with a past: their truth is simulated, and what their sensors read is published ---


class Pasts:
    """Six boxes over some days, most of them with something wrong in the end."""

    def __init__(self):
        later_s = (DAYS - 3.0) * DAY_S
        held = (TrueSpool(material="abs", net_kg=0.8, start_humidity=0.08, stated="dried"),)
        sound = replace(PLAIN, openings_week=0.0, spools=held)
        full = (TrueSpool(material="petg", net_kg=0.8, start_humidity=0.20, stated="dried"),)
        boxes = {
            "sieve": replace(sound, air_changes_h=0.1, fault="leak", fault_s=later_s),
            "soaked": replace(sound, fault="wet", fault_s=later_s),
            "skewed": replace(sound, fault="sensor", fault_s=later_s),
            "full": replace(sound, start_humidity=0.20, dry_kg=0.6, stated_dry_kg=0.6, spools=full),
            "small": replace(sound, start_humidity=0.05, dry_kg=0.06, stated_dry_kg=0.06, bed_depth_m=0.004),
            "ajar": replace(sound, fault="lid", fault_s=DAYS * DAY_S - 5_400.0),
        }
        self._columns = {key: number for number, key in enumerate(boxes)}
        self._boxes = boxes
        self._course = Truth(list(boxes.values()), SEED).run(DAYS, STEP_S)

    def tell(self, site, key):
        """What box and room read over the last days, a pack for each of them, as after a time without radio."""
        course, column = self._course, self._columns[key]
        dice = np.random.default_rng([SEED, column])
        box = self._boxes[key]
        offset = np.where((box.fault == "sensor") & (course.time_s >= box.fault_s), 0.04, 0.0)
        noise = 0.0005 * dice.standard_normal(len(course.time_s))
        read = np.clip(course.humidity[:, column] + offset + noise, 0.0, 1.0)
        begin_s = site.now_s - DAYS * DAY_S
        for place, warmth_c, humidity in (
            (f"{key}-room", course.room_c[:, column], course.room_humidity[:, column]),
            (key, course.temperature_c[:, column], read),
        ):
            found = zip(course.time_s, warmth_c, humidity, strict=True)
            rows = [(begin_s + at_s, air(100.0 * part, warm)) for at_s, warm, part in found]
            for first in range(0, len(rows), PACK_ROWS):
                site.pack({channel(place): rows[first : first + PACK_ROWS]}, waits=False)
