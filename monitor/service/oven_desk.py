"""The supervision of all ovens in the service: events in, effects out, each after its record is written."""

import itertools
import json
import logging
import uuid
from collections import deque
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Protocol

from monitor.errors import BadInputError, BadMessageError, StoreError
from monitor.model.arrival import Arrival
from monitor.model.batch import Batch
from monitor.model.cycle import RecordKind
from monitor.model.inventory import Inventory, Oven
from monitor.model.oven_fact import OvenChanges, OvenFact
from monitor.model.oven_run import COMMISSIONING
from monitor.oven import effects as done
from monitor.oven import saved, supervisor
from monitor.oven.effects import Effect
from monitor.oven.events import Event, FiguresSaid, Heard, Restarted, SiteSaid, StopAsked, Ticked
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Detector, Site
from monitor.oven.state import Supervised, begin
from monitor.ports import Clock
from monitor.service.oven_figures import parameters_for
from monitor.service.oven_relay import RelayOven
from monitor.service.oven_runs import OvenRuns
from monitor.service.oven_site import Known
from monitor.service.oven_smoke import Detectors, may_tell
from monitor.service.ovens import Minded, minded_by
from monitor.wire import topics
from monitor.wire.messages import parse_oven_state, parse_pack
from monitor.wire.oven_messages import dump_permit, dump_reset, dump_stop, parse_stop

log = logging.getLogger(__name__)

TICK_S = 1.0
SITE_S = 20.0
_ALARM = Detector(is_heard=True, is_alarming=True)


class World(Protocol):
    """What the desk needs of the rest of the service. All of it is called on the worker's thread."""

    @property
    def note(self) -> Callable[[OvenChanges], None]:
        """Into the batch that is committed next."""

    @property
    def publish(self) -> Callable[[str, bytes, int | None], bool]:
        """(topic, payload, seconds until it expires), whether it will be sent; from any thread."""

    @property
    def publish_now(self) -> Callable[[str, bytes], bool]:
        """(topic, payload), sent at once or not at all, and never again."""

    def known(self) -> Known:
        """What is committed, read from the store for all ovens at once."""

    def site(self, oven: str, known: Known, tray: str | None) -> Site:
        """What is so around an oven now."""


