"""Readings corrected as was held at their time; the readings themselves stay as they came (A-35)."""

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from monitor.model.history import Newest, RollUp
from monitor.model.reading import Quantity
from monitor.model.records import effective
from monitor.model.sensor_check import (
    NO_CORRECTION,
    Checked,
    Correction,
    CorrectionSet,
    Installed,
    SensorEvent,
    Standing,
    standing,
)

AWAY = "its sensor is in a jar to be checked; tell when it is back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A moment from which on readings are taken otherwise."""

    at_ms: int
    before: Correction
    after: Correction
    known_sd: float  # of what is corrected, 0 to 1

    def shift(self, shown: float) -> float:
        """What a reading that was shown so [0 to 1] is shown as now, less that."""
        raw_pct = (100.0 * shown - self.before.offset_pct) / self.before.gain
        return self.after.corrected(raw_pct) / 100.0 - shown


# Of a correction that no check is named for: the data sheet's.
_USUAL_PCT = 1.8


def changes(events: Iterable[SensorEvent]) -> tuple[Change, ...]:
    """Every change of one channel's correction, by time."""
    found: list[Change] = []
    now = NO_CORRECTION
    for event in effective(events):
        what = event.what
        if isinstance(what, Checked) and abs(what.error_pct) <= what.tolerance_pct:
            # Found right: nothing shifts, and what it may be off by is known anew.
            known_pct = math.hypot(what.error_pct, what.uncertainty_pct)
            at_ms = round(event.at_s * 1000)
            found.append(Change(at_ms=at_ms, before=now, after=now, known_sd=known_pct / 200.0))
        elif isinstance(what, Installed):
            now = NO_CORRECTION  # another sensor: nothing of the old one's error is known of it
        elif isinstance(what, CorrectionSet):
            then = Correction(offset_pct=what.offset_pct, gain=what.gain)
            known_pct = what.uncertainty_pct or _USUAL_PCT
            found.append(
                Change(at_ms=round(event.at_s * 1000), before=now, after=then, known_sd=known_pct / 200.0)
            )
            now = then
    return tuple(found)


class Corrections:
    """What holds of every channel when; of one that nothing was told of, its readings as they are."""

    def __init__(self, events: Mapping[str, Iterable[SensorEvent]]) -> None:
        self._stated = {channel: standing(told) for channel, told in events.items()}

    def at(self, channel: str, at_ms: int) -> Standing:
        """The correction of a reading; None while the sensor is not at its place."""
        stated = self._stated.get(channel, ())
        number = bisect_right(stated, at_ms, key=lambda item: item[0])
        return stated[number - 1][1] if number else NO_CORRECTION

    def mean(self, channel: str, quantity: Quantity, value: float, from_ms: int, to_ms: int) -> float | None:
        """A mean over a stretch; None where the sensor was away for any part of it.

        A correction that begins within the stretch holds from the next one on.
        """
        held = self.at(channel, from_ms)
        if held is None or self.was_away(channel, from_ms, to_ms):
            return None
        return held.corrected(value) if quantity is Quantity.HUMIDITY else value

    def was_away(self, channel: str, from_ms: int, to_ms: int) -> bool:
        """Whether the sensor was not at its place at any moment of a stretch."""
        within = (each for at_ms, each in self._stated.get(channel, ()) if from_ms < at_ms < to_ms)
        return self.at(channel, from_ms) is None or any(each is None for each in within)

    def newest(self, channel: str, found: Mapping[Quantity, Newest]) -> dict[Quantity, Newest]:
        """The newest readings of a channel, without those that are not of its place's air."""
        kept = {}
        for quantity, item in found.items():
            held = self.at(channel, item.time_ms)
            if held is not None:
                is_humidity = quantity is Quantity.HUMIDITY
                value = round(held.corrected(item.value), 3) if is_humidity else item.value
                kept[quantity] = replace(item, value=value)
        return kept

    def roll_up(self, channel: str, quantity: Quantity, item: RollUp, span_ms: int) -> RollUp | None:
        """A span corrected: its extremes, too, since a correction never turns more into less."""
        mean = self.mean(channel, quantity, item.mean or 0.0, item.start_ms, item.start_ms + span_ms)
        if mean is None:
            return None
        held = self.at(channel, item.start_ms)
        if item.mean is None or held is None or quantity is not Quantity.HUMIDITY:
            return item
        return replace(
            item, mean=mean, lowest=_corrected(held, item.lowest), highest=_corrected(held, item.highest)
        )


def _corrected(held: Correction, value: float | None) -> float | None:
    return None if value is None else held.corrected(value)
