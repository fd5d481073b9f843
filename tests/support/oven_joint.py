"""The supervisor and the oven's own controller on one clock, over a link that may do to a message what links do."""

import json
import random
from dataclasses import asdict

from support.oven_pair import NYLON, PETG, WALL_S, site

from monitor.model.cycle import LoadItem, ResetOrder, StartOrder
from monitor.model.oven import OvenPhase
from monitor.oven import effects as fx
from monitor.oven.events import Event, Heard, ResetAsked, Restarted, SiteSaid, StartAsked, StopAsked, Ticked
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import OvenParameters
from monitor.oven.saved import from_text, to_text
from monitor.oven.state import Supervised, begin
from monitor.oven.supervisor import step
from monitor.simulator.oven_rig import STEP_S, OvenRig
from monitor.simulator.oven_thermal import Room
from monitor.wire.messages import parse_oven_state

PLA = LoadItem(key="s3", name="PLA", material_limit_c=55.0, body_limit_c=65.0)
HOT = LoadItem(key="s4", name="Nylon on a strong reel", material_limit_c=95.0, body_limit_c=95.0)
LOADS = ((PLA,), (PETG,), (NYLON,), (NYLON, PETG), (HOT,))
# What was learned of the reference oven, with three spools in it (`tests/simulator/test_oven_thermal.py`).
LEARNED = OvenParameters(
    max_c=82.0,
    hard_limit_c=88.0,
    full_duty_rate_c_s=0.060,
    fastest_rate_c_s=0.34,
    time_constant_s=1800.0,
)
_SITE_EVERY_S, _TICK_S = 50.0, 4.0


class Link:
    """One direction: each message may be lost, doubled, held back, or overtake another."""

    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.lose = self.double = self.hold = 0.0  # probabilities
        self.hold_s = 15.0
        self.is_cut = False
        self._line: list[tuple[float, int, object]] = []
        self._count = 0

    def put(self, now_s: float, what: object) -> None:
        if self.is_cut or self.dice.random() < self.lose:
            return
        for _ in range(2 if self.dice.random() < self.double else 1):
            held_s = self.dice.uniform(0.0, self.hold_s) if self.dice.random() < self.hold else 0.0
            self._count += 1
            self._line.append((now_s + held_s, self._count, what))

    def take(self, now_s: float) -> list[object]:
        """What has arrived, in the order of arrival."""
        if not self._line:
            return []
        due = sorted(entry for entry in self._line if entry[0] <= now_s)
        self._line = [entry for entry in self._line if entry[0] > now_s]
        return [what for _, _, what in due]


