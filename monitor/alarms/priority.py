"""Priority from what comes of doing nothing and the time there is to do something (A.6)."""

from monitor.model.alarm_row import Consequence
from monitor.model.message import Priority

_DAY_S, _TWO_HOURS_S = 86_400.0, 7_200.0
# Columns of A.6: more than a day, 2 to 24 h, less. Under ten minutes nothing may rely on a person,
# so what is left then is as urgent as it was.
_GRID = {
    Consequence.NUISANCE: (Priority.NOTICE, Priority.LOW, Priority.LOW),
    Consequence.SPOILED: (Priority.LOW, Priority.MEDIUM, Priority.MEDIUM),
    Consequence.EQUIPMENT: (Priority.MEDIUM, Priority.HIGH, Priority.HIGH),
    Consequence.PERSON: (Priority.HIGH, Priority.SAFETY, Priority.SAFETY),
}


def priority_of(consequence: Consequence, respond_s: float) -> Priority:
    """The grid's answer.

    Args:
        consequence: Of doing nothing.
        respond_s: Time in which an act still changes it [s]; negative where it is over.
    """
    column = 0 if respond_s > _DAY_S else 1 if respond_s >= _TWO_HOURS_S else 2
    return _GRID[consequence][column]


def max_priority(one: Priority, other: Priority) -> Priority:
    """The more urgent of two."""
    return one if one.covers(other) else other
