"""What people do to ovens on the pages: stop, start, extend, reset, tick off, put in and take out."""

from collections.abc import Callable
from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.cycle import Problem
from monitor.model.oven_look import StartWish
from monitor.model.people import Role
from monitor.model.plan import Refused
from monitor.model.spool_event import Moved, SpoolEvent
from monitor.service.changes import Changes
from monitor.service.planned_starts import PlannedStarts
from monitor.service.queries import Queries
from web.entry import TEXT_MAX
from web.ovens import choose, confirm, planned
from web.ovens.desk import Desk, Ovens
from web.ovens.safety import RESET_CHECKS
from web.present import Presenter
from web.sign_in.roles import needs, open_to_all
from web.sign_in.visitor import signed_in_name

SMELL = "smell or smoke"
EXTRA_H = (1, 2, 4)
_SEE_OTHER = 303
_YEAR_S = 365 * 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What the acts need; `pages` render what is shown again after a refusal."""

    queries: Queries
    changes: Changes | None
    ovens: Ovens
    present: Presenter
    page: Callable[..., str]  # (name, key, **more): a page of this oven, as web/pages/ovens.py makes it


def add(pages: Blueprint, bench: Bench) -> None:
    """All routes that change something."""
    _stops(pages, bench)
    _heat(pages, bench)
    _planned(pages, bench)
    _checks(pages, bench)
    _moves(pages, bench)


def _stops(pages: Blueprint, bench: Bench) -> None:
    """B-17: accepted from anyone, any time, and nothing of a database is asked before it is passed on."""

    @pages.post("/ovens/<key>/stop")
    @open_to_all
    def stop(key: str) -> AnyResponse:
        why = SMELL if _says_smell() else "stopped on a page"
        if bench.ovens.stop((key,), whoever(), why):
            return _not_told((key,))
        if why == SMELL:
            return redirect(url_for(".smell", key=key), _SEE_OTHER)
        return redirect(url_for(".show", key=key), _SEE_OTHER)

    @pages.post("/ovens/stop")
    @open_to_all
    def stop_all() -> AnyResponse:
        keys = bench.ovens.keys()
        # None known is no success: the database may not have answered since the start.
        failed = bench.ovens.stop(keys, whoever(), "all heat stopped on a page") if keys else ("every oven",)
        return _not_told(failed) if failed else redirect(url_for(".show_all"), _SEE_OTHER)


def _says_smell() -> bool:
    """As far as the form can be read: one that is refused as too large must not keep the heat on."""
    try:
        return request.form.get("why") == "smell"
    except HTTPException:
        return False


def _not_told(failed: tuple[str, ...]) -> Response:
    names = ", ".join(key[:63] for key in failed)
    detail = f"The stop could not be passed on for: {names}. Stop at the oven itself, or pull its plug now."
    return Response(render_template("problem.html", title="Not stopped from here", detail=detail), status=503)


def _heat(pages: Blueprint, bench: Bench) -> None:
    @pages.post("/ovens/<key>/start")
    @needs(Role.DO)
    def start(key: str) -> AnyResponse:
        desk, inventory = desk_of(bench.ovens), bench.queries.inventory()
        asked = choose.Asked()
        try:
            who = teller()
            asked = choose.asked(request.form, inventory, bench.present, bench.queries.now_s())
            shown = confirm.sent(request.form, asked)
            said = _still(bench, key, asked, shown)
            problems = desk.start(key, shown, who) if not said else ()
        except (BadInputError, RefusedError) as error:
            said, problems = (choose.fault(BadInputError(str(error))),), ()
        if said or problems:
            page = bench.page("dry", key, asked=asked, problems=problems, said=said)
            return Response(page, status=409)
        if bench.ovens.planned is not None:
            bench.ovens.planned.edited()  # it may be the very one that waited; nobody waits for that
        return remembering(redirect(url_for(".show", key=key), _SEE_OTHER), who)

    @pages.post("/ovens/<key>/extend")
    @needs(Role.DO)
    def extend(key: str) -> AnyResponse:
        desk = desk_of(bench.ovens)
        try:
            who, extra_s = teller(), _number("extra_s", 60.0, 48 * 3600.0)
            version = round(_number("version", 0, 1e12))
            problem = desk.extend(key, line("order"), version, line("cycle"), extra_s, who)
        except BadInputError as error:
            problem = _unfit(error)
        return _answered(bench, "longer", key, problem)

    @pages.post("/ovens/<key>/reset")
    @needs(Role.DO)
    def do_reset(key: str) -> AnyResponse:
        desk = desk_of(bench.ovens)
        try:
            who, checked = teller(), tuple(request.form.getlist("checked"))
            if not checked or not set(checked) <= set(RESET_CHECKS):
                raise FieldError("checked", "Tick what you looked at")
            version, text = round(_number("version", 0, 1e12)), line("text")
            problem = desk.reset(key, line("order"), version, line("trip"), checked, text, who)
        except BadInputError as error:
            problem = _unfit(error)
        return _answered(bench, "reset", key, problem)


def _planned(pages: Blueprint, bench: Bench) -> None:
    """D-11, B-13: a start at a time, and its withdrawal."""

    @pages.post("/ovens/<key>/later")
    @needs(Role.DO)
    def start_later(key: str) -> AnyResponse:
        starts, inventory, asked = starts_of(bench.ovens), bench.queries.inventory(), choose.Asked()
        try:
            who = teller()
            asked = choose.asked(request.form, inventory, bench.present, bench.queries.now_s())
            ground = ground_of(bench, key, asked)
            if ground is None:
                raise RefusedError("There is no plan for it any more.")
            wish, said = planned.wish(request.form, starts, ground, bench.present)
            if wish is not None:
                starts.plan(key, wish, who)
        except (BadInputError, RefusedError) as error:
            said = (choose.fault(error),)
        if said:
            return Response(bench.page("dry", key, asked=asked, said=said), status=409)
        return remembering(redirect(url_for(".show", key=key) + "#planned", _SEE_OTHER), who)

    @pages.post("/ready/<int:number>/withdraw")
    @needs(Role.DO)
    def withdraw(number: int) -> AnyResponse:
        try:
            starts_of(bench.ovens).withdraw(number, _known_as())
        except BadInputError as error:
            abort(409, str(error))
        return redirect(url_for(".ready_by") + "#planned", _SEE_OTHER)


def _known_as() -> str:
    """For what asks for no name: who signed in, or typed one here before."""
    typed = request.cookies.get("who", "").strip()[:TEXT_MAX]
    return signed_in_name() or (typed if typed.isprintable() else "") or whoever()


def starts_of(ovens: Ovens) -> PlannedStarts:
    """Whoever keeps what is planned for later."""
    if ovens.planned is None:
        abort(503, "nobody minds the ovens here: nothing can be planned")
    return ovens.planned


def _still(bench: Bench, key: str, asked: choose.Asked, shown: StartWish) -> tuple[str, ...]:
    """The plan is computed again: what was shown must still be so, or nothing is asked for."""
    ground = ground_of(bench, key, asked)
    if ground is None:
        return ("There is no plan for it any more.",)
    return confirm.changed(shown, confirm.offer(ground, bench.present).wish, ground.now_s)


def ground_of(bench: Bench, key: str, asked: choose.Asked) -> confirm.Ground | None:
    """What an offer stands on now; None where the plan is refused."""
    plan = choose.plan(bench.queries, key, asked)
    look = bench.ovens.look(key)
    if look is None or isinstance(plan, Refused):
        return None
    return confirm.ground(bench.queries, look, plan, asked, bench.queries.now_s())


def _checks(pages: Blueprint, bench: Bench) -> None:
    def act(key: str, done: Callable[[Desk, str], None], page: str = "safety") -> AnyResponse:
        desk = desk_of(bench.ovens)
        try:
            who = teller()
            done(desk, who)
        except (BadInputError, RefusedError) as error:
            return Response(bench.page(page, key, said=(str(error),)), status=400)
        return remembering(redirect(url_for(".safety", key=key, done="yes"), _SEE_OTHER), who)

    @pages.post("/ovens/<key>/checklist")
    @needs(Role.DO)
    def tick_off(key: str) -> AnyResponse:
        return act(key, lambda desk, who: desk.tick_off(key, ticked(desk, key), who))

    @pages.post("/ovens/<key>/cutout")
    @needs(Role.DO)
    def cutout(key: str) -> AnyResponse:
        def done(desk: Desk, who: str) -> None:
            _must("seen", "Tick that you saw the cut-out yourself")
            desk.confirm_cutout(key, who)

        return act(key, done)

    @pages.post("/ovens/<key>/proof")
    @needs(Role.DO)
    def proof(key: str) -> AnyResponse:
        def done(desk: Desk, who: str) -> None:
            _must("passed", "Tick that all five steps are as written")
            desk.proof_tested(key, who)

        return act(key, done, "proof")


def ticked(desk: Desk, key: str) -> tuple[str, ...]:
    """Those of the oven's own list that were ticked."""
    known = [item.key for item in desk.look(key).checklist]
    sent = request.form.getlist("ticked")
    if not set(sent) <= set(known):
        raise BadInputError("The checklist has changed: open this page anew.")
    return tuple(name for name in known if name in sent)


