"""The alarms in the service: looked at every half minute, written, published, told, in this order."""

import itertools
import json
import logging
import threading
from collections.abc import Mapping

from monitor.alarms.events import Event, Moment, Tell
from monitor.alarms.round import Change, Looks, Scene, held_back, look
from monitor.alarms.saved import to_text, worth_keeping
from monitor.alarms.state import AlarmState, Shown
from monitor.alarms.step import shelve_max_s, step
from monitor.alarms.storms import Gathered, Signs, Storm
from monitor.errors import BadInputError, RefusedError
from monitor.model.alarm_change import AlarmChanges, AlarmFigure, AlarmsKept, AlarmTransition, KeptAlarm
from monitor.model.alarm_row import AlarmRow
from monitor.model.answers import AlarmAnswer, StatusAnswer, plain
from monitor.model.arrival import Arrival
from monitor.model.audit import AuditEntry, AuditKind
from monitor.model.batch import Batch
from monitor.model.cycle import RecordKind
from monitor.model.message import MessageKind
from monitor.ports import Clock
from monitor.service.alarm_answers import AlarmLook, Waiting, answer_of, answers_of, look_of, waiting_of
from monitor.service.alarm_figures import row_with
from monitor.service.alarm_notes import (
    airs,
    desk_from,
    desk_text,
    detail,
    entry,
    heard_since,
    loaded,
    noted,
    places,
    samples,
)
from monitor.service.alarm_tells import messages_of
from monitor.service.alarm_world import AlarmWorld
from monitor.service.oven_smoke import Detectors, pack_with_smoke
from monitor.wire import topics

log = logging.getLogger(__name__)

EVERY_S = 30.0
SENTENCE_S = 600.0  # what an active alarm says is written and published anew at most this often
CLOCK_STEP_S = 120.0
JUST_STARTED_S = 1_800.0
MOST_SILENCE_S = 3_600.0
_DESK = "-desk"  # not a key that an alarm can have


