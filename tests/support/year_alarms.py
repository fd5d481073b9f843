"""A year of alarms: the desk of the service, its table and its rules, over what a site knows of itself.

Looked at every five minutes, where the service does so every half minute: delays are counted the same, what
comes and goes between two looks is not seen. People acknowledge what they are told by day, within hours.
"""

import datetime as dt
import math
from dataclasses import dataclass, field, replace

import numpy as np
from support.year_boxes import NODE_BOXES, Followed, Gaps
from support.year_spools import BOX_STEP_S, TABLE_STEP_S, SpoolLook
from support.year_truth import BLOCK_S, HOUR_S, LIMIT, Year

from monitor.alarms import conditions as rules
from monitor.alarms.events import Acknowledged, ResetAsked
from monitor.alarms.state import Shown
from monitor.library.alarm_table import load_alarm_table
from monitor.model.alarm_change import AlarmChanges, AlarmsKept, AlarmTransition
from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    DesiccantAnswer,
    Freshness,
    HealthAnswer,
    OvenAnswer,
    Question,
    RoomAnswer,
    SpoolAnswer,
    Spread,
    StatusAnswer,
    TightnessAnswer,
    unknown,
)
from monitor.model.around import Around, OvenWatch
from monitor.model.message import Message, MessageKind
from monitor.service.alarm_desk import AlarmDesk

