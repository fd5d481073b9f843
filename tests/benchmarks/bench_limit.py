"""What a smoother with all the data and the truth's own structure would know of a box: the limit of any estimator."""

from support import box_limit
from support.box_cases import draw_boxes

SEED, COUNT, DAYS = 2026, 40, 122.0


def run() -> dict[str, str]:
    """Openings, the room and the weather to come count as known, so that no estimator reaches it."""
    boxes = draw_boxes(COUNT, SEED)
    return {
        f"readings off by {100 * wander:.1f} %RH, wandering": _row(boxes, wander)
        for wander in (0.0, 0.001, 0.002)
    }


def _row(boxes, wander: float) -> str:
    found = box_limit.limits(boxes, SEED, DAYS, wander=wander)
    late, early = min((box_limit.alarms(found, boxes, m / 1000.0) for m in range(12)), key=max)
    within, error = box_limit.within_share(found), box_limit.days_error(found)
    return (
        f"air changes within 1.5: {100 * within:.0f} %; days left off by {100 * error:.1f} %; "
        f"spent late {100 * late:.1f} %, early {100 * early:.1f} %"
    )
