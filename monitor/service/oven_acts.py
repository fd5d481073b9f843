"""What people ask of ovens, from any thread, and how an oven looks to them."""

import logging
import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.errors import BadInputError, RefusedError
from monitor.model.cycle import (
    Ending,
    ExtendOrder,
    FirstOut,
    Order,
    Origin,
    Problem,
    ResetOrder,
    StartOrder,
)
from monitor.model.inventory import Oven
from monitor.model.oven import OvenState
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.oven_look import CheckItem, OvenLook, StartWish
from monitor.model.oven_progress import Progress
from monitor.model.oven_run import COMMISSIONING
from monitor.model.people import Act
from monitor.model.planned_start import PlannedStart
from monitor.oven import effects as done
from monitor.oven import hard
from monitor.oven.events import Event, ExtendAsked, ResetAsked, StartAsked
from monitor.oven.fitness import energy_wh
from monitor.oven.load_limit import allowed
from monitor.oven.site import TICK_WORDS, Tick
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING
from monitor.ports import Clock, ReadStore
from monitor.service import oven_trace
from monitor.service.engine import Engine
from monitor.service.oven_commissioning import OvenCommissioning
from monitor.service.oven_desk import OvenDesk
from monitor.service.oven_figures import told_of
from monitor.service.oven_proof import OvenProof
from monitor.service.oven_site import DESICCANT
from monitor.service.ovens import HOT_C
from monitor.service.queries import Queries

log = logging.getLogger(__name__)

_RECORDS = 40
_TEXT_MAX = 200
Ask = Callable[[Callable[[Engine], Any]], Any]


