"""A notice comes 30 days ahead, once for each due date (A-34)."""

from support.pages import NOW_S, FakeQueries

from monitor.alarms.notices import notices
from monitor.model.around import Around, OvenWatch

DAY_S = 86_400.0
STATUS = FakeQueries().status()
BOX, OVEN = STATUS.boxes[0], STATUS.ovens[0]


def around(check_days, proof_days):
    watch = OvenWatch(has_permit=False, proof_due_s=NOW_S + DAY_S * proof_days)
    return Around(check_due_s={BOX.key: NOW_S + DAY_S * check_days}, ovens={OVEN.key: watch})


def test_both_are_told_within_thirty_days_and_only_once():
    told, kept = notices(frozenset(), STATUS, around(29, 20), NOW_S)
    assert [item.type for item in told] == ["check_due", "proof_due"]
    assert "29 days" in told[0].what
    assert notices(kept, STATUS, around(29, 20), NOW_S) == ((), kept)


def test_not_before_and_not_when_overdue():
    assert notices(frozenset(), STATUS, around(31, -1), NOW_S) == ((), frozenset())


def test_a_test_of_messages_that_is_owed_is_told_once_and_again_after_a_month():
    """A-40; once all were heard it is forgotten, so that the next is told again."""
    owed = Around(test_owed_s={"the site": NOW_S, "Mara": NOW_S + DAY_S})
    told, kept = notices(frozenset(), STATUS, owed, NOW_S + DAY_S)
    assert [item.type for item in told] == ["alarm_test_due"]
    assert "the site, Mara" in told[0].what
    assert notices(kept, STATUS, owed, NOW_S + 29 * DAY_S) == ((), kept)
    again, _ = notices(kept, STATUS, owed, NOW_S + 31 * DAY_S)
    assert [item.type for item in again] == ["alarm_test_due"]
    assert notices(kept, STATUS, Around(), NOW_S) == ((), frozenset())


def test_another_due_date_is_another_occurrence():
    _, kept = notices(frozenset(), STATUS, around(10, 90), NOW_S)
    told, _ = notices(kept, STATUS, around(12, 90), NOW_S)
    assert len(told) == 1
