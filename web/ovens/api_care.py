"""Commissioning and proof test of an oven for programs: what is known, and the acts of their pages."""

from dataclasses import fields
from typing import Any

from flask import Blueprint, Response

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.people import Role
from monitor.oven.learning import Estimate, Findings
from monitor.oven.proof import BY_KEY, Result, allowed_words
from monitor.service.oven_commissioning import Commissioning, RunLook
from monitor.service.oven_proof import ProofLook, StepLook
from monitor.service.queries import Queries
from monitor.wire.oven_orders import dump_look
from monitor.wire.oven_wishes import (
    parse_accept,
    parse_commission,
    parse_conclude,
    parse_step,
    parse_who,
)
from monitor.wire.records import rfc3339
from web.ovens.acts import desk_of
from web.ovens.api_parts import as_json, body, found, refusal, told_by
from web.ovens.desk import Ovens
from web.sign_in.roles import needs


def add(pages: Blueprint, queries: Queries, ovens: Ovens, *, can_change: bool) -> None:
    """Each act goes through the service call of its page, a run through the start of every other cycle."""
    _commissioning(pages, queries, ovens, can_change=can_change)
    _proof(pages, ovens, can_change=can_change)


def _commissioning(pages: Blueprint, queries: Queries, ovens: Ovens, *, can_change: bool) -> None:
    @pages.get("/commissioning")
    def commissioning(key: str) -> Response:
        found(ovens, key)
        return as_json(dump_commissioning(desk_of(ovens).commissioning.look(key)))

    @pages.post("/commissioning")
    @needs(Role.DO)
    def commission(key: str) -> Response:
        found(ovens, key)
        order = parse_commission(body(can_change=can_change))
        who, now_s = told_by(order.who), queries.now_s()
        runs = desk_of(ovens).commissioning
        problems = runs.start(key, order.kind, order.order, order.version, who, now_s)
        return refusal(problems) if problems else as_json(dump_look(found(ovens, key)))

    @pages.post("/commissioning/accept")
    @needs(Role.OWNER)
    def accept_run(key: str) -> Response:
        found(ovens, key)
        order = parse_accept(body(can_change=can_change))
        desk_of(ovens).commissioning.accept(key, order.run, told_by(order.who))
        return as_json(dump_commissioning(desk_of(ovens).commissioning.look(key)))

    @pages.post("/commissioning/take-back")
    @needs(Role.OWNER)
    def take_back_run(key: str) -> Response:
        found(ovens, key)
        who = told_by(parse_who(body(can_change=can_change)))
        desk_of(ovens).commissioning.take_back(key, who)
        return as_json(dump_commissioning(desk_of(ovens).commissioning.look(key)))


def _proof(pages: Blueprint, ovens: Ovens, *, can_change: bool) -> None:
    @pages.get("/proof")
    def proof_test(key: str) -> Response:
        found(ovens, key)
        return as_json(dump_proof(desk_of(ovens).proof.look(key)))

    @pages.post("/proof")
    @needs(Role.DO)
    def conclude_proof(key: str) -> Response:
        found(ovens, key)
        order = parse_conclude(body(can_change=can_change))
        desk_of(ovens).proof_tested(key, told_by(order.who))
        return as_json(dump_proof(desk_of(ovens).proof.look(key)))

    @pages.post("/proof/<step>")
    @needs(Role.DO)
    def proof_step(key: str, step: str) -> Response:
        found(ovens, key)
        order = parse_step(body(can_change=can_change))
        known = BY_KEY.get(step)
        if known is None:
            raise BadInputError(f"{step[:40]!r} is no step; they are: {', '.join(BY_KEY)}")
        wanted = {number.key for number in known.numbers}
        for name in order.numbers:
            if name not in wanted:
                raise BadInputError(f"{name[:40]!r} is no number of this step; it has {', '.join(wanted)}")
        # A number that is missing is refused by its name and range, like one that is none.
        numbers = {name: order.numbers.get(name, float("nan")) for name in wanted}
        desk_of(ovens).proof.tell(key, step, numbers, tuple(order.ticks), told_by(order.who))
        return as_json(dump_proof(desk_of(ovens).proof.look(key)))


def dump_commissioning(known: Commissioning) -> dict[str, Any]:
    """Runs, the newest first, and what the rules go by."""
    accepted = known.told.accepted
    return {
        "due": known.due,
        "accepted_run": None if accepted is None else accepted.run,
        "setpoint_c": known.setpoint_c,
        "inside": list(known.inside),
        "stands_against": list(known.stands),
        "in_force": None if known.told.in_force is None else _figures(plain(known.told.in_force)),
        "runs": [_run(each) for each in known.runs],
        "accepted": [
            {"at": rfc3339(fact.at_s), "who": fact.who, "was_taken_back": not fact.value}
            for fact in known.accepted
        ],
    }


def _figures(members: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in members.items() if name != "oven"}  # a mark, of no use outside


def _run(each: RunLook) -> dict[str, Any]:
    run = each.run
    return {
        "run": run.run,
        "at": rfc3339(run.at_s),
        "who": run.who,
        "kind": str(run.kind),
        "setpoint_c": run.setpoint_c,
        "room_c": run.room_c,
        "spools": run.spools,
        "ending": None if run.ending is None else str(run.ending),
        "why": run.why,
        "problems": list(each.found.problems),
        "found": _found(each.found),
        "unfit": each.unfit,
        "materials": [
            {"name": fit.name, "is_fit": fit.is_fit, "setpoint_c": fit.setpoint_c, "why": fit.why}
            for fit in each.fits
        ],
        "is_accepted": each.is_accepted,
        "can_accept": each.learned is not None and each.is_of_this_oven and not each.is_accepted,
    }


def _found(findings: Findings) -> dict[str, Any]:
    told = {spec.name: getattr(findings, spec.name) for spec in fields(findings)}
    return {
        name: {"value": each.value, "is_sure": each.is_sure, "why": each.why}
        for name, each in told.items()
        if isinstance(each, Estimate)
    }


def dump_proof(test: ProofLook) -> dict[str, Any]:
    """The steps with what is allowed and what was told, and the tests of before."""
    return {
        "is_complete": test.is_complete,
        "is_out_of_service": test.is_out_of_service,
        "passed": None if test.passed_s is None else rfc3339(test.passed_s),
        "due": None if test.due_s is None else rfc3339(test.due_s),
        "seen": plain(test.seen),
        "steps": [_step(each, test) for each in test.steps],
        "history": [
            {
                "at": rfc3339(past.at_s),
                "who": past.who,
                "is_passed": past.is_passed,
                "numbers": [list(pair) for pair in past.numbers],
                "faults": list(past.faults),
            }
            for past in test.history
        ],
    }


def _step(each: StepLook, test: ProofLook) -> dict[str, Any]:
    step = each.step
    return {
        "step": step.key,
        "title": step.title,
        "do": list(step.do),
        "numbers": [
            {
                "key": number.key,
                "words": number.words,
                "unit": number.unit,
                "allowed": allowed_words(number.key, test.bounds),
            }
            for number in step.numbers
        ],
        "ticks": [{"key": key, "words": words} for key, words in step.ticks],
        "result": None if each.result is None else _result(each.result),
        "at": None if each.at_s is None else rfc3339(each.at_s),
        "who": each.who,
    }


def _result(result: Result) -> dict[str, Any]:
    return {
        "is_passed": result.is_passed,
        "numbers": result.numbers,
        "ticks": list(result.ticks),
        "faults": list(result.faults),
    }
