"""What the forms of a box offer: acts, spools, places, desiccants, each prefilled as it was last."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.alarms.wording import humidity
from monitor.library import Library
from monitor.model.answers import AirAnswer, BoxAnswer, SpoolAnswer, StatusAnswer
from monitor.model.box_event import BoxEvent, ChargeWeighed, Recharged
from monitor.model.inventory import Inventory
from monitor.model.records import effective
from web.boxes.records import COLOURS
from web.entry import Entry
from web.inside import sentence
from web.spools.words import MARKS, place_of, short_name

_INDICATING = "silica_gel"  # beads that change colour are mixed into plain ones of these
_USUAL_STEP_G = "1"
HOT = (
    "Hot desiccant and its pot burn. Let both cool, shut in, before you pour: warm beads also drink from the"
    " room's air."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing to choose, with a few words on it."""

    key: str
    name: str
    words: str


def acts(box: BoxAnswer) -> tuple[tuple[str, str], ...]:
    """What can be told of it as it is."""
    offered = [("recharged", "I changed the desiccant"), ("put_in", "I put in …")]
    if box.spools:
        offered.append(("took_out", "I took out …"))
    if box.desiccant is not None:
        offered.append(("weighed", "I weighed the desiccant"))
        if box.desiccant.kind.startswith(_INDICATING):
            offered.append(("colour", "Colour of the beads"))
    return tuple(offered)


def prefilled(entry: Entry, box: BoxAnswer, events: Sequence[BoxEvent]) -> Entry:
    """A new form with what was so the last time; what was typed stays."""
    values: dict[str, str] = {}
    if entry.kind == "recharged":
        values = _last_charge(box, events)
    elif entry.kind == "weighed":
        weighed = [event.what for event in effective(events) if isinstance(event.what, ChargeWeighed)]
        values = {"resolution_g": f"{weighed[-1].resolution_g:g}" if weighed else _USUAL_STEP_G}
    elif entry.kind == "took_out" and len(box.spools) == 1:
        values = {"spool": box.spools[0]}
    if entry.fault or entry.replaces is not None:
        return entry
    return replace(entry, values=values | dict(entry.values))


def _last_charge(box: BoxAnswer, events: Sequence[BoxEvent]) -> dict[str, str]:
    told = [event.what for event in effective(events) if isinstance(event.what, Recharged)]
    charge = box.desiccant
    if told:
        last = {"desiccant": told[-1].desiccant, "dry_g": f"{told[-1].dry_g:g}"}
        return last | ({"is_regenerated": "yes"} if told[-1].is_regenerated else {})
    if charge is None:
        return {}
    last = {"desiccant": charge.kind, "dry_g": f"{charge.dry_g:g}"}
    return last | ({"is_regenerated": "yes"} if charge.regenerated else {})


def kinds(library: Library) -> tuple[Choice, ...]:
    """Every desiccant of the catalogue, with what makes it dangerous."""
    return tuple(
        Choice(key=kind.key, name=kind.name, words=" ".join(filter(None, (kind.oven_refusal, kind.note))))
        for kind in library.desiccants.values()
    )


def colours() -> tuple[Choice, ...]:
    """What beads may look like."""
    return tuple(Choice(key=str(colour), name=sentence(words), words="") for colour, words in COLOURS.items())


def spools_elsewhere(
    status: StatusAnswer, box: str, inventory: Inventory, library: Library
) -> tuple[Choice, ...]:
    """What may be put in: first what lies open, then what lies in another box."""
    others = [spool for spool in status.spools if spool.place != box]
    others.sort(key=lambda spool: (spool.place in inventory.boxes, spool.name.lower()))
    return tuple(_spool(spool, library, place_of(inventory, spool.place).name) for spool in others)


def spools_inside(status: StatusAnswer, box: str, library: Library) -> tuple[Choice, ...]:
    """What may be taken out."""
    return tuple(_spool(spool, library, "") for spool in status.spools if spool.place == box)


def _spool(spool: SpoolAnswer, library: Library, place: str) -> Choice:
    mark, word = MARKS[spool.verdict]
    verdict = f"{mark} {word.lower()}" if spool.verdict in ("dry_first", "damaged") else ""
    words = [short_name(library, spool.material), place, verdict]
    return Choice(key=spool.key, name=spool.name, words=" · ".join(filter(None, words)))


def places(status: StatusAnswer, box: BoxAnswer) -> tuple[tuple[str, tuple[Choice, ...]], ...]:
    """Where a spool may go: its own room first."""
    rooms = sorted(status.rooms, key=lambda room: room.key != box.room)
    groups = (
        ("Into a room", tuple(_place(room.key, room.name, room.air) for room in rooms)),
        ("Into an oven", tuple(_place(oven.key, oven.name, None) for oven in status.ovens)),
        (
            "Into another box",
            tuple(_place(other.key, other.name, other.air) for other in status.boxes if other.key != box.key),
        ),
    )
    return tuple(group for group in groups if group[1])


def _place(key: str, name: str, air: AirAnswer | None) -> Choice:
    known = None if air is None or air.stale else air.humidity_pct
    return Choice(key=key, name=name, words="" if known is None else humidity(known))
