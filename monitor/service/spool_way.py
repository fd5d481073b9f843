"""Where a spool was and what was told of it, as stretches and moments along its way."""

from dataclasses import dataclass, replace

from monitor.model.inventory import Spool
from monitor.model.records import effective, stated_at
from monitor.model.spool_event import (
    Bagged,
    Dried,
    Opened,
    Signs,
    Spoiled,
    SpoolEvent,
    SpoolHistory,
    Used,
    Weighed,
    places,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """All in Unix milliseconds, each list by time."""

    spool: Spool  # as the inventory has it now, `used_g` as first stated
    begins_ms: int
    places: tuple[tuple[int, str | None], ...]
    seals: tuple[tuple[int, bool], ...]  # from when on it is in a sealed bag, or not
    dryings: tuple[tuple[int, int, Dried], ...]  # from, to
    moments: tuple[tuple[int, SpoolEvent], ...]  # what happens at once

    def place(self, at_ms: int) -> str | None:
        return stated_at(self.places, at_ms, None)

    def is_sealed(self, at_ms: int) -> bool:
        return stated_at(self.seals, at_ms, False)

    def is_moved(self, at_ms: int) -> bool:
        """Whether it begins here, or is put somewhere else or into another bag at this very moment."""
        return (
            at_ms == self.begins_ms
            or self.place(at_ms) != self.place(at_ms - 1)
            or self.is_sealed(at_ms) != self.is_sealed(at_ms - 1)
        )

    def left_g(self, at_ms: int) -> float:
        """Filament still wound at a time, as stated [g]."""
        used_g = sum(
            event.what.grams
            for moment_ms, event in self.moments
            if moment_ms <= at_ms and isinstance(event.what, Used)
        )
        return max(self.spool.net_g - self.spool.used_g - used_g, 0.0)

    def drying(self, at_ms: int) -> Dried | None:
        return next((what for from_ms, to_ms, what in self.dryings if from_ms <= at_ms < to_ms), None)

    def cuts(self, from_ms: int, to_ms: int) -> list[int]:
        """Moments strictly within a stretch at which something changes."""
        found = {at_ms for at_ms, _ in self.places} | {at_ms for at_ms, _ in self.seals}
        found |= {edge for begin_ms, end_ms, _ in self.dryings for edge in (begin_ms, end_ms)}
        found |= {at_ms for at_ms, _ in self.moments}
        return sorted(at_ms for at_ms in found if from_ms < at_ms < to_ms)

    def events_at(self, at_ms: int) -> list[SpoolEvent]:
        return [event for moment_ms, event in self.moments if moment_ms == at_ms]


def way_of(history: SpoolHistory, oldest_ms: int) -> Way | None:
    """The way of a spool that the inventory still has; `oldest_ms` stands where no `since` is given."""
    spool = history.present()
    if spool is None:
        return None
    begins_ms = round(spool.since_s * 1000) if spool.since_s is not None else oldest_ms
    events = effective(history.events)
    first_used_g, stated = _stated_uses(history)
    moments = [
        (round(event.at_s * 1000), event)
        for event in events
        if isinstance(event.what, Used | Weighed | Signs | Spoiled)
    ]
    return Way(
        spool=replace(spool, used_g=first_used_g),
        begins_ms=begins_ms,
        places=places(history),
        seals=tuple(
            (round(event.at_s * 1000), isinstance(event.what, Bagged))
            for event in events
            if isinstance(event.what, Bagged | Opened)
        ),
        dryings=tuple(
            (round((event.at_s - 3600.0 * event.what.hours) * 1000), round(event.at_s * 1000), event.what)
            for event in events
            if isinstance(event.what, Dried)
        ),
        moments=tuple(
            sorted((m for m in [*moments, *stated] if m[0] >= begins_ms), key=lambda m: (m[0], m[1].event_id))
        ),
    )


def _stated_uses(history: SpoolHistory) -> tuple[float, list[tuple[int, SpoolEvent]]]:
    """`used_g` as first stated, and later totals of the inventory as uses of what is new in them."""
    first: float | None = None
    stated_g = 0.0
    uses = [
        (round(event.at_s * 1000), event.what.grams)
        for event in effective(history.events)
        if isinstance(event.what, Used)
    ]
    found: list[tuple[int, SpoolEvent]] = []
    for from_ms, spool in history.versions:
        if spool is None or (first is not None and spool.used_g == stated_g):
            continue
        if first is None:
            first = stated_g = spool.used_g
            continue
        told_g = first + sum(grams for at_ms, grams in uses if at_ms <= from_ms)
        told_g += sum(event.what.grams for _, event in found if isinstance(event.what, Used))
        stated_g = spool.used_g
        if stated_g > told_g:
            event = SpoolEvent(
                spool=spool.key,
                at_s=from_ms / 1000.0,
                entered_s=from_ms / 1000.0,
                who="inventory",
                what=Used(grams=stated_g - told_g),
            )
            found.append((from_ms, event))
    return first or 0.0, found
