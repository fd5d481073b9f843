"""Who is told what by which channel: addresses, wishes, and the rows of the outbox."""

from dataclasses import dataclass, field
from enum import StrEnum

from monitor.model.message import MessageKind, Priority

SITE = ""  # the recipient that stands for the site: whoever is there before anybody has signed in
CHANNELS_EACH = 8
MUTED_MAX = 40
MINUTES_A_DAY = 1_440


TEST_CODE = "(code)"  # stands in a kept test for what proves that it came, which is kept nowhere


class Outcome(StrEnum):
    """Where a row of the outbox stands."""

    QUEUED = "queued"
    SENDING = "sending"
    SENT = "sent"
    GIVEN_UP = "given up"  # tried as often as is sensible, or too old to be of use
    CANCELLED = "cancelled"  # seen or over before it was sent


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One way to one recipient. The address itself is kept sealed, and never leaves the sender."""

    number: int
    person: str  # folded name, or SITE
    name: str
    shown: str  # scheme and host, nothing secret
    sealed: bytes = field(repr=False)
    is_on: bool = True
    added_ms: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What one recipient wants to hear, and when. Safety always comes, whatever stands here.

    Args:
        quiet_from, quiet_to: Minutes after local midnight; equal = no quiet hours.
        a_day: Most messages a day on one channel; the rest is collected.
        muted: Types of alarm or kinds of notice that are not wanted.
        then: Whom to tell when this one does not answer; None = nobody.
    """

    person: str
    least: Priority = Priority.NOTICE
    wants_clears: bool = True
    quiet_from: int = 22 * 60
    quiet_to: int = 7 * 60
    a_day: int = 10
    muted: tuple[str, ...] = ()
    then: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipients:
    """Everybody who can be told, and how; channels in the order in which they are tried."""

    wishes: tuple[Wishes, ...]
    channels: tuple[Channel, ...]

    def of(self, person: str) -> Wishes:
        return next((each for each in self.wishes if each.person == person), Wishes(person=person))

    def ways(self, person: str) -> tuple[Channel, ...]:
        return tuple(each for each in self.channels if each.person == person and each.is_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutRow:
    """One message for one recipient by one channel. `key` follows from these, so it is written once."""

    key: str
    person: str
    channel: int
    kind: MessageKind
    subject: str
    occurrence: str
    priority: Priority
    made_ms: int
    not_before_ms: int
    expires_ms: int
    title: str
    text: str
    rung: int = 0  # how many channels or people were to be told before this one
    state: Outcome = Outcome.QUEUED
    tries: int = 0
    is_unsure: bool = False  # it may have been sent: the service ended, or nothing was heard, while it was
    settled_ms: int | None = None  # when it got its state
    trouble: str = ""
    heard_ms: int | None = None  # of a test: when its recipient said that it had come

    @property
    def is_pressing(self) -> bool:
        """Whether it is worth being heard twice rather than not at all."""
        return self.priority in (Priority.HIGH, Priority.SAFETY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A message as it leaves: one row, or several put together.

    Args:
        topic: What comes later under the same takes its place, where the way can do that; empty = never.
        path: The page that tells more.
        test_key: Of a test, the key of its row.
    """

    title: str
    text: str
    priority: Priority = Priority.NOTICE
    topic: str = ""
    path: str = "/"
    test_key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """A row comes in. `only_if_told`: not unless an alarm's beginning was sent there before."""

    row: OutRow
    only_if_told: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cancelled:
    """What waits of this occurrence need not be sent any more."""

    subject: str
    occurrence: str
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """These rows are about to be sent together, under this name; those that wait no longer stay out."""

    keys: tuple[str, ...]
    name: str
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What came of sending: the rows taken under this name, or one that waits (`key`)."""

    name: str = ""
    key: str = ""
    state: Outcome
    at_ms: int
    not_before_ms: int = 0
    is_unsure: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hastened:
    """The rung after this one of an occurrence is due now, since it could not be reached."""

    person: str
    subject: str
    occurrence: str
    rung: int
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A test has come, says whom it was for."""

    key: str
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSet:
    """A new channel."""

    person: str
    name: str
    shown: str
    sealed: bytes = field(repr=False)
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelRemoved:
    """With what waits for it."""

    number: int
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WishesSet:
    wishes: Wishes


OutboxChange = (
    Added | Cancelled | Taken | Settled | Hastened | Heard | ChannelSet | ChannelRemoved | WishesSet
)
