"""Which channel measured which place when."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.history import Newest, Placement
from monitor.model.reading import Quantity

_FOREVER_MS = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A channel at a place, from inclusive, to exclusive."""

    channel: str  # "<node>/<channel>"
    from_ms: int
    to_ms: int


def stays(placements: Iterable[Placement]) -> dict[str, list[Stay]]:
    """Place key to the channels that ever measured it."""
    by_channel: dict[str, list[Placement]] = {}
    for placement in placements:
        by_channel.setdefault(placement.channel, []).append(placement)
    found: dict[str, list[Stay]] = {}
    for channel, moves in by_channel.items():
        moves.sort(key=lambda move: move.from_ms)
        ends = [move.from_ms for move in moves[1:]] + [_FOREVER_MS]
        for move, end_ms in zip(moves, ends, strict=True):
            if move.place_key is not None:
                stay = Stay(channel=channel, from_ms=move.from_ms, to_ms=end_ms)
                found.setdefault(move.place_key, []).append(stay)
    return found


def placed_at(stays_of: dict[str, list[Stay]], at_ms: int) -> dict[str, Stay]:
    """Place key to the channel that measures it at a time."""
    return {
        place: stay
        for place, all_stays in stays_of.items()
        for stay in all_stays
        if stay.from_ms <= at_ms < stay.to_ms
    }


def newest_of(newest: Iterable[Newest]) -> dict[str, dict[Quantity, Newest]]:
    """The newest readings by channel and quantity."""
    found: dict[str, dict[Quantity, Newest]] = {}
    for item in newest:
        channel = f"{item.series.node}/{item.series.channel}"
        found.setdefault(channel, {})[item.series.quantity] = item
    return found
