"""What people change: checked here, then written by the worker."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.errors import BadInputError
from monitor.library.own_figures import check_own_figure
from monitor.model.box_event import BoxEvent
from monitor.model.catalogue import OwnFigure
from monitor.model.people import Act
from monitor.model.sensor_check import SensorTold
from monitor.model.spool_event import SpoolEvent
from monitor.service.box_checks import check_box_event
from monitor.service.engine import Engine
from monitor.service.queries import Queries
from monitor.service.sensor_checks import sensor_event
from monitor.service.spool_checks import check_event, check_text

Ask = Callable[[Callable[[Engine], Any]], Any]


DECIDED = "decided"
DECISIONS = {"as_is": "use as is", "dry": "dry first", "discard": "discard"}
_WHY_MAX = 200


class Changes:
    """Every change by a person. Refused with BadInputError, in one sentence, it changes nothing."""

    def __init__(self, queries: Queries, ask: Ask, now_s: Callable[[], float]) -> None:
        self._queries = queries
        self._ask = ask
        self._now_s = now_s

    def add_event(self, event: SpoolEvent) -> int:
        """Write down what happened to a spool; returns the record's number once it is committed."""

        def act(engine: Engine) -> int:
            entered = replace(event, entered_s=self._now_s())
            history = self._queries.spool_history(event.spool)
            if history is None:
                raise BadInputError(f"spool {event.spool!r} is not in the inventory")
            check_event(entered, history, self._queries.inventory(), self._queries.library())
            number = engine.add_event(entered)
            self._note(engine, event.who, event.what.kind, event.spool, f"record {number}")
            return number

        number = int(self._ask(act))
        self._queries.catch_up()
        return number

    def add_box_event(self, event: BoxEvent) -> int:
        """Write down what was done to a box's desiccant; returns the record's number once it is committed."""

        def act(engine: Engine) -> int:
            entered = replace(event, entered_s=self._now_s())
            history = self._queries.box_history(event.box)
            if history is None:
                raise BadInputError(f"box {event.box!r} is not in the inventory")
            check_box_event(entered, history, self._queries.library())
            number = engine.add_box_event(entered)
            self._note(engine, event.who, event.what.kind, event.box, f"record {number}")
            return number

        number = int(self._ask(act))
        self._queries.catch_up()
        return number

    def add_sensor_event(self, told: SensorTold) -> int:
        """Write down what was done to a sensor, or what it reads now; returns the record's number."""

        def act(engine: Engine) -> int:
            event = sensor_event(told, self._queries.sensors, self._now_s())
            number = engine.add_sensor_event(event)
            self._note(engine, event.who, event.what.kind, event.channel, f"record {number}")
            return number

        number = int(self._ask(act))
        self._queries.catch_up()
        return number

    def set_figure(self, figure: OwnFigure) -> None:
        """The site's own figure of a material from now on."""

        def act(engine: Engine) -> None:
            check_own_figure(self._queries.library(), figure)
            engine.set_figure(replace(figure, at_s=self._now_s()))
            detail = figure.figure if figure.value is None else f"{figure.figure} = {figure.value:g}"
            what = "withdrew a figure" if figure.value is None else "set a figure"
            self._note(engine, figure.who, what, figure.material, detail)

        self._ask(act)
        self._queries.catch_up()

    def decide(self, key: str, decision: str, why: str, who: str) -> None:
        """What somebody made of a report on a box or spool; it stands in the log and in later reports."""
        check_text("who", who)
        if decision not in DECISIONS:
            raise BadInputError(f"decision {decision[:20]!r} is unknown; allowed are {', '.join(DECISIONS)}")
        if len(why) > _WHY_MAX or any(ord(char) < 32 for char in why):
            raise BadInputError(f"why must be one line of at most {_WHY_MAX} characters")
        detail = f"{DECISIONS[decision]}: {why}" if why else DECISIONS[decision]

        def act(engine: Engine) -> None:
            inventory = self._queries.inventory()
            if key not in inventory.boxes and key not in inventory.spools:
                raise BadInputError(f"{key[:63]!r} is no box or spool of the inventory")
            self._note(engine, who, DECIDED, key, detail)

        self._ask(act)

    def _note(self, engine: Engine, who: str, what: str, on_what: str, detail: str) -> None:
        """In the log of what people did, in the transaction of what it tells of."""
        at_ms = round(self._now_s() * 1000)
        engine.note(Act(at_ms=at_ms, person=who, what=what, on_what=on_what, detail=detail))