class Joint:
    """`run` lets true time pass; the monitor, its broker and the board may each be taken away in between."""

    def __init__(
        self,
        *,
        seed: int | str = 1,
        load: tuple[LoadItem, ...] = (PETG,),
        room_c: float = 21.0,
        parameters: OvenParameters = LEARNED,
        spools: int | None = None,
        start_c: float | None = None,
    ) -> None:
        self.dice = random.Random(f"{seed}/joint")
        self.up, self.down = Link(self.dice), Link(self.dice)
        self.parameters = parameters
        self.state: Supervised = begin("oven1", parameters)
        room = Room(temperature_c=room_c, vapour_pa=700.0 + 40.0 * room_c)
        self.rig = OvenRig(
            room=room,
            spools=len(load) if spools is None else spools,
            start_c=start_c,
            seed=seed,
            on_state=lambda payload: self.up.put(self.time_s, payload),
        )
        self.site = site(load=load, room_c=room_c)
        self.is_alive = self.is_told = True
        self.begun_s = 0.0  # true time at which this run of the monitor began
        self.wall_ahead_s = WALL_S
        self.spoken_s = 0.0  # true time at which the monitor was last alive
        self.log: list[fx.Effect] = []
        self.told: list[tuple[float, str]] = []  # when, and which rule, a person was told of
        self.orders = 0
        self.saved = to_text(self.state)
        self.limits: list[tuple[float, float]] = []  # since when, the least limit inside
        self.peak_c, self.heated_s = room_c, 0.0  # true chamber; true time of the last heat
        self._site_s = self._heard_s = -1e9
        self.put_in(load)

    @property
    def time_s(self) -> float:
        return self.rig.time_s

    @property
    def phase(self) -> OvenPhase:
        return self.state.phase

    def give(self, event: Event) -> tuple[fx.Effect, ...]:
        """One step of the monitor, if it is alive; committed first, then carried out (H37)."""
        if not self.is_alive:
            return ()
        self.spoken_s = self.time_s
        mono_s = self.time_s - self.begun_s
        self.state, effects = step(self.state, event, mono_s, self.time_s + self.wall_ahead_s)
        if effects:
            self.saved = to_text(self.state)
        self.log += effects
        self.told += [(self.time_s, effect.rule) for effect in effects if isinstance(effect, fx.Notify)]
        for effect in effects:
            self._publish(effect)
        return effects

    def _publish(self, effect: fx.Effect) -> None:
        if isinstance(effect, fx.PublishPermit):
            said = "permit", asdict(effect.permit)
        elif isinstance(effect, fx.PublishStop):
            said = "stop", {"cycle": effect.cycle, "why": effect.why, "id": effect.id}
        elif isinstance(effect, fx.PublishReset):
            said = "reset", {"trip": effect.trip, "boot": effect.boot, "who": effect.who}
        else:
            return
        self.down.put(self.time_s, (said[0], json.dumps(said[1]).encode()))

    def run(self, duration_s: float, each=None) -> "Joint":
        until_s = self.time_s + duration_s - STEP_S / 2.0
        while self.time_s < until_s:
            self.tick()
            if each is not None:
                each(self)
        return self

    def tick(self) -> None:
        """Two seconds: orders arrive, the oven lives, its state arrives."""
        for leaf, payload in self.down.take(self.time_s):
            self.rig.receive(leaf, payload)
        self.rig.step()
        oven = self.rig.oven
        self.peak_c = max(self.peak_c, oven.air_c)
        if oven.power_w > 0.0:
            self.heated_s = self.time_s
        if self.is_alive and self.is_told and self.time_s - self._site_s >= _SITE_EVERY_S:
            self._site_s = self.time_s
            self.give(SiteSaid(site=self.site))
        for payload in self.up.take(self.time_s):
            self._heard_s = self.time_s
            # A message of our own controller that cannot be read fails the test.
            self.give(Heard(state=parse_oven_state(payload)))
        if self.time_s - self._heard_s >= _TICK_S:
            self._heard_s = self.time_s
            self.give(Ticked())

    def until(self, *phases: OvenPhase, at_most_s: float) -> float:
        """How long it takes to get to one of them [s]; fails if it does not."""
        begun_s = self.time_s
        while self.phase not in phases:
            assert self.time_s - begun_s < at_most_s, (
                f"still {self.phase} after {at_most_s:g} s: {self.why()}"
            )
            self.tick()
        return self.time_s - begun_s

    def why(self) -> str:
        trip, ended = self.state.trip, self.state.ended
        return (
            f"{trip.rule}: {trip.what}" if trip else (f"{ended.ending}: {ended.why}" if ended else "nothing")
        )

    def put_in(self, load: tuple[LoadItem, ...]) -> None:
        """Another load; told at once."""
        self.site = site(load=load, room_c=self.site.room_c)
        self.limits.append((self.time_s, allowed(load, self.parameters).limit_c))
        self.give(SiteSaid(site=self.site))

    def kill(self) -> None:
        """kill -9: nothing is said any more, nothing is saved."""
        self.is_alive = False

    def restart(self) -> None:
        """With what was committed, on a monotonic clock that begins anew."""
        self.is_alive, self.begun_s = True, self.time_s - 3.0
        self.state = from_text(self.saved)
        self.give(Restarted(parameters=self.parameters))
        self.give(SiteSaid(site=self.site))

    def cut(self, is_cut: bool = True) -> None:
        """The broker is gone, or back."""
        self.up.is_cut = self.down.is_cut = is_cut

    def order(self, **changes) -> StartOrder:
        """A start as the confirmation page would give it: as hot as the load stands, unless changed."""
        bound = allowed(self.site.load, self.parameters)
        duration_s, wall_s = changes.get("duration_s", 4 * 3600.0), self.time_s + self.wall_ahead_s
        members = {
            **self._signed(),
            "load": tuple(item.key for item in self.site.load),
            "setpoint_c": bound.setpoint_c,
            "duration_s": duration_s,
            "ends_wall_s": wall_s + duration_s,
            "limited_by": bound.limited_by,
            "unattended": False,
        }
        return StartOrder(**(members | changes))

    def _signed(self) -> dict:
        self.orders += 1
        return {
            "id": f"o{self.orders}",
            "issuer": "page",
            "seq": self.orders,
            "issued_wall_s": self.time_s + self.wall_ahead_s,
            "expires_after_s": 10.0,
            "state_version": self.state.version,
            "who": "Ada",
        }

    def start(self, **changes):
        """The problem, or None."""
        return self._answered(StartAsked(order=self.order(**changes)))

    def reset(self, **changes):
        """The problem, or None."""
        trip = self.state.trip.id if self.state.trip else "none"
        members = {**self._signed(), "trip": trip, "checked": ("plug", "fan"), "text": "looked inside"}
        return self._answered(ResetAsked(order=ResetOrder(**(members | changes))))

    def _answered(self, event: Event):
        return next(e.problem for e in self.give(event) if isinstance(e, fx.Answer))

    def stop(self) -> None:
        self.give(StopAsked(who="Ada", why="enough"))

    def started(self, **changes) -> "Joint":
        """Somebody armed it at the oven, and it was confirmed."""
        self.run(24.0)
        self.rig.press_arm()
        self.run(12.0)
        problem = self.start(**changes)
        assert problem is None, problem
        return self

    def drying(self, **changes) -> "Joint":
        self.started(**changes).until(OvenPhase.DRYING, at_most_s=3600.0)
        return self

    def records(self, kind: str) -> list:
        return [e.record for e in self.log if isinstance(e, fx.Record) and e.record.kind == kind]

    def check(self) -> None:
        """What must hold in every moment while both switches are closed, whatever failed."""
        rig, controller = self.rig, self.rig.controller
        if not (rig.outputs.switch_1 and rig.outputs.switch_2):
            return
        living, lease_s = controller.book.living, self.parameters.lease_s
        now_ms = rig._now_ms()
        assert living is not None, "heat without a permit"
        assert now_ms <= living.ends_ms, "heat after its lease"
        assert controller.lock.trip is None
        assert self.time_s - self.spoken_s <= lease_s, (
            "on for longer than a lease after the monitor fell silent"
        )
        assert living.ceiling_c <= self._loosest_limit_c() - self.parameters.sensor_error_c + 1e-9
        assert 0.0 < living.setpoint_c <= living.ceiling_c, "a hold heats nothing"
        assert not rig.faults.door_open

    def _loosest_limit_c(self) -> float:
        """The least limit inside; what was put in within the last lease may still meet the permit of before."""
        since_s = self.time_s - self.parameters.lease_s - STEP_S
        recent = [limit_c for at_s, limit_c in self.limits if at_s >= since_s]
        before = [limit_c for at_s, limit_c in self.limits if at_s < since_s][-1:]
        return max(recent + before)
