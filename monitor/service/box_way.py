"""What a box was like along its way: its charges, what lay in it, and what was told of it."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.model.box_event import BoxEvent, BoxHistory, ChargeWeighed, charges, told_of
from monitor.model.inventory import Box, Charge
from monitor.model.records import stated_at
from monitor.service.corrections import Change
from monitor.service.spool_way import Way


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A time through which neither charge nor contents changed."""

    from_ms: int
    to_ms: int
    charge: Charge | None
    inside: tuple[str, ...]  # spools whose water the air can reach
    is_new_charge: bool  # begins with another charge than the one before


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxWay:
    """All in Unix milliseconds; stretches follow each other, the last one is open."""

    box: Box  # as the inventory has it now
    stretches: tuple[Stretch, ...]
    weighings: tuple[tuple[int, BoxEvent], ...]
    corrections: tuple[Change, ...] = ()  # of its sensor
    overdue_ms: tuple[int, ...] = ()  # from then on a check of it was missing

    @property
    def begins_ms(self) -> int:
        return self.stretches[0].from_ms

    def stretch(self, at_ms: int) -> Stretch:
        """The one that a time lies in; the first before it."""
        found = self.stretches[0]
        for stretch in self.stretches:
            if stretch.from_ms > at_ms:
                break
            found = stretch
        return found

    def cuts(self, from_ms: int, to_ms: int) -> list[int]:
        """Moments strictly within a stretch of time at which something changes."""
        found = {stretch.from_ms for stretch in self.stretches} | {at_ms for at_ms, _ in self.weighings}
        found |= {change.at_ms for change in self.corrections} | set(self.overdue_ms)
        return sorted(at_ms for at_ms in found if from_ms < at_ms < to_ms)


_FOREVER_MS = 2**62


def box_way(history: BoxHistory, spools: Mapping[str, Way], oldest_ms: int) -> BoxWay | None:
    """The way of a box that the inventory still has; it begins with the box, or with the first reading."""
    box = history.present()
    if box is None:
        return None
    filled = charges(history)
    begins_ms = max(history.versions[0][0], oldest_ms)
    moments = {at_ms for at_ms, _ in filled}
    for way in spools.values():
        moments |= {at_ms for at_ms, _ in (*way.places, *way.seals)} | {way.begins_ms}
    edges = [begins_ms, *sorted(at_ms for at_ms in moments if at_ms > begins_ms), _FOREVER_MS]
    weighings = tuple(
        (round(event.at_s * 1000), event)
        for event in told_of(history, ChargeWeighed)
        if event.at_s * 1000 > begins_ms
    )
    return BoxWay(box=box, stretches=_merged(box.key, edges, filled, spools), weighings=weighings)


def _merged(
    box: str, edges: list[int], filled: tuple[tuple[int, Charge | None], ...], spools: Mapping[str, Way]
) -> tuple[Stretch, ...]:
    """One stretch for each change that matters to this box."""
    found: list[Stretch] = []
    charged_ms = {at_ms for at_ms, _ in filled}
    for from_ms, to_ms in zip(edges, edges[1:], strict=False):
        charge = stated_at(filled, from_ms, None)
        inside = tuple(sorted(key for key, way in spools.items() if _is_inside(way, box, from_ms)))
        is_new_charge = bool(found) and from_ms in charged_ms
        if found and not is_new_charge and found[-1].inside == inside:
            last = found[-1]
            found[-1] = Stretch(
                from_ms=last.from_ms,
                to_ms=to_ms,
                charge=last.charge,
                inside=inside,
                is_new_charge=last.is_new_charge,
            )
            continue
        found.append(
            Stretch(from_ms=from_ms, to_ms=to_ms, charge=charge, inside=inside, is_new_charge=is_new_charge)
        )
    return tuple(found)


def _is_inside(way: Way, box: str, at_ms: int) -> bool:
    return at_ms >= way.begins_ms and way.place(at_ms) == box and not way.is_sealed(at_ms)
