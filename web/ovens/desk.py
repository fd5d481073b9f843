"""What the pages ask of whoever minds the ovens, and the ovens as they are known without anybody."""

import logging
from typing import Protocol

from monitor.errors import BadInputError, StoreError
from monitor.model.answers import OvenAnswer
from monitor.model.cycle import FirstOut, Problem
from monitor.model.oven_look import OvenLook, StartWish
from monitor.service.oven_commissioning import OvenCommissioning
from monitor.service.oven_proof import OvenProof
from monitor.service.planned_starts import PlannedStarts
from monitor.service.queries import Queries
from web.present import seconds

log = logging.getLogger(__name__)


class Desk(Protocol):
    """Where a person's wish becomes an order, and an oven is looked at."""

    @property
    def commissioning(self) -> OvenCommissioning: ...

    @property
    def proof(self) -> OvenProof: ...

    def look(self, oven: str) -> OvenLook:
        """The oven just now; BadInputError where there is none of this key."""

    def trips(self, oven: str) -> tuple[str, ...]:
        """The trips of which a record was kept."""

    def trip(self, oven: str, trip: str) -> FirstOut | None:
        """What was recorded round one of them (A-25)."""

    def start(self, oven: str, wish: StartWish, who: str) -> tuple[Problem, ...]:
        """Ask for heat; empty: granted."""

    def stop(self, oven: str, who: str, why: str) -> None:
        """Always obeyed (B-17)."""

    def extend(
        self, oven: str, order: str, version: int, cycle: str, extra_s: float, who: str
    ) -> Problem | None:
        """B-15: a new confirmed order."""

    def reset(
        self, oven: str, order: str, version: int, trip: str, checked: tuple[str, ...], text: str, who: str
    ) -> Problem | None:
        """B-30, B-31: starts nothing."""

    def tick_off(self, oven: str, ticked: tuple[str, ...], who: str) -> None:
        """The whole checklist of B-40 as it is now."""

    def confirm_cutout(self, oven: str, who: str) -> None:
        """B-51: somebody saw that there is a thermal cut-out."""

    def proof_tested(self, oven: str, who: str) -> None:
        """B-50: all steps stand as passed; RefusedError while one is missing."""


class Ovens:
    """The site's ovens, as the desk has them, else as their controllers were last heard."""

    def __init__(self, queries: Queries, desk: Desk | None, planned: PlannedStarts | None = None) -> None:
        self._queries = queries
        self.desk = desk
        self.planned = planned
        self._known: tuple[str, ...] = ()

    def keys(self) -> tuple[str, ...]:
        """Of the inventory; those last known where the database does not answer, as stopping must go on."""
        try:
            self._known = tuple(self._queries.inventory().ovens)
        except StoreError:
            log.warning("ovens from memory: the database does not answer")
        return self._known

    def looks(self) -> tuple[OvenLook, ...]:
        """All that can be told of now."""
        if self.desk is None:
            return tuple(heard(answer) for answer in self._queries.status().ovens)
        found = [self.look(key) for key in self.keys()]
        return tuple(look for look in found if look is not None)

    def look(self, key: str) -> OvenLook | None:
        """One of them; None where there is no such oven."""
        if self.desk is not None:
            try:
                return self.desk.look(key)
            except BadInputError:
                if key not in self.keys():
                    return None
        answers = [each for each in self._queries.status().ovens if each.key == key]
        return heard(answers[0]) if answers else None

    def stop(self, keys: tuple[str, ...], who: str, why: str) -> tuple[str, ...]:
        """Stop each of them whatever becomes of the others; returns those that could not be told."""
        failed = []
        for key in keys:
            try:
                if self.desk is None:
                    raise BadInputError("nobody minds the ovens here")
                self.desk.stop(key, who, why)
            except Exception:
                # Whatever goes wrong with one oven, the next one is stopped all the same.
                log.exception("stop failed oven=%s", key)
                failed.append(key)
        return tuple(failed)


def heard(answer: OvenAnswer) -> OvenLook:
    """What a controller said, where nobody supervises: no cycle, no order, no checklist is known."""
    return OvenLook(
        key=answer.key,
        name=answer.name,
        room=answer.room,
        phase=answer.state or "unknown",
        version=0,
        age_s=answer.age_s,
        is_fresh=not answer.stale,
        chamber_c=(answer.chamber_c,) if seconds(answer.at) is not None else (),
        hottest_c=answer.chamber_c,
        is_hot=None if answer.stale else answer.hot,
        heater=None,
        power_w=None,
        fan=None,
        door_open=None,
        armed_s=None,
        permit_left_s=None,
        refused=None,
        cycle=None,
        left_s=None,
        ends_at_s=None,
        ended=None,
        trip=None,
        is_out_of_service=False,
        stop_asked_s=None,
        load=(),
        checklist=(),
        checklist_at_s=None,
        checklist_who="",
        proof_tested_s=None,
        is_cutout_confirmed=False,
        records=(),
    )
