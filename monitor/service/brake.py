"""Waits that double with each failed try, in a table of fixed size."""

import hashlib
import ipaddress
import secrets
import threading
from collections.abc import Sequence
from dataclasses import dataclass

FREE_TRIES = 4  # people mistype
LONGEST_WAIT_S = 300.0
FORGET_S = 3_600.0
SLOTS = 4_096


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mark:
    failures: int
    last_s: float
    until_s: float


class Brake:
    """Slows guessing down and never stops it for good.

    Names and addresses share slots by a keyed hash: so a million of them need no more room than the slots,
    nobody can push another's mark out, and nobody can choose whose slot to share. A try during a wait is
    refused without making the wait longer.
    """

    def __init__(self, slots: int = SLOTS, secret: bytes | None = None) -> None:
        """`secret` None: nobody knows it; another one repeats which keys share a slot."""
        self._slots = slots
        self._secret = secret or secrets.token_bytes(16)
        self._marks: dict[int, _Mark] = {}
        self._lock = threading.Lock()

    def begin(self, keys: Sequence[str], now_s: float) -> float:
        """0: try now, already counted as a failure until `passed`. Else the wait [s]."""
        with self._lock:
            slots = {self._slot(key) for key in keys}
            wait_s = max(self._wait_s(slot, now_s) for slot in slots)
            if wait_s <= 0.0:
                for slot in slots:
                    self._fail(slot, now_s)
            return wait_s

    def passed(self, keys: Sequence[str]) -> None:
        """The try was a good one: start afresh."""
        with self._lock:
            for key in keys:
                self._marks.pop(self._slot(key), None)

    def held(self) -> int:
        """How many marks are held, at most as many as there are slots."""
        return len(self._marks)

    def _wait_s(self, slot: int, now_s: float) -> float:
        mark = self._marks.get(slot)
        return 0.0 if mark is None else max(0.0, mark.until_s - now_s)

    def _fail(self, slot: int, now_s: float) -> None:
        mark = self._marks.get(slot)
        failures = 1 if mark is None or now_s - mark.last_s > FORGET_S else mark.failures + 1
        doublings = min(failures - FREE_TRIES, 30)
        wait_s = min(LONGEST_WAIT_S, 2.0**doublings) if doublings > 0 else 0.0
        self._marks[slot] = _Mark(failures=failures, last_s=now_s, until_s=now_s + wait_s)

    def _slot(self, key: str) -> int:
        hashed = hashlib.blake2b(
            key.encode("utf-8", "surrogatepass"), key=self._secret, digest_size=8
        ).digest()
        return int.from_bytes(hashed) % self._slots


def network_of(address: str) -> str:
    """What counts as one address: of IPv6 the 64 bits that one household is given."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(parsed, ipaddress.IPv6Address):
        if parsed.ipv4_mapped is not None:
            return str(parsed.ipv4_mapped)
        return str(ipaddress.ip_network((parsed, 64), strict=False))
    return str(parsed)
