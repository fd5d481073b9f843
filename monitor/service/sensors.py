"""Every question about sensors: their list, the guided check of one, side by side, corners, look-back."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from monitor.errors import BadInputError
from monitor.estimate.box_lid import EventKind
from monitor.estimate.side_by_side import Spread, placement, side_by_side
from monitor.model.reading import Quantity
from monitor.model.sensor_answers import (
    BesideAnswer,
    Due,
    GuideAnswer,
    LookBack,
    OpenLid,
    PlacementAnswer,
    SensorAnswer,
    SideBySideAnswer,
)
from monitor.model.sensor_check import (
    NO_CORRECTION,
    Corner,
    Correction,
    Seat,
    SensorEvent,
    Stay,
    seat_of,
    since_installed,
)
from monitor.ports import ReadStore
from monitor.service import sensor_words
from monitor.service.air import rfc3339
from monitor.service.corrections import Corrections
from monitor.service.places import newest_of
from monitor.service.sensor_answer import correction_of, sensor_answer
from monitor.service.sensor_guide import (
    checks_of,
    correction_by,
    jar_answer,
    jar_of,
    open_round,
    point_answers,
    proposal_of,
    salt_answers,
    tolerance_pct,
)
from monitor.service.sensor_look_back import look_back
from monitor.service.sensor_readings import MOST_MS, Channel, channels, samples
from monitor.service.sensor_seats import told_here

USUAL_PCT = {"box": 15.0, "room": 45.0}  # where nothing was read yet
_WEEK_MS = 7 * 86_400_000
_MONTH_MS = 30 * 86_400_000


class SensorAnswers:
    """Questions about the sensors of one site; safe from any thread."""

    def __init__(self, store: ReadStore, *, now_s: Callable[[], float]) -> None:
        self.store = store
        self._now_s = now_s

    def events(self, channel: str) -> tuple[SensorEvent, ...]:
        """All records of a sensor, in the order in which they were entered."""
        return self.store.sensor_events().get(channel, ())

    def channel(self, key: str) -> Channel:
        """BadInputError where there is no such sensor."""
        found = self._channels()
        if key not in found:
            known = ", ".join(list(found)[:6]) or "none is heard yet"
            raise BadInputError(
                f"channel {key[:130]!r} is no sensor that was heard or placed; such as: {known}"
            )
        return found[key]

    def all(self) -> tuple[SensorAnswer, ...]:
        """Every humidity sensor: what is overdue first, then by its place."""
        newest = newest_of(self.store.latest())
        events = self.store.sensor_events()
        order = (Due.OVERDUE, Due.SOON, Due.NEVER, Due.GOOD)
        answers = [
            sensor_answer(channel, events.get(channel.key, ()), newest.get(channel.key, {}), self._now_s())
            for channel in self._channels().values()
        ]
        return tuple(
            sorted(answers, key=lambda a: (order.index(a.due_state), a.place_name or "~", a.channel))
        )

    def one(self, key: str) -> SensorAnswer:
        newest = newest_of(self.store.latest()).get(key, {})
        return sensor_answer(self.channel(key), self.events(key), newest, self._now_s())

    def guide(self, key: str) -> GuideAnswer:
        """Where the check of a sensor stands, as of now."""
        channel, events = self.channel(key), self.events(key)
        sensor, works_at_pct = self.one(key), self.works_at_pct(key)
        warmth_c = self.temperature_c(key)
        points = open_round(events)
        jar = jar_of(self.store, channel, events, self._now_s())
        held = correction_by(checks_of(points)) or NO_CORRECTION
        return GuideAnswer(
            sensor=sensor,
            works_at_pct=works_at_pct,
            temperature_c=23.0 if warmth_c is None else warmth_c,
            salts=tuple(salt_answers(works_at_pct, warmth_c, sensor.tolerance_pct)),
            jar=None if jar is None else jar_answer(jar),
            points=point_answers(points, held),
            proposal=proposal_of(points, works_at_pct),
        )

    def look_back(self, key: str) -> LookBack | None:
        """What rested on it, where its newest check found it off; else None."""
        return look_back(self.store, self.channel(key), self.events(key))

    def side_by_side(self, keys: Sequence[str], from_s: float, to_s: float) -> SideBySideAnswer:
        """Sensors in the same air over a time, as they are shown: with their corrections."""
        chosen = [self.channel(key) for key in keys]
        from_ms, to_ms = round(from_s * 1000), round(to_s * 1000)
        if not 0 < to_ms - from_ms <= MOST_MS:
            raise BadInputError(
                f"the time to compare over must be above 0 and at most {MOST_MS // 3_600_000} h"
            )
        told = self.store.sensor_events()
        read = samples(self.store, chosen, from_ms, to_ms)
        shown = {}
        for key, found in read.items():
            held = correction_of(told.get(key, ()))
            shown[key] = [replace(s, humidity_pct=held.corrected(s.humidity_pct)) for s in found]
        tolerances = {key: tolerance_pct(told.get(key, ())) for key in read}
        names = {channel.key: channel.name for channel in chosen}
        found_all = side_by_side(shown, tolerances)
        return SideBySideAnswer(
            begin=rfc3339(from_s),
            end=rfc3339(to_s),
            temperature_c=found_all.temperature_c if found_all.sensors else None,
            sensors=tuple(
                BesideAnswer(
                    channel=item.channel,
                    name=names[item.channel],
                    humidity_pct=item.humidity_pct,
                    others_pct=item.others_pct,
                    difference_pct=item.difference_pct,
                    allowed_pct=item.allowed_pct,
                    is_odd=item.is_odd,
                )
                for item in found_all.sensors
            ),
            sentence=sensor_words.side_by_side(found_all, names),
        )

    def open_lids(self) -> tuple[OpenLid, ...]:
        """Lids left open within the last month, the newest first: the sensors inside met the room's air."""
        now_ms = round(self._now_s() * 1000)
        inventory = self.store.inventory()
        noticed = self.store.noticed(now_ms - _MONTH_MS, now_ms)
        # Dated to the same reading: it was a wet spool after all, whose air is not the room's.
        taken_back = {(n.box, n.at_ms) for n in noticed if n.kind == EventKind.CONTENTS_CHANGED}
        found = []
        for item in noticed:
            box = inventory.boxes.get(item.box)
            room = None if box is None else inventory.rooms.get(box.room)
            if item.kind != EventKind.LID_LEFT_OPEN or box is None or room is None:
                continue
            if (item.box, item.at_ms) in taken_back:
                continue
            shut = [
                n.at_ms
                for n in noticed
                if n.box == item.box and n.kind == EventKind.LID_SHUT and n.at_ms > item.at_ms
            ]
            if box.channel is not None and room.channel is not None:
                found.append(
                    OpenLid(
                        name=box.name,
                        channels=(box.channel, room.channel),
                        begin=rfc3339(item.at_ms / 1000.0),
                        until=rfc3339(min([now_ms, *shut]) / 1000.0),
                    )
                )
        return tuple(reversed(found))

    def placement(self, key: str, stays: Sequence[Stay], beside: str | None = None) -> PlacementAnswer:
        """How the air differs between corners that a sensor lay in (A-39)."""
        found = self.corners(key, stays, beside)
        return PlacementAnswer(
            spots=found.spots,
            spread_pct=found.spread_pct,
            sentence=sensor_words.placement(found),
        )

    def corners(self, key: str, stays: Sequence[Stay], beside: str | None = None) -> Spread:
        """The corners by their dampness; BadInputError where nothing was read in one of them, or in a jar.

        `beside` names a second sensor, which stayed where it was in the box: what the box did meanwhile
        is taken off by it.
        """
        if beside == key:
            raise BadInputError("beside must be another sensor than the one that lay in the corners")
        channel = self.channel(key)
        self._check_at_hand(key, stays)
        meanwhile = [0.0] * len(stays) if beside is None else self._meanwhile(beside, stays)
        held = correction_of(self.events(key))
        spots = []
        for stay, shift_pct in zip(stays, meanwhile, strict=True):
            read = self._mean(channel, stay.from_s, stay.to_s)
            if read is None:
                raise BadInputError(f"nothing was read while it lay at {stay.name!r}")
            humidity_pct = held.corrected(read) - shift_pct
            hours = (stay.to_s - stay.from_s) / 3600.0
            spots.append(Corner(name=stay.name, humidity_pct=humidity_pct, hours=hours))
        return placement(spots)

    def seat(self, key: str, at_s: float | None = None) -> Seat | None:
        """In which corner it sits; None where nobody told of the corners since it is at its place."""
        until_s = self._now_s() if at_s is None else at_s
        placed_ms = self.channel(key).placed_ms
        return seat_of(told_here(self.events(key), placed_ms, round(until_s * 1000)))

    def temperature_c(self, key: str) -> float | None:
        """The newest temperature of a sensor."""
        newest = newest_of(self.store.latest()).get(key, {}).get(Quantity.TEMPERATURE)
        return None if newest is None else newest.value

    def tolerance_pct(self, key: str) -> float:
        return tolerance_pct(self.events(key))

    def standing_correction(self, key: str, at_s: float) -> Correction:
        """The one that holds at a time, also while it lies in a jar."""
        return correction_of([event for event in self.events(key) if event.at_s <= at_s])

    def works_at_pct(self, key: str) -> float:
        """The humidity where it usually is: the mean of its last week outside of jars [%RH]."""
        channel, events = self.channel(key), self.events(key)
        end_ms = round(self._now_s() * 1000)
        jars = [e for e in since_installed(events) if e.what.kind == "in_jar"]
        recent = [e for e in jars if e.at_s * 1000 > end_ms - _WEEK_MS]
        end_ms = min([end_ms, *(round(event.at_s * 1000) for event in recent)])
        read = self._mean(channel, (end_ms - _WEEK_MS) / 1000.0, end_ms / 1000.0)
        if read is None:
            return USUAL_PCT["box" if channel.place in self.store.inventory().boxes else "room"]
        return correction_of(events).corrected(read)

    def _meanwhile(self, beside: str, stays: Sequence[Stay]) -> list[float]:
        """By how much a sensor that stayed read more than usual in each of the times [%RH]."""
        channel = self.channel(beside)
        self._check_at_hand(beside, stays)
        read = [self._mean(channel, stay.from_s, stay.to_s) for stay in stays]
        found = [value for value in read if value is not None]
        if len(found) < len(read):
            raise BadInputError(f"nothing was read by {beside} in one of the times")
        return [value - sum(found) / len(found) for value in found]

    def _check_at_hand(self, key: str, stays: Sequence[Stay]) -> None:
        """A stay in a jar is none in a box."""
        held = Corrections({key: self.events(key)})
        for stay in stays:
            if held.was_away(key, round(stay.from_s * 1000), round(stay.to_s * 1000)):
                raise BadInputError(f"corners: {key} lay in a jar for some of the time at {stay.name!r}")

    def _mean(self, channel: Channel, from_s: float, to_s: float) -> float | None:
        """As it was read [%RH]."""
        if channel.humidity_id is None:
            return None
        return self.store.mean_over(channel.humidity_id, round(from_s * 1000), round(to_s * 1000))

    def _channels(self) -> dict[str, Channel]:
        return channels(self.store, self.store.inventory(), round(self._now_s() * 1000))