START_S = 1_798_761_600.0  # the first of January 2027, UTC; people live by UTC here
DUE_S = 60.0
# The truth begins with all air and water out of balance: alarms begin when that is over.
SETTLED_S = 2.0 * 86_400.0
QUIET = (22.0, 7.0)  # hours of the day
_NO = Spread(p10=None, p50=None, p90=None, why="not worked out here")
_TIGHT = TightnessAnswer(air_changes_per_h=_NO, water_g_per_day=_NO)
_HEALTH = HealthAnswer(
    ok=True, reasons=(), broker="connected", broker_kind="external", newest_reading=None, readings=0,
    packs=0, duplicates=0, quarantined=0, unplaced_channels=(),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Mishaps:
    """What befalls the site as a whole [s from the start]; from, to."""

    clock: tuple[float, float] | None = None
    clock_step_s: float = 7_200.0
    trip: tuple[float, float] | None = None
    starts: tuple[float, ...] = ()  # of the program, anew


@dataclass(slots=True)
class Told:
    """What a year of alarms left behind, by true time."""

    log: list[AlarmTransition] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    hidden_safety: int = 0


class _Clock:
    def __init__(self) -> None:
        self.wall, self.mono = START_S, 1_000.0

    def wall_s(self) -> float:
        return self.wall

    def mono_s(self) -> float:
        return self.mono


class YearOfAlarms:
    """Also the desk's AlarmWorld."""

    def __init__(
        self,
        year: Year,
        gaps: Gaps,
        followed: list[Followed],
        spools: dict[str, list[SpoolLook]],
        mishaps: Mishaps,
        seed: int,
    ) -> None:
        self._year, self._gaps, self._followed = year, gaps, followed
        self._spools, self._mishaps = spools, mishaps
        self._dice = np.random.default_rng([seed, 10])
        table = load_alarm_table()
        self.rows, self.rules = table.rows, table.rules
        self.clock = _Clock()
        self.told = Told()
        self._kept: dict[str, str] = {}
        self._at = 0
        self._heard_at = [0] * len(followed)
        self._insight_at = [-1] * len(followed)
        self._desiccant: list[DesiccantAnswer | None] = [None] * len(followed)
        self._spool_key: int | None = None
        self._spool_answers: tuple[SpoolAnswer, ...] = ()
        self._to_ack: list[tuple[float, str, str]] = []
        self._desk = AlarmDesk("attic", self, self.clock, AlarmsKept())

    def run(self) -> Told:
        for at in range(round(SETTLED_S / BLOCK_S), len(self._year.time_s)):
            self._at = at
            now_s = float(self._year.time_s[at])
            self.clock.mono += BLOCK_S
            self.clock.wall = (
                START_S + now_s + (self._mishaps.clock_step_s if self._is_clock_wrong() else 0.0)
            )
            if any(now_s - BLOCK_S < start_s <= now_s for start_s in self._mishaps.starts):
                kept = AlarmsKept(states=dict(self._kept), newest_number=len(self.told.log))
                self._desk = AlarmDesk("attic", self, self.clock, kept)
            self._desk.tick()
            self._desk.committed(_NO_BATCH)
            self._people(now_s)
            self._watch_safety()
        return self.told

    # --- what the desk asks of its world ---

    def status(self) -> StatusAnswer:
        boxes = tuple(self._box(number) for number in range(len(self._followed)))
        return StatusAnswer(
            at="", site="attic", boxes=boxes, rooms=(self._room(),), spools=self._spools_now(),
            ovens=(self._oven(),), alarms=(), needs=(),
            health=_HEALTH if self.is_connected() else _AWAY,
        )  # fmt: skip

    def is_ready(self) -> bool:
        return True

    def notices(self, previous: frozenset[str], _status: StatusAnswer, _now_s: float) -> tuple:
        """Not counted here: nothing is wrong where a date comes due."""
        return (), previous

    def conditions(self, status: StatusAnswer, now_s: float) -> tuple:
        return rules.conditions(status, self._around(), now_s)

    def modes(self, status: StatusAnswer) -> frozenset[tuple[str, str]]:
        return frozenset({("drying", "oven")} if status.ovens[0].cycle else ())

    def note(self, changes: AlarmChanges) -> None:
        # By true time: the site's own is two hours off while its clock is wrong.
        at_ms = round(1000.0 * (START_S + self._now_s()))
        self.told.log += [replace(line, at_ms=at_ms) for line in changes.log]
        self._kept |= {key: kept.content for key, kept in changes.states.items()}

    def audit(self, *entries: object) -> None:
        """Nothing rests on it here."""

    def tell(self, messages: list[Message]) -> None:
        at_s = START_S + self._now_s()
        self.told.messages += [replace(message, at_s=at_s) for message in messages]
        for message in messages:
            if message.kind in (MessageKind.ACTIVE, MessageKind.WORSE):
                self._to_ack.append(
                    (self._seen_s(float(self._year.time_s[self._at])), message.subject, message.occurrence)
                )

    def publish(self, _topic: str, _payload: bytes) -> bool:
        return True

    def is_connected(self) -> bool:
        return not bool(self._gaps.broker[self._at])

    # --- what people do ---

    def _seen_s(self, now_s: float) -> float:
        """When somebody has read it: minutes to hours later, by day."""
        at_s = now_s + float(self._dice.exponential(1.0)) * HOUR_S
        hour = at_s / HOUR_S % 24.0
        if QUIET[1] <= hour < QUIET[0]:
            return at_s
        return at_s + (QUIET[1] - hour) % 24.0 * HOUR_S

    def _people(self, now_s: float) -> None:
        ready = [item for item in self._to_ack if item[0] <= now_s]
        self._to_ack = [item for item in self._to_ack if item[0] > now_s]
        for _, subject, occurrence in ready:
            for key in (subject, *self._storm_members(subject)):
                self._acknowledge(key, occurrence if key == subject else None)

    def _storm_members(self, subject: str) -> tuple[str, ...]:
        for message in reversed(self.told.messages):
            if message.subject == subject:
                return message.covers
        return ()

    def _acknowledge(self, key: str, occurrence: str | None) -> None:
        state = self._desk._states.get(key)
        if state is None or not state.activation or (occurrence and state.activation != occurrence):
            return
        self._desk.act(key, Acknowledged(activation=state.activation, who="anna"), "anna")
        if state.latched and not state.active:
            self._desk.act(key, ResetAsked(who="anna"), "anna")

    def _watch_safety(self) -> None:
        hidden = (Shown.SHLVD, Shown.DSUPR, Shown.OOSRV)
        for state in self._desk._states.values():
            if state.active and str(self.rows[state.type].alarm_class) == "safety" and state.shown in hidden:
                self.told.hidden_safety += 1

    # --- what is answered ---

    def _now_s(self) -> float:
        return float(self._year.time_s[self._at])

    def _is_clock_wrong(self) -> bool:
        span = self._mishaps.clock
        return span is not None and span[0] <= float(self._year.time_s[self._at]) < span[1]

    def _air(self, number: int) -> AirAnswer:
        of, at = self._followed[number], self._at
        if not math.isnan(of.read[at]):
            self._heard_at[number] = at
        heard = self._heard_at[number]
        time_s = START_S + float(self._year.time_s[heard])  # nodes keep time by themselves
        age_s = max(self.clock.wall - time_s, 0.0)
        if math.isnan(of.read[heard]):
            return _never()
        humidity_pct = min(max(100.0 * float(of.read[heard]), 0.0), 100.0)
        return _answered(time_s, float(of.temperature_c[heard]), humidity_pct, age_s)

    def _box(self, number: int) -> BoxAnswer:
        of, at = self._followed[number], self._at
        limit_pct = self._limit_pct(number)
        since_s = of.lid_since_s[at]
        held = self._held(number, limit_pct)
        insight = None if self._insight_at[number] < 0 else of.insights[self._insight_at[number]]
        return BoxAnswer(
            key=f"box-{number}",
            name=f"Box {number}",
            room="room",
            air=self._air(number),
            limit_humidity_pct=limit_pct,
            desiccant=held,
            tightness=_TIGHT,
            lid_openings_7d=None,
            diagnosis=() if insight is None else insight.diagnosis,
            spools=tuple(f"spool-{number}-{spool}" for spool in self._inside(number)),
            estimate_at=_time(START_S + of.seen_s[at]),
            questions=self._questions(of),
            lid_open_since=None if math.isnan(since_s) else _time(START_S + since_s),
        )

    def _inside(self, number: int) -> list[int]:
        now_s = self._now_s()
        out = {
            swap.spool
            for swap in self._year.plan.swaps
            if swap.box == number and swap.from_s <= now_s < swap.to_s
        }
        return [spool for spool in range(len(self._year.boxes[number].spools)) if spool not in out]

    def _limit_pct(self, number: int) -> float | None:
        spools = self._year.boxes[number].spools
        limits = [LIMIT[spools[spool].material] for spool in self._inside(number)]
        return round(100.0 * min(limits), 1) if limits else None

    def _held(self, number: int, limit_pct: float | None) -> DesiccantAnswer | None:
        of, at = self._followed[number], self._at
        known = self._insight_at[number]
        while known + 1 < len(of.insights) and of.insights[known + 1].at_s <= self._now_s():
            known += 1
        is_spent = None if known < 0 or limit_pct is None else bool(of.is_spent[at])
        before = self._desiccant[number]
        if known == self._insight_at[number] and before is not None and before.spent == is_spent:
            return before
        self._insight_at[number] = known
        insight = None if known < 0 else of.insights[known]
        days = unknown("in no sight")
        if insight is not None and insight.days is not None:
            days = Spread(p10=insight.days[0], p50=insight.days[1], p90=insight.days[2])
        settled = None
        if insight is not None:
            settled = Spread(p10=None, p50=100.0 * insight.settled, p90=100.0 * insight.settled_early)
        self._desiccant[number] = DesiccantAnswer(
            kind="silica_gel_a", dry_g=100.0, loading_pct=_NO, used=_NO, water_g=_NO,
            spent=is_spent, days_left=days, settled_pct=settled,
        )  # fmt: skip
        return self._desiccant[number]

    def _questions(self, of: Followed) -> tuple[Question, ...]:
        """Answered on the evening of the next day."""
        now_s = self._now_s()
        return tuple(
            Question(at=_time(START_S + at_s), kind=kind, words="Was something changed?")
            for found_s, at_s, kind in of.asked
            if found_s <= now_s < (found_s // 86_400.0 + 1.0) * 86_400.0 + 20.0 * HOUR_S
        )

    def _room(self) -> RoomAnswer:
        at = self._at
        if self._gaps.broker[at]:
            at = int(np.flatnonzero(~self._gaps.broker[: at + 1])[-1])
        time_s = START_S + float(self._year.time_s[at])
        humidity = 100.0 * float(self._year.room_humidity[at, 0])
        age_s = max(self.clock.wall - time_s, 0.0)
        return RoomAnswer(
            key="room", name="Room", air=_answered(time_s, float(self._year.room_c[at, 0]), humidity, age_s)
        )

    def _spools_now(self) -> tuple[SpoolAnswer, ...]:
        since_s = self._now_s() - BLOCK_S
        number = int(since_s // TABLE_STEP_S)
        if number != self._spool_key:
            self._spool_key = number
            at_box = int(since_s // BOX_STEP_S)
            self._spool_answers = tuple(
                answer
                for key, looks in self._spools.items()
                if (answer := _spool(key, looks[number if self._is_table(key) else at_box])) is not None
            )
        return self._spool_answers

    def _is_table(self, spool: str) -> bool:
        return int(spool.split("-")[1]) >= len(self._followed)

    def _oven(self) -> OvenAnswer:
        now_s = self._now_s()
        tables = len(self._followed)
        is_drying = any(s.box < tables and s.from_s <= now_s < s.to_s for s in self._year.plan.swaps)
        return OvenAnswer(
            key="oven", name="Oven", room="room", at=_time(self.clock.wall), chamber_c=60.0 if is_drying else 22.0,
            setpoint_c=None, ceiling_c=None, state="heating" if is_drying else "idle",
            cycle="c1" if is_drying else None, left_s=None, water_left_g=_NO, trip=None, age_s=5.0,
            stale=False, freshness=Freshness.FRESH, hot=is_drying,
        )  # fmt: skip

    def _around(self) -> Around:
        now_s, at = self._now_s(), self._at
        is_away = not self.is_connected()
        trip = self._mishaps.trip
        is_tripped = trip is not None and trip[0] <= now_s < trip[1]
        tables = len(self._followed)
        is_drying = any(s.box < tables and s.from_s <= now_s < s.to_s for s in self._year.plan.swaps)
        watch = OvenWatch(
            has_permit=is_drying and not is_away,
            is_cooling=True,
            chamber_c=60.0 if is_drying else 22.0,
            rising_c_per_min=0.0,
            power_w=80.0 if is_drying and not is_away else 1.0,
            state_age_s=None if is_away else 5.0,
            was_hot_or_heating=is_drying,
            trip="A sensor of it failed." if is_tripped else None,
            proof_due_s=START_S + 400.0 * 86_400.0,
        )
        return Around(
            broker_away_s=self._away_s(),
            database_trouble="",
            supervision_trouble="",
            clock_trouble="The clock was set by two hours." if self._is_clock_wrong() else "",
            delivery_trouble="",
            chain_trouble="",
            disk_free_bytes=10_000_000_000,
            disk_total_bytes=30_000_000_000,
            ovens={"oven": watch},
            check_due_s={f"box-{n}": START_S + 400.0 * 86_400.0 for n in range(tables)},
            node_offline={
                f"box-{n}": None if is_away else bool(self._gaps.node[at, n // NODE_BOXES])
                for n in range(tables)
            },
        )

    def _away_s(self) -> float:
        away = 0
        while self._gaps.broker[self._at - away]:
            away += 1
        return away * BLOCK_S


class _Nothing:
    """A batch in which no oven tripped."""

    class ovens:  # as the batch names it
        records = ()


_NO_BATCH = _Nothing()
_AWAY = HealthAnswer(
    ok=False, reasons=("The broker is away.",), broker="away", broker_kind="external", newest_reading=None,
    readings=0, packs=0, duplicates=0, quarantined=0, unplaced_channels=(),
)  # fmt: skip


def _time(at_s: float) -> str:
    return dt.datetime.fromtimestamp(float(at_s), dt.UTC).isoformat()


def _never() -> AirAnswer:
    return AirAnswer(
        at=None, temperature_c=None, humidity_pct=None, dew_point_c=None, vapour_g_m3=None, age_s=None,
        stale=True, freshness=Freshness.NEVER, due_s=None,
    )  # fmt: skip


def _answered(time_s: float, temperature_c: float, humidity_pct: float, age_s: float) -> AirAnswer:
    freshness = Freshness.FRESH
    for times, worse in ((1.0, Freshness.LATE), (2.0, Freshness.STALE), (10.0, Freshness.LOST)):
        if age_s > times * DUE_S:
            freshness = worse
    return AirAnswer(
        at=str(time_s), temperature_c=temperature_c, humidity_pct=humidity_pct, dew_point_c=None,
        vapour_g_m3=None, age_s=age_s, stale=age_s > 2.0 * DUE_S, freshness=freshness, due_s=DUE_S,
    )  # fmt: skip


def _spool(key: str, look: SpoolLook) -> SpoolAnswer | None:
    if look.place is None:
        return None
    use_before = None if look.use_before_s is None else _time(START_S + look.use_before_s)
    why = "it may be over its limit already" if look.is_over else "not within 90 days"
    return SpoolAnswer(
        key=key, name=key, material="petg", place=look.place, moisture_pct=_NO,
        outer_pct=_NO if look.outer_pct is None else Spread(p10=None, p50=look.outer_pct, p90=None),
        limit_pct=look.limit_pct,
        heading_for_pct=None, length_m=None, dry_length_m=_NO, verdict="ready", use_before=use_before,
        use_before_why=None if use_before else why, trend=look.trend,
    )  # fmt: skip
