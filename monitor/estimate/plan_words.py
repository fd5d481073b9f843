"""What a plan says to people: cautions, what lowers a floor, why this temperature."""

from collections.abc import Sequence

from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.plan_limits import least_useful_c
from monitor.estimate.plan_outcome import Leads, Outcome
from monitor.model.catalogue import Confidence, Material
from monitor.model.inventory import Oven
from monitor.model.plan import LimitedBy, RoomAir
from monitor.physics.drying import attainable_floor, chamber_humidity
from monitor.physics.isotherm import curve_humidity, polymer_curve
from monitor.physics.psychrometrics import saturation_pressure_pa

CLASS_A = (
    "Software here is class A: it lowers risk; the oven's own thermal cut-out is what makes it safe."
    " Where no cut-out is confirmed, run it only while somebody is there."
)
FOOD = "An oven that has dried plastic is never used for food again."
_BURN_C = 55.0
# B-11: what an oven without an arming input of its own may do; R15: how long one cycle may be.
_UNARMED_C, _UNARMED_H = 60.0, 8.0
LONGEST_CYCLE_H = 48.0
# Ageing by heat is not measured per spool anywhere: so many dryings, or so many times the usual drying time,
# are taken as enough; half of it for polymers whose chains water breaks in the heat (an assumption).
_MOST_DRYINGS, _MOST_TIMES_USUAL = 8, 10.0


def safety_cautions(oven: Oven, temperature_c: float, run_h: float) -> list[str]:
    """What holds for every heated load."""
    said = [CLASS_A]
    if oven.cutout_c is None:
        said.append(f"No thermal cut-out is entered for {oven.name}: attended use only.")
    elif oven.cutout_tested_s is None:
        said.append(
            f"The thermal cut-out of {oven.name} was never entered as tested: attended use only until it is."
        )
    if run_h > 2.0:
        said.append(
            "Leaving it for more than two hours, or overnight, counts as unattended: only with a tested "
            "cut-out, "
            "a smoke detector in the room, nothing that burns within half a metre, and a wall socket of its "
            "own."
        )
    if temperature_c > _UNARMED_C or run_h > _UNARMED_H:
        said.append(
            f"An oven that is not armed by hand at the oven may run no hotter than {_UNARMED_C:g} °C and no "
            f"longer than {_UNARMED_H:g} h."
        )
    if run_h > LONGEST_CYCLE_H:
        said.append(
            f"No cycle is longer than {LONGEST_CYCLE_H:g} h: this takes more than one, each started and "
            f"confirmed "
            "anew."
        )
    if temperature_c > _BURN_C:
        said.append(f"At {temperature_c:g} °C chamber and door burn: let it cool below {_BURN_C:g} °C first.")
    return said


def load_cautions(load: Sequence[LoadSpool]) -> list[str]:
    """Of what is inside."""
    said = []
    for material in _different(load):
        said.append(f"Air the room while {material.short_name} dries. {material.fumes}")
        if material.confidence is Confidence.LOW:
            said.append(f"Little is published on {material.short_name}: take its figures as a rough guide.")
        if material.ruined_content is not None:
            said.append(
                f"{material.short_name} is soft while warm: let it cool to room temperature before it is fed."
            )
    return [*said, FOOD, "The maker's data sheet goes before these figures."]


def ageing_cautions(each: LoadSpool, run_h: float) -> list[str]:
    """D-06: heat adds up over a spool's life."""
    material, name = each.body.material, each.body.spool.name
    part = 0.5 if material.is_excess_permanent else 1.0
    most_h = part * _MOST_TIMES_USUAL * material.dry_s / 3600.0
    if each.dryings < part * _MOST_DRYINGS and each.hot_h + run_h < most_h:
        return []
    what = "its chains break and it snaps" if material.is_excess_permanent else "it yellows and turns brittle"
    return [
        f"With this {name} has been dried {each.dryings + 1} times and hot for {each.hot_h + run_h:.3g} h in "
        f"all. "
        f"Heat ages {material.short_name}: {what}, and no drying repairs that. Keep it dry rather than dry "
        f"it again."
    ]


def floor_cautions(outcome: Outcome, number: int, load: Sequence[LoadSpool], room: RoomAir) -> list[str]:
    """Why the target is not reached, and what would lower the floor (D-12)."""
    aim, each = outcome.aims[number], load[number]
    if aim.leads not in (Leads.LOOSER, Leads.FLOOR):
        return []
    name, floor = each.body.spool.name, float(outcome.floors[number, 0])
    said = [
        f"{name} cannot get below {_pct(floor)} today: room air of {room.humidity_pct:.0f} %RH at "
        f"{room.temperature_c:.0f} °C, heated to {outcome.temperature_c:g} °C, holds that much water in it "
        f"however "
        f"long it takes; asked was {_pct(aim.target)}."
    ]
    if aim.leads is Leads.LOOSER:
        said.append(
            f"The time is until {name} is below {_pct(aim.content)}, from where on prints look right."
        )
    else:
        said.append(
            f"The time is until {name} is within a tenth of that floor: longer gains next to nothing."
        )
    return said + _remedies(each, outcome.temperature_c, room, aim.target)


def temperature_words(
    limited: LimitedBy, guard: float, setpoint_c: float, usual: Material | None, is_eased: bool
) -> str:
    """Why this temperature."""
    said = f"{limited.item} stands {limited.limit_c:g} °C; less a guard of {guard:g} °C"
    hottest = limited.limit_c - guard
    if is_eased:
        return f"{said} it may be {hottest:g} °C, but {setpoint_c:g} °C is in time, too, and ages less."
    if setpoint_c < hottest and usual is not None:
        return (
            f"{said} it may be {hottest:g} °C, but {usual.short_name} is usually dried at {setpoint_c:g} °C."
        )
    return f"{said} that leaves {setpoint_c:g} °C."


def useless_words(limited: LimitedBy, guard: float, setpoint_c: float, room_c: float) -> str:
    """Why nothing is gained at that temperature."""
    return (
        f"{limited.item} stands {limited.limit_c:g} °C; less a guard of {guard:g} °C for overshoot and "
        f"sensor error "
        f"that leaves {setpoint_c:g} °C, and below {least_useful_c(room_c):g} °C an oven does not dry. "
        "An oven that holds its temperature more closely, or a reel that stands more, would help."
    )


def _remedies(each: LoadSpool, temperature_c: float, room: RoomAir, target: float) -> list[str]:
    material, room_c = each.body.material, room.temperature_c
    chamber = float(curve_humidity(polymer_curve(material.isotherm), target))
    outside = chamber * saturation_pressure_pa(temperature_c) / saturation_pressure_pa(room_c)
    said = [
        "What would help: dry desiccant in a closed chamber, or a dryer that dries its air, to hold it below "
        f"{100.0 * chamber:.2g} %RH; or a day on which the room's air at {room_c:.0f} °C is below "
        f"{100.0 * outside:.2g} %RH."
    ]
    if temperature_c < material.dry_c:
        hot = chamber_humidity(room_c, room.humidity_pct / 100.0, material.dry_c)
        least = float(attainable_floor(material, float(hot)))
        said.append(
            f"With a reel and an oven that allow {material.dry_c:g} °C, {_pct(least)} could be reached."
        )
    return said


def _different(load: Sequence[LoadSpool]) -> list[Material]:
    return list({each.body.material.key: each.body.material for each in load}.values())


def _pct(content: float) -> str:
    return f"{100.0 * content:.2g} %"
