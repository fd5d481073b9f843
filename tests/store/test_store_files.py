"""The URL of a database, and the lock that says a service is at work on it."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.errors import BadInputError, RefusedError
from monitor.store.files import ServiceLock, database_path, is_served

_HOLDER = """
import sys
from pathlib import Path
from monitor.store.files import ServiceLock
ServiceLock(Path(sys.argv[1])).acquire()
print("held", flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize(
    ("url", "path"),
    [
        ("sqlite:///site.db", "site.db"),
        ("sqlite:///data/site.db", "data/site.db"),
        ("sqlite:////var/lib/site.db", "/var/lib/site.db"),
    ],
)
def test_three_strokes_are_relative_and_four_absolute(url, path):
    """As everybody else reads such a URL."""
    assert database_path(url) == Path(path)


@pytest.mark.parametrize(
    "url",
    [
        "",
        "site.db",
        "sqlite://site.db",
        "sqlite:///",
        "postgres:///x",
        "sqlite:///a?mode=ro",
        "sqlite:///a\0b",
    ],
)
def test_any_other_url_is_refused_in_one_sentence(url):
    """A file named `sqlite:` in the working folder would help nobody."""
    with pytest.raises(BadInputError, match="sqlite:///FILE") as refusal:
        database_path(url)
    assert "\n" not in str(refusal.value)


def test_only_one_service_at_a_time(database):
    """Two writers would each believe that they own the state."""
    with ServiceLock(database):
        assert is_served(database)
        with pytest.raises(RefusedError, match="stop it first"):
            ServiceLock(database).acquire()
    assert not is_served(database)
    with ServiceLock(database):
        assert is_served(database)


def test_asking_makes_no_file(database):
    """`status` may run where it must not write."""
    assert not is_served(database)
    assert not list(database.parent.iterdir())


def test_a_killed_service_does_not_keep_the_lock(database):
    """A lock that had to be removed by hand would keep the service down after every power cut."""
    with subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(database)], stdout=subprocess.PIPE, stdin=subprocess.PIPE
    ) as child:
        assert child.stdout.readline() == b"held\n"
        assert is_served(database)
        os.kill(child.pid, signal.SIGKILL)
        child.wait(timeout=10)
    assert not is_served(database)
