"""Planned starts for programs: those that wait, one more, one less. A stored plan heats nothing (B-13)."""

from flask import Blueprint, Response

from monitor.errors import BadInputError, RefusedError
from monitor.model.people import Role
from monitor.model.planned_start import AnyStart
from monitor.service.planned_starts import PlannedStarts
from monitor.wire.oven_wishes import dump_planned, parse_later, parse_who
from web.ovens.acts import starts_of
from web.ovens.api_parts import as_json, body, found, told_by
from web.ovens.desk import Ovens
from web.sign_in.roles import needs

_CREATED = 201


def add(pages: Blueprint, ovens: Ovens, *, can_change: bool) -> None:
    """To confirm one that asks is to start it: the order `start` as for any other."""

    @pages.get("/planned")
    def planned(key: str) -> Response:
        found(ovens, key)
        return as_json({"planned": [dump_planned(start) for start in _of(starts_of(ovens), key)]})

    @pages.post("/planned")
    @needs(Role.DO)
    def plan_start(key: str) -> Response:
        found(ovens, key)
        starts = starts_of(ovens)
        wish, who = parse_later(body(can_change=can_change))
        number = starts.plan(key, wish, told_by(who))
        return as_json(dump_planned(_one(starts, key, number)), _CREATED)

    @pages.post("/planned/<int:number>/withdraw")
    @needs(Role.DO)
    def withdraw_planned(key: str, number: int) -> Response:
        found(ovens, key)
        starts = starts_of(ovens)
        who = told_by(parse_who(body(can_change=can_change)))
        _one(starts, key, number)
        try:
            starts.withdraw(number, who)
        except BadInputError as error:  # it began, or somebody else withdrew it, meanwhile
            raise RefusedError(str(error)) from None
        return as_json({"withdrawn": number})


def _of(starts: PlannedStarts, key: str) -> list[AnyStart]:
    return [start for start in starts.listed() if start.oven == key]


def _one(starts: PlannedStarts, key: str, number: int) -> AnyStart:
    start = next((each for each in _of(starts, key) if each.number == number), None)
    if start is None:
        raise RefusedError(f"no start with number {number} waits for this oven")
    return start
