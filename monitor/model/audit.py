"""The log of all that was done and decided: one line each, in one order, never changed (A-13, A-37)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from monitor.model.reading import TimeQuality

SYSTEM = "monitor"  # who acts where no person does


class AuditKind(StrEnum):
    """What a line is about; also the last part of its CloudEvents type."""

    ACT = "act"  # a person did something
    ALARM = "alarm"  # an alarm changed its state
    OVEN = "oven"  # a line of an oven's book
    HISTORY = "history"  # something was told of a spool, box or sensor
    INVENTORY = "inventory"
    FIGURE = "figure"  # a limit, delay or priority was set, or a figure of a material
    DELIVERY = "delivery"  # a message was given up, a channel was set
    CLOCK = "clock"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry:
    """One line before it has its number and its place in the chain."""

    at_ms: int  # Unix time UTC
    who: str  # a person, CONSOLE or SYSTEM
    kind: AuditKind
    about: str  # inventory key, alarm key, name of a person; may be empty
    what: str  # one sentence
    detail: Mapping[str, object] = field(default_factory=dict)  # JSON values, such as old and new
    quality: TimeQuality = TimeQuality.SYNCED
