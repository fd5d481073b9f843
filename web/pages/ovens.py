"""Ovens: one list, a page for each, its plan before heat, its safety, and what is ready by when."""

import secrets
from typing import Any

from flask import Blueprint, abort, render_template, request, url_for

from monitor.errors import BadInputError, RefusedError
from monitor.model.answers import StatusAnswer
from monitor.model.cycle import Problem
from monitor.model.oven_look import OvenLook
from monitor.model.people import Role
from monitor.model.plan import Plan, Refused
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from web.axes import SIDE
from web.entry import TEXT_MAX
from web.ovens import (
    acts,
    choose,
    commissioning,
    confirm,
    figure,
    inside,
    notice,
    plan_words,
    planned,
    proof,
    ready,
    safety,
    trips,
    words,
)
from web.ovens.desk import Ovens
from web.ovens.view import Views
from web.present import Presenter
from web.sign_in.visitor import may, signed_in_name

_RECORDS = 40


def blueprint(
    queries: Queries, changes: Changes | None, ovens: Ovens, views: Views, present: Presenter
) -> Blueprint:
    """Routes of the pages; without `changes` or a desk they only show what is known."""
    pages = Blueprint("ovens", __name__)
    sheets = _Sheets(queries, changes, ovens, views, present)

    @pages.get("/ovens")
    def show_all() -> str:
        now_s = queries.now_s()
        shown = views.all(now_s)
        return render_template("ovens.html", views=shown, has_desk=ovens.desk is not None)

    @pages.get("/ovens/<key>")
    def show(key: str) -> str:
        return sheets.page("show", key)

    for name in ("dry", "out", "longer", "reset", "safety", "smell"):
        pages.add_url_rule(f"/ovens/<key>/{name}", name, _shower(sheets, name))

    @pages.get("/ovens/<key>/trips/<trip>")
    def show_trip(key: str, trip: str) -> str:
        return _trip(sheets, key, trip)

    @pages.get("/ovens/<key>/notice")
    def show_notice(key: str) -> str:
        return _notice(sheets, key)

    @pages.get("/ready")
    def ready_by() -> str:
        return _ready(sheets)

    acts.add(pages, sheets.bench)
    commissioning.add(pages, sheets.bench)
    proof.add(pages, sheets.bench)
    return pages


def _shower(sheets: "_Sheets", name: str) -> Any:
    def shown(key: str) -> str:
        return sheets.page(name, key)

    return shown


