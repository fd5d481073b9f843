"""The trial broker: amqtt in a thread, only where mosquitto is missing; it may lose readings and says so."""

import asyncio
import logging
import threading
from typing import Any

from monitor.errors import MonitorError

log = logging.getLogger(__name__)

_START_S = 10.0


class TrialBroker:
    """amqtt on loopback, MQTT 3.1.1, without accounts."""

    kind = "trial"

    def __init__(self, *, port: int) -> None:
        self.host, self.port = "127.0.0.1", port
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._error: str | None = None
        self._broker: Any = None
        self._thread = threading.Thread(target=self._run, name="trial-broker", daemon=True)

    def start(self) -> None:
        self._thread.start()
        if not self._ready.wait(_START_S) or self._error:
            raise MonitorError(f"the trial broker did not start: {self._error or 'no answer'}")

    def stop(self) -> None:
        if self._broker is not None and self._loop.is_running():
            asyncio.run_coroutine_threadsafe(self._broker.shutdown(), self._loop).result(timeout=5.0)
            self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(timeout=5.0)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._start())
        except Exception as error:
            self._error = str(error) or type(error).__name__
            self._ready.set()
            return
        self._ready.set()
        self._loop.run_forever()

    async def _start(self) -> None:
        try:
            from amqtt.broker import Broker
        except ImportError:
            raise MonitorError("install mosquitto, or the package amqtt for a trial") from None
        # Its own default would listen on every address.
        config = {
            "listeners": {"default": {"type": "tcp", "bind": f"{self.host}:{self.port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
        self._broker = Broker(config)
        await self._broker.start()
