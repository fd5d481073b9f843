"""What single sensors read, wherever they lay: the channels there are, and their means of five minutes."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.estimate.sensor_check import Sample
from monitor.model.inventory import Inventory
from monitor.model.reading import Quantity
from monitor.ports import ReadStore
from monitor.service.places import placed_at, stays

SPAN_MS = 300_000
# Nothing reaches back further than this: a jar is given up after a day, a comparison is asked over hours.
MOST_MS = 72 * 3_600_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """A humidity sensor."""

    key: str  # "<node>/<channel>"
    place: str | None
    place_name: str | None
    humidity_id: int | None  # series; None = placed, but never heard
    temperature_id: int | None
    placed_ms: int  # since when it is there; 0 = nowhere, or from the beginning

    @property
    def name(self) -> str:
        """How people call it: by its place."""
        return self.place_name or self.key


def channels(store: ReadStore, inventory: Inventory, at_ms: int) -> dict[str, Channel]:
    """Every channel that was ever heard with a humidity, or is placed in the inventory."""
    ids = {(f"{s.node}/{s.channel}", s.quantity): s.series_id for s in store.series()}
    here = placed_at(stays(store.placements()), at_ms)
    placed = {stay.channel: place for place, stay in here.items()}
    since_ms = {stay.channel: stay.from_ms for stay in here.values()}
    names = place_names(inventory)
    heard = {channel for channel, quantity in ids if quantity is Quantity.HUMIDITY}
    # An oven may be placed by a channel that has a temperature only.
    placed_only = {c for c in placed if (c, Quantity.TEMPERATURE) not in ids}
    return {
        key: Channel(
            key=key,
            place=placed.get(key),
            place_name=names.get(placed.get(key, "")),
            humidity_id=ids.get((key, Quantity.HUMIDITY)),
            temperature_id=ids.get((key, Quantity.TEMPERATURE)),
            placed_ms=since_ms.get(key, 0),
        )
        for key in sorted(heard | placed_only)
    }


def place_names(inventory: Inventory) -> dict[str, str]:
    """What each room, box and oven is called."""
    names = {key: room.name for key, room in inventory.rooms.items()}
    names |= {key: box.name for key, box in inventory.boxes.items()}
    return names | {key: oven.name for key, oven in inventory.ovens.items()}


def samples(store: ReadStore, wanted: Iterable[Channel], from_ms: int, to_ms: int) -> dict[str, list[Sample]]:
    """Raw five-minute means of each channel, of the spans within a time; the last may be unfinished."""
    begin_ms = -(-max(from_ms, to_ms - MOST_MS) // SPAN_MS) * SPAN_MS
    end_ms = -(-to_ms // SPAN_MS) * SPAN_MS
    means = store.means(begin_ms, end_ms, SPAN_MS) if begin_ms < end_ms else {}
    found: dict[str, list[Sample]] = {}
    for channel in wanted:
        found[channel.key] = []
        for at_ms in range(begin_ms, end_ms, SPAN_MS):
            humidity = means.get((channel.humidity_id or -1, at_ms))
            warmth = means.get((channel.temperature_id or -1, at_ms))
            if humidity is not None and warmth is not None:
                middle_s = min(at_ms + SPAN_MS / 2, to_ms) / 1000.0
                found[channel.key].append(
                    Sample(time_s=middle_s, temperature_c=warmth, humidity_pct=humidity)
                )
    return found
