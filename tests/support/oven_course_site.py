"""The oven's site with what follows the water in its load: chamber air kept, end found, cycles written down."""

from contextlib import closing, contextmanager

import numpy as np
from support.oven_site import HOUR_S, OVEN, PREFIX, ROOM, OvenSite, spool

from monitor.model.arrival import Arrival
from monitor.physics.psychrometrics import saturation_pressure_pa
from monitor.service.oven_acts import OvenActs
from monitor.service.oven_course import OvenCourse

_COMMIT_S = 10.0


class CourseSite(OvenSite):
    """States go through the engine, too, as on the worker; commits come every ten seconds or when urgent."""

    has_humidity = True

    def __init__(self, path, *spools, room=(22.0, 20.0)):
        self.told = []
        self.room = room
        self._committed_s = 0.0
        self._room_s = 0.0
        super().__init__(path, *spools)
        full_pa = float(saturation_pressure_pa(np.float64(room[0])))
        self.rig.oven.room.temperature_c = room[0]
        self.rig.oven.room.vapour_pa = full_pa * room[1] / 100.0

    def start_monitor(self):
        super().start_monitor()
        self.queries.mind_ovens(self.desk.minded)
        self.course = OvenCourse(
            self.desk,
            self.reader,
            self.queries,
            self.clock,
            note=self.engine.note_ovens,
            tell=self.told.extend,
        )
        self.acts = OvenActs(
            self.desk, self.reader, self.queries, self._ask, self.clock, progress=self.course.progress
        )

    def follow(self):
        """As the worker does between readings."""
        if self.clock.wall - self._room_s >= 300.0:
            self._room_s = self.clock.wall
            self.hear(ROOM, [(self.clock.wall, self.room[0], self.room[1] / 100.0)])
            self.desk.tell_site()
        super().follow()
        self.course.look()

    def run(self, seconds, *, monitor=True):
        left_s = seconds
        while left_s > 0.0:
            part_s = min(left_s, 60.0)
            super().run(part_s, monitor=monitor)
            if monitor:
                self.follow()
            left_s -= part_s

    def types(self):
        return [message.type for message in self.told]

    def _settle(self):
        is_due = self.clock.wall - self._committed_s >= _COMMIT_S
        if not (is_due or self.desk.is_urgent() or self._is_asked):
            return
        self._committed_s = self.clock.wall
        super()._settle()

    _is_asked = False

    def _ask(self, act):
        self._is_asked = True
        try:
            return super()._ask(act)
        finally:
            self._is_asked = False

    def _hear(self, topic, payload):
        if not hasattr(self, "desk"):
            return
        if not self.has_humidity and topic == PREFIX + "state":
            payload = _without_humidity(payload)
        arrival = Arrival(topic=topic, payload=payload, wall_s=self.clock.wall, mono_s=self.clock.mono)
        self.engine.handle(arrival)
        self.desk.arrived(arrival)


def _without_humidity(payload):
    import json

    return json.dumps(json.loads(payload) | {"humidity_pct": None}).encode()


def dried(site, hours, *, setpoint_c=58.0):
    """Armed, confirmed, and on its way."""
    site.arm()
    problems = site.acts.start(OVEN, site.wish(setpoint_c=setpoint_c, duration_s=hours * HOUR_S), "mara")
    assert problems == (), problems
    return site


@contextmanager
def course_site(tmp_path, *spools, room=(22.0, 20.0)):
    with closing(CourseSite(tmp_path / "course.db", *spools, room=room)) as site:
        site.air(ROOM, 2, *room)
        site.desk.tell_site()
        site.run(60)
        yield site


__all__ = ["HOUR_S", "OVEN", "ROOM", "CourseSite", "course_site", "dried", "spool"]
