"""The site's last thirty days, sent as its nodes would after a month without a broker.

Every sample goes through the nodes' own buffer, numbering and packs. The sensors' errors, noise and
steps are applied directly instead of over the emulated bus, which would take minutes.
"""

import math
from collections.abc import Callable, Sequence
from functools import partial

from monitor.edge.node import send_next
from monitor.simulator.devices import HISTORY_SAMPLE_S, VirtualNode
from monitor.simulator.world import World

# Sends one node's pack and says whether it was confirmed.
NodePublish = Callable[[str, bytes], bool]
# Told the share that is done, 0 to 1.
Progress = Callable[[float], None]

# Rounds a node gathers before it sends: some four hours.
_ROUNDS_A_SENDING = 50


def run_history(
    world: World,
    nodes: Sequence[VirtualNode],
    *,
    begin_s: float,
    until_s: float,
    publish: NodePublish,
    progress: Progress,
) -> int:
    """Sample the world every five minutes from `begin_s` on; returns the rounds that nobody confirmed.

    Those stay in their nodes' buffers and go out with the first live packs.
    """
    for node in nodes:
        node.core.sample_s = HISTORY_SAMPLE_S
    rounds = math.ceil((until_s - begin_s) / HISTORY_SAMPLE_S)
    for number in range(rounds):
        time_s = begin_s + number * HISTORY_SAMPLE_S
        world.advance_to(time_s)
        for node in nodes:
            node.core.keep(node.sample_by_model(time_s))
        if number % _ROUNDS_A_SENDING == 0:
            _send_all(nodes, time_s, publish)
            progress(number / rounds)
    _send_all(nodes, max(until_s, begin_s), publish)
    progress(1.0)
    return sum(node.core.waiting for node in nodes)


def _send_all(nodes: Sequence[VirtualNode], time_s: float, publish: NodePublish) -> None:
    """Send what waits, oldest first; a node stops at its first pack that is not confirmed."""
    for node in nodes:
        to_broker = partial(publish, node.key)
        confirmed = True
        while confirmed:
            confirmed = send_next(node.core, to_broker, uptime_s=time_s - node.boot_s, wall_s=time_s)
