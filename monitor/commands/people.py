"""Commands about people: who may sign in, new one-time codes, devices signed out, somebody removed."""

import argparse
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from typing import Any

from monitor.commands.common import DONE, existing_database
from monitor.edge.clock import SystemClock
from monitor.errors import BadInputError
from monitor.model.people import CONSOLE, Person, Role, fold, of_key
from monitor.service.engine import Engine
from monitor.service.people import People, Roster
from monitor.settings import Settings
from monitor.store.reader import Reader
from monitor.store.store import Store


def people(options: argparse.Namespace, settings: Settings) -> int:
    """What the page does for an owner; whoever may read the database needs no sign-in for it."""
    with _people(settings) as known:
        _ACTIONS[options.action](known, options)
    return DONE


@contextmanager
def _people(settings: Settings) -> Iterator[People]:
    """Also while the service runs: it keeps nothing of people in memory, and the database takes turns."""
    path = existing_database(settings)
    with closing(Store(path, settings.site)) as store, closing(Reader(path, store.site)) as reader:
        engine = Engine(store.site, store.load())

        def ask(act: Callable[[Engine], Any]) -> Any:
            answer, batch = act(engine), engine.take_batch()
            batch.counters = {}  # those are the service's own
            store.apply(batch)
            return answer

        yield People(reader, ask, now_s=SystemClock().wall_s)


def _list(known: People, _: argparse.Namespace) -> None:
    roster = known.roster()
    if not roster.people:
        print("Nobody yet: `sorbwatch people code` prints the one-time code that makes the first owner.")
    for person in roster.people:
        print(_line(person, roster))


def _line(person: Person, roster: Roster) -> str:
    devices = [each.device for each in roster.sessions if each.person.number == person.number]
    came = "" if person.has_password else ", did not come yet"
    return f"{person.name}: {person.role}{came}" + (f"; signed in: {', '.join(devices)}" if devices else "")


def _code(known: People, options: argparse.Namespace) -> None:
    """For a person, or without a name for who becomes the first owner."""
    print(known.new_code(CONSOLE, None if options.name is None else _found(known, options.name).number))


def _invite(known: People, options: argparse.Namespace) -> None:
    print(known.invite(CONSOLE, _named(options), Role(options.role)))


def _sign_out(known: People, options: argparse.Namespace) -> None:
    known.sign_out(CONSOLE, _found(known, _named(options)).number)


def _remove(known: People, options: argparse.Namespace) -> None:
    known.remove(CONSOLE, _found(known, _named(options)).number)


def _named(options: argparse.Namespace) -> str:
    if options.name is None:
        raise BadInputError(f"people {options.action} needs the NAME of the person")
    return str(options.name)


def _found(known: People, name: str) -> Person:
    people_there = known.roster().people
    person = of_key(people_there, fold(name))
    if person is not None:
        return person
    names = ", ".join(person.name for person in people_there) or "nobody"
    raise BadInputError(f"name {name!r} is nobody here; there is {names}")


_ACTIONS: dict[str, Callable[[People, argparse.Namespace], None]] = {
    "list": _list,
    "code": _code,
    "invite": _invite,
    "sign-out": _sign_out,
    "remove": _remove,
}
ACTIONS = tuple(_ACTIONS)
