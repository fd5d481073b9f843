"""Commands on the database: replay, inventory, status, backup, restore."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import closing
from itertools import chain
from pathlib import Path

from monitor.commands.common import (
    DONE,
    FINDING,
    bare_queries,
    database,
    existing_database,
    known_keys,
    made_database,
    parse_time_s,
    print_json,
)
from monitor.edge.clock import SystemClock
from monitor.errors import BadInputError, BadMessageError, RefusedError
from monitor.library import load_library
from monitor.model.answers import BoxAnswer, StatusAnswer, plain
from monitor.model.arrival import Arrival
from monitor.model.inventory import Inventory
from monitor.service.engine import Engine
from monitor.service.queries import Queries
from monitor.service.replay import replay as feed
from monitor.settings import Settings
from monitor.store import backup as copies
from monitor.store.files import ServiceLock, is_served
from monitor.store.reader import Reader
from monitor.store.store import Store
from monitor.wire import topics
from monitor.wire.capture import Captured, read_capture
from monitor.wire.inventory import dump_inventory, parse_inventory

_CLOCKS_APART_S = 86_400.0  # a date without a time may be tomorrow's where it was written
BAD_LINES_SHOWN = 5
STEPS_A_PIECE = 4_000


def replay(options: argparse.Namespace, settings: Settings) -> int:
    """Feed a capture; a bad line is said and passed over."""
    bad_lines: list[str] = []
    captured = read_capture(options.file, lambda error: bad_lines.append(str(error)))
    first = next(captured, None)
    path = database(settings)
    with ServiceLock(path), closing(Store(path, settings.site)) as store:
        if settings.site is None:
            _adopt_site_of(store, first)
        engine = Engine(store.site, store.load())
        lines = chain([first], captured) if first is not None else captured
        done = feed(_arrivals(lines), engine, store)
        _follow(store, path, settings)
    print(f"{done.messages} messages, {done.stored_readings} readings stored", file=sys.stderr)
    for line in bad_lines[:BAD_LINES_SHOWN]:
        print(f"sorbwatch: {options.file}: {line}", file=sys.stderr)
    if len(bad_lines) > BAD_LINES_SHOWN:
        print(f"sorbwatch: {options.file}: {len(bad_lines)} bad lines in all", file=sys.stderr)
    return FINDING if bad_lines else DONE


def _follow(store: Store, path: Path, settings: Settings) -> None:
    """Compute the states of all spools and boxes once, so that whoever asks next need not."""
    with closing(Reader(path, store.site)) as reader:
        queries = Queries(
            reader, now_s=SystemClock().wall_s, zone=settings.zone, figures=settings.own_figures()
        )
        more = True
        while more:
            computed, more = queries.followers.advance(reader.newest_ms(), STEPS_A_PIECE)
            store.keep(computed)


def _adopt_site_of(store: Store, first: Captured | None) -> None:
    """Without settings a new database takes the name of the site that the capture speaks of."""
    if first is None:
        return
    try:
        site = topics.parse(first.topic).site
    except BadMessageError:
        return
    if site != store.site:
        store.adopt_site(site)


def _arrivals(lines: Iterator[Captured]) -> Iterator[Arrival]:
    for line in lines:
        yield Arrival(
            topic=line.topic, payload=line.payload, retain=line.retain, wall_s=line.at_s, mono_s=line.at_s
        )


def inventory(options: argparse.Namespace, settings: Settings) -> int:
    """Load a file into the database, or print what it holds."""
    if options.action == "dump":
        path = existing_database(settings)
        print(dump_inventory(bare_queries(path, settings, SystemClock().wall_s).inventory()), end="")
        return DONE
    if options.file is None:
        raise BadInputError("inventory load needs the FILE to load")
    try:
        content = options.file.read_bytes()
    except OSError as error:
        raise BadInputError(f"cannot read {options.file}: {error.strerror}") from None
    path = database(settings)
    if is_served(path):
        raise RefusedError("a service runs on this database: stop it first, load, and start it again")
    loaded = load_inventory(content, path, settings)
    print(
        f"{len(loaded.rooms)} rooms, {len(loaded.boxes)} boxes, {len(loaded.spools)} spools, "
        f"{len(loaded.ovens)} ovens",
        file=sys.stderr,
    )
    return DONE


def load_inventory(content: bytes, path: Path, settings: Settings) -> Inventory:
    """Put an inventory file's items into the database that no service holds."""
    with ServiceLock(path), closing(Store(path, settings.site)) as store:
        engine = Engine(store.site, store.load())
        merged = parse_inventory(content, known_keys(load_library()), engine.inventory)
        now_s = SystemClock().wall_s()
        _check_dates(merged, now_s)
        if merged != engine.inventory:
            engine.change_inventory(merged, now_s)
            store.apply(engine.take_batch())
    return merged


def _check_dates(inventory: Inventory, now_s: float) -> None:
    """What happened cannot lie ahead; BadInputError names the item."""
    for box in inventory.boxes.values():
        if box.desiccant is not None and (box.desiccant.filled_s or 0.0) > now_s + _CLOCKS_APART_S:
            raise BadInputError(f"box {box.key!r}: filled lies in the future; allowed is any time up to now")


def status(options: argparse.Namespace, settings: Settings) -> int:
    """How everything is."""
    path = existing_database(settings)
    made_database(path, settings) if not is_served(path) else None
    at_s = None if options.at is None else parse_time_s(options.at)
    answer = bare_queries(path, settings, SystemClock().wall_s).status(at_s)
    if options.json:
        print_json(plain(answer))
    else:
        print("\n".join(_lines(answer)))
    return DONE


def _lines(answer: StatusAnswer) -> Iterator[str]:
    yield f"{answer.site} as of {answer.at}"
    for need in answer.needs:
        yield f"  ! {need.what} {need.act}"
    if not answer.needs:
        yield "  Nothing needs you."
    for box in answer.boxes:
        yield f"  {box.name}: {_air_line(box)}"
    for oven in answer.ovens:
        heat = "not heard" if oven.chamber_c is None else f"{oven.chamber_c:.0f} °C, {oven.state}"
        yield f"  {oven.name}: {heat}"


def _air_line(box: BoxAnswer) -> str:
    air = box.air
    if air.humidity_pct is None or air.temperature_c is None:
        return air.why or "no reading"
    old = "" if not air.stale else f" ({air.freshness}: {air.age_s:.0f} s old)"
    dew = "" if air.dew_point_c is None else f", dew point {air.dew_point_c:.0f} °C"
    return f"{air.humidity_pct:.1f} %RH at {air.temperature_c:.1f} °C{dew}{old}"


def backup(options: argparse.Namespace, settings: Settings) -> int:
    """A safe copy."""
    copies.backup(existing_database(settings), options.file)
    beside = copies.digest_path(options.file).name
    print(f"backed up to {options.file}; its SHA-256 is beside it in {beside}", file=sys.stderr)
    return DONE


def restore(options: argparse.Namespace, settings: Settings) -> int:
    """Bring a copy back; say who can sign in again, since who was removed since then cannot be known."""
    now_ms = round(SystemClock().wall_s() * 1000)
    kept = copies.restore(database(settings), options.file, now_ms)
    people = copies.people_in(database(settings))
    print(
        f"restored from {options.file}" + (f"; the old one is kept at {kept}" if kept else ""),
        file=sys.stderr,
    )
    if people:
        print("Everybody is signed out. Who was removed since then is back: `sorbwatch people remove NAME`.")
        print("These may sign in, with their passwords of then:", *people, sep="\n  ")
    return DONE
