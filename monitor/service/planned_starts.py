"""Starts planned for later: people plan and withdraw them, time decides what becomes of them (D-11, B-13)."""

import logging
import threading
from collections.abc import Callable
from dataclasses import replace

from monitor.alarms.planned_starts import notice
from monitor.errors import BadInputError
from monitor.model.audit import SYSTEM, AuditEntry, AuditKind
from monitor.model.cycle import LoadItem, Problem
from monitor.model.message import Message
from monitor.model.people import Act
from monitor.model.planned_start import (
    AnyStart,
    PlannedStart,
    PlannedState,
    SeenSpool,
    StartLater,
    UnreadableStart,
)
from monitor.oven import planned as rules
from monitor.oven.planned import Needs, Seen, Then
from monitor.ports import Clock, ReadStore
from monitor.service.clock_watch import ClockWatch
from monitor.service.engine import Engine
from monitor.service.oven_acts import Ask
from monitor.service.oven_desk import OvenDesk
from monitor.service.planned_checks import check_wish, in_its_way
from monitor.service.planned_facts import needs_of, places_of, spools_now, would_hold
from monitor.service.queries import Queries

log = logging.getLogger(__name__)

NEEDS_FRESH_S = 600.0  # a plan takes its time to work out and moves slowly
NEEDS_DUE_S = 60.0
_STATES = {
    Then.ASK: PlannedState.ASKED,
    Then.MISSED: PlannedState.MISSED,
    Then.STARTED: PlannedState.STARTED,
}


