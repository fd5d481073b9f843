"""Commands that run until they are stopped: demo, serve, node, record; and account."""

import argparse
import logging
import queue
import secrets
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from monitor import __version__
from monitor.app import Choice, Service, broker_folder
from monitor.commands.common import DONE, database
from monitor.commands.records import load_inventory
from monitor.edge.broker_address import external_address
from monitor.edge.clock import ScaledClock, SystemClock
from monitor.edge.mosquitto import LOOKER, Accounts
from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.mqtt_node import Listener, NodeLink
from monitor.edge.node import NodeCore, run_node
from monitor.edge.stop_signals import stop_signals
from monitor.errors import RefusedError
from monitor.model.arrival import Arrival
from monitor.settings import Settings
from monitor.wire.capture import Captured, CaptureWriter

if TYPE_CHECKING:
    from monitor.simulator.demo import DemoSite

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def serve(options: argparse.Namespace, settings: Settings) -> int:
    """The service for a real site."""
    with (
        stop_signals() as stop,
        Service(settings, Choice(clock=SystemClock())) as service,
        _pages(service, settings, options),
    ):
        stop.wait()
    return DONE


def demo(options: argparse.Namespace, settings: Settings) -> int:
    """A simulated site, made anew at each start, over a real broker."""
    from monitor.simulator.demo import FIGURES, SITE, DemoSite

    quiet = logging.WARNING if not options.verbose else logging.DEBUG
    logging.getLogger().setLevel(quiet)
    clock = ScaledClock(options.speed)
    site = DemoSite(options.seed, clock.wall_s(), clock, history_days=options.days)
    share = [0.0]
    with (
        stop_signals() as stop,
        _demo_settings(options, settings.for_demo(SITE, settings.database, FIGURES)) as own,
    ):
        load_inventory(site.inventory_toml().encode(), database(own), own)
        choice = Choice(
            clock=clock,
            speed=options.speed,
            allow_trial_broker=True,
            commit_every_s=1.0,
            history_share=lambda: share[0] if share[0] < 1.0 else None,
        )
        with Service(own, choice) as service, _pages(service, own, options):
            runner = threading.Thread(
                target=_run_demo, args=(site, service, share, options.speed, stop), name="demo", daemon=True
            )
            runner.start()
            stop.wait()
            # In this order: a past that is just turning into the present would start what nobody stops.
            runner.join(timeout=10.0)
            site.stop()
    return DONE


def _run_demo(
    site: "DemoSite", service: Service, share: list[float], speed: float, stop: threading.Event
) -> None:
    """The past first, then the present."""
    from monitor.simulator.connections import history_publish, live_connect

    def progress(done: float) -> None:
        if stop.is_set():
            raise SystemExit
        share[0] = min(done, 0.99)

    with history_publish(service.account, service.site, site.presences()) as publish:
        site.run_history(publish, progress)
    while service.worker.waiting() and not stop.wait(0.05):
        pass
    share[0] = 1.0
    service.queries.changed()
    if not stop.is_set():
        site.start_live(live_connect(service.account, service.site), speed)


@contextmanager
def _demo_settings(options: argparse.Namespace, settings: Settings) -> Iterator[Settings]:
    """A folder that goes away with the demo, unless a database was named."""
    if options.database:
        path = database(settings)
        if path.exists():
            raise RefusedError(
                f"{path} is there already; the demo makes a database of its own: name a new one"
            )
        yield settings
        return
    with tempfile.TemporaryDirectory(prefix="sorbwatch-demo-") as folder:
        yield settings.with_database(f"sqlite:///{folder}/demo.db")


def node(_: argparse.Namespace, settings: Settings) -> int:
    """The sensors of this board."""
    from monitor.edge.i2c import LinuxBus
    from monitor.edge.sht4x import Sht4xSampler

    own, site = settings.node, settings.site or "home"
    address = _node_address(settings)
    clock, boot = SystemClock(), secrets.token_hex(4)
    core = NodeCore(node=own.key, boot=boot, sample_s=own.sample_s)
    bus = LinuxBus(own.bus)
    samplers = {
        channel: Sht4xSampler(bus, at, sleep=time.sleep, monotonic_s=clock.mono_s)
        for channel, at in own.channels.items()
    }
    start = f"sorbwatch/{site}/node/{own.key}"
    parting = Parting(topic=f"{start}/online", birth=core.presence(__version__), will=b'{"online": false}')
    link = NodeLink(address, client_id=f"sorbwatch-node-{own.key}", parting=parting)
    with stop_signals() as stop:
        link.start()
        run_node(core, samplers, lambda payload: link.publish(f"{start}/senml", payload), clock, stop)
        link.close()
    return DONE


