"""Which permit lives, and which is refused and why: the lease is this node's own (B-22, B-23, R20)."""

from controller.limits import LEASE_MOST_S, RESUME_MS, STATE_OLDEST_MS, OvenLimits
from controller.messages import Permit

# States of the last ten seconds, at most two a second and a few for good measure.
_PUBLISHED_KEPT = 24
_ENDED_KEPT = 8


class Living:
    """The permit under which heat is allowed now."""

    def __init__(self, permit: Permit, ends_ms: int, lease_ms: int) -> None:
        self.cycle = permit.cycle
        self.seq = permit.seq
        self.setpoint_c = permit.setpoint_c
        self.ceiling_c = permit.ceiling_c
        self.ends_ms = ends_ms
        self.lease_ms = lease_ms


class PermitBook:
    """All that is remembered of permits and of the states they may name; bounded in size."""

    def __init__(self, limits: OvenLimits, boot: str) -> None:
        self.living: Living | None = None
        self.run: str | None = None  # the cycle that is under way or may be resumed
        self.run_begun_ms = 0
        self._limits = limits
        self._boot = boot
        self._last_seq = -1
        self._published: list[tuple[int, int]] = []  # (state's number, when published)
        self._ground_seq = 0  # a permit decided on an earlier state does not know what happened since
        self.opened = False  # the door, since this run last had a permit
        self._ended: list[str] = []
        self._lost_ms = 0

    def note_published(self, seq: int, now_ms: int) -> None:
        """A state has gone out; leases that name it count from here."""
        self._published.append((seq, now_ms))
        if len(self._published) > _PUBLISHED_KEPT:
            self._published.pop(0)

    def why_not(self, permit: Permit, now_ms: int, *, retained: bool) -> str | None:
        """Why this permit is refused, or None; what needs the oven's own state is asked elsewhere."""
        if retained:
            return "a retained copy"
        if permit.boot != self._boot:
            return "for another boot"
        if permit.seq <= self._last_seq:
            return "its seq is not above the last, " + str(self._last_seq)
        if permit.lease_s > LEASE_MOST_S or permit.lease_s <= 0.0:
            return "its lease must be above 0 and at most " + str(LEASE_MOST_S) + " s"
        if permit.ceiling_c > self._limits.hard_c:
            return "its ceiling is above this oven's hard limit of " + str(self._limits.hard_c) + " C"
        if permit.setpoint_c > permit.ceiling_c:
            return "its set-point is above its ceiling"
        return self._why_not_on_that_state(permit, now_ms) or self._why_not_that_cycle(permit, now_ms)

    def take(self, permit: Permit, now_ms: int) -> bool:
        """Let a permit live that nothing speaks against; True when it begins another run."""
        published_ms = self._published_ms(permit.state_seq)
        assert published_ms is not None
        self._last_seq = permit.seq
        lease_ms = int(permit.lease_s * 1000.0)
        self.living = Living(permit, published_ms + lease_ms, lease_ms)
        self.opened = False
        if permit.cycle == self.run:
            return False
        if self.run is not None:
            self._end_for_good(self.run)
        self.run = permit.cycle
        self.run_begun_ms = now_ms
        return True

    def expire(self, now_ms: int) -> str | None:
        """What has run out by itself, if anything: the lease, the longest run, the time to resume."""
        if self.run is not None and now_ms - self.run_begun_ms >= self._limits.run_most_ms:
            self.end(now_ms, for_good=True)
            return "the longest run is over"
        if self.living is not None and now_ms >= self.living.ends_ms:
            self.end(now_ms, for_good=False)
            return "the lease has run out"
        if self.run is not None and self.living is None and now_ms - self._lost_ms > RESUME_MS:
            self._end_for_good(self.run)
            self.run = None
        return None

    def end(self, now_ms: int, *, for_good: bool) -> None:
        """Take the permission away. For good: this cycle can never heat again, a new one must be started."""
        if self.living is not None:
            self._lost_ms = now_ms
        self.living = None
        self._ground_seq = self._published[-1][0] + 1 if self._published else 0
        if for_good and self.run is not None:
            self._end_for_good(self.run)
            self.run = None

    def may_resume(self) -> bool:
        """B-22: a run lost its lease less than five minutes ago, and the door stayed shut since.

        A person may go on with it from afar; that is a new cycle, for which the old arming still counts.
        """
        return self.run is not None and self.living is None and not self.opened

    def _why_not_on_that_state(self, permit: Permit, now_ms: int) -> str | None:
        published_ms = self._published_ms(permit.state_seq)
        if published_ms is None or now_ms - published_ms > STATE_OLDEST_MS:
            return "its state_seq is older than 10 s or unknown"
        if permit.state_seq < self._ground_seq:
            return "it was decided before heat was last taken away"
        if now_ms - published_ms >= permit.lease_s * 1000.0:
            return "its lease ran out on its way"
        return None

    def _why_not_that_cycle(self, permit: Permit, now_ms: int) -> str | None:
        if permit.cycle in self._ended:
            return "that cycle has ended here; start a new one"
        if self.living is not None and now_ms < self.living.ends_ms and permit.cycle != self.living.cycle:
            return "another cycle is under way"
        return None

    def _published_ms(self, seq: int) -> int | None:
        for known_seq, at_ms in self._published:
            if known_seq == seq:
                return at_ms
        return None

    def _end_for_good(self, cycle: str) -> None:
        if cycle not in self._ended:
            self._ended.append(cycle)
        if len(self._ended) > _ENDED_KEPT:
            self._ended.pop(0)
