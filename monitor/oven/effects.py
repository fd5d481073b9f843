"""What is to be done for an oven, in the order in which it is to be done; nothing else touches the world."""

from dataclasses import dataclass

from monitor.model.cycle import FirstOut, OvenRecord, Permit, Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishStop:
    """To `oven/<oven>/stop`, not retained, at once. `id` goes into the payload: it tells our own echo."""

    oven: str
    cycle: str
    why: str
    id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayOff:
    oven: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """To be committed, together with the new state, before any effect behind it is carried out (H37)."""

    record: OvenRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepFirstOut:
    """A-25; replaces an earlier one of the same trip."""

    first_out: FirstOut


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """To whoever gave the order; no problem = granted."""

    order: str
    problem: Problem | None
    is_repeat: bool = False  # the same order came again; nothing was done


@dataclass(frozen=True, slots=True, kw_only=True)
class Notify:
    """Something a person should know; `is_safety` raises the safety alarm."""

    oven: str
    rule: str
    what: str
    is_safety: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishReset:
    """To `oven/<oven>/reset`, not retained; starts nothing (B-31)."""

    oven: str
    trip: str
    boot: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishPermit:
    """To `oven/<oven>/permit`, never retained, with the lease as its expiry."""

    oven: str
    permit: Permit


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayOnFor:
    """B-24: ON with the relay's own countdown; never ON without one."""

    oven: str
    on_s: float


Effect = (
    PublishStop
    | RelayOff
    | Record
    | KeepFirstOut
    | Answer
    | Notify
    | PublishReset
    | PublishPermit
    | RelayOnFor
)
# Off comes before the book, so that a failing disk delays no stop (B-17); heat comes after all else (H37).
ORDER: tuple[type, ...] = (
    PublishStop,
    RelayOff,
    Record,
    KeepFirstOut,
    Answer,
    Notify,
    PublishReset,
    PublishPermit,
    RelayOnFor,
)
