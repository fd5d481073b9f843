"""What is shown before heat and confirmed with one press (B-10), and whether it is still so later."""

import math
import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import BadSettingsError, FieldError
from monitor.library import Library
from monitor.model.inventory import Inventory, Oven
from monitor.model.oven_look import OvenLook, StartWish
from monitor.model.plan import Plan
from monitor.oven import hard
from monitor.oven.load_limit import Bound, allowed
from monitor.oven.parameters import parameters_of
from monitor.service.queries import Queries
from web.ovens.choose import Asked
from web.ovens.words import arming, can_resume, lasting, unattended_missing
from web.present import Presenter
from web.spools.words import short_name

_STEP_S = 300.0
_DRIFT_S = 600.0  # a spool goes on taking up water while its plan is read
_DRIFT_SHARE = 0.03
SHOWN_MOST_S = 1800.0
_TEXT_MAX = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """The confirm section: every line of B-10, and the wish that is these lines in numbers."""

    wish: StartWish
    materials: str
    temperature: str
    duration: str
    ends: str
    limit: str
    mode: str
    missing: tuple[str, ...]  # for unattended use
    arming: str
    is_ready: bool  # armed, or nothing to arm
    less: tuple[str, ...]  # where it is less than the plan asks for
    button: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What an offer stands on."""

    look: OvenLook
    oven: Oven
    inventory: Inventory
    library: Library
    plan: Plan
    asked: Asked
    now_s: float


def ground(queries: Queries, look: OvenLook, plan: Plan, asked: Asked, now_s: float) -> Ground:
    """For an oven of the inventory."""
    inventory = queries.inventory()
    return Ground(
        look=look,
        oven=queries.ovens_as_learned()[look.key],
        inventory=inventory,
        library=queries.library(),
        plan=plan,
        asked=asked,
        now_s=now_s,
    )


def offer(ground: Ground, present: Presenter) -> Offer:
    """The offer as of now; its order id is new, so each page is good for one start."""
    look, asked, now_s = ground.look, ground.asked, ground.now_s
    setpoint_c, duration_s, less = _amounts(ground)
    missing = unattended_missing(look, now_s)
    is_unattended = not missing and asked.people != "stay"
    limited_by, limit_words = _limit(ground)
    wish = StartWish(
        order=secrets.token_hex(16),
        version=look.version,
        load=asked.spools or (asked.desiccant,),
        setpoint_c=setpoint_c,
        duration_s=duration_s,
        limited_by=limited_by,
        unattended=is_unattended,
        shown_s=round(now_s, 3),
        target_pct=asked.target_pct,
    )
    is_resuming = bool(asked.resume)
    return Offer(
        wish=wish,
        materials=_materials(ground),
        temperature=f"{setpoint_c:g} °C",
        duration=lasting(duration_s),
        ends=present.clock(now_s + duration_s, "%a %d %b %H:%M"),
        limit=limit_words,
        mode="Unattended" if is_unattended else "Attended: somebody stays with it",
        missing=missing,
        arming=arming(look),
        is_ready=look.armed_s is None or look.armed_s > 0.0 or is_resuming,
        less=less,
        button=f"Start heat: {setpoint_c:g} °C for {lasting(duration_s)}",
    )


def _amounts(ground: Ground) -> tuple[float, float, tuple[str, ...]]:
    """How hot and how long: the plan's, or less, and then it is said why."""
    plan, asked = ground.plan, ground.asked
    caps_c = [(plan.temperature_c, ""), *_caps_c(ground)]
    setpoint_c, why_c = min(caps_c, key=lambda cap: cap[0])
    is_cooler = setpoint_c < plan.temperature_c
    if asked.hours is not None and 60.0 * asked.hours > 60.0 * plan.run_h + 10.0 and not is_cooler:
        raise FieldError("hours", f"is {asked.hours:g} h; {plan.run_h:.1f} h is all that the plan needs")
    run_s = _STEP_S * math.ceil(3600.0 * plan.run_h / _STEP_S - 1e-6)
    caps_s = [(run_s if asked.hours is None else 3600.0 * asked.hours, ""), *_caps_s(ground)]
    duration_s, why_s = min(caps_s, key=lambda cap: cap[0])
    less = [why for why in (why_c, why_s) if why]
    if is_cooler:
        less.append(f"Cooler than the plan's {plan.temperature_c:g} °C, it takes longer than told above.")
    if duration_s < run_s:
        less.append(f"The plan needs {lasting(run_s)}: after {lasting(duration_s)} it will not be done.")
    return setpoint_c, duration_s, tuple(less)


