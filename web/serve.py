"""The web server: waitress in a thread of this process."""

import contextlib
import logging
import socket
import threading
from typing import Any

import waitress
import waitress.wasyncore

from monitor.errors import RefusedError
from monitor.service.alarm_acts import AlarmActs
from monitor.service.calendar import Calendar
from monitor.service.changes import Changes
from monitor.service.planned_starts import PlannedStarts
from monitor.service.queries import Queries
from monitor.service.report import Reports
from web import create_app
from web.ovens.desk import Desk
from web.pages.live import STREAMS_MAX
from web.sign_in.door import Door

THREADS = STREAMS_MAX + 8
CONNECTIONS_MAX = 100
STOP_S = 3.0
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")


class PageServer:
    """Serves the pages on one address; port 0 takes any free one."""

    def __init__(
        self,
        queries: Queries,
        changes: Changes | None,
        *,
        host: str,
        port: int,
        look_only: bool,
        door: Door | None = None,
        desk: Desk | None = None,
        calendar: Calendar | None = None,
        reports: Reports | None = None,
        alarms: AlarmActs | None = None,
        planned: PlannedStarts | None = None,
    ) -> None:
        is_local = host in LOOPBACK_NAMES
        hosts = frozenset(LOOPBACK_NAMES if is_local else {*LOOPBACK_NAMES, *_names_of(host)})
        self._closing = threading.Event()
        self._queries = queries
        self._sockets: dict[int, Any] = {}
        app = create_app(
            queries,
            changes,
            look_only=look_only,
            hosts=hosts,
            zone=queries.zone(),
            closing=self._closing,
            door=door,
            desk=desk,
            calendar=calendar,
            reports=reports,
            alarms=alarms,
            planned=planned,
        )
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        try:
            self._server = waitress.create_server(
                app,
                map=self._sockets,
                host=host,
                port=port,
                threads=THREADS,
                connection_limit=CONNECTIONS_MAX,
                channel_timeout=120,
                ident=None,
            )
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or "no address of this machine"
            raise RefusedError(
                f"the pages cannot be served on {host}:{port} ({why}): "
                "name another with --listen and --port, or [web] in the settings"
            ) from None
        shown = _outward_address() if host in ("0.0.0.0", "::") else host
        shown = f"[{shown}]" if ":" in shown else shown
        self.url = f"http://{shown}:{self._server.effective_port}"
        self._thread = threading.Thread(target=self._server.run, name="web", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End the streams first: one that still wrote into a closed server would fill the log."""
        self._closing.set()
        self._queries.changed()  # wakes those that wait for news
        self._server.task_dispatcher.shutdown(timeout=STOP_S)
        if self._thread.is_alive():
            # In the thread that reads and writes them; with nothing left to serve it ends.
            # The loop may just have ended by itself, and its trigger with it: then there is nobody to wake.
            with contextlib.suppress(OSError):
                self._server.trigger.pull_trigger(self._close_sockets)
            self._thread.join(STOP_S)
        else:
            self._close_sockets()

    def _close_sockets(self) -> None:
        waitress.wasyncore.close_all(self._sockets, ignore_all=True)


def _outward_address() -> str:
    """This machine's address as others see it, for whoever listens on all of them. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address, RFC 5737
            address: str = probe.getsockname()[0]
        except OSError:
            return "127.0.0.1"
        return address


# Endings under which nobody out there can register a name: a home's or a workshop's own.
_OWN_ENDINGS = ("", ".local", ".lan", ".home.arpa", ".internal")


def _names_of(host: str) -> tuple[str, ...]:
    machine = socket.gethostname().lower().partition(".")[0]
    return (host.lower(), socket.gethostname().lower(), *(machine + ending for ending in _OWN_ENDINGS))
