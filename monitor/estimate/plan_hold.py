"""After the end: cooler, so that nothing ages, and still dry (D-13)."""

from collections.abc import Sequence

from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.plan_limits import least_useful_c
from monitor.estimate.plan_outcome import Outcome
from monitor.model.plan import Hold
from monitor.physics.drying import attainable_floor, chamber_humidity

_COOLER_C = 10.0  # a hold that is no cooler than this spares nothing
_STEP_C = 1.0
_WITHIN = 0.95  # of what was dried to


def hold_after(load: Sequence[LoadSpool], outcome: Outcome) -> Hold:
    """The coolest temperature whose air keeps every spool as dry as it was made."""
    room = outcome.chamber.room
    hottest_c = outcome.temperature_c - _COOLER_C
    trial_c = least_useful_c(room.temperature_c)
    while trial_c <= hottest_c:
        humidity = float(chamber_humidity(room.temperature_c, room.humidity_pct / 100.0, trial_c))
        if all(
            float(attainable_floor(each.body.material, humidity)) <= _WITHIN * aim.content
            for each, aim in zip(load, outcome.aims, strict=True)
        ):
            return Hold(
                temperature_c=trial_c,
                why=f"Until it is taken out, {trial_c:g} °C keeps it dry; staying at "
                f"{outcome.temperature_c:g} °C gains next to nothing and ages it.",
            )
        trial_c += _STEP_C
    return Hold(
        temperature_c=None,
        temperature_c_why="cooler air of this room would wet it again",
        why="Take it out at the end, into a dry box: held cooler in this room's air it takes up water again.",
    )
