"""Messages out of a service that is killed: what was queued gets out, what hung is repeated only where that matters."""

import sqlite3
import threading
import time
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from support.delivery import message, post
from support.processes import Program, free_port, settings_file
from support.waiting import wait_for

from monitor.edge.sealing import Seal
from monitor.model.message import Priority
from monitor.store.store import Store

pytestmark = [pytest.mark.broker, pytest.mark.whole]


@pytest.fixture
def receiver():
    """An HTTP receiver; while `holds` is set it takes the message and says nothing."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            self.server.got.append(self.rfile.read(int(self.headers["Content-Length"])))
            if self.server.holds:
                self.server.release.wait(30)
                return
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.got, server.holds, server.release = [], True, threading.Event()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.release.set()
    server.shutdown()
    server.server_close()
    thread.join()


def states(path):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        return db.execute("SELECT state, is_unsure FROM outbox").fetchall()


def subjects(path):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        return db.execute("SELECT subject FROM outbox").fetchall()


@pytest.mark.parametrize(
    ("priority", "times", "ends"),
    [(Priority.MEDIUM, 1, ("given up", 1)), (Priority.SAFETY, 2, ("sent", 1))],
)
def test_killed_while_a_message_is_on_its_way(tmp_path, broker, receiver, priority, times, ends):
    """kill -9 of the real process, twice: before anything was sent, and between sending and its record."""
    path = tmp_path / "live.db"
    Store(path, "lab").close()
    with post(tmp_path, "live.db", Seal(tmp_path / "live-messages.key").close) as before:
        before.now_s = time.time()
        before.wish(quiet_from=0, quiet_to=0)
        before.way(f"json://127.0.0.1:{receiver.server_port}/x?rto=20")
        before.tell(message(priority=priority))
    settings = settings_file(tmp_path, broker.port, free_port())
    program = Program("serve", "--settings", settings)
    assert "sorbwatch is at" in program.line()
    wait_for(lambda: receiver.got, 20, "the message")
    program.kill()
    assert states(path) == [("sending", 0)]
    receiver.holds = False
    program = Program("serve", "--settings", settings)
    try:
        wait_for(lambda: states(path) == [ends], 40, f"the row to be {ends}")
    finally:
        program.stop()
    assert len(receiver.got) == times


def test_a_test_that_is_owed_is_told_by_the_running_service(tmp_path, broker, receiver):
    """A-40: from a way that was set 91 days ago to a row of the outbox."""
    path = tmp_path / "live.db"
    Store(path, "lab").close()
    with post(tmp_path, "live.db", Seal(tmp_path / "live-messages.key").close) as before:
        before.now_s = time.time() - 91 * 86_400.0
        before.way(f"json://127.0.0.1:{receiver.server_port}/x")
    program = Program("serve", "--settings", settings_file(tmp_path, broker.port, free_port()))
    try:
        assert "sorbwatch is at" in program.line()
        wait_for(lambda: subjects(path) == [("alarm_test_due",)], 20, "the notice")
    finally:
        program.stop()
