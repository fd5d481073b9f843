"""A site as the pages ask for it, in every state that a page must be honest about, without a database."""

import math
import threading

from monitor.alarms.needs import needs
from monitor.library import load_library
from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    BoxCourse,
    DesiccantAnswer,
    Diagnosis,
    Freshness,
    HealthAnswer,
    OvenAnswer,
    RoomAnswer,
    SeriesAnswer,
    SeriesPoint,
    SpoolAnswer,
    Spread,
    StatusAnswer,
    TightnessAnswer,
    unknown,
)
from monitor.model.box_event import BoxHistory
from monitor.model.inventory import Box, Inventory, Oven, Room, Spool
from monitor.service.air import dew_point_of, rfc3339, vapour_of

NOW_S = 1_795_600_000.0
NAMES = {"pa6": "PA6", "petg": "PETG", "pla": "PLA", "pp": "PP", "tpu_ether": "TPU", "pc": "PC"}
# key, name, room, humidity [%RH], temperature [degC], change in 3 h, age [s], limit [%RH], material of the limit
BOXES = (
    ("anvil", "Anvil", "loft", 11.6, 22.1, 0.1, 20, 22.0, "petg"),
    ("bobbin", "Bobbin", "loft", 8.2, 22.0, -1.2, 41, 9.6, "pc"),
    ("chisel", "Chisel", "loft", 27.4, 22.3, 6.4, 12, 10.1, "petg"),
    ("dowel", "Dowel", "loft", 47.0, 22.6, 21.0, 8, 30.0, "pla"),
    ("easel", "Easel", "loft", 3.4, 21.8, 0.0, 33, 3.4, "pa6"),
    ("file", "File", "cellar", 14.8, 15.2, None, 170, 30.0, "pla"),
    ("gauge", "Gauge for the long and seldom opened things", "cellar", 9.1, 15.0, None, 400, 5.2, "tpu_ether"),
    ("hammer", "Hammer", "cellar", 19.0, 15.1, None, 90_000, 22.0, "petg"),
    ("inkstone", "Inkstone", "cellar", None, None, None, None, None, None),
    ("jig", "Jig", "cellar", 12.2, 15.3, 0.2, 52, 100.0, "pp"),
)  # fmt: skip
ROOMS = (("loft", "Print loft", 48.0, 21.5, 3.2, 25), ("cellar", "Cellar", 74.0, 14.2, 0.4, 60))
DUE_S = 120.0


def air(humidity_pct, temperature_c, change_pct, age_s):
    """An air answer; its freshness follows from its age as the service's does."""
    if humidity_pct is None:
        return AirAnswer(
            at=None, temperature_c=None, humidity_pct=None, dew_point_c=None, vapour_g_m3=None, age_s=None,
            stale=True, freshness=Freshness.NEVER, due_s=None, why="nothing was heard from its channel",
        )  # fmt: skip
    steps = ((1, Freshness.FRESH), (2, Freshness.LATE), (10, Freshness.STALE), (math.inf, Freshness.LOST))
    state = next(state for dues, state in steps if age_s <= dues * DUE_S)
    return AirAnswer(
        at=rfc3339(NOW_S - age_s),
        temperature_c=temperature_c,
        humidity_pct=humidity_pct,
        dew_point_c=dew_point_of(temperature_c, humidity_pct),
        vapour_g_m3=vapour_of(temperature_c, humidity_pct),
        age_s=age_s,
        stale=state not in (Freshness.FRESH, Freshness.LATE),
        freshness=state,
        due_s=DUE_S,
        humidity_change_pct=change_pct,
    )


def spread(p10, p50, p90):
    return Spread(p10=p10, p50=p50, p90=p90)


def charge(spent, days_left):
    return DesiccantAnswer(
        kind="silica_gel_orange",
        dry_g=200.0,
        loading_pct=spread(18.0, 20.5, 23.0),
        used=spread(0.81, 0.92, 1.0) if spent else spread(0.2, 0.3, 0.42),
        water_g=spread(36.0, 41.0, 46.0),
        spent=spent,
        days_left=days_left,
    )


def spool(number, place, material):
    is_wet = material == "pa6"
    return SpoolAnswer(
        key=f"s{number}",
        name=f"Spool {number}",
        material=material,
        place=place,
        moisture_pct=spread(0.21, 0.34, 0.52) if is_wet else unknown("it was never weighed or dried"),
        outer_pct=unknown("it was never weighed or dried"),
        limit_pct=0.2,
        heading_for_pct=0.18,
        length_m=300.0,
        dry_length_m=unknown("it was never weighed or dried"),
        verdict="dry_first" if is_wet else "not_sure",
    )