def _caps_c(ground: Ground) -> list[tuple[float, str]]:
    caps: list[tuple[float, str]] = []
    bound = _bound(ground)
    if bound is not None:
        why = f"{bound.limited_by} stands {bound.limit_c:g} °C: {bound.setpoint_c:g} °C is the most (B-14)."
        caps.append((bound.setpoint_c, why))
    if ground.look.armed_s is None:
        why = f"Without a button to arm it at the oven {hard.MAX_UNARMED_C:g} °C is the most (B-11)."
        caps.append((hard.MAX_UNARMED_C, why))
    if ground.asked.at_c is not None:
        if ground.asked.at_c > ground.plan.temperature_c:
            most = f"{ground.plan.temperature_c:g} °C is the most: {ground.plan.limited_by.item} limits it"
            raise FieldError("at_c", f"is {ground.asked.at_c:g} °C; {most}")
        caps.append((ground.asked.at_c, ""))
    ended = ground.look.ended
    if _is_resuming(ground) and ended is not None:
        caps.append((ended.setpoint_c, ""))
    return caps


def _caps_s(ground: Ground) -> list[tuple[float, str]]:
    longest_s = _longest_s(ground)
    caps = [(longest_s, f"No cycle is longer than {lasting(longest_s)} (B-15).")]
    if ground.look.armed_s is None:
        why = f"Without a button to arm it at the oven {lasting(hard.MAX_UNARMED_S)} is the most (B-11)."
        caps.append((hard.MAX_UNARMED_S, why))
    ended = ground.look.ended
    if _is_resuming(ground) and ended is not None and ended.ran_s is not None:
        caps.append((max(60.0, ended.duration_s - ended.ran_s), "What was left of the interrupted cycle."))
    return caps


def _longest_s(ground: Ground) -> float:
    """What the supervision will hold the duration against."""
    try:
        return min(hard.MAX_DURATION_S, parameters_of(ground.oven).longest_s)
    except BadSettingsError:
        return hard.MAX_DURATION_S


def _is_resuming(ground: Ground) -> bool:
    if not ground.asked.resume:
        return False
    ended = ground.look.ended
    if ended is None or ended.cycle != ground.asked.resume or not can_resume(ground.look, ground.now_s):
        raise FieldError("resume", "can no longer be gone on with: plan it anew")
    return True


def _bound(ground: Ground) -> Bound | None:
    """What the supervision will hold the start against; None for what the inventory does not place."""
    if not ground.look.load:
        return None
    try:
        return allowed(ground.look.load, parameters_of(ground.oven))
    except BadSettingsError:
        return None


def _limit(ground: Ground) -> tuple[str, str]:
    """The limiting item by the name that the supervision knows it by, and the basis in words."""
    limited, bound = ground.plan.limited_by, _bound(ground)
    words = (
        f"{limited.item} stands {limited.limit_c:g} °C ({limited.source}), less {ground.plan.guard_c:g} °C"
    )
    if bound is None:
        return limited.item, words
    return bound.limited_by, f"{words}. Held at the oven: {bound.limited_by}, {bound.limit_c:g} °C."


def _materials(ground: Ground) -> str:
    if ground.asked.desiccant:
        return ground.library.desiccant(ground.asked.desiccant).name
    spools = [ground.inventory.spools[key] for key in ground.asked.spools]
    return ", ".join(f"{spool.name} ({short_name(ground.library, spool.material)})" for spool in spools)


def sent(form: Mapping[str, str], asked: Asked) -> StartWish:
    """The wish that a form brings back, not yet believed."""
    return StartWish(
        order=_text(form, "order"),
        version=int(_figure(form, "version")),
        load=asked.spools or (asked.desiccant,),
        setpoint_c=_figure(form, "setpoint_c"),
        duration_s=_figure(form, "duration_s"),
        limited_by=_text(form, "limited_by"),
        unattended=form.get("unattended") == "yes",
        shown_s=_figure(form, "shown_s"),
        target_pct=asked.target_pct,
    )


def changed(shown: StartWish, now: StartWish, now_s: float) -> tuple[str, ...]:
    """What is no longer as it was shown; empty = it may be asked for, exactly as shown."""
    said = []
    if not 0.0 <= now_s - shown.shown_s <= SHOWN_MOST_S:
        said.append("The page is too old.")
    if shown.setpoint_c != now.setpoint_c:
        said.append(f"The temperature is {now.setpoint_c:g} °C now; {shown.setpoint_c:g} °C was sent.")
    if abs(shown.duration_s - now.duration_s) > max(_DRIFT_S, _DRIFT_SHARE * now.duration_s):
        said.append(f"It takes {lasting(now.duration_s)} now; {lasting(shown.duration_s)} was sent.")
    if shown.limited_by != now.limited_by:
        said.append(f"What limits it is {now.limited_by} now; {shown.limited_by[:80]} was sent.")
    if shown.unattended and not now.unattended:
        said.append("It may not be left alone now.")
    return tuple(said)


def _text(form: Mapping[str, str], name: str) -> str:
    text = form.get(name, "")
    if not 1 <= len(text) <= _TEXT_MAX or not text.isprintable():
        raise FieldError(name, "is missing or is no line of text: open the plan anew")
    return text


def _figure(form: Mapping[str, str], name: str) -> float:
    try:
        value = float(form.get(name, ""))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and abs(value) < 1e12):
        raise FieldError(name, "is missing or is no number: open the plan anew")
    return value
