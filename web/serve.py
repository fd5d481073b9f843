"""The web server: waitress in a thread of this process."""

import logging
import socket
import threading

import waitress

from monitor.errors import RefusedError
from monitor.service.queries import Queries
from web import create_app
from web.pages.live import STREAMS_MAX

THREADS = STREAMS_MAX + 8
CONNECTIONS_MAX = 100
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")


class PageServer:
    """Serves the pages on one address; port 0 takes any free one."""

    def __init__(self, queries: Queries, *, host: str, port: int, look_only: bool) -> None:
        hosts = frozenset(LOOPBACK_NAMES) if not look_only else frozenset({*LOOPBACK_NAMES, *_names_of(host)})
        # Listening on every address, this machine's names cannot all be known; looking is all it allows.
        app = create_app(
            queries,
            look_only=look_only,
            hosts=frozenset() if host in ("0.0.0.0", "::") else hosts,
            zone=queries.zone(),
        )
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        try:
            self._server = waitress.create_server(
                app,
                host=host,
                port=port,
                threads=THREADS,
                connection_limit=CONNECTIONS_MAX,
                channel_timeout=120,
                ident=None,
            )
        except OSError as error:
            raise RefusedError(
                f"the pages cannot be served on {host}:{port} ({error.strerror}): name another with --port"
            ) from None
        shown = f"[{host}]" if ":" in host else host
        self.url = f"http://{shown}:{self._server.effective_port}"
        self._thread = threading.Thread(target=self._server.run, name="web", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._server.close()


def _names_of(host: str) -> tuple[str, ...]:
    return (host.lower(), socket.gethostname().lower(), f"{socket.gethostname().lower()}.local")
