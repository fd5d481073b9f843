"""Every kind of alarm at every place it applies to; pure. Where why or act is empty the row says it."""

from monitor.alarms import box_conditions, oven_conditions, place_conditions, system_conditions
from monitor.model.answers import StatusAnswer
from monitor.model.around import Around
from monitor.model.condition import Condition

TYPES = (
    *box_conditions.TYPES,
    *place_conditions.TYPES,
    *oven_conditions.TYPES,
    *system_conditions.TYPES,
)


def conditions(status: StatusAnswer, around: Around, now_s: float) -> tuple[Condition, ...]:
    """All of them, each true, false or unknown (A-02).

    Args:
        status: The site as answered for now.
        around: What the answer lacks.
        now_s: Unix seconds.
    """
    spools = {spool.key: spool for spool in status.spools}
    of_boxes = [item for box in status.boxes for item in box_conditions.box_conditions(box, spools, now_s)]
    return (
        *of_boxes,
        *place_conditions.place_conditions(status, around, now_s),
        *oven_conditions.oven_conditions(status, around, now_s),
        *system_conditions.system_conditions(around),
    )