def _moves(pages: Blueprint, bench: Bench) -> None:
    """D-14, P39: the history belongs to the spool, and a move is one tap."""

    @pages.post("/ovens/<key>/in")
    @needs(Role.DO)
    def put_in(key: str) -> AnyResponse:
        asked = choose.asked(request.form, bench.queries.inventory(), bench.present, bench.queries.now_s())
        spools = bench.queries.inventory().spools
        keys = tuple(spool for spool in asked.spools if spools[spool].place != key)
        try:
            who = _moved(bench, keys, key)
        except BadInputError as error:
            return Response(bench.page("dry", key, asked=asked, said=(str(error),)), status=400)
        again = url_for(".dry", key=key, **asked.query(bench.present)) + "#start"  # type: ignore[arg-type]
        return remembering(redirect(again, _SEE_OTHER), who)

    @pages.post("/ovens/<key>/out")
    @needs(Role.DO)
    def take_out(key: str) -> AnyResponse:
        try:
            keys = tuple(request.form.getlist("spool"))
            inside = bench.queries.inventory().spools
            if not keys or any(name not in inside or inside[name].place != key for name in keys):
                raise BadInputError("It does not lie in this oven any more: open the page anew.")
            place = line("place")
            who = _moved(bench, keys, place)
        except BadInputError as error:
            return Response(bench.page("out", key, said=(str(error),)), status=400)
        return remembering(redirect(url_for(".out", key=key, to=place), _SEE_OTHER), who)


