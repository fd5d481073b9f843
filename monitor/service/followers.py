"""Spools, then boxes: a box is told from what its spools hold, so these go first."""

from collections.abc import Callable

from monitor.library import Library
from monitor.model.batch import Batch
from monitor.model.computed import Computed
from monitor.ports import ReadStore
from monitor.service.box_follower import BoxFollower
from monitor.service.box_insight import Insights
from monitor.service.follower import Follower
from monitor.service.limits import Limits


class Followers:
    """All that is worked out from what is stored. Safe from any thread."""

    def __init__(
        self, store: ReadStore, library: Callable[[], Library], limits: Callable[[], Limits]
    ) -> None:
        self.spools = Follower(store, library)
        self.boxes = BoxFollower(store, library, limits, self.spools)
        self.insights = Insights(store, self.boxes)

    def committed(self, batch: Batch) -> None:
        """What was written just now: forget what it makes untrue."""
        self.spools.committed(batch)
        self.boxes.committed(batch)

    def advance(self, until_ms: int, budget: int) -> tuple[Computed, bool]:
        """A bounded piece of work; what of it is to be kept, and whether there is more to do."""
        more = self.spools.advance(until_ms, budget)
        kept = self.spools.take_checkpoints()
        if more or kept:
            # Boxes read from the store what their spools held: that has to be written first.
            return Computed(spools=kept), True
        more = self.boxes.advance(until_ms, budget)
        states, noticed = self.boxes.take()
        if not more:
            more = self.insights.renew_one(until_ms)
        return Computed(boxes=states, noticed=noticed), more

    def bring_up(self, until_ms: int) -> None:
        """All of it up to a time, for one who asks a bare database and keeps nothing."""
        budget = 20_000
        while self.spools.advance(until_ms, budget):
            pass
        while self.boxes.advance(until_ms, budget):
            pass
        while self.insights.renew_one(until_ms):
            pass

    def catch_up(self, until_ms: int, budget: int) -> None:
        """Move on as far as is soon done, so that who changed something sees what came of it."""
        if not self.spools.advance(until_ms, budget):
            self.boxes.advance(until_ms, budget)
