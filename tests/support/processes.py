"""The program as a process of its own, a broker beside it, and publishers that share no code with it."""

import json
import os
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

from support.waiting import wait_for

ROOT = Path(__file__).resolve().parents[2]
MOSQUITTO = next((p for p in ("/usr/sbin/mosquitto", "/usr/bin/mosquitto") if os.path.exists(p)), "mosquitto")


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class PlainBroker:
    """A mosquitto with settings written here, not by the program under test."""

    def __init__(self, folder, port=None, more=""):
        self.port = port or free_port()
        self._conf = Path(folder) / "plain.conf"
        self._conf.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nuser root\npersistence true\n"
            f"persistence_location {folder}/\nmax_inflight_messages 1000\nmax_queued_messages 200000\n{more}"
        )
        self.process = None

    def start(self):
        self.process = subprocess.Popen([MOSQUITTO, "-c", str(self._conf)], stderr=subprocess.DEVNULL)
        wait_for(lambda: _listens(self.port), what="the broker")
        return self

    def stop(self, number=signal.SIGTERM):
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(number)
            self.process.wait(10)
            self.process = None

    def freeze(self):
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self):
        self.process.send_signal(signal.SIGCONT)


def _listens(port):
    with socket.socket() as probe:
        probe.settimeout(0.2)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def publish(port, topic, payload, *more):
    """One message by mosquitto_pub, QoS 1."""
    command = [
        "mosquitto_pub",
        "-h",
        "127.0.0.1",
        "-p",
        str(port),
        "-q",
        "1",
        "-t",
        topic,
        "-m",
        payload,
        *more,
    ]
    subprocess.run(command, check=True, timeout=10, capture_output=True)


def settings_file(folder, broker_port, web_port, commit_every_s=0.2, site="lab"):
    """Settings for a service on an external broker."""
    path = Path(folder) / "settings.toml"
    path.write_text(
        f'site = "{site}"\ndatabase = "sqlite:///{folder}/live.db"\n'
        f'[broker]\nkind = "external"\nport = {broker_port}\n'
        f"[web]\nport = {web_port}\n[store]\ncommit_every_s = {commit_every_s}\n"
    )
    return path


class Program:
    """`sorbwatch ...` as a child process."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "monitor", *map(str, arguments)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            text=True,
        )

    def line(self):
        return self.process.stdout.readline()

    def kill(self):
        self.process.kill()
        self.process.communicate()

    def stop(self):
        self.process.terminate()
        return self.process.communicate(timeout=20)


def run(*arguments):
    """Run a command to its end: (exit code, standard output, standard error)."""
    done = subprocess.run(
        [sys.executable, "-m", "monitor", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
    )
    return done.returncode, done.stdout, done.stderr


def get(url, timeout=5):
    """(status, body) of a page."""
    try:
        with urllib.request.urlopen(url, timeout=timeout) as response:
            return response.status, response.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def get_json(url):
    return json.loads(get(url)[1])
