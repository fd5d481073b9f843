"""People who use the monitor: who they are, what each may do, and what each did."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

CONSOLE = "console"  # who acts by a command on the board itself; nobody else may bear this name
FIRST_OWNER = ""  # the key under which the code of the first owner is kept, before there is a name


class Role(StrEnum):
    """What a person may do; each covers those before it."""

    LOOK = "look"  # see everything
    DO = "do"  # tell what happened, confirm
    OWNER = "owner"  # people and settings

    def covers(self, needed: "Role") -> bool:
        ranks = tuple(Role)
        return ranks.index(self) >= ranks.index(needed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may sign in, or was invited to."""

    number: int  # never used again for somebody else
    name: str
    role: Role
    added_ms: int
    has_password: bool  # False: invited, and did not come yet


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """A device on which a person is signed in. Its token is known to that device alone."""

    number: int
    person: Person
    device: str
    since_ms: int
    seen_ms: int  # to some minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """A one-time code, of which only the digest is kept."""

    person_key: str  # FIRST_OWNER: for whoever becomes it
    until_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One line of the log of what people did. Never changed, never deleted."""

    at_ms: int
    person: str
    what: str  # past tense, such as "moved" or "signed in"
    on_what: str  # key of the thing or name of the person that it was done to; may be empty
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonAdded:
    name: str
    role: Role
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PasswordSet:
    key: str
    password: str  # its scrypt text


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleSet:
    key: str
    role: Role


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRemoved:
    """With all sessions and codes; what the person did stays in the log."""

    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeMade:
    """In place of the one that the person had."""

    key: str
    digest: bytes
    until_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeUsed:
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionBegun:
    key: str
    digest: bytes  # of the token
    device: str
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionSeen:
    number: int
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionEnded:
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedMade:
    """A secret address of the calendar."""

    key: str
    digest: bytes  # of its secret
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedEnded:
    number: int
    key: str  # whose it is: nobody ends another's


PeopleChange = (
    PersonAdded
    | PasswordSet
    | RoleSet
    | PersonRemoved
    | CodeMade
    | CodeUsed
    | SessionBegun
    | SessionSeen
    | SessionEnded
    | FeedMade
    | FeedEnded
)


def fold(name: str) -> str:
    """The key of a name: the same for every spelling that people take for the same.

    >>> fold("  Ma\u0301RA  Ko ") == fold("m\u00e1ra ko")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold()).split())


def of_key(people: Iterable[Person], key: str) -> Person | None:
    """Whoever has this folded name."""
    return next((person for person in people if fold(person.name) == key), None)
