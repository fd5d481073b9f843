"""Something that people are to be told, before it is known whom, when and by which channel."""

from dataclasses import dataclass
from enum import StrEnum

STORM = "storm"  # subject of many alarms told as one; no alarm has this key
WRITE_TROUBLE = "database_trouble"  # the alarm that cannot wait until it is written


class Priority(StrEnum):
    """Least first. A notice asks for no act that cannot wait (A.0)."""

    NOTICE = "notice"
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"
    SAFETY = "safety"

    def covers(self, other: "Priority") -> bool:
        """Whether this one is at least as urgent."""
        ranks = tuple(Priority)
        return ranks.index(self) >= ranks.index(other)


class MessageKind(StrEnum):
    ACTIVE = "active"  # an alarm holds, and nobody has said that it was seen
    WORSE = "worse"  # it was seen, and became more urgent, or still holds after its time
    SEEN = "seen"  # somebody acknowledged it: nothing more is sent of it
    CLEARS = "clears"  # it holds no longer; takes the place of ACTIVE where the channel can
    NOTICE = "notice"  # nothing is wrong
    TEST = "test"


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One thing told. `subject` and `occurrence` name it: the same pair is never told twice of a kind."""

    kind: MessageKind
    subject: str  # key of the alarm as in its topic, or of the notice
    occurrence: str  # activation of the alarm; of a notice what makes it this one
    type: str  # row of the alarm table, or kind of notice
    place: str  # inventory key; may be empty
    priority: Priority
    at_s: float  # Unix s
    what: str  # with value and limit
    why: str = ""
    act: str = ""
    deadline_s: float | None = None
    covers: tuple[str, ...] = ()  # subjects that this one is told for, where many have one cause
