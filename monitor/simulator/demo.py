"""The demonstration as one thing: its inventory, its past, its present."""

import dataclasses
from importlib.resources import files

from monitor.library import load_library
from monitor.model.catalogue import OwnFigure
from monitor.model.inventory import Inventory
from monitor.ports import Clock
from monitor.simulator.devices import virtual_nodes
from monitor.simulator.history import NodePublish, Progress, run_history
from monitor.simulator.live import Connect, LiveSite
from monitor.simulator.oven_site import FIRMWARE, virtual_ovens
from monitor.simulator.scenarios import DAY_S
from monitor.simulator.world import World
from monitor.wire.inventory import KnownKeys, dump_inventory, parse_inventory

SITE = "lantern-yard"
HISTORY_DAYS = 30.0
# What the keeper of this site knows better than the catalogue.
FIGURES = (
    OwnFigure(
        material="pla",
        figure="limit_pct",
        value=0.1,
        who="Ines, keeper of the print room",
        why="our parts are for looks: below this they print clean; the moulders' 0.025 % is for strength",
        at_s=None,
    ),
)


class DemoSite:
    """A whole simulated site; `start_s` is the moment at which it goes live."""

    def __init__(
        self, seed: int, start_s: float, clock: Clock, *, history_days: float = HISTORY_DAYS
    ) -> None:
        # Samples lie on the whole minutes of the past, as a node's do that was started on one.
        self._live_s = start_s // 300.0 * 300.0
        self._begin_s = self._live_s - history_days * DAY_S
        self._clock = clock
        library = load_library()
        known = KnownKeys(materials=library.materials, desiccants=library.desiccants, reels=library.reels)
        self.inventory = _dated(_site(known), self._begin_s)
        self.world = World(self.inventory, library, seed=seed, start_s=self._begin_s, live_s=self._live_s)
        self.nodes = virtual_nodes(self.inventory, self.world, seed=seed, boot_s=self._begin_s)
        self.ovens = virtual_ovens(self.inventory, self.world, seed=seed)
        self._live: LiveSite | None = None

    def inventory_toml(self) -> str:
        """What a keeper of this site would have written down at the beginning of its past."""
        return dump_inventory(self.inventory)

    def presences(self) -> dict[str, bytes]:
        """What each node says of itself while it is connected."""
        return {node.key: node.core.presence(FIRMWARE) for node in self.nodes}

    def run_history(self, publish: NodePublish, progress: Progress) -> int:
        """Send the past through the nodes' own code; returns the rounds left unconfirmed."""
        return self._sample_past(self._begin_s, self._live_s, publish, progress)

    def start_live(self, connect: Connect, speed: float) -> None:
        """Go on from now, at `speed` times the pace of real time; the clock must run at that pace."""
        # What passed while the past was sent is sampled, too, and goes out with the first packs.
        self._sample_past(
            self._live_s, self._clock.wall_s(), lambda _node, _payload: False, lambda _share: None
        )
        self._live = LiveSite(self.world, self.nodes, self.ovens, self._clock, speed)
        self._live.start(connect)

    def stop(self) -> None:
        if self._live is not None:
            self._live.stop()

    def _sample_past(self, begin_s: float, until_s: float, publish: NodePublish, progress: Progress) -> int:
        return run_history(
            self.world, self.nodes, begin_s=begin_s, until_s=until_s, publish=publish, progress=progress
        )


def _site(known: KnownKeys) -> Inventory:
    content = files("monitor.simulator").joinpath("data/site.toml").read_bytes()
    return parse_inventory(content, known, Inventory())


def _dated(inventory: Inventory, begin_s: float) -> Inventory:
    """The file has no dates of its own: spools were judged and charges weighed when the past begins.

    Of charges without a loading nobody remembers when they were filled, as is usual.
    """
    boxes = {
        box.key: dataclasses.replace(box, desiccant=dataclasses.replace(box.desiccant, filled_s=begin_s))
        if box.desiccant is not None and box.desiccant.loading_pct is not None
        else box
        for box in inventory.boxes.values()
    }
    spools = {spool.key: dataclasses.replace(spool, since_s=begin_s) for spool in inventory.spools.values()}
    return dataclasses.replace(inventory, boxes=boxes, spools=spools)
