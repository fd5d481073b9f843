"""Whatever falls silent, heat is off within one lease of the last state that a permit named (B-22, B-23, R20)."""

import random

from support.oven_permits import started

from monitor.simulator.oven_rig import OvenRig


def test_a_monitor_killed_at_any_moment_leaves_no_heat_past_the_lease():
    """A hundred kills at random moments, with leases of 6 to 60 s and orders delayed by nothing."""
    dice, latest = random.Random(20), 0.0
    for number in range(100):
        lease_s = dice.choice([6.0, 12.0, 30.0, 45.0, 60.0])
        rig = OvenRig(seed=number)
        renewer = started(rig, lease_s=lease_s, setpoint_c=75.0, ceiling_c=80.0)
        rig.run(dice.uniform(40.0, 420.0))
        renewer.speaks = False
        named_s, hot_until_s = renewer.named_s[-1], 0.0
        for _ in range(60):
            rig.step()
            if rig.is_heated:
                hot_until_s = rig.time_s
        assert hot_until_s - named_s <= lease_s, number
        assert rig.oven.power_w == 0.0
        latest = max(latest, (hot_until_s - named_s) / lease_s)
    print(f"latest heat after the state named: {latest:.2f} of the lease")
    assert latest > 0.5  # else nothing was heating when it was killed, and nothing is shown


def test_orders_that_wait_on_their_way_are_worth_less():
    """Queued for a random while and delivered in order: heat still ends one lease after the state they name."""
    dice = random.Random(21)
    for number in range(40):
        rig = OvenRig(seed=number)
        renewer = started(rig, lease_s=20.0)
        rig.run(120.0)
        renewer.speaks = False
        held, published_s = [], rig.time_s
        held.append(renewer.permit(state_seq=renewer.last["seq"]))
        published_s = rig.time_s
        rig.run(2.0 * dice.randrange(0, 20))
        for payload in held:
            rig.receive("permit", payload)
        for _ in range(40):
            rig.step()
            if rig.is_heated:
                assert rig.time_s <= published_s + 20.0


def test_a_network_that_comes_and_goes_never_stretches_a_lease():
    """States and orders are lost at random; off comes in time each time."""
    dice = random.Random(22)
    rig = OvenRig(seed=9)
    renewer = started(rig, lease_s=30.0)
    for _ in range(60):
        rig.faults.network_gone = dice.random() < 0.5
        for _ in range(dice.randrange(5, 40)):
            rig.step()
            if rig.is_heated:
                assert rig.time_s <= renewer.named_s[-1] + 30.0


def test_stop_takes_the_heat_at_once():
    """B-17: not even until the next step."""
    rig = OvenRig(seed=9)
    started(rig, setpoint_c=75.0, ceiling_c=80.0)
    rig.run(120.0)
    assert rig.outputs.switch_1
    rig.receive("stop", b'{"cycle": "*", "why": "smell"}', retained=True)
    assert not rig.is_heated
