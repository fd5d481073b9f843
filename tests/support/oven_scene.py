"""Scenes for single rules: a course of samples, a cycle, a phase."""

import random
from collections.abc import Callable
from dataclasses import replace

from support.oven_pair import PARAMETERS, PETG, site

from monitor.model.cycle import Cycle
from monitor.model.oven import LivingPermit, OvenPhase, OvenState
from monitor.oven.verdict import Level, Scene
from monitor.oven.window import Sample, Window

PERMIT = LivingPermit(cycle="c1", seq=1, left_s=20.0)
_NOISE = random.Random(7)


def noise(sd_c: float = 0.013) -> float:
    """What a good sensor adds to a reading [°C]."""
    return _NOISE.gauss(0.0, sd_c)


def oven_state(seq: int = 1, **changes) -> OvenState:
    """An idle, healthy oven."""
    members = {
        "boot": "b1",
        "uptime_s": 2.0 * seq,
        "seq": seq,
        "state": OvenPhase.IDLE,
        "chamber_c": (22.0, 22.1),
        "sample_seq": (seq, seq),
        "humidity_pct": None,
        "heater": 0.0,
        "power_w": 0.0,
        "fan": True,
        "door_open": False,
        "cutout_ok": True,
        "armed_s": 1200.0,
        "permit": None,
        "refused": None,
        "trip": None,
    }
    return OvenState(**(members | changes))


def course(seconds: float, said: Callable[[float], dict], *, every_s: float = 2.0, gap=None) -> Window:
    """`said(t)` gives what is not as in an idle oven; `gap` = (from, to) is a span in which nothing came."""
    window = Window()
    for number in range(round(seconds / every_s) + 1):
        at_s = number * every_s
        if gap and gap[0] < at_s < gap[1]:
            continue
        state = oven_state(number + 1, uptime_s=at_s, **said(at_s))
        window = window.add(Sample(at_s=at_s, heard_mono_s=1000.0 + at_s, state=state))
    return window


def heated(seconds: float, height: Callable[[float], float], *, gap=None, **changes) -> Window:
    """A chamber under a permit, both sensors alike but for their noise."""

    def said(at_s: float) -> dict:
        height_c = height(at_s)
        readings = (height_c + noise(), height_c + 0.1 + noise())
        usual = {"chamber_c": readings, "heater": 1.0, "power_w": 150.0, "permit": PERMIT}
        return usual | {k: v(at_s) if callable(v) else v for k, v in changes.items()}

    return course(seconds, said, gap=gap)


CYCLE = Cycle(
    id="c1",
    order="o1",
    who="Ada",
    is_unattended=False,
    is_armed_locally=True,
    load=(PETG,),
    setpoint_c=55.0,
    asked_setpoint_c=55.0,
    ceiling_c=63.0,
    limit_c=65.0,
    limited_by="Blue PETG",
    boot="b1",
    started_mono_s=1000.0,
    started_wall_s=1_795_000_000.0,
    duration_s=14_400.0,
    phase_since_mono_s=1000.0,
    warm_from_c=22.0,
    warm_from_mono_s=1000.0,
)


def scene(window: Window, phase: OvenPhase = OvenPhase.HEATING, **changes) -> Scene:
    """With a cycle to 55 °C that began at 1000 s of the monotonic clock."""
    newest = window.newest
    members = {
        "window": window,
        "parameters": PARAMETERS,
        "phase": phase,
        "cycle": CYCLE,
        "site": site(),
        "now_mono_s": newest.heard_mono_s if newest else 1000.0,
    }
    return Scene(**(members | changes))


def said(rule, *args, **kwargs) -> Level:
    """The level of a rule's verdict on a scene."""
    verdict = rule(scene(*args, **kwargs))
    return verdict.level if verdict else Level.FINE


def cycle(**changes) -> Cycle:
    return replace(CYCLE, **changes)
