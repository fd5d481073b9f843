"""`sorbwatch check`: a self-test of settings, database, broker, sensors and clock."""

import argparse
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.app import broker_folder
from monitor.commands.common import DONE, FINDING, database, print_json
from monitor.edge.broker_address import external_address
from monitor.edge.clock import SystemClock
from monitor.edge.mosquitto import find_mosquitto, lint
from monitor.edge.mqtt_client import can_connect
from monitor.errors import MonitorError
from monitor.model.audit import AuditHead
from monitor.settings import Settings
from monitor.store import backup as copies
from monitor.store.files import is_served
from monitor.store.reader import Reader
from monitor.store.store import Store

# This program did not exist before; a board that says otherwise has not been told the time.
_CLOCK_FLOOR_S = 1_767_225_600.0  # 2026-01-01


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at: well, or what is wrong and what to do."""

    what: str
    ok: bool
    said: str
    more: dict[str, Any] = field(default_factory=dict)


def check(options: argparse.Namespace, settings: Settings) -> int:
    """Look at everything, or at one backup; exit 1 when something is wrong."""
    if options.file is not None:
        findings = [_guarded("backup", lambda _: _backup(options.file), settings)]
    else:
        findings = list(_findings(settings, options.log_head))
    if options.json:
        rows = [{"what": f.what, "ok": f.ok, "said": f.said, **f.more} for f in findings]
        print_json({"ok": all(f.ok for f in findings), "findings": rows})
    else:
        for finding in findings:
            print(f"{'ok    ' if finding.ok else 'WRONG '} {finding.what}: {finding.said}")
    return DONE if all(finding.ok for finding in findings) else FINDING


def _findings(settings: Settings, known: AuditHead | None) -> Iterator[Finding]:
    yield Finding(what="settings", ok=True, said=f"read; time zone {settings.zone}")
    for what, look in (
        ("database", _database),
        ("log", lambda settings: _log(settings, known)),
        ("broker", _broker),
        ("sensors", _sensors),
        ("clock", _clock),
    ):
        yield _guarded(what, look, settings)


def _guarded(what: str, look: Callable[[Settings], Finding], settings: Settings) -> Finding:
    try:
        return look(settings)
    except MonitorError as error:
        return Finding(what=what, ok=False, said=str(error))
    except OSError as error:
        return Finding(what=what, ok=False, said=f"{error.strerror or error}")


def _database(settings: Settings) -> Finding:
    path = database(settings)
    if not path.exists():
        return Finding(what="database", ok=True, said=f"none yet at {path}; it is made at the first start")
    if is_served(path):
        with closing(Reader(path, settings.site)) as reader:
            return Finding(
                what="database", ok=True, said=f"{path}, in use by the service, site {reader.site()}"
            )
    with closing(Store(path, settings.site)) as store:
        store.check()
        return Finding(what="database", ok=True, said=f"{path} is whole, site {store.site}")


def _log(settings: Settings, known: AuditHead | None) -> Finding:
    """Every line of the log of what was done, from the first one on."""
    path = database(settings)
    if not path.exists():
        return Finding(what="log", ok=True, said="none yet")
    with closing(Reader(path, settings.site)) as reader:
        trouble, head = reader.audit_fault(known), reader.audit_head()
    if trouble:
        return Finding(what="log", ok=False, said=f"{trouble}; keep this file and bring a backup back")
    if head is None:
        return Finding(what="log", ok=True, said="nothing was done yet")
    said = f"{head.seq} lines hold; compare its end with one noted elsewhere: {head}"
    return Finding(what="log", ok=True, said=said, more={"log_head": str(head)})


def _backup(path: Path) -> Finding:
    return Finding(what="backup", ok=True, said=copies.inspect(path))


def _broker(settings: Settings) -> Finding:
    if settings.broker.kind == "external":
        address = external_address(settings.broker)
        trouble = can_connect(address)
        where = f"{address.host}:{address.port}"
        return Finding(what="broker", ok=trouble is None, said=trouble or f"{where} lets us in")
    program = find_mosquitto()
    if program is None:
        return Finding(
            what="broker", ok=False, said="mosquitto is missing: run 'apt-get install mosquitto' as root"
        )
    conf = broker_folder(settings) / "mosquitto.conf"
    faults = lint(conf.read_text()) if conf.exists() else []
    return Finding(what="broker", ok=not faults, said=" ".join(faults) or f"our own, {program}")


def _sensors(settings: Settings) -> Finding:
    path = database(settings)
    if not path.exists():
        return Finding(what="sensors", ok=True, said="none heard yet")
    with closing(Reader(path, settings.site)) as reader:
        newest = reader.latest()
        now_ms = SystemClock().wall_s() * 1000
    late = sorted(
        {
            f"{item.series.node}/{item.series.channel}"
            for item in newest
            if now_ms - item.time_ms > 2000 * (item.series.due_s or 600.0)
        }
    )
    heard = len({(item.series.node, item.series.channel) for item in newest})
    if late:
        return Finding(
            what="sensors", ok=False, said=f"{len(late)} of {heard} are silent: {', '.join(late[:5])}"
        )
    return Finding(what="sensors", ok=True, said=f"{heard} heard in time")


def _clock(_: Settings) -> Finding:
    now_s = SystemClock().wall_s()
    said = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now_s))
    if now_s < _CLOCK_FLOOR_S:
        return Finding(what="clock", ok=False, said=f"it says {said}: set the time of this board")
    return Finding(what="clock", ok=True, said=said)
