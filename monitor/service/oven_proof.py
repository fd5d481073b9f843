"""The proof test assistant: steps are told one by one, the whole is concluded by a person (B-50)."""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from monitor.errors import BadInputError, RefusedError
from monitor.model.cycle import OvenRecord, RecordKind
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.oven import proof
from monitor.oven.events import Event, ProofFailed, ProofTested
from monitor.oven.proof import Bounds, Result, Seen, Step
from monitor.ports import Clock, ReadStore
from monitor.service.oven_desk import OvenDesk
from monitor.service.queries import Queries

_HISTORY = 20
_STOP_WITHIN_S = 86_400.0
State = Callable[[OvenFact, Event | None], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLook:
    """One step with what is known of it now."""

    step: Step
    result: Result | None  # of this test; None = still to be done
    at_s: float | None
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A whole test that was concluded, or failed."""

    at_s: float
    who: str
    is_passed: bool
    numbers: tuple[tuple[str, str], ...]  # (step and figure, value)
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofLook:
    """The test of one oven."""

    steps: tuple[StepLook, ...]
    bounds: Bounds
    seen: Seen
    is_complete: bool
    is_out_of_service: bool
    passed_s: float | None
    due_s: float | None  # Unix seconds; None = never passed
    history: tuple[Past, ...]


class OvenProof:
    """Called from any thread; `state` writes a fact and what follows from it, on the worker's."""

    def __init__(
        self, desk: OvenDesk, store: ReadStore, queries: Queries, state: State, clock: Clock
    ) -> None:
        self._desk, self._store, self._queries = desk, store, queries
        self._state, self._clock = state, clock

    def look(self, oven: str) -> ProofLook:
        """Everything about it; BadInputError where there is no such oven."""
        supervised = self._desk.now(oven)
        bounds = self._bounds(oven)
        tests = self._store.oven_fact_history(oven, FactKind.PROOF_TEST, _HISTORY)
        steps = self._steps(oven, tests)
        passed_s = proof.passed_s(tests[0]) if tests else None
        return ProofLook(
            steps=steps,
            bounds=bounds,
            seen=replace(proof.seen(supervised), page_s=_stopped_after_s(self._book(oven))),
            is_complete=all(each.result is not None and each.result.is_passed for each in steps),
            is_out_of_service=supervised.is_out_of_service,
            passed_s=passed_s,
            due_s=proof.due_s(passed_s),
            history=tuple(_past(each) for each in tests),
        )

    def tell(
        self, oven: str, key: str, numbers: dict[str, float], ticks: tuple[str, ...], who: str
    ) -> Result:
        """One step as it was done. One that failed takes the oven out of service at once."""
        step = proof.BY_KEY.get(key)
        if step is None:
            raise BadInputError(
                f"{key[:40]!r} is no step of the proof test; they are: {', '.join(proof.BY_KEY)}"
            )
        result = proof.taken(step, numbers, ticks, self._bounds(oven))
        if result.is_passed:
            self._state(self._fact(oven, step.kind, proof.to_text(result), who), None)
            return result
        value = _test_text(False, [(step, result)])
        what = f"{step.title}: {' '.join(result.faults)}"
        self._state(self._fact(oven, FactKind.PROOF_TEST, value, who), ProofFailed(who=who, what=what))
        return result

    def conclude(self, oven: str, who: str) -> None:
        """All five were passed: the oven is in service for a year. RefusedError while any is missing."""
        look = self.look(oven)
        missing = [each.step.title for each in look.steps if each.result is None or not each.result.is_passed]
        if missing:
            raise RefusedError(f"still to be done: {', '.join(missing)}")
        done = [(each.step, each.result) for each in look.steps if each.result is not None]
        fact = self._fact(oven, FactKind.PROOF_TEST, _test_text(True, done), who)
        self._state(fact, ProofTested(who=who))

    def _steps(self, oven: str, tests: tuple[OvenFact, ...]) -> tuple[StepLook, ...]:
        """Each with its newest result, if that belongs to this test: after the last one, within a week."""
        facts, now_s = self._store.oven_facts(), self._clock.wall_s()
        last_s = tests[0].at_s if tests else float("-inf")
        looks = []
        for step in proof.STEPS:
            fact = facts.get((oven, step.kind))
            result = None
            if fact is not None and last_s < fact.at_s and now_s - fact.at_s <= proof.TOGETHER_WITHIN_S:
                result = proof.from_text(fact.value)
            looks.append(
                StepLook(
                    step=step,
                    result=result,
                    at_s=fact.at_s if fact is not None and result is not None else None,
                    who=fact.who if fact is not None and result is not None else "",
                )
            )
        return tuple(looks)

    def _bounds(self, oven: str) -> Bounds:
        entry = self._queries.inventory().ovens.get(oven)
        return proof.bounds_of(self._desk.now(oven).parameters, None if entry is None else entry.cutout_c)

    def _book(self, oven: str) -> Iterable[OvenRecord]:
        now_s = self._clock.wall_s()
        return [r for r in self._store.oven_records(oven, 100) if now_s - r.at_wall_s <= _STOP_WITHIN_S]

    def _fact(self, oven: str, kind: FactKind, value: str, who: str) -> OvenFact:
        return OvenFact(oven=oven, at_s=self._clock.wall_s(), kind=kind, value=value, who=who)


def _stopped_after_s(book: Iterable[OvenRecord]) -> float | None:
    """From the newest stop that had an effect to that effect, by the oven's book [s]."""
    confirmed_s: float | None = None
    for record in book:  # the newest first
        if record.kind is RecordKind.STOP_CONFIRMED:
            confirmed_s = record.at_wall_s
        elif record.kind is RecordKind.STOP_ASKED and confirmed_s is not None:
            return max(confirmed_s - record.at_wall_s, 0.0)
    return None


def _test_text(is_passed: bool, done: list[tuple[Step, Result]]) -> str:
    numbers = [
        (f"{step.title}: {number.words.lower()}", f"{result.numbers[number.key]:g} {number.unit}")
        for step, result in done
        for number in step.numbers
    ]
    faults = [f"{step.title}: {fault}" for step, result in done for fault in result.faults]
    said: dict[str, Any] = {"passed": is_passed, "numbers": numbers, "faults": faults}
    return json.dumps(said, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _past(fact: OvenFact) -> Past:
    is_passed = proof.is_passed(fact.value)
    try:
        said = json.loads(fact.value)
        numbers = tuple((str(name), str(value)) for name, value in said["numbers"])
        faults = tuple(str(fault) for fault in said["faults"])
    except (ValueError, TypeError, KeyError):  # rows of before hold one word
        numbers, faults = (), ()
    return Past(at_s=fact.at_s, who=fact.who, is_passed=is_passed, numbers=numbers, faults=faults)
