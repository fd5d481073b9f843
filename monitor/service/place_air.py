"""The air of every place over a stretch of time, measured or, in a gap, assumed and said to be so (A-36)."""

from dataclasses import replace

from monitor.estimate.spool_course import Around, dryer_air
from monitor.model.history import Series
from monitor.model.inventory import Inventory
from monitor.model.reading import Quantity
from monitor.ports import ReadStore
from monitor.service.corrections import Corrections
from monitor.service.places import Stay, stays

BUCKET_MS = 300_000
# Standard deviations of relative humidity: of a sensor, of "somewhere in these rooms", of a room without one.
SENSOR_SD = 0.015
SOMEWHERE_SD = 0.08
UNMEASURED_SD = 0.12
# A room that nobody measures.
USUAL_C, USUAL_HUMIDITY = 23.0, 0.5
_HEATED_C = 35.0

Air = tuple[float, float]  # temperature [degC], relative humidity


class AirBook:
    """Five-minute means of one stretch; `over` gives the air of a place over any part of it."""

    def __init__(self, store: ReadStore, inventory: Inventory, from_ms: int, to_ms: int) -> None:
        self.from_ms = from_ms - from_ms % BUCKET_MS
        self.to_ms = -(-to_ms // BUCKET_MS) * BUCKET_MS
        self._inventory = inventory
        self._stays = stays(store.placements())
        self._corrections = Corrections(store.sensor_events())
        self._ids = _series_ids(store.series())
        self._means = store.means(self.from_ms, self.to_ms, BUCKET_MS)
        self._chambers = store.oven_means(self.from_ms, self.to_ms, BUCKET_MS) if inventory.ovens else {}
        self._kept: dict[tuple[str, int, int], Air | None] = {}

    def over(self, place: str | None, from_ms: int, to_ms: int, last: Air | None) -> Around:
        """The air round a spool at a place; `last` is what was last measured round it."""
        if place is None or place not in self._known():
            return self._somewhere(from_ms, to_ms)
        measured = self._measured(place, from_ms, to_ms)
        if measured is not None:
            return Around(
                place=place,
                temperature_c=measured[0],
                relative_humidity=measured[1],
                relative_humidity_sd=SENSOR_SD,
                is_heated=measured[0] > _HEATED_C,
            )
        if place in self._inventory.ovens:
            told = self._chamber(place, from_ms, to_ms)
            if told is not None:
                return told
        return self._gap(place, from_ms, to_ms, last)

    def bucket(self, place: str, start_ms: int) -> Air | None:
        """The mean air of a place over five minutes; None where nothing was measured in them."""
        if place not in self._known():
            return None
        return self._measured(place, start_ms, start_ms + BUCKET_MS)

    def _gap(self, place: str, from_ms: int, to_ms: int, last: Air | None) -> Around:
        """Worst case: the air of the room reaches the spool; what was last measured is the best case."""
        room = self._room_of(place)
        ambient = None if room is None else self._measured(room, from_ms, to_ms)
        warmth, humidity = ambient or (USUAL_C, USUAL_HUMIDITY)
        if place in self._inventory.rooms:
            return Around(
                place=place,
                temperature_c=warmth,
                relative_humidity=humidity,
                relative_humidity_sd=UNMEASURED_SD,
                is_measured=False,
            )
        return Around(
            place=place,
            temperature_c=warmth,
            relative_humidity=humidity,
            relative_humidity_sd=0.0,
            driest=humidity if last is None else min(last[1], humidity),
            is_measured=False,
        )

    def _chamber(self, oven: str, from_ms: int, to_ms: int) -> Around | None:
        """What the oven's own controller tells of its chamber, where no sensor of a node is placed in it."""
        starts = range(from_ms - from_ms % BUCKET_MS, to_ms, BUCKET_MS)
        told = [
            row for row in (self._chambers.get((oven, start_ms)) for start_ms in starts) if row is not None
        ]
        if not told:
            return None
        warmth_c = sum(row[0] for row in told) / len(told)
        humidities = [row[1] for row in told if row[1] is not None]
        if not humidities:
            # D-12: without a sensor for it the room's vapour, merely warmed, is the air inside.
            room = self.over(self._inventory.ovens[oven].room, from_ms, to_ms, None)
            return replace(dryer_air(warmth_c, room), place=oven, is_heated=warmth_c > _HEATED_C)
        return Around(
            place=oven,
            temperature_c=warmth_c,
            relative_humidity=sum(humidities) / len(humidities) / 100.0,
            relative_humidity_sd=SENSOR_SD,
            is_heated=warmth_c > _HEATED_C,
        )

    def _somewhere(self, from_ms: int, to_ms: int) -> Around:
        """The mean of all rooms, widened."""
        found = [self._measured(room, from_ms, to_ms) for room in self._inventory.rooms]
        airs = [air for air in found if air is not None]
        if not airs:
            return Around(
                place=None,
                temperature_c=USUAL_C,
                relative_humidity=USUAL_HUMIDITY,
                relative_humidity_sd=UNMEASURED_SD,
                is_measured=False,
            )
        return Around(
            place=None,
            temperature_c=sum(air[0] for air in airs) / len(airs),
            relative_humidity=sum(air[1] for air in airs) / len(airs),
            relative_humidity_sd=SOMEWHERE_SD,
            is_measured=False,
        )

    def _known(self) -> set[str]:
        return {*self._inventory.rooms, *self._inventory.boxes, *self._inventory.ovens}

    def _room_of(self, place: str) -> str | None:
        if place in self._inventory.boxes:
            return self._inventory.boxes[place].room
        return self._inventory.ovens[place].room if place in self._inventory.ovens else place

    def _measured(self, place: str, from_ms: int, to_ms: int) -> Air | None:
        key = (place, from_ms, to_ms)
        if key not in self._kept:
            warmth = self._mean(place, Quantity.TEMPERATURE, from_ms, to_ms)
            humidity = self._mean(place, Quantity.HUMIDITY, from_ms, to_ms)
            is_known = warmth is not None and humidity is not None
            self._kept[key] = (warmth or 0.0, (humidity or 0.0) / 100.0) if is_known else None
        return self._kept[key]

    def _mean(self, place: str, quantity: Quantity, from_ms: int, to_ms: int) -> float | None:
        values = []
        for start_ms in range(from_ms - from_ms % BUCKET_MS, to_ms, BUCKET_MS):
            stay = _stay_at(self._stays.get(place, []), start_ms)
            if stay is None:
                continue
            value = self._means.get((self._ids.get((stay.channel, quantity), -1), start_ms))
            if value is not None:
                value = self._corrections.mean(stay.channel, quantity, value, start_ms, start_ms + BUCKET_MS)
            if value is not None:
                values.append(value)
        return sum(values) / len(values) if values else None


def _series_ids(series: tuple[Series, ...]) -> dict[tuple[str, Quantity], int]:
    return {(f"{item.node}/{item.channel}", item.quantity): item.series_id for item in series}


def _stay_at(found: list[Stay], at_ms: int) -> Stay | None:
    return next((stay for stay in found if stay.from_ms <= at_ms < stay.to_ms), None)
