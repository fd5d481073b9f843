"""A state outlives the program as text, read whole or not at all."""

import json
from dataclasses import replace

import pytest
from support.oven_pair import PARAMETERS
from support.oven_phases import bench_in

from monitor.errors import StoreError
from monitor.model.oven import OvenPhase
from monitor.oven.events import Restarted
from monitor.oven.saved import from_text, to_text, unreadable
from monitor.oven.supervisor import step
from monitor.oven.verdict import RUNNING
from monitor.oven.window import Window


@pytest.mark.parametrize("phase", OvenPhase)
def test_a_state_comes_back_as_it_was_but_for_its_window_and_its_site(phase):
    """All of it, to the digit; those two are of the run that is over."""
    state = bench_in(phase).state
    assert from_text(to_text(state)) == replace(state, window=Window(), site=None)


def test_a_site_that_another_version_wrote_does_not_lock_the_oven():
    """What is around it is told anew at each start, so nothing of it needs to be understood."""
    state = bench_in(OvenPhase.IDLE).state
    content = json.loads(to_text(state)) | {"site": {"of": "an earlier version"}}
    assert from_text(json.dumps(content)) == replace(state, window=Window(), site=None)


@pytest.mark.parametrize("phase", OvenPhase)
def test_after_a_restart_nothing_heats_and_a_trip_is_still_latched(phase):
    """B-21: whatever was saved, no running state comes of it; B-30: a restart is no reset."""
    saved = to_text(bench_in(phase).state)
    state, effects = step(from_text(saved), Restarted(parameters=PARAMETERS), 5.0, 1.8e9)
    assert state.phase not in RUNNING
    assert (state.trip is not None) == (phase is OvenPhase.TRIPPED)
    kinds = {type(effect).__name__ for effect in effects}
    assert "PublishPermit" not in kinds
    assert ("PublishStop" in kinds) == (phase in RUNNING or phase is OvenPhase.COOLING)


def test_permit_numbers_rise_across_a_restart():
    """Contract 3: numbers given after the last save must not be given again."""
    before = bench_in(OvenPhase.DRYING).state
    after, _ = step(from_text(to_text(before)), Restarted(parameters=PARAMETERS), 5.0, 1.8e9)
    assert after.permit_seq > before.permit_seq + 24 * 3600


@pytest.mark.parametrize("damage", ["", "{}", "null", "[1]", "not json"])
def test_damaged_text_is_refused(damage):
    """Half a state is worse than none."""
    with pytest.raises(StoreError):
        from_text(damage)


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("phase", "hot"),
        ("version", "1"),
        ("trips", None),
        ("answered", {}),
        ("permit_seq", 1.5),
        ("is_out_of_service", 0),
    ],
)
def test_a_member_of_another_kind_is_refused(member, value):
    """Unknown state = off (B-18), so it must be found out."""
    plain = json.loads(to_text(bench_in(OvenPhase.IDLE).state))
    with pytest.raises(StoreError):
        from_text(json.dumps(plain | {member: value}))
    with pytest.raises(StoreError):
        from_text(json.dumps(plain | {"more": value}))


def test_a_state_of_a_version_that_held_nothing_cooler_is_read():
    """An update must not lock an oven; only what is named as having come later may be missing."""
    plain = json.loads(to_text(bench_in(OvenPhase.DRYING).state))
    for name in ("dry_since_wall_s", "target_pct", "first_m"):
        del plain["cycle"][name]
    assert from_text(json.dumps(plain)).cycle.dry_since_wall_s is None
    del plain["cycle"]["ceiling_c"]
    with pytest.raises(StoreError):
        from_text(json.dumps(plain))


def test_figures_beyond_the_hard_limits_do_not_come_in_by_a_saved_state():
    """B-52: this is a write path too."""
    plain = json.loads(to_text(bench_in(OvenPhase.IDLE).state))
    plain["parameters"]["max_c"] = 700.0
    with pytest.raises(StoreError, match="max_c"):
        from_text(json.dumps(plain))


def test_what_cannot_be_read_is_locked_out():
    """A trip may have been latched in it: a person looks first."""
    state = unreadable("oven1", PARAMETERS, 1.8e9)
    assert state.phase is OvenPhase.TRIPPED
    assert state.trip is not None
    assert state.trip.is_safety
