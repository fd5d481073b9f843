"""The log of all that was done, as pages and reports ask for it; and its end, put out once a day."""

import logging
import threading
from collections.abc import Callable, Iterator

from monitor.errors import StoreError
from monitor.model.audit import AuditFilter, AuditHead, AuditKind, AuditLine
from monitor.model.report import Line
from monitor.ports import ReadStore

log = logging.getLogger(__name__)

MOST_LINES = 100_000  # in one export; the next one goes on after its last line
PAGE = 1_000
FIRST_WALK_S = 120.0  # after the start, which it must not slow down
_DAY_S = 86_400.0


class AuditLog:
    """Questions about the log of one site."""

    def __init__(self, store: ReadStore) -> None:
        self._store = store

    def site(self) -> str:
        return self._store.site()

    def head(self) -> AuditHead | None:
        """Where it ends; None before anything was done."""
        return self._store.audit_head()

    def newest(self, asked: AuditFilter, before: int | None, limit: int) -> tuple[AuditLine, ...]:
        """Lines before a number, the newest first; None = from the end."""
        return self._store.audit(asked, before=2**62 if before is None else before, limit=limit)

    def lines(self, asked: AuditFilter, after: int, limit: int = MOST_LINES) -> Iterator[AuditLine]:
        """Lines after a number, oldest first, a page of them in memory at a time."""
        left = min(limit, MOST_LINES)
        while left > 0 and (page := self._store.audit(asked, after=after, limit=min(PAGE, left))):
            yield from page
            after, left = page[-1].seq, left - len(page)

    def said(self, key: str, from_s: float, to_s: float) -> list[Line]:
        """What alarms said of a box, room or oven in a time, and what people did about them."""
        found = self._store.audit_about(key, round(from_s * 1000), round(to_s * 1000) + 1)
        return [
            Line(
                at_s=line.row.at_ms / 1000.0, who=line.row.who, words=f"alarm {_alarm(line)}: {line.row.what}"
            )
            for line in found
            if line.row.kind == AuditKind.ALARM
        ]


class DailyHead:
    """Says once a day where the log ends, so that the program's own journal holds it, too.

    Who can write the database can write the whole chain anew; then it does not go through what was put out.
    """

    def __init__(self, store: ReadStore, now_s: Callable[[], float]) -> None:
        self._store = store
        self._now_s = now_s
        self._day: int | None = None

    def look(self) -> None:
        """After a commit; says nothing before the first line."""
        day = int(self._now_s() // _DAY_S)
        if day == self._day:
            return
        try:
            head = self._store.audit_head()
        except StoreError as error:  # said after the next commit; nothing else waits for it
            log.warning("the end of the log cannot be read reason=%s", error)
            return
        if head is not None:
            self._day = day
            log.info("log_head=%s", head)


class ChainWatch:
    """Walks the whole log once a day on a thread of its own, and says what does not hold (A-37)."""

    def __init__(self, store: ReadStore) -> None:
        self._store = store
        self._found: str | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="log-watch", daemon=True)

    def trouble(self) -> str | None:
        """A sentence, "" while the log holds, None until it was walked."""
        return self._found

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()

    def walk(self) -> None:
        """Once, now."""
        try:
            self._found = self._store.audit_fault() or ""
        except StoreError as error:
            log.warning("the log cannot be walked reason=%s", error)

    def _run(self) -> None:
        while not self._stop.wait(FIRST_WALK_S if self._found is None else _DAY_S):
            self.walk()


def _alarm(line: AuditLine) -> str:
    """The type in words, off the alarm's key."""
    return line.row.about.partition("-")[0].replace("_", " ")
