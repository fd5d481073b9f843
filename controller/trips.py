"""The lock: first-out kept, through a power cut too, until somebody clears it with reason (B-03, B-30)."""

from controller.limits import RESET_BELOW_C
from controller.messages import BadOrder, Reset, read_kept, state_payload
from controller.rules import LOCAL_RESET


class Lock:
    """At most one trip at a time; the first one stays."""

    def __init__(self, boot: str, kept: bytes | None) -> None:
        self._boot = boot
        self._count = 0
        self.trip: dict[str, object] | None = _kept_trip(kept, boot)

    def close(self, rule: str, what: str) -> bool:
        """Lock; False where it was locked already."""
        if self.trip is not None:
            return False
        self._count += 1
        self.trip = _trip(self._boot + "-" + str(self._count), rule, what)
        return True

    def to_keep(self) -> bytes:
        """For non-volatile memory, to be written whenever it differs; empty when nothing is locked."""
        return state_payload(self.trip) if self.trip is not None else b""

    def why_not_reset(
        self, reset: Reset, *, retained: bool, is_cleared: bool, hottest_c: float | None, is_somebody: bool
    ) -> str | None:
        """Why this reset is refused, or None."""
        if retained:
            return "a retained copy"
        if reset.boot != self._boot:
            return "for another boot"
        if self.trip is None or reset.trip != self.trip["id"]:
            return "no such trip"
        if not self.trip["remote_reset"] and not is_somebody:
            return "this trip needs the button at the oven within 2 min before"
        if not is_cleared:
            return "its cause is still there"
        if hottest_c is None or hottest_c >= RESET_BELOW_C:
            return "the chamber is not below " + str(RESET_BELOW_C) + " C"
        return None

    def open(self) -> None:
        """Starts nothing: what was permitted before has ended for good."""
        self.trip = None


def _trip(trip_id: str, rule: str, what: str) -> dict[str, object]:
    return {"id": trip_id, "rule": rule, "what": what, "remote_reset": rule not in LOCAL_RESET}


def _kept_trip(kept: bytes | None, boot: str) -> dict[str, object] | None:
    """What was kept; a memory that cannot be read is itself a reason to stay locked."""
    if not kept:
        return None
    try:
        said = read_kept(kept)
        texts = [str(said[name])[:most] for name, most in (("id", 64), ("rule", 20), ("what", 200))]
    except (BadOrder, KeyError):
        return _trip(boot + "-0", "R19", "the memory of trips cannot be read")
    return _trip(texts[0], texts[1], texts[2])
