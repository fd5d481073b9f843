"""Every fault with a barrier in software, injected into the living pair: what is seen, when heat is off, how hot it gets.

A short look here, one moment each; `python -m benchmarks ovens` looks for an hour, in the rise and in the calm.
"""

from dataclasses import replace

import pytest
from support.oven_campaign import VICTIMS, kill
from support.oven_joint import LEARNED
from support.oven_matrix import CASES, FAULTS, inject

# A look long enough for the fault that takes longest to end in the rise, the fuse's.
LOOK_S = 1500.0
# What B.5 lists with a barrier in software that acts on heat, and is not a matter of one side alone: H14, H17, H18,
# H30, H33, H36 and H38 are starts, settings and verdicts (test_start.py, test_parameters.py, test_trips.py);
# H32, H35 and the like have none here.
HAZARDS = {
    "H01", "H02", "H03", "H04", "H05", "H06", "H07", "H08", "H09", "H10", "H11", "H12", "H13", "H15", "H16", "H19",
    "H21", "H27", "H31", "H34", "H37", "H39", "H40",
}  # fmt: skip
SHORT = [(fault, fault.moments[0]) for fault in FAULTS]


def test_every_rule_and_every_hazard_has_its_fault():
    """B-01: R1 to R20 each shown to fire; B.5."""
    rows = {row for fault in FAULTS for row in fault.rows.split()}
    assert {f"R{number}" for number in range(1, 21)} <= rows
    assert rows >= HAZARDS


@pytest.mark.parametrize(
    ("fault", "moment"), SHORT, ids=[f"{fault.name}, {moment}" for fault, moment in SHORT]
)
def test_each_fault_is_seen_and_heat_is_off_in_time(fault, moment):
    """B-01, B-02: told by its rule, the last heat within its limit, the chamber under the load's limit.

    Where only hardware is left, under the cut-out's; the invariant of the lease holds in every step.
    """
    found = inject(replace(fault, look_s=min(fault.look_s, LOOK_S)), moment)
    assert found.misses(fault, moment) == []


def test_a_material_limit_is_passed_only_where_hardware_is_the_barrier():
    """B.4: what software can hold it holds; the rest is named, so that nobody takes it for more."""
    beyond = {fault.name for fault, _ in CASES if fault.most_c > 65.0}
    assert beyond == {
        "both welded",
        "both welded, cooling",
        "both welded, idle",
        "both welded, no meter",
        "both welded, no cut-out",
        "heater of four times the power",
        "both sensors 10 °C low",
        "controller heats without permit",
        "board hangs, watchdog dead",
    }


@pytest.mark.parametrize("number", range(len(VICTIMS)))
def test_heat_is_off_within_a_lease_of_any_kill_and_does_not_come_back(number):
    """B-21, B-22, R20, H06 to H08: at a random moment; a hundred of them in the benchmark."""
    killed = kill(100 + number)
    assert killed.heat_s <= LEARNED.lease_s
    assert not killed.came_back
    assert killed.peak_c <= killed.limit_c
