"""Every box followed through its readings: like a spool's, its state is a function of what is stored."""

import threading
from collections.abc import Callable, Collection
from dataclasses import replace

from monitor.errors import BadInputError
from monitor.estimate import box_track
from monitor.estimate.box_lid import BoxReading, Event
from monitor.estimate.box_model import BoxModel, Sorber, spool_sorber
from monitor.estimate.box_setup import box_model
from monitor.estimate.box_told import sensor_corrected, sensor_unchecked, weighed
from monitor.estimate.box_track import BoxTrack
from monitor.library import Library
from monitor.model.batch import Batch
from monitor.model.box_event import BoxCheckpoint, ChargeWeighed, Noticed
from monitor.model.inventory import Inventory
from monitor.physics.psychrometrics import saturated_vapour_kg_m3
from monitor.ports import ReadStore
from monitor.service.box_way import BoxWay, Stretch, box_way
from monitor.service.corrections import changes
from monitor.service.follower import CHECKPOINT_MS, GRID_MS, LAG_MS, Follower
from monitor.service.limits import Limits
from monitor.service.place_air import BUCKET_MS, AirBook
from monitor.service.sensor_answer import overdue_ms
from monitor.service.spool_way import Way

_DAY_MS = 86_400_000
# Without anything inside a box is asked to be as dry as people keep boxes.
NOTHING_INSIDE_HUMIDITY = 0.20
_TENTHS = 2.5632  # standard deviations between the outer tenths
_LEAST_CONTENT_SD = 1e-5


