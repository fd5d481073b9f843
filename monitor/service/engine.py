"""The one owner of mutable state: takes inputs one at a time and gathers what each commit must write.

It reads no clock, opens no file and sends nothing, so a replay of its inputs does what the live
service did.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace

from monitor.errors import BadMessageError
from monitor.model.alarm_change import AlarmChanges
from monitor.model.arrival import Arrival
from monitor.model.audit import AuditEntry
from monitor.model.batch import Batch, DeviceRow, InventoryChange, Quarantined
from monitor.model.box_event import BoxEvent
from monitor.model.calendar import KeptEntry
from monitor.model.catalogue import OwnFigure
from monitor.model.delivery import OutboxChange
from monitor.model.history import Stored
from monitor.model.inventory import Inventory
from monitor.model.oven_fact import OvenChanges
from monitor.model.people import Act, PeopleChange
from monitor.model.planned_start import AnyStart
from monitor.model.reading import Pack, Reading, TimeQuality, WireReading
from monitor.model.sensor_check import SensorEvent
from monitor.model.spool_event import SpoolEvent
from monitor.service.chamber_air import Chambers
from monitor.service.node_clock import dump_clock, load_clock, placed
from monitor.service.seen import SeenPacks
from monitor.wire import messages, topics

# A node's clock may run ahead of ours by this much; beyond it its readings are not from this world's time.
FUTURE_TOLERANCE_S = 300.0
EARLIEST_S = 1_577_836_800.0  # 2020-01-01: no node of this trade is older, a clock without battery says 1970
CLOCK_STEP_S = 2.0
PAYLOAD_KEPT_BYTES = 2_048
# One misbehaving device must not wear out the card: beyond this many a commit it is only counted.
QUARANTINED_PER_BATCH = 50
MAX_BOOTS_PER_NODE = 64

COUNTERS = ("packs", "readings", "duplicates", "quarantined", "foreign")


class Engine:
    """State of one site: takes inputs one at a time, `take_batch` gives what to commit."""

    def __init__(self, site: str, memory: Stored) -> None:
        self._site = site
        self._inventory = memory.inventory
        self._seen = {who: SeenPacks(ranges) for who, ranges in memory.seen.items()}
        self._devices = dict(memory.devices)
        self._clocks = {who: load_clock(text) for who, text in memory.clocks.items()}
        self._counters = {name: memory.counters.get(name, 0) for name in COUNTERS}
        self._newest_ms = memory.newest_ms
        self._newest_event_id = memory.newest_event_id
        self._newest_box_event_id = memory.newest_box_event_id
        self._newest_sensor_event_id = memory.newest_sensor_event_id
        self._newest_planned = memory.newest_planned
        self._wall_less_mono_s: float | None = None
        self._chambers = Chambers()
        self._batch = Batch()
        self._handlers: dict[type, Callable[..., None]] = {
            topics.NodeSenml: self._on_pack,
            topics.NodeOnline: self._on_node_presence,
            topics.OvenState: self._on_oven_state,
            topics.OvenOnline: self._on_oven_presence,
        }

    @property
    def inventory(self) -> Inventory:
        return self._inventory

    @property
    def newest_s(self) -> float:
        """Arrival time of the newest input so far."""
        return self._newest_ms / 1000.0

    def handle(self, arrival: Arrival) -> None:
        """Take one message. Whatever is wrong with it ends in the quarantine, with the reason."""
        self._notice_clock_step(arrival)
        self._note_time(arrival.wall_s)
        try:
            topic = topics.parse(arrival.topic)
            if topic.site != self._site:
                self._count("foreign")
                return
            handler = self._handlers.get(type(topic))
            if handler is not None:
                handler(topic, arrival)
        except BadMessageError as error:
            self._quarantine(arrival, str(error), arrival.payload)

    def change_inventory(self, inventory: Inventory, at_s: float) -> None:
        """The inventory is this from now on. (It is no record of the site's air, so it moves no time.)"""
        self._inventory = inventory
        self._batch.inventory = InventoryChange(at_ms=round(at_s * 1000), inventory=inventory)

    def add_event(self, event: SpoolEvent) -> int:
        """Something happened to a spool; returns the record's number. Checked before it comes here."""
        self._newest_event_id += 1
        self._batch.events.append(replace(event, event_id=self._newest_event_id))
        return self._newest_event_id

    def add_box_event(self, event: BoxEvent) -> int:
        """What was told of a box's desiccant; the number of its record."""
        self._newest_box_event_id += 1
        self._batch.box_events.append(replace(event, event_id=self._newest_box_event_id))
        return self._newest_box_event_id

    def note_ovens(self, changes: OvenChanges) -> None:
        """What the supervision of ovens has to keep, written with the next commit."""
        kept = self._batch.ovens
        kept.states.update(changes.states)
        kept.records += changes.records
        kept.first_outs.update(changes.first_outs)
        kept.facts += changes.facts
        kept.air += changes.air
        kept.cycles.update(changes.cycles)
        kept.runs.update(changes.runs)

    def note_alarms(self, changes: AlarmChanges) -> None:
        """What is to be kept of alarms, written with the next commit."""
        kept = self._batch.alarms
        kept.states.update(changes.states)
        kept.log += changes.log
        kept.figures += changes.figures

    def add_sensor_event(self, event: SensorEvent) -> int:
        """What was told or found of a sensor; the number of its record."""
        self._newest_sensor_event_id += 1
        self._batch.sensor_events.append(replace(event, event_id=self._newest_sensor_event_id))
        return self._newest_sensor_event_id

    def set_figure(self, figure: OwnFigure) -> None:
        """The site's own figure of a material. Checked before it comes here."""
        self._batch.figures.append(figure)

    def change_people(self, *changes: PeopleChange) -> None:
        """What becomes of people and their sessions. Checked before it comes here."""
        self._batch.people.extend(changes)

    def keep_calendar(self, entries: Iterable[KeptEntry]) -> None:
        """Appointments as they are given out from now on."""
        self._batch.calendar.extend(entries)

    def note(self, act: Act) -> None:
        """A line in the log of what people did, written with what it tells of or not at all."""
        self._batch.acts.append(act)

    def audit(self, *entries: AuditEntry) -> None:
        """Lines of the log that follow from nothing else in the batch."""
        self._batch.audit.extend(entries)

    def keep_planned(self, start: AnyStart) -> int:
        """A start planned for later, as it is from now on; a new one gets its number here.

        One that cannot be read can only be withdrawn, and is by this.
        """
        if not start.number:
            self._newest_planned += 1
            start = replace(start, number=self._newest_planned)
        self._batch.planned[start.number] = start
        return start.number

    def change_outbox(self, *changes: OutboxChange) -> None:
        """What becomes of messages and of whom they go to, written with what they tell of."""
        self._batch.outbox.extend(changes)

    def messages_waiting(self) -> tuple[OutboxChange, ...]:
        """What becomes of messages with the next batch."""
        return tuple(self._batch.outbox)

    def take_batch(self) -> Batch:
        """What must be committed now; the engine starts gathering anew."""
        batch, self._batch = self._batch, Batch()
        if not batch.is_empty():
            batch.newest_ms = self._newest_ms
            batch.counters = dict(self._counters)
        return batch

    def _on_pack(self, topic: topics.NodeSenml, arrival: Arrival) -> None:
        pack = messages.parse_pack(topic.node, arrival.payload, arrival.content_type)
        seen = self._seen_of(pack)
        if pack.seq in seen:
            self._count("duplicates")
            return
        if seen.is_full():
            raise BadMessageError(f"node {pack.node} boot {pack.boot}: sequence numbers have too many gaps")
        seen.add(pack.seq)
        self._batch.seen[(pack.node, pack.boot)] = seen.ranges()
        self._count("packs")
        self._take_readings(pack, arrival)
        for rejected in pack.rejected:
            self._quarantine(arrival, rejected.reason, rejected.record.encode())

    def _take_readings(self, pack: Pack, arrival: Arrival) -> None:
        zero_s, quality = self._time_base(pack, arrival)
        kept = self._batch.readings
        before = len(kept)
        for wire in pack.readings:
            at_s = wire.time_s if wire.time_s is not None else zero_s - wire.ago_s
            if not EARLIEST_S <= at_s <= arrival.wall_s + FUTURE_TOLERANCE_S:
                self._quarantine(arrival, _bad_time(wire, at_s), repr(wire).encode())
                continue
            kept.append(
                Reading(
                    node=pack.node,
                    channel=wire.channel,
                    quantity=wire.quantity,
                    time_ms=round(at_s * 1000),
                    value=wire.value,
                    quality=TimeQuality.SYNCED if wire.time_s is not None else quality,
                )
            )
            if wire.due_s is not None:
                self._batch.due_s[(pack.node, wire.channel)] = wire.due_s
        self._counters["readings"] += len(kept) - before

    def _time_base(self, pack: Pack, arrival: Arrival) -> tuple[float, TimeQuality]:
        """When this pack was made, for readings that gave no absolute time (C.3)."""
        if pack.uptime_s is None or all(wire.time_s is not None for wire in pack.readings):
            return arrival.wall_s, TimeQuality.ARRIVAL
        who = (pack.node, pack.boot)
        position = placed(self._clocks.get(who), arrival.wall_s, pack.uptime_s)
        self._clocks[who] = position.clock
        self._batch.clocks[who] = dump_clock(position.clock)
        return position.offset_s + pack.uptime_s, position.quality

    def _seen_of(self, pack: Pack) -> SeenPacks:
        who = (pack.node, pack.boot)
        seen = self._seen.get(who)
        if seen is None:
            if sum(1 for node, _ in self._seen if node == pack.node) >= MAX_BOOTS_PER_NODE:
                self._forget_oldest_boot(pack.node)
            seen = self._seen[who] = SeenPacks()
        return seen

    def _forget_oldest_boot(self, node: str) -> None:
        oldest = next(who for who in self._seen if who[0] == node)
        del self._seen[oldest]
        self._clocks.pop(oldest, None)
        self._batch.forgotten.append(oldest)

    def _on_node_presence(self, topic: topics.NodeOnline, arrival: Arrival) -> None:
        self._note_device("node", topic.node, arrival, presence=True)

    def _on_oven_presence(self, topic: topics.OvenOnline, arrival: Arrival) -> None:
        self._note_device("oven", topic.oven, arrival, presence=True)

    def _on_oven_state(self, topic: topics.OvenState, arrival: Arrival) -> None:
        state = messages.parse_oven_state(arrival.payload)
        self._note_device("oven", topic.oven, arrival, presence=False)
        if topic.oven in self._inventory.ovens and not arrival.retain:  # a retained one is of another time
            air = self._chambers.air(topic.oven, state, arrival.wall_s)
            if air is not None:
                self._batch.ovens.air.append(air)

    def _note_device(self, kind: str, key: str, arrival: Arrival, *, presence: bool) -> None:
        row = self._devices.get((kind, key)) or DeviceRow(kind=kind, key=key, at_ms=0)
        at_ms = round(arrival.wall_s * 1000)
        if presence:
            row = replace(row, at_ms=at_ms, presence=messages.parse_presence(arrival.payload))
        else:
            row = replace(row, at_ms=at_ms, state_json=arrival.payload.decode("utf-8"), state_ms=at_ms)
        self._devices[(kind, key)] = self._batch.devices[(kind, key)] = row

    def _notice_clock_step(self, arrival: Arrival) -> None:
        """Our own clock was set: move what was learned about the nodes' clocks along with it (R19, B-25)."""
        difference_s = arrival.wall_s - arrival.mono_s
        if self._wall_less_mono_s is not None and abs(difference_s - self._wall_less_mono_s) > CLOCK_STEP_S:
            step_s = difference_s - self._wall_less_mono_s
            self._clocks = {who: clock.stepped(step_s) for who, clock in self._clocks.items()}
            self._batch.clocks.update({who: dump_clock(clock) for who, clock in self._clocks.items()})
        self._wall_less_mono_s = difference_s

    def _note_time(self, at_s: float) -> None:
        self._newest_ms = max(self._newest_ms, round(at_s * 1000))

    def _count(self, name: str) -> None:
        self._counters[name] += 1
        self._batch.counters = self._counters

    def _quarantine(self, arrival: Arrival, reason: str, content: bytes) -> None:
        self._count("quarantined")
        if len(self._batch.quarantined) < QUARANTINED_PER_BATCH:
            self._batch.quarantined.append(
                Quarantined(
                    at_ms=round(arrival.wall_s * 1000),
                    topic=arrival.topic[:300],
                    reason=reason,
                    payload=content[:PAYLOAD_KEPT_BYTES],
                )
            )


def _bad_time(wire: WireReading, at_s: float) -> str:
    if at_s < EARLIEST_S:
        return f"{wire.channel}/{wire.quantity}: dated before 2020; is the node's clock set?"
    return f"{wire.channel}/{wire.quantity}: dated in the future; is the node's or this board's clock wrong?"
