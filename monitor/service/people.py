"""Who may use the monitor: invited, given another role, sent away, by an owner or from the console."""

from collections.abc import Callable
from dataclasses import dataclass

from monitor.errors import BadInputError, RefusedError
from monitor.model.people import (
    FIRST_OWNER,
    Act,
    PeopleChange,
    Person,
    PersonAdded,
    PersonRemoved,
    Role,
    RoleSet,
    Session,
    SessionEnded,
    fold,
    of_key,
)
from monitor.ports import PeopleStore
from monitor.service import passwords
from monitor.service.changes import Ask
from monitor.service.engine import Engine
from monitor.service.sessions import Limits, code_made, has_owner, is_alive

PEOPLE_MAX = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Roster:
    """Who may use the monitor, and on which devices they are signed in."""

    people: tuple[Person, ...]  # by name
    sessions: tuple[Session, ...]  # the last used first
    acts: tuple[Act, ...]  # the newest first


class People:
    """Everybody and their devices. Each change stands in the log under the name of who made it (`by`)."""

    def __init__(
        self, store: PeopleStore, ask: Ask, *, now_s: Callable[[], float], limits: Limits | None = None
    ) -> None:
        self._store = store
        self._ask = ask
        self._now_s = now_s
        self._limits = limits or Limits()

    def roster(self, acts: int = 0) -> Roster:
        """Everybody there is, with so many of the newest acts."""
        now_s = self._now_s()
        return Roster(
            people=self._store.people(),
            sessions=tuple(each for each in self._store.sessions() if is_alive(each, self._limits, now_s)),
            acts=self._store.acts(acts) if acts else (),
        )

    def invite(self, by: str, name: str, role: Role) -> str:
        """A new person; returns the one-time code with which they choose a password."""
        neat, code = passwords.check_name(name), passwords.new_code()

        def act(engine: Engine) -> None:
            people = self._store.people()
            if of_key(people, fold(neat)) is not None:
                raise BadInputError(f"name {neat!r} is taken: somebody of that name is here already")
            if len(people) >= PEOPLE_MAX:
                raise RefusedError(f"There are {PEOPLE_MAX} people already: remove somebody first.")
            added = PersonAdded(name=neat, role=role, at_ms=self._now_ms())
            self._change(engine, by, "invited", neat, str(role), added, self._code_made(neat, code))

        self._ask(act)
        return code

    def new_code(self, by: str, number: int | None) -> str:
        """A one-time code in place of any earlier one; None = for who becomes the first owner.

        A password that there is holds until the code is used, so nobody is kept out by it.
        """
        code = passwords.new_code()

        def act(engine: Engine) -> None:
            if number is None:
                if has_owner(self._store.people()):
                    raise RefusedError("There is an owner already: say whom the new code is for.")
                self._change(engine, by, "made a code", "", "first owner", self._code_made(FIRST_OWNER, code))
                return
            name = self._found(number).name
            self._change(engine, by, "made a code", name, "", self._code_made(name, code))

        self._ask(act)
        return code

    def set_role(self, by: str, number: int, role: Role) -> None:
        """What a person may do, from the next click on."""

        def act(engine: Engine) -> None:
            person = self._found(number)
            if role is not Role.OWNER:
                self._keep_an_owner(person)
            self._change(
                engine, by, "set a role", person.name, str(role), RoleSet(key=fold(person.name), role=role)
            )

        self._ask(act)

    def remove(self, by: str, number: int) -> None:
        """A person goes, with all sessions; what they did stays in the log."""

        def act(engine: Engine) -> None:
            person = self._found(number)
            self._keep_an_owner(person)
            self._change(engine, by, "removed", person.name, "", PersonRemoved(key=fold(person.name)))

        self._ask(act)

    def sign_out(self, by: str, number: int, *, session: int | None = None, but: int | None = None) -> None:
        """A person's devices: one of them, or all (but the one that asks)."""

        def act(engine: Engine) -> None:
            person = self._found(number)
            chosen = [
                each
                for each in self._store.sessions()
                if each.person.number == number and each.number != but and session in (None, each.number)
            ]
            ended = [SessionEnded(number=each.number) for each in chosen]
            if ended:
                devices = ", ".join(each.device for each in chosen)
                self._change(engine, by, "signed out a device", person.name, devices[:200], *ended)

        self._ask(act)

    def _change(
        self, engine: Engine, by: str, what: str, on_what: str, detail: str, *changes: PeopleChange
    ) -> None:
        engine.change_people(*changes)
        engine.note(Act(at_ms=self._now_ms(), person=by, what=what, on_what=on_what, detail=detail))

    def _code_made(self, name: str, code: str) -> PeopleChange:
        return code_made(fold(name), code, self._now_s())

    def _found(self, number: int) -> Person:
        for person in self._store.people():
            if person.number == number:
                return person
        raise BadInputError("person is not here any more")

    def _keep_an_owner(self, person: Person) -> None:
        """Whoever is last to own it cannot go: then nobody could let anybody in but from the console."""
        others = tuple(each for each in self._store.people() if each.number != person.number)
        if person.role is Role.OWNER and person.has_password and not has_owner(others):
            raise RefusedError(f"{person.name} is the only owner: make somebody else an owner first.")

    def _now_ms(self) -> int:
        return round(self._now_s() * 1000)