class OvenActs:
    """The acts of the pages. What is refused is told with the reason; a stop is never refused."""

    def __init__(
        self,
        desk: OvenDesk,
        store: ReadStore,
        queries: Queries,
        ask: Ask,
        clock: Clock,
        progress: Callable[[str], Progress | None] = lambda _: None,
    ) -> None:
        self._desk = desk
        self._store = store
        self._queries = queries
        self._ask = ask
        self._clock = clock
        self._progress = progress
        self.proof = OvenProof(desk, store, queries, self._state, clock)
        self.commissioning = OvenCommissioning(
            desk, store, queries, start=self.start, state=self._state, clock=clock
        )

    def look(self, oven: str) -> OvenLook:
        """The oven now; BadInputError where there is no such oven."""
        state = self._desk.now(oven)
        entry = self._queries.inventory().ovens.get(oven)
        if entry is None:
            raise BadInputError(f"oven {oven[:63]!r} is not in the inventory")
        look = _look(entry, state, self._clock.mono_s(), self._clock.wall_s(), self._store)
        return replace(look, progress=self._progress(oven))

    def trips(self, oven: str) -> tuple[str, ...]:
        """The trips of which a first-out record was kept."""
        return self._store.oven_trips(oven)

    def trip(self, oven: str, trip: str) -> FirstOut | None:
        """What was recorded round one of them (A-25)."""
        text = self._store.oven_first_out(oven, trip)
        return None if text is None else oven_trace.from_text(text)

    def start(self, oven: str, wish: StartWish, who: str) -> tuple[Problem, ...]:
        """Begin what was confirmed; empty = granted."""
        known = self._queries.library().desiccants
        trays = [key for key in wish.load if key in known or key == COMMISSIONING]
        load = tuple(f"{DESICCANT}{key}" if key in known else key for key in wish.load)

        def act(_: Engine) -> tuple[Problem, ...]:
            version = self._desk.now(oven).version
            if self._desk.minded(oven) is None:  # what lies in an oven that runs is not for this order to say
                self._desk.put_tray(oven, trays[0] if trays else None)
            self._desk.tell_site()
            state = self._desk.now(oven)
            # A tray that this very start puts in is what the person was shown, not a change since.
            seen = state.version if wish.version == version else wish.version
            bound = allowed(state.site.load if state.site else (), state.parameters)
            return self._begin(oven, replace(wish, version=seen, load=load, limited_by=bound.limited_by), who)

        self._desk.now(oven)
        return tuple(self._ask(act))

    def begin_planned(self, start: PlannedStart) -> tuple[Problem, ...]:
        """B-13: the same road for what was planned for now, on the worker's thread; empty = granted."""
        self._desk.tell_site()
        wish = StartWish(
            order=f"planned-{start.number}",  # whatever asks twice gets the same answer
            version=self._desk.now(start.oven).version,
            load=start.load,
            setpoint_c=start.setpoint_c,
            duration_s=start.duration_s,
            limited_by=start.limited_by,
            unattended=start.unattended,
            shown_s=start.planned_s,
            target_pct=start.target_pct,
        )
        return self._begin(start.oven, wish, start.who, Origin.SCHEDULE)

    def _begin(
        self, oven: str, wish: StartWish, who: str, origin: Origin = Origin.PERSON
    ) -> tuple[Problem, ...]:
        resumes = None
        if origin is Origin.PERSON:  # going on with a cycle is a person's wish, never a plan's (B-22)
            resumes = _resumed(self._desk.now(oven), wish.load, self._clock.mono_s())
        order = StartOrder(
            **self._order(wish.order, wish.version, who),
            load=wish.load,
            setpoint_c=wish.setpoint_c,
            duration_s=wish.duration_s,
            ends_wall_s=self._clock.wall_s() + wish.duration_s,
            limited_by=wish.limited_by,
            unattended=wish.unattended,
            origin=origin,
            resumes=resumes,
            target_pct=wish.target_pct,
            first_m=wish.first_m,
            learned_energy_wh=self._energy_wh(oven, wish, self._desk.now(oven)),
        )
        return _problems(self._desk.step(oven, StartAsked(order=order)))

    def _energy_wh(self, oven: str, wish: StartWish, state: Supervised) -> float | None:
        """R16: by the run that was accepted; an oven that nothing was learned of has no such bound."""
        entry = self._queries.inventory().ovens[oven]
        room_c = state.site.room_c if state.site is not None else None
        if room_c is None:
            return None
        known = told_of(entry, self._store.oven_facts()).accepted
        above_c, spools = max(wish.setpoint_c - room_c, 0.0), len(wish.load)
        return energy_wh(known, above_c=above_c, duration_s=wish.duration_s, spools=spools)

    def stop(self, oven: str, who: str, why: str) -> None:
        """Heat off, whoever asks and whatever runs: said to the oven at once, then written down (B-17)."""
        self._desk.now(oven)
        who, why = who[:_TEXT_MAX] or "somebody", why[:_TEXT_MAX] or "stopped"
        is_said = self._desk.stop_at_once(oven, who, why)
        try:
            self._ask(lambda _: self._desk.note_stop(oven))
        except TimeoutError:  # the disk hangs: the stop is out all the same, and noted with the next state
            log.warning("a stop is not written down yet oven=%s", oven)
        if not is_said:
            raise RefusedError("the broker cannot be reached: pull the oven's plug")

    def extend(
        self, oven: str, order: str, version: int, cycle: str, extra_s: float, who: str
    ) -> Problem | None:
        """Longer by so much: a new confirmed order (B-15)."""
        wish = ExtendOrder(**self._order(order, version, who), cycle=cycle, extra_s=extra_s)
        return self._asked(oven, ExtendAsked(order=wish))

    def reset(
        self, oven: str, order: str, version: int, trip: str, checked: tuple[str, ...], text: str, who: str
    ) -> Problem | None:
        """Unlock after a trip; starts nothing (B-30, B-31)."""
        wish = ResetOrder(
            **self._order(order, version, who), trip=trip, checked=checked, text=text[:_TEXT_MAX]
        )
        return self._asked(oven, ResetAsked(order=wish))

    def tick_off(self, oven: str, ticked: tuple[str, ...], who: str) -> None:
        """The checklist for unattended use, all at once (B-40)."""
        unknown = [item for item in ticked if item not in set(Tick)]
        if unknown:
            raise BadInputError(f"{unknown[0][:40]!r} is no item of the checklist")
        self._state(OvenFact(oven=oven, at_s=0.0, kind=FactKind.CHECKLIST, value=",".join(ticked), who=who))

    def confirm_cutout(self, oven: str, who: str) -> None:
        """An independent cut-out with manual reset is fitted and was tested (B-51)."""
        self._state(OvenFact(oven=oven, at_s=0.0, kind=FactKind.CUTOUT, value="fitted", who=who))

    def proof_tested(self, oven: str, who: str) -> None:
        """All steps of the yearly proof test were passed (B-50); RefusedError while one is missing."""
        self.proof.conclude(oven, who)

    def _state(self, fact: OvenFact, means: Event | None = None) -> None:
        def act(engine: Engine) -> None:
            at_s = self._clock.wall_s()
            told = OvenFact(oven=fact.oven, at_s=at_s, kind=fact.kind, value=fact.value, who=fact.who)
            self._desk.state_fact(told, means)
            said = Act(at_ms=round(at_s * 1000), person=fact.who, what=str(fact.kind), on_what=fact.oven)
            engine.note(said)

        self._desk.now(fact.oven)
        self._ask(act)
        self._ask(lambda _: self._desk.tell_site())  # what was written is read from the store

    def _asked(self, oven: str, event: Event) -> Problem | None:
        found = _problems(self._step(oven, event))
        return found[0] if found else None

    def _step(self, oven: str, event: Event) -> tuple[done.Effect, ...]:
        self._desk.now(oven)
        return tuple(self._ask(lambda _: self._desk.step(oven, event)))

    def _order(self, order: str, version: int, who: str) -> dict[str, Any]:
        """What every order carries (B-16); made here, on the board's own clock, at this moment."""
        base = Order(
            id=order[:_TEXT_MAX] or uuid.uuid4().hex,
            issuer="pages",
            seq=self._desk.next_number(),
            issued_wall_s=self._clock.wall_s(),
            expires_after_s=hard.MAX_ORDER_AGE_S,
            state_version=version,
            who=who[:_TEXT_MAX],
        )
        return {name: getattr(base, name) for name in Order.__dataclass_fields__}


