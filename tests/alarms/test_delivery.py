"""Whom a message goes to and when: rules of quiet hours, limits and escalation, and what holds for all of them."""

from hypothesis import given
from hypothesis import strategies as st
from support.delivery import NIGHT_S, NOON_S, channel, message, recipients

from monitor.alarms.delivery import plan, quiet_end_s
from monitor.alarms.delivery_due import after_failure, due, expired
from monitor.model.delivery import Added, Cancelled, Outcome, Wishes
from monitor.model.message import MessageKind, Priority

ONE = recipients(channel(1))
TWO = recipients(channel(1), channel(2))
MORNING_S = NOON_S + 19 * 3_600.0


def rows(messages, who=ONE, now_s=NOON_S):
    return [change.row for change in plan(messages, who, now_s, "UTC") if isinstance(change, Added)]


def at(row):
    return row.not_before_ms / 1000


def test_at_night_only_what_cannot_wait_is_sent():
    """A-20: safety, and high whose deadline is before the end of the quiet hours."""
    night = {p: rows([message(priority=p)], now_s=NIGHT_S)[0] for p in Priority}
    assert {p: at(row) for p, row in night.items()} == {
        p: NIGHT_S if p is Priority.SAFETY else MORNING_S for p in Priority
    }
    for deadline_s, sent_s in ((MORNING_S - 1, NIGHT_S), (MORNING_S, MORNING_S)):
        row = rows([message(priority=Priority.HIGH, deadline_s=deadline_s)], now_s=NIGHT_S)[0]
        assert at(row) == sent_s


def test_what_nobody_answers_goes_on_to_the_next_channel_and_the_next_person():
    """C-24: high after ten minutes, safety after two; anything else stays with the first channel."""
    who = recipients(
        channel(1, "a"),
        channel(2, "a"),
        channel(3, "b"),
        wishes=[Wishes(person="a", then="b"), Wishes(person="b", least=Priority.SAFETY)],
    )
    high = rows([message(priority=Priority.HIGH)], who)
    assert [(row.channel, at(row) - NOON_S) for row in high] == [(1, 0), (2, 600), (3, 1200)]
    safety = rows([message(priority=Priority.SAFETY)], who)
    assert {row.channel: at(row) - NOON_S for row in safety} == {1: 0, 2: 120, 3: 0}
    assert [row.channel for row in rows([message()], who)] == [1]


def test_seen_and_over_cancel_what_waits():
    """Nothing more is sent of what somebody has seen; that it is over is told only where it was told."""
    assert plan([message(kind=MessageKind.SEEN)], TWO, NOON_S, "UTC") == (
        Cancelled(subject="a-b", occurrence="1", at_ms=round(NOON_S * 1000)),
    )
    cleared = plan([message(kind=MessageKind.CLEARS)], TWO, NOON_S, "UTC")
    assert isinstance(cleared[0], Cancelled)
    assert all(change.only_if_told for change in cleared[1:])
    assert len(cleared) == 3


def test_quiet_hours_end_by_the_wall_also_when_clocks_change():
    """Berlin, night of 29 March 2026: from 22:00 to 07:00 there are eight hours."""
    wishes = Wishes(person="a")
    at_22_s = 1_774_731_600.0  # 2026-03-28 21:00 UTC, 22:00 there
    assert quiet_end_s(wishes, at_22_s, "Europe/Berlin") == at_22_s + 8 * 3_600
    assert quiet_end_s(wishes, at_22_s - 1, "Europe/Berlin") is None
    assert quiet_end_s(Wishes(person="a", quiet_from=60, quiet_to=60), at_22_s, "Europe/Berlin") is None


def test_three_notices_do_not_hold_up_what_is_urgent():
    """One place of the hour is kept for it."""
    now_ms = round(NOON_S * 1000)
    sent = [(1, now_ms - 1000), (1, now_ms - 2000)]
    low = rows([message(priority=Priority.LOW)])
    high = rows([message(priority=Priority.HIGH, occurrence="2")])
    assert due(low, sent, ONE, now_ms) == ()
    assert len(due(high, sent, ONE, now_ms)) == 1
    both = due(low + high, sent, ONE, now_ms)
    assert [len(sending.rows) for sending in both] == [2]


