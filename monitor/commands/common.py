"""What several commands need: the database, the catalogue, time and JSON."""

import argparse
import datetime as dt
import json
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from monitor.errors import BadInputError
from monitor.library import Library
from monitor.service.queries import Queries
from monitor.settings import Settings
from monitor.store.files import database_path, is_served
from monitor.store.reader import Reader
from monitor.store.store import Store
from monitor.wire.inventory import KnownKeys

# Exit codes: done; a finding or a refusal; wrong usage.
DONE, FINDING, USAGE = 0, 1, 2

Command = Callable[[argparse.Namespace, Settings], int]


def print_json(document: Any) -> None:
    """One JSON document and nothing else."""
    print(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))


def database(settings: Settings) -> Path:
    """The database's file."""
    return database_path(settings.database)


def existing_database(settings: Settings) -> Path:
    """The database's file, which must be there."""
    path = database(settings)
    if not path.exists():
        raise BadInputError(f"there is no database at {path}; name one with --database")
    return path


def known_keys(library: Library) -> KnownKeys:
    return KnownKeys(materials=library.materials, desiccants=library.desiccants, reels=library.reels)


def bare_queries(path: Path, settings: Settings, now_s: Callable[[], float]) -> Queries:
    """Questions to a database: as of now where a service runs on it, else as of its newest record."""
    reader = Reader(path, settings.site)

    def newest_s() -> float:
        return reader.newest_ms() / 1000.0 or now_s()

    return Queries(
        reader,
        now_s=now_s if is_served(path) else newest_s,
        zone=settings.zone,
        figures=settings.own_figures(),
    )


def made_database(path: Path, settings: Settings) -> None:
    """Make the database, or bring an older one up to date."""
    with closing(Store(path, settings.site)):
        pass


def parse_time_s(text: str) -> float:
    """RFC 3339 to Unix seconds; a time without zone is UTC."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise BadInputError(f"--at {text!r} is no time such as 2026-01-31T08:00:00Z") from None
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=dt.UTC)
    return aware.timestamp()
