"""Every spool followed through what was measured and told: its state is a function of what is stored."""

import threading
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from monitor.errors import StoreError
from monitor.estimate import spool_track
from monitor.estimate.spool_belief import Body
from monitor.estimate.spool_course import Around, dryer_air
from monitor.estimate.spool_track import Track
from monitor.library import Library
from monitor.model.batch import Batch
from monitor.model.inventory import Inventory
from monitor.model.spool_event import Checkpoint
from monitor.ports import ReadStore
from monitor.service.place_air import BUCKET_MS, AirBook
from monitor.service.spool_way import Way, way_of

GRID_MS = 1_800_000
# Readings come in late by this much as a matter of course; what comes later still rewinds the spools.
LAG_MS = 600_000
CHECKPOINT_MS = 6 * 3_600_000
_DAY_MS = 86_400_000
_FOREVER_MS = 2**62
_TAIL_MS = 3 * 3_600_000  # further behind than this there is no answer yet


class Follower:
    """Advances all spools over a grid of half hours. Safe from any thread."""

    def __init__(self, store: ReadStore, library: Callable[[], Library]) -> None:
        self._store = store
        self._library = library
        self._lock = threading.RLock()
        self._tracks: dict[str, Track] = {}
        self._ways: dict[str, Way] = {}
        self._pending: list[Checkpoint] = []
        self._inventory = Inventory()
        self._oldest_ms = 0
        self._book: AirBook | None = None
        self._is_stale = True
        self.epoch = 0  # rises whenever the past is seen in a new light

    def committed(self, batch: Batch) -> None:
        """What was written just now: forget what it makes untrue."""
        times_ms = [reading.time_ms for reading in batch.readings]
        times_ms += [60_000 * air.minute for air in batch.ovens.air]
        oldest_ms = min(times_ms, default=None)
        told_of = {event.spool for event in batch.events}
        with self._lock:
            if oldest_ms is not None and self._book is not None and oldest_ms < self._book.to_ms:
                self._book = None  # it was read before these came in
            if batch.inventory or batch.figures or batch.sensor_events:
                self._forget(set(self._tracks), None)
            elif told_of:
                self._forget(told_of, None)
            if oldest_ms is not None and any(1000.0 * t.at_s > oldest_ms for t in self._tracks.values()):
                self._forget(set(self._tracks), oldest_ms)

    def advance(self, until_ms: int, budget: int) -> bool:
        """Towards a time, until `budget` half hours of one spool are spent; whether there is more to do."""
        with self._lock:
            goal_ms = (until_ms - LAG_MS) // GRID_MS * GRID_MS
            if self._is_stale:
                self._begin(goal_ms)
            while budget > 0:
                moved = self._step(goal_ms)
                if not moved:
                    return False
                budget -= moved
            return self._is_behind(goal_ms)

    def is_whole(self, found: Collection[str]) -> bool:
        """Whether these are all the spools that it follows, none of them far behind."""
        with self._lock:
            return not self._is_stale and len(found) == len(self._tracks)

    def take_checkpoints(self) -> tuple[Checkpoint, ...]:
        """States that are worth keeping since the last call, and what was in each spool that was moved."""
        with self._lock:
            pending, self._pending = self._pending, []
            return tuple(pending)

    def reached_ms(self) -> int | None:
        """Up to when every spool has been worked out; None while that is not known."""
        with self._lock:
            if self._is_stale:
                return None
            return min((round(1000.0 * track.at_s) for track in self._tracks.values()), default=_FOREVER_MS)

    def waters(self, at_ms: int) -> dict[str, Checkpoint]:
        """What each spool held, as of its newest state or move at or before a time; without content."""
        with self._lock:
            found = self._store.waters(at_ms)
            for row in self._pending:
                before = found.get(row.spool)
                if row.at_ms <= at_ms and (before is None or row.at_ms >= before.at_ms):
                    found[row.spool] = row
            return found

    def ways(self) -> dict[str, Way]:
        """Where every spool was and what was told of it."""
        with self._lock:
            return dict(self._ways)

    def tracks(self, at_ms: int) -> dict[str, Track]:
        """Every spool as of a time, which must not lie before what was advanced to.

        From the last half hour of the grid on what was measured and told since is taken into account, but
        not kept. A spool that is still far behind is left out.
        """
        with self._lock:
            ready = {
                key: track
                for key, track in self._tracks.items()
                if at_ms - round(1000.0 * track.at_s) <= GRID_MS + _TAIL_MS
            }
            if not ready:
                return {}
            from_ms = min(round(1000.0 * track.at_s) for track in ready.values())
            book = AirBook(self._store, self._inventory, min(from_ms, at_ms), at_ms)
            return self._upto(ready, at_ms, book)

    def around(self, place: str, at_ms: int, span_ms: int = LAG_MS) -> Around:
        """The mean air of a place over the time just before a moment."""
        with self._lock:
            book = AirBook(self._store, self._inventory, at_ms - span_ms, at_ms)
            return book.over(place, book.from_ms, book.to_ms, None)

    def lately(self, tracks: Mapping[str, Track], at_ms: int) -> dict[str, Around]:
        """The mean air of the last day round each spool where it is now.

        What lies in an oven gets the air of its room from the moment that heat ends (D-14).
        """
        with self._lock:
            book = AirBook(self._store, self._inventory, at_ms - _DAY_MS, at_ms)
            found = {}
            for key, track in tracks.items():
                way, last = self._ways[key], track.diary.last_air
                air = book.over(self._kept_in(way.place(at_ms)), book.from_ms, book.to_ms, last)
                # A drying that is over in an hour says nothing of the weeks to come.
                found[key] = replace(air, is_sealed=way.is_sealed(at_ms), driest=None, is_heated=False)
            return found

    def _kept_in(self, place: str | None) -> str | None:
        oven = None if place is None else self._inventory.ovens.get(place)
        return place if oven is None else oven.room

    def _forget(self, spools: set[str], since_ms: int | None) -> None:
        """The states of these spools, or those after a time; what is kept of them is gone from the store."""
        self.epoch += 1
        self._is_stale = True
        self._book = None
        self._tracks = {
            key: track
            for key, track in self._tracks.items()
            if key not in spools or (since_ms is not None and 1000.0 * track.at_s <= since_ms)
        }
        self._pending = [
            row
            for row in self._pending
            if row.spool not in spools or (since_ms is not None and row.at_ms <= since_ms)
        ]

    def _begin(self, goal_ms: int) -> None:
        """The ways of all spools, and each at its newest state that still holds."""
        self._inventory = self._store.inventory()
        self._oldest_ms = self._store.oldest_ms() or goal_ms
        histories = self._store.spool_histories()
        checkpoints = self._store.checkpoints(goal_ms)
        self._ways = {}
        tracks: dict[str, Track] = {}
        for key, history in histories.items():
            way = way_of(history, self._oldest_ms)
            if way is None:
                continue
            self._ways[key] = way
            tracks[key] = self._tracks.get(key) or self._restored(way, checkpoints.get(key))
        self._tracks = tracks
        self._is_stale = False

    def _restored(self, way: Way, checkpoint: Checkpoint | None) -> Track:
        spool, library = way.spool, self._library()
        body = Body(spool=spool, material=library.material(spool.material), reel=library.reel(spool.reel))
        if checkpoint is not None and checkpoint.at_ms >= way.begins_ms:
            try:
                return spool_track.load(body, checkpoint.at_ms / 1000.0, checkpoint.content)
            except (StoreError, ValueError, KeyError, TypeError):
                pass  # of an earlier version: computed anew
        return spool_track.begin(body, way.begins_ms / 1000.0)

    def _is_behind(self, goal_ms: int) -> bool:
        return any(1000.0 * track.at_s < goal_ms for track in self._tracks.values())

    def _step(self, goal_ms: int) -> int:
        """Those furthest behind go on by one step of the grid; returns how many they were."""
        behind = {key: t for key, t in self._tracks.items() if 1000.0 * t.at_s < goal_ms}
        if not behind:
            return 0
        from_ms = min(round(1000.0 * track.at_s) for track in behind.values())
        group = {key: t for key, t in behind.items() if round(1000.0 * t.at_s) == from_ms}
        book = self._book_at(from_ms, goal_ms)
        to_ms = self._step_end_ms(from_ms, goal_ms)
        moved: list[Checkpoint] = []
        self._tracks.update(self._together(group, to_ms, book, moved))
        self._pending += moved
        if to_ms % CHECKPOINT_MS == 0:
            for key in group:
                self._tracks[key] = self._kept(key, self._tracks[key])
        return len(group)

    def _step_end_ms(self, from_ms: int, goal_ms: int) -> int:
        """A half hour, or before anything was ever heard a day: a matter of what is stored alone."""
        half_hour_ms = (from_ms // GRID_MS + 1) * GRID_MS
        heard_ms = self._oldest_ms // GRID_MS * GRID_MS
        return min(max(half_hour_ms, min(_next_day_ms(from_ms), heard_ms)), goal_ms)

    def _together(
        self, group: dict[str, Track], to_ms: int, book: AirBook, moved: list[Checkpoint] | None = None
    ) -> dict[str, Track]:
        """Those for whom nothing changes within the step go in one sweep; moves are noted in `moved`."""
        from_ms = round(1000.0 * next(iter(group.values())).at_s)
        smooth = {key for key in group if self._is_smooth(self._ways[key], from_ms, to_ms)}
        noted: list[Checkpoint] = [] if moved is None else moved
        carried = {
            key: self._carried(track, self._ways[key], to_ms, book, noted)
            for key, track in group.items()
            if key not in smooth
        }
        keys = sorted(smooth)
        if keys:
            tracks = [self._told(group[key], self._ways[key], from_ms) for key in keys]
            noted += [
                _water(key, track, from_ms)
                for key, track in zip(keys, tracks, strict=True)
                if self._ways[key].is_moved(from_ms)
            ]
            air = [
                self._air(self._ways[k], t, from_ms, to_ms, book) for k, t in zip(keys, tracks, strict=True)
            ]
            stepped = spool_track.step(tracks, air, (to_ms - from_ms) / 1000.0)
            carried |= dict(zip(keys, stepped, strict=True))
        return carried

    def _is_smooth(self, way: Way, from_ms: int, to_ms: int) -> bool:
        is_in_oven = way.place(from_ms) in self._inventory.ovens or way.drying(from_ms) is not None
        return not is_in_oven and not way.cuts(from_ms, to_ms)

    def _carried(self, track: Track, way: Way, to_ms: int, book: AirBook, noted: list[Checkpoint]) -> Track:
        """One spool on, part by part, through all that happens to it before a time."""
        from_ms = round(1000.0 * track.at_s)
        edges = [from_ms, *way.cuts(from_ms, to_ms), to_ms]
        for begin_ms, end_ms in zip(edges, edges[1:], strict=False):
            track = self._told(track, way, begin_ms)
            if way.is_moved(begin_ms):
                noted.append(_water(way.spool.key, track, begin_ms))
            for part_from_ms, part_to_ms in self._parts(way, begin_ms, end_ms):
                air = self._air(way, track, part_from_ms, part_to_ms, book)
                track = spool_track.step([track], [air], (part_to_ms - part_from_ms) / 1000.0)[0]
            track = replace(track, at_s=end_ms / 1000.0)
        return track

    def _upto(self, tracks: dict[str, Track], at_ms: int, book: AirBook) -> dict[str, Track]:
        """As of a time, with what was told of that very moment; for answers only: a step tells it, too."""
        carried = dict(tracks)
        for from_ms in {round(1000.0 * track.at_s) for track in tracks.values()}:
            group = {key: t for key, t in tracks.items() if round(1000.0 * t.at_s) == from_ms < at_ms}
            if group:
                carried.update(self._together(group, at_ms, book))
        return {key: self._told(track, self._ways[key], at_ms) for key, track in carried.items()}

    def _parts(self, way: Way, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
        """In an oven the air changes within minutes."""
        if to_ms <= from_ms:
            return []
        if way.place(from_ms) not in self._inventory.ovens:
            return [(from_ms, to_ms)]
        first_ms = from_ms - from_ms % BUCKET_MS + BUCKET_MS
        edges = [from_ms, *range(first_ms, to_ms, BUCKET_MS), to_ms]
        return list(zip(edges, edges[1:], strict=False))

    def _told(self, track: Track, way: Way, at_ms: int) -> Track:
        for event in way.events_at(at_ms):
            track = spool_track.take(track, event)
        return track

    def _air(self, way: Way, track: Track, from_ms: int, to_ms: int, book: AirBook) -> Around:
        place, last = way.place(from_ms), track.diary.last_air
        air = book.over(place, from_ms, to_ms, last)
        drying = way.drying(from_ms)
        if drying is None:
            return replace(air, is_sealed=True, driest=None) if way.is_sealed(from_ms) else air
        room = drying.room_humidity_pct
        return dryer_air(drying.temperature_c, air, None if room is None else room / 100.0)

    def _book_at(self, from_ms: int, goal_ms: int) -> AirBook:
        book = self._book
        if book is None or not book.from_ms <= from_ms < book.to_ms:
            until_ms = min(_next_day_ms(from_ms), goal_ms)  # what is newer than the goal is not all in yet
            book = self._book = AirBook(self._store, self._inventory, from_ms, until_ms)
        return book

    def _kept(self, key: str, track: Track) -> Track:
        """A checkpoint; what goes on is what was stored, so that a restart changes nothing."""
        content = spool_track.dump(track)
        again = spool_track.load(track.body, track.at_s, content)
        self._pending.append(_water(key, again, round(1000.0 * track.at_s), content))
        return again


def _water(key: str, track: Track, at_ms: int, content: bytes = b"") -> Checkpoint:
    """What a spool holds; with its state as content it can be gone on from."""
    return Checkpoint(
        spool=key,
        at_ms=at_ms,
        content=content,
        mean_pct=_percent(spool_track.means(track.body, track.belief)),
        outer_pct=_percent(spool_track.outers(track.body, track.belief)),
    )


def _next_day_ms(at_ms: int) -> int:
    return (at_ms // _DAY_MS + 1) * _DAY_MS


def _percent(contents: tuple[float, float, float]) -> tuple[float, float, float]:
    low, middle, high = (100.0 * content for content in contents)
    return low, middle, high
