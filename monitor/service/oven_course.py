"""A cycle followed by the water in its load: how far it has got, when it is dry, and the record of it."""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from monitor.alarms import oven_words
from monitor.estimate import oven_end
from monitor.estimate.spool_answer import read
from monitor.estimate.spool_track import Track
from monitor.model.answers import unknown
from monitor.model.cycle import Cycle, Ending
from monitor.model.cycle_record import CycleNote
from monitor.model.message import Message, MessageKind, Priority
from monitor.model.oven import OvenPhase
from monitor.model.oven_fact import OvenChanges
from monitor.model.oven_progress import Progress, Rewet, Standing
from monitor.model.plan import Goal
from monitor.oven.events import FoundDry
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING
from monitor.ports import Clock, ReadStore
from monitor.service import cycle_notes
from monitor.service.oven_desk import OvenDesk
from monitor.service.queries import Queries

log = logging.getLogger(__name__)

BOOK_S = 2.0
LOOK_S = 120.0
# So many looks in a row must find it dry: one state of a sensor decides nothing.
DRY_LOOKS = 3
_OPEN_MOST = 200
Tell = Callable[[tuple[Message, ...]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    progress: Progress
    dry_looks: int


def say_nothing(messages: tuple[Message, ...]) -> None:
    """Until somebody delivers: in the log alone."""
    for message in messages:
        log.info("notice type=%s place=%s what=%s", message.type, message.place, message.what)


class OvenCourse:
    """`look` is called on the worker's thread, between other work; `progress` from any."""

    def __init__(
        self,
        desk: OvenDesk,
        store: ReadStore,
        queries: Queries,
        clock: Clock,
        *,
        note: Callable[[OvenChanges], None],
        tell: Tell = say_nothing,
    ) -> None:
        self._desk = desk
        self._store = store
        self._queries = queries
        self._clock = clock
        self._note = note
        self._tell = tell
        self._found: dict[str, _Found] = {}
        self._open: dict[str, CycleNote] | None = None  # by oven: begun and not closed yet
        self._kept_s = self._looked_s = float("-inf")

    def progress(self, oven: str) -> Progress | None:
        """Of the cycle that runs, as of the last look; None where none runs or none was worked out yet."""
        found = self._found.get(oven)
        minded = self._desk.minded(oven)
        if found is None or minded is None or found.progress.cycle != minded.cycle:
            return None
        return _with_words(_with_end(found.progress, minded.left_s))

    def look(self) -> None:
        """What began, what ended, and every two minutes how far each has got.

        Whatever fails in here is logged: the supervision rests on none of it, and readings go on.
        """
        try:
            self._look()
        except Exception:
            log.exception("cycles could not be followed")

    def _look(self) -> None:
        now_s = self._clock.mono_s()
        if now_s - self._kept_s < BOOK_S:
            return  # called with every message; nothing of this is worth as much
        self._kept_s = now_s
        states = dict(self._states())
        if self._open is None:
            notes = self._store.oven_cycles(None, _OPEN_MOST)
            self._open = {note.oven: note for note in reversed(notes) if note.ended_s is None}
        for oven, state in states.items():
            self._keep_book(oven, state)
        if now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        for oven, state in states.items():
            if state.cycle is not None and state.phase in RUNNING:
                self._weigh_up(oven, state, state.cycle)
            else:
                self._found.pop(oven, None)

    def _states(self) -> Iterable[tuple[str, Supervised]]:
        for oven in self._desk.ovens():
            yield oven, self._desk.now(oven)

    def _keep_book(self, oven: str, state: Supervised) -> None:
        """D-10: what it held when it began and when it ended, whoever or whatever ended it."""
        assert self._open is not None
        note, cycle = self._open.get(oven), state.cycle
        runs = cycle is not None and state.phase in RUNNING
        if note is not None and not (runs and cycle is not None and cycle.id == note.cycle):
            del self._open[oven]
            self._close(note, state)
        if cycle is not None and runs and oven not in self._open:
            site = state.site
            begun = cycle_notes.begun(
                oven, cycle, self._queries, self._tracks(oven),
                None if site is None else (site.room_c, site.room_dew_point_c),
            )  # fmt: skip
            self._open[oven] = begun
            self._write(begun)

    def _close(self, note: CycleNote, state: Supervised) -> None:
        tracks = self._tracks(note.oven, tuple(spool.key for spool in note.spools))
        closed = cycle_notes.ended(note, state, tracks, self._clock.wall_s())
        self._write(closed)
        goal = Goal()
        if state.cycle is not None and state.cycle.id == note.cycle:
            goal = Goal(target_pct=state.cycle.target_pct, first_m=state.cycle.first_m)
        if closed.ending != Ending.TRIPPED and any(spool.key in tracks for spool in note.spools):
            self._tell((self._parting(closed, tracks, goal),))

    def _write(self, note: CycleNote) -> None:
        changes = OvenChanges()
        changes.cycles[(note.oven, note.cycle)] = note
        self._note(changes)

    def _tracks(self, oven: str, keys: tuple[str, ...] | None = None) -> dict[str, Track]:
        """The spools in it as they are believed to be now; those still worked out are missing."""
        inventory = self._queries.inventory()
        wanted = {key for key, spool in inventory.spools.items() if spool.place == oven}
        if keys is not None:
            wanted = set(keys)
        if not wanted:
            return {}
        tracks = self._queries.followers.spools.tracks(round(1000.0 * self._clock.wall_s()))
        return {key: track for key, track in tracks.items() if key in wanted}

    def _weigh_up(self, oven: str, state: Supervised, cycle: Cycle) -> None:
        before = self._found.get(oven)
        progress = self._progress(oven, cycle)
        looks = 0
        if progress.standing is Standing.DRY:
            same = before is not None and before.progress.cycle == cycle.id
            looks = 1 + (before.dry_looks if before is not None and same else 0)
        self._found[oven] = _Found(progress=progress, dry_looks=looks)
        # What no sensor in the chamber bears out is told, and ends nothing: it would be a timer again (H36).
        may_act = state.phase is OvenPhase.DRYING and cycle.dry_since_wall_s is None and progress.is_seen
        if looks >= DRY_LOOKS and may_act:
            self._desk.step(oven, FoundDry(cycle=cycle.id, hold_c=progress.hold_c, why=progress.why))
            after = self._desk.now(oven)
            has_acted = after.phase not in RUNNING or (
                after.cycle is not None and after.cycle.dry_since_wall_s is not None
            )
            if has_acted:
                self._tell((self._dry(oven, cycle, progress),))

    def _progress(self, oven: str, cycle: Cycle) -> Progress:
        now_s = self._clock.wall_s()
        tracks = self._tracks(oven)
        missing = [item.name for item in cycle.load if item.key not in tracks]
        if missing or not tracks:
            why = f"the water of {', '.join(missing) or 'what is inside'} is not followed"
            return Progress(
                cycle=cycle.id, at_s=now_s, standing=Standing.UNKNOWN, why=f"{why[0].upper()}{why[1:]}.",
                left_g=unknown(why),
            )  # fmt: skip
        follower, at_ms = self._queries.followers.spools, round(1000.0 * now_s)
        chamber = follower.around(oven, at_ms)
        room = follower.around(self._queries.inventory().ovens[oven].room, at_ms)
        if not chamber.is_heated and not chamber.is_measured:
            why = "the chamber's air is not measured"
            return Progress(
                cycle=cycle.id, at_s=now_s, standing=Standing.UNKNOWN, why=f"{why[0].upper()}{why[1:]}.",
                left_g=unknown(why),
            )  # fmt: skip
        # Once it is held cooler, the hold is what it goes on in.
        warm = oven_end.at_setpoint(chamber, cycle.setpoint_c)
        goal = Goal(target_pct=cycle.target_pct, first_m=cycle.first_m)
        releasing = oven_end.is_releasing(chamber, room)
        ahead = oven_end.look_ahead(list(tracks.values()), warm, releasing=releasing, goal=goal)
        is_dry = ahead.standing is Standing.DRY
        return Progress(
            cycle=cycle.id,
            at_s=now_s,
            standing=ahead.standing,
            why=oven_words.standing(ahead),
            left_g=ahead.left_g,
            rate_g_h=ahead.rate_g_h,
            gain_g=ahead.gain_g,
            known_g=ahead.known_g,
            is_seen=ahead.is_releasing is False,
            dry_after_h=ahead.dry_after_h,
            target_pct=ahead.target_pct,
            hold_c=oven_end.hold_c(list(tracks.values()), [room, chamber], cycle.setpoint_c, goal)
            if is_dry
            else None,
        )

    def _dry(self, oven: str, cycle: Cycle, progress: Progress) -> Message:
        names = ", ".join(item.name for item in cycle.load)
        what, why, act = oven_words.dry(self._queries.inventory().ovens[oven].name, names, progress.hold_c)
        now_s, minded = self._clock.wall_s(), self._desk.minded(oven)
        return Message(
            kind=MessageKind.NOTICE, subject=f"dry-{oven}"[:63], occurrence=cycle.id, type="dry", place=oven,
            priority=Priority.NOTICE, at_s=now_s, what=what, why=f"{progress.why} {why}", act=act,
            deadline_s=None if minded is None else now_s + minded.left_s,
        )  # fmt: skip

    def _parting(self, note: CycleNote, tracks: dict[str, Track], goal: Goal) -> Message:
        """D-14: from the end of heat on the clock runs; what is not dry is not said to be."""
        now_s = self._clock.wall_s()
        oven = self._queries.inventory().ovens.get(note.oven)
        name = note.oven if oven is None else oven.name
        names = ", ".join(spool.name for spool in note.spools)
        found = [tracks.get(spool.key) for spool in note.spools]
        # As the spool's own page judges it: every winding, surely.
        is_dry = all(track is not None and read([track])[0].verdict == "ready" for track in found)
        deadline_s = None
        if is_dry and oven is not None:
            room = self._queries.followers.spools.around(oven.room, round(1000.0 * now_s))
            first = _first(oven_end.rewet(track, room) for track in tracks.values())
            if first is not None and first.earliest_h is not None:
                deadline_s = now_s + 3600.0 * first.earliest_h
            missed_pct = None if oven_end.is_at(list(tracks.values()), goal) else goal.target_pct
            what, why, act = oven_words.take_out(name, names, first, missed_pct)
        else:
            what, why, act = oven_words.not_dry(name, names, cycle_notes.left_over(note))
        kind = "take_out" if is_dry else "not_dry"
        return Message(
            kind=MessageKind.NOTICE, subject=f"{kind}-{note.oven}"[:63], occurrence=note.cycle, type=kind,
            place=note.oven, priority=Priority.NOTICE, at_s=now_s, what=what, why=why, act=act,
            deadline_s=deadline_s,
        )  # fmt: skip


def _with_words(progress: Progress) -> Progress:
    if progress.standing is Standing.UNKNOWN:
        return replace(progress, said=(f"By the clock alone: {progress.why[:1].lower()}{progress.why[1:]}",))
    short = oven_words.time_left(progress)
    said = (oven_words.water(progress), oven_words.dry_in(progress), progress.why, short)
    return replace(progress, said=tuple(sentence for sentence in said if sentence), short=short)


def _with_end(progress: Progress, left_s: float) -> Progress:
    """Held against the confirmed time that is left."""
    spread = progress.dry_after_h
    if spread is None or progress.standing not in (Standing.DRYING, Standing.FLOOR):
        return progress
    if spread.p90 is not None and 3600.0 * spread.p90 <= left_s:
        return replace(progress, ends_in_time="yes")
    if spread.p50 is None:
        return replace(progress, ends_in_time="no")
    short_s = 3600.0 * spread.p50 - left_s
    if short_s <= 0.0:
        return replace(progress, ends_in_time="likely")
    return replace(progress, ends_in_time="no", short_by_s=short_s)


def _first(found: Iterable[Rewet]) -> Rewet | None:
    """The one that is over its limit first."""
    return min(found, key=lambda r: float("inf") if r.earliest_h is None else r.earliest_h, default=None)