class BoxFollower:
    """Advances all boxes over the grid of the spools, never ahead of these. Safe from any thread."""

    def __init__(
        self,
        store: ReadStore,
        library: Callable[[], Library],
        limits: Callable[[], Limits],
        spools: Follower,
    ) -> None:
        self._store = store
        self._library = library
        self._limits = limits
        self._spools = spools
        self._lock = threading.RLock()
        self._tracks: dict[str, BoxTrack] = {}
        self._ways: dict[str, BoxWay] = {}
        self._spool_ways: dict[str, Way] = {}  # that `_ways` were made of
        self._states: list[BoxCheckpoint] = []
        self._noticed: list[Noticed] = []
        self._inventory = Inventory()
        self._book: AirBook | None = None
        self._is_stale = True
        self._has_past = True  # False: begun before the first reading, so without any box
        self.epoch = 0  # rises whenever the past is seen in a new light

    def committed(self, batch: Batch) -> None:
        """What was written just now: forget what it makes untrue."""
        oldest_ms = min((reading.time_ms for reading in batch.readings), default=None)
        with self._lock:
            if oldest_ms is not None and self._book is not None and oldest_ms < self._book.to_ms:
                self._book = None
            told = batch.events or batch.box_events or batch.sensor_events
            is_first = oldest_ms is not None and not self._has_past
            if batch.inventory or batch.figures or told or is_first:
                # A spool that was moved or told of is another box; what still holds is read back.
                self._forget(None)
            if oldest_ms is not None and any(1000.0 * t.at_s > oldest_ms for t in self._tracks.values()):
                self._forget(oldest_ms)

    def advance(self, until_ms: int, budget: int) -> bool:
        """Towards a time, until `budget` half hours of one box are spent; whether there is more to do."""
        with self._lock:
            reached_ms = self._spools.reached_ms()
            if reached_ms is None:
                return True
            goal_ms = min(until_ms - LAG_MS, reached_ms) // GRID_MS * GRID_MS
            if self._is_stale:
                self._begin(goal_ms)
            while budget > 0:
                moved = self._step(goal_ms)
                if not moved:
                    return False
                budget -= moved
            return True

    def is_whole(self, found: Collection[str]) -> bool:
        """Whether these are all the boxes that it follows."""
        with self._lock:
            return not self._is_stale and len(found) == len(self._tracks)

    def take(self) -> tuple[tuple[BoxCheckpoint, ...], tuple[Noticed, ...]]:
        """States that are worth keeping since the last call, and what was noticed."""
        with self._lock:
            kept = tuple(self._states), tuple(self._noticed)
            self._states, self._noticed = [], []
            return kept

    def settled(self) -> dict[str, BoxTrack]:
        """Every box as of the last half hour of the grid."""
        with self._lock:
            return dict(self._tracks)

    def way(self, box: str) -> BoxWay | None:
        with self._lock:
            return self._ways.get(box)

    def lately(self, at_ms: int) -> tuple[dict[str, BoxTrack], list[Noticed]]:
        """Every box as of a time with all that was measured since the grid, and what that told; not kept."""
        with self._lock:
            tracks = dict(self._tracks)
            if not tracks:
                return {}, []
            from_ms = min(round(1000.0 * track.at_s) for track in tracks.values())
            if not from_ms < at_ms <= from_ms + _DAY_MS:
                return tracks, []
            book = AirBook(self._store, self._inventory, from_ms, at_ms)
            found: list[Noticed] = []
            for key, track in tracks.items():
                carried, noticed = self._carried(self._ways[key], track, at_ms, book)
                # With what was told of this very moment; a step of the grid tells it, too.
                tracks[key] = self._told(self._ways[key], carried, at_ms)
                found += noticed
            return tracks, found

    def noticed(self, from_ms: int) -> list[Noticed]:
        """What was noticed from a time on, up to the grid."""
        with self._lock:
            until_ms = max((round(1000.0 * t.at_s) for t in self._tracks.values()), default=0)
            stored = {(n.box, n.at_ms, n.kind): n for n in self._store.noticed(from_ms, until_ms)}
            stored |= {(n.box, n.at_ms, n.kind): n for n in self._noticed if n.at_ms >= from_ms}
            return sorted(stored.values(), key=lambda item: item.at_ms)

    def _forget(self, since_ms: int | None) -> None:
        self.epoch += 1
        self._is_stale = True
        self._book = None
        if since_ms is None:
            # Which states still hold the store knows: it deleted the others.
            self._tracks, self._states, self._noticed = {}, [], []
            return
        self._tracks = {k: t for k, t in self._tracks.items() if 1000.0 * t.at_s <= since_ms}
        self._states = [row for row in self._states if row.at_ms <= since_ms]
        self._noticed = [row for row in self._noticed if row.found_ms <= since_ms]

    def _begin(self, goal_ms: int) -> None:
        """The ways of all boxes, and each at its newest state that still holds."""
        self._inventory = self._store.inventory()
        oldest_ms = self._store.oldest_ms()
        self._has_past = oldest_ms is not None
        self._spool_ways = spools = self._spools.ways()
        states = self._store.box_checkpoints(goal_ms)
        self._ways, tracks = {}, {}
        told = self._store.sensor_events()
        for key, history in self._store.box_histories().items():
            way = None if oldest_ms is None else box_way(history, spools, oldest_ms)
            if way is None or way.box.channel is None:
                continue
            of_sensor = told.get(way.box.channel, ())
            way = replace(way, corrections=changes(of_sensor), overdue_ms=overdue_ms(of_sensor))
            track = self._tracks.get(key) or self._restored(way, states.get(key))
            if track is not None:
                self._ways[key], tracks[key] = way, track
        self._tracks = tracks
        self._is_stale = False

    def _restored(self, way: BoxWay, state: BoxCheckpoint | None) -> BoxTrack | None:
        if state is not None and state.at_ms >= way.begins_ms:
            model = self._model(way, way.stretch(state.at_ms))
            if model is not None:
                try:
                    return box_track.load(model, state.at_ms / 1000.0, state.content)
                except ValueError:
                    pass  # of an earlier version: computed anew
        return self._first(way, way.begins_ms)

    def _first(self, way: BoxWay, from_ms: int) -> BoxTrack | None:
        """Before any reading, at the first stretch from a time on that has a desiccant."""
        for stretch in way.stretches:
            model = self._model(way, stretch) if stretch.to_ms > from_ms else None
            if model is not None:
                return box_track.begin(model, max(stretch.from_ms, from_ms) / 1000.0)
        return None

    def _model(self, way: BoxWay, stretch: Stretch) -> BoxModel | None:
        """None where nothing can be estimated: there is no desiccant, or its kind is not known."""
        if stretch.charge is None:
            return None
        library = self._library()
        waters = self._spools.waters(stretch.from_ms) if stretch.inside else {}
        ways = self._spool_ways
        limit = self._limits().humidity_pct(ways[key].spool for key in stretch.inside)
        sorbers: list[Sorber] = []
        for key in stretch.inside:
            spool, water = ways[key].spool, waters.get(key)
            left_g = ways[key].left_g(stretch.from_ms)
            if water is None or left_g <= 0.0:
                continue
            low, middle, high = (share / 100.0 for share in water.mean_pct)
            content_sd = max((high - low) / _TENTHS, _LEAST_CONTENT_SD)
            material = library.material(spool.material)
            sorbers.append(
                spool_sorber(material, left_g / 1000.0, spool.diameter_mm / 1000.0, middle, content_sd)
            )
        try:
            return box_model(
                replace(way.box, desiccant=stretch.charge),
                library.desiccant(stretch.charge.kind),
                NOTHING_INSIDE_HUMIDITY if limit is None else limit[0] / 100.0,
                sorbers,
                now_s=stretch.from_ms / 1000.0,
            )
        except BadInputError:
            return None

    def _step(self, goal_ms: int) -> int:
        """Those furthest behind go on by one step of the grid; returns how many they were."""
        behind = {key: t for key, t in self._tracks.items() if 1000.0 * t.at_s < goal_ms}
        if not behind:
            return 0
        from_ms = min(round(1000.0 * track.at_s) for track in behind.values())
        to_ms = min((from_ms // GRID_MS + 1) * GRID_MS, goal_ms)
        group = {key: t for key, t in behind.items() if 1000.0 * t.at_s < to_ms}
        for key, track in group.items():
            book = self._book_at(from_ms, goal_ms)
            carried, noticed = self._carried(self._ways[key], track, to_ms, book)
            self._noticed += noticed
            self._tracks[key] = self._kept(key, carried) if to_ms % CHECKPOINT_MS == 0 else carried
        return len(group)

    def _carried(
        self, way: BoxWay, track: BoxTrack, to_ms: int, book: AirBook
    ) -> tuple[BoxTrack, list[Noticed]]:
        """One box on, part by part, through all that happens to it before a time."""
        from_ms = round(1000.0 * track.at_s)
        edges = [from_ms, *way.cuts(from_ms, to_ms), to_ms]
        found: list[Noticed] = []
        for begin_ms, end_ms in zip(edges, edges[1:], strict=False):
            track = self._told(way, track, begin_ms)
            track, events = box_track.step(
                track, self._readings(way, begin_ms, end_ms, book), end_ms / 1000.0
            )
            found += [_noticed(way.box.key, event, end_ms) for event in events]
        return track, found

    def _told(self, way: BoxWay, track: BoxTrack, at_ms: int) -> BoxTrack:
        stretch = way.stretch(at_ms)
        if stretch.from_ms == at_ms and at_ms > way.begins_ms:
            model = self._model(way, stretch)
            if model is not None:  # without a desiccant the box is left as it was till there is one again
                track = box_track.changed(track, model, is_new_charge=stretch.is_new_charge)
        for moment_ms, event in way.weighings:
            if moment_ms == at_ms and isinstance(event.what, ChargeWeighed):
                belief = weighed(
                    track.model, track.belief, event.what.mass_g / 1000.0, event.what.resolution_g / 1000.0
                )
                track = replace(track, belief=belief)
        for change in way.corrections:
            if change.at_ms == at_ms and track.belief.humidity >= 0.0:  # something was read
                shift = change.shift(track.belief.humidity)
                track = replace(track, belief=sensor_corrected(track.belief, shift, change.known_sd))
        if at_ms in way.overdue_ms:
            track = replace(track, belief=sensor_unchecked(track.belief))
        return track

    def _readings(self, way: BoxWay, from_ms: int, to_ms: int, book: AirBook) -> list[BoxReading]:
        """Five-minute means of box and room that are over by `to_ms`; gaps are left out (A-36)."""
        if way.stretch(from_ms).charge is None:
            return []
        found = []
        for start_ms in range(from_ms - from_ms % BUCKET_MS, to_ms - BUCKET_MS + 1, BUCKET_MS):
            air = book.bucket(way.box.key, start_ms)
            if air is None:
                continue
            room = book.bucket(way.box.room, start_ms)
            found.append(
                BoxReading(
                    time_s=(start_ms + BUCKET_MS / 2) / 1000.0,
                    temperature_c=air[0],
                    relative_humidity=air[1],
                    room_kg_m3=None if room is None else room[1] * saturated_vapour_kg_m3(room[0]),
                )
            )
        return found

    def _book_at(self, from_ms: int, goal_ms: int) -> AirBook:
        book = self._book
        if book is None or not book.from_ms <= from_ms < book.to_ms:
            until_ms = min((from_ms // _DAY_MS + 1) * _DAY_MS, goal_ms)
            book = self._book = AirBook(self._store, self._inventory, from_ms, until_ms)
        return book

    def _kept(self, key: str, track: BoxTrack) -> BoxTrack:
        """A state to keep; what goes on is what was stored, so that a restart changes nothing."""
        content = box_track.dump(track)
        again = box_track.load(track.model, track.at_s, content)
        band = box_track.loading_band(again)
        self._states.append(
            BoxCheckpoint(
                box=key,
                at_ms=round(1000.0 * track.at_s),
                content=content,
                loading_pct=(100.0 * band.p10, 100.0 * band.p50, 100.0 * band.p90),
            )
        )
        return again


def _noticed(box: str, event: Event, found_ms: int) -> Noticed:
    return Noticed(
        box=box,
        at_ms=round(1000.0 * event.time_s),
        kind=str(event.kind),
        water_g=1000.0 * event.water_kg,
        step_pct=100.0 * event.humidity_step,
        found_ms=found_ms,
    )
