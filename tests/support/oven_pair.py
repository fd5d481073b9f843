"""Monitor and controller on one bench, by a link that may fail; time passes only when told to."""

from collections.abc import Callable

from support.oven_controller import ModelController

from monitor.model.cycle import Actuator, ExtendOrder, LoadItem, ResetOrder, StartOrder
from monitor.model.oven import OvenPhase
from monitor.oven import effects as fx
from monitor.oven.events import Event, ExtendAsked, Heard, ResetAsked, SiteSaid, StartAsked, StopAsked, Ticked
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Checklist, Detector, Relay, Site, Tick
from monitor.oven.state import Supervised, begin
from monitor.oven.supervisor import step

WALL_S = 1_795_000_000.0
PETG = LoadItem(key="s1", name="Blue PETG", material_limit_c=65.0, body_limit_c=70.0)
NYLON = LoadItem(key="s2", name="Nylon", material_limit_c=90.0, body_limit_c=80.0)
# The model chamber is one lump: its air is no faster than its walls.
PARAMETERS = OvenParameters(max_c=75.0, fastest_rate_c_s=0.04)


def site(**changes) -> Site:
    """A site at which everything is as it should be."""
    facts = {
        "load": (PETG,),
        "is_storage_writable": True,
        "is_self_tested": True,
        "is_sole_owner": True,
        "room_c": 22.0,
        "detector": Detector(is_heard=True, is_alarming=False),
        "checklist": Checklist(ticked=frozenset(Tick), at_wall_s=WALL_S - 86_400.0, who="Ada"),
        "is_cutout_confirmed": True,
        "proof_tested_wall_s": WALL_S - 30 * 86_400.0,
        "relay": Relay(counts_down=True, stays_off_after_power_loss=True),
    }
    return Site(**(facts | changes))


class Bench:
    """One oven; `step` sends what it says to the controller at once, unless the link is cut."""

    def __init__(self, *, parameters: OvenParameters = PARAMETERS, has_arming: bool = True, seed: int = 1):
        self.controller = ModelController(has_arming=has_arming, seed=seed)
        self.state: Supervised = begin("oven1", parameters)
        self.site = site()
        self.mono_s, self.wall_s = 1000.0, WALL_S
        self.uplink = self.downlink = True
        self.is_told = True  # the service says what is around the oven
        self.log: list[fx.Effect] = []
        self.orders = 0
        self.watch: Callable[[Bench], None] | None = None

    @property
    def phase(self) -> OvenPhase:
        return self.state.phase

    def give(self, event: Event) -> tuple[fx.Effect, ...]:
        self.state, effects = step(self.state, event, self.mono_s, self.wall_s)
        self.log += effects
        for effect in effects:
            if self.downlink:
                self._deliver(effect)
        return effects

    def _deliver(self, effect: fx.Effect) -> None:
        if isinstance(effect, fx.PublishPermit):
            self.controller.take_permit(effect.permit)
        elif isinstance(effect, fx.PublishStop):
            self.controller.take_stop()
        elif isinstance(effect, fx.PublishReset):
            self.controller.take_reset(effect.trip)

    def run(self, seconds: float, *, every_s: float = 2.0) -> None:
        """Time passes; the controller speaks and the monitor ticks every `every_s`."""
        for number in range(round(seconds / every_s)):
            self.mono_s += every_s
            self.wall_s += every_s
            self.controller.pass_time(every_s)
            if number % max(round(50.0 / every_s), 1) == 0 and self.is_told:
                self.give(SiteSaid(site=self.site))
            said = self.controller.state()
            self.give(Heard(state=said) if self.uplink else Ticked())
            if self.watch:
                self.watch(self)

    def until(self, phase: OvenPhase, *, at_most_s: float) -> float:
        """How long it takes to get there [s]; fails if it does not."""
        begun_s = self.mono_s
        while self.phase is not phase:
            assert self.mono_s - begun_s < at_most_s, (
                f"still {self.phase} after {at_most_s:g} s: {self.why()}"
            )
            self.run(2.0)
        return self.mono_s - begun_s

    def why(self) -> str:
        trip, ended = self.state.trip, self.state.ended
        return f"{trip.rule}: {trip.what}" if trip else (ended.why if ended else "nothing")

    def ready(self) -> "Bench":
        """Heard for a while, armed, its site told."""
        self.give(SiteSaid(site=self.site))
        self.controller.arm()
        self.run(30.0)
        return self

    def order(self, **changes) -> StartOrder:
        """A start as the confirmation page would give it."""
        load = self.site.load
        duration_s = changes.get("duration_s", 4 * 3600.0)
        members = self._next() | {
            "load": tuple(item.key for item in load),
            "setpoint_c": 55.0,
            "duration_s": duration_s,
            "ends_wall_s": self.wall_s + duration_s,
            "limited_by": allowed(load, self.state.parameters).limited_by,
            "unattended": False,
        }
        return StartOrder(**(members | changes))

    def _next(self) -> dict:
        """What every order carries (B-16)."""
        self.orders += 1
        return {
            "id": f"o{self.orders}",
            "issuer": "page",
            "seq": self.orders,
            "issued_wall_s": self.wall_s,
            "expires_after_s": 10.0,
            "state_version": self.state.version,
            "who": "Ada",
        }

    def start(self, **changes) -> fx.Answer:
        effects = self.give(StartAsked(order=self.order(**changes)))
        return next(effect for effect in effects if isinstance(effect, fx.Answer))

    def stop(self) -> tuple[fx.Effect, ...]:
        return self.give(StopAsked(who="Ada", why="enough"))

    def reset(self, **changes) -> fx.Answer:
        members = self._next() | {
            "trip": self.state.trip.id if self.state.trip else "none",
            "checked": ("plug", "fan"),
            "text": "looked inside",
        }
        effects = self.give(ResetAsked(order=ResetOrder(**(members | changes))))
        return next(effect for effect in effects if isinstance(effect, fx.Answer))

    def extend(self, extra_s: float, **changes) -> fx.Answer:
        members = self._next() | {
            "cycle": self.state.cycle.id if self.state.cycle else "none",
            "extra_s": extra_s,
        }
        effects = self.give(ExtendAsked(order=ExtendOrder(**(members | changes))))
        return next(effect for effect in effects if isinstance(effect, fx.Answer))

    def drying(self, **changes) -> "Bench":
        """At its set-point."""
        answer = self.ready().start(**changes)
        assert answer.problem is None, answer.problem
        self.until(OvenPhase.DRYING, at_most_s=3600.0)
        return self

    def permits(self) -> list[fx.PublishPermit]:
        return [effect for effect in self.log if isinstance(effect, fx.PublishPermit)]

    def records(self, kind: str) -> list:
        return [e.record for e in self.log if isinstance(e, fx.Record) and e.record.kind == kind]


RELAY_PARAMETERS = OvenParameters(max_c=75.0, fastest_rate_c_s=0.04, actuator=Actuator.RELAY)
