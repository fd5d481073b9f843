"""STPA of the oven: seven control actions, four ways each can be unsafe, and the test that holds each cell."""

import ast
from pathlib import Path

import pytest

HERE = Path(__file__).parent
WAYS = ("not given", "given wrongly", "too early or too late", "too long or too short")
# File and test; the reason behind it where the words of the test do not say it.
CELLS: dict[str, tuple[str, str, str, str]] = {
    "heat-enable": (
        "test_permits.py::test_a_refused_permit_is_followed_by_a_better_one",
        "test_permits.py::test_every_condition_is_looked_at_again_for_each_permit",
        "test_start.py::test_an_order_of_ten_seconds_is_still_fresh_and_no_expiry_makes_it_older",
        "test_rules_course.py::test_r15_stops_at_a_tenth_beyond_what_was_confirmed",
    ),
    "heat-off": (
        "test_life.py::test_a_stop_is_repeated_until_its_effect_is_seen",
        "test_life.py::test_our_own_stop_coming_back_from_the_broker_is_no_new_one",
        "test_permits.py::test_a_stop_is_the_first_thing_said",
        "test_life.py::test_what_is_stopped_at_the_oven_stays_stopped",
    ),
    "set-point": (
        "test_start.py::test_what_was_shown_and_confirmed_must_be_what_is_done",
        "test_start.py::test_a_set_point_too_high_names_the_item_that_limits_it",
        "test_permits.py::test_a_lower_ceiling_goes_out_at_once",
        "test_rules_course.py::test_r13_trips_on_the_second_and_counts_each_once",
    ),
    "lease renewal": (
        "test_permits.py::test_the_heater_is_off_within_a_lease_after_the_monitor_fell_silent",
        "test_permits.py::test_no_permit_while_any_rule_does_not_hold",
        "test_permits.py::test_no_permit_rests_on_a_state_that_was_long_under_way",
        "test_permits.py::test_the_last_lease_does_not_reach_far_beyond_the_end",
    ),
    # The controller owns the fan; what software here can do is not to heat without it, and to tell.
    "fan": (
        "test_rules_plant.py::test_r14_trips_when_heat_goes_without_moving_air",
        "test_rules_plant.py::test_r14_sees_layers_that_form",
        "test_life.py::test_a_fan_that_does_not_start_ends_the_start",
        "test_rules_plant.py::test_a_cooling_oven_without_its_fan_is_told_of",
    ),
    "reset": (
        "test_trips.py::test_an_oven_without_arming_input_is_reset_after_a_proof_test",
        "test_trips.py::test_a_safety_trip_is_not_reset_from_afar",
        "test_trips.py::test_a_reset_waits_for_a_cool_chamber",
        "test_trips.py::test_the_third_safety_trip_in_30_days_takes_it_out_of_service",
    ),
    "start-arm": (
        "test_start.py::test_without_arming_there_is_no_start",
        "test_start.py::test_arming_lapses_when_the_door_opens_after_it",
        "test_start.py::test_a_scheduled_start_needs_an_arming_that_is_fresh_when_it_starts",
        "test_life.py::test_one_arming_is_good_for_one_start",
    ),
}


def _tests_of(file):
    tree = ast.parse((HERE / file).read_text())
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize(("action", "way"), [(action, way) for action in CELLS for way in WAYS])
def test_each_of_the_28_cells_has_its_test(action, way):
    """A cell without a test is a hazard that nobody looked at."""
    file, _, name = CELLS[action][WAYS.index(way)].partition("::")
    assert name in _tests_of(file)


def test_there_are_seven_actions_of_four_ways():
    """28, as the hazard analysis asks."""
    assert len(CELLS) == 7
    assert len({cell for row in CELLS.values() for cell in row}) == 28
