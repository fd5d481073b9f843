"""Our own broker: a mosquitto child process with its own settings, accounts and persistence."""

import base64
import hashlib
import logging
import os
import pwd
import re
import secrets
import shutil
import signal
import socket
import subprocess
import threading
import tomllib
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

import tomli_w

from monitor.errors import MonitorError, RefusedError

log = logging.getLogger(__name__)

MONITOR, LOOKER = "monitor", "looker"
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
# mosquitto's own format: PBKDF2 with SHA-512. Its tool takes 101 rounds; these cost a connection some 10 ms.
_ROUNDS = 10_000
_START_S = 5.0
_POLL_S = 0.02
_RESTART_LEAST_S, _RESTART_MOST_S = 0.5, 15.0
_STEADY_LOOKS = 300  # a minute alive: what killed it before is over
_LOOK_S = 0.2
_LEAST_QUEUE = 10_000


def find_mosquitto() -> Path | None:
    """Debian keeps it in /usr/sbin, which is not on everybody's path."""
    found = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
    return Path(found) if found else None


def lint(conf: str) -> list[str]:
    """What in a broker's settings file loses readings, each as a sentence; empty when nothing does."""
    values = dict(line.split(maxsplit=1) for line in conf.splitlines() if len(line.split(maxsplit=1)) == 2)
    found = []
    queued = values.get("max_queued_messages")
    if queued is None or not queued.strip().isdigit() or int(queued) < _LEAST_QUEUE:
        found.append(
            f"max_queued_messages is {queued or 'left at its default of 1000'}: "
            f"set it to {_LEAST_QUEUE} or more (never 0), or messages beyond it vanish without a word."
        )
    if values.get("persistence", "false").strip() != "true":
        found.append("persistence is off: a restart of the broker loses what was not yet acknowledged.")
    if values.get("allow_anonymous", "false").strip() == "true":
        found.append("allow_anonymous is on: anybody in reach could write readings or permits.")
    return found


class Accounts:
    """Names and passwords of the own broker, made when first asked for; kept readable by us alone."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._path = folder / "accounts.toml"
        self._passwords_path = folder / "passwords"

    def password(self, name: str) -> tuple[str, bool]:
        """The account's password, and whether it was made just now."""
        if not _NAME.fullmatch(name):
            raise RefusedError(f"the account {name!r} is no key: small letters, digits, _ and -, at most 63")
        known = self._known()
        if name in known:
            return known[name], False
        known[name] = secrets.token_urlsafe(18)
        _write_private(self._path, tomli_w.dumps(known))
        self._write_hashed(known)
        return known[name], True

    def known(self, name: str) -> str | None:
        """The password of an account that is there already."""
        return self._known().get(name)

    def ensure(self, names: Iterable[str]) -> None:
        for name in names:
            self.password(name)
        self._write_hashed(self._known())

    def changed_ns(self) -> int:
        """When the passwords were last written."""
        return self._passwords_path.stat().st_mtime_ns

    def _known(self) -> dict[str, str]:
        if not self._path.exists():
            return {}
        try:
            return {str(k): str(v) for k, v in tomllib.loads(self._path.read_text()).items()}
        except (OSError, tomllib.TOMLDecodeError) as error:
            raise MonitorError(f"the broker's accounts at {self._path} cannot be read: {error}") from None

    def _write_hashed(self, known: dict[str, str]) -> None:
        _write_private(self._passwords_path, "".join(f"{n}:{_hashed(p)}\n" for n, p in known.items()))


