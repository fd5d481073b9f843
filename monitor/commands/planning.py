"""The command `plan`: a drying plan, for people or as JSON."""

import argparse
import datetime as dt
import zoneinfo

from monitor.commands.common import DONE, FINDING, bare_queries, existing_database, made_database, print_json
from monitor.edge.clock import SystemClock
from monitor.errors import BadInputError, RefusedError
from monitor.library.own_figures import site_library
from monitor.model.answers import Spread, plain
from monitor.model.plan import Goal, Plan, Refused, Regeneration, RoomAir, SpoolPlan, When
from monitor.service.planning import Desiccant, Loose, LooseOven, RoomWish, plan_in_oven, plan_loose
from monitor.settings import Settings
from monitor.store.files import is_served

_LOOSE = (
    "material",
    "net_g",
    "diameter_mm",
    "start_pct",
    "reel",
    "oven_max",
    "overshoot_c",
    "sensor_error_c",
)
_CHARGE = ("dry_g", "loading_pct")


def plan(options: argparse.Namespace, settings: Settings) -> int:
    """How hot, how long and how far down a load is dried; exit 1 where there is no plan for it."""
    _check(options)
    answer = _from_database(options, settings) if options.oven else _from_figures(options, settings)
    if options.json:
        print_json(plain(answer))
        return FINDING if isinstance(answer, Refused) else DONE
    if isinstance(answer, Refused):
        raise RefusedError(f"{answer.refused.title}: {answer.refused.detail}")
    zone = zoneinfo.ZoneInfo(settings.zone)
    for label, text in _rows(answer, zone):
        print(f"  {label:<15} {text}".replace("°C", "degC"))
    return DONE


def _check(options: argparse.Namespace) -> None:
    """Which options go together."""
    if options.oven:
        _refuse(options, _LOOSE, "goes without --oven: the inventory says what the spool and the oven are")
        if bool(options.spool) == bool(options.desiccant):
            raise BadInputError("--oven needs either --spool KEY or --desiccant KEY beside it")
    elif options.spool:
        raise BadInputError("--spool needs --oven KEY: the oven of the inventory that it goes into")
    elif bool(options.material) == bool(options.desiccant):
        raise BadInputError("plan needs --oven KEY with --spool KEY, or --material KEY, or --desiccant KEY")
    if options.desiccant:
        _refuse(options, (*_LOOSE[1:5], "first_m"), "does not go with --desiccant")
        if options.dry_g is None:
            raise BadInputError("--desiccant needs --dry-g: its mass when dry, in grams")
    else:
        _refuse(options, _CHARGE, "goes with --desiccant only")


def _refuse(options: argparse.Namespace, names: tuple[str, ...], why: str) -> None:
    for name in names:
        if getattr(options, name) is not None:
            raise BadInputError(f"--{name.replace('_', '-')} {why}")


def _from_database(options: argparse.Namespace, settings: Settings) -> Plan | Refused:
    path = existing_database(settings)
    made_database(path, settings) if not is_served(path) else None
    queries = bare_queries(path, settings, SystemClock().wall_s)
    return plan_in_oven(
        queries,
        options.oven,
        _desiccant(options) if options.desiccant else tuple(options.spool),
        _goal(options),
        When(now_s=queries.now_s(), ready_by_s=_ready_by_s(options, settings)),
        RoomWish(temperature_c=options.room_temperature, humidity_pct=options.room_rh),
    )


def _from_figures(options: argparse.Namespace, settings: Settings) -> Plan | Refused:
    oven, usual = LooseOven(), Loose(material=options.material or "")
    return plan_loose(
        site_library(settings.own_figures(), ()),
        _desiccant(options)
        if options.desiccant
        else Loose(
            material=options.material,
            net_g=_or(options.net_g, usual.net_g),
            diameter_mm=_or(options.diameter_mm, usual.diameter_mm),
            start_pct=options.start_pct,
            reel=options.reel or usual.reel,
        ),
        LooseOven(
            max_c=options.oven_max,
            overshoot_c=_or(options.overshoot_c, oven.overshoot_c),
            sensor_error_c=_or(options.sensor_error_c, oven.sensor_error_c),
            room=RoomAir(
                temperature_c=_or(options.room_temperature, oven.room.temperature_c),
                humidity_pct=_or(options.room_rh, oven.room.humidity_pct),
            ),
        ),
        _goal(options),
        When(now_s=SystemClock().wall_s(), ready_by_s=_ready_by_s(options, settings)),
    )


def _or(value: float | None, usual: float) -> float:
    return usual if value is None else value


def _desiccant(options: argparse.Namespace) -> Desiccant:
    charge = Regeneration(dry_g=options.dry_g, loading_pct=options.loading_pct)
    return Desiccant(kind=options.desiccant, charge=charge)


def _goal(options: argparse.Namespace) -> Goal:
    return Goal(target_pct=options.target_pct, first_m=options.first_m)


def _ready_by_s(options: argparse.Namespace, settings: Settings) -> float | None:
    """A time without zone is the site's own."""
    if options.ready_by is None:
        return None
    try:
        moment = dt.datetime.fromisoformat(options.ready_by)
    except ValueError:
        raise BadInputError(f"--ready-by {options.ready_by!r} is no time such as 2026-01-31T18:00") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zoneinfo.ZoneInfo(settings.zone))
    return moment.timestamp()


def _rows(answer: Plan, zone: zoneinfo.ZoneInfo) -> list[tuple[str, str]]:
    reached = "reached" if answer.reaches_target else f"not reached: {answer.reaches_target_why}"
    energy = answer.energy_wh_why if answer.energy_wh is None else f"about {answer.energy_wh:g} Wh"
    hold = answer.hold.temperature_c
    return [
        ("temperature", f"{answer.temperature_c:g} °C: {answer.temperature_why}"),
        ("by", answer.limited_by.source),
        ("takes", f"{_range(answer.duration_h)} h; set {answer.run_h:g} h, then {answer.cool_h:g} h to cool"),
        ("start", f"{_local(answer.start_at, zone)}, cool at {_local(answer.finish_at, zone)}"),
        ("target", f"{answer.target_pct:g} %, {reached}"),
        ("floor", f"{answer.floor_pct:g} % in this air, however long"),
        *((each.name, _spool(each)) for each in answer.spools),
        ("energy", f"{energy}. {answer.energy_basis}"),
        ("afterwards", answer.hold.why if hold is None else f"hold at {hold:g} °C: {answer.hold.why}"),
        *(("or", f"{o.temperature_c:g} °C for {_range(o.duration_h)} h. {o.why}") for o in answer.fall_backs),
        *(("mind", text) for text in answer.cautions),
    ]


def _spool(each: SpoolPlan) -> str:
    return (
        f"{_range(each.start_pct)} % now, {each.leads_to_pct:g} % after {_range(each.duration_h)} h, "
        f"{_range(each.water_g)} g of water; in the room over its limit again after {_range(each.rewet_h)} h"
    )


def _local(moment: str, zone: zoneinfo.ZoneInfo) -> str:
    return dt.datetime.fromisoformat(moment).astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _range(spread: Spread) -> str:
    if spread.p50 is None or spread.p10 is None:
        return f"not known ({spread.why})"
    if spread.p90 is None:
        return f"{spread.p50:g} ({spread.p10:g} or more)"
    if spread.p10 == spread.p50 == spread.p90:
        return f"{spread.p50:g}"
    return f"{spread.p50:g} ({spread.p10:g} to {spread.p90:g})"