class AlarmDesk:
    """Owns the state of all alarms. All but `poke` and what only reads is called on the worker's thread."""

    def __init__(self, site: str, world: AlarmWorld, clock: Clock, kept: AlarmsKept) -> None:
        self._site = site
        self._world = world
        self._clock = clock
        self._figures = {(f.type, f.name): f for f in kept.figures}
        self._rows = self._rows_now()
        self._numbers = itertools.count(kept.newest_number + 1)
        texts = dict(kept.states)
        self._gathered, self._silent_until_s, self._noticed = desk_from(texts.pop(_DESK, None))
        self._states = loaded(texts)
        self._written = {key: worth_keeping(state) for key, state in self._states.items()}
        self._said_s: dict[str, float] = {}
        self._looks = Looks()
        self._detectors = Detectors()
        self._started_s = clock.mono_s()
        self._settles_until_s: float | None = None  # monotonic; None = at the first look
        self._settles_from_s = 0.0  # Unix s
        self._due_s = self._looked_s = float("-inf")
        self._wall_less_mono_s: float | None = None
        self._clock_set_s = float("-inf")
        self._was_connected = False
        self._owed: set[str] = set()  # topics to be published after the commit
        self._waits = False
        self._poked = threading.Event()

    # --- read, from any thread ---

    def answers(self) -> tuple[AlarmAnswer, ...]:
        """All alarms that are not normal, the most urgent first."""
        return answers_of(dict(self._states), self._rows)

    def looks(self) -> tuple[AlarmLook, ...]:
        """The same, with all that pages show of them."""
        states = dict(self._states)
        answers = answers_of(states, self._rows)
        return tuple(self._look_of(states[answer.key]) for answer in answers)

    def waiting(self) -> tuple[Waiting, ...]:
        return waiting_of(list(self._states.values()), self._rows)

    def look(self, key: str) -> AlarmLook:
        """One alarm, normal or not; BadInputError where there is none of that key."""
        return self._look_of(self._state(key))

    def row(self, kind: str) -> AlarmRow:
        """A row of the table as it holds here, a person's numbers laid over it."""
        row = self._rows.get(kind)
        if row is None:
            raise BadInputError(f"type {kind[:63]!r} is not in the alarm table")
        return row

    def rows(self) -> Mapping[str, AlarmRow]:
        return dict(self._rows)

    def held_back(self) -> int:
        """How many wait for the end of settling or of a silence (A-23)."""
        return held_back(list(self._states.values()))

    def is_settling(self) -> bool:
        return self._settles_until_s is None or self._clock.mono_s() < self._settles_until_s

    def silent_until_s(self) -> float | None:
        """Until when nothing but safety makes itself heard [Unix s]; None = no silence."""
        until_s = self._silent_until_s
        return until_s if until_s is not None and self._is_silent(self._clock.wall_s()) else None

    def storm(self) -> Storm | None:
        return self._gathered.storm

    def poke(self) -> None:
        """Look again as soon as what has come is written; from any thread."""
        self._poked.set()

    # --- the worker's duty ---

    def arrived(self, arrival: Arrival) -> None:
        """Smoke must not wait for the next look."""
        pack = pack_with_smoke(self._site, arrival)
        if pack is not None and self._detectors.heard(pack, arrival):
            self._waits = True
            self.poke()

    def tick(self) -> None:
        mono_s = self._clock.mono_s()
        self._notice_connection()
        if mono_s < self._due_s and not (self._poked.is_set() and not self._waits):
            return
        if not self._world.is_ready():
            return
        self._poked.clear()
        self._due_s = mono_s + EVERY_S
        self._evaluate(mono_s)

    def is_urgent(self) -> bool:
        return self._waits

    def committed(self, batch: Batch) -> None:
        """What was noted is written: now the broker may know."""
        self._waits = False
        owed, self._owed = self._owed, set()
        for key in sorted(owed):
            self._publish(key)
        if any(record.kind is RecordKind.TRIPPED for record in batch.ovens.records):
            self.poke()

    # --- what people do; on the worker's thread, by `ask` ---

    def act(self, key: str, event: Event, who: str) -> AlarmState:
        """A person's act on one alarm; RefusedError and BadInputError change nothing and are written down."""
        wall_s = self._clock.wall_s()
        try:
            before = self._state(key)
            row = self.row(before.type)
            after, effects = step(before, event, row, self._moment(wall_s, 0.0))
        except (RefusedError, BadInputError) as error:
            self.refused(who, key, type(event).__name__, str(error))
            raise
        self._take({key: after}, [Change(before=before, after=after, event=event, effects=effects)], wall_s)
        return after

    def silence(self, minutes: float, who: str) -> float:
        """No noise but safety's for so long; returns until when [Unix s]."""
        if not 1.0 <= minutes <= MOST_SILENCE_S / 60.0:
            sentence = f"minutes must be 1 to {MOST_SILENCE_S / 60:.0f}"
            self.refused(who, "", "Silenced", sentence)
            raise BadInputError(sentence)
        wall_s = self._clock.wall_s()
        self._silent_until_s = wall_s + minutes * 60.0
        changes = AlarmChanges()
        self._keep_desk(changes, self._gathered)
        self._world.note(changes)
        self._world.audit(entry(wall_s, who, "", f"silenced all alarms for {minutes:g} min", {}))
        self._waits = True
        return self._silent_until_s

    def set_figure(self, figure: AlarmFigure) -> None:
        """A number of the table, checked before it comes here; holds from now on."""
        changes = AlarmChanges()
        changes.figures.append(figure)
        self._world.note(changes)
        line = AuditEntry(
            at_ms=figure.at_ms,
            who=figure.who,
            kind=AuditKind.FIGURE,
            about=figure.type,
            what=f"set {figure.name} of {figure.type}",
            detail={"name": figure.name, "old": figure.old, "new": figure.value, "why": figure.why},
        )
        self._world.audit(line)
        self._figures[(figure.type, figure.name)] = figure
        self._rows = self._rows_now()
        self._waits = True

    def figure(self, kind: str, name: str) -> AlarmFigure | None:
        """What was set last, or None where the table's own number holds since ever."""
        return self._figures.get((kind, name))

    def refused(self, who: str, key: str, what: str, why: str) -> None:
        """What was asked and not granted is written, with who asked."""
        wall_s = self._clock.wall_s()
        self._world.audit(entry(wall_s, who, key[:127], f"refused: {what}", {"why": why}))

    # --- inside ---

    def _state(self, key: str) -> AlarmState:
        state = self._states.get(key)
        if state is None:
            raise BadInputError(f"alarm {key[:63]!r} is not known")
        return state

    def _look_of(self, state: AlarmState) -> AlarmLook:
        row = self._rows[state.type]
        return look_of(state, row, shelve_max_s(state, row))

    def _rows_now(self) -> dict[str, AlarmRow]:
        return {kind: row_with(row, self._figures) for kind, row in self._world.rows.items()}

    def _evaluate(self, mono_s: float) -> None:
        wall_s = self._clock.wall_s()
        self._notice_clock(wall_s, mono_s)
        status = self._world.status()
        self._notice_settling(status, mono_s)
        conditions = self._world.conditions(status, wall_s)
        elapsed_s = 0.0 if self._looked_s == float("-inf") else mono_s - self._looked_s
        scene = Scene(
            rows=self._rows,
            rules=self._world.rules,
            conditions=conditions,
            modes=self._world.modes(status),
            samples=samples(status),
            places=places(status) | {condition.place for condition in conditions},
            mono_s=mono_s,
            moment=self._moment(wall_s, elapsed_s),
        )
        states, changes = look(self._states, scene, self._looks)
        self._looked_s = mono_s
        self._take(states, changes, wall_s, self._signs(status, mono_s))
        self._give_notice(status, wall_s)

    def _give_notice(self, status: StatusAnswer, wall_s: float) -> None:
        """What comes due is told once; what was told is written with it."""
        messages, noticed = self._world.notices(self._noticed, status, wall_s)
        if noticed == self._noticed:
            return
        self._noticed = noticed
        changes = AlarmChanges()
        self._keep_desk(changes, self._gathered)
        self._world.note(changes)
        if messages:
            self._world.tell(messages)
        self._waits = True

    def _moment(self, wall_s: float, elapsed_s: float) -> Moment:
        is_quiet = self.is_settling() or self._is_silent(wall_s)
        return Moment(wall_s=wall_s, elapsed_s=elapsed_s, is_quiet=is_quiet)

    def _is_silent(self, wall_s: float) -> bool:
        """Bounded both ways: a clock that is set back makes no silence longer."""
        until_s = self._silent_until_s
        return until_s is not None and 0.0 < until_s - wall_s <= MOST_SILENCE_S

    def _take(
        self,
        states: Mapping[str, AlarmState],
        changes: list[Change],
        wall_s: float,
        signs: Signs | None = None,
    ) -> None:
        """All that comes of a look or an act into one batch: states, transitions, audit, messages."""
        merged = {**self._states, **states}
        messages, gathered = messages_of(
            merged, changes, self._rows, self._gathered, signs or Signs(), wall_s
        )
        out = AlarmChanges()
        mono_s = self._clock.mono_s()
        for key, state in states.items():
            if self._is_worth_writing(key, state, mono_s):
                out.states[key] = KeptAlarm(shown=str(state.shown), content=to_text(state))
        lines = [line for change in changes for line in self._lines(change, wall_s)]
        out.log.extend(transition for transition, _ in lines)
        written = tuple(out.states)
        if gathered != self._gathered:
            self._keep_desk(out, gathered)
        # From here on nothing can fail half-way: what is noted and what is known stay the same.
        self._states = merged
        self._gathered = gathered
        if not out.is_empty():
            self._world.note(out)
            self._waits = True
        for key in written:
            self._written[key] = worth_keeping(merged[key])
            self._said_s[key] = mono_s
            self._owed.add(key)
        if lines:
            self._world.audit(*(said for _, said in lines))
        if messages:
            self._world.tell(messages)
            self._waits = True

    def _is_worth_writing(self, key: str, state: AlarmState, mono_s: float) -> bool:
        written = self._written.get(key)
        if written is None and state.count == 0 and state.shown is Shown.NORM and state.pending_s is None:
            return False
        if written is None or worth_keeping(state) != written:
            return True
        return state.active and mono_s - self._said_s.get(key, float("-inf")) >= SENTENCE_S

    def _lines(self, change: Change, wall_s: float) -> list[tuple[AlarmTransition, AuditEntry]]:
        """Each thing noted as a line of both logs (A-13)."""
        before, after = change.before, change.after
        told = any(isinstance(e, Tell) and e.kind is not MessageKind.SEEN for e in change.effects)
        return [
            (
                AlarmTransition(
                    number=next(self._numbers),
                    at_ms=round(wall_s * 1000),
                    key=after.key,
                    type=after.type,
                    place=after.place,
                    activation=after.activation,
                    what=line.what,
                    was=str(before.shown),
                    now=str(after.shown),
                    priority=str(after.priority),
                    who=line.who,
                    waited_s=line.waited_s,
                    told=told,
                ),
                entry(wall_s, line.who, after.key, line.what, detail(before, after, line)),
            )
            for line in noted(change.effects)
        ]

    def _keep_desk(self, changes: AlarmChanges, gathered: Gathered) -> None:
        content = desk_text(gathered, self._silent_until_s, self._noticed)
        changes.states[_DESK] = KeptAlarm(shown=str(Shown.NORM), content=content)

    def _publish(self, key: str) -> None:
        state = self._states.get(key)
        if state is None or state.type not in self._rows:
            return
        payload = b""
        if state.shown is not Shown.NORM:
            answer = answer_of(state, self._rows[state.type])
            payload = json.dumps(plain(answer), ensure_ascii=False, allow_nan=False).encode()
        self._world.publish(topics.build(topics.AlarmState(site=self._site, alarm=key)), payload)

    def _notice_connection(self) -> None:
        """A broker that is back may have forgotten all, or kept what is over."""
        is_connected = self._world.is_connected()
        if is_connected and not self._was_connected:
            for key, state in self._states.items():
                if state.count or state.shown is not Shown.NORM:
                    self._publish(key)
            if self._settles_until_s is not None:
                self._settles_until_s = None  # after a reconnection, too
        self._was_connected = is_connected

    def _notice_settling(self, status: StatusAnswer, mono_s: float) -> None:
        if status.health.history_share is not None:
            self._settles_until_s = None  # a past is being read: all of it looks old
        elif self._settles_until_s is None:
            self._settles_from_s = self._clock.wall_s()
            dues = [place.air.due_s for place in airs(status) if place.air.due_s]
            self._settles_until_s = mono_s + 2.0 * max(dues, default=EVERY_S)
        elif mono_s < self._settles_until_s and heard_since(status, self._settles_from_s):
            self._settles_until_s = mono_s

    def _notice_clock(self, wall_s: float, mono_s: float) -> None:
        difference_s = wall_s - mono_s
        before_s, self._wall_less_mono_s = self._wall_less_mono_s, difference_s
        if before_s is not None and abs(difference_s - before_s) > CLOCK_STEP_S:
            self._clock_set_s = mono_s

    def _signs(self, status: StatusAnswer, mono_s: float) -> Signs:
        damp = tuple(room.name for room in status.rooms if (room.air.dew_point_change_c or 0.0) >= 2.0)
        return Signs(
            broker_is_away=status.health.broker == "away",
            clock_was_set=mono_s - self._clock_set_s < JUST_STARTED_S,
            has_just_started=mono_s - self._started_s < JUST_STARTED_S,
            damp_rooms=damp,
        )