class OvenDesk:
    """One supervision per oven. Everything but `now` is called on the worker's thread."""

    def __init__(
        self, key: str, world: World, clock: Clock, kept: dict[str, str], *, lease_s: float = 30.0
    ) -> None:
        self._site_key = key
        self._world = world
        self._clock = clock
        self._kept = kept
        self._lease_s = lease_s
        self._inventory = Inventory()  # as it was read last, at the latest with the commit that changed it
        self._figures: dict[str, OvenParameters] = {}  # as inventory and commissioning have them now
        self._detectors = Detectors()
        self._relays: dict[str, RelayOven] = {}
        self._states: dict[str, Supervised] = {}
        self._waiting: list[Effect] = []  # until what they rest on is written
        self._trays: dict[str, str] = {}
        self._runs = OvenRuns()
        self._ticked_s = self._told_s = float("-inf")
        self._numbers = itertools.count(1)
        self._is_up = False  # at the first tick all ovens are; then the inventory's changes are told
        self._unnoted: dict[str, tuple[str, str]] = {}  # stops said at once, by oven
        self._own_stops: deque[str] = deque(maxlen=64)  # the broker gives them back

    def now(self, oven: str) -> Supervised:
        """The supervision as it is; from any thread. BadInputError where there is no such oven."""
        state = self._states.get(oven)
        if state is None:
            raise BadInputError(f"oven {oven[:63]!r} is not in the inventory")
        return state

    def ovens(self) -> tuple[str, ...]:
        """Keys of all that are supervised."""
        return tuple(self._states)

    def minded(self, oven: str) -> Minded | None:
        """The cycle that runs or cools; from any thread."""
        return minded_by(self._states.get(oven), self._clock.mono_s())

    def is_urgent(self) -> bool:
        """Whether something waits for a commit."""
        return bool(self._waiting)

    def arrived(self, arrival: Arrival) -> None:
        """A message that may concern an oven; the worker has kept it already."""
        try:
            topic = topics.parse(arrival.topic)
        except BadMessageError:
            return
        if getattr(topic, "site", None) != self._site_key:
            return
        if isinstance(topic, topics.NodeSenml):
            self._node_heard(topic.node, arrival)
        elif isinstance(topic, topics.OvenStop):
            self._stop_heard(topic.oven, arrival)
        elif isinstance(topic, topics.OvenState) and self._is_controlled(topic.oven) and not arrival.retain:
            try:
                state = parse_oven_state(arrival.payload)
            except BadMessageError:
                return  # in the quarantine already; an oven that is not understood is not heard
            self.note_stop(topic.oven)
            self.step(topic.oven, Heard(state=state))

    def tick(self) -> None:
        """Time passes: at least every second while anything runs."""
        now_s = self._clock.mono_s()
        if now_s - self._ticked_s < TICK_S:
            return
        self._ticked_s = now_s
        if not self._is_up:
            self._read()
            self._bring_up()
            self._is_up = True
        if now_s - self._told_s >= SITE_S:
            self.tell_site()
        for oven in list(self._states):
            self._tell_figures(oven)
            if oven in self._relays:
                self._relay_speaks(oven)
            else:
                self.step(oven, Ticked())

    def tell_site(self) -> None:
        """Load, room, store and so on, to every oven."""
        self._told_s = self._clock.mono_s()
        self._tell_all(self._read())

    def put_tray(self, oven: str, desiccant: str | None) -> None:
        """A person says that a tray of desiccant lies in it, or does not any more."""
        if self._trays.get(oven) == desiccant:
            return
        if desiccant is None:
            self._trays.pop(oven, None)
        else:
            self._trays[oven] = desiccant
        self.step(oven, SiteSaid(site=self._site(oven, self._read())))

    def state_fact(self, fact: OvenFact, means: Event | None = None) -> None:
        """What a person states of an oven; `means` is what follows from it for the supervision."""
        self.now(fact.oven)
        changes = OvenChanges()
        changes.facts.append(fact)
        self._world.note(changes)
        if means is not None:
            self.step(fact.oven, means)

    def step(self, oven: str, event: Event) -> tuple[Effect, ...]:
        """One event through the supervision; what must not wait is done at once, the rest after a commit."""
        before = self.now(oven)
        state, effects = supervisor.step(before, event, self._clock.mono_s(), self._clock.wall_s())
        self._states[oven] = state
        self._record_run(before, state, effects)
        changes = OvenChanges()
        rest: list[Effect] = []
        for effect in effects:
            if isinstance(effect, done.PublishStop | done.RelayOff):
                self._carry_out(effect)  # off never waits for a disk (B-17)
                self._take_back_heat(oven)
            elif isinstance(effect, done.Record):
                changes.records.append(effect.record)
            elif isinstance(effect, done.KeepFirstOut):
                text = json.dumps(asdict(effect.first_out), ensure_ascii=False, allow_nan=False)
                changes.first_outs[(oven, effect.first_out.trip)] = text
            else:
                rest.append(effect)
        answers = any(isinstance(effect, done.Answer) for effect in effects)
        if changes.records or changes.first_outs or answers or state.version != before.version:
            changes.states[oven] = saved.to_text(state)
            self._world.note(changes)
            self._waiting += rest
        elif self._waiting:  # in order: not before what was decided earlier
            self._waiting += rest
        else:
            for effect in rest:
                self._carry_out(effect)
        return effects

    def _record_run(self, before: Supervised, after: Supervised, effects: tuple[Effect, ...]) -> None:
        """What is to be kept of a commissioning run; when it is over, its mark lies in the oven no more."""
        records = [e.record for e in effects if isinstance(e, done.Record)]
        changes = self._runs.seen(
            before,
            after,
            self._inventory.ovens.get(after.oven),
            rule=next((r.rule for r in records if r.kind is RecordKind.CYCLE_ENDED), None),
            mono_s=self._clock.mono_s(),
            wall_s=self._clock.wall_s(),
        )
        if changes is not None:
            self._world.note(changes)
            if not self._runs.is_going(after.oven) and self._trays.get(after.oven) == COMMISSIONING:
                self._trays.pop(after.oven, None)  # told with the next word of the site

    def committed(self, batch: Batch) -> None:
        """What was noted is written: now what rests on it. A spool that was moved may lie in an oven now."""
        waiting, self._waiting = self._waiting, []
        for effect in waiting:
            self._carry_out(effect)
        if batch.events or batch.inventory is not None:
            self._told_s = self._clock.mono_s()
            known = self._read()
            self._bring_up()
            self._tell_all(known)

    def stop_at_once(self, oven: str, who: str, why: str) -> bool:
        """To the controller, past everything that waits; from any thread. `note_stop` writes it down.

        Returns whether it could be handed over for sending.
        """
        stop_id = uuid.uuid4().hex
        self._own_stops.append(stop_id)
        self._unnoted[oven] = (who, why)
        topic = topics.build(topics.OvenStop(site=self._site_key, oven=oven))
        is_sent = self._world.publish(topic, dump_stop("*", f"{who}: {why}", stop_id), None)
        relay = self._relays.get(oven)
        return is_sent if relay is None else self._world.publish(*relay.off(), None) and is_sent

    def note_stop(self, oven: str) -> None:
        """A stop that was said at once becomes a record, before anything that the oven said since."""
        told = self._unnoted.pop(oven, None)
        if told is not None:
            self.step(oven, StopAsked(who=told[0], why=told[1]))

    def next_number(self) -> int:
        """Rises with every order that is made here, over restarts too."""
        return round(self._clock.wall_s() * 1000.0) + next(self._numbers)

    def _bring_up(self) -> None:
        """A supervision for every oven of the inventory; one that is gone from it is let go."""
        ovens = self._inventory.ovens
        for gone in set(self._states) - set(ovens):
            self.step(gone, StopAsked(who="inventory", why="the oven was taken out of the inventory"))
            del self._states[gone]
            self._relays.pop(gone, None)
        for key in set(ovens) & set(self._states):
            self._tell_figures(key)
        self._bring_up_relays(ovens)
        for key in set(ovens) - set(self._states):
            parameters = self._figures[key]
            self._states[key] = self._loaded(key, parameters)
            self.step(key, Restarted(parameters=parameters))

    def _bring_up_relays(self, ovens: dict[str, Oven]) -> None:
        """A relay that is wired otherwise is another one; the old one ends by its countdown."""
        for key, entry in ovens.items():
            known = self._relays.get(key)
            if entry.relay is None:
                self._relays.pop(key, None)
            elif known is None or (known.wire, known.entry.channel) != (entry.relay, entry.channel):
                if known is not None:
                    self.step(key, StopAsked(who="inventory", why="the oven's relay was changed"))
                self._relays[key] = RelayOven(entry, entry.relay, self._clock.mono_s())

    def _is_controlled(self, oven: str) -> bool:
        """Whether a controller of its own speaks for it."""
        return oven in self._states and oven not in self._relays

    def _relay_speaks(self, oven: str) -> None:
        self.note_stop(oven)
        self.step(oven, Heard(state=self._relays[oven].state(self._clock.mono_s())))

    def _read(self) -> Known:
        """What is committed; it is read once, however many ovens there are."""
        known = self._world.known()
        figures = {
            key: parameters_for(entry, known.facts, self._lease_s)
            for key, entry in known.inventory.ovens.items()
        }
        self._inventory, self._figures = known.inventory, figures
        return known

    def _tell_all(self, known: Known) -> None:
        for oven in list(self._states):
            self._tell_figures(oven)
            self.step(oven, SiteSaid(site=self._site(oven, known)))

    def _tell_figures(self, oven: str) -> None:
        """B-52: again with each tick while looser ones wait for the end of a cycle."""
        if self._states[oven].parameters != self._figures.get(oven, self._states[oven].parameters):
            self.step(oven, FiguresSaid(parameters=self._figures[oven]))

    def _site(self, oven: str, known: Known) -> Site:
        """What is around it by the store, and by what the detector has said since the last commit."""
        site = self._world.site(oven, known, self._trays.get(oven))
        channel = known.inventory.rooms[known.inventory.ovens[oven].room].channel
        if self._detectors.is_alarming(channel, self._clock.mono_s()):
            return replace(site, detector=_ALARM)
        return site

    def _node_heard(self, node: str, arrival: Arrival) -> None:
        """A node's pack, looked into only where it may concern an oven, and once for all of them."""
        relays = [oven for oven, relay in self._relays.items() if relay.is_told_by(node)]
        if arrival.retain or not (relays or may_tell(arrival.payload)):
            return
        try:
            pack = parse_pack(node, arrival.payload, arrival.content_type)
        except BadMessageError:
            return  # in the quarantine already
        alarming = self._detectors.heard(pack, arrival)
        if alarming:
            self._smoke_heard(alarming)
        for oven in relays:
            if self._relays[oven].heard(pack, arrival):
                self._relay_speaks(oven)

    def _smoke_heard(self, alarming: frozenset[str]) -> None:
        """B-44: an alarm waits for no commit and needs no store; every oven of that room is told at once."""
        for oven in list(self._states):
            entry = self._inventory.ovens.get(oven)
            if entry is not None and self._inventory.rooms[entry.room].channel in alarming:
                site = self._states[oven].site or self._site(oven, self._read())
                self.step(oven, SiteSaid(site=replace(site, detector=_ALARM)))

    def _loaded(self, key: str, parameters: OvenParameters) -> Supervised:
        text = self._kept.pop(key, None)
        if text is None:
            return begin(key, parameters)
        try:
            return replace(saved.from_text(text), parameters=parameters)
        except StoreError:
            log.exception("what was known of an oven cannot be read oven=%s", key)
            return saved.unreadable(key, parameters, self._clock.wall_s())

    def _take_back_heat(self, oven: str) -> None:
        """What would heat and still waits for a commit was decided before the stop."""
        heats = (done.PublishPermit, done.RelayOnFor)
        self._waiting = [e for e in self._waiting if not (isinstance(e, heats) and e.oven == oven)]

    def _stop_heard(self, oven: str, arrival: Arrival) -> None:
        """From anyone; what names no oven of ours concerns none of them."""
        if oven not in self._states:
            return
        try:
            cycle, why, stop_id = parse_stop(arrival.payload)
        except BadMessageError as error:
            cycle, why, stop_id = "*", str(error), None
        if stop_id in self._own_stops:
            return
        self.step(oven, StopAsked(who="a message on the broker", why=why, cycle=cycle, id=stop_id))

    def _carry_out(self, effect: Effect) -> None:
        if isinstance(effect, done.PublishPermit):
            topic = topics.build(topics.OvenPermit(site=self._site_key, oven=effect.oven))
            # It is dead with its lease wherever it waited.
            self._world.publish(topic, dump_permit(effect.permit), max(int(effect.permit.lease_s), 1))
        elif isinstance(effect, done.PublishStop):
            topic = topics.build(topics.OvenStop(site=self._site_key, oven=effect.oven))
            self._world.publish(topic, dump_stop(effect.cycle, effect.why, effect.id), None)
        elif isinstance(effect, done.PublishReset):
            topic = topics.build(topics.OvenReset(site=self._site_key, oven=effect.oven))
            self._world.publish(topic, dump_reset(effect.trip, effect.boot, effect.who), 10)
        elif isinstance(effect, done.Notify):
            level = logging.ERROR if effect.is_safety else logging.WARNING
            log.log(level, "oven oven=%s rule=%s what=%s", effect.oven, effect.rule, effect.what)
        elif isinstance(effect, done.RelayOff | done.RelayOnFor):
            self._switch(effect)

    def _switch(self, effect: done.RelayOff | done.RelayOnFor) -> None:
        relay, state = self._relays.get(effect.oven), self._states.get(effect.oven)
        if relay is None:
            return
        if isinstance(effect, done.RelayOff):
            self._world.publish(*relay.off(), None)
        elif state is not None and state.cycle is not None:
            # A relay cannot tell how old an ON is: one that was kept anywhere would heat out of turn (H10).
            now_s = self._clock.mono_s()
            if not self._world.publish_now(*relay.on(effect.on_s, state.cycle.id, state.permit_seq, now_s)):
                log.warning("a relay could not be switched on oven=%s", effect.oven)
