"""A drying plan, or its refusal, in finished words."""

from dataclasses import dataclass

from monitor.library import Library
from monitor.model.answers import Spread
from monitor.model.plan import FallBack, Plan, Refusal, SpoolPlan
from web.inside import content
from web.ovens.words import B51
from web.present import Presenter, seconds
from web.spools.words import short_name

# Said elsewhere on the page: beside the button, word for word; by material; and of food.
_SAID = (B51.partition(";")[0], "Air the room while", "An oven that has dried plastic")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One spool of the load (P09)."""

    name: str
    material: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The plan's page."""

    headline: str
    is_short: bool  # it does not get there, or not in time
    facts: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    cautions: tuple[str, ...]
    others: tuple[tuple[str, float, float | None], ...]  # words, temperature, hours


@dataclass(frozen=True, slots=True, kw_only=True)
class NoPlan:
    """Why there is none, and what limits it."""

    title: str
    detail: str
    limit: str


def told(plan: Plan, library: Library, present: Presenter) -> Told:
    """The plan."""
    return Told(
        headline=_headline(plan),
        is_short=not plan.reaches_target or plan.is_in_time is False,
        facts=_facts(plan, present),
        parts=tuple(_part(each, library) for each in plan.spools),
        cautions=tuple(line for line in plan.cautions if not line.startswith(_SAID)),
        others=tuple(_other(each, present) for each in plan.fall_backs),
    )


def _other(each: FallBack, present: Presenter) -> tuple[str, float, float | None]:
    cool = _clock(each.finish_at, present)
    said = f"{each.temperature_c:g} °C for {hours(each.duration_h)}, cool by {cool}: {each.why}"
    return said, each.temperature_c, each.duration_h.p90


def no_plan(refusal: Refusal) -> NoPlan:
    """A refused plan says which item limits it (B-14)."""
    limit = ""
    if refusal.limiting_item is not None:
        stands = "" if refusal.limit_c is None else f": it stands {refusal.limit_c:g} °C"
        limit = f"What limits it: {refusal.limiting_item}{stands}."
    return NoPlan(title=refusal.title, detail=refusal.detail, limit=limit)


def hours(spread: Spread) -> str:
    """'about 5.4 h (4.1 to 7.9)'."""
    if spread.p50 is None:
        return spread.why or "a time not known"
    if spread.p10 is None or spread.p90 is None:
        return f"about {spread.p50:.1f} h, open upwards"
    return f"about {spread.p50:.1f} h ({spread.p10:.1f} to {spread.p90:.1f})"


def _headline(plan: Plan) -> str:
    said = f"{plan.temperature_c:g} °C for {hours(plan.duration_h)}"
    if not plan.reaches_target:
        return f"{said}, and not down to the target."
    return f"{said}: too late." if plan.is_in_time is False else f"{said}."


def _facts(plan: Plan, present: Presenter) -> tuple[tuple[str, str], ...]:
    limited = plan.limited_by
    energy = plan.energy_wh_why or "not known"
    if plan.energy_wh is not None:
        energy = f"about {plan.energy_wh:.0f} Wh ({plan.energy_basis})"
    facts = [
        ("Temperature", plan.temperature_why),
        ("Limited by", f"{limited.item}: {limited.limit_c:g} °C. Source: {limited.source}"),
        ("Guard", f"{plan.guard_c:g} °C for overshoot and the sensors' error"),
        ("Ready, cool", f"{_clock(plan.finish_at, present)}, of which {plan.cool_h:.1f} h cooling"),
        ("Lowest it can get", f"{content(plan.floor_pct)} % in this room's air, heated"),
        ("Target", _target(plan)),
        ("Energy", energy),
        ("Afterwards", plan.hold.why),
    ]
    return tuple((name, words) for name, words in facts if words)


def _target(plan: Plan) -> str:
    reached = (
        "reached" if plan.reaches_target else f"not reached: {plan.reaches_target_why or 'too wet an air'}"
    )
    return f"{content(plan.target_pct)} %, {reached}"


def _part(each: SpoolPlan, library: Library) -> Part:
    done = f"done after {hours(each.duration_h)}"
    if not each.reaches_target:
        least, target = content(each.leads_to_pct), content(each.target_pct)
        done = f"gets to {least} % after {hours(each.duration_h)}, not to {target} %"
    rewet = f"; afterwards good for {hours(each.rewet_h)} in the room" if each.rewet_h.p50 is not None else ""
    return Part(name=each.name, material=short_name(library, each.material), words=f"{done}{rewet}")


def _clock(rfc3339: str, present: Presenter) -> str:
    at_s = seconds(rfc3339)
    return "a time not known" if at_s is None else present.clock(at_s, "%a %d %b %H:%M")