def test_what_may_have_arrived_is_repeated_only_where_that_matters():
    """High and safety: hearing twice harms nobody; a notice twice is a nuisance."""
    for priority in Priority:
        row = rows([message(priority=priority)])[0]
        following = after_failure(row, row.made_ms, is_unsure=True)
        is_repeated = priority in (Priority.HIGH, Priority.SAFETY)
        assert (following.state is Outcome.QUEUED) == is_repeated
        assert following.is_unsure


def test_a_receiver_that_asks_for_time_gets_it_but_no_more_than_an_hour():
    """429 with Retry-After; a year would be as good as never."""
    row = rows([message()])[0]
    waits = [
        after_failure(row, 0, is_unsure=False, retry_after_s=asked).not_before_ms / 1000
        for asked in (None, 1.0, 600.0, 1e9)
    ]
    assert waits == [60.0, 60.0, 600.0, 3_600.0]


_PRIORITIES = st.sampled_from(list(Priority))
_TIMES = st.lists(st.tuples(st.integers(0, 3 * 86_400), _PRIORITIES), max_size=60)


@given(_TIMES, st.integers(0, 1439), st.integers(0, 1439), st.integers(1, 20))
def test_nothing_is_lost_or_sent_twice_and_safety_never_waits(told, quiet_from, quiet_to, a_day):
    """Played minute by minute for a week: every row leaves once or expires, within the limits."""
    who = recipients(
        channel(1), wishes=[Wishes(person="", quiet_from=quiet_from, quiet_to=quiet_to, a_day=a_day)]
    )
    told = sorted(told, key=lambda each: each[0])
    waiting, left, sent_at, sent_ms, seen = [], {}, [], [], 0
    events = {0}
    for number, (after_s, priority) in enumerate(told):
        new = rows([message(priority=priority, occurrence=str(number))], who, NOON_S + after_s)
        assert len(new) == 1
        seen += 1
        waiting.append((after_s, new[0]))
        events.add(after_s)
    # Looked at whenever something is told, and every ten minutes.
    for now_s in sorted(events | set(range(0, 7 * 86_400, 600))):
        now_ms = round((NOON_S + now_s) * 1000)
        queued = [row for after_s, row in waiting if after_s <= now_s and row.key not in left]
        for sending in due(queued, sent_ms, who, now_ms):
            is_safety = sending.rows[0].priority is Priority.SAFETY
            assert not is_safety or len(sending.rows) == 1
            for row in sending.rows:
                assert row.key not in left
                left[row.key] = now_ms
                assert row.title in sending.title + sending.text or row.text in sending.text
                if is_safety:
                    assert row.made_ms == now_ms
            if not is_safety:
                sent_ms.append((1, now_ms))
                sent_at.append(now_s)
        for row in expired(queued, now_ms):
            assert row.priority is not Priority.SAFETY
            left.setdefault(row.key, now_ms)
    assert len(left) == seen
    for most, span_s in ((3, 3_600), (5, 6 * 3_600), (a_day, 86_400)):
        assert all(sum(1 for other in sent_at if at - span_s < other <= at) <= most for at in sent_at)


def test_a_clock_that_is_set_back_holds_nothing_up():
    """What left by the wrong time counts for that time: else a day would be silent until it comes again."""
    who = recipients(channel(1))
    (row,) = rows([message(type="clock_wrong")], who, NOON_S)
    ahead_ms = [(1, round((NOON_S + 86_400.0 + 60.0 * number) * 1000)) for number in range(12)]
    assert [sending.rows for sending in due([row], ahead_ms, who, round(NOON_S * 1000))] == [(row,)]
    behind_ms = [(1, at_ms - 86_400_000 - 900_000) for _, at_ms in ahead_ms]
    assert due([row], behind_ms, who, round(NOON_S * 1000)) == ()


@given(_PRIORITIES, st.sampled_from([MessageKind.ACTIVE, MessageKind.WORSE, MessageKind.NOTICE]))
def test_the_same_told_again_gives_the_same_rows(priority, kind):
    """After a crash the engine may tell it again: by its key it is known."""
    first, again = (rows([message(kind=kind, priority=priority)], TWO, NOON_S + dt) for dt in (0, 500))
    assert [row.key for row in first] == [row.key for row in again]
    assert len({row.key for row in first}) == len(first)
