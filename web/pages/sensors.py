"""Sensors: their list, the guided check of each, several side by side, the corners of a box."""

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError
from monitor.library.salts import load_salts
from monitor.model.people import Role
from monitor.model.sensor_answers import Due
from monitor.model.sensor_check import MISPLACED_PCT
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from web.entry import TEXT_MAX, Entry, told_by
from web.inside import sentence
from web.pages.common import SEE_OTHER, remembering
from web.present import Presenter
from web.sensors import form, together, words
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name


def blueprint(queries: Queries, changes: Changes | None, present: Presenter) -> Blueprint:
    """Routes of the list and the pages; without `changes` they can only be looked at."""
    pages = Blueprint("sensors", __name__)

    @pages.get("/sensors")
    def show_all() -> str:
        sensors = queries.sensors.all()
        owed = sum(sensor.due_state in (Due.SOON, Due.OVERDUE) for sensor in sensors)
        return render_template(
            "sensors.html",
            rows=[words.row(sensor, present) for sensor in sensors],
            headline=_headline(owed),
            zone=queries.zone(),
        )

    @pages.get("/sensors/<node>/<channel>")
    def show(node: str, channel: str) -> str:
        entry = Entry(kind="")
        if "withdraw" in request.args:
            entry = Entry(kind="withdrawn", values={"replaces": request.args["withdraw"][:20]})
        return _page(queries, present, (node, channel), entry, can_change=changes is not None)

    @pages.post("/sensors/<node>/<channel>/events")
    @needs(Role.DO)
    def add_event(node: str, channel: str) -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        _found(queries, f"{node}/{channel}")
        entry = told_by(form.typed(request.form), signed_in_name())
        try:
            changes.add_sensor_event(form.told_of(f"{node}/{channel}", entry, present, queries.now_s()))
        except BadInputError as error:
            page = _page(queries, present, (node, channel), form.faulty(entry, error), can_change=True)
            return Response(page, status=400)
        part = "#facts" if entry.kind == "seated" else "#do"
        response = redirect(url_for(".show", node=node, channel=channel) + part, SEE_OTHER)
        return remembering(response, entry.value("who"))

    @pages.get("/sensors/compare")
    def compare() -> str:
        return render_template("sensors_compare.html", **together.compared(queries, request.args, present))

    @pages.get("/sensors/placement")
    def placement() -> str:
        return _corners(queries, present, can_change=changes is not None)

    @pages.post("/sensors/placement")
    @needs(Role.DO)
    def note_placement() -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        try:
            told = together.mapped(queries, request.form, present, signed_in_name())
            changes.add_sensor_event(told)
        except BadInputError as error:
            page = _corners(queries, present, can_change=True, fault=sentence(str(error)))
            return Response(page, status=400)
        node, _, channel = told.channel.partition("/")
        response = redirect(url_for(".show", node=node, channel=channel) + "#facts", SEE_OTHER)
        return remembering(response, told.who)

    return pages


def _corners(queries: Queries, present: Presenter, *, can_change: bool, fault: str = "") -> str:
    """What was asked; what could not be written down stands there as it was typed."""
    found = together.placed(queries, request.form if fault else request.args, present)
    return render_template(
        "sensors_placement.html",
        **found | {"fault": fault or found["fault"], "can_note": found["can_note"] or bool(fault)},
        limit=f"{MISPLACED_PCT:g} %RH",
        can_change=can_change and may(Role.DO),
        who=signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
        signed_in=signed_in_name(),
    )


def _headline(owed: int) -> str:
    if not owed:
        return "Sensors"
    return f"{owed} sensor{'s' if owed > 1 else ''} to check"


def _page(
    queries: Queries, present: Presenter, key: tuple[str, str], entry: Entry, *, can_change: bool
) -> str:
    node, channel = key
    name = f"{node}/{channel}"
    _found(queries, name)
    guide, events = queries.sensors.guide(name), queries.sensors.events(name)
    seat = queries.sensors.seat(name)
    salts = {salt.key: f"{salt.name.lower()} ({salt.formula})" for salt in load_salts().values()}
    spools = {item.key: item.name for item in queries.inventory().spools.values()}
    told = words.records(events, salts, present)
    wanted = entry.value("replaces") if entry.kind == "withdrawn" else ""
    is_waiting = guide.jar is not None and guide.jar.settling == "waiting" and not entry.kind
    return render_template(
        "sensor.html",
        node=node,
        channel=channel,
        row=words.row(guide.sensor, present),
        sentence=guide.sensor.sentence,
        facts=(*words.facts(guide.sensor, present), *words.seat(seat, present)),
        seats=words.seat_choices(seat),
        is_seat_due=words.is_seat_due(seat),
        step=words.step(guide),
        works_at=f"{guide.works_at_pct:.0f} %RH",
        temperature=f"{guide.temperature_c:.0f} °C",
        salts=[words.salt(item, number < 2) for number, item in enumerate(guide.salts)],
        jar=None if guide.jar is None else words.jar(guide.jar, salts, present),
        points=[words.point(item, salts, present) for item in guide.points],
        done={item.salt for item in guide.points},
        proposal=guide.proposal,
        look_back=words.look_back(queries.sensors.look_back(name), spools, present),
        records=told,
        withdraw=next(
            (record for record in told if str(record.number) == wanted and not record.is_gone), None
        ),
        has_correction=guide.sensor.correction is not None,
        serial=guide.sensor.serial or "",
        tolerance=f"{guide.sensor.tolerance_pct:g}",
        interval=str(guide.sensor.interval_months),
        entry=entry,
        who=signed_in_name() or entry.value("who", request.cookies.get("who", "")[:TEXT_MAX]),
        can_change=can_change and may(Role.DO),
        is_waiting=is_waiting,
        is_noted=words.is_noted(guide),
        zone=queries.zone(),
        clock=present.clock(queries.now_s(), "%H:%M"),
    )


def _found(queries: Queries, name: str) -> None:
    try:
        queries.sensors.channel(name)
    except BadInputError as error:
        raise NotFound(sentence(str(error))) from None