class OwnBroker:
    """A mosquitto of our own. `start` returns when it listens; it is started again when it dies."""

    kind = "own mosquitto"

    def __init__(self, folder: Path, *, host: str, port: int, site: str, program: Path) -> None:
        self._folder = folder.resolve()
        self.host, self.port = host, port
        self._site = site
        self._program = program
        self.accounts = Accounts(self._folder)
        self._process: subprocess.Popen[bytes] | None = None
        self._stop = threading.Event()
        self._watch: threading.Thread | None = None
        self.set_aside: Path | None = None  # a damaged persistence file that was moved out of the way
        self.restarts = 0
        self._accounts_ns = 0

    def start(self, accounts: Iterable[str]) -> None:
        self._end_left_over()
        self.accounts.ensure([MONITOR, LOOKER, *accounts])
        if self.port == 0:
            self.port = _free_port(self.host)
        self._write_files()
        self.set_aside = set_aside_if_damaged(self._folder / "mosquitto.db")
        self._accounts_ns = self.accounts.changed_ns()
        self._launch_whole()
        self._watch = threading.Thread(target=self._run_watch, name="broker-watch", daemon=True)
        self._watch.start()

    def stop(self) -> None:
        self._stop.set()
        if self._watch is not None:
            self._watch.join(2.0 * _START_S)  # or it might start another broker after we have looked
        self._end_ours()
        self._pid_path.unlink(missing_ok=True)

    def account(self, name: str) -> str:
        """The password of a node or oven; a new account is let in at once."""
        password, is_new = self.accounts.password(name)
        if is_new:
            self._let_new_accounts_in()
        return password

    @property
    def _pid_path(self) -> Path:
        return self._folder / "broker.pid"

    @property
    def _conf_path(self) -> Path:
        return self._folder / "mosquitto.conf"

    def _write_files(self) -> None:
        user = pwd.getpwuid(os.getuid()).pw_name
        filled = {"port": str(self.port), "host": self.host, "folder": str(self._folder), "user": user}
        _write_private(self._conf_path, _filled("mosquitto.conf", filled))
        _write_private(self._folder / "acl", _filled("acl", {"site": self._site}))

    def _launch_whole(self) -> None:
        """Start the broker; where only its saved messages keep it from starting, without them.

        A power cut may also leave a file that begins well. When the broker does not start without it
        either, the file is not to blame and is put back.
        """
        database = self._folder / "mosquitto.db"
        try:
            self._launch()
        except MonitorError:
            if not database.exists() or not self._has_given_up():
                raise
            kept = _set_aside(database)
            try:
                self._launch()
            except MonitorError:
                kept.replace(database)
                raise
            log.warning("the broker's saved messages were damaged and are set aside file=%s", kept)
            self.set_aside = kept

    def _has_given_up(self) -> bool:
        """It ended by itself with an error; ended by a signal (0 or less) it says nothing of its files."""
        return self._process is not None and (self._process.poll() or 0) > 0

    def _launch(self) -> None:
        self._process = None
        if self._is_taken():
            raise MonitorError(
                f"another program listens on {self.host}:{self.port}: "
                "end it, or set [broker] port in the settings to another."
            )
        try:
            self._spawn()
        except OSError as error:
            raise MonitorError(f"the broker {self._program} cannot be run: {error.strerror}") from None
        try:
            self._wait_until_it_listens()
        except MonitorError:
            self._end_ours()
            raise

    def _spawn(self) -> None:
        self._process = subprocess.Popen(
            [str(self._program), "-c", str(self._conf_path)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,  # Ctrl-C is for us; the broker ends after the last commit
        )
        self._pid_path.write_text(str(self._process.pid))
        threading.Thread(target=_log_lines, args=(self._process,), name="broker-log", daemon=True).start()

    def _end_ours(self) -> None:
        process = self._process
        if process is None or process.poll() is not None:
            return
        process.terminate()
        try:
            process.wait(5.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5.0)

    def _is_taken(self) -> bool:
        with socket.socket(_family(self.host)) as probe:
            probe.settimeout(0.2)
            return probe.connect_ex((self.host, self.port)) == 0

    def _wait_until_it_listens(self) -> None:
        assert self._process is not None
        pause = threading.Event()
        for _ in range(round(_START_S / _POLL_S)):
            if self._process.poll() is not None:
                raise MonitorError(
                    f"the broker did not start on {self.host}:{self.port} (exit {self._process.returncode}): "
                    f"the log says why; its files are in {self._folder}."
                )
            if self._is_taken():
                return
            pause.wait(_POLL_S)
        raise MonitorError(f"the broker does not answer on {self.host}:{self.port}")

    def _run_watch(self) -> None:
        """A broker that dies is started again, ever more slowly while it keeps dying."""
        wait_s, steady_looks = _RESTART_LEAST_S, 0
        while not self._stop.wait(_LOOK_S):
            try:
                if self._process is not None and self._process.poll() is None:
                    self._let_new_accounts_in()
                    steady_looks += 1
                    wait_s = wait_s if steady_looks < _STEADY_LOOKS else _RESTART_LEAST_S
                    continue
                if self._stop.wait(wait_s):
                    return
                wait_s, steady_looks = min(2.0 * wait_s, _RESTART_MOST_S), 0
                self._restart()
            except (MonitorError, OSError) as error:  # an upgrade may take the program away for a moment
                log.error("broker: %s", error)

    def _restart(self) -> None:
        self.restarts += 1
        code = self._process.returncode if self._process is not None else None
        log.warning("broker ended exit=%s; starting it again restarts=%d", code, self.restarts)
        self.set_aside = set_aside_if_damaged(self._folder / "mosquitto.db") or self.set_aside
        self._launch_whole()

    def _let_new_accounts_in(self) -> None:
        """The broker reads its passwords again when they have changed, also by `sorbwatch account`."""
        changed_ns, process = self.accounts.changed_ns(), self._process
        if changed_ns != self._accounts_ns and process is not None:
            self._accounts_ns = changed_ns
            process.send_signal(signal.SIGHUP)

    def _end_left_over(self) -> None:
        """A service that was killed leaves its broker running: it is ours by its settings file, and ended."""
        try:
            pid = int(self._pid_path.read_text())
            command = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
        except (OSError, ValueError):
            return
        if str(self._conf_path).encode() not in command:
            return
        log.info("ending the broker that an earlier run left behind pid=%d", pid)
        _end_process(pid)


def set_aside_if_damaged(database: Path) -> Path | None:
    """mosquitto refuses to start on a persistence file that a power cut has emptied or filled with zeros."""
    if not database.exists():
        return None
    with database.open("rb") as file:
        head = file.read(4096)
    # Its files begin with 15 fixed bytes: 00 B5 00 'mosquitto db'.
    if head[:15] == b"\x00\xb5\x00mosquitto db":
        return None
    kept = _set_aside(database)
    log.warning("the broker's saved messages were damaged and are set aside file=%s", kept)
    return kept


def _set_aside(database: Path) -> Path:
    return database.rename(database.with_name(f"mosquitto.db.damaged-{secrets.token_hex(3)}"))


def _end_process(pid: int) -> None:
    pause = threading.Event()
    for number in (signal.SIGTERM, signal.SIGKILL):
        try:
            os.kill(pid, number)
            for _ in range(100):
                os.kill(pid, 0)
                pause.wait(_POLL_S)
        except ProcessLookupError:
            return


def _log_lines(process: "subprocess.Popen[bytes]") -> None:
    assert process.stderr is not None
    with process.stderr as lines:
        for line in lines:
            log.info("broker: %s", line.decode(errors="replace").strip())


def _filled(name: str, values: dict[str, str]) -> str:
    text = files("monitor.edge").joinpath(f"broker_files/{name}").read_text()
    for word, value in values.items():
        text = text.replace("{" + word + "}", value)
    return text


def _hashed(password: str) -> str:
    salt = secrets.token_bytes(12)
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _ROUNDS)
    return f"$7${_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}"


def _write_private(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(text)
    part.replace(path)


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def _free_port(host: str) -> int:
    with socket.socket(_family(host)) as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port
