"""Builds the running service from settings; starts and stops its parts in order."""

import json
import logging
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from monitor import __version__
from monitor.alarms.conditions import conditions
from monitor.alarms.notices import notices
from monitor.edge.broker_address import external_address
from monitor.edge.clock import SystemClock
from monitor.edge.disk import disk_room
from monitor.edge.mosquitto import MONITOR, OwnBroker, find_mosquitto
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.timer import Timer
from monitor.edge.trial_broker import TrialBroker
from monitor.edge.ways import Ways
from monitor.errors import RefusedError
from monitor.library.alarm_table import load_alarm_table
from monitor.model.alarm_change import AlarmsKept
from monitor.model.arrival import AckToken
from monitor.model.batch import Batch
from monitor.model.computed import Computed
from monitor.model.history import Retention
from monitor.ports import Clock
from monitor.service.alarm_acts import AlarmActs
from monitor.service.alarm_desk import AlarmDesk
from monitor.service.alarm_world import AlarmSources, ServiceAlarmWorld
from monitor.service.around import Gatherer, Troubles
from monitor.service.audit_log import ChainWatch, DailyHead
from monitor.service.calendar import Calendar
from monitor.service.changes import Changes
from monitor.service.delivery import Delivery
from monitor.service.engine import Engine
from monitor.service.oven_acts import OvenActs
from monitor.service.oven_course import OvenCourse
from monitor.service.oven_desk import OvenDesk
from monitor.service.oven_world import OvenWorld
from monitor.service.people import People
from monitor.service.planned_starts import PlannedStarts
from monitor.service.queries import Queries, Surroundings
from monitor.service.report import Reports
from monitor.service.sender import Sender
from monitor.service.sessions import Limits, Sessions
from monitor.service.summaries import Summaries
from monitor.service.worker import CLOCK_BEHIND, Worker, clock_floor_s
from monitor.settings import Settings
from monitor.store.files import ServiceLock, database_path
from monitor.store.reader import Reader
from monitor.store.store import Store

log = logging.getLogger(__name__)

TRIAL_PORT = 18_831
# Half hours of one spool or box at once: some 50 ms, or one step of all, in which a reading may have to wait.
FOLLOW_BUDGET = 200