def _moved(bench: Bench, keys: tuple[str, ...], place: str) -> str:
    if bench.changes is None:
        abort(403, "this address is for looking only")
    who, now_s = teller(), bench.queries.now_s()
    for spool in keys:
        bench.changes.add_event(
            SpoolEvent(spool=spool, at_s=now_s, entered_s=now_s, who=who, what=Moved(place=place))
        )
    return who


def desk_of(ovens: Ovens) -> Desk:
    """Whoever minds the ovens; without one nothing can be asked for."""
    if ovens.desk is None:
        abort(503, "nobody minds the ovens here: this program only shows what their controllers said")
    return ovens.desk


def whoever() -> str:
    """Under which name a stop is kept, signed in or not."""
    return signed_in_name() or f"somebody at {(request.remote_addr or 'an unknown address')[:45]}"


def teller() -> str:
    """Who acts: whoever is signed in, else the name that was typed."""
    return signed_in_name() or line("who")


def line(name: str) -> str:
    """One line of text that must be there."""
    text = request.form.get(name, "").strip()
    if not 1 <= len(text) <= TEXT_MAX or not text.isprintable():
        raise BadInputError(f"{name.capitalize()} must be text of 1 to {TEXT_MAX} characters in one line.")
    return text


def _number(name: str, lowest: float, highest: float) -> float:
    text = request.form.get(name, "")
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not lowest <= value <= highest:
        raise BadInputError(f"{name} is {text[:20]!r}; allowed are {lowest:g} to {highest:g}.")
    return value


def _must(name: str, otherwise: str) -> None:
    if request.form.get(name) != "yes":
        raise BadInputError(f"{otherwise}.")


def _unfit(error: BadInputError) -> Problem:
    detail = error.fault if isinstance(error, FieldError) else str(error)
    return Problem(rule="", title="Nothing was done", detail=detail)


def _answered(bench: Bench, page: str, key: str, problem: Problem | None) -> AnyResponse:
    if problem is not None:
        return Response(bench.page(page, key, problems=(problem,)), status=409)
    return redirect(url_for(".show", key=key), _SEE_OTHER)


def remembering(response: AnyResponse, who: str) -> AnyResponse:
    """The name that was typed, for the next form."""
    if signed_in_name() is None:
        response.set_cookie("who", who, max_age=_YEAR_S, samesite="Strict", httponly=True)
    return response