class PlannedStarts:
    """The rows stand in the database alone, so a restart forgets nothing. Not for the worker's thread."""

    def __init__(
        self,
        store: ReadStore,
        queries: Queries,
        desk: OvenDesk,
        begin: Callable[[PlannedStart], tuple[Problem, ...]],
        ask: Ask,
        clock: Clock,
        *,
        is_clock_known: Callable[[], bool],
        tell: Callable[[tuple[Message, ...]], None],
    ) -> None:
        """`begin` runs on the worker's thread; `tell` gets each notice once a run, after it is written."""
        self._store = store
        self._queries = queries
        self._desk = desk
        self._begin = begin
        self._ask = ask
        self._clock = clock
        self._is_clock_known = is_clock_known
        self._tell = tell
        self._told: set[tuple[str, str]] = set()
        self._needs: dict[int, tuple[float, Needs]] = {}
        self._one_look = threading.Lock()
        self._is_wanted = False
        self.watch = ClockWatch(clock)
        self.edited: Callable[[], None] = lambda: None  # whoever keeps the times is told by this

    def listed(self) -> tuple[AnyStart, ...]:
        """All that wait for their time or for a person, as committed."""
        return self._store.planned_starts()

    def would_hold(self, oven: str, spools: tuple[str, ...]) -> tuple[LoadItem, ...]:
        """What the oven's load would be with just these in it."""
        return would_hold(self._queries, oven, spools)

    def plan(self, oven: str, wish: StartLater, who: str) -> int:
        """A person agrees to a start at a time; returns its number.

        BadInputError or RefusedError say what is wrong; nothing is written then. One that waits for the
        same load in the same oven is replaced by it.
        """
        is_tray = all(key in self._queries.library().desiccants for key in wish.load)
        seen = spools_now(self._queries)
        needs = None if is_tray else needs_of(self._queries, oven, wish.load, wish.target_pct)
        check_wish(self._queries, oven, wish, needs, self._clock.wall_s())
        start = PlannedStart(
            number=0,
            oven=oven,
            load=wish.load,
            is_tray=is_tray,
            setpoint_c=wish.setpoint_c,
            duration_s=wish.duration_s,
            needed_s=wish.duration_s if needs is None or needs.run_s is None else needs.run_s,
            limited_by=wish.limited_by,
            unattended=wish.unattended,
            start_s=wish.start_s,
            due_s=wish.due_s,
            who=who,
            planned_s=self._clock.wall_s(),
            target_pct=wish.target_pct,
            dry_g=wish.dry_g,
            loading_pct=wish.loading_pct,
            spools=places_of(seen, wish.load),
            changed_s=self._clock.wall_s(),
        )
        number = int(self._ask(lambda engine: self._write(engine, start)))
        self.edited()
        return number

    def withdraw(self, number: int, who: str) -> None:
        """It is not begun and not asked about any more."""

        def act(engine: Engine) -> None:
            row = self._store.planned_start(number)
            if row is None or (isinstance(row, PlannedStart) and not row.is_open):
                raise BadInputError("This planned start does not wait any more.")
            self._withdrawn(engine, row, who, "withdrawn")

        self._ask(act)
        self.edited()

    def times(self) -> tuple[tuple[int, float], ...]:
        """(number, Unix seconds) of each moment at which something is to be decided or said."""
        now_s = self._clock.wall_s()
        return tuple(
            (row.number, row.start_s)
            for row in self.listed()
            if isinstance(row, PlannedStart)
            and (
                row.state is PlannedState.PLANNED or (row.state is PlannedState.ASKED and row.start_s > now_s)
            )
        )

    def look(self) -> None:
        """Decide what is to be decided and say what is to be said; as often as you like, from any thread."""
        self._is_wanted = True
        while self._is_wanted and self._one_look.acquire(blocking=False):  # else the other one goes on
            try:
                self._is_wanted = False
                self._look()
            finally:
                self._one_look.release()

    def _look(self) -> None:
        self.watch.look()
        rows = [row for row in self.listed() if isinstance(row, PlannedStart)]
        self._needs = {row.number: self._needs[row.number] for row in rows if row.number in self._needs}
        if rows and self._is_clock_known():
            spools = spools_now(self._queries)
            try:
                for row in rows:
                    self._look_at(row, spools)
            except TimeoutError:  # the disk hangs: the worker comes to it later, and decides as of then
                log.warning("planned starts wait for the database")
        self._say()

    def _look_at(self, row: PlannedStart, spools: dict[str, SeenSpool]) -> None:
        needs = self._needs_now(row)
        if rules.decide(row, self._seen(row, spools, needs)).then is Then.WAIT:
            return  # nothing to write, so the worker need not be asked
        self._ask(lambda engine: self._settle(engine, row.number, spools, needs))

    def _settle(self, engine: Engine, number: int, spools: dict[str, SeenSpool], needs: Needs | None) -> None:
        """On the worker's thread, with what is so by now."""
        row = self._store.planned_start(number)
        if not isinstance(row, PlannedStart):
            return
        self.watch.look()
        found = rules.decide(row, self._seen(row, spools, needs))
        if found.then is Then.WAIT:
            return
        if found.then is Then.BEGIN:
            found = self._begun(row)
        self._become(engine, row, _STATES[found.then], " ".join(found.why), found.cycle)

    def _begun(self, row: PlannedStart) -> rules.Verdict:
        """Through all that a start must pass; what is refused is asked about."""
        problems = self._begin(row)
        if problems:
            return rules.Verdict(then=Then.ASK, why=tuple(f"{p.title}. {p.detail}" for p in problems))
        cycle = self._desk.now(row.oven).cycle
        why = "Begun at its time: the oven was armed and all was as planned."
        return rules.Verdict(then=Then.STARTED, why=(why,), cycle=None if cycle is None else cycle.id)

    def _become(
        self, engine: Engine, row: PlannedStart, state: PlannedState, why: str, cycle: str | None = None
    ) -> None:
        now_s = self._clock.wall_s()
        engine.keep_planned(replace(row, state=state, changed_s=now_s, why=why, cycle=cycle))
        detail = {"number": row.number, "start_s": row.start_s, "state": str(state), "cycle": cycle}
        what = f"The start planned by {row.who} is now {state}. {why}".rstrip()
        engine.audit(
            AuditEntry(
                at_ms=round(now_s * 1000),
                who=SYSTEM,
                kind=AuditKind.OVEN,
                about=row.oven,
                what=what,
                detail=detail,
            )
        )
        log.info("planned start number=%d oven=%s state=%s why=%s", row.number, row.oven, state, why)

    def _write(self, engine: Engine, start: PlannedStart) -> int:
        """On the worker's thread: what stands in its way refuses it, its forerunners give way."""
        waiting = [row for row in self.listed() if isinstance(row, PlannedStart)]
        for old in in_its_way(start, waiting, self._seen(start, {}, None)):
            self._withdrawn(engine, old, start.who, "planned anew")
        number = engine.keep_planned(start)
        detail = (
            f"number {number}, {start.setpoint_c:g} °C for {start.duration_s:.0f} s at {start.start_s:.0f}"
        )
        self._note(engine, start.who, "planned a start", start.oven, detail)
        return number

    def _withdrawn(self, engine: Engine, row: AnyStart, who: str, why: str) -> None:
        if isinstance(row, PlannedStart):
            now_s = self._clock.wall_s()
            row = replace(row, state=PlannedState.WITHDRAWN, changed_s=now_s, why=f"{why} by {who}")
        engine.keep_planned(row)
        self._note(engine, who, "withdrew a planned start", row.oven, f"number {row.number}, {why}")

    def _note(self, engine: Engine, who: str, what: str, oven: str, detail: str) -> None:
        at_ms = round(self._clock.wall_s() * 1000)
        engine.note(Act(at_ms=at_ms, person=who, what=what, on_what=oven, detail=detail))

    def _seen(self, row: PlannedStart, spools: dict[str, SeenSpool], needs: Needs | None) -> Seen:
        try:
            oven = self._desk.now(row.oven)
        except BadInputError:
            oven = None
        return Seen(
            wall_s=self._clock.wall_s(),
            mono_s=self._clock.mono_s(),
            watching_since_mono_s=self.watch.since_mono_s,
            is_clock_known=self._is_clock_known(),
            steps=self.watch.steps(),
            oven=oven,
            spools=spools,
            needs=needs,
        )

    def _needs_now(self, row: PlannedStart) -> Needs | None:
        """Worked out anew where it is too old for what it decides."""
        if row.is_tray or row.state is not PlannedState.PLANNED:
            return None
        now_s = self._clock.mono_s()
        is_due = self._clock.wall_s() >= row.start_s
        known = self._needs.get(row.number)
        if known is None or now_s - known[0] > (NEEDS_DUE_S if is_due else NEEDS_FRESH_S):
            known = now_s, needs_of(self._queries, row.oven, row.load, row.target_pct)
            self._needs[row.number] = known
        return known[1]

    def _say(self) -> None:
        """What is written and not said in this run; whoever delivers knows what was said before it."""
        ovens, now_s = self._queries.inventory().ovens, self._clock.wall_s()
        messages = []
        for row in self.listed():
            if isinstance(row, UnreadableStart):
                continue
            name = ovens[row.oven].name if row.oven in ovens else row.oven
            message = notice(row, name, now_s, self._queries.zone())
            if message is not None and (message.subject, message.occurrence) not in self._told:
                messages.append(message)
        if messages:
            self._tell(tuple(messages))
            self._told |= {(each.subject, each.occurrence) for each in messages}