class Broker(Protocol):
    """A broker that we run ourselves."""

    kind: str
    host: str
    port: int

    def stop(self) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What differs between a real site and a demonstration."""

    clock: Clock
    allow_trial_broker: bool = False
    commit_every_s: float | None = None
    history_share: Callable[[], float | None] = lambda: None
    alarm_sources: Callable[[], AlarmSources] | None = None  # None: the table and its rules
    speed: float = 1.0  # seconds of `clock` in one real second


class Service:
    """The whole service but its pages. A context manager: everything runs inside of it."""

    def __init__(self, settings: Settings, choice: Choice) -> None:
        self._settings = settings
        self._choice = choice
        self._parts = ExitStack()
        self.path = database_path(settings.database)
        self.broker: OwnBroker | TrialBroker | None = None
        self.timer: Timer | None = None

    def __enter__(self) -> "Service":
        try:
            self._start()
        except BaseException:
            self._parts.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._parts.close()

    def _start(self) -> None:
        settings, parts = self._settings, self._parts
        parts.enter_context(ServiceLock(self.path))
        store = Store(self.path, settings.site, keep=_retention(settings))
        parts.callback(store.close)
        store.check()
        self.site = store.site
        reader = Reader(self.path, self.site)
        parts.callback(reader.close)
        self._reader = reader
        self.queries = Queries(
            reader,
            now_s=self._choice.clock.wall_s,
            zone=settings.zone,
            figures=settings.own_figures(),
            is_live=True,
            surroundings=self._surroundings,
        )
        stored = store.load()
        engine = Engine(self.site, stored)
        address = self._start_broker()
        self.address = address
        desk = self._oven_desk(engine, reader, stored.oven_states)
        self.queries.mind_ovens(desk.minded)
        clock = self._choice.clock
        self._course = OvenCourse(
            desk,
            reader,
            self.queries,
            clock,
            note=engine.note_ovens,
            tell=lambda messages: self.tell(messages),
        )
        self._log_watch = ChainWatch(reader)
        gatherer = self._gatherer(engine, reader, desk)
        self.alarm_desk = self._alarm_desk(engine, stored.alarms, gatherer)
        self._log_head = DailyHead(reader, clock.wall_s)
        self._log_watch.start()
        parts.callback(self._log_watch.stop)
        self._start_link(engine, store, address, desk)
        self.alarms = AlarmActs(self.alarm_desk, reader, self.worker.ask, clock)
        self.reports = Reports(self.queries)
        self.calendar = Calendar(self.queries, reader, self.worker.ask, now_s=clock.wall_s)
        self.ovens = OvenActs(
            desk, reader, self.queries, self.worker.ask, clock, progress=self._course.progress
        )
        self._start_timer(engine, reader, desk)

    def _start_broker(self) -> Address:
        """The broker to use; our own is started, and what cannot be started is said."""
        chosen = self._settings.broker
        if chosen.kind == "external":
            return external_address(chosen)
        program = find_mosquitto()
        if program is not None:
            own = OwnBroker(
                broker_folder(self._settings),
                host=chosen.host,
                port=chosen.port,
                site=self.site,
                program=program,
            )
            own.start([self._settings.node.key])
            self._parts.callback(own.stop)
            self.broker = own
            return Address(host=own.host, port=own.port, user=MONITOR, password=own.account(MONITOR))
        if not self._choice.allow_trial_broker:
            raise RefusedError(
                "mosquitto is not installed: run 'apt-get install mosquitto' as root, then again"
            )
        trial = TrialBroker(port=TRIAL_PORT)
        trial.start()
        self._parts.callback(trial.stop)
        self.broker = trial
        return Address(host=trial.host, port=trial.port, protocol="3.1.1")

    def _oven_desk(self, engine: Engine, reader: Reader, kept: dict[str, str]) -> OvenDesk:
        """Worker and link are there by the time that the desk asks for them: at its first tick."""
        world = OvenWorld(
            self.queries,
            reader,
            note=engine.note_ovens,
            publish=lambda topic, payload, expiry_s: self.link.publish(topic, payload, expiry_s=expiry_s),
            publish_now=lambda topic, payload: self.link.publish_now(topic, payload),
            can_write=lambda: self.worker.can_write,
            is_sole_owner=lambda: not self.link.state().taken_over,
        )
        lease_s = self._settings.ovens.lease_s
        return OvenDesk(self.site, world, self._choice.clock, kept, lease_s=lease_s)

    def _alarm_desk(self, engine: Engine, kept: AlarmsKept, gatherer: Gatherer) -> AlarmDesk:
        chosen = self._choice.alarm_sources
        sources = _alarm_sources(gatherer) if chosen is None else chosen()
        self.queries.know_alarms(sources.rows)
        world = ServiceAlarmWorld(
            sources,
            status=self.queries.status,
            note=engine.note_alarms,
            audit=engine.audit,
            tell=lambda messages: self.tell(messages),
            publish=lambda topic, payload: self.link.publish(topic, payload, retain=True),
            is_connected=lambda: self.link.state().connected,
            is_ready=lambda: self._choice.history_share() is None,
        )
        return AlarmDesk(self.site, world, self._choice.clock, kept)

    def _gatherer(self, engine: Engine, reader: Reader, desk: OvenDesk) -> Gatherer:
        """Worker, link and sender are there by the time that it is asked."""
        clock = self._choice.clock
        troubles = Troubles(
            is_connected=lambda: self.link.state().connected,
            database=lambda: self.worker.write_trouble or "",
            supervision=lambda: self.worker.oven_trouble or "",
            clock=lambda: "" if clock.wall_s() >= clock_floor_s(engine.newest_s) else CLOCK_BEHIND,
            delivery=lambda: self.sender.trouble or "",
            chain=self._log_watch.trouble,
            disk=lambda: disk_room(self.path),
            test_owed_s=lambda: self.delivery.test_owed_s(),
        )
        return Gatherer(self.queries, reader, desk, clock, troubles)

    def _start_link(self, engine: Engine, store: Store, address: Address, desk: OvenDesk) -> None:
        online = f"sorbwatch/{self.site}/monitor/online"
        said = {"online": True, "version": __version__}
        self.worker = Worker(
            engine,
            store,
            self._choice.clock,
            pace_s=time.monotonic,
            commit_every_s=self._choice.commit_every_s or self._settings.store.commit_every_s,
            acknowledge=self._acknowledge,
            committed=self._committed,
            ovens=desk,
            alarms=self.alarm_desk,
            follow=self._follow,
            hold=lambda changes: self.sender.hold(changes),
        )
        self.changes = Changes(self.queries, self.worker.ask, self._choice.clock.wall_s)
        self._let_people_in()
        self._prepare_messages(engine)
        self.link = Link(
            address,
            client_id=f"sorbwatch-monitor-{self.site}",
            filters=[f"sorbwatch/{self.site}/{device}/#" for device in ("node/+", "oven/+")],
            parting=Parting(
                topic=online,
                birth=json.dumps(said).encode(),
                will=json.dumps(said | {"online": False}).encode(),
            ),
            echo_topic=f"sorbwatch/{self.site}/monitor/echo",
            put=self.worker.put,
            clock=self._choice.clock,
            pace_s=time.monotonic,
        )
        self._summaries = Summaries(self.queries, self.site, self._publish_retained, time.monotonic)
        self.worker.start()
        self.link.start()
        self.sender.start()
        # In this order: no more comes in, what came is committed and acknowledged, then good-bye.
        self._parts.callback(self.link.stop)
        self._parts.callback(self.worker.stop)
        self._parts.callback(self.sender.stop)

    def _start_timer(self, engine: Engine, reader: Reader, desk: OvenDesk) -> None:
        """Starts planned for later, and what calls them at their times."""
        clock = self._choice.clock
        self.planned = PlannedStarts(
            reader,
            self.queries,
            desk,
            self.ovens.begin_planned,
            self.worker.ask,
            clock,
            is_clock_known=lambda: clock.wall_s() >= clock_floor_s(engine.newest_s),
            # From the timer's thread, after the commit: into a batch of its own.
            tell=lambda messages: self.worker.ask(lambda _: self.tell(messages)),
        )
        self.timer = timer = Timer(
            self.planned.times,
            self.planned.look,
            clock=clock,
            pace_s=time.monotonic,
            clock_steps=self.planned.watch.look,
            speed=self._choice.speed,
        )
        self.planned.edited = timer.rebuild
        timer.start()
        self._parts.callback(timer.stop)

    def _let_people_in(self) -> None:
        """Sessions last real days, also where a demonstration runs its clock faster."""
        web, now_s, ask = self._settings.web, SystemClock().wall_s, self.worker.ask
        limits = Limits(idle_days=web.session_idle_days, most_days=web.session_days)
        self.people = People(self._reader, ask, now_s=now_s, limits=limits)
        self.sessions = Sessions(self._reader, ask, now_s=now_s, pace_s=time.monotonic, limits=limits)

    def _prepare_messages(self, engine: Engine) -> None:
        """`self.tell` takes messages on the worker's thread, within the batch that they belong to."""
        now_s, ask = SystemClock().wall_s, self.worker.ask
        ways = Ways(self.path, contact=self._settings.web.push_contact, now_s=now_s)
        self.delivery = Delivery(self._reader, ask, now_s=now_s, zone=self._settings.zone, ways=ways)
        self.tell = self.delivery.teller(engine)
        self.sender = Sender(self._reader, ask, send=ways.send, now_s=now_s, pace_s=time.monotonic)

    def account(self, name: str) -> Address:
        """How a node or oven of this site reaches our own broker."""
        if isinstance(self.broker, OwnBroker):
            return Address(
                host=self.broker.host, port=self.broker.port, user=name, password=self.broker.account(name)
            )
        return self.address

    def _acknowledge(self, tokens: list[AckToken]) -> None:
        self.link.acknowledge(tokens)

    def _publish_retained(self, topic: str, payload: bytes) -> None:
        self.link.publish(topic, payload, retain=True)

    def _committed(self, batch: Batch) -> None:
        self.queries.followers.committed(batch)
        self.queries.changed()
        self._summaries.committed(batch)
        self._log_head.look()

    def _follow(self, now_ms: int) -> tuple[Computed, bool]:
        """Spools and boxes go on once the past is in: every late piece of it would set them back again."""
        if self._choice.history_share() is not None:
            return Computed(), False
        computed, more = self.queries.followers.advance(now_ms, FOLLOW_BUDGET)
        self._course.look()
        return computed, more

    def _surroundings(self) -> Surroundings:
        link = self.link.state()
        # Each is asked once: another thread may end its trouble in between.
        timer_trouble = "" if self.timer is None else self.timer.trouble
        reasons = [said for said in (self.worker.trouble, timer_trouble, self.sender.trouble) if said]
        if link.taken_over:
            reasons.append("Another program uses this monitor's client id at the broker: stop one of them.")
        elif not link.connected and link.last_error:
            reasons.append(link.last_error)
        return Surroundings(
            broker="connected" if link.connected else "away",
            broker_kind=self.broker.kind if self.broker else "external",
            reasons=tuple(reasons),
            history_share=self._choice.history_share(),
        )


def _alarm_sources(gatherer: Gatherer) -> AlarmSources:
    table = load_alarm_table()
    return AlarmSources(
        rows=table.rows,
        rules=table.rules,
        conditions=lambda status, now_s: conditions(status, gatherer.around(), now_s),
        notices=lambda told, status, now_s: notices(told, status, gatherer.newest, now_s),
    )


def _retention(settings: Settings) -> Retention:
    keep = settings.store
    return Retention(raw_days=keep.raw_days, five_minute_days=keep.five_minute_days, hour_days=keep.hour_days)


def broker_folder(settings: Settings) -> Path:
    """Where our own broker keeps its files: beside the database unless the settings say otherwise."""
    if settings.broker.folder:
        return Path(settings.broker.folder)
    path = database_path(settings.database)
    return path.with_name(path.stem + "-broker")
