"""What a start planned for later rests on, as it is now: its plan, its spools, its limits."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from monitor.errors import BadInputError, RefusedError
from monitor.model.cycle import LoadItem
from monitor.model.inventory import Inventory
from monitor.model.plan import Goal, Refused, When
from monitor.model.planned_start import SeenSpool
from monitor.oven.planned import Needs
from monitor.service.oven_site import load_of
from monitor.service.planning import run_in_oven
from monitor.service.queries import Queries


def needs_of(queries: Queries, oven: str, load: tuple[str, ...], target_pct: float | None) -> Needs:
    """What the plan of these spools asks for now; never on the worker's thread, as it takes its time."""
    try:
        run = run_in_oven(queries, oven, load, Goal(target_pct=target_pct), When(now_s=queries.now_s()))
    except (BadInputError, RefusedError) as error:
        return Needs(run_s=None, most_c=None, why=f"{str(error).rstrip('.')}.")
    if isinstance(run, Refused):
        return Needs(run_s=None, most_c=None, why=f"{run.refused.title}. {run.refused.detail}")
    return Needs(run_s=3600.0 * run.run_h, most_c=run.temperature_c)


def spools_now(queries: Queries) -> dict[str, SeenSpool]:
    """Every spool of the inventory: where it is and what is on it."""
    return {
        spool.key: SeenSpool(key=spool.key, place=spool.place, left_g=spool.left_g)
        for spool in queries.status().spools
    }


def would_hold(queries: Queries, oven: str, spools: Iterable[str]) -> tuple[LoadItem, ...]:
    """The load of an oven if just these spools lay in it."""
    inventory, keys = queries.inventory(), tuple(spools)
    inside = {key: replace(inventory.spools[key], place=oven) for key in keys if key in inventory.spools}
    return load_of(oven, Inventory(spools=inside, ovens=inventory.ovens), queries.library(), None)


def places_of(seen: Mapping[str, SeenSpool], load: Iterable[str]) -> tuple[SeenSpool, ...]:
    """Those of a load, in its order."""
    return tuple(seen[key] for key in load if key in seen)
