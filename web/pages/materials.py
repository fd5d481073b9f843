"""Materials: the table of all, a care card for each, and the site's own figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, FieldError
from monitor.estimate.care import cares
from monitor.library import UNKNOWN, Library
from monitor.model.catalogue import FIGURES, OwnFigure
from monitor.model.people import Role
from web import care_card, stock_tables
from web.present import Presenter
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name

_SEE_OTHER = 303


class FigureQueries(Protocol):
    """What these pages ask."""

    def library(self) -> Library: ...

    def own_figures(self) -> tuple[OwnFigure, ...]: ...

    def now_s(self) -> float: ...


class FigureChanges(Protocol):
    """What these pages change."""

    def set_figure(self, figure: OwnFigure) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A figure as it was typed, and what is wrong with it."""

    figure: str = "dry_c"
    value: str = ""
    who: str = ""
    why: str = ""
    is_withdrawal: bool = False
    fault: str = ""
    field: str = ""  # figure, value, who or why


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """A site's own figure that holds, or one that no longer can."""

    figure: str
    words: str
    value: str
    who: str
    why: str
    when: str
    fault: str
    can_go: bool  # set on a page, not in the settings


def blueprint(queries: FigureQueries, changes: FigureChanges | None, present: Presenter) -> Blueprint:
    """Routes of the table and the cards; without `changes` they can only be looked at."""
    pages = Blueprint("materials", __name__)

    @pages.get("/materials")
    def show_all() -> str:
        library = queries.library()
        known = cares(library.materials)
        rows = [
            care_card.table_row(material, known[key], library.own)
            for key, material in library.materials.items()
        ]
        return render_template(
            "materials.html",
            rows=sorted(rows, key=lambda row: row.is_unknown),
            reels=stock_tables.reels(library),
            desiccants=stock_tables.desiccants(library),
        )

    @pages.get("/materials/<key>")
    def show(key: str) -> str:
        return _page(key, Form())

    @pages.post("/materials/<key>/figure")
    @needs(Role.OWNER)
    def set_figure(key: str) -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        _found(queries.library(), key)
        form = _typed(request.form)
        try:
            changes.set_figure(_figure(key, form, queries.now_s()))
        except BadInputError as error:
            return Response(_page(key, _faulty(form, error)), status=400)
        return redirect(url_for(".show", key=key) + "#own", _SEE_OTHER)

    def _page(key: str, form: Form) -> str:
        library = queries.library()
        _found(library, key)
        return render_template(
            "material.html",
            card=care_card.card(library, key, cares(library.materials)[key]),
            own=_own(library, key, present),
            log=_log(queries.own_figures(), key, present),
            form=form,
            blank=Form(),
            choices=care_card.choices(),
            can_change=changes is not None and key != UNKNOWN and may(Role.OWNER),
        )

    return pages


def _found(library: Library, key: str) -> None:
    if key not in library.materials:
        raise NotFound(f"no material in the catalogue has the key {key[:40]!r}")


def _typed(fields: "MultiDict[str, str]") -> Form:
    def text(name: str) -> str:
        return fields.get(name, "").strip()

    return Form(
        figure=text("figure"),
        value=text("value"),
        who=signed_in_name() or text("who"),
        why=text("why"),
        is_withdrawal="withdraw" in fields,
    )


def _figure(key: str, form: Form, now_s: float) -> OwnFigure:
    value = None if form.is_withdrawal else _number(form.value)
    return OwnFigure(material=key, figure=form.figure, value=value, who=form.who, why=form.why, at_s=now_s)


def _number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise FieldError("value", f"{text[:20]!r} is no number: write one such as 55 or 0.04") from None


def _faulty(form: Form, error: BadInputError) -> Form:
    name = error.field if isinstance(error, FieldError) else ""
    return Form(
        figure=form.figure,
        value=form.value,
        who=form.who,
        why=form.why,
        is_withdrawal=form.is_withdrawal,
        fault=_in_words(str(error)),
        field=name if name in ("figure", "who", "why") else "value",
    )


def _in_words(fault: str) -> str:
    """A refusal with the words of the page for the names of the files."""
    for name in sorted(FIGURES, key=len, reverse=True):
        words = FIGURES[name].words
        fault = fault.replace(name, words[0].lower() + words[1:])
    return f"{fault[0].upper()}{fault[1:]}."


def _own(library: Library, key: str, present: Presenter) -> tuple[Own, ...]:
    """What holds instead of the catalogue's figures, then what cannot hold any longer."""
    holding: Mapping[str, OwnFigure] = {each.figure: each for each in library.own if each.material == key}
    left_out = [(each, fault) for each, fault in library.left_out if each.material == key]
    rows = [_own_row(each, "", present) for each in holding.values()]
    return tuple(rows + [_own_row(each, _in_words(fault), present) for each, fault in left_out])


def _log(figures: tuple[OwnFigure, ...], key: str, present: Presenter) -> tuple[Own, ...]:
    """All that was ever set on the page for this material, the newest first."""
    return tuple(_own_row(each, "", present) for each in reversed(figures) if each.material == key)


def _own_row(figure: OwnFigure, fault: str, present: Presenter) -> Own:
    kind = FIGURES.get(figure.figure)
    value = "withdrawn" if figure.value is None else f"{figure.value:g} {kind.unit if kind else ''}".strip()
    return Own(
        figure=figure.figure,
        words=kind.words if kind else figure.figure,
        value=value,
        who=figure.who,
        why=figure.why,
        when="in the settings" if figure.at_s is None else present.clock(figure.at_s, "%d %b %Y %H:%M"),
        fault=fault,
        can_go=figure.at_s is not None and not fault,
    )
