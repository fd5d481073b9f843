"""Whether an oven's temperature falls, from what its watched pages have seen of it lately."""

import threading
from collections import deque

from monitor.model.oven_look import OvenLook

_KEPT_S = 65.0
_LEAST_S = 8.0


class Trends:
    """The hottest temperatures of the last minute, by oven; nothing is kept beyond that."""

    def __init__(self) -> None:
        self._seen: dict[str, deque[tuple[float, float]]] = {}
        self._lock = threading.Lock()

    def change_c(self, look: OvenLook, now_s: float) -> float | None:
        """How far it went over what was watched, up to a minute [K]; None: too little was."""
        if look.hottest_c is None or look.age_s is None:
            return None
        at_s = now_s - look.age_s
        with self._lock:
            seen = self._seen.setdefault(look.key, deque(maxlen=200))
            if not seen or at_s > seen[-1][0] + 0.5:
                seen.append((at_s, look.hottest_c))
            while seen and seen[0][0] < at_s - _KEPT_S:
                seen.popleft()
            first_s, first_c = seen[0] if seen else (at_s, look.hottest_c)
        return look.hottest_c - first_c if at_s - first_s >= _LEAST_S else None
