"""How alarms do, against logs whose answer can be counted by hand (A.3, A-18, A-19, A-33)."""

import random
from dataclasses import replace

import pytest
from support.alarms import DAY_S, HOUR_S, START_S

from monitor.alarms.metrics import detection_delays_s, floods, health, occurrences, proposed_deadband
from monitor.model.alarm_change import AlarmTransition


def _log(*lines):
    """Lines of (seconds after the start, key, what)."""
    return tuple(
        AlarmTransition(
            number=number,
            at_ms=round((START_S + at_s) * 1000),
            key=key,
            type=key.partition("-")[0],
            place="box",
            activation=f"{key}-{number}",
            what=what,
            was="norm",
            now={"shelved": "shlvd", "hidden": "dsupr"}.get(what, "unack"),
            priority="low",
            who="monitor",
            told=what == "activated",
        )
        for number, (at_s, key, what) in enumerate(sorted(lines), start=1)
    )


def _health(*lines, days=1.0, sample_s=60.0, kinds=("humid", "stale")):
    return health(_log(*lines), kinds, START_S, START_S + days * DAY_S, sample_s)


def _raise(key, *at_s, lasts_s=20.0):
    return [(at, key, "activated") for at in at_s] + [(at + lasts_s, key, "cleared") for at in at_s]


def test_chattering_is_three_within_a_minute():
    assert _health(*_raise("humid-a", 0, 25, 50, lasts_s=5)).chattering == ("humid-a",)
    assert _health(*_raise("humid-a", 0, 35, 70, lasts_s=5)).chattering == ()


def test_slow_chatter_is_three_within_sixty_samples():
    """A-19: three in an hour, where a sample comes each minute."""
    assert _health(*_raise("humid-a", 0, 1500, 3600)).slow_chattering == ("humid-a",)
    assert _health(*_raise("humid-a", 0, 1500, 3700)).slow_chattering == ()
    assert _health(*_raise("humid-a", 0, 1500, 3700), sample_s=120.0).slow_chattering == ("humid-a",)


def test_fleeting_is_shorter_than_five_samples():
    assert _health(*_raise("humid-a", 0, 9000, lasts_s=299)).fleeting == {"humid-a": 2}
    assert _health(*_raise("humid-a", 0, 9000, lasts_s=301)).fleeting == {}


def test_stale_is_active_for_more_than_a_day():
    assert _health((0, "humid-a", "activated"), days=1.1).stale == ("humid-a",)
    assert _health((0.2 * DAY_S, "humid-a", "activated"), days=1.1).stale == ()


def test_what_its_cause_hides_stands_before_nobody():
    """Told first, hidden once its cause was told: the cause is what stands. Shown again, it stands itself."""
    hidden = (0, "humid-a", "activated"), (HOUR_S, "humid-a", "hidden")
    assert _health(*hidden, days=1.1).stale == ()
    assert _health(*hidden, (DAY_S, "humid-a", "shown again"), days=1.1).stale == ("humid-a",)


def test_a_flood_begins_above_ten_and_ends_below_five():
    """Eleven within ten minutes; ten minutes after the fifth newest there are four left."""
    at = [START_S + 30.0 * n for n in range(11)]
    assert floods(at, START_S + DAY_S) == ((at[10], at[6] + 600.0),)
    assert floods(at[:10], START_S + DAY_S) == ()


def test_floods_are_those_that_counting_every_ten_minutes_tells():
    """Against the rule itself, counted at every moment in which something is told."""
    dice = random.Random(5)
    at = sorted(START_S + HOUR_S * (2 * dice.randrange(1, 9) + dice.gauss(0.0, 0.2)) for _ in range(200))
    inside = [sum(1 for other in at if moment - 600.0 < other <= moment) for moment in at]
    spans = floods(at, START_S + DAY_S)
    assert len(spans) > 1
    for moment, count in zip(at, inside, strict=True):
        is_in = any(begin <= moment < end for begin, end in spans)
        assert is_in or count <= 10
        assert not is_in or count >= 5


def test_two_floods_are_two():
    first = [START_S + 10.0 * n for n in range(11)]
    second = [at + HOUR_S for at in first]
    assert len(floods(first + second, START_S + DAY_S)) == 2


def test_the_most_frequent_are_named_with_their_share():
    found = _health(*_raise("humid-a", 0, 4000, 8000), *_raise("humid-b", 100))
    assert found.bad_actors == (("humid-a", 3), ("humid-b", 1))
    assert found.bad_actor_share == 1.0


def test_the_review_names_what_never_fired_and_what_nobody_reads():
    """A-33."""
    found = _health(
        *_raise("humid-a", 0, 4000, lasts_s=100),
        (3, "humid-a", "acknowledged"),
        (4050, "humid-a", "acknowledged"),
        *_raise("humid-b", 0),
        *_raise("humid-c", 0, 4000, lasts_s=100),
        (10, "humid-c", "shelved"),
        (4010, "humid-c", "shelved"),
    )
    assert found.never_fired == ("stale",)
    assert found.hasty == {"humid-a": 1}
    assert found.never_acked == ("humid-b", "humid-c")
    assert found.always_shelved == ("humid-c",)


def test_two_that_always_come_together_are_a_pair():
    found = _health(*_raise("humid-a", 0, 4000, 8000), *_raise("humid-b", 10, 4010, 8010))
    assert found.always_together == (("humid-a", "humid-b"),)


def test_an_empty_log_has_nothing_to_tell():
    found = _health()
    assert (found.activations, found.told, found.flood_share, found.bad_actor_share) == (0, 0, 0.0, 0.0)


def test_a_window_without_length_is_refused():
    with pytest.raises(ValueError, match="window"):
        health((), (), START_S, START_S, 60.0)


def test_an_occurrence_has_its_end_and_its_acknowledgement():
    (found,) = occurrences(_log(*_raise("humid-a", 0, lasts_s=50), (20, "humid-a", "acknowledged")))
    assert (found.from_s, found.to_s, found.acked_s) == (START_S, START_S + 50.0, START_S + 20.0)


def test_detection_delay_is_the_mean_of_what_each_activation_waited():
    """A-18: per alarm; what was raised before this was kept counts for nothing."""
    first, second, other, old = _log(*[(at, "humid-a", "activated") for at in (100, 300, 500, 700)])
    log = (
        replace(first, waited_s=60.0),
        replace(second, waited_s=100.0),
        replace(other, key="b", waited_s=7.0),
    )
    assert detection_delays_s((*log, old)) == {"humid-a": pytest.approx(80.0), "b": 7.0}
    assert detection_delays_s((old,)) == {}


@pytest.mark.parametrize("spread", [0.1, 0.3, 0.8])
def test_the_proposed_deadband_is_three_times_the_noise(spread):
    """A-15, A-18: and a slow drift of the air is not taken for noise."""
    dice = random.Random(3)
    values = [20.0 + 0.01 * n + dice.gauss(0.0, spread) for n in range(2_000)]
    assert proposed_deadband(values, 0.01) == pytest.approx(3.0 * spread, rel=0.08)


def test_no_deadband_is_proposed_from_a_few_samples_or_below_the_resolution():
    assert proposed_deadband([20.0] * 29, 0.1) is None
    assert proposed_deadband([20.0] * 30, 0.1) == 0.1
