"""Dryings that were: a list for each oven and each spool, and a record of each to print, as JSON and CSV."""

from flask import Blueprint, Response, render_template, url_for
from werkzeug.exceptions import NotFound

from monitor.model.cycle_record import BatchRecord, CycleNote
from monitor.service.cycle_records import CycleRecords
from monitor.service.queries import Queries
from monitor.wire import cycle_records
from web.axes import SIDE
from web.ovens import record as words
from web.pages.api import as_json
from web.present import Presenter


def blueprint(queries: Queries, present: Presenter) -> Blueprint:
    """Routes of the pages and of the API; nothing is changed here."""
    pages = Blueprint("cycles", __name__)

    @pages.get("/ovens/<key>/cycles")
    def of_oven(key: str) -> str:
        oven = queries.inventory().ovens.get(key)
        if oven is None:
            raise NotFound(f"there is no oven {key[:63]!r} in the inventory")
        notes = CycleRecords(queries.store, queries).of_oven(key)
        return _listed(oven.name, notes, url_for("ovens.show", key=key))

    @pages.get("/spools/<key>/dryings")
    def of_spool(key: str) -> str:
        spool = queries.inventory().spools.get(key)
        if spool is None:
            raise NotFound(f"no spool in the inventory has the key {key[:40]!r}")
        notes = CycleRecords(queries.store, queries).of_spool(key)
        return _listed(spool.name, notes, url_for("spools.show", key=key))

    def _listed(name: str, notes: tuple[CycleNote, ...], back: str) -> str:
        return render_template(
            "cycles.html", name=name, rows=words.rows(notes, present), count=words.count(notes), back=back
        )

    @pages.get("/ovens/<key>/cycles/<cycle>")
    def show(key: str, cycle: str) -> str:
        made = words.sheet(_found(queries, key, cycle), queries.library(), present)
        return render_template(
            "cycle.html", key=key, cycle=cycle, sheet=made, side=SIDE, zone=queries.zone(),
            printed=present.clock(queries.now_s(), "%d %b %Y %H:%M"),
        )  # fmt: skip

    @pages.get("/ovens/<key>/cycles/<cycle>.csv")
    def trace(key: str, cycle: str) -> Response:
        response = Response(cycle_records.csv(_found(queries, key, cycle)), mimetype="text/csv")
        response.headers["Content-Disposition"] = "attachment; filename=drying.csv"
        return response

    @pages.get("/api/v1/ovens/<key>/cycles")
    def api_list(key: str) -> Response:
        if key not in queries.inventory().ovens:
            raise NotFound(f"there is no oven {key[:63]!r} in the inventory")
        return as_json({"cycles": cycle_records.summaries(CycleRecords(queries.store, queries).of_oven(key))})

    @pages.get("/api/v1/ovens/<key>/cycles/<cycle>")
    def api_show(key: str, cycle: str) -> Response:
        return as_json(cycle_records.document(_found(queries, key, cycle)))

    return pages


def _found(queries: Queries, oven: str, cycle: str) -> BatchRecord:
    record = CycleRecords(queries.store, queries).record(oven[:64], cycle[:64])
    if record is None:
        raise NotFound(f"there is no record of cycle {cycle[:40]!r} of oven {oven[:40]!r}")
    return record
