"""One step under way: the state as it becomes, and what is to be done."""

from dataclasses import replace
from typing import Any

from monitor.model.cycle import Actuator, Cycle, OvenRecord, RecordKind
from monitor.model.oven import OvenPhase
from monitor.oven.effects import ORDER, Effect, Notify, PublishStop, Record, RelayOff
from monitor.oven.moves import Seen, move
from monitor.oven.state import Supervised


class Turn:
    """Lives within one call of `step` and never leaves it, so `step` stays a pure function."""

    def __init__(self, state: Supervised, mono_s: float, wall_s: float) -> None:
        self.state = state
        self.mono_s = mono_s
        self.wall_s = wall_s
        self._effects: list[Effect] = []

    def change(self, **changes: Any) -> None:
        self.state = replace(self.state, **changes)

    def change_cycle(self, **changes: Any) -> None:
        self.change(cycle=replace(self.cycle, **changes))

    @property
    def cycle(self) -> Cycle:
        assert self.state.cycle is not None
        return self.state.cycle

    def put(self, effect: Effect) -> None:
        self._effects.append(effect)

    def effects(self) -> tuple[Effect, ...]:
        """In the order in which they are to be done: off, the book, words, heat."""
        return tuple(sorted(self._effects, key=lambda effect: ORDER.index(type(effect))))

    def record(self, kind: RecordKind, what: str, rule: str | None = None, who: str | None = None) -> None:
        cycle = self.state.cycle.id if self.state.cycle else None
        self.put(
            Record(
                record=OvenRecord(
                    kind=kind,
                    oven=self.state.oven,
                    at_wall_s=self.wall_s,
                    what=what,
                    cycle=cycle,
                    rule=rule,
                    who=who,
                )
            )
        )

    def notify(self, rule: str, what: str, *, is_safety: bool = False) -> None:
        self.put(Notify(oven=self.state.oven, rule=rule, what=what, is_safety=is_safety))

    def go(self, seen: Seen) -> OvenPhase:
        """Along the table. What orders were decided on before no longer counts (B-28)."""
        before, after = self.state.phase, move(self.state.phase, seen)
        self.change(phase=after, version=self.state.version + 1, noticed=())
        if after is not before:
            self.record(RecordKind.PHASE, f"{before} to {after}: {seen}")
        return after

    def let_lapse(self, why: str) -> None:
        """Heat is to end without a stop: a relay goes off, a controller gets nothing that heats any more."""
        if self.state.parameters.actuator is Actuator.RELAY:
            self.put(RelayOff(oven=self.state.oven, why=why))
        self.change(given=None)

    def switch_off(self, cycle: str, why: str) -> None:
        """Heat off by every means there is; whether it worked is looked at with the next states (B-17)."""
        if self.state.parameters.actuator is Actuator.RELAY:
            self.put(RelayOff(oven=self.state.oven, why=why))
        number = self.state.stops + 1
        self.put(PublishStop(oven=self.state.oven, cycle=cycle, why=why, id=stop_id(self.state.oven, number)))
        since_s = self.state.stop_since_mono_s
        self.change(
            stops=number,
            given=None,
            stop_since_mono_s=self.mono_s if since_s is None else since_s,
            stop_sent_mono_s=self.mono_s,
        )


def stop_id(oven: str, number: int) -> str:
    """By which our own stop is known when the broker sends it back."""
    return f"{oven}-{number}"


def is_own_stop(state: Supervised, id_: str | None) -> bool:
    """Whether a stop message heard is the echo of a recent one of ours."""
    recent = range(max(state.stops - 7, 1), state.stops + 1)
    return id_ is not None and any(id_ == stop_id(state.oven, number) for number in recent)
