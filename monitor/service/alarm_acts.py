"""What people do about alarms, from any thread; what is refused is told in one sentence and written down."""

import math
from collections.abc import Callable, Sequence
from typing import Any

from monitor.alarms import metrics
from monitor.alarms.events import (
    Acknowledged,
    Event,
    OutOfService,
    ResetAsked,
    Returned,
    Shelved,
    Unshelved,
)
from monitor.alarms.metrics import AlarmHealth
from monitor.errors import BadInputError, RefusedError
from monitor.model.alarm_change import AlarmFigure, AlarmTransition
from monitor.ports import Clock, ReadStore
from monitor.service.alarm_answers import AlarmLook
from monitor.service.alarm_desk import AlarmDesk
from monitor.service.alarm_figures import check
from monitor.service.alarm_proposals import Proposal, proposals
from monitor.service.engine import Engine

Ask = Callable[[Callable[[Engine], Any]], Any]
_SEEN_AT_ONCE = 200
_DAY_MS = 86_400_000
_HISTORY_DAYS, _HISTORY_LINES = 365, 100


class AlarmActs:
    """Acts of the pages and of links in messages. Reading is `desk.looks()` and the like."""

    def __init__(self, desk: AlarmDesk, store: ReadStore, ask: Ask, clock: Clock) -> None:
        self.desk = desk
        self._store = store
        self._ask = ask
        self._clock = clock

    def acknowledge(self, key: str, activation: str, who: str) -> AlarmLook:
        """Seen by somebody; again changes nothing, and one that is not the newest is refused (A-04)."""
        return self._act(key, Acknowledged(activation=activation[:64], who=who), who)

    def acknowledge_visible(self, seen: Sequence[tuple[str, str]], who: str) -> tuple[str, ...]:
        """All (key, activation) that were on the screen; returns a sentence for each that was refused."""
        if len(seen) > _SEEN_AT_ONCE:
            raise BadInputError(f"alarms must be at most {_SEEN_AT_ONCE} at once")
        refused = []

        def act(_: Engine) -> None:
            for key, activation in seen:
                try:
                    self.desk.act(key, Acknowledged(activation=activation[:64], who=who), who)
                except (RefusedError, BadInputError) as error:
                    refused.append(str(error))

        self._ask(act)
        return tuple(refused)

    def shelve(
        self, key: str, who: str, why: str, *, until_s: float | None = None, one_shot: bool = False
    ) -> AlarmLook:
        """Put aside until a time [Unix s], or until it is over but no longer than may be (A-06)."""

        def event() -> Event:
            if until_s is None and not one_shot:
                raise BadInputError("until must be given, or one-shot chosen")
            most_s = self.desk.look(key).shelve_max_s
            lasts_s = most_s if until_s is None else until_s - self._clock.wall_s()
            if not math.isfinite(lasts_s):
                raise BadInputError("until must be a time")
            return Shelved(lasts_s=lasts_s, one_shot=one_shot, why=why, who=who)

        return self._act(key, event, who)

    def unshelve(self, key: str, who: str) -> AlarmLook:
        return self._act(key, Unshelved(who=who), who)

    def silence(self, minutes: float, who: str) -> float:
        """No noise but safety's, for all; returns until when [Unix s]. It acknowledges nothing (A-05)."""
        return float(self._ask(lambda _: self.desk.silence(minutes, who)))

    def out_of_service(self, key: str, who: str, why: str) -> AlarmLook:
        """For maintenance; brought to mind each day until it is returned (A-08)."""
        return self._act(key, OutOfService(why=why, who=who), who)

    def return_to_service(self, key: str, who: str) -> AlarmLook:
        found = self._act(key, Returned(who=who), who)
        self.desk.poke()
        return found

    def reset(self, key: str, who: str) -> AlarmLook:
        """Un-latch what is over and was acknowledged (A-11)."""
        return self._act(key, ResetAsked(who=who), who)

    def set_figure(self, kind: str, name: str, value: float | None, who: str, why: str) -> AlarmFigure:
        """Another number than the table's, or the table's again with None (A-32)."""

        def act(_: Engine) -> AlarmFigure:
            def change() -> AlarmFigure:
                row, text = self.desk.row(kind), " ".join(why.split())
                check(row, name, value)
                if not 1 <= len(text) <= 200:
                    raise BadInputError("why must be 1 to 200 characters")
                old = getattr(row, name)
                at_ms = round(self._clock.wall_s() * 1000)
                figure = AlarmFigure(
                    type=kind, name=name, old=old, value=value, who=who, why=text, at_ms=at_ms
                )
                self.desk.set_figure(figure)
                return figure

            found: AlarmFigure = self._noting(who, kind, "set_figure", change)
            return found

        found = self._ask(act)
        assert isinstance(found, AlarmFigure)
        return found

    def revert_figure(self, kind: str, name: str, who: str) -> AlarmFigure:
        """Back to what it was before the newest change, in one act (A-32)."""
        newest = self.desk.figure(kind, name)
        if newest is None:
            raise RefusedError(f"{name[:40]} of {kind[:63]} was never changed")
        return self.set_figure(kind, name, newest.old, who, "taken back")

    def figures(self) -> tuple[AlarmFigure, ...]:
        """Every number that was ever set, oldest first."""
        return self._store.alarm_figures()

    def transitions(self, days: float = 30.0) -> tuple[AlarmTransition, ...]:
        """The log of the last days, oldest first."""
        now_ms = round(self._clock.wall_s() * 1000)
        return self._store.alarm_log(now_ms - round(days * _DAY_MS), now_ms + 1)

    def history(self, key: str) -> tuple[AlarmTransition, ...]:
        """The newest of what became of one alarm within a year, oldest first."""
        now_ms = round(self._clock.wall_s() * 1000)
        return self._store.alarm_log(now_ms - _HISTORY_DAYS * _DAY_MS, now_ms + 1, _HISTORY_LINES, key)

    def health(self, days: float = 30.0, sample_s: float = 60.0) -> AlarmHealth:
        """How the alarms themselves do (A-18, A-19, A-33)."""
        now_s = self._clock.wall_s()
        kinds = tuple(self.desk.rows())
        return metrics.health(self.transitions(days), kinds, now_s - days * 86_400.0, now_s, sample_s)

    def proposals(self, found: AlarmHealth) -> tuple[Proposal, ...]:
        """Better deadbands for what comes too often, from the sensors' own noise (A-18)."""
        now_ms = round(self._clock.wall_s() * 1000)
        return proposals(self._store, found, self.desk.rows(), now_ms)

    def _act(self, key: str, event: Event | Callable[[], Event], who: str) -> AlarmLook:
        def act(_: Engine) -> None:
            made = self._noting(who, key, "shelve", event) if callable(event) else event
            self.desk.act(key, made, who)

        self._ask(act)
        return self.desk.look(key)

    def _noting(self, who: str, key: str, what: str, make: Callable[[], Any]) -> Any:
        """A refusal before the desk sees it is written down, too."""
        try:
            return make()
        except (RefusedError, BadInputError) as error:
            self.desk.refused(who, key, what, str(error))
            raise
