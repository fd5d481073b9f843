"""What the rules of alarms need beyond the status of all places, gathered on the worker's thread."""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from monitor.errors import BadInputError
from monitor.model.answers import seconds_of
from monitor.model.around import Around, OvenWatch
from monitor.model.history import Newest
from monitor.model.inventory import Inventory
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.reading import Quantity
from monitor.model.sensor_check import Seat
from monitor.oven import proof
from monitor.oven.state import Supervised
from monitor.ports import Clock, ReadStore
from monitor.service.oven_smoke import detectors
from monitor.service.ovens import HOT_C
from monitor.service.places import placed_at, stays
from monitor.service.queries import Queries
from monitor.service.sensor_seats import seats

_CHECKS_S = 600.0  # due dates are days away: looked up no oftener
_RISE_S = 180.0  # over which a chamber's rise is told, longer than its noise
_RISE_LEAST_S = 60.0
Told = Callable[[], str | None]  # a sentence, "" where all is well, None where nobody can tell


@dataclass(frozen=True, slots=True, kw_only=True)
class Troubles:
    """Where the sentences about the monitor itself come from."""

    is_connected: Callable[[], bool]
    database: Told
    supervision: Told
    clock: Told
    delivery: Told
    chain: Told
    disk: Callable[[], tuple[int, int] | None]  # free and all [bytes]
    test_owed_s: Callable[
        [], Mapping[str, float]
    ]  # since when [Unix s], by name of who owes a test of messages


class OvenStates(Protocol):
    """The supervision of each oven, as it is."""

    def now(self, oven: str) -> Supervised: ...


