"""What the supervision of ovens needs of the rest of the service."""

from collections.abc import Callable

from monitor.model.inventory import Inventory, Room
from monitor.model.oven_fact import OvenChanges
from monitor.model.reading import Quantity
from monitor.oven.parameters import OvenParameters, parameters_of
from monitor.oven.permits import why_none
from monitor.oven.site import Site
from monitor.oven.state import begin
from monitor.ports import ReadStore
from monitor.service.air import DEFAULT_DUE_S
from monitor.service.oven_figures import parameters_for
from monitor.service.oven_site import RoomAir, site_of
from monitor.service.queries import Queries


class OvenWorld:
    """Implements the desk's World on the worker's thread."""

    def __init__(
        self,
        queries: Queries,
        store: ReadStore,
        *,
        note: Callable[[OvenChanges], None],
        publish: Callable[[str, bytes, int | None], bool],
        publish_now: Callable[[str, bytes], bool],
        can_write: Callable[[], bool],
        is_sole_owner: Callable[[], bool],
    ) -> None:
        self._queries = queries
        self._store = store
        self._can_write = can_write
        self._is_sole_owner = is_sole_owner
        self.note = note
        self.publish = publish
        self.publish_now = publish_now

    def inventory(self) -> Inventory:
        return self._queries.inventory()

    def site(self, oven: str, tray: str | None) -> Site:
        """What is so around an oven, from what is committed."""
        inventory = self._queries.inventory()
        return site_of(
            oven,
            inventory,
            self._queries.library(),
            self._store.oven_facts(),
            room=self._room(inventory.rooms[inventory.ovens[oven].room]),
            tray=tray,
            is_storage_writable=self._can_write(),
            is_sole_owner=self._is_sole_owner(),
            is_self_tested=_refuses_unknown(inventory, oven),
        )

    def parameters(self, oven: str, lease_s: float) -> OvenParameters:
        """The figures of its rules, from what is committed."""
        return parameters_for(self._queries.inventory().ovens[oven], self._store.oven_facts(), lease_s)

    def _room(self, room: Room) -> RoomAir:
        air = self._queries.room_air(room.key)
        smoke = next(
            (
                item
                for item in self._store.latest()
                if item.series.quantity is Quantity.SMOKE
                and f"{item.series.node}/{item.series.channel}" == room.channel
            ),
            None,
        )
        now_ms = round(self._queries.now_s() * 1000)
        due_s = DEFAULT_DUE_S if smoke is None else smoke.series.due_s or DEFAULT_DUE_S
        return RoomAir(
            temperature_c=None if air.stale else air.temperature_c,
            dew_point_c=None if air.stale else air.dew_point_c,
            smoke=None if smoke is None else smoke.value > 0.5,
            is_smoke_heard=smoke is not None and now_ms - smoke.time_ms <= 2000.0 * due_s,
        )


def _refuses_unknown(inventory: Inventory, oven: str) -> bool:
    """H38: this very program gives no heat to an oven that it knows nothing of."""
    state = begin(oven, parameters_of(inventory.ovens[oven]))
    return why_none(state, (), 0.0) is not None
