"""While nothing can be written: what cannot wait leaves all the same, once, and the outbox hears of it later."""

import pytest
from support.delivery import NOON_S, message, post

from monitor.alarms.delivery import plan
from monitor.model.message import MessageKind, Priority

HELD_S = 31.0  # longer than an ordinary write waits


@pytest.fixture
def site(tmp_path):
    with post(tmp_path) as made:
        made.way("json://one")
        yield made


def told(site, *messages):
    """What the worker cannot write."""
    return plan(messages, site.reader.recipients(), site.now_s, "UTC")


def stuck(site):
    """From now on the worker answers nobody; returns what makes it answer again."""
    ask = site.sender._ask

    def no_answer(_act):
        raise TimeoutError

    site.sender._ask = no_answer
    return lambda: setattr(site.sender, "_ask", ask)


def turn(site, seconds=0.0):
    site.now_s += seconds
    site.pace_s += seconds
    site.sender.turn()
    for attempt in list(site.sender._unwritten._tries.values()):
        if site.answers.get("json://one") != "hang":
            attempt.done.exception(timeout=5)


def written(site, changes):
    """The database takes it at last."""
    site.sender.hold(())
    site.ask(lambda engine: engine.change_outbox(*changes))


@pytest.mark.parametrize(
    ("priority", "subject", "leaves"),
    [
        (Priority.SAFETY, "smoke-shed", True),
        (Priority.HIGH, "humidity_high-crate", True),
        (Priority.MEDIUM, "database_trouble", True),
        (Priority.MEDIUM, "humidity_high-crate", False),
        (Priority.NOTICE, "check_due-crate", False),
    ],
)
def test_what_cannot_wait_leaves_and_is_sent_once(site, priority, subject, leaves):
    """A-12: a card that has failed must not keep a safety alarm, or that it has failed, from people."""
    changes = told(site, message(priority=priority, subject=subject))
    answer = stuck(site)
    site.sender.hold(changes)
    turn(site, HELD_S)
    turn(site, 3_600.0)
    assert len(site.got) == leaves
    assert site.states() == []
    answer()
    written(site, changes)
    site.turn(1.0)
    site.turn(60.0)
    assert len(site.got) == 1
    assert site.states() == ["sent"]
    assert not site.sender._unwritten._tries


def test_an_ordinary_write_that_waits_a_moment_sends_nothing_early(site):
    changes = told(site, message(priority=Priority.SAFETY))
    site.sender.hold(changes)
    turn(site, 5.0)
    assert site.got == []
    written(site, changes)
    site.turn(30.0)
    assert len(site.got) == 1


def test_one_that_fails_is_tried_again_each_minute_and_then_by_the_outbox(site):
    site.answers["json://one"] = False
    changes = told(site, message(priority=Priority.SAFETY))
    answer = stuck(site)
    site.sender.hold(changes)
    turn(site, HELD_S)
    turn(site, 30.0)
    assert len(site.got) == 1
    turn(site, 31.0)
    assert len(site.got) == 2
    site.answers["json://one"] = True
    answer()
    written(site, changes)
    site.turn(1.0)
    assert len(site.got) == 3
    assert site.states() == ["sent"]


def test_one_that_is_still_on_its_way_is_not_sent_beside_itself(site):
    """A receiver that hangs has it, perhaps; after two minutes it is taken for lost."""
    site.answers["json://one"] = "hang"
    changes = told(site, message(priority=Priority.SAFETY))
    answer = stuck(site)
    site.sender.hold(changes)
    turn(site, HELD_S)
    answer()
    written(site, changes)
    site.turn(10.0)
    assert len(site.got) == 1
    assert site.states() == ["queued"]
    site.release.set()
    (attempt,) = site.sender._unwritten._tries.values()
    attempt.done.result(timeout=5)
    site.turn(1.0)
    assert len(site.got) == 1
    assert site.states() == ["sent"]


def test_its_end_is_told_to_whoever_heard_of_its_beginning_and_to_nobody_else(site):
    """An alarm that came and went while nothing could be written."""
    begun = message(priority=Priority.SAFETY, subject="smoke-shed")
    quick = message(priority=Priority.SAFETY, subject="smoke-loft")
    ends = [
        message(kind=MessageKind.CLEARS, priority=Priority.SAFETY, subject=subject)
        for subject in ("smoke-shed", "smoke-loft")
    ]
    site.wish(wants_clears=True)
    stuck(site)
    site.sender.hold(told(site, begun))
    turn(site, HELD_S)
    site.sender.hold(told(site, begun, quick, *ends))
    turn(site, HELD_S)
    assert [title for _, title, _ in site.got] == ["smoke-shed 1", "Over: smoke-shed 1"]


def test_recipients_that_cannot_be_read_any_more_are_those_known_last(site, monkeypatch):
    from monitor.errors import StoreError

    changes = told(site, message(priority=Priority.SAFETY), message(priority=Priority.SAFETY, subject="c-d"))
    stuck(site)
    site.sender.hold(changes[:1])
    turn(site, HELD_S)

    def fails():
        raise StoreError("the card is gone")

    monkeypatch.setattr(site.sender._unwritten, "_recipients", fails)
    site.sender.hold(changes)
    turn(site, 1.0)
    assert sorted(title for _, title, _ in site.got) == ["a-b 1", "c-d 1"]
    assert site.now_s > NOON_S
