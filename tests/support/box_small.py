"""A few boxes that tests of the estimator share: short courses, made once."""

from dataclasses import replace
from functools import cache

from support.box_cases import draw_boxes, entered, readings
from support.box_truth import DAY_S, Course, TrueBox, TrueSpool, Truth

from monitor.estimate.box_belief import BoxBelief, first_belief
from monitor.estimate.box_filter import advance
from monitor.estimate.box_lid import BoxReading, Event
from monitor.estimate.box_model import BoxModel

# A minute at a time is for the benchmark; the suite can wait for five.
STEP_S = 300.0
PLAIN = TrueBox(
    volume_m3=0.015,
    air_changes_h=0.05,
    stated_dry_kg=0.15,
    dry_kg=0.15,
    batch=1.0,
    tilt=0.0,
    bed_depth_m=0.010,
    bead_m=0.003,
    start_humidity=0.0275,
    spools=(TrueSpool(material="petg", net_kg=0.8, start_humidity=0.08, stated="dried"),),
    openings_week=3.0,
    sensor_offset=0.0,
    room_c=22.0,
    room_dew_c=10.0,
)


@cache
def course_of(box: TrueBox, days: float, seed: int = 1) -> Course:
    """What happens to one box."""
    return Truth([box], seed).run(days, STEP_S)


def followed(
    box: TrueBox, days: float, seed: int = 1, model: BoxModel | None = None
) -> tuple[BoxModel, BoxBelief, list[Event]]:
    """The belief after all readings of one box."""
    model = model or entered(box)
    return model, *advanced(
        model, first_belief(model, 0.0), readings(course_of(box, days, seed), box, 0, seed)
    )


def advanced(model: BoxModel, belief: BoxBelief, heard: list[BoxReading]) -> tuple[BoxBelief, list[Event]]:
    """The belief after some readings, and all that was noticed."""
    noticed: list[Event] = []
    for reading in heard:
        belief, events = advance(model, belief, reading)
        noticed += events
    return belief, noticed


def with_fault(fault: str, day: float, **changes: object) -> TrueBox:
    """The plain box with a fault on one day."""
    return replace(PLAIN, fault=fault, fault_s=day * DAY_S, **changes)  # type: ignore[arg-type]


def sample(count: int, days: float, seed: int) -> tuple[list[TrueBox], Course]:
    """A fixed sample of the benchmark's boxes."""
    boxes = draw_boxes(count, seed)
    return boxes, Truth(boxes, seed).run(days, STEP_S)
