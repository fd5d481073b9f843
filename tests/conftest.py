"""Fixtures that several tests share."""

import pytest
from support.processes import PlainBroker
from support.web_memory import remember

remember()


@pytest.fixture
def broker(tmp_path):
    """A running mosquitto of the test's own."""
    running = PlainBroker(tmp_path).start()
    yield running
    running.stop()
