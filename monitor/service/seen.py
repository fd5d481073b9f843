"""Which packs of one node's boot were already taken, as ranges of sequence numbers."""

from bisect import bisect_right

from monitor.model.batch import SeqRange

# A node that skips more often than this within one boot is not counting packs.
MAX_RANGES = 2_000


class SeenPacks:
    """Sequence numbers taken so far; one range for a node that loses nothing."""

    __slots__ = ("_firsts", "_lasts")

    def __init__(self, ranges: list[SeqRange] | None = None) -> None:
        ordered = sorted(ranges or [])
        self._firsts = [first for first, _ in ordered]
        self._lasts = [last for _, last in ordered]

    def __contains__(self, seq: int) -> bool:
        at = bisect_right(self._firsts, seq) - 1
        return at >= 0 and seq <= self._lasts[at]

    def is_full(self) -> bool:
        return len(self._firsts) >= MAX_RANGES

    def add(self, seq: int) -> None:
        """Take `seq`, which must be new; neighbours grow together."""
        at = bisect_right(self._firsts, seq)
        joins_left = at > 0 and self._lasts[at - 1] == seq - 1
        joins_right = at < len(self._firsts) and self._firsts[at] == seq + 1
        if joins_left and joins_right:
            self._lasts[at - 1] = self._lasts.pop(at)
            del self._firsts[at]
        elif joins_left:
            self._lasts[at - 1] = seq
        elif joins_right:
            self._firsts[at] = seq
        else:
            self._firsts.insert(at, seq)
            self._lasts.insert(at, seq)

    def ranges(self) -> list[SeqRange]:
        return list(zip(self._firsts, self._lasts, strict=True))
