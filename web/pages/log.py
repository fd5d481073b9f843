"""The log of all that was done, for owners: a page with filters; the same as JSON, CSV and CloudEvents."""

import datetime as dt
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain

from flask import Blueprint, Response, render_template, request, stream_with_context

from monitor.errors import BadInputError, FieldError
from monitor.model.audit import AuditFilter, AuditKind, AuditLine
from monitor.model.people import Role
from monitor.service.audit_log import MOST_LINES, AuditLog
from monitor.service.queries import Queries
from monitor.wire import audit as wire
from web.entry import local_moment
from web.inside import sentence
from web.pages.api import as_json
from web.present import Presenter
from web.sign_in.roles import needs

LINES_SHOWN = 50
_PAGE_MOST = 1_000
_TEXT_MOST = 200
_LAST_SEQ = 10**18
_FORMS = ("json", "csv", "cloudevents")
KIND_WORDS = {
    AuditKind.ACT: "What people did",
    AuditKind.ALARM: "Alarms",
    AuditKind.OVEN: "Ovens",
    AuditKind.HISTORY: "Told of spools, boxes and sensors",
    AuditKind.INVENTORY: "Inventory",
    AuditKind.FIGURE: "Figures and limits",
    AuditKind.DELIVERY: "Messages",
    AuditKind.CLOCK: "Clock, and the log itself",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line as the page shows it."""

    number: int
    when: str
    who: str
    kind: str
    about: str
    what: str
    detail: tuple[tuple[str, str], ...]
    quality: str  # empty where the time is sure


def blueprint(queries: Queries, present: Presenter) -> Blueprint:
    """Routes of the page and of the API; nothing is changed here."""
    pages = Blueprint("log", __name__)

    @pages.get("/log")
    @needs(Role.OWNER)
    def show() -> Response:
        fault, asked = "", AuditFilter()
        try:
            asked = _asked(_local)
        except BadInputError as error:
            fault = sentence(str(error))
        book = AuditLog(queries.store)
        before = _whole("before", _LAST_SEQ, 1, _LAST_SEQ)
        lines = () if fault else book.newest(asked, before, LINES_SHOWN + 1)
        args = {
            name: request.args.get(name, "")[:_TEXT_MOST] for name in ("kind", "about", "who", "from", "to")
        }
        html = render_template(
            "log.html",
            rows=[_row(line, present) for line in lines[:LINES_SHOWN]],
            older=lines[LINES_SHOWN - 1].seq if len(lines) > LINES_SHOWN else None,
            is_newest="before" not in request.args,
            args=args,
            kept={name: value for name, value in args.items() if value},
            exported=_exported(asked),
            kinds=KIND_WORDS,
            head=book.head(),
            fault=fault,
            most=MOST_LINES,
            zone=queries.zone(),
        )
        return Response(html, status=400 if fault else 200)

    @pages.get("/api/v1/audit")
    @needs(Role.OWNER)
    def export() -> Response:
        form = request.args.get("format", "json")
        if form not in _FORMS:
            raise BadInputError(f"format {form[:20]!r} is unknown; one of: {', '.join(_FORMS)}")
        asked, after = _asked(_utc), _whole("after", 0, 0, _LAST_SEQ)
        book = AuditLog(queries.store)
        if form == "json":
            limit = _whole("limit", _PAGE_MOST, 1, _PAGE_MOST)
            lines = tuple(book.lines(asked, after, limit))
            head = book.head()
            return as_json(
                {
                    "lines": [wire.document(line) for line in lines],
                    "next_after": lines[-1].seq if len(lines) == limit else None,
                    "head": None if head is None else str(head),
                }
            )
        found = book.lines(asked, after, _whole("limit", MOST_LINES, 1, MOST_LINES))
        if form == "csv":
            body: Iterator[str] = chain([wire.CSV_HEAD + "\r\n"], map(wire.csv_line, found))
            return _stream(body, "text/csv; charset=utf-8", "log.csv")
        return _stream(_events(found, book.site()), wire.CLOUD_EVENTS, "log.cloudevents.json")

    def _local(name: str) -> float:
        return local_moment(name, request.args[name], present, queries.now_s())

    return pages


def _events(lines: Iterator[AuditLine], site: str) -> Iterator[str]:
    """One JSON array, an event at a time."""
    before = "["
    for line in lines:
        yield before + json.dumps(wire.cloud_event(line, site), ensure_ascii=False, allow_nan=False)
        before = ",\n"
    yield "[]" if before == "[" else "]"


def _stream(body: Iterator[str], content_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(stream_with_context(body), content_type=content_type, headers=headers)


def _asked(moment: Callable[[str], float]) -> AuditFilter:
    """The filter of the question; FieldError names what is wrong with it."""
    kind = request.args.get("kind", "")
    if kind and kind not in list(AuditKind):
        raise FieldError("kind", f"{kind[:20]!r} is unknown; one of: {', '.join(AuditKind)}")
    texts = {name: request.args.get(name, "").strip() for name in ("about", "who")}
    for name, text in texts.items():
        if len(text) > _TEXT_MOST:
            raise FieldError(name, f"must be text of at most {_TEXT_MOST} characters")
    times = {name: round(moment(name) * 1000) for name in ("from", "to") if request.args.get(name)}
    from_ms, to_ms = times.get("from", 0), times.get("to", 2**62)
    if from_ms >= to_ms:
        raise FieldError("from", "must be before to")
    return AuditFilter(kind=AuditKind(kind) if kind else None, from_ms=from_ms, to_ms=to_ms, **texts)


def _utc(name: str) -> float:
    """A moment as programs write it; without a zone it is UTC."""
    text = request.args[name]
    try:
        moment = dt.datetime.fromisoformat(text)
        moment = moment if moment.tzinfo is not None else moment.replace(tzinfo=dt.UTC)
        if 2000 <= moment.year < 2100:
            return moment.timestamp()
    except (ValueError, OverflowError):
        pass
    raise FieldError(name, f"{text[:35]!r} is no time from 2000 to 2099 such as 2026-11-25T14:30:00Z")


def _whole(name: str, usual: int, least: int, most: int) -> int:
    text = request.args.get(name)
    if text is None:
        return usual
    if not (text.isascii() and text.isdigit() and len(text) < 20 and least <= int(text) <= most):
        raise FieldError(name, f"{text[:20]!r} is no whole number from {least} to {most}")
    return int(text)


def _exported(asked: AuditFilter) -> dict[str, str]:
    """The same question as the API takes it."""
    times = {
        "from": asked.from_ms if asked.from_ms else None,
        "to": asked.to_ms if asked.to_ms < 2**62 else None,
    }
    texts = {"kind": asked.kind or "", "about": asked.about, "who": asked.who}
    found = {name: str(value) for name, value in texts.items() if value}
    return found | {name: wire.rfc3339_ms(at_ms) for name, at_ms in times.items() if at_ms is not None}


def _row(line: AuditLine, present: Presenter) -> Row:
    row = line.row
    known = {str(kind): words for kind, words in KIND_WORDS.items()}
    detail = json.loads(row.detail)
    return Row(
        number=line.seq,
        when=present.clock(row.at_ms / 1000.0, "%d %b %Y %H:%M:%S"),
        who=row.who,
        kind=known.get(row.kind, row.kind),
        about=row.about,
        what=row.what,
        detail=tuple(
            (name.replace("_", " "), _words(value)) for name, value in detail.items() if value != {}
        ),
        quality="" if row.quality == "synced" else row.quality,
    )


def _words(value: object) -> str:
    if isinstance(value, dict):
        text = "; ".join(f"{name.replace('_', ' ')}: {_words(each)}" for name, each in value.items())
    elif value is None:
        text = "none"
    else:
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 1_000 else f"{text[:1_000]}…"