def _node_address(settings: Settings) -> Address:
    if settings.broker.kind == "external":
        return external_address(settings.broker)
    password = Accounts(broker_folder(settings)).known(settings.node.key)
    if password is None:
        raise RefusedError("the broker has no account for this node yet: start 'sorbwatch serve' first")
    broker = settings.broker
    return Address(host=broker.host, port=broker.port, user=settings.node.key, password=password)


def account(options: argparse.Namespace, settings: Settings) -> int:
    """Make or show the own broker's password for a node or oven."""
    if settings.broker.kind == "external":
        raise RefusedError("the broker is external: make the account there")
    print(Accounts(broker_folder(settings)).password(options.name)[0])
    return DONE


def record(options: argparse.Namespace, settings: Settings) -> int:
    """Write what passes on the broker, until stopped."""
    heard: queue.SimpleQueue[Arrival] = queue.SimpleQueue()
    listener = Listener(
        _looker_address(settings),
        client_id=f"sorbwatch-record-{secrets.token_hex(4)}",
        filters=[f"sorbwatch/{settings.site}/#" if settings.site else "sorbwatch/#"],
        put=heard.put,
        clock=SystemClock(),
    )
    count = 0
    with stop_signals() as stop, CaptureWriter(options.file) as writer:
        listener.start()
        ends_s = time.monotonic() + options.seconds if options.seconds else float("inf")
        while not stop.is_set() and time.monotonic() < ends_s:
            count += _write_heard(heard, writer)
            if listener.refusal is not None:
                raise RefusedError(listener.refusal)
        listener.stop()
        while not heard.empty():
            count += _write_heard(heard, writer)
    print(f"{count} messages in {options.file}", file=sys.stderr)
    return DONE


def _write_heard(heard: "queue.SimpleQueue[Arrival]", writer: CaptureWriter) -> int:
    try:
        arrival = heard.get(timeout=0.2)
    except queue.Empty:
        return 0
    if arrival.topic.endswith("/monitor/echo"):  # our own heartbeat says nothing about the site
        return 0
    writer.write(
        Captured(at_s=arrival.wall_s, topic=arrival.topic, retain=arrival.retain, payload=arrival.payload)
    )
    return 1


def _looker_address(settings: Settings) -> Address:
    if settings.broker.kind == "external":
        return external_address(settings.broker)
    password = Accounts(broker_folder(settings)).known(LOOKER)
    if password is None:
        raise RefusedError("there is no broker of ours beside this database: start 'sorbwatch serve' first")
    return Address(host=settings.broker.host, port=settings.broker.port, user=LOOKER, password=password)


@contextmanager
def _pages(service: Service, settings: Settings, options: argparse.Namespace) -> Iterator[None]:
    """The pages on their address; the address is printed once they answer."""
    from web.serve import PageServer
    from web.sign_in.door import Door

    host = options.listen or settings.web.host
    port = options.port if options.port is not None else settings.web.port
    is_local = host in LOOPBACK
    door = Door(
        people=service.people,
        sessions=service.sessions,
        is_board_only=is_local,
        is_open_to_look=settings.web.pages_open_to_look,
        delivery=service.delivery,
    )
    server = PageServer(
        service.queries,
        service.changes,
        host=host,
        port=port,
        look_only=False,
        door=door,
        desk=service.ovens,
        calendar=service.calendar,
        reports=service.reports,
        alarms=service.alarms,
        planned=service.planned,
    )
    server.start()
    try:
        _print_address(server.url, is_for_phones=not is_local)
        if not is_local:
            _print_first_code(service)
        yield
    finally:
        server.stop()


def _print_address(url: str, *, is_for_phones: bool) -> None:
    print(f"sorbwatch is at {url}", flush=True)
    if is_for_phones:
        import segno

        print("Phones on this network find it there. Who changes something signs in. Scan:", flush=True)
        segno.make(url, error="m").terminal(out=sys.stdout, compact=True)
        sys.stdout.flush()


def _print_first_code(service: Service) -> None:
    """Whoever reads the console owns the board: so its code makes the first owner."""
    code = service.sessions.first_code()
    if code is not None:
        print(
            f"There is no owner yet: sign in there with the one-time code {code} (good for 2 days).",
            flush=True,
        )
