"""Drying plans for a site: an oven, its spools as they are believed to be, and its room's air."""

from dataclasses import dataclass, replace

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.plan_drying import hottest_outcome, plan_drying, spread_of
from monitor.estimate.plan_limits import SENSOR_BELIEVED_C
from monitor.estimate.plan_load import described, followed
from monitor.estimate.plan_regeneration import plan_regeneration
from monitor.estimate.plan_times import timing_of
from monitor.library import UNKNOWN, Library
from monitor.model.inventory import Oven, Spool
from monitor.model.plan import Goal, Plan, Refused, Regeneration, RoomAir, When
from monitor.service.oven_site import load_items, unfit_for
from monitor.service.queries import Queries


@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """A spool that stands in no inventory."""

    material: str
    net_g: float = 1000.0
    diameter_mm: float = 1.75
    start_pct: float | None = None  # None: its past is not known
    reel: str = UNKNOWN
    open_flanges: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LooseOven:
    """An oven that stands in no inventory, and the air round it."""

    max_c: float | None = None
    overshoot_c: float = 5.0
    sensor_error_c: float = 2.0
    room: RoomAir = RoomAir(temperature_c=23.0, humidity_pct=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Desiccant:
    """What is to be regenerated."""

    kind: str
    charge: Regeneration


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomWish:
    """Air to be taken instead of what the room's sensor says; None = as measured."""

    temperature_c: float | None = None
    humidity_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Of a plan for no certain time: how hot, and for how long."""

    temperature_c: float
    run_h: float


def plan_loose(
    library: Library, load: Loose | Desiccant, loose: LooseOven, goal: Goal, when: When
) -> Plan | Refused:
    """Without a database: all from a few figures; FieldError names one that is wrong."""
    oven = _loose_oven(loose)
    if isinstance(load, Desiccant):
        kind = library.desiccant(load.kind)
        return plan_regeneration(kind, load.charge, oven, loose.room, goal, when)
    return plan_drying([_loose_spool(library, load)], oven, loose.room, goal, when)


def plan_in_oven(
    queries: Queries,
    oven_key: str,
    load: tuple[str, ...] | Desiccant,
    goal: Goal,
    when: When,
    air: RoomWish | None = None,
) -> Plan | Refused:
    """Spools of the inventory, by key, or desiccant, in an oven of the inventory and its room's air as it is.

    A plan for an oven that its commissioning found unfit says so: no start of it is accepted (P07).
    """
    oven = _oven(queries, oven_key)
    if isinstance(load, Desiccant):
        kind = queries.library().desiccant(load.kind)
        room = room_air(queries, oven, air or RoomWish())
        return plan_regeneration(kind, load.charge, oven, room, goal, when)
    _check_keys(queries, load)
    room = room_air(queries, oven, air or RoomWish())
    plan = plan_drying(load_of(queries, load), oven, room, goal, when)
    unfit = _unfit(queries, oven_key, load)
    if unfit and isinstance(plan, Plan):
        caution = (
            f"{unfit} It will not be started in {oven.name}: take another oven, or a new commissioning run."
        )
        return replace(plan, cautions=(caution, *plan.cautions))
    return plan


def run_in_oven(
    queries: Queries, oven_key: str, load: tuple[str, ...], goal: Goal, when: When
) -> Run | Refused:
    """What the plan of these spools comes to, in a fraction of its time; raises as `plan_in_oven` does."""
    oven = _oven(queries, oven_key)
    _check_keys(queries, load)
    room = room_air(queries, oven, RoomWish())
    outcome = hottest_outcome(load_of(queries, load), oven, room, goal, when)
    if isinstance(outcome, Refused):
        return outcome
    return Run(temperature_c=outcome.temperature_c, run_h=timing_of(spread_of(outcome), when).run_h)


def _oven(queries: Queries, key: str) -> Oven:
    ovens = queries.ovens_as_learned()
    if key not in ovens:
        raise BadInputError(f"oven {key!r} is not in the inventory; it has: {_listed(ovens)}")
    return ovens[key]


def _unfit(queries: Queries, oven_key: str, keys: tuple[str, ...]) -> str:
    inventory = queries.inventory()
    load = load_items((inventory.spools[key] for key in keys), queries.library())
    return unfit_for(load, inventory.ovens[oven_key], queries.store.oven_facts())


def room_air(queries: Queries, oven: Oven, wish: RoomWish) -> RoomAir:
    """What the oven draws in: as wished, else as its room's sensor says now (D-12)."""
    temperature_c, humidity_pct = wish.temperature_c, wish.humidity_pct
    if temperature_c is None or humidity_pct is None:
        room = next((each for each in queries.status().rooms if each.key == oven.room), None)
        if room is None or room.air.stale or room.air.temperature_c is None or room.air.humidity_pct is None:
            name = oven.room if room is None else room.name
            raise RefusedError(
                f"the air of {name}, which {oven.name} draws in, is not measured just now: "
                "give it with --room-temperature and --room-rh"
            )
        temperature_c = room.air.temperature_c if temperature_c is None else temperature_c
        humidity_pct = room.air.humidity_pct if humidity_pct is None else humidity_pct
    return RoomAir(temperature_c=temperature_c, humidity_pct=humidity_pct)


def load_of(queries: Queries, keys: tuple[str, ...]) -> list[LoadSpool]:
    """The spools as the follower has them now."""
    queries.status()  # brings the follower up to now where no service does
    tracks = queries.followers.spools.tracks(round(1000.0 * queries.now_s()))
    for key in keys:
        if key not in tracks:
            raise RefusedError(f"the past of spool {key!r} is still being worked out: ask again in a minute")
    return [followed(tracks[key]) for key in keys]


def _check_keys(queries: Queries, keys: tuple[str, ...]) -> None:
    spools = queries.inventory().spools
    for number, key in enumerate(keys):
        if key not in spools:
            raise BadInputError(f"spool {key!r} is not in the inventory; it has: {_listed(spools)}")
        if key in keys[:number]:
            raise BadInputError(f"spool {key!r} is named twice")
    if not keys:
        raise BadInputError("no spool is named: add --spool KEY")


def _listed(items: dict[str, Spool] | dict[str, Oven]) -> str:
    keys = sorted(items)
    return ", ".join(keys[:8]) + (" …" if len(keys) > 8 else "") or "none"


def _loose_oven(loose: LooseOven) -> Oven:
    bounds = [
        ("oven-max", 60.0 if loose.max_c is None else loose.max_c, 20.0, 400.0),
        ("overshoot-c", loose.overshoot_c, 0.0, 100.0),
        ("sensor-error-c", loose.sensor_error_c, 0.0, 50.0),
    ]
    for name, value, lowest, highest in bounds:
        if not lowest <= value <= highest:
            raise FieldError(name, f"is {value:g}; allowed are {lowest:g} to {highest:g} °C")
    return Oven(
        key="oven",
        name="the oven",
        room="room",
        # Of an oven whose maximum nobody says the sensors' end holds, which limits every oven.
        max_c=SENSOR_BELIEVED_C if loose.max_c is None else loose.max_c,
        overshoot_c=loose.overshoot_c,
        sensor_error_c=loose.sensor_error_c,
    )


def _loose_spool(library: Library, load: Loose) -> LoadSpool:
    material, reel = library.material(load.material), library.reel(load.reel)
    saturated = 100.0 * material.content_saturated
    bounds = [
        ("diameter-mm", load.diameter_mm, 1.0, 4.0, "mm"),
        ("net-g", load.net_g, 10.0, 50_000.0, "g"),
        ("start-pct", load.start_pct or 0.0, 0.0, saturated, "%"),
    ]
    for name, value, lowest, highest, unit in bounds:
        if not lowest <= value <= highest:
            allowed = f"{lowest:g} to {highest:g} {unit}"
            raise FieldError(name, f"is {value:g}; for {material.short_name} allowed are {allowed}")
    spool = Spool(
        key="spool",
        name="the spool",
        material=load.material,
        diameter_mm=load.diameter_mm,
        net_g=load.net_g,
        reel=load.reel,
        flanges="open" if load.open_flanges else "closed",
        start_pct=load.start_pct,
    )
    return described(spool, material, reel)
