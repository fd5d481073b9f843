"""Conditions of a box: each with what, why, act and deadline, and one line a box among the needs."""

from dataclasses import replace

import pytest
from support.pages import NOW_S, FakeQueries, spool

from monitor.alarms.box_conditions import SOON_DAYS, box_conditions
from monitor.alarms.needs import LID_MIN, needs
from monitor.model.answers import DesiccantAnswer, Diagnosis, Freshness, Question, Spread
from monitor.service.air import rfc3339

DAYS = Spread(p10=20.0, p50=30.0, p90=45.0)


def charge(**members):
    usual = {
        "kind": "silica_gel_a",
        "dry_g": 150.0,
        "loading_pct": Spread(p10=3.0, p50=4.0, p90=5.0),
        "used": Spread(p10=0.3, p50=0.4, p90=0.5),
        "water_g": Spread(p10=4.0, p50=6.0, p90=8.0),
        "spent": False,
        "days_left": DAYS,
        "settled_pct": Spread(p10=5.0, p50=6.0, p90=7.0),
    }
    return DesiccantAnswer(**(usual | members))


def sound(**members):
    usual = {
        "desiccant": charge(),
        "desiccant_why": None,
        "estimate_at": rfc3339(NOW_S - 300.0),
        "diagnosis": (),
        "questions": (),
        "lid_open_since": None,
        "limit_humidity_pct": 12.0,
    }
    made = next(each for each in FakeQueries().status().boxes if each.key == "anvil")
    return replace(
        made, **(usual | members), air=replace(made.air, humidity_pct=8.0, freshness=Freshness.FRESH)
    )


def holding(answer, spools=None):
    return {c.type for c in box_conditions(answer, spools or {}, NOW_S) if c.holds}


def test_a_sound_box_holds_no_condition_and_needs_nobody():
    """Nuisance kills monitors of this kind."""
    assert holding(sound()) == set()
    assert needs([sound()], [], [], [], NOW_S, (), {}) == ()


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        (sound(desiccant=charge(spent=True)), "desiccant_spent"),
        (sound(desiccant=charge(days_left=Spread(p10=3.0, p50=SOON_DAYS, p90=12.0))), "desiccant_soon"),
        (sound(lid_open_since=rfc3339(NOW_S - 3600.0)), "lid_open"),
        (
            sound(diagnosis=(Diagnosis(cause="leak", probability=0.9, advice="Look.", evidence="E."),)),
            "box_leaky",
        ),
        (
            sound(
                diagnosis=(Diagnosis(cause="sensor_offset", probability=0.9, advice="Look.", evidence="E."),)
            ),
            "sensor_implausible",
        ),
        (
            sound(questions=(Question(at=rfc3339(NOW_S), kind="contents_changed", words="Was it?"),)),
            "contents_unannounced",
        ),
    ],
)
def test_each_condition_is_told_with_what_why_and_act(answer, kind):
    """A-30: what, why it matters, what to do; and among the needs in one line."""
    assert holding(answer) == {kind}
    condition = next(c for c in box_conditions(answer, {}, NOW_S) if c.holds)
    assert condition.what.startswith(answer.name)
    assert condition.what.endswith((".", "?"))
    assert condition.why
    assert condition.act
    (need,) = needs([answer], [], [], [], NOW_S, (), {})
    assert need.what == condition.what


def test_a31_the_deadline_is_that_of_the_first_spool_inside():
    """A-31: time to respond is computed live where the model can."""
    inside = replace(spool(1, "anvil", "petg"), use_before=rfc3339(NOW_S + 7200.0))
    answer = sound(desiccant=charge(spent=True), spools=(inside.key,))
    condition = next(c for c in box_conditions(answer, {inside.key: inside}, NOW_S) if c.holds)
    assert condition.deadline_s == pytest.approx(NOW_S + 7200.0, abs=1.0)


def test_the_deadline_of_a_desiccant_that_lasts_is_the_early_end_of_its_range():
    """Whoever waits for the middle is late every other time."""
    answer = sound(desiccant=charge(days_left=Spread(p10=2.0, p50=5.0, p90=9.0)))
    condition = next(c for c in box_conditions(answer, {}, NOW_S) if c.holds)
    assert condition.deadline_s == NOW_S + 2.0 * 86_400.0
    assert "2 to 9 days" in condition.what


def test_a_box_is_told_once_by_its_cause():
    """P10: a leak, not also the humidity and the spent desiccant that it causes."""
    leaky = sound(
        desiccant=charge(spent=True),
        diagnosis=(Diagnosis(cause="leak", probability=0.95, advice="Check the seal.", evidence="E."),),
    )
    leaky = replace(leaky, air=replace(leaky.air, humidity_pct=30.0))
    (need,) = needs([leaky], [], [], [], NOW_S, (), {})
    assert "lets in more air" in need.what


def test_a_hand_in_the_box_is_no_open_lid():
    """A-15: a lid opening must not alarm."""
    opened = sound(lid_open_since=rfc3339(NOW_S - 60.0 * (LID_MIN - 2.0)))
    assert needs([opened], [], [], [], NOW_S, (), {}) == ()


def test_what_cannot_be_told_is_neither_so_nor_not():
    """Unknown is a value of its own: a silent sensor clears nothing."""
    silent = sound(estimate_at=None, desiccant=charge(spent=None))
    silent = replace(silent, air=replace(silent.air, freshness=Freshness.LOST))
    assert {c.holds for c in box_conditions(silent, {}, NOW_S)} == {None}


@pytest.mark.parametrize("kind", ["humidity_high", "desiccant_spent", "desiccant_soon", "charge_too_small"])
def test_a_limit_that_no_desiccant_keeps_is_a_wish_and_no_alarm(kind):
    """A.0: no act would end it. The needs still say that it is not as dry as the filament asks for."""
    small = (Diagnosis(cause="charge_too_small", probability=0.9, advice="More.", evidence="E."),)
    days = Spread(p10=0.0, p50=1.0, p90=2.0)
    dry = sound(limit_humidity_pct=3.4, desiccant=charge(spent=True, days_left=days), diagnosis=small)
    assert dry.air.humidity_pct == 8.0
    assert kind not in holding(dry)
    # The very same box at a limit that a charge does keep.
    asked = replace(dry, limit_humidity_pct=12.0)
    asked = replace(asked, air=replace(asked.air, humidity_pct=14.5))
    if kind == "desiccant_soon":
        asked = replace(asked, desiccant=charge(days_left=days))
    assert kind in holding(asked)


def test_past_what_desiccant_keeps_a_wish_is_alarmed_too():
    settles = Spread(p10=10.0, p50=11.0, p90=12.0)
    wet = sound(limit_humidity_pct=3.4, desiccant=charge(spent=True, settled_pct=settles))
    wet = replace(wet, air=replace(wet.air, humidity_pct=12.0))
    assert {"humidity_high", "desiccant_spent"} <= holding(wet)


@pytest.mark.parametrize(("days", "holds"), [(4.0, True), (29.0, True), (30.0, False), (None, False)])
def test_a_charge_that_keeps_its_box_for_a_month_is_not_too_small(days, holds):
    """A.0: nothing to be done. The likely cause stays on the box's page."""
    small = (Diagnosis(cause="charge_too_small", probability=0.9, advice="More.", evidence="E."),)
    left = Spread(p10=days and days / 2, p50=days, p90=days and days * 2)
    box = sound(desiccant=charge(days_left=left), diagnosis=small)
    assert ("charge_too_small" in holding(box)) is holds