def _resumed(state: Supervised, load: tuple[str, ...], mono_s: float) -> str | None:
    """B-22: the cycle whose link was lost a moment ago, when the same load is started again."""
    ended = state.ended
    if ended is None or ended.ending is not Ending.LINK_LOST or ended.ended_mono_s is None:
        return None
    is_soon = mono_s - ended.ended_mono_s <= hard.RESUME_WITHIN_S
    return ended.cycle if is_soon and sorted(ended.load) == sorted(load) else None


def _problems(effects: tuple[done.Effect, ...]) -> tuple[Problem, ...]:
    return tuple(e.problem for e in effects if isinstance(e, done.Answer) and e.problem is not None)


def _look(entry: Oven, state: Supervised, mono_s: float, wall_s: float, store: ReadStore) -> OvenLook:
    newest = state.window.newest
    said = None if newest is None else newest.state
    age_s = None if newest is None else max(mono_s - newest.heard_mono_s, 0.0)
    chamber = () if said is None else said.chamber_c
    hottest_c = max((value for value in chamber if value is not None), default=None)
    cycle = state.cycle
    runs = cycle is not None and state.phase in RUNNING
    left_s = max(cycle.ends_mono_s - mono_s, 0.0) if cycle is not None and runs else None
    site = state.site
    checklist = None if site is None else site.checklist
    return OvenLook(
        key=entry.key,
        name=entry.name,
        room=entry.room,
        phase=str(state.phase),
        version=state.version,
        age_s=age_s,
        is_fresh=age_s is not None and age_s <= hard.MAX_STATE_AGE_S,
        chamber_c=chamber,
        hottest_c=hottest_c,
        is_hot=None if hottest_c is None else hottest_c >= HOT_C,
        heater=None if said is None else said.heater,
        power_w=None if said is None else said.power_w,
        fan=None if said is None else said.fan,
        door_open=None if said is None else said.door_open,
        armed_s=None if said is None else said.armed_s,
        permit_left_s=None if said is None or said.permit is None else said.permit.left_s,
        refused=_refusal(said),
        cycle=cycle,
        left_s=left_s,
        ends_at_s=None if left_s is None else wall_s + left_s,
        ended=state.ended,
        trip=state.trip,
        is_out_of_service=state.is_out_of_service,
        stop_asked_s=None if state.stop_since_mono_s is None else mono_s - state.stop_since_mono_s,
        load=() if site is None else site.load,
        checklist=tuple(
            CheckItem(
                key=str(tick),
                words=words,
                is_ticked=checklist is not None and tick in checklist.ticked,
            )
            for tick, words in TICK_WORDS.items()
        ),
        checklist_at_s=None if checklist is None else checklist.at_wall_s,
        checklist_who="" if checklist is None else checklist.who,
        proof_tested_s=None if site is None else site.proof_tested_wall_s,
        is_cutout_confirmed=site is not None and site.is_cutout_confirmed,
        records=store.oven_records(entry.key, _RECORDS),
    )


def _refusal(said: OvenState | None) -> str | None:
    return None if said is None or said.refused is None else said.refused.why
