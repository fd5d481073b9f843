"""Commissioning of an oven on a page: prepare, run, read what it told, accept or take back (A-39, P07)."""

import secrets
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, Response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, RefusedError
from monitor.model.cycle import Problem
from monitor.model.oven_look import OvenLook
from monitor.model.oven_run import COMMISSIONING, RUN_S, OvenRun, RunKind
from monitor.model.people import Role
from monitor.oven.learning import Estimate, Findings
from monitor.oven.parameters import OvenParameters
from monitor.service.oven_commissioning import RunLook
from web.ovens.acts import Bench, desk_of, line, remembering, teller
from web.ovens.words import IS_ON, lasting
from web.present import Presenter
from web.sign_in.roles import needs
from web.sign_in.visitor import may

_SEE_OTHER = 303
_WIDE, _HIGH = 600.0, 180.0
PREPARE = (
    "Take everything out: spools, trays, paper. A run with a load comes later, if at all.",
    "A thermal cut-out with manual reset is fitted and confirmed; without one there is no run.",
    "Nothing that burns within 50 cm, the plug in a socket of its own, the room aired.",
    "It stands cold, with its door shut. Nobody opens it until the run is over and it has cooled.",
    "Somebody stays with it, for about an hour and a half, and knows how to stop it.",
)
TICKS = {
    "prepared": "Everything on this list is so",
    "stays": "I stay with it until it is cold",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One thing that a run told."""

    words: str
    value: str
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One run in words."""

    key: str
    when: str
    what: str
    ended: str
    problems: tuple[str, ...]
    verdict: str
    is_fit: bool
    figures: tuple[Figure, ...]
    fit: tuple[tuple[str, str], ...]
    unfit: tuple[tuple[str, str], ...]
    changes: tuple[tuple[str, str, str, str], ...]  # words, rules, before, after
    can_accept: bool
    is_accepted: bool
    path: str
    line_y: float
    tops: tuple[str, str]  # of the drawn scale: hottest, and how long it took


def add(pages: Blueprint, bench: Bench) -> None:
    """The page and what it changes."""

    @pages.get("/ovens/<key>/commissioning")
    def commissioning(key: str) -> str:
        return bench.page("commissioning", key)

    @pages.post("/ovens/<key>/commissioning")
    @needs(Role.DO)
    def commission(key: str) -> AnyResponse:
        desk = desk_of(bench.ovens)
        problems: tuple[Problem, ...] = ()
        said: tuple[str, ...] = ()
        try:
            who = teller()
            missing = [words for name, words in TICKS.items() if request.form.get(name) != "yes"]
            if missing:
                raise BadInputError(f"Not ticked: {'; '.join(missing)}.")
            kind, version = line("kind"), line("version")
            if kind not in set(RunKind) or not (
                version.isascii() and version.isdigit() and len(version) < 13
            ):
                raise BadInputError("The page is too old: open it anew.")
            now_s = bench.queries.now_s()
            problems = desk.commissioning.start(key, RunKind(kind), line("order"), int(version), who, now_s)
        except (BadInputError, RefusedError) as error:
            said = (str(error),)
        if said or problems:
            return Response(bench.page("commissioning", key, problems=problems, said=said), status=409)
        return remembering(redirect(url_for(".commissioning", key=key), _SEE_OTHER), who)

    @pages.post("/ovens/<key>/commissioning/accept")
    @needs(Role.OWNER)
    def accept_run(key: str) -> AnyResponse:
        return _settled(bench, key, is_accepting=True)

    @pages.post("/ovens/<key>/commissioning/take-back")
    @needs(Role.OWNER)
    def take_back_run(key: str) -> AnyResponse:
        return _settled(bench, key, is_accepting=False)


def _settled(bench: Bench, key: str, *, is_accepting: bool) -> AnyResponse:
    desk = desk_of(bench.ovens)
    try:
        who = teller()
        if is_accepting:
            desk.commissioning.accept(key, line("run"), who)
        else:
            desk.commissioning.take_back(key, who)
    except (BadInputError, RefusedError) as error:
        return Response(bench.page("commissioning", key, said=(str(error),)), status=409)
    return remembering(redirect(url_for(".commissioning", key=key, done="yes"), _SEE_OTHER), who)


def sheet(bench: Bench, look: OvenLook) -> dict[str, Any]:
    """What the template shows; nothing but its name where nobody minds the ovens."""
    if bench.ovens.desk is None:
        return {"known": None}
    known, present = bench.ovens.desk.commissioning.look(look.key), bench.present
    is_hot_yet = look.phase in IS_ON or look.phase == "cooling"
    running = is_hot_yet and look.cycle is not None and COMMISSIONING in {i.key for i in look.cycle.load}
    return {
        "known": known,
        "prepare": PREPARE,
        "ticks": TICKS,
        "kinds": (
            (str(RunKind.EMPTY), "Empty: do this one first"),
            (str(RunKind.LOADED), "With a load: what lies in it by the inventory"),
        ),
        "inside": ", ".join(known.inside),
        "order": secrets.token_hex(16),
        "is_running": running,
        "is_free": not is_hot_yet and look.trip is None,
        "button": f"Start heat: {known.setpoint_c:g} °C for {lasting(RUN_S)}",
        "runs": tuple(_shown(each, known.before, present) for each in known.runs),
        "accepted": tuple(
            (
                present.clock(fact.at_s, "%d %b %Y %H:%M"),
                fact.who,
                "accepted a run" if fact.value else "took it back",
            )
            for fact in known.accepted
        ),
        "is_accepted": known.told.accepted is not None,
        "can_settle": bench.changes is not None and may(Role.OWNER),
        "is_done": "done" in request.args,
    }


def _shown(each: RunLook, before: OvenParameters, present: Presenter) -> Shown:
    run, found = each.run, each.found
    path, line_y, tops = _drawn(run)
    fit = tuple((f.name, f.why) for f in each.fits if f.is_fit)
    unfit = tuple((f.name, f.why) for f in each.fits if not f.is_fit)
    load = "empty" if run.kind is RunKind.EMPTY else f"with {run.spools} spool{'s' if run.spools > 1 else ''}"
    return Shown(
        key=run.run,
        when=present.clock(run.at_s, "%d %b %Y %H:%M"),
        what=f"{run.setpoint_c:g} °C, {load}, by {run.who}",
        ended=run.why
        or ("It runs, or it was cut off by a restart of this program." if run.ending is None else ""),
        problems=found.problems,
        verdict=_verdict(each, unfit, fit),
        is_fit=each.learned is not None and not each.unfit and not unfit,
        figures=_figures(found),
        fit=() if each.unfit else fit,
        unfit=() if each.unfit else unfit,
        changes=_changes(before, each.after) if each.learned is not None else (),
        can_accept=each.learned is not None and each.is_of_this_oven and not each.is_accepted,
        is_accepted=each.is_accepted,
        path=path,
        line_y=line_y,
        tops=tops,
    )


def _verdict(each: RunLook, unfit: tuple[tuple[str, str], ...], fit: tuple[tuple[str, str], ...]) -> str:
    if each.run.ending is None:
        return "Not finished."
    if each.learned is None:
        return "Run it again: this one tells too little."
    if each.unfit:
        return f"Unfit for drying. {each.unfit}"
    if not unfit:
        return "Fit for every material of the catalogue."
    if not fit:
        return "Unfit for every material of the catalogue."
    return f"Fit for {len(fit)} materials, unfit for {len(unfit)}."


def _figures(found: Findings) -> tuple[Figure, ...]:
    rows: tuple[tuple[str, Estimate, float, str], ...] = (
        ("Went over its set-point by", found.overshoot_c, 1.0, "°C"),
        ("Swing while held, peak to peak", found.swing_c, 1.0, "°C"),
        ("Sensors apart", found.disagree_c, 1.0, "°C"),
        ("First rise after", found.dead_time_s, 1.0, "s"),
        ("At its temperature after", found.reach_s, 1.0 / 60.0, "min"),
        ("Fastest warming of the air", found.fastest_c_s, 60.0, "°C a minute"),
        ("Whole chamber at full power", found.rate_c_s, 60.0, "°C a minute"),
        ("Time constant", found.time_constant_s, 1.0 / 60.0, "min"),
        ("Still rose after heat off for", found.lag_s, 1.0, "s"),
        ("Duty while held", found.duty, 100.0, "%"),
        ("Power while held", found.power_w, 1.0, "W"),
        ("Energy while held", found.power_w, 0.001, "kWh an hour"),
        ("Cold again after", found.cool_s, 1.0 / 60.0, "min"),
    )
    return tuple(
        Figure(
            words=words,
            value="not known" if each.value is None else f"{_rounded(each.value * factor)} {unit}",
            sure="" if each.is_sure else each.why,
        )
        for words, each, factor, unit in rows
    )


def _rounded(value: float) -> str:
    """As far as such a run can tell."""
    if abs(value) >= 20.0:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 1.0 or value == 0.0 else f"{value:.2f}"


def _changes(before: OvenParameters, after: OvenParameters) -> tuple[tuple[str, str, str, str], ...]:
    rows = (
        ("Overshoot that is allowed for", "B-14, R13", "overshoot_c", 1.0, "°C"),
        ("Guard below every limit", "B-14, R8", "guard_c", 1.0, "°C"),
        ("Whole chamber at full power, loaded", "R4, R5, R11", "full_duty_rate_c_s", 60.0, "°C a minute"),
        ("Time constant, loaded", "R4, R11", "time_constant_s", 1.0 / 60.0, "min"),
        ("Fastest warming", "R7", "fastest_rate_c_s", 60.0, "°C a minute"),
        ("Lag after heat off", "R6", "thermal_lag_s", 1.0, "s"),
        ("Sensors may lie apart by", "R10", "spread_c", 1.0, "°C"),
    )
    return tuple(
        (
            words,
            rules,
            f"{_rounded(getattr(before, name) * factor)} {unit}",
            f"{_rounded(getattr(after, name) * factor)} {unit}",
        )
        for words, rules, name, factor, unit in rows
    )


def _drawn(run: OvenRun) -> tuple[str, float, tuple[str, str]]:
    """The hottest reading over time as a path, the height of the set-point, and the ends of both scales."""
    heats = [(p.at_s, p.hottest_c) for p in run.trace if p.hottest_c is not None]
    if len(heats) < 2:
        return "", 0.0, ("", "")
    known = [(at_s, heat) for at_s, heat in heats if heat is not None]
    last_s = max(known[-1][0], 1.0)
    top_c = max(*(heat for _, heat in known), run.setpoint_c) + 2.0
    low_c = min(heat for _, heat in known) - 2.0

    def y(heat_c: float) -> float:
        return round(_HIGH * (top_c - heat_c) / (top_c - low_c), 1)

    step = max(len(known) // 300, 1)
    points = [f"{_WIDE * at_s / last_s:.1f},{y(heat)}" for at_s, heat in known[::step]]
    hottest_c = max(heat for _, heat in known)
    return "M" + " L".join(points), y(run.setpoint_c), (f"{hottest_c:.1f} °C at most", lasting(last_s))
