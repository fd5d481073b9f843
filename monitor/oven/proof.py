"""The yearly proof test in five steps (B-50): what is entered, what is allowed, what passed. Pure."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.oven import hard
from monitor.oven.parameters import OvenParameters
from monitor.oven.state import Supervised
from monitor.oven.window import Sample

TOGETHER_WITHIN_S = 7 * 86_400.0  # all five steps are one test
_CUTOUT_OFF_C, _CUTOUT_ABOVE_C = 5.0, 10.0
_SENSOR_OFF_S, _SENSOR_TRIP_S = 4.0, 10.0
_STOP_S = 3.0
_LEAST_WAIT_S = 10.0
_OFF_W = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One figure of a step; what lies outside of its range was not measured so."""

    key: str
    words: str
    unit: str
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the test."""

    kind: FactKind
    title: str
    do: tuple[str, ...]
    numbers: tuple[Number, ...]
    ticks: tuple[tuple[str, str], ...]  # (key, words): each must be so
    if_failed: str

    @property
    def key(self) -> str:
        return str(self.kind).removeprefix("proof_")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """What an oven's numbers are held against."""

    rating_c: float | None  # of its cut-out, by the inventory
    hottest_c: float  # highest set-point
    lease_s: float


STEPS: tuple[Step, ...] = (
    Step(
        kind=FactKind.PROOF_CUTOUT,
        title="Cut-out",
        do=(
            "The step that counts. Empty chamber, two people, a thermometer beside the cut-out's bulb, and "
            "something that shows whether the element has current.",
            "A licensed person feeds the element through the cut-out alone and raises it slowly, at most "
            "2 °C a minute near the end. Unplugged whenever a cover is open: do not open it yourself.",
            "Read the temperature at which the current vanishes; let it cool; see that it stays off.",
        ),
        numbers=(Number(key="gone_c", words="Current vanished at", unit="°C", lowest=30.0, highest=300.0),),
        ticks=(
            ("stays_off", "It stayed off when cooled"),
            ("own_button", "It came back only by its own button"),
        ),
        if_failed="Out of use. A licensed person replaces the cut-out; then all five steps are done again.",
    ),
    Step(
        kind=FactKind.PROOF_SENSOR,
        title="Sensor",
        do=(
            "Start a commissioning run with the chamber empty, and wait until it heats.",
            "Pull the lead of one sensor at its connector, which carries no mains. Watch the current.",
        ),
        numbers=(
            Number(key="off_s", words="No current after", unit="s", lowest=0.0, highest=600.0),
            Number(key="trip_s", words="Tripped after", unit="s", lowest=0.0, highest=600.0),
        ),
        ticks=(),
        if_failed="Out of use. The controller misses a lost sensor: replace it, then do all five again.",
    ),
    Step(
        kind=FactKind.PROOF_LEASE,
        title="Lease",
        do=(
            "While it heats stop the monitor's service (systemctl kill -s KILL sorbwatch) and start a "
            "stopwatch.",
            "Stop it when the current is gone. Start the service again and see that heat stays off.",
        ),
        numbers=(Number(key="gone_s", words="Current gone after", unit="s", lowest=0.0, highest=600.0),),
        ticks=(("stays_off", "It stayed off when the service was back"),),
        if_failed="Out of use. The controller heats without a permit: replace it, then do all five again.",
    ),
    Step(
        kind=FactKind.PROOF_POWER,
        title="Power cut",
        do=(
            "While it heats pull the plug, wait at least ten seconds, and put it back.",
            "Look at it for a minute: no current, and not armed.",
        ),
        numbers=(Number(key="waited_s", words="Waited", unit="s", lowest=_LEAST_WAIT_S, highest=3600.0),),
        ticks=(("stays_off", "It stayed off"), ("not_armed", "It was not armed")),
        if_failed="Out of use. It may come on by itself: have its contactor replaced, then do all five.",
    ),
    Step(
        kind=FactKind.PROOF_STOP,
        title="Stop",
        do=(
            "While it heats press stop on a page and count until the current is gone.",
            "Start again; press stop at the oven. Start again; use its main switch or plug.",
        ),
        numbers=(Number(key="page_s", words="By a page, gone after", unit="s", lowest=0.0, highest=600.0),),
        ticks=(("button", "By the oven's own stop: at once"), ("plug", "By main switch or plug: at once")),
        if_failed="Out of use. What cannot be stopped heats nothing: find the cause, then do all five again.",
    ),
)
BY_KEY = {step.key: step for step in STEPS}
TITLES = {str(step.kind): step.title for step in STEPS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A step as it was done."""

    numbers: dict[str, float]
    ticks: tuple[str, ...]
    faults: tuple[str, ...]  # why it was not passed; empty = it was

    @property
    def is_passed(self) -> bool:
        return not self.faults


def taken(step: Step, numbers: Mapping[str, float], ticks: tuple[str, ...], bounds: Bounds) -> Result:
    """What was entered, held against what is allowed; FieldError where it is no possible measurement."""
    kept = {}
    for number in step.numbers:
        value = numbers.get(number.key, math.nan)
        if not (math.isfinite(value) and number.lowest <= value <= number.highest):
            span = f"{number.lowest:g} to {number.highest:g} {number.unit}"
            raise FieldError(number.key, f"({number.words.lower()}) must be a number from {span}")
        kept[number.key] = value
    known = {key for key, _ in step.ticks}
    if not set(ticks) <= known:
        raise FieldError("ticks", "names something that is not part of this step")
    faults = [f"Not so: {words[0].lower()}{words[1:]}." for key, words in step.ticks if key not in ticks]
    return Result(numbers=kept, ticks=ticks, faults=(*_wrong(step, kept, bounds), *faults))


def _wrong(step: Step, numbers: Mapping[str, float], bounds: Bounds) -> list[str]:
    return [
        f"{number.words} {numbers[number.key]:g} {number.unit}; allowed: {allowed_words(number.key, bounds)}."
        for number in step.numbers
        if not _is_allowed(number.key, numbers[number.key], bounds)
    ]


def _range(key: str, bounds: Bounds) -> tuple[float, float]:
    if key == "gone_c":
        least_c = bounds.hottest_c + _CUTOUT_ABOVE_C
        if bounds.rating_c is None:
            return math.inf, -math.inf  # what it should be is not known: nothing passes
        return max(least_c, bounds.rating_c - _CUTOUT_OFF_C), bounds.rating_c + _CUTOUT_OFF_C
    most_s = {"off_s": _SENSOR_OFF_S, "trip_s": _SENSOR_TRIP_S, "gone_s": bounds.lease_s, "page_s": _STOP_S}
    return (0.0, most_s[key]) if key in most_s else (_LEAST_WAIT_S, math.inf)


def _is_allowed(key: str, value: float, bounds: Bounds) -> bool:
    lowest, highest = _range(key, bounds)
    return lowest <= value <= highest


def allowed_words(key: str, bounds: Bounds) -> str:
    """What a number must be to pass, for the page."""
    lowest, highest = _range(key, bounds)
    if key == "gone_c":
        if bounds.rating_c is None:
            return "the cut-out's rating, which must be entered in the inventory first"
        if lowest > highest:
            low = f"a cut-out of {bounds.rating_c:g} °C is too low"
            return f"none: {low} for set-points up to {bounds.hottest_c:g} °C"
        return f"{lowest:g} to {highest:g} °C"
    return f"at least {lowest:g} s" if math.isinf(highest) else f"at most {highest:g} s"


def bounds_of(parameters: OvenParameters, rating_c: float | None) -> Bounds:
    """By the oven's own figures; the hottest set-point is that of a load with no limit of its own."""
    hottest_c = min(parameters.max_c, hard.MAX_WORKING_C) - parameters.guard_c
    return Bounds(rating_c=rating_c, hottest_c=hottest_c, lease_s=parameters.lease_s)


def to_text(result: Result) -> str:
    said = {"numbers": result.numbers, "ticks": list(result.ticks), "faults": list(result.faults)}
    return json.dumps(said, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def from_text(text: str) -> Result | None:
    """A step as it was stored; None for what is none."""
    try:
        said = json.loads(text)
        return Result(
            numbers={str(key): float(value) for key, value in said["numbers"].items()},
            ticks=tuple(said["ticks"]),
            faults=tuple(said["faults"]),
        )
    except (ValueError, TypeError, KeyError, AttributeError):
        return None


def is_passed(value: str) -> bool:
    """Whether the record of a whole test says that it was passed; rows of before say so in one word."""
    if value == "passed":
        return True
    try:
        return json.loads(value).get("passed") is True
    except (ValueError, AttributeError):
        return False


def passed_s(test: OvenFact | None) -> float | None:
    """When the newest whole test was passed [Unix s]; None where there was none, or it failed."""
    return test.at_s if test is not None and is_passed(test.value) else None


def due_s(tested_s: float | None) -> float | None:
    """When the next test is due after one that was passed then [Unix s]; None where none was passed."""
    return None if tested_s is None else tested_s + hard.PROOF_TEST_VALID_S


def is_valid(tested_s: float | None, wall_s: float) -> bool:
    """Whether a test that was passed then counts still; a date in the future is no date."""
    return tested_s is not None and 0.0 <= wall_s - tested_s <= hard.PROOF_TEST_VALID_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the monitor saw of a step itself; None = nothing that would do for it."""

    off_s: float | None = None
    trip_s: float | None = None
    page_s: float | None = None
    lease_told_s: float | None = None  # the longest count that the controller showed


def seen(state: Supervised) -> Seen:
    """Times of the last twenty minutes, from the controller's own clock; states between are not seen."""
    samples = state.window.samples
    lost = _sensor_lost(samples)
    off_s, trip_s = (None, None) if lost is None else _after(samples, lost)
    leases = [s.state.permit.left_s for s in samples if s.state.permit is not None]
    return Seen(off_s=off_s, trip_s=trip_s, lease_told_s=max(leases, default=None))


def _sensor_lost(samples: tuple[Sample, ...]) -> int | None:
    """Place of the last sample in which every sensor was fresh while it heated, before one was lost."""
    for place in range(len(samples) - 1, 0, -1):
        before, here = samples[place - 1].state, samples[place].state
        pairs = zip(before.chamber_c, here.chamber_c, before.sample_seq, here.sample_seq, strict=False)
        is_lost = any((a is not None and b is None) or m == n for a, b, m, n in pairs)
        was_whole = None not in before.chamber_c and (before.permit is not None)
        if is_lost and was_whole and samples[place].at_s > samples[place - 1].at_s:
            return place - 1
    return None


def _after(samples: tuple[Sample, ...], lost: int) -> tuple[float | None, float | None]:
    """Seconds from there to no heat, and to the trip."""
    begun_s = samples[lost].at_s
    off_s = trip_s = None
    for sample in samples[lost + 1 :]:
        said = sample.state
        if off_s is None and said.heater <= 0.0 and (said.power_w or 0.0) <= _OFF_W:
            off_s = sample.at_s - begun_s
        if trip_s is None and said.trip is not None:
            trip_s = sample.at_s - begun_s
    return off_s, trip_s
