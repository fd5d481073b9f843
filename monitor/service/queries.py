"""Everything a page or a command can ask, answered from what is committed."""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from monitor.alarms.needs import needs, of_seats
from monitor.alarms.planned_starts import waiting
from monitor.errors import BadInputError
from monitor.library import Library
from monitor.model.alarm_row import AlarmRow
from monitor.model.answers import (
    AirAnswer,
    BoxCourse,
    HealthAnswer,
    RoomAnswer,
    SeriesAnswer,
    SeriesPoint,
    StatusAnswer,
)
from monitor.model.batch import DeviceRow, Quarantined
from monitor.model.box_event import BoxHistory, charges
from monitor.model.catalogue import OwnFigure
from monitor.model.history import Newest, RollUp
from monitor.model.inventory import Inventory, Oven
from monitor.model.reading import QUANTITIES, Quantity
from monitor.model.records import stated_at
from monitor.model.sensor_check import NO_CORRECTION, Correction
from monitor.model.spool_event import Checkpoint, SpoolHistory, place_at
from monitor.ports import ReadStore
from monitor.service import air, alarm_answers, ovens
from monitor.service.box_course import box_course
from monitor.service.boxes import BoxAnswers
from monitor.service.corrections import AWAY, Corrections
from monitor.service.followers import Followers
from monitor.service.oven_figures import as_learned
from monitor.service.places import Stay, newest_of, placed_at, stays
from monitor.service.sensor_seats import seats
from monitor.service.sensors import SensorAnswers
from monitor.service.series_points import DEW_POINT, changes_between, check_window, dew_points, point
from monitor.service.site_catalogue import SiteCatalogue
from monitor.service.spools import SpoolAnswers

CHANGE_OVER_MS = 3 * 3_600_000
CHANGE_WINDOW_MS = 30 * 60_000
CHANGE_KEPT_S = 60.0
CATCH_UP_BUDGET = 2_000  # half hours of one spool: a second or so


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """How the service that asks is doing; a command on a bare database has none of it."""

    broker: str = "not used"
    broker_kind: str | None = None
    reasons: tuple[str, ...] = ()
    history_share: float | None = None