class _Sheets:
    """Everything that the templates of one oven show."""

    def __init__(
        self, queries: Queries, changes: Changes | None, ovens: Ovens, views: Views, present: Presenter
    ) -> None:
        self.queries, self.ovens, self.views, self.present = queries, ovens, views, present
        self.can_change = changes is not None
        self.bench = acts.Bench(
            queries=queries, changes=changes, ovens=ovens, present=present, page=self.page
        )

    def look(self, key: str) -> OvenLook:
        look = self.ovens.look(key)
        if look is None:
            abort(404, f"there is no oven {key[:63]!r} in the inventory")
        return look

    def page(
        self,
        name: str,
        key: str,
        *,
        problems: tuple[Problem, ...] = (),
        said: tuple[str, ...] = (),
        asked: choose.Asked | None = None,
    ) -> str:
        """One page of an oven, with what was refused on it just now."""
        look = self.look(key)
        now_s = self.queries.now_s()
        sheet: dict[str, Any] = {
            "look": look,
            "view": self.views.view(look, now_s),
            "problems": problems,
            "said": said,
            "can_act": self.ovens.desk is not None and self.can_change and may(Role.DO),
            "has_desk": self.ovens.desk is not None,
            "who": signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
            "order": secrets.token_hex(16),
            "b51": words.B51,
            "food": words.FOOD,
            "zone": self.queries.zone(),
        }
        more = {
            "show": self._show, "out": self._out, "longer": self._longer, "reset": self._reset,
            "safety": self._safety, "smell": self._smell, "commissioning": self._commissioning,
            "proof": self._proof,
        }  # fmt: skip
        sheet |= self._dry(look, asked, now_s) if name == "dry" else more[name](look, now_s)
        return render_template(f"oven_{name}.html", **sheet)

    def _show(self, look: OvenLook, now_s: float) -> dict[str, Any]:
        status = self.queries.status()
        spools = inside.spools_in(status, look.key)
        library = self.queries.library()
        desk = self.ovens.desk
        kept = () if desk is None else desk.trips(look.key)
        return {
            "held": [inside.held(spool, library, self.present, now_s) for spool in spools],
            "water_left": inside.water_left(spools) if spools else "",
            "planned": [line for line in self.waiting(now_s) if line.oven_key == look.key],
            "is_interrupted": words.is_interrupted(look),
            "interrupted_at": "" if look.ended is None else words.ended(look.ended),
            "resume": look.ended if words.can_resume(look, now_s) else None,
            "alone": safety.alone(look, self.present, now_s),
            "records": [
                (self.present.clock(each.at_wall_s), each, trips.trip_of(each, kept))
                for each in look.records[:_RECORDS]
            ],
            "trip_kept": look.trip.id if look.trip and look.trip.id in kept else None,
        }

    def waiting(self, now_s: float) -> tuple[planned.Line, ...]:
        """All starts that wait."""
        if self.ovens.planned is None:
            return ()
        return planned.lines(self.ovens.planned.listed(), self.queries.inventory(), self.present, now_s)

    def _dry(self, look: OvenLook, asked: choose.Asked | None, now_s: float) -> dict[str, Any]:
        status, inventory, library = self.queries.status(), self.queries.inventory(), self.queries.library()
        fault = ""
        if asked is None:
            try:
                asked = choose.asked(request.args, inventory, self.present, now_s)
            except BadInputError as error:
                asked, fault = choose.Asked(), choose.fault(error)
        rest: dict[str, Any] = {
            "asked": asked,
            "fields": asked.query(self.present),
            "fault": fault,
            "choices": self._choices(status, look, asked, now_s),
            "kinds": [
                (kind.key, kind.name) for kind in library.desiccants.values() if kind.oven_refusal is None
            ],
            "plan": None,
            "no_plan": None,
            "offer": None,
            "later": None,
            "side": SIDE,
            "no_cutout": "" if look.is_cutout_confirmed else words.NO_CUTOUT,
        }
        return rest | (self._planned(look, asked, now_s) if asked.is_something else {})

    def _planned(self, look: OvenLook, asked: choose.Asked, now_s: float) -> dict[str, Any]:
        try:
            plan = choose.plan(self.queries, look.key, asked)
            if isinstance(plan, Refused):
                return {"no_plan": plan_words.no_plan(plan.refused)}
            return self._with_plan(look, asked, plan, now_s)
        except (BadInputError, RefusedError) as error:
            detail = choose.fault(error)
            return {"no_plan": plan_words.NoPlan(title="There is no plan for it", detail=detail, limit="")}

    def _with_plan(self, look: OvenLook, asked: choose.Asked, plan: Plan, now_s: float) -> dict[str, Any]:
        """The plan, and the confirm section where what is planned is what lies inside."""
        spools, library = self.queries.inventory().spools, self.queries.library()
        missing = [spools[key].name for key in asked.spools if spools[key].place != look.key]
        extra = [
            spool.name for key, spool in spools.items() if spool.place == look.key and key not in asked.spools
        ]
        ground = confirm.ground(self.queries, look, plan, asked, now_s)
        return {
            "plan": plan_words.told(plan, library, self.present),
            "drawn": figure.figure(plan),
            "missing": missing,
            "extra": extra,
            "offer": confirm.offer(ground, self.present) if not missing and not extra else None,
            "later": self._later(ground),
            "fumes": self._fumes(asked),
        }

    def _later(self, ground: confirm.Ground) -> planned.Later | None:
        """The same for another time; not for what only goes on with an interrupted cycle."""
        if self.ovens.planned is None or ground.asked.resume:
            return None
        return planned.later(self.ovens.planned, ground, self.present, request.values.get("start_at", ""))

    def _fumes(self, asked: choose.Asked) -> list[tuple[str, str]]:
        """B-43: said for each material, before anything is warm."""
        library, spools = self.queries.library(), self.queries.inventory().spools
        keys = dict.fromkeys(spools[key].material for key in asked.spools)
        known = [library.materials[key] for key in keys if key in library.materials]
        return [(material.short_name, material.fumes) for material in known]

    def _choices(
        self, status: StatusAnswer, look: OvenLook, asked: choose.Asked, now_s: float
    ) -> list[tuple[inside.Held, bool, bool]]:
        """Spools to choose from: what is inside, then what wants drying, then the rest."""
        library = self.queries.library()
        rank = {"dry_first": 0, "not_sure": 1, "ready": 2, "damaged": 3}
        ordered = sorted(status.spools, key=lambda each: (each.place != look.key, rank.get(each.verdict, 9)))
        return [
            (
                inside.held(spool, library, self.present, now_s),
                spool.place == look.key,
                spool.key in asked.spools or (not asked.is_something and spool.place == look.key),
            )
            for spool in ordered
        ]

    def _out(self, look: OvenLook, now_s: float) -> dict[str, Any]:
        status, library = self.queries.status(), self.queries.library()
        spools = inside.spools_in(status, look.key)
        to = request.args.get("to", "")
        names = {box.key: box.name for box in status.boxes} | {room.key: room.name for room in status.rooms}
        return {
            "held": [inside.held(spool, library, self.present, now_s) for spool in spools],
            "boxes": [(box.key, box.name) for box in status.boxes],
            "rooms": [(room.key, room.name) for room in status.rooms],
            "moved_to": names.get(to, ""),
            "is_heating": words.is_heating(look),
            "must_cool": look.is_hot is not False or look.phase == "cooling" or not look.is_fresh,
        }

    def _longer(self, look: OvenLook, now_s: float) -> dict[str, Any]:
        ends_s = words.ends_s(look, now_s)
        return {
            "ends": self.present.clock(ends_s, "%a %H:%M"),
            "short": words.short(look),
            "extras": [(h * 3600, f"{h} h longer, until {self.present.clock(ends_s + h * 3600, '%a %H:%M')}")
                       for h in acts.EXTRA_H],
        }  # fmt: skip

    def _reset(self, look: OvenLook, now_s: float) -> dict[str, Any]:
        trip = look.trip
        return {
            "fired": safety.fired(look),
            "when": "" if trip is None else self.present.clock(trip.at_wall_s),
            "barriers": safety.reset_barriers(look),
            "checks": safety.RESET_CHECKS,
            "age": self.present.age(None if trip is None else trip.at_wall_s, None, now_s),
        }

    def _safety(self, look: OvenLook, now_s: float) -> dict[str, Any]:
        oven = self.queries.inventory().ovens.get(look.key)
        tested_s = None if oven is None else oven.cutout_tested_s
        return {
            "alone": safety.alone(look, self.present, now_s),
            "cutout_c": None if oven is None else oven.cutout_c,
            "cutout_tested": None if tested_s is None else self.present.clock(tested_s, "%d %b %Y"),
            "proof_rule": safety.PROOF_RULE,
            "proof_steps": safety.PROOF_STEPS,
            "no_alarm": safety.NO_ALARM,
            "is_done": "done" in request.args,
        }

    def _commissioning(self, look: OvenLook, now_s: float) -> dict[str, Any]:  # noqa: ARG002 - as its sisters
        return commissioning.sheet(self.bench, look)

    def _proof(self, look: OvenLook, now_s: float) -> dict[str, Any]:  # noqa: ARG002 - as its sisters
        return proof.sheet(self.bench, look) | {"proof_rule": safety.PROOF_RULE}

    def _smell(self, look: OvenLook, now_s: float) -> dict[str, Any]:  # noqa: ARG002 - as its sisters
        return {
            "checks": safety.SMELL_CHECKS,
            "no_alarm": safety.NO_ALARM,
            "fumes": inside.fumes(look, self.queries.inventory(), self.queries.library()),
        }


