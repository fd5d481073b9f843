"""The test of the whole way that an alarm goes to people (A-40): a condition of its own row, as a message."""

from collections.abc import Mapping
from datetime import UTC, datetime

from monitor.model.condition import Condition
from monitor.model.message import Message, MessageKind, Priority

TEST_TYPE = "test"
TEST_EVERY_S = 90 * 86_400.0
LINK_S = 3_600.0
NAMES_MAX = 10
_AGAIN_S = 30 * 86_400.0


def fake_condition() -> Condition:
    """Holds by being asked for: a value that is over its limit, at no place."""
    return Condition(
        type=TEST_TYPE,
        place="",
        holds=True,
        value=1.0,
        limit=0.0,
        what="this is how you would be told.",
    )


def test_message(condition: Condition, occurrence: str, now_s: float, link: str) -> Message:
    """What is told while this holds.

    Args:
        link: Where whom it reaches says so; empty where nobody knows under which name the pages are reached.
    """
    told = f"Tap to say that it has come, within an hour: {link}" if link else ""
    return Message(
        kind=MessageKind.TEST,
        subject=condition.type,
        occurrence=occurrence,
        type=condition.type,
        place=condition.place,
        priority=Priority.NOTICE,
        at_s=now_s,
        what=condition.what,
        act=told or "Say on the page for messages that it has come.",
    )


def due_notice(owed_s: Mapping[str, float], now_s: float) -> Message:
    """That the whole way was not tested for so long. Told again each 30 days.

    Args:
        owed_s: Since when each who owes a test owes it [Unix s], by name; at least one.
    """
    owing, since_s = list(owed_s), min(owed_s.values())
    shown = ", ".join(owing[:NAMES_MAX]) + (
        f" and {len(owing) - NAMES_MAX} more" if len(owing) > NAMES_MAX else ""
    )
    turn = int(max(0.0, now_s - since_s) // _AGAIN_S)
    return Message(
        kind=MessageKind.NOTICE,
        subject="alarm_test_due",
        occurrence=f"{datetime.fromtimestamp(since_s, UTC):%Y-%m-%d}-{turn}",
        type="alarm_test_due",
        place="",
        priority=Priority.NOTICE,
        at_s=now_s,
        what=f"no test of messages was heard for 90 days by {shown}.",
        why="An address that has changed is noticed only when it matters.",
        act="Send a test from the page for messages, and tap the link in it.",
    )
