"""A notice comes 30 days ahead, once for each due date (A-34)."""

from dataclasses import replace

from support.pages import NOW_S, FakeQueries

from monitor.alarms.notices import notices
from monitor.model.answers import DesiccantAnswer, Spread
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


def lasting(days, filled="2026-09-01T08:00:00Z", *, spent=False):
    """The site with a charge in its first box that lasts for so many days."""
    unknown = Spread(p10=None, p50=None, p90=None, why="not asked for here")
    charge = DesiccantAnswer(
        kind="silica_gel_a", dry_g=300.0, loading_pct=unknown, used=unknown, water_g=unknown, spent=spent,
        days_left=Spread(p10=days - 2.0, p50=days, p90=days + 4.0), filled=filled,
    )  # fmt: skip
    box = replace(BOX, desiccant=charge, limit_humidity_pct=15.0)
    return replace(STATUS, boxes=(box, *STATUS.boxes[1:]))


def test_used_up_desiccant_is_told_a_week_ahead_once_for_each_charge():
    """A.0: no act is due yet, so it is a notice; its days wander without a second one."""
    told, kept = notices(frozenset(), lasting(6.5), Around(), NOW_S)
    assert [(item.type, item.place, item.priority) for item in told] == [
        ("desiccant_soon", BOX.key, "notice")
    ]
    assert "days" in told[0].what
    assert (
        told[0].deadline_s == NOW_S + 4.5 * DAY_S
    )  # the early end: who waits for the middle is late every other time
    for days in (7.5, 6.9, 9.0, 1.0):
        again, kept = notices(kept, lasting(days), Around(), NOW_S)
        assert again == ()
    assert notices(kept, lasting(0.5, spent=True), Around(), NOW_S)[0] == ()
    fresh, kept = notices(kept, lasting(40.0, "2026-11-02T08:00:00Z"), Around(), NOW_S)
    assert (fresh, kept) == ((), frozenset())
    assert len(notices(kept, lasting(6.0, "2026-11-02T08:00:00Z"), Around(), NOW_S)[0]) == 1
    assert notices(frozenset(), lasting(8.0), Around(), NOW_S) == ((), frozenset())