def _trip(sheets: _Sheets, key: str, trip: str) -> str:
    look = sheets.look(key)
    desk = sheets.ovens.desk
    record = None if desk is None else desk.trip(key, trip[:TEXT_MAX])
    if record is None:
        abort(404, f"no record of a trip {trip[:63]!r} was kept for this oven")
    return render_template(
        "oven_trip.html",
        look=look,
        when=sheets.present.clock(record.at_wall_s, "%d %b %Y %H:%M:%S"),
        fired=trips.fired(record),
        drawn=trips.figure(record),
        rows=trips.rows(record),
        is_complete=record.is_complete,
        side=SIDE,
    )


def _notice(sheets: _Sheets, key: str) -> str:
    size = request.args.get("size", "a4")
    if size not in notice.SIZES:
        abort(400, f"size {size[:20]!r} is unknown; one of: {', '.join(notice.SIZES)}")
    contact = request.args.get("contact", "").strip()
    if len(contact) > notice.CONTACT_MAX or (contact and not contact.isprintable()):
        abort(400, f"the contact must be one line of at most {notice.CONTACT_MAX} characters")
    made = notice.notice(
        sheets.look(key),
        sheets.present,
        url=url_for(".show", key=key, _external=True),
        now_s=sheets.queries.now_s(),
    )
    return render_template(
        "oven_notice.html",
        notice=made,
        key=key,
        size=size,
        sizes=notice.SIZES,
        contact=contact,
        b51=words.B51,
    )


def _ready(sheets: _Sheets) -> str:
    args, inventory, now_s = request.args, sheets.queries.inventory(), sheets.queries.now_s()
    told, fault = None, ""
    try:
        jobs = ready.wanted(args, inventory, sheets.present, now_s)
        hours = ready.rules(args, sheets.present, now_s)
        if jobs:
            made = ready.schedule(sheets.queries, sheets.ovens, jobs, hours, now_s)
            told = ready.told(made, inventory, sheets.present, now_s)
    except (BadInputError, RefusedError) as error:
        fault = choose.fault(error)
    return render_template(
        "ready.html",
        told=told,
        fault=fault,
        planned=sheets.waiting(now_s),
        can_act=sheets.can_change and sheets.ovens.planned is not None and may(Role.DO),
        rows=ready.rows(args),
        spools=[(key, spool.name) for key, spool in inventory.spools.items()],
        hours=(args.get("from", "")[:10], args.get("to", "")[:10]),
        is_pinned=args.get("pinned") == "yes",
        zone=sheets.queries.zone(),
    )
