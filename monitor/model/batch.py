"""What one commit writes: gathered by the engine, applied by the store whole or not at all."""

from dataclasses import dataclass, field

from monitor.model.alarm_change import AlarmChanges
from monitor.model.audit import AuditEntry
from monitor.model.box_event import BoxEvent
from monitor.model.calendar import KeptEntry
from monitor.model.catalogue import OwnFigure
from monitor.model.delivery import OutboxChange
from monitor.model.inventory import Inventory
from monitor.model.oven_fact import OvenChanges
from monitor.model.people import Act, PeopleChange
from monitor.model.planned_start import AnyStart
from monitor.model.reading import Presence, Reading
from monitor.model.sensor_check import SensorEvent
from monitor.model.spool_event import SpoolEvent

NodeBoot = tuple[str, str]
SeqRange = tuple[int, int]  # first and last, both seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarantined:
    """A message or record that could not be used."""

    at_ms: int
    topic: str
    reason: str
    payload: bytes  # cut to a bound before it gets here


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceRow:
    """The newest presence or state that a node or oven gave."""

    kind: str  # "node" | "oven"
    key: str
    at_ms: int  # arrival of whichever came last
    presence: Presence | None = None
    state_json: str | None = None  # an oven's newest state, as received
    state_ms: int | None = None  # its arrival


@dataclass(frozen=True, slots=True, kw_only=True)
class InventoryChange:
    """The inventory as it is from `at_ms` on."""

    at_ms: int
    inventory: Inventory


@dataclass(slots=True, kw_only=True)
class Batch:
    """Applying the same batch twice is the same as applying it once."""

    readings: list[Reading] = field(default_factory=list)
    due_s: dict[tuple[str, str], float] = field(default_factory=dict)  # (node, channel) -> ut
    seen: dict[NodeBoot, list[SeqRange]] = field(default_factory=dict)  # replaces what was stored
    clocks: dict[NodeBoot, str] = field(default_factory=dict)  # a node clock as JSON text
    forgotten: list[NodeBoot] = field(default_factory=list)  # boots whose `seen` and clock may go
    quarantined: list[Quarantined] = field(default_factory=list)
    devices: dict[tuple[str, str], DeviceRow] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)  # absolute values, not increments
    newest_ms: int = 0  # arrival time of the newest item in it
    inventory: InventoryChange | None = None
    events: list[SpoolEvent] = field(default_factory=list)
    box_events: list[BoxEvent] = field(default_factory=list)
    sensor_events: list[SensorEvent] = field(default_factory=list)
    figures: list[OwnFigure] = field(default_factory=list)
    ovens: OvenChanges = field(default_factory=OvenChanges)
    alarms: AlarmChanges = field(default_factory=AlarmChanges)
    people: list[PeopleChange] = field(default_factory=list)  # in this order
    calendar: list[KeptEntry] = field(default_factory=list)  # appointments as they are given out now
    acts: list[Act] = field(default_factory=list)  # what people did, the log of it
    planned: dict[int, AnyStart] = field(default_factory=dict)  # by number; an unreadable one is withdrawn
    outbox: list[OutboxChange] = field(default_factory=list)  # in this order
    audit: list[AuditEntry] = field(default_factory=list)  # lines that follow from nothing else in here

    def is_empty(self) -> bool:
        return not (
            self.readings
            or self.due_s
            or self.seen
            or self.clocks
            or self.forgotten
            or self.quarantined
            or self.devices
            or self.counters
            or self.inventory
            or self.events
            or self.box_events
            or self.sensor_events
            or self.figures
            or not self.ovens.is_empty()
            or not self.alarms.is_empty()
            or self.people
            or self.calendar
            or self.acts
            or self.planned
            or self.outbox
            or self.audit
        )
