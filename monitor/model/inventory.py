"""What there is: rooms, boxes, spools and ovens, as the inventory file describes them."""

from dataclasses import dataclass, field
from enum import StrEnum


class PlaceKind(StrEnum):
    ROOM = "room"
    BOX = "box"
    OVEN = "oven"


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    key: str
    name: str
    channel: str | None = None  # "<node>/<channel>"


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """A charge of desiccant as it was put in."""

    kind: str  # key of the desiccant table
    dry_g: float
    loading_pct: float | None = None  # grams of water per 100 g dry when filled; None = freshly regenerated
    filled_s: float | None = None  # Unix seconds UTC


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    key: str
    name: str
    room: str
    volume_l: float
    channel: str | None = None
    desiccant: Charge | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spool:
    key: str
    name: str
    material: str
    diameter_mm: float
    net_g: float  # filament when full
    used_g: float = 0.0
    reel: str = "unknown"
    flanges: str = "closed"  # "closed" | "open"
    place: str | None = None  # key of a room, box or oven; None = unknown
    reel_g: float | None = None
    hub_mm: float | None = None  # diameters
    width_mm: float | None = None
    outer_mm: float | None = None
    start: str | None = None  # "sealed_dry" | "sealed" | "open" | "unknown"
    start_pct: float | None = None
    since_s: float | None = None  # Unix seconds UTC: the moment that `start` speaks of


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWire:
    """How a network relay is switched that counts each ON down by itself (B-24)."""

    on_topic: str
    on_payload: str  # holds {seconds}: after so many it goes off by itself
    off_topic: str
    off_payload: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Oven:
    key: str
    name: str
    room: str
    max_c: float
    overshoot_c: float = 5.0
    sensor_error_c: float = 2.0
    channel: str | None = None
    volume_l: float | None = None
    vent_m3_h: float | None = None
    heater_w: float | None = None
    fan: bool | None = None
    cutout_c: float | None = None
    cutout_tested_s: float | None = None
    spools_max: int | None = None
    relay: RelayWire | None = None  # None = the oven has a controller of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Inventory:
    """All of one site, by key; keys are unique over all kinds."""

    rooms: dict[str, Room] = field(default_factory=dict)
    boxes: dict[str, Box] = field(default_factory=dict)
    spools: dict[str, Spool] = field(default_factory=dict)
    ovens: dict[str, Oven] = field(default_factory=dict)

    def placed_channels(self) -> dict[str, tuple[PlaceKind, str]]:
        """`<node>/<channel>` to the place it measures."""
        placed: dict[str, tuple[PlaceKind, str]] = {}
        for kind, items in (
            (PlaceKind.ROOM, self.rooms),
            (PlaceKind.BOX, self.boxes),
            (PlaceKind.OVEN, self.ovens),
        ):
            for key, item in items.items():
                if item.channel is not None:
                    placed[item.channel] = (kind, key)
        return placed