class Queries:
    """Questions about one site; safe from any thread."""

    def __init__(
        self,
        store: ReadStore,
        *,
        now_s: Callable[[], float],
        zone: str,
        figures: Sequence[OwnFigure] = (),
        is_live: bool = False,
        surroundings: Callable[[], Surroundings] = Surroundings,
    ) -> None:
        self.store = store  # also for answers that are made beside this class
        self._catalogue = SiteCatalogue(store, figures)
        # Live: the service's worker moves the followers on; else they are moved on for the asking.
        self.followers = Followers(store, self._catalogue.library, self._catalogue.limits)
        self._spools = SpoolAnswers(self.followers.spools, is_live=is_live)
        self._boxes = BoxAnswers(self.followers, is_live=is_live)
        self._minded: Callable[[str], ovens.Minded | None] = lambda _: None
        self._alarm_rows: Mapping[str, AlarmRow] = {}
        self.sensors = SensorAnswers(store, now_s=now_s)
        self._now_s = now_s
        self._zone = zone
        self._surroundings = surroundings
        self._changes: dict[str, tuple[float, tuple[float | None, float | None]]] = {}
        self._revision = 0
        self._changed = threading.Condition()

    def know_alarms(self, rows: Mapping[str, AlarmRow]) -> None:
        """From now on answers tell of alarms; by the rows of the alarm table."""
        self._alarm_rows = rows

    def mind_ovens(self, minded: Callable[[str], ovens.Minded | None]) -> None:
        """From now on somebody supervises the ovens; asked by key."""
        self._minded = minded

    def zone(self) -> str:
        """IANA name of the site's time zone."""
        return self._zone

    def now_s(self) -> float:
        """The time as of which answers are given."""
        return self._now_s()

    def inventory(self) -> Inventory:
        """As it is, each spool where it was last said to be."""
        return self._inventory(None)[0]

    def ovens_as_learned(self) -> dict[str, Oven]:
        """The inventory's ovens with the overshoot that counts for each (see `oven_figures`)."""
        facts = self.store.oven_facts()
        return {key: as_learned(oven, facts) for key, oven in self.inventory().ovens.items()}

    def library(self) -> Library:
        """The catalogue with the site's own figures."""
        return self._catalogue.library()

    def own_figures(self) -> tuple[OwnFigure, ...]:
        """Figures that were ever set on a page, the newest last."""
        return self.store.own_figures()

    def spool_history(self, key: str) -> SpoolHistory | None:
        """All that was ever stated about a spool."""
        return self.store.spool_histories().get(key)

    def spool_course(self, key: str, from_s: float, to_s: float) -> tuple[Checkpoint, ...]:
        """Kept states of a spool in a window, oldest first: the past of its water."""
        return self.store.spool_course(key, round(from_s * 1000), round(to_s * 1000))

    def box_history(self, key: str) -> BoxHistory | None:
        """All that was ever stated about a box."""
        return self.store.box_histories().get(key)

    def box_course(self, key: str, from_s: float, to_s: float) -> BoxCourse:
        """A box's desiccant over a window, what happened to it, and where it is heading."""
        window = (round(from_s * 1000), round(to_s * 1000))
        return box_course(self.store, self.followers, self._boxes.insight(key), key, window)

    def quarantine(self, limit: int = 100) -> tuple[Quarantined, ...]:
        return self.store.quarantine(limit)

    def catch_up(self) -> None:
        """Move on as far as is soon done, so that who changed something sees what came of it."""
        self.followers.catch_up(round(self.now_s() * 1000), CATCH_UP_BUDGET)

    def revision(self) -> int:
        """Rises with everything that may change an answer."""
        return self._revision

    def changed(self) -> None:
        """Something was committed."""
        with self._changed:
            self._revision += 1
            self._changed.notify_all()

    def wait_for_change(self, after_revision: int, timeout_s: float) -> int:
        """The revision, as soon as it is above `after_revision` or the time is up."""
        with self._changed:
            self._changed.wait_for(lambda: self._revision > after_revision, timeout=timeout_s)
            return self._revision

    def status(self, at_s: float | None = None) -> StatusAnswer:
        """The whole site as of a time, by default now."""
        moment_s = self.now_s() if at_s is None else at_s
        at_ms = round(moment_s * 1000)
        inventory, told_of_boxes = self._inventory(None if at_s is None else at_ms)
        limits = self._catalogue.limits()
        devices = {(row.kind, row.key): row for row in self.store.devices()}
        here = placed_at(stays(self.store.placements()), at_ms)
        newest = self.store.latest(None if at_s is None else at_ms)
        told_of_sensors = self.store.sensor_events()
        by_channel, held = newest_of(newest), Corrections(told_of_sensors)

        def air_of(place: str, channel: str | None) -> AirAnswer:
            return self._air(place, channel, here.get(place), by_channel, devices, at_ms, held)

        rooms = tuple(
            RoomAnswer(key=room.key, name=room.name, air=air_of(room.key, room.channel))
            for room in inventory.rooms.values()
        )
        boxes = self._boxes.all(
            inventory,
            {key: air_of(key, box.channel) for key, box in inventory.boxes.items()},
            at_ms,
            (self._catalogue.library(), limits),
            told_of_boxes,
        )
        minded = {key: self._minded(key) if at_s is None else None for key in inventory.ovens}
        heated = frozenset(key for key, cycle in minded.items() if cycle is not None)
        spools = self._spools.all(inventory, at_ms, limits, heated)
        heaters = tuple(
            ovens.answer(
                oven,
                devices.get(("oven", oven.key)),
                at_ms,
                minded[oven.key],
                [spool for spool in spools if spool.place == oven.key],
            )
            for oven in inventory.ovens.values()
        )
        unplaced = _unplaced(newest, here)
        health = self._health(newest, unplaced, at_ms)
        starts = self.store.planned_starts() if at_s is None else ()
        planned = waiting(starts, inventory.ovens, moment_s, self._zone)
        # While the past is still being read everything looks old: nothing is asked of anybody yet.
        is_settling = health.history_share is not None
        return StatusAnswer(
            at=air.rfc3339(moment_s),
            site=self.store.site(),
            boxes=boxes,
            rooms=rooms,
            spools=spools,
            ovens=heaters,
            alarms=alarm_answers.committed(self.store.alarms(), self._alarm_rows) if at_s is None else (),
            needs=()
            if is_settling
            else (
                *needs(boxes, rooms, heaters, spools, moment_s, unplaced, limits.names, planned),
                *of_seats(boxes, seats(here, told_of_sensors, at_ms)),
            ),
            health=health,
        )

    def room_air(self, key: str) -> AirAnswer:
        """The air of one room now, and nothing else: it rests on no estimate."""
        at_ms = round(self.now_s() * 1000)
        here = placed_at(stays(self.store.placements()), at_ms)
        devices = {(row.kind, row.key): row for row in self.store.devices()}
        channel = self.store.inventory().rooms[key].channel
        newest, held = newest_of(self.store.latest()), Corrections(self.store.sensor_events())
        return self._air(key, channel, here.get(key), newest, devices, at_ms, held)

    def series(
        self, place: str, quantity: str, from_s: float, to_s: float, span_s: int, *, is_raw: bool = False
    ) -> SeriesAnswer:
        """A place's roll-ups over a window; BadInputError names what is wrong with the question.

        `is_raw`: as the sensor told it, without what is held of it, also while it was away from its place.
        """
        check_window(quantity, from_s, to_s, span_s)
        known = stays(self.store.placements())
        if place not in known:
            raise BadInputError(f"place {place!r} has no channel in the inventory")
        window = (int(from_s // span_s) * span_s * 1000, int(to_s * 1000))
        if quantity == DEW_POINT:
            points = dew_points(
                self._points(known[place], Quantity.TEMPERATURE, window, span_s, is_raw),
                self._points(known[place], Quantity.HUMIDITY, window, span_s, is_raw),
            )
            unit = "Cel"
        else:
            points = self._points(known[place], Quantity(quantity), window, span_s, is_raw)
            unit = QUANTITIES[Quantity(quantity)].unit or ""
        return SeriesAnswer(place=place, quantity=quantity, unit=unit, span_s=span_s, points=tuple(points))

    def _points(
        self, stays_here: list[Stay], quantity: Quantity, window: tuple[int, int], span_s: int, is_raw: bool
    ) -> list[SeriesPoint]:
        ids = {f"{s.node}/{s.channel}": s.series_id for s in self.store.series() if s.quantity is quantity}
        held = Corrections({} if is_raw else self.store.sensor_events())
        found: dict[int, RollUp] = {}
        for stay in stays_here:
            if stay.channel in ids:
                begin_ms, end_ms = max(window[0], stay.from_ms), min(window[1], stay.to_ms)
                for item in self.store.points(ids[stay.channel], begin_ms, end_ms, span_s):
                    corrected = held.roll_up(stay.channel, quantity, item, span_s * 1000)
                    if corrected is not None:
                        found[item.start_ms] = corrected
        return [
            point(start, found.get(start), span_s) for start in range(window[0], window[1], span_s * 1000)
        ]

    def _air(
        self,
        place: str,
        channel: str | None,
        stay: Stay | None,
        by_channel: Mapping[str, dict[Quantity, Newest]],
        devices: Mapping[tuple[str, str], DeviceRow],
        at_ms: int,
        held: Corrections,
    ) -> AirAnswer:
        if stay is None or channel is None:
            return air.nothing("no channel is placed here in the inventory")
        here = {q: n for q, n in by_channel.get(stay.channel, {}).items() if n.time_ms >= stay.from_ms}
        correction = held.at(stay.channel, at_ms)
        if correction is None:
            return air.nothing(AWAY)
        found = held.newest(stay.channel, here)
        device = devices.get(("node", stay.channel.partition("/")[0]))
        raw = here.get(Quantity.HUMIDITY) if Quantity.HUMIDITY in found else None
        raw_pct = None if raw is None or correction == NO_CORRECTION else raw.value
        was_away = held.was_away(stay.channel, at_ms - CHANGE_OVER_MS - CHANGE_WINDOW_MS, at_ms)
        changes = (None, None) if was_away else self._change(place, found, at_ms, correction)
        return air.answer(found, at_ms, device, changes, raw_pct)

    def _change(
        self, place: str, found: Mapping[Quantity, Newest], at_ms: int, held: Correction
    ) -> tuple[float | None, float | None]:
        """Change of humidity and dew point over three hours; looked up anew once a minute.

        Both ends are corrected alike: a correction that was set in between is no change of the air.
        """
        if Quantity.TEMPERATURE not in found or Quantity.HUMIDITY not in found:
            return None, None
        kept = self._changes.get(place)
        if kept is not None and 0.0 <= at_ms / 1000.0 - kept[0] < CHANGE_KEPT_S:
            return kept[1]
        humidity, temperature = found[Quantity.HUMIDITY].series, found[Quantity.TEMPERATURE].series
        means = [
            (
                self.store.mean_over(humidity.series_id, end_ms - CHANGE_WINDOW_MS, end_ms),
                self.store.mean_over(temperature.series_id, end_ms - CHANGE_WINDOW_MS, end_ms),
            )
            for end_ms in (at_ms - CHANGE_OVER_MS, at_ms)
        ]
        changes = changes_between([(h if h is None else held.corrected(h), t) for h, t in means])
        if len(self._changes) > 5_000:
            self._changes.clear()
        if changes[0] is not None:
            self._changes[place] = (at_ms / 1000.0, changes)
        return changes

    def _inventory(self, at_ms: int | None) -> tuple[Inventory, dict[str, BoxHistory]]:
        """As of a time, each spool and charge where it was last said to be; and what was said of boxes."""
        inventory = self.store.inventory(at_ms)
        until_ms = 2**62 if at_ms is None else at_ms
        histories = self.store.spool_histories(at_ms)
        placed = {
            key: replace(spool, place=place_at(histories[key], until_ms))
            for key, spool in inventory.spools.items()
        }
        told = self.store.box_histories(at_ms)
        charged = {
            key: replace(box, desiccant=stated_at(charges(told[key]), until_ms, box.desiccant))
            for key, box in inventory.boxes.items()
        }
        return replace(inventory, spools=placed, boxes=charged), told

    def _health(self, newest: tuple[Newest, ...], unplaced: tuple[str, ...], at_ms: int) -> HealthAnswer:
        around, counters, head = self._surroundings(), self.store.counters(), self.store.audit_head()
        newest_ms = max((item.time_ms for item in newest), default=None)
        reasons = list(around.reasons)
        if around.broker == "away":
            reasons.append("The broker cannot be reached; readings wait at the nodes until it is back.")
        is_live = around.broker != "not used" and around.history_share is None
        if is_live and newest and newest_ms is not None:
            longest_ms = 2000 * max(item.series.due_s or air.DEFAULT_DUE_S for item in newest)
            if at_ms - newest_ms > longest_ms:
                reasons.append("No sensor has been heard for longer than any of them may be silent.")
        return HealthAnswer(
            ok=not reasons,
            reasons=tuple(reasons),
            broker=around.broker,
            broker_kind=around.broker_kind,
            newest_reading=None if newest_ms is None else air.rfc3339(newest_ms / 1000.0),
            readings=counters.get("readings", 0),
            packs=counters.get("packs", 0),
            duplicates=counters.get("duplicates", 0),
            quarantined=counters.get("quarantined", 0),
            unplaced_channels=unplaced,
            log_head=None if head is None else str(head),
            history_share=around.history_share,
        )


def _unplaced(newest: tuple[Newest, ...], here: Mapping[str, Stay]) -> tuple[str, ...]:
    heard = {f"{item.series.node}/{item.series.channel}" for item in newest}
    return tuple(sorted(heard - {stay.channel for stay in here.values()}))
