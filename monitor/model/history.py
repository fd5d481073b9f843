"""What the store keeps of the past, as it hands it out again."""

from dataclasses import dataclass, field

from monitor.model.alarm_change import AlarmsKept
from monitor.model.batch import DeviceRow, NodeBoot, SeqRange
from monitor.model.inventory import Inventory, PlaceKind
from monitor.model.reading import Quantity, TimeQuality

FIVE_MINUTES_S = 300
HOUR_S = 3_600
DAY_S = 86_400
SPANS_S = (FIVE_MINUTES_S, HOUR_S, DAY_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Applied:
    """What became of the readings of one batch."""

    stored: int = 0
    duplicates: int = 0  # the same value of the same moment was there already
    conflicts: int = 0  # another value of the same moment was there already: the first one stays
    too_late: int = 0  # from before the raw readings that are kept: its roll-up can no longer be made anew
    unusable: int = 0  # not a number, or out of range


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What one bounded piece of upkeep did, and whether more waits."""

    rows: int
    more: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """How many days of each kind of row are kept; days rolled up are kept for ever."""

    raw_days: int = 30
    five_minute_days: int = 180
    hour_days: int = 1830


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """What a service must know when it starts again."""

    inventory: Inventory = field(default_factory=Inventory)
    seen: dict[NodeBoot, list[SeqRange]] = field(default_factory=dict)  # in the order first heard
    clocks: dict[NodeBoot, str] = field(default_factory=dict)
    devices: dict[tuple[str, str], DeviceRow] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)
    newest_ms: int = 0
    newest_event_id: int = 0
    newest_box_event_id: int = 0
    oven_states: dict[str, str] = field(default_factory=dict)
    alarms: AlarmsKept = field(default_factory=AlarmsKept)
    newest_sensor_event_id: int = 0
    newest_planned: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One quantity of one channel."""

    series_id: int
    node: str
    channel: str
    quantity: Quantity
    due_s: float | None  # the newest `ut`


@dataclass(frozen=True, slots=True, kw_only=True)
class Newest:
    """The newest reading of a series at some time."""

    series: Series
    time_ms: int
    value: float  # in the quantity's wire unit
    quality: TimeQuality
    arrival_ms: int | None  # None where only the past is asked for: arrivals are not kept


@dataclass(frozen=True, slots=True, kw_only=True)
class RawReading:
    series_id: int
    time_ms: int
    value: float  # in the quantity's wire unit
    quality: TimeQuality


@dataclass(frozen=True, slots=True, kw_only=True)
class RollUp:
    """One span of one series; without a reading in it there is only what earlier ones still cover."""

    start_ms: int
    n: int
    lowest: float | None
    highest: float | None
    mean: float | None
    covered_ms: int  # time within the span for which a reading was not yet overdue


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """From `from_ms` on a channel measures this place; kind and place_key None = taken away."""

    channel: str  # "<node>/<channel>"
    from_ms: int
    kind: PlaceKind | None
    place_key: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    key: str
    is_named: bool  # False: provisional, until someone names it