class FakeQueries:
    """Answers what the pages ask. Change its members, then `changed()`, as a commit would."""

    def __init__(self, zone="Europe/Berlin"):
        self._zone = zone
        self._condition = threading.Condition()
        self._revision = 0
        self.now = NOW_S
        self.humidity = {}  # by box key: overrides the table above
        self.hot = True
        self.health = {}  # members of HealthAnswer
        self.boxes = BOXES
        self.asked = 0

    def zone(self):
        return self._zone

    def now_s(self):
        return self.now

    def revision(self):
        return self._revision

    def changed(self):
        with self._condition:
            self._revision += 1
            self._condition.notify_all()

    def wait_for_change(self, after_revision, timeout_s):
        with self._condition:
            self._condition.wait_for(lambda: self._revision > after_revision, timeout=timeout_s)
            return self._revision

    def quarantine(self, limit=100):  # noqa: ARG002 - as the service's
        return ()

    def library(self):
        return load_library()

    def spool_history(self, key):  # noqa: ARG002 - as the service's
        return None

    def box_history(self, key):
        return BoxHistory(versions=()) if key in {row[0] for row in self.boxes} else None

    def box_course(self, key, from_s, to_s):  # noqa: ARG002 - as the service's
        return BoxCourse(past=(), ahead=(), marks=(), limit_loading_pct=None)

    def spools(self):
        materials = [row[8] or "pla" for row in self.boxes]
        return tuple(
            spool(n, self.boxes[n % len(self.boxes)][0], materials[n % len(materials)]) for n in range(18)
        )

    def inventory(self):
        return Inventory(
            rooms={key: Room(key=key, name=name) for key, name, *_ in ROOMS},
            boxes={row[0]: Box(key=row[0], name=row[1], room=row[2], volume_l=12) for row in self.boxes},
            spools={
                item.key: Spool(
                    key=item.key, name=item.name, material=item.material, diameter_mm=1.75, net_g=1000
                )
                for item in self.spools()
            },
            ovens={key: Oven(key=key, name=key, room="loft", max_c=90) for key in ("kiln", "tray")},
        )

    def status(self, at_s=None):
        self.asked += 1
        inside = self.spools()
        rooms = tuple(
            RoomAnswer(key=key, name=name, air=air(humidity, temperature, change, age))
            for key, name, humidity, temperature, change, age in ROOMS
        )
        boxes = tuple(self._box(row, inside) for row in self.boxes)
        ovens = (
            self._oven("kiln", "Big kiln", 64.2 if self.hot else 24.1, 4.0),
            self._oven("tray", "Tray", 22.0, 700.0),
        )
        members = {
            "ok": True, "reasons": (), "broker": "connected", "broker_kind": "own mosquitto",
            "newest_reading": rfc3339(NOW_S - 8), "readings": 48_211, "packs": 24_105, "duplicates": 12,
            "quarantined": 3, "unplaced_channels": ("n4/shelf",),
        }  # fmt: skip
        return StatusAnswer(
            at=rfc3339(self.now if at_s is None else at_s),
            site="attic",
            boxes=boxes,
            rooms=rooms,
            spools=inside,
            ovens=ovens,
            alarms=(),
            needs=needs(boxes, rooms, ovens, inside, NOW_S, ("n4/shelf",), NAMES),
            health=HealthAnswer(**(members | self.health)),
        )

    def _box(self, row, inside):
        key, name, room, humidity, temperature, change, age, limit, material = row
        days = spread(5.0, 9.0, 16.0) if key == "anvil" else unknown("it does not fill up at this rate")
        return BoxAnswer(
            key=key,
            name=name,
            room=room,
            air=air(self.humidity.get(key, humidity), temperature, change, age),
            limit_humidity_pct=limit,
            limit_humidity_pct_why=None if limit else "no spool is inside",
            limit_material=material,
            desiccant=None if key == "jig" else charge(key == "chisel", days),
            desiccant_why="no desiccant is entered in the inventory" if key == "jig" else None,
            tightness=TightnessAnswer(
                air_changes_per_h=spread(0.01, 0.02, 0.05), water_g_per_day=spread(0.2, 0.5, 1.1)
            ),
            lid_openings_7d=4,
            diagnosis=(Diagnosis(cause="lid not shut", probability=0.8, advice="Shut the lid."),)
            if key == "dowel"
            else (),
            spools=tuple(item.key for item in inside if item.place == key),
        )

    def _oven(self, key, name, chamber_c, age_s):
        state = Freshness.FRESH if age_s < 10 else Freshness.LOST
        return OvenAnswer(
            key=key, name=name, room="loft", at=rfc3339(NOW_S - age_s), chamber_c=chamber_c, setpoint_c=None,
            ceiling_c=None, state="cooling", cycle=None, left_s=None, water_left_g=unknown("no cycle runs"),
            trip=None, age_s=age_s, stale=state is Freshness.LOST, freshness=state, hot=chamber_c >= 55,
        )  # fmt: skip

    def series(self, place, quantity, from_s, to_s, span_s, *, is_raw=False):
        """A calm wave with one gap of two hours, six hours before now."""
        middle = {"humidity": 48.0 if place in ("loft", "cellar") else 14.0, "dew_point": -7.0}.get(
            quantity, 21.0
        ) + (1.0 if is_raw else 0.0)
        points = []
        start_s = from_s // span_s * span_s
        while start_s < to_s:
            is_gap = -8 * 3600 < start_s - self.now < -6 * 3600
            mean = middle + 3.0 * math.sin(start_s / 7000.0)
            points.append(
                SeriesPoint(
                    start_s=start_s,
                    lowest=None if is_gap else mean - 1.0,
                    mean=None if is_gap else mean,
                    highest=None if is_gap else mean + 1.5,
                    covered=0.0 if is_gap else 1.0,
                )
            )
            start_s += span_s
        unit = "Cel" if quantity == "dew_point" else "%RH"
        return SeriesAnswer(place=place, quantity=quantity, unit=unit, span_s=span_s, points=tuple(points))
