"""What the supervision of ovens needs of the rest of the service."""

from collections.abc import Callable

from monitor.model.inventory import Oven, Room
from monitor.model.oven_fact import OvenChanges
from monitor.oven.parameters import parameters_of
from monitor.oven.permits import why_none
from monitor.oven.site import Detector, Site
from monitor.oven.state import begin
from monitor.ports import ReadStore
from monitor.service.oven_site import Known, RoomAir, site_of
from monitor.service.oven_smoke import detectors
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

    def known(self) -> Known:
        """What is committed, for all ovens at once."""
        inventory, now_s = self._queries.inventory(), self._queries.now_s()
        smoke = detectors(self._store.latest(), now_s)
        rooms = {oven.room for oven in inventory.ovens.values()}
        return Known(
            inventory=inventory,
            library=self._queries.library(),
            facts=self._store.oven_facts(),
            rooms={key: self._room(inventory.rooms[key], smoke) for key in rooms},
        )

    def site(self, oven: str, known: Known, tray: str | None) -> Site:
        """What is so around an oven, from what is committed and what this program can do now."""
        return site_of(
            oven,
            known,
            tray=tray,
            is_storage_writable=self._can_write(),
            is_sole_owner=self._is_sole_owner(),
            is_self_tested=_refuses_unknown(known.inventory.ovens[oven]),
        )

    def _room(self, room: Room, smoke: dict[str, Detector]) -> RoomAir:
        air = self._queries.room_air(room.key)
        return RoomAir(
            temperature_c=None if air.stale else air.temperature_c,
            dew_point_c=None if air.stale else air.dew_point_c,
            detector=None if room.channel is None else smoke.get(room.channel),
        )


def _refuses_unknown(oven: Oven) -> bool:
    """H38: this very program gives no heat to an oven that it knows nothing of."""
    return why_none(begin(oven.key, parameters_of(oven)), (), 0.0) is not None