class Gatherer:
    """Gathers `Around`; keeps what can only be told over time: since when the broker is away, what rises."""

    def __init__(
        self, queries: Queries, store: ReadStore, ovens: OvenStates, clock: Clock, troubles: Troubles
    ) -> None:
        self._queries = queries
        self._store = store
        self._ovens = ovens
        self._clock = clock
        self._troubles = troubles
        self._away_since_s: float | None = None
        self._chambers: dict[str, deque[tuple[float, float]]] = {}  # oven -> (monotonic s, degC)
        self._heated_s: dict[str, float] = {}  # oven -> when it last had leave to heat
        self._checks: dict[str, float | None] = {}
        self._test_owed_s: Mapping[str, float] = {}
        self._checked_s = float("-inf")
        self.newest = Around()  # as gathered last

    def around(self) -> Around:
        """As of now."""
        now_s = self._clock.mono_s()
        inventory = self._store.inventory()  # channels only: where spools lie is not asked
        newest = self._store.latest()
        self._look_up_due(now_s)
        disk, said = self._troubles.disk(), self._troubles
        self.newest = Around(
            broker_away_s=self._away_s(now_s),
            database_trouble=said.database(),
            supervision_trouble=said.supervision(),
            clock_trouble=said.clock(),
            delivery_trouble=said.delivery(),
            chain_trouble=said.chain(),
            disk_free_bytes=None if disk is None else disk[0],
            disk_total_bytes=None if disk is None else disk[1],
            ovens=self._watches(inventory, now_s),
            smoke=self._smoke(inventory, newest),
            check_due_s=self._checks,
            battery_pct=self._batteries(inventory, newest),
            node_offline=self._offline(inventory),
            seats=self._seats(),
            test_owed_s=self._test_owed_s,
        )
        return self.newest

    def _away_s(self, now_s: float) -> float:
        if self._troubles.is_connected():
            self._away_since_s = None
            return 0.0
        if self._away_since_s is None:
            self._away_since_s = now_s
        return max(now_s - self._away_since_s, 1e-3)

    def _watches(self, inventory: Inventory, now_s: float) -> dict[str, OvenWatch]:
        facts = self._store.oven_facts()
        found = {}
        for oven in inventory.ovens:
            try:
                state = self._ovens.now(oven)
            except BadInputError:  # it came into the inventory just now
                continue
            found[oven] = self._watch(oven, state, facts, now_s)
        return found

    def _watch(
        self, oven: str, state: Supervised, facts: Mapping[tuple[str, FactKind], OvenFact], now_s: float
    ) -> OvenWatch:
        newest = state.window.newest
        heard = None if newest is None else newest.state
        has_permit = heard is not None and heard.permit is not None
        if has_permit:
            self._heated_s[oven] = now_s
        # Warmth goes on coming for the lag of the oven; power does not, so this must not last longer.
        is_cooling = now_s - self._heated_s.get(oven, float("-inf")) <= state.parameters.thermal_lag_s
        chamber_c = None if newest is None else newest.hottest_c
        return OvenWatch(
            has_permit=None if heard is None else has_permit,
            is_cooling=is_cooling,
            chamber_c=chamber_c,
            rising_c_per_min=self._rise(oven, chamber_c, now_s),
            power_w=None if heard is None else heard.power_w,
            state_age_s=None if newest is None else max(now_s - newest.heard_mono_s, 0.0),
            was_hot_or_heating=None
            if heard is None
            else has_permit or heard.heater > 0.0 or (chamber_c is not None and chamber_c >= HOT_C),
            trip=None if state.trip is None else state.trip.what,
            proof_due_s=proof.due_s(proof.passed_s(facts.get((oven, FactKind.PROOF_TEST)))),
            is_left_alone=(oven, FactKind.CHECKLIST) in facts,
        )

    def _rise(self, oven: str, chamber_c: float | None, now_s: float) -> float | None:
        """How fast its chamber warms [degC/min], over the last minutes."""
        if chamber_c is None:
            self._chambers.pop(oven, None)
            return None
        kept = self._chambers.setdefault(oven, deque(maxlen=64))
        kept.append((now_s, chamber_c))
        while now_s - kept[0][0] > _RISE_S:
            kept.popleft()
        first_s, first_c = kept[0]
        span_s = now_s - first_s
        return None if span_s < _RISE_LEAST_S else (chamber_c - first_c) / span_s * 60.0

    def _smoke(self, inventory: Inventory, newest: tuple[Newest, ...]) -> dict[str, bool | None]:
        """By room with a detector; one that fell silent tells nothing."""
        known = detectors(newest, self._queries.now_s())
        found = {room.key: known[room.channel] for room in inventory.rooms.values() if room.channel in known}
        return {room: each.is_alarming if each.is_heard else None for room, each in found.items()}

    def _look_up_due(self, now_s: float) -> None:
        """Checks of sensors and tests of messages."""
        if now_s - self._checked_s < _CHECKS_S:
            return
        self._checked_s = now_s
        self._test_owed_s = self._troubles.test_owed_s()
        self._checks = {
            sensor.place: None if sensor.due is None else seconds_of(sensor.due)
            for sensor in self._queries.sensors.all()
            if sensor.place is not None
        }

    def _seats(self) -> dict[str, Seat]:
        """At each look: who says on a page that it sits elsewhere now waits for the alarm to go."""
        at_ms = round(1000.0 * self._queries.now_s())
        here = placed_at(stays(self._store.placements()), at_ms)
        return seats(here, self._store.sensor_events(), at_ms)

    def _batteries(self, inventory: Inventory, newest: tuple[Newest, ...]) -> dict[str, float | None]:
        """By place: of its channel, or of the whole node that serves it."""
        charges = {
            f"{item.series.node}/{item.series.channel}": item.value
            for item in newest
            if item.series.quantity is Quantity.BATTERY
        }
        by_node: dict[str, float] = {}
        for channel, charge in charges.items():
            node = channel.partition("/")[0]
            by_node[node] = min(charge, by_node.get(node, charge))
        return {
            place: charges.get(channel, by_node[channel.partition("/")[0]])
            for place, channel in _channels(inventory).items()
            if channel.partition("/")[0] in by_node
        }

    def _offline(self, inventory: Inventory) -> dict[str, bool | None]:
        """By place whose node ever said whether it is there."""
        nodes = {row.key: row.presence for row in self._store.devices() if row.kind == "node"}
        found: dict[str, bool | None] = {}
        for place, channel in _channels(inventory).items():
            presence = nodes.get(channel.partition("/")[0])
            if presence is not None:
                found[place] = not presence.online
        return found


def _channels(inventory: Inventory) -> dict[str, str]:
    found = {box.key: box.channel for box in inventory.boxes.values()}
    found |= {room.key: room.channel for room in inventory.rooms.values()}
    found |= {oven.key: oven.channel for oven in inventory.ovens.values()}
    return {place: channel for place, channel in found.items() if channel is not None}
