"""The retained summary of each box on the broker, renewed when it has news."""

import json
from collections.abc import Callable

from monitor.model.answers import plain
from monitor.model.batch import Batch
from monitor.service.queries import Queries
from monitor.wire import topics

# In a flood of late readings each box still speaks no more often than this.
LEAST_S = 10.0


class Summaries:
    """Publishes the boxes that a commit touched. On the worker's thread."""

    def __init__(
        self,
        queries: Queries,
        site: str,
        publish: Callable[[str, bytes], object],
        pace_s: Callable[[], float],
    ) -> None:
        self._queries = queries
        self._site = site
        self._publish = publish
        self._pace_s = pace_s
        self._owed: set[str] = set()
        self._published_s = float("-inf")

    def committed(self, batch: Batch) -> None:
        self._owed |= {f"{reading.node}/{reading.channel}" for reading in batch.readings}
        if not self._owed or self._pace_s() - self._published_s < LEAST_S:
            return
        self._published_s = self._pace_s()
        channels, self._owed = self._owed, set()
        boxes = self._queries.inventory().boxes
        wanted = {key for key, box in boxes.items() if box.channel in channels}
        for box in self._queries.status().boxes if wanted else ():
            if box.key in wanted:
                payload = json.dumps(plain(box), ensure_ascii=False, allow_nan=False).encode()
                self._publish(topics.build(topics.BoxSummary(site=self._site, box=box.key)), payload)
