"""A site with a real database, the desk of its ovens, and the real controller on a simulated chamber."""

from contextlib import closing, contextmanager

from support.spool_site import DAY_S, HOUR_S, OVEN, ROOM, SpoolSite, spool

from monitor.model.arrival import Arrival
from monitor.model.oven_look import StartWish
from monitor.service.oven_acts import OvenActs
from monitor.service.oven_desk import OvenDesk
from monitor.service.oven_world import OvenWorld
from monitor.simulator.oven_rig import OvenRig

STEP_S = 2.0
PREFIX = f"sorbwatch/attic/oven/{OVEN}/"


class Clock:
    """Both clocks of one board, moved by hand."""

    def __init__(self, wall_s):
        self.wall, self.mono = wall_s, 1000.0

    def wall_s(self):
        return self.wall

    def mono_s(self):
        return self.mono


class OvenSite(SpoolSite):
    """Commits at once when something waits for it, as the worker does."""

    oven_max_c = 80.0  # below what the simulated controller allows at all

    def __init__(self, path, *spools):
        super().__init__(path, *spools)
        self.clock = Clock(self.now)
        self.said = []  # (topic, payload) to the broker, oldest first
        self.rig = OvenRig(on_state=self._state)
        self.is_linked = self.can_write = True
        self.is_committing = True
        self.start_monitor()

    def start_monitor(self):
        """As at a start of the program: nothing is known but what is stored."""
        world = self.world = OvenWorld(
            self.queries,
            self.reader,
            note=self.engine.note_ovens,
            publish=self._publish,
            publish_now=lambda topic, payload: self._publish(topic, payload, None),
            can_write=lambda: self.can_write,
            is_sole_owner=lambda: True,
        )
        self.desk = OvenDesk("attic", world, self.clock, self.store.load().oven_states)
        self.acts = OvenActs(self.desk, self.reader, self.queries, self._ask, self.clock)
        self.desk.tick()
        self._settle()

    def run(self, seconds, *, monitor=True):
        """Time passes for oven and monitor."""
        for _ in range(round(seconds / STEP_S)):
            self.clock.wall += STEP_S
            self.clock.mono += STEP_S
            self.now = self.clock.wall
            self.is_alive = monitor
            self.rig.step()
            if monitor:
                self.desk.tick()
                self._settle()

    def arm(self):
        for pressed in (True, False):
            self.rig.arm_pressed = pressed
            self.run(STEP_S)
        self.run(12)  # until the next state tells of it

    def look(self):
        return self.acts.look(OVEN)

    def wish(self, **members):
        look = self.look()
        usual = {
            "order": f"o{look.version}-{self.clock.mono:.0f}",
            "version": look.version,
            "load": tuple(item.key for item in look.load),
            "setpoint_c": 50.0,
            "duration_s": 2.0 * HOUR_S,
            "limited_by": "",
            "unattended": False,
            "shown_s": self.clock.wall,
        }
        return StartWish(**(usual | members))

    def kinds(self):
        return [str(record.kind) for record in reversed(self.look().records)]

    def _ask(self, act):
        answer = act(self.engine)
        self._settle()
        return answer

    def _settle(self):
        """A commit whenever something waits for one, or anything was noted."""
        while self.is_committing:
            batch = self.engine.take_batch()
            if not batch.is_empty():
                self.store.apply(batch)
                self.queries.followers.committed(batch)
            if not self.desk.is_urgent():
                return
            self.desk.committed(batch)

    def _publish(self, topic, payload, expiry_s):  # noqa: ARG002
        self.said.append((topic, payload))
        if self.is_linked and topic.startswith(PREFIX):
            self.rig.receive(topic.removeprefix(PREFIX), payload)
        if topic.endswith("/stop"):
            self._hear(topic, payload)  # the broker gives it back
        return True

    def _state(self, payload):
        if self.is_linked and getattr(self, "is_alive", True):
            self._hear(PREFIX + "state", payload)

    def _hear(self, topic, payload):
        if hasattr(self, "desk"):
            self.desk.arrived(
                Arrival(topic=topic, payload=payload, wall_s=self.clock.wall, mono_s=self.clock.mono)
            )


@contextmanager
def oven_site(tmp_path, *spools):
    loaded = spools or (spool("grey", "petg", place=OVEN, reel="pc"),)
    with closing(OvenSite(tmp_path / "oven.db", *loaded)) as site:
        site.air(ROOM, 0.5, 22.0, 45.0)
        site.desk.tell_site()
        site.run(20)
        yield site


__all__ = ["DAY_S", "HOUR_S", "OVEN", "ROOM", "OvenSite", "oven_site", "spool"]
