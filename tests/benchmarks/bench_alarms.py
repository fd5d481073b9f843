"""What a look at all alarms costs the worker, beside the status it rests on: `python -m benchmarks alarms`."""

import time

from support.alarms import RULES, row, safety_row

from monitor.alarms.events import Moment
from monitor.alarms.round import Looks, Scene, look
from monitor.alarms.saved import to_text
from monitor.model.condition import Condition

START_S = 1_790_000_000.0
TYPES = 15  # of the alarm table, at each box
LOOKS = 60


def _scene(rows, boxes, holding, number):
    conditions = tuple(
        Condition(
            type=kind, place=f"box-{box}", holds=box < holding, what="It is so.", value=30.0, limit=20.0
        )
        for box in range(boxes)
        for kind in rows
    )
    return Scene(
        rows=rows,
        rules=RULES,
        conditions=conditions,
        modes=frozenset(),
        samples={},
        places=frozenset(f"box-{box}" for box in range(boxes)),
        mono_s=30.0 * number,
        moment=Moment(wall_s=START_S + 30.0 * number, elapsed_s=30.0),
    )


def measured(boxes, holding):
    """(worst look [ms], median look [ms], text of all active alarms [bytes])."""
    rows = {f"kind_{n}": row(f"kind_{n}", on_delay_s=600.0) for n in range(TYPES - 1)}
    rows["oven_trip"] = safety_row()
    states, looks, took = {}, Looks(), []
    for number in range(LOOKS):
        scene = _scene(rows, boxes, holding, number)
        begin_s = time.perf_counter()
        changed, _ = look(states, scene, looks)
        took.append(1000.0 * (time.perf_counter() - begin_s))
        states |= changed
    size = sum(len(to_text(state)) for state in states.values() if state.active)
    return max(took), sorted(took)[LOOKS // 2], size


def run():
    """What is measured, by name."""
    out = {}
    for boxes, holding in ((20, 0), (20, 2), (100, 0), (100, 10), (100, 100)):
        worst_ms, median_ms, size = measured(boxes, holding)
        name = f"{boxes} boxes, {boxes * TYPES} conditions, {holding * TYPES} hold"
        out[f"{name}: median look [ms]"] = median_ms
        out[f"{name}: worst look [ms]"] = worst_ms
        out[f"{name}: all active ones as text [bytes]"] = size
    return out
