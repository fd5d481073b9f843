"""The pages of alarms, and what people do about them: see, put aside, quieten, reset are four things."""

from collections.abc import Callable

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, RefusedError
from monitor.model.people import Role
from monitor.service.alarm_acts import AlarmActs
from monitor.service.queries import Queries
from web.alarms import health as health_words
from web.alarms import view
from web.entry import TEXT_MAX
from web.fields import figure
from web.inside import sentence
from web.pages.common import SEE_OTHER, remembering
from web.present import Presenter
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name

_SEEN_MOST = 200


def blueprint(queries: Queries, acts: AlarmActs | None, present: Presenter, *, can_change: bool) -> Blueprint:
    """Routes; without `acts` there are no alarms, and the pages say so."""
    pages = Blueprint("alarms", __name__)

    @pages.get("/alarms")
    def show_all() -> str:
        return _list()

    @pages.get("/alarms/health")
    def health() -> str:
        return _health()

    @pages.get("/alarms/<key>")
    def show(key: str) -> str:
        return _one(key)

    @pages.post("/alarms/seen")
    @needs(Role.DO)
    def see_all() -> AnyResponse:
        pairs = [item.partition(" ")[::2] for item in request.form.getlist("alarm")[: _SEEN_MOST + 1]]
        refused: list[str] = []

        def act(here: AlarmActs, who: str) -> None:
            refused.extend(here.acknowledge_visible(pairs, who))

        response = _done(act)
        if refused:
            return Response(_list(fault=" ".join(map(sentence, refused[:3]))), status=409)
        return response

    @pages.post("/alarms/<key>/seen")
    @needs(Role.DO)
    def see(key: str) -> AnyResponse:
        return _done(lambda here, who: here.acknowledge(key, request.form.get("activation", ""), who))

    @pages.post("/alarms/<key>/aside")
    @needs(Role.DO)
    def put_aside(key: str) -> AnyResponse:
        def act(here: AlarmActs, who: str) -> None:
            chosen, why = request.form.get("until", ""), request.form.get("why", "").strip()
            try:
                until_s = view.shelf_end(chosen, queries.now_s(), present)
            except KeyError:
                raise BadInputError("until must be one of the times that the form offers") from None
            here.shelve(key, who, why, until_s=until_s, one_shot=chosen == "over")

        return _done(act)

    @pages.post("/alarms/<key>/back")
    @needs(Role.DO)
    def take_back(key: str) -> AnyResponse:
        return _done(lambda here, who: here.unshelve(key, who))

    @pages.post("/alarms/quiet")
    @needs(Role.DO)
    def quieten() -> AnyResponse:
        def act(here: AlarmActs, who: str) -> None:
            here.silence(figure("minutes", request.form.get("minutes", ""), "1 to 60"), who)

        return _done(act)

    @pages.post("/alarms/<key>/reset")
    @needs(Role.DO)
    def reset(key: str) -> AnyResponse:
        return _done(lambda here, who: here.reset(key, who))

    @pages.post("/alarms/<key>/out")
    @needs(Role.DO)
    def take_out(key: str) -> AnyResponse:
        return _done(lambda here, who: here.out_of_service(key, who, request.form.get("why", "").strip()))

    @pages.post("/alarms/<key>/in")
    @needs(Role.DO)
    def take_in(key: str) -> AnyResponse:
        return _done(lambda here, who: here.return_to_service(key, who))

    @pages.post("/alarms/figures")
    @needs(Role.OWNER)
    def set_figure() -> AnyResponse:
        def act(here: AlarmActs, who: str) -> None:
            typed = request.form.get("value", "").strip()
            value = figure("value", typed, "a number, or nothing for the table's own") if typed else None
            kind, name = request.form.get("type", ""), request.form.get("name", "")
            here.set_figure(kind, name, value, who, request.form.get("why", "").strip())

        return _done(act, page=_health, onwards="alarms.health")

    @pages.post("/alarms/figures/revert")
    @needs(Role.OWNER)
    def revert_figure() -> AnyResponse:
        kind, name = request.form.get("type", ""), request.form.get("name", "")
        return _done(
            lambda here, who: here.revert_figure(kind, name, who), page=_health, onwards="alarms.health"
        )

    def _done(
        act: Callable[[AlarmActs, str], object],
        page: Callable[..., str] | None = None,
        onwards: str = "alarms.show_all",
    ) -> AnyResponse:
        """Do it and lead on; what is refused is said where it was asked, and nothing has changed."""
        if acts is None or not can_change:
            abort(403, "this address is for looking only")
        who = signed_in_name() or request.form.get("who", "").strip()
        try:
            if not 1 <= len(who) <= TEXT_MAX:
                raise BadInputError(f"who must be 1 to {TEXT_MAX} characters")
            act(acts, who)
        except (BadInputError, RefusedError) as error:
            return Response((page or _list)(fault=sentence(str(error))), status=409)
        return remembering(redirect(url_for(onwards), SEE_OTHER), who)

    def _links() -> dict[str, tuple[str, str]]:
        inventory = queries.inventory()
        named = (
            ("boxes.show", inventory.boxes),
            ("rooms.show", inventory.rooms),
            ("ovens.show", inventory.ovens),
            ("spools.show", inventory.spools),
        )
        return {key: (endpoint, key) for endpoint, things in named for key in things}

    def _who() -> dict[str, object]:
        return {
            "who": signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
            "signed_in": signed_in_name(),
            "can_change": can_change and acts is not None and may(Role.DO),
            "zone": queries.zone(),
        }

    def _list(fault: str = "") -> str:
        now_s = queries.now_s()
        looks = () if acts is None else acts.desk.looks()
        silent_s = None if acts is None else acts.desk.silent_until_s()
        return render_template(
            "alarms.html",
            groups=view.groups(looks, _links(), present, now_s),
            waiting=() if acts is None else view.waiting(acts.desk.waiting()),
            is_kept=acts is not None,
            is_settling=acts is not None and acts.desk.is_settling(),
            held_back=0 if acts is None else acts.desk.held_back(),
            silent_until="" if silent_s is None else present.clock(silent_s, "%H:%M"),
            quiets=view.QUIET_MIN,
            fault=fault,
            **_who(),
        )

    def _one(key: str) -> str:
        if acts is None:
            raise NotFound("no alarms are kept here")
        try:
            look = acts.desk.look(key)
        except BadInputError as error:
            raise NotFound(str(error)) from None
        row = acts.desk.row(look.alarm.type)
        return render_template(
            "alarm.html",
            card=view.card(look, _links(), present, queries.now_s()),
            row=row,
            history=view.history(acts.history(key), present),
            is_normal=look.alarm.state == "norm",
            **_who(),
        )

    def _health(fault: str = "") -> str:
        if acts is None:
            raise NotFound("no alarms are kept here")
        found, rows = acts.health(), acts.desk.rows()
        names = {look.alarm.key: look.alarm.what for look in acts.desk.looks()}
        return render_template(
            "alarms_health.html",
            measures=health_words.measures(found, names),
            worst=health_words.worst(found, names),
            share=f"{100.0 * found.bad_actor_share:.0f} %",
            activations=found.activations,
            never_fired=[rows[kind].name for kind in found.never_fired if kind in rows],
            proposals=acts.proposals(found),
            rows=sorted(rows.values(), key=lambda row: row.name),
            settable=health_words.settable(),
            figures=health_words.figure_rows(rows, acts.figures(), present),
            is_owner=can_change and may(Role.OWNER),
            fault=fault,
            **_who(),
        )

    return pages
