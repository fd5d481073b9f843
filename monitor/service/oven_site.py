"""What is so around an oven: load, room, store, checklist; the facts that its supervision is told."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from monitor.library import Library
from monitor.model.cycle import LoadItem
from monitor.model.inventory import Inventory, Oven, Spool
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.oven_run import COMMISSIONING, MARK_LIMIT_C, MARK_NAME
from monitor.oven.fitness import why_unfit
from monitor.oven.proof import passed_s
from monitor.oven.site import Checklist, Detector, Relay, Site, Tick
from monitor.service.oven_figures import Facts, parameters_for, told_of

DESICCANT = "desiccant:"  # a tray of it in an oven, as key of a load
# What marks a commissioning run: nothing lies in the way of heat but the chamber itself.
_MARK = LoadItem(
    key=COMMISSIONING, name=MARK_NAME, material_limit_c=MARK_LIMIT_C, body_limit_c=None, is_body_needed=False
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAir:
    """The room of an oven, as far as it is measured."""

    temperature_c: float | None = None
    dew_point_c: float | None = None
    detector: Detector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is committed of all ovens and what is around them, read once for all of them."""

    inventory: Inventory
    library: Library
    facts: Facts
    rooms: Mapping[str, RoomAir]  # those with an oven


def site_of(
    oven: str,
    known: Known,
    *,
    tray: str | None,
    is_storage_writable: bool,
    is_sole_owner: bool,
    is_self_tested: bool,
) -> Site:
    """All that a start or a permit depends on and the controller cannot know.

    Args:
        oven: Key of an oven of the inventory.
        tray: Key of the desiccant that a person said lies in it; None = no tray.
    """
    facts, entry = known.facts, known.inventory.ovens[oven]
    proof_tested_s = passed_s(facts.get((oven, FactKind.PROOF_TEST)))
    load, room = load_of(oven, known.inventory, known.library, tray), known.rooms[entry.room]
    return Site(
        load=load,
        is_storage_writable=is_storage_writable,
        is_self_tested=is_self_tested,
        is_sole_owner=is_sole_owner,
        room_c=room.temperature_c,
        room_dew_point_c=room.dew_point_c,
        detector=room.detector,
        checklist=checklist_of(facts.get((oven, FactKind.CHECKLIST))),
        is_cutout_confirmed=(oven, FactKind.CUTOUT) in facts or _has_tested_cutout(entry),
        proof_tested_wall_s=proof_tested_s,
        unfit=unfit_for(load, entry, facts) if load else "",
        relay=_relay(entry, is_proven=proof_tested_s is not None),
    )


def unfit_for(load: Iterable[LoadItem], entry: Oven, facts: Facts) -> str:
    """Why its commissioning found an oven unfit for a load; empty = nothing known speaks against it."""
    return why_unfit(load, parameters_for(entry, facts), told_of(entry, facts).in_force)


def _relay(entry: Oven, *, is_proven: bool) -> Relay | None:
    """The inventory admits none without a countdown; the proof test shows that it stays off (B-50, 4)."""
    if entry.relay is None:
        return None
    return Relay(counts_down=True, stays_off_after_power_loss=True if is_proven else None)


def load_of(oven: str, inventory: Inventory, library: Library, tray: str | None) -> tuple[LoadItem, ...]:
    """Every spool in it and the tray; what is not in the catalogue counts as the weakest."""
    items = load_items((spool for spool in inventory.spools.values() if spool.place == oven), library)
    if tray == COMMISSIONING:
        items.append(_MARK)
    elif tray is not None:
        kind = library.desiccants.get(tray)
        items.append(
            LoadItem(
                key=f"{DESICCANT}{tray}",
                name=tray if kind is None else kind.name,
                material_limit_c=None if kind is None else kind.max_safe_c,
                body_limit_c=None,
                is_body_needed=False,
            )
        )
    return tuple(items)


def checklist_of(fact: OvenFact | None) -> Checklist | None:
    if fact is None:
        return None
    known = set(Tick)
    ticked = frozenset(Tick(item) for item in fact.value.split(",") if item in known)
    return Checklist(ticked=ticked, at_wall_s=fact.at_s, who=fact.who)


def load_items(spools: Iterable[Spool], library: Library) -> list[LoadItem]:
    """Spools as the supervision sees them."""
    found = []
    for spool in spools:
        known, body = library.materials.get(spool.material), library.reels.get(spool.reel)
        found.append(
            LoadItem(
                key=spool.key,
                name=spool.name,
                material_limit_c=None if known is None else known.max_safe_c,
                body_limit_c=None if body is None else body.max_safe_c,
            )
        )
    return found


def _has_tested_cutout(entry: Oven) -> bool:
    return entry.cutout_c is not None and entry.cutout_tested_s is not None
