"""The proof test assistant: five steps, each with numbers and what is allowed, then the whole (B-50)."""

from typing import Any

from flask import Blueprint, Response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.oven_look import OvenLook
from monitor.model.people import Role
from monitor.oven.proof import BY_KEY, Seen, allowed_words
from monitor.service.oven_proof import StepLook
from web.ovens.acts import Bench, desk_of, remembering, teller
from web.sign_in.roles import needs

_SEE_OTHER = 303
CAUTIONS = (
    "Two people, daylight, an empty chamber, a fire blanket at hand. Nobody leaves while it heats.",
    "Chamber, door and element burn. Let it cool before you reach in.",
    "Mains kills: open no cover. What needs an open cover is work for a licensed person, unplugged.",
)


def add(pages: Blueprint, bench: Bench) -> None:
    """The page and its steps; that the whole was passed is told by `acts`."""

    @pages.get("/ovens/<key>/proof")
    def proof_test(key: str) -> str:
        return bench.page("proof", key)

    @pages.post("/ovens/<key>/proof/<step>")
    @needs(Role.DO)
    def proof_step(key: str, step: str) -> AnyResponse:
        desk = desk_of(bench.ovens)
        try:
            who = teller()
            told = BY_KEY.get(step)
            if told is None:
                raise BadInputError(f"{step[:40]!r} is no step; they are: {', '.join(BY_KEY)}.")
            numbers = {number.key: _number(number.key) for number in told.numbers}
            desk.proof.tell(key, step, numbers, tuple(request.form.getlist("ticks")), who)
        except FieldError as error:
            return Response(bench.page("proof", key, said=(f"{error.field} {error.fault}.",)), status=400)
        except (BadInputError, RefusedError) as error:
            return Response(bench.page("proof", key, said=(str(error),)), status=400)
        return remembering(redirect(url_for(".proof_test", key=key) + f"#step-{step}", _SEE_OTHER), who)


def _number(name: str) -> float:
    """As it was typed; not a number where it is none, which the step refuses by name."""
    try:
        return float(request.form.get(name, "").strip().replace(",", ".")[:20])
    except ValueError:
        return float("nan")


def sheet(bench: Bench, look: OvenLook) -> dict[str, Any]:
    """What the template shows."""
    if bench.ovens.desk is None:
        return {"test": None}
    test, present = bench.ovens.desk.proof.look(look.key), bench.present
    day = "%d %b %Y"
    return {
        "test": test,
        "cautions": CAUTIONS,
        "steps": [_step(each, test.seen, present.clock) for each in test.steps],
        "allowed": {
            number.key: allowed_words(number.key, test.bounds)
            for step in test.steps
            for number in step.step.numbers
        },
        "due": None if test.due_s is None else present.clock(test.due_s, day),
        "passed": None if test.passed_s is None else present.clock(test.passed_s, day),
        "is_overdue": test.due_s is not None and test.due_s < bench.queries.now_s(),
        "history": [(present.clock(each.at_s, "%d %b %Y %H:%M"), each) for each in test.history],
    }


def _step(each: StepLook, seen: Seen, clock: Any) -> dict[str, Any]:
    """One step with the numbers that the monitor saw itself, to begin from."""
    offered = {number.key: getattr(seen, number.key, None) for number in each.step.numbers}
    return {
        "look": each,
        "when": None if each.at_s is None else clock(each.at_s, "%d %b %H:%M"),
        "offered": {key: f"{value:.1f}" for key, value in offered.items() if value is not None},
        "lease_told_s": seen.lease_told_s if each.step.key == "lease" else None,
    }
